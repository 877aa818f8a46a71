"""A made-up county: two rows of lots, back to back between two roads, a house on each."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

CRS = "EPSG:25832"
EAST, NORTH = 500_000.0, 5_500_000.0
WIDTH_M, DEPTH_M = 24.0, 30.0
#: Few windows and coarse eyes, so that a test does not take long.
PLAN = {
    "windows": {"reach": "28 m", "spacing": "9 m"},
    "site": {"reach": "40 m"},
    "county": {"rays": 2000, "planted": ["side", "rear"]},
    "growth": {"years": 20},
    "hand": {"prices": {"0.9 m": 20.0}},
    "plants": {"stock_height": "0.9 m"},
}


def lots(count: int = 6) -> dict[str, gpd.GeoDataFrame]:
    """Give parcels, buildings and roads of two rows of so many lots together."""
    columns = -(-count // 2)
    outlines, houses = [], []
    for k in range(count):
        column, row = k % columns, k // columns
        x, y = EAST + column * WIDTH_M, NORTH + row * DEPTH_M
        outlines.append(shapely.box(x, y, x + WIDTH_M, y + DEPTH_M))
        # The house stands near the road: south of the lower row, north of the upper one.
        at = y + 5.0 if row == 0 else y + DEPTH_M - 13.0
        houses.append(shapely.box(x + 7.0, at, x + 17.0, at + 8.0))
    along = np.array([EAST - 50.0, EAST + columns * WIDTH_M + 50.0])
    ways = [shapely.linestrings(along, [at, at]) for at in (NORTH - 5.0, NORTH + 2 * DEPTH_M + 5.0)]
    return {
        "parcels": gpd.GeoDataFrame(
            {"parcel_id": [f"p{k + 1}" for k in range(count)]}, geometry=outlines, crs=CRS
        ),
        "buildings": gpd.GeoDataFrame(
            {"building_id": [f"h{k + 1}" for k in range(count)], "storeys": [2] * count},
            geometry=houses,
            crs=CRS,
        ),
        "roads": gpd.GeoDataFrame({"road_id": ["r1", "r2"]}, geometry=ways, crs=CRS),
    }


def sides_of(run) -> gpd.GeoDataFrame:
    """Give all sides of a run in one order, whatever its partitions were."""
    import pandas as pd

    whole = pd.concat(list(run.sides()), ignore_index=True)
    return whole.sort_values(["parcel_id", "side_id"], ignore_index=True)
