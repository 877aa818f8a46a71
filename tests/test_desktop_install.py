"""The toolbox comes into a profile whole or not at all, and it is told whether all fits."""

import ast
import json
import re
import sys
import xml.etree.ElementTree as ET
import zipfile
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio
import pytest
import shapely
from click.testing import CliRunner

import screenplan.desktop.check as check_module
import screenplan.desktop.install as install_module
from screenplan._version import __version__
from screenplan.commandline.main import main
from screenplan.contracts import WRITTEN
from screenplan.desktop.check import PYTHON_SETTING, check_installation
from screenplan.desktop.form_values import content_of, named_columns, settings_of
from screenplan.desktop.install import PLUGIN, SOURCE, check_python, install, remove
from screenplan.desktop.profile import (
    Profile,
    change_setting,
    find_profile,
    profiles_folder,
    read_setting,
)
from screenplan.desktop.screenplan_toolbox.help_text import step_help
from screenplan.desktop.screenplan_toolbox.runner import NotRun, ask_about, clean_environment
from screenplan.desktop.step_jobs import read_handed
from screenplan.desktop.toolbox import PLAN_KEYS, describe_toolbox, inputs_of
from screenplan.desktop.worker import _check_version
from screenplan.ground.errors import InputError
from screenplan.plan import check_plan
from screenplan.plan.reading import change_plan
from screenplan.running.descriptions import describe_steps
from screenplan.running.steps import STEPS

#: What a settings file of the desktop GIS may hold: sections, escapes, odd spacing.
SETTINGS = (
    "[app]\nprojections\\promptWhenMultipleTransformsExist=false\nname=\\xe4\\x20ac\n\n"
    "[PythonPlugins]\nother_tool=true\n\n[qgis]\nlast = x=y\n"
)


@pytest.fixture
def profile(tmp_path):
    return Profile(tmp_path / "Prüf profil" / "default")


@pytest.fixture
def quick(monkeypatch):
    """This interpreter has this library: the answer of its worker, without starting it."""
    answer = {
        "version": __version__,
        "digest": describe_toolbox()["digest"],
        "python": "3.11.0",
        "packages": {"numpy": "2.0"},
    }
    monkeypatch.setattr(install_module, "ask_about", lambda python: answer)
    monkeypatch.setattr(check_module, "ask_about", lambda python: answer)
    return answer


def content(folder):
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


# The profile


@pytest.mark.parametrize(
    ("system", "environment", "expected"),
    [
        ("linux", {"HOME": "/home/a"}, "/home/a/.local/share/QGIS/QGIS3/profiles"),
        ("linux", {"HOME": "/h", "XDG_DATA_HOME": "/data"}, "/data/QGIS/QGIS3/profiles"),
        ("darwin", {"HOME": "/U/a"}, "/U/a/Library/Application Support/QGIS/QGIS3/profiles"),
        ("win32", {"HOME": "/U", "APPDATA": "/U/R"}, "/U/R/QGIS/QGIS3/profiles"),
        ("linux", {"HOME": "/h", "QGIS_CUSTOM_CONFIG_PATH": "/c"}, "/c/profiles"),
    ],
)
def test_profiles_lie_where_the_desktop_gis_documents_them(system, environment, expected):
    """Documented places of user profiles; Linux and the custom folder tried on Debian 12."""
    assert profiles_folder(environment, system) == Path(expected)


def test_the_profile_that_it_starts_with_is_taken(tmp_path, monkeypatch):
    monkeypatch.setenv("QGIS_CUSTOM_CONFIG_PATH", str(tmp_path))
    assert find_profile().folder == tmp_path / "profiles" / "default"
    (tmp_path / "profiles" / "garden").mkdir(parents=True)
    assert find_profile("garden").folder.name == "garden"
    (tmp_path / "profiles" / "profiles.ini").write_text("[core]\ndefaultProfile=garden\n")
    assert find_profile().folder.name == "garden"
    with pytest.raises(InputError, match=r"there is no profile field.*Name one of garden"):
        find_profile("field")
    with pytest.raises(InputError, match="both given"):
        find_profile("garden", tmp_path)


def test_a_setting_is_changed_and_all_else_stays():
    changed = change_setting(SETTINGS, "PythonPlugins", PLUGIN, "true")
    assert changed == SETTINGS.replace("other_tool=true\n", f"other_tool=true\n{PLUGIN}=true\n")
    assert change_setting(changed, "PythonPlugins", PLUGIN, "true") == changed
    assert change_setting(changed, "PythonPlugins", PLUGIN, None) == SETTINGS
    assert change_setting("", "a", "b", "c") == "[a]\nb=c\n"
    assert change_setting("[a]\r\nb=1\r\n", "a", "b", "2") == "[a]\r\nb=2\r\n"


def test_settings_are_read_as_they_are_written():
    """Escapes of Qt's settings format: hexadecimal codes for letters beyond Latin ones."""
    assert read_setting(SETTINGS, "app", "name") == "ä€"
    assert read_setting(SETTINGS, "qgis", "last") == "x=y"
    assert read_setting(SETTINGS, "qgis", "name") is None
    quoted = '[Processing]\nConfiguration\\SCREENPLAN_PYTHON="C:\\\\Program Files\\\\python.exe"\n'
    assert read_setting(quoted, "Processing", PYTHON_SETTING) == "C:\\Program Files\\python.exe"


# Installing


def test_it_is_installed_enabled_and_says_what_it_did(profile, quick):
    done = install(profile)
    plugin = profile.plugins / PLUGIN
    assert (done.plugin, done.before, done.newly_enabled) == (plugin, None, True)
    assert done.steps == len(STEPS)
    assert read_setting(profile.settings.read_text(), "PythonPlugins", PLUGIN) == "true"
    assert f"version={__version__}" in (plugin / "metadata.txt").read_text()
    assert "hasProcessingProvider=yes" in (plugin / "metadata.txt").read_text()
    assert json.loads((plugin / "toolbox.json").read_text()) == describe_toolbox()
    assert json.loads((plugin / "installed.json").read_text())["python"] == sys.executable
    assert {path.stem for path in (plugin / "styles").glob("*.qml")} == set(WRITTEN)
    assert not list(profile.python.glob(".*")), "nothing is left beside it"
    assert not list(plugin.rglob("__pycache__"))


def test_twice_is_as_once_and_what_stands_there_stays(profile, quick):
    profile.settings.parent.mkdir(parents=True)
    profile.settings.write_text(SETTINGS)
    other = profile.plugins / "other_tool" / "__init__.py"
    other.parent.mkdir(parents=True)
    other.write_text("# somebody else's\n")
    install(profile)
    once = content(profile.folder)
    done = install(profile)
    assert (done.before, done.newly_enabled) == (__version__, False)
    assert content(profile.folder) == once
    assert other.read_text() == "# somebody else's\n"
    assert remove(profile) == __version__
    assert profile.settings.read_text() == SETTINGS
    assert not (profile.plugins / PLUGIN).exists()
    assert remove(profile) is None


def test_an_older_one_is_replaced_whole(profile, quick):
    install(profile)
    plugin = profile.plugins / PLUGIN
    (plugin / "installed.json").write_text('{"version": "0.0.9", "digest": "x", "python": "y"}')
    (plugin / "given_up.py").write_text("# of the older one\n")
    assert install(profile).before == "0.0.9"
    assert not (plugin / "given_up.py").exists()


def test_something_else_in_its_place_is_left_alone(profile, quick):
    plugin = profile.plugins / PLUGIN
    plugin.mkdir(parents=True)
    (plugin / "notes.txt").write_text("mine")
    with pytest.raises(InputError, match=r"did not install.*Move it away"):
        install(profile)
    assert content(profile.folder) == {f"python/plugins/{PLUGIN}/notes.txt": b"mine"}
    (plugin / "notes.txt").unlink()
    plugin.rmdir()
    plugin.symlink_to(profile.folder, target_is_directory=True)
    with pytest.raises(InputError, match=r"is a link. Remove the link"):
        install(profile)


def test_a_profile_that_cannot_be_written_is_refused(profile, quick):
    """The tests may run as root, whom no permission stops: a file stands where a folder should."""
    profile.folder.mkdir(parents=True)
    profile.python.write_text("a file")
    with pytest.raises(InputError, match=r"cannot be written.*--profile-folder"):
        install(profile)
    assert content(profile.folder) == {"python": b"a file"}


@pytest.mark.parametrize("broken", ["shutil.copytree", "write_settings", "_write_json"])
def test_an_installation_that_breaks_off_leaves_the_older_one(profile, quick, monkeypatch, broken):
    install(profile)
    change = change_setting(profile.settings.read_text(), "PythonPlugins", PLUGIN, "false")
    profile.settings.write_text(change)
    before = content(profile.folder)

    def break_off(*arguments, **options):
        raise OSError(28, "No space left on device", "somewhere")

    monkeypatch.setattr(f"{install_module.__name__}.{broken}", break_off)
    with pytest.raises(InputError, match="No space left on device"):
        install(profile)
    assert content(profile.folder) == before
    assert not list(profile.python.glob(".*"))


# Interpreter, library and versions


def test_all_fits(profile):
    """The one here that really starts the interpreter, in the clean environment."""
    install(profile, sys.executable)
    findings = check_installation(profile)
    assert [(finding.what, finding.fits) for finding in findings] == [
        ("plugin", True),
        ("enabled", True),
        ("interpreter", True),
        ("library", True),
    ]


def test_nothing_installed_and_not_enabled(profile, quick):
    (finding,) = check_installation(profile)
    assert (finding.what, finding.fits) == ("plugin", False)
    assert "screenplan desktop install" in finding.remedy
    install(profile)
    profile.settings.write_text("[PythonPlugins]\n")
    bad = [finding for finding in check_installation(profile) if not finding.fits]
    assert [finding.what for finding in bad] == ["enabled"]


def test_another_version_of_plugin_or_library(profile, quick):
    install(profile)
    installed = profile.plugins / PLUGIN / "installed.json"
    installed.write_text(json.dumps({"version": "0.0.9", "digest": "x", "python": sys.executable}))
    bad = {finding.what: finding for finding in check_installation(profile) if not finding.fits}
    assert set(bad) == {"plugin", "library"}
    assert "0.0.9" in bad["plugin"].says
    assert "not those of the plugin 0.0.9" in bad["library"].says
    assert f"but this is screenplan {__version__}" in bad["plugin"].says
    # Another state of the same version: no version is set against itself.
    same = {"version": __version__, "digest": "x", "python": sys.executable}
    installed.write_text(json.dumps(same))
    (alone,) = [check for check in check_installation(profile) if not check.fits]
    assert alone.what == "library"
    assert alone.says.count(__version__) == 1


def test_the_interpreter_chosen_in_the_options_is_asked(profile, quick, monkeypatch):
    install(profile)
    text = profile.settings.read_text()
    profile.settings.write_text(change_setting(text, "Processing", PYTHON_SETTING, "/other/python"))
    asked = []
    monkeypatch.setattr(check_module, "ask_about", lambda python: asked.append(python) or quick)
    assert all(finding.fits for finding in check_installation(profile))
    assert asked == ["/other/python"]


def wrapper(folder, body):
    """Make a program that stands for an interpreter."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "python"
    path.write_text(f"#!/bin/sh\n{body}\n")
    path.chmod(0o755)
    return path


def test_an_interpreter_without_the_library(profile, tmp_path, quick, monkeypatch):
    # -S leaves the environment's packages out: the library is not there.
    bare = wrapper(tmp_path / "leer ä", f'exec "{sys.executable}" -S "$@"')
    with pytest.raises(NotRun, match=r"has no screenplan. Choose the Python"):
        ask_about(bare)
    monkeypatch.setattr(install_module, "ask_about", ask_about)
    with pytest.raises(InputError, match=r"has no screenplan. Name a Python.*--python"):
        install(profile, bare)
    assert not profile.folder.exists()


def test_an_interpreter_with_an_old_library(tmp_path):
    package = tmp_path / "old" / "screenplan" / "__init__.py"
    package.parent.mkdir(parents=True)
    package.write_text("__version__ = '0.0.1'\n")
    old = wrapper(
        tmp_path / "bin", f'PYTHONPATH="{tmp_path / "old"}" exec "{sys.executable}" -S "$@"'
    )
    with pytest.raises(NotRun, match=r"is older than its toolbox. Upgrade it"):
        ask_about(old)


def test_an_interpreter_that_lacks_a_package(tmp_path):
    bare = wrapper(tmp_path, f'PYTHONPATH="{SOURCE.parents[2]}" exec "{sys.executable}" -S "$@"')
    with pytest.raises(NotRun, match=r"not complete.*Install it again with all that it needs"):
        ask_about(bare)


def test_no_interpreter(tmp_path):
    with pytest.raises(NotRun, match=r"cannot be started.*No such file"):
        ask_about(tmp_path / "nothing")
    with pytest.raises(NotRun, match=r"cannot be started|No Python is chosen"):
        ask_about("")
    with pytest.raises(NotRun, match="ended with code 3: boom"):
        ask_about(wrapper(tmp_path, "echo boom >&2; exit 3"))
    with pytest.raises(NotRun, match="no answer that can be read"):
        ask_about(wrapper(tmp_path, "echo hello"))


def test_another_state_of_the_library_is_not_installed(quick, monkeypatch):
    monkeypatch.setattr(
        install_module, "ask_about", lambda python: quick | {"digest": "other", "version": "9.9"}
    )
    with pytest.raises(InputError, match=f"has screenplan 9.9, but this is {__version__}"):
        check_python(sys.executable)
    # Two states of one version are not told by the version.
    monkeypatch.setattr(install_module, "ask_about", lambda python: quick | {"digest": "other"})
    with pytest.raises(InputError, match="has another state of screenplan") as refused:
        check_python(sys.executable)
    assert str(refused.value).count(__version__) == 1


def test_the_environment_is_clean():
    kept = {"PATH": "/bin", "HOME": "/h", "LANG": "C", "NUMBA_CACHE_DIR": "/c"}
    spoiled = {
        "PYTHONPATH": "x", "PYTHONHOME": "x", "QGIS_PREFIX_PATH": "x", "GDAL_DATA": "x", "PROJ_LIB": "x",
        "LD_LIBRARY_PATH": "x", "QT_QPA_PLATFORM": "x", "DYLD_LIBRARY_PATH": "x", "OGR_X": "x",
    }  # fmt: skip
    assert clean_environment(kept | spoiled) == kept


# The command


def call(*arguments):
    return CliRunner().invoke(main, ["desktop", *map(str, arguments)], catch_exceptions=False)


def test_the_command_installs_checks_and_removes(profile, quick):
    where = ("--profile-folder", profile.folder)
    assert call("check", *where).exit_code == 1
    done = call("install", *where)
    assert done.exit_code == 0
    assert f"Installed: the toolbox of screenplan {__version__}" in done.output
    assert str(profile.plugins / PLUGIN) in done.output
    assert "Start the desktop GIS" in done.output
    assert "Installed again" in call("install", *where).output
    assert json.loads(call("install", *where, "--json").output)["before"] == __version__
    checked = call("check", *where, "--json")
    assert (checked.exit_code, json.loads(checked.output)["fits"]) == (0, True)
    assert "Removed" in call("remove", *where).output
    assert json.loads(call("remove", *where, "--json").output)["removed"] is None


def test_the_command_refuses_in_words(tmp_path):
    (tmp_path / "file").write_text("")
    done = call("install", "--profile-folder", tmp_path / "file")
    assert done.exit_code == 2
    assert "the profile is a file. Name the profile's folder" in done.output


# What the plugin is told


def test_the_plugin_imports_nothing_of_the_library():
    """It runs in the desktop GIS's own interpreter, where neither library nor wheels may be."""
    allowed = set(sys.stdlib_module_names) | {"qgis", "processing"}
    for path in SOURCE.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                assert {name.name.split(".")[0] for name in node.names} <= allowed, path
            elif isinstance(node, ast.ImportFrom) and node.level == 0:
                assert node.module.split(".")[0] in allowed, path


def test_every_step_has_a_form_with_the_parcels_that_lay_its_frame():
    toolbox = describe_toolbox()
    assert [step["name"] for step in toolbox["steps"]] == list(STEPS)
    for step, described in zip(toolbox["steps"], describe_steps(), strict=True):
        names = [layer["name"] for layer in step["inputs"]]
        assert names == [layer.name for layer in inputs_of(described)]
        assert "parcels" in names
        parcels = next(layer for layer in step["inputs"] if layer["name"] == "parcels")
        needs_no_place = step["name"] in ("rules", "cost", "years")
        assert parcels["needed"] != needs_no_place, "only rules, cost and years need no place"
    assert [entry["key"] for entry in toolbox["plan_values"]] == list(PLAN_KEYS)


def test_another_wording_needs_no_other_plugin(monkeypatch):
    import screenplan.desktop.toolbox as module

    before = describe_toolbox()["digest"]
    steps = describe_steps()
    worded = (replace(steps[0], does="Said otherwise"), *steps[1:])
    monkeypatch.setattr(module, "describe_steps", lambda: worded)
    assert module.describe_toolbox()["digest"] == before
    fewer = (replace(steps[0], parameters=steps[0].parameters[1:]), *steps[1:])
    monkeypatch.setattr(module, "describe_steps", lambda: fewer)
    assert module.describe_toolbox()["digest"] != before


def test_labels_say_what_a_value_is():
    """From the key's help, up to where it gives examples; of listed choices the section is named."""
    toolbox = describe_toolbox()
    values = [entry for step in toolbox["steps"] for entry in step["parameters"]]
    labels = {entry["key"]: entry["label"] for entry in values}
    assert labels["fence.boundary"] == "Boundary: between the wire and the boundary"
    assert labels["fence.roll"] == "Roll: wire or mesh on a roll"
    assert labels["sides.corner"] == "Corner: change of direction that makes a corner (deg)"
    assert labels["windows.width"] == "Width of a window"  # the help begins with the title
    assert labels["rows.fit"] == "Rows: fit"
    assert labels["fence.height"] == "Fence: height"
    for entry in (*values, *toolbox["plan_values"]):
        assert 1 < len(entry["label"].split()) < 25, entry["key"]


def test_the_help_of_a_form_says_what_the_desktop_gis_does_not():
    """It says above the help what a step does; and its runner that choices are numbers."""
    for step in describe_toolbox()["steps"]:
        text = step_help(step)
        assert not text.startswith("<p>")
        assert f"<p>{step['does']}." not in text
        assert "gives a choice by its word, such as us" in text


def test_a_worker_of_another_library_names_its_python(monkeypatch):
    monkeypatch.setattr(sys, "executable", "/the env/bin/python")
    remedy = r"""^The toolbox is of screenplan 0\.0\.9, and its Python has .* Run '"/the env/bin/python" -m"""
    with pytest.raises(InputError, match=remedy + " screenplan desktop install'"):
        _check_version({"version": "0.0.9", "digest": "x"})
    monkeypatch.setattr(sys, "executable", "/bin/python")
    with pytest.raises(InputError, match=r"^The toolbox was made.*Run '/bin/python -m screenplan"):
        _check_version({"version": __version__, "digest": "x"})


def test_an_empty_layer_without_a_kind_of_geometry_is_told_so(tmp_path):
    path = tmp_path / "roads.gpkg"
    pyogrio.write_dataframe(
        pd.DataFrame({"name": pd.Series([], dtype=object)}), path, layer="roads"
    )
    said = r"roads: The layer is empty, and its kind of geometry is not known\. Draw what it should"
    with pytest.raises(InputError, match=said):
        read_handed("roads", [{"file": path, "layer": "roads"}])
    pyogrio.write_dataframe(pd.DataFrame({"name": ["Mill Lane"]}), path, layer="roads")
    with pytest.raises(InputError, match=r"roads: The layer has no geometry\. Choose a layer with"):
        read_handed("roads", [{"file": path, "layer": "roads"}])


def test_what_a_form_holds_becomes_a_plan():
    values = {
        "rows.spacing": 1.8,
        "rows.along": ["north", "east"],
        "rows.rows": 2,
        "growth.show_years": ["0", "5"],
        "works.mulch_bag": 0.06,
        "calendar.planting": "2027-04-10",
        "hand.prices": [["0.6 m", "18"], ["", ""]],
        "stakeout.measured": [["A", "P1", "12.35 m"]],
        "health.exposed_to": ["wet"],
        "goal.share": 0.5,
        "windows.derive": False,
    }
    parcels = {"layers": {"parcels": {"file": "a"}}}
    for plan in (
        check_plan({**content_of(values), **parcels}),
        check_plan(change_plan(parcels, settings_of(values))),
    ):
        assert plan.rows.spacing == 1.8
        assert plan.rows.along == ("north", "east")
        assert plan.rows.rows == 2
        assert plan.growth.show_years == (0, 5)
        assert plan.works.mulch_bag == 0.06
        assert plan.calendar.planting == "2027-04-10"
        assert plan.hand.prices == {"0.6 m": 18.0}
        assert plan.stakeout.measured == (("A", "P1", 12.35),)
        assert plan.health.exposed_to == ("wet",)
        assert plan.goal.share == 0.5
        assert plan.windows.derive is False
    with pytest.raises(InputError, match=r"growth.show_years"):
        check_plan({**content_of({"growth.show_years": ["soon"]}), **parcels})


def test_columns_that_are_called_otherwise():
    columns, units = named_columns("parcels.parcel_id = LOT NO; buildings.height_m=HGT ft\n")
    assert columns == {"parcels": {"parcel_id": "LOT NO"}, "buildings": {"height_m": "HGT"}}
    assert units == {"buildings": {"height_m": "ft"}}
    assert named_columns("") == ({}, {})
    with pytest.raises(
        InputError, match=r"does not say how a column is called. Write layer.column"
    ):
        named_columns("LOT")
    with pytest.raises(InputError, match=r"parcels has no column lot. Name one of parcel_id"):
        named_columns("parcels.lot = LOT")


def test_the_icon_and_the_metadata_are_there():
    for name in ("icon.svg", "metadata.txt", "__init__.py"):
        assert (SOURCE / name).stat().st_size > 0


# What comes with it


def test_the_licence_comes_with_the_plugin(profile, quick):
    install(profile)
    plugin = profile.plugins / PLUGIN
    own = (Path(__file__).parent.parent / "LICENSE").read_text("utf-8")
    assert (plugin / "LICENSE").read_text("utf-8") == own
    metadata = (plugin / "metadata.txt").read_text("utf-8")
    assert "\nlicense=MIT\n" in metadata


def test_each_step_has_a_page_of_help_to_which_its_form_links(profile, quick):
    install(profile)
    folder = profile.plugins / PLUGIN / "help"
    assert {path.stem for path in folder.glob("*.html")} == set(STEPS)
    for step in describe_toolbox()["steps"]:
        page = (folder / f"{step['name']}.html").read_text("utf-8")
        assert step_help(step) in page
        assert page.startswith("<!DOCTYPE html>")


def test_every_text_of_the_forms_can_be_translated(profile, quick):
    install(profile)
    listed = ET.parse(profile.plugins / PLUGIN / "i18n" / "screenplan.ts").getroot()
    texts = [source.text for source in listed.iter("source")]
    assert len(texts) == len(set(texts)) > 200
    assert {name.text for name in listed.iter("name")} == {"Screenplan"}
    assert "Identifier of the parcel that is planned" in texts
    for entry in describe_toolbox()["plan_values"]:
        assert {entry["label"], entry["help"]} <= set(texts)
    # The help beside a form asks for no text that the list lacks, and shows what it is given.
    asked = []
    for step in describe_toolbox()["steps"]:
        said = step_help(step, lambda text: asked.append(text) or f"«{len(asked)}»")
        assert "Before any digging" not in said
    assert len(set(asked)) > 200
    assert set(asked) <= set(texts)


#: What shows a text: calls whose second argument is one.
SHOWS = re.compile(r"QgsProcessing(Parameter|Output)\w+$")


def test_no_text_of_a_form_goes_past_the_translation():
    for path in SOURCE.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if not isinstance(node, ast.Call) or not SHOWS.match(getattr(node.func, "id", "")):
                continue
            given = node.args[1:2] if len(node.args) > 1 else []
            assert not any(isinstance(entry, ast.Constant) for entry in given), ast.unparse(node)


def test_a_zip_to_install_from(tmp_path, quick):
    done = CliRunner().invoke(main, ["desktop", "zip", str(tmp_path / "one.zip")])
    assert done.exit_code == 0, done.output
    with zipfile.ZipFile(tmp_path / "one.zip") as packed:
        assert packed.testzip() is None
        names = packed.namelist()
        # The desktop GIS takes the one folder in it for the plugin.
        assert {name.split("/")[0] for name in names} == {PLUGIN}
        for name in ("__init__.py", "metadata.txt", "toolbox.json", "LICENSE", "icon.svg"):
            assert f"{PLUGIN}/{name}" in names
        assert not [name for name in names if "__pycache__" in name]
        told = json.loads(packed.read(f"{PLUGIN}/installed.json"))
        assert told == {
            "version": __version__,
            "digest": describe_toolbox()["digest"],
            "python": "",
        }
        assert f"version={__version__}" in packed.read(f"{PLUGIN}/metadata.txt").decode()
    install_module.write_zip(tmp_path / "two.zip")
    assert (tmp_path / "one.zip").read_bytes() == (tmp_path / "two.zip").read_bytes()
    again = CliRunner().invoke(main, ["desktop", "zip", str(tmp_path / "one.zip")])
    assert again.exit_code == 2
    assert "there is such a file already" in again.stderr
    named = CliRunner().invoke(main, ["desktop", "zip", str(tmp_path / "three.zip"), "--python", "/opt/p", "--json"])  # fmt: skip
    assert json.loads(named.stdout)["python"] == "/opt/p"
    assert not list(tmp_path.glob(".*"))


# Later versions of the desktop GIS

#: Names of Qt that the plugin uses, by module. All of them are in Qt 5 and Qt 6 alike.
QT_NAMES = {
    "QtCore": {"QCoreApplication", "QMetaType", "QTranslator", "QVariant"},
    "QtGui": {"QIcon"},
}


def test_it_uses_names_that_qt_5_and_qt_6_share():
    found = {}
    for path in SOURCE.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("qgis.PyQt"):
                module = node.module.rsplit(".", 1)[1]
                found.setdefault(module, set()).update(alias.name for alias in node.names)
            if isinstance(node, (ast.Import, ast.ImportFrom)):
                names = [getattr(node, "module", None) or "", *(alias.name for alias in node.names)]
                assert not any(name.startswith(("PyQt", "PySide")) for name in names)
    assert found == QT_NAMES
    lowest, highest = (
        re.search(rf"qgis{end}Version=(.*)", (SOURCE / "metadata.txt").read_text("utf-8"))[1]
        for end in ("Minimum", "Maximum")
    )
    assert (lowest, highest) == ("3.22", "4.99")


@pytest.mark.evidence(
    part="Desktop GIS and servers",
    kind="other software",
    against="Names of Qt that the plugin uses, in the bindings of Qt 6",
    source="PyQt6",
    status="run",
    tolerance="each is there",
)
def test_its_names_are_in_qt_6():
    core = pytest.importorskip("PyQt6.QtCore", exc_type=ImportError)
    from importlib import import_module

    for module, names in QT_NAMES.items():
        there = import_module(f"PyQt6.{module}")
        assert [name for name in names if not hasattr(there, name)] == []
    # Qt 6 has no types of values in QVariant; the plugin then takes those of QMetaType.
    assert not hasattr(core.QVariant, "Int")
    text = (SOURCE / "handover.py").read_text("utf-8")
    (named,) = [
        ast.literal_eval(node.value)
        for node in ast.parse(text).body
        if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "_NAMES"
    ]
    assert [name for name in named.values() if not hasattr(core.QMetaType.Type, name)] == []
    assert not re.search(r"QVariant\.[A-Z]", text)


# A county


def test_a_county_by_its_form(tmp_path):
    pytest.importorskip("pyarrow")
    from screenplan.desktop.jobs import do_job

    lots = gpd.GeoDataFrame(
        {"parcel_id": ["a", "b", "c"]},
        geometry=[
            *(shapely.box(500000 + 40 * k, 5500000, 500040 + 40 * k, 5500050) for k in range(2)),
            None,
        ],
        crs="EPSG:25832",
    )
    lots.to_file(tmp_path / "lots.gpkg", layer="lots")
    (tmp_path / "county.toml").write_text('[layers.parcels]\nfile = "lots.gpkg"\n', "utf-8")
    told = []
    done = do_job(
        {
            "task": "county", "plan": str(tmp_path / "county.toml"), "out": str(tmp_path / "out"),
            "settings": ['county.planted=["rear", "side"]'], "workers": 1, "wanted": ["lines"],
        },
        told.append,
    )  # fmt: skip
    assert (tmp_path / "out" / "county.gpkg").is_file()
    assert done["folder"] == str(tmp_path / "out")
    assert done["layers"]
    assert any(
        "3 parcels were looked at, 1 rows were set aside." in entry.get("says", "")
        for entry in told
    )
    assert any("row 3" in entry.get("note", "") for entry in told)
    assert any("progress" in entry for entry in told)
