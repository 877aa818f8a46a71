"""The whole job on real plots and houses: an open data set that the package momepy carries.

Its coordinates are those of web Mercator near 50.1° N, where a metre on the ground is 1.56 units, so
a tape distance that was taken from coordinates would be wrong by more than half.
"""

from collections import Counter

import geopandas as gpd
import momepy
import numpy as np
import pytest
import shapely
from pyproj import Geod

from screenplan.ground.errors import InputError
from screenplan.plan import check_plan
from screenplan.running.pipeline import run_plan

PLOTS = 32
#: Geodesic and frame agree to this on the lengths of a plot.
LENGTH_M = 0.002

FILE = momepy.datasets.get_path("bubenec")


@pytest.fixture(scope="module")
def outcomes():
    """Plan every one of the first plots with a house and room around it; a run or a refusal each."""
    plots, houses = gpd.read_file(FILE, layer="plots"), gpd.read_file(FILE, layer="buildings")
    ground = plots.to_crs("EPSG:32633").area
    built = plots.index.isin(plots.sjoin(houses[["geometry"]]).index)
    chosen = plots.loc[built & ground.between(300, 4000), "ID"].astype(str)[:PLOTS]
    outcomes = {}
    for plot in chosen:
        plan = check_plan({
            "subject": {"id": plot},
            "layers": {
                "parcels": {"file": FILE, "layer": "plots", "columns": {"parcel_id": "ID"}},
                "buildings": {"file": FILE, "layer": "buildings", "columns": {"building_id": "uID"}, "fixed": {"storeys": 2}},
                "roads": {"file": FILE, "layer": "streets"},
            },
            "plants": {"species": "thuja_smaragd"}, "rows": {"spacing": "0.7 m"},
            "windows": {"spacing": "8 m"}, "views": {"target_spacing": "2 m"},
        })  # fmt: skip
        try:
            outcomes[plot] = run_plan(plan)
        except InputError as refusal:
            outcomes[plot] = refusal
    return outcomes


def runs_of(outcomes):
    return {plot: run for plot, run in outcomes.items() if not isinstance(run, InputError)}


@pytest.mark.evidence(
    part="Real plots",
    kind="open data",
    against=f"{PLOTS} built plots of a town, from file to plan",
    source="data set bubenec, which the package momepy carries",
    status="run",
    tolerance="at least 20 planted; a known reason for each that is refused",
)
def test_most_plots_end_in_a_plan_and_the_others_in_a_refusal_that_says_why(outcomes):
    runs = runs_of(outcomes)
    planted = [plot for plot, run in runs.items() if len(run.layers["plants"]) >= 5]
    reasons = Counter(
        str(out).split(";")[0] for out in outcomes.values() if isinstance(out, InputError)
    )
    print(f"{len(planted)} of {len(outcomes)} plots planted; refused: {dict(reasons)}")
    assert len(outcomes) == PLOTS
    assert len(planted) >= 20
    known = (
        "no plant may stand anywhere",
        "no side is chosen",
        "too narrow for a row",
        "no plant can be set",
    )
    assert all(any(reason in text for reason in known) for text in reasons), reasons


@pytest.mark.evidence(
    part="Real plots",
    kind="open data",
    against="The same plots: setbacks, crowns inside the parcel and gaps hold on each",
    source="data set bubenec, which the package momepy carries",
    status="run",
    tolerance="no plant outside",
)
def test_no_plan_breaks_a_rule_of_its_own(outcomes):
    for plot, run in runs_of(outcomes).items():
        checks = run.layers["checks"]
        for name in ("setbacks", "crowns inside the parcel"):
            found = checks.loc[checks["check"] == name]
            assert (found["result"] == "passes").all(), (plot, found["says"].tolist())
        # A gap that a rule explains fails by the views that stay open through it, and by nothing else.
        (gaps,) = checks.loc[checks["check"] == "gaps"].itertuples()
        assert gaps.result == "passes" or "where a rule or the line's end" in gaps.says, plot
        if gaps.result == "fails":
            assert (run.layers["views"]["status"] == "stays open").any(), plot
        stems = run.layers["plants"].geometry.to_numpy()
        subject = run.layers["parcels"].loc[run.layers["parcels"]["is_subject"]].union_all()
        assert shapely.covers(subject, stems).all()


@pytest.mark.evidence(
    part="Real plots",
    kind="other software",
    against="The same plots, drawn in web Mercator: geodesic lengths of their outlines",
    source="pyproj.Geod on the data set bubenec of momepy",
    status="run",
    tolerance=f"{1000 * LENGTH_M:g} mm in 100 m",
)
def test_a_tape_reads_ground_metres(outcomes):
    # Another library: the plot's outline by geodesic length on the ellipsoid.
    geod = Geod(ellps="WGS84")
    for plot, run in runs_of(outcomes).items():
        outline = run.layers["parcels"].loc[run.layers["parcels"]["is_subject"]]
        around = geod.geometry_length(
            run.site.frame.send_out(outline, "EPSG:4326").geometry.iloc[0].exterior
        )
        assert run.layers["sides"]["length_m"].sum() == pytest.approx(
            around, abs=LENGTH_M * around / 100
        ), plot
        # Both ends planted and no gap above the spacing: arithmetic on each unbroken line.
        gaps = run.layers["plants"]["gap_before_m"].dropna()
        assert np.median(gaps) <= 0.7 + 1e-6
