"""SQLite files, such as GeoPackages: what is looked at before and after a reader opens one.

A reader quotes what it does not understand in its own messages, and not every reader survives that.
So the schema and the tables that describe the layers are read here first, with SQLite alone. The file
is opened for reading only, as one that nobody changes: nothing is written to it or beside it.
"""

from __future__ import annotations

import itertools
import re
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from pathlib import Path

import numpy as np

from screenplan.ground.errors import refuse

#: What byte 68 of a GeoPackage says (OGC 12-128r18, requirement 2, and its forerunners).
PACKAGE_IDS = (b"GPKG", b"GP10", b"GP11")
#: Kinds of virtual tables that keep their content in the file itself.
_OWN_MODULES = ("rtree", "fts3", "fts4", "fts5")
#: Functions by which a view would read other files.
_LEADS_AWAY = re.compile(r"gdal_get_pixel_value|load_extension|virtualogr|readfile", re.IGNORECASE)
_MODULE = re.compile(r"create\s+virtual\s+table\s.*?\busing\s+[\"'\[`]?(\w+)", re.IGNORECASE | re.S)
#: Rows looked at in each table that describes layers.
_MOST_ROWS = 10_000


def is_package(head: bytes, path: Path) -> bool:
    """Tell whether an SQLite file is a GeoPackage, by its mark or its name."""
    return head[68:72] in PACKAGE_IDS or path.suffix.lower() in (".gpkg", ".gpkx")


@contextmanager
def connect(path: Path) -> Iterator[sqlite3.Connection]:
    """Open a database for reading only; text comes as bytes."""
    address = f"{path.resolve().as_uri()}?mode=ro&immutable=1"
    with closing(sqlite3.connect(address, uri=True)) as base:
        base.text_factory = bytes
        base.execute("PRAGMA trusted_schema = OFF")
        base.execute("PRAGMA cell_size_check = ON")
        yield base


def check_database(path: Path, file: str) -> None:
    """Refuse a database whose schema cannot be read, or leads to other files.

    Parameters
    ----------
    path : Path
        The database.
    file : str
        Its name for messages.

    Raises
    ------
    InputError
        Whatever SQLite or Python makes of its damage.
    """
    try:
        with connect(path) as base:
            schema = _read_schema(base)
            for kind, name, _ in schema:
                if kind == "table" and name.lower().startswith("gpkg_"):
                    _read_texts(base, name)
    except Exception as error:  # SQLite, Python's own sqlite3 and its decoding have no common root
        raise refuse(
            f"The file is damaged: its list of layers cannot be read ({_reason(error)})",
            "Fetch or export the file again",
            file=file,
        ) from None
    for _, name, sql in schema:
        module = _MODULE.match(sql)
        if (module and module[1].lower() not in _OWN_MODULES) or _LEADS_AWAY.search(sql):
            raise refuse(
                f"The table or view '{name}' leads to data outside the file",
                "Export the layer into a GeoPackage of its own",
                file=file,
            )


def find_damage(path: Path) -> str | None:
    """Look at the whole file; None if SQLite finds nothing wrong."""
    try:
        with connect(path) as base:
            (said,) = base.execute("PRAGMA quick_check(1)").fetchone()
    except Exception as error:  # as above
        return _reason(error)
    found = bytes(said).decode("utf-8", "replace")
    return None if found == "ok" else " ".join(found.split("\n")[-1].split())


def count_rows(path: Path, table: str, most: int) -> int | None:
    """Count the rows of a table, up to a number; None if it cannot be told."""
    try:
        with connect(path) as base:
            sql = f"SELECT count(*) FROM (SELECT 1 FROM {_quote(table)} LIMIT ?)"
            return int(base.execute(sql, (most,)).fetchone()[0])
    except Exception:  # the reader says what is wrong with it
        return None


def has_index(path: Path, table: str, column: str) -> bool:
    """Tell whether rows of a table are found by a column without looking at the others."""
    try:
        with connect(path) as base:
            listed = base.execute(f"PRAGMA index_list({_quote(table)})").fetchall()
            firsts = [
                base.execute(f"PRAGMA index_info({_quote(_text(name))})").fetchone()[2]
                for _, name, _, _, is_partial in listed
                if not is_partial
            ]
    except Exception:  # the reader says what is wrong with it
        return False
    return column.encode() in firsts


def list_ids(path: Path, table: str) -> list[int] | None:
    """List the ids of a table's rows in their order; None if it has none, as a view."""
    try:
        with connect(path) as base:
            sql = f"SELECT rowid FROM {_quote(table)} ORDER BY rowid"
            ids = [row_id for (row_id,) in base.execute(sql)]
    except Exception:  # the reader says what is wrong with it
        return None
    return ids if all(isinstance(row_id, int) for row_id in ids) else None


def number_rows(path: Path, table: str, stated: int, ids: Sequence[int]) -> list[int] | None:
    """Give rows their numbers from 1 in the order of their ids, without reading the others.

    Parameters
    ----------
    path : Path
        The database.
    table : str
        A table whose rows have ids; a view has none.
    stated : int
        How many rows the file says that the table has.
    ids : sequence of int
        Ids of the rows that are wanted.

    Returns
    -------
    list of int or None
        In the order of the ids; None if it cannot be told.

    Notes
    -----
    Where the ids run without a gap, the number follows from the first one. Else SQLite counts the
    rows between one wanted id and the next, which looks at each row's id once and at nothing else.
    """
    wanted = np.unique(np.asarray(ids, dtype=np.int64))
    name = _quote(table)
    try:
        with connect(path) as base:
            kind = base.execute(
                "SELECT type FROM sqlite_master WHERE name = ?", (table,)
            ).fetchone()
            if kind is None or kind[0] != b"table":
                return None
            (first,) = base.execute(f"SELECT min(rowid) FROM {name}").fetchone()
            (last,) = base.execute(f"SELECT max(rowid) FROM {name}").fetchone()
            if last - first + 1 == stated:
                return [int(row_id) - first + 1 for row_id in ids]
            sql = f"SELECT count(*) FROM {name} WHERE rowid > ? AND rowid <= ?"
            edges = [first - 1, *wanted.tolist()]
            between = [base.execute(sql, pair).fetchone()[0] for pair in itertools.pairwise(edges)]
    except Exception:  # the reader says what is wrong with it
        return None
    number = dict(zip(wanted.tolist(), np.cumsum(between).tolist(), strict=True))
    return [number[int(row_id)] for row_id in ids]


def _read_schema(base: sqlite3.Connection) -> list[tuple[str, str, str]]:
    rows = base.execute("SELECT type, name, sql FROM sqlite_master").fetchall()
    return [(_text(kind), _text(name), _text(sql or b"")) for kind, name, sql in rows]


def _read_texts(base: sqlite3.Connection, table: str) -> None:
    """Read a small table, to see that all its text is text."""
    for row in base.execute(f"SELECT * FROM {_quote(table)} LIMIT {_MOST_ROWS}"):
        for cell in row:
            if isinstance(cell, bytes):
                _text(cell)


def _text(content: object) -> str:
    if not isinstance(content, bytes):
        message = "a name that is no text"
        raise TypeError(message)
    return content.decode("utf-8")


def _quote(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _reason(error: Exception) -> str:
    if isinstance(error, UnicodeDecodeError):
        return "a text in it is not UTF-8"
    lines = str(error).strip().splitlines()
    return f"SQLite: {lines[0]}" if lines else type(error).__name__
