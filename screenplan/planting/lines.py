"""Planting lines: parallel to the chosen sides, or as drawn, with one zero peg each.

A parallel line is the set of points at the offset from the boundary, inside the parcel: it bends
with the side, ends at a convex corner in the mitre where the neighbouring side's line begins, and
runs round a corner that points inwards on an arc (which goes to the side before it). Where the
neighbouring side has no row, a line further in than the least offset goes straight on past the
mitre, as far as plants may stand. It runs anticlockwise, as the sides do.

A line starts at the first point where a plant may stand (the zero peg) and ends at the last. In
between it goes on through gaps, so that the tape stays on one zero.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely import LineString

from screenplan.contracts import PLANTING_LINES
from screenplan.contracts.tables import layer_of_columns
from screenplan.ground.errors import InputError, refuse
from screenplan.plan import DEFAULTS, Options
from screenplan.plan.planting import Rows
from screenplan.planting.clearing import ARC_EXCESS_M, inside_each
from screenplan.planting.existing import row_through, stands_as_row
from screenplan.planting.mixes import planned_spacing
from screenplan.planting.patterns import EQUILATERAL
from screenplan.planting.spans import (
    CLEARANCE_M,
    SAME_M,
    cut_out_each,
    plantable_stretches_each,
    running,
)
from screenplan.planting.zones import open_ground, subject_of
from screenplan.site.lots import Lots, Many, united
from screenplan.site.ownership import outline_known
from screenplan.site.ragged import first_most, firsts, numbered, turned

#: A point of a parallel line belongs to a side if it is the offset away from it, within this.
ON_SIDE_M = 0.05
#: Sine of the least turn that makes a corner of a parallel line, about 10°.
CONVEX = 0.17
#: Without a choice, sides across which this share of the lines of sight run are planted.
LOOKED_SHARE = 0.1
#: Pieces of a line shorter than this are rounding.
CRUMB_M = 0.002


@dataclass(frozen=True, eq=False)
class _Drawn:
    """Lines before they are trimmed, (lines,) each: their group, side, row, part of the side, geometry and offset.

    What is drawn for one group knows nothing of the lines of another one. A group is a lot with its chosen sides.
    """

    group: np.ndarray
    side: np.ndarray
    row: np.ndarray
    part: np.ndarray
    line: np.ndarray
    offset_m: np.ndarray

    def only(self, some: np.ndarray) -> _Drawn:
        """Give some of the lines, in their order."""
        return _Drawn(*(values[some] for values in vars(self).values()))


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
class _Parallel:
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


def draw_lines(
    parcels: gpd.GeoDataFrame,
    sides: gpd.GeoDataFrame,
    plantable_zone: gpd.GeoDataFrame,
    no_plant_zones: gpd.GeoDataFrame,
    planting_line: gpd.GeoDataFrame | None = None,
    existing_screens: gpd.GeoDataFrame | None = None,
    *,
    plan: Options = DEFAULTS,
) -> gpd.GeoDataFrame:
    """Draw the lines of the rows.

    Parameters
    ----------
    parcels, sides, plantable_zone, no_plant_zones : GeoDataFrame
        In the local frame, metres.
    planting_line : GeoDataFrame, optional
        Lines that the person drew; taken instead of the sides.
    existing_screens : GeoDataFrame, optional
        With plants that stand in a row (two or more of the kind ``plant``) and neither a drawn
        line nor a chosen side, the line runs through them, whole, so that they are judged as they
        stand.
    plan : Options, optional
        Of it [rows]. Without an offset the first row keeps the greatest distance that a boundary rule
        asks for, plus 1 mm; the side ``"all"`` is all of them; without any, those across which at
        least a tenth of the lines of sight to private places run (``looked_across``), or the one
        across which most do. A second row stands further in; by default equal-sided triangles are
        made when it is staggered.

    Returns
    -------
    GeoDataFrame
        One line per side, row and part, in the order of the sides; row 1 first.

    Raises
    ------
    InputError
        If a side is not known, or no plant may stand on any line; the
        rules that forbid it are named.
    """
    along = plan.rows.along
    known = outline_known(parcels)
    subject = subject_of(parcels)[0] if known else None
    zones, keep_whole = Many.one(no_plant_zones), False
    if planting_line is None and not along and stands_as_row(existing_screens):
        planting_line, keep_whole = row_through(existing_screens), True
    if known:
        ground = Many.one(plantable_zone).united
    else:
        ground = shapely.difference([open_ground()], zones.united)
    if planting_line is not None and len(planting_line):
        drawn = _along_drawn(planting_line, subject, plan.rows.rows, _row_distance(plan))
        found, errors = _trim(drawn, ground, zones, plan, keep_whole)
    else:
        names = sides["side_id"].astype(str).to_numpy(dtype=object)
        chosen = np.isin(names, choose_sides(sides, along))
        outlines = np.array([subject], dtype=object)
        parallel = _parallel(outlines, Many.one(sides), zones, plan)
        found, errors = _along_sides(
            parallel, np.where(chosen, 0, -1), np.zeros(1, dtype=int), (ground, zones), plan
        )
    for error in errors.values():
        raise error
    return _layer(found, parcels.crs)


def draw_lines_each(
    lots: Lots, layers: Mapping[str, Many], *, plan: Options = DEFAULTS, chosen: np.ndarray
) -> tuple[Many, list[str]]:
    """Draw the lines of the rows of several lots along their sides; see `draw_lines`.

    Parameters
    ----------
    lots : Lots
    layers : mapping of str to Many
        ``sides``, ``plantable_zone`` and ``no_plant_zones``.
    plan : Options, optional
        Of it [rows] without the sides.
    chosen : ndarray of bool, (sides,)
        Which sides are planted.

    Returns
    -------
    lines : Many
        None of a lot of which `draw_lines` would refuse the sides that are chosen.
    causes : list of str
        By side, why it has no line: what that refusal says, or where other sides of the lot have one, what is said of
        the side alone. Empty for sides with a line, for those that are not chosen, and for one that would have a
        line if it alone were chosen.
    """
    sides = layers["sides"]
    on = layers["plantable_zone"].united, layers["no_plant_zones"]
    parallel = _parallel(lots.outlines, sides, on[1], plan)
    group = np.where(chosen, sides.lot, -1)
    found, errors = _along_sides(parallel, group, np.arange(len(lots)), on, plan)
    names = _names(sides)
    there = set(zip(found["group"], found["side_id"], strict=True))
    causes, alone = [""] * len(names), []
    for side, (lot, name, wanted) in enumerate(
        zip(sides.lot.tolist(), names, chosen.tolist(), strict=True)
    ):
        if wanted and lot in errors:
            causes[side] = str(errors[lot].problems[0].what)
        elif wanted and (lot, name) not in there:
            alone.append(side)
    if alone:
        group = np.full(len(names), -1)
        group[alone] = np.arange(len(alone))
        _, errors = _along_sides(parallel, group, sides.lot[alone], on, plan)
        for number, error in errors.items():
            causes[alone[number]] = str(error.problems[0].what)
    layer = _layer(found, lots.around["parcels"].crs)
    return Many(layer, np.asarray(found["group"]), len(lots)), causes


def _names(sides: Many) -> list[str]:
    return [str(name) for name in sides.layer["side_id"]]


def _row_distance(plan: Options) -> float:
    if plan.rows.row_distance is not None:
        return plan.rows.row_distance
    return EQUILATERAL * planned_spacing(plan) if plan.rows.rows > 1 else 0.0


def _layer(found: Mapping[str, Sequence], crs) -> gpd.GeoDataFrame:
    columns = {name: values for name, values in found.items() if name not in ("group", "geometry")}
    return layer_of_columns(PLANTING_LINES, columns, found["geometry"], crs)


def choose_sides(sides: gpd.GeoDataFrame, along: Sequence[str]) -> list[str]:
    """Give the names of the sides that are planted: see `draw_lines`.

    Raises
    ------
    InputError
        If a side is not known, or none is named and nobody looks across one.
    """
    known = [str(name) for name in sides["side_id"]]
    names = list(along)
    why = ""
    if not names and "looked_across" in sides.columns:
        why = ", and nobody looks onto a private place across one"
        share = sides["looked_across"].fillna(0.0).to_numpy(float)
        if share.max(initial=0.0) > 0:
            chosen = share >= min(LOOKED_SHARE, share.max())
            return [name for name, take in zip(known, chosen, strict=True) if take]
    if not names:
        raise refuse(
            f"no side is chosen to plant along{why}",
            f"Choose among {', '.join(known)}, or draw a planting line",
            key=Rows.key("along"),
            kind="onlookers" if why else "",
        )
    if names == ["all"]:
        return known
    unknown = [name for name in names if name not in known]
    if unknown:
        raise refuse(
            f"the parcel has no side '{unknown[0]}'",
            f"Choose among {', '.join(known)}",
            key=Rows.key("along"),
        )
    return [name for name in known if name in names]


def _parallel(outlines: np.ndarray, sides: Many, zones: Many, plan: Options) -> _Parallel:
    """Draw rings parallel to the outlines, (lots,), and cut them to their sides."""
    asked_m = plan.rows.offset
    least, bound = _bound(zones)
    first = least + ARC_EXCESS_M
    if asked_m is not None:
        first = np.full(len(least), asked_m - ARC_EXCESS_M)
        further = asked_m > least + CLEARANCE_M + SAME_M
        bound = ["" if own else names for own, names in zip(further, bound, strict=True)]
    offsets = tuple(first + row * _row_distance(plan) for row in range(plan.rows.rows))
    insides = [inside_each(outlines, offset) for offset in offsets]
    inside = insides[0] if asked_m is None else inside_each(outlines, least + ARC_EXCESS_M)
    return _Parallel(
        sides,
        least,
        first,
        bound,
        tuple(_cut(ground, sides, at) for ground, at in zip(insides, offsets, strict=True)),
        offsets,
        inside,
    )


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


def _along_sides(
    parallel: _Parallel,
    group: np.ndarray,
    lot_of: np.ndarray,
    on: tuple[np.ndarray, Many],
    plan: Options,
) -> tuple[dict[str, Sequence], dict[int, InputError]]:
    """Draw lines along some sides, and trim them.

    Parameters
    ----------
    parallel : _Parallel
    group : ndarray of int, (sides,)
        The group of each side; -1 for one that is not planted.
    lot_of : ndarray of int, (groups,)
        The lot of each group.
    on : (ndarray of Geometry, Many)
        Of the lots the ground on which plants may stand, and the no-plant zones.
    plan : Options

    Returns
    -------
    The lines, by column, and by group why it has none; see `_trim`.
    """
    names = np.array([*_names(parallel.sides), None], dtype=object)[:-1]
    rows = [
        _lines_along(parallel, cut, offset, group, number)
        for number, (cut, offset) in enumerate(
            zip(parallel.rows, parallel.offset_m, strict=True), 1
        )
    ]
    drawn = _Drawn(*map(np.concatenate, zip(*(vars(row).values() for row in rows), strict=True)))
    drawn = drawn.only(np.argsort(drawn.group, kind="stable"))
    drawn = _Drawn(**vars(drawn) | {"side": names[drawn.side]})
    ground, zones = on
    bound = [parallel.bound[lot] for lot in lot_of.tolist()]
    within = zones if len(lot_of) == zones.lots else _of_lots(zones, lot_of)
    found, errors = _trim(drawn, ground[lot_of], within, plan, bound=bound)
    there = np.bincount(drawn.group, minlength=len(lot_of)) > 0
    for number in np.flatnonzero(~there).tolist():
        errors[number] = refuse(
            f"the parcel is too narrow for a row {{{parallel.first_m[lot_of[number]]:.2f} m}} from its boundary",
            "Choose a narrower species, have the boundary surveyed and lower its accuracy, "
            f"or give a smaller offset; the offset comes from {bound[number] or 'the plan'}",
            key=Rows.key("offset"),
            kind="room",
        )
    return found, errors


def _of_lots(zones: Many, lots: np.ndarray) -> Many:
    """Give the rows of some lots, each as often as it is named, as those of lots of their own."""
    group, row = zones.beside(lots)
    layer = zones.layer.iloc[row]
    layer.index = pd.RangeIndex(len(layer))
    return Many(layer, group, len(lots))


def _lines_along(
    parallel: _Parallel, cut: _Cut, offset: np.ndarray, group: np.ndarray, row: int
) -> _Drawn:
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
    return _Drawn(
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
    away = shapely.distance(shapely.points(middles)[point], sides.shapes[side])
    first = firsts(count)
    nearest = np.minimum.reduceat(away, first) if len(first) else np.zeros(0)
    tied = away <= nearest[point] + SAME_M
    leads = tied & ~tied[turned(count, np.full(len(count), -1))]
    chosen = sides.first[lot] + first_most(tied.astype(int) + leads, count)
    return np.where(nearest <= offset[lot] + ON_SIDE_M, chosen, -1)


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


def _along_drawn(
    planting_line: gpd.GeoDataFrame,
    subject: shapely.Geometry | None,
    rows: int,
    row_distance: float,
) -> _Drawn:
    drawn: list[tuple] = []
    given = "line_id" in planting_line.columns
    for number, geometry in enumerate(planting_line.geometry, 1):
        if geometry is None or geometry.is_empty:
            continue
        name = planting_line["line_id"].iloc[number - 1] if given else None
        name = str(number if pd.isna(name) else name)
        merged = shapely.line_merge(shapely.force_2d(geometry))
        for part, line in enumerate(shapely.get_parts(merged), 1):
            drawn.append((0, name, 1, part, line, math.nan))
            if rows == 2:
                beside = _inward(line, subject, row_distance)
                drawn.append((0, name, 2, part, beside, math.nan))
    if not drawn:
        raise refuse("the planting line is empty", "Draw it anew", layer="planting_line")
    drawn.sort(key=lambda piece: piece[2])
    group, side, row, pieces, line, offset = zip(*drawn, strict=True)
    texts, shapes = (
        np.array([*side, None], dtype=object)[:-1],
        np.array([*line, None], dtype=object),
    )
    return _Drawn(
        np.array(group), texts, np.array(row), np.array(pieces), shapes[:-1], np.array(offset)
    )


def _inward(line: LineString, subject: shapely.Geometry | None, distance: float) -> LineString:
    """Give the parallel of a drawn line on the side that lies further from the boundary.

    Where that is not known (None) it is the left of the line.
    """
    best, best_depth = None, -math.inf
    for sign in (1.0, -1.0) if subject is not None else (1.0,):
        beside = shapely.offset_curve(line, sign * distance, join_style="mitre")
        parts = shapely.get_parts(beside)
        parts = parts[shapely.length(parts) > CRUMB_M]
        if not parts.size:
            continue
        longest = parts[np.argmax(shapely.length(parts))]
        if subject is None:
            best = longest
            continue
        points = longest.interpolate(np.linspace(0.0, 1.0, 21), normalized=True)
        depth = shapely.distance(points, subject.boundary)
        depth = np.where(shapely.intersects(points, subject), depth, -depth).mean()
        if depth > best_depth:
            best, best_depth = longest, depth
    if best is None:
        raise refuse(
            "the planting line bends too sharply for a second row",
            "Plant one row, or give a smaller row distance",
            key=Rows.key("rows"),
        )
    along = shapely.line_locate_point(line, shapely.points([best.coords[0], best.coords[-1]]))
    return best if along[0] <= along[1] else shapely.reverse(best)


def _trim(
    drawn: _Drawn,
    ground: np.ndarray,
    zones: Many,
    plan: Options,
    keep_whole: bool = False,
    bound: Sequence[str] | None = None,
) -> tuple[dict[str, Sequence], dict[int, InputError]]:
    """Trim lines to where plants may stand.

    Parameters
    ----------
    drawn : _Drawn
    ground : ndarray of Geometry, (groups,)
        Where plants may stand.
    zones : Many
        The no-plant zones of each group.
    plan : Options
        Of it the number of rows.
    keep_whole : bool
        Lines stay as they are.
    bound : sequence of str, optional
        By group, the rules that set the offset of the first row.

    Returns
    -------
    found : dict of str to sequence
        By column of the layer, ``group`` and ``geometry``.
    errors : dict of int to InputError
        By group, why it has no line; of these nothing is found.
    """
    of, low, high = plantable_stretches_each(drawn.line, ground[drawn.group])
    count = np.bincount(of, minlength=len(drawn.line))
    first, some = firsts(count), np.flatnonzero(count)
    ends = np.zeros((len(count), 2))
    ends[some] = np.stack([low[first[some]], high[first[some] + count[some] - 1]], axis=1)
    kept = np.arange(len(count)) if keep_whole else np.flatnonzero((count > 0) & (ends[:, 1] - ends[:, 0] >= CRUMB_M))  # fmt: skip
    errors = _refused(drawn, kept, zones, plan)
    kept = kept[~np.isin(drawn.group[kept], list(errors))]
    plantable = [0.0] * len(count)
    for line, length in zip(of.tolist(), (high - low).tolist(), strict=True):
        plantable[line] += length
    lines = drawn.line[kept]
    if not keep_whole:
        lines = cut_out_each(lines, *ends[kept].T)
    keys = list(zip(drawn.group.tolist(), drawn.side, drawn.row.tolist(), strict=True))
    several = {key for key, part in zip(keys, drawn.part.tolist(), strict=True) if part > 1}
    names, bounds = [], []
    for number in kept.tolist():
        group, side, row = keys[number]
        part = f"-part{drawn.part[number]}" if keys[number] in several else ""
        names.append(f"{side}-row{row}{part}")
        bounds.append((bound[group] or None) if bound is not None and row == 1 else None)
    found = {
        "group": drawn.group[kept],
        "line_id": names,
        "side_id": drawn.side[kept].tolist(),
        "row": drawn.row[kept],
        "offset_m": drawn.offset_m[kept],
        "length_m": shapely.length(lines),
        "plantable_m": np.array(plantable)[kept],
        "bound_by": bounds,
        "geometry": lines,
    }
    return found, errors


def _refused(drawn: _Drawn, kept: np.ndarray, zones: Many, plan: Options) -> dict[int, InputError]:
    """Give the refusals of groups of which a line was drawn, and none is kept, or none of the second row."""
    groups = zones.lots
    has, left, second = (
        np.bincount(some, minlength=groups) > 0
        for some in (
            drawn.group,
            drawn.group[kept],
            drawn.group[kept[drawn.row[kept] == 2]],
        )
    )
    errors = _nowhere(drawn, np.flatnonzero(has & ~left), zones)
    if plan.rows.rows == 2:
        for group in np.flatnonzero(left & ~second).tolist():
            errors[group] = refuse(
                "there is no room for a second row",
                "Plant one row, or give a smaller row distance",
                key=Rows.key("rows"),
                kind="room",
            )
    return errors


def _nowhere(drawn: _Drawn, groups: np.ndarray, zones: Many) -> dict[int, InputError]:
    """Say of groups why no plant may stand on any of their lines."""
    if not len(groups):
        return {}
    mine = np.isin(drawn.group, groups)
    lines = united(drawn.line[mine], drawn.group[mine], zones.lots)
    group, zone = zones.beside(groups)
    of = groups[group]
    on = shapely.length(shapely.intersection(zones.shapes[zone], lines[of]))
    total = np.maximum(shapely.length(lines), SAME_M)
    rules, features = (zones.layer[name].to_numpy(object) for name in ("rule", "feature"))
    shares: dict[int, dict[str, float]] = {number: {} for number in groups.tolist()}
    for number, row, length in zip(of.tolist(), zone.tolist(), on.tolist(), strict=True):
        if length > CRUMB_M:
            told, name = shares[number], f"{rules[row]} ({features[row]})"
            told[name] = min(1.0, told.get(name, 0.0) + length / float(total[number]))
    return {number: _forbidden(told) for number, told in shares.items()}


def _forbidden(shares: Mapping[str, float]) -> InputError:
    """Refuse a line by the shares of its length that rules forbid."""
    names = ", ".join(
        f"{name} on {share:.0%}" for name, share in sorted(shares.items(), key=lambda x: -x[1])
    )
    if not names:
        return refuse(
            "no plant may stand on the line: it lies outside the subject parcel",
            "Draw the line inside the parcel",
            layer="planting_line",
            kind="room",
        )
    smaller = "draw the private place smaller, " if "(private_place)" in names else ""
    return refuse(
        f"no plant may stand anywhere on the line; forbidden by {names} of its length",
        f"Give a greater offset, another side, a smaller species, {smaller}or change the rule after "
        "asking the local authority",
        key=Rows.key("along"),
        kind="room",
    )
