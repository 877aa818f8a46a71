"""At which heights of each plant its crown stops each ray: worked out once, whatever is drawn.

A crown is known by the height of its plant, once the class of its width and profile is. As the plant
grows its crown begins to stop a ray at some height, and where the stem clears, or a rounded crown draws in at
its foot, it may cease to at another. These heights, the **turns** of a ray, are found by bisection with the
kernel's own tests of a hit. A crown that always holds the lower one has one turn at most.

The rays that a crown of some height stops are then those with an odd number of turns below it. For each
plant and class the turns stand in rising order, and with every `BLOCK`th of them which rays are stopped
there, a bit for each: so a height is turned into rays by one search, a few bits, and words that are taken
whole. Nothing is rounded but the turns themselves, to `TURN_M`.

Rays of which no light is left, or that come near no plant, take no part. The others stand in the order of
the plants that they pass, so that those of one plant have few words.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numba import njit, prange

from screenplan.ground.crown_shapes import PIECES
from screenplan.planting.draws import PROFILES, WIDTHS, heights_of
from screenplan.planting.growth import CrownLaw, crown_law
from screenplan.planting.shapes import is_nested
from screenplan.planting.stand import Stand
from screenplan.views.compiled import called, inner
from screenplan.views.runs import UPRIGHT_M
from screenplan.views.solids import (
    IN_ALL,
    LEVEL_PER,
    SOLID,
    box_stretch,
    crown_pieces,
    form_hit,
    form_stretch,
    how_made,
    stacked_stretch,
)

#: Turns are found to this, metres: less than a plant grows in a day.
TURN_M = 1e-4
#: Turns of classes that follow each other are looked for within this of each other first, metres.
NEAR_M = 0.25
#: Turns between two heights for which the rays are kept.
BLOCK = 8
#: Turns of one ray and crown that are looked for where crowns are not nested, and heights at which they are.
MOST_TURNS, STEPS = 4, 48
#: Heights at which it is looked whether crowns are nested.
NESTED_STEPS = 64
#: An upright ray is leant by this, metres: it has a direction then.
LEAN_M = 1e-6
#: Numbers of a pair of ray and plant.
ACROSS, ALONG, FOOT, SLOPE, PER_SLOPE, REACH, TO_ROW, FROM_ROW = range(8)
#: Bits of a word.
WORD = 64


class Classes(NamedTuple):
    """Crowns by the height of their plant, for each class of each start.

    Attributes
    ----------
    first : ndarray of int64, (starts + 1,)
        Where the classes of each start begin.
    which : ndarray of int64, (starts, widths, profiles)
        Class of a start by what is drawn, counted from its first one.
    boxed, nested : ndarray of bool, (classes,)
    made : ndarray of int64, (classes,)
        As in `CrownTable`.
    square : ndarray of float64, (classes, 3)
    pieces : ndarray of float64, (classes, 2, PIECES)
    law : ndarray of float64, (classes, 6)
        As `CrownLaw`.
    range : ndarray of float64, (classes, 2)
        Least and greatest height that is drawn.
    layer : ndarray of int64, (starts,)
        Index into ``leafless``.
    leafless : ndarray of float64, (layers,)
        As in `CrownTable`.
    """

    first: np.ndarray
    which: np.ndarray
    boxed: np.ndarray
    nested: np.ndarray
    made: np.ndarray
    square: np.ndarray
    pieces: np.ndarray
    law: np.ndarray
    range: np.ndarray
    layer: np.ndarray
    leafless: np.ndarray


class Turns(NamedTuple):
    """The turns of a view's rays at the plants that they come near.

    Attributes
    ----------
    plant : ndarray of int64, (near,)
        The plants, by layer.
    first : ndarray of int64, (near, classes + 1)
        Where the turns of each plant and class begin; classes that a plant lacks have none.
    height : ndarray of float64
        Turns in rising order.
    bit : ndarray of int32
        Ray of each turn.
    word : ndarray of int64, (near, 2)
        First word of the rays of each plant, and how many there are.
    state : ndarray of uint64
        The rays that are stopped below every `BLOCK`th turn.
    state_first : ndarray of int64, (near, classes)
    light : ndarray of float64, (words,)
        Light of the rays of each word.
    """

    plant: np.ndarray
    first: np.ndarray
    height: np.ndarray
    bit: np.ndarray
    word: np.ndarray
    state: np.ndarray
    state_first: np.ndarray
    light: np.ndarray


@dataclass(frozen=True, eq=False)
class Incidence:
    """One view: which heights of which plants stop its rays.

    Parameters
    ----------
    rays : int
        Rays that pass the opening.
    every : float
        Light of all of them that what exists lets through, in rays.
    turns : Turns
    simple : bool
        Whether no ray has more than two turns at any crown.
    """

    rays: int
    every: float
    turns: Turns
    simple: bool


def classes_of(stand: Stand) -> Classes:
    """Arrange the crowns of a stand by what may be drawn for its plants."""
    heights = heights_of(stand)
    first, records = [0], []
    which = np.zeros((len(stand.starts), len(WIDTHS), len(PROFILES)), np.int64)
    for number, start in enumerate(stand.starts):
        known: dict[tuple, int] = {}
        ends = float(heights[number].min()), float(heights[number].max())
        for w, width in enumerate(WIDTHS):
            for p, profile in enumerate(PROFILES):
                species = start.species.at_quantile(width=float(width), profile=float(profile))
                look = crown_law(species), species.crown("typical")
                if look not in known:
                    known[look] = len(known)
                    records.append((*look, ends))
                which[number, w, p] = known[look]
        first.append(len(records))
    passes = [
        0.0 if start.species.evergreen else 1.0 - start.species.winter_share
        for start in stand.starts
    ]
    leafless, layer = np.unique(passes, return_inverse=True)
    return Classes(
        np.array(first, np.int64),
        which,
        np.array([shape.along_row for _, shape, _ in records], bool),
        np.array([_nested(*row) for row in records], bool),
        np.array([how_made(shape) for _, shape, _ in records], np.int64),
        np.array([shape.square for _, shape, _ in records], float).reshape(-1, 3),
        np.array([crown_pieces(shape) for _, shape, _ in records], float).reshape(-1, 2, PIECES),
        np.array([law for law, _, _ in records], float).reshape(-1, 6),
        np.array([ends for _, _, ends in records], float).reshape(-1, 2),
        layer.astype(np.int64),
        leafless.astype(float),
    )


@lru_cache(maxsize=4096)
def _nested(law: CrownLaw, shape, ends: tuple[float, float]) -> bool:
    """Tell whether the crown of every height holds those of all lower ones."""
    sizes = law.sizes(np.linspace(*ends, NESTED_STEPS))
    return bool(is_nested(shape, sizes[:, 1:], sizes[:, :-1]).all())


def incidence_of(origin, target, light, rays: int, stand: Stand, classes: Classes) -> Incidence:
    """Find the turns of one view's rays.

    Parameters
    ----------
    origin, target : ndarray, (n, 3)
        Ends of the rays of which any light is left.
    light : ndarray, (n,)
        Share of each ray's light that what exists lets through.
    rays : int
        Rays that pass the opening, those without light too.
    stand : Stand
    classes : Classes
        Those of the stand.
    """
    ray, plant, found = turns_of(origin, target, stand, classes)
    every = float(np.sum(light))
    simple = not np.isfinite(found[:, :, 2:]).any()
    return Incidence(rays, every, _arrange(ray, plant, found, light, stand, classes), simple)


def turns_of(origin, target, stand: Stand, classes: Classes, *, turn_m: float = TURN_M):
    """Give the rays and plants that may meet, (pairs,) each, and the turns of each, (pairs, classes, turns).

    Turns are found to ``turn_m`` metres; those that are not there are infinite.
    """
    ray, plant, near = near_pairs(origin, target, stand, classes)
    several = 1 if classes.nested.all() else MOST_TURNS
    most = int(np.diff(classes.first).max(initial=1))
    found = np.full((len(ray), most, several), np.inf)
    if len(ray):
        _find_turns(near, stand.start[plant], classes, turn_m, found)
    return ray, plant, found


def near_pairs(origin, target, stand: Stand, classes: Classes):
    """Give the rays and plants that may meet, and how they pass each other, (pairs,) twice and (pairs, 8)."""
    origin, target = np.asarray(origin, float), np.asarray(target, float)
    upright = np.hypot(*(target - origin)[:, :2].T) < 10.0 * UPRIGHT_M
    target = np.where(upright[:, None], target + np.array([LEAN_M, 0.0, 0.0]), target)
    widest, tallest = _bounds(classes)
    return _pairs(
        np.ascontiguousarray(origin), target, np.column_stack([stand.xy, stand.ground_m]),
        np.ascontiguousarray(stand.way, float), widest[stand.start], tallest[stand.start],
    )  # fmt: skip


def _bounds(classes: Classes) -> tuple[np.ndarray, np.ndarray]:
    """Farthest reach and greatest height of the crowns of each start."""
    law, most = classes.law, classes.range[:, 1]
    wide = np.minimum(law[:, 0] * most ** law[:, 1], law[:, 2]) / 2.0
    across = np.where(classes.boxed, np.minimum(2.0 * wide, law[:, 3]) / 2.0, 0.0)
    begin = classes.first[:-1]
    if not len(begin):
        return np.zeros(0), np.zeros(0)
    return np.maximum.reduceat(np.hypot(wide, across), begin), np.maximum.reduceat(most, begin)


@njit(cache=True, error_model="numpy")
def _pairs(origin, target, feet, way, widest, tallest):
    """List the rays and plants that may meet, and how they pass each other."""
    rays, plants = origin.shape[0], feet.shape[0]
    count, room = 0, max(4 * rays, 16)
    ray_of, plant_of = np.empty(room, np.int64), np.empty(room, np.int64)
    near = np.empty((room, 8))
    for ray in range(rays):
        ox, oy, oz = origin[ray, 0], origin[ray, 1], origin[ray, 2]
        dx, dy, dz = target[ray, 0] - ox, target[ray, 1] - oy, target[ray, 2] - oz
        reach = np.sqrt(dx * dx + dy * dy)
        ux, uy, slope = dx / reach, dy / reach, dz / reach
        for plant in range(plants):
            px, py = feet[plant, 0] - ox, feet[plant, 1] - oy
            across = px * uy - py * ux
            wide = widest[plant]
            if abs(across) >= wide:
                continue
            along = px * ux + py * uy
            if along <= -wide or along >= reach + wide:
                continue
            foot = oz - feet[plant, 2] + along * slope
            lean = abs(slope) * wide
            if foot + lean <= 0.0 or foot - lean >= tallest[plant]:
                continue
            if count == room:
                room *= 2
                ray_of = np.concatenate((ray_of, np.empty_like(ray_of)))
                plant_of = np.concatenate((plant_of, np.empty_like(plant_of)))
                near = np.concatenate((near, np.empty_like(near)))
            ray_of[count], plant_of[count] = ray, plant
            row_x, row_y = way[plant, 0], way[plant, 1]
            near[count, ACROSS], near[count, ALONG], near[count, FOOT] = across, along, foot
            near[count, SLOPE] = slope
            near[count, PER_SLOPE] = 1.0 / slope if slope != 0.0 else LEVEL_PER
            near[count, REACH] = reach
            near[count, TO_ROW] = ux * row_x + uy * row_y
            near[count, FROM_ROW] = uy * row_x - ux * row_y
            count += 1
    return ray_of[:count], plant_of[:count], near[:count]


@inner()
def _size(crowns, k, height):
    """Radius, half the width across and clear stem of class k of a plant of that height, as `CrownLaw.sizes`."""
    law = crowns.law[k]
    wide = min(law[0] * height ** law[1], law[2])
    return 0.5 * wide, 0.5 * min(wide, law[3]), min(law[4] * height, law[5])


@inner()
def _is_beside(pair, boxed, height, r, across, c):
    """Tell that a ray passes beside, above or below a crown, without looking closer."""
    far = np.hypot(r, across) if boxed else r
    lean = abs(pair[SLOPE]) * far
    foot = pair[FOOT]
    beside = abs(pair[ACROSS]) >= far or foot + lean <= c or foot - lean >= height
    return beside or height - c <= 0.0 or r <= 0.0 or across <= 0.0


@inner()
def _box_at(pair, height, r, across, c):
    """Stretch of a ray in a box, from where the stem is passed; (1, 0) for none."""
    side, cu, cv = pair[ACROSS], pair[TO_ROW], pair[FROM_ROW]
    return box_stretch(
        -side * cv, side * cu, pair[FOOT], cu, cv, pair[SLOPE], -pair[ALONG],
        pair[REACH] - pair[ALONG], height, c, r, across,
    )  # fmt: skip


@inner()
def _stack_at(pair, crowns, k, height, r, c):
    """Stretch of a ray in a stacked crown, from where the stem is passed; (1, 0) for none."""
    return stacked_stretch(
        pair[ACROSS] * pair[ACROSS], pair[FOOT], pair[SLOPE], pair[PER_SLOPE], -pair[ALONG],
        pair[REACH] - pair[ALONG], height, c, 0.5 * r * r / (height - c), -r * r, crowns.pieces[k],
        crowns.made[k] == IN_ALL,
    )  # fmt: skip


@called()
def meets_at(pair, crowns, k, height):
    """Tell whether a ray meets the crown of class k of a plant of that height."""
    r, across, c = _size(crowns, k, height)
    if _is_beside(pair, crowns.boxed[k], height, r, across, c):
        return False
    if crowns.boxed[k]:
        one, two = _box_at(pair, height, r, across, c)
        return one < two
    if crowns.made[k] != SOLID:
        one, two = _stack_at(pair, crowns, k, height, r, c)
        return one < two
    f, l, n = _form(crowns.square[k], r, height - c)  # noqa: E741
    side, along = pair[ACROSS], pair[ALONG]
    return form_hit(
        1.0, 0.0, side * side, pair[FOOT], pair[SLOPE], pair[PER_SLOPE], -along, pair[REACH] - along,
        height, c, f, l, n,
    )  # fmt: skip


@called()
def stretch_at(pair, crowns, k, height):
    """Stretch of a ray in the crown of class k of a plant of that height, metres in plan from where the stem is passed; (1, 0) for none."""
    r, across, c = _size(crowns, k, height)
    if _is_beside(pair, crowns.boxed[k], height, r, across, c):
        return 1.0, 0.0
    if crowns.boxed[k]:
        return _box_at(pair, height, r, across, c)
    if crowns.made[k] != SOLID:
        return _stack_at(pair, crowns, k, height, r, c)
    f, l, n = _form(crowns.square[k], r, height - c)  # noqa: E741
    side, along, slope, reach = pair[ACROSS], pair[ALONG], pair[SLOPE], pair[REACH]
    one, two = form_stretch(
        reach * reach, -along * reach, side * side + along * along, pair[FOOT] - along * slope,
        slope * reach, height, c, f, l, n,
    )  # fmt: skip
    return (one * reach - along, two * reach - along) if one < two else (1.0, 0.0)


@inner()
def _form(square, r, depth):
    """Give the numbers f, l, n of `CrownShape.surface`."""
    share = r / depth
    return -square[2] * share * share, 0.5 * square[1] * r * share, -square[0] * r * r


@called()
def _bisect(pair, crowns, k, low, high, hit_above, turn_m):
    """Find the height between two at which a crown begins, or ceases, to be met."""
    while high - low > turn_m:
        middle = 0.5 * (low + high)
        if meets_at(pair, crowns, k, middle) == hit_above:
            high = middle
        else:
            low = middle
    return high


@njit(parallel=True, cache=True, error_model="numpy")
def _find_turns(near, start, crowns, turn_m, found):
    """Find the turns of pairs, (pairs, classes, turns); those that are not there stay infinite."""
    for n in prange(near.shape[0]):
        pair, first, guess = near[n], crowns.first[start[n]], -1.0
        for k in range(first, crowns.first[start[n] + 1]):
            least, most = crowns.range[k, 0], crowns.range[k, 1]
            to = k - first
            if crowns.nested[k]:
                low, high = least, most
                below, above = (
                    False,
                    False,
                )  # whether it is known of either that it is missed, and met
                if guess > least:
                    if meets_at(pair, crowns, k, guess):
                        high, above, at = guess, True, guess - NEAR_M
                    else:
                        low, below, at = guess, True, guess + NEAR_M
                    if low < at < high:
                        if meets_at(pair, crowns, k, at):
                            high, above = at, True
                        else:
                            low, below = at, True
                if not (above or meets_at(pair, crowns, k, most)):
                    continue
                if not below and meets_at(pair, crowns, k, least):
                    found[n, to, 0] = 0.0
                    continue
                guess = found[n, to, 0] = _bisect(pair, crowns, k, low, high, True, turn_m)
                continue
            turns, before, low = 0, meets_at(pair, crowns, k, least), least
            if before:
                found[n, to, 0] = 0.0
                turns = 1
            for step in range(1, STEPS + 1):
                high = least + (most - least) * step / STEPS
                now = meets_at(pair, crowns, k, high)
                if now != before and turns < found.shape[2]:
                    found[n, to, turns] = _bisect(pair, crowns, k, low, high, now, turn_m)
                    turns += 1
                    before = now
                low = high


def _arrange(ray, plant, found, light, stand: Stand, classes: Classes) -> Turns:
    """Put turns in order, and lay down the rays that are stopped at every `BLOCK`th."""
    is_there = np.isfinite(found)
    counts = is_there.any(axis=(1, 2))
    ray, plant, found = ray[counts], plant[counts], found[counts]
    bit, weights = _order_rays(ray, plant, light, stand)
    layer = classes.layer[stand.start]
    plants = np.unique(plant)
    plants = plants[np.argsort(layer[plants], kind="stable")]
    number = np.empty(len(stand.points), np.int64)
    number[plants] = np.arange(len(plants))
    n, k, turn = np.nonzero(np.isfinite(found))
    height, of, at = found[n, k, turn], number[plant[n]], bit[ray[n]]
    most = found.shape[1]
    order = np.lexsort((height, of * most + k))
    first = np.searchsorted(
        (of * most + k)[order], np.arange(len(plants) * most + 1), side="left"
    ).astype(np.int64)
    starts = np.column_stack([first[:-1].reshape(-1, most), first[most::most]])
    words = at // WORD
    low = np.full(len(plants), len(weights), np.int64)
    high = np.zeros(len(plants), np.int64)
    np.minimum.at(low, of, words)
    np.maximum.at(high, of, words)
    word = np.column_stack([low, np.maximum(high - low + 1, 0)]).astype(np.int64)
    blocks = np.diff(starts, axis=1) // BLOCK + 1
    sizes = (blocks * word[:, 1:]).ravel()
    state_first = np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)
    state = np.zeros(state_first[-1], np.uint64)
    turns = Turns(
        plants.astype(np.int64), starts, height[order], at[order].astype(np.int32), word, state,
        state_first[:-1].reshape(-1, most), weights,
    )  # fmt: skip
    _lay_states(turns)
    return turns


def _order_rays(ray, plant, light, stand: Stand) -> tuple[np.ndarray, np.ndarray]:
    """Give each ray a bit, so that those of a plant, and of one light, stand together; and the words' light."""
    place = np.empty(len(stand.points), np.int64)
    place[stand.order] = np.arange(len(stand.points))
    bit = np.zeros(len(light), np.int64)
    if not len(ray):
        return bit, np.zeros(0)
    sums = np.bincount(ray, weights=place[plant], minlength=len(light))
    numbers = np.bincount(ray, minlength=len(light))
    mine = np.flatnonzero(numbers)
    order = mine[np.lexsort((sums[mine] / numbers[mine], light[mine]))]
    shares, counts = np.unique(light[order], return_counts=True)
    words = -(-counts // WORD)
    begin = np.concatenate([[0], np.cumsum(words)])
    within = np.arange(len(order)) - np.repeat(np.cumsum(counts) - counts, counts)
    bit[order] = np.repeat(begin[:-1] * WORD, counts) + within
    return bit, np.repeat(shares, words)


@njit(cache=True, error_model="numpy")
def _lay_states(turns):
    """Lay down the rays that are stopped before every `BLOCK`th turn."""
    plants, classes = turns.state_first.shape
    for j in range(plants):
        low, words = turns.word[j, 0], turns.word[j, 1]
        now = np.zeros(words, np.uint64)
        for k in range(classes):
            now[:] = 0
            at, to = turns.first[j, k], turns.state_first[j, k]
            for n in range(turns.first[j, k + 1] - at + 1):
                if n % BLOCK == 0:
                    for w in range(words):
                        turns.state[to + w] = now[w]
                    to += words
                if at + n < turns.first[j, k + 1]:
                    bit = turns.bit[at + n]
                    now[(bit >> 6) - low] ^= np.uint64(1) << np.uint64(bit & 63)


def only(turns: Turns, planted) -> Turns:
    """Give the turns of some of the plants alone.

    Parameters
    ----------
    turns : Turns
    planted : ndarray of bool, (plants,)
    """
    keep = np.asarray(planted, bool)[turns.plant]
    return turns._replace(
        plant=turns.plant[keep], first=turns.first[keep], word=turns.word[keep],
        state_first=turns.state_first[keep],
    )  # fmt: skip


def of_plants(incidence: Incidence, planted) -> Incidence:
    """Give a view as it is met by some of the plants alone."""
    return replace(incidence, turns=only(incidence.turns, planted))
