"""A planting made plainly: the run or plant that gains most for its price, again and again; then thinned.

It is what the solver is compared with, and what is left when the solver finds nothing in its time.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import csr_array, vstack

from screenplan.design.choice import (
    SLACK,
    Choice,
    Limits,
    breaks_of,
    counts,
    narrow_gaps,
    over_share,
    runs_in,
    sets_of_kinds,
)
from screenplan.design.losing import hold_without_one
from screenplan.design.moves import (
    Additions,
    beside,
    least_additions,
    least_runs,
    may_go,
    removable,
)

#: A plant without a price still counts so much of the mean price when gains are compared.
LEAST_PRICE_SHARE = 1e-6


def plant_greedily(choice: Choice, limits: Limits, *, quickly: bool = False) -> np.ndarray:
    """Make a planting that keeps to the limits, the best of several.

    Tried are plantings of all kinds, of each alone, of those of each set that may stand together (not so quickly), and
    all that can stand of each option, thinned: so none is worse than a uniform row along every line.

    Returns
    -------
    ndarray of bool, (plants,)
        Nothing at all where no other keeps to the limits.
    """
    none = np.zeros(len(choice.price), bool)
    kinds = np.unique(choice.kind)
    moves = _Moves.of(choice, limits)
    tries = [none, _grow(choice, limits, moves, ~none)]
    if len(kinds) > 1:
        tries += [_grow(choice, limits, moves, choice.kind == kind) for kind in kinds]
    some = sets_of_kinds(choice, limits)
    if 1 < limits.most_kinds < len(kinds) and not quickly:
        tries += [_grow(choice, limits, moves, np.isin(choice.kind, one)) for one in some]
    tries += [
        _whole(choice, limits, choice.option == option) for option in np.unique(choice.option)
    ]
    best, lost = none, limits.least_left > 0.0
    asked = replace(limits, least_left=0.0) if lost else limits
    for planted in tries:
        found = _mend_gaps(choice, limits, planted)
        found = _balance(choice, limits, _thin(choice, limits, found))
        if lost and not breaks_of(choice, asked, found):
            found = hold_without_one(choice, limits, found)
        if not breaks_of(choice, limits, found) and (
            counts(choice, limits, found) < counts(choice, limits, best) - SLACK
        ):
            best = found
    return best


def _whole(choice: Choice, limits: Limits, allowed: np.ndarray) -> np.ndarray:
    """Set all plants that are allowed and can stand together, stretch by stretch."""
    planted, blocked = np.zeros(len(allowed), bool), ~allowed
    for stretch in np.unique(choice.stretch[allowed]):
        for run in runs_in(choice.stretch, (choice.stretch == stretch) & ~blocked):
            run = _as_may_stand(choice, limits, run)
            if not len(run):
                continue
            planted[run] = True
            for plant in run:
                blocked[choice.against[plant]] = True
    return planted


def _as_may_stand(choice: Choice, limits: Limits, run: np.ndarray) -> np.ndarray:
    """Give as much of neighbours in a stretch as may stand as a run; nothing if they are too few."""
    last = choice.least_ends(limits)[run]
    begins = np.flatnonzero((last >= 0) & (last <= run[-1]))
    run = run[begins[0] :] if len(begins) else run[:0]
    while len(run) and not choice.may_stand(limits, run):
        run = run[:-1]
    return run


@dataclass(frozen=True, eq=False)
class _Moves:
    """The least runs, and then what lengthens one: single plants, or as many of a group as must stand.

    Parameters
    ----------
    runs : int
        How many of them are runs.
    plants : list of ndarray of int
    prices : ndarray, (moves,)
    light : ndarray, (moves, views)
        Share of each view's light that each stops where nothing else stands.
    stops : csr_array, (moves, groups)
        Groups of rays that each stops.
    """

    runs: int
    plants: list[np.ndarray]
    prices: np.ndarray
    light: np.ndarray
    stops: csr_array

    @classmethod
    def of(cls, choice: Choice, limits: Limits) -> _Moves:
        windows, more = least_runs(choice, limits), least_additions(choice, limits)
        stops = csr_array(choice.stops, dtype=float)
        joined, light = _joined(stops, windows), choice.light_by_group
        if choice.mixed is not None:
            stops = _joined(stops, more)
        price = choice.price
        return cls(
            len(windows),
            [*windows, *more],
            np.array([price[some].sum() for some in (*windows, *more)]),
            np.vstack([joined @ light, stops @ light]),
            csr_array(vstack([joined, stops], format="csr")),
        )

    def groups(self, move: int) -> np.ndarray:
        """Give the groups of rays that a move stops, each once."""
        return self.stops.indices[self.stops.indptr[move] : self.stops.indptr[move + 1]]


def _joined(stops: csr_array, moves: list[np.ndarray]) -> csr_array:
    """Give what the plants of each move stop together, (moves, groups)."""
    rows = np.repeat(np.arange(len(moves)), [len(some) for some in moves])
    at = np.concatenate([*moves, np.zeros(0, int)]).astype(int)
    which = csr_array((np.ones(len(at)), (rows, at)), shape=(len(moves), stops.shape[0]))
    return csr_array(csr_array(which @ stops) > 0.0, dtype=float)


def _grow(choice: Choice, limits: Limits, moves: _Moves, allowed: np.ndarray) -> np.ndarray:
    """Add runs and lengthen them while that brings views nearer to closing.

    What a run gains never grows while others are planted, so that only those are worked out anew that seemed to
    gain most.
    """
    plants = len(choice.price)
    planted, blocked = np.zeros(plants, bool), ~allowed
    runs, prices = moves.runs, moves.prices
    wanted = choice.closable() & (choice.weight > 0.0)
    floor = LEAST_PRICE_SHARE * max(float(choice.price.mean()) if plants else 0.0, 1e-12)
    met = np.zeros(choice.stops.shape[1], bool)
    light, asked = choice.light_by_group, limits.share * choice.weight.sum()
    # Of two views that need as much work the one that is nearer to closing gains more.
    value = choice.weight / np.maximum(choice.need, SLACK)
    spent, left = 0.0, np.where(wanted, choice.need, 0.0)

    def gains_of(more):
        return np.minimum(more, left) @ np.where(left > SLACK, value, 0.0)

    def gain(move) -> float:
        groups = moves.groups(move)
        return float(gains_of(light[groups[~met[groups]]].sum(axis=0)))

    rates = gains_of(moves.light) / (prices + floor)
    heap = [
        (-rates[move], move, 0)
        for move in np.flatnonzero(rates[:runs] > 0.0).tolist()
        if allowed[moves.plants[move][0]]
    ]
    heapq.heapify(heap)
    ends = np.zeros(plants, bool)
    for turn in range(1, plants + 2):
        done = choice.weight.sum() - choice.weight[wanted & (left > SLACK)].sum()
        if not (left > SLACK).any() or done >= asked - SLACK:
            break
        kind_may, share_may = (may(choice, limits, planted) for may in (_kind_may, _share_may))
        later, new = [], None
        while heap and new is None:
            entry = heapq.heappop(heap)
            _, move, worked_out = entry
            some = moves.plants[move]
            if move >= runs:  # what of a group stands already is left as it is
                some = some[~planted[some]]
            gone = not len(some) or blocked[some].any() or planted[some].any()
            if gone or not kind_may[some].all() or prices[move] > limits.budget - spent + SLACK:
                continue
            if not share_may[some].all():
                later.append(entry)
            elif worked_out == turn:
                new = some
                spent += float(prices[move])
            elif (now := gain(move)) > SLACK:
                heapq.heappush(heap, (-now / (prices[move] + floor), move, turn))
        if new is None:
            break
        planted[new] = True
        met[choice.groups_of(new)] = True
        left = np.where(wanted, np.maximum(choice.need - light[met].sum(axis=0), 0.0), 0.0)
        for plant in new:
            blocked[choice.against[plant]] = True
        more = beside(choice, planted) & ~ends
        ends |= more
        later += [(-rates[runs + k], runs + k, 0) for k in np.flatnonzero(more).tolist()]
        for entry in later:
            heapq.heappush(heap, entry)
    return planted


def _thin(choice: Choice, limits: Limits, planted: np.ndarray) -> np.ndarray:
    """Take plants off the ends of runs, and whole runs, the dearest first, where that counts less."""
    planted, light = planted.copy(), choice.light_by_group
    groups = choice.stops.shape[1]
    chosen = np.flatnonzero(planted)
    many = (
        np.bincount(choice.groups_of(chosen), minlength=groups)
        if len(chosen)
        else np.zeros(groups, int)
    )
    stopped = light[many > 0].sum(axis=0)
    asked, need, weight = limits.share * choice.weight.sum(), choice.need - SLACK, choice.weight
    shared = min(limits.most_of_kind, limits.most_of_genus) < 1.0
    cost = choice.cost(planted)
    over = cost > limits.budget + SLACK

    def open_weight(stopped):
        return max(asked - weight[stopped >= need].sum(), 0.0)

    now = open_weight(stopped)
    while True:
        gone_any = False
        for gone in sorted(
            removable(choice, limits, planted), key=lambda some: -choice.price[some].sum()
        ):
            if not may_go(choice, limits, planted, gone):
                continue
            if shared:
                left = planted.copy()
                left[gone] = False
                if over_share(choice, limits, left) > max(over_share(choice, limits, planted), 0.0):
                    continue
            own = choice.groups_of(gone)
            times = np.ones(len(own), int)
            if len(gone) > 1:
                own, times = np.unique(own, return_counts=True)
            opened = own[many[own] == times]
            less = stopped - light[opened].sum(axis=0) if len(opened) else stopped
            price = choice.price[gone].sum()
            if over or price > limits.open_price * (open_weight(less) - now) + SLACK:
                planted[gone], stopped = False, less
                many[own] -= times
                now, gone_any, cost = open_weight(less), True, cost - price
                over = cost > limits.budget + SLACK
        if not gone_any:
            return planted


def _balance(choice: Choice, limits: Limits, planted: np.ndarray) -> np.ndarray:
    """Add plants of other kinds, the cheapest that fit, until none has more than its share."""
    over = over_share(choice, limits, planted)
    if over <= SLACK:
        return planted
    planted, blocked = planted.copy(), choice.blocked_by(planted)
    additions = Additions(choice, limits)
    while over > SLACK:
        fits = ~blocked & ~planted & _kind_may(choice, limits, planted)
        more = additions.among(planted, fits)
        best = None
        for new in sorted(more, key=lambda some: choice.price[some].sum()):
            larger = planted.copy()
            larger[new] = True
            less = over_share(choice, limits, larger)
            if less < over - SLACK and not narrow_gaps(choice.stretch, larger, limits.least_gap):
                best, over = new, less
                break
        if best is None:
            return planted
        planted[best] = True
        for plant in best:
            blocked[choice.against[plant]] = True
    return planted


def _mend_gaps(choice: Choice, limits: Limits, planted: np.ndarray) -> np.ndarray:
    """Fill gaps that are too narrow, or take the shorter run beside one where no plant may stand."""
    planted = planted.copy()
    while narrow := narrow_gaps(choice.stretch, planted, limits.least_gap):
        one, other = narrow[0]
        between = np.arange(one[-1] + 1, other[0])
        free = not any(planted[choice.against[plant]].any() for plant in between)
        if free and choice.cost(planted) + choice.price[between].sum() <= limits.budget:
            planted[between] = True
        else:
            planted[min(one, other, key=len)] = False
    return planted


def _share_may(choice: Choice, limits: Limits, planted) -> np.ndarray:
    """Tell which plants may be set by the shares, with room for a run by which to begin."""
    may = np.ones(len(planted), bool)
    room = planted.sum() + 2 * limits.least_run
    for of, share in ((choice.kind, limits.most_of_kind), (choice.genus, limits.most_of_genus)):
        if share < 1.0:
            many = np.bincount(of[planted], minlength=int(of.max()) + 1)
            may &= many[of] + limits.least_run <= share * room
    return may


def _kind_may(choice: Choice, limits: Limits, planted) -> np.ndarray:
    """Tell which plants may be set by the number of kinds, and by those that host the same disease."""
    used = np.unique(choice.kind[planted])
    apart = ~np.isin(choice.kind, list(limits.kinds_beside(used)))
    return apart if len(used) < limits.most_kinds else apart & np.isin(choice.kind, used)
