"""Plants by year: their sizes, and the first year in which something holds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely

from screenplan.errors import refuse
from screenplan.planting.growth import GROWTHS, clear_stem_at, height_at, spread_at, width_at
from screenplan.planting.species import Species, load_species, species_of

TYPICAL = GROWTHS.index("typical")
#: Things closer than this touch: the precision to which a stake is set.
TOUCH_M = 0.005


@dataclass(frozen=True)
class Sizes:
    """Sizes of plants by year.

    Parameters
    ----------
    height, radius, clear, across : ndarray, (plants, growths, years)
        Metres; growths low, typical, high; years from 0. ``across`` is half the width across the
        row, which is less than the radius in a hedge that is kept narrow.
    """

    height: np.ndarray
    radius: np.ndarray
    clear: np.ndarray
    across: np.ndarray

    @property
    def years(self) -> int:
        """Last year."""
        return self.height.shape[2] - 1


def grow_plants(
    plants, *, years: int, curve: str, table: Mapping[str, Species] | None = None
) -> Sizes:
    """Grow plants through the years, low, typical and high.

    Parameters
    ----------
    plants : GeoDataFrame
        Layer of the contract.
    years : int
        Last year, 1 or more.
    curve : {"smooth", "straight"}
    table : mapping, optional
        The species table, by default the shipped one.
    """
    if years != int(years) or years < 1:
        raise refuse(f"{years!r} is no last year", "Give a whole number of 1 or more", key="years")
    table = load_species() if table is None else table
    when = np.arange(int(years) + 1)
    sizes = np.zeros((4, len(plants), len(GROWTHS), len(when)))
    kinds = plants["species"].astype(str).to_numpy()
    stock = plants["stock_height_m"].to_numpy(float)
    stands = plants["existing"].fillna(False).to_numpy(bool)
    grown: dict[tuple[str, float, bool], np.ndarray] = {}
    for row, sort in enumerate(zip(kinds, stock, stands, strict=True)):
        if sort not in grown:
            grown[sort] = _sizes(species_of(sort[0], table), sort[1], sort[2], when, curve)
        sizes[:, row] = grown[sort]
    return Sizes(*sizes)


def _sizes(species: Species, stock: float, stands: bool, when, curve: str) -> np.ndarray:
    sizes = np.zeros((4, len(GROWTHS), len(when)))
    for g, growth in enumerate(GROWTHS):
        height = height_at(
            species, when, growth=growth, stock_height_m=stock, curve=curve, established=stands
        )
        sizes[:, g] = (
            height,
            spread_at(species, height, growth) / 2,
            clear_stem_at(species, height),
            width_at(species, height, growth) / 2,
        )
    return sizes


def first_years(holds) -> dict[str, int | None]:
    """First year in which something holds, by growth, under the names of the columns.

    Parameters
    ----------
    holds : ndarray of bool, (growths, years)
        Low, typical, high growth.

    Returns
    -------
    dict
        ``year_low``, ``year``, ``year_high``; None where it never does.
    """
    found = [int(row.argmax()) if row.any() else None for row in np.asarray(holds, bool)]
    return dict(zip(("year_low", "year", "year_high"), found, strict=True))


def earliest(years: Mapping[str, int | None]) -> int | None:
    """Earliest of the years of all growths."""
    there = [year for year in years.values() if year is not None]
    return min(there) if there else None


def points_of(plants) -> np.ndarray:
    """Points of a layer of plants."""
    return plants.geometry.to_numpy()


def distances(plants, shape) -> np.ndarray:
    """Distance of each plant from a shape in plan, metres; 0 inside an area."""
    return shapely.distance(points_of(plants), shape)


def numbers(layer, name: str, default: float) -> np.ndarray:
    """Column of a layer as floats, with a default where it or a value is missing."""
    if name not in layer.columns:
        return np.full(len(layer), float(default))
    values = layer[name].astype("Float64").to_numpy(dtype=float, na_value=np.nan)
    return np.where(np.isnan(values), default, values)


def texts(layer, name: str, default: str = "") -> list[str]:
    """Column of a layer as text, with a default where it or a value is missing."""
    if name not in layer.columns:
        return [default] * len(layer)
    return [default if value is None or value != value else str(value) for value in
            layer[name].astype(object).where(layer[name].notna(), None)]  # fmt: skip


def names_of(layer, key: str) -> list[str]:
    """Give the identifiers of a layer's rows; their numbers from 1 where none are given."""
    return [name or str(row + 1) for row, name in enumerate(texts(layer, key))]


def has_rows(layer) -> bool:
    """Tell whether a layer is there and holds something."""
    return layer is not None and len(layer) > 0
