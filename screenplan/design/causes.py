"""Why a view stays open: what its last rays pass, and what would have stopped them later."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import shapely
from scipy.sparse import csr_array

from screenplan.design.candidates import Candidates
from screenplan.design.choice import Limits
from screenplan.design.greedy import plant_greedily
from screenplan.design.programme import price_of_open
from screenplan.design.rounds import Pool
from screenplan.plan import Options
from screenplan.planting.growth import TYPICAL
from screenplan.planting.stand import Start, sizes_of
from screenplan.views.opened import Rays

#: An observer nearer than this to where plants may stand looks over them (common practice, no source).
AT_THE_LINE_M = 3.0


@dataclass(frozen=True)
class Cause:
    """Why a view stays open.

    Parameters
    ----------
    key : str
        One of `screenplan.contracts.design.CAUSES`.
    says : str
    """

    key: str
    says: str


#: Of a view that could be closed, but for which nothing is planted.
NOT_ASKED = Cause(
    "not asked",
    "The asked share of the views is closed without it: raise goal.share, or its weight",
)

#: Of a view that only plants could close that drop their leaves.
BARE = Cause(
    "bare in winter",
    "Only plants that drop their leaves stand in its way, and in winter it is open through their branches: choose "
    "evergreens too",
)


def find_causes(
    pool: Pool,
    views: Sequence[int] | np.ndarray,
    limits: Limits,
    plan: Options,
    *,
    year: int,
    enough: bool,
    later: Callable[[int], csr_array],
    narrower: Callable[[], Candidates | None] = lambda: None,
) -> dict[int, Cause]:
    """Tell why views stay open.

    Parameters
    ----------
    pool : Pool
    views : sequence of int
        Numbers of those that do.
    limits : Limits
    plan : Options
        Of it [design] and [growth].
    year : int
        Year by which views should be closed.
    enough : bool
        Whether the asked share of the views is closed without them.
    later : callable
        Gives which plants stop which rays in another year, as `find_stops` does.
    narrower : callable, optional
        Gives the candidates of a narrower kind than any that is offered; None if there is none.
    """
    if not len(views):
        return {}
    rays, every = pool.rays, np.ones(len(pool.candidates.table), bool)
    met = pool.stopped(every)
    stopped = np.bincount(rays.view[met], rays.light[met], len(rays.views))
    beyond = [view for view in views if stopped[view] < pool.need[view] - 1e-9]
    bare = np.zeros(len(rays.views), bool)
    if pool.winter is not None:
        bare = pool.winter.in_leaf(rays, met) >= pool.need - 1e-9
    last, narrower = plan.growth.years, lru_cache(narrower)
    grown = met
    if beyond and last > year:
        grown = met | (later(last).sum(axis=0) > 0)
    return {
        int(view): (
            BARE if bare[view] else _beyond_reach(int(view), pool, grown, year, last, narrower)
        )
        if view in beyond
        else NOT_ASKED
        if enough
        else _left_out(int(view), pool, limits, plan)
        for view in views
    }


def _left_out(view: int, pool: Pool, limits: Limits, plan: Options) -> Cause:
    """Tell of a view that the candidates could close which limit kept them from it."""
    only = np.zeros(len(pool.weight))
    only[view] = 1.0
    mine = pool.rays.view == view
    alone = replace(pool.choice(mine, np.where(only > 0, pool.need, 0.0)), weight=only)
    free = Limits(least_run=limits.least_run, least_group=limits.least_group)
    free = replace(free, open_price=price_of_open(alone, free))
    planted = plant_greedily(alone, free)
    if pool.weight[view] <= 0.0:
        return Cause("not asked", "Its weight is 0: nothing is planted for it")
    if not alone.closed(planted)[view]:
        return Cause(
            "limits",
            "The plants that would close it would stand on each other's ground, or in runs shorter than the least",
        )
    cost = alone.cost(planted)
    if plan.design.open_price is not None and cost > plan.design.open_price * pool.weight[view]:
        return Cause(
            "price", f"Closing it alone costs about {cost:.4g}, and it may stay open for {plan.design.open_price * pool.weight[view]:.4g}"
        )  # fmt: skip
    kept_by = [
        f"the share of views that is asked for is {limits.share:.0%}" if limits.share < 1.0 else "",
        f"the budget is {limits.budget:.4g}" if math.isfinite(limits.budget) else "",
        f"{limits.left_share:.0%} of the views must stay closed if any one kind dies out"
        if limits.left_share
        else "",
        f"at most {limits.most_kinds} kinds may be planted, and one row stands on each ground",
    ]
    return Cause(
        "limits",
        f"{int(planted.sum())} plants would close it alone, but not with what closes the others: {'; '.join(filter(None, kept_by))}",
    )


def _passed(paths: np.ndarray, candidates: Candidates) -> tuple[np.ndarray, np.ndarray]:
    """Give the pairs of a path and a stem that it passes within half a spacing."""
    stems = candidates.table.geometry.to_numpy()
    half = np.array([0.5 * option.spacing_m for option in candidates.options])
    near = half[candidates.table["option"].to_numpy(int)]
    path, stem = shapely.STRtree(stems).query(
        paths, predicate="dwithin", distance=float(near.max())
    )
    close = shapely.distance(paths[path], stems[stem]) <= near[stem]
    return path[close], stem[close]


def _remedy(paths: np.ndarray, light: np.ndarray, narrower: Candidates | None) -> str:
    """Name a narrower kind if it has ground where most of the light passes."""
    if narrower is None or not len(narrower.table):
        return ""
    passed = np.unique(_passed(paths, narrower)[0])
    if light[passed].sum() < 0.5 * light.sum():
        return ""
    kind = narrower.options[0].species
    return f". {kind.called[0].upper()}{kind.called[1:]} has room: add {kind.key} to design.kinds"


def _beyond_reach(
    view: int, pool: Pool, later: np.ndarray, year: int, last: int, narrower: Callable
) -> Cause:
    """Tell why even all candidates together leave a view open; ``later`` rays are stopped in the last year."""
    rays: Rays = pool.rays
    candidates: Candidates = pool.candidates
    mine = np.flatnonzero(rays.view == view)
    if rays.light[mine][later[mine]].sum() >= pool.need[view]:
        return Cause(
            "too early",
            f"All candidates together close it only after year {year}, by year {last} at the latest: "
            "take larger stock, a faster kind, or a later year",
        )
    left = mine[~later[mine]]
    stems = candidates.table.geometry.to_numpy()
    over, above = np.zeros(len(left), bool), np.full(len(left), np.nan)
    paths = shapely.linestrings(
        np.stack([rays.origin[left][:, :2], rays.target[left][:, :2]], axis=1)
    )
    if len(stems):
        path, stem = _passed(paths, candidates)
        over[path] = True
        lengths = np.maximum(shapely.length(paths[path]), 1e-9)
        at = shapely.line_locate_point(paths[path], stems[stem]) / lengths
        rise = rays.target[left][:, 2] - rays.origin[left][:, 2]
        heights = rays.origin[left][:, 2][path] + at * rise[path]
        np.fmin.at(above, path, heights)
    light = rays.light[left]
    if not over.any() or light[over].sum() < 0.5 * light.sum():
        return Cause(
            "no ground to plant",
            "Most rays cross ground that a rule keeps clear, a building, or another's parcel"
            f"{_remedy(paths, light, narrower())}",
        )
    tallest = max(
        float(
            sizes_of([Start(option.species, option.height_m, False, option.stock)], [last])[
                0, 0, TYPICAL, 0
            ]
        )
        for option in candidates.options
    )
    lowest = float(np.nanmin(above))
    passes = f"what stays open passes where plants may stand at {{{lowest:.1f} m}} and more, and the tallest of the kinds is {{{tallest:.1f} m}} high in year {last}"
    eyes = shapely.points(rays.origin[mine][:, :2])
    away = float(np.median(shapely.distance(eyes, shapely.multipoints(stems))))
    if away < AT_THE_LINE_M:
        return Cause(
            "wall at the boundary",
            f"It looks from {{{away:.1f} m}} beside the boundary over any screen: {passes}",
        )
    return Cause("higher than a screen", f"It looks over any screen: {passes}")
