"""Tell whether plugin, interpreter and library fit together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from screenplan._version import __version__
from screenplan.desktop.install import PLUGIN, installed_version, read_installed
from screenplan.desktop.profile import (
    PLUGINS_SECTION,
    PROCESSING_SECTION,
    Profile,
    read_setting,
    read_settings,
)
from screenplan.desktop.screenplan_toolbox.runner import NotRun, ask_about
from screenplan.ground.errors import InputError

#: The setting of the options dialog, as the desktop GIS writes it.
PYTHON_SETTING = r"Configuration\SCREENPLAN_PYTHON"
AGAIN = "Run 'screenplan desktop install'"


@dataclass(frozen=True)
class Finding:
    """One thing that was looked at.

    Parameters
    ----------
    what : str
        What was looked at.
    fits : bool
        Whether it is as it should be.
    says : str
        What was found.
    remedy : str
        How to mend it; empty if it fits.
    """

    what: str
    fits: bool
    says: str
    remedy: str = ""


def check_installation(profile: Profile) -> list[Finding]:
    """Look at the plugin, its line in the settings, its interpreter and the library in it.

    Nothing is changed. What hangs on something that does not fit is not looked at.
    """
    target = profile.plugins / PLUGIN
    try:
        version = installed_version(target)
    except InputError as error:
        problem = error.problems[0]
        return [Finding("plugin", False, f"{problem.what}: {target}", problem.mend)]
    if version is None:
        return [Finding("plugin", False, f"not installed in {profile.folder}", AGAIN)]
    findings = [_check_version(version, str(target)), _check_enabled(profile)]
    installed = read_installed(target)
    python = _chosen_python(profile) or installed["python"]
    try:
        found = ask_about(python)
    except NotRun as error:
        what, _, mend = error.messages[0].partition(". ")
        return [*findings, Finding("interpreter", False, what, mend.rstrip("."))]
    findings.append(Finding("interpreter", True, f"{python}, Python {found['python']}"))
    findings.append(_check_library(installed, found))
    return findings


def _check_version(version: str, place: str) -> Finding:
    fits = version == __version__
    says = f"{version} in {place}"
    if fits:
        return Finding("plugin", True, says)
    return Finding("plugin", False, f"{says}, but this is screenplan {__version__}", AGAIN)


def _check_enabled(profile: Profile) -> Finding:
    if read_setting(read_settings(profile), PLUGINS_SECTION, PLUGIN) == "true":
        return Finding("enabled", True, f"in {profile.settings}")
    return Finding(
        "enabled",
        False,
        f"not enabled in {profile.settings}",
        f"Tick Screenplan in the desktop GIS's list of plugins, or: {AGAIN}",
    )


def _chosen_python(profile: Profile) -> str:
    return (read_setting(read_settings(profile), PROCESSING_SECTION, PYTHON_SETTING) or "").strip()


def _check_library(installed: dict[str, Any], found: dict[str, Any]) -> Finding:
    packages = ", ".join(f"{name} {version}" for name, version in found["packages"].items())
    says = f"screenplan {found['version']} with {packages}"
    if found["digest"] == installed["digest"]:
        return Finding("library", True, says)
    return Finding(
        "library",
        False,
        f"{says}; its steps are not those of the plugin"
        + ("" if found["version"] == installed["version"] else f" {installed['version']}"),
        f"{AGAIN} with that Python, and start the desktop GIS again",
    )
