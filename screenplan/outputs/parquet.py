"""Layers as GeoParquet files, with a box for each row.

Version 1.1 of the format (https://geoparquet.org/releases/v1.1.0/): geometries as well-known binary, and a column
``bbox`` with the bounds of each, whose statistics tell which groups of rows a box may meet. So nobody reads a whole
county to plan a few parcels of it.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from screenplan.ground.extras import need
from screenplan.outputs.conform import Layout, conform
from screenplan.outputs.losses import Translation, WrittenColumn, column_of
from screenplan.outputs.vector import check_arrival, explain_failure

VERSION = "1.1.0"
GEOMETRY, BOX = "geometry", "bbox"
EDGES = ("xmin", "ymin", "xmax", "ymax")
#: Rows of a group: a box of a few hundred metres meets few groups, and a file has not too many of them.
GROUP_ROWS = 1024


GEOPARQUET_LOSSES = (
    "There are no styles.",
    "What the columns mean, and their units, stand in columns.csv.",
    "Each layer has a column bbox besides its own, the bounds of each row, by which programs find rows fast.",
)


def geo_text(crs: CRS | None, kinds: Sequence[str] = ()) -> bytes:
    """Give the entry ``geo`` of a file's metadata."""
    column = {
        "encoding": "WKB",
        "geometry_types": sorted(kinds),
        "crs": None if crs is None else json.loads(crs.to_json()),
        "covering": {BOX: {edge: [BOX, edge] for edge in EDGES}},
    }
    about = {"version": VERSION, "primary_column": GEOMETRY, "columns": {GEOMETRY: column}}
    return json.dumps(about).encode()


def with_boxes(columns: dict, shapes: np.ndarray):
    """Make an arrow table of columns and geometries, each with its box; a row without geometry has none."""
    pa = need("pyarrow")
    bounds = shapely.bounds(shapes).reshape(-1, 4)
    boxes = pa.StructArray.from_arrays(
        [pa.array(edge, pa.float64()) for edge in bounds.T],
        names=list(EDGES),
        mask=pa.array(np.isnan(bounds).any(axis=1)),
    )
    written = pa.array(shapely.to_wkb(shapes).tolist(), pa.binary())
    return pa.table({**columns, GEOMETRY: written, BOX: boxes})


def write_layer(frame: pd.DataFrame, path: Path, contract) -> int:
    """Write a layer or table by its contract as one GeoParquet (or Parquet) file.

    Parameters
    ----------
    frame : GeoDataFrame or DataFrame
    path : Path
        Made anew; it appears whole.
    contract : Contract

    Returns
    -------
    int
        Number of rows.

    Raises
    ------
    InputError
        If the layer breaks its contract.
    """
    layout = conform(frame, contract)
    beside = path.with_name(f".{path.name}~")
    _write(layout, beside, None if layout.geometries is None else CRS(frame.crs))
    beside.replace(path)
    return len(layout)


def write_geoparquets(layouts: list[Layout], folder: Path, crs: CRS) -> Translation:
    """Write one GeoParquet file for each layer.

    Raises
    ------
    InputError
        If pyarrow is not installed, or a file cannot be written whole.
    """
    rows: dict[Path, dict[str, int]] = {}
    columns: list[WrittenColumn] = []
    for layout in layouts:
        name, path = layout.contract.name, folder / f"{layout.contract.name}.parquet"
        with explain_failure(path, name):
            _write(layout, path, crs)
            told = need("pyarrow.parquet").read_schema(path)
            # Read whole, as a full disk takes the end of a file.
            arrived = need("pyarrow.parquet").read_table(path, columns=[GEOMETRY]).num_rows
        check_arrival(layout, arrived, path, told.names)
        columns += [
            column_of(name, path.name, label, column, layout.values[label], label)
            for label, column in layout.columns
        ]
        rows[path] = {name: len(layout)}
    return Translation(rows, tuple(columns), GEOPARQUET_LOSSES)


def _write(layout: Layout, path: Path, crs: CRS | None) -> None:
    pa, pq = need("pyarrow"), need("pyarrow.parquet")
    kinds = {"text": pa.string(), "number": pa.float64(), "integer": pa.int64(), "boolean": pa.bool_(), "date": pa.date32()}  # fmt: skip
    columns = {
        name: pa.array(_cells(layout.values[name], column.type), kinds[column.type])
        for name, column in layout.columns
    }
    if layout.geometries is None:
        table = pa.table(columns)
    else:
        shapes = np.array(layout.geometries, dtype=object)
        table = with_boxes(columns, shapes)
        types = {shape.geom_type for shape in shapes if shape is not None}
        table = table.replace_schema_metadata({b"geo": geo_text(crs, tuple(types))})
    pq.write_table(table, path, row_group_size=GROUP_ROWS, compression="zstd")


def _cells(values: list, kind: str):
    if kind == "date":
        return np.array(values, dtype="datetime64[D]")
    if kind == "text":
        return [None if value is None else str(value) for value in values]
    return values
