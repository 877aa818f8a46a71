"""From and up to which height a row at one spacing is closed, year by year."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from screenplan.contracts import GROWTHS
from screenplan.ground.told_years import tell_year
from screenplan.planting.closure import ROUNDING_M, row_bands
from screenplan.planting.growth import TYPICAL, USUAL_STOCK
from screenplan.planting.maturity import followed_years, lasts_from
from screenplan.planting.mixes import GROUP, neighbours_of
from screenplan.planting.species_model import Species, evidence_of
from screenplan.planting.stand import Start


@dataclass(frozen=True)
class RowClosing:
    """The closed band of an endless row.

    Parameters
    ----------
    years : int
        The last year looked at.
    low, height : ndarray, (growths, followed)
        Heights from and up to which the crowns meet, by year (`followed_years`); the last column is
        that of grown plants.
    evidence : str
        What the growth of its plants rests on.
    """

    years: int
    low: np.ndarray
    height: np.ndarray
    evidence: str = ""

    @property
    def mature_height_m(self) -> float:
        """Height up to which it closes in the end, typical growth."""
        return float(self.height[TYPICAL, -1])

    def closed_height(self, year: int) -> float:
        """Height up to which it has closed in a year, typical growth."""
        return float(self.height[TYPICAL, year])

    @property
    def mature_from_m(self) -> float:
        """Height from which it closes in the end, typical growth."""
        return float(self.low[TYPICAL, -1])

    def year_reached(self, growth: int, needed_m: float, from_m: float = 0.0) -> int | None:
        """First year from which it stays closed between two heights; None if not in the years.

        Parameters
        ----------
        growth : int
            Number of the growth.
        needed_m, from_m : float
            Height up to which it must be closed, and that from which one looks through, metres.
        """
        return lasts_from(self._covers(needed_m, from_m)[growth], self.years)

    def in_words(self, needed_m: float, from_m: float = 0.0) -> str:
        """Say when it is closed between two heights, and what the growth of its plants rests on."""
        if needed_m <= 0.0:
            return "nothing needed"
        reached = [self.year_reached(g, needed_m, from_m) for g in range(len(GROWTHS))]
        if any(year is not None for year in reached):
            return tell_year(reached, self.evidence)
        covers = self._covers(needed_m, from_m)
        if covers[:, -1].any():
            return f"not within {self.years} years"
        if (self.height[:, -1] >= needed_m).any():
            return "never: one looks through below its crowns"
        return "never at this spacing"

    def _covers(self, needed_m: float, from_m: float) -> np.ndarray:
        return (self.height >= needed_m) & (self.low <= from_m + ROUNDING_M)


def row_closing(
    kinds: Species | Sequence[Species],
    spacing_m: float,
    *,
    years: int,
    group: int = GROUP,
    curve: str = "smooth",
    stock: str = USUAL_STOCK,
    stock_height_m: float | None = None,
) -> RowClosing:
    """Work out the closed band of a row by year, for low, typical and high growth.

    Parameters
    ----------
    kinds : Species or sequence of Species
        Of several, which take turns in groups, the weakest pair of neighbours decides.
    spacing_m : float
        Distance between the plants of the row.
    years : int
        The last year.
    group : int
        Plants of one kind that stand side by side in a mixed row.
    curve : {"smooth", "straight"}
    stock, stock_height_m
        Kind and height of the stock when planted; the height is by default each species'.
    """
    kinds = (kinds,) if isinstance(kinds, Species) else tuple(kinds)
    starts = [
        Start(kind, kind.stock_height_m if stock_height_m is None else stock_height_m, False, stock)
        for kind in kinds
    ]
    pairs = [(kinds.index(a), kinds.index(b), spacing_m) for a, b in neighbours_of(kinds, group)]
    bands = row_bands(starts, pairs, followed_years(years), curve)
    return RowClosing(years, *bands, evidence_of(kinds))
