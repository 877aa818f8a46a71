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
        if (
            left
            and limits.least_group > 1
            and not choice.ends_of_groups(limits.least_group)[way < 0][plant + way]
        ):
            return False
    return True


def starts_of(choice: Choice, limits: Limits) -> np.ndarray:
    """Give the plants from which on a least run may stand in one stretch."""
    plants, least = len(choice.price), limits.least_run
    if plants < least:
        return np.zeros(0, int)
    first = np.arange(plants - least + 1)
    begins, ends = choice.ends_of_groups(limits.least_group)
    same = choice.stretch[first] == choice.stretch[first + least - 1]
    return first[same & begins[first] & ends[first + least - 1]]


def least_additions(choice: Choice, limits: Limits) -> list[np.ndarray]:
    """Give for each plant the fewest with which it may lengthen a run: itself, or as many of its group as must stand."""
    plants = len(choice.price)
    if limits.least_group <= 1:
        return list(np.arange(plants)[:, None])
    begins, ends = choice.ends_of_groups(limits.least_group)
    found = []
    for plant in range(plants):
        first = last = plant
        while not begins[first] and first and choice.stretch[first - 1] == choice.stretch[plant]:
            first -= 1
        while not ends[last] and last + 1 < plants and choice.stretch[last + 1] == choice.stretch[plant]:  # fmt: skip
            last += 1
        found.append(np.arange(first, last + 1))
    return found


def beside(choice: Choice, planted) -> np.ndarray:
    """Tell which plants are neighbours of one that is set."""
    same = choice.stretch[1:] == choice.stretch[:-1]
    found = np.zeros(len(planted), bool)
    found[1:] |= planted[:-1] & same
    found[:-1] |= planted[1:] & same
    return found


def lengthened(additions: list[np.ndarray], planted, where) -> list[np.ndarray]:
    """Give what is added where runs may be lengthened, without what stands already."""
    return [
        additions[plant][~planted[additions[plant]]] for plant in np.flatnonzero(where).tolist()
    ]
