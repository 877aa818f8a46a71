"""A subject parcel of several parts: which part is planned."""

from __future__ import annotations

import geopandas as gpd
import pandas as pd
import shapely

from screenplan.site.repair import Findings
from screenplan.site.subject import ID_KEY

#: A part smaller than this is a crumb of digitising, not land.
CRUMB_M2 = 1.0


def settle_parts(
    parcels: gpd.GeoDataFrame, point: shapely.Point | None, findings: Findings
) -> gpd.GeoDataFrame:
    """Make the subject one polygon, or refuse.

    A row is planned along the sides of one piece of land, so the subject must be one. Parts that
    share an edge are joined, crumbs are left out. Of parts that lie apart (a road between them,
    say) the one that holds the chosen point is planned, and each other one becomes a neighbour:
    nothing is planted there, yet it may lie across a side. Where no point says which part is
    meant, nobody but the person can know; taking the largest would be a guess, so it is refused
    with a point in each part, ready to be copied.

    Parameters
    ----------
    parcels : GeoDataFrame
        With ``parcel_id`` and ``is_subject``, in metres of the frame.
    point : Point or None
        The chosen point in the frame.
    findings : Findings
        Where repairs and the refusal are noted.

    Returns
    -------
    GeoDataFrame
        The subject a polygon; other parts as further rows, called ``<id> (part 2)``.
    """
    row = parcels.index[parcels["is_subject"]][0]
    outline = parcels.geometry.loc[row]
    if outline.geom_type == "Polygon":
        return parcels
    name = parcels.loc[row, "parcel_id"]
    parts = _join(outline)
    crumbs = [part for part in parts if part.area < CRUMB_M2]
    if crumbs and len(crumbs) < len(parts):
        findings.mended(
            [row], f"{len(crumbs)} crumbs of the subject below {{{CRUMB_M2:g} m²}} left out"
        )
        parts = [part for part in parts if part.area >= CRUMB_M2]
    if len(parts) == 1:
        findings.mended([row], "parts of the subject that touch joined into one")
        return _replace(parcels, row, parts[0])
    chosen = [part for part in parts if point is not None and part.intersects(point)]
    if len(chosen) != 1:
        areas = ", ".join(f"{{{part.area:.0f} m²}}" for part in parts)
        findings.refused(
            [row],
            f"Parcel '{name}' has {len(parts)} parts that lie apart ({areas})",
            "Choose the part by a point in it (subject.point), or save it as a parcel of its own",
            key=ID_KEY,
            kind="geometry",
        )
        return parcels
    others = [part for part in parts if part is not chosen[0]]
    findings.mended(
        [row],
        f"the part of {{{chosen[0].area:.0f} m²}} is planned, {len(others)} others are neighbours",
    )
    extra = parcels.loc[[row] * len(others)].assign(
        is_subject=False,
        parcel_id=[f"{name} (part {n})" for n in range(2, len(others) + 2)],
    )
    extra = extra.set_geometry(gpd.GeoSeries(others, index=extra.index, crs=parcels.crs))
    return gpd.GeoDataFrame(pd.concat([_replace(parcels, row, chosen[0]), extra]), crs=parcels.crs)


def _join(outline) -> list:
    joined = shapely.get_parts(shapely.union_all(shapely.get_parts(outline)))
    return sorted(joined, key=lambda part: -part.area)


def _replace(parcels: gpd.GeoDataFrame, row: int, outline) -> gpd.GeoDataFrame:
    geometry = parcels.geometry.copy()
    geometry.loc[row] = shapely.orient_polygons(outline, exterior_cw=False)
    return parcels.set_geometry(geometry)
