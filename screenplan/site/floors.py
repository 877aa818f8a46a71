"""Storeys and floors of a building."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from screenplan.site.shaping import column_or

#: No more storeys than this are taken from a height.
MOST_STOREYS = 120
#: The ground under a footprint is averaged over points this far apart.
GROUND_STEP_M = 1.0
#: ... but over this many in each direction at most.
MOST_STEPS = 60


def storeys_of(buildings: gpd.GeoDataFrame, storey_height_m: float) -> np.ndarray:
    """Give the number of storeys: as stated, or from the height, or one.

    Returns
    -------
    ndarray of int
        At least 1; a stated height is rounded to the nearest number of storeys.
    """
    stated = column_or(buildings, "storeys", np.nan).astype(float)
    height = column_or(buildings, "height_m", np.nan).astype(float)
    counted = np.where(np.isnan(stated), np.round(height / storey_height_m), stated)
    return np.clip(np.nan_to_num(counted, nan=1.0), 1, MOST_STOREYS).astype(int)


def floors_of(buildings: gpd.GeoDataFrame, terrain=None) -> np.ndarray:
    """Give the height of each building's ground floor: as stated, or the mean ground under it.

    Parameters
    ----------
    buildings : GeoDataFrame
        Contract ``buildings``.
    terrain : Terrain, optional
        Anything with ``height_at(x, y)``; without it the ground is flat at 0.

    Returns
    -------
    ndarray
        Metres above the terrain's own zero.
    """
    floor = column_or(buildings, "floor_m", np.nan).astype(float)
    for row in np.flatnonzero(np.isnan(floor)):
        floor[row] = 0.0 if terrain is None else _mean_ground(buildings.geometry.iloc[row], terrain)
    return floor


def _mean_ground(footprint, terrain) -> float:
    west, south, east, north = footprint.bounds
    steps = [
        int(np.clip(np.ceil(size / GROUND_STEP_M), 2, MOST_STEPS))
        for size in (east - west, north - south)
    ]
    x = west + (np.arange(steps[0]) + 0.5) * (east - west) / steps[0]
    y = south + (np.arange(steps[1]) + 0.5) * (north - south) / steps[1]
    x, y = (grid.ravel() for grid in np.meshgrid(x, y))
    inside = shapely.contains_xy(footprint, x, y)
    if not inside.any():
        x, y = shapely.get_coordinates(footprint.representative_point()).T
        inside = np.array([True])
    return float(np.mean(terrain.height_at(x[inside], y[inside])))
