"""The summary, and the one way of writing all layers."""

import csv
import json

import geopandas
import pandas as pd
import pyogrio
import pytest
from made_up import make_all, make_layer
from shapely.geometry import Point, box

import screenplan
from screenplan.contracts import (
    CHECKS,
    CLOSURE,
    INPUTS,
    MISSING_PLANTS,
    NEEDED_YEARS,
    OUTPUTS,
    PLANTS,
    SIDES,
    VIEWS,
    WRITTEN,
)
from screenplan.ground.frame import LocalFrame
from screenplan.outputs.geojson import WGS84
from screenplan.outputs.kinds import split_by_kind
from screenplan.outputs.layers import write_layers
from screenplan.outputs.record import file_sha256
from screenplan.outputs.summary import summarise
from screenplan.outputs.who_sees import view_counts


def told(layers, **options):
    rows = summarise(layers, **options)
    assert len(dict(rows)) == len(rows), "a label stands twice"
    return dict(rows)


def test_views_are_counted_by_what_becomes_of_them():
    views = make_layer(VIEWS, rows=6).assign(
        set_apart=None,
        status=["closes", "closes", "stays open", "closed already", "no view", "no view"],
        year_closed=pd.array([3, 9, pd.NA, pd.NA, pd.NA, pd.NA], dtype="Int64"),
        year_closed_low=pd.array([4, 12, pd.NA, pd.NA, pd.NA, pd.NA], dtype="Int64"),
        year_closed_high=pd.array([2, 5, pd.NA, pd.NA, pd.NA, pd.NA], dtype="Int64"),
        evidence="measured",
        opens_again=pd.array([pd.NA] * 6, dtype="Int64"),
        chance_year=pd.array([pd.NA] * 6, dtype="Int64"),
    )
    # Counted by hand.
    assert told({"views": views}) == {
        "In short": "2 of the 3 views that are open today close, 1 stays open.",
        "Views onto private places": "4",
        "  closed by what stands already": "1",
        "  closed by the screen": "2, in years 3 to 9 (2 to 12); growth: measured",
        "  left open": "1",
    }
    apart = told({"views": views.assign(set_apart=["not lived in"] * 6)})
    # Only what stays open needs a reason.
    assert apart["  of them"] == "1 set apart: not lived in 1"
    lines = told({"views": views.iloc[1:2]})
    assert lines["  closed by the screen"] == "1, in year 9 (5 to 12); growth: measured"
    assert lines["In short"] == "The one view that is open today closes."


def test_what_the_plan_closes_is_said_before_anything_else():
    layers = make_all(OUTPUTS, rows=6)
    status = ["stays open"] * 4 + ["no view", "closed already"]
    views = layers["views"].assign(set_apart=None, status=status)
    first = summarise(layers | {"views": views})[0]
    assert first == ("In short", view_counts(views))
    assert first.value.startswith("None of the 4 views that are open today closes")
    shut = views.assign(status="closed already")
    assert summarise({"views": shut})[0].value == (
        "Nobody sees in today: all 6 views are closed by what stands already."
    )
    blind = views.assign(status="no view")
    assert summarise({"views": blind})[0].value == (
        "No window or onlooker that is given sees a private place."
    )
    # Where the views were not followed nothing is said of them.
    del layers["views"]
    assert summarise(layers)[0].label == "Sides of the parcel"


def test_plants_are_counted_by_species_and_the_standing_ones_apart():
    plants = make_layer(PLANTS, rows=4).assign(
        species=["thuja", "holly", "thuja", "thuja"],
        existing=[False, False, False, True],
        moved_m=[0.0, 0.3, 0.0, 0.0],
    )
    assert told({"plants": plants}) == {
        "New plants": "3 (1 holly, 2 thuja)",
        "Plants that stand already": "1",
        "Plants moved along their line": "1",
    }


def test_lengths_are_in_the_units_that_are_asked_for():
    sides = make_layer(SIDES, rows=2).assign(length_m=[30.48, 60.96])
    assert told({"sides": sides}) == {"Sides of the parcel": "2, 91.44 m around"}
    # An international foot is 0.3048 m: 100 and 200 ft.
    assert told({"sides": sides}, units="us") == {"Sides of the parcel": "2, 300.0 ft around"}


def test_a_row_that_never_closes_is_said_so():
    closure = make_layer(CLOSURE, rows=5).assign(
        line_id=list("abcde"),
        growth="typical",
        asked_from_m=0.4,
        asked_height_m=1.8,
        year_closed=pd.array([7, pd.NA, pd.NA, pd.NA, pd.NA], dtype="Int64"),
        mature_closed_from_m=[0.0, 0.2, 0.4, 0.5, 0.0],
        mature_closed_height_m=[4.0, 1.2, 4.0, 4.0, 0.0],
        evidence="own figures",
    )
    assert told({"closure": closure}) == {
        "Row a closes": "from 0.40 m to 1.80 m in year 7; growth: own figures",
        "Row b closes": "not from 0.40 m to 1.80 m; crowns meet from 0.20 m to 1.20 m",
        "Row c closes": "from 0.40 m to 1.80 m only after the years looked at",
        "Row d closes": "not from 0.40 m to 1.80 m; crowns meet from 0.50 m to 4.00 m",
        "Row e closes": "not from 0.40 m to 1.80 m; crowns never meet",
    }


def test_needed_height_and_what_hangs_on_plants_are_told():
    needed = make_layer(NEEDED_YEARS, rows=3).assign(
        line_id=["a", "a", "b"], species=["yew", "box", "yew"], planned=[True, False, True],
        needed_m=[2.1, 2.1, 0.0], reached=["year 6 (5 to 9)", "never at this spacing", ""],
    )  # fmt: skip
    missing = make_layer(MISSING_PLANTS, rows=4).assign(
        plant_id=[4, 1, 1, 3], year=10, reopens=[True, True, True, False],
        open=0.05, open_without=[0.6, 0.2, 0.2, 0.09],
    )  # fmt: skip
    assert told({"needed_years": needed, "missing_plants": missing}) == {
        "Height needed along a": "2.10 m; yew: year 6 (5 to 9)",
        "Height needed along b": "none: no view crosses this row, and its plants close none",
        # The one whose loss opens two views first.
        "Plants that matter most": "2: lose one and a neighbour sees in again (year 10); replace first no. 1, 4",
    }
    assert told({"missing_plants": missing.iloc[:0]}) == {}
    assert told({"missing_plants": missing.assign(reopens=False)}) == {
        "Plants that matter most": "none: no view that is closed hangs on a single plant (year 10)"
    }


def test_checks_are_counted():
    checks = make_layer(CHECKS, rows=4).assign(
        result=["passes", "fails", "passes", "cannot be judged"]
    )
    assert told({"checks": checks}) == {"Checks": "2 passed, 1 failed, 1 not judged"}


def test_a_plan_without_anything_has_a_summary():
    empty = make_all(OUTPUTS, rows=0)
    summary = told(empty)
    assert summary["New plants"] == "0"
    assert summary["Planting lines"] == "none"
    assert summary["Checks"] == "none"
    assert told({}) == {}


def test_all_layers_of_a_run_are_written_and_listed(tmp_path):
    parcel = geopandas.GeoSeries([box(1_450_000, 540_000, 1_450_100, 540_100)], crs=2264)
    frame = LocalFrame.around(parcel)
    layers = make_all(OUTPUTS, frame.crs)
    layers["plants"] = make_layer(PLANTS, frame.crs, rows=1).set_geometry([Point(0, 0)])
    layers["buildings"] = make_layer(INPUTS["buildings"], frame.crs)  # read: in the GeoPackage only
    del layers["closure"]
    written = write_layers(layers, tmp_path, send_out=frame.send_out, crs=frame.source_crs)
    names = [name for name in WRITTEN if name != "closure"]
    rows = {name: len(layer) for name, layer in split_by_kind(layers, OUTPUTS).items()}
    # What has no row is in the GeoPackage alone.
    filled = [name for name in names if rows[name]]
    assert len(filled) < len(names)
    files = {
        name: f"layers/{name}.geojson" if WRITTEN[name].geometry else f"tables/{name}.csv"
        for name in filled
    }
    assert [entry["file"] for entry in written] == [
        *files.values(),
        *(
            style
            for name in filled
            if WRITTEN[name].geometry
            for style in (f"layers/{name}.qml", f"styles/{name}.sld")
        ),
        "plan.gpkg",
    ]
    found = [path for path in tmp_path.rglob("*") if path.is_file()]
    assert sorted(path.relative_to(tmp_path).as_posix() for path in found) == sorted(
        entry["file"] for entry in written
    )
    for entry in written:
        assert entry["sha256"] == file_sha256(tmp_path / entry["file"])
    inside = [*names, "buildings"]
    assert written[-1]["layers"] == {name: count for name, count in rows.items() if name in inside}
    # GDAL lists the layers with a geometry first, then the tables.
    listed = sorted(inside, key=lambda name: name in WRITTEN and not WRITTEN[name].geometry)
    assert [name for name, _ in pyogrio.list_layers(tmp_path / "plan.gpkg")] == [
        *listed,
        "layer_styles",
    ]
    # The frame's own tests hold its transformation; here only which layer went where.
    plant = json.loads((tmp_path / "layers/plants.geojson").read_text())["features"][0]
    lon, lat = plant["geometry"]["coordinates"]
    sent = frame.send_out(layers["plants"], WGS84).geometry.iloc[0]
    assert (lon, lat) == (round(sent.x, 9), round(sent.y, 9))
    home = pyogrio.read_dataframe(tmp_path / "plan.gpkg", layer="plants")
    # The frame's origin is the middle of the parcel, in feet, within the frame's curvature.
    assert home.geometry.iloc[0].distance(Point(1_450_050, 540_050)) < 0.01
    with (tmp_path / "tables/checks.csv").open(encoding="utf-8", newline="") as source:
        assert len(list(csv.DictReader(source))) == len(layers["checks"])


@pytest.mark.parametrize("asked", [False, True])
def test_tables_of_which_only_drawings_are_made_are_written_if_asked_for(tmp_path, asked):
    run = screenplan.run_plan(
        screenplan.sample_plan(), settings=[f"plan.drawing_tables={str(asked).lower()}"]
    )
    folder = screenplan.write_run(run, tmp_path / "plan")
    drawn = {name for name, contract in OUTPUTS.items() if contract.only_drawn}
    assert drawn == {"sections", "sight_outlines", "needed_profile"}
    inside = {name for name, _ in pyogrio.list_layers(folder / "plan.gpkg")}
    files = {path.stem for path in (folder / "tables").iterdir()}
    assert drawn & inside == drawn & files == (drawn if asked else set())
    assert all(len(run.layers[name]) for name in drawn)
