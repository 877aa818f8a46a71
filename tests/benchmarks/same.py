"""Whether a county tells of a parcel what a plan of that parcel alone tells.

``python -m tests.benchmarks.same FOLDER [PARCELS]``. Parcels of the suburb of `tests.benchmarks.county`, in ten runs that
follow each other along the curve, are planned as a county's, and each by `screenplan.run_plan` along the same sides.
The two lie in frames of their own: that of a county's cell is up to 1.6 km off, so that its scale is 3 in 10⁸ off and its
north 0.01°. Lengths are then the same to a few micrometres. The points of a place that are looked at lie on a grid
along the frame's axes: it is turned by that 0.01°, which moves points of a garden of 30 m by up to 5 mm, and a
view that just opens or closes may be told otherwise.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from .clock import load
from .frozen import SUBURB

#: Parcels that are compared unless another number is given, and in so many runs.
PARCELS, RUNS = 200, 10
#: Lengths may differ by this (3 in 10⁸ of 100 m are 3 micrometres; a millimetre is what a line keeps off an edge).
SAME_LENGTH_M = 1e-3
#: Needed heights are rounded up to the centimetre; points that lie 5 mm off may move one by as much.
SAME_HEIGHT_M = 0.011
#: Rays that just pass a window's edge may be counted or not: this share of them.
SAME_RAYS_SHARE = 0.01
#: Ground that is handed to the single plan, metres around its parcel: farther than any reach.
AROUND_M = 300.0


def differences(mine, alone: dict) -> list[str]:
    """Name the columns in which a parcel's sides in a county differ from its plan by more than they may."""
    told, wrong = mine.set_index("side_id"), []
    for name, most in (
        ("plants", 0.0),
        ("plantable_m", SAME_LENGTH_M),
        ("needed_m", SAME_HEIGHT_M),
    ):
        values = told[name].astype(float).fillna(0.0).to_dict()
        apart = max(abs(value - alone[name].get(side, 0.0)) for side, value in values.items())
        if apart > most:
            wrong.append(f"{name} by {apart:.3g}")
    for name in ["views_open", *(name for name in mine.columns if name.startswith("closed_y"))]:
        if mine[name].sum() != alone[name]:
            wrong.append(f"{name} {mine[name].sum()} for {alone[name]}")
    years = mine.loc[mine["views_open"] > 0, "year_closed"]
    last = None if years.isna().any() or not len(years) else float(years.max())
    if last != alone["year_closed"]:
        wrong.append(f"year_closed {last} for {alone['year_closed']}")
    if abs(mine["rays"].iloc[0] - alone["rays"]) > SAME_RAYS_SHARE * max(alone["rays"], 1.0):
        wrong.append(f"rays {mine['rays'].iloc[0]:g} for {alone['rays']:g}")
    return wrong


def bench_same(data: Path, count: int = PARCELS) -> None:
    """Print of how many parcels a county tells what their plans tell, and what differs of the others."""
    import geopandas as gpd
    import numpy as np

    from screenplan.county.around import Task
    from screenplan.county.columnar import Columnar
    from screenplan.county.laying import lay_layer
    from screenplan.county.partition import plan_partition
    from screenplan.ground.errors import InputError
    from screenplan.plan import check_plan
    from screenplan.site.reading import LayerSource
    from tests.county_kit import told_alone

    file = data / SUBURB
    named = {
        "parcels": LayerSource(file, "plots"),
        "buildings": LayerSource(file, "buildings", {"building_id": "osm_id"}, fixed={"storeys": 2}),
        "roads": LayerSource(file, "roads", {"road_id": "osm_id"}),
    }  # fmt: skip
    whole = {name: gpd.read_file(file, layer=source.layer) for name, source in named.items()}
    print(f"county beside single plans, {count} parcels, {load()}")
    seconds, differ, compared, causes = np.zeros(2), Counter[str](), 0, []
    with tempfile.TemporaryDirectory() as here:
        laid = {name: lay_layer(name, source, Path(here)) for name, source in named.items()}
        task = Task(check_plan({}, given=["parcels"]), Path(here), laid)
        rows, many = Columnar(laid["parcels"].path).rows, count // RUNS
        for first in np.linspace(0, rows - many, RUNS).astype(int).tolist():
            start = time.process_time()
            sides = plan_partition(task, first, first + many)["county_sides"]
            seconds[0] += time.process_time() - start
            for parcel_id, mine in sides.groupby("parcel_id", sort=False):
                start = time.process_time()
                try:
                    alone = told_alone({}, _around(whole, mine), mine)
                except InputError as error:
                    # A county tells the causes by side where a plan refuses.
                    if mine["plants"].sum():
                        causes.append(f"{parcel_id}: {error.problems[0].what}")
                    continue
                finally:
                    seconds[1] += time.process_time() - start
                compared += 1
                wrong = differences(mine, alone)
                differ.update(what.split()[0] for what in wrong)
                if wrong:
                    differ["any"] += 1
                    print(f"    {parcel_id}: {', '.join(wrong)}")
    print(f"  {compared} compared: {compared - differ.pop('any', 0)} told the same; of the others {dict(differ)}; {seconds[1] / max(seconds[0], 1e-9):.1f} times the processor time in single plans")  # fmt: skip
    for cause in causes:
        print(f"  planted in the county, refused as a plan: {cause}")


def _around(whole: dict, mine) -> dict:
    """Give the layers around a parcel, under the columns' own names."""
    west, south, east, north = (
        whole["parcels"]
        .set_index("parcel_id")
        .geometry.loc[[mine["parcel_id"].iloc[0]]]
        .total_bounds
    )
    near = {
        name: layer.cx[west - AROUND_M : east + AROUND_M, south - AROUND_M : north + AROUND_M]
        for name, layer in whole.items()
    }
    return {
        "parcels": near["parcels"],
        "buildings": near["buildings"].rename(columns={"osm_id": "building_id"}).assign(storeys=2),
        "roads": near["roads"].rename(columns={"osm_id": "road_id"}),
    }


if __name__ == "__main__":
    bench_same(Path(sys.argv[1]), *map(int, sys.argv[2:3]))
