"""Vector files by way of GDAL: which are opened, how, which layers they hold, which files belong to them.

A layer's file is read by itself and its own side files. GDAL's other ways, by which a file names
further files or addresses, are shut: only drivers of `VECTOR_DRIVERS` open a file, none that points
elsewhere among them, and none may use the network. Files are opened for reading only.
"""

from __future__ import annotations

import csv
import hashlib
import logging
import os
import warnings
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from io import StringIO
from itertools import islice
from pathlib import Path
from tempfile import gettempdir

import fiona

from screenplan.ground.errors import InputError, refuse
from screenplan.ground.paths import check_reachable
from screenplan.ground.sqlite import is_database
from screenplan.site import pointers
from screenplan.site.copies import Copy, copy_with_logs, find_logs, unpack
from screenplan.site.database import (
    check_database,
    count_rows,
    find_damage,
    is_package,
    list_ids,
)
from screenplan.site.point_columns import find_point_columns, find_shape_column
from screenplan.site.whole import check_whole

# GDAL's messages reach the person in our own words; without a handler they would be printed raw.
logging.getLogger("fiona").addHandler(logging.NullHandler())

#: Drivers that open a layer: each reads its file and side files of the same name, and nothing else.
VECTOR_DRIVERS = ("ESRI Shapefile", "MapInfo File", "FlatGeobuf", "DXF", "DGN", "CSV")
#: The driver of extracts of OpenStreetMap, by their endings: XML, or packed.
OSM_DRIVERS, OSM_ENDINGS = ("OSM",), (".osm", ".pbf")
#: Drivers of folders.
FOLDER_DRIVERS = ("OpenFileGDB", "ESRI Shapefile")
#: What drivers are told so that they write nothing and fetch nothing.
OPTIONS = {
    "GPKG": {"IMMUTABLE": "YES"},
    "GML": {"WRITE_GFS": "NO", "DOWNLOAD_SCHEMA": "NO"},
}
#: GDAL's own reading of addresses, shut: no address has this name.
NO_NETWORK = {"CPL_VSIL_CURL_ALLOWED_FILENAME": "none", "OGR_SQLITE_ALLOW_EXTERNAL_ACCESS": "NO"}
#: Tables that desktop programs keep in a GeoPackage beside the layers.
NOT_LAYERS = ("layer_styles", "qgis_projects")
_SAYS_NOTHING = ("Failed to open dataset", "Null layer", "not recognized as being in a supported")
_HASH_CHUNK = 1 << 20
_HEAD = 65_536
_XML_MARKS = (b"<", b"\xef\xbb\xbf<")


@dataclass(frozen=True)
class DataFile:
    """A file that may be opened, and how; see `open_file`.

    Parameters
    ----------
    path : Path
        As a person knows it.
    inner : Path
        What is opened: the file, or a copy of it.
    drivers : tuple of str
        Those that may open it.
    options : mapping
        What they are told.
    announced : int or None
        How many rows its text announces.
    copy : Copy or None
        Keeps the copy while this is held.
    """

    path: Path
    inner: Path
    drivers: tuple[str, ...]
    options: Mapping[str, str] = field(default_factory=dict)
    announced: int | None = None
    copy: Copy | None = None

    @property
    def is_database(self) -> bool:
        """Whether it is an SQLite file."""
        return self.drivers in (("GPKG",), ("SQLite",))

    @property
    def address(self) -> str:
        """What GDAL opens, from the root, so that no name is taken for a protocol."""
        return os.path.abspath(self.inner)  # noqa: PTH100 (resolving a link would change its name)

    def collection(self, layer: str | int | None, **options) -> fiona.Collection:
        """Open a layer with fiona, by its name or its place."""
        return fiona.open(
            self.address,
            layer=layer,
            enabled_drivers=list(self.drivers),
            allow_unsupported_drivers=True,
            **self.options,
            **options,
        )

    def features(self, collection: fiona.Collection, layer: str) -> list:
        """Read all rows of an open layer, in the file's order.

        Fiona reads no more rows than the file says that it has. Of a database that may be out of
        date, so its rows are counted.
        """
        found = list(collection)
        if self.is_database and count_rows(self.inner, layer, len(found) + 1) != len(found):
            ids = list_ids(self.inner, layer)
            if ids is not None:
                return self.pick(collection, ids)
        return found

    @staticmethod
    def pick(collection: fiona.Collection, ids: Iterable[int]) -> list:
        """Read rows of an open layer by their ids; one that is listed and not there is an error."""
        found = [collection[int(row_id)] for row_id in ids]
        if any(row is None for row in found):
            message = "a row that is listed is not there"
            raise ValueError(message)
        return found

    def layers(self) -> list[tuple[str, bool]]:
        """List its layers in their order, each with whether it has geometry."""
        found: list[tuple[str, bool]] = []
        with self.reading():
            while True:
                try:
                    # A number of 0 would be taken for the file's own name.
                    with self.collection(len(found) or None) as layer:
                        found.append((layer.name, layer.schema["geometry"] != "None"))
                except ValueError:  # there is no further one
                    if found:
                        return [layer for layer in found if layer[0] not in NOT_LAYERS]
                    raise

    def holds(self, layer: str) -> bool:
        """Tell whether there is a layer of this name."""
        with self.reading():
            try:
                with self.collection(layer):
                    return True
            except ValueError:  # fiona's word for a layer that is not there
                return False

    @contextmanager
    def reading(self, layer: str | None = None) -> Iterator[None]:
        """Say GDAL's errors in our words; they have no common root, so every other one is meant."""
        try:
            with warnings.catch_warnings(), fiona.Env(**NO_NETWORK, CPL_TMPDIR=gettempdir()):
                warnings.filterwarnings("ignore", category=RuntimeWarning, module="fiona|pyogrio")
                yield
        except InputError:
            raise
        except Exception as error:
            raise self._refuse(error, layer) from None

    def _refuse(self, error: Exception, layer: str | None) -> InputError:
        damage = find_damage(self.inner) if self.is_database else None
        if damage:
            return refuse(
                f"The file is damaged ({damage})",
                "Fetch or export the file again",
                file=str(self.path),
                layer=layer,
            )
        return refuse(
            f"The file cannot be read as vector data{say_reason(error)}",
            "Give a complete GeoPackage, GeoJSON, Shapefile, FlatGeobuf, GeoParquet, GML, KML, GPX, DXF or OpenStreetMap file",
            file=str(self.path),
            layer=layer,
        )


def check_file(path: Path, what: str, key: str | None = None) -> None:
    """Refuse a file that is not there, is none, or is not whole."""
    check_reachable(path)
    if not path.exists():
        raise refuse(
            "The file does not exist",
            f"Correct the path of {what}; in a plan it is relative to the plan file, on the command line to the current folder",
            file=str(path),
            key=key,
        )
    if not (path.is_file() or path.is_dir()):
        raise refuse("This is neither a file nor a folder", f"Name the file of {what}", file=str(path), key=key)  # fmt: skip
    try:
        check_whole(path)
    except OSError as error:
        raise refuse(
            f"The file cannot be opened ({error.strerror})",
            "Check its permissions",
            file=str(path),
            key=key,
        ) from None


def open_file(path: Path, what: str) -> DataFile:
    """Find out how a vector file may be opened, and refuse what must not be.

    Parameters
    ----------
    path : Path
        The file.
    what : str
        What it holds, for messages: ``the parcels layer``.

    Raises
    ------
    InputError
        If it is missing, broken off, damaged so that a reader may not survive it, or leads elsewhere.
    """
    check_file(path, what)
    copy, inner = None, path
    if path.is_file() and path.suffix.lower() == ".zip":
        copy = unpack(path, str(path))
        inner = copy.path
        check_inner(inner, path)
    if inner.is_dir():
        return DataFile(path, inner, FOLDER_DRIVERS, copy=copy)
    head = read_head(inner)
    if is_database(head):
        return open_database(path, inner, head, copy)
    start = head.lstrip()
    if start.startswith((b"{", b"[", b"\x1e", b"\xef\xbb\xbf{")):
        announced = pointers.check_json(inner, str(path))
        return DataFile(path, inner, pointers.JSON_DRIVERS, announced=announced, copy=copy)
    if inner.suffix.lower() in OSM_ENDINGS:
        return DataFile(path, inner, OSM_DRIVERS, copy=copy)
    if start.startswith(_XML_MARKS):
        drivers = pointers.check_xml(start, str(path))
        return DataFile(path, inner, drivers, OPTIONS.get(drivers[0], {}), copy=copy)
    if inner.suffix.lower() == ".tab":
        pointers.check_tab(inner, str(path))
    if inner.suffix.lower() == ".csv":
        return DataFile(path, inner, ("CSV",), _point_options(inner), copy=copy)
    return DataFile(path, inner, VECTOR_DRIVERS, copy=copy)


def _point_options(file: Path) -> dict[str, str]:
    """Tell the driver which columns of a CSV file are places or shapes; nothing if none are."""
    names, *rows = _head_rows(file)
    shapes = find_shape_column(names, rows[0] if rows else ())
    if shapes is not None:
        return {"GEOM_POSSIBLE_NAMES": shapes, "KEEP_GEOM_COLUMNS": "NO"}
    columns = find_point_columns(names)
    if columns is None:
        return {}
    return {"X_POSSIBLE_NAMES": columns[0], "Y_POSSIBLE_NAMES": columns[1]}


def _head_rows(file: Path) -> list[list[str]]:
    """Names in the first line of a CSV file and the first row, whatever parts them; a long row may be cut."""
    text = read_head(file).decode("utf-8-sig", errors="replace")
    mark = max(",;\t|", key=text.partition("\n")[0].count)
    return list(islice(csv.reader(StringIO(text.lstrip()), delimiter=mark), 2)) or [[]]


def open_database(path: Path, inner: Path, head: bytes, copy: Copy | None = None) -> DataFile:
    """Open a database after a look at its schema; one with a log beside it as a copy."""
    driver = "GPKG" if is_package(head, inner) else "SQLite"
    logs = find_logs(inner)
    if logs or (driver == "SQLite" and copy is None):
        copy = copy_with_logs(inner, logs, str(path))
        inner = copy.path
    check_database(inner, str(path))
    return DataFile(path, inner, (driver,), OPTIONS.get(driver, {}), copy=copy)


def read_head(path: Path) -> bytes:
    """First bytes of a file, by which its kind is told."""
    with path.open("rb") as stream:
        return stream.read(_HEAD)


def check_inner(inner: Path, path: Path) -> None:
    """Refuse an unpacked file that is not whole, in the name of the packed one."""
    try:
        for part in sorted(inner.glob("*.[sS][hH][pP]")) if inner.is_dir() else [inner]:
            check_whole(part)
    except InputError as error:
        problem = error.problems[0]
        raise refuse(problem.what, problem.mend, file=str(path)) from None


def find_files(path: Path) -> list[Path]:
    """List the files that belong to a data set, the named one first.

    A shapefile has sidecars of the same stem, a database the log of what is not in it yet; a file
    geodatabase is a folder.
    """
    if path.is_dir():
        return sorted(part for part in path.rglob("*") if part.is_file())
    if path.suffix.lower() not in (".shp", ".tab", ".mif"):
        return [path, *find_logs(path)]
    family = (
        part
        for part in path.parent.iterdir()
        if part.is_file() and part.name.split(".")[0] == path.name.split(".")[0]
    )
    sidecars = (".dbf", ".shx", ".prj", ".cpg", ".qix", ".sbn", ".sbx", ".dat", ".map", ".id",
                ".ind", ".mid")  # fmt: skip
    return [path, *sorted(part for part in family if part.suffix.lower() in sidecars)]


def hash_file(path: Path) -> str:
    """SHA-256 of a file, as hexadecimal text."""
    digest = hashlib.sha256()
    with path.open("rb") as stream:
        while chunk := stream.read(_HASH_CHUNK):
            digest.update(chunk)
    return digest.hexdigest()


def choose_layer(what: str, data: DataFile, asked: str | None, key: str | None = None) -> str:
    """Name the layer that is meant: the one asked for, or the only one with geometry."""
    if asked is not None and data.holds(asked):
        return asked
    listed = data.layers()
    names = [name for name, _ in listed]
    if asked is not None:
        raise refuse(
            f"There is no layer '{asked}'",
            f"Name one of its layers: {', '.join(names)}",
            file=str(data.path),
            key=key,
        )
    if len(names) == 1:
        return names[0]
    spatial = [name for name, has_geometry in listed if has_geometry]
    if len(spatial) == 1:
        return spatial[0]
    if not spatial:
        raise refuse(
            "The file holds no layer with geometry",
            f"Give a file with the {what} as shapes",
            file=str(data.path),
        )
    raise refuse(
        f"The file holds {len(spatial)} layers, and none is named",
        f"Name the one that holds the {what}: {', '.join(spatial)}",
        file=str(data.path),
        key=key,
    )


def say_reason(error: Exception) -> str:
    """Quote a reader's own words in brackets, where they say more than that it cannot."""
    if isinstance(error, UnicodeError):
        return " (a text in it is not in the encoding that it states)"
    detail = str(error).strip().splitlines()
    if not detail or any(words in detail[0] for words in _SAYS_NOTHING):
        return ""
    if "cpl_" in detail[0] or "/io/" in detail[0]:
        return " (it is damaged)"
    printable = "".join(letter if letter.isprintable() else "?" for letter in detail[0][:200])
    return f" ({printable})"
