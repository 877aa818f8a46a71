"""In which year views close when growth, width, profile and losses are drawn, and how likely that is.

What stops which ray at which height is worked out once (`screenplan.views.intervals`). A draw gives each
plant a curve, a class of crown and a life: so it has a height in each year, and the rays that its living
plants stop are put together, word by word. A view is closed from the first year from which its open share stays
at or below the threshold, as everywhere.

While crowns are nested and nobody dies, a ray that is stopped stays so, and the year is bisected. Where crowns
are not nested it is shown for all years after that one at once that the view stays closed; where that fails, and
in the first years, in which plants die, years are looked at one by one, from the last one back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise
from typing import NamedTuple

import numpy as np
from numba import njit, prange

from screenplan.planting.draws import HEIGHTS, Drawn, Draws, draw_plants, heights_of
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


class Played(NamedTuple):
    """What was drawn for the plants of a view, in its order.

    Attributes
    ----------
    start : ndarray of int64, (near,)
    which : ndarray of int64, (starts, widths, profiles)
        As in `Classes`.
    layer : ndarray of int64, (near,)
    step : ndarray of float64, (layers,)
        What each layer's leafless share lacks of the next one's.
    height, width, profile, life : ndarray of int, (near, draws)
        As in `Drawn`.
    heights : ndarray of float64, (starts, heights, ages)
    ages : ndarray of int64, (courses, years)
    """

    start: np.ndarray
    which: np.ndarray
    layer: np.ndarray
    step: np.ndarray
    height: np.ndarray
    width: np.ndarray
    profile: np.ndarray
    life: np.ndarray
    heights: np.ndarray
    ages: np.ndarray


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

    @cached_property
    def density(self) -> np.ndarray:
        """Leaf area density by start and by `HEIGHTS`, m²/m³."""
        found = [[start.species.density_at(z) for z in HEIGHTS] for start in self.stand.starts]
        return np.array(found, float).reshape(-1, len(HEIGHTS))

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
    played = Played(
        of, classes.which, classes.layer[of], step, drawn.height[plant], drawn.width[plant],
        drawn.profile[plant], drawn.life[plant], drawing.heights, drawing.ages,
    )  # fmt: skip
    nested = bool(nested_starts(classes)[of].all())
    most = (threshold + ROUNDING) * view.rays
    _close(years, view.turns, view.every, most, played, nested, view.simple, drawing.settled, found)
    return found


def nested_starts(classes: Classes) -> np.ndarray:
    """Tell for each start whether its crowns are nested, whatever is drawn."""
    parts = pairwise(classes.first)
    return np.array([classes.nested[first:end].all() for first, end in parts], bool)


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
def _lay(turns, j, k, height, now):
    """Lay down the rays that a plant of that height stops: their words, from the plant's first one."""
    begin, words = turns.first[j, k], turns.word[j, 1]
    low, size = begin, turns.first[j, k + 1] - begin
    while size > 0:  # without a branch that has to be guessed
        half = (size + 1) >> 1
        low += half * (turns.height[low + half - 1] <= height)
        size -= half
    block = (low - begin) // BLOCK
    at, first = turns.state_first[j, k] + block * words, turns.word[j, 0]
    for w in range(words):
        now[w] = turns.state[at + w]
    for n in range(begin + block * BLOCK, low):
        bit = turns.bit[n]
        now[(bit >> 6) - first] ^= np.uint64(1) << np.uint64(bit & 63)


@inner()
def _light_stopped(stopped, light):
    """Light of the rays that are stopped."""
    total = 0.0
    for w in range(len(light)):
        total += light[w] * np.float64(_bits(stopped[w]))
    return total


@inner()
def _is_open(year, until, draw, turns, every, most, played, work):
    """Tell whether the view may be open between two years of a draw, in the season in which more is.

    Of one year it is told whether the view is open. Between two a ray counts as stopped if one plant stops it
    in both: where no ray has more than two turns at a crown that plant stops it in between too.
    """
    now, then, stopped = work[0], work[1], work[2]
    stopped[:] = 0
    left, level = every, 0
    for j in range(len(played.start)):
        while played.layer[j] > level:
            left -= played.step[level] * _light_stopped(stopped, turns.light)
            level += 1
        life = played.life[j, draw]
        age, later = played.ages[life, year], played.ages[life, until]
        if age < 0 or later < 0:
            continue
        k = played.which[played.start[j], played.width[j, draw], played.profile[j, draw]]
        first, words = turns.word[j, 0], turns.word[j, 1]
        start, height = played.start[j], played.height[j, draw]
        _lay(turns, j, k, played.heights[start, height, age], now)
        if until > year:
            _lay(turns, j, k, played.heights[start, height, later], then)
            for w in range(words):
                now[w] &= then[w]
        for w in range(words):
            stopped[first + w] |= now[w]
    shut = _light_stopped(stopped, turns.light)
    while level < len(played.step):
        left -= played.step[level] * shut
        level += 1
    return left > most


@inner()
def _year_of(draw, years, turns, every, most, played, nested, simple, settled, work):
    """First year from which on the view stays closed in one draw; `NEVER` if after the years looked at."""
    last = played.ages.shape[1] - 1
    if _is_open(years, years, draw, turns, every, most, played, work):
        return NEVER
    floor = 0
    for j in range(len(played.start)):
        if played.life[j, draw]:
            floor = settled
            break
    late = floor > years
    low, high = min(floor, years), years
    while low < high:
        middle = (low + high) >> 1
        if _is_open(middle, middle, draw, turns, every, most, played, work):
            low = middle + 1
        else:
            high = middle
    year = low
    # Where crowns are not nested, or plants die later, the view may be open again before the last year.
    sure = (nested and not late) or low == last
    if not (sure or late):
        sure = simple and not _is_open(low, last, draw, turns, every, most, played, work)
    if not sure:
        if _is_open(last, last, draw, turns, every, most, played, work):
            return NEVER
        year, floor = last, low
    if low > floor:
        return year
    while year > 0 and not _is_open(year - 1, year - 1, draw, turns, every, most, played, work):
        year -= 1
    return year if year <= years else NEVER


@njit(parallel=True, cache=True, error_model="numpy")
def _close(years, turns, every, most, played, nested, simple, settled, found):
    """Find the first year from which on a view stays closed, draw by draw."""
    draws = len(found)
    for part in prange(-(-draws // PART)):
        work = np.zeros((3, len(turns.light)), np.uint64)
        for draw in range(part * PART, min((part + 1) * PART, draws)):
            found[draw] = _year_of(
                draw, years, turns, every, most, played, nested, simple, settled, work
            )
