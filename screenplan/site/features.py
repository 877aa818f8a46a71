"""Geometries as a reader hands them over, made into shapely's, whatever of them is one."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import shapely
from shapely.geometry import shape

_NO_GEOMETRY = (ValueError, TypeError, IndexError, shapely.errors.ShapelyError)
#: The kind of each part of a geometry of several parts.
PART_OF = {"MultiPoint": "Point", "MultiLineString": "LineString", "MultiPolygon": "Polygon"}


def shape_of(geometry) -> shapely.Geometry | None:
    """Make a shapely geometry of a feature's.

    Parameters
    ----------
    geometry : fiona.Geometry or None
        Anything with a ``__geo_interface__``.

    Returns
    -------
    Geometry or None
        A ring of fewer than three points or a line of one is no geometry: it becomes an empty one in
        its place, and the other rings and parts stay.

    Examples
    --------
    >>> from types import SimpleNamespace
    >>> lot = [[(0, 0), (9, 0), (9, 9)]]
    >>> given = {"type": "MultiPolygon", "coordinates": [lot, [], [[(20, 0)]]]}
    >>> shape_of(SimpleNamespace(__geo_interface__=given)).wkt
    'MULTIPOLYGON (((0 0, 9 0, 9 9, 0 0)), EMPTY, EMPTY)'
    """
    if geometry is None:
        return None
    with np.errstate(invalid="ignore"):  # what is no number is refused later, by row
        return _build(geometry.__geo_interface__)


def without_empty(shape: shapely.Geometry) -> tuple[shapely.Geometry, int, int]:
    """Leave out parts and holes that have no point; GEOS ends the process on them (3.14).

    Parameters
    ----------
    shape : Geometry
        Not empty as a whole.

    Returns
    -------
    shape : Geometry
        The same object if nothing was left out.
    parts, holes : int
        How many were left out.

    Examples
    --------
    >>> lots = shapely.from_wkt("MULTIPOLYGON (((0 0, 9 0, 9 9, 0 0), EMPTY), EMPTY)")
    >>> left, parts, holes = without_empty(lots)
    >>> left.wkt, parts, holes
    ('MULTIPOLYGON (((0 0, 9 0, 9 9, 0 0)))', 1, 1)
    """
    if shape.geom_type == "Polygon":
        outer, *inner = shapely.get_rings(shape)
        left = [ring for ring in inner if not ring.is_empty]
        return (shapely.polygons(outer, left or None) if len(left) < len(inner) else shape), 0, len(inner) - len(left)  # fmt: skip
    if not hasattr(shape, "geoms"):
        return shape, 0, 0
    found = [without_empty(part) for part in shape.geoms if not part.is_empty]
    kept, parts, holes = zip(*found, strict=True)
    parts = sum(parts) + len(shape.geoms) - len(kept)
    return (type(shape)(kept) if parts + sum(holes) else shape), parts, sum(holes)


def find_hollow(geometry: np.ndarray) -> np.ndarray:
    """Positions of the geometries that have a part or a ring without a point."""
    parts, owner = shapely.get_parts(geometry, return_index=True)
    rings, part = shapely.get_rings(parts, return_index=True)
    # What is in a collection is looked at one by one.
    odd = [owner[shapely.is_empty(parts)], owner[part[shapely.is_empty(rings)]], np.flatnonzero(shapely.get_type_id(geometry) == 7)]  # fmt: skip
    return np.unique(np.concatenate(odd)).astype(int)


def without_hollow(layer):
    """Leave parts and holes that have no point out of a layer's geometries; a table is given back as it is.

    Reading does so with what comes from outside, and lists it. This is for layers that are handed to a
    step by themselves; rows without a geometry stay.
    """
    if not isinstance(layer, gpd.GeoDataFrame):
        return layer
    geometry = np.array(layer.geometry.array, dtype=object)
    places = [place for place in find_hollow(geometry) if not geometry[place].is_empty]
    for place in places:
        geometry[place] = without_empty(geometry[place])[0]
    return (
        layer.set_geometry(gpd.GeoSeries(geometry, layer.index, crs=layer.crs)) if places else layer
    )


def _build(given: Mapping) -> shapely.Geometry:
    kind = given["type"]
    try:
        return shape(given)
    except _NO_GEOMETRY:
        if kind == "GeometryCollection":
            return shapely.GeometryCollection([_build(shape) for shape in given["geometries"]])
        if kind in PART_OF:
            parts = [
                _build({"type": PART_OF[kind], "coordinates": part})
                for part in given["coordinates"]
            ]
            return getattr(shapely, f"{kind.lower()}s")(parts)
        if kind == "Polygon" and len(given["coordinates"]):
            return _polygon(*given["coordinates"])
        return shapely.from_wkt(f"{kind.upper()} EMPTY")


def _polygon(shell, *holes) -> shapely.Polygon:
    outer = _ring(shell)
    return shapely.Polygon() if outer.is_empty else shapely.polygons(outer, [_ring(hole) for hole in holes] or None)  # fmt: skip


def _ring(points) -> shapely.LinearRing:
    try:
        return shapely.LinearRing(points)
    except _NO_GEOMETRY:
        return shapely.LinearRing()
