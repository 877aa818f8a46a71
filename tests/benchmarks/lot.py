"""A lot with a row on every side, as layers."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

SPACING_M = 1.2


def site():
    """A square lot of 90 m with a row on every side, 20 windows around it, 400 positions in it."""
    corners = [(-45, -45), (45, -45), (45, 45), (-45, 45), (-45, -45)]
    lines, plants = [], []
    for number in range(4):
        line = shapely.LineString(corners[number : number + 2])
        lines.append({"line_id": f"side {number}", "geometry": line})
        for s in np.arange(0.6, 90.0, SPACING_M):
            plants.append(
                {
                    "plant_id": len(plants) + 1,
                    "line_id": f"side {number}",
                    "station_m": s,
                    "ground_m": 0.0,
                    "species": "thuja_smaragd",
                    "stock_height_m": 0.9,
                    "existing": False,
                    "geometry": line.interpolate(s),
                }
            )
    houses, windows = [], []
    for number, (x, y, facing) in enumerate(((0, 60, 180.0), (60, 0, 270.0))):
        house = shapely.box(x - 7, y - 7, x + 7, y + 7)
        houses.append({"building_id": f"h{number}", "height_m": 6.0, "geometry": house})
        for step in np.linspace(-6, 6, 10):
            at = (x + step, y - 7) if facing == 180.0 else (x - 7, y + step)
            windows.append(
                {
                    "window_id": f"w{len(windows)}",
                    "building_id": f"h{number}",
                    "sill_m": 3.7,
                    "height_m": 1.2,
                    "width_m": 1.2,
                    "facing_deg": facing,
                    "floor_m": 2.8,
                    "geometry": shapely.Point(at),
                }
            )
    places = [
        {"place_id": f"p{k}", "geometry": shapely.box(x, y, x + 10, y + 10)}
        for k, (x, y) in enumerate(((-20, 20), (0, 25), (20, 0), (25, 20)))
    ]
    rows = {
        "windows": windows, "private_places": places, "planting_lines": lines, "plants": plants,
        "buildings": houses,
    }  # fmt: skip
    return {name: gpd.GeoDataFrame(of_layer) for name, of_layer in rows.items()}
