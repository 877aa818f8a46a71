"""What was lost: the views again with the plants gone that have died, and with new ones in their places.

A plant that was found dead in a year stands until the beginning of the next one, and is gone from then on, or is
followed by a plant of the same kind and stock that begins anew. Growth is typical; a view is told in the season in
which more of it is open.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd

from screenplan.contracts import LOST_PLANTS, LOST_VIEWS
from screenplan.contracts.tables import records_of, table_of, with_notes
from screenplan.ground.kept import Kept
from screenplan.ground.texts import first_few
from screenplan.ground.told_years import tell_span
from screenplan.plan import DEFAULTS, Options
from screenplan.planting.growth import TYPICAL
from screenplan.planting.maturity import MATURE_YEAR
from screenplan.planting.own_lost import Lost, find_lost_plants
from screenplan.planting.species import species_of
from screenplan.planting.species_model import Species
from screenplan.planting.stand import Stand, planned_stand
from screenplan.site.terrain import Terrain
from screenplan.views.crowns import MOST_YEARS
from screenplan.views.grown import crowns_of, runs_of, years_to_rest
from screenplan.views.sight import Sight, sight_of
from screenplan.views.timeline import Scene, Timelines, follow_each, sum_each, years_closed

#: So many plants are named by their numbers in a sentence.
MOST_NAMED = 12


def tell_lost(
    layers: Mapping[str, Any],
    *,
    plan: Options = DEFAULTS,
    terrain: Terrain | None = None,
    species_table: Mapping[str, Species] | None = None,
    kept: Kept | None = None,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Tell which plants are lost, what to order again, and which views that opens.

    Parameters
    ----------
    layers : mapping
        Those of `screenplan.views.trace_views`, and ``measured_plants``, of which the rows count that are
        marked as lost.
    plan : Options, optional
        Of it [growth], [views] and the day of planting.
    terrain, species_table : optional
        By default level ground at 0, and the shipped species.
    kept : Kept, optional
        What the run has made: the sight.

    Returns
    -------
    lost_plants : DataFrame
        One row for each plant that is lost. ``attrs["notes"]`` says what to order again.
    lost_views : DataFrame
        One row for each view that has a ray; none without lost plants. ``attrs["notes"]`` says which open, and until when.

    Raises
    ------
    InputError
        As `find_lost_plants` says.
    """
    plants, last = layers["plants"], plan.growth.years
    lost = find_lost_plants(layers.get("measured_plants"), plants, plan, species_table)
    told = _lost_plants(plants, lost, species_table)
    if not len(lost.plant):
        return told, table_of(LOST_VIEWS, [])
    sight = sight_of(layers, plan.views, terrain, kept)
    grown = planned_stand(plants, plan, species_table)
    # As many years more as the youngest new plant is behind.
    years = years_to_rest(grown)
    stand = grown.in_years(_longer(years, int(lost.found.max()) + 1))
    whole, bare, again = (
        follow_stand(sight, some, plan)
        for some in (
            stand,
            after_loss(stand, lost, replanted=False),
            after_loss(stand, lost, replanted=True),
        )
    )
    shares = [lines.open[:, TYPICAL].max(axis=1) for lines in (whole, bare, again)]
    closes = [years_closed(some, plan.views.threshold, last) for some in shares]
    records = [
        _view(look.view_id, [some[k] for some in closes], shares[2][k, : last + 1], plan)
        for k, look in enumerate(sight.looks())
        if whole.rays[k]
    ]
    table = table_of(LOST_VIEWS, records)
    return told, with_notes(table, _notes(table))


def after_loss(stand: Stand, lost: Lost, *, replanted: bool) -> Stand:
    """Give a stand in which plants are gone from the year after they were found dead, or new ones begin in it.

    Parameters
    ----------
    stand : Stand
        In years from 0 on one by one; grown plants may be last.
    lost : Lost
    replanted : bool
        Whether plants of the same kind and stock take their places.
    """
    starts, start, sizes = list(stand.starts), stand.start.copy(), [stand.sizes]
    where: dict[tuple[int, int], int] = {}
    for plant, found in zip(lost.plant, lost.found, strict=True):
        begins = stand.start[plant], int(found) + 1
        if begins not in where:
            where[begins] = len(starts)
            starts.append(stand.starts[begins[0]])
            sizes.append(_since(stand, *begins, replanted)[:, None])
        start[plant] = where[begins]
    return replace(stand, starts=tuple(starts), start=start, sizes=np.concatenate(sizes, axis=1))


def _since(stand: Stand, start: int, year: int, replanted: bool) -> np.ndarray:
    """Give the sizes of a plant up to a year, and from it on those of a new one or none, (4, growths, years)."""
    sizes = stand.sizes[:, start].copy()
    after = np.flatnonzero(stand.years >= year)
    young = np.where(stand.years[after] == MATURE_YEAR, after, after - year)
    sizes[..., after] = sizes[..., young] if replanted else 0.0
    return sizes


def _longer(years: np.ndarray, more: int) -> np.ndarray:
    """Give so many more years before those of grown plants, as far as there are masks for them."""
    grown = years[-1:] if years[-1] == MATURE_YEAR else years[:0]
    each = len(years) - len(grown) + more
    return np.append(np.arange(min(each, MOST_YEARS - len(grown))), grown)


def follow_stand(sight: Sight, stand: Stand, plan: Options) -> Timelines:
    """Follow all rays past a stand in its years, as [views] says of leaves."""
    crowns = crowns_of(stand)
    dim = plan.views.threshold if plan.views.leaves == "translucent" else None
    scene = Scene(sight.obstacles, runs_of(stand, crowns), crowns, dim)
    return sum_each(follow_each(sight.ends(), scene), scene, (0, len(sight.pairs)))


def _lost_plants(plants, lost: Lost, species_table) -> pd.DataFrame:
    rows = records_of(plants.iloc[lost.plant])
    records = [row | {"found": found} for row, found in zip(rows, lost.found, strict=True)]
    table = table_of(LOST_PLANTS, records)
    if table.empty:
        return table
    count = len(table)
    of = table.groupby(["species", "stock", "stock_height_m"], sort=True, dropna=False).size()
    order = "; ".join(
        f"{number} {species_of(kind, species_table).called}, {stock}, {{{height:.2f} m}}"
        for (kind, stock, height), number in of.items()
    )
    lost_of = "1 plant is" if count == 1 else f"{count} plants are"
    note = f"{lost_of} lost of {len(plants)}: no. {first_few(list(table['plant_id']), MOST_NAMED)}. Order again: {order}"
    return with_notes(table, [note])


def _view(view_id: str, closes: list[float], shares: np.ndarray, plan: Options) -> dict[str, Any]:
    """Say of a view when it closes with all plants, without the lost ones and with new ones, and when it is open again."""
    whole, bare, again = (int(year) if np.isfinite(year) else None for year in closes)
    years = np.arange(len(shares))
    worse = np.flatnonzero((years >= closes[0]) & (shares > plan.views.threshold))
    opens = bool(len(worse))
    return {
        "view_id": view_id, "closes": whole, "closes_bare": bare, "closes_replanted": again, "opens": opens,
        "open_from": worse[0] if opens else None, "open_until": worse[-1] if opens else None,
        "most_open": shares[worse].max() if opens else None,
        "says": _says(whole, bare, again, worse, shares),
    }  # fmt: skip


def _says(whole, bare, again, worse, shares) -> str:
    if whole is None:
        return "open in the years looked at with every plant"
    if whole == bare == again:
        return "closed as before"
    if len(worse):
        span = tell_span(worse[0], None if again is None else worse[-1])
        says = f"open {span}, up to {shares[worse].max():.0%}, if they are replanted"
    else:
        says = "closed as before if they are replanted"
    if bare is None:
        return f"{says}; open to the end if they are not"
    return f"{says}; closed from year {bare} on if they are not"


def _notes(table: pd.DataFrame) -> Iterator[str]:
    closing, opening = int(table["closes"].notna().sum()), table.loc[table["opens"]]
    if not closing:
        return
    bare = int((table["closes"].notna() & table["closes_bare"].isna()).sum())
    stay = (
        "without new plants all close as well"
        if not bare
        else f"without new plants {bare} of them {'stays' if bare == 1 else 'stay'} open to the end"
    )
    if opening.empty:
        yield f"If what is lost is replanted, none of {closing} views that close opens; {stay}"
        return
    until = "to the end of the years looked at"
    if opening["closes_replanted"].notna().all():
        until = f"to year {int(opening['open_until'].max())} at the latest"
    verb = "is" if len(opening) == 1 else "are"
    yield (
        f"If what is lost is replanted, {len(opening)} of {closing} views that close {verb} open until "
        f"the new plants have grown, {until}; {stay}"
    )
