"""A clean profile of the desktop GIS with the toolbox in it, and its real headless runner."""

import functools
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from screenplan.desktop.install import install
from screenplan.desktop.profile import Profile

#: Not the wrapper of the Debian package: that passes an option which the runner does not know.
RUNNER = Path("/usr/bin/qgis_process.bin")
#: The interpreter that has the Python bindings of the desktop GIS.
SYSTEM_PYTHON = Path("/usr/bin/python3")
SCRIPT = Path(__file__).with_name("desktop_toolbox_script.py")
SAMPLE = Path(__file__).parent.parent / "sample_data"
#: In the URI of one kind of geometry of a mixed layer, as the desktop GIS writes it.
TYPES = {"areas": "Polygon", "lines": "LineString", "points": "Point"}


@functools.cache
def why_not():
    """Say why the toolbox cannot be tried, or give None."""
    if not RUNNER.exists():
        return f"there is no {RUNNER} (install the Debian package qgis)"
    return None


class Desktop:
    """A desktop GIS with a home of its own."""

    def __init__(self, home, name="profile"):
        reason = why_not()
        if reason:
            pytest.skip(reason)
        self.home = Path(home)
        self.temporary = self.home / "temporary"
        self.temporary.mkdir(parents=True)
        self.home.chmod(0o700)
        self.config = self.home / name
        self.profile = Profile(self.config / "profiles" / "default")
        self.installed = install(self.profile, sys.executable)

    @property
    def environment(self):
        # HOME is the home of the runner alone; the worker's caches lie beside the library.
        return {
            "PATH": "/usr/bin:/bin",
            "HOME": str(self.home),
            "XDG_RUNTIME_DIR": str(self.home),
            "TMPDIR": str(self.temporary),
            "QT_QPA_PLATFORM": "offscreen",
            "QGIS_CUSTOM_CONFIG_PATH": str(self.config),
            "LC_ALL": "C.UTF-8",
        }

    def process(self, *arguments, cwd=None):
        """Run the headless runner; gives the finished process with what it printed as text."""
        return subprocess.run(
            [RUNNER, *map(str, arguments)],
            env=self.environment,
            cwd=cwd,
            capture_output=True,
            text=True,
            check=False,
            timeout=600,
        )

    def start(self, *arguments):
        """Begin the headless runner and give the process."""
        return subprocess.Popen(
            [RUNNER, *map(str, arguments)],
            env=self.environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )

    def run(self, algorithm, **values):
        """Run one algorithm."""
        given = [f"--{name}={value}" for name, value in values.items() if value is not None]
        return self.process("run", f"screenplan:{algorithm}", *given)

    def script(self, *arguments):
        """Run the script that drives the desktop GIS's Python bindings."""
        return subprocess.run(
            [SYSTEM_PYTHON, SCRIPT, *map(str, arguments)],
            env=self.environment,
            capture_output=True,
            text=True,
            check=False,
            timeout=600,
        )

    def left_over(self):
        """Name what the toolbox left among the temporary files."""
        return sorted(path.name for path in self.temporary.glob("screenplan_*"))


def workers(of):
    """Commands of the workers that run on a folder's files, as the system lists them."""
    found = []
    for entry in Path("/proc").glob("[0-9]*/cmdline"):
        try:
            command = entry.read_bytes().decode(errors="replace")
        except OSError:
            continue
        if "screenplan.desktop.worker" in command and os.fspath(of) in command:
            found.append(command)
    return found


def copy_sample(folder):
    """Copy the sample site, beside which the desktop GIS writes statistics of its own."""
    shutil.copytree(SAMPLE, folder)
    return folder


def sample_layer(site, layer, kind):
    """Give the address of a sample layer, or of one kind of its geometry; None if it is not there."""
    import pyogrio

    if layer == "windows":
        return site / "windows.geojson"
    there = dict(pyogrio.list_layers(site / "site.gpkg"))
    if layer not in there:
        return None
    address = f"{site / 'site.gpkg'}|layername={layer}"
    if there[layer] == "Unknown":
        return f"{address}|geometrytype={TYPES[kind]}"
    return address if there[layer] == TYPES[kind] else None
