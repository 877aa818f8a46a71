"""The moves by which a planting is changed: what may be taken off it, and where something may be added."""

from __future__ import annotations

import numpy as np

from screenplan.design.choice import Choice, Limits, runs_in


def removable(choice: Choice, limits: Limits, planted):
    """Give runs, their ends, and as many plants within them as make a gap."""
    gap = max(limits.least_gap, 1)
    for run in runs_in(choice.stretch, planted):
        yield run
        if len(run) > limits.least_run:
            yield run[:1]
            yield run[-1:]
            yield from (run[k : k + gap] for k in range(1, len(run) - gap))
        # Of a group of which no less may stand all goes.
        for k in range(2, min(limits.least_group, len(run) - 1) + 1):
            yield run[:k]
            yield run[-k:]


def may_go(choice: Choice, limits: Limits, planted, gone) -> bool:
    """Tell whether plants still stand, and leave runs that are long enough when they go."""
    if not planted[gone].all():
        return False
    # Where kinds take turns the whole of what is left tells whether it may stand.
    most = limits.least_run if choice.mixed is None else len(planted)
    for plant, way in ((gone[0], -1), (gone[-1], 1)):
        left, at = 0, plant + way
        while (
            0 <= at < len(planted)
            and planted[at]
            and choice.stretch[at] == choice.stretch[plant]
            and left < most
        ):
            left, at = left + 1, at + way
        if 0 < left < limits.least_run:
            return False
        rest = np.sort(plant + way * np.arange(1, left + 1))
        if left and choice.mixed is not None and not choice.may_stand(limits, rest):
            return False
    return True


def least_runs(choice: Choice, limits: Limits) -> list[np.ndarray]:
    """Give the plants of each least run."""
    last = choice.least_ends(limits)
    return [np.arange(start, last[start] + 1) for start in np.flatnonzero(last >= 0).tolist()]


def least_additions(choice: Choice, limits: Limits) -> list[np.ndarray]:
    """Give for each plant the fewest with which it may lengthen a run: itself, or as many of its group as must stand."""
    plants = np.arange(len(choice.price))
    if choice.mixed is None:
        return list(plants[:, None])
    low, groups = limits.least_group, choice.groups
    # Where a run comes from before, and where from behind.
    before = np.where(choice.mixed, np.maximum(low - 1 - groups.at, 0), 0)
    behind = np.where(choice.mixed, np.maximum(low - groups.left, 0), 0)
    first = plants - np.minimum(behind, groups.at)
    last = plants + np.minimum(before, groups.left - 1)
    return [np.arange(a, b + 1) for a, b in zip(first, last, strict=True)]


def beside(choice: Choice, planted) -> np.ndarray:
    """Tell which plants are neighbours of one that is set."""
    same = choice.stretch[1:] == choice.stretch[:-1]
    found = np.zeros(len(planted), bool)
    found[1:] |= planted[:-1] & same
    found[:-1] |= planted[1:] & same
    return found


class Additions:
    """What may be added to a planting.

    Parameters
    ----------
    choice : Choice
    limits : Limits
    """

    def __init__(self, choice: Choice, limits: Limits):
        self.choice = choice
        self.runs, self.more = least_runs(choice, limits), least_additions(choice, limits)
        # Shorter runs are filled up with their last plant.
        most = max(map(len, self.runs), default=0)
        table = [np.pad(run, (0, most - len(run)), mode="edge") for run in self.runs]
        self._table = np.array(table, int).reshape(len(self.runs), most)

    def among(self, planted: np.ndarray, free: np.ndarray) -> list[np.ndarray]:
        """Give the least runs that are free, and then what may lengthen a run, without what stands already."""
        found = [self.runs[k] for k in np.flatnonzero(free[self._table].all(axis=1))]
        for plant in np.flatnonzero(free & beside(self.choice, planted)).tolist():
            more = self.more[plant][~planted[self.more[plant]]]
            if free[more].all():
                found.append(more)
        return found
