"""The integer programme of a choice, as rows and columns, and its solving by HiGHS.

Plants are binary; a run begins where a plant stands and the one before it does not, and goes on for
so many at least. A group of rays is stopped if one of its plants stands, a view is closed if enough of
its light is, and what stays open of the asked weight is paid for. So there is always an answer, and the
bound holds for every planting that keeps to the same limits.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import block_array, coo_array, csr_array, eye_array, vstack

from screenplan.design.choice import SLACK, Choice, Limits

#: The solver ends when cost and bound are this near to each other, as a share: rounding.
SAME_SHARE = 1e-6
#: Status of the solver that has proven its answer the best, where its time is over, and where nothing keeps to the limits.
PROVEN, OUT_OF_TIME, INFEASIBLE = 0, 1, 2
#: Less time than this is as good as none for the solver.
LEAST_SECONDS = 0.05


@dataclass(frozen=True, eq=False)
class Solved:
    """What the solver found.

    Parameters
    ----------
    planted : ndarray of bool, (plants,), or None
        None if it found nothing.
    bound : float
        Nothing that was looked for counts less; infinite where there is nothing.
    status : int
        `PROVEN`, `INFEASIBLE`, or another where it did not come to its end.
    """

    planted: np.ndarray | None
    bound: float
    status: int


@dataclass(frozen=True, eq=False)
class Relaxed:
    """The best without whole numbers.

    Parameters
    ----------
    bound : float
        Infinite where nothing keeps to the limits; minus infinite if the solver did not come to its end.
    values, above : ndarray, (variables,), or None
        How much of each is taken, and what one more of it would count more than it is worth.
    """

    bound: float
    values: np.ndarray | None = None
    above: np.ndarray | None = None


def solve(
    programme, plants: int, seconds: float, fixed=None, *, most: float = math.inf, step: float = 0.0
) -> Solved:
    """Look for the planting that counts least, of those that count so much at most.

    Parameters
    ----------
    programme : tuple
        As `programme_of` gives it.
    plants : int
    seconds : float
    fixed : array_like, (plants,), optional
        Whether each stands (1) or not (0), or is free (-1).
    most : float
        What is not below it is not looked for.
    step : float
        Plantings that do not count the same differ by this at least.
    """
    objective, integrality, upper, constraints = programme
    lower = np.zeros(len(objective))
    if fixed is not None:
        upper = upper.copy()
        lower[:plants] = np.maximum(fixed, 0)
        upper[:plants] = np.where(np.asarray(fixed) < 0, upper[:plants], fixed)
    gap = SAME_SHARE
    if math.isfinite(most):
        gap = max(gap, 0.5 * step / max(abs(most), 1.0))
        constraints = LinearConstraint(
            vstack([constraints.A, csr_array(objective[None, :])], format="csr"),
            np.append(constraints.lb, -np.inf),
            np.append(constraints.ub, most),
        )
    found = milp(
        objective, integrality=integrality, bounds=Bounds(lower, upper), constraints=constraints,
        options={"time_limit": max(float(seconds), LEAST_SECONDS), "mip_rel_gap": gap},
    )  # fmt: skip
    if math.isfinite(most) and found.status not in (PROVEN, OUT_OF_TIME, INFEASIBLE):
        # What counts just as much as the best that is known is neither there nor not there, to the solver's rounding.
        return solve(programme, plants, seconds, fixed)
    if found.status == INFEASIBLE:
        return Solved(None, math.inf, INFEASIBLE)
    bound = found.mip_dual_bound if found.mip_dual_bound is not None else -math.inf
    bound = float(bound) if math.isfinite(bound) else -math.inf
    return Solved(None if found.x is None else found.x[:plants] > 0.5, bound, found.status)


def relax(programme, seconds: float) -> Relaxed:
    """Solve without whole numbers."""
    objective, _, upper, constraints = programme
    above, below = np.isfinite(constraints.lb), np.isfinite(constraints.ub)
    found = linprog(
        objective,
        A_ub=vstack([constraints.A[below], -constraints.A[above]], format="csr"),
        b_ub=np.concatenate([constraints.ub[below], -constraints.lb[above]]),
        bounds=np.column_stack([np.zeros(len(upper)), upper]),
        # Of these, the method of inner points took half as long as the other (measured on real lots).
        method="highs-ipm",
        options={"time_limit": max(float(seconds), LEAST_SECONDS)},
    )
    if found.status == INFEASIBLE:
        return Relaxed(math.inf)
    if found.status != PROVEN:
        return Relaxed(-math.inf)
    return Relaxed(float(found.fun), found.x, found.lower.marginals)


def programme_of(choice: Choice, limits: Limits, most_open: float = math.inf):
    """Write the programme: objective, integrality, upper bounds, constraints; nothing is below 0.

    Variables, in order: plants x, starts of runs s, groups of rays z, views c, kinds y, open weight u; where views are
    to stay closed whichever kind dies out, then for each kind groups of rays and views without it, z0, c0, z1, c1 ...
    """
    plants, groups = choice.stops.shape
    views, kinds = len(choice.need), int(choice.kind.max(initial=-1)) + 1
    sizes = {"x": plants, "s": plants, "z": groups, "c": views, "y": kinds, "u": 1}
    lost = np.unique(choice.kind).tolist() if limits.least_left > 0.0 else []
    for kind in lost:
        sizes |= {f"z{kind}": groups, f"c{kind}": views}
    total = choice.weight.sum()
    integers = [float(name[0] in "xcy") for name in sizes]
    integrality = np.repeat(np.array(integers), list(sizes.values()))
    open_at = 2 * plants + groups + views + kinds
    objective = np.zeros(len(integrality))
    objective[:plants], objective[open_at] = choice.price, limits.open_price
    upper = np.ones(len(integrality))
    upper[plants : 2 * plants] = choice.least_ends(limits) >= 0
    upper[2 * plants + groups : 2 * plants + groups + views] = choice.closable()
    upper[open_at] = min(max(total, 1.0), most_open + SLACK)
    rows = _Rows(sizes)
    each_before = before(choice)
    each = eye_array(plants, format="csr")
    # A run starts where a plant stands and the one before it does not: x - x_before - s <= 0.
    rows.add(-np.inf, 0.0, x=each - each_before, s=-each)
    # From each start on so many stand: the starts within the last so many plants are no more than x.
    if choice.mixed is None:
        within, back = each.copy(), each
        for _ in range(limits.least_run - 1):
            back = csr_array(each_before @ back)
            within = within + back
    else:
        within = _least_runs(choice, limits)
        # No run ends within a group of which too few would stand: x - x_after <= 0.
        short = np.flatnonzero(choice.mixed & (choice.groups.at + 1 < limits.least_group))
        rows.add(-np.inf, 0.0, x=csr_array(each - each_before.T)[short])
    rows.add(-np.inf, 0.0, x=-each, s=within)
    if max(limits.least_gap, limits.least_run) > 1:
        # No run starts within so many stations after a plant that stands.
        starts, back = each.copy(), each
        for _ in range(limits.least_gap - 1):
            back = csr_array(each_before @ back)
            starts = starts + back
        last = csr_array(each_before @ back)
        whole = np.flatnonzero(np.diff(last.indptr))
        rows.add(-np.inf, 1.0, x=last[whole], s=csr_array(starts)[whole])
    if choice.exclusive:
        rows.add(-np.inf, 1.0, x=members(choice.exclusive, plants))
    stops, needs = csr_array(choice.stops, dtype=float), np.maximum(choice.need - SLACK, 0.0)
    rows.add(-np.inf, 0.0, **_stopping(stops, each_before), z=eye_array(groups))
    rows.add(0.0, np.inf, z=choice.light, c=-_diagonal(needs))
    for kind in lost:
        # What the others stop closes views without it, and without its own clipped hedge; these are enough if a plant
        # of it stands.
        gone = choice.dies_as[choice.kind == kind][0]
        others = csr_array(_diagonal((choice.dies_as != gone).astype(float)) @ stops)
        others.eliminate_zeros()
        left = {f"z{kind}": eye_array(groups)}
        rows.add(-np.inf, 0.0, **_stopping(others, each_before), **left)
        left = {f"z{kind}": choice.light, f"c{kind}": -_diagonal(needs)}
        rows.add(0.0, np.inf, **left)
        planted = csr_array(([limits.least_left], ([0], [kind])), shape=(1, kinds))
        left = {f"c{kind}": csr_array(choice.weight[None, :])}
        rows.add(-SLACK, np.inf, **left, y=-planted)
    rows.add(limits.share * total, np.inf, c=csr_array(choice.weight[None, :]), u=np.ones((1, 1)))
    if math.isfinite(limits.budget):
        rows.add(-np.inf, limits.budget, x=csr_array(choice.price[None, :]))
    apart = [pair for pair in limits.apart if np.isin(pair, choice.kind).all()]
    if kinds > limits.most_kinds or apart or lost:
        of_kind = coo_array(
            (np.ones(plants), (np.arange(plants), choice.kind)), shape=(plants, kinds)
        )
        rows.add(-np.inf, 0.0, x=each, y=-csr_array(of_kind))
        rows.add(-np.inf, limits.most_kinds, y=np.ones((1, kinds)))
    if apart:
        rows.add(-np.inf, 1.0, y=members(apart, kinds))
    for of, share in ((choice.kind, limits.most_of_kind), (choice.genus, limits.most_of_genus)):
        if share < 1.0:
            mine = (of == np.unique(of)[:, None]).astype(float)
            rows.add(-np.inf, 0.0, x=csr_array(mine - share))
    return objective, integrality, upper, rows.constraints()


class _Rows:
    """Rows of constraints, gathered block by block."""

    def __init__(self, sizes: dict[str, int]):
        self.sizes = sizes
        self.parts: list[list[csr_array]] = []
        self.low: list[np.ndarray] = []
        self.high: list[np.ndarray] = []

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


def _stopping(stops: csr_array, each_before: csr_array) -> dict[str, csr_array]:
    """Give the plants and starts of which one at least must stand that each group of rays is stopped, as blocks.

    Of neighbours that stop the same ray some stand if the first does, or if a run starts at a later one: z <= x + sum
    of s. Their sum of x would count a part of a run once for each of its plants.
    """
    later = csr_array(stops.multiply(each_before @ stops))
    return {"x": -csr_array((stops - later).T), "s": -csr_array(later.T)}


def _diagonal(values: np.ndarray) -> csr_array:
    count = len(values)
    return csr_array((values, (np.arange(count), np.arange(count))), shape=(count, count))


def before(choice: Choice) -> csr_array:
    """Matrix that gives for each plant its neighbour before it, (plants, plants)."""
    plants = len(choice.price)
    at = np.flatnonzero(choice.stretch[1:] == choice.stretch[:-1]) + 1
    return csr_array((np.ones(len(at)), (at, at - 1)), shape=(plants, plants))


def _least_runs(choice: Choice, limits: Limits) -> csr_array:
    """Matrix that tells which plants a run has at least that begins at each, (plants, starts)."""
    plants, last = len(choice.price), choice.least_ends(limits)
    starts = np.flatnonzero(last >= 0)
    own = [np.arange(start, last[start] + 1) for start in starts]
    at = np.concatenate([np.zeros(0, int), *own])
    of = np.repeat(starts, [len(some) for some in own])
    return csr_array((np.ones(len(at)), (at, of)), shape=(plants, plants))


def members(spots, plants: int) -> csr_array:
    """Matrix that tells for each spot which plants would stand on it, (spots, plants)."""
    rows = np.concatenate([np.full(len(spot), row) for row, spot in enumerate(spots)])
    return csr_array(
        (np.ones(len(rows)), (rows, np.concatenate(spots))), shape=(len(spots), plants)
    )
