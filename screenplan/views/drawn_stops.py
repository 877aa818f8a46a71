"""Which plant stops which ray in which draw by a year: for choosing among plantings, each judged in a moment.

A draw gives each plant a height in each year, a class of crown and a life, as in `screenplan.views.chance`, and
the heights at which a crown begins and ceases to stop a ray are found as there. Here a year is asked, not the
first one of all, so that all draws of a pair of ray and plant are a few words of bits. A ray counts as stopped if
it is in that year and when all is grown, by the same plant.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numba import njit, prange

from screenplan.views.chance import Drawing
from screenplan.views.intervals import TURN_M, WORD, turns_of


@dataclass(frozen=True, eq=False)
class Meetings:
    """Pairs of rays and plants that may meet, with the turns of each, for any year.

    Parameters
    ----------
    drawing : Drawing
        Of all plants that may be set.
    ray, plant : ndarray of int64, (pairs,)
        By plant; pairs that meet at no height are left out.
    turns : ndarray of float64, (pairs, classes, turns)
        Heights of the plant at which its crown begins to stop the ray, and ceases to.
    until : int
        Last year that may be asked.
    """

    drawing: Drawing
    ray: np.ndarray
    plant: np.ndarray
    turns: np.ndarray = field(repr=False)
    until: int


def meetings_of(
    origin, target, drawing: Drawing, *, until: int | None = None, turn_m: float = TURN_M
) -> Meetings:
    """Find which rays may meet which plants of a drawing, and at which heights.

    Parameters
    ----------
    origin, target : ndarray, (rays, 3)
    drawing : Drawing
    until : int, optional
        Last year that will be asked, by default any: what a crown that only ever grows meets later is left out.
    turn_m : float
        Heights are found to this, metres.
    """
    last = drawing.heights.shape[2] - 1
    until = last if until is None else min(until, last)
    classes = drawing.classes
    most = drawing.heights[:, :, : until + 1].max(axis=(1, 2), initial=0.0)
    most = np.repeat(most, np.diff(classes.first))
    span = classes.range.copy()
    span[:, 1] = np.where(classes.nested, np.minimum(span[:, 1], most), span[:, 1])
    ray, plant, turns = turns_of(
        origin, target, drawing.stand, classes._replace(range=span), turn_m=turn_m
    )
    order = np.argsort(plant, kind="stable")
    order = order[np.isfinite(turns[order]).any(axis=(1, 2))]
    return Meetings(drawing, ray[order], plant[order], turns[order], until)


@dataclass(frozen=True, eq=False)
class DrawnStops:
    """What is stopped by a year, by draw.

    Parameters
    ----------
    draws : int
    ray, plant : ndarray of int64, (pairs,)
        By plant; pairs that never meet are left out.
    bits : ndarray of uint64, (pairs, words)
        The draws in which the plant stops the ray.
    share : ndarray, (pairs,)
        How many they are, as a share.
    """

    draws: int
    ray: np.ndarray
    plant: np.ndarray
    bits: np.ndarray
    share: np.ndarray


def stops_by(meetings: Meetings, year: int) -> DrawnStops:
    """Find what each plant stops by a year in each draw.

    Raises
    ------
    ValueError
        For a year after the last one that may be asked.
    """
    drawing = meetings.drawing
    if year > meetings.until:
        msg = f"year {year} is after the last one, {meetings.until}"
        raise ValueError(msg)
    drawn, classes = drawing.drawn, drawing.classes
    bits = np.zeros((len(meetings.ray), -(-drawing.count // WORD)), np.uint64)
    plants = np.unique(meetings.plant)
    first = np.append(np.searchsorted(meetings.plant, plants), len(meetings.plant))
    _fill(
        plants, first, meetings.turns, drawing.stand.start.astype(np.int64), classes.which, drawn.height,
        drawn.width, drawn.profile, drawn.life, drawing.heights, drawing.ages, year, bits,
    )  # fmt: skip
    share = np.bitwise_count(bits).sum(axis=1) / drawing.count if len(bits) else np.zeros(0)
    some = share > 0.0
    return DrawnStops(
        drawing.count, meetings.ray[some], meetings.plant[some], bits[some], share[some]
    )


@njit(parallel=True, cache=True, error_model="numpy")
def _fill(
    plants, first, turns, start, which, height, width, profile, life, heights, ages, year, bits
):
    """Mark the draws in which each plant stops each ray in a year and in the last one; pairs are by plant."""
    last, draws, several = ages.shape[1] - 1, height.shape[1], turns.shape[2]
    for number in prange(len(plants)):
        i = plants[number]
        # What a draw makes of the plant is the same for all its rays.
        shape = np.empty(draws, np.int64)
        tall = np.empty((2, draws))
        for draw in range(draws):
            shape[draw] = which[start[i], width[i, draw], profile[i, draw]]
            for n in range(2):
                age = ages[life[i, draw], year if n == 0 else last]
                tall[n, draw] = -1.0
                if age >= 0:
                    tall[n, draw] = heights[start[i], height[i, draw], age]
        for pair in range(first[number], first[number + 1]):
            for draw in range(draws):
                now = then = 0
                for n in range(several):
                    turn = turns[pair, shape[draw], n]
                    now += turn <= tall[0, draw]
                    then += turn <= tall[1, draw]
                if now % 2 and then % 2:
                    bits[pair, draw // 64] |= np.uint64(1) << np.uint64(draw % 64)


class Trial:
    """A planting that is changed plant by plant, with what of each view is stopped in each draw.

    Parameters
    ----------
    stops : DrawnStops
    view : ndarray of int, (rays,)
        The view of each ray.
    light : ndarray, (rays,)
        Share of its view's light.
    need : ndarray, (views,)
        Share of each view's light that must be stopped.
    plants : int
    """

    def __init__(self, stops: DrawnStops, view, light, need, plants: int):
        self.stops, self.need = stops, np.asarray(need, float)
        self._view, self._light = np.asarray(view, np.int64), np.asarray(light, float)
        self._first = np.searchsorted(stops.plant, np.arange(plants + 1)).astype(np.int64)
        self.planted = np.zeros(plants, bool)
        self._many = np.zeros((len(self._view), stops.draws), np.uint8)
        self.stopped = np.zeros((len(self.need), stops.draws))

    def set(self, plants) -> None:
        """Set plants that do not stand yet."""
        self._change(plants, True)

    def take(self, plants) -> None:
        """Take plants that stand."""
        self._change(plants, False)

    def _change(self, plants, add: bool) -> None:
        plants = np.asarray(plants, np.int64)
        self.planted[plants] = add
        _shift(
            plants, add, self._first, self.stops.ray, self.stops.bits, self._view, self._light,
            self._many, self.stopped,
        )  # fmt: skip

    def chance(self) -> np.ndarray:
        """Share of the draws in which each view is closed, (views,)."""
        return (self.stopped >= self.need[:, None] - 1e-9).mean(axis=1)

    def lack(self) -> np.ndarray:
        """Mean over the draws of what each view lacks, (views,)."""
        return np.maximum(self.need[:, None] - self.stopped, 0.0).mean(axis=1)

    def lack_with(self, plants) -> np.ndarray:
        """Give the same if plants stood besides."""
        self.set(plants)
        lack = self.lack()
        self.take(plants)
        return lack


@njit(cache=True, error_model="numpy")
def _shift(plants, add, first, ray, bits, view, light, many, stopped):
    """Set or take plants: count anew by how many each ray is stopped, and what of each view is."""
    draws = stopped.shape[1]
    for i in plants:
        for pair in range(first[i], first[i + 1]):
            r = ray[pair]
            v, share = view[r], light[r]
            for draw in range(draws):
                if bits[pair, draw >> 6] >> np.uint64(draw & 63) & np.uint64(1):
                    if add:
                        if many[r, draw] == 0:
                            stopped[v, draw] += share
                        many[r, draw] += 1
                    else:
                        many[r, draw] -= 1
                        if many[r, draw] == 0:
                            stopped[v, draw] -= share
