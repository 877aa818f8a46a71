"""Made-up layers for the tests of what is written: one for every contract, awkward values included."""

from __future__ import annotations

import geopandas
import pandas as pd
from shapely.affinity import scale, translate
from shapely.geometry import (
    LineString,
    MultiLineString,
    MultiPoint,
    MultiPolygon,
    Point,
    Polygon,
    box,
)

#: Texts that a format, a spreadsheet or a driver might take for something else.
TEXTS = ("Zaun \u2265 3 m, \u00fcber \u6f22\u5b57", "the \"old\" gate, east; 'south'", "[1, 2]")
YEARS = (0, 5, 20)

#: About 10 units across, around the origin; the ring of the polygon runs clockwise on purpose.
SHAPES = {
    "Point": Point(1, 2),
    "MultiPoint": MultiPoint([(1, 2), (3, 4)]),
    "LineString": LineString([(0, 0), (5, 1), (9, 7)]),
    "MultiLineString": MultiLineString([[(0, 0), (4, 1)], [(5, 1), (9, 7)]]),
    "Polygon": Polygon([(0, 0), (0, 10), (10, 10), (10, 0)], [[(2, 2), (4, 2), (4, 4), (2, 4)]]),
    "MultiPolygon": MultiPolygon([box(0, 0, 4, 4), box(6, 6, 9, 9)]),
}


def make_layer(contract, crs=None, *, rows=3, origin=(0.0, 0.0), unit=1.0):
    """Fill a contract with ``rows`` valid rows; every second one leaves out what may be left out."""
    columns = {}
    for column in contract.columns:
        names = [f"{column.name}_y{y:02d}" for y in YEARS] if column.per_year else [column.name]
        for name in names:
            columns[name] = pd.Series(
                [_make_value(column, row) for row in range(rows)], dtype=_DTYPES[column.type]
            )
    if not contract.geometry:
        return pd.DataFrame(columns)
    shapes = []
    for row in range(rows):
        shape = SHAPES[contract.geometry[row % len(contract.geometry)]]
        shape = scale(shape, unit, unit, origin=(0, 0))
        shapes.append(translate(shape, origin[0] + 12 * unit * row, origin[1]))
    return geopandas.GeoDataFrame(columns, geometry=shapes, crs=crs)


def make_all(contracts, crs=None, **options):
    return {name: make_layer(contract, crs, **options) for name, contract in contracts.items()}


_DTYPES = {
    "text": "object",
    "number": "float64",
    "integer": "Int64",
    "boolean": "boolean",
    "date": "object",
}


def _make_value(column, row):
    if row % 2 and not column.required:
        return None
    if column.choices:
        return column.choices[row % len(column.choices)]
    if column.type == "text":
        return TEXTS[row % len(TEXTS)]
    if column.type == "boolean":
        return row % 3 == 0
    if column.type == "date":
        return f"2026-03-{row + 1:02d}"
    low = column.low or 0.0
    high = low + 10.0 if column.high is None else column.high
    if column.type == "integer":
        return int(low) + row
    return low + (high - low) / (row + 3)
