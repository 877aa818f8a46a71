"""Windows worked out from footprints: where a neighbour's house could look at the subject."""

from __future__ import annotations

import math
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import ArrayLike

from screenplan.contracts import WINDOWS
from screenplan.contracts.tables import layer_of_columns
from screenplan.plan import Options
from screenplan.site.compass import POINTS, compass_point, unit_vector
from screenplan.site.floors import floors_of, storeys_of
from screenplan.site.lots import Lots, Many
from screenplan.site.ownership import parcels_of, sound, subject_outline
from screenplan.site.ragged import firsts, numbered
from screenplan.site.shaping import column_or
from screenplan.site.steady import EQUAL_M, natural_key
from screenplan.site.terrain import Terrain, ground_at
from screenplan.site.walls import exposed_stretches_each, walls_of_each

#: Kinds of building from which nobody is taken to look out, words of OpenStreetMap's key `building`, of
#: INSPIRE's current uses and of the French topographic base among them.
NOT_LIVED_IN = frozenset(
    {"shed", "garage", "carport", "barn", "greenhouse", "deck", "porch", "roof", "ruin", "outbuilding",
     "farm_auxiliary", "stable", "cowshed", "sty", "silo", "storage_tank", "transformer_tower", "hangar",
     "agriculture", "ancillary", "agricole", "annexe"}
)  # fmt: skip
#: A shorter stretch of wall gets no window.
SHORTEST_WALL_M = 2.0
#: One does not look out more nearly along the wall than this: from 1 m inside, an opening of 1.2 m
#: lets one see 50° to either side of straight out at most (arithmetic), which is 40° to the wall.
GRAZING_DEG = 30.0
#: Points of the subject that are looked for, at this distance along its outline and across it.
TARGET_STEP_M = 4.0
MOST_TARGETS = 400
#: Buildings this near to each other may adjoin, metres.
BESIDE_M = 1.0
#: What a window looks past of its own building is smaller by this, metres.
HAIR_M = 0.02
#: One target in so many is looked for first.
FEW = 8
#: Pairs of window and target that are looked at at once, about.
MOST_PAIRS = 200_000


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
    whose = [ids[item] for item in house[pair].tolist()]
    floor = storey.tolist()
    columns = {
        "window_id": [
            f"{name}-w{number}-s{level}"
            for name, number, level in zip(whose, places.number[place].tolist(), floor, strict=True)
        ],
        "name": [
            f"{_storey_name(level)} {number}, {POINTS[point]} wall"
            for level, number, point in zip(floor, on_wall.tolist(), wall.tolist(), strict=True)
        ],
        "building_id": whose,
        "storey": storey,
        "sill_m": storey * plan.site.storey_height + like.sill,
        "height_m": np.full(len(storey), like.height),
        "width_m": np.full(len(storey), like.width),
        "facing_deg": places.facing_deg[place],
        "floor_m": floor_m,
        "derived": np.ones(len(storey), dtype=bool),
    }
    layer = layer_of_columns(WINDOWS, columns, shapely.points(places.xy[place]), parcels.crs)
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


@dataclass(frozen=True)
class WindowPlaces:
    """Where windows may be in the walls of buildings, whoever they look at.

    Parameters
    ----------
    building : ndarray of int, shape (n,)
        The footprint of each.
    of : ndarray of int, shape (n,)
        Its place among those that were asked for.
    number : ndarray of int, shape (n,)
        Counts all places round the building, from 1: what one of them sees does not change what the
        others are called.
    xy : ndarray, shape (n, 2)
        On the outline, metres.
    facing_deg : ndarray, shape (n,)
    """

    building: np.ndarray
    of: np.ndarray
    number: np.ndarray
    xy: np.ndarray
    facing_deg: np.ndarray

    def __len__(self) -> int:
        return len(self.building)


def window_places(
    footprints: np.ndarray,
    which: np.ndarray,
    spacing_m: float,
    unseen: tuple[ArrayLike, ArrayLike] = ((), ()),
) -> WindowPlaces:
    """Find where windows may be in the walls of buildings.

    Parameters
    ----------
    footprints : ndarray of Polygon or MultiPolygon, shape (buildings,)
        All buildings, those that may adjoin too.
    which : ndarray of int
        Those whose walls get windows; the places come in this order.
    spacing_m : float
        Windows are no farther apart.
    unseen : (array_like of int, array_like of int), optional
        Places in ``which``, and for each a building that does not count as standing beside it.
    """
    own = footprints[which]
    walls = walls_of_each(own)
    length = walls.length_m
    long = np.flatnonzero(length >= SHORTEST_WALL_M - EQUAL_M)
    start, end, facing, of = (
        part[long] for part in (walls.start, walls.end, walls.facing_deg, walls.of)
    )
    others = _union_beside(footprints, which, unseen)
    face, low, high = exposed_stretches_each(start, end, others[of])
    long_enough = high - low >= SHORTEST_WALL_M - EQUAL_M
    face, low, high = face[long_enough], low[long_enough], high[long_enough]
    count = np.maximum(1, np.ceil((high - low - EQUAL_M) / spacing_m)).astype(int)
    stretch, number = numbered(count)
    s = low[stretch] + (number + 0.5) * (high - low)[stretch] / count[stretch]
    face = face[stretch]
    along = (end - start) / length[long][:, None]
    at = shapely.points(start[face] + s[:, None] * along[face])
    # The face passes over small steps of the outline; the window is on the outline.
    nearest = shapely.shortest_line(shapely.boundary(own)[of[face]], at)
    xy = shapely.get_coordinates(nearest).reshape(-1, 2, 2)[:, 0]
    _, round_it = numbered(np.bincount(of[face], minlength=len(own)))
    return WindowPlaces(which[of[face]], of[face], round_it + 1, xy, facing[face])


def _union_beside(
    footprints: np.ndarray, which: np.ndarray, unseen: tuple[ArrayLike, ArrayLike]
) -> np.ndarray:
    """Give in one geometry what stands beside each of some footprints, in the order of the layer."""
    tree = shapely.STRtree(footprints)
    own, other = tree.query(footprints[which], predicate="dwithin", distance=BESIDE_M)
    order = np.lexsort((other, own))
    own, other = own[order], other[order]
    left_out = set(zip(*(np.asarray(part).tolist() for part in unseen), strict=True))
    adjoins = other != which[own]
    if left_out:
        pairs = zip(own.tolist(), other.tolist(), strict=True)
        adjoins &= np.array([pair not in left_out for pair in pairs], dtype=bool)
    own, other = own[adjoins], other[adjoins]
    count = np.bincount(own, minlength=len(which))
    _, number = numbered(count)
    side_by_side = np.full((len(which), count.max(initial=0)), None, dtype=object)
    side_by_side[own, number] = footprints[other]
    found = np.full(len(which), shapely.Polygon(), dtype=object)
    some = np.flatnonzero(count)
    found[some] = shapely.union_all(side_by_side[some], axis=1)
    return found


@dataclass(frozen=True)
class Points:
    """Points of several subjects, one subject after the other.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
    count : ndarray of int, shape (subjects,)
        How many each has.
    """

    xy: np.ndarray
    count: np.ndarray

    @property
    def first(self) -> np.ndarray:
        """Where the points of each subject begin."""
        return firsts(self.count)

    def every(self, step: int) -> Points:
        """Give the first point of each subject, and every so many that follow it."""
        group, number = numbered(self.count)
        kept = number % step == 0
        return Points(self.xy[kept], np.bincount(group[kept], minlength=len(self.count)))


def see_targets(
    places: WindowPlaces,
    footprints: np.ndarray,
    place: np.ndarray,
    subject: np.ndarray,
    targets: Points,
    reach_m: float,
) -> np.ndarray:
    """Tell which places see some target of a subject, not hidden by their own building.

    Parameters
    ----------
    places : WindowPlaces
    footprints : ndarray of Polygon or MultiPolygon, shape (buildings,)
    place, subject : ndarray of int, shape (n,)
        Which place is asked about which subject, in any order.
    targets : Points
        The targets of each subject.
    reach_m : float

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    sees = np.zeros(len(place), dtype=bool)
    solids = _solids(footprints, places.building)
    before = _may_face(places, place, subject, targets)
    # A few targets tell of most places that they see one.
    for some in (targets.every(FEW), targets):
        left = np.flatnonzero(before & ~sees)
        # So many pairs at a time that they fit in the processor's memory.
        for part in np.split(left, _cuts(some.count[subject[left]], MOST_PAIRS)):
            sees[part] = _see(places, solids, place[part], subject[part], some, reach_m)
    return sees


def _may_face(places: WindowPlaces, place, subject, targets: Points) -> np.ndarray:
    """Tell which places have some corner of the box round a subject's targets before their wall."""
    low, high = (
        least.reduceat(targets.xy, targets.first)[subject] - places.xy[place]
        for least in (np.minimum, np.maximum)
    )
    out = np.column_stack(unit_vector(places.facing_deg[place]))
    return (np.where(out > 0.0, high, low) * out).sum(axis=1) > 0.0


def _see(places, solids, place, subject, targets: Points, reach_m: float) -> np.ndarray:
    asked, number = numbered(targets.count[subject])
    target = targets.first[subject][asked] + number
    x, y = places.xy[place].T
    # Each spot is some way off to the east and to the north.
    east = targets.xy[target, 0] - x[asked]
    north = targets.xy[target, 1] - y[asked]
    away = np.hypot(east, north)
    out_east, out_north = (part[asked] for part in unit_vector(places.facing_deg[place]))
    before = east * out_east + north * out_north > away * math.sin(math.radians(GRAZING_DEG))
    pair = np.flatnonzero(before & (away <= reach_m))
    sees = np.zeros(len(place), dtype=bool)
    # Most walls hide nothing that is before them: the first target tells of most places.
    first = np.concatenate([[True], asked[pair][1:] != asked[pair][:-1]])[: len(pair)]
    for some in (pair[first], pair[~first]):
        some = some[~sees[asked[some]]]
        ends = np.stack([places.xy[place[asked[some]]], targets.xy[target[some]]], axis=1)
        free = ~shapely.intersects(solids[place[asked[some]]], shapely.linestrings(ends))
        sees[asked[some[free]]] = True
    return sees


def _solids(footprints: np.ndarray, building: np.ndarray) -> np.ndarray:
    """Give for each place the building in which it is, smaller by a hair: a line that leaves its wall does not touch it."""
    which, at = np.unique(building, return_inverse=True)
    solids = shapely.buffer(footprints[which], -HAIR_M)
    shapely.prepare(solids)
    return solids[at]


def _cuts(sizes: np.ndarray, most: int) -> np.ndarray:
    """Give where to cut a sequence so that the sizes of each piece add up to about a number at most."""
    return np.flatnonzero(np.diff(np.cumsum(sizes) // most)) + 1


def points_of(subjects: np.ndarray) -> Points:
    """Spread points over each subject: along its outline and on a grid within, in this order.

    Parameters
    ----------
    subjects : ndarray of Polygon or MultiPolygon
    """
    shapely.prepare(subjects)
    outlines = shapely.boundary(subjects)
    step = np.maximum(TARGET_STEP_M, shapely.length(outlines) * 2.0 / MOST_TARGETS)
    lines, of_line = shapely.get_parts(outlines, return_index=True)
    line, number = numbered(np.ceil(shapely.length(lines) / step[of_line]))
    on_rim = shapely.line_interpolate_point(lines[line], number * step[of_line[line]])
    rim, of_rim = shapely.get_coordinates(on_rim), of_line[line]

    west, south, east, north = shapely.bounds(subjects).T
    step = np.sqrt((east - west) * (north - south) * 2.0 / MOST_TARGETS)
    step = np.maximum(TARGET_STEP_M, step)
    wide = np.maximum(np.ceil((east - west - step / 2.0) / step), 0).astype(int)
    high = np.maximum(np.ceil((north - south - step / 2.0) / step), 0).astype(int)
    of_grid, number = numbered(wide * high)
    row, column = np.divmod(number, wide[of_grid])
    x = (west + step / 2.0)[of_grid] + column * step[of_grid]
    y = (south + step / 2.0)[of_grid] + row * step[of_grid]
    inside = shapely.contains_xy(subjects[of_grid], x, y)
    grid, of_grid = np.column_stack([x, y])[inside], of_grid[inside]

    of = np.concatenate([of_rim, of_grid])
    order = np.argsort(of, kind="stable")
    return Points(np.vstack([rim, grid])[order], np.bincount(of, minlength=len(subjects)))
