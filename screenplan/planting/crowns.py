"""Crowns seen from above, as polygons that any GIS draws at size."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import geopandas as gpd
import numpy as np

from screenplan.contracts import CROWNS
from screenplan.contracts.tables import layer_of
from screenplan.ground.errors import refuse
from screenplan.planting.footprints import boxes_of, crown_areas, ways_of
from screenplan.planting.growth import clear_stem_at, height_at, spread_at, width_at
from screenplan.planting.species import Species, species_of


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
        One circle, as a polygon of 64 sides, per plant, year and growth; by growth, year, plant. A
        clipped hedge is a rectangle along its row.

    Raises
    ------
    InputError
        If a year is not a whole number of 0 or more, or a growth or species is not known.
    """
    wrong = [year for year in years if year != int(year) or year < 0]
    if wrong:
        raise refuse(
            f"{wrong[0]} is not a year", "Give whole years of 0 or more", key="growth.show_years"
        )
    growths = (growth,) if isinstance(growth, str) else tuple(growth)
    years = sorted({int(year) for year in years})
    stock = plants["stock_height_m"].to_numpy(float)
    existing = plants["existing"].to_numpy(bool)
    points = plants.geometry.to_numpy()
    kinds = plants["species"].astype(str).to_numpy()
    box, way = boxes_of(plants, table), ways_of(plants)
    rows = []
    for one in growths:
        heights = np.zeros((len(years), len(plants)))
        spreads, widths, clears = (np.zeros_like(heights) for _ in range(3))
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
                widths[:, mask] = width_at(species, h, one)
                clears[:, mask] = clear_stem_at(species, h)
                shapes[mask] = species.shape
        sizes = zip(years, heights, spreads, widths, clears, strict=True)
        for year, height, spread, width, clear in sizes:
            areas = crown_areas(points, spread / 2.0, width / 2.0, box, way)
            suffix = "" if len(growths) == 1 else f"-{one}"
            rows.extend(
                {
                    "crown_id": f"{plant}-y{year:02d}{suffix}",
                    "plant_id": int(plant),
                    "year": year,
                    "growth": one,
                    "height_m": float(h),
                    "spread_m": float(s),
                    "width_m": float(w),
                    "clear_stem_m": float(c),
                    "shape": shape,
                    "geometry": area,
                }
                for plant, h, s, w, c, shape, area in zip(
                    plants["plant_id"], height, spread, width, clear, shapes, areas, strict=True
                )
            )
    return layer_of(CROWNS, rows, [row["geometry"] for row in rows], plants.crs)
