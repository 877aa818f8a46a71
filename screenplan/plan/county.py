"""What holds for every parcel of a county: which sides are planted, with what, how closely it is looked."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Self

from pydantic import Field, field_validator

from screenplan.contracts.county import SIDE_CLASSES
from screenplan.plan.values import (
    Length,
    PlantHeight,
    Section,
    Texts,
    WrongError,
    instead_of,
    once_each,
)

#: Keys that give something for a class of sides, and the section and key that it takes the place of.
IN_PLACE_OF = {
    "species": ("plants", "species"),
    "stock_height": ("plants", "stock_height"),
    "spacing": ("rows", "spacing"),
    "offset": ("rows", "offset"),
}


class County(Section):
    """A whole file of parcels, one after the other: screenplan county. Its rows are those of [rows] and [plants]."""

    planted: tuple[str, ...] = Field(
        ("side", "rear"),
        min_length=1,
        description="Classes of sides that are planted: front (a road lies across it), rear (it faces away from the longest front), side (all others)",
    )
    species: dict[str, Texts] = Field(
        default_factory=dict,
        description='Species of a class of sides, such as { "rear" = "thuja_plicata" }; by default plants.species',
    )
    stock_height: dict[str, PlantHeight] = Field(
        default_factory=dict,
        description='Height when planted, by class of sides, such as { "rear" = "0.9 m" }; by default plants.stock_height',
    )
    spacing: dict[str, Annotated[Length, Field(ge=0.1, le=30)]] = Field(
        default_factory=dict,
        description='Distance between plants, by class of sides, such as { "rear" = "2 m" }; by default rows.spacing',
    )
    offset: dict[str, Annotated[Length, Field(ge=0, le=200)]] = Field(
        default_factory=dict,
        description='Distance of the row from the boundary, by class of sides, such as { "rear" = "3 m" }; by default rows.offset',
    )
    rays: int = Field(
        20_000,
        ge=0,
        le=10_000_000,
        description="Rays that are followed for a parcel at most, about: its places are looked at in a wider grid than views.target_spacing until there are no more; 0 for the grid of [views]",
    )
    seconds: float = Field(
        120.0, gt=0, le=86_400, description="Processor time for a parcel; one that takes more is set aside and listed",
        json_schema_extra={"unit": "s"},
    )  # fmt: skip

    @field_validator("planted", mode="after")
    @classmethod
    def _classes_once(cls, names):
        _check_classes(names)
        return once_each(names)

    @field_validator(*IN_PLACE_OF, mode="after")
    @classmethod
    def _by_class(cls, values: Mapping[str, Any]):
        _check_classes(values)
        return values

    def designs(self) -> dict[tuple[tuple[str, Any], ...], tuple[str, ...]]:
        """Give the planted classes of sides by what holds for them: keys of `IN_PLACE_OF` and their values.

        Examples
        --------
        >>> County(spacing={"rear": "2 m"}).designs()
        {(): ('side',), (('spacing', 2.0),): ('rear',)}
        """
        found: dict[tuple, tuple[str, ...]] = {}
        for name in (name for name in SIDE_CLASSES if name in self.planted):
            own = tuple(
                (key, getattr(self, key)[name]) for key in IN_PLACE_OF if name in getattr(self, key)
            )
            found[own] = (*found.get(own, ()), name)
        return found

    def without(self) -> Self:
        """Give the section with nothing said by class."""
        return self.model_copy(update={key: {} for key in IN_PLACE_OF})


def _check_classes(names) -> None:
    for name in names:
        if name not in SIDE_CLASSES:
            raise WrongError(f"'{name}' is no class of sides", instead_of(name, SIDE_CLASSES))
