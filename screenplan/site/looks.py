"""Which places in walls see some point of a subject, not hidden by their own building."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numba import njit

from screenplan.site.compass import unit_vector
from screenplan.site.probes import Edges
from screenplan.site.ragged import firsts, numbered
from screenplan.site.wall_places import WindowPlaces

#: One does not look out more nearly along the wall than this: from 1 m inside, an opening of 1.2 m
#: lets one see 50° to either side of straight out at most (arithmetic), which is 40° to the wall.
GRAZING_DEG = 30.0
#: Points of the subject that are looked for, at this distance along its outline and across it.
TARGET_STEP_M = 4.0
MOST_TARGETS = 400
#: What a window looks past of its own building is smaller by this, metres.
HAIR_M = 0.02
#: The side of a line on which a point lies is sure if twice the area of their triangle is more than this share of the two
#: products of which it is the difference: Shewchuk, Adaptive precision floating-point arithmetic, 1997, ccwerrboundA,
#: (3 + 16 u) u with u = 2^-53, which is 3.33e-16 (from memory); rounded up.
SURE_SHARE = 4e-16
#: No edge is met by a line, surely; rounding may decide whether one is.
CLEAR, UNSURE = -1, -2


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
    solids, of = _solids(footprints, places.building)
    edges = Edges.of(solids)
    out = np.column_stack(unit_vector(places.facing_deg))
    # The target at which each place looks now, and the one after its last.
    at, end = targets.first[subject], (targets.first + targets.count)[subject]
    left = np.arange(len(place))
    while len(left):
        own = place[left]
        _look_on(
            sees, at, end, left, (places.xy[own], out[own], of[own]), targets.xy, edges, reach_m
        )
        left = left[~sees[left] & (at[left] < end[left])]
        # What rounding might decide is asked of GEOS, whose answer is exact.
        ends = np.stack([places.xy[place[left]], targets.xy[at[left]]], axis=1)
        hidden = shapely.intersects(solids[of[place[left]]], shapely.linestrings(ends))
        sees[left[~hidden]] = True
        left = left[hidden]
        at[left] += 1
    return sees


@njit(cache=True, error_model="numpy")
def _look_on(sees, at, end, left, places, targets, edges, reach_m):
    """Look at one target after the other that lies before the wall and within reach, up to one that is not surely hidden.

    Changes ``at``, and ``sees`` where that one is surely seen.
    """
    eyes, out, solid = places
    xy, onward, first = edges.xy, edges.onward, edges.first
    least = math.sin(math.radians(GRAZING_DEG))
    for number in range(len(left)):
        asked = left[number]
        x, y, out_east, out_north = eyes[number, 0], eyes[number, 1], out[number, 0], out[number, 1]
        low, high = first[solid[number]], first[solid[number] + 1]
        # What hides one target mostly hides the next.
        wall = -1
        while at[asked] < end[asked]:
            to_x, to_y = targets[at[asked], 0], targets[at[asked], 1]
            east, north = to_x - x, to_y - y
            outward = east * out_east + north * out_north
            if outward > 0.0:
                away = math.hypot(east, north)
                if away <= reach_m and outward > away * least:
                    if wall < 0 or _meets(xy, onward, wall, wall + 2, x, y, to_x, to_y) < 0:
                        wall = _meets(xy, onward, low, high, x, y, to_x, to_y)
                    if wall < 0:
                        sees[asked] = wall == CLEAR
                        break
            at[asked] += 1


@njit(cache=True, error_model="numpy")
def _meets(xy, onward, low, high, x, y, to_x, to_y):
    """Give the vertex at which an edge begins that a line from without surely crosses; else `CLEAR` or `UNSURE`.

    The edges are those from vertex to vertex of some that follow each other.
    """
    found = CLEAR
    if low == high:  # a building as thin as a hair
        return found
    x2, y2 = xy[low, 0] - x, xy[low, 1] - y
    after = _side(to_x - x, to_y - y, x2, y2)
    for vertex in range(low, high - 1):
        x1, y1, before = x2, y2, after
        x2, y2 = xy[vertex + 1, 0] - x, xy[vertex + 1, 1] - y
        after = _side(to_x - x, to_y - y, x2, y2)
        if before * after > 0 or not onward[vertex]:
            continue
        ends = _side(x1, y1, x2, y2) * _side(
            xy[vertex, 0] - to_x, xy[vertex, 1] - to_y, xy[vertex + 1, 0] - to_x, xy[vertex + 1, 1] - to_y
        )  # fmt: skip
        if before * after < 0 and ends < 0:
            return vertex
        if ends <= 0:
            found = UNSURE
    return found


@njit(cache=True, error_model="numpy")
def _side(x1, y1, x2, y2):
    """Tell to which hand the second of two points lies, seen from the origin towards the first: 1 left, -1 right, 0 unsure."""
    one, other = x1 * y2, y1 * x2
    twice, unsure = one - other, SURE_SHARE * (abs(one) + abs(other))
    return int(twice > unsure) - int(twice < -unsure)


def _solids(footprints: np.ndarray, building: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the buildings smaller by a hair, so that a line that leaves its wall does not touch it; and that of each place."""
    which, of = np.unique(building, return_inverse=True)
    return shapely.buffer(footprints[which], -HAIR_M), of
