"""Sun hours: the sample site, hourly over a year, 30 windows and a 1 m garden grid, 31 years.

Against it stands the plain way: for each year of growth a ray tracer's scene with its crowns,
walls and ground, for each hour pvlib's sun, and one call with a ray from every point. Both are
counted in sun rays a second: a ray is one point, one hour and one year of growth. The plain way is
timed on some hours and years, for the whole of it would take too long.
"""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pandas as pd

from screenplan.effects.places_in_light import gardens_in_light, windows_in_light
from screenplan.effects.sun import sun_path
from screenplan.plan import read_plan
from screenplan.running.inputs import read_inputs, step_arguments
from screenplan.running.steps import STEPS

from .clock import best_of, verdict
from .tracer import Rays, build, is_there, row_triangles

SAMPLE = Path(__file__).parents[2] / "sample_data" / "hillside.toml"
YEARS = 31
WINDOWS = 30
HOURLY = {"days_a_month": 31, "step_minutes": 60, "cell_m": 1.0}
#: Years and hours of the plain way that are timed.
TIMED_YEARS, TIMED_HOURS = (5, 25), 24
SIDES = 16
#: Issue figures: seconds on two cores, and how many times the plain way.
MOST_S, FLOOR, AIM = 10.0, 30.0, 50.0


def sample_layers():
    """Lay the sample site up to its plants, with windows derived to make thirty."""
    plan, folder = read_plan(SAMPLE)
    site = read_inputs(plan, folder)
    layers = dict(site.layers)
    for name in ("sides", "windows", "places", "across", "zones", "lines", "plants"):
        step = STEPS[name]
        layers |= step(layers, **step_arguments(step, plan, folder, site.terrain, site.frame))
    derive = STEPS["windows"]
    given = {name: layer for name, layer in layers.items() if name != "windows"}
    arguments = step_arguments(derive, plan, folder, site.terrain, site.frame)
    more = derive(given, **arguments | {"spacing_m": 2.0, "reach_m": 200.0})["windows"]
    more = more.loc[~more["window_id"].isin(layers["windows"]["window_id"])]
    layers["windows"] = pd.concat([layers["windows"], more]).iloc[:WINDOWS].reset_index(drop=True)
    arguments = step_arguments(STEPS["light"], plan, folder, site.terrain, site.frame)
    return layers, arguments | HOURLY


def bench_sun() -> None:
    """Print seconds, rays a second and the ratio to the plain way."""
    layers, arguments = sample_layers()
    step = STEPS["light"]
    step(layers, **arguments | {"days_a_month": 1, "cell_m": 4.0})  # compiled
    before = time.process_time()
    wall, given = best_of(lambda: step(layers, **arguments), 1)
    busy = time.process_time() - before
    cells, windows = len(given["sun_grid"]), int((given["light"]["kind"] == "window").sum())
    path = sun_path(*arguments["position_deg"], days_a_month=31, step_minutes=60)
    points = _points(layers, arguments)
    hours = len(path.hours)
    rays = len(points) * hours * YEARS
    rate = rays / wall
    print(
        f"sun: {windows} windows, {cells} cells of 1 m, {hours} hours of sun, {YEARS} years: {wall:.1f} s "
        f"(at most {MOST_S:g}: {'held' if wall <= MOST_S else 'MISSED'}), {busy:.1f} s of processor time, {rate / 1e6:.0f} million sun rays a second"
    )
    if not is_there():
        print("  ray tracer: not installed, nothing to compare with")
        return
    plain = _plain(layers, arguments, points)
    print(f"  pvlib and a ray tracer, plainly: {plain / 1e6:.2f} million a second; {verdict(rate / plain, FLOOR, AIM)}")  # fmt: skip


def _points(layers, arguments) -> np.ndarray:
    ground = arguments["terrain"]
    gardens, _ = gardens_in_light(
        layers["parcels"], layers["buildings"], list(layers["planting_lines"].geometry), ground, reach_m=arguments["reach_m"], cell_m=1.0,
    )  # fmt: skip
    glass = windows_in_light(layers["windows"], layers["buildings"], ground, layers["parcels"])
    return np.concatenate([lit.points for lit in (*gardens, *glass)])


def _plain(layers, arguments, points) -> float:
    """Rays a second of the plain loop."""
    from pvlib.solarposition import get_solarposition

    from screenplan.planting.growth import TYPICAL
    from screenplan.planting.stand import stand_of
    from screenplan.views.obstacles import lay_obstacles

    plants, terrain = layers["plants"], arguments["terrain"]
    lon, lat = arguments["position_deg"]
    stand = stand_of(plants, years=YEARS - 1)
    shape = stand.shape[0]
    feet = np.column_stack([plants.geometry.x, plants.geometry.y, plants["ground_m"]])
    standing = _standing(lay_obstacles(layers["buildings"], None, terrain))
    times = pd.date_range("2027-01-01 00:30", periods=8760, freq="h", tz="UTC")
    up = get_solarposition(times, lat, lon)["apparent_elevation"] > 0
    some = times[up.to_numpy()][:: max(int(up.sum()) // TIMED_HOURS, 1)]
    asked = 0
    start = time.perf_counter()
    for year in TIMED_YEARS:
        size = (part[0, TYPICAL, year] for part in (stand.height, stand.radius, stand.clear))
        scene = build(np.concatenate([standing, row_triangles(feet, shape, *size, SIDES)]))
        for moment in some:
            sun = get_solarposition(pd.DatetimeIndex([moment]), lat, lon)
            e, a = np.radians([sun["apparent_elevation"].iloc[0], sun["azimuth"].iloc[0]])
            way = np.array([np.cos(e) * np.sin(a), np.cos(e) * np.cos(a), np.sin(e)])
            Rays.between(points, points + 500.0 * way).hit(scene)
            asked += len(points)
    return asked / (time.perf_counter() - start)


def _standing(obstacles) -> np.ndarray:
    """Walls and ground as triangles."""
    ends, top = obstacles.panels.ends, obstacles.panels.top
    low = np.full(len(ends), obstacles.ground.z.min() - 1.0)
    a = np.column_stack([ends[:, :2], low])
    b = np.column_stack([ends[:, 2:], low])
    p, q = np.column_stack([ends[:, :2], top[:, 0]]), np.column_stack([ends[:, 2:], top[:, 1]])
    z, (x0, y0, dx, dy) = obstacles.ground.z, obstacles.ground.frame
    y, x = np.meshgrid(
        y0 + dy * np.arange(z.shape[0]), x0 + dx * np.arange(z.shape[1]), indexing="ij"
    )
    node = np.stack([x, y, z], axis=-1)
    sw, se, nw, ne = (part.reshape(-1, 3) for part in (node[:-1, :-1], node[:-1, 1:], node[1:, :-1], node[1:, 1:]))  # fmt: skip
    return np.concatenate(
        [np.stack(part, 1) for part in ((a, b, q), (a, q, p), (sw, se, ne), (sw, ne, nw))]
    )


if __name__ == "__main__":
    bench_sun()
