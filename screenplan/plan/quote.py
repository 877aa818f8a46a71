"""What a quote for a customer says besides quantities and prices."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from screenplan.contracts import HIGHEST_PRICE
from screenplan.plan.values import Section


class Quote(Section):
    """A quote for a customer, by your own prices and rates; it is written if any of its keys is given."""

    customer: str = Field("", max_length=200, description="For whom it is")
    valid_days: int = Field(
        30,
        ge=1,
        le=365,
        description="Days for which it holds",
        json_schema_extra={"unit": "days"},
    )
    years: int = Field(
        1,
        ge=1,
        le=10,
        description="Years from planting on whose work and goods it covers, besides all that comes before planting",
        json_schema_extra={"unit": "years"},
    )
    access: float = Field(
        1.0,
        ge=1,
        le=10,
        description="Factor by which the hours are more where the ground is hard to reach (your own)",
    )
    spoil: bool = Field(False, description="Whether the earth that is left over is taken away")
    spoil_price: float | None = Field(
        None,
        ge=0,
        le=HIGHEST_PRICE,
        description="Price to take away a cubic metre of that earth, loosened",
    )
    guarantee: str = Field("", max_length=600, description="What you guarantee, and for how long")
    not_included: tuple[Annotated[str, Field(min_length=1, max_length=200)], ...] = Field(
        (), max_length=30, description="What else is not included"
    )
    margin: float = Field(0.0, ge=0, le=5, description="Share that is added to goods and work")
    tax: float = Field(0.0, ge=0, le=1, description="Share of tax on all of it")

    @property
    def asked(self) -> bool:
        """True if any key is given."""
        return bool(self.model_fields_set)
