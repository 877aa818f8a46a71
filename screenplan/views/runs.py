"""Plants in runs: stretches of a row that a straight strip holds.

A sight line crosses a strip along a short stretch, so it meets the few plants there, however long
the row.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit

from screenplan.planting.footprints import row_ways
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

    def only(self, first: int, last: int) -> Runs:
        """Give some runs that follow each other, from one up to but not including another, with their plants."""
        begin, end = self.first[first], self.first[last]
        bucket, after = self.bucket_first[first], self.bucket_first[last]
        plants = (
            part[begin:end]
            for part in (self.x, self.y, self.z, self.kind, self.way, self.along, self.order)
        )
        return Runs(
            *plants, self.axis[first:last], self.bounds[first:last], self.first[first : last + 1] - begin,
            self.bucket[bucket:after] - begin, self.bucket_first[first : last + 1] - bucket,
            self.per_bucket[first:last],
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
    kind = np.asarray(kind, np.int64)
    way = row_ways(x, y, np.asarray(row))
    runs = _cut_runs(x, y, np.asarray(row))
    tops = foots = np.zeros(0)
    if len(runs):
        tops = crowns.height.reshape(len(crowns.boxed), -1).max(axis=1)
        foots = crowns.clear.reshape(len(crowns.boxed), -1).min(axis=1)
    places, along, axis, bounds = [], [], np.zeros((len(runs), 4)), np.zeros((len(runs), 4))
    first, bucket, bucket_first, per_bucket = [0], [], [0], np.ones(len(runs))
    for number, run in enumerate(runs):
        start, unit = _axis(x[run], y[run])
        s = (x[run] - start[0]) * unit[0] + (y[run] - start[1]) * unit[1]
        v = (y[run] - start[1]) * unit[0] - (x[run] - start[0]) * unit[1]
        by = np.argsort(s, kind="stable")
        run, s = run[by], s[by]
        start, s = start + s[0] * unit, s - s[0]
        wide = float(crowns.widest[kind[run]].max())
        axis[number] = (*start, *unit)
        bounds[number] = (
            np.abs(v).max(),
            wide + SEARCH_SLACK_M,
            (z[run] + foots[kind[run]]).min(),
            (z[run] + tops[kind[run]]).max(),
        )
        count = len(run)
        buckets = count * BUCKETS_PER_PLANT
        step = s[-1] / buckets if s[-1] > 0.0 else 1.0
        begins = np.append(np.searchsorted(s, step * np.arange(buckets + 1)), count)
        bucket.append(first[-1] + begins)
        bucket_first.append(bucket_first[-1] + buckets + 2)
        per_bucket[number] = 1.0 / step
        places.append(run)
        along.append(s)
        first.append(first[-1] + count)
    order = np.concatenate(places) if places else np.zeros(0, np.int64)
    return Runs(
        x[order],
        y[order],
        z[order],
        kind[order],
        way[order],
        np.concatenate(along) if along else np.zeros(0),
        order.astype(np.int64),
        axis,
        bounds,
        np.asarray(first, np.int64),
        np.concatenate(bucket).astype(np.int64) if bucket else np.zeros(0, np.int64),
        np.asarray(bucket_first, np.int64),
        per_bucket,
    )


def _axis(x, y):
    start = np.array([x[0], y[0]])
    way = np.array([x[-1], y[-1]]) - start
    length = np.hypot(*way)
    return start, way / length if length > 0.0 else np.array([1.0, 0.0])


def _cut_runs(x, y, row) -> list[np.ndarray]:
    """Cut each row, greedily, into runs that stay near their chord."""
    runs = []
    order = np.argsort(row, kind="stable")
    parts = np.split(order, np.flatnonzero(np.diff(row[order])) + 1) if len(row) else []
    for members in parts:
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
