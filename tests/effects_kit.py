"""A plain made-up site for the tests of effects: a level lot 40 by 40 m, a row, a house to the north."""

from __future__ import annotations

import geopandas as gpd
import pandas as pd
import shapely

LOT = shapely.box(0.0, 0.0, 40.0, 40.0)


def parcels(neighbour=None):
    """The lot S, and N across its north side (or another shape)."""
    north = shapely.box(0.0, 40.0, 40.0, 80.0) if neighbour is None else neighbour
    return gpd.GeoDataFrame(
        {"parcel_id": ["S", "N"], "is_subject": [True, False]}, geometry=[LOT, north]
    )


def row(
    xy=((2.0, 38.0), (38.0, 38.0)), *, step=1.5, species="thuja_occidentalis", stock=1.0, line="a"
):
    """One planting line and plants every ``step`` metres along it."""
    way = shapely.LineString(xy)
    count = int(way.length / step + 1e-9) + 1
    stations = [k * step for k in range(count)]
    points = shapely.line_interpolate_point(way, stations)
    lines = gpd.GeoDataFrame({"line_id": [line], "side_id": ["north"], "row": [1]}, geometry=[way])
    plants = gpd.GeoDataFrame(
        {
            "plant_id": pd.array(range(1, count + 1), "Int64"),
            "line_id": line,
            "side_id": "north",
            "row": 1,
            "station_m": stations,
            "ground_m": 0.0,
            "species": species,
            "stock": "container",
            "stock_height_m": float(stock),
            "existing": pd.array([False] * count, "boolean"),
        },
        geometry=points,
    )
    return lines, plants


def layer(rows, **columns):
    """A layer of shapes and columns."""
    return gpd.GeoDataFrame(columns, geometry=list(rows))


def house(box=(10.0, 50.0, 20.0, 58.0), height=5.0):
    return layer(
        [shapely.box(*box)], building_id=["h"], parcel_id=["N"], height_m=[height], storeys=[2],
        kind=["house"], roof=["flat"], ridge_m=[None], floor_m=[0.0],
    )  # fmt: skip


def windows(at=((15.0, 50.0),), facing=180.0, sill=1.0):
    count = len(at)
    return layer(
        [shapely.Point(xy) for xy in at], window_id=[f"w{k}" for k in range(count)], building_id=["h"] * count,
        sill_m=[sill] * count, height_m=[1.2] * count, width_m=[1.2] * count, facing_deg=[facing] * count,
        floor_m=[0.0] * count, storey=[0] * count,
    )  # fmt: skip
