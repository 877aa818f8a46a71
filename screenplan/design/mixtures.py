"""Rows of two kinds that take turns in groups: which kinds may, and how large the groups are.

A group is of as many plants as the plan allows, in the middle of that range where the row's length lets it. A run has
two groups at least, and may begin and end within one of which enough stands (`screenplan.design.choice.Choice.may_stand`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from screenplan.design.kinds import Option
from screenplan.ground.errors import refuse
from screenplan.ground.said import said
from screenplan.plan import Options
from screenplan.planting.diseases import in_common


@dataclass(frozen=True)
class Mixture:
    """Two kinds that take turns along a row.

    Parameters
    ----------
    first, second : Option
        At the same spacing; the row begins with the first.
    """

    first: Option
    second: Option

    @property
    def wider(self) -> Option:
        """The one that takes more room in the end."""
        return max(self.first, self.second, key=lambda option: option.half_m)


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
    """List the mixtures of two kinds, the one that the plan names first before the other; None where the plan asks for no groups.

    Sizes and spacings are matched by their rank, the smallest of the one kind with the smallest of the other; a
    mixture stands at the narrower of its two spacings. Kinds between which a disease passes are never mixed.

    Raises
    ------
    InputError
        If no two kinds may be mixed, or rows are double.
    """
    if not plan.design.groups:
        return None
    if plan.rows.rows > 1 or plan.design.two_rows:
        raise refuse(
            "kinds take turns in groups along one row, and two rows are asked for",
            "Leave design.groups out, or rows.rows and design.two_rows",
            key=plan.design.key("groups"),
        )
    kinds = list(dict.fromkeys(option.species.key for option in options))
    of = {key: [option for option in options if option.species.key == key] for key in kinds}
    every: list[Mixture] = []
    diseased: list[str] = []
    for one, other in combinations(kinds, 2):
        a, b = of[one][0].species, of[other][0].species
        if found := in_common(a, b):
            diseased.append(
                f"{a.called} and {b.called} take no turns in a row: {found[0].called} passes between them"
            )
            continue
        every += _matched(of[one], of[other])
    if not every or plan.design.most_kinds < 2:
        why = "; ".join(diseased) or (
            f"the design may plant {min(len(kinds), plan.design.most_kinds)} kind"
        )
        raise refuse(
            f"no two kinds can take turns in groups: {why}",
            "Name more kinds in design.kinds, allow two in design.most_kinds, or leave design.groups out",
            key=plan.design.key("groups"),
        )
    low, high = plan.design.groups
    notes = [
        f"kinds take turns along each row, in groups of {low} to {high} plants; the table kinds_lost (health.kinds_lost = true) "
        "tells which views open if one kind dies out",
        *diseased,
    ]
    return Mixtures(tuple(every), (low, high), tuple(map(said, notes)))


def _matched(ones: Sequence[Option], others: Sequence[Option]) -> list[Mixture]:
    """Match sizes and spacings of two kinds by rank; of the kind that has fewer the largest goes with the rest."""
    sizes, spacings = (
        _by_rank([[key(option) for option in some] for some in (ones, others)])
        for key in (lambda option: option.height_m, lambda option: option.spacing_m)
    )
    found = []
    for tall in sizes:
        for wide in spacings:
            pair = [
                [option for option in some if (option.height_m, option.spacing_m) == (h, s)]
                for some, h, s in zip((ones, others), tall, wide, strict=True)
            ]
            if all(pair):
                at = min(wide)
                found.append(Mixture(*(replace(some[0], spacing_m=at) for some in pair)))
    return found


def _by_rank(values: list[list[float]]) -> list[tuple[float, ...]]:
    """Pair two lists of values by rank, each value once.

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


def group_sizes(count: int, low: int, high: int) -> list[int]:
    """Part so many stations into groups from so many to so many plants, as even as can be.

    What is left over at the end, where no groups fit in, stays without.

    Examples
    --------
    >>> group_sizes(14, 3, 7), group_sizes(8, 3, 7), group_sizes(7, 3, 3), group_sizes(2, 3, 7)
    ([5, 5, 4], [4, 4], [3, 3], [])
    """
    fewest, most = -(-count // high), count // low
    if fewest > most:
        return [high] * most
    if not most:
        return []
    usual = max(round(2.0 * count / (low + high)), 2)
    number = min(max(usual, fewest), most)
    each, more = divmod(count, number)
    return [each + (k < more) for k in range(number)]


def turns(count: int, low: int, high: int) -> np.ndarray:
    """Tell for each station whose turn it is, 0 or 1; -1 where no group fits in, or one alone.

    Examples
    --------
    >>> turns(7, 2, 4).tolist()
    [0, 0, 0, 0, 1, 1, 1]
    """
    found = np.full(count, -1)
    sizes = group_sizes(count, low, high)
    if len(sizes) > 1:
        found[: sum(sizes)] = np.repeat(np.arange(len(sizes)) % 2, sizes)
    return found
