"""Which sides of the parcel are looked across, so that a person plants where it helps."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screenplan.plan import DEFAULTS, Options

#: Points of a place's outline to which straight lines are drawn, and at most of an onlooker's way.
_POINTS_PER_PLACE = 12
_POINTS_PER_WAY = 50


def count_sight_lines(
    sides: gpd.GeoDataFrame,
    windows: gpd.GeoDataFrame,
    private_places: gpd.GeoDataFrame,
    onlookers: gpd.GeoDataFrame | None = None,
    *,
    plan: Options = DEFAULTS,
) -> gpd.GeoDataFrame:
    """Count the straight lines in plan to private places that cross each side.

    They run from windows and from onlookers; an onlooker, however long its way, counts as much as
    a window that faces every place. It is a guide for choosing sides: heights and things in the way
    are left to the views.

    Parameters
    ----------
    sides, windows, private_places : GeoDataFrame
        By their contracts, in the local frame.
    onlookers : GeoDataFrame, optional
        By its contract.
    plan : Options
        Of its section views where onlookers are; of a long way fewer positions are taken.

    Returns
    -------
    GeoDataFrame
        The sides, with ``looked_across`` filled: the share of all lines that cross the side.
    """
    goals = [_outline_points(place) for place in private_places.geometry]
    targets = np.concatenate(goals) if goals else np.empty((0, 2))
    eyes = shapely.get_coordinates(windows.geometry.to_numpy())
    out = np.radians(windows["facing_deg"].to_numpy(float))
    lines, weight = _lines(eyes, targets, np.ones(len(eyes)), out)
    if onlookers is not None and len(onlookers) and len(targets):
        places = shapely.union_all(private_places.geometry.to_numpy())
        for shape in onlookers.geometry:
            at = _positions(shape, plan.views.onlooker_spacing)
            at = at[shapely.distance(places, shapely.points(at)) <= plan.views.onlooker_reach]
            more, of_each = _lines(at, targets, np.full(len(at), 1.0 / max(len(at), 1)))
            lines, weight = np.append(lines, more), np.append(weight, of_each)
    share = np.zeros(len(sides))
    if len(lines):
        side, line = shapely.STRtree(lines).query(sides.geometry.to_numpy(), predicate="intersects")
        share = np.bincount(side, weights=weight[line], minlength=len(sides)) / weight.sum()
    return sides.assign(looked_across=pd.Series(share, index=sides.index, dtype="float64"))


def _lines(eyes, targets, weights, facing=None) -> tuple[np.ndarray, np.ndarray]:
    """Draw a line from each eye to each target, those ahead of it if it faces somewhere."""
    eye, target = np.repeat(eyes, len(targets), axis=0), np.tile(targets, (len(eyes), 1))
    weight = np.repeat(weights, len(targets))
    if facing is not None:
        out = np.repeat(facing, len(targets))
        ahead = ((target - eye) * np.column_stack([np.sin(out), np.cos(out)])).sum(axis=1) > 0
        eye, target, weight = eye[ahead], target[ahead], weight[ahead]
    return shapely.linestrings(np.stack([eye, target], axis=1)), weight


def _positions(shape, spacing_m: float) -> np.ndarray:
    """Positions on a point, evenly along a line, or evenly around an area."""
    found = []
    for part in shapely.get_parts(shape):
        if part.geom_type == "Point":
            found.append(shapely.get_coordinates(part))
            continue
        way = part if part.geom_type == "LineString" else part.exterior
        count = int(np.clip(np.ceil(way.length / spacing_m), 1, _POINTS_PER_WAY))
        middles = (np.arange(count) + 0.5) / count
        found.append(
            shapely.get_coordinates(shapely.line_interpolate_point(way, middles, normalized=True))
        )
    return np.concatenate(found) if found else np.empty((0, 2))


def _outline_points(place) -> np.ndarray:
    if place.geom_type == "Point":
        return shapely.get_coordinates(place)
    at = np.linspace(0, 1, _POINTS_PER_PLACE, endpoint=False)
    return shapely.get_coordinates(
        shapely.line_interpolate_point(shapely.boundary(place), at, normalized=True)
    )
