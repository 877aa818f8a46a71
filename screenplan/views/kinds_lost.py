"""What is left of the screen if one kind of a mixed row dies out: the views again without its plants."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from screenplan.contracts import KINDS_LOST
from screenplan.contracts.tables import table_of, with_notes
from screenplan.ground.kept import Kept
from screenplan.plan import DEFAULTS, Options
from screenplan.planting.growth import TYPICAL
from screenplan.planting.hedges import living_kind
from screenplan.planting.species import species_of
from screenplan.planting.species_model import Species
from screenplan.planting.stand import planned_stand
from screenplan.site.terrain import Terrain
from screenplan.views.accuracy import EQUAL_SHARE
from screenplan.views.grown import crowns_of, runs_of
from screenplan.views.lone import light_without
from screenplan.views.sight import Sight, sight_of
from screenplan.views.stoppers import sole_blockers


def tell_kinds_lost(
    layers: Mapping[str, Any],
    *,
    plan: Options = DEFAULTS,
    terrain: Terrain | None = None,
    species_table: Mapping[str, Species] | None = None,
    kept: Kept | None = None,
) -> pd.DataFrame:
    """Tell of each kind which views open without it.

    Parameters
    ----------
    layers : mapping
        Windows, private places, planting lines and plants, and buildings, existing screens and
        onlookers if there are any: by their contracts, in local-frame metres.
    plan : Options, optional
        Of its sections growth and views.
    terrain, species_table : optional
        By default level ground at 0, and the shipped species.
    kept : Kept, optional
        What the run has made: the sight.

    Returns
    -------
    DataFrame
        One row for each kind, with its own clipped hedge; none of plants of one kind. ``attrs["notes"]`` says the same in words.

    Raises
    ------
    InputError
        By row as `lay_sight` and `stand_of` say.
    """
    plants, year = layers["plants"], plan.views.missing_year
    kinds = plants["species"].astype(str)
    living = kinds.map(living_kind)
    if living.nunique() < 2:
        return table_of(KINDS_LOST, [])
    # A kind and its own clipped hedge die as one, under the name of the kind.
    kinds = kinds.groupby(living).transform("min")
    sight = sight_of(layers, plan.views, terrain, kept)
    whole, records = open_shares(sight, plants, plan, species_table), []
    for kind in kinds.unique():
        left = open_shares(sight, plants[kinds != kind].reset_index(drop=True), plan, species_table)
        opened = [view for view in whole if whole[view] <= plan.views.threshold < left[view]]
        # A view that is open with every plant tells nothing of the kind.
        worst = max(left, key=lambda view: left[view] - whole[view], default=None)
        if worst is not None and left[worst] <= whole[worst] + EQUAL_SHARE:
            worst = None
        record = {
            "species": kind, "plants": int((kinds == kind).sum()), "share": float((kinds == kind).mean()),
            "year": year, "views_opened": len(opened), "opened": "; ".join(opened) or None, "worst_view": worst,
            "open": None if worst is None else round(whole[worst], 12),
            "open_without": None if worst is None else round(left[worst], 12),
        }  # fmt: skip
        name = species_of(kind, species_table).called
        records.append(record | {"says": _says(name, record)})
    return with_notes(table_of(KINDS_LOST, records), [record["says"] for record in records])


def _says(name: str, record: Mapping[str, Any]) -> str:
    when, number = f"(year {record['year']}, typical growth)", record["views_opened"]
    if record["worst_view"] is None:
        return f"if all {name} die, no view opens further {when}"
    count = {0: "no closed view opens", 1: "1 closed view opens"}
    return (
        f"if all {name} die, {count.get(number, f'{number} closed views open')}; worst is {record['worst_view']}, of which "
        f"{record['open_without']:.0%} is open instead of {record['open']:.0%} {when}"
    )


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
