"""The compiled kernel: in which years a sight line is blocked by the plants of the rows.

Few plants of a run come near a sight line (`screenplan.views.runs`). For each of them tables
foretell between which years its crown first stands in the way (`screenplan.views.crowns`); what
they leave open is bisected with exact tests. Where the crowns of a class are not nested, each
stretch of years in which they are is bisected by itself, so that views which open again are told
as well. The result is a mask of years.

Along a sight line distances count in plan, from its start: a point is at s from 0 to ``reach``, and
rises by ``slope`` per metre. Of each plant it is known how far ``along`` the line its stem is
passed, and how far to the side. `screenplan.views.plain` works out the same plainly.
"""

from __future__ import annotations

import numpy as np
from numba import njit, prange

from screenplan.views.bundle import (
    ACROSS,
    ALONG,
    FOOT,
    PART,
    PER_SLOPE,
    REACH,
    ROOM,
    SLOPE,
    WAY_X,
    WAY_Y,
    come_near,
    lay_bundle,
    new_bundle,
)
from screenplan.views.compiled import MANY_RAYS, called, inner
from screenplan.views.crowns import HEIGHT_CELLS, CrownTable
from screenplan.views.light import add_changes, light_of_changes, open_light
from screenplan.views.meeting import add_years, meets, meets_upright
from screenplan.views.runs import UPRIGHT_M, Runs, arrange_runs, runs_between, strip_window
from screenplan.views.solids import FORM, SOLID, form_hit

__all__ = ("Runs", "arrange_runs", "blocked_years", "follow_years", "open_light", "strip_window")

#: Rays that are followed at a time by one core.
BLOCK = 4096

#: Small numbers as unsigned ones, a byte, and the top bits of the bytes of a word.
_ONE, _TWO, _THREE, _FOUR, _SEVEN = (np.uint64(number) for number in (1, 2, 3, 4, 7))
_FORM = np.uint64(FORM)
_BYTE, _TOPS, _LATE = np.uint64(0x7F), np.uint64(0x80808080), np.uint64(1)


@called()
def _block_upright(ox, oy, oz, dz, runs, crowns, mask):
    """Add to an upright sight line's masks the years in which a plant is in the way."""
    for plant in range(len(runs.x)):
        k = runs.kind[plant]
        px, py, pz = ox - runs.x[plant], oy - runs.y[plant], oz - runs.z[plant]
        if px * px + py * py >= crowns.widest[k] ** 2:
            continue
        boxed, layer = crowns.boxed[k], crowns.layer[k]
        row_x, row_y = runs.way[plant, 0], runs.way[plant, 1]
        for g in range(crowns.height.shape[1]):
            for y in range(crowns.height.shape[2]):
                if meets_upright(boxed, crowns, k, g, y, px, py, pz, dz, row_x, row_y):
                    mask[layer, g] |= np.int64(1) << y


@inner()
def foresee(pairs, bundle, runs, crowns, layers, told, first, some):
    """Bring the first years down to those that are sure; list the pairs that may come earlier.

    The years of all growths stand in one word, a byte each, and are compared at once: years are
    below 128, so that no byte borrows from the next.
    """
    for n in range(np.uint64(pairs)):
        to, sure = (
            _place(n, bundle, runs, crowns, layers),
            np.uint64(told[_LATE + _TWO * np.uint64(bundle.late[n])]),
        )
        now = np.uint64(first[to])
        less = ((now | _TOPS) - sure) & _TOPS
        less -= less >> _SEVEN
        first[to] = (sure & less) | (now & ~less)
    left = 0
    for n in range(np.uint64(pairs)):
        to, may = (
            _place(n, bundle, runs, crowns, layers),
            np.uint64(told[_TWO * np.uint64(bundle.early[n])]),
        )
        some[np.uint64(left)] = n
        left += (((may | _TOPS) - np.uint64(first[to])) & _TOPS) != _TOPS
    return left


@inner()
def _place(n, bundle, runs, crowns, layers):
    """Place among the first years of a pair's sight line and layer."""
    if layers == 1:
        return np.uint64(bundle.whose[n])
    layer = crowns.layer[runs.kind[np.uint64(bundle.what[n])]]
    return np.uint64(bundle.whose[n]) * np.uint64(layers) + np.uint64(layer)


@inner()
def list_open(left, some, bundle, runs, crowns, layers, told, first, todo, since, lanes):
    """List each growth that the tables leave open, and the year from which on it is."""
    items = 0
    for m in range(np.uint64(left)):
        n = np.uint64(some[m])
        now = np.uint64(first[_place(n, bundle, runs, crowns, layers)])
        may = np.uint64(told[_TWO * np.uint64(bundle.early[n])])
        is_open = ~((may | _TOPS) - now) & _TOPS
        for g in range(len(lanes)):
            todo[np.uint64(items)] = n << _TWO | np.uint64(g)
            since[np.uint64(items)] = (may >> np.uint64(8 * g)) & _BYTE
            items += (is_open >> np.uint64(8 * g + 7)) & np.uint64(1) != np.uint64(0)
    return items


@inner()
def _test(items, todo, years, hits, bundle, runs, form, lanes, growths):
    """Test each open growth in one year; what comes of it is stored, so that nothing is guessed."""
    near, rays = bundle.pairs, bundle.rays
    part, size = _FORM * lanes, growths * _FORM * lanes
    for m in range(np.uint64(items)):
        item = np.uint64(todo[m])
        n, g = item >> _TWO, item & _THREE
        plant, ray = np.uint64(bundle.what[n]), np.uint64(bundle.whose[n])
        at = np.uint64(runs.kind[plant]) * size + g * part + np.uint64(years[m])
        across, along = near[ACROSS + n], near[ALONG + n]
        hits[m] = np.uint64(form_hit(
            1.0, 0.0, across * across, near[FOOT + n], rays[SLOPE + ray], rays[PER_SLOPE + ray],
            -along, rays[REACH + ray] - along, form[at], form[at + lanes],
            form[at + _TWO * lanes], form[at + _THREE * lanes], form[at + _FOUR * lanes],
        ))  # fmt: skip


@inner()
def _test_one(n, g, year, bundle, runs, crowns):
    """Test one pair, of any shape, in one year of one growth."""
    near, rays = bundle.pairs, bundle.rays
    plant, ray = np.uint64(bundle.what[n]), np.uint64(bundle.whose[n])
    k, along = np.uint64(runs.kind[plant]), near[ALONG + n]
    boxed = crowns.boxed[k]
    cu, cv = _row_sides(plant, ray, rays, runs) if boxed else (0.0, 0.0)
    return meets(
        boxed, crowns, k, g, year, near[ACROSS + n], near[FOOT + n], rays[SLOPE + ray],
        rays[PER_SLOPE + ray], -along, rays[REACH + ray] - along, cu, cv,
    )  # fmt: skip


@inner()
def _decide(
    items, todo, since, years, untils, hits, bundle, runs, crowns, form, layers, first, any_other
):  # fmt: skip
    """Test what the tables leave open in the middle year of each, and bisect what that leaves.

    Most are settled by one test. What another plant has settled meanwhile counts for all plants of
    the same sight line.
    """
    lanes, growths = np.uint64(crowns.form.shape[3]), np.uint64(crowns.form.shape[1])
    for m in range(np.uint64(items)):
        item = np.uint64(todo[m])
        to, shift = _place(item >> _TWO, bundle, runs, crowns, layers), (item & _THREE) << _THREE
        # A crown that is not met in the year after its last change is never met.
        k = runs.kind[np.uint64(bundle.what[item >> _TWO])]
        last = np.uint64(crowns.settled[k, item & _THREE])
        until = min((np.uint64(first[to]) >> shift) & _BYTE, last + _ONE)
        untils[m], years[m] = until, (np.uint64(since[m]) + until) >> _ONE
    if not any_other:
        _test(items, todo, years, hits, bundle, runs, form, lanes, growths)
    else:
        for m in range(np.uint64(items)):
            n, g = np.uint64(todo[m]) >> _TWO, np.uint64(todo[m]) & _THREE
            hits[m] = np.uint64(_test_one(n, g, np.uint64(years[m]), bundle, runs, crowns))
    left = 0
    for m in range(np.uint64(items)):
        item, middle, hit = np.uint64(todo[m]), np.uint64(years[m]), hits[m]
        to, shift = _place(item >> _TWO, bundle, runs, crowns, layers), (item & _THREE) << _THREE
        word = np.uint64(first[to])
        until = min((word >> shift) & _BYTE, _BYTE - (_BYTE - middle) * hit)
        year = middle + _ONE - (middle + _ONE - np.uint64(since[m])) * hit
        first[to] = (word & ~(_BYTE << shift)) | (until << shift)
        todo[np.uint64(left)], since[np.uint64(left)] = item, year
        left += year < min(until, np.uint64(untils[m]))
    for m in range(np.uint64(left)):
        item, year = np.uint64(todo[m]), np.uint64(since[m])
        n, g = item >> _TWO, item & _THREE
        to, shift = _place(n, bundle, runs, crowns, layers), g << _THREE
        word = np.uint64(first[to])
        until = (word >> shift) & _BYTE
        last = np.uint64(crowns.settled[runs.kind[np.uint64(bundle.what[n])], g]) + _ONE
        unmet = min(until, last)
        while year < unmet:
            middle = (year + unmet) >> _ONE
            if _test_one(n, g, middle, bundle, runs, crowns):
                until = unmet = middle
            else:
                year = middle + _ONE
        first[to] = (word & ~(_BYTE << shift)) | (until << shift)


@inner()
def _row_sides(plant, ray, rays, runs):
    """Direction of a sight line in plan along and across the row at a plant."""
    ux, uy = rays[WAY_X + ray], rays[WAY_Y + ray]
    row_x, row_y = runs.way[plant, 0], runs.way[plant, 1]
    return ux * row_x + uy * row_y, uy * row_x - ux * row_y


@called()
def _add_bent(pairs, bundle, told, runs, crowns, layers, first, masks):
    """Add to the masks the years of crowns that are not nested, and take them off the list.

    Those that are where the sight line comes near them stay on it.
    """
    growths = crowns.height.shape[1]
    for n in range(np.uint64(pairs)):
        plant, ray = np.uint64(bundle.what[n]), np.uint64(bundle.whose[n])
        k = runs.kind[plant]
        near, rays = bundle.pairs, bundle.rays
        across, along, foot = near[ACROSS + n], near[ALONG + n], near[FOOT + n]
        slope, per_slope, reach = rays[SLOPE + ray], rays[PER_SLOPE + ray], rays[REACH + ray]
        if max(foot - abs(slope) * crowns.widest[k], 0.0) >= crowns.nested_from[k]:
            continue
        cu, cv = _row_sides(plant, ray, bundle.rays, runs)
        to, may = (
            _place(n, bundle, runs, crowns, layers),
            np.uint64(told[_TWO * np.uint64(bundle.early[n])]),
        )
        for g in range(growths):
            shift = np.uint64(8 * g)
            early, until = (may >> shift) & _BYTE, (np.uint64(first[to]) >> shift) & _BYTE
            if early < until:
                masks[to, g] = add_years(
                    masks[to, g], np.int64(early), crowns.boxed[k], crowns, k, g, across, foot, slope, per_slope, -along, reach - along, cu, cv,
                )  # fmt: skip
        bundle.early[n] = bundle.late[n] = HEIGHT_CELLS


@inner()
def _note_firsts(start, count, years, light, first, masks, changes, keep, lanes):
    """Note the first years of one layer of nested crowns: closed from then on."""
    begin, every = np.uint64(start), (np.int64(1) << years) - 1
    for ray in range(np.uint64(count)):
        w, word = light[begin + ray], np.uint64(first[ray])
        w = w if w > 0.0 else 0.0
        for g in range(len(lanes)):
            changes[0, g, (word >> np.uint64(8 * g)) & _BYTE] -= w
    if keep:
        for ray in range(np.uint64(count)):
            word = np.uint64(first[ray])
            for g in range(len(lanes)):
                year = np.int64((word >> np.uint64(8 * g)) & _BYTE)
                masks[begin + ray, 0, g] = every & -(np.int64(1) << year)


@called()
def _note_masks(ray, place, w, years, first, seen, mask, masks, changes, keep):
    """Note the years of any crowns for one sight line."""
    every, (layers, growths) = (np.int64(1) << years) - 1, mask.shape
    for g in range(growths):
        blocked = np.int64(0)
        for layer in range(layers):
            to = place * layers + layer
            year = (np.uint64(first[to]) >> np.uint64(8 * g)) & _BYTE
            mine = mask[layer, g] | seen[to, g] | every & -(np.int64(1) << np.int64(year))
            blocked |= mine
            add_changes(blocked, w, years, changes[layer, g])
            if keep:
                masks[ray, layer, g] = mine


@njit(cache=True, error_model="numpy")
def _block_rays(begin, end, origin, target, light, runs, crowns, masks, changes, lanes):
    """Find the masks of some sight lines, and note the years in which their light changes.

    ``lanes`` has one item for each growth, so that loops over growths are compiled for their number.
    """
    growths, years, layers = len(lanes), crowns.height.shape[2], changes.shape[0]
    any_bent, keep = (crowns.nested_from > 0.0).any(), masks.shape[0] > 0
    any_other = crowns.boxed.any() or (crowns.made != SOLID).any()
    simple = layers == 1 and not any_bent
    told, form, bundle = (
        crowns.foretold.reshape(-1),
        crowns.form.reshape(-1),
        new_bundle(runs, crowns),
    )
    origins, targets, rays = origin.reshape(-1), target.reshape(-1), bundle.rays
    some, todo = np.empty(ROOM + 1, np.uint32), np.empty(ROOM * growths + 1, np.uint32)
    since, middles = np.empty(ROOM * growths + 1, np.uint32), np.empty(ROOM * growths, np.uint32)
    hits, untils = np.empty(ROOM * growths, np.uint64), np.empty(ROOM * growths, np.uint32)
    first, seen = np.empty(PART * layers, np.uint32), np.zeros((PART * layers, growths), np.int64)
    mask = np.zeros((layers, growths), np.int64)
    for start in range(begin, end, PART):
        count = min(PART, end - start)
        lay_bundle(start, count, origins, targets, light, runs, bundle)
        first[:] = years * 0x01010101
        if any_bent:
            seen[:] = 0
        ray = run = skip = 0
        while ray < count:
            ray, run, skip, pairs = come_near(ray, run, skip, count, runs, crowns, bundle)
            if any_bent:
                _add_bent(pairs, bundle, told, runs, crowns, layers, first, seen)
            left = foresee(pairs, bundle, runs, crowns, layers, told, first, some)
            items = list_open(
                left, some, bundle, runs, crowns, layers, told, first, todo, since, lanes
            )
            _decide(
                items,
                todo,
                since,
                middles,
                untils,
                hits,
                bundle,
                runs,
                crowns,
                form,
                layers,
                first,
                any_other,
            )
        if simple:
            _note_firsts(start, count, years, light, first, masks, changes, keep, lanes)
        for ray in range(count):
            upright, at = rays[REACH + np.uint64(ray)] < UPRIGHT_M, start + ray
            if (simple and not upright) or light[at] <= 0.0:
                continue
            mask[:] = 0
            if upright:
                oz, tz = origin[at, 2], target[at, 2]
                _block_upright(origin[at, 0], origin[at, 1], oz, tz - oz, runs, crowns, mask)
            _note_masks(at, ray, light[at], years, first, seen, mask, masks, changes, keep)


@njit(parallel=True, cache=True, error_model="numpy")
def _block_many(origin, target, light, runs, crowns, masks, changes, lanes):
    rays = origin.shape[0]
    for block in prange(changes.shape[0]):
        begin = block * BLOCK
        _block_rays(
            begin, min(begin + BLOCK, rays), origin, target, light, runs, crowns, masks,
            changes[block], lanes,
        )  # fmt: skip


def follow_years(
    origin, target, light, runs: Runs, crowns: CrownTable, *, keep: bool = True
) -> tuple[np.ndarray, np.ndarray]:
    """Sum the light that opaque crowns leave open, and find when each sight line is blocked.

    Parameters
    ----------
    origin, target : ndarray of float64, (rays, 3)
        Ends of the sight lines, in metres.
    light : ndarray of float64, (rays,)
        Share of each one's light that what exists lets through; those of 0 are not looked at.
    runs, crowns : Runs, CrownTable
        The plants, and how they grow.
    keep : bool
        Whether the masks are wanted.

    Returns
    -------
    passes : ndarray of float64, (growths, 2, years)
        Light by growth, season (summer, winter) and year, in rays.
    masks : ndarray of int64, (rays, layers, growths)
        Bit y is set if the sight line is blocked in year y by a plant of that layer
        (`CrownTable.leafless`); without rows if they are not wanted.
    """
    origin = np.ascontiguousarray(origin, np.float64)
    target = np.ascontiguousarray(target, np.float64)
    light = np.ascontiguousarray(light, np.float64)
    growths, years = crowns.height.shape[1:]
    layers, rays = max(len(crowns.leafless), 1), len(origin)
    masks = np.zeros((rays if keep else 0, layers, growths), np.int64)
    many, lanes = rays >= MANY_RAYS, (0,) * growths
    changes = np.zeros((-(-rays // BLOCK) if many else 1, layers, growths, years + 1))
    if len(runs.x) and many:
        _block_many(origin, target, light, runs, crowns, masks, changes, lanes)
    elif len(runs.x):
        _block_rays(0, rays, origin, target, light, runs, crowns, masks, changes[0], lanes)
    return light_of_changes(changes, light, crowns.leafless), masks


@njit(cache=True, error_model="numpy")
def _block_parts(parts, origin, target, light, runs, crowns, masks, changes, lanes):
    for part in range(len(parts)):
        begin, end, first, last = parts[part, 0], parts[part, 1], parts[part, 2], parts[part, 3]
        if last > first:
            own = runs_between(runs, first, last)
            _block_rays(begin, end, origin, target, light, own, crowns, masks, changes, lanes)


def block_parts(parts, origin, target, light, runs: Runs, crowns: CrownTable) -> np.ndarray:
    """Find when sight lines are blocked by runs of their own.

    Parameters
    ----------
    parts : ndarray of int, (parts, 4)
        The first of some sight lines, the one after their last, and likewise the runs that stand in their way.
    origin, target, light, runs, crowns
        As in `follow_years`.

    Returns
    -------
    ndarray of int64, (rays, layers, growths)
        The masks of `follow_years`.
    """
    growths, years = crowns.height.shape[1:]
    layers = max(len(crowns.leafless), 1)
    masks = np.zeros((len(origin), layers, growths), np.int64)
    rays = (np.ascontiguousarray(part, np.float64) for part in (origin, target, light))
    _block_parts(  # type: ignore[call-arg]  # so many as it takes
        np.ascontiguousarray(parts, np.int64), *rays, runs, crowns, masks,
        np.zeros((layers, growths, years + 1)), (0,) * growths,
    )  # fmt: skip
    return masks


def blocked_years(origin, target, runs: Runs, crowns: CrownTable, wanted=None) -> np.ndarray:
    """Find the years in which each sight line is blocked by a crown.

    Parameters
    ----------
    origin, target, runs, crowns
        As in `follow_years`.
    wanted : ndarray of bool, (rays,), optional
        Sight lines to look at; the others get empty masks.

    Returns
    -------
    ndarray of int64, (rays, layers, growths)
        The masks of `follow_years`.
    """
    light = np.ones(len(origin)) if wanted is None else np.asarray(wanted, np.float64)
    return follow_years(origin, target, light, runs, crowns)[1]
