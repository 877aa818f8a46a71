"""Make the sample site: an invented lot on a hillside, with the neighbours who look into it.

Nothing here is real. The scene is drawn in metres about the south-west corner of the lot, turned a
little, and set down in the open Atlantic (WGS 84 / UTM zone 25N), where nobody has a garden.

    python sample_data/make_sample_data.py [FOLDER]

writes ``site.gpkg``, ``windows.geojson`` and ``ground.tif`` into the folder; by default that of
this script.
"""

from __future__ import annotations

import sys
from pathlib import Path

import fiona
import geopandas as gpd
import numpy as np
import rasterio
import shapely
from shapely import affinity

#: WGS 84 / UTM zone 25N.
CRS = "EPSG:32625"
#: Where the lot's south-west corner is set down, metres east and north.
CORNER = (432_000.0, 5_011_000.0)
#: How far the scene is turned, degrees anticlockwise: its "north" points to grid 353°.
TURN_DEG = 7.0
#: Height of the ground at the lot's south-west corner, metres.
LOW_M = 118.0
#: Stands in the GeoPackage instead of the day on which it was made.
MADE_ON = "2026-01-01T00:00:00.000Z"
CELL_M = 2.0
#: The terrain reaches this far about the scene's origin: west, south, east, north.
TERRAIN_EDGE_M = (-182.0, -176.0, 218.0, 224.0)

SUBJECT = "LR-7"


def ground(x, y):
    """Give the height of the ground in the scene's own axes, metres.

    It rises to the north by a tenth as far as the lot goes, and by a fortieth on the shelf beyond.
    A gentle swell lies across the lot's north boundary.
    """
    shelf = 47.0
    rise = 0.10 * np.minimum(y, shelf) + 0.025 * np.maximum(y - shelf, 0.0)
    away = ((np.asarray(x) - 14.0) / 18.0) ** 2 + ((np.asarray(y) - 49.0) / 8.0) ** 2
    swell = 1.0 * np.exp(-away)
    return LOW_M + rise + swell


def to_grid(geometry):
    """Set a geometry of the scene down on the map."""
    turned = affinity.rotate(geometry, TURN_DEG, origin=(0, 0))
    return affinity.translate(turned, *CORNER)


def to_scene(east, north):
    """Give the scene's own axes for places on the map."""
    angle = np.radians(TURN_DEG)
    de, dn = np.asarray(east) - CORNER[0], np.asarray(north) - CORNER[1]
    return de * np.cos(angle) + dn * np.sin(angle), -de * np.sin(angle) + dn * np.cos(angle)


def road_front(offset=0.0, start=0.0, end=36.0):
    """Give points on the arc of the road front, ``offset`` metres down from it, west to east."""
    radius = 135.6  # 36 m of chord, 1.2 m of sag
    middle = np.array([18.0, radius - 1.2])
    half = np.arcsin((np.array([start, end]) - middle[0]) / radius)
    angle = np.linspace(half[0], half[1], 13)
    reach = radius + offset
    return np.column_stack([middle[0] + reach * np.sin(angle), middle[1] - reach * np.cos(angle)])


def parcels():
    """Lay out the lot and its neighbours."""
    front, far = road_front(), road_front(11.0, -32.0, 70.0)
    shapes = {
        SUBJECT: [*front, (36, 48), (0, 48)],
        "LR-5": [*road_front(0, -32, 0)[:-1], (0, 0), (0, 48), (-32, 48)],
        "LR-9": [(36, 0), *road_front(0, 36, 70)[1:], (70, 48), (36, 48)],
        "HC-2": [(-32, 48), (0, 48), (24, 48), (24, 86), (-32, 86)],
        "HC-4": [(24, 48), (36, 48), (70, 48), (70, 86), (24, 86)],
        "LR-8": [*far[::-1], (-32, -40), (70, -40)],
    }
    return [(shapely.Polygon(xy), {"parcel_id": key}) for key, xy in shapes.items()]


def buildings():
    """Lay out the houses; one of the neighbours' has a wing, one states its floor."""
    columns = ("building_id", "name", "height_m", "storeys", "kind", "floor_m")
    north_floor = round(float(ground(10.0, 61.0)) + 0.1, 2)
    rows = [
        (shapely.box(10, 12, 22, 22), ("house-7", "No. 7", 5.4, 2, "house", None)),
        (shapely.box(22, 34.3, 26, 37.5), ("shed-7", "shed of No. 7", 2.6, 1, "shed", None)),
        (shapely.box(44, 18, 54, 30), ("house-9", "No. 9", 5.8, 2, "house", None)),
        (shapely.box(44, 30, 49, 39), ("wing-9", "No. 9", 3.2, 1, "house", None)),
        (shapely.box(4, 57, 17, 66), ("house-2", "No. 2", 6.0, 2, "house", north_floor)),
        (shapely.box(-19, 26, -9, 36), ("house-5", "No. 5", None, 2, "house", None)),
        (shapely.box(46, 60, 57, 69), ("house-4", "No. 4", 5.6, 2, "house", None)),
        (shapely.box(8, -28, 22, -19), ("house-8", "No. 8", 4.0, 1, "house", None)),
    ]
    return [(shape, dict(zip(columns, values, strict=True))) for shape, values in rows]


def windows():
    """Lay out the windows of three neighbours; the sill counts from the ground floor."""
    columns = ("window_id", "name", "building_id", "storey", "sill_m", "height_m", "width_m")
    rows = [
        ((8, 57), ("2-up-west", "bedroom, upstairs", "house-2", 1, 3.7, 1.2, 1.2)),
        ((14, 57), ("2-up-east", "study, upstairs", "house-2", 1, 3.7, 1.2, 1.0)),
        ((11, 57), ("2-low", "dining room, over the slope", "house-2", 0, 0.9, 1.3, 1.8)),
        ((44, 21), ("9-low-gate", "kitchen, opposite the gate", "house-9", 0, 0.9, 1.2, 1.2)),
        ((44, 28.5), ("9-low", "living room", "house-9", 0, 0.6, 1.5, 1.8)),
        ((44, 26), ("9-up", "bedroom, upstairs", "house-9", 1, 3.7, 1.2, 1.2)),
        ((44, 36), ("9-wing", "workshop, behind the shed", "wing-9", 0, 0.9, 1.2, 1.2)),
        ((-9, 31), ("5-low", "kitchen, over the low wall", "house-5", 0, 0.9, 1.2, 1.2)),
    ]
    return [(shapely.Point(at), dict(zip(columns, values, strict=True))) for at, values in rows]


def private_places():
    """Lay out where people sit, stand and work."""
    columns = ("place_id", "name", "weight")
    rows = [
        (shapely.box(10, 22.4, 20, 27), ("terrace", "terrace", 3.0)),
        (shapely.Point(18.5, 36), ("bench", "bench by the shed", 1.0)),
        (shapely.box(4, 30, 11, 38), ("kitchen-garden", "kitchen garden", 1.0)),
    ]
    return [(shape, dict(zip(columns, values, strict=True))) for shape, values in rows]


def utilities():
    """Lay out a water main across the north side, and a wire along the road and to the house."""
    columns = ("utility_id", "kind", "position", "diameter_m", "height_m")
    wire = [(-30, -1.5), (2, -3.5), (38, -3.0), (68, -6.0)]
    rows = [
        ([(27, 82), (27, 40), (21.9, 21.9)], ("main-1", "water", "buried", 0.11, None)),
        (wire, ("wire-1", "electric", "overhead", None, 7.5)),
        ([(38, -3.0), (22, 12)], ("wire-2", "electric", "overhead", None, 5.5)),
    ]
    return [
        (shapely.LineString(xy), dict(zip(columns, values, strict=True))) for xy, values in rows
    ]


def keep_outs():
    """Lay out the drive, the gate in the east boundary, and the septic field."""
    drive = [*road_front(0.0, 24.5, 28.0), (28, 11.5), (24.5, 11.5)]
    rows = [
        (shapely.Polygon(drive), ("drive", "driveway", "drive")),
        (shapely.LineString([(36, 21), (36, 22.5)]), ("gate", "gate", "gate to LR-9")),
        (shapely.box(2.5, 3, 8, 9), ("septic", "septic_field", "septic field")),
    ]
    columns = ("keep_out_id", "kind", "name")
    return [(shape, dict(zip(columns, values, strict=True))) for shape, values in rows]


def roads():
    """Lay out the road along the curved front, and the close behind the north neighbours."""
    columns = ("road_id", "name", "speed_kmh", "width_m")
    rows = [
        (road_front(5.5, -50, 90), ("r1", "Larkspur Rise", 30.0, 6.0)),
        ([(-40, 90), (80, 90)], ("r2", "Heron Close", None, 4.5)),
    ]
    return [
        (shapely.LineString(xy), dict(zip(columns, values, strict=True))) for xy, values in rows
    ]


def existing_screens():
    """Lay out an old tree beside the northern row, and a low wall along the west boundary."""
    columns = ("screen_id", "kind", "height_m", "width_m", "opacity", "root_zone_m")
    wall = shapely.LineString([(0.4, 16), (0.4, 46)])
    rows = [
        (shapely.Point(7, 42), ("tree-1", "tree", 6.5, 4.0, 0.7, 2.7)),
        (wall, ("wall-1", "wall", 0.9, 0.4, 1.0, None)),
    ]
    return [(shape, dict(zip(columns, values, strict=True))) for shape, values in rows]


def sun_places():
    """Lay out the bed in the kitchen garden, and panels on the flat roof of the house."""
    columns = ("sun_place_id", "name", "kind", "height_m", "tilt_deg", "facing_deg")
    rows = [
        (shapely.box(4, 30, 11, 38), ("bed", "kitchen garden", "bed", 0.2, 0.0, None)),
        (shapely.box(11, 13, 21, 15), ("panels", "roof panels", "panel", 6.4, 30.0, 173.0)),
    ]
    return [(shape, dict(zip(columns, values, strict=True))) for shape, values in rows]


#: Layers of the GeoPackage: what makes them, and the type of each column.
LAYERS = {
    "parcels": (parcels, {"parcel_id": "str"}),
    "buildings": (
        buildings,
        {
            "building_id": "str",
            "name": "str",
            "height_m": "float",
            "storeys": "int",
            "kind": "str",
            "floor_m": "float",
        },
    ),
    "private_places": (private_places, {"place_id": "str", "name": "str", "weight": "float"}),
    "utilities": (
        utilities,
        {
            "utility_id": "str",
            "kind": "str",
            "position": "str",
            "diameter_m": "float",
            "height_m": "float",
        },
    ),
    "keep_outs": (keep_outs, {"keep_out_id": "str", "kind": "str", "name": "str"}),
    "roads": (
        roads,
        {"road_id": "str", "name": "str", "speed_kmh": "float", "width_m": "float"},
    ),
    "existing_screens": (
        existing_screens,
        {
            "screen_id": "str",
            "kind": "str",
            "height_m": "float",
            "width_m": "float",
            "opacity": "float",
            "root_zone_m": "float",
        },
    ),
    "sun_places": (
        sun_places,
        {
            "sun_place_id": "str",
            "name": "str",
            "kind": "str",
            "height_m": "float",
            "tilt_deg": "float",
            "facing_deg": "float",
        },
    ),
}
WINDOW_COLUMNS = {
    "window_id": "str",
    "name": "str",
    "building_id": "str",
    "storey": "int",
    "sill_m": "float",
    "height_m": "float",
    "width_m": "float",
}


def layer(rows) -> gpd.GeoDataFrame:
    """Set the rows of a layer down on the map."""
    shapes = [shapely.set_precision(to_grid(shape), 0.001) for shape, _ in rows]
    return gpd.GeoDataFrame([values for _, values in rows], geometry=shapes, crs=CRS)


def write_geopackage(path: Path) -> None:
    """Write the layers into a GeoPackage of version 1.3."""
    path.unlink(missing_ok=True)
    with fiona.Env(OGR_CURRENT_DATE=MADE_ON):
        for name, (make, columns) in LAYERS.items():
            frame = layer(make())
            types = set(frame.geom_type)
            schema = {
                "geometry": types.pop() if len(types) == 1 else "Unknown",
                "properties": columns,
            }
            with fiona.open(
                path, "w", driver="GPKG", layer=name, crs=CRS, schema=schema, VERSION="1.3"
            ) as sink:
                sink.writerecords(_records(frame, columns))


def write_windows(path: Path) -> None:
    """Write the windows as GeoJSON, which is in longitude and latitude."""
    path.unlink(missing_ok=True)
    frame = layer(windows()).to_crs("EPSG:4326")
    schema = {"geometry": "Point", "properties": WINDOW_COLUMNS}
    options = {"RFC7946": "YES", "COORDINATE_PRECISION": 9}
    with fiona.open(path, "w", driver="GeoJSON", crs="EPSG:4326", schema=schema, **options) as sink:
        sink.writerecords(_records(frame, WINDOW_COLUMNS))


def _records(frame: gpd.GeoDataFrame, columns: dict[str, str]) -> list[dict]:
    cast = {"str": str, "int": int, "float": float}
    return [
        {
            "geometry": shapely.geometry.mapping(row.geometry),
            "properties": {
                name: None if row[name] is None or row[name] != row[name] else cast[kind](row[name])
                for name, kind in columns.items()
            },
        }
        for _, row in frame.iterrows()
    ]


def write_ground(path: Path) -> None:
    """Write the terrain: heights to the centimetre, cells of 2 m."""
    corners = shapely.get_coordinates(to_grid(shapely.box(*TERRAIN_EDGE_M)))
    west, south = np.floor(corners.min(axis=0) / CELL_M) * CELL_M
    east, north = np.ceil(corners.max(axis=0) / CELL_M) * CELL_M
    columns, rows = round((east - west) / CELL_M), round((north - south) / CELL_M)
    x = west + CELL_M * (np.arange(columns) + 0.5)
    y = north - CELL_M * (np.arange(rows) + 0.5)
    heights = ground(*to_scene(*np.meshgrid(x, y))).round(2).astype("float32")
    path.unlink(missing_ok=True)
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=columns,
        height=rows,
        count=1,
        dtype="float32",
        crs=CRS,
        transform=rasterio.Affine(CELL_M, 0.0, west, 0.0, -CELL_M, north),
        compress="deflate",
        predictor=3,
    ) as sink:
        sink.write(heights, 1)
        sink.units = ("metre",)
        sink.set_band_description(1, "height of the ground, invented")


def main(folder: Path) -> None:
    """Write all files into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    write_geopackage(folder / "site.gpkg")
    write_windows(folder / "windows.geojson")
    write_ground(folder / "ground.tif")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
