"""Up to which height a row of one species at one spacing is closed, year by year."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from screenplan.planting.growth import clear_stem_at, height_at, spread_at
from screenplan.planting.shapes import meeting_band
from screenplan.planting.species import Species
from screenplan.views.results import GROWTHS, TYPICAL

#: Year that stands for "in the end": every curve has come to rest by then.
MATURE_YEAR = 1000


@dataclass(frozen=True)
class RowClosing:
    """The closed height of an endless row of equal plants.

    Parameters
    ----------
    years : int
        The last year looked at.
    height : ndarray, (growths, years + 2)
        Height up to which the crowns meet, by year; the last column is that of grown plants.
    mature_from_m : float
        Height from which grown crowns meet, typical growth.
    """

    years: int
    height: np.ndarray
    mature_from_m: float

    @property
    def mature_height_m(self) -> float:
        """Height up to which it closes in the end, typical growth."""
        return float(self.height[TYPICAL, -1])

    def closed_height(self, year: int) -> float:
        """Height up to which it has closed in a year, typical growth."""
        return float(self.height[TYPICAL, year])

    def year_reached(self, growth: int, needed_m: float) -> int | None:
        """First year from which it stays closed up to a height; None if not in the years."""
        below = np.flatnonzero(self.height[growth, : self.years + 1] < needed_m)
        if not len(below):
            return 0
        first = int(below[-1]) + 1
        return first if first <= self.years else None

    def in_words(self, needed_m: float) -> str:
        """Say when it reaches a height."""
        if needed_m <= 0.0:
            return "nothing needed"
        low, typical, high = (self.year_reached(g, needed_m) for g in range(len(GROWTHS)))
        if typical is not None:
            if low is None:
                return f"year {typical}; year {high} with high growth, not with low growth"
            return f"year {typical}" if low == high else f"year {typical} ({high} to {low})"
        if high is not None:
            return f"only with high growth, year {high}"
        if self.height[:, -1].max() < needed_m:
            return "never at this spacing"
        return f"not within {self.years} years"


def row_closing(
    species: Species,
    spacing_m: float,
    *,
    years: int,
    curve: str = "smooth",
    stock_height_m: float | None = None,
) -> RowClosing:
    """Work out the closed height of a row by year, for low, typical and high growth.

    Parameters
    ----------
    species : Species
    spacing_m : float
        Distance between the plants of the row.
    years : int
        The last year.
    curve : {"smooth", "straight"}
    stock_height_m : float, optional
        Height when planted; by default the species'.
    """
    when = np.append(np.arange(years + 1), MATURE_YEAR)
    tops, foot = [], 0.0
    for growth in GROWTHS:
        height = height_at(species, when, growth=growth, stock_height_m=stock_height_m, curve=curve)
        low, high = meeting_band(
            species.shape, height, spread_at(species, height, growth), spacing_m,
            clear_stem_at(species, height),
        )  # fmt: skip
        tops.append(high)
        if growth == GROWTHS[TYPICAL]:
            foot = float(low[-1])
    return RowClosing(years, np.array(tops), foot)
