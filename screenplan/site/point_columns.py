"""Which two columns of a table give points, or which one gives shapes."""

from __future__ import annotations

import re
from collections.abc import Sequence

#: Columns east and north, and whether they are degrees.
PAIRS = (
    ("lon", "lat", True),
    ("longitude", "latitude", True),
    ("x", "y", False),
    ("east", "north", False),
    ("easting", "northing", False),
)
#: Columns that hold shapes as text, as open data portals and databases write them.
SHAPES = ("the_geom", "geom", "wkt", "wkt_geom", "geometry", "geom_wkt", "geometry_wkt", "_wkt")
#: How a shape begins as well-known text.
_WELL_KNOWN = re.compile(
    r"\s*(SRID=\d+;\s*)?(MULTI)?(POINT|LINESTRING|POLYGON|GEOMETRYCOLLECTION)\b", re.IGNORECASE
)


def find_point_columns(names: Sequence[str]) -> tuple[str, str, bool] | None:
    """Find the columns east and north, and whether they are in degrees; None if there are none.

    Examples
    --------
    >>> find_point_columns(["name", "Lon", "Lat"])
    ('Lon', 'Lat', True)
    """
    lower = {name.strip().lower(): name for name in names}
    for east, north, degrees in PAIRS:
        if east in lower and north in lower:
            return lower[east], lower[north], degrees
    return None


def find_shape_column(names: Sequence[str], first_row: Sequence[str]) -> str | None:
    """Find the column that holds shapes as well-known text, by its name and its first cell; None if none does.

    Examples
    --------
    >>> find_shape_column(["APN", "the_geom"], ["7", "POLYGON ((0 0, 1 0, 1 1, 0 0))"])
    'the_geom'
    """
    for name, cell in zip(names, first_row, strict=False):
        if name.strip().lower() in SHAPES and _WELL_KNOWN.match(cell):
            return name
    return None
