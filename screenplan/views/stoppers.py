"""Compiled: the plants that stop a sight line in one year, each by itself; all of them, or the only one.

Each plant is looked at as if it stood alone, so that plants of several plantings, which could never
stand at the same time, may be looked at together.
"""

from __future__ import annotations

import numpy as np
from numba import njit, prange

from screenplan.views.compiled import MANY_RAYS, called
from screenplan.views.crowns import CrownTable
from screenplan.views.kernel import BLOCK
from screenplan.views.meeting import meets, meets_upright
from screenplan.views.runs import UPRIGHT_M, Runs, strip_window
from screenplan.views.solids import LEVEL_PER

#: A sight line that no plant stops, or more than one.
NOT_ONE = -1
#: More plants than stop any sight line.
_ALL = np.iinfo(np.int64).max


@called()
def _list_upright(ox, oy, oz, dz, runs, crowns, g, year, most, begin, room, found):
    """List the plants in the way of an upright sight line: how many, up to the most that are asked for.

    The first of them, as many as there is room for, are written from ``begin`` on.
    """
    count = 0
    for plant in range(len(runs.x)):
        k = runs.kind[plant]
        px, py, pz = ox - runs.x[plant], oy - runs.y[plant], oz - runs.z[plant]
        if px * px + py * py >= crowns.widest[k] ** 2:
            continue
        row_x, row_y = runs.way[plant, 0], runs.way[plant, 1]
        if meets_upright(crowns.boxed[k], crowns, k, g, year, px, py, pz, dz, row_x, row_y):
            if count < room:
                found[begin + count] = runs.order[plant]
            count += 1
            if count == most:
                break
    return count


@called()
def _list_level(ox, oy, oz, dx, dy, dz, reach, runs, crowns, g, year, most, begin, room, found):
    """Do the same for any other sight line."""
    count, per = 0, 1.0 / reach
    ux, uy, slope = dx * per, dy * per, dz * per
    per_slope = 1.0 / slope if slope != 0.0 else LEVEL_PER
    for run in range(runs.axis.shape[0]):
        first, last, high = strip_window(runs, run, ox, oy, oz, ux, uy, slope, per_slope, reach)
        for plant in range(first, last):
            if runs.along[plant] > high:
                break
            k = runs.kind[plant]
            px, py = runs.x[plant] - ox, runs.y[plant] - oy
            across, along, wide = px * uy - py * ux, px * ux + py * uy, crowns.widest[k]
            if abs(across) >= wide or along <= -wide or along >= reach + wide:
                continue
            row_x, row_y = runs.way[plant, 0], runs.way[plant, 1]
            cu, cv = ux * row_x + uy * row_y, uy * row_x - ux * row_y
            foot = oz - runs.z[plant] + along * slope
            if meets(
                crowns.boxed[k], crowns, k, g, year, across, foot, slope, per_slope, -along,
                reach - along, cu, cv,
            ):  # fmt: skip
                if count < room:
                    found[begin + count] = runs.order[plant]
                count += 1
                if count == most:
                    return count
    return count


@njit(cache=True, error_model="numpy")
def _look(
    begin, end, origin, target, wanted, runs, crowns, g, year, most, first, room, found, counts
):
    for ray in range(begin, end):
        if not wanted[ray]:
            continue
        ox, oy, oz = origin[ray, 0], origin[ray, 1], origin[ray, 2]
        dx, dy, dz = target[ray, 0] - ox, target[ray, 1] - oy, target[ray, 2] - oz
        reach = np.sqrt(dx * dx + dy * dy)
        if reach < UPRIGHT_M:
            counts[ray] = _list_upright(
                ox, oy, oz, dz, runs, crowns, g, year, most, first[ray], room, found
            )
        else:
            counts[ray] = _list_level(
                ox, oy, oz, dx, dy, dz, reach, runs, crowns, g, year, most, first[ray], room, found
            )


@njit(parallel=True, cache=True, error_model="numpy")
def _look_many(origin, target, wanted, runs, crowns, g, year, most, first, room, found, counts):
    rays = origin.shape[0]
    for block in prange((rays + BLOCK - 1) // BLOCK):
        begin = block * BLOCK
        end = min(begin + BLOCK, rays)
        _look(
            begin, end, origin, target, wanted, runs, crowns, g, year, most, first, room, found, counts
        )  # fmt: skip


def _count(ends, wanted, planted, most, first, room, found) -> np.ndarray:
    """Count the plants that stop each sight line, and write those for which there is room.

    ``planted`` is the runs, their crowns, and the numbers of growth and year.
    """
    origin, target = (np.ascontiguousarray(end, np.float64) for end in ends)
    rays, counts = len(origin), np.zeros(len(origin), np.int64)
    given = origin, target, wanted, *planted, most, first, room, found, counts
    if rays >= MANY_RAYS:
        _look_many(*given)
    elif rays:
        _look(0, rays, *given)
    return counts


def list_stoppers(
    origin, target, runs: Runs, crowns: CrownTable, year: int, growth: int
) -> tuple[np.ndarray, np.ndarray]:
    """Find all plants that stop each sight line in one year.

    Parameters
    ----------
    origin, target : ndarray of float64, (rays, 3)
        Ends of the sight lines, in metres.
    runs, crowns : Runs, CrownTable
        The plants, and how they grow.
    year, growth : int
        The numbers of the year and of the growth.

    Returns
    -------
    first : ndarray of int64, (rays + 1,)
        Where the plants of each sight line begin.
    plants : ndarray of int64
        Their numbers, in the order in which `arrange_runs` got them.
    """
    rays = len(origin)
    first, found = np.zeros(rays + 1, np.int64), np.zeros(0, np.int64)
    if not len(runs.x):
        return first, found
    # Counted first, with no room to write, and then written.
    asked = (origin, target), np.ones(rays, np.bool_), (runs, crowns, growth, year), _ALL
    first[1:] = np.cumsum(_count(*asked, first, 0, found))
    found = np.zeros(int(first[-1]), np.int64)
    _count(*asked, first, _ALL, found)
    return first, found


def sole_blockers(
    origin, target, runs: Runs, crowns: CrownTable, year: int, growth: int, wanted=None
) -> tuple[np.ndarray, np.ndarray]:
    """Find which sight lines the plants stop in one year, and the only plant that does.

    Parameters
    ----------
    origin, target, runs, crowns, year, growth
        As in `list_stoppers`.
    wanted : ndarray of bool, (rays,), optional
        Sight lines to look at; the others count as not stopped.

    Returns
    -------
    stopped : ndarray of bool, (rays,)
    only : ndarray of int64, (rays,)
        Number of the plant, in the order in which `arrange_runs` got them, that alone stops a sight
        line; `NOT_ONE` for none or several.
    """
    rays = len(origin)
    wanted = np.ones(rays, np.bool_) if wanted is None else wanted
    only = np.full(rays, NOT_ONE, np.int64)
    if not len(runs.x):
        return np.zeros(rays, np.bool_), only
    planted = (runs, crowns, growth, year)
    counts = _count((origin, target), wanted, planted, 2, np.arange(rays), 1, only)
    only[counts > 1] = NOT_ONE
    return counts > 0, only
