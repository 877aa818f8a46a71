"""Drives across a parcel, as the ground that stays open to drive on."""

from __future__ import annotations

import pandas as pd
import shapely

from screenplan.contracts.tables import has_rows, texts

#: Kinds of keep-outs on which one drives.
DRIVES = ("driveway", "drive")
#: A drive given as a line is taken so wide (common practice, no source).
DRIVE_WIDTH_M = 3.0


def drives_of(keep_outs: pd.DataFrame | None) -> dict[int, shapely.Geometry]:
    """Give the ground of each drive, by the place of its row; a point is none.

    Parameters
    ----------
    keep_outs : GeoDataFrame or None

    Examples
    --------
    >>> import geopandas as gpd
    >>> lines = [shapely.LineString([(5, 0), (5, 8)]), shapely.LineString([(0, 0), (9, 0)])]
    >>> drives_of(gpd.GeoDataFrame({"kind": ["Drive", "pond"]}, geometry=lines))[0].area
    24.0
    """
    if not has_rows(keep_outs):
        return {}
    found = {}
    for row, (kind, shape) in enumerate(zip(texts(keep_outs, "kind"), keep_outs.geometry, strict=True)):  # fmt: skip
        if kind.strip().lower() not in DRIVES or shape.geom_type.endswith("Point"):
            continue
        wide = DRIVE_WIDTH_M / 2.0
        found[row] = shape if shape.area else shapely.buffer(shape, wide, cap_style="flat")
    return found
