"""A planting made surer by the draws plant by plant, and rid of what its chance does not need."""

from __future__ import annotations

import heapq

import numpy as np

from screenplan.design.choice import SLACK, Choice, Limits, breaks_of
from screenplan.design.moves import Additions, may_go, removable
from screenplan.views.drawn_stops import Trial


def make_surer(trial: Trial, choice: Choice, limits: Limits, goal: np.ndarray) -> None:
    """Add runs, and plants at their ends, until views are as sure as they are to be, or nothing helps.

    Parameters
    ----------
    trial : Trial
        The planting; it is changed.
    choice : Choice
        Of the same plants.
    limits : Limits
    goal : ndarray, (views,)
        Share of the draws in which each view is to be closed.
    """
    additions = Additions(choice, limits)
    # What a move gains never grows while others are made, so that what it gained before is the most it gains now.
    known: dict[tuple[int, int], float] = {}
    while (failing := trial.chance() < goal).any():
        blocked = trial.planted | choice.blocked_by(trial.planted)
        used = np.unique(choice.kind[trial.planted])
        if len(used) >= limits.most_kinds:
            blocked |= ~np.isin(choice.kind, used)
        blocked |= np.isin(choice.kind, list(limits.kinds_beside(used)))
        moves = additions.among(trial.planted, ~blocked)
        lack = trial.lack()
        price = [max(float(choice.price[move].sum()), SLACK) for move in moves]
        names = [(int(move[0]), len(move)) for move in moves]
        heap = [(-known.get(name, np.inf) / price[k], k, False) for k, name in enumerate(names)]
        heapq.heapify(heap)
        made = False
        while heap and not made:
            rate, k, fresh = heapq.heappop(heap)
            if not fresh:
                gained = float(((lack - trial.lack_with(moves[k])) * choice.weight)[failing].sum())
                known[names[k]] = gained
                heapq.heappush(heap, (-gained / price[k], k, True))
            elif -rate * price[k] <= SLACK:
                return
            else:
                more = trial.planted.copy()
                more[moves[k]] = True
                made = not breaks_of(choice, limits, more)
                if made:
                    trial.set(moves[k])
        if not made:
            return


def take_off(
    trial: Trial,
    choice: Choice,
    limits: Limits,
    goal: np.ndarray,
    *,
    typical: np.ndarray,
) -> None:
    """Take the dearest plants off, as long as the chance of each view holds, and what is closed stays so.

    Where a share of the views is enough, as long as so many are as sure as they are to be.

    Parameters
    ----------
    trial, choice, limits, goal
        As `make_surer` takes them. A view that is less sure than its goal stays as sure as it is.
    typical : ndarray of bool, (views,)
        Views that stay closed at typical growth.
    """
    total = choice.weight.sum()
    asked, floor = limits.share * total, np.minimum(trial.chance(), goal)
    kept = (trial.chance() >= goal) & typical & choice.closed(trial.planted)
    enough = limits.share < 1.0 and choice.weight[kept].sum() >= asked - SLACK

    def holds() -> bool:
        chance, closed = trial.chance(), choice.closed(trial.planted)
        if enough:  # some views may go
            return choice.weight[(chance >= goal) & kept & closed].sum() >= asked - SLACK
        return bool((chance >= floor).all() and closed[now].all())

    now = typical & choice.closed(trial.planted)
    while True:
        gone = False
        for some in sorted(
            removable(choice, limits, trial.planted), key=lambda some: -choice.price[some].sum()
        ):
            if not may_go(choice, limits, trial.planted, some):
                continue
            trial.take(some)
            if holds() and not breaks_of(choice, limits, trial.planted):
                gone = True
            else:
                trial.set(some)
        if not gone:
            return
