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
from screenplan.views.runs import (
    PART,
    UPRIGHT_M,
    Rows,
    arrange_rows,
    find_windows,
    lay_lines,
    strip_window,
)
from screenplan.views.solids import box_stretch, form_hit

__all__ = ("Rows", "arrange_rows", "blocked_years", "follow_years", "open_light", "strip_window")

#: Rays that are followed at a time by one core.
BLOCK = 4096
#: Fewer rays than this are followed by one core: waking the others would cost more.
MANY_RAYS = 20_000
#: Sight lines nearly as steep as a cone's side are not foretold: rounding only.
STEEP_PART = 1e-6
#: Bits that hold the number of a growth in a list.
GROWTH_BITS = 4


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
    mask, early, pieces, shape, form, k, g, across, foot, slope, per_slope, s0, s1, cu, cv
):  # fmt: skip
    """Add to a mask the years, from an early one on, in which a crown that is not nested stops it."""
    later = -(np.int64(1) << early)
    for piece in range(pieces.shape[2]):
        years = pieces[k, g, piece]
        if years == 0:
            break
        rest = years & ~mask & later
        if rest == 0:
            continue
        # Crowns are nested within a piece: one that is not met in the last year still open is met
        # in no year before it.
        last = highest_bit(rest)
        if not meets(shape, form, k, g, last, across, foot, slope, per_slope, s0, s1, cu, cv):
            continue
        first = max(highest_bit(years & -years), early)
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
        # A sight line as steep as the cone's side may meet it anywhere.
        part = 1.0 - steepest * slope * slope
        early_i = min(int(v * max(part, 0.0) * per_metre), late_i)
        lowest = foot * cells[k, 1] if part > STEEP_PART else 0.0
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


@njit(cache=True, error_model="numpy", forceinline=True)
def _list_plants(ray, count, span, bucket, which, what, room):
    """List rays and plants of their windows from a ray on, while there is room: next ray, number.

    Two plants are always written and as many counted as there are: most windows hold one or two.
    """
    listed = 0
    while ray < count and listed < room:
        low, high = bucket[np.uint64(span[0, ray])], bucket[np.uint64(span[1, ray])]
        for more in range(2):
            place = np.uint64(listed + more)
            which[place], what[place] = ray, low + more
        for more in range(2, high - low):
            place = np.uint64(listed + more)
            which[place], what[place] = ray, low + more
        listed += max(high - low, 0)
        ray += 1
    return ray, listed


@njit(cache=True, error_model="numpy", forceinline=True)
def _come_near(listed, which, what, start, origin, lines, rows, table, growths, near, cell):
    """Keep what comes near: its place, the cells of its early and late years, plant, ray, layer."""
    layers = len(table.leafless)
    per_distance = (HEIGHT_CELLS + 1) * growths * 2
    pairs = 0
    for n in range(listed):
        ray, plant, to = np.uint64(which[n]), np.uint64(what[n]), np.uint64(pairs)
        ux, uy, slope, reach = lines[0, ray], lines[1, ray], lines[2, ray], lines[4, ray]
        at = np.uint64(start) + ray
        px, py = rows.x[plant] - origin[at, 0], rows.y[plant] - origin[at, 1]
        k = np.uint64(rows.kind[plant])
        wide = table.widest[k]
        across, along = px * uy - py * ux, px * ux + py * uy
        foot = origin[at, 2] - rows.z[plant] + along * slope
        i, j, sure_i, sure_j = foretold(table, k, across, foot, slope, along, reach)
        begin = rows.kind[plant] * (DISTANCE_CELLS * per_distance)
        near[to, 0], near[to, 1], near[to, 2] = across, along, foot
        cell[to, 0] = begin + i * per_distance + j * growths * 2
        cell[to, 1] = begin + sure_i * per_distance + sure_j * growths * 2
        cell[to, 2], cell[to, 3] = plant, ray
        cell[to, 4] = (np.int64(which[n]) * layers + table.layer[k]) * growths
        # Written in any case, counted if near: no branch to guess.
        pairs += (abs(across) < wide) & (along > -wide) & (along < reach + wide)
    return pairs


@njit(cache=True, error_model="numpy", forceinline=True)
def _foresee(pairs, cell, told, first, todo, lanes):
    """Bring the first years down to those that are sure; list what may yet come earlier."""
    for n in range(pairs):
        sure, to = np.uint64(cell[n, 1]), np.uint64(cell[n, 4])
        for g in range(len(lanes)):
            place = np.uint64(g)
            year, before = told[sure + place + place + np.uint64(1)], first[to + place]
            first[to + place] = year if year < before else before
    left = 0
    for n in range(pairs):
        may, to = np.uint64(cell[n, 0]), np.uint64(cell[n, 4])
        for g in range(len(lanes)):
            place = np.uint64(g)
            todo[np.uint64(left)] = (n << GROWTH_BITS) | g
            left += told[may + place + place] < first[to + place]
    return left


@njit(cache=True, error_model="numpy", forceinline=True)
def _row_sides(plant, ray, lines, rows):
    """Direction of a sight line in plan along and across the row at a plant."""
    ux, uy = lines[0, ray], lines[1, ray]
    row_x, row_y = rows.way[plant, 0], rows.way[plant, 1]
    return ux * row_x + uy * row_y, uy * row_x - ux * row_y


@njit(cache=True, error_model="numpy", forceinline=True)
def _decide(left, todo, cell, near, told, lines, rows, table, first):
    """Bisect the years that the tables leave open."""
    for n in range(left):
        pair = np.uint64(todo[n]) >> np.uint64(GROWTH_BITS)
        g = np.uint64(todo[n]) & np.uint64((1 << GROWTH_BITS) - 1)
        plant, ray = np.uint64(cell[pair, 2]), np.uint64(cell[pair, 3])
        to = np.uint64(cell[pair, 4]) + g
        k = np.uint64(rows.kind[plant])
        year, hit = np.int64(told[np.uint64(cell[pair, 0]) + g + g]), np.int64(first[to])
        across, along, foot = near[pair, 0], near[pair, 1], near[pair, 2]
        slope, per_slope, reach = lines[2, ray], lines[3, ray], lines[4, ray]
        shape = table.shape[k]
        cu, cv = _row_sides(plant, ray, lines, rows) if shape == 4 else (0.0, 0.0)
        while year < hit:
            middle = (year + hit) >> 1
            if meets(
                shape, table.form, k, g, np.uint64(middle), across, foot, slope, per_slope,
                -along, reach - along, cu, cv,
            ):  # fmt: skip
                hit = middle
            else:
                year = middle + 1
        first[to] = hit


@njit(cache=True, error_model="numpy")
def _add_bent(pairs, cell, near, told, lines, rows, table, bent, never, first, masks):
    """Add to the masks the years of crowns that are not nested, and take them off the list."""
    growths = table.height.shape[1]
    for n in range(pairs):
        plant, ray = np.int64(cell[n, 2]), np.int64(cell[n, 3])
        k = rows.kind[plant]
        if not bent[k]:
            continue
        across, along, foot = near[n, 0], near[n, 1], near[n, 2]
        slope, per_slope, reach = lines[2, ray], lines[3, ray], lines[4, ray]
        cu, cv = _row_sides(plant, ray, lines, rows)
        for g in range(growths):
            to, early = np.int64(cell[n, 4]) + g, np.int64(told[np.int64(cell[n, 0]) + 2 * g])
            if early < first[to]:
                masks[to] = _add_years(
                    masks[to], early, table.pieces, table.shape[k], table.form, k, g, across, foot,
                    slope, per_slope, -along, reach - along, cu, cv,
                )  # fmt: skip
        cell[n, 0] = cell[n, 1] = never


@njit(cache=True, error_model="numpy")
def _block_rays(begin, end, origin, target, light, rows, table, masks, changes, lanes):
    """Find the masks of some sight lines, and note the years in which their light changes.

    ``lanes`` has one item for each growth, so that loops over growths are compiled for their number.
    """
    growths, years = len(lanes), table.height.shape[2]
    layers, runs, plants = changes.shape[0], rows.axis.shape[0], len(rows.x)
    every, own = (np.int64(1) << years) - 1, layers * len(lanes)
    keep = masks.shape[0] > 0
    bent = table.pieces[:, :, 1:].sum(axis=2).sum(axis=1) != 0
    any_bent = bent.any()
    told = table.foretold.reshape(-1)
    room = 2 * PART + plants
    lines, span = np.empty((5, PART)), np.empty((2, PART), np.int32)
    which, what = np.empty(room + plants + 2, np.uint32), np.empty(room + plants + 2, np.uint32)
    near, cell = np.empty((room + plants, 3)), np.empty((room + plants, 5), np.uint32)
    todo = np.empty((room + plants) * growths + 1, np.uint32)
    first, seen = np.empty(PART * own, np.uint8), np.zeros(PART * own, np.int64)
    mask = np.zeros((layers, growths), np.int64)
    for start in range(begin, end, PART):
        count = min(PART, end - start)
        lay_lines(start, count, origin.reshape(-1), target.reshape(-1), lines.reshape(-1))
        first[:] = years
        if any_bent:
            seen[:] = 0
        for run in range(runs):
            find_windows(
                rows, run, start, count, origin.reshape(-1), light, lines.reshape(-1),
                span.reshape(-1),
            )  # fmt: skip
            ray = 0
            while ray < count:
                ray, listed = _list_plants(ray, count, span, rows.bucket, which, what, room)
                pairs = _come_near(
                    listed, which, what, start, origin, lines, rows, table, growths, near, cell
                )
                if any_bent:
                    _add_bent(
                        pairs, cell, near, told, lines, rows, table, bent,
                        2 * HEIGHT_CELLS * growths, first, seen,
                    )  # fmt: skip
                left = _foresee(pairs, cell, told, first, todo, lanes)
                _decide(left, todo, cell, near, told, lines, rows, table, first)
        for ray in range(count):
            w = light[start + ray]
            if w <= 0.0:
                continue
            upright = lines[4, ray] < UPRIGHT_M
            if layers == 1 and not any_bent and not upright:
                for g in range(len(lanes)):
                    year = np.uint64(first[np.uint64(ray * len(lanes) + g)])
                    changes[0, g, year] -= w
                    if keep:
                        masks[start + ray, 0, g] = every & -(np.int64(1) << np.int64(year))
                continue
            mask[:] = 0
            if upright:
                at, to = origin[start + ray], target[start + ray]
                _block_upright(at[0], at[1], at[2], to[2] - at[2], rows, table, mask)
            for g in range(growths):
                blocked = np.int64(0)
                for layer in range(layers):
                    to = (ray * layers + layer) * growths + g
                    mine = mask[layer, g] | seen[to]
                    mine |= every & -(np.int64(1) << np.int64(first[to]))
                    blocked |= mine
                    add_changes(blocked, w, years, changes[layer, g])
                    if keep:
                        masks[start + ray, layer, g] = mine


@njit(parallel=True, cache=True, error_model="numpy")
def _block_many(origin, target, light, rows, table, masks, changes, lanes):
    rays = origin.shape[0]
    for block in prange(changes.shape[0]):
        begin = block * BLOCK
        _block_rays(
            begin, min(begin + BLOCK, rays), origin, target, light, rows, table, masks,
            changes[block], lanes,
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
    many, lanes = rays >= MANY_RAYS, (0,) * growths
    changes = np.zeros((-(-rays // BLOCK) if many else 1, layers, growths, years + 1))
    if len(rows.x) and many:
        _block_many(origin, target, light, rows, table, masks, changes, lanes)
    elif len(rows.x):
        _block_rays(0, rays, origin, target, light, rows, table, masks, changes[0], lanes)
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
