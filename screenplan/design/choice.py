"""What may be planted and what must be closed, as plain arrays: nothing here knows geometry.

A plant that may be set stops some rays in the year that counts. A view is closed when the stopped share
of its light is what it needs. Plants stand in runs of neighbours of one stretch, and some exclude each
other because they would stand on the same ground. Whoever chooses, by whatever means, is judged here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations, pairwise
from typing import NamedTuple

import numpy as np
from scipy.sparse import csr_array

#: Shares of light and sums of prices are compared with this slack: rounding only.
SLACK = 1e-9
#: Most sets of kinds that are looked at one by one.
MOST_SETS = 60


class Groups(NamedTuple):
    """Plants of one kind side by side in a stretch.

    Attributes
    ----------
    number : ndarray of int, (plants,)
        The group of each plant.
    at, left : ndarray of int, (plants,)
        How many of its group stand before it, and how many from it on.
    """

    number: np.ndarray
    at: np.ndarray
    left: np.ndarray


@dataclass(frozen=True, eq=False)
class Choice:
    """Plants that may be set, and views that they may close.

    Parameters
    ----------
    price : ndarray, (plants,)
        Price of each, 0 or more.
    stretch : ndarray of int, (plants,)
        Stretch on which each stands; those of one stretch follow each other in the order of their
        stations, are of one kind or take turns in groups, and neighbours among them are neighbours in the row.
    option, kind, genus : ndarray of int, (plants,)
        Plants of one option are of one kind, size and spacing, or of one mixture of kinds.
    exclusive : tuple of ndarray of int
        Sets of plants of which at most one can stand.
    stops : csr_array of bool, (plants, groups)
        Which rays each stops: a group is one ray, or several that the same plants stop.
    light : csr_array of float, (views, groups)
        Share of each view's light that passes by each group.
    need : ndarray, (views,)
        Share of each view's light that must be stopped.
    weight : ndarray, (views,)
        How much each view matters, 0 or more.
    mixed : ndarray of bool, (plants,), or None
        Which stand in rows whose kinds take turns; None for none.
    living : ndarray of int, (plants,), or None
        Kinds that die out as one, a kind with its own clipped hedge, have one number here; None where each is by itself.
    """

    price: np.ndarray
    stretch: np.ndarray
    option: np.ndarray
    kind: np.ndarray
    genus: np.ndarray
    exclusive: tuple[np.ndarray, ...]
    stops: csr_array
    light: csr_array
    need: np.ndarray
    weight: np.ndarray
    mixed: np.ndarray | None = None
    living: np.ndarray | None = None

    def __post_init__(self):
        plants, views = len(self.price), len(self.need)
        groups = self.stops.shape[1]
        if self.stops.shape != (plants, groups) or self.light.shape != (views, groups):
            msg = f"stops are {self.stops.shape} and light is {self.light.shape} for {plants} plants and {views} views"
            raise ValueError(msg)
        for name in ("price", "weight", "need"):
            values = getattr(self, name)
            if not (np.isfinite(values).all() and (values >= 0.0).all()):
                msg = f"each {name} must be a number of 0 or more"
                raise ValueError(msg)
        if (np.diff(self.stretch) < 0).any():
            msg = "plants of a stretch follow each other, and stretches are in rising order"
            raise ValueError(msg)

    @cached_property
    def against(self) -> list[np.ndarray]:
        """The plants that cannot stand where each does, and itself if there are any."""
        spots: list[list[np.ndarray]] = [[] for _ in self.price]
        for spot in self.exclusive:
            for plant in spot:
                spots[plant].append(spot)
        none = np.zeros(0, int)
        return [np.unique(np.concatenate(some)) if some else none for some in spots]

    @cached_property
    def spots(self) -> csr_array:
        """Matrix that tells of each set of plants of which one can stand who is of it, (spots, plants)."""
        sizes = [len(spot) for spot in self.exclusive]
        rows = np.repeat(np.arange(len(sizes)), sizes)
        at = np.concatenate([*self.exclusive, np.zeros(0, int)]).astype(int)
        return csr_array((np.ones(len(at), int), (rows, at)), shape=(len(sizes), len(self.price)))

    @cached_property
    def light_by_group(self) -> np.ndarray:
        """Share of each view's light that passes by each group, (groups, views)."""
        return np.ascontiguousarray(self.light.toarray().T, float)

    def groups_of(self, plants) -> np.ndarray:
        """Give the groups of rays that some plants stop; one that several stop is there as often."""
        first, groups = self.stops.indptr, self.stops.indices
        return np.concatenate([groups[first[plant] : first[plant + 1]] for plant in plants])

    def blocked_by(self, planted) -> np.ndarray:
        """Tell which plants have no room beside those that stand, (plants,)."""
        blocked = np.zeros(len(self.price), bool)
        for plant in np.flatnonzero(planted):
            blocked[self.against[plant]] = True
        return blocked

    def stopped(self, planted) -> np.ndarray:
        """Share of each view's light that some plants stop, (views,)."""
        return self.light @ self.met(planted)

    def met(self, planted) -> np.ndarray:
        """Tell which groups of rays some plants stop, (groups,), as 0 and 1."""
        found, chosen = np.zeros(self.stops.shape[1]), np.flatnonzero(np.asarray(planted, bool))
        if len(chosen):
            found[self.groups_of(chosen)] = 1.0
        return found

    def closed(self, planted) -> np.ndarray:
        """Tell which views some plants close, (views,)."""
        return self.stopped(planted) >= self.need - SLACK

    @property
    def dies_as(self) -> np.ndarray:
        """Number of what dies out as one, of each plant, (plants,)."""
        return self.kind if self.living is None else self.living

    def left_closed(self, planted) -> dict[int, np.ndarray]:
        """Tell for each kind of some plants which views they close without it, (views,).

        Examples
        --------
        A plant of each of two kinds stops the same ray: either closes the view alone.

        >>> choice = Choice(np.ones(2), np.arange(2), *[np.arange(2)] * 3, (), csr_array(np.ones((2, 1), bool)),
        ...     csr_array(np.ones((1, 1))), np.ones(1), np.ones(1))
        >>> {kind: closed.tolist() for kind, closed in choice.left_closed([True, True]).items()}
        {0: [True], 1: [True]}
        """
        planted = np.asarray(planted, bool)
        return {
            int(kind): self.closed(planted & (self.dies_as != kind))
            for kind in np.unique(self.dies_as[planted])
        }

    def left_weight(self, planted) -> float:
        """Weight of the views that stay closed whichever kind dies out; infinite where nothing is planted."""
        left = self.left_closed(planted).values()
        return min((float(self.weight[closed].sum()) for closed in left), default=math.inf)

    def cost(self, planted) -> float:
        """Price of some plants."""
        return float(self.price[np.asarray(planted, bool)].sum())

    @cached_property
    def groups(self) -> Groups:
        """The groups of plants of one kind that stand side by side in a stretch."""
        plants = len(self.price)
        begins = np.ones(plants, bool)
        begins[1:] = (np.diff(self.kind) != 0) | (np.diff(self.stretch) != 0)
        first = np.flatnonzero(begins)
        number = np.cumsum(begins) - 1
        at = np.arange(plants) - first[number]
        return Groups(number, at, np.diff(np.append(first, plants))[number] - at)

    def least_ends(self, limits: Limits) -> np.ndarray:
        """Give the last plant of the least run that begins at each plant; -1 where none may begin, (plants,).

        Examples
        --------
        Two groups of three and four plants: a run takes two of either at least.

        >>> kind, none = np.array([0, 0, 0, 1, 1, 1, 1]), (csr_array((7, 0)), csr_array((0, 0)), np.zeros(0), np.zeros(0))
        >>> choice = Choice(np.ones(7), np.zeros(7, int), kind, kind, kind, (), *none, kind >= 0)
        >>> choice.least_ends(Limits(least_run=3, least_group=2)).tolist()
        [4, 4, -1, -1, -1, -1, -1]
        """
        plants = len(self.price)
        last = np.arange(plants) + limits.least_run - 1
        if self.mixed is not None and plants:
            low, groups = limits.least_group, self.groups
            ends = np.flatnonzero(~self.mixed | (groups.at + 1 >= low))
            asked = np.maximum(last, np.arange(plants) + groups.left - 1 + low)
            later = np.searchsorted(ends, asked)
            asked = np.append(ends, plants)[later]
            asked[groups.left < low] = plants
            last = np.where(self.mixed, asked, last)
        there = np.minimum(last, max(plants - 1, 0))
        return np.where((last < plants) & (self.stretch[there] == self.stretch), last, -1)

    def may_stand(self, limits: Limits, run: np.ndarray) -> bool:
        """Tell whether neighbours of one stretch are enough for a run, and of two groups where kinds take turns."""
        last = self.least_ends(limits)[run[0]] if self.mixed is not None else run[0] + limits.least_run - 1  # fmt: skip
        if not 0 <= last <= run[-1]:
            return False
        mixed = self.mixed is not None and self.mixed[run[-1]]
        return not mixed or bool(self.groups.at[run[-1]] + 1 >= limits.least_group)

    def closable(self) -> np.ndarray:
        """Tell which views would be closed if every plant stood, room or not, (views,)."""
        return self.closed(np.ones(len(self.price), bool))


@dataclass(frozen=True)
class Limits:
    """What a planting must keep to.

    Parameters
    ----------
    share : float
        Share of the views' weight that should be closed.
    budget : float
        Most that the plants may cost.
    most_kinds : int
        Kinds that may be planted.
    most_of_kind, most_of_genus : float
        Greatest share of the plants that may be of one kind, and of one genus; 1 for any.
    apart : tuple of pairs of int
        Kinds of which not both may be planted.
    least_run : int
        Plants that stand side by side at least.
    least_gap : int
        Stations that are left free between two runs of one stretch at least.
    least_group : int
        Plants of one kind side by side at least, where kinds take turns in a run; of such groups it has two at least.
    open_price : float
        What weight 1 that stays open below the asked share counts.
    left_share : float
        Share of the weight that is asked for and can be closed that stays closed whichever kind dies out.
    least_left : float
        That weight, of the views of a pool; 0 where nothing is asked.
    """

    share: float = 1.0
    budget: float = math.inf
    most_kinds: int = 1_000
    most_of_kind: float = 1.0
    most_of_genus: float = 1.0
    least_run: int = 3
    least_gap: int = 1
    open_price: float = 1.0
    apart: tuple[tuple[int, int], ...] = ()
    least_group: int = 1
    left_share: float = 0.0
    least_left: float = 0.0

    def kinds_beside(self, used) -> set[int]:
        """Give the kinds that may not be planted where some are."""
        there = {int(kind) for kind in used}
        return {b for pair in self.apart for a, b in (pair, pair[::-1]) if a in there}


def open_weight(choice: Choice, limits: Limits, planted) -> float:
    """Weight of the views that stay open below the asked share."""
    asked = limits.share * choice.weight.sum()
    return max(float(asked - choice.weight[choice.closed(planted)].sum()), 0.0)


def counts(choice: Choice, limits: Limits, planted) -> float:
    """Give what is made as small as it gets: the price of the plants and of what stays open."""
    return choice.cost(planted) + limits.open_price * open_weight(choice, limits, planted)


def runs_in(stretch: np.ndarray, planted) -> list[np.ndarray]:
    """Give the runs of plants: neighbours of one stretch, by their numbers."""
    chosen = np.flatnonzero(planted)
    breaks = (np.diff(chosen) > 1) | (np.diff(stretch[chosen]) != 0)
    return np.split(chosen, np.flatnonzero(breaks) + 1) if len(chosen) else []


def narrow_gaps(
    stretch: np.ndarray, planted, least_gap: int
) -> list[tuple[np.ndarray, np.ndarray]]:
    """Give the pairs of neighbouring runs of one stretch between which too few stations are free."""
    runs = runs_in(stretch, planted)
    return [
        (one, other)
        for one, other in pairwise(runs)
        if stretch[one[-1]] == stretch[other[0]] and other[0] - one[-1] - 1 < least_gap
    ]


def over_share(choice: Choice, limits: Limits, planted) -> float:
    """Plants by which some kind or genus has more than its share; 0 or less if none has."""
    chosen = np.flatnonzero(planted)
    if not len(chosen):
        return 0.0
    return max(
        float(np.bincount(of[chosen]).max()) - share * len(chosen)
        for of, share in (
            (choice.kind, limits.most_of_kind),
            (choice.genus, limits.most_of_genus),
        )
    )


def breaks_of(choice: Choice, limits: Limits, planted) -> list[str]:
    """Name the limits that a planting breaks; an empty list if it keeps to all."""
    chosen = np.flatnonzero(planted)
    broken = []
    if choice.cost(planted) > limits.budget + SLACK * max(1.0, limits.budget):
        broken.append("budget")
    if not all(choice.may_stand(limits, run) for run in runs_in(choice.stretch, planted)):
        broken.append("least run")
    if narrow_gaps(choice.stretch, planted, limits.least_gap):
        broken.append("least gap")
    if len(np.unique(choice.kind[chosen])) > limits.most_kinds:
        broken.append("kinds")
    if limits.kinds_beside(used := np.unique(choice.kind[chosen])).intersection(used.tolist()):
        broken.append("hosts apart")
    if over_share(choice, limits, planted) > SLACK:
        broken.append("share of a kind or genus")
    if limits.least_left > 0.0 and choice.left_weight(planted) < limits.least_left - SLACK:
        broken.append("one kind lost")
    stands = np.zeros(len(choice.price), bool)
    stands[chosen] = True
    if (choice.spots @ stands.astype(int)).max(initial=0) > 1:
        broken.append("ground")
    return broken


def sets_of_kinds(choice: Choice, limits: Limits) -> list[tuple[int, ...]]:
    """Give all sets of as many kinds as may stand; one of all kinds if these are too many sets."""
    kinds = np.unique(choice.kind)
    some = min(limits.most_kinds, len(kinds))
    if math.comb(len(kinds), some) > MOST_SETS:
        return [tuple(kinds)]
    return list(combinations(kinds, some))
