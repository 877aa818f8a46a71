"""The toolbox in the real headless runner: every step, whole plans, bad input, cancelling.

An exit code that is not 0 fails a test even if what was printed is right: a crash at the end counts.
"""

import json
import os
import re
import signal
import sqlite3
import sys
import time
import warnings
from pathlib import Path

import geopandas
import numpy as np
import pyogrio
import pytest
import shapely
from toolbox_kit import Desktop, copy_sample, sample_layer, workers

from screenplan.contracts import OUTPUTS, WRITTEN
from screenplan.desktop.install import PLUGIN
from screenplan.desktop.profile import change_setting
from screenplan.desktop.toolbox import describe_toolbox
from screenplan.outputs.kinds import split_by_kind
from screenplan.running.descriptions import describe_steps
from screenplan.running.pipeline import run_plan
from screenplan.running.steps import STEPS
from screenplan.site.loose import read_table

pytestmark = [pytest.mark.desktop, pytest.mark.slow]
#: What no step gives, but a plan of several lots.
OF_A_STREET = ("shared_boundaries", "lot_costs")

#: Metres, or the unit of a value: layers go out of and into the frame between the steps, and
#: values are rounded to 6 digits, so that the last one may differ.
TOLERANCE = 1e-6
ROUNDING = 1.1e-6
#: Values in centimetres or coarser units that steps round to fewer digits than 6.
COARSE = {
    "plants_in_hand": 2e-5,  # sums of up to 36 gaps, each rounded by half a micrometre
    "locate_request": 2e-4,  # an outline of some 100 m whose corners are out by a micrometre
    "year_costs": 5e-5,  # sums of up to 90 rounds of hours, each rounded by half a millionth
    "sight_lines": 1.1e-4,
    "sections": 1.1e-4,
    "sight_outlines": 1.1e-4,
}
#: The same of shapes, metres.
SHAPES = {
    "locate_request": 1e-3,  # a union of arcs, of which some nearly touch: a corner more or less between two of them
}
SUBJECT = "LR-7"
#: The desktop GIS numbers its kinds of layers so (QgsProcessing.SourceType).
SOURCE_TYPES = {"areas": 2, "lines": 1, "points": 0, "table": 5}
#: A layer of lines of the sample site.
LINES = "{site}/site.gpkg|layername=roads"
METRES = 0  # QgsUnitTypes.DistanceMeters


@pytest.fixture(scope="module")
def desktop(tmp_path_factory):
    """A clean profile in a folder with spaces and letters beyond ASCII, after one install command."""
    return Desktop(tmp_path_factory.mktemp("desk") / "Größe ñ home")


@pytest.fixture(scope="module")
def site(desktop):
    return copy_sample(desktop.home / "the site ü")


@pytest.fixture
def out(desktop, tmp_path):
    yield tmp_path
    assert desktop.left_over() == [], "temporary files stay"
    assert workers(desktop.home) == [], "a worker goes on"


@pytest.fixture(scope="module")
def toolbox():
    return describe_toolbox()


# Listing and forms


def test_every_step_is_listed(desktop):
    listed = desktop.process("list")
    assert listed.returncode == 0, listed.stderr
    found = set(re.findall(r"screenplan:(\w+)", listed.stdout))
    assert found == {*STEPS, "plan_file", "plan_layers", "county"}


@pytest.fixture(scope="module")
def forms(desktop, site):
    done = desktop.script(desktop.profile.plugins, "forms", site, desktop.home)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout.splitlines()[-1])


def test_forms_have_typed_inputs(forms, toolbox):
    for step in toolbox["steps"]:
        inputs = forms[step["name"]]["inputs"]
        for layer in step["inputs"]:
            for part in layer["parts"]:
                entry = inputs[part["name"].upper()]
                assert (entry["type"], entry["filter"]) == ("source", [SOURCE_TYPES[part["kind"]]])
                alone = len(layer["parts"]) == 1
                assert entry["optional"] != (alone and layer["needed"])
        for value in step["parameters"]:
            entry = inputs[value["key"].replace(".", "_").upper()]
            if value["type"] == "length":
                assert (entry["type"], entry["unit"]) == ("distance", METRES)
                assert entry["default"] == value["default"]
            if value["type"] in ("length", "number", "integer", "volume"):
                for side in ("low", "high"):
                    assert value[side] is None or entry[side] == pytest.approx(value[side])
            if value["choices"]:
                assert entry["options"] == [str(choice) for choice in value["choices"]]
            assert entry["help"] == value["help"]
        for layer in step["outputs"]:
            for part in layer["parts"]:
                assert inputs[f"OUTPUT_{part['name'].upper()}"]["type"] == "sink"


def test_help_names_everything(forms, toolbox):
    for step in toolbox["steps"]:
        text = forms[step["name"]]["help"]
        assert forms[step["name"]]["does"] == step["does"] + "."
        assert f"<p>{step['does']}" not in text, "said twice"
        for layer in (*step["inputs"], *step["outputs"]):
            assert f"<b>{layer['title']}</b>" in text
        for value in step["parameters"]:
            assert f"<i>{value['key']}</i>" in text
        for layer in step["outputs"]:
            assert all(column["name"] in text for column in layer["columns"])
        assert "buried lines" in text
    assert all(form["icon"] for form in forms.values())


# Every step, each on what the steps before it gave


def chain_values(step, site, folder, latest):
    """Give what each step's form holds: sample layers, and results of earlier steps."""
    values = {
        "SUBJECT_ID": SUBJECT,
        "TERRAIN": site / "ground.tif",
        "PLAN": site / "hillside.toml",
    }
    for layer in step["inputs"]:
        for part in layer["parts"]:
            brought = layer["brought"]
            values[part["name"].upper()] = (
                sample_layer(site, layer["name"], part["kind"])
                if brought
                else latest.get(part["name"])
            )
    for layer in step["outputs"]:
        for part in layer["parts"]:
            path = folder / f"{step['number']:02d}_{part['name']}.gpkg"
            values[f"OUTPUT_{part['name'].upper()}"] = latest[part["name"]] = path
    return values


@pytest.fixture(scope="module")
def whole(site):
    """The same site planned by the library, its layers as they are written."""
    run = run_plan(site / "hillside.toml")
    frame = run.site.frame
    sent = {
        name: frame.send_out(layer, frame.source_crs) if OUTPUTS[name].geometry else layer
        for name, layer in run.layers.items()
        if name in OUTPUTS
    }
    return split_by_kind(sent, OUTPUTS)


def in_order(table):
    """Sort rows by what they hold: kinds of geometry that were handed over apart are in another order."""
    words = ["rule", "feature", "source_id"]
    ordered = table.sort_values(words, kind="stable").reset_index(drop=True)
    return ordered.drop(columns=WRITTEN["no_plant_zones"].key)  # numbered in that order


def differences(name, got, expected):
    """Say in what a layer differs from that of the library; nothing if it does not."""
    if len(got) != len(expected):
        return f"{len(got)} rows for {len(expected)}"
    if name == "no_plant_zones":
        got, expected = in_order(got), in_order(expected)
    for label in expected.columns.drop("geometry", errors="ignore"):
        column = WRITTEN[name].column(label)
        ours, theirs = got[label], expected[label]
        if column.type in ("number", "integer"):
            ours, theirs = (
                side.astype("Float64").to_numpy(float, na_value=np.nan) for side in (ours, theirs)
            )
            limit = COARSE.get(name, ROUNDING)
            if not np.allclose(ours, theirs, rtol=0, atol=limit, equal_nan=True):
                return f"{label}: {np.nanmax(np.abs(ours - theirs))}"
        elif (
            ours.astype("string").fillna("").tolist() != theirs.astype("string").fillna("").tolist()
        ):
            return f"{label}: {ours.tolist()} for {theirs.tolist()}"
    if isinstance(expected, geopandas.GeoDataFrame):
        if got.crs.to_epsg() != expected.crs.to_epsg():
            return f"in {got.crs.name}"
        if len(expected):
            apart = shapely.hausdorff_distance(got.geometry.values, expected.geometry.values)
            if np.nanmax(apart) > SHAPES.get(name, TOLERANCE):
                return f"shapes {np.nanmax(apart)} apart"
    return ""


def test_every_step_runs_and_gives_what_the_library_gives(desktop, site, toolbox, whole, out):
    """Equal to another way to the same result: the pipeline, in one process and one frame."""
    latest = {}
    for step in toolbox["steps"]:
        finished = desktop.run(step["name"], **chain_values(step, site, out, latest))
        assert finished.returncode == 0, step["name"] + finished.stdout + finished.stderr
        for word in ("Traceback", "ResourceWarning", "Error:"):
            assert word not in finished.stderr, step["name"]
        for layer in step["outputs"]:
            for part in layer["parts"]:
                assert f"OUTPUT_{part['name'].upper()}:" in finished.stdout
    # The sample's plan asks neither for alternatives nor for a design, and plans one lot.
    unasked = (
        "parcels", "alternatives", "design", "design_views", "choices", "choice_plants", "choice_views", "browsed_views", "instead", "water_by_month", "drip_lines", "kinds_lost", "lost_plants", "lost_views", "kept_effects", "kept_open", "instead_lines", "new_screens", *OF_A_STREET,
    )  # fmt: skip
    alone = "kept_sizes"
    compared = [name for name in WRITTEN if name not in (*unasked, alone)]
    found = {name: differences(name, read_table(latest[name]), whole[name]) for name in compared}
    assert {name: text for name, text in found.items() if text} == {}
    # A whole run raises the height to keep until the views close; the step by itself says where crowns meet.
    step, run = read_table(latest[alone]), whole[alone]
    assert step["line_id"].tolist() == run["line_id"].tolist()
    for column in ("needed_m", "grown_m"):
        assert step[column].astype(float).tolist() == pytest.approx(run[column].astype(float).tolist(), abs=ROUNDING)  # fmt: skip
    assert (step["keep_m"].astype(float) <= run["keep_m"].astype(float) + ROUNDING).all()


def test_no_result_is_forgotten():
    given = {part for step in describe_steps() for layer in step.outputs for part in parts(layer)}
    assert given == set(WRITTEN) - {
        "parcels",
        "alternatives",
        "kept_effects",
        "new_screens",
        *OF_A_STREET,
    }


def parts(layer):
    from screenplan.contracts import written_parts

    return written_parts(OUTPUTS[layer.name])


# Layers as the desktop GIS has them


def test_layers_in_memory_filtered_selected_edited(desktop, site, out):
    """The sides of one parcel, given in seven ways, are as long."""
    done = desktop.script(desktop.profile.plugins, "layers", site, out)
    assert done.returncode == 0, done.stderr
    seen = json.loads(done.stdout.splitlines()[-1])
    (boundary,) = {round(entry["length_m"], 4) for entry in seen.values()}
    # The outline's length by the library itself; corners of a millimetre from 4326 and back.
    run = run_plan(site / "hillside.toml", only=["sides"])
    assert boundary == pytest.approx(run.layers["sides"]["length_m"].sum(), abs=0.01)
    assert {entry["rows"] for entry in seen.values()} == {4}
    assert seen["memory"]["crs"] == seen["other system"]["crs"] == "EPSG:4326"
    assert seen["file"]["crs"] == seen["filtered"]["crs"] == "EPSG:32625"


def test_results_are_loaded_in_their_style(desktop, site, out):
    done = desktop.script(desktop.profile.plugins, "styled", site, out)
    assert done.returncode == 0, done.stderr
    seen = json.loads(done.stdout.splitlines()[-1])
    assert seen["layers"] == ["sides"]
    assert seen["renderers"] != ["singleSymbol"], "the renderer of a layer without a style"
    assert seen["aliases"] != [""]


# Whole plans


def test_a_plan_file_runs(desktop, site, out, whole):
    finished = desktop.run("plan_file", PLAN=site / "hillside.toml", OUTPUT=out / "plan ö")
    assert finished.returncode == 0, finished.stderr
    assert "WARNING:\tLengths are true" in finished.stdout
    plants = read_table(out / "plan ö" / "plan.gpkg", "plants")
    apart = shapely.distance(plants.geometry.values, whole["plants"].geometry.values)
    assert apart.max() < TOLERANCE
    assert (out / "plan ö" / "report.html").is_file()


def test_paths_are_those_of_the_person(desktop, site, out):
    """The library runs in a folder that does not stay; what is written there would be lost."""
    values = ("--PLAN=hillside.toml", f"--OUTPUT={os.path.relpath(out / 'near', site)}")
    finished = desktop.process("run", "screenplan:plan_file", *values, cwd=site)
    assert finished.returncode == 0, finished.stderr
    assert (out / "near" / "report.html").is_file()
    ground = ("--PARCELS=site.gpkg|layername=parcels", f"--SUBJECT_ID={SUBJECT}")
    values = ("--TERRAIN=ground.tif", f"--OUTPUT_SIDES={out / 'sides.gpkg'}")
    finished = desktop.process("run", "screenplan:sides", *ground, *values, cwd=site)
    assert finished.returncode == 0, finished.stderr
    assert len(read_table(out / "sides.gpkg", "sides")) == 4  # the sides that site's page lists


def test_the_layers_of_a_plan_are_loaded(desktop, site, out, whole):
    done = desktop.script(desktop.profile.plugins, "loaded", site, out)
    assert done.returncode == 0, done.stderr
    seen = json.loads(done.stdout.splitlines()[-1])
    filled = {
        name.replace("_", " ").capitalize(): len(layer)
        for name, layer in whole.items()
        if WRITTEN[name].geometry and len(layer)
    }
    assert {name: entry["rows"] for name, entry in seen.items()} == filled
    assert seen["No plant zones"]["symbols"] > 1, "by reason"


def test_layers_picked_in_a_form_become_a_plan(desktop, site, out, whole):
    """All sample layers and the sample plan's choices: the plants are those of the plan file."""
    layers = {}
    for layer in describe_toolbox()["inputs"]:
        for part in layer["parts"]:
            layers[part["name"].upper()] = sample_layer(site, layer["name"], part["kind"])
    choices = {
        "SUBJECT_ID": SUBJECT, "TERRAIN": site / "ground.tif", "SITE_BOUNDARY_ACCURACY": 0.3,
        "ROWS_ALONG": "north, east", "ROWS_SPACING": 1.3,
        "PLANTS_SPECIES": "juniperus_virginiana, ilex_vomitoria", "PLANTS_GROUP": 3,
        "PLANTS_STOCK": "balled", "PLANTS_STOCK_HEIGHT": 1.8, "LIGHT_TIME_ZONE": "Atlantic/Azores",
        "SETTINGS": (
            'rows.move = "0.5 m"\nworks.hole_factor = 2.0\n'
            'species.juniperus_virginiana.mature_spread = ["8 ft", "20 ft"]'
        ), "CALENDAR_PLANTING": "2027-04-10",
    }  # fmt: skip
    folder = out / "from form"
    finished = desktop.run("plan_layers", **layers, **choices, OUTPUT=folder)
    assert finished.returncode == 0, finished.stderr
    plants = read_table(folder / "screen_plan" / "plan.gpkg", "plants")
    apart = shapely.distance(plants.geometry.values, whole["plants"].geometry.values)
    assert apart.max() < TOLERANCE
    assert plants["species"].tolist() == whole["plants"]["species"].tolist()
    assert "2027" in (folder / "screen_plan" / "calendar.ics").read_text(encoding="utf-8")

    # What the folder keeps runs again, and gives the same.
    again = run_plan(folder / "screen.toml", only=["plants"])
    assert len(again.layers["plants"]) == len(plants)

    # A plan file that a person changed is not written over.
    plan = folder / "screen.toml"
    plan.write_text(plan.read_text(encoding="utf-8") + "# mine\n", encoding="utf-8")
    refused = desktop.run("plan_layers", **layers, **choices, OUTPUT=folder)
    assert refused.returncode == 1
    assert "changed since a form wrote it" in refused.stderr
    assert plan.read_text(encoding="utf-8").endswith("# mine\n")


def test_a_layer_among_the_other_keys_is_refused_and_not_passed_over(desktop, site, out):
    folder = out / "layers among the keys"
    words = refused(
        desktop.run(
            "plan_layers", PARCELS=f"{site}/site.gpkg|layername=parcels", SUBJECT_ID=SUBJECT,
            SETTINGS='layers.buildings.file = "houses.gpkg"', OUTPUT=folder,
        ),
        folder / "screen_plan",
    )  # fmt: skip
    assert "names [layers], which the form hands over itself" in words


# Bad input


def refused(finished, path=None):
    """Hold that a run was refused in words: no traceback, no output; gives the words."""
    assert finished.returncode == 1, finished.stdout + finished.stderr
    assert "Traceback" not in finished.stderr + finished.stdout
    if path is not None:
        assert not path.exists()
    return finished.stderr


def sides(desktop, site, path, **more):
    given = {"PARCELS": f"{site}/site.gpkg|layername=parcels", "SUBJECT_ID": SUBJECT} | more
    return desktop.run("sides", **given, OUTPUT_SIDES=path)


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"SUBJECT_ID": "LR-99"}, "There is no parcel 'LR-99' among 6. Did you mean LR-9"),
        ({"SUBJECT_ID": None}, "The layer holds 6 parcels, and none is chosen"),
        ({"SIDES_BASE": 0}, "Base: 0 is out of range (at least 0.1 m, at most 50 m)"),
        ({"SIDES_BASE": 999}, "Base: 999 is out of range (at least 0.1 m, at most 50 m)"),
        ({"SIDES_CORNER": 3}, "Corner: 3 is out of range (at least 5, at most 120)"),
        ({"PARCELS": "/nowhere/lots.gpkg"}, "cannot be read: /nowhere/lots.gpkg. It is not there"),
        ({"PARCELS": None}, "mandatory parameters were not specified\n\n\tPARCELS"),
        ({"PARCELS": LINES}, "parcels takes Polygon or MultiPolygon, and this is a LineString"),
        ({"PARCELS": LINES, "SUBJECT_ID": None}, "and this is a LineString. Close these lines"),
        ({"PLAN": "/nowhere/plan.toml"}, "there is no such plan file"),
        ({"COLUMNS": "LOT"}, "does not say how a column is called"),
        ({"COLUMNS": "parcels.parcel_id = LOT"}, "LOT"),
        ({"TERRAIN": "/nowhere/ground.tif"}, "ground.tif"),
    ],
    ids=lambda value: next(iter(value)) if isinstance(value, dict) else "",
)
def test_wrong_values_and_missing_layers(desktop, site, out, given, words):
    path = out / "sides.gpkg"
    given = {
        name: str(value).format(site=site) if value else value for name, value in given.items()
    }
    assert words in refused(sides(desktop, site, path, **given), path)


def test_choices_by_number_and_species_as_a_list(desktop, site, out, toolbox):
    (step,) = (step for step in toolbox["steps"] if step["name"] == "zones")
    values = {entry["key"]: entry for entry in step["parameters"]}
    stocks, species = values["plants.stock"]["choices"], values["plants.species"]["suggestions"]
    # A tall and a low kind, by the words of the lists and by their places in them.
    tall, low = species.index("thuja_plicata"), species.index("buxus_sempervirens") if "buxus_sempervirens" in species else 0  # fmt: skip
    asked = {
        "words": {"PLANTS_STOCK": stocks[-1], "PLANTS_SPECIES": f"{species[tall]},{species[low]}"},
        "numbers": {"PLANTS_STOCK": len(stocks) - 1, "PLANTS_SPECIES": f"{tall},{low}"},
    }
    found = {}
    for how, given in asked.items():
        path = out / f"{how}.gpkg"
        given = given | {"PARCELS": f"{site}/site.gpkg|layername=parcels", "SUBJECT_ID": SUBJECT}
        done = desktop.run("zones", **given, OUTPUT_NO_PLANT_ZONES=path)
        assert done.returncode == 0, done.stderr
        found[how] = pyogrio.read_dataframe(path)
    assert len(found["words"])
    assert found["words"]["distance_m"].tolist() == found["numbers"]["distance_m"].tolist()
    wrong = desktop.run("zones", **given | {"PLANTS_STOCK": 99}, OUTPUT_NO_PLANT_ZONES=out / "w.gpkg")  # fmt: skip
    refused(wrong, out / "w.gpkg")


def test_an_empty_layer_of_any_geometry(desktop, site, out):
    """As geopandas writes one: the file does not say of which kind the layer is."""
    empty = geopandas.GeoDataFrame({"name": []}, geometry=[], crs=25832)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)  # that there is nothing to write
        empty.to_file(out / "empty.gpkg", layer="lots", engine="pyogrio")
    path = out / "sides.gpkg"
    words = refused(sides(desktop, site, path, PARCELS=f"{out}/empty.gpkg|layername=lots"), path)
    assert re.search(r"[Tt]he layer (of parcels )?is empty", words), words
    assert "no geometry" not in words


def test_a_layer_that_no_step_gave(desktop, site, out):
    path = out / "views.gpkg"
    finished = desktop.run(
        "crowns",
        PARCELS=f"{site}/site.gpkg|layername=parcels",
        SUBJECT_ID=SUBJECT,
        PLANTS=site / "windows.geojson",
        OUTPUT_CROWNS=path,
    )
    assert (
        "layer plants: it lacks the column plant_id. Give the layer plants as the step 'design' or "
        "'plants' or 'missing' gives it" in refused(finished, path)
    )


def test_a_geopackage_that_another_program_holds(desktop, site, out):
    """One that is read is read all the same; to one that is written nothing is added."""
    held = out / "held.gpkg"
    held.write_bytes((site / "site.gpkg").read_bytes())
    database = sqlite3.connect(held, isolation_level=None)
    database.execute("BEGIN EXCLUSIVE")
    try:
        path = out / "sides.gpkg"
        finished = sides(desktop, site, path, PARCELS=f"{held}|layername=parcels")
        assert finished.returncode == 0, finished.stderr
        assert len(read_table(path)) == 4  # the sample parcel has four sides
        words = refused(sides(desktop, site, f"ogr:dbname='{held}' table=\"sides\" (geom)"))
        assert "The result sides cannot be written" in words
        assert "Close its file in other programs" in words
    finally:
        database.execute("ROLLBACK")
        database.close()
    assert held.read_bytes() == (site / "site.gpkg").read_bytes()


def test_a_result_that_cannot_be_written(desktop, site, out):
    finished = sides(desktop, site, out / "no folder" / "sides.gpkg")
    assert "The result sides cannot be written" in refused(finished)
    (out / "mine").mkdir()
    (out / "mine" / "letter.txt").write_text("mine")
    finished = desktop.run("plan_file", PLAN=site / "hillside.toml", OUTPUT=out / "mine")
    assert "It holds files of your own (letter.txt)" in refused(finished)
    assert [path.name for path in (out / "mine").iterdir()] == ["letter.txt"]


@pytest.fixture
def chosen(desktop):
    """Choose another interpreter in the options, as the desktop GIS writes it, for one test."""
    settings = desktop.profile.settings
    before = settings.read_bytes()

    def choose(python):
        text = change_setting(
            before.decode("latin-1"), "Processing", r"Configuration\SCREENPLAN_PYTHON", str(python)
        )
        settings.write_bytes(text.encode("latin-1"))

    yield choose
    settings.write_bytes(before)


def program(folder, body):
    folder.mkdir()
    path = folder / "python"
    path.write_text(f"#!/bin/sh\n{body}\n")
    path.chmod(0o755)
    return path


def test_an_interpreter_that_lacks_the_library(desktop, site, out, chosen):
    chosen("/usr/bin/python3")
    words = refused(sides(desktop, site, out / "sides.gpkg"), out / "sides.gpkg")
    assert "/usr/bin/python3 has no screenplan. Choose the Python" in words
    assert "screenplan desktop install" in words


def test_an_interpreter_that_is_not_there(desktop, site, out, chosen):
    chosen("/nowhere/python")
    words = refused(sides(desktop, site, out / "sides.gpkg"), out / "sides.gpkg")
    assert "/nowhere/python cannot be started (No such file or directory)" in words


def test_an_old_library(desktop, site, out, chosen):
    package = out / "old" / "screenplan"
    package.mkdir(parents=True)
    (package / "__init__.py").write_text("__version__ = '0.0.1'\n")
    chosen(program(out / "bin", f"PYTHONPATH='{out / 'old'}' exec /usr/bin/python3 \"$@\""))
    words = refused(sides(desktop, site, out / "sides.gpkg"), out / "sides.gpkg")
    assert "is older than its toolbox. Upgrade it" in words


def test_an_interpreter_in_a_folder_with_spaces(desktop, site, out, chosen):
    chosen(program(out / "two words", f'exec "{sys.executable}" "$@"'))
    finished = sides(desktop, site, out / "sides.gpkg")
    assert finished.returncode == 0, finished.stderr


def test_a_toolbox_of_another_state_of_the_library(desktop, site, out):
    file = desktop.profile.plugins / PLUGIN / "toolbox.json"
    before = file.read_text(encoding="utf-8")
    file.write_text(json.dumps(json.loads(before) | {"version": "0.0.9", "digest": "x"}))
    try:
        words = refused(sides(desktop, site, out / "sides.gpkg"), out / "sides.gpkg")
    finally:
        file.write_text(before, encoding="utf-8")
    assert "The toolbox is of screenplan 0.0.9" in words
    assert "-m screenplan desktop install', and start the desktop GIS again" in words


# Cancelling


def test_cancelling_leaves_nothing(desktop, site, out):
    """Cancelled in the middle of a whole plan: no folder, no process, no temporary file."""
    done = desktop.script(desktop.profile.plugins, "cancel", site, out)
    assert done.returncode == 0, done.stderr
    seen = json.loads(done.stdout.splitlines()[-1])
    assert seen["says"] == "Cancelled; nothing was written."
    assert seen["at"][0] >= 20
    assert list(out.iterdir()) == []


@pytest.mark.parametrize(("how", "code"), [(signal.SIGINT, 1), (signal.SIGKILL, -signal.SIGKILL)])
def test_the_library_ends_with_the_desktop_gis(desktop, site, out, how, code):
    """Interrupted or killed outright: the worker notices, tidies up and ends by itself."""
    runner = desktop.start(
        "run",
        "screenplan:plan_file",
        f"--PLAN={site / 'hillside.toml'}",
        f"--OUTPUT={out / 'plan'}",
    )
    with runner.stdout:
        for line in runner.stdout:
            if "zones" in line:
                assert workers(desktop.home)
                break
        os.kill(runner.pid, how)
        last = runner.stdout.read()
    assert runner.wait(timeout=60) == code
    assert "Traceback" not in last
    deadline = time.monotonic() + 30
    while (workers(desktop.home) or desktop.left_over()) and time.monotonic() < deadline:
        time.sleep(0.2)
    assert workers(desktop.home) == []
    assert list(out.iterdir()) == []


def test_the_profile_is_as_installed(desktop):
    """After all that, one more time: interpreter, library and versions fit."""
    from screenplan.desktop.check import check_installation

    assert all(finding.fits for finding in check_installation(desktop.profile))
    assert Path(desktop.installed.plugin).is_dir()
