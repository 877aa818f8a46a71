"""Crowns seen from above, as polygons that any GIS draws at size."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import geopandas as gpd

from screenplan.contracts import CROWNS
from screenplan.contracts.tables import layer_of
from screenplan.ground.errors import refuse
from screenplan.planting.growth import growth_number
from screenplan.planting.species import Species
from screenplan.planting.stand import stand_of


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
    stand = stand_of(plants, years=years, curve=curve, table=table)
    rows = []
    for one in growths:
        suffix, g = "" if len(growths) == 1 else f"-{one}", growth_number(one)
        for k, year in enumerate(years):
            crowns = stand.crowns(g, k)
            rows.extend(
                {
                    "crown_id": f"{plant}-y{year:02d}{suffix}",
                    "plant_id": int(plant),
                    "year": year,
                    "growth": one,
                    "height_m": float(height),
                    "spread_m": 2.0 * float(along),
                    "width_m": 2.0 * float(across),
                    "clear_stem_m": float(clear),
                    "shape": shape,
                    "geometry": area,
                }
                for plant, height, along, across, clear, shape, area in zip(
                    plants["plant_id"], stand.height[:, g, k], crowns.along, crowns.across,
                    stand.clear[:, g, k], stand.shape, crowns.areas(), strict=True,
                )
            )  # fmt: skip
    return layer_of(CROWNS, rows, [row["geometry"] for row in rows], plants.crs)
