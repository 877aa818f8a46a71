"""The compiled kernel: in which years a sight line is blocked by the plants of the rows.

Plants are put into **runs**: stretches of a row that a straight strip holds. A sight line crosses
a strip along a short stretch, so it meets the few plants there, however long the row. For each
plant the first year in which its crown stands in the way is bisected over the years in which
crowns are nested (`screenplan.views.crowns`). The result is a mask of years, so that views which
open again are told as well.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit, prange

from screenplan.views.crowns import CrownTable, form_hit

#: A run is cut where a plant would stand farther than this from the run's straight axis.
RUN_SAG_M = 0.75
#: Fewer rays than this are followed by one core: waking the others would cost more.
MANY_RAYS = 20_000
#: Slack of the search windows: rounding only.
SEARCH_SLACK_M = 1e-6


class Rows(NamedTuple):
    """Plants in runs, as the kernel takes them.

    Attributes
    ----------
    x, y, z : ndarray of float64, (plants,)
        Feet of the stems, sorted by run and along its axis.
    kind : ndarray of int64, (plants,)
        Growth class.
    along : ndarray of float64, (plants,)
        Distance along the axis of the run.
    order : ndarray of int64, (plants,)
        Number of each plant in the caller's order.
    axis : ndarray of float64, (runs, 4)
        Start of each axis, and its unit direction.
    bounds : ndarray of float64, (runs, 4)
        Half width of the strip, greatest crown radius, lowest and highest part of any crown.
    first : ndarray of int64, (runs + 1,)
        Where each run's plants begin.
    bucket : ndarray of int64
        For equal lengths of each axis, the first plant at or beyond their start.
    bucket_first : ndarray of int64, (runs + 1,)
        Where each run's buckets begin.
    bucket_length : ndarray of float64, (runs,)
        Length of a bucket.
    """

    x: np.ndarray
    y: np.ndarray
    z: np.ndarray
    kind: np.ndarray
    along: np.ndarray
    order: np.ndarray
    axis: np.ndarray
    bounds: np.ndarray
    first: np.ndarray
    bucket: np.ndarray
    bucket_first: np.ndarray
    bucket_length: np.ndarray


def arrange_rows(x, y, z, kind, row, table: CrownTable) -> Rows:
    """Put plants into runs.

    Parameters
    ----------
    x, y, z : array_like, (plants,)
        Feet of the stems, in metres.
    kind : array_like of int, (plants,)
        Growth class of each plant, an index into ``table``.
    row : array_like of int, (plants,)
        Number of the row of each plant. Within a row the plants must come in their order along it;
        any order gives the same result, but a good one is faster.
    table : CrownTable
        Crown sizes.
    """
    x, y, z = (np.asarray(part, np.float64) for part in (x, y, z))
    kind = np.asarray(kind, np.int64)
    runs = _cut_runs(x, y, np.asarray(row))
    tops = table.height.reshape(len(table.shape), -1).max(axis=1) if len(runs) else None
    foots = table.clear.reshape(len(table.shape), -1).min(axis=1) if len(runs) else None
    order, along, axis, bounds = [], [], np.zeros((len(runs), 4)), np.zeros((len(runs), 4))
    first, bucket, bucket_first, bucket_length = [0], [], [0], np.ones(len(runs))
    for number, run in enumerate(runs):
        start, unit = _axis(x[run], y[run])
        s = (x[run] - start[0]) * unit[0] + (y[run] - start[1]) * unit[1]
        v = (y[run] - start[1]) * unit[0] - (x[run] - start[0]) * unit[1]
        by = np.argsort(s, kind="stable")
        run, s = run[by], s[by]
        start, s = start + s[0] * unit, s - s[0]
        wide = float(table.widest[kind[run]].max())
        axis[number] = (*start, *unit)
        bounds[number] = (
            np.abs(v).max() + wide + SEARCH_SLACK_M,
            wide + SEARCH_SLACK_M,
            (z[run] + foots[kind[run]]).min(),
            (z[run] + tops[kind[run]]).max(),
        )
        count = len(run)
        step = s[-1] / count if s[-1] > 0.0 else 1.0
        bucket.append(first[-1] + np.searchsorted(s, step * np.arange(count + 1)))
        bucket_first.append(bucket_first[-1] + count + 1)
        bucket_length[number] = step
        order.append(run)
        along.append(s)
        first.append(first[-1] + count)
    order = np.concatenate(order) if order else np.zeros(0, np.int64)
    return Rows(
        x[order],
        y[order],
        z[order],
        kind[order],
        np.concatenate(along) if along else np.zeros(0),
        order.astype(np.int64),
        axis,
        bounds,
        np.asarray(first, np.int64),
        np.concatenate(bucket).astype(np.int64) if bucket else np.zeros(0, np.int64),
        np.asarray(bucket_first, np.int64),
        bucket_length,
    )


def _axis(x, y):
    start = np.array([x[0], y[0]])
    way = np.array([x[-1], y[-1]]) - start
    length = np.hypot(*way)
    return start, way / length if length > 0.0 else np.array([1.0, 0.0])


def _cut_runs(x, y, row) -> list[np.ndarray]:
    """Cut each row, greedily, into runs that stay near their chord."""
    runs = []
    for number in np.unique(row):
        members = np.flatnonzero(row == number)
        begin = 0
        while begin < len(members):
            length = _longest_run(x[members[begin:]], y[members[begin:]])
            runs.append(members[begin : begin + length])
            begin += length
    return runs


def _longest_run(x, y) -> int:
    """Length of a run from the first plant on: by doubling, then by halving."""

    def straight(count):
        start, unit = _axis(x[:count], y[:count])
        sag = (y[:count] - start[1]) * unit[0] - (x[:count] - start[0]) * unit[1]
        return bool(np.abs(sag).max() <= RUN_SAG_M)

    good, bad = 1, 2
    while bad <= len(x) and straight(bad):
        good, bad = bad, bad * 2
    bad = min(bad, len(x) + 1)
    while bad - good > 1:
        middle = (good + bad) // 2
        if straight(middle):
            good = middle
        else:
            bad = middle
    return good


@njit(cache=True, error_model="numpy")
def _highest_bit(mask):
    """Find the highest set bit of a positive mask."""
    bit = 0
    for step in (32, 16, 8, 4, 2, 1):
        if mask >> step:
            mask >>= step
            bit += step
    return bit


@njit(cache=True, error_model="numpy")
def strip_window(rows, run, ox, oy, oz, dx, dy, dz):
    """Find the plants of a run that a sight line may meet.

    Returns
    -------
    first, last : int
        Range of plants to look at; they end at ``last`` or where ``along`` exceeds ``high``.
    low, high : float
        Range of the distance along the axis.
    """
    ax, ay, ux, uy = rows.axis[run, 0], rows.axis[run, 1], rows.axis[run, 2], rows.axis[run, 3]
    half, wide = rows.bounds[run, 0], rows.bounds[run, 1]
    t0, t1 = 0.0, 1.0
    # Across the strip, then between the lowest and highest part of any crown.
    v0 = (oy - ay) * ux - (ox - ax) * uy
    dv = dy * ux - dx * uy
    for part in range(2):
        if part == 0:
            low, high, at, step = -half, half, v0, dv
        else:
            low, high, at, step = rows.bounds[run, 2], rows.bounds[run, 3], oz, dz
        if step == 0.0:
            if at < low or at > high:
                return 0, 0, 0.0, 0.0
            continue
        one, two = (low - at) / step, (high - at) / step
        if one > two:
            one, two = two, one
        t0, t1 = max(t0, one), min(t1, two)
        if t0 > t1:
            return 0, 0, 0.0, 0.0
    s0 = (ox - ax) * ux + (oy - ay) * uy
    ds = dx * ux + dy * uy
    low, high = s0 + t0 * ds, s0 + t1 * ds
    if low > high:
        low, high = high, low
    low, high = low - wide, high + wide
    buckets = rows.bucket_first[run + 1] - rows.bucket_first[run] - 1
    place = low / rows.bucket_length[run]
    if place >= buckets + 1.0 or high < 0.0:
        return 0, 0, 0.0, 0.0
    number = min(int(place), buckets) if place > 0.0 else 0
    return rows.bucket[rows.bucket_first[run] + number], rows.first[run + 1], low, high


@njit(cache=True, error_model="numpy")
def _add_years(mask, pieces, form, k, g, shape, a, b, e, pz, dz, per_dz):
    """Add to a mask the years in which one crown stands in the way."""
    for piece in range(pieces.shape[2]):
        years = pieces[k, g, piece]
        if years == 0:
            break
        rest = years & ~mask
        if rest == 0:
            continue
        # Crowns are nested within a piece: one that is not met in the last year still open is met
        # in no year before it.
        last = _highest_bit(rest)
        h, c = form[k, g, last, 0], form[k, g, last, 1]
        q, rr = form[k, g, last, 2], form[k, g, last, 3]
        if not form_hit(shape, a, b, e, pz, dz, per_dz, h, c, q, rr):
            continue
        first = _highest_bit(years & -years)
        hit = last
        while first < hit:
            middle = (first + hit) >> 1
            h, c = form[k, g, middle, 0], form[k, g, middle, 1]
            q, rr = form[k, g, middle, 2], form[k, g, middle, 3]
            if form_hit(shape, a, b, e, pz, dz, per_dz, h, c, q, rr):
                hit = middle
            else:
                first = middle + 1
        mask |= ((np.int64(1) << (last + 1)) - (np.int64(1) << hit)) & years
    return mask


@njit(cache=True, error_model="numpy")
def _block_ray(ray, ox, oy, oz, dx, dy, dz, rows, table, masks):
    """Add to one sight line's masks the years in which the plants of all runs are in the way."""
    a = dx * dx + dy * dy
    per_dz = 1.0 / dz if dz != 0.0 else 0.0
    for run in range(rows.axis.shape[0]):
        first, last, low, high = strip_window(rows, run, ox, oy, oz, dx, dy, dz)
        for plant in range(first, last):
            s = rows.along[plant]
            if s < low:
                continue
            if s > high:
                break
            kind = rows.kind[plant]
            px, py, pz = ox - rows.x[plant], oy - rows.y[plant], oz - rows.z[plant]
            b = px * dx + py * dy
            e = px * px + py * py
            wide = table.widest[kind]
            # Too far in plan for the widest crown: (e - wide^2) a > b^2.
            if (e - wide * wide) * a > b * b:
                continue
            shape, layer = table.shape[kind], table.layer[kind]
            for growth in range(table.height.shape[1]):
                masks[ray, layer, growth] = _add_years(
                    masks[ray, layer, growth], table.pieces, table.form, kind, growth,
                    shape, a, b, e, pz, dz, per_dz,
                )  # fmt: skip


@njit(cache=True, error_model="numpy")
def _block_few(origin, target, wanted, rows, table, masks):
    for ray in range(origin.shape[0]):
        if wanted[ray]:
            ox, oy, oz = origin[ray, 0], origin[ray, 1], origin[ray, 2]
            dx, dy, dz = target[ray, 0] - ox, target[ray, 1] - oy, target[ray, 2] - oz
            _block_ray(ray, ox, oy, oz, dx, dy, dz, rows, table, masks)


@njit(parallel=True, cache=True, error_model="numpy")
def _block_many(origin, target, wanted, rows, table, masks):
    for ray in prange(origin.shape[0]):
        if wanted[ray]:
            ox, oy, oz = origin[ray, 0], origin[ray, 1], origin[ray, 2]
            dx, dy, dz = target[ray, 0] - ox, target[ray, 1] - oy, target[ray, 2] - oz
            _block_ray(ray, ox, oy, oz, dx, dy, dz, rows, table, masks)


def blocked_years(origin, target, rows: Rows, table: CrownTable, wanted=None) -> np.ndarray:
    """Find the years in which each sight line is blocked by a crown.

    Parameters
    ----------
    origin, target : ndarray of float64, (rays, 3)
        Ends of the sight lines, in metres.
    rows, table : Rows, CrownTable
        The plants, and how they grow.
    wanted : ndarray of bool, (rays,), optional
        Sight lines to look at; the others get empty masks.

    Returns
    -------
    ndarray of int64, (rays, layers, growths)
        Bit y is set if the sight line is blocked in year y by a plant of that layer
        (`CrownTable.leafless`).
    """
    origin = np.ascontiguousarray(origin, np.float64)
    target = np.ascontiguousarray(target, np.float64)
    if wanted is None:
        wanted = np.ones(len(origin), np.bool_)
    masks = np.zeros((len(origin), max(len(table.leafless), 1), table.height.shape[1]), np.int64)
    if len(rows.x):
        block = _block_many if len(origin) >= MANY_RAYS else _block_few
        block(origin, target, wanted, rows, table, masks)
    return masks


@njit(cache=True, error_model="numpy")
def _sum_open(masks, weight, leafless, years, changes):
    """Add the light of each ray to the years in which it is open, through changes of state."""
    layers, growths = masks.shape[1], masks.shape[2]
    for ray in range(masks.shape[0]):
        w = weight[ray]
        if w <= 0.0:
            continue
        for growth in range(growths):
            # In winter the densest plant in the way decides: what passes is the first leafless
            # share, and over layers the sum of (next leafless share - this one) where nothing up
            # to this layer is in the way.
            changes[growth, 1, 0] += w * leafless[0]
            blocked = np.int64(0)
            for layer in range(layers):
                blocked |= masks[ray, layer, growth]
                more = leafless[layer + 1] if layer + 1 < layers else 1.0
                step = more - leafless[layer]
                if step > 0.0:
                    _add_changes(blocked, w * step, years, changes[growth, 1])
            _add_changes(blocked, w, years, changes[growth, 0])


@njit(cache=True, error_model="numpy")
def _add_changes(blocked, w, years, change):
    """Add w where a ray opens and take it away where it closes; the running sum is the light."""
    every = (np.int64(1) << years) - 1
    is_open = ~blocked & every
    turns = (is_open ^ (is_open << 1)) & every
    while turns:
        bit = turns & -turns
        change[_highest_bit(bit)] += w if is_open & bit else -w
        turns ^= bit


def open_light(masks, weight, leafless, years: int) -> np.ndarray:
    """Sum the light that is open in each year.

    Parameters
    ----------
    masks : ndarray of int64, (rays, layers, growths)
        As `blocked_years` gives them.
    weight : ndarray of float64, (rays,)
        Share of each ray's light that what exists lets through.
    leafless : ndarray of float64, (layers,)
        Share of the light that passes each layer in winter, rising (`CrownTable.leafless`).
    years : int
        Number of years, year 0 included.

    Returns
    -------
    ndarray of float64, (growths, 2, years)
        Light by growth, season (summer, winter) and year, in rays.
    """
    changes = np.zeros((masks.shape[2], 2, years))
    leafless = np.asarray(leafless, np.float64) if len(leafless) else np.zeros(1)
    _sum_open(masks, np.ascontiguousarray(weight, np.float64), leafless, years, changes)
    return np.cumsum(changes, axis=2)
