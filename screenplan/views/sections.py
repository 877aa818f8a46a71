"""What the drawings of a view show: its sight line, where it meets the rows, a cut along it.

Of all sampled rays of a view one stands for it: that whose ends are nearest to the middle of all
ends. A section is the vertical plane through that ray, from the window to just behind the place.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screenplan.contracts import SECTIONS, SIGHT_LINES, SIGHT_OUTLINES, year_column
from screenplan.contracts.model import POINTS, POLYGONS
from screenplan.contracts.tables import layer_of, numbers, table_of_columns
from screenplan.ground.kept import Kept
from screenplan.plan import DEFAULTS, Options
from screenplan.planting.growth import TYPICAL
from screenplan.planting.shapes import meeting_band
from screenplan.planting.species_model import Species
from screenplan.planting.stand import Stand, planned_stand
from screenplan.site.floors import floors_of
from screenplan.site.ragged import numbered
from screenplan.site.steady import EQUAL_M, steady_order
from screenplan.site.terrain import Terrain
from screenplan.views.crossing import PlanLines, cross_each
from screenplan.views.obstacles import (
    TREE_SHAPE,
    TREE_STEM_SHARE,
    top_heights,
    width_of,
)
from screenplan.views.sight import sight_of

#: A section goes on this far behind the head that is looked at.
BEHIND_M = 1.5
#: Distance between the points of a section, and near a row.
STEP_M, FINE_STEP_M = 0.5, 0.05
#: Crowns of rows are cut finely within this distance of their stems.
NEAR_M = 0.1
#: Thickness of a wall or fence that is drawn as a line without one (common practice, no source).
WALL_WIDTH_M = 0.2
#: Sections are cut for so many views at most, those that stay open longest first.
MOST_SECTIONS = 40
#: Decimals of a distance along a section.
STEP_DECIMALS = 2
#: Decimals of a height and a station in the tables: a tenth of a millimetre.
DECIMALS = 4
#: A crown that ends as near before a section, as a share of its radius, may be cut by it but for rounding.
AT_EDGE_SHARE = 1e-9
#: Rays whose ends are as near to the middle, but for this, are equally near.
SAME_RAY_M = 0.001


def cut_sections(
    layers: Mapping[str, Any],
    *,
    plan: Options = DEFAULTS,
    terrain: Terrain | None = None,
    species_table: Mapping[str, Species] | None = None,
    kept: Kept | None = None,
) -> tuple[gpd.GeoDataFrame, pd.DataFrame, pd.DataFrame]:
    """Lay the sight lines of the views that exist, and cut sections along them.

    Parameters
    ----------
    layers : mapping
        Windows, private places, planting lines, plants and views, and onlookers, buildings and
        existing screens if there are any: by their contracts, in local-frame metres.
    plan : Options
        Of its sections growth, whose years are those in which crowns are cut, at typical growth,
        and views.
    terrain : Terrain, optional
        Ground heights; by default level ground at height 0.
    species_table : mapping, optional
        Species by key; by default the shipped table.
    kept : Kept, optional
        What the run has made: the sight.

    Returns
    -------
    sight_lines : GeoDataFrame
        One ray for each view that exists.
    sight_outlines : DataFrame
        For each view and planting line, the convex outline of all its rays' crossings.
    sections : DataFrame
        For the views that stay open longest, heights along the sight line.
    """
    sight = sight_of(layers, plan.views, terrain, kept)
    views, planting_lines, ground = layers["views"], layers["planting_lines"], sight.ground
    years = sorted(set(plan.growth.show_years))
    wanted = views.loc[views["status"] != "no view"]
    ranked = wanted.sort_values(
        ["year_closed", "open_now"], ascending=[False, False], na_position="first"
    )["view_id"].head(MOST_SECTIONS)
    wanted, cut = set(wanted["view_id"]), set(ranked)
    stand = planned_stand(layers["plants"], plan, species_table, years)
    standing = _standing(layers.get("buildings"), layers.get("existing_screens"), ground)
    names = planting_lines["line_id"].tolist()
    rows = PlanLines.of([shapely.get_coordinates(line) for line in planting_lines.geometry])
    lines, outlines, sections = [], [], []
    for look in sight.looks():
        if look.view_id not in wanted:
            continue
        origin, target = look.rays()
        if not len(origin):
            continue
        ends = np.hstack([origin, target])
        # Rays on either side of the middle are as near as each other: the last digits of the
        # coordinates are not what tells them apart.
        apart = np.sqrt(((ends - ends.mean(axis=0)) ** 2).sum(axis=1))
        near = np.flatnonzero(apart <= apart.min() + SAME_RAY_M)
        middle = near[steady_order(*((end, EQUAL_M) for end in ends[near].T))[0]]
        eye, head = origin[middle], target[middle]
        outlines += [
            (look.view_id, names[line], corners)
            for line, corners in _outlines(origin, target, rows, ground)
        ]
        meets = next(_crossings(eye[None], head[None], rows), None)
        row = {
            "view_id": look.view_id,
            "window_id": look.observer_id,
            "place_id": look.place_id,
            "eye_z_m": _round(eye[2]),
            "head_z_m": _round(head[2]),
            "length_m": _round(np.hypot(*(head - eye)[:2])),
            "geometry": shapely.LineString([eye[:2], head[:2]]),
        }
        if look.opening is not None:
            row |= {
                "sill_z_m": _round(look.opening.sill_z),
                "top_z_m": _round(look.opening.head_z),
            }
        if meets is not None:
            line, station, xy, z = meets
            above = z[0] - ground.height_at(*xy.T)[0]
            row |= {
                "line_id": names[line],
                "station_m": _round(station[0]),
                "above_m": _round(above),
            }
        lines.append(row)
        if look.view_id in cut:
            sections.append(_section(look.view_id, eye, head, ground, standing, stand))
    columns = {
        name: np.concatenate([np.zeros(0), *(section[name] for section in sections)])
        for name in SECTIONS.names(years)
    }
    return (
        layer_of(SIGHT_LINES, lines, [row["geometry"] for row in lines], planting_lines.crs),
        _outlines_table(outlines),
        table_of_columns(SECTIONS, columns, years).round(DECIMALS),
    )


def _round(value) -> float:
    return round(float(value), DECIMALS)


def _crossings(origin, target, lines: PlanLines):
    """Crossings of rays with each planting line that they cross: its number, stations, places and heights."""
    line, ray, station, t = cross_each(origin, target, lines)
    at = origin[ray] + t[:, None] * (target[ray] - origin[ray])
    for number in np.unique(line):
        mine = line == number
        yield number, station[mine], at[mine, :2], at[mine, 2]


def _outlines(origin, target, lines: PlanLines, ground):
    """Convex outlines of the crossings of rays with each planting line: its number, and (corners, 2)."""
    for line, station, xy, z in _crossings(origin, target, lines):
        above = z - ground.height_at(*xy.T)
        hull = shapely.convex_hull(shapely.multipoints(np.column_stack([station, above])))
        yield line, shapely.get_coordinates(hull).round(DECIMALS)


def _outlines_table(outlines: list[tuple]) -> pd.DataFrame:
    _, corner = numbered([len(corners) for _, _, corners in outlines])
    xy = np.concatenate([np.zeros((0, 2)), *(corners for _, _, corners in outlines)])
    return table_of_columns(
        SIGHT_OUTLINES,
        {
            "view_id": [view for view, _, corners in outlines for _ in corners],
            "line_id": [line for _, line, corners in outlines for _ in corners],
            "corner": corner,
            "station_m": xy[:, 0],
            "above_m": xy[:, 1],
        },
    )


def _reach(stand: Stand, points) -> np.ndarray:
    """Distance of points to each stem, by year; in a box what counts as such along its row.

    A point is inside a box whose half length along the row is above it: across the row it is
    stretched by as much as the box is narrower.
    """
    apart = points[:, None, :] - stand.xy[None]
    away = np.broadcast_to(
        np.hypot(*apart.transpose(2, 0, 1)), (len(stand.years), *apart.shape[:2])
    )
    if not stand.box.any():
        return away
    along = np.abs(apart[..., 0] * stand.way[:, 0] + apart[..., 1] * stand.way[:, 1])
    across = np.abs(apart[..., 1] * stand.way[:, 0] - apart[..., 0] * stand.way[:, 1])
    radius, narrow = stand.radius[:, TYPICAL].T, stand.across[:, TYPICAL].T
    stretch = radius / np.where(narrow > 0.0, narrow, np.inf)
    boxed = np.maximum(along, across * stretch[:, None, :])
    return np.where(stand.box, boxed, away)


def _standing(buildings, screens, ground) -> list[tuple]:
    """Give what stands already: its shape in plan, and what gives its lowest and highest point."""
    found = []
    if buildings is not None and len(buildings):
        tops = floors_of(buildings, ground) + np.nan_to_num(top_heights(buildings))
        found += [
            (shape, None, top, 0.0)
            for shape, top in zip(buildings.geometry, tops, strict=True)
            if shape is not None and not shape.is_empty
        ]
    if screens is None or not len(screens):
        return found
    heights, widths = numbers(screens, "height_m", 0.0), numbers(screens, "width_m", np.nan)
    for kind, shape, height, width in zip(
        screens["kind"], screens.geometry, heights, widths, strict=True
    ):
        if kind == "plant" or shape is None or shape.is_empty:
            continue
        if kind == "tree" and shape.geom_type in POINTS:
            spread = width_of(kind, height, width, is_point=True)
            found.append((shape.buffer(spread / 2.0), shape, height, spread))
        elif shape.geom_type in POLYGONS:
            found.append((shape, None, None, height))
        else:
            is_point = shape.geom_type in POINTS
            thick = width_of(kind, height, width, is_point=is_point) or WALL_WIDTH_M
            cap = "round" if is_point else "flat"  # a point has no ends
            found.append((shape.buffer(thick / 2.0, cap_style=cap), None, None, height))
    return found


def _distances(eye, head, xy, radius) -> np.ndarray:
    """Distances along a section, closer together where a crown is cut."""
    way = head[:2] - eye[:2]
    length = float(np.hypot(*way))
    unit = way / length
    last = length + BEHIND_M
    at = (xy - eye[:2]) @ unit
    aside = np.abs((xy - eye[:2]) @ np.array([-unit[1], unit[0]]))
    cut = (aside < radius) & (at > -radius) & (at < last + radius)
    pieces = [np.arange(0.0, last, STEP_M), np.array([length, last])]
    for middle, half in zip(at[cut], np.sqrt(radius[cut] ** 2 - aside[cut] ** 2), strict=True):
        pieces.append(np.arange(middle - half - NEAR_M, middle + half + NEAR_M, FINE_STEP_M))
    return np.unique(np.round(np.clip(np.concatenate(pieces), 0.0, last), STEP_DECIMALS))


def _section(view_id, eye, head, ground, standing, stand: Stand) -> dict[str, np.ndarray]:
    farthest = stand.farthest[:, TYPICAL].max(axis=1, initial=0.0)
    distance = _distances(eye, head, stand.xy, farthest)
    way = head - eye
    length = float(np.hypot(*way[:2]))
    points = eye[:2] + distance[:, None] * way[:2] / length
    level = np.asarray(ground.height_at(*points.T), float)
    low, high = _stands(points, level, standing)
    values = {
        "view_id": np.full(len(distance), view_id, dtype=object),
        "distance_m": distance,
        "ground_m": level,
        "sight_m": np.where(
            distance <= length + 10.0**-STEP_DECIMALS, eye[2] + way[2] * distance / length, np.nan
        ),
        "stands_from_m": low,
        "stands_to_m": high,
    }
    reach = _reach(stand, points)
    # Crowns that end before the section are not cut.
    ends = stand.radius[:, TYPICAL].T * (1.0 + AT_EDGE_SHARE)
    near = (reach.min(axis=1) <= ends).any(axis=0)
    lows, highs = {}, {}
    shapes = [(shape, mask & near) for shape, mask in stand.alike(TYPICAL) if (mask & near).any()]
    for k, year in enumerate(stand.years):
        lows[year], highs[year] = np.full(len(distance), np.nan), np.full(len(distance), np.nan)
        foot = stand.ground_m
        for shape, mask in shapes:
            # A crown is cut at z where its radius there is at least the distance to its stem: the
            # band in which two such plants at twice that distance would touch.
            below, above = meeting_band(
                shape, stand.height[mask, TYPICAL, k], 2.0 * stand.radius[mask, TYPICAL, k],
                2.0 * reach[k][:, mask], stand.clear[mask, TYPICAL, k],
            )  # fmt: skip
            none = above <= below
            above = np.where(none, -np.inf, above + foot[mask]).max(axis=1)
            below = np.where(none, np.inf, below + foot[mask]).min(axis=1)
            seen = np.isfinite(above)
            highs[year][seen] = np.fmax(highs[year][seen], above[seen])
            lows[year][seen] = np.fmin(lows[year][seen], below[seen])
    values |= {year_column("crown_from", year): low for year, low in lows.items()}
    values |= {year_column("crown_to", year): high for year, high in highs.items()}
    return values


def _stands(points, level, standing):
    low, high = np.full(len(points), np.nan), np.full(len(points), np.nan)
    for shape, stem, top, size in standing:
        inside = shapely.intersects_xy(shape, points[:, 0], points[:, 1])
        if not inside.any():
            continue
        if stem is not None:  # a tree on a clear stem
            away = shapely.distance(shapely.points(points[inside]), stem)
            below, above = meeting_band(TREE_SHAPE, top, size, 2.0 * away, TREE_STEM_SHARE * top)
            base = np.asarray(level[inside])
            below, above = base + below, base + above
        elif top is None:  # a wall, fence or hedge follows the ground
            below, above = level[inside], level[inside] + size
        else:
            below, above = level[inside], np.full(inside.sum(), top)
        high[inside] = np.fmax(high[inside], above)
        low[inside] = np.fmin(low[inside], below)
    return low, high
