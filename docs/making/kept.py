"""What was made is kept, under a name that changes with all that it was made of."""

from __future__ import annotations

import hashlib
import shutil
import sys
import tempfile
from collections.abc import Callable
from functools import cache
from pathlib import Path

ROOT = Path(__file__).parents[2]
#: Beside the built pages, so that `make clean` takes it away.
KEPT = ROOT / "docs" / "_build" / "kept"
#: What is run by any page.
SOURCES = ("screenplan", "sample_data")
#: Code and data; not what an interpreter leaves behind.
_ENDS = {".py", ".toml", ".jinja", ".css", ".js", ".gpkg", ".geojson", ".tif"}


@cache
def _of_sources(folders: tuple[str, ...]) -> str:
    digest = hashlib.sha256(sys.version.encode())
    for folder in folders:
        for path in sorted((ROOT / folder).rglob("*")):
            if path.suffix in _ENDS and path.is_file():
                digest.update(path.relative_to(ROOT).as_posix().encode() + path.read_bytes())
    return digest.hexdigest()


def keep(
    name: str, made_of: str, make: Callable[[Path], None], sources: tuple[str, ...] = SOURCES
) -> Path:
    """Give the folder that `make` fills, which is made once for the same sources.

    Parameters
    ----------
    name : str
        Begins the folder's name.
    made_of : str
        What it is made of besides the sources, such as a page's text.
    make : callable
        Called with an empty folder, whose path is short.
    sources : tuple of str
        Folders of the project.
    """
    digest = hashlib.sha256((_of_sources(sources) + made_of).encode()).hexdigest()[:16]
    folder = KEPT / f"{name}-{digest}"
    if folder.is_dir():
        return folder
    KEPT.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="page") as temporary:
        make(Path(temporary))
        # Whole or not at all: it is copied beside its place, and then moved.
        with tempfile.TemporaryDirectory(dir=KEPT, prefix="half-") as half:
            shutil.copytree(temporary, Path(half) / "all")
            for old in KEPT.glob(f"{name}-*"):
                shutil.rmtree(old, ignore_errors=True)
            (Path(half) / "all").replace(folder)
    return folder
