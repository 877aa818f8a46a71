"""Plants by year: their sizes, and the first year in which something holds."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely

from screenplan.ground.errors import refuse
from screenplan.planting.footprints import boxes_of, crown_areas, ways_of
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
    box : ndarray of bool, (plants,)
        Whether the crown is a box along its row.
    way : ndarray, (plants, 2)
        Direction of the row at each plant, of length 1.
    """

    height: np.ndarray
    radius: np.ndarray
    clear: np.ndarray
    across: np.ndarray
    box: np.ndarray
    way: np.ndarray

    @property
    def years(self) -> int:
        """Last year."""
        return self.height.shape[2] - 1

    @property
    def farthest(self) -> np.ndarray:
        """Greatest distance of a crown's edge from its stem, metres, as the sizes are."""
        box = self.box[:, None, None]
        return np.where(box, np.hypot(self.radius, self.across), self.radius)

    def areas(self, plants, growth: int, year: int) -> np.ndarray:
        """Polygons of the crowns in plan, by plant."""
        radius, across = self.radius[:, growth, year], self.across[:, growth, year]
        return crown_areas(points_of(plants), radius, across, self.box, self.way)


@dataclass(frozen=True)
class Meeting:
    """Where the crowns of plants meet a thing in plan.

    Parameters
    ----------
    away : ndarray, (plants,)
        Distance from the stem to the thing, metres; of a box that meets it to what it meets.
    reach : ndarray, (plants, growths, years)
        How far the crown reaches towards that, metres.
    holds : ndarray of bool, (plants, growths, years)
        Whether the crown covers some of the thing, touching apart.
    """

    away: np.ndarray
    reach: np.ndarray
    holds: np.ndarray


def meet(plants, sizes: Sizes, shape, slack_m: float = 0.0) -> Meeting:
    """Find when crowns meet a thing in plan: round ones by distance, boxes by their outline.

    Parameters
    ----------
    plants : GeoDataFrame
    sizes : Sizes
        Of the same plants.
    shape : Geometry
        The thing.
    slack_m : float
        A crown that reaches so far into the thing only touches it, metres.
    """
    away = distances(plants, shape)
    reach = sizes.radius.copy()
    holds = sizes.radius > away[:, None, None] + slack_m
    near = away < sizes.farthest.max(axis=(1, 2), initial=0.0)
    for plant in np.flatnonzero(sizes.box):
        holds[plant] = False
        if not near[plant]:
            continue
        away[plant], reach[plant], holds[plant] = _meet_box(
            points_of(plants)[plant], sizes.way[plant], sizes.radius[plant], sizes.across[plant],
            shape, slack_m,
        )  # fmt: skip
    return Meeting(away, reach, holds)


def _meet_box(stem, way, along, across, shape, slack_m: float):
    """Give distance, reach and years of one box; see `meet`."""
    half = np.stack([along.ravel(), across.ravel()], axis=1)
    sizes, which = np.unique(half, axis=0, return_inverse=True)
    inner = np.maximum(sizes - slack_m, 0.0)
    boxes = crown_areas(
        np.full(len(sizes), stem, object), *inner.T, np.ones(len(sizes), bool),
        np.tile(way, (len(sizes), 1)),
    )  # fmt: skip
    met = shapely.intersects(boxes, shape)
    holds = met[which].reshape(along.shape)
    away = float(shapely.distance(stem, shape))
    widest = int(np.argmax(sizes.sum(axis=1)))
    if not met[widest]:
        return away, across, holds
    first = shapely.shortest_line(stem, shapely.intersection(boxes[widest], shape))
    u = np.diff(shapely.get_coordinates(first), axis=0)[0]
    length = float(np.hypot(*u))
    if length == 0.0:
        return 0.0, across, holds
    ahead, aside = abs(u @ way) / length, abs(u[1] * way[0] - u[0] * way[1]) / length
    with np.errstate(divide="ignore"):
        reach = np.minimum(
            along / ahead if ahead > 0.0 else np.inf, across / aside if aside > 0.0 else np.inf
        )
    return length, reach, holds


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
        raise refuse(
            f"{years!r} is no last year", "Give a whole number of 1 or more", key="growth.years"
        )
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
    return Sizes(*sizes, boxes_of(plants, table), ways_of(plants))


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
