"""Rings parallel to the outlines of lots, cut into the lines of their sides.

A parallel line is the set of points at the offset from the boundary, inside the parcel: it bends
with the side, ends at a convex corner in the mitre where the neighbouring side's line begins, and
runs round a corner that points inwards on an arc (which goes to the side before it). Where the
neighbouring side has no row, a line further in than the least offset goes straight on past the
mitre, as far as plants may stand. It runs anticlockwise, as the sides do.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely

from screenplan.plan import Options
from screenplan.planting.clearing import ARC_EXCESS_M, inside_each
from screenplan.planting.mixes import planned_spacing
from screenplan.planting.patterns import EQUILATERAL
from screenplan.planting.spans import CLEARANCE_M, SAME_M, running
from screenplan.planting.trimming import CRUMB_M, Drawn
from screenplan.site.lots import Many
from screenplan.site.ragged import first_most, firsts, numbered, turned

#: A point of a parallel line belongs to a side if it is the offset away from it, within this.
ON_SIDE_M = 0.05
#: Sine of the least turn that makes a corner of a parallel line, about 10°.
CONVEX = 0.17


@dataclass(frozen=True, eq=False)
class _Cut:
    """Rings parallel to the outlines of lots, cut into the lines of their sides.

    Parameters
    ----------
    side : ndarray of int, (pieces,)
        The side to which each piece is parallel, -1 for none; pieces follow each other round the rings.
    line : ndarray of LineString, (pieces,)
    lot : ndarray of int, (pieces,)
    neighbours : ndarray of int, (pieces, 2)
        The pieces before and after each on its ring: itself, where there is no other one.
    """

    side: np.ndarray
    line: np.ndarray
    lot: np.ndarray
    neighbours: np.ndarray


@dataclass(frozen=True, eq=False)
class Parallel:
    """What can be drawn parallel to the sides of lots.

    Parameters
    ----------
    sides : Many
    least_m : ndarray, (lots,)
        The greatest distance that a boundary rule asks for.
    first_m : ndarray, (lots,)
        The offset of the first row.
    bound : list of str
        By lot, the rules by which that is so.
    rows : tuple of _Cut
        The rings of each row, row 1 first.
    offset_m : tuple of ndarray, (lots,)
        The offset of each row.
    inside : ndarray of Geometry, (lots,)
        The ground that is no nearer to the boundary than the rules ask for.
    """

    sides: Many
    least_m: np.ndarray
    first_m: np.ndarray
    bound: list[str]
    rows: tuple[_Cut, ...]
    offset_m: tuple[np.ndarray, ...]
    inside: np.ndarray


def lay_parallel(outlines: np.ndarray, sides: Many, zones: Many, plan: Options) -> Parallel:
    """Draw rings parallel to the outlines, (lots,), and cut them to their sides.

    Parameters
    ----------
    outlines : ndarray of Geometry, (lots,)
    sides, zones : Many
        Sides, and no-plant zones of which those of the boundary are asked.
    plan : Options
        Of it [rows].
    """
    asked_m = plan.rows.offset
    least, bound = _bound(zones)
    first = least + ARC_EXCESS_M
    if asked_m is not None:
        first = np.full(len(least), asked_m - ARC_EXCESS_M)
        further = asked_m > least + CLEARANCE_M + SAME_M
        bound = ["" if own else names for own, names in zip(further, bound, strict=True)]
    offsets = tuple(first + row * row_distance(plan) for row in range(plan.rows.rows))
    insides = [inside_each(outlines, offset) for offset in offsets]
    inside = insides[0] if asked_m is None else inside_each(outlines, least + ARC_EXCESS_M)
    return Parallel(
        sides,
        least,
        first,
        bound,
        tuple(_cut(ground, sides, at) for ground, at in zip(insides, offsets, strict=True)),
        offsets,
        inside,
    )


def row_distance(plan: Options) -> float:
    """Give how far apart two rows stand, metres: as asked, or in equal-sided triangles; 0 of one row."""
    if plan.rows.row_distance is not None:
        return plan.rows.row_distance
    return EQUILATERAL * planned_spacing(plan) if plan.rows.rows > 1 else 0.0


def _bound(zones: Many) -> tuple[np.ndarray, list[str]]:
    """Greatest distance that a boundary rule asks for, (lots,), and by lot the rules that ask for it."""
    boundary = zones.layer["feature"].to_numpy(object) == "boundary"
    distance = zones.layer["distance_m"].to_numpy(float)[boundary]
    lot = zones.lot[boundary]
    least = np.zeros(zones.lots)
    there = np.bincount(lot, minlength=zones.lots) > 0
    least[there] = -np.inf
    np.maximum.at(least, lot, distance)
    asking: list[dict[str, None]] = [{} for _ in range(zones.lots)]
    strict = distance > least[lot] - CLEARANCE_M
    rules = zones.layer["rule"].to_numpy(object)[boundary]
    for number, rule in zip(lot[strict].tolist(), rules[strict], strict=True):
        asking[number][rule] = None
    return least, [", ".join(names) for names in asking]


def lines_along(
    parallel: Parallel, cut: _Cut, offset: np.ndarray, group: np.ndarray, row: int
) -> Drawn:
    """Give the lines of a row along the sides that are planted, with the numbers of these, in their order."""
    of_side = np.append(group, -1)
    taken = np.flatnonzero((of_side[cut.side] >= 0) & (shapely.length(cut.line) >= CRUMB_M))
    side, line = cut.side[taken], cut.line[taken].copy()
    goes_on = offset > parallel.least_m + ARC_EXCESS_M + SAME_M
    neighbours = cut.neighbours[taken]
    longer = np.flatnonzero(goes_on[cut.lot[taken]] & (neighbours[:, 0] != taken))
    if len(longer):
        near = neighbours[longer]
        alone = of_side[cut.side[near]] != of_side[side[longer]][:, None]
        within = parallel.inside[cut.lot[taken[longer]]]
        line[longer] = _run_on(line[longer], cut.line[near], alone, within)
    shapes = parallel.sides.shapes[side]
    middles = shapely.line_interpolate_point(line, 0.5, normalized=True)
    order = np.lexsort((shapely.line_locate_point(shapes, middles), side))
    side, line = side[order], line[order]
    count = np.bincount(side, minlength=len(group))
    return Drawn(
        group[side],
        side,
        np.full(len(side), row),
        np.arange(len(side)) - firsts(count)[side] + 1,
        line,
        (offset + ARC_EXCESS_M)[parallel.sides.lot[side]],
    )


def _run_on(
    lines: np.ndarray, near: np.ndarray, alone: np.ndarray, reachable: np.ndarray
) -> np.ndarray:
    """Lengthen lines past convex corners where no row turns off, as far as plants may stand.

    The mitre belongs to two rows of one offset. Where the side round the corner has none, the line
    goes straight on up to that side's own least offset.

    Parameters
    ----------
    lines : ndarray of LineString, (n,)
    near : ndarray of LineString, (n, 2)
        Those before and after each.
    alone : ndarray of bool, (n, 2)
        Whether no row runs along these.
    reachable : ndarray of Geometry, (n,)
        Where plants may stand.
    """
    turns = [_turn(near[:, 0], -1, lines, 0), _turn(lines, -1, near[:, 1], 0)]
    xy, of = shapely.get_coordinates(lines, return_index=True)
    for end, turn in enumerate(turns):
        some = np.flatnonzero(alone[:, end] & (turn > CONVEX))
        tips = _ahead(lines[some], end, reachable[some])
        order = np.argsort(np.concatenate([some, of] if end == 0 else [of, some]), kind="stable")
        xy = np.concatenate([tips, xy] if end == 0 else [xy, tips])[order]
        of = np.concatenate([some, of] if end == 0 else [of, some])[order]
    return shapely.simplify(shapely.linestrings(xy, indices=of), SAME_M)


def _edge(lines: np.ndarray, end: int) -> tuple[np.ndarray, np.ndarray]:
    """Give the beginning and the end, (lines, 2) each, of the first edge of lines (0) or of the last one (-1)."""
    places = (0, 1) if end == 0 else (-2, -1)
    begin, last = (shapely.get_coordinates(shapely.get_point(lines, place)) for place in places)
    return begin, last


def _turn(first: np.ndarray, end: int, second: np.ndarray, begin: int) -> np.ndarray:
    """Sines of the angles by which edges at some ends of lines turn left into those of other lines, (lines,)."""
    (ax, ay), (bx, by) = (
        np.subtract(*_edge(lines, which)[::-1]).T
        for lines, which in ((first, end), (second, begin))
    )
    length = np.hypot(ax, ay) * np.hypot(bx, by)
    with np.errstate(invalid="ignore"):
        return np.where(length > 0, (ax * by - ay * bx) / length, 0.0)


def _ahead(lines: np.ndarray, end: int, reachable: np.ndarray) -> np.ndarray:
    """Last points, (lines, 2), of the straight continuations of lines that lie on some ground.

    They go on from the end of a line, or back from its beginning where ``end`` is 0.
    """
    inner, tip = _edge(lines, 0)[::-1] if end == 0 else _edge(lines, -1)
    out = tip - inner
    direction = out / np.array([math.hypot(*by) for by in out.tolist()]).reshape(-1, 1)
    across = np.diff(shapely.bounds(reachable).reshape(-1, 2, 2), axis=1)[:, 0]
    far = np.array([math.hypot(*by) for by in across.tolist()]).reshape(-1, 1)
    rays = shapely.linestrings(np.stack([tip, tip + far * direction], axis=1))
    parts, of = shapely.get_parts(shapely.intersection(rays, reachable), return_index=True)
    straight = shapely.get_type_id(parts) == shapely.GeometryType.LINESTRING
    straight &= shapely.distance(parts, shapely.points(tip)[of]) < SAME_M
    parts, of = parts[straight], of[straight]
    some, first = np.unique(of, return_index=True)
    found = tip.copy()
    found[some] = tip[some] + shapely.length(parts[first])[:, None] * direction[some]
    return found


def _cut(inside: np.ndarray, sides: Many, offset: np.ndarray) -> _Cut:
    """Cut the rings of the ground inside an offset, of each lot, into the lines of its sides.

    Each edge goes to the nearest side; stretches that belong to no side (round a hole) carry -1.
    """
    parts, lot = shapely.get_parts(inside, return_index=True)
    solid = (shapely.get_type_id(parts) == shapely.GeometryType.POLYGON) & (sides.count[lot] > 0)
    solid &= shapely.length(parts) >= CRUMB_M
    rings, lot = shapely.get_exterior_ring(parts[solid]), lot[solid]
    rings = np.where(shapely.is_ccw(rings), rings, shapely.reverse(rings))
    xy, ring = _with_breaks(shapely.simplify(rings, SAME_M), lot, sides, offset)
    edge = np.flatnonzero(ring[1:] == ring[:-1])
    begin, end, ring = xy[edge], xy[edge + 1], ring[edge]
    side = _nearest_side((begin + end) / 2.0, lot[ring], sides, offset)
    # Begin where the side changes, so that no side's line is cut in two at the ring's start.
    count = np.bincount(ring, minlength=len(rings))
    changes = side != side[turned(count, np.full(len(count), -1))]
    order = turned(count, first_most(changes.astype(int), count))
    begin, end, side = begin[order], end[order], side[order]
    first = np.append(True, (side[1:] != side[:-1]) | (ring[1:] != ring[:-1]))[: len(side)]
    size = np.diff(np.append(np.flatnonzero(first), len(side)))
    piece, number = numbered(size + 1)
    corners = np.empty((len(piece), 2))
    last = number == size[piece]
    corners[~last], corners[last] = begin, end[np.cumsum(size) - 1]
    ring, side = ring[first], side[first]
    pieces = np.bincount(ring, minlength=len(rings))
    return _Cut(
        side,
        shapely.linestrings(corners, indices=piece),
        lot[ring],
        np.stack([turned(pieces, np.full(len(pieces), by)) for by in (-1, 1)], axis=1),
    )


def _nearest_side(
    middles: np.ndarray, lot: np.ndarray, sides: Many, offset: np.ndarray
) -> np.ndarray:
    """Give the side that is nearest to each point of a parallel ring, (points,); -1 where none is about the offset away.

    Of sides that are equally near it is the one that comes first, anticlockwise.
    """
    count = sides.count[lot]
    point, side = sides.beside(lot)
    reach = (offset + ON_SIDE_M)[lot]
    # A side whose box is farther away than that is not asked.
    west, south, east, north = shapely.bounds(sides.shapes)[side].T
    x, y = middles[point].T
    across = np.maximum(np.maximum(west - x, x - east), 0.0)
    along = np.maximum(np.maximum(south - y, y - north), 0.0)
    near = np.hypot(across, along) <= reach[point]
    away = np.full(len(point), np.inf)
    points = shapely.points(middles)
    away[near] = shapely.distance(points[point[near]], sides.shapes[side[near]])
    first = firsts(count)
    nearest = np.minimum.reduceat(away, first) if len(first) else np.zeros(0)
    tied = away <= nearest[point] + SAME_M
    leads = tied & ~tied[turned(count, np.full(len(count), -1))]
    chosen = sides.first[lot] + first_most(tied.astype(int) + leads, count)
    return np.where(nearest <= reach, chosen, -1)


def _with_breaks(
    rings: np.ndarray, lot: np.ndarray, sides: Many, offset: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Corners of rings, (corners, 2), and the points on them across which one side gives way to the next; and their ring.

    A chamfered corner is cut in its middle, where the ring does not bend.
    """
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    run, count = running(xy, ring), np.bincount(ring, minlength=len(rings))
    starts = shapely.get_point(sides.shapes, 0)
    of, side = sides.beside(lot)
    near = shapely.distance(starts[side], rings[of]) <= offset[lot[of]] + ON_SIDE_M
    of, side = of[near], side[near]
    at = shapely.line_locate_point(rings[of], starts[side])
    of, at = np.unique(np.stack([of, at], axis=1), axis=0).T
    of = of.astype(int)
    # Each of them beside all corners of its ring.
    new, number = numbered(count[of])
    away = run[firsts(count)[of][new] + number] - at[new]
    first = firsts(count[of])
    kept, behind = np.zeros(len(of), dtype=bool), np.zeros(len(of), dtype=int)
    if len(of):
        kept = np.minimum.reduceat(np.abs(away), first) > CRUMB_M
        behind = np.add.reduceat((away < 0.0).astype(int), first)
    of, at, behind = of[kept], at[kept], behind[kept]
    points = shapely.get_coordinates(shapely.line_interpolate_point(rings[of], at))
    place = np.append(np.arange(len(xy)), firsts(count)[of] + behind - 0.5)
    order = np.argsort(place, kind="stable")
    return np.concatenate([xy, points])[order], np.append(ring, of)[order]
