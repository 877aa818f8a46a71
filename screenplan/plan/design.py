"""What a design of the planting chooses among, and what it must keep to."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, field_validator

from screenplan.contracts import HIGHEST_PLANT_M
from screenplan.plan.values import LAST_YEAR, MOST_MONEY, Length, PlantHeight, Section, WrongError

#: Year by which views are closed where neither the design nor the goal says one.
USUAL_YEAR = 10
#: Chance with which views are closed unless the plan says another.
USUAL_CHANCE = 0.8


class Design(Section):
    """Let the program choose what is planted: kinds, sizes, spacings and stretches, for the least money."""

    wanted: bool = Field(
        False,
        description="Choose the planting; sides, species, spacing, offset and stock that the plan names in [rows] and [plants] are kept to",
    )
    year: int | None = Field(
        None,
        ge=1,
        le=LAST_YEAR,
        description=f"Year by which the views should be closed; by default goal.closed_by, else {USUAL_YEAR}, or growth.years where that is less",
    )
    chance: float = Field(
        USUAL_CHANCE,
        ge=0,
        le=0.99,
        description="Share of the draws of growth, crowns and losses in which a view should be closed by then; 0 to plan by typical growth alone, with which about half of the draws are late",
    )
    budget: float | None = Field(
        None,
        gt=0,
        le=MOST_MONEY,
        description="Most that the plants may cost, by the prices of [cost] or [hand]; by default hand.budget",
    )
    kinds: tuple[str, ...] = Field(
        (),
        max_length=20,
        description="Species to choose among, a clipped hedge as one of the shape box; by default hardy evergreens of which none else makes more screen in as little room by that year",
    )
    most_kinds: int = Field(2, ge=1, le=20, description="Species that may be planted")
    stock_heights: tuple[PlantHeight, ...] = Field(
        (),
        max_length=10,
        description="Heights of stock to choose among; by default those that have a price in hand.prices, else the usual one of each species",
    )
    spacings: tuple[Annotated[Length, Field(ge=0.1, le=30)], ...] = Field(
        (),
        max_length=10,
        description="Spacings to choose among; by default the usual one of each species, and 0.7 of it",
    )
    least_run: int = Field(
        3,
        ge=1,
        le=100,
        description="Plants of one kind that stand side by side at least; where rows.rows = 2, in the first row, with those of the second between them",
    )
    least_gap: int = Field(
        3,
        ge=1,
        le=100,
        description="Stations that are left free between two runs of a row at least: a narrower gap looks as if plants had died",
    )
    two_rows: bool = Field(
        False,
        description="Choose among two staggered rows too; with rows.rows = 2 among these alone. Off by default: on four real lots plants cost the same on three and 6 % more on one, where six of 106 views more were sure, and the design took twice as long",
    )
    groups: tuple[Annotated[int, Field(ge=1, le=100)], ...] = Field(
        (),
        max_length=2,
        description="Fewest and most plants of one kind that stand side by side, such as [3, 7]: each row is then of two kinds that take turns in groups of so many, and that host no common disease; where rows meet no two plants of one kind stand side by side; by default each run is of one kind",
    )
    kinds_in_turn: int = Field(
        2,
        ge=2,
        le=3,
        description="Kinds that take turns in each row of groups: 2 or 3; for 3 set most_kinds = 3 or more. A short run may hold two of the three",
    )
    closed_without_one: float | None = Field(
        None,
        gt=0,
        le=1,
        description="Share of the views that are asked for and can be closed, by weight, that must stay closed if all plants of any one kind (with its own clipped hedge) die out, such as 0.5, by the year of the design at typical growth; by default nothing is asked. Of a single row of kinds in turn much opens, so that more asks for rows behind each other",
    )
    hedge_height: Length | None = Field(
        None,
        gt=0,
        le=HIGHEST_PLANT_M,
        description="Height at which hedges are kept by clipping, such as 2 m: hedge plants clipped to it are then among the kinds to choose from, each under its name and _clipped; by default only those of the plan's own species, because clipping each year is no part of a plant's price. On four real lots (2 m high) plants cost 6 % and 9 % more, and 2 % and 22 % less than without, and on all but the first more views were closed, or surely",
    )
    hedge_width: Length = Field(
        0.9, gt=0, le=HIGHEST_PLANT_M, description="Width at which such hedges are kept"
    )
    inner: bool = Field(
        True,
        description="Choose among lines beside the private places too, not along the sides only; where the outline is not known, along the line that is given only",
    )
    weights: dict[str, Annotated[float, Field(strict=True, ge=0, le=1000)]] = Field(
        default_factory=dict,
        description='How much a view matters, by its name or that of its window, onlooker or place, such as { "w3" = 2.0, "p1" = 0.0 }; times the weight of the place',
    )
    choices: bool = Field(
        True,
        description="Find a few other plantings beside the chosen one: surer, sooner, later, cheaper; half a dozen designs more, for which the solver has less time",
    )
    open_price: float | None = Field(
        None,
        gt=0,
        le=MOST_MONEY,
        description="Money for which a view of weight 1 may stay open; by default none is left open to save money",
    )
    compare: bool = Field(
        True,
        description="Where [rows] or [plants] name sides, offset, spacing, species or stock height, work out the design without them too, and tell what it would save or close; takes as long again",
    )
    seconds: float = Field(
        4.0, ge=0, le=3600, description="Processor time for the solver; then the best planting found stands, with its gap. A busy machine takes longer and finds about as much",
        json_schema_extra={"unit": "s"},
    )  # fmt: skip

    @field_validator("groups", mode="after")
    @classmethod
    def _range(cls, groups):
        if groups and (len(groups) != 2 or groups[0] > groups[1]):
            raise WrongError(
                f"{list(groups)} is no range of plants of a group",
                "Write the fewest and the most, such as [3, 7]",
            )
        return groups
