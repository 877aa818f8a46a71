"""Places set by tapes: two distances and a side, or an offset, and what a reading to the centimetre leaves.

For points A and B with distances a and b to a place, and c from A to B, the foot of the place on AB
lies t = (a² + c² − b²) / 2c from A, and the place √(a² − t²) to the left or right of it. If both
readings are out by up to e, the place is out by up to e √(2 + 2 |cos θ|) / sin θ, θ being the angle
at which the tapes cross: twice e √2 at 41°, 3.9 e at 30° (arithmetic). A point that is out by d
itself adds d to its tape's e.

By an offset a place is found from the line through A and B: so far along it from A, and so far square
to it. With A out by d and B by d', the place is out across the line by |1 − s| d + s d', s being its
share of the way from A to B, and along it by d + offset (d + d') / c (arithmetic).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

#: Distances are read, and printed, to a centimetre: out by up to half of it.
READING_M = 0.005
#: A point nearer than this to a place is the place: no tape runs between them.
NEAREST_M = 1e-6
#: Coordinates of control points are printed to a millimetre: half of it in x and in y.
PRINTED_M = 0.0005 * math.sqrt(2.0)
#: Tapes that cross at an angle outside this range fix a place badly (common practice, no source).
CROSSING_DEG = (30.0, 150.0)
#: A metre of tape is as bad as so many metres of tolerance, and a metre of offset, for its right angle
#: is set by hand (common practice, no source).
COST_OF_TAPE = 2e-4
COST_OF_OFFSET = 0.01
#: An offset is not longer than this, metres: a longer one needs an optical square (common practice,
#: no source).
LONGEST_OFFSET_M = 6.0
#: A line is sighted on past its second point by its own length at most (common practice, no source).
LONGEST_SIGHT = 2.0
#: An offset below this is none, metres.
ON_TAPE_M = 0.0005


@dataclass(frozen=True)
class TwoTapes:
    """A place by two tapes.

    Parameters
    ----------
    a, b : int
        Which points the tapes start from.
    tape_a_m, tape_b_m : float
        Level distances, metres.
    side : {"left", "right"}
        Side of the line from a to b, seen from a.
    crossing_deg : float
        Angle between the tapes at the place.
    tolerance_m : float
        How far the place can be out if both are read to a centimetre.
    """

    a: int
    b: int
    tape_a_m: float
    tape_b_m: float
    side: str
    crossing_deg: float
    tolerance_m: float


@dataclass(frozen=True)
class Offset:
    """A place by a distance along a line of two points, and one square to it.

    Parameters
    ----------
    a, b : int
        The points; the distance starts from a.
    along_m, offset_m : float
        Level distances, metres.
    side : {"left", "right", "on the line"}
        Side of the line, seen from a towards b.
    tolerance_m : float
        How far the place can be out if both are read to a centimetre.
    """

    a: int
    b: int
    along_m: float
    offset_m: float
    side: str
    tolerance_m: float


def tape_pair(
    points: np.ndarray, first: int, second: int, place: np.ndarray, point_m: float = PRINTED_M
) -> TwoTapes | None:
    """Measure a place from two points, out by up to ``point_m``; None if all lie on one line."""
    a, b = points[first] - place, points[second] - place
    length_a, length_b = math.hypot(*a), math.hypot(*b)
    cross, dot = a[0] * b[1] - a[1] * b[0], a[0] * b[0] + a[1] * b[1]
    if min(length_a, length_b) < NEAREST_M or abs(cross) < 1e-9 * length_a * length_b:
        return None
    angle = abs(math.atan2(cross, dot))
    # From a to b with the place on the left, a and b turn left (anticlockwise) seen from the place.
    side = "left" if cross > 0 else "right"
    out = (READING_M + point_m) * error_factor(angle)
    return TwoTapes(first, second, length_a, length_b, side, math.degrees(angle), out)


def error_factor(crossing_rad: float) -> float:
    """How many times the error of a reading the place can be out, √(2 + 2 |cos θ|) / sin θ."""
    return math.sqrt(2.0 + 2.0 * abs(math.cos(crossing_rad))) / math.sin(crossing_rad)


def crosses_well(crossing_deg: float) -> bool:
    """Tell whether tapes cross at an angle that fixes a place well."""
    return CROSSING_DEG[0] <= crossing_deg <= CROSSING_DEG[1]


def best_pair(
    points: np.ndarray,
    place: np.ndarray,
    usable: np.ndarray,
    trust: np.ndarray,
    point_m: np.ndarray | None = None,
) -> TwoTapes | None:
    """Choose the two points from which tapes set a place best.

    Parameters
    ----------
    points : (n, 2) ndarray
        Points that can be found, metres.
    place : (2,) ndarray
        The place.
    usable : (n,) ndarray of bool
        Points from which a tape reaches it.
    trust : (n,) ndarray of float
        How much worse than the best kind of point each is, 1 or more.
    point_m : (n,) ndarray of float, optional
        How far each point may be out; by default what printing leaves, metres.

    Returns
    -------
    TwoTapes or None
        The pair whose tolerance, times the lesser trust, plus `COST_OF_TAPE` for each metre of tape, is
        least among those that cross well; None if none does.
    """
    numbers = np.flatnonzero(usable)
    out = np.full(len(points), PRINTED_M) if point_m is None else point_m
    found: list[tuple[float, TwoTapes]] = []
    for position, first in enumerate(numbers):
        for second in numbers[position + 1 :]:
            worse = float(max(out[first], out[second]))
            pair = tape_pair(points, int(first), int(second), place, worse)
            if pair is None or not crosses_well(pair.crossing_deg):
                continue
            cost = pair.tolerance_m * max(trust[first], trust[second])
            cost += COST_OF_TAPE * (pair.tape_a_m + pair.tape_b_m)
            found.append((cost, pair))
    return min(found, key=lambda choice: choice[0])[1] if found else None


def best_offset(
    points: np.ndarray,
    place: np.ndarray,
    trust: np.ndarray,
    point_m: np.ndarray,
    free: Callable[..., np.ndarray],
    hooked_m: np.ndarray,
    tape_m: float,
) -> Offset | None:
    """Choose the line of two points from which an offset sets a place best.

    Parameters
    ----------
    points : (n, 2) ndarray
        Points that can be found, metres.
    place : (2,) ndarray
        The place.
    trust, point_m : (n,) ndarray of float
        As of `best_pair`.
    free : callable
        ``free(starts, ends, hooked_m)`` tells which straight tapes have nothing in their way.
    hooked_m : (n,) ndarray of float
        Within so much of each point a tape may lie over a wall, metres.
    tape_m : float
        Length of the tape, metres.

    Returns
    -------
    Offset or None
        Up to `LONGEST_OFFSET_M` long, from a line that is sighted on by its own length at most, with
        nothing in the way; None if there is none.
    """
    a, b = (index.ravel() for index in np.indices((len(points), len(points))))
    c = np.hypot(*(points[b] - points[a]).T)
    a, b, c = a[c > NEAREST_M], b[c > NEAREST_M], c[c > NEAREST_M]
    if not a.size:
        return None
    u = (points[b] - points[a]) / c[:, None]
    relative = place - points[a]
    along = (relative * u).sum(axis=1)
    left = relative[:, 1] * u[:, 0] - relative[:, 0] * u[:, 1]
    good = (along > NEAREST_M) & (along <= np.minimum(LONGEST_SIGHT * c, tape_m))
    good &= np.abs(left) <= LONGEST_OFFSET_M
    foot = points[a] + along[:, None] * u
    line_end = np.where((along < c)[:, None], points[b], foot)
    here = np.flatnonzero(good)
    if not here.size:
        return None
    reached = free(points[a[here]], line_end[here], hooked_m[a[here]])
    reached &= free(foot[here], place)
    here = here[reached]
    if not here.size:
        return None
    share, off = along / c, np.abs(left)
    across = np.abs(1.0 - share) * point_m[a] + share * point_m[b]
    ahead = point_m[a] + off * (point_m[a] + point_m[b]) / c
    off = np.where(off < ON_TAPE_M, 0.0, off)
    out = np.hypot(across, ahead) + READING_M * np.where(off > 0, math.sqrt(2.0), 1.0)
    cost = out * np.maximum(trust[a], trust[b]) + COST_OF_TAPE * along + COST_OF_OFFSET * off
    best = here[np.argmin(cost[here])]
    side = "on the line" if off[best] == 0 else "left" if left[best] > 0 else "right"
    return Offset(
        int(a[best]), int(b[best]), float(along[best]), float(off[best]), side, float(out[best])
    )
