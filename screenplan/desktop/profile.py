"""The user's profile of the desktop GIS: where it is, and the lines of its settings file.

Nothing of the desktop GIS is called: its settings file is edited line by line, and whatever else
stands in it stays as it is.
"""

from __future__ import annotations

import os
import re
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from screenplan.ground.errors import refuse

#: Names a folder of its own for all settings of the desktop GIS.
CUSTOM_FOLDER = "QGIS_CUSTOM_CONFIG_PATH"
DEFAULT = "default"
PLUGINS_SECTION = "PythonPlugins"
PROCESSING_SECTION = "Processing"


@dataclass(frozen=True)
class Profile:
    """One profile.

    Parameters
    ----------
    folder : Path
        The folder of the profile; it need not be there yet.
    """

    folder: Path

    @property
    def python(self) -> Path:
        """Folder for what Python brings."""
        return self.folder / "python"

    @property
    def plugins(self) -> Path:
        """Folder of the plugins."""
        return self.python / "plugins"

    @property
    def settings(self) -> Path:
        """The settings file."""
        return self.folder / "QGIS" / "QGIS3.ini"


def find_profile(name: str | None = None, folder: str | Path | None = None) -> Profile:
    """Find a profile.

    Parameters
    ----------
    name : str, optional
        Its name; by default that with which the desktop GIS starts.
    folder : path, optional
        Or its folder.

    Raises
    ------
    InputError
        If both are given, there is none of that name, or the folder is a file.
    """
    if name is not None and folder is not None:
        raise refuse("--profile and --profile-folder are both given", "Give one of them")
    if folder is not None:
        path = Path(folder).absolute()
        if path.exists() and not path.is_dir():
            raise refuse("the profile is a file", "Name the profile's folder", file=str(path))
        return Profile(path)
    root = profiles_folder()
    chosen = _starts_with(root) if name is None else name
    path = root / chosen
    if name is not None and name != DEFAULT and not path.is_dir():
        there = (
            sorted(entry.name for entry in root.iterdir() if entry.is_dir())
            if root.is_dir()
            else []
        )
        raise refuse(
            f"there is no profile {name} in {root}",
            f"Name one of {', '.join(there)}"
            if there
            else "Start the desktop GIS once, or leave --profile out",
        )
    return Profile(path)


def profiles_folder(
    environment: Mapping[str, str] | None = None, system: str | None = None
) -> Path:
    """Give the folder of all profiles.

    Parameters
    ----------
    environment, system : optional
        By default those of this process: `os.environ` and `sys.platform`.

    Notes
    -----
    The desktop GIS keeps them under the folder that its toolkit names for applications' data, or
    under the folder that ``QGIS_CUSTOM_CONFIG_PATH`` names.
    """
    given = os.environ if environment is None else environment
    system = system or sys.platform
    if given.get(CUSTOM_FOLDER):
        return Path(given[CUSTOM_FOLDER]).absolute() / "profiles"
    home = Path(given.get("HOME") or given.get("USERPROFILE") or Path.home())
    if system == "win32":
        data = Path(given.get("APPDATA") or home / "AppData" / "Roaming")
    elif system == "darwin":
        data = home / "Library" / "Application Support"
    else:
        data = Path(given.get("XDG_DATA_HOME") or home / ".local" / "share")
    return data / "QGIS" / "QGIS3" / "profiles"


def _starts_with(root: Path) -> str:
    """Name the profile with which the desktop GIS starts, if its profiles.ini says one."""
    path = root / "profiles.ini"
    if path.is_file():
        named = read_setting(
            path.read_text(encoding="utf-8", errors="replace"), "core", "defaultProfile"
        )
        if named and (root / named).is_dir():
            return named
    return DEFAULT


def read_setting(text: str, section: str, key: str) -> str | None:
    """Read one value from the text of a settings file; None if it is not there."""
    here = ""
    for line in text.splitlines():
        if line.startswith("["):
            here = line.strip().strip("[]")
        elif here == section:
            name, equals, value = line.partition("=")
            if equals and name.strip() == key:
                return _unescape(value.strip())
    return None


def change_setting(text: str, section: str, key: str, value: str | None) -> str:
    r"""Give the text of a settings file with one value set, or taken out; all else stays.

    Examples
    --------
    >>> change_setting("[a]\nx=1\n", "PythonPlugins", "tool", "true")
    '[a]\nx=1\n\n[PythonPlugins]\ntool=true\n'
    """
    end = "\r\n" if "\r\n" in text else "\n"
    lines = text.splitlines()
    here, last = "", None
    for number, line in enumerate(lines):
        if line.startswith("["):
            here = line.strip().strip("[]")
        if here != section:
            continue
        if line.strip():
            last = number
        if line.partition("=")[0].strip() == key and "=" in line:
            lines[number : number + 1] = [] if value is None else [f"{key}={value}"]
            return end.join(lines) + end
    if value is None:
        return text
    if last is None:
        lines += ([""] if lines and lines[-1].strip() else []) + [f"[{section}]", f"{key}={value}"]
    else:
        lines.insert(last + 1, f"{key}={value}")
    return end.join(lines) + end


def read_settings(profile: Profile) -> str:
    """Read the settings file as text that gives back the same bytes; empty if there is none.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    try:
        return profile.settings.read_bytes().decode("latin-1")
    except FileNotFoundError:
        return ""
    except OSError as error:
        raise refuse(
            f"the settings file cannot be read ({error.strerror})",
            "Check its permissions",
            file=str(profile.settings),
        ) from None


def write_settings(profile: Profile, text: str) -> None:
    """Write the settings file beside its place and rename, so that it is never half there."""
    path = profile.settings.resolve()  # a linked settings file stays a link
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, part = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}~")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(text.encode("latin-1"))
        if path.exists():
            Path(part).chmod(path.stat().st_mode & 0o777)
        Path(part).replace(path)
    finally:
        Path(part).unlink(missing_ok=True)


def _unescape(value: str) -> str:
    """Read a value as the desktop GIS's toolkit writes it: in quotes, letters as codes."""
    value = value.strip('"')
    value = re.sub(r"\\x([0-9a-fA-F]{1,4})", lambda found: chr(int(found[1], 16)), value)
    return value.replace('\\"', '"').replace("\\\\", "\\")
