"""A small sound site in files, to be damaged: six lots, three houses, eight windows, a slope."""

from __future__ import annotations

import zipfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import rasterio
import shapely

#: Middle of the site in UTM 32 north, metres.
EAST, NORTH = 500_000.0, 5_540_000.0
UTM, DEGREES = "EPSG:32632", "EPSG:4326"
SUBJECT = "lot 1"
#: How many rows a sound file holds.
LOTS, WINDOWS = 6, 8

TRACK = """<?xml version="1.0" encoding="UTF-8"?>
<gpx version="1.1" creator="by hand" xmlns="http://www.topografix.com/GPX/1/1"><trk><name>boundary</name><trkseg>
{points}
</trkseg></trk></gpx>
"""


def box(west: float, south: float, east: float, north: float) -> shapely.Polygon:
    """A rectangle in metres from the middle of the site."""
    return shapely.box(EAST + west, NORTH + south, EAST + east, NORTH + north)


def lots() -> gpd.GeoDataFrame:
    """Three lots by two; the subject is the second."""
    shapes = [box(-60 + 40 * k, -20 - 40 * r, -20 + 40 * k, 20 - 40 * r) for r in (0, 1) for k in range(3)]  # fmt: skip
    names = [f"lot {n}" for n in range(LOTS)]
    return gpd.GeoDataFrame(
        {"parcel_id": names, "owner": ["Größe & Söhne"] * LOTS}, geometry=shapes, crs=UTM
    )


def houses() -> gpd.GeoDataFrame:
    """Three houses."""
    shapes = [box(-50 + 40 * k, -5, -38 + 40 * k, 5) for k in range(3)]
    return gpd.GeoDataFrame({"height_m": [6.0, 6.5, 7.0]}, geometry=shapes, crs=UTM)


def windows() -> gpd.GeoDataFrame:
    """Eight windows in the walls of the eastern and western house."""
    at = [(-38, -4 + 2.5 * k) for k in range(4)] + [(30, -4 + 2.5 * k) for k in range(4)]
    return gpd.GeoDataFrame(
        {"window_id": [f"w{n}" for n in range(WINDOWS)], "sill_m": 1.2, "height_m": 1.4, "width_m": 1.0},
        geometry=[shapely.Point(EAST + x, NORTH + y) for x, y in at],
        crs=UTM,
    )  # fmt: skip


def write_package(path: Path) -> None:
    """All the layers in a GeoPackage."""
    for name, layer in (("lots", lots()), ("houses", houses()), ("windows", windows())):
        layer.to_file(path, layer=name, driver="GPKG")


def write_geojson(path: Path) -> None:
    """The windows in degrees."""
    windows().to_crs(DEGREES).to_file(path, driver="GeoJSON")


def write_zip(path: Path) -> None:
    """The lots as a zipped shapefile."""
    folder = path.parent / "unzipped"
    folder.mkdir()
    lots().to_file(folder / "lots.shp")
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        for part in sorted(folder.iterdir()):
            packed.write(part, part.name)
            part.unlink()
    folder.rmdir()


def write_ground(path: Path) -> None:
    """A slope of 1 in 10 in cells of 10 m, compressed."""
    cells = (400.0 + np.add.outer(np.zeros(64), np.arange(64))).astype("float32")
    with rasterio.open(
        path, "w", driver="GTiff", width=64, height=64, count=1, dtype="float32", crs=UTM,
        transform=rasterio.Affine(10.0, 0.0, EAST - 320.0, 0.0, -10.0, NORTH + 320.0), compress="deflate", tiled=True,
        blockxsize=16, blockysize=16,
    ) as raster:  # fmt: skip
        raster.write(cells, 1)
        raster.units = ("metre",)


def write_plan(path: Path) -> None:
    """The plan of the sample site, with its comments."""
    import screenplan

    path.write_bytes(Path(screenplan.sample_plan()).read_bytes())


def write_rules(path: Path) -> None:
    """Two rules of a user's own."""
    path.write_text(
        '[boundary_stem]\ndistance = "1 m"\n\n[own_well]\nfeature = "pond"\ndistance = "3 m"\n'
        'reason = "the well is drunk from"\n\n[gate]\nuse = false\n',
        encoding="utf-8",
    )


def write_corners(path: Path) -> None:
    """Corners of a lot in metres."""
    path.write_text("x,y\n0,0\n40.2,0\n40.2,31.5\n12.75,36\n0,31.5\n", encoding="utf-8")


def write_courses(path: Path) -> None:
    """A survey's courses round a lot of 40 m by 30 m."""
    path.write_text(
        'bearing,distance\n"N 90°00\'00"" E",40\nN 0°00\' E,30\nS 90 W,40\nS 0 E,30\n', encoding="utf-8"
    )  # fmt: skip


def write_track(path: Path) -> None:
    """A lot of 40 m by 40 m, walked round."""
    ring = gpd.GeoSeries([lots().geometry[1].exterior], crs=UTM).to_crs(DEGREES).iloc[0]
    points = "\n".join(f'<trkpt lat="{lat:.7f}" lon="{lon:.7f}"/>' for lon, lat in ring.coords)
    path.write_text(TRACK.format(points=points), encoding="utf-8")
