"""Stretches of lines that lie on some ground, as running distances from each line's start."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import LineString

from screenplan.site.ragged import firsts

#: A line keeps this far off a zone's edge, so that rounding cannot put a plant inside.
CLEARANCE_M = 0.001
#: Two lengths that differ by less are the same.
SAME_M = 1e-6


def plantable_stretches(line: LineString, zone: shapely.Geometry) -> list[tuple[float, float]]:
    """Find the stretches of one line on which a plant may stand; see `plantable_stretches_each`."""
    return _pairs(plantable_stretches_each(_one(line), _one(zone)))


def plantable_stretches_each(
    lines: np.ndarray, zones: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Find the stretches of lines on which a plant may stand.

    Parameters
    ----------
    lines : ndarray of LineString, (n,)
    zones : ndarray of Geometry, (n,)
        The plantable zone of each.

    Returns
    -------
    line : ndarray of int, (stretches,)
        The line of each stretch, ascending.
    low, high : ndarray, (stretches,)
        Metres from the line's start, in order; ends keep `CLEARANCE_M` off the zone's edge.
    """
    of, low, high = covered_spans_each(lines, zones)
    length = shapely.length(lines)
    starts_free = shapely.contains(zones, shapely.get_point(lines, 0))[of]
    ends_free = shapely.contains(zones, shapely.get_point(lines, -1))[of]
    low = low + np.where((low < SAME_M) & starts_free, 0.0, CLEARANCE_M)
    high = high - np.where((high > length[of] - SAME_M) & ends_free, 0.0, CLEARANCE_M)
    kept = high >= low
    of, low, high = of[kept], low[kept], high[kept]
    return of, np.maximum(low, 0.0), np.minimum(high, length[of])


def covered_spans(line: LineString, ground: shapely.Geometry) -> list[tuple[float, float]]:
    """Find the stretches of one line that lie on some ground; see `covered_spans_each`."""
    return _pairs(covered_spans_each(_one(line), _one(ground)))


def covered_spans_each(
    lines: np.ndarray, grounds: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Find the stretches of lines that lie on the ground of each.

    Parameters
    ----------
    lines : ndarray of LineString, (n,)
    grounds : ndarray of Geometry, (n,)

    Returns
    -------
    line : ndarray of int, (spans,)
        The line of each span, ascending.
    low, high : ndarray, (spans,)
        Metres from the line's start, in order.
    """
    inside, of = shapely.get_parts(shapely.intersection(lines, grounds), return_index=True)
    along = shapely.get_type_id(inside) == shapely.GeometryType.LINESTRING
    along &= shapely.length(inside) > SAME_M
    inside, of = inside[along], of[along]
    if not len(inside):
        return np.zeros(0, dtype=int), np.zeros(0), np.zeros(0)
    xy, part = shapely.get_coordinates(inside, return_index=True)
    edge = np.flatnonzero(part[1:] == part[:-1])
    begin, end, part = xy[edge], xy[edge + 1], part[edge]
    # By the middle of each edge: the ends of a closed or touching line are ambiguous.
    at = shapely.line_locate_point(lines[of[part]], shapely.points((begin + end) / 2.0))
    half = np.hypot(*(end - begin).T) / 2.0
    first = firsts(np.bincount(part, minlength=len(inside)))
    low, high = np.minimum.reduceat(at - half, first), np.maximum.reduceat(at + half, first)
    joined: list[list[float]] = []
    for item in np.lexsort((high, low, of)).tolist():
        if joined and joined[-1][0] == of[item] and low[item] <= joined[-1][2] + SAME_M:
            joined[-1][2] = max(joined[-1][2], high[item])
        else:
            joined.append([of[item], low[item], high[item]])
    line, low, high = np.array(joined, dtype=float).T
    return line.astype(int), low, high


def _one(geometry: shapely.Geometry) -> np.ndarray:
    return np.array([geometry], dtype=object)


def _pairs(spans: tuple[np.ndarray, np.ndarray, np.ndarray]) -> list[tuple[float, float]]:
    return list(zip(spans[1].tolist(), spans[2].tolist(), strict=True))
