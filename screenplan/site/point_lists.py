"""Points as surveyors send them: number, north, east, height, code, with or without a header.

One point a line, parted by commas, semicolons, tabs or blanks; the last field is the code with what follows
it. Without a header the second field is taken for north and the third for east, the customary order; some send
east before north, so that a list which lies at the site only when turned is turned
(`screenplan.site.placing`).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import pandas as pd

from screenplan.ground.errors import refuse
from screenplan.site.files import read_head

#: How the files are called in which such lists come.
ENDINGS = (".csv", ".txt", ".asc", ".pnt", ".pts")
#: What the columns are called in a header, by our names.
HEADERS = {
    "number": "number|no|nr|num|p|pt|pnt|point|point no|point number|pointnumber|point id|punkt|punktnr",
    "north": "north|northing|n|nord|norte|hochwert",
    "east": "east|easting|e|est|ost|este|rechtswert",
    "elevation": "elevation|elev|height|z|level|h|hoehe|höhe|altitude|ele",
    "code": "code|d|desc|description|descriptor|raw description|feature code|remark|note",
}
#: Names in the order of a list without a header.
ORDER = ("number", "north", "east", "elevation", "code")
_MARKS = (";", "\t", ",")
_COMMENT = ("#", "//")


@dataclass(frozen=True)
class PointList:
    """A list of points.

    Parameters
    ----------
    points : GeoDataFrame
        With number, elevation and code as text; no CRS, because the list states none.
    has_header : bool
        Whether its first line names the columns; without, north and east may be the other way round.
    """

    points: gpd.GeoDataFrame
    has_header: bool


def is_point_list(path: Path) -> bool:
    """Tell whether a file is such a list: by its ending and its first lines.

    A CSV file whose header does not name a number, a height or a code beside north and east is an ordinary table.
    """
    if path.suffix.lower() not in ENDINGS or not path.is_file():
        return False
    head = read_head(path)
    if b"\0" in head:
        return False
    lines = _lines(head.decode("utf-8-sig", errors="replace"))[:2]
    if not lines:
        return False
    first = _split(lines[0], _mark_of(lines[0]))
    named = _name_columns(first)
    if named is not None:
        # A column that is none of a list's makes it a table.
        return len(named) == len(first) and bool({"elevation", "code"} & set(named))
    return _is_point(first) and (len(lines) < 2 or _is_point(_split(lines[1], _mark_of(lines[0]))))


def read_points(path: Path) -> PointList:
    """Read a list of points.

    Raises
    ------
    InputError
        With every line that is none, by its number among the points.
    """
    lines = _lines(path.read_bytes().decode("utf-8-sig", errors="replace"))
    mark = _mark_of(lines[0])
    named = _name_columns(_split(lines[0], mark))
    places = dict(zip(ORDER, range(len(ORDER)), strict=True)) if named is None else named
    rows = [_split(line, mark, 1 + max(places.values())) for line in lines[named is not None :]]
    points = {name: [_field(row, place) for row in rows] for name, place in places.items()}
    place = {
        name: pd.Series([_number(text) for text in points.pop(name)]) for name in ("east", "north")
    }
    wrong = [
        row + 1
        for row in range(len(rows))
        if place["east"].isna()[row] or place["north"].isna()[row]
    ]
    if wrong:
        raise refuse(
            "The line is no point: north and east must be numbers",
            "Write number, north, east, height, code, one point a line, or delete these lines",
            file=str(path),
            rows=wrong,
        )
    shapes = gpd.points_from_xy(place["east"], place["north"])
    return PointList(gpd.GeoDataFrame(points, geometry=shapes), named is not None)


def with_code(points: gpd.GeoDataFrame, asked: str) -> pd.Series:
    """Tell of each point whether its code is the one asked for, or begins with that word.

    Examples
    --------
    >>> points = gpd.GeoDataFrame({"code": ["TREE 12", "tree", "TREELINE", None]})
    >>> with_code(points, "TREE").tolist()
    [True, True, False, False]
    """
    word = asked.strip().lower()
    codes = [str(code or "").strip().lower() for code in points.get("code", [None] * len(points))]
    return pd.Series(
        [code == word or code.split(maxsplit=1)[:1] == [word] for code in codes],
        index=points.index,
        dtype=bool,
    )


def codes_of(points: gpd.GeoDataFrame) -> list[str]:
    """List the first words of the codes."""
    codes = [str(code).split(maxsplit=1)[0] for code in points.get("code", []) if code]
    return list(dict.fromkeys(codes))


def _lines(text: str) -> list[str]:
    return [
        line
        for line in text.splitlines()
        if line.strip() and not line.lstrip().startswith(_COMMENT)
    ]


def _mark_of(line: str) -> str:
    return next((mark for mark in _MARKS if mark in line), " ")


def _split(line: str, mark: str, most: int = len(ORDER)) -> list[str]:
    """Split a line; what follows the last field belongs to it."""
    parts = line.strip().split(None if mark == " " else mark, most - 1)
    return [part.strip().strip('"').strip() for part in parts]


def _name_columns(fields: list[str]) -> dict[str, int] | None:
    """Find the columns by a header; None if it is none."""
    words = [re.sub(r"[\W_]+", " ", field.lower()).strip() for field in fields]
    found = {
        ours: words.index(name)
        for ours, names in HEADERS.items()
        for name in names.split("|")
        if name in words
    }
    return found if {"north", "east"} <= set(found) else None


def _is_point(fields: list[str]) -> bool:
    """Tell whether fields are number, north, east and perhaps height; bare coordinates have no number."""
    numbers = [_number(field) for field in fields]
    if len(fields) < 3 or None in numbers[1:3] or re.search(r"[.,]\d", fields[0]):
        return False
    return len(fields) < 4 or not fields[3] or numbers[3] is not None


def _field(row: list[str], place: int) -> str | None:
    return (row[place] or None) if place < len(row) else None


def _number(text: str | None) -> float | None:
    """Read a coordinate; a single comma between digits is a decimal mark."""
    if text is None:
        return None
    plain = text.replace(",", ".") if text.count(",") == 1 and "." not in text else text
    return float(plain) if re.fullmatch(r"[-+]?\d+(\.\d*)?", plain) else None
