"""A whole plan on layers in memory, and the kinds of errors that a caller can tell apart."""

import json
import pickle

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

import screenplan
from screenplan.plan import read_plan

LEFT, LOW = 500000.0, 5500000.0


def lot(shape=None, crs="EPSG:25832"):
    shape = shapely.box(0, 0, 30, 45) if shape is None else shape
    moved = shapely.transform(shape, lambda xy: np.add(xy, (LEFT, LOW)))
    return gpd.GeoDataFrame({"parcel_id": ["7"]}, geometry=[moved], crs=crs)


@pytest.fixture(scope="module")
def sample():
    """The sample plan, and its layers as a person reads them, one of them in another system."""
    plan, folder = read_plan(screenplan.sample_plan())
    frames = {}
    for name, source in plan.layers.items():
        frame = gpd.read_file(folder / source.file, layer=source.layer)
        names = {own: ours for ours, own in source.columns.items()}
        frames[name] = frame.rename(columns=names)
    return plan, folder, frames


def test_a_plan_runs_on_frames_as_on_files(sample, tmp_path):
    # Evidence: invariant; the same rows give the same layers, whether they come from files or not.
    plan, folder, frames = sample
    before = {name: frame.copy() for name, frame in frames.items()}
    wanted = ["planting_lines", "plants", "view_years"]
    ours = screenplan.run_plan(plan, folder, layers=frames, only=wanted)
    theirs = screenplan.run_plan(plan, folder, only=wanted)
    for name in wanted:
        pd.testing.assert_frame_equal(
            pd.DataFrame(ours.layers[name]), pd.DataFrame(theirs.layers[name]), check_exact=False
        )
    assert {entry["file"] for entry in ours.site.inputs if entry["name"] in frames} == {None}
    for name, frame in frames.items():
        pd.testing.assert_frame_equal(pd.DataFrame(frame), pd.DataFrame(before[name]))


def test_each_frame_may_be_in_its_own_system():
    road = gpd.GeoDataFrame({"road_id": ["r"]}, geometry=[shapely.LineString([(LEFT - 50, LOW - 5), (LEFT + 80, LOW - 5)])],
                            crs="EPSG:25832").to_crs("EPSG:4326")  # fmt: skip
    run = screenplan.run_plan({}, layers={"parcels": lot(), "roads": road}, only=["sides"])
    sides = run.layers["sides"].set_index("side_id")
    assert sides.loc["south", "across_kind"] == "road"


def test_the_record_says_that_a_layer_was_in_memory(tmp_path):
    run = screenplan.run_plan({}, layers={"parcels": lot()}, settings=["rows.along=['north']"])
    folder = screenplan.write_run(run, tmp_path / "plan")
    (entry,) = json.loads((folder / "run.json").read_text("utf-8"))["inputs"]
    assert (entry["name"], entry["file"], entry["rows"]) == ("parcels", None, 1)


def test_a_run_is_used_again_for_the_same_frames_only():
    parcels = lot()
    run = screenplan.run_plan({}, layers={"parcels": parcels}, only=["sides"])
    again = screenplan.run_plan({}, layers={"parcels": parcels}, only=["sides"], reuse=run)
    assert again.site is run.site
    assert screenplan.run_plan({}, only=["sides"], reuse=run).site is run.site
    with pytest.raises(screenplan.InputError, match="read other layers in memory"):
        screenplan.run_plan({}, layers={"parcels": lot()}, only=["sides"], reuse=run)


CROSSING = shapely.Polygon([(0, 0), (30, 45), (30, 0), (0, 45)])
NARROW = shapely.box(0, 0, 2.5, 40)
NORTH = ["rows.along=['north']"]


@pytest.mark.parametrize(
    ("kind", "layers", "settings", "message"),
    [
        (screenplan.GeometryError, {"parcels": lot(CROSSING)}, NORTH, "layer parcels, row 1: The polygon is invalid"),
        (screenplan.GeometryError, {"parcels": pd.DataFrame({"parcel_id": ["7"]})}, NORTH, "DataFrame without geometry"),
        (screenplan.ReferenceSystemError, {"parcels": lot(crs=None)}, NORTH, "The layer has no CRS"),
        (screenplan.NoRoomError, {"parcels": lot(NARROW)}, ["rows.along=['east']"], "."),
        (screenplan.NobodyLooksError, {"parcels": lot()}, [], "nobody looks onto a private place"),
    ],
)  # fmt: skip
def test_kinds_of_errors_can_be_caught(kind, layers, settings, message):
    with pytest.raises(kind, match=message) as refusal:
        screenplan.run_plan({}, layers=layers, settings=settings)
    assert type(refusal.value) is kind
    assert isinstance(refusal.value, screenplan.InputError)
    again = pickle.loads(pickle.dumps(refusal.value))
    assert (type(again), again.problems) == (kind, refusal.value.problems)


@pytest.mark.parametrize(
    ("layers", "settings", "message"),
    [
        ({}, [], "layers.parcels is missing"),
        ({"parcels": lot()}, ["rows.spacing=1"], "key rows.spacing"),
        ({"lots": lot()}, [], "layers.parcels is missing|no layer called 'lots'"),
    ],
)
def test_other_input_is_of_no_special_kind(layers, settings, message):
    with pytest.raises(screenplan.InputError, match=message) as refusal:
        screenplan.run_plan({}, layers=layers, settings=settings)
    assert type(refusal.value) is screenplan.InputError
