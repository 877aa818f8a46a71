"""Stretches of lines that lie on some ground, as running distances from each line's start."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import LineString

from screenplan.site.ragged import firsts, numbered, summed

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
    length = shapely.length(lines)
    # To ask whether all of a line lies on the ground takes a tenth of the time of cutting it, and most lines do.
    whole = shapely.covers(grounds, lines) & (length > SAME_M)
    of = np.flatnonzero(whole)
    rest = np.flatnonzero(~whole)
    cut, low, high = _covered_in_part(lines[rest], grounds[rest])
    of = np.concatenate([of, rest[cut]])
    low = np.concatenate([np.zeros(len(of) - len(low)), low])
    high = np.concatenate([length[whole], high])
    order = np.argsort(of, kind="stable")
    return of[order], low[order], high[order]


def _covered_in_part(
    lines: np.ndarray, grounds: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Find the stretches of lines that may leave their grounds."""
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
    joined: list[tuple[int, float, float]] = []
    order = np.lexsort((high, low, of))
    for line, begin, end in zip(*(part[order].tolist() for part in (of, low, high)), strict=True):
        if joined and joined[-1][0] == line and begin <= joined[-1][2] + SAME_M:
            joined[-1] = (line, joined[-1][1], max(joined[-1][2], end))
        else:
            joined.append((line, begin, end))
    line, low, high = np.array(joined, dtype=float).T
    return line.astype(int), low, high


def cut_out_each(lines: np.ndarray, low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Cut a stretch out of each line.

    Parameters
    ----------
    lines : ndarray of LineString, (n,)
    low, high : ndarray, (n,)
        Metres from the line's start; the first is less.

    Returns
    -------
    ndarray of LineString, (n,)
        In the direction of the lines.
    """
    xy, line = shapely.get_coordinates(lines, return_index=True)
    along = running(xy, line)
    inside = (low[line] < along) & (along < high[line])
    # The end of a line is set by its distance alone, whatever rounding makes of the sum of its legs.
    inside &= np.append(line[1:] == line[:-1], False)
    number = np.arange(len(lines))
    ends = [places_on(lines, number, at) for at in (low, high)]
    of = np.concatenate([number, line[inside], number])
    order = np.argsort(of, kind="stable")
    xy = np.concatenate([ends[0], xy[inside], ends[1]])[order]
    return shapely.linestrings(xy, indices=of[order])


def places_on(lines: np.ndarray, of: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Give places on lines by their distances from each line's start, as GEOS finds them, in less time.

    Parameters
    ----------
    lines : ndarray of LineString, (n,)
    of : ndarray of int, (places,)
        The line of each.
    at : ndarray, (places,)
        Metres; beyond an end it is the end.

    Returns
    -------
    ndarray, (places, 2)
    """
    xy, line = shapely.get_coordinates(lines, return_index=True)
    count = np.bincount(line, minlength=len(lines))
    first = firsts(count)
    step = np.diff(xy, axis=0, append=0.0)
    step[first + count - 1] = 0.0
    leg = np.sqrt(step[:, 0] * step[:, 0] + step[:, 1] * step[:, 1])
    # The last corner of a line has no leg, so that the first of the next one begins at 0.
    run = summed(np.roll(leg, 1), count)
    place, number = numbered(count[of])
    passed = np.bincount(place, run[first[of][place] + number] <= at[place], minlength=len(of))
    corner = first[of] + np.maximum(passed.astype(int) - 1, 0)
    beyond = np.maximum(at - run[corner], 0.0)
    share = np.divide(beyond, leg[corner], out=np.zeros(len(of)), where=leg[corner] > 0.0)
    return xy[corner] + step[corner] * share[:, None]


def running(xy: np.ndarray, line: np.ndarray) -> np.ndarray:
    """Give the running distance of each point of some lines from the first point of its line.

    Parameters
    ----------
    xy : ndarray, (points, 2)
    line : ndarray of int, (points,)
        The line of each point, ascending.
    """
    legs = np.zeros(len(xy))
    legs[1:] = np.where(line[1:] == line[:-1], np.hypot(*np.diff(xy, axis=0).T), 0.0)
    return summed(legs, np.bincount(line, minlength=1))


def _one(geometry: shapely.Geometry) -> np.ndarray:
    return np.array([geometry], dtype=object)


def _pairs(spans: tuple[np.ndarray, np.ndarray, np.ndarray]) -> list[tuple[float, float]]:
    return list(zip(spans[1].tolist(), spans[2].tolist(), strict=True))
