"""Rows to tables by contract: the columns, their order and their types."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, TypeGuard

import geopandas as gpd
import numpy as np
import pandas as pd
from geopandas.array import from_shapely

from screenplan.contracts import Contract
from screenplan.contracts.model import ColumnType
from screenplan.ground.said import said

#: Nullable types throughout, so that an empty integer stays an integer and not a decimal.
DTYPES = {
    # Held by Python, so that a text keeps the quantities that it carries.
    "text": pd.StringDtype("python"),
    "number": "float64",
    "integer": "Int64",
    "boolean": "boolean",
    "date": "string",
}


def table_of(
    contract: Contract, records: Iterable[Mapping[str, Any]], years: Sequence[int] = ()
) -> pd.DataFrame:
    """Make a table by a contract.

    Parameters
    ----------
    contract : Contract
    records : iterable of mapping
        One mapping a row; a column that a row leaves out is empty.
    years : sequence of int, optional
        Those for which the table has columns.

    Returns
    -------
    DataFrame
        Exactly the contract's columns, in order and in its types.
    """
    return pd.DataFrame(_typed(contract, _columns_of(contract, records, years)))


def table_of_columns(
    contract: Contract, columns: Mapping[str, Any], years: Sequence[int] = ()
) -> pd.DataFrame:
    """Make a table by a contract, from a sequence for each column; see `table_of`."""
    return pd.DataFrame(_typed(contract, {name: columns[name] for name in contract.names(years)}))


def layer_of(
    contract: Contract,
    records: Iterable[Mapping[str, Any]],
    geometry,
    crs,
    years: Sequence[int] = (),
) -> gpd.GeoDataFrame:
    """Make a layer by a contract: `table_of` with a geometry for each row."""
    return _layer(_typed(contract, _columns_of(contract, records, years)), geometry, crs)


def layer_of_columns(
    contract: Contract, columns: Mapping[str, Sequence[Any]], geometry, crs
) -> gpd.GeoDataFrame:
    """Make a layer by a contract from a sequence for each column; one that is left out is empty.

    Columns for years come last, in the order in which they are given; a later step may add them too.
    """
    geometry = list(geometry)
    years = {name: some for name, some in columns.items() if contract.column(name).per_year}
    whole = {name: columns[name] for name in contract.names() if name in columns}
    typed = _typed(contract, whole | years)
    ordered = {
        name: typed[name] if name in typed else _empty(contract.column(name).type, len(geometry))
        for name in contract.names()
    }
    return _layer(ordered | typed, geometry, crs)


def _columns_of(
    contract: Contract, records: Iterable[Mapping[str, Any]], years: Sequence[int]
) -> dict[str, list]:
    records = list(records)
    return {name: [row.get(name) for row in records] for name in contract.names(years)}


def _layer(columns: dict[str, Any], geometry, crs) -> gpd.GeoDataFrame:
    shapes = from_shapely(np.array([*geometry, None], dtype=object)[:-1], crs=crs)
    layer = pd.DataFrame({**columns, "geometry": shapes})
    # Declared to be what it is, as geopandas does: its constructor would set the geometry once more, in three times
    # the time, which most layers of a parcel, of a few rows each, took.
    layer.__class__ = gpd.GeoDataFrame
    layer._geometry_column_name = "geometry"
    return layer


def _typed(contract: Contract, columns: Mapping[str, Any]) -> dict[str, Any]:
    """Give columns as arrays of the contract's types."""
    return {name: _array(contract.column(name).type, values) for name, values in columns.items()}


def _array(kind: ColumnType, values: Any):
    if kind == "number":
        return np.array(values if isinstance(values, np.ndarray) else list(values), dtype=float)
    if kind == "text" and _tells_quantities(values):
        values = list(map(said, values))
    return pd.array(values if isinstance(values, np.ndarray) else list(values), DTYPES[kind])


def _tells_quantities(texts: Any) -> bool:
    """Tell whether any of some texts may hold a quantity; looked for in all at once, as most columns hold none."""
    texts = texts.tolist() if isinstance(texts, np.ndarray) else list(texts)
    try:
        return "{" in "".join(texts)
    except TypeError:  # some are empty
        return "{" in "".join([text for text in texts if isinstance(text, str)])


def _empty(kind: ColumnType, rows: int):
    return (
        pd.array([None], DTYPES[kind]).repeat(rows) if kind != "number" else np.full(rows, np.nan)
    )


def give_types(table: pd.DataFrame, contract: Contract) -> pd.DataFrame:
    """Give a table that was read from a file its contract's types; changes it, and gives it back."""
    for column in contract.columns:
        if column.name in table.columns:
            table[column.name] = table[column.name].astype(DTYPES[column.type])
    return table


def numbers(layer: pd.DataFrame, name: str, default: float) -> np.ndarray:
    """Column of a layer as floats, with a default where it or a value is missing."""
    if name not in layer.columns:
        return np.full(len(layer), float(default))
    column = layer[name]
    # A column of plain floats, as most are, needs no detour by a nullable type.
    nullable = column if column.dtype == float else column.astype("Float64")
    values = nullable.to_numpy(dtype=float, na_value=np.nan)
    return np.where(np.isnan(values), default, values)


def texts(layer: pd.DataFrame, name: str, default: str = "") -> list[str]:
    """Column of a layer as text, with a default where it or a value is missing."""
    if name not in layer.columns:
        return [default] * len(layer)
    values = layer[name].to_numpy(dtype=object)
    empty = pd.isna(values)
    if not empty.any():
        return list(map(str, values.tolist()))
    return [default if lacks else str(value) for lacks, value in zip(empty, values, strict=True)]


def identifiers(layer: pd.DataFrame, key: str) -> list[str]:
    """Give the identifiers of a layer's rows as text; their numbers from 1 where none are given."""
    return [name or str(row) for row, name in enumerate(texts(layer, key), 1)]


def has_rows(layer: pd.DataFrame | None) -> TypeGuard[pd.DataFrame]:
    """Tell whether a layer is there and holds something."""
    return layer is not None and len(layer) > 0


def records_of(layer: pd.DataFrame | None) -> list[dict[str, Any]]:
    """Give the rows of a layer or table without their geometry; none of a layer that is not there."""
    return [] if layer is None else layer.drop(columns="geometry", errors="ignore").to_dict("records")  # fmt: skip


def with_notes(layer: pd.DataFrame, notes: Iterable[str]) -> pd.DataFrame:
    """Put what a person should know about a layer into its ``attrs``; gives the same layer."""
    layer.attrs["notes"] = tuple(map(said, notes))
    return layer


def notes_of(layer: pd.DataFrame) -> tuple[str, ...]:
    """Give the notes of a layer."""
    return tuple(layer.attrs.get("notes", ()))
