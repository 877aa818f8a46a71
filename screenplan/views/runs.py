"""Plants in runs: stretches of a row that a straight strip holds.

A sight line crosses a strip along a short stretch, so it meets the few plants there, however long
the row.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit

from screenplan.planting.footprints import row_ways
from screenplan.site.ragged import firsts
from screenplan.views.crowns import CrownTable

#: A run is cut where a plant would stand farther than this from the run's straight axis.
RUN_SAG_M = 0.75
#: Equal lengths of a run's axis, for each of its plants, that know their first plant.
BUCKETS_PER_PLANT = 5
#: Slack of the search windows: rounding only.
SEARCH_SLACK_M = 1e-6
#: A sight line that is shorter than this in plan counts as upright.
UPRIGHT_M = 1e-9


class Runs(NamedTuple):
    """Plants in runs, as the kernel takes them.

    Attributes
    ----------
    x, y, z : ndarray of float64, (plants,)
        Feet of the stems, sorted by run and along its axis.
    kind : ndarray of int64, (plants,)
        Growth class.
    way : ndarray of float64, (plants, 2)
        Direction of the row at each plant, of length 1: boxes stand along it.
    along : ndarray of float64, (plants,)
        Distance along the axis of the run.
    order : ndarray of int64, (plants,)
        Number of each plant in the caller's order.
    axis : ndarray of float64, (runs, 4)
        Start of each axis, and its unit direction.
    bounds : ndarray of float64, (runs, 4)
        Greatest distance of a stem from the axis, greatest crown radius, lowest and highest part
        of any crown.
    first : ndarray of int64, (runs + 1,)
        Where each run's plants begin.
    bucket : ndarray of int64
        For equal lengths of each axis, the first plant at or beyond their start; then the end.
    bucket_first : ndarray of int64, (runs + 1,)
        Where each run's buckets begin.
    per_bucket : ndarray of float64, (runs,)
        Buckets per metre.
    """

    x: np.ndarray
    y: np.ndarray
    z: np.ndarray
    kind: np.ndarray
    way: np.ndarray
    along: np.ndarray
    order: np.ndarray
    axis: np.ndarray
    bounds: np.ndarray
    first: np.ndarray
    bucket: np.ndarray
    bucket_first: np.ndarray
    per_bucket: np.ndarray


@njit(cache=True, error_model="numpy")
def runs_between(runs, first, last):
    """Give some runs that follow each other, from one up to but not including another, with their plants."""
    begin, end = runs.first[first], runs.first[last]
    bucket, after = runs.bucket_first[first], runs.bucket_first[last]
    return Runs(
        runs.x[begin:end], runs.y[begin:end], runs.z[begin:end], runs.kind[begin:end],
        runs.way[begin:end], runs.along[begin:end], runs.order[begin:end],
        runs.axis[first:last], runs.bounds[first:last], runs.first[first : last + 1] - begin,
        runs.bucket[bucket:after] - begin, runs.bucket_first[first : last + 1] - bucket,
        runs.per_bucket[first:last],
    )  # fmt: skip


def arrange_runs(x, y, z, kind, row, crowns: CrownTable) -> Runs:
    """Put plants into runs.

    Parameters
    ----------
    x, y, z : array_like, (plants,)
        Feet of the stems, in metres.
    kind : array_like of int, (plants,)
        Growth class of each plant, an index into ``crowns``.
    row : array_like of int, (plants,)
        Number of the row of each plant. Within a row the plants must come in their order along it;
        any order gives the same result, but a good one is faster.
    crowns : CrownTable
        Crown sizes.
    """
    x, y, z = (np.asarray(part, np.float64) for part in (x, y, z))
    kind, row = np.asarray(kind, np.int64), np.asarray(row)
    if not len(x):
        return _no_runs()
    order, count = _cut_runs(x, y, row)
    start, unit = _axes(x[order], y[order], count)
    of, first = np.repeat(np.arange(len(count)), count), firsts(count)
    away_x, away_y = x[order] - start[of, 0], y[order] - start[of, 1]
    along = away_x * unit[of, 0] + away_y * unit[of, 1]
    aside = away_y * unit[of, 0] - away_x * unit[of, 1]
    by = np.lexsort((along, of))
    order, along = order[by], along[by]
    start = start + along[first][:, None] * unit
    along = along - along[first][of]
    kinds, feet = kind[order], z[order]
    tops = crowns.height.reshape(len(crowns.boxed), -1).max(axis=1)
    foots = crowns.clear.reshape(len(crowns.boxed), -1).min(axis=1)
    bounds = np.column_stack(
        [
            np.maximum.reduceat(np.abs(aside), first),
            np.maximum.reduceat(crowns.widest[kinds], first) + SEARCH_SLACK_M,
            np.minimum.reduceat(feet + foots[kinds], first),
            np.maximum.reduceat(feet + tops[kinds], first),
        ]
    )
    bucket, bucket_first, per_bucket = _buckets(along, count)
    return Runs(
        x[order], y[order], feet, kinds, row_ways(x, y, row)[order], along, order.astype(np.int64),
        np.column_stack([start, unit]), bounds, np.append(first, len(x)).astype(np.int64),
        bucket, bucket_first, per_bucket,
    )  # fmt: skip


def _no_runs() -> Runs:
    none, flat, numbers = np.zeros(0), np.zeros((0, 4)), np.zeros(0, np.int64)
    return Runs(
        none, none, none, numbers, np.zeros((0, 2)), none, numbers, flat, flat, np.zeros(1, np.int64),
        numbers, np.zeros(1, np.int64), none,
    )  # fmt: skip


def _buckets(along: np.ndarray, count: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Give `Runs.bucket`, ``bucket_first`` and ``per_bucket`` of runs with so many plants each."""
    of, first = np.repeat(np.arange(len(count)), count), firsts(count)
    buckets, last = count * BUCKETS_PER_PLANT, along[first + count - 1]
    step = np.where(last > 0.0, last / buckets, 1.0)
    # The number of the first bucket that begins beyond each plant; the quotient may be rounded to its neighbour.
    after = np.floor(along / step[of]).astype(np.int64) + 1
    after -= step[of] * (after - 1) > along
    after += step[of] * after <= along
    bucket_first = np.append(0, np.cumsum(buckets + 2))
    # Of each bucket the plants before it; after the buckets comes the end.
    after = np.minimum(after, buckets[of] + 1) + bucket_first[of]
    before = np.cumsum(np.bincount(after, minlength=bucket_first[-1]))
    return before.astype(np.int64), bucket_first.astype(np.int64), 1.0 / step


def _axes(x, y, count: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the first of the plants of each run, and the unit direction to the last, (runs, 2)."""
    first = firsts(count)
    last = first + count - 1
    start = np.column_stack([x[first], y[first]])
    way = np.column_stack([x[last], y[last]]) - start
    length = np.hypot(*way.T)
    away = length > 0.0
    unit = np.where(away[:, None], way / np.where(away, length, 1.0)[:, None], [1.0, 0.0])
    return start, unit


def _cut_runs(x, y, row) -> tuple[np.ndarray, np.ndarray]:
    """Cut each row, greedily, into runs that stay near their chord: the plants of each, and how many."""
    order = np.argsort(row, kind="stable")
    count = np.diff(np.flatnonzero(np.diff(row[order], prepend=row[order[0]] - 1)), append=len(row))
    x, y, of = x[order], y[order], np.repeat(np.arange(len(count)), count)
    start, unit = _axes(x, y, count)
    sag = (y - start[of, 1]) * unit[of, 0] - (x - start[of, 0]) * unit[of, 1]
    straight = np.maximum.reduceat(np.abs(sag), firsts(count)) <= RUN_SAG_M
    return order, _cut(x, y, count, straight)


@njit(cache=True, error_model="numpy")
def _cut(x, y, count, straight):
    """Give how many plants each run has, of rows with so many each; a straight row is one run."""
    runs, made, begin = np.empty(len(x), np.int64), 0, 0
    for row in range(len(count)):
        end = begin + count[row]
        while begin < end:
            length = end - begin
            if not straight[row]:
                length = _longest_run(x[begin:end], y[begin:end])
            runs[made] = length
            made += 1
            begin += length
    return runs[:made]


@njit(cache=True, error_model="numpy")
def _longest_run(x, y):
    """Length of a run from the first plant on: by doubling, then by halving."""
    good, bad = 1, 2
    while bad <= len(x) and _is_straight(x, y, bad):
        good, bad = bad, bad * 2
    bad = min(bad, len(x) + 1)
    while bad - good > 1:
        middle = (good + bad) // 2
        if _is_straight(x, y, middle):
            good = middle
        else:
            bad = middle
    return good


@njit(cache=True, error_model="numpy")
def _is_straight(x, y, count):
    way_x, way_y = x[count - 1] - x[0], y[count - 1] - y[0]
    length = np.hypot(way_x, way_y)
    unit_x, unit_y = (way_x / length, way_y / length) if length > 0.0 else (1.0, 0.0)
    for plant in range(count):
        if abs((y[plant] - y[0]) * unit_x - (x[plant] - x[0]) * unit_y) > RUN_SAG_M:
            return False
    return True


@njit(cache=True, error_model="numpy", forceinline=True)
def strip_window(runs, run, ox, oy, oz, ux, uy, slope, per_slope, reach):
    """Find the plants of a run that a sight line may meet.

    Parameters
    ----------
    runs : Runs
    run : int
    ox, oy, oz : float
        Start of the sight line.
    ux, uy : float
        Its direction in plan, of length 1.
    slope, per_slope : float
        Its rise per metre in plan, and 1 / slope (any number for a level one).
    reach : float
        Its length in plan.

    Returns
    -------
    first, last : int
        Range of plants to look at; they end at ``last`` or where ``along`` exceeds ``high``.
    high : float
        Greatest distance along the axis.
    """
    ax, ay = runs.axis[run, 2], runs.axis[run, 3]
    px, py = ox - runs.axis[run, 0], oy - runs.axis[run, 1]
    aside, wide = runs.bounds[run, 0], runs.bounds[run, 1]
    half = aside + wide
    s0, s1 = 0.0, reach
    # Across the strip, then between the lowest and highest part of any crown.
    at, step = px * ax + py * ay, ux * ax + uy * ay
    v0, dv = py * ax - px * ay, uy * ax - ux * ay
    near, far = -np.inf, np.inf
    if dv != 0.0:
        per = 1.0 / dv
        one, two = (-half - v0) * per, (half - v0) * per
        s0, s1 = max(s0, min(one, two)), min(s1, max(one, two))
        # Stems at most so far from where the axis is crossed.
        middle = at - v0 * per * step
        apart = (wide + aside * abs(step)) * abs(per)
        near, far = middle - apart, middle + apart
    elif abs(v0) > half:
        return 0, 0, 0.0
    low, high = runs.bounds[run, 2], runs.bounds[run, 3]
    if slope != 0.0:
        one, two = (low - oz) * per_slope, (high - oz) * per_slope
        s0, s1 = max(s0, min(one, two)), min(s1, max(one, two))
    elif oz < low or oz > high:
        return 0, 0, 0.0
    if s0 > s1:
        return 0, 0, 0.0
    one, two = at + s0 * step, at + s1 * step
    low, high = max(min(one, two) - wide, near), min(max(one, two) + wide, far)
    bucket = runs.bucket_first[run]
    buckets = runs.bucket_first[run + 1] - bucket - 2
    place = low * runs.per_bucket[run]
    if place >= buckets + 1.0 or high < 0.0:
        return 0, 0, 0.0
    number = min(int(place), buckets) if place > 0.0 else 0
    return runs.bucket[bucket + number], runs.first[run + 1], high
