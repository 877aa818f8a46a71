"""Planting lines: parallel to the chosen sides, or as drawn, with one zero peg each."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

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
from screenplan.planting.existing import row_through, stands_as_row
from screenplan.planting.parallel import Parallel, lay_parallel, lines_along, row_distance
from screenplan.planting.trimming import CRUMB_M, Drawn, trim
from screenplan.planting.zones import open_ground, subject_of
from screenplan.site.lots import Lots, Many
from screenplan.site.ownership import outline_known

#: Without a choice, sides across which this share of the lines of sight run are planted.
LOOKED_SHARE = 0.1


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
        drawn = _along_drawn(planting_line, subject, plan.rows.rows, row_distance(plan))
        found, errors = trim(drawn, ground, zones, plan, keep_whole)
    else:
        names = sides["side_id"].astype(str).to_numpy(dtype=object)
        chosen = np.isin(names, choose_sides(sides, along))
        outlines = np.array([subject], dtype=object)
        parallel = lay_parallel(outlines, Many.one(sides), zones, plan)
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
    parallel = lay_parallel(lots.outlines, sides, on[1], plan)
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
    return list(map(str, sides.layer["side_id"].to_numpy(object)))


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


def _along_sides(
    parallel: Parallel,
    group: np.ndarray,
    lot_of: np.ndarray,
    on: tuple[np.ndarray, Many],
    plan: Options,
) -> tuple[dict[str, Sequence], dict[int, InputError]]:
    """Draw lines along some sides, and trim them.

    Parameters
    ----------
    parallel : Parallel
    group : ndarray of int, (sides,)
        The group of each side; -1 for one that is not planted.
    lot_of : ndarray of int, (groups,)
        The lot of each group.
    on : (ndarray of Geometry, Many)
        Of the lots the ground on which plants may stand, and the no-plant zones.
    plan : Options

    Returns
    -------
    The lines, by column, and by group why it has none; see `trim`.
    """
    names = np.array([*_names(parallel.sides), None], dtype=object)[:-1]
    rows = [
        lines_along(parallel, cut, offset, group, number)
        for number, (cut, offset) in enumerate(
            zip(parallel.rows, parallel.offset_m, strict=True), 1
        )
    ]
    drawn = Drawn(*map(np.concatenate, zip(*(vars(row).values() for row in rows), strict=True)))
    drawn = drawn.only(np.argsort(drawn.group, kind="stable"))
    drawn = Drawn(**vars(drawn) | {"side": names[drawn.side]})
    ground, zones = on
    bound = [parallel.bound[lot] for lot in lot_of.tolist()]
    within = zones if len(lot_of) == zones.lots else _of_lots(zones, lot_of)
    found, errors = trim(drawn, ground[lot_of], within, plan, bound=bound)
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


def _along_drawn(
    planting_line: gpd.GeoDataFrame,
    subject: shapely.Geometry | None,
    rows: int,
    row_distance: float,
) -> Drawn:
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
    return Drawn(
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
