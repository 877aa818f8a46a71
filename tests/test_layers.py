"""The one way of writing all layers."""

import csv
import json

import geopandas
import pyogrio
import pytest
from made_up import make_all, make_layer
from shapely.geometry import Point, box

import screenplan
from screenplan.contracts import (
    INPUTS,
    OUTPUTS,
    PLANTS,
    WRITTEN,
)
from screenplan.ground.frame import LocalFrame
from screenplan.outputs.geojson import WGS84
from screenplan.outputs.kinds import split_by_kind
from screenplan.outputs.layers import write_layers
from screenplan.outputs.record import file_sha256


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
