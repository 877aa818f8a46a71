"""Which candidate stops which ray in the year that counts, by the library's own test of crowns.

A ray counts as stopped by a plant if its crown is in the way in that year and stays there until it is
grown, so that a view that is closed does not open again when stems clear.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import geopandas as gpd
import numpy as np
from scipy.sparse import csr_array, diags_array

from screenplan.contracts import GROWTHS, PLANTS
from screenplan.contracts.tables import layer_of
from screenplan.design.candidates import Candidates
from screenplan.planting.growth import TYPICAL
from screenplan.planting.maturity import MATURE_YEAR
from screenplan.planting.species_model import Species
from screenplan.planting.stand import Stand, stand_of
from screenplan.views.grown import crowns_of, runs_of
from screenplan.views.opened import Rays
from screenplan.views.stoppers import list_stoppers

#: Years after the one that counts in which a crown must still be in the way, and grown.
LATER = (5, 10, 20)


def plants_of(candidates: Candidates, chosen: np.ndarray, ground_m: np.ndarray) -> gpd.GeoDataFrame:
    """Give candidates as plants by their contract, each row of a stretch of an option a line of its own."""
    table = candidates.table[chosen]
    # A row of a mixture is one line, named by its first plant's option.
    named = table.groupby("stretch")["option"].transform("first")
    rows = []
    for number, (row, first, z) in enumerate(
        zip(table.itertuples(), named, ground_m[chosen], strict=True), 1
    ):
        option = candidates.options[row.option]
        rows.append(
            {
                "plant_id": number, "line_id": f"{first}/{row.stretch}/{row.row}", "side_id": row.side_id,
                "row": row.row, "station_m": row.station_m, "slope_station_m": row.station_m,
                "offset_m": row.offset_m, "ground_m": float(z), "species": option.species.key,
                "stock": option.stock, "stock_height_m": option.height_m, "existing": False,
                "moved_m": 0.0,
            }
        )  # fmt: skip
    return layer_of(PLANTS, rows, table.geometry, table.crs)


def find_stops(
    candidates: Candidates,
    rays: Rays,
    ground_m: np.ndarray,
    year: int,
    *,
    curve: str = "smooth",
    species_table: Mapping[str, Species] | None = None,
) -> csr_array:
    """Find which plants stop which rays in a year and after it, (plants, rays); neighbours that stand stop none."""
    plants = len(candidates.table)
    layer = plants_of(candidates, np.ones(plants, bool), ground_m)
    found = stops_of(layer, rays, year, curve=curve, species_table=species_table)
    if candidates.stands.any():
        found = csr_array(diags_array((~candidates.stands).astype(float)) @ found, dtype=bool)
        found.eliminate_zeros()
    return found


def without_stopped(rays: Rays, stopped: np.ndarray) -> Rays:
    """Give the rays that are left when some are stopped already; the views stay the same.

    Parameters
    ----------
    rays : Rays
    stopped : ndarray of bool, (rays,)
    """
    light = np.bincount(rays.view[stopped], rays.light[stopped], len(rays.views))
    left = ~stopped
    return replace(
        rays,
        now=np.clip(rays.now - light, 0.0, 1.0).round(12),
        view=rays.view[left],
        light=rays.light[left],
        origin=rays.origin[left],
        target=rays.target[left],
    )


def stops_of(
    layer: gpd.GeoDataFrame,
    rays: Rays,
    year: int,
    *,
    curve: str = "smooth",
    species_table: Mapping[str, Species] | None = None,
) -> csr_array:
    """Find which plants of a layer stop which rays in a year and after it, (plants, rays)."""
    plants, count = len(layer), len(rays.view)
    if not plants or not count:
        return csr_array((plants, count), dtype=bool)
    years = sorted({year, *(year + more for more in LATER), MATURE_YEAR})
    stand = stand_of(layer, years=years, curve=curve, species_table=species_table)
    crowns = crowns_of(stand)
    runs = runs_of(stand, crowns)
    found: Any = None
    for number in range(len(years)):
        first, stoppers = list_stoppers(rays.origin, rays.target, runs, crowns, number, TYPICAL)
        stops = csr_array(
            (np.ones(len(stoppers), bool), stand.order[stoppers], first), shape=(count, plants)
        )
        found = stops if found is None else found.multiply(stops)
        if _always_nested(stand):
            break
    return csr_array(found.T, dtype=bool)


def _always_nested(stand: Stand) -> bool:
    """Tell whether no crown ever draws in, so that what is stopped once is stopped for good."""
    return bool((stand.sizes[3] == 0.0).all()) and all(
        start.species.crown(growth).widest in (0.0, None)
        for start in stand.starts
        for growth in GROWTHS
    )
