"""One value of a layer as text in a table of the report."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

import pandas as pd

from screenplan.contracts.presentation import Form
from screenplan.contracts.task_times import YEAR_DAYS
from screenplan.ground.said import in_units
from screenplan.ground.units import format_amount, format_length, format_pack, format_tape
from screenplan.outputs.drawings.style import clean
from screenplan.outputs.plant_names import names_in

#: Texts of a table are cut at this many characters.
LONGEST_TEXT = 600
#: Forms whose cells stand to the right.
ON_THE_RIGHT = {"tape", "length", "degrees", "share", "money", "number", "amount", "hours"}
#: Half of what is read on a tape; readings that differ by less are one.
HALF_A_READING_M = 0.005


def is_missing(value: Any) -> bool:
    """Tell whether a cell of a table is empty."""
    return value is None or value is pd.NA or value != value


def text_of(cell: Any) -> str:
    """Give a text cell, an empty one as an empty text."""
    return "" if is_missing(cell) else cell


def write_cell(
    row: Mapping,
    column: str,
    form: Form | Literal[""],
    units: str,
    names: Mapping[str, Mapping[str, str]],
) -> str:
    """Write a cell.

    Parameters
    ----------
    row : mapping
        The layer's row.
    column : str
    form : Form
        One of `screenplan.contracts.presentation.Form`.
    units : {"metric", "us"}
    names : mapping of str to mapping
        By the form (species, view, target) what a key stands for.
    """
    value = row[column]
    if form == "never":
        return "never" if is_missing(value) else str(int(value))
    if form == "when":
        return _when(row)
    if form == "often":
        return _often(row)
    if form == "packs":
        return _packs(row, units)
    if is_missing(value) or (isinstance(value, str) and not value.strip()):
        return "–" if form in ON_THE_RIGHT else ""
    if form in ("tape", "length"):
        write = format_tape if form == "tape" else format_length
        return write(float(value), units)
    if form == "amount":
        return format_amount(float(value), str(row.get("unit", "each")), units)
    if form == "degrees":
        return f"{float(value):.0f}°"
    if form == "hours":
        return f"{float(value):.0f}"
    if form == "share":
        return f"{float(value):.0%}"
    if form == "money":
        return f"{float(value):,.2f}"
    if form == "number":
        return f"{float(value):.2f}".rstrip("0").rstrip(".")
    if form == "yes":
        return "yes" if bool(value) else "no"
    if form == "species":
        return clean(names_in(str(value), names.get(form, {})), LONGEST_TEXT)
    if form in ("view", "target"):
        return clean(names.get(form, {}).get(str(value), value), LONGEST_TEXT)
    if form == "words":
        return clean(value).replace("_", " ")
    return clean(in_units(value, units) if form == "sentence" else value, LONGEST_TEXT)


def how_tapes_lie(stakes: pd.DataFrame) -> str:
    """Say how the tapes are held that give the stakes' distances along the ground."""
    longer = stakes["slope_along_m"] - stakes["along_m"]
    return "held level" if (longer.abs() < HALF_A_READING_M).all() else "along the ground"


def _when(row: Mapping) -> str:
    """Say when a task is due: dates, or days before and after planting."""
    first, last = row.get("first_date"), row.get("last_date")
    if not is_missing(first):
        return str(first) if is_missing(last) or last == first else f"{first} to {last}"
    start, end = int(row["first_day"]), int(row["last_day"])
    span = _day(start) if start == end else f"{_day(start)} to {_day(end)}"
    return "day of planting" if start == end == 0 else span


def _day(number: int) -> str:
    if number >= 730:
        return f"year {number / YEAR_DAYS:.0f}"
    if number < 0:
        return f"{-number} day{'s' if number < -1 else ''} before"
    return f"day {number}"


def _often(row: Mapping[str, Any]) -> str:
    times, every = row["times"], row.get("every_days", pd.NA)
    if is_missing(every) or int(times) == 1:
        return "once" if int(times) == 1 else f"{int(times)} times"
    pace = {1: "every day", 7: "every week", 365: "every year"}.get(
        int(every), f"every {int(every)} days"
    )
    return f"{pace}, {int(times)} times"


def _packs(row: Mapping[str, Any], units: str) -> str:
    if is_missing(row["packs"]) or is_missing(row.get("pack")) or not str(row["pack"]).strip():
        return ""
    text = f"{int(row['packs'])} × {clean(row['pack'])}"
    size = row.get("pack_amount", pd.NA)
    if not is_missing(size) and row.get("unit") != "each":
        text += f" of {format_pack(float(size), str(row['unit']), units)}"
    return text
