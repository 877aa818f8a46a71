"""What a form holds, as the content of a plan: lengths with their unit, lists and tables as such."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from screenplan.contracts import INPUTS
from screenplan.ground.errors import refuse
from screenplan.plan.text import toml_value
from screenplan.running.descriptions import describe_key

#: How names of columns are written: layer.column = your column, and a unit.
_NAMED = re.compile(r"^\s*(\w+)\.(\w+)\s*=\s*(.+?)\s*$")


def written_value(key: str, value: Any) -> Any:
    """Write a form's plain value as it stands in a plan file.

    Parameters
    ----------
    key : str
        A key of the plan.
    value : object
        Text, number, boolean or list; lengths in metres, volumes in cubic metres, tables as lists
        of rows of text.

    Examples
    --------
    >>> written_value("rows.spacing", 2.2), written_value("growth.show_years", ["0", "10"])
    ('2.2 m', [0, 10])
    >>> written_value("plants.species", "ilex_opaca, ilex_glabra")
    ['ilex_opaca', 'ilex_glabra']
    >>> written_value("hand.prices", [["0.6 m", "18"]])
    {'0.6 m': 18}
    """
    entry = describe_key(key)
    if entry.type == "texts":
        listed = [part.strip() for part in value.split(",") if part.strip()]
        return listed if len(listed) > 1 else value
    if entry.type == "table":
        return {row[0].strip(): _number(row[1]) for row in value if row[0].strip()}
    if entry.type == "list" and entry.item == "list":
        return [[cell.strip() for cell in row] for row in value]
    if entry.type == "list":
        return [_single(entry.item, item) for item in value]
    return _single(entry.type, value)


def _single(kind: str, value: Any) -> Any:
    if kind == "length" and not isinstance(value, str):
        return f"{value!r} m"
    if kind == "volume":
        return f"{value!r} m3"
    return _number(value) if kind in ("integer", "number") else value


def _number(value: Any) -> Any:
    """Give a number for text that is one; other text is left for the plan's check to refuse."""
    if not isinstance(value, str):
        return value
    for kind in (int, float):
        try:
            return kind(value.strip())
        except ValueError:
            pass
    return value


def content_of(values: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    """Give the sections of a plan for a form's values, by key."""
    content: dict[str, dict[str, Any]] = {}
    for key, value in values.items():
        section, name = key.split(".")
        content.setdefault(section, {})[name] = written_value(key, value)
    return content


def settings_of(values: Mapping[str, Any]) -> list[str]:
    """Give a form's values as ``KEY=VALUE``, to replace those of a plan file."""
    return [f"{key}={toml_value(written_value(key, value))}" for key, value in values.items()]


def columns_of(job: Mapping[str, Any]) -> tuple[dict[str, dict], dict[str, dict]]:
    """Give the columns and units that a form names, with the field that holds the parcel's identifier."""
    columns, units = named_columns(job.get("columns") or "")
    if job.get("id_field"):
        columns.setdefault("parcels", {})["parcel_id"] = job["id_field"]
    return columns, units


def named_columns(text: str) -> tuple[dict[str, dict[str, str]], dict[str, dict[str, str]]]:
    """Read which columns are called otherwise.

    Parameters
    ----------
    text : str
        ``layer.column = your column``, and a unit in the end if it is not metres; several are
        parted by semicolons or lines.

    Returns
    -------
    columns, units : dict of dict
        By layer and column, as a plan file has them.

    Raises
    ------
    InputError
        If one is not written so, or names no layer or column.

    Examples
    --------
    >>> named_columns("buildings.height_m = HGT ft; windows.sill_m = SILL")
    ({'buildings': {'height_m': 'HGT'}, 'windows': {'sill_m': 'SILL'}}, {'buildings': {'height_m': 'ft'}})
    """
    columns: dict[str, dict[str, str]] = {}
    units: dict[str, dict[str, str]] = {}
    for piece in re.split(r"[;\n]", text):
        if not piece.strip():
            continue
        found = _NAMED.match(piece)
        if not found or found[1] not in INPUTS:
            raise refuse(
                f"'{piece.strip()}' does not say how a column is called",
                "Write layer.column = your column, such as parcels.parcel_id = LOT; layers are "
                f"{', '.join(INPUTS)}",
            )
        layer, column, own = found.groups()
        if column not in [known.name for known in INPUTS[layer].columns]:
            raise refuse(
                f"the layer {layer} has no column {column}",
                f"Name one of {', '.join(known.name for known in INPUTS[layer].columns)}",
            )
        own, unit = _split_unit(own) if column.endswith("_m") else (own, "")
        columns.setdefault(layer, {})[column] = own
        if unit:
            units.setdefault(layer, {})[column] = unit
    return columns, units


def _split_unit(own: str) -> tuple[str, str]:
    from screenplan.ground.errors import InputError
    from screenplan.ground.units import parse_length

    head, _, unit = own.rpartition(" ")
    if not head:
        return own, ""
    try:
        parse_length(f"1 {unit}")
    except InputError:
        return own, ""
    return head.strip(), unit
