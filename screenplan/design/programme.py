"""The choice as an integer programme, solved by HiGHS; with a greedy planting beside it.

Plants are binary; a run begins where a plant stands and the one before it does not, and goes on for
so many at least. A group of rays is stopped if one of its plants stands, a view is closed if enough of
its light is, and what stays open of the asked weight is paid for. So there is always an answer, and the
bound holds for every planting that keeps to the same limits.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import block_array, coo_array, csr_array, eye_array

from screenplan.design.choice import SLACK, Choice, Limits, breaks_of, counts, open_weight
from screenplan.design.greedy import plant_greedily

#: The solver ends when cost and bound are this near to each other, as a share: rounding.
SAME_SHARE = 1e-6
#: Status of the solver: proven best, and out of time.
PROVEN, OUT_OF_TIME = 0, 1


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
        "programme" or "greedy".
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

    def gap(self, open_price: float) -> float:
        """Share of the cost that might be saved with no more weight open, by the bound."""
        least = self.least_cost(open_price)
        return 0.0 if self.proven or self.cost <= 0.0 else (self.cost - least) / self.cost


def price_of_open(choice: Choice, limits: Limits) -> float:
    """Price of weight 1 that stays open, high enough that money is never saved by leaving a view open.

    One more view never costs more than all plants that could stand at a time; these are at most all
    that there are, and never more than the budget.
    """
    least = choice.weight[choice.weight > 0.0].min(initial=math.inf)
    most = min(float(choice.price.sum()), limits.budget)
    return 1.0 if not math.isfinite(least) else 1.01 * max(most, 1.0) / least


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
        stands.
    start : ndarray of bool, (plants,), optional
        A planting that is known already.
    """
    others = [plant_greedily(choice, limits)]
    if start is not None and not breaks_of(choice, limits, start):
        others.append(np.asarray(start, bool))
    best = min(others, key=lambda planted: counts(choice, limits, planted))
    planted, bound, in_time = _solve(choice, limits, seconds)
    made_by = "greedy"
    if (
        planted is not None
        and not breaks_of(choice, limits, planted)
        and counts(choice, limits, planted) <= counts(choice, limits, best) + SLACK
    ):
        best, made_by = planted, "programme"
    found = counts(choice, limits, best)
    return Solution(
        best, choice.cost(best), open_weight(choice, limits, best), found,
        min(max(bound, _least(choice, limits)), found), made_by, in_time,
    )  # fmt: skip


def _least(choice: Choice, limits: Limits) -> float:
    """Give a bound without a solver: what no planting at all could close is paid for."""
    asked = limits.share * choice.weight.sum()
    return limits.open_price * max(asked - choice.weight[choice.closable()].sum(), 0.0)


def _solve(choice: Choice, limits: Limits, seconds: float):
    """Planting or None, bound, and whether the solver came to its end."""
    if seconds <= 0.0 or not len(choice.price):
        return None, -math.inf, not len(choice.price)
    objective, integrality, bounds, constraints = programme_of(choice, limits)
    found = milp(
        objective, integrality=integrality, bounds=bounds, constraints=constraints,
        options={"time_limit": float(seconds), "mip_rel_gap": SAME_SHARE, "disp": False},
    )  # fmt: skip
    bound = found.mip_dual_bound if found.mip_dual_bound is not None else -math.inf
    bound = bound if math.isfinite(bound) else -math.inf
    planted = None if found.x is None else found.x[: len(choice.price)] > 0.5
    return planted, float(bound), found.status == PROVEN


def programme_of(choice: Choice, limits: Limits):
    """Write the programme: objective, integrality, bounds, constraints.

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
    upper[-1] = max(total, 1.0)
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
    if limits.most_of_genus < 1.0:
        genera = np.unique(choice.genus)
        mine = (choice.genus == genera[:, None]).astype(float)
        rows.add(-np.inf, 0.0, x=csr_array(mine - limits.most_of_genus))
    return objective, integrality, Bounds(0.0, upper), rows.constraints()


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
