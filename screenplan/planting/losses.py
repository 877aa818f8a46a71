"""Lives of plants: which die in the first years, and which of these are replaced.

A plant may die in each of the first `RISK_YEARS` years after it was set, with the same chance q in each:
of a share L that dies over these years, 1 - L = (1 - q)^2. What dies in a year in which the dead are
replaced is followed by a plant of the same stock at the end of that year, which may die in turn. What
dies later leaves a gap. Of later deaths no figure for hedges was found: none are drawn.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from screenplan.planting.maturity import MATURE_YEAR

#: Years after it was set in which a plant may die.
RISK_YEARS = 2
#: Age of a plant that is not there.
GONE = -1


@dataclass(frozen=True)
class Lives:
    """All courses that the life at one place in a row may take.

    Parameters
    ----------
    deaths : tuple of tuple of int
        Of each course the years in which the plant that stands there dies; the first has none.
    upto : ndarray, (courses,)
        Running sum of the chances of the courses: 1 at the last.
    replaced : int
        Years in which the dead are replaced.
    """

    deaths: tuple[tuple[int, ...], ...]
    upto: np.ndarray
    replaced: int

    @property
    def settled(self) -> int:
        """Year from which on nothing dies and nothing is replaced."""
        return max((max(years) for years in self.deaths if years), default=0)

    def drawn(self, uniform) -> np.ndarray:
        """Give the course that a number from 0 to 1 draws."""
        found = np.searchsorted(self.upto, np.asarray(uniform), side="right")
        return np.minimum(found, len(self.upto) - 1).astype(np.uint8)

    def ages(self, years) -> np.ndarray:
        """Age of the plant that stands there, as a number among the years, (courses, years).

        Parameters
        ----------
        years : ndarray of int, (years,)
            From 0 on one by one; `MATURE_YEAR` may be the last.

        Returns
        -------
        ndarray of int
            `GONE` where none stands.
        """
        years = np.asarray(years, int)
        ages = np.empty((len(self.deaths), len(years)), np.int64)
        for course, deaths in enumerate(self.deaths):
            ages[course] = np.arange(len(years))
            for death in deaths:
                after = years >= death
                ages[course, after] = years[after] - death if death <= self.replaced else GONE
        if years[-1] == MATURE_YEAR:
            ages[ages >= len(years)] = len(years) - 1
        return ages


def lives_of(losses: float, replaced: int) -> Lives:
    """Work out the courses of a life.

    Parameters
    ----------
    losses : float
        Share that dies over `RISK_YEARS`, 0 to less than 1.
    replaced : int
        Years in which the dead are replaced.

    Examples
    --------
    A tenth dies in each of two years and is not replaced: 0.9 x 0.9 live.

    >>> lives = lives_of(0.19, 0)
    >>> lives.deaths, lives.upto.round(3).tolist()
    (((), (1,), (2,)), [0.81, 0.91, 1.0])
    >>> lives.ages([0, 1, 2, 3])[1].tolist(), lives_of(0.19, 2).ages([0, 1, 2, 3])[1].tolist()
    ([0, -1, -1, -1], [0, 0, 1, 2])
    """
    q = 1.0 - (1.0 - losses) ** (1.0 / RISK_YEARS)
    last = replaced + RISK_YEARS
    courses: dict[tuple[int, ...], float] = {}
    for dies in product((False, True), repeat=last):
        if (course := _follow(dies, replaced)) is not None:
            deaths, risks = course
            courses[deaths] = q ** len(deaths) * (1.0 - q) ** (risks - len(deaths))
    courses = {deaths: chance for deaths, chance in courses.items() if chance > 0.0}
    every = sorted(courses)
    return Lives(tuple(every), np.cumsum([courses[years] for years in every]), replaced)


def _follow(dies, replaced: int) -> tuple[tuple[int, ...], int] | None:
    """Give the deaths of a course, and how often a plant was at risk; None if who is not at risk dies."""
    deaths: list[int] = []
    risks = 0
    planted: int | None = 0
    for year, dead in enumerate(dies, 1):
        at_risk = planted is not None and year <= planted + RISK_YEARS
        if dead and not at_risk:
            return None
        risks += at_risk
        if dead:
            deaths.append(year)
            planted = year if year <= replaced else None
    return tuple(deaths), risks
