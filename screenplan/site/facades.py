"""Windows worked out from footprints: where a neighbour's house could look at the subject."""

from __future__ import annotations

from collections.abc import Callable

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import ArrayLike

from screenplan.contracts import WINDOWS
from screenplan.contracts.tables import layer_of_columns
from screenplan.plan import Options
from screenplan.site.compass import POINTS, compass_point
from screenplan.site.floors import floors_of, storeys_of
from screenplan.site.looks import points_of, see_targets
from screenplan.site.lots import Lots, Many
from screenplan.site.ownership import parcels_of, sound, subject_outline
from screenplan.site.ragged import firsts, numbered
from screenplan.site.shaping import column_or
from screenplan.site.steady import EQUAL_M, natural_key
from screenplan.site.terrain import Terrain, ground_at
from screenplan.site.wall_places import BESIDE_M, window_places

#: Kinds of building from which nobody is taken to look out, words of OpenStreetMap's key `building`, of
#: INSPIRE's current uses and of the French topographic base among them.
NOT_LIVED_IN = frozenset(
    {"shed", "garage", "carport", "barn", "greenhouse", "deck", "porch", "roof", "ruin", "outbuilding",
     "farm_auxiliary", "stable", "cowshed", "sty", "silo", "storage_tank", "transformer_tower", "hangar",
     "agriculture", "ancillary", "agricole", "annexe"}
)  # fmt: skip


def derive_windows(
    parcels: gpd.GeoDataFrame,
    buildings: gpd.GeoDataFrame,
    terrain,
    plan: Options,
) -> tuple[gpd.GeoDataFrame, int]:
    """Put windows into the walls that look towards the subject, storey by storey; and how many would lie under the ground.

    Every building that is lived in, does not stand on the subject and is within reach gets them:
    also one whose parcel is not in the layer. Along a stretch of straight wall of 2 m or more
    that no other building adjoins they are evenly spaced, no farther apart than ``windows.spacing`` but
    for the 5 cm by which a file may be out. A window stays if some point of the subject within ``windows.reach`` lies before its wall, at more
    than 30° to it, and is not hidden by the building itself. They are numbered round each building,
    as `screenplan.site.walls.walls_of` gives its walls: the names follow the site, and neither the
    order of the file nor its system. Where a house is built into a slope, there are none under the ground.

    Parameters and result are those of `screenplan.site.windows.lay_windows`.
    """
    subject_outline(parcels)
    lots = Lots.one({"parcels": parcels, "buildings": buildings})
    windows, buried = derive_windows_each(lots, terrain=terrain, plan=plan)
    return windows.layer, int(buried[0])


def derive_windows_each(
    lots: Lots, *, terrain: Terrain | None, plan: Options
) -> tuple[Many, np.ndarray]:
    """Put windows into the walls that look towards each of several lots; see `derive_windows`.

    Parameters
    ----------
    lots : Lots
        Around them ``buildings``, which have names if there are several lots. Their reach is that of windows
        and `BESIDE_M` at least.
    terrain : Terrain, optional
    plan : Options

    Returns
    -------
    windows : Many
        Contract ``windows``.
    buried : ndarray of int, (lots,)
        How many windows of each would lie under the ground.
    """
    parcels, buildings = lots.around["parcels"], lots.around["buildings"]
    footprints = sound(buildings.geometry.to_numpy())
    ids = building_names(buildings)
    like = plan.windows
    lot, house = _houses_near(lots, footprints, ids, like.reach)
    which, of, unseen = _as_reached(lots, footprints, (lot, house), like.reach)
    places = window_places(footprints, which, like.spacing, unseen)
    count = np.bincount(places.of, minlength=len(which))
    pair, number = numbered(count[of])
    asked = firsts(count)[of][pair] + number
    looks = see_targets(places, footprints, asked, lot[pair], points_of(lots.outlines), like.reach)
    place, pair = asked[looks], pair[looks]
    storeys = storeys_of(buildings, plan.site.storey_height)
    row, storey = _storey_by_storey(pair, storeys[house], len(house))
    wall = compass_point(places.facing_deg)[place]
    on_wall = _number_of_its_kind(pair * len(POINTS) + wall)[row]
    place, pair, wall = place[row], pair[row], wall[row]
    floor_m = floors_of(buildings, terrain)[house[pair]]
    floor_m = floor_m + storey * plan.site.storey_height
    eye_m = max(plan.views.eye_seated, plan.views.eye_standing)
    ground = ground_at(terrain, places.xy)[place]
    under = lies_buried(floor_m + like.sill + like.height, floor_m + eye_m, ground)
    buried = np.bincount(lot[pair[under]], minlength=len(lots))
    place, pair, storey, wall, on_wall, floor_m = (
        part[~under] for part in (place, pair, storey, wall, on_wall, floor_m)
    )
    numbers = places.number

    def name_window(place: int, storey: int) -> str:
        return f"{ids[places.building[place]]}-w{numbers[place]}-s{storey}"

    def call_window(storey: int, on_wall: int, wall: int) -> str:
        return f"{_storey_name(storey)} {on_wall}, {POINTS[wall]} wall"

    columns = {
        "window_id": _told_each(name_window, place, storey),
        "name": _told_each(call_window, storey, on_wall, wall),
        "building_id": np.array(ids, dtype=object)[house[pair]],
        "storey": storey,
        "sill_m": storey * plan.site.storey_height + like.sill,
        "height_m": np.full(len(storey), like.height),
        "width_m": np.full(len(storey), like.width),
        "facing_deg": places.facing_deg[place],
        "floor_m": floor_m,
        "derived": np.ones(len(storey), dtype=bool),
    }
    layer = layer_of_columns(WINDOWS, columns, shapely.points(places.xy)[place], parcels.crs)
    return Many(layer, lot[pair], len(lots)), buried


def _houses_near(
    lots: Lots, footprints: np.ndarray, ids: list[str], reach_m: float
) -> tuple[np.ndarray, np.ndarray]:
    """Find the houses that may look at lots, (pairs,): which lot, which building; by lot, then as people order names."""
    buildings = lots.around["buildings"]
    owner = parcels_of(buildings, lots.around["parcels"])
    lived_in = is_lived_in(column_or(buildings, "kind", "house"))
    lot, house = _near(lots.outlines, footprints, reach_m)
    others = owner[house] != np.array(lots.names, dtype=object)[lot]
    looked_from = lived_in[house] & others
    lot, house = lot[looked_from], house[looked_from]
    rank = np.empty(len(ids), dtype=int)
    rank[sorted(range(len(ids)), key=lambda item: natural_key(ids[item]))] = np.arange(len(ids))
    order = np.lexsort((rank[house], lot))
    return lot[order], house[order]


def _as_reached(
    lots: Lots, footprints: np.ndarray, pairs: tuple[np.ndarray, np.ndarray], reach_m: float
) -> tuple[np.ndarray, np.ndarray, tuple[np.ndarray, np.ndarray]]:
    """Give each house once, and by itself for each lot that does not reach all that stands beside it.

    Returns
    -------
    which : ndarray of int
        Buildings.
    of : ndarray of int, (pairs,)
        That of each pair of a lot and a house, by its place in ``which``.
    unseen : (ndarray of int, ndarray of int)
        Places in ``which``, and a building beside it that lies beyond the reach.
    """
    lot, house = pairs
    which, of = np.unique(house, return_inverse=True)
    west, south, east, north = shapely.bounds(footprints[house]).T
    large = np.hypot(east - west, north - south) + reach_m + BESIDE_M > lots.reach_m
    pair = np.flatnonzero(large)
    if not len(pair):
        return which, of, (pair, pair)
    at, beside = shapely.STRtree(footprints).query(
        footprints[house[pair]], predicate="dwithin", distance=BESIDE_M
    )
    outlines = lots.outlines[lot[pair[at]]]
    beyond = ~shapely.dwithin(outlines, footprints[beside], lots.reach_m)
    apart, at = np.unique(pair[at[beyond]], return_inverse=True)
    of[apart] = len(which) + np.arange(len(apart))
    return np.append(which, house[apart]), of, (len(which) + at, beside[beyond])


def _storey_by_storey(
    pair: np.ndarray, storeys: np.ndarray, pairs: int
) -> tuple[np.ndarray, np.ndarray]:
    """Repeat the items of each pair for each storey of its house: which item, and its storey.

    Parameters
    ----------
    pair : ndarray of int, (items,)
        Ascending.
    storeys : ndarray of int, (pairs,)
    """
    many = np.bincount(pair, minlength=pairs)
    of, number = numbered(many * storeys)
    storey, item = np.divmod(number, many[of])
    return firsts(many)[of] + item, storey


def _number_of_its_kind(kind: np.ndarray) -> np.ndarray:
    """Count the items of each kind in their order, from 1."""
    order = np.argsort(kind, kind="stable")
    number = np.empty(len(kind), dtype=int)
    _, many = np.unique(kind, return_counts=True)
    number[order] = numbered(many)[1] + 1
    return number


def _told_each(tell: Callable[..., str], *numbers: np.ndarray) -> np.ndarray:
    """Give the text of each item by some numbers that it has, 0 or more; each text is made once."""
    sizes = [int(some.max(initial=0)) + 1 for some in numbers]
    which, found = pd.factorize(np.ravel_multi_index(numbers, sizes))
    rows = zip(*(some.tolist() for some in np.unravel_index(found, sizes)), strict=True)
    return np.array([tell(*row) for row in rows], dtype=object)[which]


def _near(outlines: np.ndarray, footprints: np.ndarray, reach_m: float) -> tuple[np.ndarray, ...]:
    """Find the footprints within a reach of outlines, (pairs,): which outline, which footprint."""
    (west, south, east, north), far = shapely.bounds(outlines).T, reach_m + EQUAL_M
    boxes = shapely.box(west - far, south - far, east + far, north + far)
    outline, footprint = shapely.STRtree(footprints).query(boxes)
    near = shapely.distance(footprints[footprint], outlines[outline]) <= reach_m
    return outline[near], footprint[near]


def lies_buried(head_z: ArrayLike, eye_z: ArrayLike, ground_z: ArrayLike) -> np.ndarray:
    """Tell of windows whether the ground before them is as high as their head, or as the highest eye behind them.

    Parameters
    ----------
    head_z, eye_z, ground_z : array_like of float
        Heights in metres, any shapes that broadcast.

    Examples
    --------
    >>> lies_buried([2.1, 2.1], [1.6, 1.6], [0.9, 1.8]).tolist()
    [False, True]
    """
    return (np.asarray(head_z) <= ground_z) | (np.asarray(eye_z) <= ground_z)


def is_lived_in(kinds) -> np.ndarray:
    """Tell of each kind of building whether people are taken to live there: of sheds and garages not."""
    plain = [str(kind).strip().lower() for kind in kinds]
    return np.array(
        [not {kind, kind.removesuffix("s")} & NOT_LIVED_IN for kind in plain], dtype=bool
    )


def building_names(buildings: gpd.GeoDataFrame) -> list[str]:
    """Give each building's identifier, or ``b`` and its row number where it has none."""
    given = column_or(buildings, "building_id")
    return [f"b{row}" if name is None else str(name) for row, name in enumerate(given, start=1)]


def _storey_name(storey: int) -> str:
    return (
        ("ground-floor window", "upper window")[storey] if storey < 2 else f"storey-{storey} window"
    )
