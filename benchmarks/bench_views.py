"""How fast views are traced: ratios and figures are printed, nothing is asserted.

Run it with ``python benchmarks/bench_views.py``. Times depend on the machine and on what else it
does; the ratios less so.
"""

from __future__ import annotations

import importlib.util
import os
import resource
import time

import geopandas as gpd
import numpy as np
import shapely

from screenplan.planting.shapes import shape_radius
from screenplan.views.crowns import CONE, tabulate_crowns
from screenplan.views.kernel import arrange_rows, blocked_years
from screenplan.views.views import trace_views

YEARS = 30
RAYS = 1_000_000
SPACING_M = 1.2


def clock(work, repeats=3):
    """Best wall time of a few runs, and the last result."""
    best = np.inf
    for _ in range(repeats):
        start = time.perf_counter()
        result = work()
        best = min(best, time.perf_counter() - start)
    return best, result


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
    return [gpd.GeoDataFrame(rows) for rows in (windows, places, lines, plants, houses)]


def bench_site():
    """The whole step: 20 windows, 4 places of 100 positions, 300 plants, 31 years, 3 growths."""
    layers = site()
    first, _ = clock(lambda: trace_views(*layers), repeats=1)
    best, (views, _, holes) = clock(lambda: trace_views(*layers))
    plain, _ = clock(lambda: trace_views(*layers, second_sample=False))
    print(
        f"trace_views: {len(layers[0])} windows, 400 positions (800 heads), {len(layers[3])} plants, "
        f"{YEARS + 1} years, 3 growths: {best:.3f} s, of which the second sample {best - plain:.3f} s"
    )
    print(f"  first call in this process (compiled or from the cache): {first:.2f} s")
    print(f"  {views.rays.sum()} rays that pass an opening, {len(holes)} holes")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"  peak memory of the process so far: {peak:.0f} MB")


def row_scene(count):
    year = np.arange(YEARS + 1)
    height = np.stack([np.minimum(0.9 + g * year, 6.0) for g in (0.2, 0.3, 0.45)])[:, :, None]
    table = tabulate_crowns([CONE], height, np.minimum(0.15 * height, 0.8), 0.0 * height)
    x = np.arange(count) * SPACING_M
    same = np.zeros(count, np.int64)
    return x, table, arrange_rows(x, 0.0 * x, 0.0 * x, same, same, table)


def row_rays(count, rays, seed=0):
    rng = np.random.default_rng(seed)
    x = rng.uniform(0, count * SPACING_M, rays)
    origin = np.column_stack([x, np.full(rays, 12.0), rng.uniform(3, 6, rays)])
    aside = rng.uniform(-12, 12, rays)
    target = np.column_stack([x + aside, np.full(rays, -10.0), rng.uniform(1.0, 1.8, rays)])
    return origin, target


def bench_kernel():
    """The kernel alone, and how its cost grows."""
    _, table, rows = row_scene(300)
    rays = row_rays(300, RAYS)
    blocked_years(*rays, rows, table)
    base, _ = clock(lambda: blocked_years(*rays, rows, table))
    print(
        f"kernel: {RAYS} rays, 300 cones, {YEARS + 1} years, 3 growths, {os.cpu_count()} cores: "
        f"{base:.3f} s, {RAYS / base / 1e6:.2f} million rays a second"
    )
    _, table_long, rows_long = row_scene(3000)
    rays_long = row_rays(3000, RAYS)
    longer, _ = clock(lambda: blocked_years(*rays_long, rows_long, table_long))
    print(f"  a row ten times as long costs {longer / base:.2f} times as much")
    few = row_rays(300, RAYS // 10)
    tenth, _ = clock(lambda: blocked_years(*few, rows, table))
    print(f"  ten times the rays cost {base / tenth:.2f} times as much")
    return base, rays, table


def bench_tracer(base, rays, table):
    """A ray tracer on triangulated crowns, once a year with its scene rebuilt."""
    if not all(importlib.util.find_spec(name) for name in ("embreex", "trimesh")):
        print("ray tracer: embreex and trimesh are not installed, nothing to compare with")
        return
    import trimesh
    from trimesh.ray.ray_pyembree import RayMeshIntersector

    sides, some = 32, RAYS // 10
    origin, target = (part[:some] for part in rays)
    unit = target - origin
    unit /= np.linalg.norm(unit, axis=1)[:, None]
    angle = np.arange(sides) / sides * 2 * np.pi
    k = np.arange(sides)
    faces = np.column_stack([k, (k + 1) % sides, np.full(sides, sides)])
    x = np.arange(300) * SPACING_M
    year = YEARS // 2
    h, r = table.height[0, 1, year], table.radius[0, 1, year]
    rim = shape_radius(CONE, h, 2 * r, 0.0, 0.0)
    points = np.vstack(
        [np.column_stack([rim * np.cos(angle), rim * np.sin(angle), 0 * angle]), [0, 0, h]]
    )
    start = time.perf_counter()
    vertices = np.concatenate([np.add(points, (at, 0.0, 0.0)) for at in x])
    every = np.concatenate([faces + number * len(points) for number in range(len(x))])
    mesh = trimesh.Trimesh(vertices, every, process=False)
    tracer = RayMeshIntersector(mesh)
    tracer.intersects_any(origin[:1], unit[:1])  # builds the tracer's own tree
    build = time.perf_counter() - start
    start = time.perf_counter()
    tracer.intersects_any(origin, unit)
    query = time.perf_counter() - start
    scaled = (build + query * RAYS / some) * (YEARS + 1) * 3
    print(
        f"ray tracer ({sides} triangles a cone; one year of one growth measured on {some} rays, scaled "
        f"to {RAYS} rays, {YEARS + 1} years and 3 growths, the scene built once for each): "
        f"{scaled:.1f} s, {scaled / base:.0f} times the kernel"
    )


if __name__ == "__main__":
    bench_site()
    bench_tracer(*bench_kernel())
