"""What a kept height leaves open: the views that the same plants close where they stand if nobody clips their tops.

Growth is typical; a view is told in the season in which more of it is open. Heights are tried in steps of `STEP_M`,
halving what is left between the kept height and the free one: what is kept higher stops all that it did before.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from screenplan.contracts import KEPT_OPEN
from screenplan.contracts.called import view_names
from screenplan.contracts.findings import PASSES, UNKNOWN, Finding
from screenplan.contracts.tables import table_of
from screenplan.ground.kept import Kept
from screenplan.ground.texts import first_few
from screenplan.plan import DEFAULTS, Options
from screenplan.planting.growth import TYPICAL
from screenplan.planting.hedges import STEP_M
from screenplan.planting.species_model import Species
from screenplan.planting.stand import Stand, planned_stand, sizes_of
from screenplan.site.terrain import Terrain
from screenplan.views.grown import years_to_rest
from screenplan.views.lost import follow_stand
from screenplan.views.sight import Sight, sight_of
from screenplan.views.timeline import Timelines, years_closed

#: So many views are named in a sentence.
MOST_NAMED = 6


def look_kept(
    layers: Mapping[str, Any],
    *,
    plan: Options = DEFAULTS,
    terrain: Terrain | None = None,
    species_table: Mapping[str, Species] | None = None,
    kept: Kept | None = None,
) -> pd.DataFrame:
    """Tell which views stay open because the rows are kept so low, and the least height that closes them.

    Parameters
    ----------
    layers : mapping
        Those of `screenplan.views.trace_views`.
    plan : Options, optional
        Of it [kept], [growth] and [views].
    terrain, species_table, kept : optional
        As for `trace_views`; species that are kept say so.

    Returns
    -------
    DataFrame
        By the contract ``kept_open``: one row for each view that the plants close as they grow freely, and as they are
        kept do not; none without a kept height.
    """
    height, in_place, last = plan.kept.height, plan.kept.in_place, plan.growth.years
    if not len(layers["plants"]):
        return table_of(KEPT_OPEN, [])
    sight = sight_of(layers, plan.views, terrain, kept)
    stand = planned_stand(layers["plants"], plan, species_table)
    free = kept_at(stand, height, None)
    years = np.union1d(years_to_rest(stand), years_to_rest(free))
    stand, free = stand.in_years(years), free.in_years(years)
    lines = follow_stand(sight, stand, plan)
    low, high = (_closed(some, plan) for some in (lines, follow_stand(sight, free, plan)))
    opens = np.flatnonzero(high & ~low & (lines.rays > 0))
    if not len(opens):
        return table_of(KEPT_OPEN, [])
    assert height is not None  # without one nothing is kept, and so nothing opens
    least = _least_height(sight, stand, opens, plan)
    ends = lines.open[:, TYPICAL].max(axis=1)[:, last]
    records = [
        {
            "view_id": look.view_id, "kept_m": height, "least_m": least, "last_open": ends[k],
            "says": _says(height, least, in_place),
        }
        for k, look in enumerate(sight.looks())
        if k in opens
    ]  # fmt: skip
    return table_of(KEPT_OPEN, records)


def _says(height_m: float, least_m: float, in_place: bool) -> str:
    closes = f"close it from {{{least_m:.1f} m}} on"
    if in_place:
        return f"kept at {{{height_m:.1f} m}} the row is too low; these plants {closes}"
    return (
        f"kept at {{{height_m:.1f} m}} the row is too low; these plants, where they stand, {closes} (a row of another "
        "kept.height is laid anew, unless kept.in_place is set)"
    )


def kept_at(stand: Stand, height_m: float | None, other_m: float | None) -> Stand:
    """Give the same plants with those that are kept at one height kept at another, or freely grown.

    Hedges that have a size of their own stay as they are. Where no height is given nothing is kept, and all do.
    """
    starts = tuple(
        start._replace(species=replace(start.species, kept_height_m=other_m))
        if start.species.kept_height_m == height_m
        else start
        for start in stand.starts
    )
    return replace(stand, starts=starts, sizes=sizes_of(starts, stand.years, stand.curve))


def _closed(lines: Timelines, plan: Options) -> np.ndarray:
    """Tell which views close in the years looked at and stay closed, typical growth, (views,)."""
    shares = lines.open[:, TYPICAL].max(axis=1)
    return np.isfinite(years_closed(shares, plan.views.threshold, plan.growth.years))


def _least_height(sight: Sight, stand: Stand, views: np.ndarray, plan: Options) -> float:
    """Give the least height, in steps, at which the plants close some views that they close freely grown, metres."""
    height = plan.kept.height
    assert height is not None  # asked for only where rows are kept at one
    grown = float(kept_at(stand, height, None).height[:, TYPICAL].max())
    low, high = 0, int(np.ceil((grown - height) / STEP_M))
    while high - low > 1:
        middle = (low + high) // 2
        tried = kept_at(stand, height, height + middle * STEP_M)
        closes = _closed(follow_stand(sight, tried, plan), plan)[views].all()
        low, high = (low, middle) if closes else (middle, high)
    return round(height + high * STEP_M, 3)


def judge_kept(kept_open, layers, plan) -> Iterator[Finding]:
    """Tell which views stay open because of the kept height, and what closes them."""
    height = plan.kept.height
    if kept_open is None or height is None:
        return
    name = "kept height"
    if not len(kept_open):
        yield Finding(
            name,
            PASSES,
            f"Kept at {{{height:.1f} m}} the rows leave no view open that the same plants would close freely grown",
        )
        return
    called = view_names(layers)
    ids = [str(view) for view in kept_open["view_id"]]
    named = first_few([called.get(view, view) for view in ids], MOST_NAMED, "; ")
    least = float(kept_open["least_m"].iloc[0])
    many = "1 view stays" if len(ids) == 1 else f"{len(ids)} views stay"
    yield Finding(
        name, UNKNOWN,
        f"{many} open because the rows are kept at {{{height:.1f} m}}: {named}. The least height at which the same "
        f"plants close {'it' if len(ids) == 1 else 'them'} where they stand is {{{least:.1f} m}}",
        mend_kept(least, plan),
    )  # fmt: skip


def mend_kept(least_m: float, plan: Options) -> str:
    """Say what closes the views that a kept height leaves open."""
    if plan.kept.in_place:
        return f"kept.height of {{{least_m:.1f} m}}"
    return (
        "kept.in_place without kept.height, by which the rows stand where free ones would and their least height is "
        "found; another kept.height alone lays them anew"
    )
