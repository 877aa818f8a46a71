"""Patterns of stations on plantable stretches: arithmetic only, no geometry.

A stretch of length L holds floor(L/s) + 1 plants at the exact spacing s, the first at its start.
Evened, it holds ceil(L/s) + 1, one at each end, and no gap exceeds s. A staggered second row stands
in the middle of each gap and holds one fewer.
"""

from __future__ import annotations

import math

import numpy as np

#: Distance between rows of equal-sided triangles, as a share of the spacing.
EQUILATERAL = math.sqrt(3.0) / 2.0
#: A gap between two standing plants counts as asked up to so much wider; common practice, no source.
STANDING_UNEVEN = 1.25
#: Lengths that differ by less than this share of the spacing count as equal: L = k s, whatever the
#: last bits, holds k + 1 plants.
EQUAL_SHARE = 1e-6


def exact(a: float, b: float, spacing: float) -> np.ndarray:
    """Stations a, a + s, a + 2s, … up to b: floor((b − a)/s) + 1 of them.

    Examples
    --------
    >>> exact(0.0, 10.0, 3.0).tolist()
    [0.0, 3.0, 6.0, 9.0]
    """
    count = math.floor((b - a) / spacing + EQUAL_SHARE) + 1
    return np.minimum(a + spacing * np.arange(count), max(a, b))


def evened(a: float, b: float, spacing: float) -> np.ndarray:
    """Stations from a to b, both planted, equally far apart, no further than the spacing.

    A stretch shorter than half the spacing has room for one plant: it stands in its middle.

    Examples
    --------
    >>> evened(0.0, 10.0, 3.0).tolist()
    [0.0, 2.5, 5.0, 7.5, 10.0]
    """
    if b - a < spacing * (0.5 - EQUAL_SHARE):
        return np.array([(a + b) / 2.0])
    gaps = max(1, math.ceil((b - a) / spacing - EQUAL_SHARE))
    return np.linspace(a, b, gaps + 1)


def between(a: float, b: float, spacing: float) -> np.ndarray:
    """Stations that fill up a gap between two plants, so that no gap exceeds the spacing.

    Examples
    --------
    >>> between(0.0, 10.0, 3.0).tolist()
    [2.5, 5.0, 7.5]
    """
    gaps = max(1, math.ceil((b - a) / spacing - EQUAL_SHARE))
    return np.linspace(a, b, gaps + 1)[1:-1]


def between_standing(a: float, b: float, spacing: float) -> np.ndarray:
    """Stations that fill up a gap between two plants that stand already.

    A row that was set by tape is uneven: a gap up to a quarter wider than the spacing is as asked,
    and is not halved by a new plant.
    """
    return np.linspace(a, b, gaps_between_standing(b - a, spacing) + 1)[1:-1]


def gaps_between_standing(length: float, spacing: float) -> int:
    """Gaps into which the ground between two standing plants is parted: ceil(L/s − 1/4)."""
    return max(1, math.ceil(length / spacing - (STANDING_UNEVEN - 1.0) - EQUAL_SHARE))


def staggered(stations: np.ndarray) -> np.ndarray:
    """Stations of the second row: the middle of each gap of the first, one fewer.

    Examples
    --------
    >>> staggered([0.0, 2.0, 4.0]).tolist()
    [1.0, 3.0]
    """
    stations = np.asarray(stations, float)
    return (stations[:-1] + stations[1:]) / 2.0
