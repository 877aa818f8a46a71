"""The desktop GIS for tests: whether it is there, and scripts that run inside it, in its own Python."""

from __future__ import annotations

import functools
import json
import subprocess
from pathlib import Path

import geopandas
from pyproj import CRS
from shapely.geometry import box

#: The desktop GIS's Python bindings belong to the system's interpreter, not to ours.
SYSTEM_PYTHON = Path("/usr/bin/python3")
#: The program itself; the one without the ending is a wrapper.
DESKTOP = Path("/usr/bin/qgis.bin")
SCREEN = Path("/usr/bin/xvfb-run")
#: The screen needs it, and its package only recommends it.
XAUTH = Path("/usr/bin/xauth")
#: A parcel's corner in each of the systems in which parcel layers come.
PLACES = {
    "US feet": (CRS(2264), (1_450_000, 540_000)),
    "metres": (CRS(25832), (450_000, 5_550_000)),
    "degrees": (CRS(4326), (-80.25, 35.5)),
    "web Mercator": (CRS(3857), (890_000, 6_440_000)),
    "another datum": (CRS(27700), (430_000, 250_000)),
    "no code, feet": (
        CRS("+proj=lcc +lat_1=36 +lat_2=34 +lat_0=33.7 +lon_0=-79 +datum=NAD83 +units=ft"),
        (1_000, 2_000),
    ),
}
#: Seconds after which a program that shows a dialog and waits is ended.
LONGEST_S = 120


def parcel_at(place):
    """Give a square parcel there, about 100 units wide."""
    crs, (x, y) = PLACES[place]
    size = 0.0005 if crs.is_geographic else 100
    return geopandas.GeoSeries([box(x, y, x + size, y + size)], crs=crs)


@functools.cache
def why_not():
    """Say why the desktop GIS cannot be asked, or give None."""
    if not SYSTEM_PYTHON.exists():
        return f"there is no {SYSTEM_PYTHON}"
    done = subprocess.run(
        [SYSTEM_PYTHON, "-c", "import qgis.core"],
        env={"PATH": "/usr/bin:/bin"},
        capture_output=True,
        check=False,
    )
    if done.returncode:
        return f"{SYSTEM_PYTHON} has no qgis.core (install the Debian package python3-qgis)"
    return None


def why_no_window():
    """Say why the desktop GIS cannot be opened under a virtual screen, or give None."""
    for program, package in ((DESKTOP, "qgis"), (SCREEN, "xvfb"), (XAUTH, "xauth")):
        if not program.exists():
            return f"there is no {program} (install the Debian package {package})"
    return None


def environment(home, **more):
    """Give an environment with nothing of ours in it, and an empty home."""
    home.mkdir(exist_ok=True)
    home.chmod(0o700)
    return {
        "PATH": "/usr/bin:/bin",
        "HOME": str(home),
        "XDG_RUNTIME_DIR": str(home),
        "LC_ALL": "C.UTF-8",
    } | more


def ask_desktop(script, question, home):
    """Run a script of this folder in a process of the desktop GIS.

    Gives what it answered, and what was complained about.
    """
    done = subprocess.run(
        [SYSTEM_PYTHON, Path(__file__).with_name(script)],
        input=json.dumps(question),
        env=environment(home, QT_QPA_PLATFORM="offscreen"),
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout), done.stderr


def show_desktop(project, folder):
    """Open a project in the desktop GIS itself, with a new profile, under a virtual screen.

    Gives what `desktop_show_project.py` saw; a picture of the window is in the folder.
    """
    answer, picture = folder / "answer.json", folder / "window.png"
    done = subprocess.run(
        [
            SCREEN, "-a", "-s", "-screen 0 1600x1000x24", DESKTOP, "--nologo", "--noversioncheck",
            "--code", Path(__file__).with_name("desktop_show_project.py"), project,
        ],
        env=environment(folder / "home", SHOW_ANSWER=str(answer), SHOW_PICTURE=str(picture)),
        capture_output=True,
        text=True,
        check=False,
        timeout=LONGEST_S,
    )  # fmt: skip
    assert answer.exists(), done.stderr
    return json.loads(answer.read_text(encoding="utf-8"))
