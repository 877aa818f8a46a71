"""Diseases that kinds have in common, as data with sources: which kinds should stand apart."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from itertools import combinations

from pydantic import TypeAdapter

from screenplan.plan.catalogue import shipped_tables
from screenplan.plan.values import TABLE, Words
from screenplan.planting.hedges import living_kind
from screenplan.planting.species_model import Species


@dataclass(frozen=True)
class Disease:
    """One disease.

    Parameters
    ----------
    called : str
        Its name.
    hosts : tuple of str
        Kinds by key, or genera, that it infects.
    says : str
        What it does.
    source, status, date : str
        Where it was read, how it is known, and when.
    other_hosts : tuple of str
        Of a disease that needs two sorts of hosts, those of the other sort.
    """

    __pydantic_config__ = TABLE

    called: Words
    hosts: tuple[Words, ...]
    says: Words
    source: Words
    status: Words
    date: Words
    other_hosts: tuple[Words, ...] = ()

    def joins(self, one: Species, other: Species) -> bool:
        """Tell whether two kinds host it, in turns where it needs two sorts of hosts."""
        if not self.other_hosts:
            return _among(one, self.hosts) and _among(other, self.hosts)
        return any(
            _among(a, self.hosts) and _among(b, self.other_hosts)
            for a, b in ((one, other), (other, one))
        )


@cache
def load_diseases() -> tuple[Disease, ...]:
    """Load the diseases that are known, each with its source."""
    tables = shipped_tables("screenplan.planting", "diseases.toml")
    return tuple(TypeAdapter(Disease).validate_python(table) for table in tables.values())


def in_common(one: Species, other: Species) -> tuple[Disease, ...]:
    """Give the diseases that pass between two different kinds.

    Examples
    --------
    >>> from screenplan.planting.species import load_species
    >>> table = load_species()
    >>> [disease.called for disease in in_common(table["photinia_fraseri"], table["juniperus_virginiana"])]
    ['cedar-quince rust']
    >>> in_common(table["ilex_opaca"], table["thuja_occidentalis"])
    ()
    """
    if one.key == other.key:
        return ()
    return tuple(disease for disease in load_diseases() if disease.joins(one, other))


def pairs_in_common(kinds: Iterable[Species]) -> tuple[tuple[str, str], ...]:
    """Give the pairs of kinds, by key, between which a disease passes."""
    return tuple(
        (one.key, other.key) for one, other in combinations(kinds, 2) if in_common(one, other)
    )


def _among(kind: Species, hosts: tuple[str, ...]) -> bool:
    """Tell whether a kind, or the one that a clipped hedge is of, is among hosts."""
    return kind.genus in hosts or living_kind(kind.key) in hosts
