"""The compiled kernel: in which years a sight line is blocked by the plants of the rows.

Few plants of a run come near a sight line (`screenplan.views.runs`). For each of them tables
foretell between which years its crown first stands in the way (`screenplan.views.crowns`); what
they leave open is bisected with exact tests. Where the crowns of a class are not nested, each
stretch of years in which they are is bisected by itself, so that views which open again are told
as well. The result is a mask of years.

Along a sight line distances count in plan, from its start: a point is at s from 0 to ``reach``, and
rises by ``slope`` per metre. Of each plant it is known how far ``along`` the line its stem is
passed, and how far to the side.
"""

from __future__ import annotations

import numpy as np
from numba import njit, prange

from screenplan.views.crowns import DISTANCE_CELLS, HEIGHT_CELLS, CrownTable
from screenplan.views.light import add_changes, light_of_changes, open_light
from screenplan.views.runs import Rows, arrange_rows, strip_window
from screenplan.views.solids import box_stretch, form_hit

__all__ = ("Rows", "arrange_rows", "blocked_years", "follow_years", "open_light", "strip_window")

#: Rays that are followed at a time by one core.
BLOCK = 4096
#: Fewer rays than this are followed by one core: waking the others would cost more.
MANY_RAYS = 20_000
#: A sight line that is shorter than this in plan counts as upright.
UPRIGHT_M = 1e-9


@njit(cache=True, error_model="numpy", forceinline=True)
def meets(shape, form, k, g, y, across, foot, slope, per_slope, s0, s1, cu, cv):
    """Tell whether a sight line meets one crown.

    Parameters
    ----------
    shape : int
    form, k, g, y
        `CrownTable.form`, and the class, growth and year.
    across : float
        Distance in plan at which the stem is passed; it lies to the left if negative.
    foot : float
        Height there above the foot of the stem.
    slope, per_slope : float
        Rise per metre in plan, and 1 / slope.
    s0, s1 : float
        Start and end of the sight line, from where it passes the stem.
    cu, cv : float
        Its direction in plan, along and across the row (for boxes).
    """
    h, c, q, rr = form[k, g, 0, y], form[k, g, 1, y], form[k, g, 2, y], form[k, g, 3, y]
    if shape == 4:
        one, two = box_stretch(-across * cv, across * cu, foot, cu, cv, slope, s0, s1, h, c, q, rr)
        return one < two
    return form_hit(shape, 1.0, 0.0, across * across, foot, slope, per_slope, s0, s1, h, c, q, rr)


@njit(cache=True, error_model="numpy")
def meets_upright(shape, form, k, g, y, px, py, pz, dz, row_x, row_y):
    """Tell whether an upright sight line of rise ``dz`` meets one crown, seen from its foot."""
    h, c, q, rr = form[k, g, 0, y], form[k, g, 1, y], form[k, g, 2, y], form[k, g, 3, y]
    if shape == 4:
        x, y = px * row_x + py * row_y, py * row_x - px * row_y
        one, two = box_stretch(x, y, pz, 0.0, 0.0, dz, 0.0, 1.0, h, c, q, rr)
        return one < two
    per_dz = 1.0 / dz if dz != 0.0 else 0.0
    e = px * px + py * py
    return form_hit(shape, 0.0, 0.0, e, pz, dz, per_dz, 0.0, 1.0, h, c, q, rr)


@njit(cache=True, error_model="numpy")
def highest_bit(mask):
    """Find the highest set bit of a positive mask."""
    bit = 0
    for step in (32, 16, 8, 4, 2, 1):
        if mask >> step:
            mask >>= step
            bit += step
    return bit


@njit(cache=True, error_model="numpy")
def _add_years(
    mask, pieces, shape, form, k, g, across, foot, slope, per_slope, s0, s1, cu, cv
):  # fmt: skip
    """Add to a mask the years in which one crown of a class that is not nested is in the way."""
    for piece in range(pieces.shape[2]):
        years = pieces[k, g, piece]
        if years == 0:
            break
        rest = years & ~mask
        if rest == 0:
            continue
        # Crowns are nested within a piece: one that is not met in the last year still open is met
        # in no year before it.
        last = highest_bit(rest)
        if not meets(shape, form, k, g, last, across, foot, slope, per_slope, s0, s1, cu, cv):
            continue
        first = highest_bit(years & -years)
        hit = last
        while first < hit:
            middle = (first + hit) >> 1
            if meets(shape, form, k, g, middle, across, foot, slope, per_slope, s0, s1, cu, cv):
                hit = middle
            else:
                first = middle + 1
        mask |= ((np.int64(1) << (last + 1)) - (np.int64(1) << hit)) & years
    return mask


@njit(cache=True, error_model="numpy", forceinline=True)
def foretold(table, k, across, foot, slope, along, reach):
    """Cells of the table: distance and height for its early year, then both for its late one."""
    cells, per_metre, steepest = table.cells, table.cells[k, 0], table.steepest[k]
    v = abs(across)
    late_i = min(int(v * per_metre), DISTANCE_CELLS - 1)
    if steepest >= 0.0:
        # A cone's radius changes by k at most per metre of height: sqrt(v^2 + s^2) - k |slope s|
        # is least with v sqrt(1 - k^2 slope^2), and must be less than the radius at s = 0.
        early_i = min(int(v * max(1.0 - steepest * slope * slope, 0.0) * per_metre), late_i)
        lowest = foot * cells[k, 1]
    else:
        early_i = late_i
        lowest = (foot - abs(slope) * table.widest[k]) * cells[k, 1]
    early_j = min(int(lowest), HEIGHT_CELLS) if lowest > 0.0 else 0
    at = foot * cells[k, 1]
    known = along > 0.0 and along < reach and at > 0.0
    late_j = min(int(at), HEIGHT_CELLS) if known else HEIGHT_CELLS
    return early_i, early_j, late_i, late_j


@njit(cache=True, error_model="numpy")
def _block_upright(ox, oy, oz, dz, rows, table, mask):
    """Add to an upright sight line's masks the years in which a plant is in the way."""
    for plant in range(len(rows.x)):
        k = rows.kind[plant]
        px, py, pz = ox - rows.x[plant], oy - rows.y[plant], oz - rows.z[plant]
        if px * px + py * py >= table.widest[k] ** 2:
            continue
        shape, layer = table.shape[k], table.layer[k]
        row_x, row_y = rows.way[plant, 0], rows.way[plant, 1]
        for g in range(table.height.shape[1]):
            for y in range(table.height.shape[2]):
                if meets_upright(shape, table.form, k, g, y, px, py, pz, dz, row_x, row_y):
                    mask[layer, g] |= np.int64(1) << y


@njit(cache=True, error_model="numpy")
def _block_rays(begin, end, origin, target, light, rows, table, masks, changes):
    """Find the masks of some sight lines, and note the years in which their light changes."""
    growths, years = table.height.shape[1], table.height.shape[2]
    layers, runs = changes.shape[0], rows.axis.shape[0]
    every = (np.int64(1) << years) - 1
    form, pieces = table.form, table.pieces
    keep = masks.shape[0] > 0
    plain = layers == 1 and pieces.shape[2] == 1
    first, mask = np.empty((layers, growths), np.int64), np.zeros((layers, growths), np.int64)
    for ray in range(begin, end):
        w = light[ray]
        if w <= 0.0:
            continue
        ox, oy, oz = origin[ray, 0], origin[ray, 1], origin[ray, 2]
        dx, dy, dz = target[ray, 0] - ox, target[ray, 1] - oy, target[ray, 2] - oz
        reach = np.sqrt(dx * dx + dy * dy)
        upright = reach < UPRIGHT_M
        per = 1.0 / reach if not upright else 0.0
        ux, uy, slope = dx * per, dy * per, dz * per
        per_slope = 1.0 / slope if slope != 0.0 else 0.0
        first[:] = years
        if not plain or upright:
            mask[:] = 0
        if upright:
            _block_upright(ox, oy, oz, dz, rows, table, mask)
        for run in range(0 if upright else runs):
            nearest, last, high = strip_window(
                rows, run, ox, oy, oz, ux, uy, slope, per_slope, reach
            )
            for plant in range(nearest, last):
                if rows.along[plant] > high:
                    break
                px, py = rows.x[plant] - ox, rows.y[plant] - oy
                across, k = px * uy - py * ux, rows.kind[plant]
                wide = table.widest[k]
                if abs(across) >= wide:
                    continue
                along = px * ux + py * uy
                if along <= -wide or along >= reach + wide:
                    continue
                foot = oz - rows.z[plant] + along * slope
                i, j, sure_i, sure_j = foretold(table, k, across, foot, slope, along, reach)
                shape, layer = table.shape[k], table.layer[k]
                s0, s1 = -along, reach - along
                cu, cv = 0.0, 0.0
                if shape == 4:
                    row_x, row_y = rows.way[plant, 0], rows.way[plant, 1]
                    cu, cv = ux * row_x + uy * row_y, uy * row_x - ux * row_y
                for g in range(growths):
                    year, before = np.int64(table.foretold[k, i, j, g, 0]), first[layer, g]
                    if year >= before:
                        continue
                    if not plain and pieces.shape[2] > 1 and pieces[k, g, 1] != 0:
                        mask[layer, g] = _add_years(
                            mask[layer, g], pieces, shape, form, k, g, across, foot,
                            slope, per_slope, s0, s1, cu, cv,
                        )  # fmt: skip
                        continue
                    hit = min(np.int64(table.foretold[k, sure_i, sure_j, g, 1]), before)
                    while year < hit:
                        middle = (year + hit) >> 1
                        if meets(
                            shape, form, k, g, middle, across, foot, slope, per_slope, s0, s1,
                            cu, cv,
                        ):  # fmt: skip
                            hit = middle
                        else:
                            year = middle + 1
                    first[layer, g] = hit
        if plain and not upright:
            for g in range(growths):
                changes[0, g, first[0, g]] -= w
                if keep:
                    masks[ray, 0, g] = every & -(np.int64(1) << first[0, g])
            continue
        for g in range(growths):
            blocked = np.int64(0)
            for layer in range(layers):
                own = mask[layer, g] | (every & -(np.int64(1) << first[layer, g]))
                blocked |= own
                add_changes(blocked, w, years, changes[layer, g])
                if keep:
                    masks[ray, layer, g] = own


@njit(parallel=True, cache=True, error_model="numpy")
def _block_many(origin, target, light, rows, table, masks, changes):
    rays = origin.shape[0]
    for block in prange(changes.shape[0]):
        begin = block * BLOCK
        _block_rays(
            begin, min(begin + BLOCK, rays), origin, target, light, rows, table, masks,
            changes[block],
        )  # fmt: skip


def follow_years(
    origin, target, light, rows: Rows, table: CrownTable, *, keep: bool = True
) -> tuple[np.ndarray, np.ndarray]:
    """Sum the light that opaque crowns leave open, and find when each sight line is blocked.

    Parameters
    ----------
    origin, target : ndarray of float64, (rays, 3)
        Ends of the sight lines, in metres.
    light : ndarray of float64, (rays,)
        Share of each one's light that what exists lets through; those of 0 are not looked at.
    rows, table : Rows, CrownTable
        The plants, and how they grow.
    keep : bool
        Whether the masks are wanted.

    Returns
    -------
    passes : ndarray of float64, (growths, 2, years)
        Light by growth, season (summer, winter) and year, in rays.
    masks : ndarray of int64, (rays, layers, growths)
        Bit y is set if the sight line is blocked in year y by a plant of that layer
        (`CrownTable.leafless`); without rows if they are not wanted.
    """
    origin = np.ascontiguousarray(origin, np.float64)
    target = np.ascontiguousarray(target, np.float64)
    light = np.ascontiguousarray(light, np.float64)
    growths, years = table.height.shape[1:]
    layers, rays = max(len(table.leafless), 1), len(origin)
    masks = np.zeros((rays if keep else 0, layers, growths), np.int64)
    many = rays >= MANY_RAYS
    changes = np.zeros((-(-rays // BLOCK) if many else 1, layers, growths, years + 1))
    if len(rows.x) and many:
        _block_many(origin, target, light, rows, table, masks, changes)
    elif len(rows.x):
        _block_rays(0, rays, origin, target, light, rows, table, masks, changes[0])
    return light_of_changes(changes, light, table.leafless), masks


def blocked_years(origin, target, rows: Rows, table: CrownTable, wanted=None) -> np.ndarray:
    """Find the years in which each sight line is blocked by a crown.

    Parameters
    ----------
    origin, target, rows, table
        As in `follow_years`.
    wanted : ndarray of bool, (rays,), optional
        Sight lines to look at; the others get empty masks.

    Returns
    -------
    ndarray of int64, (rays, layers, growths)
        The masks of `follow_years`.
    """
    light = np.ones(len(origin)) if wanted is None else np.asarray(wanted, np.float64)
    return follow_years(origin, target, light, rows, table)[1]
