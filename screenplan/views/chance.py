"""In which year views close when growth, width, profile and losses are drawn, and how likely that is.

What stops which ray at which height is worked out once (`screenplan.views.intervals`). A draw gives each
plant a curve, a class of crown and a life: so it has a height in each year, and the rays that its living
plants stop are put together, word by word. A view is closed from the first year from which its open share stays
at or below the threshold, as everywhere.

While crowns are nested and nobody dies, a ray that is stopped stays so: then the year is bisected. Else the
years are looked at from the last one back, until the view is open.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numba import njit, prange

from screenplan.planting.draws import Drawn, Draws, draw_plants, heights_of
from screenplan.planting.losses import GONE
from screenplan.planting.maturity import MATURE_YEAR
from screenplan.planting.stand import Stand
from screenplan.views.compiled import inner
from screenplan.views.crowns import MOST_YEARS
from screenplan.views.grown import years_to_rest
from screenplan.views.intervals import (
    BLOCK,
    Classes,
    Incidence,
    classes_of,
    incidence_of,
    of_plants,
)
from screenplan.views.sight import Sight

#: Year of what never closes.
NEVER = 255
#: Draws that one core works on at a time.
PART = 256
#: Rounding of open shares, as in `screenplan.views.timeline`.
ROUNDING = 5e-13


@dataclass(frozen=True, eq=False)
class Drawing:
    """A stand with what was drawn for its plants.

    Parameters
    ----------
    stand : Stand
        In the years that are followed.
    classes : Classes
    drawn : Drawn
    heights : ndarray, (starts, heights, ages)
    ages : ndarray of int, (courses, years)
        Age of who stands there, by the course of its life and the year.
    settled : int
        Year from which on nothing dies.
    """

    stand: Stand
    classes: Classes
    drawn: Drawn
    heights: np.ndarray
    ages: np.ndarray
    settled: int

    @property
    def count(self) -> int:
        """Number of draws."""
        return self.drawn.life.shape[1]

    def height(self, draw: int) -> np.ndarray:
        """Heights in one draw, metres, (plants, years); 0 where none stands."""
        age = self.ages[self.drawn.life[:, draw]]
        by_age = self.heights[self.stand.start, self.drawn.height[:, draw]]
        return np.where(age == GONE, 0.0, np.take_along_axis(by_age, np.maximum(age, 0), axis=1))


def drawing_of(stand: Stand, draws: Draws) -> Drawing:
    """Draw plants, and follow them until they are at rest."""
    lives = draws.lives
    rest = years_to_rest(stand)
    if len(rest) > len(stand.years):
        rest = np.append(np.arange(MOST_YEARS - 1), MATURE_YEAR)
    elif rest[-1] < lives.settled + 1:
        rest = np.arange(lives.settled + 2)
    stand = stand.in_years(rest)
    heights = heights_of(stand)
    return Drawing(
        stand,
        classes_of(stand),
        draw_plants(stand, draws),
        heights,
        lives.ages(rest),
        lives.settled,
    )


@dataclass(frozen=True, eq=False)
class ClosedYears:
    """Years in which views close, by draw.

    Parameters
    ----------
    year : ndarray of uint8, (views, draws)
        `NEVER` for those that do not close in the years looked at.
    """

    year: np.ndarray

    def chance(self, year: int) -> np.ndarray:
        """Share of the draws in which each view is closed by a year, (views,)."""
        return (self.year <= year).mean(axis=1)

    def percentile(self, share: float) -> np.ndarray:
        """Year by which each view is closed in that share of the draws, (views,).

        Examples
        --------
        >>> ClosedYears(np.array([[3, 5, 9, NEVER]], np.uint8)).percentile(0.5).tolist()
        [5]
        """
        rank = max(int(np.ceil(share * self.year.shape[1])) - 1, 0)
        return np.sort(self.year, axis=1)[:, rank]


@dataclass(frozen=True, eq=False)
class Chances:
    """Views and plants of which any may be planted, and what was drawn for them.

    Parameters
    ----------
    drawing : Drawing
    views : sequence of Incidence or None
        None for a view that no ray has.
    years : int
        Last year looked at.
    threshold : float
        Share of a view that may stay open.
    """

    drawing: Drawing
    views: Sequence[Incidence | None] = field(repr=False)
    years: int
    threshold: float

    def closed_years(self, planted=None) -> ClosedYears:
        """Give the years in which views close if some of the plants are there.

        Parameters
        ----------
        planted : array_like of bool, (plants,), optional
            By default all.
        """
        found = np.full((len(self.views), self.drawing.count), NEVER, np.uint8)
        for number, view in enumerate(self.views):
            if view is not None:
                if planted is not None:
                    view = of_plants(view, planted)
                found[number] = closing_years(view, self.drawing, self.years, self.threshold)
        return ClosedYears(found)


def lay_chances(sight: Sight, stand: Stand, draws: Draws, *, threshold: float) -> Chances:
    """Work out for all views and plants what stops what, so that any choice of plants is cheap to judge.

    Parameters
    ----------
    sight : Sight
    stand : Stand
        All plants that may be planted, in the years looked at.
    draws : Draws
    threshold : float
        Share of a view that may stay open.
    """
    years = int(stand.years[-1])
    drawing = drawing_of(stand, draws)
    views: list[Incidence | None] = [None] * len(sight.pairs)
    for number, _, origin, target, light in sight.rays():
        views[number] = view_of(origin, target, light, drawing)
    return Chances(drawing, views, years, threshold)


def chance_of(sight: Sight, stand: Stand, draws: Draws, *, threshold: float) -> ClosedYears:
    """Draw the years in which the views of a sight close behind a stand.

    Parameters
    ----------
    sight : Sight
    stand : Stand
        In the years looked at.
    draws : Draws
    threshold : float
        Share of a view that may stay open.

    Returns
    -------
    ClosedYears
        A row for each of the sight's pairs.
    """
    return lay_chances(sight, stand, draws, threshold=threshold).closed_years()


def view_of(origin, target, light, drawing: Drawing) -> Incidence:
    """Work out what stops the rays of one view; those of which no light is left take no part."""
    lit = light > 0.0
    return incidence_of(
        origin[lit], target[lit], light[lit], len(light), drawing.stand, drawing.classes
    )


def closing_years(view: Incidence, drawing: Drawing, years: int, threshold: float) -> np.ndarray:
    """Years in which one view closes, by draw; `NEVER` if not in the years looked at.

    Parameters
    ----------
    view : Incidence
    drawing : Drawing
        Of the plants of the view.
    years : int
        Last year looked at.
    threshold : float
        Share that may stay open.
    """
    drawn, classes, start = drawing.drawn, drawing.classes, drawing.stand.start
    plant = view.turns.plant
    found = np.empty(drawing.count, np.uint8)
    of = start[plant]
    step = np.diff(np.append(classes.leafless, 1.0))
    _close(
        view.turns, float(view.every), threshold * view.rays + ROUNDING * view.rays,
        of, classes.which, classes.layer[of], step, bool(classes.nested.all()),
        drawn.height[plant], drawn.width[plant], drawn.profile[plant], drawn.life[plant],
        drawing.heights, drawing.ages, drawing.settled, found,
    )  # fmt: skip
    found[found > years] = NEVER
    return found


@inner()
def _bits(word):
    """Count the set bits of a word."""
    word -= (word >> np.uint64(1)) & np.uint64(0x5555555555555555)
    word = (word & np.uint64(0x3333333333333333)) + (
        (word >> np.uint64(2)) & np.uint64(0x3333333333333333)
    )
    word = (word + (word >> np.uint64(4))) & np.uint64(0x0F0F0F0F0F0F0F0F)
    return (word * np.uint64(0x0101010101010101)) >> np.uint64(56)


@inner()
def _stop(turns, j, k, height, now, stopped):
    """Add the rays that a plant of that height stops."""
    begin, end = turns.first[j, k], turns.first[j, k + 1]
    low, high = begin, end
    while low < high:
        middle = (low + high) >> 1
        if turns.height[middle] <= height:
            low = middle + 1
        else:
            high = middle
    count = low - begin
    if count == 0:
        return
    block, first, words = count // BLOCK, turns.word[j, 0], turns.word[j, 1]
    at = turns.state_first[j, k] + block * words
    for w in range(words):
        now[w] = turns.state[at + w]
    for n in range(begin + block * BLOCK, low):
        bit = turns.bit[n]
        now[(bit >> 6) - first] ^= np.uint64(1) << np.uint64(bit & 63)
    for w in range(words):
        stopped[first + w] |= now[w]


@inner()
def _light_stopped(stopped, light):
    """Light of the rays that are stopped."""
    total = 0.0
    for w in range(len(light)):
        total += light[w] * np.float64(_bits(stopped[w]))
    return total


@inner()
def _is_open(
    year, draw, turns, every, most, start, which, layer, step, height, width, profile, life,
    heights, ages, now, stopped,
):  # fmt: skip
    """Tell whether the view is open in a year of a draw, in the season in which more is."""
    stopped[:] = 0
    left, level = every, 0
    for j in range(len(start)):
        while layer[j] > level:
            left -= step[level] * _light_stopped(stopped, turns.light)
            level += 1
        age = ages[life[j, draw], year]
        if age >= 0:
            k = which[start[j], width[j, draw], profile[j, draw]]
            _stop(turns, j, k, heights[start[j], height[j, draw], age], now, stopped)
    shut = _light_stopped(stopped, turns.light)
    while level < len(step):
        left -= step[level] * shut
        level += 1
    return left > most


@njit(parallel=True, cache=True, error_model="numpy")
def _close(
    turns, every, most, start, which, layer, step, nested, height, width, profile, life, heights,
    ages, settled, found,
):  # fmt: skip
    """Find the first year from which on a view stays closed, draw by draw."""
    draws, last, plants = len(found), ages.shape[1] - 1, len(start)
    for part in prange(-(-draws // PART)):
        now = np.zeros(max(len(turns.light), 1), np.uint64)
        stopped = np.zeros(len(turns.light), np.uint64)
        for draw in range(part * PART, min((part + 1) * PART, draws)):
            if _is_open(
                last, draw, turns, every, most, start, which, layer, step, height, width, profile,
                life, heights, ages, now, stopped,
            ):  # fmt: skip
                found[draw] = NEVER
                continue
            floor = last
            if nested:
                floor = 0
                for j in range(plants):
                    if life[j, draw]:
                        floor = min(settled, last)
                        break
                low, high = floor, last
                while low < high:
                    middle = (low + high) >> 1
                    if _is_open(
                        middle, draw, turns, every, most, start, which, layer, step, height, width,
                        profile, life, heights, ages, now, stopped,
                    ):  # fmt: skip
                        low = middle + 1
                    else:
                        high = middle
                if low > floor:
                    found[draw] = low
                    continue
            year = floor
            while year > 0 and not _is_open(
                year - 1, draw, turns, every, most, start, which, layer, step, height, width,
                profile, life, heights, ages, now, stopped,
            ):  # fmt: skip
                year -= 1
            found[draw] = year
