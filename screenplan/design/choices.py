"""The choice to be made: what sooner, surer and cheaper cost, each a planting of its own beside the chosen one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from screenplan.design.choice import SLACK, Limits
from screenplan.design.odds import FRESH_DRAWS, Odds, measuring
from screenplan.design.rounds import Chosen, Pool, Stage, choose, lay_out
from screenplan.design.surer import choose_surely
from screenplan.ground.told_years import asked_chance

#: Years that are tried beside the one that is asked for.
YEARS = (3, 5, 7, 10, 15, 20)
#: How many of them before it, and after it.
SOONER, LATER = 2, 1
#: Chances that are tried: the first that is greater than the one that is asked for.
CHANCES = (0.8, 0.9, 0.95)
#: Part of the money, or of the views where there are no prices, for the cheaper one.
PART = 0.5
#: Time for the solver for each, as a part of that for the design.
TIME_SHARE = 0.15
#: Times that each is chosen surely.
TURNS = 2


@dataclass(frozen=True)
class Wish:
    """What else might be asked for.

    Parameters
    ----------
    key, name : str
    settings : tuple of str
        What of the plan is another, as the command line takes it.
    year : int
    chance : float
        0 for typical growth alone.
    budget : float or None
    share : float
        Share of the views that should be closed.
    """

    key: str
    name: str
    settings: tuple[str, ...]
    year: int
    chance: float
    budget: float | None
    share: float


@dataclass(frozen=True, eq=False)
class Point:
    """A planting by a wish.

    Parameters
    ----------
    wish : Wish
    pool : Pool
        Of the wish's year.
    typical : Chosen
        What is enough at typical growth, of which the proof is.
    found : Chosen
    """

    wish: Wish
    pool: Pool
    typical: Chosen
    found: Chosen

    @property
    def mean_chance(self) -> float:
        """Chance of the views, by their weights."""
        return float((self.pool.weight * self.found.chance).sum() / self.pool.weight.sum())


def list_wishes(
    asked: Wish, last: int, *, cost: float, priced: bool, least: float = 0.0
) -> list[Wish]:
    """List what is tried beside what is asked for.

    Parameters
    ----------
    asked : Wish
    last : int
        Last year that is looked at.
    cost : float
        Of the chosen planting.
    priced : bool
        Whether that is money.
    least : float
        What the cheapest run costs.

    Examples
    --------
    >>> asked = Wish("designed", "the design", (), 10, 0.8, None, 1.0)
    >>> [wish.name for wish in list_wishes(asked, 30, cost=900.0, priced=True)]
    ['typical growth alone', 'surer, 9 in 10', 'by year 7', 'by year 5', 'by year 15', 'half the money']
    """
    wishes = []
    if asked.chance:
        wishes.append(replace(asked, key="typical", name="typical growth alone", chance=0.0, settings=("design.chance=0",)))  # fmt: skip
    for chance in [one for one in CHANCES if one > asked.chance][:1]:
        wishes.append(replace(asked, key="surer", name=f"surer, {asked_chance(chance)}", chance=chance, settings=(f"design.chance={chance:g}",)))  # fmt: skip
    sooner = [year for year in reversed(YEARS) if year < asked.year][:SOONER]
    later = later_years(asked.year, last)
    wishes += [
        replace(asked, key=f"year {year}", name=f"by year {year}", year=year, settings=(f"design.year={year}",))
        for year in (*sooner, *later)
    ]  # fmt: skip
    if priced and PART * cost < least:
        return wishes
    if priced:
        budget = round(PART * cost, 2)
        wishes.append(replace(asked, key="cheaper", name="half the money", budget=budget, settings=(f"design.budget={budget:g}",)))  # fmt: skip
    else:
        share = round(PART * asked.share, 4)
        wishes.append(replace(asked, key="cheaper", name="half the views", share=share, settings=(f"goal.share={share:g}",)))  # fmt: skip
    return wishes


def later_years(year: int, last: int) -> list[int]:
    """Give the years that are tried after the one that is asked for.

    Examples
    --------
    >>> later_years(10, 30), later_years(10, 12)
    ([15], [])
    """
    return [later for later in YEARS if year < later <= last][:LATER]


def find_points(
    asked: Point,
    wishes: list[Wish],
    limits: Limits,
    odds: Odds,
    stage: Stage,
    *,
    pool_in: Callable[[int], Pool],
) -> tuple[list[Point], list[str]]:
    """Find a planting for each wish; what is tried with draws, rays and candidates is found once.

    Parameters
    ----------
    asked : Point
        The chosen planting.
    wishes : list of Wish
    limits : Limits
    odds : Odds
    stage : Stage
    pool_in : callable
        Gives the pool of a year.

    Returns
    -------
    points : list of Point
        The chosen one first; those that are the same planting as another, or close nothing, are left out.
    notes : list of str
        What was left out, and why.
    """
    points, notes = [asked], []
    pools = {asked.wish.year: asked.pool}
    for wish in wishes:
        if wish.year not in pools:
            pools[wish.year] = pool_in(wish.year)
        point = _point(asked, wish, pools[wish.year], limits, odds, stage)
        said = _left_out(point, points)
        if said:
            notes.append(said)
        else:
            points.append(point)
    return points, notes


def _point(asked: Point, wish: Wish, pool: Pool, limits: Limits, odds: Odds, stage: Stage) -> Point:
    """Find the planting of one wish."""
    limits = replace(
        limits, share=wish.share, budget=np.inf if wish.budget is None else wish.budget
    )
    stage = replace(stage, year=wish.year)
    seconds = TIME_SHARE * stage.plan.design.seconds
    if wish.key in ("typical", "surer") and asked.typical.layers is not None:
        typical = asked.typical
    else:
        typical = choose(pool, limits, stage, seconds / 2.0, proof=False)
    if typical.layers is None:
        return Point(wish, pool, typical, typical)
    if wish.key == "surer":
        sure = pool.weight[asked.found.sure(wish.chance)].sum()
        if sure >= wish.share * pool.weight.sum() - SLACK:
            # The chosen planting is as sure already.
            return Point(wish, pool, typical, asked.found)
    if wish.chance:
        found = choose_surely(
            typical,
            pool,
            limits,
            stage,
            odds,
            chance=wish.chance,
            seconds=seconds / 2.0,
            turns=TURNS,
        )
    else:
        found = measured(typical, pool, stage)
    return Point(wish, pool, typical, found)


def measured(chosen: Chosen, pool: Pool, stage: Stage) -> Chosen:
    """Give a planting with the chance of each view by fresh draws."""
    return lay_out(
        pool, chosen.planted, chosen.solution, price=chosen.open_price, rays=chosen.rays, need=chosen.need,
        stage=stage, chance=measuring(stage.plan, FRESH_DRAWS),
    )  # fmt: skip


def _left_out(point: Point, points: list[Point]) -> str | None:
    """Say why a point is no choice beside others; None if it is one."""
    name = point.wish.name
    if point.found.layers is None or not point.found.closed.any():
        return f"Choices: {name}: nothing that may be planted closes a view"
    for other in points:
        if np.array_equal(point.found.planted, other.found.planted):
            return f"Choices: {name}: the same plants as {other.wish.name}; nothing is gained by more, nor saved by waiting"  # fmt: skip
    asked = points[0]
    if (
        point.wish.key == "surer"
        and point.mean_chance <= asked.mean_chance
        and point.found.solution.cost >= asked.found.solution.cost
    ):
        return f"Choices: {name}: no planting was found that is surer than {asked.wish.name}; nothing is gained by more plants"
    return None


def command_of(wish: Wish) -> str:
    """Give the command by which a wish is planned in full.

    Examples
    --------
    >>> command_of(Wish("year 7", "by year 7", ("design.year=7",), 7, 0.8, None, 1.0))
    'screenplan run PLAN --set design.year=7'
    """
    return " ".join(["screenplan run PLAN", *(f"--set {one}" for one in wish.settings)])


def says_of(point: Point, asked: Point, *, priced: bool) -> str:
    """Say what a choice costs and brings beside the chosen one."""
    if point is asked:
        return f"Chosen because the plan asks for it: {_aim(point.wish)}"
    plants = int(point.found.planted.sum()) - int(asked.found.planted.sum())
    cost = point.found.solution.cost - asked.found.solution.cost
    closed = int(point.found.closed.sum()) - int(asked.found.closed.sum())
    money = f"{abs(cost):,.2f}" if priced else f"a weight of {abs(cost):.4g}"
    parts = [
        _more(plants, "plant", "plants"),
        "the cost is the same" if abs(cost) < 0.005 else f"{money} {'more' if cost > 0 else 'less'}",
        _more(closed, "view closed at typical growth", "views closed at typical growth"),
        f"mean chance {point.mean_chance:.0%}, and not {asked.mean_chance:.0%}",
    ]  # fmt: skip
    return f"{_aim(point.wish)}: {'; '.join(parts)}"


def _aim(wish: Wish) -> str:
    by = f"by year {wish.year}"
    return f"{by} at typical growth" if not wish.chance else f"{by} with a chance of {asked_chance(wish.chance)}"  # fmt: skip


def _more(count: int, one: str, many: str) -> str:
    if not count:
        return f"as many {many}"
    return f"{abs(count)} {one if abs(count) == 1 else many} {'more' if count > 0 else 'fewer'}"
