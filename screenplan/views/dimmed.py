"""In which year views close, by draw, where leaves let light through.

For each plant and class of crown the stretch of each ray inside it stands at `STEPS` heights of the plant, side by
side for all rays that come near it; between two heights it is taken on a straight line. A draw gives each plant a
height, a class and a leaf density, so that the depth of leaves along each ray follows, joined as in
`screenplan.views.leaves`: where crowns have grown into each other the stretch counts once.

Light of a ray takes more work than whether it is stopped, so of a view of many rays `MOST_RAYS` are followed,
chosen evenly in the order of the plants that they pass.

A view is bisected as if crowns were nested. Where they are not, every `APART`th year after the one that was found
is looked at as well.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numba import njit, prange

from screenplan.planting.stand import Stand
from screenplan.views.chance import NEVER, PART, ROUNDING, Drawing, nested_starts
from screenplan.views.chords import join, passed
from screenplan.views.compiled import inner
from screenplan.views.intervals import (
    ALONG,
    SLOPE,
    near_pairs,
    stretch_at,
)
from screenplan.views.leaves import LEAF_PROJECTION

#: Heights at which stretches are laid down.
STEPS = 96
#: Rays of a view that are followed.
MOST_RAYS = 150
#: Years between those that are looked at after a view was found closed, where crowns are not nested.
APART = 8
#: Before any crown.
_FAR = -1e30


class Chords(NamedTuple):
    """Stretches of a view's rays inside the crowns of the plants that they come near.

    Attributes
    ----------
    plant : ndarray of int64, (near,)
        In the order in which the rays pass their stems.
    start, layer : ndarray of int64, (near,)
    first : ndarray of int64, (near + 1,)
        Where the rays of each plant begin.
    ray : ndarray of int64
        Rays by plant.
    base : ndarray of int64, (near, classes)
        Where the stretches of a plant and class begin: height by height, all rays of the plant side by side.
    enter, leave : ndarray of float32
        Ends of the stretches, metres along the ray; the same where the crown is missed.
    low, per_step : ndarray of float64, (near,)
        Height of the first step, and steps a metre.
    light : ndarray of float64, (rays,)
        Light of each ray; together that of all rays of the view.
    """

    plant: np.ndarray
    start: np.ndarray
    layer: np.ndarray
    first: np.ndarray
    ray: np.ndarray
    base: np.ndarray
    enter: np.ndarray
    leave: np.ndarray
    low: np.ndarray
    per_step: np.ndarray
    light: np.ndarray


class Leafy(NamedTuple):
    """What was drawn for the plants of a view.

    Attributes
    ----------
    which, height, width, profile, life, heights, ages, step
        As in `screenplan.views.chance.Played`.
    coefficient : ndarray of float64, (near, draws)
        Extinction coefficient, per metre.
    """

    which: np.ndarray
    height: np.ndarray
    width: np.ndarray
    profile: np.ndarray
    life: np.ndarray
    heights: np.ndarray
    ages: np.ndarray
    step: np.ndarray
    coefficient: np.ndarray


@dataclass(frozen=True, eq=False)
class Dimming:
    """One view of which leaves take light.

    Parameters
    ----------
    rays : int
        Rays that pass the opening.
    every : float
        Light of all of them, in rays.
    chords : Chords
    """

    rays: int
    every: float
    chords: Chords


def dimming_of(origin, target, light, drawing: Drawing) -> Dimming:
    """Lay down the stretches of one view's rays."""
    stand, classes = drawing.stand, drawing.classes
    lit = light > 0.0
    rays, every = len(light), float(light.sum())
    origin, target, light = origin[lit], target[lit], light[lit]
    ray, plant, near = near_pairs(origin, target, stand, classes)
    keep, weight = _choose(ray, plant, light, stand)
    number = np.full(len(light), -1)
    number[keep] = np.arange(len(keep))
    mine = number[ray] >= 0
    ray, plant, near = number[ray[mine]], plant[mine], near[mine]
    plants, of = np.unique(plant, return_inverse=True)
    order = np.argsort(
        np.bincount(of, near[:, ALONG], len(plants))
        / np.maximum(np.bincount(of, minlength=len(plants)), 1)
    )
    rank = np.empty(len(plants), np.int64)
    rank[order] = np.arange(len(plants))
    by = np.argsort(rank[of], kind="stable")
    plants, first = plants[order], np.searchsorted(rank[of][by], np.arange(len(plants) + 1))
    start = stand.start[plants].astype(np.int64)
    most = int(np.diff(classes.first).max(initial=1))
    counts = np.diff(first)
    sizes = np.repeat(counts * STEPS, most)
    base = np.concatenate([[0], np.cumsum(sizes)])[:-1].reshape(-1, most).astype(np.int64)
    enter, leave = (np.zeros(int(sizes.sum()), np.float32) for _ in range(2))
    span = classes.range[classes.first[:-1]] if len(classes.range) else np.zeros((0, 2))
    low, high = span[start].T if len(start) else (np.zeros(0), np.zeros(0))
    per_step = (STEPS - 1) / np.maximum(high - low, 1e-9)
    chords = Chords(
        plants.astype(np.int64), start, classes.layer[start] if len(start) else start,
        first.astype(np.int64), ray[by].astype(np.int64), base, enter, leave, low, per_step, weight,
    )  # fmt: skip
    _lay(near[by], chords, classes, enter, leave)
    return Dimming(rays, every, chords)


def _choose(ray, plant, light, stand: Stand) -> tuple[np.ndarray, np.ndarray]:
    """Choose the rays that are followed, and share the light of all that meet plants among them."""
    place = np.empty(len(stand.points), np.int64)
    place[stand.order] = np.arange(len(stand.points))
    numbers = np.bincount(ray, minlength=len(light))
    sums = np.bincount(ray, place[plant], len(light)) if len(ray) else np.zeros(len(light))
    mine = np.flatnonzero(numbers)
    mine = mine[np.argsort(sums[mine] / numbers[mine], kind="stable")]
    if len(mine) > MOST_RAYS:
        at = ((np.arange(MOST_RAYS) + 0.5) * len(mine) / MOST_RAYS).astype(int)
        keep = mine[at]
        return keep, light[keep] * (light[mine].sum() / light[keep].sum())
    return mine, light[mine]


def dimmed_years(view: Dimming, drawing: Drawing, years: int, threshold: float) -> np.ndarray:
    """Years in which one view closes, by draw; `NEVER` if not in the years looked at.

    Parameters
    ----------
    view : Dimming
    drawing : Drawing
        Of the plants of the view.
    years : int
        Last year looked at.
    threshold : float
        Share of the light that may pass.
    """
    drawn, classes, chords = drawing.drawn, drawing.classes, view.chords
    plant = chords.plant
    leafy = Leafy(
        classes.which, drawn.height[plant], drawn.width[plant], drawn.profile[plant], drawn.life[plant],
        drawing.heights, drawing.ages, np.diff(np.append(classes.leafless, 1.0)),
        LEAF_PROJECTION * drawing.density[chords.start[:, None], drawn.leaves[plant]],
    )  # fmt: skip
    found = np.empty(drawing.count, np.uint8)
    nested = bool(nested_starts(classes)[chords.start].all())
    most = (threshold + ROUNDING) * view.rays
    _close(years, chords, view.every, most, leafy, nested, drawing.settled, found)
    return found


@njit(parallel=True, cache=True, error_model="numpy")
def _lay(near, chords, crowns, enter, leave):
    """Lay down the stretches of all pairs, (plant, class, height, ray).

    What is written is handed over by itself: in parallel, arrays of a tuple are not written.
    """
    for j in prange(len(chords.plant)):
        begin, count, k0 = (
            chords.first[j],
            chords.first[j + 1] - chords.first[j],
            crowns.first[chords.start[j]],
        )
        for k in range(k0, crowns.first[chords.start[j] + 1]):
            for i in range(count):
                pair = near[begin + i]
                metres = np.sqrt(1.0 + pair[SLOPE] * pair[SLOPE])
                at = chords.base[j, k - k0] + i
                middle, since = np.float32(pair[ALONG] * metres), -1
                for step in range(STEPS):
                    height = chords.low[j] + step / chords.per_step[j]
                    low, high = stretch_at(pair, crowns, k, height)
                    to = at + step * count
                    if low < high:
                        enter[to] = (pair[ALONG] + low) * metres
                        leave[to] = (pair[ALONG] + high) * metres
                        middle = np.float32(0.5) * (enter[to] + leave[to])
                        if since < 0:
                            # Before it is met the stretch shrinks to where it is met first.
                            for before in range(step):
                                enter[at + before * count] = middle
                                leave[at + before * count] = middle
                            since = step
                    else:
                        enter[to] = leave[to] = middle


@inner()
def _is_open(year, draw, chords, every, most, leafy, work):
    """Tell whether the view is open in a year of a draw, in the season in which more is."""
    layers, rays = len(leafy.step), len(chords.light)
    for level in range(layers):
        for ray in range(rays):
            work[level, 0, ray] = 0.0
            work[level, 1, ray] = work[level, 2, ray] = work[level, 3, ray] = _FAR
    for j in range(len(chords.plant)):
        age = leafy.ages[leafy.life[j, draw], year]
        if age < 0:
            continue
        start, begin = chords.start[j], chords.first[j]
        count = chords.first[j + 1] - begin
        height = leafy.heights[start, leafy.height[j, draw], age]
        k = leafy.which[start, leafy.width[j, draw], leafy.profile[j, draw]]
        x = min(max((height - chords.low[j]) * chords.per_step[j], 0.0), STEPS - 1.000001)
        step = int(x)
        part = np.float32(x - step)
        at, coefficient = chords.base[j, k] + step * count, leafy.coefficient[j, draw]
        for i in range(count):
            a = chords.enter[at + i]
            a += part * (chords.enter[at + count + i] - a)
            b = chords.leave[at + i]
            b += part * (chords.leave[at + count + i] - b)
            if a < b:
                ray = chords.ray[begin + i]
                for level in range(chords.layer[j], layers):
                    more, low, high, apart = join(
                        float(a),
                        float(b),
                        work[level, 1, ray],
                        work[level, 2, ray],
                        work[level, 3, ray],
                    )
                    work[level, 0, ray] += coefficient * more
                    work[level, 1, ray], work[level, 2, ray], work[level, 3, ray] = low, high, apart
    left = every
    for level in range(layers):
        for ray in range(rays):
            left -= leafy.step[level] * chords.light[ray] * (1.0 - passed(work[level, 0, ray]))
    return left > most


@inner()
def _year_of(draw, years, chords, every, most, leafy, nested, settled, work):
    """First year from which on the view stays closed in one draw."""
    last = leafy.ages.shape[1] - 1
    if _is_open(years, draw, chords, every, most, leafy, work):
        return NEVER
    floor = 0
    for j in range(len(chords.plant)):
        if leafy.life[j, draw]:
            floor = settled
            break
    low, high = min(floor, years), years
    while low < high:
        middle = (low + high) >> 1
        if _is_open(middle, draw, chords, every, most, leafy, work):
            low = middle + 1
        else:
            high = middle
    step = 1 if floor > years else APART
    if not nested or floor > years:
        # The last year of those looked at in which it is open again.
        year = last
        while year > low and not _is_open(year, draw, chords, every, most, leafy, work):
            year -= step
        if year > low:
            return year + 1 if year + 1 <= years else NEVER
    if low > floor:
        return low
    year = low
    while year > 0 and not _is_open(year - 1, draw, chords, every, most, leafy, work):
        year -= 1
    return year


@njit(parallel=True, cache=True, error_model="numpy")
def _close(years, chords, every, most, leafy, nested, settled, found):
    """Find the first year from which on a view stays closed, draw by draw."""
    draws = len(found)
    for part in prange(-(-draws // PART)):
        work = np.empty((len(leafy.step), 4, len(chords.light)))
        for draw in range(part * PART, min((part + 1) * PART, draws)):
            found[draw] = _year_of(draw, years, chords, every, most, leafy, nested, settled, work)
