"""Plants that one raises from cuttings or seed: when they are as tall as the stock that is set."""

from __future__ import annotations

from typing import NamedTuple

from screenplan.ground.errors import refuse
from screenplan.plan.planting import Plants
from screenplan.planting.curves import years_to
from screenplan.planting.measured import load_kinds, load_measured
from screenplan.planting.species_model import Species

#: Height of a rooted cutting, at which published heights by year begin, metres: memory, unverified.
CUTTING_M = 0.3


class Raised(NamedTuple):
    """How long plants take until they can be set.

    Parameters
    ----------
    years : float
        From taking cuttings, or sowing.
    source : str
    """

    years: float
    source: str


def time_to_raise(species: Species, height_m: float, plants: Plants) -> Raised:
    """Tell how long plants take from the cutting or the seed until they are as tall as they are set.

    Parameters
    ----------
    species : Species
    height_m : float
        Height when planted, metres.
    plants : Plants
        Of the plan: how they are raised, and the user's own years.

    Raises
    ------
    InputError
        If the plan gives no years and no heights by year were published.

    Examples
    --------
    >>> from screenplan import load_species
    >>> leyland = load_species()["cupressus_leylandii"]
    >>> round(time_to_raise(leyland, 1.2, Plants(raised="cuttings")).years, 2)
    1.32
    """
    if plants.raised_years is not None:
        return Raised(plants.raised_years, "the user's value")
    known = load_kinds().get(species.key, {})
    if plants.raised == "cuttings" and "heights_by_year" in known:
        years = float(years_to(load_measured()[species.key].curve, height_m, CUTTING_M))
        return Raised(years, known["sources"]["heights_by_year"])
    way = "a cutting" if plants.raised == "cuttings" else "seed"
    raise refuse(
        f"no published heights say how long {species.called} takes from {way} to {{{height_m:g} m}}",
        "Give the years that you or a nursery near you know",
        key=Plants.key("raised_years"),
    )
