"""Put the plugin into a profile of the desktop GIS, or take it out: whole or not at all."""

from __future__ import annotations

import json
import os
import shutil
import sys
import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import Any

from screenplan._version import __version__
from screenplan.contracts import WRITTEN
from screenplan.desktop.profile import (
    PLUGINS_SECTION,
    Profile,
    change_setting,
    read_setting,
    read_settings,
    write_settings,
)
from screenplan.desktop.screenplan_toolbox.help_text import step_help
from screenplan.desktop.screenplan_toolbox.runner import NotRun, ask_about
from screenplan.desktop.toolbox import describe_toolbox
from screenplan.desktop.translating import translation_list
from screenplan.ground.errors import refuse

PLUGIN = "screenplan_toolbox"
SOURCE = Path(__file__).resolve().with_name(PLUGIN)
#: Written by the installation beside the plugin's own files.
TOOLBOX_FILE, INSTALLED_FILE, STYLES_FOLDER = "toolbox.json", "installed.json", "styles"
HELP_FOLDER, TEXTS_FOLDER = "help", "i18n"


@dataclass(frozen=True)
class Installed:
    """What an installation did.

    Parameters
    ----------
    plugin : Path
        The folder of the plugin.
    settings : Path
        The settings file in which it is enabled.
    python : str
        The interpreter that runs the library.
    version : str
        Of the library and the plugin.
    before : str or None
        The version that stood there before; None if there was none.
    newly_enabled : bool
        Whether it was not enabled before.
    steps : int
        How many steps the toolbox lists.
    """

    plugin: Path
    settings: Path
    python: str
    version: str
    before: str | None
    newly_enabled: bool
    steps: int


def install(profile: Profile, python: str | Path | None = None) -> Installed:
    """Put the plugin into a profile, in the place of an older one, and enable it.

    Parameters
    ----------
    profile : Profile
        The profile; its folders are made if they are not there.
    python : path, optional
        The interpreter that runs the library; by default this one.

    Raises
    ------
    InputError
        If the interpreter has no such library, the profile cannot be written, or something else
        stands in the plugin's place. Nothing is changed then.
    """
    chosen = check_python(python)
    target = profile.plugins / PLUGIN
    before = installed_version(target)
    text = read_settings(profile)
    enabled = read_setting(text, PLUGINS_SECTION, PLUGIN) == "true"
    toolbox = describe_toolbox()
    with _explained(profile):
        profile.plugins.mkdir(parents=True, exist_ok=True)
        with _swapped(profile, target) as beside:
            _write_plugin(beside, toolbox, chosen)
            if not enabled:
                write_settings(profile, change_setting(text, PLUGINS_SECTION, PLUGIN, "true"))
    return Installed(
        target, profile.settings, chosen, __version__, before, not enabled, len(toolbox["steps"])
    )


def remove(profile: Profile) -> str | None:
    """Take the plugin out of a profile, and its line out of the settings.

    Returns
    -------
    str or None
        The version that stood there; None if there was none.
    """
    target = profile.plugins / PLUGIN
    before = installed_version(target)
    text = read_settings(profile)
    with _explained(profile):
        changed = change_setting(text, PLUGINS_SECTION, PLUGIN, None)
        if changed != text:
            write_settings(profile, changed)
        if before is not None:
            aside = profile.python / f".{PLUGIN}~old"
            shutil.rmtree(aside, ignore_errors=True)
            target.rename(aside)
            shutil.rmtree(aside)
    return before


def check_python(python: str | Path | None) -> str:
    """Check that an interpreter has this library, and give its path.

    Raises
    ------
    InputError
        If it cannot be started, or has no screenplan or another one.
    """
    chosen = os.path.abspath(sys.executable if python is None else os.path.expanduser(python))  # noqa: PTH100, PTH111 (a link to an interpreter stays one)
    try:
        found = ask_about(chosen)
    except NotRun as error:
        what, _, mend = error.messages[0].partition(". ")
        raise refuse(
            what, "Name a Python in which screenplan is installed with --python", key="--python"
        ) from error if mend else None
    if found["digest"] != describe_toolbox()["digest"]:
        other = found["version"]
        raise refuse(
            f"{chosen} has screenplan {other}, but this is {__version__}"
            if other != __version__
            else f"{chosen} has another state of screenplan {other} than this one",
            "Install the same in both, or run 'screenplan desktop install' with that Python",
            key="--python",
        )
    return chosen


def installed_version(target: Path) -> str | None:
    """Give the version of the plugin that stands in a folder; None if nothing stands there.

    Raises
    ------
    InputError
        If something else stands there.
    """
    if target.is_symlink():
        raise refuse("the plugin's folder is a link", "Remove the link first", file=str(target))
    if not target.exists():
        return None
    try:
        return read_installed(target)["version"]
    except (OSError, ValueError, KeyError, TypeError):
        raise refuse(
            "something that screenplan did not install stands in the plugin's place",
            "Move it away first",
            file=str(target),
        ) from None


def read_installed(target: Path) -> dict[str, Any]:
    """Read what an installation wrote: ``version``, ``digest``, ``python``."""
    return json.loads((target / INSTALLED_FILE).read_text(encoding="utf-8"))


def _write_plugin(folder: Path, toolbox: dict[str, Any], python: str) -> None:
    shutil.copytree(SOURCE, folder, ignore=shutil.ignore_patterns("__pycache__", "*.pyc"))
    metadata = folder / "metadata.txt"
    text = metadata.read_text(encoding="utf-8")
    metadata.write_text(
        text.replace("version=0\n", f"version={toolbox['version']}\n"), encoding="utf-8"
    )
    styles = folder / STYLES_FOLDER
    styles.mkdir()
    for name, style in _styles():
        (styles / f"{name}.qml").write_text(style, encoding="utf-8")
    _write_help(folder / HELP_FOLDER, toolbox)
    texts = folder / TEXTS_FOLDER
    texts.mkdir()
    (texts / "screenplan.ts").write_text(translation_list(toolbox, SOURCE), encoding="utf-8")
    _write_json(folder / TOOLBOX_FILE, toolbox)
    _write_json(
        folder / INSTALLED_FILE,
        {"version": toolbox["version"], "digest": toolbox["digest"], "python": python},
    )


def write_zip(path: str | Path, python: str | Path | None = None) -> Path:
    """Write the plugin as a zip file, from which the desktop GIS installs it by its own dialog.

    Parameters
    ----------
    path : path
        The file to write; it must not be there yet.
    python : path, optional
        The interpreter that runs the library on the machine where it is installed. Without it nobody is
        chosen: it is asked for in the options of the toolbox.

    Raises
    ------
    InputError
        If there is such a file, or it cannot be written.
    """
    path = Path(path)
    if path.exists():
        raise refuse("there is such a file already", "Name another", file=str(path))
    part = path.with_name(f".{path.name}~part")
    try:
        with tempfile.TemporaryDirectory() as beside:
            folder = Path(beside) / PLUGIN
            _write_plugin(folder, describe_toolbox(), "" if python is None else str(python))
            with zipfile.ZipFile(part, "w", zipfile.ZIP_DEFLATED) as packed:
                for file in sorted(folder.rglob("*")):
                    if file.is_file():
                        # Without a date, so that the same library gives the same file.
                        name = zipfile.ZipInfo(file.relative_to(beside).as_posix())
                        name.compress_type = zipfile.ZIP_DEFLATED
                        name.external_attr = 0o644 << 16
                        packed.writestr(name, file.read_bytes())
        part.replace(path)
    except OSError as error:
        raise refuse(
            f"the file cannot be written ({error.strerror or error})",
            "Name another, in a folder that is there",
            file=str(path),
        ) from None
    finally:
        part.unlink(missing_ok=True)
    return path


def _write_help(folder: Path, toolbox: dict[str, Any]) -> None:
    """Write the help of each step as a page of its own, to which its form links."""
    folder.mkdir()
    for step in toolbox["steps"]:
        page = (
            f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>{escape(step["title"])}</title></head>\n'
            f"<body><h1>{escape(step['title'])}</h1>\n<p>{escape(step['does'])}.</p>\n{step_help(step)}\n</body></html>\n"
        )
        (folder / f"{step['name']}.html").write_text(page, encoding="utf-8")


def _styles() -> Iterator[tuple[str, str]]:
    """Give the default style of each layer and table as it is written."""
    from screenplan.outputs.styles import style_qml

    for name in WRITTEN:
        yield name, style_qml(name)


def _write_json(path: Path, content: dict[str, Any]) -> None:
    path.write_text(json.dumps(content, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")


@contextmanager
def _swapped(profile: Profile, target: Path) -> Iterator[Path]:
    """Give a folder to write; put it into the plugin's place in the end, or bring the old one back."""
    new, old = (profile.python / f".{PLUGIN}~{what}" for what in ("new", "old"))
    for left in (new, old):
        shutil.rmtree(left, ignore_errors=True)
    try:
        yield new
        if target.exists():
            target.rename(old)
        new.rename(target)
    except BaseException:
        if old.exists() and not target.exists():
            old.rename(target)
        raise
    finally:
        for left in (new, old):
            shutil.rmtree(left, ignore_errors=True)


@contextmanager
def _explained(profile: Profile) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise refuse(
            f"the profile cannot be written ({error.strerror or error})",
            "Check its permissions and close the desktop GIS, or name another with --profile-folder",
            file=str(error.filename or profile.folder),
        ) from None
