"""What hangs on each plant: the views again with one plant missing at a time, in one pass.

Where exactly one plant stops a ray, that plant's death opens it; where two do, neither's alone
does. So one look at every ray, counting the plants in its way and keeping the only one, tells the
open share of each view without each plant. Where leaves let light through, every plant in the way
takes some: then each ray is looked at with all its crowns and without each (`screenplan.views.lone`).
Growth is typical, leaves are on.
"""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import pandas as pd

from screenplan.contracts import MISSING_PLANTS, PLANTS
from screenplan.contracts.tables import DTYPES, table_of
from screenplan.ground.errors import refuse
from screenplan.planting.growth import TYPICAL
from screenplan.planting.species import Species
from screenplan.planting.stand import stand_of
from screenplan.views.grown import crowns_of, rows_of
from screenplan.views.lone import light_without
from screenplan.views.setting import LEAVES, Sampling, lay_setting
from screenplan.views.sole import sole_blockers

#: Light is compared at this precision: rounding only.
LEAST_SHARE = 1e-12


def find_missing(
    windows: gpd.GeoDataFrame,
    private_places: gpd.GeoDataFrame,
    planting_lines: gpd.GeoDataFrame,
    plants: gpd.GeoDataFrame,
    buildings: gpd.GeoDataFrame | None = None,
    existing_screens: gpd.GeoDataFrame | None = None,
    terrain=None,
    onlookers: gpd.GeoDataFrame | None = None,
    *,
    year: int = 10,
    threshold: float = 0.10,
    curve: str = "smooth",
    leaves: str = "opaque",
    eye_inside_m: float = 1.0,
    eye_seated_m: float = 1.2,
    eye_standing_m: float = 1.6,
    eyes_across: int = 3,
    target_spacing_m: float = 1.0,
    most_targets: int = 100,
    onlooker_spacing_m: float = 5.0,
    onlooker_reach_m: float = 60.0,
    table: Mapping[str, Species] | None = None,
) -> tuple[gpd.GeoDataFrame, pd.DataFrame]:
    """Look at the views with one plant missing at a time.

    Parameters
    ----------
    windows, private_places, planting_lines, plants : GeoDataFrame
        Layers of the contracts, in local-frame metres.
    buildings, existing_screens, onlookers : GeoDataFrame, optional
    terrain : Terrain, optional
        Ground heights; by default level ground at 0.
    year : int
        The year that is looked at.
    threshold : float
        Share of a view that may stay open for it to count as closed, 0 to below 1.
    curve : {"smooth", "straight"}
        Growth curve.
    leaves : {"opaque", "translucent"}
        As `trace_views` takes them.
    table : mapping, optional
        Species by key; by default the shipped table.

    The other parameters are those of `trace_views`.

    Returns
    -------
    plants : GeoDataFrame
        The same plants; ``hangs_share`` and ``hangs_view`` say how much hangs on each.
    missing_plants : DataFrame
        One row per plant and view that opens further without it.

    Raises
    ------
    InputError
        On parameters out of range, and by row as `lay_setting` and `stand_of` say.
    """
    if not (isinstance(year, (int, np.integer)) and year >= 0):
        raise refuse(f"{year!r} is no year to look at", "Give a whole number of 0 or more")
    if not 0.0 <= threshold < 1.0:
        raise refuse(f"the threshold {threshold} is no share", "Give a number from 0 to below 1")
    sampling = Sampling(
        eye_inside_m, eye_seated_m, eye_standing_m, eyes_across, target_spacing_m, most_targets,
        onlooker_spacing_m, onlooker_reach_m,
    )  # fmt: skip
    if leaves not in LEAVES:
        raise refuse(f"{leaves!r} says nothing of leaves", f"Write one of {', '.join(LEAVES)}")
    setting = lay_setting(
        windows, private_places, planting_lines, onlookers, buildings, existing_screens, terrain,
        sampling=sampling,
    )  # fmt: skip
    stand = stand_of(plants, years=max(year, 1), curve=curve, table=table)
    crowns = crowns_of(stand)
    rows = rows_of(stand, crowns)
    # The kernel numbers plants in their order along the rows.
    ids = plants["plant_id"].to_numpy()[stand.order]
    greatest, in_view = np.zeros(len(plants)), np.full(len(plants), None, object)
    found = []
    for _, view_id, origin, target, light in setting.rays():
        if leaves == "translucent":
            passes, more = light_without(origin, target, light, rows, crowns, year, TYPICAL)
            is_open, opens = passes / len(light), more / len(light)
        else:
            stopped, only = sole_blockers(origin, target, rows, crowns, year, TYPICAL, light > 0.0)
            share = light / len(light)
            is_open = float(share[~stopped].sum())
            opens = np.bincount(only[only >= 0], weights=share[only >= 0], minlength=len(plants))
        for plant in np.flatnonzero(opens > LEAST_SHARE):
            without = min(is_open + float(opens[plant]), 1.0)
            found.append(
                {
                    "plant_id": ids[plant], "view_id": view_id, "year": year,
                    "open": round(is_open, 12), "open_without": round(without, 12),
                    "reopens": is_open <= threshold < without,
                }
            )  # fmt: skip
        more = opens > greatest + LEAST_SHARE
        greatest[more], in_view[more] = opens[more], view_id
    back = np.argsort(stand.order)
    return _hang(plants, greatest[back], in_view[back]), table_of(MISSING_PLANTS, found)


def _hang(plants, greatest, in_view) -> gpd.GeoDataFrame:
    told = plants.copy()
    told["hangs_share"] = np.minimum(greatest.round(12), 1.0)
    told["hangs_view"] = pd.Series(in_view, index=told.index, dtype=DTYPES["text"])
    ours = [column.name for column in PLANTS.columns if column.name in told.columns]
    others = [name for name in told.columns if name not in ours and name != told.geometry.name]
    return told[[*ours, *others, told.geometry.name]]
