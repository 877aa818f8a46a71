"""Stations along one planting line: fixed plants, plantable stretches, the pattern between them.

A fixed station is taken already: by a plant that stands, or by the plant at a corner that two lines
share. New plants keep half a spacing away from fixed ones.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from screenplan.planting.patterns import EQUAL_SHARE, between, between_standing, evened, exact

Stretch = tuple[float, float]
#: Plants stand at least this share of the spacing apart.
LEAST_SHARE = 0.5
#: A station at a stretch's end is inside it, within rounding.
AT_EDGE_M = 1e-9
#: What is left of a stretch is no place to stand if it is shorter than this: rounding.
CRUMB_M = 1e-6
#: A fixed plant so near to a stretch's end stands at it.
AT_END_M = 0.005


@dataclass
class Stations:
    """Where new plants of one line stand.

    Parameters
    ----------
    placed : list of (float, float)
        Station and how far it was moved from the pattern, metres, in order.
    dropped : list of float
        Stations of the pattern where no plant may stand.
    groups : list of list of float
        The pattern before moving and dropping, fixed stations included; a second row is staggered
        against it. No gap inside a group exceeds the spacing.
    """

    placed: list[tuple[float, float]] = field(default_factory=list)
    dropped: list[float] = field(default_factory=list)
    groups: list[list[float]] = field(default_factory=list)


def set_evened(
    stretches: Sequence[Stretch],
    fixed: Sequence[float],
    spacing: float,
    standing: Sequence[float] = (),
) -> Stations:
    """Set plants on both ends of every stretch and evenly between, no gap above the spacing.

    Where two stretches come closer to each other, or to a fixed plant, than half the spacing, the
    end gives way. Gaps between two of the fixed stations that are ``standing`` plants may be a
    quarter wider.
    """
    result = Stations()
    least = spacing * LEAST_SHARE
    fixed = sorted(fixed)
    last = -np.inf
    for a, b in stretches:
        inside = [f for f in fixed if a - AT_END_M <= f <= b + AT_END_M]
        outside = [f for f in fixed if f not in inside]
        if inside:
            a, b = min(a, inside[0]), max(b, inside[-1])
        near_a = [f + least for f in (*outside, last) if f < a]
        near_b = [f - least for f in outside if f > b]
        a, b = max([a, *near_a]), min([b, *near_b])
        if b < a:
            continue
        group: list[float] = []
        cuts = [(a, False), *((f, True) for f in inside), (b, False)]
        for (left, left_fixed), (right, right_fixed) in pairwise(cuts):
            if left in standing and right in standing:
                new = between_standing(left, right, spacing)
            else:
                new = _fill_evened(left, left_fixed, right, right_fixed, spacing)
            stations = new.tolist()
            result.placed.extend((station, 0.0) for station in stations)
            group.extend(stations)
            if right_fixed:
                group.append(right)
        result.groups.append(group)
        if group:
            last = group[-1]
    return result


def _fill_evened(
    left: float, left_fixed: bool, right: float, right_fixed: bool, spacing: float
) -> np.ndarray:
    if left_fixed and right_fixed:
        return between(left, right, spacing)
    if not left_fixed and not right_fixed:
        return evened(left, right, spacing)
    if right - left < spacing * (LEAST_SHARE - EQUAL_SHARE):
        return np.array([])
    stations = evened(left, right, spacing)
    return stations[1:] if left_fixed else stations[:-1]


def set_exact(
    length: float,
    stretches: Sequence[Stretch],
    fixed: Sequence[float],
    standing: Sequence[float],
    spacing: float,
    move_m: float,
) -> Stations:
    """Set plants at the exact spacing from the zero peg, or both ways from a fixed plant.

    What is left over of the length lies at the row's free ends. Only between two fixed plants, such
    as those at two corners, must it lie in the row: in the last gap before the second one, or in
    the last two where it is less than half the spacing.

    Parameters
    ----------
    length : float
        Length of the line, metres.
    stretches : sequence of (float, float)
        Where plants may stand.
    fixed : sequence of float
        Stations that are taken.
    standing : sequence of float
        Those of them where a plant stands already: the gap between two of these is filled evenly.
    spacing, move_m : float
        Metres. A station outside the stretches moves by up to ``move_m`` or is dropped.
    """
    fixed = sorted(fixed)
    cuts = [(0.0, False), *((f, True) for f in fixed), (length, False)]
    group: list[float] = []
    wanted: list[tuple[float, float]] = []
    for (left, left_fixed), (right, right_fixed) in pairwise(cuts):
        if left in standing and right in standing:
            new = [(float(station), 0.0) for station in between_standing(left, right, spacing)]
        else:
            new = _fill_exact(left, left_fixed, right, right_fixed, spacing)
        wanted.extend(new)
        group.extend(station for station, _ in new)
        if right_fixed:
            group.append(right)
    result = settle(wanted, stretches, fixed, spacing, move_m)
    result.groups = [group]
    return result


def _fill_exact(
    left: float, left_fixed: bool, right: float, right_fixed: bool, spacing: float
) -> list[tuple[float, float]]:
    if right_fixed and not left_fixed:
        back = right - exact(0.0, right - left, spacing)[:0:-1]
        return [(float(station), 0.0) for station in np.maximum(back, left)]
    stations = [float(station) for station in exact(left, right, spacing)]
    if not right_fixed:
        new = stations[1:] if left_fixed else stations
        if left_fixed and right - left < spacing * EQUAL_SHARE:
            new = []
        return [(station, 0.0) for station in new]
    before = [station for station in stations if station < right - spacing * EQUAL_SHARE]
    moved = [(station, 0.0) for station in before]
    if len(before) > 1 and right - before[-1] < spacing * (LEAST_SHARE - EQUAL_SHARE):
        # Too close to the second fixed plant: half way between it and the plant before, so that
        # neither gap exceeds the spacing.
        middle = (before[-2] + right) / 2.0
        moved[-1] = (middle, middle - before[-1])
    return moved[1:]


def settle(
    wanted: Sequence[tuple[float, float]],
    stretches: Sequence[Stretch],
    fixed: Sequence[float],
    spacing: float,
    move_m: float,
) -> Stations:
    """Keep, move or drop each wanted station.

    Parameters
    ----------
    wanted : sequence of (float, float)
        Station and how far it was moved already, in order.
    stretches, fixed, spacing, move_m
        As for `set_exact`.
    """
    result = Stations()
    least = spacing * (LEAST_SHARE - EQUAL_SHARE)
    fixed = sorted(fixed)
    free = [station for station, _ in wanted if within(station, stretches)]
    ends = [end for stretch in stretches for end in stretch]
    last = -np.inf
    for station, moved in wanted:
        if within(station, stretches):
            options = [station] if station - last >= least else []
        else:
            near = [end for end in ends if abs(end - station) <= move_m + AT_EDGE_M]
            options = [end for end in near if end - last >= least and _clear(end, free, least)]
        options = [end for end in options if _clear(end, fixed, least)]
        if options:
            last = min(options, key=lambda end: abs(end - station))
            result.placed.append((last, moved + last - station))
        else:
            result.dropped.append(station)
    return result


def _clear(station: float, others: Sequence[float], least: float) -> bool:
    """Whether no other of a sorted list stands nearer than the least distance."""
    at = bisect_left(others, station)
    return all(abs(other - station) >= least for other in others[max(at - 1, 0) : at + 1])


def within(station: float, stretches: Sequence[Stretch]) -> bool:
    """Whether a station lies on one of the stretches, its ends included."""
    return any(a - AT_EDGE_M <= station <= b + AT_EDGE_M for a, b in stretches)


def covers(span: Stretch, stretches: Sequence[Stretch]) -> bool:
    """Whether one stretch holds a whole span."""
    return any(a - AT_END_M <= span[0] and span[1] <= b + AT_END_M for a, b in stretches)


def subtract(stretches: Sequence[Stretch], spans: Sequence[Stretch]) -> list[Stretch]:
    """Stretches without the parts that the spans cover."""
    left = list(stretches)
    for low, high in spans:
        cut = []
        for a, b in left:
            if high <= a or low >= b:
                cut.append((a, b))
                continue
            if low > a + CRUMB_M:
                cut.append((a, low))
            if high < b - CRUMB_M:
                cut.append((high, b))
        left = cut
    return left
