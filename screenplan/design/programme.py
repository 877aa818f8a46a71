"""The planting that counts least, by integer programmes, and a bound below all of them; greedy beside it.

The programme of each set of kinds is solved by itself, and where time is short a good planting is made better
part by part.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array, eye_array

from screenplan.design.choice import SLACK, Choice, Limits, breaks_of, counts, open_weight
from screenplan.design.clock import Clock
from screenplan.design.formulation import SAME_SHARE, before, members, programme_of, solve
from screenplan.design.greedy import plant_greedily
from screenplan.design.search import Search

#: Share of the time in which good plantings are found; of what is left then, that for its parts. The rest is for the
#: proof.
GOOD_SHARE, PARTS_SHARE = 0.5, 0.3
#: Of the time for parts the most that one takes, and about the plants that are solved anew at a time.
PART_SHARE, PLANTS_AT_A_TIME = 0.2, (60, 120, 240)
#: Weights are told apart to this, and differences that are a smaller share of the least weight count as that
#: share: prices of what stays open would be beyond what the solver can add up.
FINEST, FINEST_SHARE = 1e-4, 0.01


@dataclass(frozen=True, eq=False)
class Solution:
    """A planting, and what is proven of it.

    Parameters
    ----------
    planted : ndarray of bool, (plants,)
    cost : float
        Price of its plants.
    open_weight : float
        Weight below the asked share that stays open.
    counts : float
        Cost, and the price of what stays open.
    bound : float
        No planting that keeps to the limits counts less.
    made_by : str
        "programme", "parts" of it, or "greedy".
    in_time : bool
        Whether the solver came to its end.
    """

    planted: np.ndarray
    cost: float
    open_weight: float
    counts: float
    bound: float
    made_by: str
    in_time: bool

    @property
    def proven(self) -> bool:
        """Whether nothing better can be among the candidates."""
        return self.counts - self.bound <= SAME_SHARE * max(self.counts, 1.0) + SLACK

    def least_cost(self, open_price: float) -> float:
        """Least that a planting costs which leaves no more weight open, by the bound."""
        return min(max(self.bound - open_price * self.open_weight, 0.0), self.cost)

    def least_open(self, open_price: float) -> float:
        """Least weight that stays open of whatever costs no more, by the bound."""
        return min(max((self.bound - self.cost) / open_price, 0.0), self.open_weight)

    def gap(self, open_price: float) -> float:
        """Share of the cost that might be saved with no more weight open, by the bound."""
        least = self.least_cost(open_price)
        return 0.0 if self.proven or self.cost <= 0.0 else (self.cost - least) / self.cost


def price_of_open(choice: Choice, limits: Limits) -> float:
    """Price of weight 1 that stays open, high enough that money is never saved by leaving a view open.

    To close more never costs more than all plants that there are, nor more than the budget. Of weights that
    have no common part the smallest differences may still be left open.
    """
    return 1.01 * max(_dearest(choice, limits), 1.0) / least_difference(choice, limits)


def least_difference(choice: Choice, limits: Limits) -> float:
    """Give the least by which the open weight of two plantings differs, if it does.

    Weights are sums of their greatest common part, and so is what is closed; the asked share may lie between
    two such sums. What is finer than a share of the least weight is taken as that.

    Examples
    --------
    Two views of weight 1 of which 55 % are asked: 0, 0.1 or 1.1 stays open.

    >>> one = np.ones(2)
    >>> nothing = csr_array((0, 0)), csr_array((2, 0))
    >>> choice = Choice(*[np.zeros(0)] * 5, (), *nothing, one, one)
    >>> round(least_difference(choice, Limits(share=0.55)), 6)
    0.1
    """
    weights = choice.weight[choice.weight > 0.0]
    if not len(weights):
        return 1.0
    parts = np.round(weights / FINEST).astype(np.int64)
    common = max(int(np.gcd.reduce(parts)), 1) * FINEST
    rest = (limits.share * weights.sum()) % common
    if min(rest, common - rest) > FINEST:
        common = min(common, rest)
    return float(max(common, FINEST_SHARE * weights.min()))


def _is_exact(choice: Choice, limits: Limits) -> bool:
    """Tell whether the least difference is no coarser than it is."""
    weights = choice.weight[choice.weight > 0.0]
    whole = np.abs(weights - np.round(weights / FINEST) * FINEST).max(initial=0.0) < SLACK
    return bool(whole) and least_difference(choice, limits) > FINEST_SHARE * weights.min(
        initial=1.0
    )


def _dearest(choice: Choice, limits: Limits) -> float:
    return min(float(choice.price.sum()), limits.budget)


def find_planting(
    choice: Choice,
    limits: Limits,
    *,
    seconds: float = 60.0,
    proof: bool = True,
    start: np.ndarray | None = None,
) -> Solution:
    """Find the planting that counts least, and a bound below all of them.

    Parameters
    ----------
    choice : Choice
    limits : Limits
    seconds : float
        Of processor time, for the solver. It takes no start and may find nothing in its time; then the greedy planting
        stands, improved part by part: a few views and what closes them are solved anew at a time.
    proof : bool
        Whether the bound is worth time; without, a good planting is enough.
    start : ndarray of bool, (plants,), optional
        A planting that is known; where it keeps to the limits no greedy one is made.
    """
    best = start
    if best is None or breaks_of(choice, limits, best):
        best = plant_greedily(choice, limits, quickly=not proof)
    made_by, bound, in_time = "greedy", -math.inf, not len(choice.price)
    if seconds > 0.0 and len(choice.price):
        clock, most_open = Clock(), math.inf
        if limits.open_price >= price_of_open(choice, limits) and _is_exact(choice, limits):
            # To leave more open than this planting does is never worth it: it need not be looked at.
            most_open = open_weight(choice, limits, best)
        search = Search(choice, limits, best, most_open, clock)
        if search.find_good(GOOD_SHARE * seconds):
            made_by = "programme"
        if search.left():
            rest = (PARTS_SHARE if proof else 1.0) * (seconds - clock.worked())
            whole = programme_of(choice, limits, search.most_open)
            if search.take(_improve(choice, limits, whole, search.best, rest, clock)):
                made_by = "parts"
        before = search.best
        if proof:
            search.prove(seconds - clock.worked())
        in_time = not search.left()
        if search.best is not before or in_time:
            made_by = "programme"
        best, bound = search.best, search.bound
    found = counts(choice, limits, best)
    return Solution(
        best, choice.cost(best), open_weight(choice, limits, best), found,
        min(max(bound, _least(choice, limits)), found), made_by, in_time,
    )  # fmt: skip


def _judged(choice: Choice, limits: Limits, planted) -> float:
    """Give what a planting counts; infinite if it breaks a limit."""
    return math.inf if breaks_of(choice, limits, planted) else counts(choice, limits, planted)


def _improve(
    choice: Choice, limits: Limits, programme, planted, seconds: float, clock: Clock
) -> np.ndarray:
    """Solve the ground round one plant after another anew while the rest stays, then larger grounds."""
    end = clock.worked() + seconds
    near = _near(choice)
    for size in PLANTS_AT_A_TIME:
        left = np.flatnonzero(planted).tolist()
        while left and clock.worked() < end:
            free = _around(near, left[len(left) // 2], size)
            part = clock.wall(min(end - clock.worked(), PART_SHARE * seconds))
            found = solve(programme, len(planted), part, np.where(free, -1, planted)).planted
            left = [plant for plant in left if not free[plant]]
            if (
                found is not None
                and _judged(choice, limits, found) < counts(choice, limits, planted) - SLACK
            ):
                planted = found
    return planted


def _near(choice: Choice) -> csr_array:
    """Tell which plants stand on the same ground or side by side, (plants, plants)."""
    plants = len(choice.price)
    one_before = before(choice)
    near = eye_array(plants, format="csr") + one_before + csr_array(one_before.T)
    if choice.exclusive:
        of_spot = members(choice.exclusive, plants)
        near = near + csr_array(of_spot.T @ of_spot)
    return csr_array(near > 0).astype(float)


def _around(near: csr_array, plant: int, size: int) -> np.ndarray:
    """Tell which plants are around one: as many rings of neighbours as hold so many plants."""
    around = np.zeros(near.shape[0])
    around[plant] = 1.0
    while True:
        more = (near @ around > 0.0).astype(float)
        if more.sum() in (around.sum(), size) or more.sum() > size > around.sum() > 1:
            return (around if more.sum() > size else more) > 0.0
        around = more


def _least(choice: Choice, limits: Limits) -> float:
    """Give a bound without a solver: what no planting at all could close is paid for."""
    asked = limits.share * choice.weight.sum()
    return limits.open_price * max(asked - choice.weight[choice.closable()].sum(), 0.0)
