"""A county that goes on: what is done stays, what is missing is done, and nothing else goes on in its folder."""

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from county_kit import PLAN, lots, sides_of

import screenplan
from screenplan.county import whole
from screenplan.county.state import CountyFolder

#: Parcels of a partition here.
AT_ONCE = {"at_once": 2}


@pytest.fixture(scope="module")
def layers():
    return lots(6)


@pytest.fixture(scope="module")
def finished(layers, tmp_path_factory):
    out = tmp_path_factory.mktemp("county") / "finished"
    return screenplan.run_county(PLAN, layers=layers, out=out, options=AT_ONCE)


def test_only_what_is_missing_is_done_again(layers, tmp_path, monkeypatch, finished):
    out = tmp_path / "county"
    screenplan.run_county(PLAN, layers=layers, out=out, options=AT_ONCE)
    # As if the run had been killed between a part and its mark.
    CountyFolder(out).mark(1).unlink()
    kept = {number: CountyFolder(out).part("county_sides", number) for number in (0, 2)}
    before = {number: path.stat().st_mtime_ns for number, path in kept.items()}
    planned = []
    real = whole.plan_partition
    monkeypatch.setattr(whole, "plan_partition", lambda *given: planned.append(given[1:]) or real(*given))  # fmt: skip
    told = []
    again = screenplan.run_county(
        PLAN, layers=layers, out=out, options=AT_ONCE, progress=lambda *what: told.append(what)
    )
    assert planned == [(2, 4)]
    assert again.done_before == 2
    assert {number: path.stat().st_mtime_ns for number, path in kept.items()} == before
    assert [(done, total) for what, done, total in told if what == "planning"] == [(4, 6), (6, 6)]
    assert sides_of(again).equals(sides_of(finished))
    assert again.totals == finished.totals
    # Nothing is missing: nothing is planned, and the answer is the same.
    planned.clear()
    assert screenplan.run_county(PLAN, layers=layers, out=out, options=AT_ONCE).totals == finished.totals  # fmt: skip
    assert planned == []


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"plan": PLAN | {"rows": {"spacing": "3 m"}}}, "begun with another plan,"),
        ({"options": {"at_once": 3}}, "another number of parcels at once"),
        ({"options": AT_ONCE | {"wanted": ("plants",)}}, "other layers wanted"),
    ],
)
def test_another_run_does_not_go_on_in_the_folder(layers, finished, change, says):
    given = {"plan": PLAN, "options": AT_ONCE} | change
    with pytest.raises(screenplan.InputError, match=says):
        screenplan.run_county(given["plan"], layers=layers, out=finished.folder, options=given["options"])  # fmt: skip


def test_other_layers_do_not_go_on_and_are_named(layers, finished):
    moved = layers["buildings"].copy()
    moved["storeys"] = 3
    with pytest.raises(screenplan.InputError, match=r"begun with other layers \(buildings\)"):
        screenplan.run_county(PLAN, layers=layers | {"buildings": moved}, out=finished.folder, options=AT_ONCE)  # fmt: skip


def test_what_sheets_are_called_is_no_other_plan(layers, finished):
    run = screenplan.run_county(PLAN | {"plan": {"title": "Elms"}}, layers=layers, out=finished.folder, options=AT_ONCE)  # fmt: skip
    assert run.done_before == run.parts == 3


def test_a_folder_with_other_files_is_refused_and_untouched(layers, tmp_path):
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(
        screenplan.InputError, match=r"files that no county run wrote \(notes.txt\)"
    ):
        screenplan.run_county(PLAN, layers=layers, out=tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["notes.txt"]
    with pytest.raises(screenplan.InputError, match="nowhere, does not exist"):
        screenplan.run_county(PLAN, layers=layers, out=tmp_path / "nowhere" / "county")


def test_a_layer_that_cannot_be_laid_out_leaves_nothing(layers, tmp_path):
    bare = layers["buildings"].set_crs(None, allow_override=True)
    with pytest.raises(screenplan.InputError, match="has no CRS"):
        screenplan.run_county(PLAN, layers=layers | {"buildings": bare}, out=tmp_path / "bare")
    assert list(tmp_path.iterdir()) == []


def test_two_runs_do_not_write_one_folder(layers, tmp_path):
    from screenplan.outputs.lock import Lock

    lock = Lock(tmp_path / ".county~lock")
    lock.acquire()
    try:
        with pytest.raises(screenplan.InputError, match="Another run is writing this folder"):
            screenplan.run_county(PLAN, layers=layers, out=tmp_path / "county")
    finally:
        lock.release()


RUN = """
import sys
sys.path.insert(0, {tests!r})
import screenplan
from county_kit import PLAN, lots
screenplan.run_county(PLAN, layers=lots(6), out={out!r}, options={{"at_once": 1}})
"""


@pytest.mark.skipif(os.name == "nt", reason="kills by a signal")
def test_a_run_that_is_killed_at_ten_moments_ends_the_same(tmp_path, finished):
    """Killed at once, without a chance to tidy up; each time it goes on with what is missing."""
    out = tmp_path / "killed"
    code = RUN.format(tests=str(Path(__file__).parent), out=str(out))
    moments, done = random.Random(7), []
    for _ in range(10):
        running = subprocess.Popen([sys.executable, "-c", code])
        folder = CountyFolder(out)
        begun = time.monotonic()
        # From the moment when it has begun to write, so that a slow machine is killed as often within its work.
        while not (folder.work / "begun.json").exists() and time.monotonic() - begun < 60:
            time.sleep(0.01)
        time.sleep(moments.uniform(0.0, 4.0))
        running.send_signal(signal.SIGKILL)
        running.wait()
        marks = set(folder.done())
        assert not done or marks >= done[-1]
        done.append(marks)
    last = screenplan.run_county(PLAN, layers=lots(6), out=out, options={"at_once": 1})
    assert last.done_before == len(done[-1])
    assert sides_of(last).equals(sides_of(finished))
    assert last.totals == finished.totals
    left = [path.name for path in out.rglob(".*")]
    assert left == [], "what a killed run left half written is gone"
