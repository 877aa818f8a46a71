"""The programme with less in it: exact.

Left out are plants that stop nothing and that no useful run needs, and sets of plants that exclude each other
where larger ones say the same.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.sparse import csr_array

from screenplan.design.choice import Choice, runs_in


def useful_plants(
    stops: csr_array, stretch: np.ndarray, least_run: int, least_gap: int = 1
) -> np.ndarray:
    """Tell which plants stop something or may fill up a least run beside one that does, (plants,).

    A plant farther from every useful one than a least run is long is never worth its price. What is left out
    between two is at least as long as a gap must be, so that runs to either side are far enough apart.

    Examples
    --------
    >>> stops = csr_array(np.array([[0], [0], [0], [1], [0]], bool))
    >>> useful_plants(stops, np.zeros(5, int), 3).tolist()
    [False, True, True, True, True]
    """
    useful = np.diff(csr_array(stops).indptr) > 0
    kept = useful.copy()
    for step in range(1, least_run):
        same = stretch[step:] == stretch[:-step]
        kept[step:] |= useful[:-step] & same
        kept[:-step] |= useful[step:] & same
    return with_narrow_gaps(kept, stretch, least_gap)


def with_narrow_gaps(kept: np.ndarray, stretch: np.ndarray, least_gap: int) -> np.ndarray:
    """Keep what is left out between two that are kept, too, where fewer are than a gap must be wide, (plants,).

    Examples
    --------
    >>> kept = np.array([True, False, True, False, False, True])
    >>> with_narrow_gaps(kept, np.zeros(6, int), 2).tolist()
    [True, True, True, False, False, True]
    """
    kept = kept.copy()
    for run in runs_in(stretch, ~kept):
        inside = (
            run[0] > 0
            and run[-1] + 1 < len(stretch)
            and stretch[run[0] - 1] == stretch[run[0]] == stretch[run[-1] + 1]
        )
        if inside and len(run) < least_gap:
            kept[run] = True
    return kept


def without(choice: Choice, kept: np.ndarray) -> Choice:
    """Give the choice of some plants alone; runs end where one is left out."""
    number = np.cumsum(kept) - 1
    at = np.flatnonzero(kept)
    breaks = (np.diff(at) > 1) | (np.diff(choice.stretch[at]) != 0)
    spots = (number[spot[kept[spot]]] for spot in choice.exclusive)
    return replace(
        choice,
        price=choice.price[kept],
        stretch=np.concatenate([[0], np.cumsum(breaks)]) if len(at) else np.zeros(0, int),
        option=choice.option[kept],
        kind=choice.kind[kept],
        genus=choice.genus[kept],
        mixed=None if choice.mixed is None else choice.mixed[kept],
        living=None if choice.living is None else choice.living[kept],
        exclusive=tuple(spot for spot in spots if len(spot) > 1),
        stops=csr_array(choice.stops[kept]),
    )


def fewer_spots(exclusive, plants: int) -> tuple[np.ndarray, ...]:
    """Give fewer and larger sets of plants of which at most one can stand, that exclude the same pairs.

    Examples
    --------
    >>> [spot.tolist() for spot in fewer_spots([(0, 1), (1, 2), (0, 2), (2, 3)], 4)]
    [[0, 1, 2], [2, 3]]
    """
    against, said = (np.zeros((plants, plants), bool) for _ in range(2))
    # What is said twice is left out. Most sets are pairs, which need no turn of their own to be entered or passed over.
    once = dict.fromkeys(tuple(np.unique(spot).tolist()) for spot in exclusive)
    spots = [np.array(spot, int) for spot in sorted(once, key=len, reverse=True)]
    larger_ones = sum(len(spot) > 2 for spot in spots)
    pairs = np.array([spot for spot in spots[larger_ones:] if len(spot) == 2], int).reshape(-1, 2)
    for spot in spots[:larger_ones]:
        against[np.ix_(spot, spot)] = True
    against[*pairs.T] = against[*pairs.T[::-1]] = True
    against[np.arange(plants), np.arange(plants)] = False
    many = against.sum(axis=1)
    found: list[np.ndarray] = []

    def enlarge(spot: np.ndarray) -> None:
        """Add to a set all that exclude it, those first that exclude most."""
        larger = list(spot)
        more = np.logical_and.reduce([against[plant] for plant in spot])
        some = np.flatnonzero(more)
        for plant in some[np.argsort(-many[some], kind="stable")].tolist():
            if more[plant]:
                larger.append(plant)
                more &= against[plant]
        together = np.sort(larger) if len(some) else spot
        said[together[:, None], together] = True
        found.append(together)

    for spot in spots[:larger_ones]:
        mine = np.ix_(spot, spot)
        if not (said[mine] | ~against[mine]).all():
            enlarge(spot)
    for one, other in pairs[~said[*pairs.T]].tolist():
        if not said[one, other]:
            enlarge(np.array([one, other]))
    return tuple(found)
