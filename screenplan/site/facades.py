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
from screenplan.site.compass import compass_name, unit_vector
from screenplan.site.floors import floors_of, storeys_of
from screenplan.site.ownership import is_subject, parcels_of, sound, subject_outline
from screenplan.site.ragged import firsts, numbered
from screenplan.site.shaping import column_or
from screenplan.site.steady import EQUAL_M, natural_key
from screenplan.site.terrain import ground_at
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
    return derive_windows_each(parcels, buildings, terrain, plan, is_subject(parcels))[0]


def derive_windows_each(
    parcels: gpd.GeoDataFrame,
    buildings: gpd.GeoDataFrame,
    terrain,
    plan: Options,
    subjects: np.ndarray,
) -> list[tuple[gpd.GeoDataFrame, int]]:
    """Put windows into the walls that look towards each of several parcels of one layer; see `derive_windows`.

    Parameters
    ----------
    parcels, buildings : GeoDataFrame
        By their contracts, in metres.
    terrain : Terrain, optional
    plan : Options
    subjects : ndarray of bool, (parcels,)
        Which are looked at.

    Returns
    -------
    list of (GeoDataFrame, int)
        For each, in the order of the layer, what it would have as the only subject.
    """
    outlines = parcels.geometry.to_numpy()[subjects]
    own_ids = [str(name) for name in parcels["parcel_id"].to_numpy(dtype=object)[subjects]]
    owner = parcels_of(buildings, parcels)
    footprints = sound(buildings.geometry.to_numpy())
    ids = building_names(buildings)
    kinds = column_or(buildings, "kind", "house")
    floors = floors_of(buildings, terrain)
    like, storey_height_m = plan.windows, plan.site.storey_height
    storeys = storeys_of(buildings, storey_height_m)
    lived_in = is_lived_in(kinds)
    subject, house = _near(outlines, footprints, like.reach)
    looked_from = lived_in[house] & (owner[house] != np.array(own_ids, dtype=object)[subject])
    subject, house = subject[looked_from], house[looked_from]
    rank = np.empty(len(ids), dtype=int)
    rank[sorted(range(len(ids)), key=lambda item: natural_key(ids[item]))] = np.arange(len(ids))
    order = np.lexsort((rank[house], subject))
    subject, house = subject[order], house[order]
    which, of = np.unique(house, return_inverse=True)
    places = window_places(footprints, which, like.spacing)
    count = np.bincount(places.building, minlength=len(ids))[which]
    pair, number = numbered(count[of])
    asked = firsts(count)[of][pair] + number
    looks = see_targets(places, footprints, asked, subject[pair], points_of(outlines), like.reach)
    looking, many = asked[looks].tolist(), np.bincount(pair[looks], minlength=len(house))
    seen = [looking[low : low + some] for low, some in zip(firsts(many), many, strict=True)]
    ground = ground_at(terrain, places.xy)
    eye_m = max(plan.views.eye_seated, plan.views.eye_standing)
    columns: dict[str, list] = {column.name: [] for column in WINDOWS.columns}
    points: list[int] = []
    windows, buried = np.zeros(len(outlines), dtype=int), np.zeros(len(outlines), dtype=int)
    facings, numbers = places.facing_deg.tolist(), places.number.tolist()
    for whose, item, own in zip(subject.tolist(), house.tolist(), seen, strict=True):
        before = len(points)
        for storey in range(storeys[item]):
            on_wall: dict[str, int] = {}
            for place in own:
                wall = f"{compass_name(facings[place])} wall"
                on_wall[wall] = on_wall.get(wall, 0) + 1
                floor_m = floors[item] + storey * storey_height_m
                if lies_buried(floor_m + like.sill + like.height, floor_m + eye_m, ground[place]):
                    buried[whose] += 1
                    continue
                columns["window_id"].append(f"{ids[item]}-w{numbers[place]}-s{storey}")
                columns["name"].append(f"{_storey_name(storey)} {on_wall[wall]}, {wall}")
                columns["building_id"].append(ids[item])
                columns["storey"].append(storey)
                columns["sill_m"].append(storey * storey_height_m + like.sill)
                columns["height_m"].append(like.height)
                columns["width_m"].append(like.width)
                columns["facing_deg"].append(facings[place])
                columns["floor_m"].append(floor_m)
                columns["derived"].append(True)
                columns["set_apart"].append(None)
                points.append(place)
        windows[whose] += len(points) - before
    whole = layer_of_columns(WINDOWS, columns, shapely.points(places.xy[points]), parcels.crs)
    if len(outlines) == 1:
        return [(whole, int(buried[0]))]
    return [
        (whole.iloc[first : first + own].reset_index(drop=True), int(under))
        for first, own, under in zip(firsts(windows), windows, buried, strict=True)
    ]


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
    number : ndarray of int, shape (n,)
        Counts all places round the building, from 1: what one of them sees does not change what the
        others are called.
    xy : ndarray, shape (n, 2)
        On the outline, metres.
    facing_deg : ndarray, shape (n,)
    """

    building: np.ndarray
    number: np.ndarray
    xy: np.ndarray
    facing_deg: np.ndarray

    def __len__(self) -> int:
        return len(self.building)


def window_places(footprints: np.ndarray, which: np.ndarray, spacing_m: float) -> WindowPlaces:
    """Find where windows may be in the walls of buildings.

    Parameters
    ----------
    footprints : ndarray of Polygon or MultiPolygon, shape (buildings,)
        All buildings, those that may adjoin too.
    which : ndarray of int
        Those whose walls get windows; each once, the places come in this order.
    spacing_m : float
        Windows are no farther apart.
    """
    own = footprints[which]
    walls = walls_of_each(own)
    length = walls.length_m
    long = np.flatnonzero(length >= SHORTEST_WALL_M - EQUAL_M)
    start, end, facing, of = (
        part[long] for part in (walls.start, walls.end, walls.facing_deg, walls.of)
    )
    others = _union_beside(footprints, which)
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
    return WindowPlaces(which[of[face]], round_it + 1, xy, facing[face])


def _union_beside(footprints: np.ndarray, which: np.ndarray) -> np.ndarray:
    """Give in one geometry what stands beside each of some footprints, in the order of the layer."""
    tree = shapely.STRtree(footprints)
    own, other = tree.query(footprints[which], predicate="dwithin", distance=BESIDE_M)
    order = np.lexsort((other, own))
    own, other = own[order], other[order]
    beside = other != which[own]
    own, other = own[beside], other[beside]
    found = np.full(len(which), shapely.Polygon(), dtype=object)
    for item in np.unique(own):
        found[item] = shapely.union_all(footprints[other[own == item]])
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
    many = targets.count[subject]
    # So many pairs at a time that they fit in the processor's memory.
    for some in np.split(np.arange(len(place)), _cuts(many, MOST_PAIRS)):
        sees[some] = _see(places, footprints, place[some], subject[some], targets, reach_m)
    return sees


def _see(places, footprints, place, subject, targets: Points, reach_m: float) -> np.ndarray:
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
    solids = _solids(footprints, places.building[place])
    # Most walls hide nothing that is before them: the first target tells of most places.
    first = np.concatenate([[True], asked[pair][1:] != asked[pair][:-1]])[: len(pair)]
    for some in (pair[first], pair[~first]):
        some = some[~sees[asked[some]]]
        ends = np.stack([places.xy[place[asked[some]]], targets.xy[target[some]]], axis=1)
        free = ~shapely.intersects(solids[asked[some]], shapely.linestrings(ends))
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
