"""Sight lines in bundles: which plants come near each, and what the tables foretell of them.

A bundle is worked on side by side: first the sight lines in plan, then the windows of each run that they
may meet, then the pairs of a sight line and a plant. Each step is a loop without branches over flat
arrays, of which the vector units take several items at a time. All arrays of a bundle are small
enough to stay in the nearest cache.

Indices are unsigned, since a sign that has to be looked at keeps loops from the vector units.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit

from screenplan.views.compiled import inner
from screenplan.views.crowns import DISTANCE_CELLS, HEIGHT_CELLS
from screenplan.views.runs import SEARCH_SLACK_M, UPRIGHT_M
from screenplan.views.solids import LEVEL_PER

#: Sight lines of a bundle.
PART = 128
#: Pairs of a sight line and a plant that are held at a time.
ROOM = 328
#: Least rise, and least turn from the axis, per metre: less moves no line by the slack.
LEAST = 1e-12
#: Sight lines nearly as steep as a cone's side are not foretold: rounding only.
STEEP_PART = 1e-6

#: Where each number of the sight lines begins: direction in plan, rise per metre in plan, its
#: inverse, length in plan, start.
WAY_X, WAY_Y, SLOPE, PER_SLOPE, REACH, FROM_X, FROM_Y, FROM_Z = (
    np.uint64(place * PART) for place in range(8)
)
#: Where each number of the pairs begins: distance in plan at which the stem is passed (to the left
#: if negative), how far along, height there above its foot; then what these are worked out from.
ACROSS, ALONG, FOOT, _UX, _UY, _SLOPE, _REACH, _PX, _PY, _PZ, _WIDE, _PER_V, _PER_Z, _STEEP = (
    np.uint64(place * ROOM) for place in range(14)
)
_ONE, _TWO, _THREE = np.uint64(1), np.uint64(2), np.uint64(3)
_PART = np.uint64(PART)


class Bundle(NamedTuple):
    """Arrays of one core, for `PART` sight lines and `ROOM` pairs.

    Attributes
    ----------
    rays : ndarray of float64
        Numbers of the sight lines, each `PART` of them.
    span : ndarray of int32, (runs * 2 * PART,)
        First and last bucket of each one's window, by run.
    pairs : ndarray of float64
        Numbers of the pairs, each `ROOM` of them.
    whose, what : ndarray of uint32, (ROOM + 2,)
        Sight line and plant of each pair.
    base, early, late : ndarray of uint32, (ROOM,)
        Where each pair's class begins in the tables, and where its two years are foretold.
    """

    rays: np.ndarray
    span: np.ndarray
    pairs: np.ndarray
    whose: np.ndarray
    what: np.ndarray
    base: np.ndarray
    early: np.ndarray
    late: np.ndarray


@njit(cache=True)
def new_bundle(runs, crowns):
    """Make the arrays; those of the class are filled if there is only one."""
    pairs, base = np.zeros(14 * ROOM), np.zeros(ROOM, np.uint32)
    if len(crowns.boxed) == 1:
        for begin, number in (
            (_WIDE, crowns.widest[0]), (_PER_V, crowns.cells[0, 0]), (_PER_Z, crowns.cells[0, 1]),
            (_STEEP, crowns.steepest[0]),
        ):  # fmt: skip
            pairs[begin : begin + np.uint64(ROOM)] = number
    return Bundle(
        np.zeros(8 * PART), np.zeros(max(runs.axis.shape[0], 1) * 2 * PART, np.int32), pairs,
        np.zeros(ROOM + 2, np.uint32), np.zeros(ROOM + 2, np.uint32), base, np.zeros(ROOM, np.uint32), np.zeros(ROOM, np.uint32),
    )  # fmt: skip


@inner(fastmath={"contract", "nsz"})
def _lay_rays(start, count, origin, target, rays):
    """Lay some sight lines side by side; ``origin`` and ``target`` are flat."""
    first = _THREE * np.uint64(start)
    for i in range(np.uint64(count)):
        x = first + _THREE * i
        ox, oy, oz = origin[x], origin[x + _ONE], origin[x + _TWO]
        dx, dy, dz = target[x] - ox, target[x + _ONE] - oy, target[x + _TWO] - oz
        reach = np.sqrt(dx * dx + dy * dy)
        per = 1.0 / (reach if reach >= UPRIGHT_M else 1.0)
        slope = dz * per
        rays[WAY_X + i], rays[WAY_Y + i], rays[SLOPE + i] = dx * per, dy * per, slope
        rays[PER_SLOPE + i] = 1.0 / (slope if slope != 0.0 else 1.0 / LEVEL_PER)
        rays[REACH + i] = reach
        rays[FROM_X + i], rays[FROM_Y + i], rays[FROM_Z + i] = ox, oy, oz


@inner(fastmath={"contract", "nsz"})
def _find_windows(runs, run, start, count, light, rays, span):
    """Find the windows of `strip_window` for sight lines side by side, as the first and last bucket.

    A window goes from the first plant of the first bucket to that of the second. It may be wider
    than that of `strip_window`, never narrower; it is empty for upright sight lines and those
    without light.
    """
    x0, y0, ax, ay = runs.axis[run, 0], runs.axis[run, 1], runs.axis[run, 2], runs.axis[run, 3]
    aside, wide = runs.bounds[run, 0], runs.bounds[run, 1]
    low, high = runs.bounds[run, 2] - SEARCH_SLACK_M, runs.bounds[run, 3] + SEARCH_SLACK_M
    half, per_bucket = aside + wide, runs.per_bucket[run]
    bucket = np.int32(runs.bucket_first[run])
    most = float(runs.bucket_first[run + 1] - runs.bucket_first[run] - 1)
    begin, at_run = np.uint64(start), np.uint64(run) * (_PART + _PART)
    for i in range(np.uint64(count)):
        ux, uy, rise, reach = rays[WAY_X + i], rays[WAY_Y + i], rays[SLOPE + i], rays[REACH + i]
        px, py, oz = rays[FROM_X + i] - x0, rays[FROM_Y + i] - y0, rays[FROM_Z + i]
        at, step = px * ax + py * ay, ux * ax + uy * ay
        v0, dv = py * ax - px * ay, uy * ax - ux * ay
        per = 1.0 / (dv if abs(dv) > LEAST else LEAST)
        middle, apart = -v0 * per, half * abs(per)
        s0 = middle - apart if middle - apart > 0.0 else 0.0
        s1 = middle + apart if middle + apart < reach else reach
        per_rise = 1.0 / (rise if abs(rise) > LEAST else LEAST)
        one, two = (low - oz) * per_rise, (high - oz) * per_rise
        a, b = (one, two) if one < two else (two, one)
        s0, s1 = (a if a > s0 else s0), (b if b < s1 else s1)
        one, two = at + s0 * step, at + s1 * step
        a, b = (one - wide, two + wide) if one < two else (two - wide, one + wide)
        middle, apart = at + middle * step, (wide + aside * abs(step)) * abs(per)
        a = a if a > middle - apart else middle - apart
        b = b if b < middle + apart else middle + apart
        a, b = a * per_bucket, b * per_bucket + 1.0
        a = a if a > 0.0 else 0.0
        b = b if b > 0.0 else 0.0
        b = b if (s0 <= s1) & (light[begin + i] > 0.0) & (reach >= UPRIGHT_M) else 0.0
        span[at_run + i] = bucket + np.int32(a if a < most else most)
        span[at_run + _PART + i] = bucket + np.int32(b if b < most else most)


@inner()
def _list_pairs(ray, run, skip, count, run_count, span, bucket, whose, what):
    """List pairs from a sight line, run and plant of its window on: where to go on, how many.

    Two plants are always written and as many counted as there are: most windows hold one or two.
    """
    listed = 0
    while ray < count and listed < ROOM:
        at = np.uint64(run) * (_PART + _PART) + np.uint64(ray)
        low, high = bucket[np.uint64(span[at])] + skip, bucket[np.uint64(span[at + _PART])]
        number = min(high - low, ROOM - listed)
        for more in range(2):
            place = np.uint64(listed + more)
            whose[place], what[place] = ray, low + more
        for more in range(2, number):
            place = np.uint64(listed + more)
            whose[place], what[place] = ray, low + more
        listed += max(number, 0)
        if number < high - low:
            return ray, run, skip + number, listed
        run, skip = run + 1, 0
        if run == run_count:
            ray, run = ray + 1, 0
    return ray, run, 0, listed


@inner()
def _gather(listed, whose, what, rays, runs, crowns, pairs, base):
    """Bring together what the pairs are worked out from."""
    for n in range(np.uint64(listed)):
        ray, plant = np.uint64(whose[n]), np.uint64(what[n])
        pairs[_UX + n], pairs[_UY + n] = rays[WAY_X + ray], rays[WAY_Y + ray]
        pairs[_SLOPE + n], pairs[_REACH + n] = rays[SLOPE + ray], rays[REACH + ray]
        pairs[_PX + n] = runs.x[plant] - rays[FROM_X + ray]
        pairs[_PY + n] = runs.y[plant] - rays[FROM_Y + ray]
        pairs[_PZ + n] = rays[FROM_Z + ray] - runs.z[plant]
    if len(crowns.boxed) == 1:
        return
    for n in range(np.uint64(listed)):
        k = np.uint64(runs.kind[np.uint64(what[n])])
        pairs[_WIDE + n], pairs[_STEEP + n] = crowns.widest[k], crowns.steepest[k]
        pairs[_PER_V + n], pairs[_PER_Z + n] = crowns.cells[k, 0], crowns.cells[k, 1]
        base[n] = k * np.uint64(DISTANCE_CELLS * (HEIGHT_CELLS + 1))


@inner(fastmath={"contract", "nsz"})
def _approach(listed, pairs, base, early, late):
    """Work out how the stems are passed, and where the tables tell the two years of `crowns`.

    The radius of an even crown, a cone, changes by k at most per metre of height: sqrt(v^2 + s^2) - k |slope s| is least
    with v sqrt(1 - k^2 slope^2), and must be less than the radius at s = 0; a sight line as steep as
    the cone's side may meet it anywhere. Plants that are not near, and sight lines that pass over all
    crowns, get the entry of the tables that says never.
    """
    over = float(HEIGHT_CELLS)
    for n in range(np.uint64(listed)):
        ux, uy, slope, reach = pairs[_UX + n], pairs[_UY + n], pairs[_SLOPE + n], pairs[_REACH + n]
        px, py, wide = pairs[_PX + n], pairs[_PY + n], pairs[_WIDE + n]
        per_z, steepest = pairs[_PER_Z + n], pairs[_STEEP + n]
        across, along = px * uy - py * ux, px * ux + py * uy
        foot = pairs[_PZ + n] + along * slope
        v = abs(across)
        far = v * pairs[_PER_V + n]
        far = far if far < DISTANCE_CELLS - 1.0 else DISTANCE_CELLS - 1.0
        cone = steepest >= 0.0
        part = 1.0 - steepest * slope * slope
        near = far * (part if part > 0.0 else 0.0) if cone else far
        low = foot if cone else foot - abs(slope) * wide
        low = low * per_z if (part > STEEP_PART) | (not cone) else 0.0
        low = low if low > 0.0 else 0.0
        low = low if low < over else over
        at = foot * per_z
        at = at if (along > 0.0) & (along < reach) & (at > 0.0) & (at < over) else over
        there = (v < wide) & (along > -wide) & (along < reach + wide)
        low, at = (low if there else over), (at if there else over)
        pairs[ACROSS + n], pairs[ALONG + n], pairs[FOOT + n] = across, along, foot
        begin, heights = np.int32(base[n]), np.int32(HEIGHT_CELLS + 1)
        early[n] = begin + np.int32(near) * heights + np.int32(low)
        late[n] = begin + np.int32(far) * heights + np.int32(at)


@inner()
def lay_bundle(start, count, origin, target, light, runs, bundle):
    """Lay sight lines side by side and find their windows; ``origin`` and ``target`` are flat."""
    _lay_rays(start, count, origin, target, bundle.rays)
    for run in range(runs.axis.shape[0]):
        _find_windows(runs, run, start, count, light, bundle.rays, bundle.span)


@inner()
def come_near(ray, run, skip, count, runs, crowns, bundle):
    """List pairs, sight line by sight line, and work out how near they come.

    Parameters
    ----------
    ray, run, skip : int
        Where to go on: sight line, run, and plants of the window to be left out; at first 0.
    count : int
        Sight lines that are laid.

    Returns
    -------
    ray, run, skip : int
        Where to go on; all pairs are listed when ``ray`` is ``count``.
    listed : int
        Pairs that are worked out.
    """
    run_count, whose, what = runs.axis.shape[0], bundle.whose, bundle.what
    ray, run, skip, listed = _list_pairs(
        ray, run, skip, count, run_count, bundle.span, runs.bucket, whose, what
    )
    _gather(listed, whose, what, bundle.rays, runs, crowns, bundle.pairs, bundle.base)
    _approach(listed, bundle.pairs, bundle.base, bundle.early, bundle.late)
    return ray, run, skip, listed
