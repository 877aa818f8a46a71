"""One made-up site, written in several systems, orders of rows and ways of drawing its rings."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely

#: The middle of the site, degrees of WGS 84, and a transverse Mercator in metres about it.
LONGITUDE, LATITUDE = 9.13, 50.02
HOME = f"+proj=tmerc +lon_0={LONGITUDE} +lat_0={LATITUDE} +datum=WGS84 +units=m"
#: Systems in which the site is written: a zone that is turned against the meridian, feet, degrees,
#: and another one that stretches lengths by a half.
SYSTEMS = {
    "zone": "EPSG:32633",
    "feet": "+proj=lcc +lat_1=49 +lat_2=51 +lat_0=48 +lon_0=10 +x_0=600000 +datum=WGS84 +units=us-ft",
    "degrees": "EPSG:4326",
    "web": "EPSG:3857",
}


def layers() -> dict[str, gpd.GeoDataFrame]:
    """Give a lot among neighbours whose houses are rectangles: all their corners are equally far out."""
    box = shapely.box
    lots = [box(x, y, x + 40, y + 36) for y in (-54, -18, 18) for x in (-60, -20, 20)]
    homes = [
        box(-8, -6, 6, 4),
        box(-7, 30, 7, 40),
        shapely.Polygon([(-48, 26), (-36, 26), (-36, 32), (-42, 32), (-42, 40), (-48, 40)]),
        box(34, -5, 44, 5),
        box(-45, -4, -37, 4),
        shapely.difference(box(26, 26, 46, 44), box(32, 31, 40, 39)),
        shapely.affinity.rotate(box(-8, -46, 8, -36), 45),
    ]
    sheds = [box(-18, -16, -15, -13), box(14, 20, 16, 22)]
    frames = {
        "parcels": {"geometry": lots, "parcel_id": [f"lot {n}" for n in range(1, 10)]},
        "buildings": {
            "geometry": homes + sheds,
            "storeys": [1, 2, 1, 2, 1, 2, 2, 1, 1],
            "kind": ["house"] * len(homes) + ["shed"] * len(sheds),
        },
        "utilities": {
            "geometry": [shapely.LineString([(-60, 14), (60, 15)]), shapely.LineString([(-12, -18), (-10, 0)])],
            "position": ["overhead", "buried"],
            "kind": ["electric", "water"],
            "height_m": [8.0, None],
        },
        "keep_outs": {"geometry": [box(8, 10, 12, 13), box(-18, 6, -14, 9)], "kind": ["tank", "leach field"]},
        "existing_screens": {
            "geometry": [shapely.Point(16, -12), shapely.Point(-16, 16)],
            "kind": ["tree", "tree"],
            "height_m": [6.0, 7.0],
            "width_m": [3.0, 4.0],
        },
        "onlookers": {"geometry": [shapely.LineString([(-15, 23), (15, 23)]), shapely.Point(25, 0)], "eye_m": [1.6, 1.7]},
    }  # fmt: skip
    return {name: gpd.GeoDataFrame(columns, crs=HOME) for name, columns in frames.items()}


def rows_shuffled(layers, seed: int):
    """Give the rows of each layer in another order."""
    chance = np.random.default_rng(seed)
    return {
        name: frame.iloc[chance.permutation(len(frame))].reset_index(drop=True)
        for name, frame in layers.items()
    }


def rings_redrawn(layers, seed: int):
    """Begin each ring at another corner, and run it the other way or not."""
    chance = np.random.default_rng(seed)

    def ring(line):
        xy = shapely.get_coordinates(line)[:-1]
        xy = np.roll(xy, int(chance.integers(len(xy))), axis=0)[:: chance.choice([-1, 1])]
        return np.vstack([xy, xy[:1]])

    def redrawn(shape):
        if shape.geom_type != "Polygon":
            return shape
        return shapely.Polygon(ring(shape.exterior), [ring(hole) for hole in shape.interiors])

    return {
        name: frame.set_geometry([redrawn(shape) for shape in frame.geometry], crs=frame.crs)
        for name, frame in layers.items()
    }


def write(layers, folder: Path, system: str, *, kind: str = "gpkg") -> dict:
    """Write the layers in a system, and give the plan's sections that read them."""
    folder.mkdir(parents=True, exist_ok=True)
    named = {}
    for name, frame in layers.items():
        file = folder / f"{name}.{kind}"
        frame.to_crs(system).to_file(file)
        named[name] = {"file": file.name}
    return {"layers": named, "subject": {"id": "lot 5"}}


def named(layers):
    """Give every row an identifier."""
    keys = {"buildings": "building_id", "utilities": "utility_id", "keep_outs": "keep_out_id",
            "existing_screens": "screen_id", "onlookers": "onlooker_id"}  # fmt: skip
    return {
        name: frame.assign(**{keys[name]: [f"{name[0]}{n}" for n in range(8, 8 + len(frame))]})
        if name in keys
        else frame
        for name, frame in layers.items()
    }
