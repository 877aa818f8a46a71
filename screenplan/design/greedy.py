"""A planting made plainly: the run or plant that gains most for its price, again and again; then thinned.

It is what the solver is compared with, and what is left when the solver finds nothing in its time.
"""

from __future__ import annotations

import numpy as np
from scipy.sparse import csr_array, diags_array

from screenplan.design.choice import (
    SLACK,
    Choice,
    Limits,
    breaks_of,
    counts,
    narrow_gaps,
    over_share,
    runs_in,
)
from screenplan.design.moves import beside, may_go, removable, spots_of, starts_of

#: A plant without a price still counts so much of the mean price when gains are compared.
LEAST_PRICE_SHARE = 1e-6


def plant_greedily(choice: Choice, limits: Limits) -> np.ndarray:
    """Make a planting that keeps to the limits, the best of several.

    Tried are plantings of all kinds, of each alone, and all that can stand of each option, thinned: so
    none is worse than a uniform row along every line.

    Returns
    -------
    ndarray of bool, (plants,)
        Nothing at all where no other keeps to the limits.
    """
    none = np.zeros(len(choice.price), bool)
    kinds = np.unique(choice.kind)
    tries = [none, _grow(choice, limits, ~none)]
    if len(kinds) > 1:
        tries += [_grow(choice, limits, choice.kind == kind) for kind in kinds]
    tries += [
        _whole(choice, limits, choice.option == option) for option in np.unique(choice.option)
    ]
    best = none
    for planted in tries:
        found = _mend_gaps(choice, limits, planted)
        found = _balance(choice, limits, _thin(choice, limits, found))
        if not breaks_of(choice, limits, found) and (
            counts(choice, limits, found) < counts(choice, limits, best) - SLACK
        ):
            best = found
    return best


def _whole(choice: Choice, limits: Limits, allowed: np.ndarray) -> np.ndarray:
    """Set all plants that are allowed and can stand together, stretch by stretch."""
    planted, blocked, spots = np.zeros(len(allowed), bool), ~allowed, spots_of(choice)
    for stretch in np.unique(choice.stretch[allowed]):
        for run in runs_in(choice.stretch, (choice.stretch == stretch) & ~blocked):
            if len(run) < limits.least_run:
                continue
            planted[run] = True
            for plant in run:
                for spot in spots[plant]:
                    blocked[spot] = True
    return planted


def _grow(choice: Choice, limits: Limits, allowed: np.ndarray) -> np.ndarray:
    """Add runs and lengthen them while that brings views nearer to closing."""
    plants, least = len(choice.price), limits.least_run
    planted, blocked = np.zeros(plants, bool), ~allowed
    starts = starts_of(choice, least)
    windows = starts[:, None] + np.arange(least)
    joined = _joined(choice, windows)
    spots = spots_of(choice)
    wanted = choice.closable() & (choice.weight > 0.0)
    floor = LEAST_PRICE_SHARE * max(float(choice.price.mean()) if plants else 0.0, 1e-12)
    met = np.zeros(choice.stops.shape[1], bool)
    spent = 0.0
    while True:
        stopped = choice.light @ met.astype(float)
        left = np.where(wanted, np.maximum(choice.need - stopped, 0.0), 0.0)
        open_weight = choice.weight[wanted & (left > SLACK)].sum()
        done = choice.weight.sum() - open_weight
        if not (left > SLACK).any() or done >= limits.share * choice.weight.sum() - SLACK:
            return planted
        # Of two views that need as much work the one that is nearer to closing gains more.
        value = np.where(left > SLACK, choice.weight / np.maximum(choice.need, SLACK), 0.0)
        new_light = csr_array(choice.light @ diags_array((~met).astype(float)))
        fits = ~blocked & ~planted
        fits &= _kind_may(choice, limits, planted) & _share_may(choice, limits, planted)
        ends = fits & beside(choice, planted)
        gains = np.zeros(len(starts) + plants)
        prices = np.concatenate([choice.price[windows].sum(axis=1), choice.price])
        may = np.concatenate([fits[windows].all(axis=1), ends])
        may &= prices <= limits.budget - spent + SLACK
        if not may.any():
            return planted
        more = np.concatenate(
            [_light(joined, new_light, may[: len(starts)]), _light(choice.stops, new_light, ends)]
        )
        gains = np.minimum(more, left) @ value
        gains[~may] = 0.0
        pick = int(np.argmax(gains / (prices + floor)))
        if gains[pick] <= SLACK:
            return planted
        new = windows[pick] if pick < len(starts) else np.array([pick - len(starts)])
        planted[new] = True
        spent += float(choice.price[new].sum())
        met |= choice.stops[new].sum(axis=0) > 0
        for plant in new:
            for spot in spots[plant]:
                blocked[spot] = True


def _light(stops: csr_array, light: csr_array, rows: np.ndarray) -> np.ndarray:
    """Light of each view that some rows stop anew, (all rows, views)."""
    found = np.zeros((stops.shape[0], light.shape[0]))
    at = np.flatnonzero(rows)
    if len(at):
        found[at] = (stops[at].astype(float) @ csr_array(light.T)).toarray()
    return found


def _thin(choice: Choice, limits: Limits, planted: np.ndarray) -> np.ndarray:
    """Take plants off the ends of runs, and whole runs, the dearest first, where that counts less."""
    planted = planted.copy()
    stops = choice.stops.astype(np.int32)
    many = np.asarray(stops[planted].sum(axis=0)).ravel()
    stopped = choice.light @ (many > 0).astype(float)
    asked = limits.share * choice.weight.sum()
    shared = min(limits.most_of_kind, limits.most_of_genus) < 1.0
    over = choice.cost(planted) > limits.budget

    def open_weight(light):
        closed = choice.weight[light >= choice.need - SLACK].sum()
        return max(asked - closed, 0.0)

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
            fewer = many - np.asarray(stops[gone].sum(axis=0)).ravel()
            opened = np.flatnonzero((many > 0) & (fewer == 0))
            light = stopped - choice.light[:, opened].sum(axis=1) if len(opened) else stopped
            opens = limits.open_price * (open_weight(light) - now)
            if over or choice.price[gone].sum() > opens + SLACK:
                planted[gone], many, stopped = False, fewer, light
                now, gone_any = open_weight(light), True
                over = choice.cost(planted) > limits.budget
        if not gone_any:
            return planted


def _balance(choice: Choice, limits: Limits, planted: np.ndarray) -> np.ndarray:
    """Add plants of other kinds, the cheapest that fit, until none has more than its share."""
    planted = planted.copy()
    spots = spots_of(choice)
    blocked = np.zeros(len(planted), bool)
    for plant in np.flatnonzero(planted):
        for spot in spots[plant]:
            blocked[spot] = True
    starts = starts_of(choice, limits.least_run)
    windows = starts[:, None] + np.arange(limits.least_run)
    over = over_share(choice, limits, planted)
    while over > SLACK:
        fits = ~blocked & ~planted & _kind_may(choice, limits, planted)
        more = [windows[k] for k in np.flatnonzero(fits[windows].all(axis=1))]
        more += [np.array([k]) for k in np.flatnonzero(fits & beside(choice, planted))]
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
            for spot in spots[plant]:
                blocked[spot] = True
    return planted


def _mend_gaps(choice: Choice, limits: Limits, planted: np.ndarray) -> np.ndarray:
    """Fill gaps that are too narrow, or take the shorter run beside one where no plant may stand."""
    planted = planted.copy()
    spots = spots_of(choice)
    while narrow := narrow_gaps(choice.stretch, planted, limits.least_gap):
        one, other = narrow[0]
        between = np.arange(one[-1] + 1, other[0])
        free = all(not planted[spot].any() for plant in between for spot in spots[plant])
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


def _joined(choice: Choice, windows: np.ndarray) -> csr_array:
    """Give the rays that each window of plants stops, (windows, groups)."""
    rows = np.repeat(np.arange(len(windows)), windows.shape[1])
    which = csr_array(
        (np.ones(windows.size), (rows, windows.ravel())), shape=(len(windows), len(choice.price))
    )
    return csr_array(which @ choice.stops.astype(float), dtype=float).astype(bool)


def _kind_may(choice: Choice, limits: Limits, planted) -> np.ndarray:
    """Tell which plants may be set by the number of kinds."""
    used = np.unique(choice.kind[planted])
    if len(used) < limits.most_kinds:
        return np.ones(len(planted), bool)
    return np.isin(choice.kind, used)
