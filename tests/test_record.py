"""The run record: what it says, that it says it the same every time, and what a damaged one gives."""

import datetime as dt
import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from screenplan.ground.errors import InputError
from screenplan.outputs.record import (
    RECORD_FORMAT,
    RunRecord,
    file_sha256,
    read_record,
    relative_to,
    versions,
    write_record,
)

NOON = dt.datetime(2026, 3, 21, 13, 0, tzinfo=dt.timezone(dt.timedelta(hours=1)))


@pytest.fixture
def record(tmp_path):
    return RunRecord(
        frame={"crs_wkt": "PROJCRS[…]", "scale": 1.000012345678901, "height_m": np.nan},
        inputs=[{"file": tmp_path / "data" / "parcels.gpkg", "layer": "lots", "rows": np.int64(3)}],
        parameters={"spacing_m": np.float64(1.5), "along": ("north", "east"), "line": None},
        transformations=({"layer": "roads", "accuracy_m": float("inf")},),
        repairs=pd.DataFrame({"layer": ["parcels"], "row": [2], "repair": ["ring closed"]}),
        warnings=["Hecke über 2 m"],
        outputs=[{"file": "plants.geojson", "sha256": "0" * 64, "layers": {"plants": 12}}],
    )


def test_what_is_written_is_read_back(record, tmp_path):
    path = write_record(record, tmp_path, base=tmp_path, written_at=NOON)
    assert path == tmp_path / "run.json"
    back = read_record(path)
    assert read_record(tmp_path) == back
    assert back.written_at == "2026-03-21T12:00:00Z"  # an hour east of UTC, by hand
    assert back.frame == {"crs_wkt": "PROJCRS[…]", "scale": 1.000012345678901, "height_m": None}
    assert back.inputs == [{"file": "data/parcels.gpkg", "layer": "lots", "rows": 3}]
    assert back.parameters == {"spacing_m": 1.5, "along": ["north", "east"], "line": None}
    assert back.transformations == [{"layer": "roads", "accuracy_m": None}]
    assert back.repairs == [{"layer": "parcels", "row": 2, "repair": "ring closed"}]
    assert back.warnings == ["Hecke über 2 m"]
    assert list(back.files) == ["plants.geojson"]
    assert back.files["plants.geojson"]["layers"] == {"plants": 12}
    assert back.format == RECORD_FORMAT


def test_two_records_differ_in_their_time_only(record, tmp_path):
    texts = []
    for day in (1, 2):
        (tmp_path / str(day)).mkdir()
        moment = NOON.replace(day=day)
        path = write_record(record, tmp_path / str(day), base=tmp_path, written_at=moment)
        texts.append(path.read_text("utf-8").splitlines())
    different = [pair for pair in zip(*texts, strict=True) if pair[0] != pair[1]]
    assert different == [
        ('  "written_at": "2026-03-01T12:00:00Z",', '  "written_at": "2026-03-02T12:00:00Z",')
    ]


def test_no_path_of_this_machine_is_in_it(record, tmp_path):
    path = write_record(record, tmp_path, base=tmp_path)
    assert str(tmp_path) not in path.read_text("utf-8")


def test_it_is_json_without_nan(record, tmp_path):
    path = write_record(record, tmp_path, base=tmp_path)

    def constant(name):
        pytest.fail(f"{name} is not JSON")

    json.loads(path.read_bytes(), parse_constant=constant)


def test_values_of_every_kind_become_plain(tmp_path):
    values = {
        "na": pd.NA,
        "nat": pd.NaT,
        "day": dt.date(2026, 3, 21),
        "array": np.array([1.0, np.nan]),
        "set": {"b", "a"},
        "yes": np.True_,
        "path": [tmp_path / "a b.toml", tmp_path.parent / "up.toml"],
        7: "number as key",
    }
    back = read_record(write_record(RunRecord(parameters=values), tmp_path, base=tmp_path))
    assert back.parameters == {
        "na": None,
        "nat": None,
        "day": "2026-03-21",
        "array": [1.0, None],
        "set": ["a", "b"],
        "yes": True,
        "path": ["a b.toml", "../up.toml"],
        "7": "number as key",
    }


def test_the_versions_are_those_of_the_libraries():
    import fiona
    import pyogrio
    import pyproj
    import shapely

    found = versions()
    assert found["gdal_vector"] == fiona.__gdal_version__
    assert tuple(int(part) for part in found["gdal_written"].split(".")) == pyogrio.__gdal_version__
    assert found["proj"] == pyproj.proj_version_str
    assert found["geos"] == shapely.geos_version_string
    assert found["numpy"] == np.__version__
    assert found["python"] == ".".join(map(str, sys.version_info[:3]))


@pytest.mark.evidence(
    part="Files",
    kind="standard",
    against="The checksum of the message abc",
    source="FIPS 180-4, example",
    status="code",
    tolerance="exact",
)
def test_a_sum_is_the_published_one(tmp_path):
    path = tmp_path / "abc"
    path.write_bytes(b"abc")
    # FIPS 180-4's example for the message "abc".
    published = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert file_sha256(path) == published


def test_a_path_on_another_drive_is_named_without_it(monkeypatch):
    def refuse(*_):
        raise ValueError("path is on mount 'D:', start on mount 'C:'")

    monkeypatch.setattr("screenplan.outputs.record.os.path.relpath", refuse)
    assert relative_to(Path("parcels.gpkg"), Path("elsewhere")) == "parcels.gpkg"


def test_reading_it_needs_no_heavy_library():
    program = (
        "import sys, screenplan.outputs.record, screenplan.outputs.folder\n"
        "heavy = {'numpy', 'pandas', 'geopandas', 'fiona', 'pyproj', 'shapely'} & set(sys.modules)\n"
        "sys.exit(f'imported: {heavy}' if heavy else 0)"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr


WHOLE = json.dumps(
    {
        "format": RECORD_FORMAT,
        "written_at": "",
        "frame": {},
        "inputs": [],
        "parameters": {},
        "transformations": [],
        "repairs": [],
        "warnings": [],
        "outputs": [],
        "versions": {},
    }
)


def without(key):
    return json.dumps({name: value for name, value in json.loads(WHOLE).items() if name != key})


def changed(**values):
    return json.dumps(json.loads(WHOLE) | values)


def test_the_whole_one_is_read(tmp_path):
    (tmp_path / "run.json").write_text(WHOLE)
    assert read_record(tmp_path) == RunRecord(
        inputs=[], transformations=[], repairs=[], warnings=[], outputs=[]
    )


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (WHOLE[:-20], r"run.json: The run record is damaged \(.*line 1.*\). Run the plan again"),
        ("", r"The run record is damaged \(Expecting value"),
        ("[" * 100_000, r"The run record is damaged"),
        ("[]", r"damaged \(it is not a JSON object\)"),
        ("{}", r"It is not a run record \(it has no format number\). Name the run.json"),
        (changed(format=True), r"It is not a run record"),
        (changed(format=99), r"A newer version of screenplan .* \(format 99\). Update screenplan"),
        (without("frame"), r"damaged \(it lacks frame\)"),
        (changed(inputs={}), r"damaged \(inputs is not a list\)"),
        (changed(frame=[]), r"damaged \(frame is not an object\)"),
        (changed(outputs=["a"]), r"an output has no file name inside the folder"),
        (changed(outputs=[{"file": "/etc/x", "sha256": ""}]), r"no file name inside"),
        (changed(outputs=[{"file": "a/../../x", "sha256": ""}]), r"no file name inside"),
        (changed(outputs=[{"file": "C:x", "sha256": ""}]), r"no file name inside"),
    ],
)
def test_a_damaged_one_is_refused(text, message, tmp_path):
    (tmp_path / "run.json").write_text(text)
    with pytest.raises(InputError, match=message):
        read_record(tmp_path / "run.json")


def test_bytes_that_are_no_text_are_refused(tmp_path):
    (tmp_path / "run.json").write_bytes(b"\xff\xfe{")
    with pytest.raises(InputError, match=r"The run record is damaged \('utf-8' codec"):
        read_record(tmp_path)


def test_a_missing_one_is_refused(tmp_path):
    with pytest.raises(InputError, match=r"There is no run record. Run the plan first, or name"):
        read_record(tmp_path)
