"""Choose, trace what was chosen with all rays, and ask for more where a view fails, until none does.

A view whose rays are all stopped by the choice may still fail when it is traced: the views are looked at in winter too,
when plants without leaves let light through; in every year, where the choice looks at a few later ones; and without
the heads that a chosen row comes too near to (`screenplan.views.stems.CLEAR_OF_LINE_M`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pandas as pd
import shapely
from scipy.sparse import csr_array

from screenplan.contracts import year_column
from screenplan.design.candidates import Candidates
from screenplan.design.choice import SLACK, Choice, Limits, runs_in
from screenplan.design.chosen import Layers, layers_of
from screenplan.design.losing import left_closed, not_held, open_without, with_least_left
from screenplan.design.merging import merge_rays
from screenplan.design.programme import Solution, find_planting, price_of_open
from screenplan.design.reduced import useful_plants, without
from screenplan.design.standing import NONE_STANDS, StandingPlants
from screenplan.design.winter import Winter
from screenplan.ground.kept import Kept
from screenplan.ground.told_years import DRAWN
from screenplan.plan import Options
from screenplan.plan.planting import Chance
from screenplan.planting.hedges import living_kind
from screenplan.planting.species_model import Species
from screenplan.site.terrain import Terrain
from screenplan.views.opened import Rays
from screenplan.views.views import trace_views

#: Times that a planting is chosen.
MOST_ROUNDS = 5
#: Groups of rays that a programme holds; of more an even choice of the rays of each view is taken.
MOST_GROUPS = 6000
#: Share of a view's light that is asked for beyond what it failed by or lacks, so that few rounds are enough.
MORE_SHARE = 0.005
#: Nothing is drawn.
UNDRAWN = Chance(draws=0)


@dataclass(frozen=True, eq=False)
class Pool:
    """All candidates and all rays.

    Parameters
    ----------
    candidates : Candidates
    rays : Rays
    stops : csr_array of bool, (plants, rays)
    weight : ndarray, (views,)
    exclusive : list of ndarray
    need : ndarray, (views,)
        Share of each view's light that must be stopped.
    winter : Winter or None
        None where every plant keeps its leaves.
    """

    candidates: Candidates
    rays: Rays
    stops: csr_array
    weight: np.ndarray
    exclusive: list[np.ndarray]
    need: np.ndarray
    winter: Winter | None = None

    def stopped(self, planted) -> np.ndarray:
        """Tell which rays some plants stop, (rays,)."""
        return self.stops[np.asarray(planted, bool)].sum(axis=0) > 0

    def choice(self, taken: np.ndarray, need: np.ndarray) -> Choice:
        """Give the choice by some of the rays, which stand for all of their view."""
        rays, options = self.rays, self.candidates.options
        count, views = int(taken.sum()), len(rays.views)
        light, view = rays.light[taken], rays.view[taken]
        light = light * (rays.now / np.maximum(np.bincount(view, light, views), SLACK))[view]
        shares = csr_array((light, (view, np.arange(count))), shape=(views, count))
        stops, merged = merge_rays(csr_array(self.stops[:, np.flatnonzero(taken)]), shares)
        option = self.candidates.table["option"].to_numpy(int)
        kinds, living, genera = (
            np.unique(names, return_inverse=True)[1]
            for names in (
                [offered.species.key for offered in options],
                [living_kind(offered.species.key) for offered in options],
                [offered.species.genus for offered in options],
            )
        )
        price = np.array([offered.price for offered in options], float)[option]
        stretch = self.candidates.table["stretch"]
        return Choice(
            np.where(self.candidates.stands, 0.0, price),
            stretch.to_numpy(int),
            # Of a mixture all plants are of its first option here, so that it may stand as a whole.
            self.candidates.table.groupby(stretch)["option"].transform("min").to_numpy(int),
            kinds[option], genera[option], tuple(self.exclusive), stops, merged,
            np.where(need > 0.0, need + 2.0 * SLACK, 0.0), self.weight, self.candidates.mixed, living[option],
        )  # fmt: skip


@dataclass(frozen=True, eq=False)
class Chosen:
    """What was chosen.

    Parameters
    ----------
    planted : ndarray of bool, (plants,)
    solution : Solution
        Of the last programme; its bound is that of the views as they are asked for.
    open_price : float
        What weight 1 that stays open counts.
    rays : int
        Rays in the last programme.
    layers : Layers or None
        None if nothing is planted.
    runs : int
    closed_in : ndarray, (views,)
        Year from which each stays closed, by the views as they are traced; NaN for none.
    open_share : ndarray, (views,)
        Share that is open in the year.
    closed : ndarray of bool, (views,)
    need : ndarray, (views,)
        Share of each view's light that was asked for in the end.
    chance : ndarray, (views,), or None
        Share of fresh draws in which each is closed by the year; None if none were made.
    by_draws : ndarray, (views, 3), or None
        Years by which each is closed in 1, 5 and 9 of 10 draws; NaN for never.
    """

    planted: np.ndarray
    solution: Solution
    open_price: float
    rays: int
    layers: Layers | None
    runs: int
    closed_in: np.ndarray
    open_share: np.ndarray
    closed: np.ndarray
    need: np.ndarray
    chance: np.ndarray | None = None
    by_draws: np.ndarray | None = None

    def closed_weight(self, pool: Pool) -> float:
        """Give the weight of the views that are closed."""
        return float(pool.weight[self.closed].sum())

    def open_views(self) -> np.ndarray:
        """Give the numbers of the views that stay open."""
        return np.flatnonzero(~self.closed)

    def sure(self, chance: float) -> np.ndarray:
        """Tell which views are closed, and in that share of the draws at least, (views,)."""
        return self.closed if self.chance is None else self.closed & (self.chance >= chance)


@dataclass(frozen=True, eq=False)
class Stage:
    """What the views are traced with.

    Parameters
    ----------
    layers : mapping
        Of which the sight is laid.
    plan : Options
    terrain : Terrain or None
    species_table : mapping or None
        Species by key.
    year : int
        Year by which views should be closed.
    standing : StandingPlants, optional
    kept : Kept, optional
        What the run has made: the sight.
    """

    layers: Mapping[str, Any]
    plan: Options
    terrain: Terrain | None
    species_table: Mapping[str, Species] | None
    year: int
    standing: StandingPlants = NONE_STANDS
    kept: Kept = field(default_factory=Kept)


def choose(
    pool: Pool, limits: Limits, stage: Stage, seconds: float, *, proof: bool = True
) -> Chosen:
    """Choose a planting that the views themselves find good; what an open view counts is put in here.

    Without a proof a good planting is enough, and its bound is worth no time.
    """
    plan = stage.plan
    taken, need, bound = _sample(pool), pool.need.copy(), 0.0
    best: Chosen | None = None
    least: tuple[float, ...] = ()
    planted: np.ndarray | None = None
    limits = with_least_left(limits, pool)
    for turn in range(MOST_ROUNDS):
        choice = pool.choice(taken, need)
        price = plan.design.open_price
        price = price_of_open(choice, limits) if price is None else price
        asked = replace(limits, open_price=price)
        in_turn = seconds / (1 if turn == 0 else 2)
        # What was found for the needs of the round before is enough to start from where no proof is asked.
        start = None if proof else planted
        planted, solution = find(choice, asked, in_turn, proof=proof, start=start)
        if turn == 0 or (need == pool.need).all():
            bound = solution.bound
        solution = replace(solution, bound=min(bound, solution.counts))
        whole = pool.choice(np.ones(len(taken), bool), need)
        on_all = whole.closed(planted)
        failed = choice.closed(planted) & ~on_all
        if limits.least_left > 0.0:
            failed |= not_held(choice, whole, limits, planted)
        if failed.any() and not taken.all():
            # All rays of the views that a choice of them did not hold.
            taken = taken | failed[pool.rays.view]
            continue
        found = lay_out(
            pool, planted, solution, price=price, rays=int(taken.sum()), need=need, stage=stage
        )
        failed, shares, keeps = on_all & ~found.closed, found.open_share, True
        if limits.least_left > 0.0:
            keeps, opened = _left_without(found, whole, pool, limits, stage)
            failed, shares = failed | (opened > 0.0), np.maximum(shares, opened)
        # What keeps to the limit as the views tell it comes before what closes more.
        rank = (not keeps, *_rank(found, pool))
        if best is None or rank < least:
            best, least = found, rank
        if not failed.any():
            break
        over = np.maximum(shares - plan.views.threshold, 0.0) + MORE_SHARE
        need = np.where(failed, np.minimum(need + over, pool.rays.now), need)
    if best is None:
        assert price is not None  # a round has set it
        best = lay_out(
            pool, planted, solution, price=price, rays=int(taken.sum()), need=need, stage=stage
        )
    return best


def _left_without(
    found: Chosen, whole: Choice, pool: Pool, limits: Limits, stage: Stage
) -> tuple[bool, np.ndarray]:
    """Tell whether the views themselves leave enough closed whichever kind dies out, and where not, what is open.

    Open of each view is what is so without some kind without which the choice by all rays held it closed, (views,). Where
    nothing is planted not enough is closed.
    """
    opened, threshold = np.zeros(len(pool.weight)), stage.plan.views.threshold
    if found.layers is None:
        return False, opened
    left = open_without(found.layers, stage, pool.rays.views)
    if left_closed(left, pool, threshold) >= limits.least_left - SLACK:
        return True, opened
    keys = sorted({living_kind(option.species.key) for option in pool.candidates.options})
    for kind, held in whole.left_closed(found.planted).items():
        share = left[keys[kind]]
        opened = np.maximum(opened, np.where(held & (share > threshold), share, 0.0))
    return False, opened


def _rank(found: Chosen, pool: Pool) -> tuple[float, float]:
    return (-found.closed_weight(pool), found.solution.cost)


def find(
    choice: Choice,
    limits: Limits,
    seconds: float,
    *,
    proof: bool = True,
    start: np.ndarray | None = None,
) -> tuple[np.ndarray, Solution]:
    """Solve without the plants that are of no use; without a proof a good planting is enough, as is one to start from."""
    longest = int((choice.least_ends(limits) - np.arange(len(choice.price))).max(initial=0)) + 1
    kept = useful_plants(
        choice.stops, choice.stretch, max(limits.least_run, longest), limits.least_gap
    )
    solution = find_planting(
        without(choice, kept),
        limits,
        seconds=seconds,
        proof=proof,
        start=None if start is None else start[kept],
    )
    planted = np.zeros(len(kept), bool)
    planted[kept] = solution.planted
    return planted, solution


def _sample(pool: Pool) -> np.ndarray:
    """Take all rays, or an even choice of each view's if they are too many."""
    count, views = len(pool.rays.view), max(len(pool.rays.views), 1)
    taken = np.ones(count, bool)
    if merge_rays(pool.stops, csr_array((1, count)))[0].shape[1] <= MOST_GROUPS:
        return taken
    # By chance, but the same in every run: a step would fall in with the grid of the eyes.
    order = np.random.default_rng(0).permutation(count)
    for view in range(views):
        mine = order[pool.rays.view[order] == view]
        taken[mine[max(MOST_GROUPS // views, 1) :]] = False
    return taken


def lay_out(
    pool: Pool,
    planted,
    solution,
    *,
    price: float,
    rays: int,
    need,
    stage: Stage,
    chance: Chance = UNDRAWN,
) -> Chosen:
    """Lay out what was chosen and trace the views through it, through draws too if they are asked for."""
    plan, year = stage.plan, stage.year
    planted = planted & ~pool.candidates.stands
    runs = runs_in(pool.candidates.table["stretch"].to_numpy(int), planted)
    runs = _in_order(pool.candidates, runs, stage.layers["sides"])
    views = len(pool.rays.views)
    if not runs and not stage.standing.count:
        never, none = np.full(views, np.nan), np.zeros(views, bool)
        drawn = None if chance.draws == 0 else np.zeros(views)
        return Chosen(planted, solution, price, rays, None, 0, never, pool.rays.now, none, need, drawn)  # fmt: skip
    made = layers_of(pool.candidates, runs, stage.terrain, stage.standing)
    looked = plan.model_copy(
        update={
            "views": plan.views.model_copy(update={"report_years": (year,)}),
            "chance": chance.model_copy(update={"year": year}),
        }
    )
    traced = trace_views(
        {**stage.layers, "planting_lines": made.planting_lines, "plants": made.plants},
        plan=looked, terrain=stage.terrain, species_table=stage.species_table, kept=stage.kept,
        second_sample=False,
    )[0].set_index("view_id").reindex(pool.rays.views)  # fmt: skip
    closed_in = traced["year_closed"].astype("Float64").to_numpy(float, na_value=np.nan)
    is_open = pd.to_numeric(traced[year_column("open", year)]).to_numpy(float, na_value=np.nan)
    drawn, by_draws = None, None
    if chance.draws:
        drawn = traced["chance"].to_numpy(float)
        by_draws = traced[list(DRAWN)].astype("Float64")
        by_draws = by_draws.to_numpy(float, na_value=np.nan)
    return Chosen(
        planted, solution, price, rays, made, len(runs), closed_in,
        np.where(np.isnan(is_open), 0.0, is_open), closed_in <= year, need, drawn, by_draws,
    )  # fmt: skip


def _in_order(candidates: Candidates, runs: list[np.ndarray], sides) -> list[np.ndarray]:
    """Sort runs by the sides, anticlockwise, and along each; inner lines come last."""
    names = [str(name) for name in sides["side_id"]]
    table = candidates.table

    def place(run):
        ground, stem = str(table["ground"].iloc[run[0]]), table.geometry.iloc[run[0]]
        if ground not in names:
            return (len(names), ground, float(table["station_m"].iloc[run[0]]))
        number = names.index(ground)
        return (number, "", float(shapely.line_locate_point(sides.geometry.iloc[number], stem)))

    return sorted(runs, key=place)
