"""The garden: the likeliest private place of a house, where nobody has said where people sit.

It is the largest usable open ground that belongs to the house. The ground round the house is told apart
by the way to the road: behind the house, to its left and right, and before it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely

from screenplan.contracts.tables import has_rows
from screenplan.ground.said import said
from screenplan.plan.site import Places
from screenplan.site.compass import unit_vector
from screenplan.site.facades import is_lived_in
from screenplan.site.lots import Lots, united
from screenplan.site.overlay import areas_of, ground_left, polygons_of, shared_ground
from screenplan.site.ownership import parcels_of, sound
from screenplan.site.ragged import firsts
from screenplan.site.round_house import BEFORE, BEHIND, LEFT, PARTS, RIGHT, ground_round
from screenplan.site.shaping import column_or
from screenplan.site.steady import EQUAL_M, steady_order, steady_order_each
from screenplan.site.wall_places import SHORTEST_WALL_M
from screenplan.site.walls import walls_of_each

#: A garden has room for people to move about, a circle as wide as this, where there is such ground ...
ROOMY_M = 5.0
#: ... and else for a table with chairs on both sides (both common practice, no source).
SITTING_M = 3.0
#: A place has room for a table (common practice, no source) ...
ROOM_M2 = 12.0
#: ... or at least for a few chairs; a smaller one is none.
LEAST_DERIVED_M2 = 4.0
#: Ground farther from the road is preferred to larger one if it is as large as this ...
GARDEN_M2 = 40.0
#: ... or has this share of the largest.
SHARE_OF_LARGEST = 0.5
#: Shares of the strip along the line that is kept clear, tried in turn where there is no room.
STRIPS = (1.0, 0.75, 0.5, 0.25, 0.0)
#: Areas that differ by less are equal.
EQUAL_M2 = 0.5
#: A road farther from the house than this does not tell front from back.
ROAD_TELLS_M = 100.0

_NAMES = (
    "garden behind the house",
    "garden beside the house",
    "garden beside the house",
    "garden before the house",
)


@dataclass(frozen=True)
class Garden:
    """A place that was derived.

    Parameters
    ----------
    place : Polygon
    name : str
    why : str
        Why it was chosen and how to change it; with quantities in braces.
    """

    place: shapely.Polygon
    name: str
    why: str


@dataclass(frozen=True, eq=False)
class _Houses:
    """The main houses of some lots, and which parts the ground round them has.

    Parameters
    ----------
    lot : ndarray of int, (houses,)
        Ascending.
    shape : ndarray of Polygon or MultiPolygon, (houses,)
    by_road : ndarray of bool, (houses,)
        Whether a road tells front from back.
    of : ndarray of int, (parts,)
        The house of each part, ascending.
    away : ndarray, (parts, 2)
        Where the back lies: away from the road, or straight out of a wall.
    part : ndarray of int, (parts,)
        By a road all `PARTS` of a house; else what lies behind each of its walls.
    """

    lot: np.ndarray
    shape: np.ndarray
    by_road: np.ndarray
    of: np.ndarray
    away: np.ndarray
    part: np.ndarray


def find_gardens(lots: Lots, option: Places) -> list[Garden | None]:
    """Find the likeliest private place of each lot, or None where no open ground is left.

    Parameters
    ----------
    lots : Lots
        Around them ``buildings`` and ``roads``, if there are some.
    option : Places
        How far from the house the place reaches, and how far it keeps off the line.
    """
    found: list[Garden | None] = [None] * len(lots)
    lot, house, solid = _built_upon(lots)
    houses = _parted_each(lots, lot, house)
    for lot_number, garden in _beside_each(lots, houses, solid, option):
        found[lot_number] = garden
    some = np.array([k for k, garden in enumerate(found) if garden is None], dtype=int)
    ground = lots.outlines.copy()
    built = some[_are_reached(lots, some)]
    ground[built] = largest_each(ground_left(ground[built], solid[built]))
    why = np.full(len(lots), "no house stands on the parcel", dtype=object)
    why[lot] = f"beside the house no ground {{{SITTING_M:g} m}} wide is open"
    middles = _middle_each(ground[some], option, why[some].tolist())
    for lot_number, garden in zip(some.tolist(), middles, strict=True):
        found[lot_number] = garden
    return found


def _built_upon(lots: Lots) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Find what is built upon lots.

    Returns
    -------
    lot : ndarray of int, (houses,)
        The lots that have a main house.
    house : ndarray of Geometry, (houses,)
        That house.
    solid : ndarray of Geometry, (lots,)
        In one, all buildings that touch the lot.
    """
    buildings, subjects = lots.around.get("buildings"), lots.outlines
    if not has_rows(buildings):
        none = np.empty(0, dtype=int)
        return none, none.astype(object), np.full(len(lots), None)
    footprints = sound(buildings.geometry.to_numpy())
    lot, building = shapely.STRtree(footprints).query(subjects, predicate="intersects")
    solid = united(footprints[building], lot, len(lots))
    lot, house = _main_houses(lots, footprints)
    return lot, footprints[house], solid


def _are_reached(lots: Lots, some: np.ndarray) -> np.ndarray:
    """Tell of some lots whether there is any building within their reach, (some,)."""
    reached = np.zeros(len(some), dtype=bool)
    if has_rows(lots.around.get("buildings")):
        reached[:] = math.isinf(lots.reach_m)
        if math.isfinite(lots.reach_m):
            own = Lots(lots.around, lots.rows[some], lots.reach_m)
            reached[own.near("buildings")[0]] = True
    return reached


def _main_houses(lots: Lots, footprints: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Find each lot's largest building that is lived in, else its largest: lots that have one, and its number."""
    buildings = lots.around["buildings"]
    lot, house = lots.standing_on("buildings", parcels_of(buildings, lots.around["parcels"]))
    lived_in = is_lived_in(column_or(buildings, "kind", "house"))[house]
    candidate = lived_in | ~(np.bincount(lot[lived_in], minlength=len(lots)) > 0)[lot]
    lot, house = lot[candidate], house[candidate]
    x, y = shapely.get_coordinates(shapely.centroid(footprints[house])).T
    areas = shapely.area(footprints[house])
    order = steady_order_each(lot, (-areas, EQUAL_M2), (-y, EQUAL_M), (x, EQUAL_M))
    lot, house = lot[order], house[order]
    first = np.diff(lot, prepend=-1) > 0
    return lot[first], house[first]


def usable(ground: np.ndarray, width_m: float) -> np.ndarray:
    """Keep the largest part of each ground in which there is room: all of it is near where a circle fits.

    Parameters
    ----------
    ground : ndarray of Geometry, (grounds,)
    width_m : float
        Diameter of the circle, metres. Each spot of what is left lies within 0.71 times as much of
        the middle of one that fits: square corners stay, narrow strips go.

    Returns
    -------
    ndarray of Polygon, (grounds,)
        None where there is no room.
    """
    found = np.full(len(ground), None, dtype=object)
    ground = areas_of(ground)
    # A file may be out by so much: ground that is just wide enough must not come and go.
    middles = shapely.buffer(ground, (EQUAL_M - width_m) / 2.0)
    some = np.flatnonzero(~shapely.is_empty(middles))
    near = shared_ground(shapely.buffer(middles[some], width_m * math.sqrt(0.5)), ground[some])
    # Nor must slivers between a wall and a line that runs as it does.
    core = shapely.buffer(near, -EQUAL_M, join_style="mitre")
    core = shapely.buffer(core, EQUAL_M, join_style="mitre")
    found[some] = largest_each(shared_ground(core, areas_of(near)))
    return found


def _parted_each(lots: Lots, lot: np.ndarray, house: np.ndarray) -> _Houses:
    away = _away_from_road(lots, lot, house)
    by_road = ~np.isnan(away[:, 0])
    told, open_to_all = np.flatnonzero(by_road), np.flatnonzero(~by_road)
    walls = walls_of_each(house[open_to_all])
    most = np.zeros(len(open_to_all))
    np.maximum.at(most, walls.of, walls.length_m)
    long = walls.length_m >= np.minimum(SHORTEST_WALL_M, most)[walls.of]
    wall, before = walls.of[long], np.column_stack(unit_vector(walls.facing_deg[long]))
    of = np.concatenate([np.repeat(told, len(PARTS)), open_to_all[wall]])
    away = np.concatenate([np.repeat(away[told], len(PARTS), axis=0), before])
    part = np.concatenate([np.tile(np.arange(len(PARTS)), len(told)), np.full(len(wall), BEHIND)])
    order = np.argsort(of, kind="stable")
    return _Houses(lot, house, by_road, of[order], away[order], part[order])


def largest_each(shapes: np.ndarray) -> np.ndarray:
    """Give the largest polygon of each geometry, (shapes,); None if it has none."""
    parts, of = polygons_of(shapes)
    order = np.lexsort((-shapely.area(parts), of))
    first = np.diff(of[order], prepend=-1) > 0
    found = np.full(len(shapes), None, dtype=object)
    found[of[order][first]] = parts[order][first]
    return found


def _away_from_road(lots: Lots, lot: np.ndarray, house: np.ndarray) -> np.ndarray:
    """Give the direction from the nearest road to each house, (houses, 2); NaN where none tells front from back."""
    away = np.full((len(lot), 2), np.nan)
    roads = lots.around.get("roads")
    if roads is None or not len(roads) or not len(lot):
        return away
    lines, middles = roads.geometry.to_numpy(), shapely.centroid(house)
    which, road = shapely.STRtree(lines).query(
        middles, predicate="dwithin", distance=ROAD_TELLS_M + EQUAL_M
    )
    if math.isfinite(lots.reach_m):
        near = shapely.dwithin(lots.outlines[lot[which]], lines[road], lots.reach_m)
        which, road = which[near], road[near]
    ways = shapely.shortest_line(middles[which], lines[road])
    length = shapely.length(ways)
    order = np.lexsort((road, length, which))
    nearest = order[np.diff(which[order], prepend=-1) > 0]
    nearest = nearest[(length[nearest] > 0.0) & (length[nearest] <= ROAD_TELLS_M)]
    start, end = shapely.get_coordinates(ways[nearest]).reshape(-1, 2, 2).swapaxes(0, 1)
    away[which[nearest]] = (start - end) / length[nearest][:, None]
    return away


def _ladder(strip_m: float) -> list[tuple[float, float]]:
    """Give widths of the ground and of the strip along the line, for one of them to leave room."""
    return [(ROOMY_M, strip_m), *((SITTING_M, share * strip_m) for share in STRIPS)]


def _beside_each(lots: Lots, houses: _Houses, solid: np.ndarray, option: Places):
    """Choose among the parts of the ground round each house: lots that have some with room, and their gardens."""
    count = np.bincount(houses.of, minlength=len(houses.lot))
    first = firsts(count)
    left = np.arange(len(houses.lot))
    free, last_m = np.full(len(houses.lot), None, dtype=object), None
    for width_m, strip_m in _ladder(option.edge):
        if strip_m != last_m:
            lot = houses.lot[left]
            inner = shapely.buffer(lots.outlines[lot], -strip_m)
            free[left], last_m = ground_left(inner, solid[lot]), strip_m
        places = np.full(len(houses.of), None, dtype=object)
        areas = np.zeros(len(houses.of))
        waiting = np.isin(houses.of, left)
        # Of houses with so much behind them nobody asks for the rest.
        for asked in (houses.part == BEHIND, houses.part != BEHIND):
            some = np.flatnonzero(waiting & asked)
            of, away = houses.of[some], houses.away[some]
            round_it = ground_round(houses.shape[of], away, option.depth, houses.part[some])
            places[some] = usable(shared_ground(round_it, free[of]), width_m)
            areas[some] = np.nan_to_num(shapely.area(places[some]))
            waiting &= ~np.isin(houses.of, of[areas[some] >= GARDEN_M2])
        done = []
        for house in left.tolist():
            own = slice(first[house], first[house] + count[house])
            by_road = bool(houses.by_road[house])
            best = (_by_road if by_road else _most_open)(areas[own].tolist())
            if best is None:
                continue
            done.append(house)
            part = best if by_road else BEHIND
            why = _tell(part, areas[own][best], areas[own] if by_road else None, option, strip_m)
            name = _NAMES[part] if by_road else "garden of the house"
            yield int(houses.lot[house]), Garden(places[own][best], name, why)
        left = np.setdiff1d(left, done)


def _by_road(areas: list[float]) -> int | None:
    """Choose the part of the ground round a house where a road tells front from back."""
    enough = max(ROOM_M2, min(GARDEN_M2, SHARE_OF_LARGEST * max(areas)))
    side = RIGHT if areas[RIGHT] > areas[LEFT] + EQUAL_M2 else LEFT
    return next((part for part in (BEHIND, side, BEFORE) if areas[part] >= enough), None)


def _most_open(areas: list[float]) -> int | None:
    """Choose the ground before that wall of the house which has the most before it."""
    best = steady_order((-np.array(areas), EQUAL_M2), (np.arange(len(areas)), 0.0))[0]
    return int(best) if areas[best] >= ROOM_M2 else None


def _tell(part: int, area: float, areas, option: Places, strip_m: float) -> str:
    """Say which ground was chosen; ``areas`` are those of all parts, if a road tells them apart."""
    by_road = areas is not None
    chosen = f"the {_NAMES[part] if by_road else 'side of the house with the most room'}"
    chosen += f", {{{area:.0f} m²}} of open ground"
    if not by_road:
        chosen += f", as no road within {{{ROAD_TELLS_M:g} m}} tells front from back"
    elif part == BEHIND:
        chosen += " away from the nearest road"
    else:
        nearer = ["behind"] if part != BEFORE else ["behind", "beside"]
        room = {"behind": areas[BEHIND], "beside": max(areas[LEFT], areas[RIGHT])}
        there = " and ".join(f"{{{room[where]:.0f} m²}} {where} it" for where in nearer)
        chosen += f", as only {there} are usable"
    near = f"within {{{option.depth:g} m}} of the house"
    return _sentence(f"{chosen}, {near} and {_off_the_line(strip_m, option.edge)}")


def _off_the_line(strip_m: float, asked_m: float) -> str:
    off = f"{{{strip_m:.2g} m}} off the parcel's line, where the screen would stand"
    return off if strip_m >= asked_m else f"{off} ({{{asked_m:g} m}} would leave no room)"


def _sentence(chosen: str) -> str:
    return said(
        f"the private place is derived, because nobody has said where people sit: {chosen}. To change it, draw "
        "where people sit in a layer private_places, or set places.depth or places.edge"
    )


def _middle_each(ground: np.ndarray, option: Places, why: list[str]) -> list[Garden | None]:
    """Give the middle of each ground: what is farther from its outline than half the greatest distance."""
    found: list[Garden | None] = [None] * len(ground)
    some = np.flatnonzero(shapely.area(ground) >= LEAST_DERIVED_M2)
    ground = ground[some]
    radius = shapely.length(shapely.maximum_inscribed_circle(ground))
    room = math.sqrt(ROOM_M2 / math.pi)
    inset = np.maximum(0.5 * radius, np.minimum(option.edge, radius - room))
    left = shapely.buffer(ground, -inset)
    place = usable(left, SITTING_M)
    narrow = shapely.is_missing(place) | shapely.is_empty(place)
    place[narrow] = largest_each(left[narrow])
    for at, own, inset_m in zip(some.tolist(), place, inset.tolist(), strict=True):
        chosen = f"the middle of the parcel's open ground, {{{own.area:.0f} m²}}, as {why[at]}, and {_off_the_line(inset_m, option.edge)}"
        found[at] = Garden(own, "middle of the parcel", _sentence(chosen))
    return found
