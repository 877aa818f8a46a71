"""Cells of the ground: parcels of one share a frame, and those of a part of it their ground, whatever else lies in the file."""

from __future__ import annotations

import math

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS, Transformer

from screenplan.ground.errors import refuse
from screenplan.ground.frame import LocalFrame

#: Parcels whose middles lie in one cell of so many degrees share a frame. It reaches 1.6 km from its middle at most,
#: where its scale is 3 in 10⁸ and its north 0.01° off.
CELL_DEG = 0.02
#: Parcels of a map that is on no place of the earth share a frame by squares of so many units.
CELL_UNITS = 2000.0
#: A cell has so many tiles each way, whose lots stand on one grid of heights.
TILES = 2


def cells_of(parcels: gpd.GeoDataFrame, parts: int = 1) -> np.ndarray:
    """Give the cell in which the middle of each parcel lies, (parcels, 2); NaN where it has none.

    Parameters
    ----------
    parcels : GeoDataFrame
        In their own CRS.
    parts : int
        Into so many parts each way cells are cut; these are counted, then.
    """
    middle, (size, to_degrees) = _middles(parcels), _grid(parcels.crs)
    with np.errstate(invalid="ignore"):
        if to_degrees is not None:
            middle = np.column_stack(to_degrees.transform(*middle.T))
        cells = np.floor(middle / (size / parts))
    cells[~np.isfinite(cells).all(axis=1)] = np.nan
    return cells


def frame_of(cell: np.ndarray, parcels: gpd.GeoDataFrame, height_m: float | None) -> LocalFrame:
    """Lay the frame that the parcels of a cell share.

    Raises
    ------
    InputError
        If nobody can say where they lie.
    """
    if not np.isfinite(cell).all():
        raise refuse("No coordinate of it is a finite number", "Draw its outline anew")
    middle = _places((np.asarray(cell, dtype=float) + 0.5)[None], 1, parcels.crs)
    return LocalFrame.around(gpd.GeoSeries(shapely.points(middle), crs=parcels.crs), height_m)


def box_of(tile: np.ndarray, parts: int, crs: CRS, frame: LocalFrame) -> np.ndarray:
    """Give west, south, east and north of a part of a cell in a frame, (4,).

    Parameters
    ----------
    tile : ndarray, (2,)
        As `cells_of` counts parts.
    parts : int
    crs : CRS
        That of the parcels.
    frame : LocalFrame
    """
    corners = np.add(tile, [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    placed = frame.project_in(
        shapely.points(_places(corners, parts, crs)), frame.transformation_from(crs)
    )
    return np.array(shapely.total_bounds(placed))


def _places(cells: np.ndarray, parts: int, crs: CRS) -> np.ndarray:
    """Give places that are counted in cells in the CRS of the parcels, (places, 2)."""
    size, to_degrees = _grid(crs)
    places = cells * (size / parts)
    if to_degrees is not None:
        x, y = places.T
        places = np.column_stack(to_degrees.transform(x, y, direction="INVERSE"))
    return places


def _middles(parcels: gpd.GeoDataFrame) -> np.ndarray:
    bounds = shapely.bounds(np.asarray(parcels.geometry.array, dtype=object)).reshape(-1, 4)
    return (bounds[:, :2] + bounds[:, 2:]) / 2.0


def _grid(crs: CRS) -> tuple[float, Transformer | None]:
    """Size of a cell, and the way from a CRS to its degrees, if it has a place on the earth."""
    geodetic = crs.geodetic_crs
    if geodetic is None or crs.is_engineering:
        return CELL_UNITS, None
    unit = math.degrees(geodetic.axis_info[0].unit_conversion_factor)
    flat = geodetic.to_2d()
    return CELL_DEG / unit, Transformer.from_crs(crs, flat, always_xy=True)
