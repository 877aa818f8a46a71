"""What areas share, and what is left of them, also where GEOS fails on edges that nearly meet.

Where two edges lie a tenth of a millimetre apart for metres, such as a wall that leans and a line square to the road,
GEOS (3.14) raises, or gives a hole beside the ground instead of in it as what is shared, or leaves ground that should have
been taken. In 120,000 areas behind houses that lean so it was wrong of 2 in 1,000: what was shared was then never
valid, while of what was left only the area told (`tests/test_overlay.py`). Both are found out here, and worked out once more.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely

#: Where GEOS fails, corners are put on a grid of this width, on which it does not; metres.
GRID_M = 1e-6
#: Areas may differ by this, and by a share for rounding.
SAME_M2, SAME_SHARE = 1e-3, 1e-9

Operation = Callable[..., np.ndarray]


def shared_ground(ground: np.ndarray, by: np.ndarray) -> np.ndarray:
    """Give what each ground shares with an area.

    Parameters
    ----------
    ground, by : ndarray of Geometry, (n,)
        Areas, or None.

    Returns
    -------
    ndarray of Geometry, (n,)
        Of those on which GEOS fails the corners lie on a grid of `GRID_M`.
    """
    found = _worked_out(shapely.intersection, ground, by)
    return _once_more(shapely.intersection, found, ground, by, ~_sound(found))


def ground_left(ground: np.ndarray, by: np.ndarray) -> np.ndarray:
    """Give what is left of each ground without an area; parameters and result are those of `shared_ground`."""
    found = _worked_out(shapely.difference, ground, by)
    shared = _worked_out(shapely.intersection, ground, by)
    whole = shapely.area(ground)
    apart = np.abs(shapely.area(found) + shapely.area(shared) - whole)
    wrong = ~(_sound(found) & _sound(shared)) | (apart > SAME_M2 + SAME_SHARE * whole)
    return _once_more(shapely.difference, found, ground, by, wrong)


def without(ground: shapely.Geometry, area: shapely.Geometry) -> shapely.Geometry:
    """Give what is left of one ground; see `ground_left`."""
    return ground_left(np.array([ground]), np.array([area]))[0]


def _worked_out(operation: Operation, ground: np.ndarray, by: np.ndarray) -> np.ndarray:
    try:
        return operation(ground, by)
    except shapely.errors.GEOSException:
        if len(ground) == 1:
            return operation(_mended(ground), _mended(by), grid_size=GRID_M)
        halves = np.array_split(np.arange(len(ground)), 2)
        return np.concatenate([_worked_out(operation, ground[half], by[half]) for half in halves])


def _once_more(operation: Operation, found, ground, by, wrong: np.ndarray) -> np.ndarray:
    if wrong.any():
        found[wrong] = operation(_mended(ground[wrong]), _mended(by[wrong]), grid_size=GRID_M)
    return found


def _sound(shapes: np.ndarray) -> np.ndarray:
    return shapely.is_valid(shapes) | shapely.is_missing(shapes)


def areas_of(shapes: np.ndarray) -> np.ndarray:
    """Give geometries without their lines and points; what is None stays so.

    Parameters
    ----------
    shapes : ndarray of Geometry, (n,)

    Returns
    -------
    ndarray of MultiPolygon, (n,)
    """
    found = np.where(shapely.is_missing(shapes), None, shapely.MultiPolygon())
    parts, of = polygons_of(shapes)
    return shapely.multipolygons(parts, indices=of, out=found)


def polygons_of(shapes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the polygons of geometries, also of collections in collections, and the place of the geometry of each."""
    parts, of = shapely.get_parts(shapes, return_index=True)
    parts, part = shapely.get_parts(parts, return_index=True)
    areas = shapely.get_type_id(parts) == shapely.GeometryType.POLYGON
    return parts[areas], of[part[areas]]


def _mended(ground: np.ndarray) -> np.ndarray:
    """Mend rings that cross themselves, and holes beside their shells; of what comes out as lines nothing stays."""
    mended = shapely.make_valid(ground)
    # What keeps all edges may fail on those that nearly meet; what takes holes from shells does not.
    broken = ~_sound(mended)
    mended[broken] = shapely.make_valid(ground[broken], method="structure", keep_collapsed=False)
    # On a grid GEOS cuts nothing that holds lines beside areas.
    return areas_of(mended)
