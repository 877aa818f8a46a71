"""The kinds of a row: one species, or several that take turns along it in groups."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TypeVar

from screenplan.ground.errors import refuse
from screenplan.plan import Options
from screenplan.plan.planting import Plants
from screenplan.planting.species import planned_species, species_of
from screenplan.planting.species_model import Species

#: Plants of one kind that stand side by side: the fewest of which one stands between its own kind
#: (common practice: in threes; no source).
GROUP = 3

#: A kind, or a kind and what goes with it.
Kind = TypeVar("Kind")
#: One species, or several: by key, Latin or common name, or as `Species`.
Kinds = Species | str | Sequence[Species | str]


def kinds_in(
    species: Kinds, species_table: Mapping[str, Species] | None = None
) -> tuple[Species, ...]:
    """Find the kinds of a row, in the order in which they take turns.

    Parameters
    ----------
    species : Species, str or sequence of these
        A kind that is listed twice takes two turns.
    species_table : mapping, optional
        The species table, by default the shipped one.

    Raises
    ------
    InputError
        If there is none of that name, or nothing is listed.

    Examples
    --------
    >>> [kind.key for kind in kinds_in(["ilex_opaca", "eastern red cedar"])]
    ['ilex_opaca', 'juniperus_virginiana']
    """
    listed = (species,) if isinstance(species, (Species, str)) else tuple(species)
    if not listed:
        raise refuse("no species is listed", "List one or more", key=Plants.key("species"))
    return tuple(species_of(name, species_table, key=Plants.key("species")) for name in listed)


def usual_spacing(species: Kinds, species_table: Mapping[str, Species] | None = None) -> float:
    """Give the usual distance between plants of a row, metres: of several kinds the least.

    Examples
    --------
    >>> usual_spacing("prunus_laurocerasus"), usual_spacing(["prunus_laurocerasus", "ilex_opaca"])
    (0.45, 0.45)
    """
    return min(kind.usual_spacing_m for kind in kinds_in(species, species_table))


def planned_spacing(plan: Options, species_table: Mapping[str, Species] | None = None) -> float:
    """Give the distance between plants of a row that a plan asks for, metres; by default the usual one.

    Examples
    --------
    >>> from screenplan.plan import DEFAULTS
    >>> DEFAULTS.rows.spacing, planned_spacing(DEFAULTS)
    (None, 1.5)
    """
    if plan.rows.spacing is not None:
        return plan.rows.spacing
    return usual_spacing(
        plan.plants.species, planned_species(plan) if species_table is None else species_table
    )


def with_spacing(plan: Options, species_table: Mapping[str, Species] | None = None) -> Options:
    """Give a plan that says how far plants are apart: as it is, or with the usual distance."""
    if plan.rows.spacing is not None:
        return plan
    rows = plan.rows.model_copy(update={"spacing": planned_spacing(plan, species_table)})
    return plan.model_copy(update={"rows": rows})


def kind_at(kinds: Sequence[Kind], number: int, group: int = GROUP) -> Kind:
    """Give the kind of a row's plant by its number from 0, or what goes with it.

    Examples
    --------
    Groups of two: two hollies, two cedars, and from the beginning.

    >>> kinds = kinds_in(["ilex_opaca", "juniperus_virginiana"])
    >>> [kind_at(kinds, number, 2).genus for number in range(5)]
    ['Ilex', 'Ilex', 'Juniperus', 'Juniperus', 'Ilex']
    """
    return kinds[number // group % len(kinds)]


def neighbours_of(kinds: Sequence[Species], group: int = GROUP) -> list[tuple[Species, Species]]:
    """Give the pairs of kinds that stand side by side somewhere in a long row, each once."""
    within = [(kind, kind) for kind in kinds] if group > 1 else []
    between = list(zip(kinds, (*kinds[1:], kinds[0]), strict=True))
    return list(dict.fromkeys(within + between))


def name_kinds(species: str | Sequence[str]) -> str:
    """Write the species of a plan in one text, as the tables hold them.

    Examples
    --------
    >>> name_kinds("ilex_opaca"), name_kinds(["ilex_opaca", "ilex_glabra"])
    ('ilex_opaca', 'ilex_opaca, ilex_glabra')
    """
    return species if isinstance(species, str) else ", ".join(species)
