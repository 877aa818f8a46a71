"""Polygons that are valid in the coordinates in which they are written.

A polygon that is valid in the local frame may cross or touch itself in a file: a change of system
moves each vertex by its last digits, and GeoJSON rounds them to a tenth of a millimetre. Where a
neck is narrower than that, its two edges meet.
"""

from __future__ import annotations

import numpy as np
import shapely

_POLYGON, _MULTIPOLYGON = 3, 6


def valid_polygons(
    geometries: np.ndarray, *, grid: float | None = None, multi: bool = True
) -> np.ndarray:
    """Make polygons valid that are not; all other geometries are handed on as they are.

    Parameters
    ----------
    geometries : ndarray of shapely geometry or None
        In the system of the file.
    grid : float, optional
        Step to which the coordinates are rounded, in their own unit: vertices stay on it. By
        default those that are added keep all their digits.
    multi : bool, default True
        Whether the layer takes polygons of several parts; if not, the largest one is kept.

    Returns
    -------
    ndarray of shapely geometry or None
        A polygon that has no area left in the file's digits becomes None.

    Examples
    --------
    The two halves of an hourglass touch in one point.

    >>> glass = shapely.Polygon([(0, 0), (4, 0), (2, 2), (4, 4), (0, 4), (2, 2)])
    >>> shapely.is_valid_reason(glass)
    'Ring Self-intersection[2 2]'
    >>> (whole,) = valid_polygons(np.array([glass]))
    >>> whole.is_valid, whole.geom_type, whole.area
    (True, 'MultiPolygon', 8.0)
    """
    taken = np.array(geometries, dtype=object)
    polygonal = np.isin(shapely.get_type_id(taken), (_POLYGON, _MULTIPOLYGON))
    for row in np.flatnonzero(polygonal & ~shapely.is_valid(taken)):
        taken[row] = _mended(taken[row], grid, multi)
    return taken


def _mended(shape, grid: float | None, multi: bool):
    whole = shapely.make_valid(shape, method="structure", keep_collapsed=False)
    if grid is not None:
        whole = shapely.set_precision(whole, grid)
    parts = shapely.get_parts(shapely.get_parts(whole))
    parts = [part for part in parts if shapely.get_type_id(part) == _POLYGON and part.area > 0]
    if not parts:
        return None
    if len(parts) == 1 or not multi:
        return max(parts, key=lambda part: part.area)
    return shapely.MultiPolygon(parts)
