"""What the crew needs."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import (
    Field,
    model_validator,
)

from screenplan.contracts import HIGHEST_PRICE
from screenplan.contracts.works import FenceScheme
from screenplan.plan.planting import Stock
from screenplan.plan.values import (
    Day,
    Identifier,
    Length,
    Money,
    PlantHeight,
    Section,
    Texts,
    Volume,
    WrongError,
)


class StakeOut(Section):
    """How the rows are staked out."""

    tape: Length = Field(50.0, ge=5, le=200, description="Length of the tape")
    mark: str = Field(
        "pink flag",
        max_length=100,
        description="Flag or paint that marks a plant, and its colour; red, yellow, orange, blue and green are those of people who mark buried lines",
    )
    measured: tuple[tuple[Identifier, Identifier, Annotated[Length, Field(gt=0, le=2000)]], ...] = (
        Field(
            (),
            description='Distances that you measured between names on the sheet, such as [["A", "P1", "12.35 m"]]; the stake-out is fitted to them',
        )
    )


class Works(Section):
    """Quantities: plants to order, holes, mulch, water."""

    losses: float = Field(
        0.05, ge=0, le=1, description="Share of plants that is ordered beyond those that are set"
    )
    hole_factor: float = Field(
        2.5, ge=1, le=5, description="Width of a hole per width of the root ball"
    )
    strip: Length = Field(
        1.0, ge=0.1, le=10, description="Width of the strip that is cleared along each row"
    )
    mulch: Literal["strip", "ring", "none"] = Field(
        "strip", description="Mulch over the cleared strip, in a ring round each plant, or none"
    )
    # Deeper mulch smothers roots (common practice, no source).
    mulch_depth: Length = Field(0.075, ge=0, le=0.15, description="Depth of the mulch")
    mulch_clear: Length = Field(
        0.1, ge=0, le=0.5, description="How far mulch is kept off each stem"
    )
    mulch_top_up: float = Field(
        1 / 3,
        ge=0,
        le=1,
        description="Share of the mulch that has rotted and is topped up each year, for three years (common practice, no source)",
    )
    ring: Length = Field(0.9, ge=0.2, le=5, description="Width of a mulch ring")
    mulch_bag: Volume = Field(
        0.05, ge=0.001, le=2, description='What a bag of mulch holds, such as "2 cu ft" or "50 l"'
    )
    mulch_bulk: Volume | None = Field(
        None,
        ge=0,
        le=1000,
        description="From this much on mulch is bought in bulk, not in bags, for each topping up by itself; 1 to 2 cu yd cost about the same either way (a price guide, read)",
    )
    mulch_load: Volume = Field(
        1.0,
        ge=0.1,
        le=100,
        description='What one load of mulch in bulk holds, by which it is priced (cost.prices.mulch_bulk), such as "1 cu yd"',
    )
    caliper: Length | None = Field(
        None,
        ge=0.002,
        le=0.3,
        description="Thickness of the stems, if you measured it: the published water rule goes by it",
    )
    water_every: Literal[2, 3] = Field(
        2,
        description="Days between waterings in weeks 3 to 12; every 2 to 3 days is published",
        json_schema_extra={"unit": "days"},
    )

    emitters: int | None = Field(
        None,
        ge=1,
        le=20,
        description="Emitters of a drip line at each plant; with it the layer drip_lines has the rows for whoever lays one",
    )

    @model_validator(mode="after")
    def _rings_leave_mulch(self):
        if self.mulch == "ring" and self.ring <= 2.0 * self.mulch_clear:
            raise WrongError(
                f"a mulch ring {{{self.ring:g} m}} wide leaves no mulch {{{self.mulch_clear:g} m}} off the stem",
                "Give a wider ring or a smaller works.mulch_clear",
                self.key("ring"),
            )
        return self


class Weeds(Section):
    """Weeding of the strip; nothing of it is planned until passes are named."""

    passes: int = Field(
        0,
        ge=0,
        le=6,
        description="Passes in each growing season; two or three are published for windbreaks (read)",
    )
    years: int = Field(
        3,
        ge=1,
        le=5,
        description="Years of weeding from planting on, or of weeds.neglect; three to five are published (read)",
        json_schema_extra={"unit": "years"},
    )
    prepare: int = Field(
        0,
        ge=0,
        le=6,
        description="Passes in the growing season before planting; a windbreak's site is prepared from the year before on (University of Nebraska-Lincoln, read)",
    )
    neglect: float = Field(
        0.0,
        ge=0,
        le=0.9,
        description="Share of the growth that is lost in weeds.years if weeds are left alone; 0.5 to 0.75 is published for seedlings among annual weeds (Government of Alberta, read)",
    )

    @model_validator(mode="after")
    def _is_weeded_or_not(self):
        if self.passes and self.neglect:
            raise WrongError(
                "weeds are fought and left alone in the same years",
                f"Set {self.key('passes')} = 0 to see what neglect costs, or {self.key('neglect')} = 0",
                self.key("neglect"),
            )
        return self


class Fence(Section):
    """A fence against browsing animals."""

    scheme: Literal["none", FenceScheme] = Field(
        "none",
        description="Round the planting, along the side of the boundary or the inner side, or a cage for each plant",
    )
    animal: Literal["deer", "rabbit", "livestock"] = Field(
        "deer", description="The animal that it is against"
    )
    height: Length | None = Field(
        None, ge=0.2, le=4, description="Its height; by default what keeps most of the animals out"
    )
    years: int | None = Field(
        None,
        ge=1,
        le=20,
        description="Years that it must stand; by default until slow plants are above the animal's reach",
        json_schema_extra={"unit": "years"},
    )
    post_spacing: Length = Field(
        4.2672, ge=0.5, le=30, description="Greatest distance of line posts; 14 ft for woven wire"
    )
    brace_every: Length = Field(
        100.584, ge=5, le=1000, description="Greatest distance of brace assemblies; 330 ft"
    )
    clearance: Length = Field(
        0.3, ge=0, le=5, description="Between the wire and the crowns of its last year"
    )
    boundary: Length = Field(0.3, ge=0, le=20, description="Between the wire and the boundary")
    gates: int = Field(1, ge=0, le=10, description="Gates in each closed fence")
    gate_width: Length = Field(1.2, ge=0.5, le=10, description="Clear width of a gate")
    roll: Length = Field(100.0, ge=1, le=1000, description="Wire or mesh on a roll")
    cage: Length | None = Field(
        None, ge=0.2, le=10, description="Width of a cage; by default what the crowns need"
    )


class Browsing(Section):
    """What animals leave: the views with the leaves within their reach gone. Looked at once a reach is given."""

    reach: Length | None = Field(
        None,
        gt=0,
        le=3,
        description="Height up to which leaves are browsed; deer find most of their food within 6 ft of the ground (Whitetail Institute, read); they leave 1.5 to 1.8 m bare (common practice, no source)",
    )
    from_year: int | None = Field(
        None,
        ge=0,
        le=60,
        description="Year from which on they are gone; by default that in which the fence comes down, without one the first",
        json_schema_extra={"unit": "years"},
    )
    chance: float = Field(
        1.0,
        ge=0,
        le=1,
        description="Chance that it befalls a plant, each by itself; below 1 it is told how likely a view stays closed",
    )


class Calendar(Section):
    """When the work is done."""

    planting: Day | None = Field(
        None, description="Day of planting, such as 2027-04-10; without it days are counted"
    )
    request: str = Field(
        "request_nebraska",
        description="How long a request to have buried lines located holds; the shortest published one unless you name another: ask the locating service where you are",
    )
    request_margin: Length = Field(
        0.5,
        ge=0,
        le=10,
        description="Margin round all ground to be broken in the request to have buried lines located (custom, no source)",
    )
    nesting: str = Field(
        "nesting_march_august",
        description="Months in which birds nest and hedges are not cut; the law where you are decides",
    )


class Crew(Section):
    """Who does the work; how many days it takes follows from it (common practice, no source)."""

    people: int = Field(2, ge=1, le=50, description="How many people work")
    hours: float = Field(8.0, ge=1, le=16, description="Hours that each of them works in a day")


class Cost(Section):
    """Your own prices and rates, in your currency; without them there are quantities only."""

    prices: dict[str, Money] = Field(
        default_factory=dict,
        description="Price of one by item of the table quantities, such as { plant = 42.0, mulch = 4.5 }",
    )
    hours: dict[str, Annotated[float, Field(strict=True, ge=0, le=1000)]] = Field(
        default_factory=dict,
        description="Hours of work for one by item, such as { hole = 0.5, flag = 0.05 }",
    )
    hour: float | None = Field(None, ge=0, le=HIGHEST_PRICE, description="Price of an hour of work")


class Alternatives(Section):
    """What the plan is compared with, side by side: every combination of what is listed."""

    species: tuple[Texts, ...] = Field(
        (), description="Other species; a list in the list is a mixed row"
    )
    stock: tuple[Stock, ...] = Field((), description="Other kinds of stock")
    stock_heights: tuple[PlantHeight, ...] = Field((), description="Other heights of stock")
    spacings: tuple[Annotated[Length, Field(ge=0.1, le=30)], ...] = Field(
        (), description="Other spacings"
    )
    rows: tuple[Literal[1, 2], ...] = Field((), description="Other numbers of rows")

    @property
    def asked(self) -> bool:
        """True if anything is listed."""
        return any(getattr(self, name) for name in type(self).model_fields)
