"""Places set by tapes: two distances and a side, and what a reading to the centimetre leaves.

For points A and B with distances a and b to a place, and c from A to B, the foot of the place on AB
lies t = (a² + c² − b²) / 2c from A, and the place √(a² − t²) to the left or right of it. If both
readings are out by up to e, the place is out by up to e √(2 + 2 |cos θ|) / sin θ, θ being the angle
at which the tapes cross: twice e √2 at 41°, 3.9 e at 30° (arithmetic).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

#: Distances are read, and printed, to a centimetre: out by up to half of it.
READING_M = 0.005
#: A point nearer than this to a place is the place: no tape runs between them.
NEAREST_M = 1e-6
#: Coordinates of tape points are printed to a millimetre: half of it in x and in y.
PRINTED_M = 0.0005 * math.sqrt(2.0)
#: Tapes that cross at an angle outside this range fix a place badly (common practice, no source).
CROSSING_DEG = (30.0, 150.0)
#: A metre of tape is as bad as so many metres of tolerance (common practice, no source).
COST_OF_TAPE = 2e-4


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


def intersect(a, b, tape_a_m: float, tape_b_m: float, side: str) -> np.ndarray:
    """Find the place at two distances from two points, on one side of the line between them.

    Parameters
    ----------
    a, b : (2,) array_like
        The points, metres.
    tape_a_m, tape_b_m : float
        Distances, metres. Where rounding keeps the tapes from meeting, the point between their
        ends is given.
    side : {"left", "right"}
        As seen from a towards b.

    Returns
    -------
    (2,) ndarray

    Examples
    --------
    Tapes of 3 m and 4 m between points 5 m apart meet at a right angle.

    >>> intersect((0.0, 0.0), (5.0, 0.0), 3.0, 4.0, "left").round(3).tolist()
    [1.8, 2.4]
    """
    a, b = np.asarray(a, float), np.asarray(b, float)
    c = math.hypot(*(b - a))
    along = (tape_a_m**2 + c**2 - tape_b_m**2) / (2.0 * c)
    across = math.sqrt(max(tape_a_m**2 - along**2, 0.0))
    u = (b - a) / c
    left = np.array([-u[1], u[0]])
    return a + along * u + (across if side == "left" else -across) * left


def tape_pair(points: np.ndarray, first: int, second: int, place: np.ndarray) -> TwoTapes | None:
    """Measure a place from two points; None if they and it lie on one line."""
    a, b = points[first] - place, points[second] - place
    length_a, length_b = math.hypot(*a), math.hypot(*b)
    cross, dot = a[0] * b[1] - a[1] * b[0], a[0] * b[0] + a[1] * b[1]
    if min(length_a, length_b) < NEAREST_M or abs(cross) < 1e-9 * length_a * length_b:
        return None
    angle = abs(math.atan2(cross, dot))
    # From a to b with the place on the left, a and b turn left (anticlockwise) seen from the place.
    side = "left" if cross > 0 else "right"
    out = (READING_M + PRINTED_M) * error_factor(angle)
    return TwoTapes(first, second, length_a, length_b, side, math.degrees(angle), out)


def error_factor(crossing_rad: float) -> float:
    """How many times the error of a reading the place can be out, √(2 + 2 |cos θ|) / sin θ."""
    return math.sqrt(2.0 + 2.0 * abs(math.cos(crossing_rad))) / math.sin(crossing_rad)


def crosses_well(crossing_deg: float) -> bool:
    """Tell whether tapes cross at an angle that fixes a place well."""
    return CROSSING_DEG[0] <= crossing_deg <= CROSSING_DEG[1]


def best_pair(
    points: np.ndarray, place: np.ndarray, usable: np.ndarray, trust: np.ndarray
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

    Returns
    -------
    TwoTapes or None
        The pair whose tolerance, times the lesser trust, plus `COST_OF_TAPE` for each metre of tape, is
        least among those that cross well; if none does, among all; None if there is no pair.
    """
    numbers = np.flatnonzero(usable)
    found: list[tuple[bool, float, TwoTapes]] = []
    for position, first in enumerate(numbers):
        for second in numbers[position + 1 :]:
            pair = tape_pair(points, int(first), int(second), place)
            if pair is None:
                continue
            cost = pair.tolerance_m * max(trust[first], trust[second])
            cost += COST_OF_TAPE * (pair.tape_a_m + pair.tape_b_m)
            found.append((not crosses_well(pair.crossing_deg), cost, pair))
    return min(found, key=lambda one: one[:2])[2] if found else None
