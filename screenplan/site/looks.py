"""Which places in walls see some point of a subject, not hidden by their own building."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numba import njit

from screenplan.site.compass import unit_vector
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
    solids = _solids(footprints, places.building)
    out = np.column_stack(unit_vector(places.facing_deg))
    # The target at which each place looks now, and the one after its last.
    at, end = targets.first[subject], (targets.first + targets.count)[subject]
    left = np.arange(len(place))
    while len(left):
        _pass_on(at, end, left, places.xy[place[left]], out[place[left]], targets.xy, reach_m)
        left = left[at[left] < end[left]]
        ends = np.stack([places.xy[place[left]], targets.xy[at[left]]], axis=1)
        hidden = shapely.intersects(solids[place[left]], shapely.linestrings(ends))
        sees[left[~hidden]] = True
        left = left[hidden]
        at[left] += 1
    return sees


@njit(cache=True, error_model="numpy")
def _pass_on(at, end, left, eyes, out, targets, reach_m):
    """Pass on to the next target that lies before the wall and within reach, or to the end; changes ``at``."""
    least = math.sin(math.radians(GRAZING_DEG))
    for number in range(len(left)):
        asked = left[number]
        x, y, out_east, out_north = eyes[number, 0], eyes[number, 1], out[number, 0], out[number, 1]
        while at[asked] < end[asked]:
            east, north = targets[at[asked], 0] - x, targets[at[asked], 1] - y
            outward = east * out_east + north * out_north
            if outward > 0.0:
                away = math.hypot(east, north)
                if away <= reach_m and outward > away * least:
                    break
            at[asked] += 1


def _solids(footprints: np.ndarray, building: np.ndarray) -> np.ndarray:
    """Give for each place the building in which it is, smaller by a hair: a line that leaves its wall does not touch it."""
    which, at = np.unique(building, return_inverse=True)
    solids = shapely.buffer(footprints[which], -HAIR_M)
    shapely.prepare(solids)
    return solids[at]
