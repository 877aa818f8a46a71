"""Runs for the tests of drawings and report: the sample site and one real plot."""

from functools import cache

import momepy
import pandas as pd

from screenplan.commandline.sample import sample_plan
from screenplan.contracts import year_column
from screenplan.plan import check_plan, read_plan
from screenplan.running.inputs import read_inputs, step_arguments
from screenplan.running.run import Run
from screenplan.running.steps import STEPS
from screenplan.running.writing import about_run

PLOTS = momepy.datasets.get_path("bubenec")


def run_without_effects(plan, folder) -> Run:
    """Run all steps but those about effects on others, which take long and have tests of their own."""
    site = read_inputs(plan, folder)
    run = Run(plan, folder, site, dict(site.layers))
    for step in STEPS.values():
        # What a plan must ask for, the sample does not.
        if not step.asked and not step.function.startswith("screenplan.effects"):
            arguments = step_arguments(step, plan, folder, site.terrain, site.frame)
            run.layers |= step(run.layers, **arguments)
    return run


@cache
def _sample() -> Run:
    return run_without_effects(*read_plan(sample_plan(), ("views.target_spacing=2 m",)))


def sample(units: str = "metric") -> Run:
    """Run the sample site; the layers, always in metres, are copies."""
    run = _sample()
    about = run.plan.plan.model_copy(update={"units": units})
    plan = run.plan.model_copy(update={"plan": about})
    return Run(plan, run.folder, run.site, {k: v.copy() for k, v in run.layers.items()})


@cache
def real_plot() -> Run:
    """Run one plot of an open data set of real plots, roads and houses near 50.1° N."""
    plan = check_plan({
        "plan": {"title": "A real plot"},
        "subject": {"id": "163"},
        "layers": {
            "parcels": {"file": PLOTS, "layer": "plots", "columns": {"parcel_id": "ID"}},
            "buildings": {"file": PLOTS, "layer": "buildings", "columns": {"building_id": "uID"}, "fixed": {"storeys": 2}},
            "roads": {"file": PLOTS, "layer": "streets"},
        },
        "plants": {"species": "thuja_smaragd"}, "rows": {"spacing": "0.7 m", "rows": 2},
        "windows": {"spacing": "8 m"}, "views": {"target_spacing": "2 m"},
    })  # fmt: skip
    return run_without_effects(plan, sample_plan().parent)


def choices_of(layers) -> dict:
    """Make up three plantings to choose from: the sample's own, half of it, and it two years sooner."""
    plants, views = layers["plants"], layers["views"]
    views = views.loc[views["status"].isin(["closes", "stays open"])]
    table, stems, seen = [], [], []
    crowns = layers["crowns"].loc[layers["crowns"]["growth"] == "typical"]
    spreads = [
        (year, part.set_index("plant_id")["spread_m"]) for year, part in crowns.groupby("year")
    ]
    for key, name, share, years in (
        ("cheaper", "half the money", 0.5, 4),
        ("asked", "as asked", 1.0, 0),
        ("sooner", "two years sooner", 1.0, -2),
    ):
        mine = plants.iloc[: int(len(plants) * share)]
        widths = {year_column("spread", year): mine["plant_id"].map(part) for year, part in spreads}
        table.append({
            "choice": key, "name": name, "chosen": key == "asked", "year": 10, "plants": len(mine),
            "priced": True, "cost": 110.0 * len(mine), "says": f"{len(mine)} plants",
            "command": f"screenplan run PLAN --set design.year={10 + years}",
        })  # fmt: skip
        stems.append(
            mine.assign(choice=key, stock_m=mine["stock_height_m"], **widths)[
                ["choice", "plant_id", "species", "stock_m", "line_id", *widths, "geometry"]
            ]
        )
        shifted = {
            name: (views[name] + years).clip(lower=0)
            for name in ("year_closed", "year_closed_p10", "year_closed_p50", "year_closed_p90")
        }
        seen.append(
            views[["view_id", "chance"]]
            .assign(choice=key, **shifted)
            .rename(columns={"year_closed": "closed_in"})
        )
    return {
        "choices": pd.DataFrame(table),
        "choice_plants": pd.concat(stems, ignore_index=True),
        "choice_views": pd.concat(seen, ignore_index=True),
    }


def report_of(run: Run) -> str:
    """Make the report of a run."""
    from screenplan.outputs.report import make_report

    return make_report(run.layers, about_run(run))
