"""Rows of two or three kinds that take turns in groups: which kinds may, how large the groups are, and with which a row begins.

A group is of as many plants as the plan allows, in the middle of that range where the row's length lets it. A run has
two groups at least, and may begin and end within one of which enough stands (`screenplan.design.choice.Choice.may_stand`).
Where two rows meet, a row begins and ends with other kinds than the one before it, if its length allows that; that plants
of one kind never stand side by side there is held in any case (`screenplan.design.meetings`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from screenplan.design.kinds import Option
from screenplan.ground.errors import refuse
from screenplan.ground.said import said
from screenplan.plan import Options
from screenplan.planting.diseases import in_common
from screenplan.planting.hedges import living_kind

#: How numbers of kinds are written.
WRITTEN = {2: "two", 3: "three"}


@dataclass(frozen=True)
class Mixture:
    """Kinds that take turns along a row.

    Parameters
    ----------
    kinds : tuple of Option
        At the same spacing, in the order in which they take turns.
    """

    kinds: tuple[Option, ...]

    @property
    def wider(self) -> Option:
        """The one that takes most room in the end."""
        return max(self.kinds, key=lambda option: option.half_m)

    def begun_with(self, first: int) -> Mixture:
        """Give the same kinds in turn, begun with another one."""
        return Mixture((*self.kinds[first:], *self.kinds[:first]))


@dataclass(frozen=True)
class Mixtures:
    """All mixtures to choose among, and what must be said of them.

    Parameters
    ----------
    every : tuple of Mixture
    groups : tuple of 2 ints
        Plants of a group at least and at most.
    notes : tuple of str
    """

    every: tuple[Mixture, ...]
    groups: tuple[int, int]
    notes: tuple[str, ...]


def list_mixtures(options: Sequence[Option], plan: Options) -> Mixtures | None:
    """List the mixtures, the kind that the plan names first before the others; None where the plan asks for no groups.

    Sizes and spacings are matched by their rank, the smallest of the one kind with the smallest of the others; a
    mixture stands at the narrowest of their spacings. Where views are to stay closed without one kind, each kind may
    begin. Kinds between which a disease passes are never mixed, nor is a kind with its own clipped hedge.

    Raises
    ------
    InputError
        If no two kinds may be mixed (or three, where the plan asks for three), or rows are double.
    """
    groups, many = plan.design.groups, plan.design.kinds_in_turn
    if not groups and many > 2:
        raise refuse(
            f"{WRITTEN[many]} kinds take turns in a row in groups, and no groups are asked for",
            "Set design.groups = [3, 7], or leave design.kinds_in_turn out",
            key=plan.design.key("kinds_in_turn"),
        )
    if not groups:
        return None
    if plan.rows.rows > 1 or plan.design.two_rows:
        raise refuse(
            "kinds take turns in groups along one row, and two rows are asked for",
            "Leave design.groups out, or rows.rows and design.two_rows",
            key=plan.design.key("groups"),
        )
    kinds = list(dict.fromkeys(option.species.key for option in options))
    of = {key: [option for option in options if option.species.key == key] for key in kinds}
    apart: set[frozenset[str]] = set()
    diseased: list[str] = []
    for one, other in combinations(kinds, 2):
        a, b = of[one][0].species, of[other][0].species
        found = in_common(a, b)
        if found or living_kind(one) == living_kind(other):
            apart.add(frozenset((one, other)))
        if found:
            diseased.append(
                f"{a.called} and {b.called} take no turns in a row: {found[0].called} passes between them"
            )
    every = [
        mixture
        for some in combinations(kinds, many)
        if not any(frozenset(pair) in apart for pair in combinations(some, 2))
        for mixture in _matched([of[key] for key in some])
    ]
    if plan.design.closed_without_one:
        # Of two rows behind each other one must begin with another kind than the other.
        every = [mixture.begun_with(first) for mixture in every for first in range(many)]
    may = min(len(kinds), plan.design.most_kinds)
    if not every or may < many:
        why = f"the design may plant {may} {'kind' if may == 1 else 'kinds'}"
        if may >= many:
            why = "; ".join(diseased) or "a kind takes no turns with its own clipped hedge"
        fewer = "leave design.groups out" if many == 2 else "set design.kinds_in_turn = 2"
        raise refuse(
            f"no {WRITTEN[many]} kinds can take turns in groups: {why}",
            f"Name more kinds in design.kinds, allow {WRITTEN[many]} in design.most_kinds, or {fewer}",
            key=plan.design.key("groups" if many == 2 else "kinds_in_turn"),
        )
    low, high = groups
    notes = [
        f"{'kinds' if many == 2 else 'three kinds'} take turns along each row, in groups of {low} to {high} plants; the table "
        "kinds_lost (health.kinds_lost = true) tells which views open if one kind dies out",
        *diseased,
    ]
    return Mixtures(tuple(every), (low, high), tuple(map(said, notes)))


def _matched(kinds: Sequence[Sequence[Option]]) -> list[Mixture]:
    """Match sizes and spacings of some kinds by rank; of a kind that has fewer the largest goes with the rest."""
    sizes, spacings = (
        _by_rank([[key(option) for option in some] for some in kinds])
        for key in (lambda option: option.height_m, lambda option: option.spacing_m)
    )
    found = []
    for tall in sizes:
        for wide in spacings:
            each = [
                [option for option in some if (option.height_m, option.spacing_m) == (h, s)]
                for some, h, s in zip(kinds, tall, wide, strict=True)
            ]
            if all(each):
                at = min(wide)
                found.append(Mixture(tuple(replace(some[0], spacing_m=at) for some in each)))
    return found


def _by_rank(values: list[list[float]]) -> list[tuple[float, ...]]:
    """Match lists of values by rank, each value once.

    Examples
    --------
    >>> _by_rank([[2.0, 1.0, 1.0], [5.0]])
    [(1.0, 5.0), (2.0, 5.0)]
    """
    ranks = [sorted(set(some)) for some in values]
    return [
        tuple(some[min(rank, len(some) - 1)] for some in ranks)
        for rank in range(max(map(len, ranks)))
    ]


def partings(count: int, low: int, high: int) -> Iterator[list[int]]:
    """Give the ways to part so many stations into groups from so many to so many plants, the usual number of groups first.

    Groups are as even as can be; what is left over at the end, where no groups fit in, stays without.

    Examples
    --------
    >>> [next(partings(count, 3, 7)) for count in (14, 8)], next(partings(7, 3, 3)), list(partings(2, 3, 7))
    ([[5, 5, 4], [4, 4]], [3, 3], [])
    """
    fewest, most = -(-count // high), count // low
    if not most:
        return
    if fewest > most:
        yield [high] * most
        return
    usual = min(max(round(2.0 * count / (low + high)), 2, fewest), most)
    for number in sorted(range(fewest, most + 1), key=lambda number: abs(number - usual)):
        each, more = divmod(count, number)
        yield [each + (k < more) for k in range(number)]


def turns(count: int, groups: tuple[int, int], kinds: int = 2, beside=()) -> np.ndarray:
    """Tell for each station whose turn it is, from 0; -1 where no group fits in, or one alone.

    Parameters
    ----------
    count : int
        Stations.
    groups : tuple of 2 ints
        Plants of a group at least and at most.
    kinds : int
        How many take turns.
    beside : sequence of pairs of int, optional
        A station and the kind of a plant of another row beside it: as few as can be are to meet their own kind. Where
        none do, the first kind begins and groups are of the usual size.

    Examples
    --------
    >>> turns(7, (2, 4)).tolist(), turns(9, (3, 3), 3).tolist()
    ([0, 0, 0, 0, 1, 1, 1], [0, 0, 0, 1, 1, 1, 2, 2, 2])

    The row before ends with the first kind; so this one begins with the second.

    >>> turns(6, (3, 3), beside=[(0, 0)]).tolist()
    [1, 1, 1, 0, 0, 0]
    """
    best, fewest = np.full(count, -1), np.inf
    at, of = (np.array([pair[k] for pair in beside], int) for k in (0, 1))
    for sizes in partings(count, *groups):
        if len(sizes) < 2:
            continue
        for first in range(kinds):
            whose = np.full(count, -1)
            whose[: sum(sizes)] = np.repeat((np.arange(len(sizes)) + first) % kinds, sizes)
            meet = int((whose[at] == of).sum())
            if meet < fewest:
                best, fewest = whose, meet
            if not fewest:
                return best
    return best
