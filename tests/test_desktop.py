"""Every layer that is written opens in the desktop GIS, headless, as what it is."""

import hashlib

import numpy as np
import pytest
from desktop_kit import PLACES, ask_desktop, parcel_at, why_not
from made_up import TEXTS, make_all
from pyproj import CRS

from screenplan.contracts import OUTPUTS, SURROUNDINGS, WRITTEN, as_written
from screenplan.contracts.written import KINDS
from screenplan.ground.frame import LocalFrame
from screenplan.outputs.geojson import WGS84
from screenplan.outputs.kinds import split_by_kind
from screenplan.outputs.layers import GEOPACKAGE_NAME, write_layers

pytestmark = pytest.mark.desktop

ROWS = 5

#: Field types as the desktop GIS names them.
FIELD_TYPES = {
    "text": "String",
    "number": "Real",
    "integer": {"Integer", "Integer64"},
    "boolean": "Boolean",
    "date": "Date",
}


def open_in_desktop(addresses, home):
    """Open layers in a process of the desktop GIS: what it saw, and what it complained about."""
    return ask_desktop("desktop_open_layers.py", [str(address) for address in addresses], home)


@pytest.fixture(scope="module", params=PLACES)
def opened(request, tmp_path_factory):
    """Write every layer of a made-up plan and open each as GeoJSON and in the GeoPackage."""
    reason = why_not()
    if reason:
        pytest.skip(reason)
    folder = tmp_path_factory.mktemp("plan")
    frame = LocalFrame.around(parcel_at(request.param))
    layers = make_all(OUTPUTS, frame.crs, rows=ROWS, origin=(-20.0, 3.0))
    written = write_layers(layers, folder, send_out=frame.send_out, crs=frame.source_crs)
    layers = split_by_kind(layers, OUTPUTS)
    names = [name for name, contract in WRITTEN.items() if contract.geometry]
    package = folder / GEOPACKAGE_NAME
    before = hashlib.sha256(package.read_bytes()).hexdigest()
    assert written[-1]["sha256"] == before
    seen, complaints = open_in_desktop(
        [folder / "layers" / f"{name}.geojson" for name in names]
        + [f"{package}|layername={name}" for name in WRITTEN],
        tmp_path_factory.mktemp("home"),
    )
    assert complaints == ""
    assert hashlib.sha256(package.read_bytes()).hexdigest() == before
    assert sorted(
        path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()
    ) == sorted(entry["file"] for entry in written)
    geojson = dict(zip(names, seen, strict=False))
    return frame, layers, geojson, dict(zip(WRITTEN, seen[len(names) :], strict=True))


def assert_is(found, contract, layer):
    """Hold what the desktop GIS sees against the layer that was written."""
    name = contract.name
    assert found["valid"], name
    assert found["promised"] == found["count"] == len(layer), name
    assert found["all_valid"], name
    fields = dict(found["fields"])
    fields.pop("fid", None)
    assert list(fields) == [column for column in layer.columns if column != "geometry"], name
    for label, kind in fields.items():
        expected = FIELD_TYPES[contract.column(label).type]
        assert kind in ({expected} if isinstance(expected, str) else expected), (name, label)


def assert_lies_at(found, layer, tolerance):
    np.testing.assert_allclose(found["extent"], layer.total_bounds, rtol=0, atol=tolerance)


@pytest.mark.evidence(
    part="Desktop GIS and servers",
    kind="other software",
    against="Every GeoJSON layer in a desktop GIS: fields, types, rows, reference system, extent",
    source="QGIS, headless",
    status="run",
    tolerance="half of the last decimal written",
)
def test_every_geojson_layer_opens(opened):
    frame, layers, geojson, _ = opened
    assert len(geojson) == sum(bool(contract.geometry) for contract in WRITTEN.values())
    for name, found in geojson.items():
        assert_is(found, WRITTEN[name], layers[name])
        assert found["crs"] == "EPSG:4326", name
        assert found["crs_valid"], name
        # 9 decimals are written, half of the last one may be lost.
        assert_lies_at(found, frame.send_out(layers[name], WGS84), 0.6e-9)
        # What is single or multiple is kept for each feature.
        assert set(found["types"]) <= set(WRITTEN[name].geometry) | _promoted(found), name
        assert found["layer_type"] != "NoGeometry", name


@pytest.mark.evidence(
    part="Desktop GIS and servers",
    kind="other software",
    against="Every layer of the GeoPackage in a desktop GIS",
    source="QGIS, headless",
    status="run",
    tolerance="the last bit",
)
def test_every_geopackage_layer_opens(opened):
    frame, layers, _, package = opened
    assert list(package) == list(WRITTEN)
    for name, found in package.items():
        contract = WRITTEN[name]
        assert_is(found, contract, layers[name])
        if not contract.geometry:
            assert found["layer_type"] == "NoGeometry", name
            continue
        assert found["crs_valid"], name
        code = frame.source_crs.to_authority(min_confidence=100)
        assert found["crs"] == (":".join(code) if code else ""), name
        assert CRS(found["crs_wkt"]).equals(frame.source_crs, ignore_axis_order=True), name
        # The numbers are stored as they are: only their last bit may differ.
        at_home = frame.send_out(layers[name], frame.source_crs)
        assert_lies_at(found, at_home, 1e-12 * np.abs(at_home.total_bounds).max())
        assert set(found["types"]) <= set(contract.geometry) | _promoted(found), name


def test_text_arrives_whole(opened):
    _, layers, geojson, package = opened
    for found in (geojson["no_plant_zones"], package["no_plant_zones"]):
        assert TEXTS[0] in found["first"]
    assert layers["no_plant_zones"]["reason"].iloc[0] == TEXTS[0]


def _promoted(found):
    """A layer of single and multiple polygons is one of multiple ones in the desktop GIS."""
    return {"MultiPolygon"} if found["layer_type"] == "MultiPolygon" else set()


def test_a_damaged_layer_is_seen_to_be_one(tmp_path):
    reason = why_not()
    if reason:
        pytest.skip(reason)
    (tmp_path / "half.geojson").write_text('{"type": "FeatureCollection", "features": [{"type"')
    (tmp_path / "home").mkdir()
    found, complaints = open_in_desktop([tmp_path / "half.geojson"], tmp_path / "home")
    assert [layer["valid"] for layer in found] == [False]
    assert "Unterminated object" in complaints


def test_the_sample_plan_opens_whole(tmp_path):
    """The run that a newcomer makes first: every layer valid, with its rows, where the lot is."""
    from screenplan.commandline.sample import sample_plan
    from screenplan.outputs.record import read_record
    from screenplan.running.pipeline import run_plan
    from screenplan.running.writing import write_run

    reason = why_not()
    if reason:
        pytest.skip(reason)
    run = run_plan(sample_plan())
    folder = write_run(run, tmp_path / "plan")
    counts, known = {}, WRITTEN | as_written(SURROUNDINGS)
    for entry in read_record(folder).outputs:
        if entry["file"].endswith((".geojson", ".gpkg")):
            counts |= {(entry["file"], name): rows for name, rows in entry["layers"].items()}
    addresses = [
        f"{folder / file}|layername={name}" if file.endswith(".gpkg") else folder / file
        for file, name in counts
    ]
    (tmp_path / "home").mkdir()
    seen, complaints = open_in_desktop(addresses, tmp_path / "home")
    assert complaints == ""
    near = run.site.frame.send_out(run.layers["parcels"], WGS84).total_bounds
    for (file, name), found in zip(counts, seen, strict=True):
        assert found["valid"], (file, name)
        assert found["count"] == counts[file, name], (file, name)
        if file.endswith(".geojson") and found["count"]:
            assert found["crs"] == "EPSG:4326"
            west, south, east, north = found["extent"]
            # A hundredth of a degree is about 1 km: no layer lies elsewhere.
            assert near[0] - 0.01 < west <= east < near[2] + 0.01, name
            assert near[1] - 0.01 < south <= north < near[3] + 0.01, name
        elif file.endswith(".gpkg") and known[name].geometry:
            assert found["crs"] == "EPSG:32625", name
            kind = next(kind for kind, types in KINDS.items() if known[name].geometry[0] in types)
            assert found["kind"] == kind, name
