"""Light through leaves: what passes the crowns of the rows in each year, by Beer and Lambert.

A sight line that runs l metres through leaves lets the share exp(-k l) of its light pass, with the
fading k = G times the leaf area in a cubic metre of crown, and G = 1/2 for leaves that face every
way alike (the mean over a sphere of |cos|). Leaves are taken as small, spread evenly, and opaque.

Where crowns have grown into each other the stretch counts once, with the fading of the crown whose
stem the sight line passes first: two plants that share a space share its light, and do not fill it
twice. Crowns are taken in the order of their stems along the sight line, and each year keeps the
last two groups of crowns that touch. A crown that reaches back over both is counted short by what
lies before them: light is then rated too high, never too low. Of equal crowns in one row none does.

Years are worked on side by side in the vector units, so every year costs little; of a class that
the tables tell to be missed before some year, the years before it are left out.
"""

from __future__ import annotations

import numpy as np
from numba import njit, prange

from screenplan.views.crowns import LANES, CrownTable
from screenplan.views.kernel import MANY_RAYS, UPRIGHT_M, foretold
from screenplan.views.light import by_season
from screenplan.views.runs import Rows, strip_window
from screenplan.views.solids import box_stretch, crown_stretch

#: Mean of |cos| between sight lines and leaves that face every way alike.
LEAF_PROJECTION = 0.5
#: Rays that are followed at a time by one core.
BLOCK = 2048
#: A sight line that rises more than this per metre is followed by its own share of the way.
STEEP = 20.0
#: Level lines are taken to rise by this per metre, which moves them by less than rounding shows.
LEVEL = 1e-12
#: Farther along than any sight line, in metres.
FAR_M = 1e30
#: Optical depth beyond which nothing is left to see: exp(-40) is 4e-18.
DARK = 40.0

_FAST = {"nnan", "ninf", "nsz", "contract"}


@njit(cache=True, error_model="numpy", fastmath=_FAST, forceinline=True)
def passed(depth):
    """Give exp(-depth) for depths of 0 or more, to 1e-13, without a branch.

    The Taylor sum of degree 7 at depth / 64, squared six times: the first term left out is
    (depth / 64)^8 / 8!, and 64 times that, times exp(-depth), is greatest at a depth of 8: 3e-14.
    """
    u = (depth if depth < DARK else DARK) * (-1.0 / 64.0)
    x = 1.0 + u * (1.0 / 7.0)
    x = 1.0 + u * (1.0 / 6.0) * x
    x = 1.0 + u * (1.0 / 5.0) * x
    x = 1.0 + u * (1.0 / 4.0) * x
    x = 1.0 + u * (1.0 / 3.0) * x
    x = 1.0 + u * (1.0 / 2.0) * x
    x = 1.0 + u * x
    x *= x
    x *= x
    x *= x
    x *= x
    x *= x
    return x * x


@njit(cache=True, error_model="numpy", fastmath=_FAST)
def _round_stretches(
    shape, form, k, g, year, years, across, along, foot, slope, per_slope, reach, enter, leave
):
    """Stretches of a sight line inside one round crown from a year on, as distances from its start.

    As in `screenplan.views.kernel`, with A > 0: seen from where the stem is passed, A s^2 + 2 B s +
    C < 0 holds between the roots.
    """
    v = across * across
    s0, s1 = -along, reach - along
    for y in range(np.uint64(year), np.uint64(years)):
        h, c, q, rr = form[k, g, 0, y], form[k, g, 1, y], form[k, g, 2, y], form[k, g, 3, y]
        one, two = (c - foot) * per_slope, (h - foot) * per_slope
        low, high = (one, two) if per_slope > 0.0 else (two, one)
        up = h - foot
        if shape == 0:
            A = 1.0 - q * slope * slope
            B = q * up * slope
            disc = q * up * up - A * v
        elif shape == 2:
            A = 1.0
            B = 0.5 * q * slope
            disc = B * B - v + q * up
        elif shape == 1:
            A = 1.0
            B = 0.0
            disc = rr - v
        else:
            w = foot - 0.5 * (h + c)
            A = 1.0 + q * slope * slope
            B = q * w * slope
            disc = B * B - A * (v + q * w * w - rr)
            low, high = s0, s1
        root = np.sqrt(disc if disc > 0.0 else 0.0)
        per = 1.0 / A
        one, two = (-B - root) * per, (root - B) * per
        low = one if one > low else low
        low = s0 if s0 > low else low
        high = two if two < high else high
        high = s1 if s1 < high else high
        high = high if disc > 0.0 else -FAR_M
        high = high if rr > 0.0 else -FAR_M
        enter[y], leave[y] = low + along, high + along


@njit(cache=True, error_model="numpy", fastmath=_FAST)
def _box_stretches(
    form, k, g, year, years, across, along, foot, per_slope, reach, cu, cv, enter, leave
):
    """Do the same for one box: between three pairs of faces."""
    per_u = 1.0 / (cu if abs(cu) > LEVEL else LEVEL)
    per_v = 1.0 / (cv if abs(cv) > LEVEL else LEVEL)
    x, y0 = -across * cv * per_u, across * cu * per_v
    s0, s1 = -along, reach - along
    for y in range(np.uint64(year), np.uint64(years)):
        h, c, q, rr = form[k, g, 0, y], form[k, g, 1, y], form[k, g, 2, y], form[k, g, 3, y]
        one, two = (c - foot) * per_slope, (h - foot) * per_slope
        low, high = (one, two) if per_slope > 0.0 else (two, one)
        half_u, half_v = rr * abs(per_u), q * abs(per_v)
        low = -half_u - x if -half_u - x > low else low
        high = half_u - x if half_u - x < high else high
        low = -half_v - y0 if -half_v - y0 > low else low
        high = half_v - y0 if half_v - y0 < high else high
        low = s0 if s0 > low else low
        high = s1 if s1 < high else high
        high = high if rr > 0.0 else -FAR_M
        enter[y], leave[y] = low + along, high + along


@njit(cache=True, error_model="numpy")
def _any_stretches(shape, table, k, g, years, px, py, pz, dx, dy, dz, way, scale, enter, leave):
    """Do the same for one crown and any sight line, upright ones too, year by year."""
    a, b, e = dx * dx + dy * dy, px * dx + py * dy, px * px + py * py
    for y in range(years):
        if shape == 4:
            form = table.form
            low, high = box_stretch(
                px * way[0] + py * way[1], py * way[0] - px * way[1], pz,
                dx * way[0] + dy * way[1], dy * way[0] - dx * way[1], dz, 0.0, 1.0,
                form[k, g, 0, y], form[k, g, 1, y], form[k, g, 2, y], form[k, g, 3, y],
            )  # fmt: skip
        else:
            low, high = crown_stretch(
                shape, a, b, e, pz, dz, table.height[k, g, y], table.radius[k, g, y],
                table.clear[k, g, y],
            )  # fmt: skip
        if not low < high:
            low, high = 0.0, -FAR_M
        enter[y], leave[y] = low * scale, high * scale


@njit(cache=True, error_model="numpy", fastmath=_FAST)
def _begin(year, years, enter, leave, start, end, before, fade, depth):
    """Set each year's depth to that of the first crown."""
    for y in range(np.uint64(year)):
        depth[y], start[y], end[y], before[y] = 0.0, -FAR_M, -FAR_M, -FAR_M
    for y in range(np.uint64(year), np.uint64(years)):
        a, b = enter[y], leave[y]
        there = a < b
        depth[y] = fade * (b - a) if there else 0.0
        start[y], end[y] = (a if there else -FAR_M), (b if there else -FAR_M)
        before[y] = -FAR_M


@njit(cache=True, error_model="numpy", fastmath=_FAST)
def _join(year, years, enter, leave, start, end, before, fade, depth):
    """Add to each year's depth what one more crown fills that none before it fills."""
    for y in range(np.uint64(year), np.uint64(years)):
        a, b = enter[y], leave[y]
        L, H, P = start[y], end[y], before[y]
        below = (b if b < L else L) - (a if a > P else P)
        above = b - (a if a > H else H)
        depth[y] += fade * ((below if below > 0.0 else 0.0) + (above if above > 0.0 else 0.0))
        there, apart = a < b, a >= H
        back = a if a > P else P
        L_new = a if apart else (back if back < L else L)
        H_new = b if b > H else H
        P_new = H if apart else P
        start[y] = L_new if there else L
        end[y] = H_new if there else H
        before[y] = P_new if there else P


@njit(cache=True, error_model="numpy", fastmath=_FAST)
def _take(years, year, w, depth, loss):
    """Add what is lost of a sight line's light in each year from one on."""
    for y in range(np.uint64(year), np.uint64(years)):
        loss[y] += w * (1.0 - passed(depth[y]))


@njit(cache=True, error_model="numpy")
def _fade_rays(begin, end_ray, origin, target, light, rows, table, dim_depth, loss, masks):
    """Sum the light that some sight lines lose, by layer, growth and year; mark where they dim."""
    growths, years = table.height.shape[1], table.height.shape[2]
    layers, lanes = loss.shape[0], loss.shape[2]
    plants = len(rows.x)
    chosen, where = np.empty(plants, np.int64), np.empty(plants)
    enter, leave = np.full(lanes, 0.0), np.full(lanes, -FAR_M)
    # Of all crowns up to each layer.
    depth, start = np.empty((layers, lanes)), np.empty((layers, lanes))
    end, before = np.empty((layers, lanes)), np.empty((layers, lanes))
    earliest = np.empty(layers, np.int64)
    for ray in range(begin, end_ray):
        w = light[ray]
        if w <= 0.0:
            continue
        ox, oy, oz = origin[ray, 0], origin[ray, 1], origin[ray, 2]
        dx, dy, dz = target[ray, 0] - ox, target[ray, 1] - oy, target[ray, 2] - oz
        reach = np.sqrt(dx * dx + dy * dy)
        upright = reach < UPRIGHT_M
        per = 1.0 / reach if not upright else 0.0
        ux, uy, slope = dx * per, dy * per, dz * per
        steep = upright or abs(slope) > STEEP
        if abs(slope) < LEVEL:
            slope = LEVEL
        per_slope = 1.0 / slope
        metres = np.sqrt(1.0 + slope * slope)
        # The crowns that come near, in the order in which their stems are passed.
        count = 0
        for run in range(rows.axis.shape[0]):
            if upright:
                first, last, high = rows.first[run], rows.first[run + 1], FAR_M
            else:
                first, last, high = strip_window(
                    rows, run, ox, oy, oz, ux, uy, slope, per_slope, reach
                )
            for plant in range(first, last):
                if rows.along[plant] > high:
                    break
                px, py = rows.x[plant] - ox, rows.y[plant] - oy
                wide = table.widest[rows.kind[plant]]
                if upright:
                    across, along = np.sqrt(px * px + py * py), 0.0
                else:
                    across, along = px * uy - py * ux, px * ux + py * uy
                if abs(across) >= wide or along <= -wide or along >= reach + wide:
                    continue
                place = count
                while place > 0 and where[place - 1] > along:
                    chosen[place], where[place] = chosen[place - 1], where[place - 1]
                    place -= 1
                chosen[place], where[place] = plant, along
                count += 1
        if count == 0:
            continue
        for g in range(growths):
            earliest[:] = lanes
            for number in range(count):
                plant, along = chosen[number], where[number]
                k = rows.kind[plant]
                shape, layer = table.shape[k], table.layer[k]
                px, py = rows.x[plant] - ox, rows.y[plant] - oy
                across = px * uy - py * ux
                foot = oz - rows.z[plant] + along * slope
                year = 0
                if not steep:
                    i, j, _, _ = foretold(table, k, across, foot, slope, along, reach)
                    year = np.int64(table.foretold[k, i, j, g, 0])
                    if year >= years:
                        continue
                    year &= ~np.int64(LANES - 1)
                if steep or (shape == 0 and table.steepest[k] * slope * slope > 0.99):
                    year = 0
                    scale = 1.0 if steep else reach
                    _any_stretches(
                        shape, table, k, g, years, -px, -py, oz - rows.z[plant], dx, dy, dz,
                        rows.way[plant], scale, enter, leave,
                    )  # fmt: skip
                elif shape == 4:
                    row_x, row_y = rows.way[plant, 0], rows.way[plant, 1]
                    _box_stretches(
                        table.form, k, g, year, lanes, across, along, foot, per_slope, reach,
                        ux * row_x + uy * row_y, uy * row_x - ux * row_y, enter, leave,
                    )  # fmt: skip
                elif shape == 0:
                    _round_stretches(
                        0, table.form, k, g, year, lanes, across, along, foot, slope, per_slope,
                        reach, enter, leave,
                    )  # fmt: skip
                elif shape == 1:
                    _round_stretches(
                        1, table.form, k, g, year, lanes, across, along, foot, slope, per_slope,
                        reach, enter, leave,
                    )  # fmt: skip
                elif shape == 2:
                    _round_stretches(
                        2, table.form, k, g, year, lanes, across, along, foot, slope, per_slope,
                        reach, enter, leave,
                    )  # fmt: skip
                else:
                    _round_stretches(
                        3, table.form, k, g, year, lanes, across, along, foot, slope, per_slope,
                        reach, enter, leave,
                    )  # fmt: skip
                length = np.sqrt(dx * dx + dy * dy + dz * dz) if steep else metres
                fade = table.fading[k, g] * length
                for upto in range(layer, layers):
                    if earliest[upto] == lanes:
                        _begin(
                            year, lanes, enter, leave, start[upto], end[upto], before[upto], fade,
                            depth[upto],
                        )  # fmt: skip
                    else:
                        _join(
                            year, lanes, enter, leave, start[upto], end[upto], before[upto], fade,
                            depth[upto],
                        )  # fmt: skip
                    earliest[upto] = min(earliest[upto], year)
            for layer in range(layers):
                if earliest[layer] < lanes:
                    _take(lanes, earliest[layer], w, depth[layer], loss[layer, g])
            if masks.shape[0] and earliest[layers - 1] < lanes:
                mask = np.int64(0)
                for y in range(earliest[layers - 1], years):
                    mask |= np.int64(depth[layers - 1, y] >= dim_depth) << y
                masks[ray, g] = mask


@njit(parallel=True, cache=True, error_model="numpy")
def _fade_many(origin, target, light, rows, table, dim_depth, loss, masks):
    rays = origin.shape[0]
    for block in prange(loss.shape[0]):
        begin = block * BLOCK
        _fade_rays(
            begin, min(begin + BLOCK, rays), origin, target, light, rows, table, dim_depth,
            loss[block], masks,
        )  # fmt: skip


def light_through(
    origin, target, light, rows: Rows, table: CrownTable, *, dim: float | None = None
):
    """Sum the light that passes the leaves of the rows, by growth, season and year.

    Parameters
    ----------
    origin, target : ndarray of float64, (rays, 3)
        Ends of the sight lines, in metres.
    light : ndarray of float64, (rays,)
        Share of each one's light that what exists lets through.
    rows, table : Rows, CrownTable
        The plants, how they grow, and how their leaves fade the light (`CrownTable.fading`).
    dim : float, optional
        Mark the years in which at most this share of a sight line's light passes the leaves.

    Returns
    -------
    passes : ndarray of float64, (growths, 2, years)
        Light by growth, season (summer, winter) and year, in rays. The winter light is that of
        `screenplan.views.light`: it is the same as with opaque crowns when leaves are dense.
    masks : ndarray of int64, (rays, 1, growths)
        Bit y is set in the years that ``dim`` asks for, in leaf; no rows without ``dim``.
    """
    origin = np.ascontiguousarray(origin, np.float64)
    target = np.ascontiguousarray(target, np.float64)
    light = np.ascontiguousarray(light, np.float64)
    growths, years = table.height.shape[1:]
    layers = max(len(table.leafless), 1)
    masks = np.zeros((len(origin) if dim is not None else 0, growths), np.int64)
    dim_depth = -np.log(dim) if dim else (DARK if dim is not None else 0.0)
    loss = np.zeros((max(-(-len(origin) // BLOCK), 1), layers, growths, table.form.shape[3]))
    if len(rows.x) and len(origin):
        if len(origin) >= MANY_RAYS:
            _fade_many(origin, target, light, rows, table, dim_depth, loss, masks)
        else:
            _fade_rays(
                0, len(origin), origin, target, light, rows, table, dim_depth, loss[0], masks
            )
    every = light[light > 0.0].sum()
    passes = every - loss.sum(axis=0)[..., :years]
    return by_season(passes, every, table.leafless), masks[:, None, :]
