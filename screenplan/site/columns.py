"""The user's columns to the contract's: names, types, units, defaults and limits."""

from __future__ import annotations

import datetime as dt
import difflib
import math
from collections.abc import Callable, Mapping
from itertools import compress
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from pyproj import CRS

from screenplan.contracts import HIGHEST_GROUND_M, LOWEST_GROUND_M, Column, Contract
from screenplan.ground.errors import InputError, Problem
from screenplan.ground.said import FOOT_M, KMH_PER_MPH
from screenplan.ground.units import metres_per
from screenplan.site.composed import cells_of, is_held, metres_in
from screenplan.site.repair import Findings

if TYPE_CHECKING:
    from screenplan.site.sources import LayerSource

#: Values that data sets write where a number is not known.
SENTINELS = (9999.0, 99999.0, 999.0, -999.0, -9999.0, -99999.0, -32768.0, 32767.0, 1e20)
#: Layers whose things, if they stand at all, are higher than nothing.
STANDING = ("buildings", "existing_screens")

#: The feet in use differ by less than this, metres.
FEET_DIFFER_M = 1e-4
#: Ends of column names that say another unit than ours.
_FOREIGN_ENDS = ("_ft", "_feet", "_foot", "_in", "_inch", "_inches", "_cm", "_mm", "_mph")

_TRUE = frozenset({"true", "t", "yes", "y", "1"})
_FALSE = frozenset({"false", "f", "no", "n", "0"})
_DAYS = ("%Y-%m-%d", "%Y/%m/%d", "%Y%m%d", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%d %H:%M:%S")


def convert_columns(
    frame: pd.DataFrame, contract: Contract, named: LayerSource, findings: Findings
) -> pd.DataFrame:
    """Make the contract's columns of the user's.

    Parameters
    ----------
    frame : DataFrame
        Attributes as read, indexed by row number.
    contract : Contract
        What the layer must hold.
    named : LayerSource
        How the user calls the columns. Where a value is given for rows that lack one, marks for 'not known'
        and heights of 0 count as lacking.
    findings : Findings
        Where problems are noted.

    Returns
    -------
    DataFrame
        The contract's columns in its order, same index. A value that is not given, or that was
        refused, is None in text and NaN in numbers; defaults are not filled in yet.
    """
    out: dict[str, pd.Series] = {}
    for column in contract.columns:
        if column.name in named.fixed:
            cells = pd.Series(
                [named.fixed[column.name]] * len(frame), index=frame.index, dtype=object
            )
        elif is_held(theirs := named.theirs(column.name), frame.columns):
            cells = cells_of(frame, theirs)
        else:
            cells = pd.Series([None] * len(frame), index=frame.index, dtype=object)
        may_lack = column.name in named.missing
        out[column.name] = _convert(
            cells, column, contract, named.units.get(column.name), findings, may_lack=may_lack
        )
    return fill_missing(pd.DataFrame(out, index=frame.index), contract, named.missing, findings)


def fill_missing(
    cells: pd.DataFrame, contract: Contract, missing: Mapping[str, object], findings: Findings
) -> pd.DataFrame:
    """Fill in the values that are given for rows which lack one; told by row.

    A building lacks its height or storeys only where it has neither: one follows from the other.
    """
    if not missing:
        return cells
    out = cells.copy()
    lacking = {name: out[name].isna() for name in missing if name in out}
    if contract.name == "buildings":
        neither = out["height_m"].isna() & out["storeys"].isna()
        lacking |= {name: neither for name in ("height_m", "storeys") if name in lacking}
    for name, which in lacking.items():
        column, key = contract.column(name), f"layers.{contract.name}.missing.{name}"
        if _is_empty(missing[name]):
            findings.refused(
                (),
                f"the {name} for rows without one is empty",
                "Write a value, or leave it out",
                key=key,
            )
            continue
        value, complaint = _READERS[column.type](missing[name])
        if complaint is None and column.type in ("number", "integer"):
            complaint = _check_range(value, 1.0, column, contract, None)
        elif complaint is None and column.choices and value.lower() not in column.choices:
            complaint = (
                f"'{value}' is not a known {name}",
                f"Write one of {', '.join(column.choices)}",
            )
        if complaint is not None:
            what, mend = complaint
            findings.refused((), what, mend, key=key)
            continue
        out[name] = out[name].astype(object).where(~which, value)
        shown = f"{value:g}" if column.type in ("number", "integer") else value
        said = f"{{{shown} m}}" if column.unit == "m" else shown
        findings.mended_among(
            out.index,
            which.to_numpy(),
            f"{name} {said} taken, which the plan gives for rows without",
        )
    return out


def is_unit_said(column: Column, named: LayerSource) -> bool:
    """Tell whether it is known in which unit a column's values are.

    A plan says it by ``units`` or by a fixed value, a file by our own name of the column, which
    ends in its unit.
    """
    said = column.name in named.units or column.name in named.fixed
    return said or named.theirs(column.name).lower() == column.name


def check_units(
    frame: pd.DataFrame,
    contract: Contract,
    crs: CRS | None,
    named: LayerSource,
    findings: Findings,
) -> None:
    """Refuse lengths and speeds of which nobody says the unit, where they are likely not ours.

    That is so if the layer's CRS counts in feet, or if the name of the file's column ends in a foot
    or another unit that is not the contract's.

    Parameters
    ----------
    frame : DataFrame
        Attributes as read, indexed by row number.
    crs : pyproj.CRS
        As the layer states it; None for a table.
    """
    foot = None if crs is None else find_foot(crs)
    for column in contract.columns:
        other = {"m": "ft", "km/h": "mph"}.get(column.unit)
        theirs = named.theirs(column.name)
        if other is None or not is_held(theirs, frame.columns):
            continue
        bare = [
            cell
            for cell in cells_of(frame, theirs)
            if not _is_empty(cell) and metres_in(cell) is None
        ]
        if is_unit_said(column, named) or not bare:
            continue
        if theirs.lower().endswith(_FOREIGN_ENDS):
            cause = f"By its name the column {theirs} is not in {column.unit}"
        elif crs is not None and foot is not None:
            cause = f"The CRS '{crs.name}' counts in {foot}"
        else:
            continue
        findings.refused(
            (),
            f"{cause}, and nobody says in which unit the column {theirs} is",
            f'Write units = {{ {column.name} = "{other}" }} under [layers.{contract.name}], or "{column.unit}" if it is so',
            key=f"layers.{contract.name}.units.{column.name}",
        )


def find_foot(crs: CRS) -> str | None:
    """Give the name of the foot in which a CRS counts, along the ground or upwards; None if in none."""
    bare = (crs.source_crs if crs.is_bound else None) or crs
    parts = bare.sub_crs_list if bare.is_compound else [bare]
    for axis in (axis for part in parts for axis in part.axis_info):
        if abs(axis.unit_conversion_factor - FOOT_M) < FEET_DIFFER_M:
            return axis.unit_name
    return None


def check_mapping(
    contract: Contract, present: tuple[str, ...], named: LayerSource, findings: Findings
) -> None:
    """Note columns, units and fixed values that cannot be meant, and required columns without any.

    Parameters
    ----------
    present : tuple of str
        The file's columns.
    """
    ours = {column.name: column for column in contract.columns}
    for what in ("columns", "units", "fixed", "missing"):
        for name in getattr(named, what):
            if name not in ours:
                findings.refused(
                    (),
                    f"The layer of {contract.name} has no column '{name}'",
                    f"Use one of {', '.join(ours)}",
                    key=f"layers.{contract.name}.{what}",
                )
    for name, theirs in named.columns.items():
        if name in ours and name not in named.fixed and not is_held(theirs, present):
            lower = {name.lower(): name for name in present}
            close = difflib.get_close_matches(theirs.lower(), lower, n=1, cutoff=0.6)
            findings.refused(
                (),
                f"There is no column '{theirs}', which was named for {name}",
                (f"Did you mean '{lower[close[0]]}'? " if close else "")
                + f"The file's columns are {_list_columns(present)}",
                key=f"layers.{contract.name}.columns.{name}",
            )
    for name, unit in named.units.items():
        if name in ours:
            try:
                _factor(ours[name], unit, contract.name)
            except InputError as error:
                findings.problems += [_placed(p, findings) for p in error.problems]
    # A key without a column gets row numbers.
    for column in contract.columns:
        given = column.name in (*named.fixed, *named.missing) or is_held(
            named.theirs(column.name), present
        )
        if (
            (column.required or column.expected)
            and not given
            and column.name not in (contract.key, *named.columns)
        ):
            value = '"…"' if column.type == "text" else "…"
            findings.refused(
                (),
                f"The column {column.name} is missing ({column.meaning.lower()})",
                f"Name the file's column for it; the columns are {_list_columns(present)}. Or give "
                f"one value for every row, under [layers.{contract.name}]: fixed = {{ {column.name} = {value} }}",
                key=f"layers.{contract.name}.columns.{column.name}",
            )


def fill_defaults(frame: pd.DataFrame, contract: Contract) -> pd.DataFrame:
    """Fill in the contract's defaults, row numbers for missing keys, and plain types.

    Integers and booleans without a gap become such; with a gap integers are floats with NaN.
    """
    out = {}
    for column in contract.columns:
        values = frame[column.name].to_numpy(dtype=object, copy=True)
        empty = pd.isna(values)
        if column.name == contract.key and empty.any():
            values[empty] = frame.index.astype(str).to_numpy(dtype=object)[empty]
        elif column.name != contract.key and column.default is not None:
            values[empty] = column.default
        out[column.name] = _settle(pd.Series(values, index=frame.index, dtype=object), column)
    return frame.assign(**out)


def can_be_read(cell: object, column: Column) -> bool:
    """Tell whether a cell can be read as a value of a column, whatever its unit; an empty one cannot.

    Examples
    --------
    >>> can_be_read("2.5", Column("height_m", "number", "", unit="m"))
    True
    """
    if _is_empty(cell):
        return False
    kind = "number" if column.name == "storeys" else column.type
    value, complaint = _READERS[kind](cell)
    if column.unit == "m" and complaint is not None:
        return metres_in(cell) is not None
    return complaint is None and (not column.choices or value.lower() in column.choices)


def to_text(value: object) -> str | None:
    """Write an identifier as text: 12 and 12.0 are ``"12"``; None, NaN and blanks are None."""
    if value is None or (isinstance(value, float) and math.isnan(value)) or value is pd.NA:
        return None
    if isinstance(value, (float, np.floating)) and float(value).is_integer():
        value = int(value)
    return str(value).strip() or None


def _list_columns(present: tuple[str, ...]) -> str:
    return ", ".join(present) if present else "none"


def _placed(problem: Problem, findings: Findings) -> Problem:
    return Problem(
        problem.what, problem.mend, findings.file, findings.source_layer, (), problem.key
    )


def _names(problem: Problem, column: Column) -> bool:
    """Tell whether a problem says already that a column is missing."""
    return problem.key is not None and problem.key.endswith(f".columns.{column.name}")


def _settle(cells: pd.Series, column: Column) -> pd.Series:
    if column.type == "boolean":
        return cells.map(bool).astype(bool)
    if column.type == "integer":
        numbers = cells.astype(float)
        return numbers if numbers.isna().any() else numbers.astype("int64")
    if column.type == "number":
        return cells.astype(float)
    empty = cells.isna()
    return cells.where(~empty, None) if empty.any() else cells


def _convert(
    cells: pd.Series,
    column: Column,
    contract: Contract,
    unit: str | None,
    findings: Findings,
    *,
    may_lack: bool,
) -> pd.Series:
    """One column's cells to its type and unit; wrong rows are noted and left empty."""
    try:
        factor = _factor(column, unit, contract.name)
    except InputError:
        return cells  # noted by check_mapping
    held = cells.tolist()
    empty = np.array([_is_empty(cell) for cell in held], dtype=bool)
    missing = empty.all() and any(_names(problem, column) for problem in findings.problems)
    needed = column.required and column.name != contract.key and not may_lack
    if needed and empty.any() and not missing:
        findings.refused(
            cells.index[empty],
            f"The column {column.name} is empty ({column.meaning.lower()})",
            "Fill it in, delete these rows, or give a value for rows without one: "
            f"missing = {{ {column.name} = … }}",
        )
    nothing_at_all = np.nan if column.type in ("number", "integer") else None
    if empty.all():
        return pd.Series(nothing_at_all, index=cells.index, dtype=object)
    values: dict[Any, Any] = {}
    wrong: dict[tuple[str, str], list] = {}
    given = zip(cells.index[~empty], compress(held, ~empty), strict=True)
    for row, cell in given:
        value, complaint = _READERS[column.type](cell)
        if column.unit == "m" and complaint is not None and (own := metres_in(cell)) is not None:
            value, complaint = own / factor, None  # its own unit goes before that of the column
        if column.name == "storeys":
            value, complaint = _count_storeys(row, value, complaint, cell, findings)
            if value is None and complaint is None:
                continue
        nothing = value in SENTINELS or (value == 0.0 and column.name == "height_m")
        if may_lack and complaint is None and nothing:
            findings.mended([row], f"{column.name} {value:g} taken as not known")
            continue
        if complaint is None and column.type in ("number", "integer"):
            complaint = _check_range(value, factor, column, contract, unit)
            value = value * factor
        elif complaint is None and column.choices:
            value = value.lower()
            if value not in column.choices:
                complaint = (
                    f"'{cell}' is not a known {column.name}",
                    f"Write one of {', '.join(column.choices)}",
                )
        if complaint is None:
            values[row] = value
        else:
            wrong.setdefault(complaint, []).append(row)
    for (what, remedy), rows in wrong.items():
        findings.refused(rows, what, remedy)
    return pd.Series(
        [values.get(row, nothing_at_all) for row in cells.index], index=cells.index, dtype=object
    )


def _count_storeys(row: int, value, complaint, cell: object, findings: Findings):
    """Count a storey under the roof as one, and none as not known; told by row."""
    number, no_number = _read_number(cell)
    if no_number is None and number > 0.0 and complaint is not None:
        value, complaint = float(math.ceil(number)), None
        findings.mended([row], f"{number:g} storeys counted as {value:g}")
    elif complaint is None and value == 0.0:
        value = None
        findings.mended([row], "no storey above the ground: the number is left out")
    return value, complaint


def _factor(column: Column, unit: str | None, layer: str) -> float:
    """Give the factor from the user's unit to the contract's."""
    key = f"layers.{layer}.units.{column.name}"
    if unit is None:
        return 1.0
    if column.unit == "m":
        return metres_per(unit, key=key)
    if column.unit == "km/h" and unit.strip().lower() in ("mph", "mi/h"):
        return KMH_PER_MPH
    if unit.strip().lower() in (column.unit, {"km/h": "kmh"}.get(column.unit)):
        return 1.0
    raise InputError(
        Problem(
            f"'{unit}' is not a unit for {column.name}",
            f"Convert the column to {column.unit} and leave the unit out"
            if column.unit
            else "Leave the unit out, the column has none",
            key=key,
        )
    )


def _check_range(
    value: float, factor: float, column: Column, contract: Contract, unit: str | None
) -> tuple[str, str] | None:
    low, high = column.low, column.high
    if column.unit == "m" and low is None and high is None:
        low, high = LOWEST_GROUND_M, HIGHEST_GROUND_M
    converted = value * factor
    outside = (low is not None and converted < low) or (high is not None and converted > high)
    none_at_all = column.name == "height_m" and contract.name in STANDING and converted == 0.0
    if not outside and not none_at_all:
        return None
    said = f"{value:g} {unit or column.unit}".strip()
    if value in SENTINELS:
        return (
            f"The {column.name} {said} looks like a mark for 'not known'",
            "Leave the cell empty, or fill in what was measured; with missing = "
            f"{{ {column.name} = … }} such rows get that value",
        )
    if none_at_all:
        return (
            f"The {column.name} is 0, so nothing stands there",
            "Leave the cell empty if the height is not known, or delete these rows; with missing = "
            f"{{ {column.name} = … }} such rows get that value",
        )
    limits = " and ".join(
        f"{word} {limit / factor:g}" for word, limit in (("at least", low), ("at most", high))
        if limit is not None
    )  # fmt: skip
    return (
        f"The {column.name} {said} is not possible; it must be {limits} {unit or column.unit}".strip(),
        "Correct the value or its unit",
    )


def _is_empty(cell: object) -> bool:
    if isinstance(cell, str):
        return not cell.strip()
    return cell is None or bool(pd.isna(cell))


def _read_text(cell: object):
    return to_text(cell), None


def _read_number(cell: Any):
    if isinstance(cell, (bool, np.bool_)):
        return None, (f"'{cell}' is not a number", "Write a number")
    try:
        value = float(cell)
    except (TypeError, ValueError):
        comma = isinstance(cell, str) and cell.count(",") == 1 and "." not in cell
        return None, (
            f"'{cell}' is not a number",
            "Write it with a decimal point"
            if comma
            else "Write a number without its unit, or leave the cell empty",
        )
    if not math.isfinite(value):
        return None, (f"'{cell}' is not a finite number", "Write what was measured")
    return value, None


def _read_integer(cell: object):
    value, complaint = _read_number(cell)
    if complaint is None and not value.is_integer():
        return None, (f"'{cell}' is not a whole number", "Write a whole number")
    return value, complaint


def _read_boolean(cell: object):
    word = (str(cell) if isinstance(cell, (bool, np.bool_)) else to_text(cell) or "").lower()
    if word in _TRUE:
        return True, None
    if word in _FALSE:
        return False, None
    return None, (f"'{cell}' is neither true nor false", "Write true or false")


def _read_date(cell: object):
    if isinstance(cell, (dt.date, pd.Timestamp)):
        return cell.strftime("%Y-%m-%d"), None
    text = (to_text(cell) or "").split("+")[0].removesuffix("Z")
    for pattern in _DAYS:
        try:
            return dt.datetime.strptime(text, pattern).date().isoformat(), None
        except ValueError:
            continue
    return None, (f"'{cell}' is not a date", "Write the day as YYYY-MM-DD")


_READERS: dict[str, Callable[[Any], tuple[Any, tuple[str, str] | None]]] = {
    "text": _read_text,
    "number": _read_number,
    "integer": _read_integer,
    "boolean": _read_boolean,
    "date": _read_date,
}
