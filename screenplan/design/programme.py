"""The choice as an integer programme, solved by HiGHS; with a greedy planting beside it.

Plants are binary; a run begins where a plant stands and the one before it does not, and goes on for
so many at least. A group of rays is stopped if one of its plants stands, a view is closed if enough of
its light is, and what stays open of the asked weight is paid for. So there is always an answer, and the
bound holds for every planting that keeps to the same limits.
"""

from __future__ import annotations

import math
import time
from dataclasses import dataclass

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import block_array, coo_array, csr_array, eye_array

from screenplan.design.choice import SLACK, Choice, Limits, breaks_of, counts, open_weight
from screenplan.design.greedy import plant_greedily

#: The solver ends when cost and bound are this near to each other, as a share: rounding.
SAME_SHARE = 1e-6
#: Status of the solver that has proven its answer the best.
PROVEN = 0
#: Share of the time for the programme as a whole, which gives the bound; the rest is for its parts.
WHOLE_SHARE = 0.6
#: Of the time for parts the most that one takes, and about the plants that are solved anew at a time.
PART_SHARE, PLANTS_AT_A_TIME = 0.2, (60, 120, 240)
#: Weights are told apart to this, and differences that are a smaller share of the least weight count as that
#: share: prices of what stays open would be beyond what the solver can add up.
FINEST, FINEST_SHARE = 1e-4, 0.01
#: Less time than this is as good as none for the solver.
LEAST_SECONDS = 0.05


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
    choice: Choice, limits: Limits, *, seconds: float = 60.0, start: np.ndarray | None = None
) -> Solution:
    """Find the planting that counts least, and a bound below all of them.

    Parameters
    ----------
    choice : Choice
    limits : Limits
    seconds : float
        For the solver. It takes no start and may find nothing in its time; then the greedy planting
        stands, improved part by part: a few views and what closes them are solved anew at a time.
    start : ndarray of bool, (plants,), optional
        A planting that is known already.
    """
    others = [plant_greedily(choice, limits)]
    if start is not None and not breaks_of(choice, limits, start):
        others.append(np.asarray(start, bool))
    best = min(others, key=lambda planted: counts(choice, limits, planted))
    made_by, bound, in_time = "greedy", -math.inf, not len(choice.price)
    if seconds > 0.0 and len(choice.price):
        most_open = math.inf
        if limits.open_price >= price_of_open(choice, limits) and _is_exact(choice, limits):
            # To leave more open than this planting does is never worth it: it need not be looked at.
            most_open = open_weight(choice, limits, best)
        programme = programme_of(choice, limits, most_open)
        planted, bound, in_time = _solve(programme, len(best), WHOLE_SHARE * seconds)
        tries = [("programme", planted)]
        if not in_time:
            rest = (1.0 - WHOLE_SHARE) * seconds
            better = best if planted is None else planted
            better = min(best, better, key=lambda one: _judged(choice, limits, one))
            tries.append(("parts", _improve(choice, limits, programme, better, rest)))
        for by, one in tries:
            if one is not None and _judged(choice, limits, one) < counts(choice, limits, best) + (
                SLACK if by == "programme" else -SLACK
            ):
                best, made_by = one, by
    found = counts(choice, limits, best)
    return Solution(
        best, choice.cost(best), open_weight(choice, limits, best), found,
        min(max(bound, _least(choice, limits)), found), made_by, in_time,
    )  # fmt: skip


def _judged(choice: Choice, limits: Limits, planted) -> float:
    """Give what a planting counts; infinite if it breaks a limit."""
    return math.inf if breaks_of(choice, limits, planted) else counts(choice, limits, planted)


def _improve(choice: Choice, limits: Limits, programme, planted, seconds: float) -> np.ndarray:
    """Solve the ground round one plant after another anew while the rest stays, then larger grounds."""
    end = time.monotonic() + seconds
    near = _near(choice)
    for size in PLANTS_AT_A_TIME:
        left = list(np.flatnonzero(planted))
        while left and time.monotonic() < end:
            free = _around(near, left[len(left) // 2], size)
            part = min(end - time.monotonic(), PART_SHARE * seconds)
            found, _, _ = _solve(programme, len(planted), part, np.where(free, -1, planted))
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
    before = _before(choice)
    near = eye_array(plants, format="csr") + before + csr_array(before.T)
    if choice.exclusive:
        members = _members(choice.exclusive, plants)
        near = near + csr_array(members.T @ members)
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


def _solve(programme, plants: int, seconds: float, fixed=None):
    """Give a planting or None, a bound, and whether the solver came to its end.

    ``fixed`` says of each plant whether it stands (1) or not (0), or is free (-1).
    """
    objective, integrality, upper, constraints = programme
    lower = np.zeros(len(objective))
    if fixed is not None:
        upper = upper.copy()
        lower[:plants] = np.maximum(fixed, 0)
        upper[:plants] = np.where(np.asarray(fixed) < 0, upper[:plants], fixed)
    found = milp(
        objective, integrality=integrality, bounds=Bounds(lower, upper), constraints=constraints,
        options={"time_limit": max(float(seconds), LEAST_SECONDS), "mip_rel_gap": SAME_SHARE},
    )  # fmt: skip
    bound = found.mip_dual_bound if found.mip_dual_bound is not None else -math.inf
    bound = bound if math.isfinite(bound) else -math.inf
    planted = None if found.x is None else found.x[:plants] > 0.5
    return planted, float(bound), found.status == PROVEN


def programme_of(choice: Choice, limits: Limits, most_open: float = math.inf):
    """Write the programme: objective, integrality, upper bounds, constraints; nothing is below 0.

    Variables, in order: plants x, starts of runs s, groups of rays z, views c, kinds y, open weight u.
    """
    plants, groups = choice.stops.shape
    views, kinds = len(choice.need), int(choice.kind.max(initial=-1)) + 1
    sizes = (plants, plants, groups, views, kinds, 1)
    total = choice.weight.sum()
    objective = np.concatenate(
        [choice.price, *(np.zeros(size) for size in sizes[1:-1]), [limits.open_price]]
    )
    integrality = np.concatenate(
        [np.ones(plants), np.zeros(plants + groups), np.ones(views + kinds), [0]]
    )
    upper = np.ones(sum(sizes))
    upper[plants : 2 * plants] = _may_start(choice, limits.least_run)
    upper[2 * plants + groups : 2 * plants + groups + views] = choice.closable()
    upper[-1] = min(max(total, 1.0), most_open + SLACK)
    rows = _Rows(sizes)
    before = _before(choice)
    one = eye_array(plants, format="csr")
    # A run starts where a plant stands and the one before it does not: x - x_before - s <= 0.
    rows.add(-np.inf, 0.0, x=one - before, s=-one)
    # From each start on so many stand: the starts within the last so many plants are no more than x.
    within, back = one.copy(), one
    for _ in range(limits.least_run - 1):
        back = csr_array(before @ back)
        within = within + back
    rows.add(-np.inf, 0.0, x=-one, s=within)
    if limits.least_gap > 1:
        # No run starts within so many stations after a plant that stands.
        starts, back = one.copy(), one
        for _ in range(limits.least_gap - 1):
            back = csr_array(before @ back)
            starts = starts + back
        last = csr_array(before @ back)
        whole = np.flatnonzero(np.diff(last.indptr))
        rows.add(-np.inf, 1.0, x=last[whole], s=csr_array(starts)[whole])
    if choice.exclusive:
        rows.add(-np.inf, 1.0, x=_members(choice.exclusive, plants))
    rows.add(-np.inf, 0.0, x=-csr_array(choice.stops.T).astype(float), z=eye_array(groups))
    rows.add(0.0, np.inf, z=choice.light, c=-_diagonal(np.maximum(choice.need - SLACK, 0.0)))
    rows.add(limits.share * total, np.inf, c=csr_array(choice.weight[None, :]), u=np.ones((1, 1)))
    if math.isfinite(limits.budget):
        rows.add(-np.inf, limits.budget, x=csr_array(choice.price[None, :]))
    if kinds > limits.most_kinds:
        of_kind = coo_array(
            (np.ones(plants), (np.arange(plants), choice.kind)), shape=(plants, kinds)
        )
        rows.add(-np.inf, 0.0, x=one, y=-csr_array(of_kind))
        rows.add(-np.inf, limits.most_kinds, y=np.ones((1, kinds)))
    for of, share in ((choice.kind, limits.most_of_kind), (choice.genus, limits.most_of_genus)):
        if share < 1.0:
            mine = (of == np.unique(of)[:, None]).astype(float)
            rows.add(-np.inf, 0.0, x=csr_array(mine - share))
    return objective, integrality, upper, rows.constraints()


class _Rows:
    """Rows of constraints, gathered block by block."""

    names = ("x", "s", "z", "c", "y", "u")

    def __init__(self, sizes):
        self.sizes = dict(zip(self.names, sizes, strict=True))
        self.parts, self.low, self.high = [], [], []

    def add(self, low: float, high: float, **blocks) -> None:
        """Add the rows low <= sum of blocks times variables <= high."""
        count = next(iter(blocks.values())).shape[0]
        if not count:
            return
        self.parts.append(
            [
                csr_array(blocks[name]) if name in blocks else csr_array((count, size))
                for name, size in self.sizes.items()
            ]
        )
        self.low.append(np.full(count, low))
        self.high.append(np.full(count, high))

    def constraints(self) -> LinearConstraint:
        return LinearConstraint(
            block_array(self.parts, format="csr"),
            np.concatenate(self.low),
            np.concatenate(self.high),
        )


def _diagonal(values: np.ndarray) -> csr_array:
    count = len(values)
    return csr_array((values, (np.arange(count), np.arange(count))), shape=(count, count))


def _before(choice: Choice) -> csr_array:
    """Matrix that gives for each plant its neighbour before it, (plants, plants)."""
    plants = len(choice.price)
    at = np.flatnonzero(choice.stretch[1:] == choice.stretch[:-1]) + 1
    return csr_array((np.ones(len(at)), (at, at - 1)), shape=(plants, plants))


def _may_start(choice: Choice, least: int) -> np.ndarray:
    """Tell where a run may start: where so many plants are left in the stretch."""
    last = np.searchsorted(choice.stretch, choice.stretch, side="right")
    return (last - np.arange(len(choice.price)) >= least).astype(float)


def _members(spots, plants: int) -> csr_array:
    rows = np.concatenate([np.full(len(spot), row) for row, spot in enumerate(spots)])
    return csr_array(
        (np.ones(len(rows)), (rows, np.concatenate(spots))), shape=(len(spots), plants)
    )
