"""Why a view that closes at typical growth is less sure than asked."""

from __future__ import annotations

import numpy as np

from screenplan.design.causes import NOT_ASKED, Cause
from screenplan.design.choice import SLACK, Limits
from screenplan.design.odds import Odds
from screenplan.design.rounds import Chosen, Pool


def find_doubts(
    chosen: Chosen, pool: Pool, limits: Limits, odds: Odds, *, chance: float, year: int
) -> dict[int, Cause]:
    """Tell of each view that is closed, but not as surely as asked, why.

    Parameters
    ----------
    chosen : Chosen
        With the chance of each view.
    pool : Pool
    limits : Limits
    odds : Odds
    chance : float
        Share of the draws that was asked for.
    year : int
    """
    sure = chosen.sure(chance)
    doubtful = np.flatnonzero(chosen.closed & ~sure)
    if not len(doubtful):
        return {}
    every = np.ones(odds.plants, bool)
    best = odds.trial(odds.by(year), chosen.need, every).chance()
    enough = pool.weight[sure].sum() >= limits.share * pool.weight.sum() - SLACK
    chances = chosen.chance
    assert chances is not None  # it was measured
    return {
        int(view): _doubt(float(chances[view]), float(best[view]), chance, enough, year)
        for view in doubtful
    }


def _doubt(found: float, best: float, chance: float, enough: bool, year: int) -> Cause:
    has = f"The chance that it is closed by year {year} is {found:.0%}, not {chance:.0%}"
    together = f"with every candidate together it would be {max(best, found):.0%}"
    if best < chance:
        return Cause(
            "chance", f"{has}; {together}: take larger stock, a faster kind, or a later year"
        )
    if enough:
        return Cause(NOT_ASKED.key, f"{has}; the asked share of the views is as sure without it")
    return Cause(
        "limits",
        f"{has}; {together}, but these have no room beside each other, or cost more than the budget",
    )
