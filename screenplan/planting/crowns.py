"""Crowns seen from above, as polygons that any GIS draws at size."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import geopandas as gpd

from screenplan.contracts import CROWNS
from screenplan.contracts.tables import layer_of
from screenplan.plan import DEFAULTS, Options
from screenplan.planting.growth import growth_number
from screenplan.planting.species_model import Species
from screenplan.planting.stand import planned_stand


def grow_crowns(
    plants: gpd.GeoDataFrame,
    *,
    plan: Options = DEFAULTS,
    growth: str | Sequence[str] = "typical",
    species_table: Mapping[str, Species] | None = None,
) -> gpd.GeoDataFrame:
    """Draw each plant's crown in chosen years.

    Parameters
    ----------
    plants : GeoDataFrame
    plan : Options, optional
        Of it [growth].
    growth : str or sequence of str
        One or several of low, typical, high.
    species_table : mapping, optional
        The species table, by default the shipped one.

    Returns
    -------
    GeoDataFrame
        One circle, as a polygon of 64 sides, per plant, year and growth; by growth, year, plant. A
        clipped hedge is a rectangle along its row.

    Raises
    ------
    InputError
        If a growth or species is not known.
    """
    growths = (growth,) if isinstance(growth, str) else tuple(growth)
    years = sorted(plan.growth.show_years)
    stand = planned_stand(plants, plan, species_table, years)
    records: list = []
    for growth in growths:
        suffix, g = "" if len(growths) == 1 else f"-{growth}", growth_number(growth)
        for k, year in enumerate(years):
            crowns = stand.crowns(g, k)
            records.extend(
                {
                    "crown_id": f"{plant}-y{year:02d}{suffix}",
                    "plant_id": int(plant),
                    "year": year,
                    "growth": growth,
                    "height_m": float(height),
                    "spread_m": 2.0 * float(along),
                    "width_m": 2.0 * float(across),
                    "clear_stem_m": float(clear),
                    "shape": shape,
                    "profile_exponent": float(exponent),
                    "geometry": area,
                }
                for plant, height, along, across, clear, shape, exponent, area in zip(
                    plants["plant_id"], stand.height[:, g, k], crowns.along, crowns.across,
                    stand.clear[:, g, k], stand.shape, stand.exponent[:, g], crowns.areas(), strict=True,
                )
            )  # fmt: skip
    return layer_of(CROWNS, records, [row["geometry"] for row in records], plants.crs)
