"""The output folder: whole or not at all, whatever moment a run is killed at."""

import errno
import json
import os
import sqlite3
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest
from folder_runs import fill, run_into, run_with

from screenplan.ground.errors import InputError
from screenplan.outputs import folder as folder_module
from screenplan.outputs.folder import OutputFolder
from screenplan.outputs.record import RunRecord, describe_output, file_sha256, write_record

#: How many steps of a run are tried at most; the test fails if a run has more.
MOST_STEPS = 200


def content(target):
    return {path.name: path.read_text() for path in Path(target).iterdir()}


def assert_holds(target, text):
    found = content(target)
    record = json.loads(found.pop("run.json"))
    assert found == {
        "plants.geojson": f"plants.geojson {text}",
        "plan.gpkg": f"plan.gpkg {text}",
    }
    for entry in record["outputs"]:
        assert entry["sha256"] == file_sha256(target / entry["file"])


@pytest.fixture
def target(tmp_path):
    return tmp_path / "plan"


def test_a_first_run_makes_the_folder_and_leaves_nothing_beside_it(target):
    run_into(target, "one")
    assert_holds(target, "one")
    assert os.listdir(target.parent) == ["plan"]  # noqa: PTH208


def test_the_next_run_replaces_it(target):
    run_into(target, "one")
    run_into(target, "two")
    assert_holds(target, "two")
    assert [path.name for path in target.parent.iterdir()] == ["plan"]


def test_nothing_is_at_the_target_before_the_end(target):
    with OutputFolder(target) as folder, folder.staged() as beside:
        assert beside.parent == target.parent
        fill(beside, "one")
        assert not target.exists()
    assert_holds(target, "one")


@pytest.mark.parametrize("error", [KeyboardInterrupt, ValueError])
def test_a_run_that_breaks_off_leaves_the_old_plan(error, target):
    run_into(target, "one")

    def break_off(beside):
        (beside / "plants.geojson").write_text("half")
        raise error

    with pytest.raises(error):
        run_with(target, break_off)
    assert_holds(target, "one")
    assert [path.name for path in target.parent.iterdir()] == ["plan"]


def test_a_record_that_does_not_list_the_files_is_not_swapped_in(target):
    def stray(beside):
        fill(beside, "one")
        (beside / "stray.txt").write_text("")

    with pytest.raises(RuntimeError, match=r"disagree: \{'stray.txt'\}"):
        run_with(target, stray)
    assert not target.exists()


# --- killed at any moment -----------------------------------------------------------------------

KILLED_RUN = textwrap.dedent(
    """
    import os, sys
    from folder_runs import run_into
    target, deadline = sys.argv[1], int(sys.argv[2])
    parent, done = os.path.dirname(target), 0

    def die(event, arguments):
        # The hook is called before the step is taken.
        global done
        if event not in WATCHED or not str(arguments[0]).startswith(parent):
            return
        done += 1
        if done > deadline:
            os._exit(9)

    WATCHED = {"open", "os.mkdir", "os.rename", "os.remove", "os.rmdir", "shutil.rmtree"}
    sys.addaudithook(die)
    run_into(target, "new")
    """
)


def kill_run(target, step):
    """Run into the target in another process, killed before its step number ``step + 1``."""
    done = subprocess.run(
        [sys.executable, "-c", KILLED_RUN, str(target), str(step)],
        cwd=Path(__file__).parent,
        capture_output=True,
        text=True,
        check=False,
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[1])},
    )
    assert done.returncode in (0, 9), done.stderr
    return done.returncode == 9


@pytest.mark.parametrize("first", [True, False], ids=["first run", "later run"])
def test_a_run_killed_at_any_step_leaves_a_whole_plan(first, tmp_path):
    outcomes = []
    for step in range(MOST_STEPS):
        target = tmp_path / f"{step}" / "plan"
        target.parent.mkdir()
        if not first:
            run_into(target, "old")
        if not kill_run(target, step):
            break
        OutputFolder(target).check()  # the next start
        assert {path.name for path in target.parent.iterdir()} <= {"plan"}
        if target.exists():
            text = "new" if "new" in content(target)["plan.gpkg"] else "old"
            assert_holds(target, text)
            outcomes.append(text)
        else:
            outcomes.append("none")
        run_into(target, "next")  # and a whole run goes through
        assert_holds(target, "next")
    else:
        pytest.fail("the run never ended")
    # Before the swap the old state, after it the new one, and both were seen.
    before = "none" if first else "old"
    assert set(outcomes) == {before, "new"}
    assert outcomes == sorted(outcomes, key=[before, "new"].index)
    assert len(outcomes) > 10


def make_state(tmp_path, **folders):
    for name, text in folders.items():
        place = tmp_path / ("plan" if name == "plan" else f".plan~{name}")
        place.mkdir()
        if text:
            fill(place, text)


@pytest.mark.parametrize(
    ("state", "expected"),
    [
        ({"old": "old", "new": "new"}, "new"),  # between the two renames
        ({"new": "new"}, "new"),  # a first run, before the last rename
        ({"old": "old"}, "old"),  # the new one is gone: the earlier plan comes back
        ({"plan": "new", "old": "old"}, "new"),  # after the renames
        ({"plan": "old", "new": "new"}, "old"),  # before them
        ({"plan": "old", "part": "half"}, "old"),
        ({"part": "half"}, None),
        ({"plan": "", "old": "old"}, "old"),  # someone made an empty folder in its place
    ],
)
def test_each_state_that_a_kill_leaves_is_mended(state, expected, tmp_path):
    make_state(tmp_path, **state)
    OutputFolder(tmp_path / "plan").check()
    assert [path.name for path in tmp_path.iterdir()] == (["plan"] if expected else [])
    if expected:
        assert_holds(tmp_path / "plan", expected)


def test_a_stranger_in_the_place_of_a_killed_run_is_left_alone(tmp_path):
    make_state(tmp_path, old="old", new="new")
    (tmp_path / "plan").mkdir()
    (tmp_path / "plan" / "letter.txt").write_text("dear neighbour")
    with pytest.raises(InputError, match=r"letter.txt"):
        OutputFolder(tmp_path / "plan").check()
    assert sorted(path.name for path in tmp_path.iterdir()) == [".plan~new", ".plan~old", "plan"]


# --- refused before computing -------------------------------------------------------------------


def refused(target, message, **options):
    before = sorted(str(path) for path in Path(target).parent.rglob("*"))
    with pytest.raises(InputError, match=message):
        OutputFolder(target, **options).check()
    assert sorted(str(path) for path in Path(target).parent.rglob("*")) == before


def test_an_empty_folder_is_taken(target):
    target.mkdir()
    (target / ".DS_Store").write_text("")
    run_into(target, "one")
    assert_holds(target, "one")


def test_a_file_is_refused(target):
    target.write_text("")
    refused(target, r"plan: It is a file. Choose another folder to write to, or remove it\.$")


def test_a_folder_of_ones_own_is_refused(target):
    target.mkdir()
    for name in ("plan.toml", "parcels.gpkg", "roads.gpkg", "zebra.txt"):
        (target / name).write_text("")
    refused(
        target,
        r"your own \(parcels.gpkg, plan.toml, roads.gpkg and 1 more\) and no run record. Move",
    )


def test_a_file_of_ones_own_among_ours_is_refused(target):
    run_into(target, "one")
    (target / "map.qgz").write_text("")
    refused(target, r"It holds files that no run wrote \(map.qgz\). Move them away, or")
    (target / "map.qgz").unlink()
    (target / "photos").mkdir()
    refused(target, r"no run wrote \(photos\)")


def test_a_file_that_was_edited_is_refused_unless_it_may_be_replaced(target):
    run_into(target, "one")
    (target / "plants.geojson").write_text("moved by hand")
    refused(target, r"changed since they were written \(plants.geojson\). Keep a copy and remove")
    run_into(target, "two", replace_changed=True)
    assert_holds(target, "two")


def test_a_file_that_was_removed_does_not_matter(target):
    run_into(target, "one")
    (target / "plants.geojson").unlink()
    run_into(target, "two")
    assert_holds(target, "two")


def test_a_damaged_record_is_refused(target):
    run_into(target, "one")
    (target / "run.json").write_text("{")
    refused(target, r"Which files are your own cannot be told: The run record is damaged")


def test_a_record_that_points_outside_is_refused(target):
    run_into(target, "one")
    record = json.loads((target / "run.json").read_text())
    record["outputs"][0]["file"] = "../other"
    (target / "run.json").write_text(json.dumps(record))
    refused(target, r"an output has no file name inside the folder")


def test_a_missing_parent_is_refused(tmp_path):
    refused(tmp_path / "no" / "plan", r"The folder above it, no, does not exist. Make it first")
    (tmp_path / "no").write_text("")
    with pytest.raises(InputError, match="The folder above it, no, is a file"):
        OutputFolder(tmp_path / "no" / "plan").check()


def test_the_top_of_a_disk_is_refused(tmp_path):
    with pytest.raises(InputError, match=r"It is the top of a disk. Name a folder on it"):
        OutputFolder(tmp_path.anchor).check()


def test_a_name_that_is_too_long_is_refused(tmp_path):
    # 255 bytes are the longest name of the usual POSIX file systems; the names beside are longer.
    refused(tmp_path / ("x" * 252), r"a name in the path has 252 bytes\. Give names of at most 231")


def test_a_path_that_windows_cannot_take_is_refused(target, monkeypatch):
    folder = OutputFolder(target)
    monkeypatch.setattr(folder_module.os, "name", "nt")
    monkeypatch.setattr(folder_module, "WINDOWS_LONGEST", len(str(target)) + 5)
    with pytest.raises(InputError, match=r"characters, too many for its files. Write to a folder"):
        folder.check()


@pytest.mark.skipif(sys.platform == "win32", reason="POSIX permissions")
@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write all")
def test_a_parent_without_permission_is_refused(target):
    target.parent.chmod(0o500)
    try:
        refused(target, "The folder above it cannot be written")
    finally:
        target.parent.chmod(0o700)


def test_a_parent_that_cannot_be_written_is_refused(target, monkeypatch):
    def deny(*_, **__):
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr("screenplan.outputs.lock.os.open", deny)
    with pytest.raises(InputError, match=r"written \(Permission denied\). Check its permissions"):
        OutputFolder(target).check()


# --- held open by others ------------------------------------------------------------------------


def with_database(target):
    with OutputFolder(target) as folder, folder.staged() as beside:
        database = sqlite3.connect(beside / "plan.gpkg")
        database.execute("CREATE TABLE plants (id INTEGER)")
        database.close()
        outputs = [describe_output(beside / "plan.gpkg", {})]
        record = RunRecord(outputs=outputs, versions={"made": "up"})
        write_record(record, beside, base=beside)


@pytest.mark.parametrize("begin", ["BEGIN IMMEDIATE", "BEGIN EXCLUSIVE"])
def test_a_geopackage_that_is_being_written_is_refused(begin, target):
    with_database(target)
    other = sqlite3.connect(target / "plan.gpkg", isolation_level=None)
    other.execute(begin)
    with pytest.raises(InputError, match=r"plan: plan.gpkg is open in another program. Close it"):
        OutputFolder(target).check()
    other.execute("ROLLBACK")
    other.close()
    OutputFolder(target).check()


def test_a_geopackage_that_is_being_read_is_refused(target):
    with_database(target)
    other = sqlite3.connect(target / "plan.gpkg", isolation_level=None)
    other.execute("BEGIN")
    other.execute("SELECT count(*) FROM plants").fetchone()
    with pytest.raises(InputError, match=r"plan.gpkg is open in another program"):
        OutputFolder(target).check()
    other.close()
    OutputFolder(target).check()


def test_a_geopackage_in_write_ahead_mode_is_refused_while_it_is_open(target):
    # A desktop GIS opens it so when one of its layers is edited.
    with_database(target)
    other = sqlite3.connect(target / "plan.gpkg", isolation_level=None)
    other.execute("PRAGMA journal_mode = WAL")
    other.execute("SELECT count(*) FROM plants").fetchone()
    with pytest.raises(InputError, match=r"plan.gpkg is open in another program"):
        OutputFolder(target).check()
    other.execute("PRAGMA journal_mode = DELETE")
    other.close()
    OutputFolder(target).check()  # its header was rewritten, and nothing else


def test_a_geopackage_that_was_edited_is_refused(target):
    with_database(target)
    with sqlite3.connect(target / "plan.gpkg") as other:
        other.execute("INSERT INTO plants VALUES (1)")
    other.close()
    refused(target, r"changed since they were written \(plan.gpkg\). Keep a copy")


def test_the_check_changes_nothing(target):
    with_database(target)
    before = {path.name: path.read_bytes() for path in target.iterdir()}
    OutputFolder(target).check()
    assert {path.name: path.read_bytes() for path in target.iterdir()} == before


def deny_rename(monkeypatch, fits):
    """Refuse each rename for which ``fits(source, goal)``, as Windows does for open files."""
    rename = Path.rename
    monkeypatch.setattr(folder_module, "RENAME_PAUSES", (0.0,))

    def guarded(self, goal):
        if fits(self.name, Path(goal).name):
            raise PermissionError(errno.EACCES, "Permission denied")
        return rename(self, goal)

    monkeypatch.setattr(Path, "rename", guarded)


def test_a_folder_that_cannot_be_moved_is_refused_before_computing(target, monkeypatch):
    run_into(target, "one")
    deny_rename(monkeypatch, lambda source, _: source == "plan")
    refused(target, r"It cannot be replaced \(Permission denied\). Close the programs that have")
    assert_holds(target, "one")


@pytest.mark.parametrize("moment", ["~old", "plan"])
def test_a_swap_that_fails_leaves_the_old_plan(moment, target, monkeypatch):
    run_into(target, "one")

    def fits(source, goal):
        return goal.endswith("~old") if moment == "~old" else source.endswith("~new")

    def write_and_deny(beside):
        fill(beside, "two")
        deny_rename(monkeypatch, fits)

    with pytest.raises(InputError, match=r"It cannot be replaced"):
        run_with(target, write_and_deny)
    assert_holds(target, "one")
    assert [path.name for path in target.parent.iterdir()] == ["plan"]


def test_files_put_there_while_computing_are_kept(target):
    run_into(target, "one")

    def write_while_someone_else_does(beside):
        fill(beside, "two")
        (target / "note.txt").write_text("mine")

    with pytest.raises(InputError, match=r"no run wrote \(note.txt\)"):
        run_with(target, write_while_someone_else_does)
    assert (target / "note.txt").read_text() == "mine"
    assert [path.name for path in target.parent.iterdir()] == ["plan"]


def test_a_disk_that_fills_up_is_said_so(target):
    run_into(target, "one")

    def fill_up(_):
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with pytest.raises(InputError, match=r"It could not be written \(No space left on device\)"):
        run_with(target, fill_up)
    assert_holds(target, "one")


# --- two runs at once ---------------------------------------------------------------------------


def test_a_second_run_into_the_same_folder_is_refused(target):
    with OutputFolder(target) as folder:
        with pytest.raises(InputError, match=r"Another run is writing this folder. Wait until"):
            OutputFolder(target).check()
        run_into(target.with_name("other"), "one")  # another folder is free
        with folder.staged() as beside:
            fill(beside, "one")
    assert_holds(target, "one")
    OutputFolder(target).check()


def test_a_second_process_is_refused_and_a_killed_one_leaves_no_lock(target):
    holding = subprocess.Popen(
        [
            sys.executable,
            "-c",
            "import sys; from screenplan.outputs.folder import OutputFolder\n"
            "with OutputFolder(sys.argv[1]): print('held', flush=True); sys.stdin.read()",
            str(target),
        ],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parents[1],
    )
    with holding:
        assert holding.stdout.readline() == "held\n"
        with pytest.raises(InputError, match=r"Another run is writing this folder"):
            OutputFolder(target).check()
        holding.kill()
    assert (target.parent / ".plan~lock").exists()  # left behind, and no lock any more
    run_into(target, "one")
    assert_holds(target, "one")
    assert [path.name for path in target.parent.iterdir()] == ["plan"]


@pytest.mark.skipif(sys.platform == "win32", reason="making links needs a privilege there")
def test_a_link_to_a_folder_stays_a_link(target):
    real = target.with_name("real")
    run_into(real, "one")
    target.symlink_to(real)
    run_into(target, "two")
    assert target.is_symlink()
    assert_holds(real, "two")


def test_a_relative_target_is_meant_from_where_the_run_began(target, monkeypatch):
    monkeypatch.chdir(target.parent)
    folder = OutputFolder("plan")
    monkeypatch.chdir("/")
    with folder, folder.staged() as beside:
        fill(beside, "one")
    assert_holds(target, "one")
