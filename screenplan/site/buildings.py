"""What a building's row leaves out, found from the rest of the site."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np

from screenplan.site.columns import to_text
from screenplan.site.composed import cells_of, is_held
from screenplan.site.repair import Findings
from screenplan.site.terrain import Terrain


def fill_heights(
    buildings: gpd.GeoDataFrame, storey_height_m: float, findings: Findings
) -> gpd.GeoDataFrame:
    """Height of the eaves from the number of storeys, where no height is given.

    height = storeys × storey height, floor to floor: the eaves lie about where the next floor
    would (common practice, no source). A building with neither is refused: how tall it is decides
    which views exist, and no default is safe.
    """
    height = buildings["height_m"].astype(float)
    storeys = buildings["storeys"].astype(float)
    guessed = height.isna() & storeys.notna()
    for count in sorted(set(storeys[guessed])):
        findings.mended_among(
            buildings.index,
            (guessed & (storeys == count)).to_numpy(),
            f"height {{{count * storey_height_m:.1f} m}} taken from {count:.0f} storeys of {{{storey_height_m:g} m}}",
        )
    unknown = height.isna() & storeys.isna()
    if unknown.any():
        findings.refused(
            () if unknown.all() else buildings.index[unknown],
            "No building has a height or a number of storeys"
            if unknown.all()
            else "The building has neither a height nor a number of storeys",
            "Fill in height_m or storeys, or name the columns that hold them in "
            "layers.buildings.columns. Or give a value for rows that lack one: missing = { storeys = 2 }, "
            "or for every row: fixed = { storeys = 2 }",
            key=None if unknown.all() else "layers.buildings.missing",
        )
    return buildings.assign(height_m=height.where(~guessed, storeys * storey_height_m))


def leave_out_floorless(
    frame: gpd.GeoDataFrame, columns: Mapping[str, str], findings: Findings
) -> gpd.GeoDataFrame:
    """Leave out what has no floor above the ground: a row of 0 storeys and without a height.

    Parameters
    ----------
    frame : GeoDataFrame
        As read, indexed by row number.
    columns : mapping
        As in `LayerSource`.
    findings : Findings
        Where it is told by row.
    """
    none = np.ones(len(frame), dtype=bool)
    for name in ("storeys", "height_m"):
        theirs = columns.get(name, name)
        held = is_held(theirs, frame.columns)
        texts = [to_text(cell) for cell in cells_of(frame, theirs)] if held else [None] * len(frame)
        zero = [_is_zero(text) or (text is None and name == "height_m") for text in texts]
        none &= np.array(zero, bool)
    findings.mended(frame.index[none], "no floor above the ground: row left out")
    return frame[~none]


def _is_zero(text: str | None) -> bool:
    try:
        return text is not None and float(text) == 0.0
    except ValueError:
        return False


def fill_floors(buildings: gpd.GeoDataFrame, terrain: Terrain) -> gpd.GeoDataFrame:
    """``floor_m`` is the mean ground under the footprint, where none is given."""
    floor = buildings["floor_m"].astype(float).copy()
    shapes = np.asarray(buildings.geometry.array, dtype=object)
    unknown = np.flatnonzero(floor.isna())
    floor.iloc[unknown] = [terrain.mean_under(shape) for shape in shapes[unknown]]
    return buildings.assign(floor_m=floor)
