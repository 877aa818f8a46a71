"""What becomes of a species: its size by year, and the year in which a row of it closes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from screenplan.contracts import GROWTHS
from screenplan.planting.closure import ROUNDING_M, row_bands
from screenplan.planting.growth import USUAL_STOCK
from screenplan.planting.maturity import followed_years, lasts_from
from screenplan.planting.species_model import Species
from screenplan.planting.stand import Start, sizes_of

#: Years for which sizes are told.
TOLD_YEARS = (5, 10, 20)
#: Height up to which a row should be closed where nothing else is asked, metres.
ASKED_HEIGHT_M = 1.8
#: Last year in which it is looked for.
LAST_TOLD = 60


@dataclass(frozen=True)
class Prospect:
    """Sizes of a plant by year, and when a row of such plants closes.

    Parameters
    ----------
    years : tuple of int
    height_m, width_m : ndarray, (growths, years)
        Metres, at low, typical, high growth.
    spacing_m : float
        Distance between the plants of the row, metres.
    closes : tuple of int or None
        First year from which the row stays closed from the ground up, by growth; None for never.
    """

    years: tuple[int, ...]
    height_m: np.ndarray
    width_m: np.ndarray
    spacing_m: float
    closes: tuple[int | None, ...]


def prospect_of(
    species: Species,
    *,
    years: Sequence[int] = TOLD_YEARS,
    asked_height_m: float = ASKED_HEIGHT_M,
) -> Prospect:
    """Tell how large a plant of usual stock is in some years, and when a row of them closes at its usual spacing.

    Parameters
    ----------
    species : Species
    years : sequence of int
        Years since planting, in rising order.
    asked_height_m : float
        Height up to which the row should close from the ground, metres.

    Examples
    --------
    >>> from screenplan import load_species
    >>> cedar = prospect_of(load_species()["thuja_occidentalis"])
    >>> cedar.height_m[1].round(1).tolist(), cedar.width_m[1].round(1).tolist()
    ([2.4, 3.9, 6.7], [1.4, 2.2, 3.4])
    """
    spacing = species.usual_spacing_m
    start = Start(species, species.stock_height_m, False, USUAL_STOCK)
    tall, wide = sizes_of([start], years)[:2, 0]
    low, high = row_bands([start], [(0, 0, spacing)], followed_years(LAST_TOLD), "smooth")
    closed = (high >= asked_height_m - ROUNDING_M) & (low <= ROUNDING_M)
    closes = tuple(lasts_from(closed[g], LAST_TOLD) for g in range(len(GROWTHS)))
    return Prospect(tuple(years), tall, wide, spacing, closes)
