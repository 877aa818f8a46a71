"""Odd sites that are legal: from a strip of three metres to a field, with all that may stand on them.

Coordinates are metres from the middle of the site; the subject lies about it.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import geopandas as gpd
import numpy as np
import rasterio
import shapely
from shapely import affinity

from . import base

#: Systems of the same ground: a zone, degrees, one whose metres are 1.56 of them, equal areas, feet.
SYSTEMS = {
    "zone": base.UTM,
    "degrees": base.DEGREES,
    "web": "EPSG:3857",
    "areas": "EPSG:3035",
    "feet": "+proj=lcc +lat_1=49 +lat_2=51 +lat_0=48 +lon_0=10 +x_0=600000 +datum=WGS84 +units=us-ft",
}
#: Layers beside the lots, the houses, the windows and the private places.
SURROUNDINGS = (
    "onlookers", "utilities", "keep_outs", "roads", "existing_screens", "sun_places", "marks", "planting_line",
)  # fmt: skip
Layers = dict[str, gpd.GeoDataFrame]
SUBJECT = "lot 5"


def _ring(turns: np.ndarray, radii: np.ndarray) -> shapely.Polygon:
    return shapely.Polygon(np.column_stack([radii * np.cos(turns), radii * np.sin(turns)]))


def _rectangle(rng) -> shapely.Polygon:
    wide, deep = rng.uniform(12, 60, size=2)
    return shapely.box(-wide / 2, -deep / 2, wide / 2, deep / 2)


def _tiny(rng) -> shapely.Polygon:
    wide, deep = rng.uniform(3, 9, size=2)
    return shapely.box(-wide / 2, -deep / 2, wide / 2, deep / 2)


def _huge(rng) -> shapely.Polygon:
    wide, deep = rng.uniform(300, 900, size=2)
    return shapely.box(-wide / 2, -deep / 2, wide / 2, deep / 2)


def _needle(rng) -> shapely.Polygon:
    wide = rng.uniform(2, 6)
    return affinity.rotate(shapely.box(-60, -wide / 2, 60, wide / 2), rng.uniform(0, 180))


def _triangle(rng) -> shapely.Polygon:
    return _ring(np.sort(rng.uniform(0, 2, 3)) + np.array([0, 2.1, 4.2]), rng.uniform(10, 40, 3))


def _star(rng) -> shapely.Polygon:
    count = int(rng.integers(4, 9)) * 2
    return _ring(
        np.linspace(0, 2 * np.pi, count, endpoint=False), np.tile(rng.uniform(6, 40, 2), count // 2)
    )


def _round(rng) -> shapely.Polygon:
    return shapely.Point(0, 0).buffer(rng.uniform(8, 30), quad_segs=int(rng.integers(2, 60)))


def _wavy(rng) -> shapely.Polygon:
    turns = np.linspace(0, 2 * np.pi, 300, endpoint=False)
    return _ring(
        turns, 22 + rng.uniform(0.1, 3) * np.sin(int(rng.integers(2, 30)) * turns) + 0.05 * rng.normal(size=300)
    )  # fmt: skip


def _angle(rng) -> shapely.Polygon:
    arm = rng.uniform(3, 14)
    return shapely.union(shapely.box(-20, -20, 20, -20 + arm), shapely.box(-20, -20, -20 + arm, 25))


def _court(rng) -> shapely.Polygon:
    half = rng.uniform(1, 12)
    return shapely.difference(shapely.box(-20, -18, 20, 18), shapely.box(-half, -half, half, half))


def _slit(rng) -> shapely.Polygon:
    at, wide = rng.uniform(-15, 15), 10.0 ** rng.uniform(-2.5, 0.7)
    return shapely.difference(shapely.box(-20, -18, 20, 18), shapely.box(at, -20, at + wide, 12))


OUTLINES = {
    "rectangle": _rectangle, "tiny": _tiny, "huge": _huge, "needle": _needle, "triangle": _triangle, "star": _star,
    "round": _round, "wavy": _wavy, "angle": _angle, "court": _court, "slit": _slit,
}  # fmt: skip


def _frame(shapes, **columns) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(columns, geometry=list(shapes), crs=base.UTM)


def lots(rng, outline: shapely.Polygon) -> gpd.GeoDataFrame:
    """The subject, and neighbours on some of its sides."""
    west, south, east, north = outline.bounds
    wide, deep = east - west, north - south
    around = [
        shapely.box(west, north, east, north + max(deep, 20)),
        shapely.box(east, south, east + max(wide, 20), north),
        shapely.box(west - max(wide, 20), south, west, north),
    ]
    around = [shapely.difference(lot, outline) for lot in around if rng.random() < 0.8]
    return _frame([outline, *around], parcel_id=[SUBJECT, *(f"n{k}" for k in range(len(around)))])


def houses(rng, outline: shapely.Polygon) -> gpd.GeoDataFrame:
    """A house on the subject, if there is room, and some about it."""
    west, south, east, north = outline.bounds
    size = min(east - west, north - south, 40) / 4
    spot = shapely.point_on_surface(outline)
    shapes = [affinity.rotate(shapely.box(spot.x - size, spot.y - size / 2, spot.x + size, spot.y + size / 2), rng.uniform(0, 90))]  # fmt: skip
    for x, y in ((0, north + 12), (east + 12, 0), (west - 28, rng.uniform(-9, 9))):
        wide, deep = rng.uniform(4, 16, size=2)
        shapes.append(affinity.rotate(shapely.box(x, y, x + wide, y + deep), rng.uniform(0, 30)))
    count = len(shapes)
    height, roof = rng.uniform(2.5, 14, size=count).round(2), rng.choice(["flat", "ridge"], size=count)  # fmt: skip
    return _frame(
        shapes,
        building_id=[f"b{k}" for k in range(count)],
        height_m=height,
        ridge_m=np.where(roof == "ridge", height + 2.0, np.nan),
        storeys=rng.integers(1, 6, size=count),
        roof=roof,
        kind=rng.choice(["house", "shed", "garage"], size=count, p=[0.8, 0.1, 0.1]),
    )  # fmt: skip


def windows(rng, count: int, homes: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Windows round a neighbour's house, or none."""
    wall = homes.geometry.iloc[-1].exterior
    return _frame(
        shapely.line_interpolate_point(wall, (np.arange(count) + 0.5) / max(count, 1), normalized=True),
        window_id=[f"w{k}" for k in range(count)],
        sill_m=rng.choice([0.0, 0.9, 1.5, 30.0], size=count, p=[0.2, 0.5, 0.29, 0.01]),
        height_m=rng.choice([0.1, 1.4, 10.0], size=count, p=[0.1, 0.85, 0.05]),
        width_m=rng.choice([0.05, 1.0, 30.0], size=count, p=[0.1, 0.85, 0.05]),
    )  # fmt: skip


def places(rng, outline: shapely.Polygon, homes: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """A terrace, a point and a place in two parts, beside the house."""
    open_ground = shapely.difference(outline, shapely.union_all(homes.geometry))
    spot = shapely.point_on_surface(open_ground)
    shapes = [
        shapely.box(spot.x, spot.y, spot.x + 3, spot.y + 2),
        spot,
        shapely.MultiPolygon([spot.buffer(1.0), affinity.translate(spot, 4, 1).buffer(0.7)]),
    ]
    taken = shapes[: int(rng.integers(1, 4))]
    count = len(taken)
    return _frame(
        taken,
        place_id=[f"p{k}" for k in range(count)],
        deck_m=rng.choice([0.0, 0.4, 3.0, 100.0], size=count, p=[0.7, 0.2, 0.07, 0.03]),
        weight=rng.choice([0.0, 1.0, 1000.0], size=count, p=[0.1, 0.8, 0.1]),
        eye_seated_m=rng.choice([0.0, 1.2, 3.0], size=count, p=[0.05, 0.9, 0.05]),
    )  # fmt: skip


def surroundings(rng, outline: shapely.Polygon) -> Layers:
    """All the other layers that a person may bring."""
    west, south, east, north = outline.bounds
    spot = shapely.point_on_surface(outline)
    line, point, box = shapely.LineString, shapely.Point, shapely.box

    def anywhere(margin=3.0):
        return rng.uniform(west - margin, east + margin), rng.uniform(south - margin, north + margin)  # fmt: skip

    hedge = line([(west + 1, north - 1.2), (spot.x, north - 1.2)])
    rows = [point(west + 2 + 1.5 * k, north - 3) for k in range(5)]
    return {
        "onlookers": _frame(
            [line([(west, north + 4), (east, north + 4)]), point(west - 4, south - 4), box(east + 3, 0, east + 6, 4)],
            kind=["path", "balcony", "terrace"],
            eye_m=rng.choice([0.0, 1.6, 5.0], size=3),
            raised_m=rng.choice([0.0, 2.8, 100.0], size=3, p=[0.8, 0.1, 0.1]),
        ),
        "utilities": _frame(
            [line([anywhere(), anywhere()]), line([anywhere(), anywhere()]), point(*anywhere()), line([anywhere(), anywhere()])],
            kind=["electric", "water", "gas", "telecom"],
            position=["overhead", "buried", "buried", "overhead"],
            diameter_m=[0.0, 0.1, 10.0, 0.0],
            height_m=[rng.uniform(3, 12), None, None, None],
        ),
        "keep_outs": _frame(
            [box(x, y, x + 3, y + 4) for x, y in (anywhere(), anywhere(), anywhere())] + [line([anywhere(), anywhere()]), point(*anywhere())],
            kind=[str(k) for k in rng.choice(["driveway", "gate", "septic_field", "easement", "pond", "path", "tank", "own kind"], size=5)],
        ),
        "roads": _frame(
            [line([(west - 30, south - 6), (east + 30, south - 6)]), line([(east + 5, south - 40), (east + 5, north + 40)])],
            speed_kmh=rng.choice([0.0, 50.0, 200.0], size=2),
            width_m=rng.choice([0.0, 6.0, 9.0], size=2),
        ),
        "existing_screens": _frame(
            [hedge, line([anywhere(), anywhere()]), point(*anywhere()), point(*anywhere()), *rows],
            kind=["hedge", str(rng.choice(["wall", "fence"])), "tree", "tree", *(["plant"] * 5)],
            height_m=[1.8, rng.uniform(0.4, 3), 12.0, 0.5, *rng.uniform(0.5, 3, size=5)],
            width_m=[1.0, 0.2, 8.0, None, *([0.8] * 5)],
            opacity=[1.0, 0.3, 0.8, 0.0, *([1.0] * 5)],
            species=[None, None, None, None, *(["thuja_occidentalis"] * 4), None],
            planted_on=[None, None, None, None, "2020-04-01", None, "1999-12-31", None, None],
        ),
        "sun_places": _frame(
            [box(spot.x - 3, spot.y - 3, spot.x - 1, spot.y - 1), point(*anywhere())],
            kind=["panel", "bed"],
            tilt_deg=rng.choice([0.0, 35.0, 90.0], size=2),
            facing_deg=rng.choice([0.0, 180.0, 359.0], size=2),
            height_m=rng.choice([0.1, 6.0], size=2),
        ),
        "marks": _frame([point(west, south), point(*anywhere())], kind=["monument", "pin"]),
        "planting_line": _frame(
            [line([(west + 1.5, north - 2), (spot.x, north - 2.5), (east - 1.5, north - 2)])],
            line_id=["drawn"],
        ),
    }  # fmt: skip


def write_site(layers: Mapping[str, gpd.GeoDataFrame], folder: Path, system: str) -> dict[str, dict]:  # fmt: skip
    """Write the layers in a system, and give the sections of a plan that read them.

    In a system of feet the heights are still metres, and the plan says so.
    """
    sections = {}
    for name, layer in layers.items():
        moved = layer.set_geometry(layer.translate(base.EAST, base.NORTH), crs=base.UTM)
        moved.to_crs(SYSTEMS[system]).to_file(folder / "site.gpkg", layer=name, driver="GPKG")
        section = {"file": "site.gpkg", "layer": name}
        lengths = [column for column in layer.columns if column.endswith("_m")]
        if system == "feet" and lengths:
            section["units"] = dict.fromkeys(lengths, "m")
        sections[name] = section
    return sections


def write_ground(path: Path, rng, reach: float) -> None:
    """A plane of some slope, waves and a step."""
    size = 2.0 if reach < 200 else 20.0
    count = int(2 * reach / size)
    x, y = np.meshgrid(np.linspace(-reach, reach, count), np.linspace(reach, -reach, count))
    slope = rng.choice([0.0, 0.03, 0.1, 0.5], p=[0.2, 0.4, 0.3, 0.1])
    turn = rng.uniform(0, 2 * np.pi)
    z = rng.choice([-300.0, 0.0, 8000.0]) + slope * (np.cos(turn) * x + np.sin(turn) * y)
    z += rng.choice([0.0, 0.6]) * np.sin(x / 7) * np.cos(y / 9)
    z += rng.choice([0.0, 0.0, 4.0]) * (x > rng.uniform(-10, 10))
    with rasterio.open(
        path, "w", driver="GTiff", width=count, height=count, count=1, dtype="float32", crs=base.UTM,
        transform=rasterio.Affine(size, 0.0, base.EAST - reach, 0.0, -size, base.NORTH + reach), compress="deflate",
    ) as raster:  # fmt: skip
        raster.write(z.astype("float32"), 1)
        raster.units = ("metre",)
