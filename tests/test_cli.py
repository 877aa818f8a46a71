"""The command line through its real entry point: what it writes, says and refuses."""

import contextlib
import datetime as dt
import io
import itertools
import json
import math
import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import click
import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from click.testing import CliRunner

from screenplan.commandline.main import main
from screenplan.commandline.printing import progress_bar, show_table
from screenplan.outputs.record import is_unchanged, read_record
from screenplan.plan import read_plan

SAMPLE = Path(__file__).parent.parent / "sample_data"


def call(*arguments, cwd="."):
    """Run the command line in this process, in a folder."""
    with contextlib.chdir(cwd):
        return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.fixture(scope="module")
def sample(tmp_path_factory):
    """A copy of the sample data, run once."""
    folder = tmp_path_factory.mktemp("sample") / "data"
    shutil.copytree(SAMPLE, folder)
    result = call("run", folder / "hillside.toml", "--json")
    return folder, result


@pytest.fixture
def lot(tmp_path):
    """A rectangular lot, 30 m by 45 m, in a file of its own."""
    file = tmp_path / "lot.gpkg"
    frame = gpd.GeoDataFrame(
        {"APN": ["7"]}, geometry=[shapely.box(500000, 5500000, 500030, 5500045)], crs="EPSG:25832"
    )
    frame.to_file(file, driver="GPKG", engine="fiona", layer="lots")
    return file


def assert_clean(result, code):
    """The exit code is as said, and no traceback was shown."""
    assert result.exit_code == code, result.output
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    assert "Traceback" not in result.output


@pytest.mark.parametrize(("width", "whole"), [("80", True), ("24", False)])
def test_names_in_a_table_are_not_broken_where_they_fit(monkeypatch, capsys, width, whole):
    monkeypatch.setenv("COLUMNS", width)
    years = [f"year {year}" for year in (5, 10, 15, 20)]
    row = ["kitchen-garden", "upper-floor-east", "83%", "61%", "40%", "12%", "0%", "17 (14 to 22)"]
    show_table("", ["place", "window", "now", *years, "closed in year"], [row])
    said = capsys.readouterr().out
    assert max(map(len, said.splitlines())) <= int(width)
    assert ("upper-floor-east" in said) == whole


def test_no_key_is_broken_in_its_middle_beside_long_sentences(monkeypatch, capsys):
    monkeypatch.setenv("COLUMNS", "80")
    finding = "100% of the plants are of one kind; one pest can take them all"
    row = ["roots and the septic field", "health.most_of_one_species", finding]
    show_table("", ["check", "needs", "what is known"], [row])
    said = capsys.readouterr().out
    # The three words need 26, 26 and 5 characters of the 80.
    assert "roots and the septic field  health.most_of_one_species  100%" in said
    assert " ".join(said.split()).count("take them") == 1


def test_numbers_stand_to_the_right_and_names_that_begin_with_one_do_not(capsys):
    show_table("", ["window", "share"], [["9-low", "7%"], ["12-low-gate", "100%"]])
    assert capsys.readouterr().out.splitlines()[1:] == ["9-low           7%", "12-low-gate   100%"]


@pytest.mark.parametrize("width", ["30", "80"])
def test_the_title_of_a_narrow_table_stands_on_a_line_of_its_own(monkeypatch, capsys, width):
    monkeypatch.setenv("COLUMNS", width)
    show_table("Changes of coordinates", ["a", "b"], [["1", "2"]])
    assert capsys.readouterr().out.splitlines()[:2] == ["Changes of coordinates", "a  b"]


def test_a_file_of_messages_is_told_the_step_at_work_now_and_then():
    stream = io.StringIO()
    with progress_bar(stream, between_s=0.02) as tell:
        tell("design", 17, 60)
        # The step itself says nothing while it works.
        waited = time.monotonic() + 10.0
        while stream.getvalue().count("\n") < 3 and time.monotonic() < waited:
            time.sleep(0.01)
    lines = stream.getvalue().splitlines()
    assert len(lines) >= 3
    assert re.fullmatch(r"step 17 of 60: design, \d\.\d min so far", lines[-1])
    time.sleep(0.1)
    assert stream.getvalue().splitlines() == lines


def test_a_stream_that_is_closed_ends_no_run(capfd):
    with progress_bar(None) as tell:
        tell("design", 17, 60)
    stream = io.StringIO()
    with progress_bar(stream, between_s=0.01) as tell:
        stream.close()
        time.sleep(0.1)
        tell("design", 17, 60)
    assert capfd.readouterr() == ("", "")


def test_a_short_run_writes_no_line_of_progress():
    stream = io.StringIO()
    with progress_bar(stream) as tell:
        tell("rows", 1, 2)
    assert stream.getvalue() == ""


# -- how a command ends ----------------------------------------------------------------------


LONG = "a" * 300


def test_an_error_of_ours_ends_with_70_and_says_where_to_report_it(monkeypatch, tmp_path):
    def fail(*_, **__):
        raise KeyError("nobody foresaw this\x1b[2J" + "x" * 500)

    monkeypatch.setattr("screenplan.commandline.showing.show_keys", fail)
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr(tempfile, "tempdir", None)
    result = call("keys")
    assert_clean(result, 70)
    head, report = result.stderr.splitlines()
    assert head.startswith("screenplan: an error of screenplan itself, not of your input (KeyError")
    assert len(head) < 300
    assert "\x1b" not in head
    assert report.startswith("Report it to the people from whom you have screenplan")
    (kept,) = tmp_path.glob("screenplan-error-*.txt")
    assert str(kept) in report
    assert "Traceback" in kept.read_text("utf-8")


@pytest.mark.parametrize("raised", [KeyboardInterrupt, click.Abort])
def test_an_interrupt_ends_with_130(monkeypatch, raised):
    def stop(*_, **__):
        raise raised

    monkeypatch.setattr("screenplan.commandline.showing.show_keys", stop)
    result = call("keys")
    assert_clean(result, 130)
    assert "screenplan: interrupted" in result.stderr


def test_a_reader_that_went_away_is_no_failed_check():
    # The list of keys is longer than a pipe holds; whoever reads a line of it and closes is done.
    command = f"{sys.executable} -m screenplan keys --json | head -1; exit ${{PIPESTATUS[0]}}"
    done = subprocess.run(["bash", "-c", command], capture_output=True, text=True, check=False)
    assert done.returncode in (0, 141), done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    "arguments",
    [
        ["check", LONG],
        ["run", LONG],
        ["sides", f"{LONG}.gpkg"],
        ["start", f"{LONG}.toml", "--length", "20 m"],
        ["start", "x.toml", "--layer", f"parcels={LONG}"],
        ["start", "x.toml", "--corners", LONG],
        ["start", "x.toml", "--courses", LONG],
        ["start", "x.toml", "--track", LONG],
        ["export", LONG, "--as", "kml"],
        ["rules", "--file", LONG],
        ["processes", "--out", LONG],
        ["processes", "--server", LONG],
        ["demo", "--out", LONG],
        ["desktop", "install", "--profile-folder", LONG],
        ["check", "a\0b"],
        ["start", "x.toml", "--layer", "parcels=a\0b"],
        ["demo", "--out", "a\0b"],
        ["start", "x.toml", "--length", "1e308 km"],
        ["start", "x.toml", "--length", "20 m", "--at", "1e300", "1e300"],
        ["start", "x.toml", "--length", "20 m", "--at", "nan", "nan"],
        ["rules", "--file", "."],
        ["nothing"],
        ["check"],
    ],
)
def test_any_refusal_ends_with_2_and_leaves_nothing(arguments, tmp_path):
    result = call(*arguments, cwd=tmp_path)
    assert_clean(result, 2)
    assert list(tmp_path.iterdir()) == []
    assert max(len(line) for line in result.stderr.splitlines()) < 400
    assert "\0" not in result.stderr


@pytest.mark.parametrize(
    "arguments", [["--point", "nan", "nan"], ["--point", "1e300", "1"], ["--id", "x" * 5000]]
)
def test_a_subject_that_cannot_be_meant_is_refused(lot, arguments):
    result = call("sides", f"{lot}:lots", "--id-column", "APN", *arguments)
    assert_clean(result, 2)
    assert len(result.stderr) < 700


@pytest.mark.parametrize("first", [None, "", " "])
def test_a_first_parcel_without_an_id_is_passed_over(tmp_path, first):
    # Pandas gives NaN for such an id, which is no text and was taken for one.
    shapes = [shapely.box(500000 + 40 * n, 5500000, 500030 + 40 * n, 5500045) for n in range(3)]
    file = tmp_path / "lots.gpkg"
    lots = gpd.GeoDataFrame({"parcel_id": [first, "7", "8"]}, geometry=shapes, crs="EPSG:25832")
    lots.to_file(file, driver="GPKG", engine="fiona")
    for arguments, message in (
        (
            [],
            r"The layer holds 3 parcels, and none is chosen\. Give the parcel's id \(such as 7, 8\)",
        ),
        (["--id", "9"], r"There is no parcel '9' among 3\. Ids look like 7, 8"),
        (["--point", "8.0", "50.0"], r"No parcel holds the point"),
    ):
        result = call("sides", file, *arguments)
        assert_clean(result, 2)
        assert re.search(message, result.stderr), result.stderr
    assert_clean(call("sides", file, "--id", "7"), 0)
    lots.iloc[:1].to_file(tmp_path / "one.gpkg", driver="GPKG", engine="fiona")
    assert_clean(call("sides", tmp_path / "one.gpkg"), 0)


# -- what works ------------------------------------------------------------------------------


def test_help_lists_every_command():
    result = call("--help")
    assert_clean(result, 0)
    for name in ("start", "sides", "check", "run", "step", "steps", "species", "keys", "demo"):
        assert f"\n  {name} " in result.output


@pytest.mark.parametrize("command", list(main.commands))
def test_every_command_explains_itself(command):
    result = call(command, "--help")
    assert_clean(result, 0)
    assert "Usage:" in result.output


def test_the_installed_program_answers():
    done = subprocess.run(
        [sys.executable, "-m", "screenplan", "--version"],
        capture_output=True,
        text=True,
        check=True,
    )
    from screenplan import __version__

    assert done.stdout.strip() == f"screenplan {__version__}"


def test_a_run_writes_layers_and_ends_with_zero(sample):
    folder, result = sample
    assert_clean(result, 0)
    said = json.loads(result.stdout)
    written = Path(said["folder"])
    assert written == (folder / "hillside_plan").resolve()
    assert (written / "plan.gpkg").is_file()
    record = read_record(written)
    assert is_unchanged(written / "report.html", record.files["report.html"])
    assert said["fails"] is False
    assert {check["result"] for check in said["checks"]} <= {"passes", "cannot be judged"}


def test_a_run_again_replaces_the_folder(sample):
    folder, _ = sample
    result = call("run", folder / "hillside.toml", "--set", 'rows.spacing="2.2 m"', "--json")
    assert result.exit_code in (0, 1)
    again = call("run", folder / "hillside.toml")
    assert_clean(again, 0)
    # What is said to be there to open is there.
    said = again.stdout.partition("Written to ")[2].splitlines()[1:]
    opened = [line.split()[0] for line in said]
    assert opened == ["report.html", "years.html", "plan.qgz", "plan.gpkg"]
    for name in opened:
        assert (folder / "hillside_plan" / name).is_file(), name
    _ends_with_the_answer(again.stdout, folder / "hillside_plan")


def _ends_with_the_answer(said, written):
    """What to order, who sees in, which checks fail and how many there are, as the tables of the run say."""
    quantities = pd.read_csv(written / "tables" / "quantities.csv")
    plants = quantities.loc[quantities["part"] == "plants"]
    assert f"Order {plants['packs'].sum():.0f} plants" in said
    views = gpd.read_file(written / "plan.gpkg", layer="views")
    counts = views["status"].value_counts()
    seen = counts["closes"] + counts["stays open"]
    assert re.search(rf"\b{counts['closes']} of the {seen} views", said)
    results = gpd.read_file(written / "plan.gpkg", layer="checks")["result"].value_counts()
    assert f"0 of {results.sum()} fail, {results['passes']} pass, {results['cannot be judged']} cannot be judged" in said  # fmt: skip
    assert "have buried lines located" in " ".join(said.split())
    # Two screens of a terminal hold it; the long lists come when they are asked for.
    assert len(said.splitlines()) <= 80
    assert "--all" in said


def test_all_lists_come_before_the_answer_when_they_are_asked_for(sample):
    folder, _ = sample
    said = call("run", folder / "hillside.toml", "--all", "--out", folder / "all")
    assert_clean(said, 0)
    parts = [
        "Views that are open today",
        "When the rows close",
        "Cannot be judged",
        "Note: ",
        "Order ",
        "Written to ",
    ]
    assert [said.stdout.index(part) for part in parts] == sorted(
        said.stdout.index(part) for part in parts
    )


def test_parcels_that_overlap_are_reported_and_planned(tmp_path):
    lots = gpd.GeoDataFrame(
        {"parcel_id": ["S", "above", "N", "half"]},
        geometry=[
            shapely.box(0, 0, 30, 40),
            shapely.box(0.3, 0.3, 30.3, 40.3),
            shapely.box(0, 40, 30, 80),
            shapely.box(15, 40, 45, 80),
        ],
        crs="EPSG:25832",
    )
    lots.geometry = lots.geometry.translate(500000, 5500000)
    lots.to_file(tmp_path / "lots.gpkg", driver="GPKG", engine="fiona")
    (tmp_path / "lots.toml").write_text(
        '[subject]\nid = "S"\n[layers.parcels]\nfile = "lots.gpkg"\n[rows]\nalong = ["north"]\n'
    )
    checked = call("check", "lots.toml", cwd=tmp_path)
    assert_clean(checked, 0)
    words = " ".join(checked.output.split())
    assert "parcel 'above' has the subject's outline, 0.42 m off" in words
    assert re.search(r"neighbours overlap: N \(row 3\) and half \(row 4\), 60\d m²\.", words)
    result = call("run", "lots.toml", cwd=tmp_path)
    assert_clean(result, 0)
    assert (tmp_path / "lots_plan" / "report.html").is_file()


def test_a_missed_goal_ends_with_one(sample):
    folder, _ = sample
    result = call(
        "run",
        folder / "hillside.toml",
        "--set",
        "goal.closed_by=1",
        "--set",
        "goal.share=1",
        "--out",
        folder / "missed",
    )
    assert_clean(result, 1)
    assert "FAILS" in result.output


def test_a_single_step_gives_the_plants_of_the_whole_run(sample, tmp_path):
    folder, _ = sample
    out = tmp_path / "plants.gpkg"
    result = call("step", "plants", folder / "hillside.toml", "--out", out)
    assert_clean(result, 0)
    whole = gpd.read_file(folder / "hillside_plan" / "plan.gpkg", layer="plants")
    alone = gpd.read_file(out, layer="plants")
    assert len(alone) == len(whole) > 0
    # The layers went out to the parcel's CRS and back in: 1e-6 m bounds the rounding.
    assert shapely.distance(alone.geometry.to_numpy(), whole.geometry.to_numpy()).max() < 1e-6
    assert (alone["station_m"] - whole["station_m"]).abs().max() < 1e-5


def test_a_step_takes_a_layer_together_that_was_written_by_kinds(sample, tmp_path):
    # The sample has 8 windows and 3 private places, of which one is a point.
    folder, _ = sample
    package = folder / "hillside_plan" / "plan.gpkg"
    whole, points = tmp_path / "whole.gpkg", tmp_path / "points.gpkg"
    assert_clean(call("step", "views", folder / "hillside.toml", "--out", whole), 0)
    views = gpd.read_file(whole, layer="views")
    earlier = gpd.read_file(package, layer="views")
    assert list(views["view_id"]) == list(earlier["view_id"])
    assert list(views["open_now"]) == pytest.approx(list(earlier["open_now"]))
    # One kind alone is what it is: a layer that the person names is taken instead of the run's.
    given = f"private_places={package}:private_places_points"
    assert_clean(call("step", "views", folder / "hillside.toml", "--in", given, "--out", points), 0)
    assert len(views) == 8 * 3
    assert len(gpd.read_file(points, layer="views")) == 8


def test_a_step_takes_another_value(sample, tmp_path):
    folder, _ = sample
    out = tmp_path / "plants.geojson"
    result = call(
        "step",
        "closure",
        folder / "hillside.toml",
        "--set",
        'growth.asked_height="1 m"',
        "--out",
        tmp_path / "closure.csv",
        "--json",
    )
    assert_clean(result, 0)
    assert {row["asked_height_m"] for row in json.loads(result.stdout)["closure"]} == {1.0}
    assert not out.exists()


def test_sides_of_a_file(lot):
    result = call("sides", f"{lot}:lots", "--id-column", "APN", "--json")
    assert_clean(result, 0)
    sides = {side["side_id"]: side["length_m"] for side in json.loads(result.stdout)}
    # Closed form within the grid's scale of 0.9996: a UTM metre is 0.4 mm short on the ground.
    assert sides == {"north": pytest.approx(30, abs=0.02), "south": pytest.approx(30, abs=0.02),
                     "west": pytest.approx(45, abs=0.02), "east": pytest.approx(45, abs=0.02)}  # fmt: skip
    # 30 m on the grid / 0.9996 / 0.3048.
    assert "98.5 ft" in call("sides", f"{lot}:lots", "--id-column", "APN", "--us").output


def test_sides_asks_for_the_column_of_ids(tmp_path):
    file = tmp_path / "lots.gpkg"
    gpd.GeoDataFrame(
        {"FOLDER": ["7"], "OWNER": ["me"]},
        geometry=[shapely.box(500000, 5500000, 500030, 5500045)],
        crs=25832,
    ).to_file(file, driver="GPKG", engine="fiona")
    result = call("sides", file, "--id", "7")
    assert_clean(result, 2)
    assert "Name it with --id-column; the columns are FOLDER, OWNER" in result.output
    assert_clean(call("sides", file, "--id-column", "OWNER"), 0)


def test_check_lists_what_was_read(sample):
    folder, _ = sample
    result = call("check", folder / "hillside.toml")
    assert_clean(result, 0)
    assert "Read for parcel LR-7" in result.output
    # Nothing is said of layers whose coordinates stay.
    assert "Changes of coordinates" not in result.output
    read = json.loads(call("check", folder / "hillside.toml", "--json").stdout)
    assert read["subject"] == "LR-7"
    # What befell a whole layer has no row: it is no row 0, for people nor for programs.
    rows = {repair["row"] for repair in read["repairs"]}
    assert None in rows
    assert 0 not in rows
    told = [line for line in result.stdout.splitlines() if "all rows: rings turned" in line]
    assert told
    assert all(line.split()[:2][1] == "all" for line in told)


@pytest.mark.parametrize(
    ("setting", "message"),
    [
        ('rows.along=["west-9"]', "the parcel has no side 'west-9'"),
        ('rows.offset="19 m"', "the parcel is too narrow for a row"),
        ('plants.species="oak_of_mine"', "there is no species 'oak_of_mine'"),
        ('setbacks.file="mine.toml"', "mine.toml"),
        ('light.time_zone="Mars/Base"', "'Mars/Base' is not the name of a time zone"),
        (
            "alternatives.spacings=" + json.dumps([f"{n} cm" for n in range(101, 170)]),
            "combinations",
        ),
    ],
)
def test_check_refuses_what_a_run_refuses(sample, tmp_path, setting, message):
    folder, _ = sample
    plan = folder / "hillside.toml"
    out = ("--out", tmp_path / "plan")
    checked = call("check", plan, "--set", setting, *out)
    assert_clean(checked, 2)
    assert message in checked.stderr
    ran = call("run", plan, "--set", setting, *out)
    assert_clean(ran, 2)
    assert [line for line in ran.stderr.splitlines() if "screenplan: " in line] == (
        checked.stderr.splitlines()
    )
    as_json = call("check", plan, "--set", setting, *out, "--json")
    assert (as_json.exit_code, as_json.stdout) == (2, "")


def test_check_refuses_bare_roots_in_full_growth(sample):
    folder, _ = sample
    july = f"{dt.date.today().year + 1}-07-10"
    settings = (f'calendar.planting="{july}"', 'plants.stock="bare_root"')
    checked = call(
        "check",
        folder / "hillside.toml",
        *(part for setting in settings for part in ("--set", setting)),
    )
    assert_clean(checked, 2)
    assert f"bare-root evergreens are planted on {july}, in full growth" in checked.stderr


def test_check_refuses_a_plan_in_which_no_side_is_chosen(tmp_path, lot):
    (tmp_path / "bare.toml").write_text('[layers.parcels]\nfile = "lot.gpkg"\n')
    said = "key rows.along: no side is chosen to plant along"
    for command in ("check", "run"):
        result = call(command, "bare.toml", cwd=tmp_path)
        assert_clean(result, 2)
        assert said in result.stderr


def test_check_refuses_a_folder_that_a_run_would_refuse_and_does_not_touch_it(sample, tmp_path):
    folder, _ = sample
    target = tmp_path / "mine"
    target.mkdir()
    (target / "letter.txt").write_text("to the county")
    result = call("check", folder / "hillside.toml", "--out", target)
    assert_clean(result, 2)
    assert "It holds files of your own (letter.txt)" in result.stderr
    assert [path.name for path in tmp_path.rglob("*")] == ["mine", "letter.txt"]


def test_a_run_over_another_runs_folder_says_what_it_replaces(tmp_path, lot):
    for name in ("first", "other"):
        (tmp_path / f"{name}.toml").write_text(
            f'[plan]\ntitle = "{name}"\n[layers.parcels]\nfile = "lot.gpkg"\n'
            '[rows]\nalong = ["north"]\n'
        )
    into = ("--out", tmp_path / "plan")
    first = call("run", "first.toml", *into, cwd=tmp_path)
    assert_clean(first, 0)
    assert "replaced" not in first.output
    written = read_record(tmp_path / "plan").written_at
    says = f"It holds the run of the plan 'first' of {written}, and its files are replaced"
    checked = call("check", "other.toml", *into, cwd=tmp_path)
    assert says in " ".join(checked.stdout.split())
    assert (
        json.loads(call("check", "other.toml", *into, "--json", cwd=tmp_path).stdout)["replaces"]
        == says
    )
    over = call("run", "other.toml", *into, cwd=tmp_path)
    assert_clean(over, 0)
    assert f"{says}." in over.stderr
    assert read_record(tmp_path / "plan").parameters["plan"]["title"] == "other"


@pytest.mark.parametrize("name", ["steps", "species", "keys"])
def test_lists_speak_json(name):
    result = call(name, "--json")
    assert_clean(result, 0)
    assert len(json.loads(result.stdout)) > 5
    assert_clean(call(name), 0)


def test_text_with_brackets_is_shown_as_it_is(sample):
    folder, _ = sample
    result = call(
        "run",
        folder / "hillside.toml",
        "--set",
        'plan.title="[/red] lot"',
        "--out",
        folder / "brackets",
    )
    assert_clean(result, 0)
    assert "[/red] lot" in result.output


# -- starting a plan -------------------------------------------------------------------------


def started(tmp_path, *arguments):
    result = call("start", tmp_path / "hedge.toml", *arguments)
    assert_clean(result, 0)
    return result, tmp_path / "hedge.toml"


def test_start_from_layers_guesses_columns_and_says_so(tmp_path, lot):
    result, plan = started(tmp_path, "--layer", f"parcels={lot}:lots")
    assert "took 'APN' as parcel_id (an assessor's parcel number); check this" in result.output
    # What lacks is told with how to give it.
    assert "Give them with --layer keep_outs=FILE; its column kind says which" in result.output
    assert_clean(call("run", plan, "--json"), 0)


def test_start_tells_once_what_is_to_be_mended(tmp_path, lot):
    """A file in feet: by the plan's units and by the file's system alike nobody knows what the heights are in."""
    houses = tmp_path / "houses.gpkg"
    frame = gpd.read_file(lot).to_crs("EPSG:2249")
    frame[["geometry"]].assign(height=[20.0]).to_file(houses, driver="GPKG", engine="fiona")
    layers = ["--layer", f"parcels={lot}:lots", "--layer", f"buildings={houses}"]
    result = call("start", tmp_path / "feet.toml", *layers, "--us")
    assert_clean(result, 2)
    assert result.stderr.count("key layers.buildings.units.height_m") == 1
    assert 'Write units = { height_m = "ft" } under [layers.buildings]' in result.stderr


def test_start_ends_with_two_where_its_plan_cannot_be_read(tmp_path):
    lots = gpd.GeoDataFrame(
        {"APN": ["7", "8"]}, geometry=[shapely.box(0, 0, 30, 40), shapely.box(30, 0, 60, 40)]
    )
    lots.geometry = lots.geometry.translate(500000, 5500000)
    lots.set_crs("EPSG:25832").to_file(tmp_path / "lots.gpkg", driver="GPKG", engine="fiona")
    plan = tmp_path / "hedge.toml"
    result = call("start", plan, "--layer", f"parcels={tmp_path / 'lots.gpkg'}")
    assert_clean(result, 2)
    assert "The layer holds 2 parcels, and none is chosen. Give the parcel's id" in result.stderr
    assert f"Next: mend in {plan} what is said below, then screenplan check {plan}" in result.stdout
    # The remedy, carried out in the file that was written.
    mended = (
        plan.read_text().replace("# id =", 'id = "7"').replace("# along = []", 'along = ["north"]')
    )
    plan.write_text(mended)
    assert_clean(call("check", plan), 0)
    chosen = call(
        "start", plan, "--layer", f"parcels={tmp_path / 'lots.gpkg'}", "--id", "8", "--force"
    )
    assert_clean(chosen, 0)
    assert "Next: screenplan check" in chosen.stdout


def test_start_from_courses_keeps_their_lengths(tmp_path):
    (tmp_path / "deed.csv").write_text(
        "bearing,distance\nN 90 E,100\nN 0 E,150\nN 90 W,100\nS 0 E,150\n", encoding="utf-8"
    )
    result, plan = started(
        tmp_path, "--courses", tmp_path / "deed.csv", "--unit", "ft", "--at", "-93", "45"
    )
    assert "The courses close within 0.0 ft on 500.0 ft" in result.output
    sides = json.loads(call("sides", plan, "--json").stdout)
    # 100 ft and 150 ft by definition of the foot.
    assert sorted(side["length_m"] for side in sides) == pytest.approx(
        [30.48, 30.48, 45.72, 45.72], abs=1e-3
    )


def test_start_from_corners_in_degrees(tmp_path):
    (tmp_path / "corners.csv").write_text(
        "lon,lat\n-93.1,45\n-93.0995,45\n-93.0995,45.0004\n-93.1,45.0004\n", encoding="utf-8"
    )
    _, plan = started(tmp_path, "--corners", tmp_path / "corners.csv")
    assert {side["side_id"] for side in json.loads(call("sides", plan, "--json").stdout)} == {
        "north",
        "east",
        "south",
        "west",
    }
    assert_clean(call("run", plan, "--json"), 0)


def test_start_from_a_length_plants_it(tmp_path):
    _, plan = started(tmp_path, "--length", "124 ft")
    result = call("run", plan, "--set", 'rows.spacing="4 ft"', "--json")
    assert_clean(result, 0)
    # floor(124 / 4) + 1 plants, by station arithmetic.
    answer = json.loads(result.stdout)["answer"]
    assert any(line.startswith("32 are planted, ") for lines in answer.values() for line in lines)
    assert any(
        "outline is not known" in check["says"] for check in json.loads(result.stdout)["checks"]
    )


def test_start_from_corners_as_a_spreadsheet_writes_them(tmp_path):
    (tmp_path / "corners.csv").write_text("x;y\n0;0\n20,5;0\n20,5;30\n0;30\n", encoding="utf-8")
    _, plan = started(tmp_path, "--corners", tmp_path / "corners.csv", "--at", "9", "48")
    sides = json.loads(call("sides", plan, "--json").stdout)
    assert sorted(side["length_m"] for side in sides) == pytest.approx(
        [20.5, 20.5, 30, 30], abs=1e-3
    )


def test_start_tells_how_columns_and_units_are_named(tmp_path, lot):
    houses = tmp_path / "houses.gpkg"
    gpd.GeoDataFrame(
        {"TOP_FT": [16.0]}, geometry=[shapely.box(500010, 5500010, 500020, 5500020)], crs=25832
    ).to_file(houses, driver="GPKG", engine="fiona")
    plan = tmp_path / "hedge.toml"
    layers = ("--layer", f"parcels={lot}:lots", "--layer", f"buildings={houses}")
    result = call("start", plan, *layers)
    assert_clean(result, 2)
    assert "No building has a height or a number of storeys" in result.stderr
    text = plan.read_text(encoding="utf-8")
    assert '# A column of another name: columns = { building_id = "its name" }' in text
    assert '# A column in feet: units = { height_m = "ft" }' in text
    assert "# A value for rows that lack one: missing = { storeys = 2 }" in text
    named = 'columns = { height_m = "TOP_FT" }\nunits = { height_m = "ft" }\n'
    plan.write_text(
        text.replace('file = "houses.gpkg"\n', f'file = "houses.gpkg"\n{named}'), encoding="utf-8"
    )
    assert_clean(call("check", plan, "--set", 'rows.along=["north"]'), 0)


def houses_of(tmp_path):
    """One house on the lot of these tests and one behind it, as the options that name layers give it."""
    file = tmp_path / "houses.gpkg"
    boxes = [(10, 12, 20, 20), (8, 46, 22, 54)]
    gpd.GeoDataFrame(
        {"storeys": [1, 2]},
        geometry=[
            shapely.box(500000 + a, 5500000 + b, 500000 + c, 5500000 + d) for a, b, c, d in boxes
        ],
        crs=25832,
    ).to_file(file, driver="GPKG", engine="fiona")
    return "--layer", f"buildings={file}"


def test_start_with_parcel_and_houses_leaves_the_choice_to_the_program(tmp_path, lot):
    layers = ("--layer", f"parcels={lot}:lots", *houses_of(tmp_path))
    result, plan = started(tmp_path, *layers)
    assert "The program chooses what is planted, and where" in " ".join(result.output.split())
    assert "\nwanted = true\n" in plan.read_text(encoding="utf-8")
    assert read_plan(plan)[0].design.wanted
    assert_clean(call("check", plan), 0)


@pytest.mark.parametrize("more", [("--plants", "12"), ()])
def test_start_leaves_rows_to_whoever_has_plants_or_knows_no_houses(tmp_path, lot, more):
    houses = houses_of(tmp_path) if more else ()
    _, plan = started(tmp_path, "--layer", f"parcels={lot}:lots", *houses, *more)
    assert not read_plan(plan)[0].design.wanted


GPX = """<?xml version="1.0"?><gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>{}</trkseg></trk></gpx>"""


@pytest.mark.parametrize(
    ("points", "says"),
    [
        ([(-93, 45), (-92.9995, 45), (-92.9995, 45.0005), (-93, 45.0005), (-93, 45.00005)], "taken as the parcel's outline"),
        ([(-93, 45), (-92.9995, 45), (-92.999, 45)], "taken as the line of the row"),
    ],
)  # fmt: skip
def test_start_from_a_track(tmp_path, points, says):
    track = tmp_path / "walk.gpx"
    track.write_text(
        GPX.format("".join(f'<trkpt lat="{lat}" lon="{lon}"/>' for lon, lat in points)),
        encoding="utf-8",
    )
    result, plan = started(tmp_path, "--track", track)
    assert says in result.output
    assert 'boundary_accuracy = "5 m"' in plan.read_text(encoding="utf-8")
    assert_clean(call("check", plan), 0)


def test_a_walked_track_has_the_sides_of_its_field(tmp_path):
    rng = np.random.default_rng(1)
    corners = [(0, 0), (300, 0), (300, 120), (0, 120), (0, 4)]
    walked = [np.add(a, np.subtract(b, a) * share) for a, b in itertools.pairwise(corners)
              for share in np.linspace(0, 1, int(math.dist(a, b) / 5), endpoint=False)]  # fmt: skip
    # About a metre of scatter from point to point; a degree is 111 km by 71 km at 50 degrees north.
    points = (np.array(walked) + rng.normal(0, 1, (len(walked), 2))) / (71_700, 111_200) + (9, 50)
    track = tmp_path / "walk.gpx"
    track.write_text(
        GPX.format("".join(f'<trkpt lat="{lat}" lon="{lon}"/>' for lon, lat in points)),
        encoding="utf-8",
    )
    result, plan = started(tmp_path, "--track", track)
    assert 'base = "15 m"' in plan.read_text(encoding="utf-8")
    sides = {side["side_id"] for side in json.loads(call("sides", plan, "--json").stdout)}
    assert sides == {"north", "west", "south", "east"}
    (longest,) = re.findall("The longest side, ([a-z0-9-]+),", result.output)
    assert longest in ("north", "south")


def test_a_started_plan_does_not_depend_on_where_it_is_run_from(tmp_path, lot):
    (tmp_path / "plans").mkdir()
    result = call("start", "plans/hedge.toml", "--layer", f"parcels={lot.name}:lots", cwd=tmp_path)
    assert_clean(result, 0)
    assert 'file = "../lot.gpkg"' in (tmp_path / "plans" / "hedge.toml").read_text(encoding="utf-8")
    assert_clean(call("check", tmp_path / "plans" / "hedge.toml"), 0)


# -- what is refused -------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["run"], "Missing argument 'PLAN'"),
        (["dig"], "No such command 'dig'"),
        (["run", "none.toml"], "there is no such plan file"),
        (["run", "."], "this is a folder, not a plan file"),
        (["check", "none.toml"], "there is no such plan file"),
        (["step", "dig", "none.toml", "--out", "x.gpkg"], "'dig' is not one of"),
        (["step", "sides", "none.toml"], "Missing option '--out'"),
        (["step", "sides", "none.toml", "--out", "x.shp"], "step sides cannot be written as .shp"),
        (["step", "views", "none.toml", "--out", "x.geojson"], "step views cannot be written as .geojson"),
        (["step", "sides", "none.toml", "--out", "nowhere/x.gpkg"], "its folder does not exist"),
        (["sides", "none.gpkg"], "The file does not exist"),
        (["start", "hedge.txt", "--length", "10 m"], "does not end in .toml"),
        (["start", "hedge.toml"], "there is no parcel and no row"),
        (["start", "hedge.toml", "--length", "120"], "'120' has no unit"),
        (["start", "hedge.toml", "--length", "-3 m"], "cannot be planned"),
        (
            ["start", "hedge.toml", "--length", "3 m", "--at", "9", "95", "--bearing", "N 4 E"],
            "is no place for a garden",
        ),
        (["start", "hedge.toml", "--length", "3 m", "--at", "9", "45"], "--at is given without --bearing"),
        (["start", "hedge.toml", "--length", "3 m", "--bearing", "upwards"], "'upwards' is not a bearing"),
        (["start"], "no terminal in which to ask"),
        (["start", "hedge.toml", "--courses", "c.csv", "--bearing", "12"], "a bearing is given without a length"),
        (["start", "hedge.toml", "--length", "3 m", "--corners", "c.csv"], "the parcel is given twice"),
        (["start", "hedge.toml", "--corners", "none.csv"], "there is no such file"),
        (["start", "hedge.toml", "--track", "none.gpx"], "The file does not exist"),
        (["start", "hedge.toml", "--layer", "houses=x.gpkg"], "names no layer of a plan"),
        (["start", "hedge.toml", "--layer", "parcels"], "names no layer of a plan"),
        (["start", "away/hedge.toml", "--length", "3 m"], "its folder does not exist"),
    ],
)  # fmt: skip
def test_a_wrong_call_is_refused_in_words(tmp_path, arguments, message):
    result = call(*arguments, cwd=tmp_path)
    assert_clean(result, 2)
    assert message in result.output
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("text", "option", "message"),
    [
        ("right;up\n1;2\n", "--corners", "Name the two columns lon and lat"),
        ("x,y\n0,0\n10,zero\n10,10\n", "--corners", "column y holds 'zero', which is no number"),
        ("x,y\n0,0\n10,0\n", "--corners", "at least three corners"),
        ("lon,lat\n500000,5500000\n500010,5500000\n500010,5500010\n", "--corners", "lon and lat are not degrees"),
        ("x,y\n0,0\n10,10\n10,0\n0,10\n", "--corners", "the outline is no parcel"),
        ("bearing,length\n90,10\n", "--courses", "Name the two columns bearing and distance"),
        ("bearing,distance\nleft,10\n0,5\n90,5\n", "--courses", "'left' is not a bearing"),
        ("bearing,distance\n90,10\n0,10\n270,5\n", "--courses", "from where they began"),
        ("", "--corners", "cannot be read as CSV"),
    ],
)  # fmt: skip
def test_a_wrong_list_is_refused_and_leaves_nothing(tmp_path, text, option, message):
    (tmp_path / "list.csv").write_text(text, encoding="utf-8")
    result = call("start", "hedge.toml", option, "list.csv", cwd=tmp_path)
    assert_clean(result, 2)
    assert message in result.output
    assert [path.name for path in tmp_path.iterdir()] == ["list.csv"]


@pytest.mark.parametrize(
    ("setting", "message"),
    [
        ("rows.spacing=5", "5 has no unit"),
        ('rows.along=["up"]', "the parcel has no side 'up'"),
        ("plants.species=oak_of_dreams", "oak_of_dreams"),
        ("subject.id=LR-77", "There is no parcel 'LR-77'"),
        ("spacing=2", "sets no key"),
        ("rows.spacin=2", "Did you mean spacing?"),
        ('setbacks.file="none.toml"', "none.toml"),
        ('terrain.file="none.tif"', "none.tif"),
        ('layers.buildings.file="none.gpkg"', "none.gpkg"),
        ("hand.plants=0", "is out of range"),
        ('rows.offset="30 m"', "row"),
    ],
)  # fmt: skip
def test_a_wrong_value_is_refused_before_anything_is_written(sample, tmp_path, setting, message):
    folder, _ = sample
    result = call("run", folder / "hillside.toml", "--set", setting, "--out", tmp_path / "out")
    assert_clean(result, 2)
    assert message in result.output
    assert not list(tmp_path.iterdir())


def test_a_refusal_in_a_step_names_the_row_of_the_file(tmp_path):
    folder = tmp_path / "data"
    shutil.copytree(SAMPLE, folder)
    windows = gpd.read_file(folder / "windows.geojson")
    windows.loc[1, "geometry"] = None  # left out when read, so that rows and positions part
    windows.loc[3, "geometry"] = shapely.affinity.translate(windows.geometry[3], 0.001, 0)
    windows.to_file(folder / "windows.geojson", driver="GeoJSON", engine="fiona")
    result = call("run", folder / "hillside.toml")
    assert_clean(result, 2)
    assert (
        f"{folder / 'windows.geojson'}, layer windows, row 4: window {windows['window_id'][3]} is"
        in result.output
    )


def test_a_folder_with_other_files_is_refused(sample, tmp_path):
    folder, _ = sample
    (tmp_path / "mine.txt").write_text("keep", encoding="utf-8")
    result = call("run", folder / "hillside.toml", "--out", tmp_path)
    assert_clean(result, 2)
    assert "holds files of your own (mine.txt)" in result.output
    assert (tmp_path / "mine.txt").read_text(encoding="utf-8") == "keep"


def test_an_existing_plan_is_kept_unless_forced(tmp_path):
    _, plan = started(tmp_path, "--length", "10 m")
    before = plan.read_text(encoding="utf-8")
    result = call("start", plan, "--length", "20 m")
    assert_clean(result, 2)
    assert "there is such a file already" in result.output
    assert plan.read_text(encoding="utf-8") == before
    assert_clean(call("start", plan, "--length", "20 m", "--force"), 0)


def test_a_step_without_its_layers_says_what_to_run_first(tmp_path):
    other = tmp_path / "data"
    shutil.copytree(SAMPLE, other)
    result = call("step", "plants", other / "hillside.toml", "--out", tmp_path / "plants.gpkg")
    assert_clean(result, 2)
    assert "Run the whole plan first" in result.output
