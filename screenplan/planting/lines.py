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
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely import LineString
from shapely.geometry.polygon import orient
from shapely.ops import substring

from screenplan.contracts import PLANTING_LINES
from screenplan.contracts.tables import layer_of
from screenplan.ground.errors import InputError, refuse
from screenplan.plan import DEFAULTS, Options
from screenplan.plan.planting import Rows
from screenplan.planting.clearing import ARC_EXCESS_M, keep_clear
from screenplan.planting.existing import row_through, stands_as_row
from screenplan.planting.mixes import planned_spacing
from screenplan.planting.patterns import EQUILATERAL
from screenplan.planting.spans import CLEARANCE_M, SAME_M, plantable_stretches_each
from screenplan.planting.zones import open_ground, subject_of
from screenplan.site.ownership import outline_known

#: A point of a parallel line belongs to a side if it is the offset away from it, within this.
ON_SIDE_M = 0.05
#: Sine of the least turn that makes a corner of a parallel line, about 10°.
CONVEX = 0.17
#: Without a choice, sides across which this share of the lines of sight run are planted.
LOOKED_SHARE = 0.1
#: Pieces of a line shorter than this are rounding.
CRUMB_M = 0.002
#: Parcels of which the ground inside an offset is kept.
KEPT_INSIDES = 8


@dataclass(frozen=True)
class _Drawn:
    side: str
    row: int
    part: int
    line: LineString
    offset_m: float


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
    along, rows, asked_m = plan.rows.along, plan.rows.rows, plan.rows.offset
    row_distance_m = plan.rows.row_distance
    if row_distance_m is None:
        row_distance_m = EQUILATERAL * planned_spacing(plan) if rows > 1 else 0.0
    known = outline_known(parcels)
    subject = subject_of(parcels)[0] if known else None
    keep_whole = False
    if planting_line is None and not along and stands_as_row(existing_screens):
        planting_line, keep_whole = row_through(existing_screens), True
    if planting_line is not None and len(planting_line):
        bound, drawn = "", _along_drawn(planting_line, subject, rows, row_distance_m)
    else:
        chosen = choose_sides(sides, along)
        least, bound = _bound(no_plant_zones)
        first = least + ARC_EXCESS_M if asked_m is None else asked_m - ARC_EXCESS_M
        if asked_m is not None and asked_m > least + CLEARANCE_M + SAME_M:
            bound = ""
        drawn = []
        for row in range(1, rows + 1):
            offset = first + (row - 1) * row_distance_m
            drawn.extend(_along_sides(subject, sides, chosen, offset, row, least + ARC_EXCESS_M))
        if not drawn:
            raise refuse(
                f"the parcel is too narrow for a row {{{first:.2f} m}} from its boundary",
                "Choose a narrower species, have the boundary surveyed and lower its accuracy, "
                f"or give a smaller offset; the offset comes from {bound or 'the plan'}",
                key=Rows.key("offset"),
                kind="room",
            )
    if known:
        zone = shapely.union_all(plantable_zone.geometry.to_numpy())
    else:
        zone = shapely.difference(
            open_ground(), shapely.union_all(no_plant_zones.geometry.to_numpy())
        )
    found = _trim(drawn, zone, bound, keep_whole)
    if not found:
        raise _nowhere(drawn, no_plant_zones)
    if rows == 2 and not any(row["row"] == 2 for row in found):
        raise refuse(
            "there is no room for a second row",
            "Plant one row, or give a smaller row distance",
            key=Rows.key("rows"),
            kind="room",
        )
    return layer_of(PLANTING_LINES, found, [row["geometry"] for row in found], parcels.crs)


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


def _bound(zones: gpd.GeoDataFrame) -> tuple[float, str]:
    """Greatest distance that a boundary rule asks for, and the rules that ask for it."""
    boundary = zones["feature"].to_numpy(object) == "boundary"
    if not boundary.any():
        return 0.0, ""
    distance = zones["distance_m"].to_numpy(float)
    least = float(distance[boundary].max())
    asking = zones["rule"].to_numpy(object)[boundary & (distance > least - CLEARANCE_M)]
    return least, ", ".join(dict.fromkeys(asking))


def _along_sides(
    subject: shapely.Geometry,
    sides: gpd.GeoDataFrame,
    chosen: list[str],
    offset: float,
    row: int,
    least: float,
) -> list[_Drawn]:
    inner, goes_on = _inside(subject, offset), offset > least + SAME_M
    reachable = _inside(subject, least) if goes_on else inner
    names = [str(name) for name in sides["side_id"]]
    pieces: dict[str, list[LineString]] = {name: [] for name in chosen}
    for part in shapely.get_parts(inner):
        if part.geom_type != "Polygon" or part.length < CRUMB_M:
            continue
        cut = _cut_ring(orient(part), sides, offset)
        for number, (side, line) in enumerate(cut):
            if side < 0 or names[side] not in pieces or line.length < CRUMB_M:
                continue
            if goes_on and len(cut) > 1:
                before, after = cut[number - 1], cut[(number + 1) % len(cut)]
                alone = [near[0] < 0 or names[near[0]] not in pieces for near in (before, after)]
                line = _run_on(line, before[1], after[1], alone, reachable)
            pieces[names[side]].append(line)
    drawn: list = []
    shapes = sides.geometry.to_numpy()
    for name in chosen:
        side = shapes[names.index(name)]
        ordered = sorted(
            pieces[name],
            key=lambda line: shapely.line_locate_point(
                side, line.interpolate(0.5, normalized=True)
            ),
        )
        drawn.extend(
            _Drawn(name, row, number, line, offset + ARC_EXCESS_M)
            for number, line in enumerate(ordered, 1)
        )
    return drawn


@lru_cache(maxsize=KEPT_INSIDES)
def _inside(subject: shapely.Geometry, offset: float) -> shapely.Geometry:
    """Give the ground of a parcel that is no nearer to its boundary; it is asked for once more where a side has no row."""
    return shapely.difference(subject, keep_clear(subject.boundary, offset))


def _run_on(
    line: LineString,
    before: LineString,
    after: LineString,
    alone: list[bool],
    reachable: shapely.Geometry,
) -> LineString:
    """Lengthen a line past a convex corner where no row turns off, as far as plants may stand.

    The mitre belongs to two rows of one offset. Where the side round the corner has none, the line
    goes straight on up to that side's own least offset.
    """
    xy = shapely.get_coordinates(line)
    far = math.hypot(*np.diff(np.reshape(reachable.bounds, (2, 2)), axis=0)[0])
    if alone[1] and _turn(xy[-2:], shapely.get_coordinates(after)[:2]) > CONVEX:
        xy = np.vstack([xy, _ahead(xy[-2], xy[-1], far, reachable)])
    if alone[0] and _turn(shapely.get_coordinates(before)[-2:], xy[:2]) > CONVEX:
        xy = np.vstack([_ahead(xy[1], xy[0], far, reachable), xy])
    return shapely.simplify(LineString(xy), SAME_M)


def _turn(first: np.ndarray, second: np.ndarray) -> float:
    """Sine of the angle by which one edge turns left from another."""
    (ax, ay), (bx, by) = first[1] - first[0], second[1] - second[0]
    length = math.hypot(ax, ay) * math.hypot(bx, by)
    return (ax * by - ay * bx) / length if length > 0 else 0.0


def _ahead(
    start: np.ndarray, end: np.ndarray, far: float, reachable: shapely.Geometry
) -> np.ndarray:
    """Last point of the straight continuation of an edge that lies on some ground."""
    direction = (end - start) / math.hypot(*(end - start))
    ray = LineString([end, end + far * direction])
    for part in shapely.get_parts(shapely.intersection(ray, reachable)):
        if part.geom_type == "LineString" and part.distance(shapely.Point(end)) < SAME_M:
            return end + part.length * direction
    return end


def _cut_ring(
    polygon: shapely.Polygon, sides: gpd.GeoDataFrame, offset: float
) -> list[tuple[int, LineString]]:
    """Cut a parallel ring into the lines of the sides: each edge goes to the nearest side.

    Stretches that belong to no side (round a hole) carry -1.
    """
    ring = shapely.simplify(polygon.exterior, SAME_M)
    xy = _with_breaks(ring, sides, offset)
    middles = shapely.points((xy[:-1] + xy[1:]) / 2.0)
    shapes = sides.geometry.to_numpy()
    distances = shapely.distance(middles[:, None], shapes[None, :])
    nearest = distances.min(axis=1, keepdims=True)
    tied = distances <= nearest + SAME_M
    first = tied.argmax(axis=1)
    for edge in np.flatnonzero(tied.sum(axis=1) > 1):
        first[edge] = _before(np.flatnonzero(tied[edge]), len(shapes))
    label = np.where(nearest[:, 0] <= offset + ON_SIDE_M, first, -1)
    # Begin where the side changes, so that no side's line is cut in two at the ring's start.
    changes = np.flatnonzero(label != np.roll(label, 1))
    if not changes.size:
        return [(int(label[0]), LineString(xy))]
    first = changes[0]
    label = np.roll(label, -first)
    corners = np.roll(xy[:-1], -first, axis=0)
    corners = np.vstack([corners, corners[:1]])
    starts = np.flatnonzero(label != np.roll(label, 1))
    ends = np.append(starts[1:], label.size)
    return [
        (int(label[a]), LineString(corners[a : b + 1])) for a, b in zip(starts, ends, strict=True)
    ]


def _with_breaks(ring, sides: gpd.GeoDataFrame, offset: float) -> np.ndarray:
    """Corners of a ring, and the points on it across which one side gives way to the next.

    A chamfered corner is cut in its middle, where the ring does not bend.
    """
    starts = shapely.points([side.coords[0][:2] for side in sides.geometry])
    near = shapely.distance(starts, ring) <= offset + ON_SIDE_M
    xy = shapely.get_coordinates(ring)
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    at = shapely.line_locate_point(ring, starts[near])
    new = [station for station in np.unique(at) if np.abs(run - station).min() > CRUMB_M]
    if not new:
        return xy
    where = np.searchsorted(run, new)
    return np.insert(
        xy, where, shapely.get_coordinates(shapely.line_interpolate_point(ring, new)), axis=0
    )


def _before(tied: np.ndarray, count: int) -> int:
    """Of sides that are equally near, the one that comes first, anticlockwise."""
    for index in tied:
        if (index - 1) % count not in tied:
            return int(index)
    return int(tied[0])


def _along_drawn(
    planting_line: gpd.GeoDataFrame,
    subject: shapely.Geometry | None,
    rows: int,
    row_distance: float,
) -> list[_Drawn]:
    drawn = []
    given = "line_id" in planting_line.columns
    for number, geometry in enumerate(planting_line.geometry, 1):
        if geometry is None or geometry.is_empty:
            continue
        name = planting_line["line_id"].iloc[number - 1] if given else None
        name = str(number if pd.isna(name) else name)
        merged = shapely.line_merge(shapely.force_2d(geometry))
        for part, line in enumerate(shapely.get_parts(merged), 1):
            drawn.append(_Drawn(name, 1, part, line, math.nan))
            if rows == 2:
                drawn.append(_Drawn(name, 2, part, _inward(line, subject, row_distance), math.nan))
    if not drawn:
        raise refuse("the planting line is empty", "Draw it anew", layer="planting_line")
    return sorted(drawn, key=lambda piece: piece.row)


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


def _trim(drawn: list[_Drawn], zone: shapely.Geometry, bound: str, keep_whole: bool) -> list[dict]:
    parts_of: dict[tuple[str, int], int] = {}
    for piece in drawn:
        parts_of[piece.side, piece.row] = max(parts_of.get((piece.side, piece.row), 0), piece.part)
    found = []
    lines = np.array([piece.line for piece in drawn], dtype=object)
    of, *spans = plantable_stretches_each(lines, np.full(len(lines), zone, dtype=object))
    for number, piece in enumerate(drawn):
        stretches = np.stack(spans, axis=1)[of == number].tolist()
        line = piece.line
        if not keep_whole:
            if not stretches:
                continue
            a, b = stretches[0][0], stretches[-1][1]
            if b - a < CRUMB_M:
                continue
            line = substring(line, a, b)
        part = f"-part{piece.part}" if parts_of[piece.side, piece.row] > 1 else ""
        found.append(
            {
                "line_id": f"{piece.side}-row{piece.row}{part}",
                "side_id": piece.side,
                "row": piece.row,
                "offset_m": piece.offset_m,
                "length_m": line.length,
                "plantable_m": sum(b - a for a, b in stretches),
                "bound_by": (bound or None) if piece.row == 1 else None,
                "geometry": line,
            }
        )
    return found


def _nowhere(drawn: list[_Drawn], zones: gpd.GeoDataFrame) -> InputError:
    lines = shapely.union_all([piece.line for piece in drawn])
    on = shapely.length(shapely.intersection(zones.geometry.to_numpy(), lines))
    total = max(lines.length, SAME_M)
    shares: dict[str, float] = {}
    for rule, feature, length in zip(zones["rule"], zones["feature"], on, strict=True):
        if length > CRUMB_M:
            name = f"{rule} ({feature})"
            shares[name] = min(1.0, shares.get(name, 0.0) + length / total)
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
