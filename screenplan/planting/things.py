"""Things that plants keep clear of, of several lots at once: what each is, where it lies, how wide it is."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screenplan.contracts.tables import has_rows, numbers, texts
from screenplan.planting.clearing import ARC_EXCESS_M
from screenplan.rules.ruleset import KEEP_OUT_FEATURES, keep_out_kind
from screenplan.site.lots import Lots, Many
from screenplan.site.ragged import firsts
from screenplan.site.steady import natural_key

#: A tree whose spread is unknown is taken half as wide as it is high (common practice, no source).
SPREAD_OF_UNKNOWN_TREE = 0.5
#: A road whose width is unknown is taken so wide, metres (common practice, no source).
WIDTH_OF_UNKNOWN_ROAD_M = 6.0
#: Things are looked for so much farther off than they can matter, metres: who is near enough is judged once, later.
SLACK_M = 0.01


@dataclass(frozen=True)
class Thing:
    """A thing to keep clear of: its geometry, and its half width from there to its outside edge."""

    feature: str
    kind: str
    layer: str
    geometry: shapely.Geometry
    edge_m: float = 0.0
    note: str = ""


@dataclass(frozen=True)
class Near:
    """A thing as one lot has it: the lot's number, the thing, and what the lot calls it."""

    lot: int
    thing: Thing
    name: str


def things_near(lots: Lots, private_places: Many | None, farthest_m: float) -> list[Near]:
    """Give what may have to be kept clear of.

    Parameters
    ----------
    lots : Lots
        With buildings, utilities, keep-outs, roads and existing screens if there are any.
    private_places : Many, optional
        Derived ones give way to the row, and are left out.
    farthest_m : float
        The greatest distance that any rule keeps, metres.

    Returns
    -------
    list of Near
        By lot; of a lot by layer, its boundary first, and by name, so that nothing hangs on the order of a file.
    """
    outlines = shapely.boundary(lots.outlines)
    boundary = [
        Near(lot, Thing("boundary", "", "parcels", line), name)
        for lot, (line, name) in enumerate(zip(outlines, lots.names, strict=True))
    ]
    around = [things_of(lots, layer, farthest_m) for layer in READ]
    # By lot; the order of the layers stays.
    return sorted(
        [*boundary, *(one for part in around for one in part), *_places(private_places)],
        key=lambda near: near.lot,
    )


def things_of(lots: Lots, layer: str, farthest_m: float = math.inf) -> list[Near]:
    """Give the things of one layer that may matter to each lot, by lot and name; see `things_near`."""
    rows = lots.around.get(layer)
    if not has_rows(rows):
        return []
    key, read = READ[layer]
    things = read(rows)
    # A tree's root zone lies round its middle, wherever its outline is.
    widest = max((thing.edge_m for thing in things if thing), default=0.0)
    within = math.inf if layer == "existing_screens" else farthest_m + widest + ARC_EXCESS_M + SLACK_M  # fmt: skip
    lot, row = lots.near(layer, within)
    names = _names(rows, key)[row]
    nameless = pd.isna(names)
    if nameless.any():
        names[nameless] = _counted(lots, layer, lot, row)[nameless]
    return _in_order(lot, [things[k] for k in row], names)


def _places(places: Many | None) -> list[Near]:
    """Give the private places that are given."""
    if places is None or not len(places.layer):
        return []
    given = numbers(places.layer, "derived", 0.0) == 0.0
    shapes = places.shapes
    row = np.flatnonzero(given & ~(shapely.is_missing(shapes) | shapely.is_empty(shapes)))
    lot, names = places.lot[row], _names(places.layer, "place_id")[row]
    names = np.where(pd.isna(names), row - places.first[lot] + 1, names)
    things = [Thing("private_place", "", "private_places", shape) for shape in shapes[row]]
    return _in_order(lot, things, names)


def _names(layer: gpd.GeoDataFrame, key: str) -> np.ndarray:
    """Give what the rows of a layer are called, empty where nobody says."""
    if key not in layer.columns:
        return np.full(len(layer), None, dtype=object)
    return layer[key].to_numpy(dtype=object)


def _in_order(lot: np.ndarray, things: Sequence[Thing | None], names: np.ndarray) -> list[Near]:
    """Give things by lot and name, those of one name as they come; None is nothing to keep clear of."""
    near = [
        Near(owner, thing, str(name))
        for owner, thing, name in zip(lot.tolist(), things, names, strict=True)
        if thing is not None
    ]
    keys = {name: natural_key(name) for name in {one.name for one in near}}
    return sorted(near, key=lambda one: (one.lot, keys[one.name]))


def _counted(lots: Lots, layer: str, lot: np.ndarray, row: np.ndarray) -> np.ndarray:
    """Count rows from 1 among those that their lots have by themselves."""
    if math.isinf(lots.reach_m):
        return row + 1
    owner, held = lots.near(layer)
    width = len(lots.around[layer])
    at = np.searchsorted(owner * width + held, lot * width + row)
    return at - firsts(np.bincount(owner, minlength=len(lots)))[lot] + 1


def _words(layer: gpd.GeoDataFrame, name: str, default: str) -> list[str]:
    """Give a column of texts; blanks alone are none."""
    return [text if text.strip() else default for text in texts(layer, name, default)]


def _shapes(layer: gpd.GeoDataFrame) -> np.ndarray:
    return layer.geometry.to_numpy()


def _buildings(layer: gpd.GeoDataFrame) -> list[Thing | None]:
    kinds = _words(layer, "kind", "house")
    return [
        Thing("building", kind, "buildings", shape)
        for kind, shape in zip(kinds, _shapes(layer), strict=True)
    ]


def _utilities(layer: gpd.GeoDataFrame) -> list[Thing | None]:
    positions, kinds = _words(layer, "position", "buried"), _words(layer, "kind", "")
    half = (numbers(layer, "diameter_m", 0.0) / 2.0).tolist()
    return [
        Thing(position, kind, "utilities", shape, edge if position == "buried" else 0.0)
        for position, kind, shape, edge in zip(positions, kinds, _shapes(layer), half, strict=True)
    ]


def _keep_outs(layer: gpd.GeoDataFrame) -> list[Thing | None]:
    kinds = map(keep_out_kind, _words(layer, "kind", "keep_out"))
    return [
        Thing(kind if kind in KEEP_OUT_FEATURES else "keep_out", kind, "keep_outs", shape)
        for kind, shape in zip(kinds, _shapes(layer), strict=True)
    ]


def _roads(layer: gpd.GeoDataFrame) -> list[Thing | None]:
    half = (numbers(layer, "width_m", WIDTH_OF_UNKNOWN_ROAD_M) / 2.0).tolist()
    return [
        Thing("road", "", "roads", shape, edge)
        for shape, edge in zip(_shapes(layer), half, strict=True)
    ]


def _screens(layer: gpd.GeoDataFrame) -> list[Thing | None]:
    kinds, flat = _words(layer, "kind", ""), shapely.area(_shapes(layer)) == 0.0
    width, root = numbers(layer, "width_m", math.nan), numbers(layer, "root_zone_m", math.nan)
    height = numbers(layer, "height_m", 0.0)
    things: list[Thing | None] = []
    for row, (kind, shape) in enumerate(zip(kinds, _shapes(layer), strict=True)):
        # Plants are members of a row.
        if kind == "plant":
            things.append(None)
            continue
        unknown, note = math.isnan(width[row]), ""
        half = float(width[row]) / 2.0 if flat[row] and not unknown else 0.0
        if kind == "tree":
            if not math.isnan(root[row]):
                shape, half = shapely.centroid(shape), float(root[row])
            elif flat[row] and unknown:
                half = SPREAD_OF_UNKNOWN_TREE * float(height[row]) / 2.0
                note = f"; its spread is not given and taken as {{{2 * half:.1f} m}}"
        things.append(Thing(kind, kind, "existing_screens", shape, half, note))
    return things


#: The layers in which things are looked for, in their order: the column of names, and how they are read.
READ: Mapping[str, tuple[str, Callable[[gpd.GeoDataFrame], list[Thing | None]]]] = {
    "buildings": ("building_id", _buildings),
    "utilities": ("utility_id", _utilities),
    "keep_outs": ("keep_out_id", _keep_outs),
    "roads": ("road_id", _roads),
    "existing_screens": ("screen_id", _screens),
}
