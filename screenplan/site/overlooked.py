"""Which sides of the parcel are looked across, so that a person plants where it helps."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

#: Points of a place's outline to which straight lines are drawn.
_POINTS_PER_PLACE = 12


def count_lines_of_sight(sides, windows, private_places):
    """Count the straight lines in plan from windows to private places that cross each side.

    It is a guide for choosing sides: heights and things in the way are left to the views.

    Parameters
    ----------
    sides, windows, private_places : GeoDataFrame
        By their contracts, in the local frame.

    Returns
    -------
    GeoDataFrame
        The sides, with ``looked_across`` filled: the share of all lines that cross the side.
    """
    goals = [_outline_points(place) for place in private_places.geometry]
    eyes = shapely.get_coordinates(windows.geometry.to_numpy())
    targets = np.concatenate(goals) if goals else np.empty((0, 2))
    facing = windows["facing_deg"].to_numpy(float)
    share = np.zeros(len(sides))
    if len(eyes) and len(targets):
        eye, target = np.repeat(eyes, len(targets), axis=0), np.tile(targets, (len(eyes), 1))
        out = np.radians(np.repeat(facing, len(targets)))
        ahead = ((target - eye) * np.column_stack([np.sin(out), np.cos(out)])).sum(axis=1) > 0
        lines = shapely.linestrings(np.stack([eye[ahead], target[ahead]], axis=1))
        if len(lines):
            tree = shapely.STRtree(lines)
            side, _ = tree.query(sides.geometry.to_numpy(), predicate="intersects")
            share = np.bincount(side, minlength=len(sides)) / len(lines)
    return sides.assign(looked_across=pd.Series(share, index=sides.index, dtype="float64"))


def _outline_points(place) -> np.ndarray:
    if place.geom_type == "Point":
        return shapely.get_coordinates(place)
    at = np.linspace(0, 1, _POINTS_PER_PLACE, endpoint=False)
    return shapely.get_coordinates(
        shapely.line_interpolate_point(shapely.boundary(place), at, normalized=True)
    )
