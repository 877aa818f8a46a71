"""What animals leave: the views with every leaf gone that an animal reaches.

A crown that is browsed is cut off level at the animal's reach above the foot of its stem. Above that it is as it was.
Kinds that are known to stand browsing keep their leaves. A plant that is no taller than the reach stops no ray until
it is taller; that it may die, or grow less, is not told. Crowns count as opaque. Where browsing happens by chance,
each plant is browsed by itself or not, for good; nothing was found of how the damage of neighbours hangs together.

That bare parts stay bare: Iowa State University Extension, Horticulture and Home Pest News (read): where arborvitae
has lost its lower leaves and has no buds there, it stays bare and is not likely to grow new ones.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd

from screenplan.contracts import BROWSED_VIEWS
from screenplan.contracts.tables import table_of, with_notes
from screenplan.ground.errors import refuse
from screenplan.ground.kept import Kept
from screenplan.ground.told_years import tell_span
from screenplan.plan import DEFAULTS, Options
from screenplan.planting.draws import Draws, draw_befallen
from screenplan.planting.growth import TYPICAL
from screenplan.planting.species_model import Species
from screenplan.planting.stand import Stand, planned_stand
from screenplan.site.terrain import Terrain
from screenplan.views.cut_by_chance import cut_view, drawn_open, expected_open
from screenplan.views.grown import crowns_of, runs_of, years_to_rest
from screenplan.views.sight import Sight, sight_of
from screenplan.views.timeline import Scene, Timelines, follow_each, sum_each, years_closed
from screenplan.works.fence import ANIMALS, chosen_fence

#: Heights of fences that differ by less are the same: rolls are measured in feet or in metres.
SAME_HEIGHT_M = 0.05
BARE = (
    "Many conifers stay bare there: where arborvitae has no buds left it is not likely to grow new leaves "
    "(Iowa State University Extension, Horticulture and Home Pest News, read)"
)


def look_browsed(
    layers: Mapping[str, Any],
    *,
    plan: Options = DEFAULTS,
    terrain: Terrain | None = None,
    species_table: Mapping[str, Species] | None = None,
    kept: Kept | None = None,
) -> pd.DataFrame:
    """Follow the rays once with all leaves, and once with those gone that animals reach.

    Parameters
    ----------
    layers : mapping
        Those of `screenplan.views.trace_views`, and fence options if there are any.
    plan : Options, optional
        Of it [browsing], [growth], [views] and the animal of [fence], whose reach counts where none is given.
    terrain, species_table : optional
        By default level ground at 0, and the shipped species.
    kept : Kept, optional
        What the run has made: the sight.

    Returns
    -------
    DataFrame
        One row for each view that has a ray, by the contract ``browsed_views``, typical growth, in the season
        in which more is open.

    Raises
    ------
    InputError
        If leaves are gone only after the years that are looked at.
    """
    animal = ANIMALS[plan.fence.animal]
    reach, last = plan.browsing.reach or animal.reach_m, plan.growth.years
    fence = chosen_fence(layers.get("fence_options"))
    since = plan.browsing.from_year
    if since is None:
        since = 1 if fence is None else min(int(fence["stands_years"]), last)
    if since > last:
        raise refuse(
            f"leaves are gone from year {since} on, and the plan looks at {last} years",
            "Give an earlier year (browsing.from_year), or more years (growth.years)",
            key=plan.browsing.key("from_year"),
        )
    sight = sight_of(layers, plan.views, terrain, kept)
    grown = planned_stand(layers["plants"], plan, species_table)
    stand = grown.in_years(years_to_rest(grown))
    height = reach if plan.browsing.chance > 0.0 else 0.0
    floor = tuple(height if _is_browsed(start.species) else 0.0 for start in stand.starts)
    whole, cut = _followed(sight, stand, None), _followed(sight, stand, floor)
    fenced = whole.open[:, TYPICAL].max(axis=1)
    browsed = np.where(np.arange(fenced.shape[1]) < since, fenced, cut.open[:, TYPICAL].max(axis=1))
    closes = [years_closed(shares, plan.views.threshold, last) for shares in (fenced, browsed)]
    mixed, stays = _by_chance(sight, stand, floor, (fenced, browsed, closes[0]), plan)
    records = [
        {
            "view_id": look.view_id, "reach_m": reach, "from_year": since,
            "closes_fenced": _year(closes[0][k]), "closes_browsed": _year(closes[1][k]),
            "first_fenced": fenced[k, since], "first_browsed": browsed[k, since],
            "last_fenced": fenced[k, last], "last_browsed": browsed[k, last],
            "last_mixed": mixed[k], "stays_closed": stays[k],
            **_opens(browsed[k, : last + 1], closes[0][k], plan, stays[k]),
        }
        for k, look in enumerate(sight.looks())
        if whole.rays[k]
    ]  # fmt: skip
    table = table_of(BROWSED_VIEWS, records)
    return with_notes(table, list(_told(table, plan, stand, fence)))


def _by_chance(
    sight: Sight, stand: Stand, floor, followed, plan: Options
) -> tuple[np.ndarray, list[float | None]]:
    """Give what is open in the last year looked at, and how likely each view stays closed, if plants are browsed by chance.

    ``followed`` is the open shares with all leaves and with those gone, (views, years), and the years of closing.
    """
    fenced, browsed, closes = followed
    chance, last, threshold = plan.browsing.chance, plan.growth.years, plan.views.threshold
    mixed = fenced[:, last] + chance * (browsed[:, last] - fenced[:, last])
    stays: list[float | None] = [None] * len(mixed)
    if chance in (0.0, 1.0):
        return mixed, stays
    draws = Draws(plan.chance.draws, plan.chance.seed)
    eaten = draw_befallen(stand, draws, "browsed", chance)[stand.order]
    uncut, cut = (
        (runs_of(stand, some), some) for some in (crowns_of(stand), crowns_of(stand, floor))
    )
    for k, _, origin, target, light in sight.rays():
        # It is open at most as far as with every plant browsed.
        years = np.arange(last + 1)
        may_open = years[(years >= closes[k]) & (browsed[k, : last + 1] > threshold)]
        opens = np.zeros(draws.count, bool)
        for year in {*may_open.tolist(), last}:
            view = cut_view((origin, target), light, uncut, cut, (year, TYPICAL))
            if year == last and browsed[k, last] > fenced[k, last]:
                mixed[k] = expected_open(view, chance)
            if year in may_open:
                opens |= drawn_open(view, eaten) > threshold
        if draws.count and np.isfinite(closes[k]):
            stays[k] = 1.0 - float(opens.mean())
    return mixed, stays


def _followed(sight: Sight, stand: Stand, floor: tuple[float, ...] | None) -> Timelines:
    """Follow all rays, with the leaves gone below a height above each foot."""
    crowns = crowns_of(stand, floor)
    scene = Scene(sight.obstacles, runs_of(stand, crowns), crowns)
    return sum_each(follow_each(sight.ends(), scene), scene, (0, len(sight.pairs)))


def _is_browsed(species: Species) -> bool:
    """Tell whether animals eat a kind: all do that are not known to stand it."""
    return species.tolerances.get("browse") != "tolerant"


def _year(year: float) -> int | None:
    return int(year) if np.isfinite(year) else None


def _opens(browsed, closed: float, plan: Options, stays: float | None) -> dict[str, Any]:
    """Say whether a view that is closed behind a fence is open without, and in which years."""
    years = np.arange(len(browsed))
    worse = np.flatnonzero((years >= closed) & (browsed > plan.views.threshold))
    if not np.isfinite(closed):
        says = "open either way in the years looked at"
    elif not len(worse):
        says = "closed with and without a fence"
    else:
        most = round(100 * float(browsed[worse].max()))
        span = tell_span(worse[0], None if worse[-1] == years[-1] else worse[-1])
        may = "opens" if plan.browsing.chance == 1.0 else "may open"
        says = f"{may} without a fence {span}, up to {most} %"
        if stays is not None:
            says += f"; it stays closed with a chance of {stays:.0%}"
    return {"opens": bool(len(worse)), "says": says}


def _told(table, plan: Options, stand: Stand, fence: pd.Series | None) -> Iterator[str]:
    """Say which views open, whether a fence must stay, and how high."""
    if not len(table):
        return
    reach, since = float(table["reach_m"].iloc[0]), int(table["from_year"].iloc[0])
    eaten = {start.species.called for start in stand.starts if _is_browsed(start.species)}
    chance = plan.browsing.chance
    gone = f"With the leaves up to {{{reach:.2f} m}} gone from year {since} on"
    if chance < 1.0:
        gone = f"If each plant has lost its leaves up to {{{reach:.2f} m}} from year {since} on with a chance of {chance:.0%}"
    opening = int(table["opens"].sum())
    closing = int(table["closes_fenced"].notna().sum())
    if not eaten:
        yield "Every kind that is planted is known to stand browsing: no view opens by it"
        return
    if not opening:
        yield f"{gone}, none of the {closing} views that close opens: no fence has to stay for them"
        return
    animal = ANIMALS[plan.fence.animal]
    worse = table.loc[table["opens"], "closes_browsed"]
    until = f"until year {int(worse.max())}" if worse.notna().all() else "for as long as they shall be closed"  # fmt: skip
    verb = "open" if chance == 1.0 else "may open"
    likely = table["stays_closed"].min()
    sure = "" if pd.isna(likely) else f"; the least sure stays closed with a chance of {likely:.0%}"
    others = f"; {animal.others}" if animal.others else ""
    yield (
        f"{gone}, {opening} of the {closing} views that close {verb} again{sure}. A fence must stay {until}, "
        f"{{{animal.fence_m:.2f} m}} high to keep most {plan.fence.animal} out ({animal.source}){others}. "
        f"{_beside(fence, animal.fence_m, worse)}. {BARE}"
    )


def _beside(fence: pd.Series | None, height_m: float, needed: pd.Series) -> str:
    """Compare the fence that the plan has with the one that is needed."""
    if fence is None:
        return "The plan has no fence (fence.scheme)"
    high, years = float(fence["height_m"]), int(fence["stands_years"])
    low = high < height_m - SAME_HEIGHT_M
    early = needed.isna().any() or years < needed.max()
    has = f"The plan's fence is {{{high:.2f} m}} high and stands {years} {'year' if years == 1 else 'years'}"
    if not (low or early):
        return f"{has}, which is enough"
    short = [word for word, is_so in (("too low", low), ("not long enough", early)) if is_so]
    return f"{has}, which is {' and '.join(short)}"
