"""Hold a layer against its contract and lay out its values as they are written.

Every writer goes through `conform`, so the GeoJSON, the GeoPackage and the CSV of one layer hold
the same values in the same order.
"""

from __future__ import annotations

import datetime as dt
import math
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any

import geopandas
import numpy as np
import pandas as pd
import shapely

from screenplan.contracts import LOT, Column, Contract
from screenplan.ground.errors import InputError, Problem, refuse
from screenplan.outputs.valid import valid_polygons

#: Decimals of every number written: a micrometre, below any measurement and above rounding noise.
NUMBER_DECIMALS = 6
#: Up to here the micrometres of a number are a whole number below 2^53, so that many can be rounded
#: at once and still be those of the fewest digits.
_LARGEST_ROUNDED = 9e9
#: GDAL's and SQLite's integers end here.
LARGEST_INTEGER = 2**63 - 1


@dataclass(frozen=True)
class Layout:
    """The values of one layer, ready to be written.

    Parameters
    ----------
    contract : Contract
        What the layer is.
    columns : tuple of (str, Column)
        Names as written (per-year columns expanded, in order of years) and what they mean.
    values : dict of str to list
        Plain Python values by column name; None where there is no value.
    geometries : list of shapely geometry or None, or None
        Two-dimensional; None for a table. An empty geometry counts as none.
    """

    contract: Contract
    columns: tuple[tuple[str, Column], ...]
    values: dict[str, list]
    geometries: list | None

    def __len__(self) -> int:
        first = next(iter(self.values.values()), self.geometries or [])
        return len(first)

    def rows(self) -> Iterable[dict]:
        """Give each row as a dict of its columns, without the geometry."""
        names = [name for name, _ in self.columns]
        for row in zip(*(self.values[name] for name in names), strict=True):
            yield dict(zip(names, row, strict=True))


def expand_columns(contract: Contract, names: Iterable[str]) -> tuple[tuple[str, Column], ...]:
    """Give the contract's columns as they are named in a layer.

    Parameters
    ----------
    contract : Contract
        The layer's contract.
    names : iterable of str
        The layer's column names; they only decide which per-year columns there are, and
        whether rows name their lot.

    Returns
    -------
    tuple of (str, Column)
        In the contract's order, per-year columns in order of years; last the lot, where the layer has it.
    """
    names = list(names)
    expanded: list[tuple[str, Column]] = []
    for column in contract.columns:
        if not column.per_year:
            expanded.append((column.name, column))
            continue
        pattern = re.compile(rf"{re.escape(column.name)}_y(\d{{2,}})")
        years = [(int(match[1]), name) for name in names if (match := pattern.fullmatch(name))]
        expanded.extend((name, column) for _, name in sorted(years))
    if LOT.name in names:
        expanded.append((LOT.name, LOT))
    return tuple(expanded)


def conform(frame: pd.DataFrame, contract: Contract) -> Layout:
    """Check a layer against its contract and give its values as plain Python.

    Numbers are rounded to `NUMBER_DECIMALS`; a missing value of any kind (None, NaN, NaT, NA)
    becomes None; heights in the geometries are left out, since they stand in columns.

    Parameters
    ----------
    frame : GeoDataFrame or DataFrame
        The layer, or the table if the contract has no geometry. Column order does not matter.
    contract : Contract
        What it must be.

    Returns
    -------
    Layout
        The values in the contract's order.

    Raises
    ------
    InputError
        If columns are missing or too many, a geometry is of the wrong type, or a value has the
        wrong type, is not finite, is out of range, or is missing where one is required.
    """
    columns = _check_columns(frame, contract)
    geometries = _lay_geometries(frame.geometry.array, contract) if contract.geometry else None
    problems: list[Problem] = []
    values = {}
    for name, column in columns:
        cells, problem = _lay_values(frame[name], name, column, contract)
        values[name] = cells
        if problem:
            problems.append(problem)
    if problems:
        raise InputError(problems)
    return Layout(contract, columns, values, geometries)


def _check_columns(frame: pd.DataFrame, contract: Contract) -> tuple[tuple[str, Column], ...]:
    spatial = isinstance(frame, geopandas.GeoDataFrame)
    if contract.geometry and not spatial:
        raise refuse("It has no geometry column", "Hand in a GeoDataFrame", layer=contract.name)
    if not contract.geometry and spatial:
        raise refuse(
            "It is a table and must not have a geometry column",
            "Hand in a DataFrame without one",
            layer=contract.name,
        )
    names = [name for name in frame.columns if not spatial or name != frame.geometry.name]
    columns = expand_columns(contract, names)
    expected = [name for name, _ in columns]
    missing = [name for name in expected if name not in names]
    extra = [str(name) for name in names if name not in expected]
    twice = sorted({str(name) for name in names if names.count(name) > 1})
    if missing:
        raise refuse(f"Column {', '.join(missing)} is missing", "Add it", layer=contract.name)
    if extra:
        raise refuse(
            f"Column {', '.join(extra)} is not in the layer's contract",
            "Leave it out, or add it to the contract",
            layer=contract.name,
        )
    if twice:
        raise refuse(
            f"Column {', '.join(twice)} stands there twice", "Keep one", layer=contract.name
        )
    return columns


def place(layout: Layout, geometries: Iterable) -> Layout:
    """Give the same rows with other geometries: the layer in another reference system.

    Parameters
    ----------
    layout : Layout
        A layer that keeps its contract.
    geometries : sequence of shapely geometry or None
        One a row.

    Returns
    -------
    Layout

    Raises
    ------
    InputError
        If a geometry is of the wrong type or is not finite.
    """
    return replace(layout, geometries=_lay_geometries(geometries, layout.contract))


def _lay_geometries(geometries: Iterable, contract: Contract) -> list:
    geometries = np.asarray(geometries, dtype=object)
    absent = shapely.is_missing(geometries) | shapely.is_empty(geometries)
    allowed = np.isin(
        shapely.get_type_id(geometries), [_TYPE_IDS[kind] for kind in contract.geometry]
    )
    wrong = np.flatnonzero(~absent & ~allowed)
    if len(wrong):
        raise refuse(
            f"Geometry is a {geometries[wrong[0]].geom_type}",
            f"Give {' or '.join(contract.geometry)}",
            layer=contract.name,
            rows=[int(row) + 1 for row in wrong],
        )
    flat = shapely.force_2d(geometries)
    flat[absent] = None
    xy, owner = shapely.get_coordinates(flat, return_index=True)
    broken = np.unique(owner[~np.isfinite(xy).all(axis=1)])
    if len(broken):
        raise refuse(
            "Geometry has a coordinate that is not finite",
            "Check the coordinate reference system",
            layer=contract.name,
            rows=[int(row) + 1 for row in broken],
        )
    return valid_polygons(flat, multi="MultiPolygon" in contract.geometry).tolist()


#: Shapely's own numbers of the types that a contract can name.
_TYPE_IDS = {
    "Point": 0,
    "LineString": 1,
    "Polygon": 3,
    "MultiPoint": 4,
    "MultiLineString": 5,
    "MultiPolygon": 6,
}


def _lay_values(
    series: pd.Series, name: str, column: Column, contract: Contract
) -> tuple[list, Problem | None]:
    at_once = _lay_at_once(series, column)
    if at_once is not None:
        return at_once, None
    convert = _CONVERT[column.type]
    cells: list = []
    wrong: dict[str, list[int]] = {}
    for row, value in enumerate(series.tolist(), start=1):
        fault = None
        cell = None
        if _is_missing(value):
            fault = "has no value" if column.required else None
        else:
            try:
                cell = convert(value)
            except (TypeError, ValueError) as error:
                fault = f"holds {value!r}, which {error}"
            else:
                fault = _outside(cell, column)
        cells.append(cell)
        if fault:
            wrong.setdefault(fault, []).append(row)
    if not wrong:
        return cells, None
    fault = next(iter(wrong))
    rows = sorted(row for rows in wrong.values() for row in rows)
    also = f" (and {len(wrong) - 1} other faults)" if len(wrong) > 1 else ""
    return cells, Problem(
        f"Column {name} {fault}{also}",
        f"Give {_describe(column)}",
        layer=contract.name,
        rows=rows,
    )


def _lay_at_once(series: pd.Series, column: Column) -> list | None:
    """Lay a whole column out at once; None where it takes a look at each value."""
    missing = series.isna().to_numpy(dtype=bool)
    if missing.any() and column.required:
        return None
    if column.type == "number" and series.dtype == np.float64:
        cells = series.to_numpy()
        known = cells[~missing]
        if not (np.abs(known) < _LARGEST_ROUNDED).all() or _any_outside(known, column):
            return None
        # Adding zero turns -0.0 into 0.0.
        cells = (np.round(cells, NUMBER_DECIMALS) + 0.0).astype(object)
    elif column.type == "text":
        cells = series.to_numpy(dtype=object, copy=True)
        known = cells[~missing].tolist()
        if not set(map(type, known)) <= {str}:
            return None
        if column.choices and not set(known) <= set(column.choices):
            return None
        together = "".join(known)
        if "\0" in together or not _is_utf8(together):
            return None
    else:
        return None
    cells[missing] = None
    return cells.tolist()


def _any_outside(values: np.ndarray, column: Column) -> bool:
    rounded = np.round(values, NUMBER_DECIMALS)
    return bool(
        (column.choices and not np.isin(rounded, column.choices).all())
        or (column.low is not None and (rounded < column.low).any())
        or (column.high is not None and (rounded > column.high).any())
    )


def _is_utf8(text: str) -> bool:
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True


def _is_missing(value: object) -> bool:
    return value is None or value is pd.NA or value is pd.NaT or value != value


def _outside(cell: Any, column: Column) -> str | None:
    if column.choices and cell not in column.choices:
        return f"holds {cell!r}"
    if column.low is not None and cell < column.low:
        return f"holds {cell!r}, which is below {column.low:g}"
    if column.high is not None and cell > column.high:
        return f"holds {cell!r}, which is above {column.high:g}"
    return None


def _describe(column: Column) -> str:
    if column.choices:
        return f"one of {', '.join(column.choices)}"
    article = "an" if column.type == "integer" else "a"
    words = f"{article} {column.type} value"
    if column.low is not None and column.high is not None:
        return f"{words} from {column.low:g} to {column.high:g}"
    if column.low is not None:
        return f"{words} of at least {column.low:g}"
    return words


def _to_text(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError("is not text")
    if "\0" in value:
        raise ValueError("holds a NUL character, at which other programs stop reading")
    try:
        value.encode("utf-8")
    except UnicodeEncodeError:
        raise ValueError("cannot be written as UTF-8") from None
    return str(value)


def _to_number(value: Any) -> float:
    if isinstance(value, (bool, np.bool_, str)):
        raise TypeError("is not a number")
    number = float(value)
    if not math.isfinite(number):
        raise ValueError("is not finite")
    # Adding zero turns -0.0 into 0.0.
    return round(number, NUMBER_DECIMALS) + 0.0


def _to_integer(value: Any) -> int:
    if isinstance(value, (bool, np.bool_, str)):
        raise TypeError("is not an integer")
    number = int(value)
    if number != value:
        raise ValueError("is not an integer")
    if abs(number) > LARGEST_INTEGER:
        raise ValueError("is too large an integer")
    return number


def _to_boolean(value: object) -> bool:
    if not isinstance(value, (bool, np.bool_)):
        raise TypeError("is neither true nor false")
    return bool(value)


def _to_date(value: object) -> str:
    if isinstance(value, dt.datetime):  # pandas.Timestamp is one
        return value.date().isoformat()
    if isinstance(value, dt.date):
        return value.isoformat()
    if not isinstance(value, str):
        raise TypeError("is not a date")
    try:
        return dt.date.fromisoformat(value).isoformat()
    except ValueError:
        raise ValueError("is not a date such as 2026-03-21") from None


_CONVERT: dict[str, Callable[[object], object]] = {
    "text": _to_text,
    "number": _to_number,
    "integer": _to_integer,
    "boolean": _to_boolean,
    "date": _to_date,
}
