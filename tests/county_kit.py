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


def told_alone(plan, layers, mine, settings=()) -> dict:
    """Give what a plan of one parcel tells of it: by side and as sums, as a county does.

    ``mine`` are its sides in the county, whose class says which are planted.
    """
    import screenplan
    from screenplan.contracts.county import COUNTED_YEARS

    planted = mine.loc[mine["side_class"] != "front", "side_id"].tolist()
    run = screenplan.run_plan(
        plan,
        layers=layers,
        settings=[
            f'subject.id="{mine["parcel_id"].iloc[0]}"',
            f"rows.along={planted}",
            "chance.draws=0",
            f'views.target_spacing="{mine["target_spacing_m"].iloc[0]} m"',
            *settings,
        ],
        only=["views", "plants", "needed_height", "planting_lines"],
    )
    views, plants, lines, needed = (
        run.layers[name] for name in ("views", "plants", "planting_lines", "needed_height")
    )
    side_of = dict(zip(lines["line_id"], lines["side_id"], strict=True))
    today = views[views["status"].isin(["closes", "stays open"])]
    closed = today["year_closed"].astype("Float64").to_numpy(float, na_value=np.inf)
    return {
        "plants": plants["side_id"].value_counts().to_dict(),
        "plantable_m": lines.groupby("side_id")["plantable_m"].sum().to_dict(),
        "needed_m": needed["needed_m"].groupby(needed["line_id"].map(side_of)).max().to_dict(),
        "views_open": len(today),
        "rays": float(views["rays"].sum()),
        # That of a side is empty if one of its views stays open.
        "year_closed": float(closed.max()) if len(closed) and np.isfinite(closed).all() else None,
        **{f"closed_y{year:02d}": int((closed <= year).sum()) for year in COUNTED_YEARS},
    }


def sides_of(run) -> gpd.GeoDataFrame:
    """Give all sides of a run in one order, whatever its partitions were."""
    import pandas as pd

    whole = pd.concat(list(run.sides()), ignore_index=True)
    return whole.sort_values(["parcel_id", "side_id"], ignore_index=True)
