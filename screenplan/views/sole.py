"""Compiled: which single plant stops a sight line in one year."""

from __future__ import annotations

import numpy as np
from numba import njit, prange

from screenplan.views.crowns import CrownTable
from screenplan.views.kernel import BLOCK, MANY_RAYS
from screenplan.views.meeting import meets, meets_upright
from screenplan.views.runs import UPRIGHT_M, Runs, strip_window
from screenplan.views.solids import LEVEL_PER

#: A sight line that no plant stops, or more than one.
NOT_ONE = -1


@njit(cache=True, error_model="numpy")
def _count_upright(ox, oy, oz, dz, runs, crowns, g, year):
    """Count the plants in the way of an upright sight line, up to two: (count, one of them)."""
    count, only = 0, NOT_ONE
    for plant in range(len(runs.x)):
        k = runs.kind[plant]
        px, py, pz = ox - runs.x[plant], oy - runs.y[plant], oz - runs.z[plant]
        if px * px + py * py >= crowns.widest[k] ** 2:
            continue
        row_x, row_y = runs.way[plant, 0], runs.way[plant, 1]
        if meets_upright(crowns.boxed[k], crowns, k, g, year, px, py, pz, dz, row_x, row_y):
            count, only = count + 1, plant
            if count > 1:
                break
    return count, only


@njit(cache=True, error_model="numpy")
def _count_level(ox, oy, oz, dx, dy, dz, reach, runs, crowns, g, year):
    """Do the same for any other sight line."""
    count, only = 0, NOT_ONE
    per = 1.0 / reach
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
                count, only = count + 1, plant
                if count > 1:
                    return count, only
    return count, only


@njit(cache=True, error_model="numpy")
def _look(begin, end, origin, target, wanted, runs, crowns, g, year, stopped, only):
    for ray in range(begin, end):
        if not wanted[ray]:
            continue
        ox, oy, oz = origin[ray, 0], origin[ray, 1], origin[ray, 2]
        dx, dy, dz = target[ray, 0] - ox, target[ray, 1] - oy, target[ray, 2] - oz
        reach = np.sqrt(dx * dx + dy * dy)
        if reach < UPRIGHT_M:
            count, plant = _count_upright(ox, oy, oz, dz, runs, crowns, g, year)
        else:
            count, plant = _count_level(ox, oy, oz, dx, dy, dz, reach, runs, crowns, g, year)
        stopped[ray] = count > 0
        if count == 1:
            only[ray] = runs.order[plant]


@njit(parallel=True, cache=True, error_model="numpy")
def _look_many(origin, target, wanted, runs, crowns, g, year, stopped, only):
    rays = origin.shape[0]
    for block in prange((rays + BLOCK - 1) // BLOCK):
        begin = block * BLOCK
        end = min(begin + BLOCK, rays)
        _look(begin, end, origin, target, wanted, runs, crowns, g, year, stopped, only)


def sole_blockers(
    origin, target, runs: Runs, crowns: CrownTable, year: int, growth: int, wanted=None
) -> tuple[np.ndarray, np.ndarray]:
    """Find which sight lines the plants stop in one year, and the only plant that does.

    Parameters
    ----------
    origin, target : ndarray of float64, (rays, 3)
        Ends of the sight lines, in metres.
    runs, crowns : Runs, CrownTable
        The plants, and how they grow.
    year, growth : int
        The year and the number of the growth.
    wanted : ndarray of bool, (rays,), optional
        Sight lines to look at; the others count as not stopped.

    Returns
    -------
    stopped : ndarray of bool, (rays,)
    only : ndarray of int64, (rays,)
        Number of the plant, in the order in which `arrange_runs` got them, that alone stops a sight
        line; `NOT_ONE` for none or several.
    """
    origin = np.ascontiguousarray(origin, np.float64)
    target = np.ascontiguousarray(target, np.float64)
    stopped = np.zeros(len(origin), np.bool_)
    only = np.full(len(origin), NOT_ONE, np.int64)
    if wanted is None:
        wanted = np.ones(len(origin), np.bool_)
    if not len(runs.x):
        return stopped, only
    if len(origin) >= MANY_RAYS:
        _look_many(origin, target, wanted, runs, crowns, growth, year, stopped, only)
    else:
        _look(0, len(origin), origin, target, wanted, runs, crowns, growth, year, stopped, only)
    return stopped, only
