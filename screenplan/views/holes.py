"""Where a view's last open rays pass the planting lines, and what leaves them open.

Each open ray is cut with each planting line; the station and the height above the ground say
between which plants it passes. Rays that miss all lines are told at the line that would meet them
with the least lengthening, at a station before its zero peg or beyond its end.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
import shapely.ops

from screenplan.contracts.views import HOLE_KINDS, WIDE_GAP
from screenplan.ground.said import said
from screenplan.planting.zones import name_of
from screenplan.views.crossing import cross_line

#: A hole is drawn and told at least this long.
LEAST_LENGTH_M = 0.1
#: Lines are lengthened by this much at either end to find rays that pass beside them.
BESIDE_M = 1000.0
#: A stem this near to the edge of a zone stands at it, not in it.
EDGE_M = 0.02
#: Gaps of a row that differ by less are the same: rounding only.
SAME_M = 1e-6


@dataclass(frozen=True)
class LineStand:
    """One planting line and its plants as they stand in the year that is looked at.

    Parameters
    ----------
    line_id : str
    line : LineString
    ids : ndarray of int, (plants,)
        Sorted by station, as are the others.
    station, height, radius, clear, widest : ndarray, (plants,)
        Metres; ``widest`` is the height above the ground at which the crown is widest, NaN where
        it is so all the way up.
    """

    line_id: str
    line: shapely.LineString
    ids: np.ndarray
    station: np.ndarray
    height: np.ndarray
    radius: np.ndarray
    clear: np.ndarray
    widest: np.ndarray


@dataclass(frozen=True)
class Hole:
    """A stretch of a planting line through which rays pass."""

    line_id: str
    geometry: shapely.LineString
    from_m: float
    to_m: float
    low_m: float
    high_m: float
    rays: int
    until: int | None
    kind: str
    cause: str


def find_holes(
    origin, target, last_open, stands: list[LineStand], zones, terrain, years: int
) -> list[Hole]:
    """Gather the crossings of open rays with planting lines into holes.

    Parameters
    ----------
    origin, target : ndarray, (rays, 3)
        The open rays.
    last_open : ndarray of int, (rays,)
        The last year in which each is open.
    stands : list of LineStand
        The planting lines with their plants.
    zones : list of (Polygon, str)
        No-plant zones, each with the feature that made it, smallest first.
    terrain : Terrain
        Ground heights.
    years : int
        The last year looked at.
    """
    crossings = _crossings(origin, target, stands)
    holes = []
    for stand, (ray, station, xy, z) in zip(stands, crossings, strict=True):
        if len(station):
            above = z - np.asarray(terrain.height_at(xy[:, 0], xy[:, 1]), float)
            holes += _gather(stand, station, above, last_open[ray], zones, years)
    return holes


def _crossings(origin, target, stands):
    met = np.zeros(len(origin), bool)
    found = []
    for stand in stands:
        ray, station, t = cross_line(origin, target, shapely.get_coordinates(stand.line))
        met[ray] = True
        found.append([(ray, station, t)])
    beside = np.flatnonzero(~met)
    if len(beside) and stands:
        over = np.full((len(beside), len(stands)), np.inf)
        where = np.zeros((len(beside), len(stands), 2))
        for k, stand in enumerate(stands):
            ray, station, t = cross_line(
                origin[beside], target[beside], _lengthened(stand.line), -BESIDE_M
            )
            past = np.maximum(-station, station - stand.line.length)
            for place in np.argsort(-past):  # the nearest one last, so that it stays
                over[ray[place], k] = past[place]
                where[ray[place], k] = station[place], t[place]
        best = np.argmin(over, axis=1)
        for k in range(len(stands)):
            mine = np.flatnonzero((best == k) & np.isfinite(over[:, k]))
            found[k].append((beside[mine], where[mine, k, 0], where[mine, k, 1]))
    crossings = []
    for parts in found:
        ray, station, t = (np.concatenate(part) for part in zip(*parts, strict=True))
        at = origin[ray] + t[:, None] * (target[ray] - origin[ray])
        crossings.append((ray, station, at[:, :2], at[:, 2]))
    return crossings


def _lengthened(line) -> np.ndarray:
    xy = shapely.get_coordinates(line)
    first = xy[0] - xy[1]
    last = xy[-1] - xy[-2]
    return np.vstack(
        [
            xy[0] + BESIDE_M * first / np.hypot(*first),
            xy,
            xy[-1] + BESIDE_M * last / np.hypot(*last),
        ]
    )


def _gather(stand: LineStand, station, above, last_open, zones, years) -> list[Hole]:
    """Join crossings at neighbouring plants or gaps, of one kind, into holes."""
    if len(stand.station):
        kind, place = _kinds(stand, station, above)
    else:
        kind, place = np.full(len(station), BARE), np.zeros(len(station), np.int64)
    holes = []
    for code in np.unique(kind):
        mine = np.flatnonzero(kind == code)
        places = np.unique(place[mine])
        # A wide gap stands by itself: it has its own reason.
        apart = np.diff(places) > (0 if code == GAP else 1)
        for run in np.split(places, np.flatnonzero(apart) + 1):
            within = mine[(place[mine] >= run[0]) & (place[mine] <= run[-1])]
            low, high = float(above[within].min()), float(above[within].max())
            begin, end = float(station[within].min()), float(station[within].max())
            wider = 0.5 * max(LEAST_LENGTH_M - (end - begin), 0.0)
            begin, end = begin - wider, end + wider
            ends = int(run[0]), int(run[-1])
            cause = _say(stand, int(code), *ends, low, high, (begin, end), zones)
            until = int(last_open[within].max())
            if until < years:
                cause += f"{',' * (int(code) in (BEYOND, GAP))} until year {until}"
            holes.append(
                Hole(
                    stand.line_id,
                    _stretch(stand.line, begin, end),
                    round(begin, 3),
                    round(end, 3),
                    round(low, 3),
                    round(high, 3),
                    len(within),
                    until if until < years else None,
                    HOLE_KINDS[code],
                    said(cause),
                )
            )
    return sorted(holes, key=lambda hole: (hole.from_m, hole.low_m, hole.cause))


#: Kinds of crossing, by their place in `HOLE_KINDS`.
OVER, BEYOND, GAP, UNDER, BETWEEN, BARE = range(6)


def _kinds(stand: LineStand, station, above) -> tuple[np.ndarray, np.ndarray]:
    """Kind of each crossing, and the number of the plant or gap that it is at."""
    count = len(stand.station)
    gaps = np.diff(stand.station)
    usual = float(np.median(gaps)) if len(gaps) else np.inf
    after = np.searchsorted(stand.station, station)
    a, b = np.maximum(after - 1, 0), np.minimum(after, count - 1)
    near = np.where(stand.station[b] - station < station - stand.station[a], b, a)
    beside = (after == 0) | (after == count)
    wide = np.zeros(len(station), bool)
    if len(gaps):
        wide = ~beside & (gaps[np.minimum(a, count - 2)] > WIDE_GAP * usual + SAME_M)
    at_crown = np.abs(station - stand.station[near]) <= stand.radius[near]
    over = (above >= stand.height[near]) & (at_crown | ~(wide | beside))
    under = above <= np.minimum(stand.clear[a], stand.clear[b])
    kind = np.select([over, beside, wide, under], [OVER, BEYOND, GAP, UNDER], BETWEEN)
    return kind, np.where(over | beside, near, a)


def _reason(stand: LineStand, gap: int, zones) -> str:
    """Feature whose zones take most of a wide gap, or an empty string."""
    begin, end = stand.station[gap], stand.station[gap + 1]
    stems = [stand.line.interpolate(begin), stand.line.interpolate(end)]
    return _taken_by(shapely.ops.substring(stand.line, begin, end), stems, zones)


def _taken_by(stretch, stems, zones) -> str:
    """Feature whose zones take most of a stretch, or an empty string.

    A zone in which a neighbour stands forbids no plant there, so it is no reason.
    """
    taken: dict[str, float] = {}
    for zone, feature in zones:
        length = shapely.intersection(zone, stretch).length
        if length > 0.0 and not any(
            shapely.contains(zone, stem) and zone.boundary.distance(stem) > EDGE_M for stem in stems
        ):
            taken[feature] = taken.get(feature, 0.0) + length
    return max(taken, key=lambda feature: taken[feature]) if taken else ""


def _say(stand: LineStand, kind, first, last, low, high, span, zones) -> str:
    """Cause of a hole in words."""
    ids = stand.ids
    if kind == BARE:
        return "no plant on this row"
    if kind == OVER:
        several = f"plants {ids[first]} to {ids[last]}"
        return f"over plant {ids[first]}" if first == last else f"over {several}"
    if kind == BEYOND:
        feature = _taken_by(_stretch(stand.line, *span), [], zones)
        ends = f"stops short of {name_of(feature)}" if feature else "ends"
        return f"past plant {ids[first]}, where the row {ends}"
    joint = "and" if first == last else "to"
    pair = f"plants {ids[first]} {joint} {ids[last + 1]}"
    if kind == GAP:
        feature = _reason(stand, first, zones)
        return f"between {pair}, {f'which leave room for {name_of(feature)}' if feature else 'which stand wide apart'}"
    if kind == UNDER:
        return f"under the crowns of {pair}, below {{{high:.1f} m}}"
    widest = stand.widest[first : last + 2]
    if np.isnan(widest).all():
        return f"between {pair}"
    if high <= np.nanmin(widest):
        return f"between {pair} below {{{high:.1f} m}}"
    if low >= np.nanmax(widest):
        return f"between {pair} above {{{low:.1f} m}}"
    return f"between {pair} from {{{low:.1f} to {high:.1f} m}}"


def _stretch(line, begin: float, end: float) -> shapely.LineString:
    if begin < 0.0 or end > line.length:
        line = shapely.LineString(_lengthened(line))
        begin, end = begin + BESIDE_M, end + BESIDE_M
    return shapely.ops.substring(line, begin, end)
