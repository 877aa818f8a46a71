"""Copies of inputs in a folder of our own, where reading one in its place would change the user's.

A database with a log beside it is brought to its last state by whoever opens it, and a packed file
has to be looked at part by part. Copies are kept while someone reads them.
"""

from __future__ import annotations

import shutil
import sqlite3
import tempfile
import weakref
import zipfile
import zlib
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from screenplan.ground.errors import refuse

#: A log beside a database: what was written and is not in it yet, or what is to be taken back.
LOGS = ("-wal", "-journal")
#: A packed file may hold so much.
MOST_UNPACKED = 4 * 1024**3
#: So often a file is copied that changes meanwhile.
_TRIES = 3
#: Files that stand for a data set; the others in a packed file belong to one of these.
_MAIN = (
    ".shp",
    ".gpkg",
    ".fgb",
    ".geojson",
    ".gml",
    ".kml",
    ".gpx",
    ".tab",
    ".mif",
    ".dxf",
    ".sqlite",
)
#: These may as well say something of one of those.
_MAIN_IF_ALONE = (".json", ".csv")


@dataclass(frozen=True, eq=False)
class Copy:
    """A copy; its folder is deleted when nobody holds this any more."""

    path: Path


_kept: weakref.WeakValueDictionary[tuple, Copy] = weakref.WeakValueDictionary()


def find_logs(path: Path) -> list[Path]:
    """Find the logs with something in them that lie beside a database."""
    beside = [path.with_name(path.name + ending) for ending in LOGS]
    return [log for log in beside if log.is_file() and log.stat().st_size]


def copy_with_logs(path: Path, logs: list[Path], file: str) -> Copy:
    """Copy a database and its logs, and bring the copy to its last state.

    Raises
    ------
    InputError
        If it changes while it is copied, or its log cannot be read.
    """
    return _once([path, *logs], lambda folder: _settle(path, logs, folder, file))


def unpack(path: Path, file: str) -> Copy:
    """Unpack a zipped data set.

    Raises
    ------
    InputError
        If it is damaged, locked, too large, or does not hold one data set.
    """
    return _once([path], lambda folder: _extract(path, folder, file))


def _once(sources: list[Path], make: Callable[[Path], Path]) -> Copy:
    state = tuple(
        (str(source.resolve()), source.stat().st_size, source.stat().st_mtime_ns)
        for source in sources
    )
    copy = _kept.get(state)
    if copy is None:
        folder = Path(tempfile.mkdtemp(prefix="screenplan-"))
        try:
            copy = _kept[state] = Copy(make(folder))
        except BaseException:
            shutil.rmtree(folder, ignore_errors=True)
            raise
        weakref.finalize(copy, shutil.rmtree, folder, ignore_errors=True)
    return copy


def _settle(path: Path, logs: list[Path], folder: Path, file: str) -> Path:
    for _ in range(_TRIES):
        before = _state([path, *logs])
        for source in (path, *logs):
            shutil.copyfile(source, folder / source.name)
        if _state([path, *logs]) == before:
            break
    else:
        raise refuse(
            "The file is being written to", "Save it in the other program, and try again", file=file
        )
    try:
        with closing(sqlite3.connect(folder / path.name)) as base:
            base.text_factory = bytes
            base.execute("PRAGMA trusted_schema = OFF")
            base.execute("SELECT count(*) FROM sqlite_master").fetchone()
            base.execute("PRAGMA journal_mode = DELETE").fetchone()
    except Exception as error:  # SQLite and Python's decoding of its messages have no common root
        raise refuse(
            f"The file and the log beside it cannot be read together ({type(error).__name__})",
            f"Open and save it in the program that wrote {logs[0].name}",
            file=file,
        ) from None
    return folder / path.name


def _state(files: list[Path]) -> list[tuple[int, int]]:
    return [(file.stat().st_size, file.stat().st_mtime_ns) for file in files]


def _extract(path: Path, folder: Path, file: str) -> Path:
    try:
        with zipfile.ZipFile(path) as packed:
            if sum(part.file_size for part in packed.infolist()) > MOST_UNPACKED:
                raise refuse(
                    f"The packed file holds more than {MOST_UNPACKED / 1024**3:g} GB",
                    "Unpack it, and name the file in it",
                    file=file,
                )
            packed.extractall(folder)
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError, NotImplementedError, RuntimeError) as error:  # fmt: skip
        locked = isinstance(error, RuntimeError) and "password" in str(error)
        raise refuse(
            "The packed file is locked by a password" if locked
            else f"The file cannot be read as vector data (its packing is damaged: {type(error).__name__})",
            "Unpack it, and name the file in it" if locked else "Fetch or export the file again",
            file=file,
        ) from None  # fmt: skip
    return _find_main(folder, file)


def _find_main(folder: Path, file: str) -> Path:
    """Find the data set in an unpacked folder; several shapefiles are one, a folder of layers."""
    inside = [
        part for part in sorted(folder.rglob("*"))
        if not any(step.startswith((".", "__MACOSX")) for step in part.relative_to(folder).parts)
    ]  # fmt: skip
    found = [part for part in inside if part.is_dir() and part.suffix.lower() == ".gdb"]
    if not found:
        files = [part for part in inside if part.is_file()]
        found = [part for part in files if part.suffix.lower() in _MAIN] or [
            part for part in files if part.suffix.lower() in _MAIN_IF_ALONE
        ]
        if len(files) == 1:
            found = files
    shapes = {part.suffix.lower() for part in found} == {".shp"}
    if len(found) > 1 and shapes and len({part.parent for part in found}) == 1:
        return found[0].parent
    if len(found) != 1:
        names = ", ".join(part.relative_to(folder).as_posix() for part in found[:5])
        raise refuse(
            f"The packed file holds several data sets: {names}" if found
            else "The file cannot be read as vector data: the packed file holds no layer",
            "Unpack it, and name the one that is meant" if found
            else "Give a complete GeoPackage, GeoJSON, Shapefile or other file of shapes",
            file=file,
        )  # fmt: skip
    return found[0]
