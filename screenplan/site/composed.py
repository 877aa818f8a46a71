"""Columns that a file holds only in parts: a tag inside ``other_tags``, or two columns together.

A plan names such a column as it names any other: ``other_tags:height`` is the tag ``height``, ``SECTION +
NUMERO`` are two texts with a blank between, ``height - roof:height`` is a length less another. A column of
just that name goes before.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

import pandas as pd

from screenplan.ground.errors import InputError
from screenplan.ground.units import parse_length

#: Columns into which GDAL writes the tags of OpenStreetMap that have no column of their own.
TAG_COLUMNS = ("other_tags", "all_tags")
#: A tag in such a column: HSTORE, a text form of the database PostgreSQL.
_TAG = re.compile(r'"((?:[^"\\]|\\.)*)"\s*=>\s*"((?:[^"\\]|\\.)*)"')
_ESCAPED = re.compile(r"\\(.)")
_JOINED, _LESS = " + ", " - "


def tags_of(text: object) -> dict[str, str]:
    r"""Read the tags of a cell.

    Examples
    --------
    >>> tags_of(r'"building:levels"=>"2","name"=>"The \"Ark\""')
    {'building:levels': '2', 'name': 'The "Ark"'}
    """
    if not isinstance(text, str):
        return {}
    return {
        _ESCAPED.sub(r"\1", key): _ESCAPED.sub(r"\1", value) for key, value in _TAG.findall(text)
    }


def tags_within(cells: Sequence[object]) -> list[str]:
    """List the tags that stand in a column's cells, the most frequent first."""
    counts: dict[str, int] = {}
    for cell in cells:
        for key in tags_of(cell):
            counts[key] = counts.get(key, 0) + 1
    return sorted(counts, key=lambda key: (-counts[key], key))


def parts_of(name: str, present: Sequence[str]) -> tuple[str, ...]:
    """Give the file's columns that a column is made of; none if it cannot be made of them.

    Examples
    --------
    >>> parts_of("other_tags:height", ["osm_id", "other_tags"])
    ('other_tags',)
    >>> parts_of("SECTION + NUMERO", ["NUMERO"])
    ()
    """
    if name in present:
        return (name,)
    for sign in (_JOINED, _LESS):
        if sign in name:
            found = [parts_of(part.strip(), present) for part in name.split(sign)]
            return tuple(dict.fromkeys(sum(found, ()))) if all(found) else ()
    column = name.partition(":")[0]
    return (column,) if column in TAG_COLUMNS and column in present and name != column else ()


def is_held(name: str, present: Sequence[str]) -> bool:
    """Tell whether a file has a column, whole or in parts."""
    return bool(parts_of(name, present))


def cells_of(frame: pd.DataFrame, name: str) -> pd.Series:
    """Give a column's cells, made of its parts where it has no own ones.

    A part of a text that is empty makes the whole empty. What is taken off a length counts as nothing
    where it is empty.

    Parameters
    ----------
    frame : DataFrame
        Holds the columns that `parts_of` gives.
    name : str
        As a plan names it.
    """
    if name in frame.columns:
        return frame[name].astype(object)
    if _JOINED in name:
        columns = [cells_of(frame, part.strip()) for part in name.split(_JOINED)]
        made: list[object] = [_join(cells) for cells in zip(*columns, strict=True)]
    elif _LESS in name:
        columns = [cells_of(frame, part.strip()) for part in name.split(_LESS)]
        made = [_less(*cells) for cells in zip(*columns, strict=True)]
    else:
        column, _, key = name.partition(":")
        made = [tags_of(cell).get(key) for cell in frame[column]]
    return pd.Series(made, index=frame.index, dtype=object)


def metres_in(cell: object) -> float | None:
    """Read a length that is written with its unit: metres; None for any other text.

    Examples
    --------
    >>> metres_in("10 ft"), metres_in("6"), metres_in("6 m")
    (3.048, None, 6.0)
    """
    if not isinstance(cell, str) or not re.search(r"[a-z'\"]", cell, re.IGNORECASE):
        return None
    try:
        return parse_length(cell)
    except InputError:
        return None


def _join(cells: Sequence[object]) -> str | None:
    texts = [_text(cell) for cell in cells]
    return " ".join(texts) if all(texts) else None


def _text(cell: object) -> str:
    if cell is None or pd.isna(cell):
        return ""
    if isinstance(cell, float) and cell.is_integer():
        cell = int(cell)
    return str(cell).strip()


def _less(whole: Any, *taken: Any) -> Any:
    """Take lengths off a length; one that cannot be read is given back, and refused as it stands."""
    if not _text(whole):
        return None
    cells = [whole, *(cell for cell in taken if _text(cell))]
    metres = [metres_in(cell) for cell in cells]
    try:
        if any(length is not None for length in metres):
            # OpenStreetMap writes metres without a unit beside feet with theirs.
            first, *others = [
                float(cell) if length is None else length
                for cell, length in zip(cells, metres, strict=True)
            ]
            return f"{first - sum(others)!r} m"
        first, *others = map(float, cells)
    except (TypeError, ValueError):
        return next(
            cell
            for cell, length in zip(cells, metres, strict=True)
            if length is None and not _is_number(cell)
        )
    return first - sum(others)


def _is_number(cell: Any) -> bool:
    try:
        float(cell)
    except (TypeError, ValueError):
        return False
    return True
