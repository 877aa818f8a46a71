"""Parcels that lie on each other: an outline recorded twice, flats above flats, a slip of the hand."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely

from screenplan.site.repair import Findings

#: Outlines digitised apart may overlap by so much along their common boundary, metres.
SLACK_M = 0.5
#: So many pairs are named in a note.
_SHOWN = 5


def drop_doubles(parcels: gpd.GeoDataFrame, findings: Findings) -> gpd.GeoDataFrame:
    """Leave out other parcels of the subject's own outline, as those of flats are.

    An outline is the subject's if each lies within `SLACK_M` of the other: recorded a second time,
    from another survey, it is off by a few decimetres.

    Parameters
    ----------
    parcels : GeoDataFrame
        With ``parcel_id`` and ``is_subject``, in metres of the frame, indexed by row number.
    findings : Findings
        Where it is listed.
    """
    double = doubles(parcels)
    for row, apart in double.items():
        name = parcels.loc[row, "parcel_id"]
        off = "" if apart < 0.005 else f", {{{apart:.2f} m}} off"
        findings.mended([row], f"parcel '{name}' has the subject's outline{off}: row left out")
    return parcels.drop(index=list(double))


def doubles(parcels: gpd.GeoDataFrame) -> dict[int, float]:
    """Find other parcels of the subject's own outline: how far each is off, metres, by row."""
    shapes = np.asarray(parcels.geometry.array, dtype=object)
    is_subject = parcels["is_subject"].to_numpy()
    away = _ring_distance(shapes, shapes[is_subject][0])
    double = (away <= SLACK_M) & ~is_subject
    return dict(zip(parcels.index[double], away[double].tolist(), strict=True))


def find_overlaps(parcels: gpd.GeoDataFrame) -> list[str]:
    """Say which parcels share ground, those of the subject first.

    Parameters
    ----------
    parcels : GeoDataFrame
        With ``parcel_id`` and ``is_subject``, in metres of the frame, indexed by row number.

    Returns
    -------
    list of str
        A sentence for the subject and one for its neighbours, as far as there are any. Overlaps no
        wider than `SLACK_M` go unsaid.
    """
    shapes = np.asarray(parcels.geometry.array, dtype=object)
    one, other = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    # What is wider than the slack needs room in both boxes; of most, which only adjoin, these share less.
    west, south, east, north = shapely.bounds(shapes).reshape(-1, 4).T
    across = np.minimum(east[one], east[other]) - np.maximum(west[one], west[other])
    along = np.minimum(north[one], north[other]) - np.maximum(south[one], south[other])
    may = (one < other) & (np.minimum(across, along) > SLACK_M / 2.0)
    one, other = one[may], other[may]
    shared = shapely.intersection(shapes[one], shapes[other])
    wide = ~shapely.is_empty(shapely.buffer(shared, -SLACK_M / 2.0))
    one, other, area = one[wide], other[wide], shapely.area(shared[wide])
    is_subject = parcels["is_subject"].to_numpy()
    own = is_subject[one] | is_subject[other]
    said = []
    for which, what, so in (
        (own, "Ground of the subject is that of another parcel too",
         "What stands there is taken for the subject's. Find out whose the ground is before you plant"),
        (~own, "Parcels of the neighbours overlap",
         "Such ground is counted for each of them"),
    ):  # fmt: skip
        pairs = sorted(
            zip(one[which], other[which], area[which], strict=True), key=lambda pair: -pair[2]
        )
        if not pairs:
            continue
        named = "; ".join(
            f"{_name(parcels, i)} and {_name(parcels, j)}, {{{shown:.0f} m²}}"
            for i, j, shown in pairs[:_SHOWN]
        )
        more = f"; and {len(pairs) - _SHOWN} more" if len(pairs) > _SHOWN else ""
        said.append(f"{what}: {named}{more}. {so}.")
    return said


def _ring_distance(shapes: np.ndarray, outline) -> np.ndarray:
    """Largest distance from either boundary to the other, metres; infinite if it is more than twice `SLACK_M`."""
    away = np.full(len(shapes), np.inf)
    near = shapely.hausdorff_distance(shapely.envelope(shapes), shapely.envelope(outline))
    for i in np.flatnonzero(near <= 2.0 * SLACK_M):
        # At steps of a tenth of an edge: the farthest point need be no vertex.
        away[i] = shapely.hausdorff_distance(shapes[i].boundary, outline.boundary, densify=0.1)
    return away


def _name(parcels: gpd.GeoDataFrame, place: int) -> str:
    return f"{parcels['parcel_id'].iloc[place]} (row {parcels.index[place]})"
