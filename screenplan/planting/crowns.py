"""Crowns seen from above, as polygons that any GIS draws at size."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import geopandas as gpd
import numpy as np
import shapely

from screenplan.contracts import CROWNS
from screenplan.errors import refuse
from screenplan.planting.growth import clear_stem_at, height_at, spread_at
from screenplan.planting.species import Species, species_of
from screenplan.tables import layer_of

#: Chords per quarter circle: the polygon lacks 0.04 % of the circle's radius at most.
QUARTER_CHORDS = 16


def grow_crowns(
    plants: gpd.GeoDataFrame,
    *,
    years: Sequence[int] = (0, 3, 5, 10, 20),
    growth: str | Sequence[str] = "typical",
    curve: str = "smooth",
    table: Mapping[str, Species] | None = None,
) -> gpd.GeoDataFrame:
    """Draw each plant's crown in chosen years.

    Parameters
    ----------
    plants : GeoDataFrame
    years : sequence of int
        Years since planting.
    growth : str or sequence of str
        One or several of low, typical, high.
    curve : {"smooth", "straight"}
    table : mapping, optional
        The species table, by default the shipped one.

    Returns
    -------
    GeoDataFrame
        One circle, as a polygon of 64 sides, per plant, year and growth; by growth, year, plant.

    Raises
    ------
    InputError
        If a year is not a whole number of 0 or more, or a growth or species is not known.
    """
    wrong = [year for year in years if year != int(year) or year < 0]
    if wrong:
        raise refuse(f"{wrong[0]} is not a year", "Give whole years of 0 or more", key="years")
    growths = (growth,) if isinstance(growth, str) else tuple(growth)
    years = sorted({int(year) for year in years})
    stock = plants["stock_height_m"].to_numpy(float)
    existing = plants["existing"].to_numpy(bool)
    points = plants.geometry.to_numpy()
    kinds = plants["species"].astype(str).to_numpy()
    rows = []
    for one in growths:
        heights = np.zeros((len(years), len(plants)))
        spreads, clears = np.zeros_like(heights), np.zeros_like(heights)
        shapes = np.full(len(plants), "", object)
        for kind in np.unique(kinds):
            species = species_of(kind, table)
            for stands in (False, True):
                mask = (kinds == kind) & (existing == stands)
                if not mask.any():
                    continue
                h = height_at(
                    species,
                    np.array(years)[:, None],
                    growth=one,
                    stock_height_m=stock[mask][None, :],
                    curve=curve,
                    established=stands,
                )
                heights[:, mask] = h
                spreads[:, mask] = spread_at(species, h, one)
                clears[:, mask] = clear_stem_at(species, h)
                shapes[mask] = species.shape
        for year, height, spread, clear in zip(years, heights, spreads, clears, strict=True):
            circles = shapely.buffer(points, spread / 2.0, quad_segs=QUARTER_CHORDS)
            suffix = "" if len(growths) == 1 else f"-{one}"
            rows.extend(
                {
                    "crown_id": f"{plant}-y{year:02d}{suffix}",
                    "plant_id": int(plant),
                    "year": year,
                    "growth": one,
                    "height_m": float(h),
                    "spread_m": float(w),
                    "clear_stem_m": float(c),
                    "shape": shape,
                    "geometry": circle,
                }
                for plant, h, w, c, shape, circle in zip(
                    plants["plant_id"], height, spread, clear, shapes, circles, strict=True
                )
            )
    return layer_of(CROWNS, rows, [row["geometry"] for row in rows], plants.crs)
