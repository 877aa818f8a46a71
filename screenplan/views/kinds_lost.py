"""What is left of the screen if one kind of a mixed row dies out: the views again without its plants."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import geopandas as gpd
import numpy as np

from screenplan.plan import Options
from screenplan.planting.growth import TYPICAL
from screenplan.planting.species import species_of
from screenplan.planting.species_model import Species
from screenplan.planting.stand import planned_stand
from screenplan.views.grown import crowns_of, runs_of
from screenplan.views.lone import light_without
from screenplan.views.sight import Sight
from screenplan.views.stoppers import sole_blockers

#: Light is compared at this precision: rounding only.
LEAST_SHARE = 1e-12


def tell_kinds_lost(
    sight: Sight,
    plants: gpd.GeoDataFrame,
    plan: Options,
    species_table: Mapping[str, Species] | None = None,
) -> list[str]:
    """Say of each kind which view opens most without it, and how many closed views open; nothing of a row of one kind.

    Parameters
    ----------
    sight : Sight
        Rays and what stands in their way besides.
    plants : GeoDataFrame
        Layer of the contract.
    plan : Options
        Of its sections growth and views.
    species_table : mapping, optional
        By default the shipped table.
    """
    kinds = plants["species"].astype(str)
    if kinds.nunique() < 2:
        return []
    whole, said = open_shares(sight, plants, plan, species_table), []
    year, threshold = plan.views.missing_year, plan.views.threshold
    for kind in kinds.unique():
        left = open_shares(sight, plants[kinds != kind].reset_index(drop=True), plan, species_table)
        opened = sum(whole[view] <= threshold < left[view] for view in whole)
        # A view that is open with every plant tells nothing of the kind.
        worst = max(left, key=lambda view: left[view] - whole[view])
        name = species_of(kind, species_table).called
        when = f"(year {year}, typical growth)"
        if left[worst] <= whole[worst] + LEAST_SHARE:
            said.append(f"if all {name} die, no view opens further {when}")
            continue
        count = {0: "no closed view opens", 1: "1 closed view opens"}
        said.append(
            f"if all {name} die, {count.get(opened, f'{opened} closed views open')}; worst is {worst}, of which "
            f"{left[worst]:.0%} is open instead of {whole[worst]:.0%} {when}"
        )
    return said


def open_shares(
    sight: Sight,
    plants: gpd.GeoDataFrame,
    plan: Options,
    species_table: Mapping[str, Species] | None = None,
) -> dict[str, float]:
    """Give the open share of each view by its name, in the year of views.missing_year, typical growth."""
    return dict(_shares(sight, plants, plan, species_table))


def _shares(sight, plants, plan, species_table) -> Iterator[tuple[str, float]]:
    year = plan.views.missing_year
    stand = planned_stand(plants, plan, species_table, max(year, 1))
    crowns = crowns_of(stand)
    runs = runs_of(stand, crowns)
    for _, view_id, origin, target, light in sight.rays():
        if plan.views.leaves == "translucent":
            passes, _ = light_without(origin, target, light, runs, crowns, year, TYPICAL)
            yield view_id, float(passes / len(light))
        else:
            stopped, _ = sole_blockers(origin, target, runs, crowns, year, TYPICAL, light > 0.0)
            yield view_id, float((light / len(light))[~np.asarray(stopped, bool)].sum())
