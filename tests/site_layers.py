"""A small site made for the reading tests: four lots, two houses, a road, in any CRS."""

from __future__ import annotations

import json
import sqlite3
import struct
from pathlib import Path

import geopandas as gpd
import shapely

from screenplan.site.reading import LayerSource

#: Middle of the site in UTM 32 north, metres.
EAST, NORTH = 500_000.0, 5_540_000.0
UTM = "EPSG:32632"


def box(west, south, east, north):
    """A rectangle in metres from the middle of the site."""
    return shapely.box(EAST + west, NORTH + south, EAST + east, NORTH + north)


def parcels() -> gpd.GeoDataFrame:
    """Subject A-2 in the middle, neighbours west, east and far away."""
    return gpd.GeoDataFrame(
        {"PIN": ["A-1", "A-2", "A-3", "B-9"]},
        geometry=[box(-60, -20, -20, 20), box(-20, -20, 20, 20), box(20, -20, 60, 20), box(900, 0, 950, 50)],
        crs=UTM,
    )  # fmt: skip


def buildings() -> gpd.GeoDataFrame:
    """A house on A-1 (6 m), one mostly on A-3 (two storeys), one far away that is wrong."""
    return gpd.GeoDataFrame(
        {"HT": [6.0, None, 9999.0], "FLOORS": [None, 2, None], "USE": ["house", None, "barn"]},
        geometry=[box(-50, -5, -40, 5), box(18, -5, 35, 5), box(910, 10, 920, 20)],
        crs=UTM,
    )


BUILDING_COLUMNS = {"height_m": "HT", "storeys": "FLOORS", "kind": "USE"}


def write(frame: gpd.GeoDataFrame, path: Path, **options) -> Path:
    """Write a layer without an index of the box."""
    frame.to_file(path, **options)
    return path


def source(frame, path: Path, columns=None, **options) -> LayerSource:
    """Write a layer and say where it is."""
    return LayerSource(write(frame, path), columns=columns or {}, **options)


def write_geojson(path: Path, features: list[dict | None], properties=None) -> Path:
    """Write raw GeoJSON geometries, broken ones too, in degrees."""
    rows = properties or [{"parcel_id": str(n)} for n, _ in enumerate(features, start=1)]
    collection = {
        "type": "FeatureCollection",
        "features": [
            {"type": "Feature", "properties": row, "geometry": geometry}
            for row, geometry in zip(rows, features, strict=True)
        ],
    }
    path.write_text(json.dumps(collection), encoding="utf-8")
    return path


def write_circle(path: Path, radius: float) -> Path:
    """Write a parcel bounded by a true circle: a GeoPackage geometry with arcs.

    A CURVEPOLYGON of one CIRCULARSTRING as well-known binary (ISO 13249-3, types 10 and 8), put
    in place of an ordinary polygon.
    """
    frame = gpd.GeoDataFrame({"parcel_id": ["round"]}, geometry=[box(-1, -1, 1, 1)], crs=UTM)
    frame.to_file(path, driver="GPKG", SPATIAL_INDEX="NO")
    turns = [(1, 0), (0, 1), (-1, 0), (0, -1), (1, 0)]
    arc = struct.pack("<BII", 1, 8, 5) + b"".join(
        struct.pack("<dd", EAST + radius * x, NORTH + radius * y) for x, y in turns
    )
    curve = struct.pack("<BII", 1, 10, 1) + arc
    with sqlite3.connect(path) as base:
        (blob,) = base.execute("SELECT geom FROM " + path.stem).fetchone()
        header = b"GP\x00\x01" + blob[4:8]
        base.execute(f"UPDATE {path.stem} SET geom = ?", (header + curve,))
    base.close()
    return path
