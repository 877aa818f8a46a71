"""A made-up street: lots side by side with a house each, a road before them and houses behind."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import shapely

from screenplan.running.pipeline import run_plan
from screenplan.running.run import Run

#: In the middle of zone 14, where metres of the grid are metres to 4 in 10,000.
CORNER, CRS = (500_000.0, 4_980_000.0), "EPSG:32614"
WIDE, DEEP = 20.0, 40.0


def street_layers(count: int = 3, gap: float = 0.0) -> dict[str, gpd.GeoDataFrame]:
    """Lots 12, 14 and so on from west to east, each with a house of two storeys; two deep lots behind them."""
    lots, houses = [], []
    for number in range(count):
        west = number * (WIDE + gap)
        lots.append((f"{12 + 2 * number}", shapely.box(west, 0.0, west + WIDE, DEEP)))
        houses.append((f"h{12 + 2 * number}", shapely.box(west + 5.0, 6.0, west + 15.0, 16.0)))
    wide = count * (WIDE + gap)
    lots.append(("behind", shapely.box(0.0, DEEP, wide, DEEP + 35.0)))
    houses.append(("far", shapely.box(0.4 * wide, DEEP + 12.0, 0.4 * wide + 12.0, DEEP + 20.0)))
    road = shapely.LineString([(-30.0, -6.0), (wide + 30.0, -6.0)])
    return {
        "parcels": _layer({"parcel_id": [name for name, _ in lots]}, [s for _, s in lots]),
        "buildings": _layer(
            {"building_id": [name for name, _ in houses], "storeys": [2] * len(houses)},
            [s for _, s in houses],
        ),
        "roads": _layer({"road_id": ["r1"], "width_m": [6.0]}, [road]),
    }


def _layer(columns, shapes) -> gpd.GeoDataFrame:
    moved = gpd.GeoSeries(shapes, crs=CRS).translate(*CORNER)
    return gpd.GeoDataFrame(columns, geometry=moved.array, crs=CRS)


#: What makes a run short: no draws, few years.
QUICK = {
    "chance": {"draws": 0},
    "growth": {"years": 15},
    "views": {"report_years": [0, 5, 10, 15], "target_spacing": "3 m"},
    "windows": {"spacing": "5 m"},
    "plants": {"species": "thuja_occidentalis"},
}


def plan_street(ids, layers=None, only=(), **sections: Any) -> Run:
    """Run a plan of some lots of the street."""
    subject = {"ids": list(ids)} if not isinstance(ids, str) else {"id": ids}
    content = {**QUICK, "subject": subject, **sections}
    return run_plan(content, layers=street_layers() if layers is None else layers, only=only)
