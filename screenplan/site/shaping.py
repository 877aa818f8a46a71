"""Columns of a layer that may be missing, and layers with other rows or geometries."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
from geopandas.array import from_shapely
from pyproj import CRS


def column_or(frame: pd.DataFrame, name: str, default=None) -> np.ndarray:
    """Give a column's values as objects, with a default where it is missing or empty."""
    if name not in frame:
        return np.full(len(frame), default, dtype=object)
    values = frame[name].to_numpy(dtype=object).copy()
    values[pd.isna(values)] = default
    return values


def kept(frame: gpd.GeoDataFrame, which: np.ndarray) -> gpd.GeoDataFrame:
    """Give the rows that a mask keeps; the frame itself if it keeps all, which spares a copy."""
    return frame if which.all() else frame[which]


def with_shapes(frame: gpd.GeoDataFrame, shapes: np.ndarray, crs: CRS | None) -> gpd.GeoDataFrame:
    """Give a frame with other geometries in place of its own, (rows,)."""
    return frame.assign(**{frame.geometry.name: from_shapely(shapes, crs=crs)})
