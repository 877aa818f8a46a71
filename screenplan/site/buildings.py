"""What a building's row leaves out, found from the rest of the site."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import shapely

from screenplan.site.columns import to_text
from screenplan.site.composed import cells_of, is_held
from screenplan.site.repair import Findings
from screenplan.site.terrain import Terrain

#: Areas that agree to so many digits of a square metre are equal.
AREA_DIGITS = 3


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


def find_parcels(buildings: gpd.GeoDataFrame, parcels: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """``parcel_id`` of the parcel on which most of a building stands, where none is given.

    Of parcels that share its ground the subject is taken: what stands on the subject is not looked
    at from a neighbour's window.
    """
    ids = buildings["parcel_id"].astype(object).copy()
    b, p, share = _shares(buildings, parcels)
    others = ~parcels["is_subject"].to_numpy()[p]
    # Sorted by building, then by share; at a tie the subject, then the first parcel of the layer.
    order = np.lexsort((p, others, -share, b))
    b, p, share = b[order], p[order], share[order]
    first = np.concatenate([[True], b[1:] != b[:-1]]) if len(b) else np.zeros(0, dtype=bool)
    b, p = b[first & (share > 0.0)], p[first & (share > 0.0)]
    unknown = np.array([name is None for name in ids.iloc[b]], dtype=bool)
    ids.iloc[b[unknown]] = parcels["parcel_id"].to_numpy(dtype=object)[p[unknown]]
    return buildings.assign(parcel_id=ids)


def share_a_house(buildings: gpd.GeoDataFrame, parcels: gpd.GeoDataFrame) -> np.ndarray:
    """Tell of each parcel whether as much of a building stands on it as on another, and on none more, (parcels,).

    Whose such a building is hangs on who is asked (`find_parcels`).
    """
    b, p, share = _shares(buildings, parcels)
    most = np.zeros(len(buildings))
    np.maximum.at(most, b, share)
    largest = (share > 0.0) & (share == most[b])
    alike = largest & (np.bincount(b[largest], minlength=len(buildings)) > 1)[b]
    told = np.zeros(len(parcels), dtype=bool)
    told[p[alike]] = True
    return told


def _shares(
    buildings: gpd.GeoDataFrame, parcels: gpd.GeoDataFrame
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Give the pairs of a building and a parcel that touch, by their rows, and the ground that they share, m²."""
    shapes = np.asarray(buildings.geometry.array, dtype=object)
    land = np.asarray(parcels.geometry.array, dtype=object)
    b, p = shapely.STRtree(land).query(shapes, predicate="intersects")
    return b, p, np.round(shapely.area(shapely.intersection(shapes[b], land[p])), AREA_DIGITS)


def fill_floors(buildings: gpd.GeoDataFrame, terrain: Terrain) -> gpd.GeoDataFrame:
    """``floor_m`` is the mean ground under the footprint, where none is given."""
    floor = buildings["floor_m"].astype(float).copy()
    shapes = np.asarray(buildings.geometry.array, dtype=object)
    unknown = np.flatnonzero(floor.isna())
    floor.iloc[unknown] = [terrain.mean_under(shape) for shape in shapes[unknown]]
    return buildings.assign(floor_m=floor)
