"""The species as they grow on the site, by plants of one's own that were measured; how much that changes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import exp, log, sqrt
from typing import Any

import numpy as np
import pandas as pd

from screenplan.contracts import GROWTHS, OWN_GROWTH
from screenplan.contracts.tables import table_of, with_notes
from screenplan.plan import DEFAULTS, Options
from screenplan.planting.growth import height_at, spread_at
from screenplan.planting.measured import load_measured
from screenplan.planting.own_growth import (
    Normal,
    Spreads,
    as_own,
    heights_say,
    posterior,
    shifted,
    site_factor,
    spreads_of,
    widths_say,
)
from screenplan.planting.own_measured import (
    UNITS_M,
    Measured,
    are_empty,
    are_lost,
    measured_plants,
)
from screenplan.planting.species import load_species
from screenplan.planting.species_model import GRADE_WORDS, Species

#: From this weight on the estimate is called that of the own plants.
OWN_FROM = 0.5
#: The year in which heights with and without own plants are told.
TOLD_YEAR = 10
#: Feet taken for metres are so much too tall, as a logarithm; so near to it a factor is doubted.
IN_FEET, NEAR_FEET = -log(UNITS_M["ft"]), 0.35


@dataclass(frozen=True)
class Corrected:
    """What own plants change in one kind.

    Parameters
    ----------
    usual, own : Species
        As it grows without them, and by them.
    plants : list of Measured
        Those of its own kind that count.
    silent : int
        How many of its own kind say nothing.
    said : float
        The mean log factor that those which count say.
    relatives : int
        How many of other kinds count.
    height, width : Normal
        Log factors of its height and of its width at a height.
    weight : float
        How far the height was drawn from what was known to the plants of its own kind.
    widths : int
        How many widths count.
    """

    usual: Species
    own: Species
    plants: list[Measured]
    silent: int
    said: float
    relatives: int
    height: Normal
    width: Normal
    weight: float
    widths: int


def bases_of(
    species_table: Mapping[str, Species], changes: Mapping[str, Mapping] | None = None
) -> dict[str, str]:
    """Find for each species the kind of the shipped table whose spreads it has: itself, or what it is like.

    Parameters
    ----------
    species_table : mapping
        Species by key.
    changes : mapping, optional
        The plan's own tables of species.

    Examples
    --------
    >>> own = {"mine": {"like": "picea_abies"}}
    >>> bases_of(load_species(own), own)["mine"]
    'picea_abies'
    """
    measured, found = load_measured(), {}
    for key in species_table:
        passed, at = set(), key
        while at not in measured and at not in passed:
            passed.add(at)
            at = str((changes or {}).get(at, {}).get("like", at))
        if at in measured:
            found[key] = at
    return found


def correct_species(
    species_table: Mapping[str, Species],
    layers: Mapping[str, Any],
    changes: Mapping[str, Mapping] | None = None,
) -> dict[str, Corrected]:
    """Correct the growth of the species by plants that were measured on the site.

    Parameters
    ----------
    species_table : mapping
        Species by key, as they grow without own plants.
    layers : mapping
        Of it ``measured_plants``, and ``existing_screens`` whose age is given.
    changes : mapping, optional
        The plan's own tables of species.

    Returns
    -------
    dict
        For each kind that changes; empty if no plant counts.

    Raises
    ------
    InputError
        With each row that cannot be; see `screenplan.planting.own_measured`.

    Notes
    -----
    The formula stands in `screenplan.planting.own_growth`.
    """
    bases = bases_of(species_table, changes)
    plants = measured_plants(layers, species_table, bases)
    by_kind: dict[str, list[Measured]] = {}
    for plant in plants:
        by_kind.setdefault(plant.species, []).append(plant)
    told = {
        key: _told(species_table[key], spreads_of(bases[key]), some)
        for key, some in by_kind.items()
    }
    corrected = {}
    for key, species in species_table.items():
        others = [
            (other, told[other])
            for other in told
            if other != key and species_table[other].leaf == species.leaf
        ]
        if key in bases and (key in told or others):
            made = _correct(
                species, spreads_of(bases[key]), by_kind.get(key, []), told.get(key), others
            )
            if made is not None:
                corrected[key] = made
    return corrected


def own_table(
    species_table: Mapping[str, Species], corrected: Mapping[str, Corrected]
) -> dict[str, Species]:
    """Give the species table as the kinds grow on the site."""
    return {**species_table, **{key: kind.own for key, kind in corrected.items()}}


def _told(
    species: Species, of: Spreads, plants: Sequence[Measured]
) -> tuple[np.ndarray, np.ndarray]:
    """Tell what the plants of one kind say of their heights, and how sure."""
    return heights_say(
        species, [plant.age_years for plant in plants], [plant.height_m for plant in plants],
        [plant.stock_height_m for plant in plants], of.plants,
    )  # fmt: skip


def _correct(species: Species, of: Spreads, plants, told, others) -> Corrected | None:
    said, variances = told or (np.zeros(0), np.zeros(0))
    counts = np.isfinite(variances)
    relatives = (
        int(sum(np.isfinite(each).sum() for _, (_, each) in others))
        if np.isfinite(of.others)
        else 0
    )
    wide = [plant for plant in plants if plant.width_m > 0.0]
    width_said, width_variances = widths_say(
        species,
        [plant.height_m for plant in wide],
        [plant.width_m for plant in wide],
        of.width_plants,
    )
    widths = int(np.isfinite(width_variances).sum())
    if not (counts.any() or relatives or widths):
        return None
    prior = site_factor(of, [each for _, each in others])
    height = posterior(prior, said, variances)
    width = posterior(of.width_of_kind, width_said, width_variances)
    weight = 1.0 - height.variance / prior.variance
    width_weight = 1.0 - width.variance / of.width_of_kind.variance
    own = shifted(
        species, height.mean, _nearer(height, of.plants, of.of_kind),
        (width.mean, _nearer(width, of.width_plants, of.width_of_kind)),
    )  # fmt: skip
    kept = [plant for plant, is_told in zip(plants, counts, strict=True) if is_told]
    words, parts = (
        _evidence(species, len(kept), weight, width_weight) if kept or widths else ("", ())
    )
    own = as_own(own, words, of.left(height.variance), *parts)
    return Corrected(
        species, own, kept, len(plants) - len(kept), float(said[counts].mean()) if kept else 0.0,
        relatives, height, width, weight if kept else 0.0, widths,
    )  # fmt: skip


def _nearer(found: Normal, plants_sd: float, before: Normal) -> float:
    """How far low and high are from typical, for 1 before."""
    return sqrt(found.variance + plants_sd**2) / sqrt(before.variance + plants_sd**2)


def _evidence(
    species: Species, n: int, weight: float, width_weight: float
) -> tuple[str, Sequence[str]]:
    """Say what the growth rests on, and which of its grades are those of own plants."""
    parts = [name for name, by in (("height", weight), ("width", width_weight)) if by >= OWN_FROM]
    if "height" not in parts:
        # A height that is as before may be weaker than a width that is measured now.
        graded = as_own(species, "", (0.0, 0.0, 1.0), *parts)
        before = graded.evidence
        return (f"{before}, corrected by own plants, n {n}" if n else before), parts
    words = f"own plants, n {n}"
    if "width" not in parts:
        words += f", widths {GRADE_WORDS[species.grade('width')]}"
    return words, parts


def tell_own_growth(
    measured_plants: pd.DataFrame | None = None,
    existing_screens: pd.DataFrame | None = None,
    *,
    plan: Options = DEFAULTS,
    usual: Mapping[str, Species] | None = None,
) -> pd.DataFrame:
    """Tell what plants of one's own that were measured change in the growth of their kinds.

    Parameters
    ----------
    measured_plants : DataFrame, optional
        By its contract.
    existing_screens : DataFrame, optional
        Those that grow and whose age is given count like measured plants.
    plan : Options
        Of it what is planted, its stock and the growth's curve.
    usual : mapping, optional
        The species table as it is without own plants; by default the shipped one.

    Returns
    -------
    DataFrame
        One row for each kind that is measured, and for each that is planted and changes; none without
        own plants.

    Raises
    ------
    InputError
        With each row that cannot be.
    """
    usual = load_species() if usual is None else usual
    layers = {"measured_plants": measured_plants, "existing_screens": existing_screens}
    corrected = correct_species(usual, layers, plan.species)
    planted = plan.plants.species
    asked = {planted} if isinstance(planted, str) else set(planted)
    shown = {
        key: kind for key, kind in corrected.items() if kind.plants or kind.widths or key in asked
    }
    records = [_row(key, kind, plan) for key, kind in shown.items()]
    notes = [*_passed_over(measured_plants), *_doubts(shown)]
    return with_notes(table_of(OWN_GROWTH, records), notes)


def _passed_over(layer: pd.DataFrame | None) -> Iterator[str]:
    """Count the rows that say nothing of the growth."""
    if layer is None:
        return
    for rows, why in (
        (are_empty(layer), "nobody filled them in: they have no height, width or age"),
        (are_lost(layer), "their plants are lost"),
    ):
        if rows.any():
            yield f"{rows.sum()} of {len(rows)} rows of measured_plants are passed over in the growth, because {why}"


def _row(key: str, kind: Corrected, plan: Options) -> dict[str, Any]:
    tall, wide = _sizes(kind.own, plan)
    usual_tall, usual_wide = _sizes(kind.usual, plan)
    ages = [plant.age_years for plant in kind.plants]
    return {
        "species": key, "plants": len(kind.plants), "relatives": kind.relatives,
        "youngest_years": min(ages, default=None), "oldest_years": max(ages, default=None),
        "factor": exp(kind.height.mean), "weight": kind.weight,
        "widths": kind.widths, "width_factor": exp(kind.width.mean),
        "height_low_m": tall[0], "height_m": tall[1], "height_high_m": tall[2],
        "usual_low_m": usual_tall[0], "usual_m": usual_tall[1], "usual_high_m": usual_tall[2],
        "width_m": wide, "usual_width_m": usual_wide,
        "says": (
            f"{TOLD_YEAR} years after planting {_range(tall)} tall and {{{wide:.2f} m}} wide by your own plants; "
            f"{_range(usual_tall)} tall and {{{usual_wide:.2f} m}} wide without them"
        ),
    }  # fmt: skip


def _sizes(species: Species, plan: Options) -> tuple[list[float], float]:
    stock, height, curve = plan.plants.stock, plan.plants.stock_height, plan.growth.curve
    tall = [
        float(
            height_at(
                species, TOLD_YEAR, growth=growth, stock_height_m=height, stock=stock, curve=curve
            )
        )
        for growth in GROWTHS
    ]
    return tall, float(spread_at(species, tall[1]))


def _range(sizes: Sequence[float]) -> str:
    low, typical, high = sizes
    return f"{{{typical:.2f} m}} ({{{low:.2f} m}} to {{{high:.2f} m}})"


def _doubts(shown: Mapping[str, Corrected]) -> Iterator[str]:
    """Say how many plants say nothing, and where heights may be in feet."""
    for kind in shown.values():
        name = kind.usual.called
        if kind.silent:
            yield (
                f"{kind.silent} of {kind.silent + len(kind.plants)} measured plants of {name} say nothing of its "
                "growth: they are as tall as it gets, or kept clipped"
            )
        if kind.plants and abs(kind.said - IN_FEET) < NEAR_FEET:
            yield (
                f"The measured plants of {name} are about three times as tall as it is at their age: if they "
                "were measured in feet, say so by units of the layer"
            )
