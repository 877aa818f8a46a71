"""``screenplan county``: the same answer as from Python, by processes and by a client; refusals; pace."""

import io
import json
import os
import subprocess
import sys

import numpy as np
import pandas as pd
import pytest
import rasterio
from click.testing import CliRunner
from county_kit import CRS, EAST, NORTH, PLAN, lots, sides_of
from rasterio import Affine

import screenplan
from screenplan.commandline import county as command
from screenplan.commandline.county import Pace, progress_of_parcels
from screenplan.commandline.main import main
from screenplan.county import sharing
from screenplan.county.sharing import share_out
from screenplan.plan.text import short_text

#: Lots of these tests.
COUNT = 4
#: One look, and one line that it crosses.
COME_NEAR = """
import numpy as np, shapely
look, line = np.array([[[0.0, 0.0], [2.0, 0.0]]]), np.array([shapely.LineString([(1, -1), (1, 1)])])
nearness.come_near(look, line, np.array([0]), np.array([1]), 0.5)
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A plan and a GeoPackage whose columns are called as elsewhere."""
    place = tmp_path_factory.mktemp("files")
    (place / "county.toml").write_text(short_text(PLAN), encoding="utf-8")
    layers = lots(COUNT)
    layers["parcels"].rename(columns={"parcel_id": "PARCEL_ID"}).to_file(place / "lots.gpkg", layer="parcels")  # fmt: skip
    for name in ("buildings", "roads"):
        layers[name].to_file(place / "lots.gpkg", layer=name)
    return place


@pytest.fixture(scope="module")
def expected(tmp_path_factory):
    out = tmp_path_factory.mktemp("python") / "county"
    return screenplan.run_county(PLAN, layers=lots(COUNT), out=out)


def call(folder, *more):
    words = [
        "county", str(folder / "county.toml"), *more,
        *(f"--{name}={folder / 'lots.gpkg'}:{name}" for name in ("parcels", "buildings", "roads")),
    ]  # fmt: skip
    return CliRunner().invoke(main, words)


def read_sides(out):
    parts = [pd.read_parquet(path) for path in sorted((out / "county_sides").glob("*.parquet"))]
    return pd.concat(parts, ignore_index=True).sort_values(["parcel_id", "side_id"], ignore_index=True)  # fmt: skip


def test_files_give_what_layers_in_memory_give_and_both_faces_say_it(folder, tmp_path, expected):
    done = call(folder, "--out", str(tmp_path / "out"), "--plants", "--json")
    assert done.exit_code == 0, done.output
    said = json.loads(done.stdout)
    assert said["totals"] == expected.totals
    assert said["parcels"] == COUNT
    assert "PARCEL_ID" in done.stderr
    assert f"{COUNT} of {COUNT} parcels" in done.stderr
    mine, theirs = read_sides(tmp_path / "out"), sides_of(expected)
    columns = [name for name in theirs if name != "geometry"]
    assert mine[columns].astype(object).where(mine[columns].notna(), None).values.tolist() == theirs[columns].astype(object).where(theirs[columns].notna(), None).values.tolist()  # fmt: skip
    assert list((tmp_path / "out" / "county_plants").iterdir())
    assert not (tmp_path / "out" / "county_lines").exists()
    # The same command again finds it all done, and tells it in a table.
    again = call(folder, "--out", str(tmp_path / "out"), "--plants")
    assert again.exit_code == 0
    assert "1 of 1 partitions were done by an earlier run" in again.stdout
    assert f"plants{expected.totals['plants']:>22}".split() in [line.split() for line in again.stdout.splitlines()]  # fmt: skip


def test_processes_give_the_same_rows(folder, tmp_path, expected):
    done = call(
        folder, "--out", str(tmp_path / "out"), "--workers", "2", "--at-once", "2", "--json"
    )
    assert done.exit_code == 0, done.output
    said = json.loads(done.stdout)
    assert said["partitions"] == 2
    assert said["totals"] == expected.totals
    mine, theirs = read_sides(tmp_path / "out"), sides_of(expected)
    for name in ("plants", "views_open", "closed_y10", "needed_m", "rays"):
        assert mine[name].fillna(-1).tolist() == theirs[name].fillna(-1).tolist()


def test_a_client_gives_the_same_rows(tmp_path, expected):
    distributed = pytest.importorskip("distributed")
    with (
        distributed.LocalCluster(n_workers=1, threads_per_worker=2, processes=False, dashboard_address=None) as cluster,
        distributed.Client(cluster) as client,
    ):  # fmt: skip
        run = screenplan.run_county(PLAN, layers=lots(COUNT), out=tmp_path / "out", client=client, options={"at_once": 1})  # fmt: skip
    assert run.parts == COUNT
    assert sides_of(run).equals(sides_of(expected))


@pytest.mark.parametrize("ready", [False, True])
def test_loops_that_must_be_compiled_are_compiled_by_one_process_first(monkeypatch, ready):
    monkeypatch.setattr(sharing, "is_compiled", lambda: ready)
    handed = []

    def parts():
        for k in range(6):
            handed.append(k)
            yield (k,)

    answers = share_out(abs, parts(), workers=2)
    first = next(answers)
    if ready:
        assert len(handed) >= 2 * sharing.AHEAD
    else:
        assert (handed, first) == ([0], 0)
    assert sorted([first, *answers]) == list(range(6))


def test_a_loop_is_known_to_be_compiled_by_what_numba_keeps(tmp_path):
    code = f"""
from pathlib import Path
from screenplan.county import nearness
print(nearness.is_compiled())
{COME_NEAR}
print(nearness.is_compiled(), Path(nearness._come_near.stats.cache_path).is_relative_to({str(tmp_path)!r}))
"""
    said = subprocess.run(
        [sys.executable, "-c", code], env=os.environ | {"NUMBA_CACHE_DIR": str(tmp_path)}, capture_output=True, text=True, check=True,
    ).stdout  # fmt: skip
    assert said.split() == ["False", "True", "True"]


def test_the_ground_is_read_by_window_and_changes_what_is_seen(folder, tmp_path, expected):
    # A slope of 1 in 4 rising to the north; flat ground, given as a raster, changes nothing.
    x, y = EAST - 200.0, NORTH + 300.0
    heights = {"flat": np.zeros((60, 60)), "steep": np.repeat(np.linspace(150.0, 0.0, 60)[:, None], 60, axis=1)}  # fmt: skip
    totals = {}
    for name, z in heights.items():
        path = tmp_path / f"{name}.tif"
        with rasterio.open(path, "w", driver="GTiff", width=60, height=60, count=1, dtype="float32", crs=CRS, transform=Affine(10.0, 0.0, x, 0.0, -10.0, y)) as raster:  # fmt: skip
            raster.write(z.astype("float32"), 1)
            raster.units = ("m",)
        done = call(folder, "--out", str(tmp_path / name), "--terrain", str(path), "--json")
        assert done.exit_code == 0, done.output
        said = json.loads(done.stdout)
        assert not any("taken as level" in warning for warning in said["warnings"])
        totals[name] = said["totals"]
    assert totals["flat"]["views_open"] == expected.totals["views_open"]
    assert totals["steep"] != totals["flat"]


@pytest.mark.parametrize(
    ("more", "says"),
    [
        (["--layer", "trees=a.gpkg"], "names no layer that a county reads"),
        (["--id-column", "PIN"], "There is no column 'PIN'"),
        (["--set", 'rows.along=["north"]'], "classes of sides in county.planted"),
        (["--scheduler", "tcp://127.0.0.1:9"], "no scheduler answers"),
        (["--set", "county.rays=-1"], "county.rays"),
    ],
)
def test_what_is_wrong_is_said_and_leaves_nothing(folder, tmp_path, monkeypatch, more, says):
    monkeypatch.setattr(command, "ANSWERS_S", 1)
    done = call(folder, "--out", str(tmp_path / "out"), *more)
    assert done.exit_code == 2, done.output
    assert says in done.stderr
    assert not (tmp_path / "out").exists()


def test_without_the_extra_it_says_what_to_install(folder, tmp_path, monkeypatch):
    import builtins

    real = builtins.__import__

    def lacking(name, *rest, **more):
        if name.split(".")[0] == "pyarrow":
            raise ImportError(name)
        return real(name, *rest, **more)

    monkeypatch.setattr("screenplan.ground.extras.import_module", lambda name: lacking(name))
    done = call(folder, "--out", str(tmp_path / "out"))
    assert done.exit_code == 2
    assert 'pip install "screenplan[county]"' in done.stderr


def test_an_earlier_runs_parcels_do_not_count_for_the_pace():
    # By hand: 200 in 40 s are 5 a second, and 700 are left.
    seconds = iter([0.0, 40.0, 40.0])
    pace = Pace(lambda: next(seconds))
    assert pace.told(100, 1000) == "100 of 1000 parcels"
    assert pace.told(300, 1000) == "300 of 1000 parcels, 5 a second, 2 min 20 s left"
    assert pace.told(0, 0) == ""


@pytest.mark.parametrize(("rate", "text"), [(0.01, "1 d 3 h left"), (0.1, "2 h 46 min left"), (1000.0, "1 s left")])  # fmt: skip
def test_the_time_left_is_told_in_its_two_largest_units(rate, text):
    # 1,000 parcels are left: 100,000 s, 10,000 s and 1 s.
    seconds = iter([0.0, 1.0 / rate])
    pace = Pace(lambda: next(seconds))
    pace.told(0, 1001)
    assert pace.told(1, 1001).endswith(text)


def test_a_file_of_messages_gets_a_line_now_and_then(monkeypatch):
    monkeypatch.setattr(command, "BETWEEN_S", 3600.0)
    stream = io.StringIO()
    with progress_of_parcels(stream) as tell:
        tell("reading the layers", 0, 0)
        for done in range(0, 101, 10):
            tell("planning", done, 100)
    lines = stream.getvalue().splitlines()
    assert len(lines) == 2
    assert lines[0] == "planning: 0 of 100 parcels"
    assert lines[1].startswith("planning: 100 of 100 parcels, ")


def test_parts_are_not_taken_ahead_of_the_work():
    # By hand: in this process one after the other, each taken when the one before is done.
    taken = []

    def parts():
        for k in range(3):
            taken.append(k)
            yield (k,)

    done = share_out(lambda k: 10 * k, parts())
    assert next(done) == 0
    assert taken == [0]
    assert list(done) == [10, 20]
