"""Whose land it is: the subject parcel, and the parcel on which each building stands."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screenplan.ground.errors import refuse
from screenplan.site.shaping import column_or

#: Areas that differ by less are equal, and what is smaller is nothing, m².
EQUAL_M2 = 1e-3


def is_subject(parcels: gpd.GeoDataFrame) -> np.ndarray:
    """Tell of each parcel whether it is marked as the subject; an empty mark is none."""
    return column_or(parcels, "is_subject", False).astype(bool)


def outline_known(parcels: gpd.GeoDataFrame) -> bool:
    """Tell whether the subject's outline is known; with an empty layer of parcels only its row is."""
    return bool(len(parcels))


def subject_outline(parcels: gpd.GeoDataFrame) -> shapely.Polygon | shapely.MultiPolygon:
    """Give the ground of the subject parcel.

    Raises
    ------
    InputError
        If no row, or more than one, is marked as the subject, or its outline is empty.
    """
    if "is_subject" not in parcels:
        raise refuse(
            "the column is_subject is missing",
            "Mark the one parcel that is planned with is_subject true",
            layer="parcels",
        )
    rows = np.flatnonzero(is_subject(parcels))
    if len(rows) != 1:
        raise refuse(
            f"{len(rows)} parcels are marked as the subject",
            "Mark exactly one parcel with is_subject true",
            layer="parcels",
            rows=[int(row) + 1 for row in rows],
        )
    outline = parcels.geometry.iloc[rows[0]]
    if outline is None or outline.is_empty:
        raise refuse(
            "the subject parcel has no outline",
            "Draw it as a polygon",
            layer="parcels",
            rows=[int(rows[0]) + 1],
        )
    return outline


def subject_outlines(parcels: gpd.GeoDataFrame) -> np.ndarray:
    """Give the grounds of all parcels that are marked as subjects, (subjects,): those of a street are several."""
    return parcels.geometry.to_numpy()[is_subject(parcels)]


def subject_ground(parcels: gpd.GeoDataFrame) -> shapely.Geometry:
    """Give the ground of all subjects as one; an empty polygon if there is none."""
    outlines = subject_outlines(parcels)
    if len(outlines) == 1:
        return outlines[0]
    return shapely.union_all(outlines) if len(outlines) else shapely.Polygon()


def subject_id(parcels: gpd.GeoDataFrame) -> str:
    """Give the identifier of the subject parcel; see `subject_outline` for what is refused."""
    subject_outline(parcels)
    return str(parcels["parcel_id"].to_numpy()[is_subject(parcels)][0])


def sound(geometries: np.ndarray) -> np.ndarray:
    """Give the geometries, those that are invalid repaired, for asking what touches what."""
    broken = ~shapely.is_valid(geometries)
    if not broken.any():
        return geometries
    repaired = np.array(geometries, dtype=object)
    repaired[broken] = shapely.make_valid(repaired[broken])
    return repaired


def parcels_of(buildings: gpd.GeoDataFrame, parcels: gpd.GeoDataFrame) -> np.ndarray:
    """Find the parcel on which most of each building stands.

    Of parcels that share its ground the subject is taken: what stands on the subject is not looked at from a
    neighbour's window. Of others the first of the layer.

    Parameters
    ----------
    buildings : GeoDataFrame
        Footprints; a ``parcel_id`` that is filled in is taken as it is.
    parcels : GeoDataFrame
        With ``parcel_id``.

    Returns
    -------
    ndarray of object
        A parcel's identifier for each building, or None where it stands on no parcel.
    """
    owner = np.full(len(buildings), None, dtype=object)
    if "parcel_id" in buildings:
        given = buildings["parcel_id"].to_numpy(dtype=object)
        known = ~pd.isna(given)
        owner[known] = [str(value) for value in given[known]]
    unknown = np.flatnonzero(pd.isna(owner))
    if not len(unknown):
        return owner
    footprints = buildings.geometry.to_numpy()[unknown]
    which, on = _largest_shares(footprints, parcels.geometry.to_numpy())
    ids = parcels["parcel_id"].astype(str).to_numpy(dtype=object)
    # What is written last stands: the subject, else the first parcel of the layer.
    order = np.lexsort((-on, is_subject(parcels)[on]))
    owner[unknown[which[order]]] = ids[on[order]]
    return owner


def share_a_house(buildings: gpd.GeoDataFrame, parcels: gpd.GeoDataFrame) -> np.ndarray:
    """Tell of each parcel whether as much of a building stands on it as on another, and on none more, (parcels,).

    Whose such a building is hangs on who is asked (`parcels_of`).
    """
    b, p = _largest_shares(buildings.geometry.to_numpy(), parcels.geometry.to_numpy())
    told = np.zeros(len(parcels), dtype=bool)
    told[p[(np.bincount(b, minlength=len(buildings)) > 1)[b]]] = True
    return told


def _largest_shares(footprints: np.ndarray, land: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the pairs of a building and a parcel, by their places, of which no other parcel holds more of the building."""
    footprints, land = sound(footprints), sound(land)
    b, p = shapely.STRtree(land).query(footprints, predicate="intersects")
    # Most stand on one parcel with all their ground, and need no cut.
    share = shapely.area(footprints)[b]
    shapely.prepare(land)
    cut = np.flatnonzero(~shapely.covers(land[p], footprints[b]))
    share[cut] = shapely.area(shapely.intersection(footprints[b[cut]], land[p[cut]]))
    # Rounded areas would part two halves whose last digits lie on both sides of where rounding turns.
    most = np.zeros(len(footprints))
    np.maximum.at(most, b, share)
    largest = share > np.maximum(most[b] - EQUAL_M2, EQUAL_M2)
    return b[largest], p[largest]
