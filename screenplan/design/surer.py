"""Choose with reserve, until fresh draws find the views as likely closed as is asked.

At typical growth a planting that is just enough is open in every other draw. So plants count for the programme
only by the rays that they stop in more than half of the draws, each view may be asked for more than its need, and
plants are then added and taken off by the draws themselves. What is told is measured by draws that chose nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csr_array, diags_array

from screenplan.design.choice import SLACK, Choice, Limits, breaks_of, open_weight
from screenplan.design.losing import add_until_held, with_least_left
from screenplan.design.mending import make_surer, take_off
from screenplan.design.merging import merge_rays
from screenplan.design.odds import FRESH_DRAWS, Odds, measuring
from screenplan.design.programme import Solution, price_of_open
from screenplan.design.reduced import without
from screenplan.design.rounds import MORE_SHARE, Chosen, Pool, Stage, find, lay_out
from screenplan.ground.told_years import PARTS
from screenplan.views.drawn_stops import DrawnStops, Trial

#: Times that a planting is chosen, and the time for the solver in each, as a share.
TURN_SHARES = (0.5, 0.25, 0.25)
#: Asked of the draws that choose beyond the chance, because it is chosen by them.
MARGIN = 0.02
#: A plant counts by the rays that it stops in so much of the draws beyond half, as a part of what the chance is
#: beyond that: of 0.6, 0.7, 0.8 and 0.9 for a chance of 0.8 the second was cheapest on two lots (measured).
LEVEL_PART = 2 / 3
#: By how much that part rises for a view that is not as sure as it is to be, and how far.
LEVEL_STEP, MOST_LEVEL = 0.1, 0.95
#: A view that cannot be as sure as asked is to be at least so likely closed, if it can.
LIKELY = 0.5


def choose_surely(
    typical: Chosen, pool: Pool, limits: Limits, stage: Stage, odds: Odds, *, chance: float, seconds: float,
    turns: int = len(TURN_SHARES),
) -> Chosen:  # fmt: skip
    """Choose a planting that closes the views in a share of the draws.

    Parameters
    ----------
    typical : Chosen
        The planting that closes them at typical growth for the least money.
    pool, limits, stage
        As `screenplan.design.rounds.choose` takes them.
    odds : Odds
        Of the same candidates.
    chance : float
        Share of the draws in which a view should be closed.
    seconds : float
        For the solver, in all; half as much again where the kinds that are enough at typical growth are searched
        by themselves too.
    turns : int
        Times that a planting is chosen at most.

    Returns
    -------
    Chosen
        With the chance of each view by fresh draws. Views that cannot be so sure are as sure as they can be, in
        tenths, or, where that is unlikely, closed at typical growth.
    """
    stops = odds.by(stage.year)
    need, drawn_need = typical.need.copy(), typical.need.copy()
    goals = _goals(pool, odds, stops, need, chance)
    whole = pool.choice(np.ones(len(pool.rays.view), bool), need)
    limits = with_least_left(limits, pool)
    whole, asked = _asked(whole, limits, goals >= chance)
    if stage.plan.design.open_price is None:
        asked = replace(asked, open_price=price_of_open(whole, asked))
    best: Chosen | None = None
    drawn, part = goals > 0.0, 0.5 + LEVEL_PART * (goals - 0.5)
    guess: _Guess | None = None
    laid: _Guess | None = None
    trial: Trial | None = None
    last = len(TURN_SHARES[:turns])
    for turn, share in enumerate(TURN_SHARES[:turns], 1):
        level = _at_level(whole, pool, odds, stops, need, np.where(drawn, part, 0.0))
        start = None if trial is None else trial.planted
        planted, solution = find(level, asked, seconds * share, proof=False, start=start)
        wanted = (whole.weight > 0.0) & (level.closed(planted) | _wants_all(limits, stage))
        goal = np.where(wanted & (goals > 0.0), np.minimum(goals + MARGIN, 1.0), 0.0)
        trial = odds.trial(stops, drawn_need, planted)
        lacks = need - _quantiles(trial.stopped, 1.0 - goal)
        more = (goal > 0.0) & (trial.chance() < goal)
        trials = [trial]
        if not breaks_of(whole, asked, typical.planted):
            # What is enough at typical growth and a little more is cheaper at times, and its kinds close more.
            trials.append(odds.trial(stops, drawn_need, typical.planted))
            its_kinds = np.isin(level.kind, level.kind[typical.planted])
            if turn == 1 and not its_kinds[planted].all():
                other = _of_kinds(level, asked, its_kinds, seconds * share)
                trials.append(odds.trial(stops, drawn_need, other))
        for one in trials:
            if asked.least_left > 0.0:
                one.set(np.flatnonzero(add_until_held(whole, asked, one.planted) & ~one.planted))
            make_surer(one, whole, asked, goal)
            take_off(one, whole, asked, goal, typical=wanted)
        if asked.least_left > 0.0:
            # Where the draws leave too little without one kind, what is enough at typical growth stands.
            trials = [one for one in trials if not breaks_of(whole, asked, one.planted)] or trials
        trial = min(trials, key=lambda one: _judged(one, whole, goal, wanted))
        planted = trial.planted.copy()
        solution = replace(
            solution,
            planted=planted,
            cost=whole.cost(planted),
            open_weight=open_weight(whole, asked, planted),
        )
        # Measured by the rays that are followed, which takes a moment; by all of them when it seems good.
        now = _Guess(
            whole.closed(planted), odds.fresh_chance(stage.year, typical.need, planted), planted, solution, need
        )  # fmt: skip
        better = guess is None or now.rank(pool, limits, chance) < guess.rank(pool, limits, chance)
        best_guess = now if guess is None or better else guess
        failed = (goal > 0.0) & ~(now.closed & (now.chance >= goals))
        if not (better and failed.any() and turn < last):
            if best is None or best_guess is not laid:
                found, laid = best_guess.laid_out(typical, pool, stage), best_guess
                if best is None or rank(found, pool, limits, chance) < rank(
                    best, pool, limits, chance
                ):
                    best = found
            assert best.chance is not None  # it was laid out through draws
            failed = (goal > 0.0) & ~(best.closed & (best.chance >= goals))
            if not (better and failed.any() and turn < last):
                break
            assert found.chance is not None
            laid = now = best_guess = replace(now, chance=found.chance)
        guess = best_guess
        measured = _quantiles(trial.stopped, 1.0 - now.chance)
        drawn_need = np.where(failed, np.maximum(measured, drawn_need) + MORE_SHARE, drawn_need)
        lacks = np.where(more, np.maximum(lacks, 0.0) + MORE_SHARE, 0.0)
        need = np.minimum(np.maximum(need + lacks, drawn_need), pool.rays.now)
        stricter = np.minimum(part + LEVEL_STEP, MOST_LEVEL)
        may = _most(odds, stops, np.where(drawn, stricter, 0.0)) >= typical.need
        part = np.where(failed & may, stricter, part)
    assert best is not None  # of the first round, at the latest
    return best


def _of_kinds(choice: Choice, limits: Limits, kept: np.ndarray, seconds: float) -> np.ndarray:
    """Make a good planting of some of the kinds."""
    planted = np.zeros(len(kept), bool)
    planted[kept] = find(without(choice, kept), limits, seconds, proof=False)[0]
    return planted


def _judged(trial: Trial, choice: Choice, goal, wanted) -> tuple[float, float, float]:
    """Give what sorts plantings by the draws that choose: the weight that is sure, that is closed, and the cost."""
    closed = wanted & choice.closed(trial.planted)
    sure = closed & (trial.chance() >= goal)
    by_chance, by_growth = (float(choice.weight[some].sum()) for some in (sure, closed))
    return -round(by_chance, 9), -round(by_growth, 9), choice.cost(trial.planted)


@dataclass(frozen=True, eq=False)
class _Guess:
    """A planting whose views are judged by some of the rays."""

    closed: np.ndarray
    chance: np.ndarray
    planted: np.ndarray
    solution: Solution
    need: np.ndarray

    def rank(self, pool: Pool, limits: Limits, chance: float) -> tuple[float, float, float]:
        sure = self.closed & (self.chance >= chance)
        return _rank(pool, limits, sure, self.closed, self.solution.cost)

    def laid_out(self, typical: Chosen, pool: Pool, stage: Stage) -> Chosen:
        """Follow all rays, through fresh draws."""
        return lay_out(
            pool, self.planted, self.solution, price=typical.open_price, rays=len(pool.rays.view),
            need=self.need, stage=stage, chance=measuring(stage.plan, FRESH_DRAWS),
        )  # fmt: skip


def rank(found: Chosen, pool: Pool, limits: Limits, chance: float) -> tuple[float, float, float]:
    """Give what sorts plantings: the weight that is sure, that is closed, as far as it is asked for, and the cost."""
    return _rank(pool, limits, found.sure(chance), found.closed, found.solution.cost)


def _rank(pool: Pool, limits: Limits, sure, closed, cost: float) -> tuple[float, float, float]:
    asked = limits.share * pool.weight.sum()
    weights = (min(float(pool.weight[some].sum()), asked) for some in (sure, closed))
    return (*(-round(weight, 9) for weight in weights), cost)


def no_dearer(typical: Chosen, chosen: Chosen, pool: Pool, limits: Limits) -> Chosen:
    """Give what is enough at typical growth: what was chosen with reserve, if the solver found nothing as cheap."""
    ranks = [
        rank(replace(planting, chance=None), pool, limits, 0.0) for planting in (chosen, typical)
    ]
    if ranks[0] >= ranks[1]:
        return typical
    solution = replace(typical.solution, planted=chosen.planted, cost=chosen.solution.cost, open_weight=chosen.solution.open_weight, made_by=chosen.solution.made_by)  # fmt: skip
    return replace(
        chosen, solution=solution, open_price=typical.open_price, rays=typical.rays, chance=None
    )


def _wants_all(limits: Limits, stage: Stage) -> bool:
    """Tell whether every view is to be closed that can be, whatever it costs."""
    return limits.share >= 1.0 and stage.plan.design.open_price is None


def _goals(pool: Pool, odds: Odds, stops: DrawnStops, need, chance: float) -> np.ndarray:
    """Give the chance that each view is to have, (views,); 0 where it is to be closed at typical growth alone.

    A view that cannot be as sure as asked is to have the tenth below what every candidate together gives it, if
    it is more likely than not.
    """
    best = odds.trial(stops, need, np.ones(odds.plants, bool)).chance()
    tenth = np.floor(best * PARTS + SLACK) / PARTS
    goals = np.where(best >= chance, chance, np.where(tenth >= LIKELY, tenth, 0.0))
    return np.where(pool.weight > 0.0, goals, 0.0)


def _quantiles(values: np.ndarray, shares: np.ndarray) -> np.ndarray:
    """Give for each row the value that a share of it is below, (rows,)."""
    return np.array(
        [np.quantile(row, share) for row, share in zip(values, shares, strict=True)], float
    )


def _asked(whole: Choice, limits: Limits, reached: np.ndarray) -> tuple[Choice, Limits]:
    """Ask for the views that can be sure alone where they are enough."""
    asked, sure = limits.share * whole.weight.sum(), whole.weight[reached].sum()
    # What is left without one kind is told by the weights of all.
    if limits.least_left > 0.0 or not 0.0 < asked <= sure + SLACK:
        return whole, limits
    weight = np.where(reached, whole.weight, 0.0)
    return replace(whole, weight=weight), replace(limits, share=min(asked / sure, 1.0))


def _at_level(
    whole: Choice, pool: Pool, odds: Odds, stops: DrawnStops, need: np.ndarray, part: np.ndarray
) -> Choice:
    """Give the choice in which a plant counts by what it stops in so much of the draws.

    Of views that are to be closed at typical growth alone, whose part is 0, it counts by what it stops then.
    """
    rays, drawn = len(odds.taken), part > 0.0
    likely = _likely(odds, stops, part)
    one = csr_array(
        (np.ones(int(likely.sum())), (stops.plant[likely], stops.ray[likely])),
        shape=(odds.plants, rays),
    )
    other = csr_array(pool.stops[:, odds.taken]).astype(float)
    other = other @ diags_array((~drawn[odds.view]).astype(float))
    light = csr_array((odds.light, (odds.view, np.arange(rays))), shape=(len(need), rays))
    met, merged = merge_rays(csr_array(one + other).astype(bool), light)
    need = np.where(drawn, np.minimum(need, _most(odds, stops, part) - 2.0 * SLACK), need)
    return replace(whole, stops=met, light=merged, need=np.maximum(need, 0.0) + 2.0 * SLACK)


def _likely(odds: Odds, stops: DrawnStops, part: np.ndarray) -> np.ndarray:
    """Tell which pairs of plant and ray meet in so much of the draws; of a view whose part is 0, none."""
    asked = part[odds.view[stops.ray]]
    return (asked > 0.0) & (stops.share >= asked)


def _most(odds: Odds, stops: DrawnStops, part: np.ndarray) -> np.ndarray:
    """Share of each view's light that every candidate together stops so likely, (views,)."""
    met = np.zeros(len(odds.taken), bool)
    met[stops.ray[_likely(odds, stops, part)]] = True
    return np.bincount(odds.view[met], odds.light[met], len(part))
