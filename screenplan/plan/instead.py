"""What is compared with planting: a fence, a wall, a trellis, an awning, the place moved."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from screenplan.plan.values import Identifier, Length, Money, Section, once_each

#: What stands along the boundary.
Upright = Literal["fence", "wall", "trellis"]


class Instead(Section):
    """What is compared with planting, side by side; nothing until it is named."""

    compare: Annotated[
        tuple[Literal[Upright, "awning", "place_moved"], ...], AfterValidator(once_each)
    ] = Field(
        (),
        description="What is compared with planting: fence, wall, trellis (along the boundary), awning (over the place), place_moved (to where fewest look at it)",
    )
    design: bool = Field(
        False,
        description="Whether a design may choose a fence, wall or trellis too, whichever has a price, along the sides or parts of them where it and the plants beside it cost least; tries every set of up to four sides, then stretches of them",
    )
    along: tuple[Identifier, ...] = Field(
        (),
        description="Sides along which the fence, wall or trellis stands; by default those that are planted, or all; of a design those along which it may stand, by default all",
    )
    code: str = Field(
        "fence_3_6ft",
        description="Code that says how tall a fence may be at the front, the sides and the rear; one that was published, not yours: ask your own",
    )
    front: Length | None = Field(
        None,
        ge=0,
        le=10,
        description="Height at sides across which a road lies; by default what the code allows",
    )
    side: Length | None = Field(
        None, ge=0, le=10, description="Height at the other sides; by default what the code allows"
    )
    rear: Length | None = Field(
        None,
        ge=0,
        le=10,
        description="Height at the side away from the road; by default what the code allows",
    )
    inset: Length = Field(
        0.1,
        ge=0,
        le=10,
        description="Distance of the fence from the boundary (custom, no source; many codes ask for consent on the line)",
    )
    trellis_open: float = Field(
        0.3,
        ge=0,
        lt=1,
        description="Share of the light that a trellis lets through (custom, no source)",
    )
    awning_height: Length = Field(
        2.3, ge=1.5, le=6, description="Height of the awning above the place (custom, no source)"
    )
    awning_depth: Length | None = Field(
        None,
        gt=0,
        le=30,
        description="How far the awning reaches out from the house; by default over the whole place",
    )
    move_step: Length = Field(
        2.0, ge=0.5, le=50, description="Distance between the spots to which the place is moved"
    )
    prices: dict[Literal[Upright, "awning"], Money] = Field(
        default_factory=dict,
        description="Price of a metre of fence, wall or trellis and of a square metre of awning, such as { fence = 90.0 }",
    )

    def price_of(self, option: str) -> float | None:
        """Give the price of a metre of a fence, wall or trellis, or of a square metre of awning; None without one."""
        return next((price for what, price in self.prices.items() if what == option), None)
