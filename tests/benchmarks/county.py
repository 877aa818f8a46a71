"""A county: processor time a parcel, what more parcels cost, memory, processes, a client, going on.

``python -m tests.benchmarks.county FOLDER [PARCELS]``. Parcels are tiled from the plots of a suburb (OpenStreetMap,
© its contributors, ODbL; plots derived), whose file is in the folder that is given. All ratios are of one run on one
machine; the first parcels of each process compile nothing, for the compiled loops lie ready.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from .clock import load, own_process
from .frozen import SUBURB

#: Parcels of a run unless another number is given; ten times as many are run once.
PARCELS = 400
#: Parcels of a partition, and lots of which the sampling is looked at.
AT_ONCE, LOOKED = 250, 40
#: Plots of the suburb.
SUBURB_LOTS = 1719
#: Ground between two copies of the suburb, metres: farther than any reach.
APART_M = 500.0
#: What is asked of it: milliseconds of processor time a parcel, and ratios.
MOST_MS, AIM_MS, MOST_FULL_MS = 10.0, 6.0, 40.0
MOST_TIMES, MOST_MEMORY, LEAST_WORKERS, MOST_CLIENT = 11.0, 1.15, 1.7, 1.15

LAY = """
import json, resource, sys, time
from pathlib import Path
import screenplan
from screenplan.site.reading import LayerSource
folder, out, settings, options, client = sys.argv[1:6]
layers = {
    "parcels": LayerSource(Path(folder) / "lots.gpkg", "plots"),
    "buildings": LayerSource(Path(folder) / "lots.gpkg", "buildings", {"building_id": "osm_id"}, fixed={"storeys": 2}),
    "roads": LayerSource(Path(folder) / "lots.gpkg", "roads", {"road_id": "osm_id"}),
}
if __name__ == "__main__":
    held = None
    if client:
        import dask, distributed
        # Dask's profiler looks 100 times a second at what each worker does.
        dask.config.set({"distributed.worker.profile.enabled": client != "unwatched"})
        cluster = distributed.LocalCluster(n_workers=json.loads(options).pop("workers"), threads_per_worker=1, dashboard_address=None)
        held = distributed.Client(cluster)
    # What it takes to start Python and read the library is not counted.
    begun, start = time.process_time(), time.perf_counter()
    run = screenplan.run_county({}, layers=layers, out=out, settings=json.loads(settings), options=json.loads(options), client=held)
    wall = time.perf_counter() - start
    if held is not None:
        held.close(); cluster.close()
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    print(json.dumps({"wall": wall, "cpu": sum(one.ru_utime + one.ru_stime for one in used) - begun,
        "child": used[1].ru_maxrss / 1024, "planned": run.totals["planned"], "before": run.done_before, "parts": run.parts,
        "aside": len(run.skipped), "rays": sum(float(part.groupby("parcel_row")["rays"].first().sum()) for part in run.sides())}))
"""  # fmt: skip


def tile(folder: Path, source: Path, count: int) -> None:
    """Write so many parcels, and the houses and roads around them, as copies of a suburb beside each other."""
    import geopandas as gpd
    import pandas as pd

    layers = {name: gpd.read_file(source, layer=name) for name in ("plots", "buildings", "roads")}
    plots = layers["plots"].iloc[layers["plots"].hilbert_distance().argsort()]
    west, south, east, north = layers["buildings"].total_bounds
    copies = -(-count // len(plots))
    across = int(copies**0.5) or 1
    for name, layer in (layers | {"plots": plots}).items():
        parts = []
        for k in range(copies):
            east_by, north_by = (k % across) * (east - west + APART_M), (k // across) * (north - south + APART_M)  # fmt: skip
            part = layer.copy()
            part["geometry"] = part.translate(east_by, north_by)
            key = "parcel_id" if name == "plots" else "osm_id"
            part[key] = [f"{k}-{value}" for value in part[key]]
            parts.append(part)
        whole = pd.concat(parts, ignore_index=True)
        whole = whole.iloc[:count] if name == "plots" else whole[["osm_id", "geometry"]]
        whole.to_file(folder / "lots.gpkg", layer=name)


def run(folder: Path, out: str, *, settings=(), client="", **options) -> dict:
    """Run a county in a process of its own; seconds, peak memory in MB, and what it came to."""
    with tempfile.NamedTemporaryFile("w", suffix=".py", delete=False) as script:
        # Processes of its own begin by reading the script, which must be a file.
        script.write(LAY)
    try:
        _, peak, printed = own_process(
            "import runpy, sys; path = sys.argv.pop(1); runpy.run_path(path, run_name='__main__')"
            if not options.get("workers") else
            "import subprocess, sys; print(subprocess.run([sys.executable, *sys.argv[1:]], capture_output=True, text=True, check=True).stdout)",
            script.name, str(folder), str(folder / out), json.dumps(list(settings)), json.dumps(options), client,
        )  # fmt: skip
    finally:
        Path(script.name).unlink()
    return json.loads(printed.strip().splitlines()[-1]) | {"peak": peak}


def bench_sampling(folder: Path, count: int) -> None:
    """Print how much a county's sampling leaves out, beside that of a plan of one parcel, view by view."""
    import numpy as np

    from screenplan.county.columnar import Columnar
    from screenplan.county.laying import lay_layer
    from screenplan.county.planner import Planner
    from screenplan.ground.errors import InputError
    from screenplan.plan import check_plan
    from screenplan.site.lots import Lots
    from screenplan.site.reading import LayerSource, read_site

    file = folder / "lots.gpkg"
    laid = {
        name: lay_layer(name, source, folder / "laid")
        for name, source in {
            "parcels": LayerSource(file, "plots"),
            "buildings": LayerSource(file, "buildings", {"building_id": "osm_id"}, fixed={"storeys": 2}),
            "roads": LayerSource(file, "roads", {"road_id": "osm_id"}),
        }.items()
    }  # fmt: skip
    planners = [
        Planner(check_plan({"county": {"rays": rays}}, given=["parcels"]), folder)
        for rays in (0, 20_000)
    ]
    parcels, reach = Columnar(laid["parcels"].path), planners[0].plan.site.reach
    places = np.linspace(0, parcels.rows - 1, count).astype(int)
    views = found = late = 0
    seconds, rays = np.zeros(2), np.zeros(2)
    for place in places.tolist():
        name = str(parcels.read(place, place + 1)["parcel_id"].iloc[0])
        west, south, east, north = parcels.read(place, place + 1).total_bounds
        box = (west - reach, south - reach, east + reach, north + reach)
        sources = {
            layer: LayerSource(
                Columnar(one.path).near([box]).drop(columns=["source_row", "planned"], errors="ignore").reset_index(drop=True),
                None, one.named.columns, fixed=one.named.fixed,
            )
            for layer, one in laid.items()
        }  # fmt: skip
        try:
            told = []
            for k, planner in enumerate(planners):
                site = read_site(sources, plan=planner.plan_for(name))
                start = time.process_time()
                told.append(planner.plan_lots(site, Lots.one(site.layers)).seen)
                seconds[k] += time.process_time() - start
        except InputError:
            continue
        full, coarse = told
        rays += [full.rays.sum(), coarse.rays.sum()]
        closed = [seen.is_open & (seen.year_closed <= 10) for seen in told]
        views += full.is_open.sum()
        found += (full.is_open != coarse.is_open).sum()
        late += (closed[0] != closed[1]).sum()
    print(f"  sampling of {count} lots: of {views} open views {found / views:.1%} are not told as open, or others are; {late / views:.1%} are told otherwise by year 10; {rays[1] / rays[0]:.2f} of the rays, {seconds[1] / seconds[0]:.2f} of the processor time")  # fmt: skip


def bench_county(data: Path | None, count: int = PARCELS) -> None:
    """Print what a county costs; nothing without the suburb."""
    if data is None or not (data / SUBURB).is_file():
        print("county: the suburb's folder is not given")
        return
    print(f"county of {count} and {10 * count} parcels, {load()}")
    with tempfile.TemporaryDirectory() as here:
        small, large = Path(here) / "small", Path(here) / "large"
        for folder, parcels in ((small, count), (large, 10 * count)):
            folder.mkdir()
            tile(folder, data / SUBURB, parcels)
        every = Path(here) / "every"
        every.mkdir()
        tile(every, data / SUBURB, SUBURB_LOTS)
        bench_sampling(every, LOOKED)
        run(small, "warm", at_once=AT_ONCE)
        one = run(small, "one", at_once=AT_ONCE)
        told = one["cpu"] / one["planned"] * 1e3
        print(f"  county sampling, {count} parcels: {told:.1f} ms of processor time each, with what is loaded once; {one['rays'] / one['planned']:,.0f} rays through openings; {one['aside']} set aside")  # fmt: skip
        full = run(small, "full", settings=["county.rays=0"], at_once=AT_ONCE)
        print(f"  full sampling: {full['cpu'] / full['planned'] * 1e3:.0f} ms a parcel (limit {MOST_FULL_MS:g}), {full['rays'] / full['planned']:,.0f} rays")  # fmt: skip
        ten = run(large, "ten", at_once=AT_ONCE)
        told = ten["cpu"] / ten["planned"] * 1e3
        print(f"  county sampling, {10 * count} parcels: {told:.1f} ms of processor time each (limit {MOST_MS:g}, aim {AIM_MS:g}), laying out and the map included; {load()}")  # fmt: skip
        print(f"  ten times the parcels: {ten['cpu'] / one['cpu']:.1f} times the processor time (limit {MOST_TIMES:g}), {ten['peak'] / one['peak']:.2f} times the memory (limit {MOST_MEMORY:g}), {ten['peak']:.0f} MB")  # fmt: skip
        single = run(large, "one worker", at_once=AT_ONCE)
        both = run(large, "two workers", at_once=AT_ONCE, workers=2)
        print(f"  two workers: {single['wall'] / both['wall']:.2f} times as fast as one (floor {LEAST_WORKERS:g})")  # fmt: skip
        for client, called in (("client", "as it comes"), ("unwatched", "whose profiler is off")):
            dask = run(large, client, at_once=AT_ONCE, workers=2, client=client)
            print(f"  a Dask client {called}: {dask['wall'] / both['wall']:.2f} times the time of processes, {dask['cpu'] / both['cpu']:.2f} times the processor time (limit {MOST_CLIENT:g})")  # fmt: skip
        _bench_restart(large, single["wall"])


def _bench_restart(folder: Path, whole: float) -> None:
    """Kill a run half way and run it again: how many partitions are done twice."""
    with tempfile.NamedTemporaryFile("w", suffix=".py", delete=False) as script:
        script.write(LAY)
    words = [sys.executable, script.name, str(folder), str(folder / "killed"), "[]", json.dumps({"at_once": AT_ONCE}), ""]  # fmt: skip
    running = subprocess.Popen(words, stdout=subprocess.DEVNULL)
    time.sleep(0.5 * whole)
    os.kill(running.pid, signal.SIGKILL)
    running.wait()
    Path(script.name).unlink()
    again = run(folder, "killed", at_once=AT_ONCE)
    print(f"  killed half way: {again['before']} of {again['parts']} partitions were kept, {again['wall'] / whole:.2f} of the time for the rest")  # fmt: skip


if __name__ == "__main__":
    bench_county(Path(sys.argv[1]), *map(int, sys.argv[2:3]))
