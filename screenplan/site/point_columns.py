"""Which two columns of a table give points."""

from __future__ import annotations

from collections.abc import Sequence

#: Columns east and north, and whether they are degrees.
PAIRS = (
    ("lon", "lat", True),
    ("longitude", "latitude", True),
    ("x", "y", False),
    ("east", "north", False),
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
