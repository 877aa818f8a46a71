"""What hangs on each plant: the views again with one plant missing at a time, in one pass.

Where exactly one plant stops a ray, that plant's death opens it; where two do, neither's alone
does. So one look at every ray, counting the plants in its way and keeping the only one, tells the
open share of each view without each plant. Where leaves let light through, every plant in the way
takes some: then each ray is looked at with all its crowns and without each (`screenplan.views.lone`).
Growth is typical, leaves are on.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from screenplan.contracts import MISSING_PLANTS, PLANTS
from screenplan.contracts.tables import DTYPES, table_of, with_notes
from screenplan.ground.kept import Kept
from screenplan.plan import DEFAULTS, Options
from screenplan.planting.growth import TYPICAL
from screenplan.planting.species_model import Species
from screenplan.planting.stand import planned_stand
from screenplan.site.terrain import Terrain
from screenplan.views.accuracy import EQUAL_SHARE
from screenplan.views.grown import crowns_of, runs_of
from screenplan.views.lone import light_without
from screenplan.views.sight import sight_of
from screenplan.views.stoppers import sole_blockers

#: Plants that are named as those to replace first.
MOST_NAMED = 5


def find_missing(
    layers: Mapping[str, Any],
    *,
    plan: Options = DEFAULTS,
    terrain: Terrain | None = None,
    species_table: Mapping[str, Species] | None = None,
    kept: Kept | None = None,
) -> tuple[gpd.GeoDataFrame, pd.DataFrame]:
    """Look at the views with one plant missing at a time.

    Parameters
    ----------
    layers : mapping
        Windows, private places, planting lines and plants, and buildings, existing screens and
        onlookers if there are any: by their contracts, in local-frame metres.
    plan : Options
        Of its sections growth and views.
    terrain : Terrain, optional
        Ground heights; by default level ground at 0.
    species_table : mapping, optional
        Species by key; by default the shipped table.
    kept : Kept, optional
        What the run has made: the sight.

    Returns
    -------
    plants : GeoDataFrame
        The same plants; ``hangs_share`` and ``hangs_view`` say how much hangs on each, ``replace_first`` in which
        order those that fail are replaced: first those whose loss opens most views again, then those of
        which more of a view hangs.
    missing_plants : DataFrame
        One row per plant and view that opens further without it. ``attrs["notes"]`` says on how many
        plants a closed view hangs, and which to replace first.

    Raises
    ------
    InputError
        By row as `lay_sight` and `stand_of` say.
    """
    plants, year, threshold = layers["plants"], plan.views.missing_year, plan.views.threshold
    sight = sight_of(layers, plan.views, terrain, kept)
    stand = planned_stand(plants, plan, species_table, max(year, 1))
    crowns = crowns_of(stand)
    runs = runs_of(stand, crowns)
    # The kernel numbers plants in their order along the rows.
    ids = plants["plant_id"].to_numpy()[stand.order]
    greatest, in_view = np.zeros(len(plants)), np.full(len(plants), None, object)
    reopened = np.zeros(len(plants), int)
    found = []
    for _, view_id, origin, target, light in sight.rays():
        if plan.views.leaves == "translucent":
            passes, more = light_without(origin, target, light, runs, crowns, year, TYPICAL)
            is_open, opens = passes / len(light), more / len(light)
        else:
            stopped, only = sole_blockers(origin, target, runs, crowns, year, TYPICAL, light > 0.0)
            share = light / len(light)
            is_open = float(share[~stopped].sum())
            held = only >= 0
            opens = np.bincount(only[held], weights=share[held], minlength=len(plants)).astype(
                float
            )
        for plant in np.flatnonzero(opens > EQUAL_SHARE):
            without = min(is_open + float(opens[plant]), 1.0)
            reopens = is_open <= threshold < without
            reopened[plant] += reopens
            found.append(
                {
                    "plant_id": ids[plant], "view_id": view_id, "year": year,
                    "open": round(is_open, 12), "open_without": round(without, 12),
                    "reopens": reopens,
                }
            )  # fmt: skip
        more = opens > greatest + EQUAL_SHARE
        greatest[more], in_view[more] = opens[more], view_id
    back = np.argsort(stand.order)
    order = _order(reopened[back], greatest[back].round(12))
    notes = _notes(plants, reopened[back], order, year)
    table = with_notes(table_of(MISSING_PLANTS, found), notes)
    return _hang(plants, greatest[back], in_view[back], order), table


def _order(reopened, greatest) -> np.ndarray:
    """Give the plants on which something hangs a number from 1, those that matter most first; 0 to the others."""
    order = np.zeros(len(greatest), int)
    matter = np.flatnonzero(greatest > EQUAL_SHARE)
    first = matter[np.lexsort((-greatest[matter], -reopened[matter]))]
    order[first] = np.arange(1, len(first) + 1)
    return order


def _notes(plants, reopened, order, year: int) -> list[str]:
    """Say on how many plants a closed view hangs, and which to replace first."""
    count = int((reopened > 0).sum())
    if not count:
        return []
    at = np.argsort(np.where(order > 0, order, len(order) + 1), kind="stable")[
        : min(count, MOST_NAMED)
    ]
    names = ", ".join(str(plant) for plant in plants["plant_id"].to_numpy()[at])
    matter = "1 plant matters" if count == 1 else f"{count} plants matter"
    lost = "lose it" if count == 1 else "lose one of them"
    return [
        f"{matter} most: {lost}, and somebody sees in again (year {year}, typical growth); replace first: no. {names}"
    ]


def _hang(plants, greatest, in_view, order) -> gpd.GeoDataFrame:
    told = plants.copy()
    told["replace_first"] = pd.Series(order, index=told.index, dtype=DTYPES["integer"]).where(
        order > 0
    )
    told["hangs_share"] = np.minimum(greatest.round(12), 1.0)
    told["hangs_view"] = pd.Series(in_view, index=told.index, dtype=DTYPES["text"])
    ours = [column.name for column in PLANTS.columns if column.name in told.columns]
    others = [name for name in told.columns if name not in ours and name != told.geometry.name]
    return told[[*ours, *others, told.geometry.name]]
