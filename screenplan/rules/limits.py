"""Limits on what a screen does to others, as data: read, check, override.

A limit names its kind, which decides what figures it carries (`screenplan.rules.limit_kinds`). Like a setback it says
why, whence, how the figure is known and when it was taken, and whether the local code decides.
No expression is ever evaluated from a file: a limit is keys and figures only.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Annotated, Any, TypeVar, Union

from pydantic import Field

from screenplan.ground.errors import refuse
from screenplan.plan.catalogue import Catalogue, Entry, lay_over
from screenplan.plan.values import WrongError
from screenplan.rules.limit_kinds import KINDS, Limit, Zoning
from screenplan.rules.ruleset import SAID

#: The kind of limit that is asked for.
L = TypeVar("L", bound=Limit)
#: Names of the months. Limits give them by number, as they are on the northern half of the earth.
MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
    "November", "December",
)  # fmt: skip
#: Days of the months of a usual year.
MONTH_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


def load_limits(
    path: str | Path | None = None, overrides: Mapping[str, Mapping] | None = None
) -> dict[str, Limit]:
    """Read the shipped limits, then a file of the user's, then overrides from a plan.

    A table with the key of a known limit changes only the figures that it names; ``use = false``
    switches one off; a new key adds one, which needs ``kind``, ``reason`` and all its figures.

    Parameters
    ----------
    path : str or Path, optional
        A TOML file with one table per limit.
    overrides : mapping, optional
        The same tables, from elsewhere (a plan file).

    Returns
    -------
    dict
        Limits by key, the shipped ones first.

    Raises
    ------
    InputError
        With every problem found: file, limit and remedy.

    Examples
    --------
    >>> load_limits()["locate_18in"].margin_m
    0.4572
    """
    return _CATALOGUE.load(path, overrides)


def _over(known: Mapping[str, Entry], key: str, table: Mapping[str, Any]) -> dict[str, Any]:
    """Lay a person's table over a known limit, which stays of its kind."""
    entry = known.get(key)
    if entry is not None and table.get("kind", entry.read.kind) != entry.read.kind:
        raise WrongError(
            f"it is of the kind {entry.read.kind}", "Choose another name for your own", "kind"
        )
    return lay_over(entry, table, (*SAID, "kind", "confirm_locally"))


_CATALOGUE = Catalogue(
    "limit",
    ("screenplan.rules", "effects.toml"),
    Annotated[Union[tuple(KINDS.values())], Field(discriminator="kind")],  # noqa: UP007
    _over,
)


def limit_named(
    limits: Mapping[str, Limit] | None, name: str, kind: type[L], key: str, **figures: str
) -> L:
    """Find the limit that a plan names, of the kind that is meant.

    Parameters
    ----------
    limits : mapping, optional
        By default the shipped limits.
    name : str
        Its key.
    kind : type
        The kind that it must be of, a model of `screenplan.rules.limit_kinds`.
    key : str
        The plan's key that names it, for the message.
    **figures
        Figures that it must carry, such as ``place="drive"``.

    Raises
    ------
    InputError
        If there is none of that name and kind; those that are there are listed.
    """
    limits = load_limits() if limits is None else limits
    fits = {
        limit.key: limit
        for limit in limits.values()
        if isinstance(limit, kind)
        and all(getattr(limit, at) == value for at, value in figures.items())
    }
    if name in fits:
        return fits[name]
    raise refuse(
        f"there is no limit '{name}' of that kind",
        f"Write one of {', '.join(sorted(fits)) or 'your own rules'}, or add it to your rules",
        key=key,
    )


def limit_of(limits: Mapping[str, Limit] | None, kind: type[L]) -> L | None:
    """Give the one limit of a kind; the last that was added, None if all are switched off."""
    limits = load_limits() if limits is None else limits
    found = [limit for limit in limits.values() if isinstance(limit, kind)]
    return found[-1] if found else None


def allowed_height(zoning: Zoning, distance_m: float) -> float:
    """Height that a zoning allows at a distance, metres; infinite beyond its last distance.

    Examples
    --------
    >>> zoning = load_limits(None, {"wires_15_65ft": {"within": ["4 m"], "at_most": ["6 m"]}})
    >>> [allowed_height(zoning["wires_15_65ft"], at) for at in (3.0, 5.0)]
    [6.0, inf]
    """
    for within, at_most in zip(zoning.within_m, zoning.at_most_m, strict=True):
        if distance_m < within:
            return at_most
    return math.inf


def months_text(months: Iterable[int]) -> str:
    """Write months in words, those that follow one another as a span.

    Examples
    --------
    >>> months_text((3, 4, 5, 9)), months_text((11, 12, 1, 2))
    ('March to May and September', 'November to February')
    """
    there = {int(month) for month in months}
    if len(there) == len(MONTHS):
        return "every month"
    spans = []
    for first in sorted(there):
        if (first - 2) % 12 + 1 in there:
            continue
        last = first
        while last % 12 + 1 in there:
            last = last % 12 + 1
        names = MONTHS[first - 1], MONTHS[last - 1]
        spans.append(names[0] if first == last else " to ".join(names))
    return " and ".join(filter(None, (", ".join(spans[:-1]), *spans[-1:]))) or "none"
