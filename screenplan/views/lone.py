"""Compiled: how much more light passes the leaves in one year without each single plant.

The crowns in the way of a sight line are joined as in `screenplan.views.leaves`: once all of them,
and once without each. The few that there are make that cheap.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from screenplan.views.chords import FAR_M, any_stretch, join
from screenplan.views.compiled import called
from screenplan.views.crowns import CrownTable
from screenplan.views.runs import UPRIGHT_M, Runs, strip_window


@called()
def _depth(count, left_out, enter, leave, extinction):
    """Optical depth of some crowns without one of them."""
    depth, low, high, apart_at = 0.0, -FAR_M, -FAR_M, -FAR_M
    for n in range(count):
        if n != left_out:
            more, low, high, apart_at = join(enter[n], leave[n], low, high, apart_at)
            depth += extinction[n] * more
    return depth


@called()
def _add_crown(count, plant, along, line, runs, crowns, g, year, found):
    """Put a plant whose crown is met among those before it, in the order of their stems."""
    (ox, oy, oz, dx, dy, dz), (who, where, enter, leave, extinction) = line, found
    k = runs.kind[plant]
    low, high = any_stretch(
        crowns.boxed[k], crowns, k, g, year, ox - runs.x[plant], oy - runs.y[plant],
        oz - runs.z[plant], dx, dy, dz, runs.way[plant],
    )  # fmt: skip
    if not low < high:
        return count
    place, length = count, np.sqrt(dx * dx + dy * dy + dz * dz)
    while place > 0 and where[place - 1] > along:
        who[place], where[place] = who[place - 1], where[place - 1]
        extinction[place] = extinction[place - 1]
        enter[place], leave[place] = enter[place - 1], leave[place - 1]
        place -= 1
    who[place], where[place], extinction[place] = plant, along, crowns.extinction[k, g]
    enter[place], leave[place] = low * length, high * length
    return count + 1


@called()
def _find_crowns(line, runs, crowns, g, year, found):
    """Find the crowns that a sight line meets: how many."""
    ox, oy, oz, dx, dy, dz = line
    reach, count = np.sqrt(dx * dx + dy * dy), 0
    if reach < UPRIGHT_M:
        for plant in range(len(runs.x)):
            count = _add_crown(count, plant, 0.0, line, runs, crowns, g, year, found)
        return count
    ux, uy, slope = dx / reach, dy / reach, dz / reach
    per_slope = 1.0 / slope if slope != 0.0 else 0.0
    for run in range(runs.axis.shape[0]):
        first, last, high = strip_window(runs, run, ox, oy, oz, ux, uy, slope, per_slope, reach)
        for plant in range(first, last):
            if runs.along[plant] > high:
                break
            along = (runs.x[plant] - ox) * ux + (runs.y[plant] - oy) * uy
            count = _add_crown(count, plant, along, line, runs, crowns, g, year, found)
    return count


@njit(cache=True, error_model="numpy")
def _pass_rays(origin, target, light, runs, crowns, g, year, opens):
    plants = len(runs.x)
    who, where, extinction = np.empty(plants, np.int64), np.empty(plants), np.empty(plants)
    enter, leave, passes = np.empty(plants), np.empty(plants), 0.0
    found = who, where, enter, leave, extinction
    for ray in range(origin.shape[0]):
        w = light[ray]
        if w <= 0.0:
            continue
        ox, oy, oz = origin[ray, 0], origin[ray, 1], origin[ray, 2]
        line = ox, oy, oz, target[ray, 0] - ox, target[ray, 1] - oy, target[ray, 2] - oz
        count = _find_crowns(line, runs, crowns, g, year, found)
        left = w * np.exp(-_depth(count, -1, enter, leave, extinction))
        passes += left
        for n in range(count):
            more = w * np.exp(-_depth(count, n, enter, leave, extinction)) - left
            opens[runs.order[who[n]]] += max(more, 0.0)
    return passes


def light_without(
    origin, target, light, runs: Runs, crowns: CrownTable, year: int, growth: int
) -> tuple[float, np.ndarray]:
    """Sum the light that passes the leaves in one year, and what each plant takes alone.

    Parameters
    ----------
    origin, target : ndarray of float64, (rays, 3)
        Ends of the sight lines, in metres.
    light : ndarray of float64, (rays,)
        Share of each one's light that what exists lets through.
    runs, crowns : Runs, CrownTable
        The plants, how they grow, and how their leaves dim the light.
    year, growth : int
        The year and the number of the growth.

    Returns
    -------
    passes : float
        Light that passes all leaves, in rays.
    opens : ndarray of float64, (plants,)
        How much more passes without each plant, in the order in which `arrange_runs` got them.
    """
    opens = np.zeros(len(runs.x))
    origin, target, light = (
        np.ascontiguousarray(part, np.float64) for part in (origin, target, light)
    )
    return _pass_rays(origin, target, light, runs, crowns, growth, year, opens), opens
