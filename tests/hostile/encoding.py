"""Geometries into files as they are, whether or not they are sound: GeoJSON text and simple features' bytes.

A library for geometries would refuse or mend many of them before they reach a file.
"""

from __future__ import annotations

import functools
import json
import math
import struct
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyogrio
from pyproj import CRS, Transformer

from .patterns import RAW, SWAPPED, WRAPPED, Shape

#: Codes of simple features (OGC 06-103r4, table 7); those of arcs are 8 and 10.
_CODES = {
    "Point": 1, "LineString": 2, "Polygon": 3, "MultiPoint": 4, "MultiLineString": 5, "MultiPolygon": 6,
    "GeometryCollection": 7, "CircularString": 8, "CurvePolygon": 10,
}  # fmt: skip
#: GeoJSON has no arcs.
_ARCS = ("CircularString", "CurvePolygon")
#: Lengths of a degree of latitude, and of one of longitude at the equator; good to a hundredth.
_DEGREE_M = (111_320.0, 110_900.0)


@dataclass(frozen=True)
class Spot:
    """A place on earth and the system in which a file gives it.

    Parameters
    ----------
    crs : str
        The file's system.
    lon, lat : float
        The middle of the site, degrees.
    """

    crs: str
    lon: float
    lat: float


#: Zones, degrees, feet, axes that run south and west, the antimeridian, the poles, the equator.
SPOTS = {
    "zone": Spot("EPSG:32632", 9.0, 50.0),
    "degrees": Spot("EPSG:4326", 9.0, 50.0),
    "web": Spot("EPSG:3857", 9.0, 50.0),
    "feet": Spot("EPSG:2263", -74.0, 40.7),
    "south": Spot("EPSG:2193", 173.5, -41.3),
    "negative": Spot("EPSG:5514", 15.0, 50.0),
    "equator": Spot("EPSG:32632", 9.0, 0.00001),
    "antimeridian": Spot("EPSG:4326", 179.99995, -17.0),
    "zone at the antimeridian": Spot("EPSG:32760", 179.99995, -17.0),
    "pole": Spot("EPSG:4326", 10.0, 89.999),
    "polar plane": Spot("EPSG:32661", 10.0, 89.999),
    "beyond its zone": Spot("EPSG:32632", 16.5, 50.0),
}


@functools.cache
def _middle(name: str) -> tuple[float, float, float, float]:
    """Give the middle of a site in the file's system, and that system's units in a metre."""
    spot = SPOTS[name]
    crs = CRS(spot.crs)
    x, y = Transformer.from_crs("EPSG:4326", crs, always_xy=True).transform(spot.lon, spot.lat)
    if crs.is_geographic:
        across, along = _DEGREE_M
        return x, y, 1.0 / (across * math.cos(math.radians(spot.lat))), 1.0 / along
    unit = crs.axis_info[0].unit_conversion_factor
    return x, y, 1.0 / unit, 1.0 / unit


def place(shape: Shape, name: str) -> Shape:
    """Give a shape in the coordinates of a file at a `Spot`."""
    if shape is None:
        return None
    x0, y0, across, along = _middle(name)
    then = shape.get("then")

    def moved(position: Sequence[float]) -> tuple[float, ...]:
        x, y, *more = position
        if then != RAW:
            x, y = x0 + x * across, y0 + y * along
        if then == SWAPPED:
            x, y = y, x
        if then == WRAPPED and x > 180.0:
            x -= 360.0
        return (x, y, *more)

    return change(shape, moved)


def change(shape: Shape, move: Callable) -> Shape:
    """Give a shape with each of its positions moved."""
    if shape["type"] == "GeometryCollection":
        return shape | {"geometries": [change(part, move) for part in shape["geometries"]]}
    return {"type": shape["type"], "coordinates": _deep(shape["coordinates"], move)}


def _deep(coordinates, change: Callable):
    if len(coordinates) and not hasattr(coordinates[0], "__len__"):
        return change(coordinates)
    return [_deep(part, change) for part in coordinates]


def has_arcs(shape: Shape) -> bool:
    """Tell whether a shape is of a type that GeoJSON lacks."""
    return shape is not None and shape["type"] in _ARCS


def numbers_of(shape: Shape) -> list[float]:
    """Give all coordinates of a shape in one list, without heights."""
    found: list[float] = []
    if shape is not None:
        change(shape, lambda at: found.extend(at[:2]) or at)
    return found


def is_finite(shape: Shape) -> bool:
    """Tell whether all coordinates of a shape are numbers."""
    return bool(np.isfinite(numbers_of(shape)).all())


# ---- GeoJSON -----------------------------------------------------------------------------------


def write_geojson(path: Path, rows: Sequence[tuple[Shape, dict]], crs: str) -> None:
    """Write rows of a shape and its columns as text, numbers that are none among them."""
    features = [
        {"type": "Feature", "properties": columns, "geometry": shape} for shape, columns in rows
    ]
    collection = {"type": "FeatureCollection", "features": features}
    if crs != "EPSG:4326":
        collection["crs"] = {"type": "name", "properties": {"name": crs.replace("EPSG:", "urn:ogc:def:crs:EPSG::")}}  # fmt: skip
    path.write_text(json.dumps(collection), encoding="utf-8")


# ---- simple features ---------------------------------------------------------------------------


def as_bytes(shape: Shape) -> bytes | None:
    """Give a shape as well-known bytes, whether or not it is sound."""
    if shape is None:
        return None
    kind = shape["type"]
    size = _dimensions(shape)
    head = struct.pack("<BI", 1, _CODES[kind] + {2: 0, 3: 1000, 4: 3000}[size])
    if kind == "GeometryCollection":
        return _several(head, shape["geometries"])
    body = shape["coordinates"]
    if kind == "Point":
        return head + _positions([body] if len(body) else [(np.nan,) * size], size)
    if kind in ("LineString", "CircularString"):
        return head + _counted(body, size)
    if kind == "Polygon":
        return head + struct.pack("<I", len(body)) + b"".join(_counted(ring, size) for ring in body)
    single = {"MultiPoint": "Point", "MultiLineString": "LineString", "MultiPolygon": "Polygon", "CurvePolygon": "CircularString"}[kind]  # fmt: skip
    return _several(head, [{"type": single, "coordinates": part} for part in body])


def _several(head: bytes, shapes: Sequence[Shape]) -> bytes:
    return head + struct.pack("<I", len(shapes)) + b"".join(as_bytes(shape) for shape in shapes)


def _counted(points, size: int) -> bytes:
    return struct.pack("<I", len(points)) + _positions(points, size)


def _positions(points, size: int) -> bytes:
    padded = [(*point, *([0.0] * size))[:size] for point in points]
    return b"".join(struct.pack(f"<{size}d", *point) for point in padded)


def _dimensions(shape: Shape) -> int:
    if shape["type"] == "GeometryCollection":
        return 2
    found = [2]
    _deep(shape["coordinates"], lambda position: found.append(len(position)))
    return max(found)


def write_features(path: Path, rows: Sequence[tuple[Shape, dict]], crs: str, driver: str) -> None:
    """Write rows of a shape and its columns into a GeoPackage or Shapefile."""
    names = list(rows[0][1])
    fields = [np.array([columns[name] for _, columns in rows], dtype=object) for name in names]
    shapes = np.array([as_bytes(shape) for shape, _ in rows] + [None], dtype=object)[:-1]
    pyogrio.raw.write(
        path, geometry=shapes, field_data=fields, fields=names, geometry_type="Polygon" if driver == "ESRI Shapefile" else "Unknown",
        crs=crs, driver=driver,
    )  # fmt: skip
