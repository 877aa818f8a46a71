"""Compiled: all plants that stop a sight line in one year, each by itself.

Each plant is looked at as if it stood alone, so that plants of several plantings, which could never
stand at the same time, may be looked at together.
"""

from __future__ import annotations

import numpy as np
from numba import njit, prange

from screenplan.views.compiled import called
from screenplan.views.crowns import CrownTable
from screenplan.views.kernel import BLOCK, MANY_RAYS
from screenplan.views.meeting import meets, meets_upright
from screenplan.views.runs import UPRIGHT_M, Runs, strip_window
from screenplan.views.solids import LEVEL_PER


@called()
def _list_upright(ox, oy, oz, dz, runs, crowns, g, year, begin, found):
    """List the plants in the way of an upright sight line: how many; none is written beyond the room."""
    count = 0
    for plant in range(len(runs.x)):
        k = runs.kind[plant]
        px, py, pz = ox - runs.x[plant], oy - runs.y[plant], oz - runs.z[plant]
        if px * px + py * py >= crowns.widest[k] ** 2:
            continue
        row_x, row_y = runs.way[plant, 0], runs.way[plant, 1]
        if meets_upright(crowns.boxed[k], crowns, k, g, year, px, py, pz, dz, row_x, row_y):
            if begin + count < len(found):
                found[begin + count] = runs.order[plant]
            count += 1
    return count


@called()
def _list_level(ox, oy, oz, dx, dy, dz, reach, runs, crowns, g, year, begin, found):
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
                if begin + count < len(found):
                    found[begin + count] = runs.order[plant]
                count += 1
    return count


@njit(cache=True, error_model="numpy")
def _look(begin, end, origin, target, runs, crowns, g, year, first, found, counts):
    for ray in range(begin, end):
        ox, oy, oz = origin[ray, 0], origin[ray, 1], origin[ray, 2]
        dx, dy, dz = target[ray, 0] - ox, target[ray, 1] - oy, target[ray, 2] - oz
        reach = np.sqrt(dx * dx + dy * dy)
        if reach < UPRIGHT_M:
            counts[ray] = _list_upright(ox, oy, oz, dz, runs, crowns, g, year, first[ray], found)
        else:
            counts[ray] = _list_level(
                ox, oy, oz, dx, dy, dz, reach, runs, crowns, g, year, first[ray], found
            )


@njit(parallel=True, cache=True, error_model="numpy")
def _look_many(origin, target, runs, crowns, g, year, first, found, counts):
    rays = origin.shape[0]
    for block in prange((rays + BLOCK - 1) // BLOCK):
        begin = block * BLOCK
        end = min(begin + BLOCK, rays)
        _look(begin, end, origin, target, runs, crowns, g, year, first, found, counts)


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
    origin = np.ascontiguousarray(origin, np.float64)
    target = np.ascontiguousarray(target, np.float64)
    rays, counts = len(origin), np.zeros(len(origin), np.int64)
    first, found = np.zeros(rays + 1, np.int64), np.zeros(0, np.int64)
    if not len(runs.x):
        return first, found
    # Counted first, with no room to write, and then written.
    for _ in range(2):
        if rays >= MANY_RAYS:
            _look_many(origin, target, runs, crowns, growth, year, first, found, counts)
        else:
            _look(0, rays, origin, target, runs, crowns, growth, year, first, found, counts)
        first[1:] = np.cumsum(counts)
        found = found if len(found) else np.zeros(int(first[-1]), np.int64)
    return first, found
