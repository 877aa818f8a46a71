"""Compiled: which single plant stops a sight line in one year."""

from __future__ import annotations

import numpy as np
from numba import njit, prange

from screenplan.views.crowns import CrownTable
from screenplan.views.kernel import BLOCK, MANY_RAYS
from screenplan.views.meeting import meets, meets_upright
from screenplan.views.runs import UPRIGHT_M, Rows, strip_window
from screenplan.views.solids import LEVEL_PER

#: A sight line that no plant stops, or more than one.
NOT_ONE = -1


@njit(cache=True, error_model="numpy")
def _count_upright(ox, oy, oz, dz, rows, table, g, year):
    """Count the plants in the way of an upright sight line, up to two: (count, one of them)."""
    count, only = 0, NOT_ONE
    for plant in range(len(rows.x)):
        k = rows.kind[plant]
        px, py, pz = ox - rows.x[plant], oy - rows.y[plant], oz - rows.z[plant]
        if px * px + py * py >= table.widest[k] ** 2:
            continue
        row_x, row_y = rows.way[plant, 0], rows.way[plant, 1]
        if meets_upright(table.boxed[k], table, k, g, year, px, py, pz, dz, row_x, row_y):
            count, only = count + 1, plant
            if count > 1:
                break
    return count, only


@njit(cache=True, error_model="numpy")
def _count_level(ox, oy, oz, dx, dy, dz, reach, rows, table, g, year):
    """Do the same for any other sight line."""
    count, only = 0, NOT_ONE
    per = 1.0 / reach
    ux, uy, slope = dx * per, dy * per, dz * per
    per_slope = 1.0 / slope if slope != 0.0 else LEVEL_PER
    for run in range(rows.axis.shape[0]):
        first, last, high = strip_window(rows, run, ox, oy, oz, ux, uy, slope, per_slope, reach)
        for plant in range(first, last):
            if rows.along[plant] > high:
                break
            k = rows.kind[plant]
            px, py = rows.x[plant] - ox, rows.y[plant] - oy
            across, along, wide = px * uy - py * ux, px * ux + py * uy, table.widest[k]
            if abs(across) >= wide or along <= -wide or along >= reach + wide:
                continue
            row_x, row_y = rows.way[plant, 0], rows.way[plant, 1]
            cu, cv = ux * row_x + uy * row_y, uy * row_x - ux * row_y
            foot = oz - rows.z[plant] + along * slope
            if meets(
                table.boxed[k], table, k, g, year, across, foot, slope, per_slope, -along,
                reach - along, cu, cv,
            ):  # fmt: skip
                count, only = count + 1, plant
                if count > 1:
                    return count, only
    return count, only


@njit(cache=True, error_model="numpy")
def _look(begin, end, origin, target, wanted, rows, table, g, year, stopped, only):
    for ray in range(begin, end):
        if not wanted[ray]:
            continue
        ox, oy, oz = origin[ray, 0], origin[ray, 1], origin[ray, 2]
        dx, dy, dz = target[ray, 0] - ox, target[ray, 1] - oy, target[ray, 2] - oz
        reach = np.sqrt(dx * dx + dy * dy)
        if reach < UPRIGHT_M:
            count, plant = _count_upright(ox, oy, oz, dz, rows, table, g, year)
        else:
            count, plant = _count_level(ox, oy, oz, dx, dy, dz, reach, rows, table, g, year)
        stopped[ray] = count > 0
        if count == 1:
            only[ray] = rows.order[plant]


@njit(parallel=True, cache=True, error_model="numpy")
def _look_many(origin, target, wanted, rows, table, g, year, stopped, only):
    rays = origin.shape[0]
    for block in prange((rays + BLOCK - 1) // BLOCK):
        begin = block * BLOCK
        end = min(begin + BLOCK, rays)
        _look(begin, end, origin, target, wanted, rows, table, g, year, stopped, only)


def sole_blockers(
    origin, target, rows: Rows, table: CrownTable, year: int, growth: int, wanted=None
) -> tuple[np.ndarray, np.ndarray]:
    """Find which sight lines the plants stop in one year, and the only plant that does.

    Parameters
    ----------
    origin, target : ndarray of float64, (rays, 3)
        Ends of the sight lines, in metres.
    rows, table : Rows, CrownTable
        The plants, and how they grow.
    year, growth : int
        The year and the number of the growth.
    wanted : ndarray of bool, (rays,), optional
        Sight lines to look at; the others count as not stopped.

    Returns
    -------
    stopped : ndarray of bool, (rays,)
    only : ndarray of int64, (rays,)
        Number of the plant, in the order in which `arrange_rows` got them, that alone stops a sight
        line; `NOT_ONE` for none or several.
    """
    origin = np.ascontiguousarray(origin, np.float64)
    target = np.ascontiguousarray(target, np.float64)
    stopped = np.zeros(len(origin), np.bool_)
    only = np.full(len(origin), NOT_ONE, np.int64)
    if wanted is None:
        wanted = np.ones(len(origin), np.bool_)
    if not len(rows.x):
        return stopped, only
    if len(origin) >= MANY_RAYS:
        _look_many(origin, target, wanted, rows, table, growth, year, stopped, only)
    else:
        _look(0, len(origin), origin, target, wanted, rows, table, growth, year, stopped, only)
    return stopped, only
