"""Giving a layer exactly the columns of its contract."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd

from screenplan.contracts import Contract

_DTYPES = {
    "text": "object",
    "date": "object",
    "number": "float64",
    "integer": "int64",
    "boolean": "bool",
}


def shape_layer(contract: Contract, columns: dict, geometry, crs) -> gpd.GeoDataFrame:
    """Build a layer with the columns of its contract, in their order and of their types.

    Parameters
    ----------
    contract : Contract
        The layer's contract; per-year columns are not looked for.
    columns : dict of str to sequence
        One sequence for each column; one that is left out is filled by a later step, and is NaN.
    geometry : sequence of geometries
        One for each row.
    crs : object
        Passed on as it is.
    """
    frame = pd.DataFrame(
        {
            column.name: pd.Series(
                list(columns.get(column.name, [np.nan] * len(geometry))), dtype="object"
            )
            for column in contract.columns
            if not column.per_year
        }
    )
    for column in contract.columns:
        if not column.per_year:
            frame[column.name] = frame[column.name].astype(_DTYPES[column.type])
    return gpd.GeoDataFrame(frame, geometry=gpd.GeoSeries(list(geometry), crs=crs), crs=crs)


def column_or(frame: pd.DataFrame, name: str, default=None) -> np.ndarray:
    """Give a column's values as objects, with a default where it is missing or empty."""
    if name not in frame:
        return np.full(len(frame), default, dtype=object)
    values = frame[name].to_numpy(dtype=object).copy()
    values[pd.isna(values)] = default
    return values
