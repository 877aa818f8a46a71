"""The run's record, ``run.json``: what went in, what was done with it, what came out.

A later step takes the frame from it, and `screenplan.outputs.folder` learns from it which files
of a folder the library wrote. Reading and writing it needs the standard library only.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import math
import os
import platform
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields
from importlib import metadata
from pathlib import Path

from screenplan._version import __version__
from screenplan.ground.errors import refuse
from screenplan.ground.paths import check_reachable
from screenplan.ground.sqlite import is_database

RECORD_NAME = "run.json"
#: Raised when a key changes its meaning; a higher one than ours cannot be read.
RECORD_FORMAT = 1
#: Libraries whose version can change a number.
LIBRARIES = (
    "fiona",
    "geopandas",
    "numba",
    "numpy",
    "pandas",
    "pyogrio",
    "pyproj",
    "rasterio",
    "shapely",
)

#: Bytes of a database's header that change when a program opens it for editing and edits nothing:
#: write and read version, change counter, version-valid-for and library version
#: (SQLite's "Database File Format", section 1.3).
SQLITE_VOLATILE = (slice(18, 20), slice(24, 28), slice(92, 100))

_MEND = "Run the plan again, into a new folder"


@dataclass(frozen=True)
class RunRecord:
    """What ``run.json`` holds.

    Parameters
    ----------
    frame : mapping
        The local frame, as `LocalFrame.to_dict` gives it.
    inputs : sequence of mapping
        One per layer read: file, layer, sha256, rows, crs. Of a large file that was read in part,
        sha256 is None, bytes its size, and read_sha256 the hash of what was read of it.
    parameters : mapping
        The plan's choices, complete with defaults.
    transformations, repairs : sequence of mapping
        What was transformed and how accurately; what was mended, by layer and row.
    warnings : sequence of str
        What a person should know.
    outputs : sequence of mapping
        One per file, as `describe_output` gives it.
    versions : mapping of str to str
        By library.
    written_at : str
        ISO 8601, UTC. The only entry that differs between two runs of the same plan.
    format : int
        `RECORD_FORMAT` of the writer.
    """

    frame: Mapping = field(default_factory=dict)
    inputs: Sequence[Mapping] = ()
    parameters: Mapping = field(default_factory=dict)
    transformations: Sequence[Mapping] = ()
    repairs: Sequence[Mapping] = ()
    warnings: Sequence[str] = ()
    outputs: Sequence[Mapping] = ()
    versions: Mapping[str, str] = field(default_factory=dict)
    written_at: str = ""
    format: int = RECORD_FORMAT

    @property
    def files(self) -> dict[str, Mapping]:
        """The entry of every file written, by its name."""
        return {entry["file"]: entry for entry in self.outputs}


def write_record(
    record: RunRecord,
    folder: str | Path,
    *,
    base: str | Path,
    written_at: dt.datetime | None = None,
) -> Path:
    """Write ``run.json`` into a folder.

    Parameters
    ----------
    record : RunRecord
        ``versions`` and ``written_at`` are filled in when empty. Any table may be a DataFrame.
    folder : str or Path
        Where to.
    base : str or Path
        The plan's folder: every `Path` in the record is written relative to it.
    written_at : datetime, optional
        With a time zone; by default now.

    Returns
    -------
    Path
        The file.
    """
    moment = (written_at or dt.datetime.now(dt.UTC)).astimezone(dt.UTC)
    content = {entry.name: getattr(record, entry.name) for entry in fields(record)}
    content["versions"] = record.versions or versions()
    content["written_at"] = record.written_at or moment.isoformat(timespec="seconds").replace(
        "+00:00", "Z"
    )
    ordered = {"format": content.pop("format"), "written_at": content.pop("written_at")} | content
    text = json.dumps(plain(ordered, Path(base)), indent=2, ensure_ascii=False, allow_nan=False)
    path = Path(folder) / RECORD_NAME
    path.write_text(text + "\n", encoding="utf-8", newline="\n")
    return path


def read_record(path: str | Path) -> RunRecord:
    """Read a ``run.json``, or that of a folder.

    Parameters
    ----------
    path : str or Path
        The file, or the folder that holds it.

    Raises
    ------
    InputError
        If it is not there, is damaged, or a newer version wrote it.
    """
    check_reachable(path)
    path = Path(path)
    if path.is_dir():
        path = path / RECORD_NAME
    name = str(path)
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise refuse(
            "There is no run record", "Run the plan first, or name a run's folder", file=name
        ) from None
    except OSError as error:
        raise refuse(
            f"It cannot be read ({error.strerror})", "Check its permissions", file=name
        ) from None
    except (ValueError, RecursionError) as error:  # a number of too many digits among them
        raise refuse(f"The run record is damaged ({error})", _MEND, file=name) from None
    return _checked(content, name)


def _checked(content: object, name: str) -> RunRecord:
    if not isinstance(content, dict):
        raise refuse("The run record is damaged (it is not a JSON object)", _MEND, file=name)
    number = content.get("format")
    if not isinstance(number, int) or isinstance(number, bool) or number < 1:
        raise refuse(
            "It is not a run record (it has no format number)",
            "Name the run.json that a run has written",
            file=name,
        )
    if number > RECORD_FORMAT:
        raise refuse(
            f"A newer version of screenplan wrote the run record (format {number})",
            f"Update screenplan, now {__version__}, or run the plan again",
            file=name,
        )
    for entry in fields(RunRecord):
        wanted = _KINDS[entry.name]
        if entry.name not in content:
            raise refuse(f"The run record is damaged (it lacks {entry.name})", _MEND, file=name)
        if not isinstance(content[entry.name], wanted):
            raise refuse(
                f"The run record is damaged ({entry.name} is not {_SAY[wanted]})", _MEND, file=name
            )
    for output in content["outputs"]:
        whole = isinstance(output, dict) and all(
            isinstance(output.get(key), str) for key in ("file", "sha256")
        )
        if not whole or not _stays_inside(output["file"]):
            raise refuse(
                "The run record is damaged (an output has no file name inside the folder)",
                _MEND,
                file=name,
            )
    return RunRecord(**{entry.name: content[entry.name] for entry in fields(RunRecord)})


_KINDS = {
    "frame": dict,
    "inputs": list,
    "parameters": dict,
    "transformations": list,
    "repairs": list,
    "warnings": list,
    "outputs": list,
    "versions": dict,
    "written_at": str,
    "format": int,
}
_SAY = {dict: "an object", list: "a list", str: "text", int: "a number"}


def _stays_inside(name: str) -> bool:
    parts = name.split("/")
    return bool(name) and "\\" not in name and ":" not in name and not {"", ".", ".."} & set(parts)


def versions() -> dict[str, str]:
    """Give the versions that can change a result: ours, Python's, GDAL's, PROJ's, GEOS's, …."""
    import fiona
    import pyogrio
    import pyproj
    import rasterio
    import shapely

    return {
        "screenplan": __version__,
        "python": platform.python_version(),
        "gdal_vector": fiona.__gdal_version__,
        "gdal_written": ".".join(str(part) for part in pyogrio.__gdal_version__),
        "gdal_raster": rasterio.__gdal_version__,
        "proj": pyproj.proj_version_str,
        "geos": shapely.geos_version_string,
    } | {name: metadata.version(name) for name in LIBRARIES}


def describe_output(path: Path, layers: Mapping[str, int], *, base: Path | None = None) -> dict:
    """Give the record's entry of a file that was written.

    Parameters
    ----------
    path : Path
        The file.
    layers : mapping of str to int
        Its number of rows by layer.
    base : Path, optional
        The folder of the run, if the file is in a folder inside it.

    Returns
    -------
    dict
        ``file``, ``sha256``, ``layers``; of a GeoPackage also ``content_sha256``.
    """
    name = path.name if base is None else path.relative_to(base).as_posix()
    entry = {"file": name, "sha256": file_sha256(path), "layers": dict(layers)}
    content = _content_sha256(path)
    if content != entry["sha256"]:
        entry["content_sha256"] = content
    return entry


def is_unchanged(path: Path, entry: Mapping) -> bool:
    """Tell whether a file still holds what its entry in the record says."""
    if "content_sha256" in entry:
        return _content_sha256(path) == entry["content_sha256"]
    return file_sha256(path) == entry["sha256"]


def _content_sha256(path: Path) -> str:
    """Give a database's SHA-256 without `SQLITE_VOLATILE`; of any other file its plain one."""
    content = bytearray(path.read_bytes())
    if is_database(content):
        for place in SQLITE_VOLATILE:
            content[place] = bytes(len(content[place]))
    return hashlib.sha256(content).hexdigest()


def file_sha256(path: str | Path) -> str:
    """Give a file's SHA-256 as 64 hexadecimal digits."""
    with Path(path).open("rb") as source:
        return hashlib.file_digest(source, "sha256").hexdigest()


def relative_to(path: str | Path, base: str | Path) -> str:
    """Give a path relative to a folder, with slashes.

    On another drive there is no such path: then only the file's name is given.
    """
    try:
        relative = os.path.relpath(path, base)
    except ValueError:
        return Path(path).name
    return Path(relative).as_posix()


def plain(value: object, base: str | Path) -> object:
    """Give a value as JSON can hold it.

    NumPy scalars become Python's, NaN and infinity None, dates ISO text, dataclasses and mappings
    objects, DataFrames lists of rows, sets sorted lists, and paths relative to ``base``.
    """
    if type(value).__name__ in ("NAType", "NaTType"):  # pandas is not imported for their sake
        return None
    if value is None or isinstance(value, (bool, int, str)):
        return value
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if isinstance(value, Path):
        return relative_to(value, base)
    if isinstance(value, (dt.datetime, dt.date)):
        return value.isoformat()
    if isinstance(value, Mapping):
        return {str(key): plain(entry, base) for key, entry in value.items()}
    if hasattr(value, "__dataclass_fields__"):
        return plain(asdict(value), base)  # type: ignore[call-overload]  # it is a dataclass
    if hasattr(value, "to_dict") and hasattr(value, "columns"):
        return plain(value.to_dict("records"), base)
    if isinstance(value, (set, frozenset)):
        return sorted((plain(entry, base) for entry in value), key=str)
    if hasattr(value, "tolist"):
        return plain(value.tolist(), base)
    if isinstance(value, Iterable):
        return [plain(entry, base) for entry in value]
    return str(value)
