"""What is planted, how it grows, what it should screen."""

from __future__ import annotations

from typing import Literal

from pydantic import (
    Field,
    field_validator,
    model_validator,
)

from screenplan.contracts import HIGHEST_PLANT_M
from screenplan.plan.values import (
    LAST_YEAR,
    MOST_MONEY,
    Flag,
    Length,
    Money,
    Section,
    Texts,
    WrongError,
    Years,
    read_length,
)

#: Fewer draws than this say nothing of the tenth that is the earliest, and of the latest.
FEWEST_DRAWS = 100
#: Kinds of stock, and how a plant is taken to grow.
Stock = Literal["plug", "bare_root", "container", "balled"]
Curve = Literal["smooth", "straight"]


class Rows(Section):
    """Where the rows run and how plants stand in them."""

    along: tuple[str, ...] = Field(
        (),
        description="Sides to plant, by name; empty: those across which windows look onto private places",
    )
    offset: Length | None = Field(
        None,
        ge=0,
        le=200,
        description="Distance of the first row from the boundary; by default the least that every rule allows",
    )
    rows: Literal[1, 2] = Field(1, description="One row, or two that are staggered")
    row_distance: Length | None = Field(
        None, gt=0, le=20, description="Distance between two rows; by default 0.866 of the spacing"
    )
    spacing: Length | None = Field(
        None,
        ge=0.1,
        le=30,
        description="Distance between plants in a row; by default the usual one of the species, of several the least",
    )
    fit: Literal["evened", "exact"] = Field(
        "evened",
        description="evened: both ends planted, no gap wider than the spacing; exact: the spacing from the zero peg on, or both ways from a shared corner or a plant that stands",
    )
    move: Length = Field(
        0.0,
        ge=0,
        le=10,
        description="How far a plant may be moved along the row before it is left out",
    )
    fill: bool | None = Field(
        None,
        description="Plant the sides from end to end, also where plants stop no sight line; by default where along names them, or a line is drawn",
    )
    fill_existing: bool = Field(True, description="Fill up gaps of a row that stands already")


class Plants(Section):
    """What is planted."""

    species: Texts = Field(
        "thuja_occidentalis",
        description="Key in the species table, which screenplan species lists; or a list of keys for a mixed row, whose kinds take turns",
    )
    group: int = Field(
        3,
        ge=1,
        le=100,
        description="Plants of one kind side by side in a mixed row, counted on round corners where its lines meet; of three one stands between its own kind. Fewer than three or more than seven are told among the checks",
    )
    stock: Stock = Field("container", description="Kind of stock")
    stock_height: Length | None = Field(
        None,
        gt=0,
        le=HIGHEST_PLANT_M,
        description="Height when planted; by default the species table's",
    )
    raised: Literal["bought", "cuttings", "seed"] = Field(
        "bought",
        description="Whether the plants are bought, or raised by yourself from cuttings or seed",
    )
    raised_years: float | None = Field(
        None,
        gt=0,
        le=20,
        description="Years from taking the cuttings, or sowing, until they are as tall as they are planted; by default by published heights by year, which few kinds have",
        json_schema_extra={"unit": "years"},
    )
    raised_losses: float = Field(
        0.3,
        ge=0,
        lt=1,
        description="Share of the cuttings or seedlings that is lost until then (custom, no source)",
    )

    @model_validator(mode="after")
    def _years_are_of_what_is_raised(self):
        if self.raised == "bought" and self.raised_years is not None:
            raise WrongError(
                "the years of raising are given, but the plants are bought",
                'Write raised = "cuttings" or raised = "seed" too, or leave raised_years out',
                self.key("raised_years"),
            )
        return self


class KeptSize(Section):
    """The size at which the planted rows are kept by clipping; without it they grow freely."""

    called = "kept"

    height: Length | None = Field(
        None,
        gt=0,
        le=HIGHEST_PLANT_M,
        description="Height at which the rows are kept by clipping, such as 3 m; the table kept_sizes proposes one",
    )
    width: Length | None = Field(
        None,
        gt=0,
        le=HIGHEST_PLANT_M,
        description="Width at which they are kept; by default that which a plant of the kept height has",
    )
    in_place: Flag = Field(
        False,
        description="Let the rows stand where they would stand if nobody clipped them; without kept.height they are then kept at the height that the views need. By default a kept row is laid by its own, smaller width",
    )

    @property
    def asked(self) -> bool:
        """True if a size is given."""
        return self.height is not None or self.width is not None


class Growth(Section):
    """How the row grows."""

    curve: Curve = Field(
        "smooth",
        description="smooth: slows towards the mature height; straight: the yearly growth until it is reached",
    )
    years: int = Field(30, ge=1, le=LAST_YEAR, description="Years that are looked at")
    show_years: Years = Field((0, 3, 5, 10, 20), description="Years for which crowns are drawn")
    losses: float = Field(
        0.11,
        ge=0,
        le=0.9,
        description="Share of the plants that die over the first two years: no figure for hedges was found; street trees are an upper bound",
    )
    replaced: int = Field(
        2,
        ge=0,
        le=2,
        description="Years for which the dead are replaced, so that the row stays whole",
        json_schema_extra={"unit": "years"},
    )
    asked_height: Length = Field(
        1.8,
        gt=0,
        le=HIGHEST_PLANT_M,
        description="Height up to which the row should close without a gap",
    )
    asked_from: Length | None = Field(
        None,
        ge=0,
        lt=HIGHEST_PLANT_M,
        description="Height from which it should; by default that of the lowest sight line across the row, or the ground",
    )

    @model_validator(mode="after")
    def _closes_upwards(self):
        if self.asked_from is not None and self.asked_from >= self.asked_height:
            raise WrongError(
                f"the row is asked to close from {{{self.asked_from} m}} up to {{{self.asked_height} m}}",
                "Give a height of {0 m} or more, below the one up to which it should close",
                self.key("asked_from"),
            )
        return self


class Views(Section):
    """How views are looked at."""

    threshold: float = Field(
        0.10,
        ge=0,
        le=0.9,
        description="Share of a view that may stay open for it to count as closed",
    )
    leaves: Literal["opaque", "translucent"] = Field(
        "opaque",
        description="opaque: leaves stop all light; translucent: some passes, by leaf density and the length of the way; the needed height and the sun of others take them as opaque",
    )
    eye_inside: Length = Field(1.0, gt=0, le=5, description="Distance of the eye behind the window")
    eye_seated: Length = Field(
        1.2, gt=0, le=3, description="Height of a seated eye above the floor"
    )
    eye_standing: Length = Field(
        1.6, gt=0, le=3, description="Height of a standing eye above the floor"
    )
    report_years: Years = Field(
        (0, 1, 2, 3, 5, 10, 15, 20, 30),
        description="Years with a column of their own in the layer views",
        json_schema_extra={"unit": "years"},
    )
    eyes_across: int = Field(3, ge=1, le=50, description="Eye positions over the width of a window")
    target_spacing: Length = Field(
        1.0, ge=0.05, le=20, description="Distance between the points of a place that are looked at"
    )
    needed_share: float = Field(
        0.90,
        gt=0,
        le=1,
        description="Share of the rays through each stretch of the line that the needed height stops",
    )
    needed_step: Length = Field(
        1.0, ge=0.1, le=20, description="Length of the stretches for which it is told"
    )
    missing_year: int = Field(
        10,
        ge=0,
        le=LAST_YEAR,
        description="Year in which the views are looked at with one plant missing at a time",
    )
    onlooker_spacing: Length = Field(
        5.0, ge=0.5, le=100, description="Distance between the eyes of people who walk along a line"
    )
    onlooker_reach: Length = Field(
        60.0, gt=0, le=500, description="People out of doors farther away than this do not count"
    )


class Hand(Section):
    """Plants or money in hand."""

    plants: int | None = Field(
        None, ge=1, le=1_000_000, description="Plants that you have or are offered"
    )
    budget: float | None = Field(
        None, gt=0, le=MOST_MONEY, description="Money for plants, in your currency"
    )
    prices: dict[str, Money] = Field(
        default_factory=dict, description='Price of one plant by its height, such as "0.6 m" = 9.50'
    )

    @model_validator(mode="after")
    def _prices_stand_by_heights(self):
        key = self.key("prices")
        if self.budget is not None and not self.prices:
            raise WrongError(
                "a budget is given without prices",
                "Give the price of a plant for each stock height",
                key,
            )
        try:
            lowest = min(self.price_by_height, default=None)
        except WrongError as error:
            raise WrongError(error.what, error.mend, key) from None
        if lowest is not None and not lowest > 0:
            raise WrongError(
                f"a price is given for a stock height of {{{lowest} m}}",
                "Give heights above {0 m}",
                key,
            )
        return self

    @property
    def price_by_height(self) -> dict[float, float]:
        """Price of one plant by its height in metres."""
        return {read_length(height): price for height, price in self.prices.items()}


class Goal(Section):
    """What the plan must reach; a plan that misses it ends with exit code 1."""

    closed_by: int | None = Field(
        None,
        ge=0,
        le=LAST_YEAR,
        description="Year by which the views should be closed and crowns should meet up to growth.asked_height, typical growth; without it only a plan that closes no view fails",
    )
    share: float = Field(
        1.0,
        gt=0,
        le=1,
        description="Share of the views (weighted by place) that should be closed by then",
    )


class Chance(Section):
    """How growth, crowns and losses are drawn: the range of a view's year, and how likely it is closed by a year."""

    draws: int = Field(
        10_000,
        ge=0,
        le=1_000_000,
        description="Draws of growth, width, profile and losses (growth.losses); 0 for none. Of 10,000 a chance is within 0.01",
    )
    seed: int = Field(
        0, ge=0, le=2**31 - 1, description="Another seed draws other numbers; the same one the same"
    )
    year: int | None = Field(
        None,
        ge=0,
        le=LAST_YEAR,
        description="Year by which the chance is told; by default design.year where the planting is designed, goal.closed_by, or year 10",
    )

    @field_validator("draws", mode="after")
    @classmethod
    def _enough(cls, draws):
        if 0 < draws < FEWEST_DRAWS:
            raise WrongError(
                f"{draws} draws are too few for a tenth of them",
                f"Write {FEWEST_DRAWS} or more, or 0 for none",
            )
        return draws
