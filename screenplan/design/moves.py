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


def may_go(choice: Choice, limits: Limits, planted, gone) -> bool:
    """Tell whether plants still stand, and leave runs that are long enough when they go."""
    if not planted[gone].all():
        return False
    for plant, way in ((gone[0], -1), (gone[-1], 1)):
        left, at = 0, plant + way
        while (
            0 <= at < len(planted)
            and planted[at]
            and choice.stretch[at] == choice.stretch[plant]
            and left < limits.least_run
        ):
            left, at = left + 1, at + way
        if 0 < left < limits.least_run:
            return False
    return True


def starts_of(choice: Choice, least: int) -> np.ndarray:
    """Give the plants from which on so many follow each other in one stretch."""
    plants = len(choice.price)
    if plants < least:
        return np.zeros(0, int)
    first = np.arange(plants - least + 1)
    return first[choice.stretch[first] == choice.stretch[first + least - 1]]


def beside(choice: Choice, planted) -> np.ndarray:
    """Tell which plants are neighbours of one that is set."""
    same = choice.stretch[1:] == choice.stretch[:-1]
    found = np.zeros(len(planted), bool)
    found[1:] |= planted[:-1] & same
    found[:-1] |= planted[1:] & same
    return found
