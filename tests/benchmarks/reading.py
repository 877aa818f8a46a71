"""Reading one parcel and its neighbours from files of a town and of a county."""

from __future__ import annotations

import os
import tempfile
import time
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyogrio
import shapely

from screenplan.plan import Options
from screenplan.site.reading import LayerSource, read_site

from .clock import best_of, load

#: Parcels in the small file, and how many times as many in the large one.
PARCELS, TIMES = 900, 100
FORMATS = ("gpkg", "fgb", "shp")
LOT_M, DEPTH_M = 20.0, 40.0
#: The large file may take so many times as long.
LIMIT = 2.0


def write_lots(path: Path, count: int) -> None:
    """Rows of lots with attributes as a register has them, indexed by place."""
    columns = int(np.ceil(np.sqrt(count)))
    x, y = np.divmod(np.arange(count), columns)
    west, south = 500_000.0 + x * LOT_M, 5_500_000.0 + y * DEPTH_M
    lots = gpd.GeoDataFrame(
        {
            "parcel_id": [f"P-{n}" for n in range(count)],
            "owner": ["the owner's name as the register has it"] * count,
            "address": ["12 Long Street, in the town"] * count,
        },
        geometry=shapely.box(west, south, west + LOT_M, south + DEPTH_M),
        crs="EPSG:32632",
    )
    options = {"SPATIAL_INDEX": "YES"} if path.suffix == ".shp" else {}
    pyogrio.write_dataframe(lots, path, **options)


def bench_reading() -> None:
    """By id, and by a point (which reads a box alone); the best of nine runs, by the processor."""
    print(f"Reading a parcel and its neighbours within 150 m, {load()}:")
    with tempfile.TemporaryDirectory() as folder:
        for kind in FORMATS:
            small, large = (Path(folder) / f"{name}.{kind}" for name in ("town", "county"))
            write_lots(small, PARCELS)
            write_lots(large, PARCELS * TIMES)
            size = os.path.getsize(large) / 1e6  # noqa: PTH202
            for way in ("id", "point"):
                one, other = _time(small, way, PARCELS), _time(large, way, PARCELS * TIMES)
                held = "held" if other <= LIMIT * one else "MISSED"
                print(
                    f"  {kind} by {way}: {one * 1000:.0f} ms of {PARCELS:,}, {other * 1000:.0f} ms of "
                    f"{PARCELS * TIMES:,} ({size:.0f} MB): {other / one:.2f} times (limit {LIMIT:g}: {held})"
                )


def _time(path: Path, way: str, count: int) -> float:
    middle = count // 2
    x, y = divmod(middle, int(np.ceil(np.sqrt(count))))
    point = (500_000.0 + (x + 0.5) * LOT_M, 5_500_000.0 + (y + 0.5) * DEPTH_M)
    plan = Options().about(f"P-{middle}") if way == "id" else Options().about(point=point)
    sources = {"parcels": LayerSource(path)}
    seconds, _ = best_of(
        lambda: read_site(sources, plan=plan, subject_point_crs="parcels"), 9, time.process_time
    )
    return seconds
