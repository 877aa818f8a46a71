"""Light through leaves: what passes the crowns of the rows in each year, by Beer and Lambert.

A sight line that runs l metres through leaves lets the share exp(-k l) of its light pass. The
extinction coefficient k is G times the leaf area in a cubic metre of crown, and G = 1/2 for leaves
that face every way alike (the mean over a sphere of |cos|). Leaves are taken as small, spread
evenly, and opaque.

Where crowns have grown into each other the stretch counts once, with the extinction coefficient of
the crown whose stem the sight line passes first: two plants that share a space share its light, and
do not fill it twice. Crowns are taken in the order of their stems along the sight line, and each year keeps the
last two groups of crowns that touch. A crown that reaches back over both is counted short by what
lies before them: light is then rated too high, never too low. Of equal crowns in one row none does.

Years are worked on side by side in the vector units (`screenplan.views.chords`). The years before
one that the tables foretell are left out, since the crown is missed in them; those after the last
change of any crown in the way are as that one, and are counted with it.
"""

from __future__ import annotations

import numpy as np
from numba import njit, prange

from screenplan.views.bundle import (
    ACROSS,
    ALONG,
    FOOT,
    FROM_X,
    FROM_Y,
    FROM_Z,
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
from screenplan.views.chords import (
    DARK,
    FAR_M,
    LEVEL,
    any_stretches,
    box_stretches,
    join,
    one_crown,
    passed,
    round_stretches,
    stacked_stretches,
    two_crowns,
)
from screenplan.views.compiled import FAST, MANY_RAYS, called, inner
from screenplan.views.crowns import LANES, CrownTable
from screenplan.views.light import by_season
from screenplan.views.runs import UPRIGHT_M, Runs
from screenplan.views.solids import FORM, SOLID

__all__ = ("DARK", "LEAF_PROJECTION", "light_through", "passed")

#: Mean of |cos| between sight lines and leaves that face every way alike.
LEAF_PROJECTION = 0.5
#: Rays that are followed at a time by one core.
BLOCK = 2048
#: A sight line that rises more than this per metre is followed by its own share of the way.
STEEP = 20.0
#: Cones nearly as steep as the sight line are worked out year by year.
STEEP_CONE = 0.99
_BYTE = np.uint64(0x7F)
_TOPS = np.uint64(0x80808080)
_TWO = np.uint64(2)


@called(fastmath=FAST)
def _begin(year, years, enter, leave, start, end, before, coefficient, depth):
    """Set each year's depth to that of the first crown."""
    for y in range(np.uint64(year)):
        depth[y], start[y], end[y], before[y] = 0.0, -FAR_M, -FAR_M, -FAR_M
    for y in range(np.uint64(year), np.uint64(years)):
        a, b = enter[y], leave[y]
        there = a < b
        depth[y] = coefficient * (b - a) if there else 0.0
        start[y], end[y] = (a if there else -FAR_M), (b if there else -FAR_M)
        before[y] = -FAR_M


@called(fastmath=FAST)
def _join(year, years, enter, leave, start, end, before, coefficient, depth):
    """Add to each year's depth what one more crown fills that none before it fills."""
    for y in range(np.uint64(year), np.uint64(years)):
        more, start[y], end[y], before[y] = join(enter[y], leave[y], start[y], end[y], before[y])
        depth[y] += coefficient * more


@called(fastmath=FAST)
def _take(year, stop, w, depth, to, loss):
    """Add what is lost of a sight line's light in some years."""
    for y in range(np.uint64(year), np.uint64(stop)):
        loss[to + y] += w * (1.0 - passed(depth[y]))


@inner()
def _keep_near(listed, kept, bundle, told, never, whose, plant, near, word):
    """Keep the pairs of which some growth may meet: how many there are then."""
    at, size = bundle.pairs, np.uint64(len(whose))
    for n in range(np.uint64(listed)):
        to, years = np.uint64(kept), np.uint64(told[_TWO * np.uint64(bundle.early[n])])
        whose[to], plant[to], word[to] = bundle.whose[n], bundle.what[n], years
        near[to], near[size + to] = at[ACROSS + n], at[ALONG + n]
        near[_TWO * size + to] = at[FOOT + n]
        # Written in any case, counted if some year is left: no branch to guess.
        kept += ((years | _TOPS) - never) & _TOPS != _TOPS
    return kept


@inner()
def _sort(begin, end, along, order):
    """Put some pairs in the order in which their stems are passed."""
    for n in range(begin, end):
        place = n - begin
        while place > 0 and along[order[place - 1]] > along[n]:
            order[place] = order[place - 1]
            place -= 1
        order[place] = n


@inner()
def _stop_after(year, lanes):
    """Give the end of the vector that holds a year."""
    return min((year // LANES + 1) * LANES, lanes)


@inner()
def _mark(year, stop, years, depth, dim_depth):
    """Mask of the years in which a depth is reached; those from a stop on are as the one before."""
    mask = np.int64(0)
    for y in range(year, min(stop, years)):
        mask |= np.int64(depth[y] >= dim_depth) << y
    if stop < years and depth[stop - 1] >= dim_depth:
        mask |= (np.int64(1) << years) - (np.int64(1) << stop)
    return mask


@inner()
def _few_crowns(
    count, i, j, whose, near, word, k, l, rays, extinction, settled, years, lanes, form, w,  # noqa: E741
    dim_depth, depth, loss, rest, marks,
):  # fmt: skip
    """Follow a sight line through one round crown or two of one layer."""
    growths, size, step = extinction.shape[1], len(whose), np.uint64(lanes)
    ray = np.uint64(whose[i])
    slope, per_slope, reach = rays[SLOPE + ray], rays[PER_SLOPE + ray], rays[REACH + ray]
    if abs(slope) < LEVEL:
        slope, per_slope = LEVEL, 1.0 / LEVEL
    metres = np.sqrt(1.0 + slope * slope)
    across, along, foot = near[i], near[size + i], near[2 * size + i]
    across2, along2, foot2 = near[j], near[size + j], near[2 * size + j]
    for g in range(growths):
        year = np.int64((np.uint64(word[i]) >> np.uint64(8 * g)) & _BYTE)
        year2 = np.int64((np.uint64(word[j]) >> np.uint64(8 * g)) & _BYTE)
        if min(year, year2) >= years:
            continue
        to, at, at2 = (
            np.uint64(g * lanes),
            np.uint64((k * growths + g) * FORM * lanes),
            np.uint64((l * growths + g) * FORM * lanes),
        )
        begin = min(year, year2) // LANES * LANES
        coefficient, coefficient2 = extinction[k, g] * metres, extinction[l, g] * metres
        if count == 2 and year < years and year2 < years:
            stop = _stop_after(max(settled[k, g], settled[l, g]), lanes)
            two_crowns(
                form, at, step, begin, stop, across, along, foot, slope, per_slope, reach, coefficient,
                at2, across2, along2, foot2, coefficient2, w, to, depth, loss,
            )  # fmt: skip
        elif year < years:
            stop = _stop_after(settled[k, g], lanes)
            one_crown(
                form, at, step, begin, stop, across, foot, slope, per_slope, -along, reach - along,
                coefficient, w, to, depth, loss,
            )  # fmt: skip
        else:
            stop = _stop_after(settled[l, g], lanes)
            one_crown(
                form, at2, step, begin, stop, across2, foot2, slope, per_slope, -along2,
                reach - along2, coefficient2, w, to, depth, loss,
            )  # fmt: skip
        if stop < lanes:
            rest[0, g, stop // LANES] += w * (1.0 - passed(depth[stop - 1]))
        if len(marks):
            marks[g] = _mark(begin, stop, years, depth, dim_depth)


@called()
def _many_crowns(
    count, order, whose, plant, near, word, bundle, runs, crowns, form, w, dim_depth, work, earliest,
    loss, rest, marks,
):  # fmt: skip
    """Follow a sight line through any crowns: the stretch of each, joined to those before it."""
    growths, years, lanes = crowns.form.shape[1], crowns.height.shape[2], crowns.form.shape[3]
    layers, size, step = rest.shape[0], len(whose), np.uint64(lanes)
    depth, start, end, before = work[0], work[1], work[2], work[3]
    enter, leave = work[4, 0], work[5, 0]
    ray = np.uint64(whose[order[0]])
    ux, uy, reach = bundle.rays[WAY_X + ray], bundle.rays[WAY_Y + ray], bundle.rays[REACH + ray]
    slope, per_slope = bundle.rays[SLOPE + ray], bundle.rays[PER_SLOPE + ray]
    if abs(slope) < LEVEL:
        slope, per_slope = LEVEL, 1.0 / LEVEL
    upright = reach < UPRIGHT_M
    steep = upright or abs(slope) > STEEP
    far = 1.0 if upright else reach
    dx, dy, dz = ux * far, uy * far, slope * far
    # Steep ones are followed by shares of the way, the others by metres in plan.
    scale = 1.0 if steep else reach
    metres = np.sqrt(dx * dx + dy * dy + dz * dz) if steep else np.sqrt(1.0 + slope * slope)
    for g in range(growths):
        earliest[:] = lanes
        last = 0
        for number in range(count):
            k = runs.kind[plant[order[number]]]
            if np.int64((np.uint64(word[order[number]]) >> np.uint64(8 * g)) & _BYTE) < years:
                last = max(last, crowns.settled[k, g])
        stop = _stop_after(last, lanes)
        for number in range(count):
            i = order[number]
            year = np.int64((np.uint64(word[i]) >> np.uint64(8 * g)) & _BYTE)
            if year >= years:
                continue
            year = year // LANES * LANES
            k, across, along, foot = (
                runs.kind[plant[i]],
                near[i],
                near[size + i],
                near[2 * size + i],
            )
            boxed, layer, at = (
                crowns.boxed[k],
                crowns.layer[k],
                np.uint64((k * growths + g) * FORM * lanes),
            )
            row_x, row_y = runs.way[plant[i], 0], runs.way[plant[i], 1]
            if steep or crowns.sides[k] * slope * slope > STEEP_CONE:
                year = 0  # type: ignore[assignment]  # numba makes one integer of both
                px = bundle.rays[FROM_X + ray] - runs.x[plant[i]]
                py = bundle.rays[FROM_Y + ray] - runs.y[plant[i]]
                pz = bundle.rays[FROM_Z + ray] - runs.z[plant[i]]
                any_stretches(
                    boxed, crowns, k, g, min(stop, years), px, py, pz, dx, dy, dz,
                    runs.way[plant[i]], scale, enter, leave,
                )  # fmt: skip
            elif boxed:
                box_stretches(
                    form, at, step, year, stop, across, along, foot, per_slope, reach,
                    ux * row_x + uy * row_y, uy * row_x - ux * row_y, enter, leave,
                )  # fmt: skip
            elif crowns.made[k, g] != SOLID:
                stacked_stretches(
                    form, at, step, crowns, k, g, year, stop, across, along, foot, slope, per_slope,
                    reach, enter, leave,
                )  # fmt: skip
            else:
                round_stretches(
                    form, at, step, year, stop, across, along, foot, slope, per_slope, reach,
                    enter, leave,
                )  # fmt: skip
            coefficient = crowns.extinction[k, g] * metres
            for upto in range(layer, layers):
                if earliest[upto] == lanes:
                    _begin(
                        year, stop, enter, leave, start[upto], end[upto], before[upto], coefficient,
                        depth[upto],
                    )  # fmt: skip
                else:
                    _join(
                        year, stop, enter, leave, start[upto], end[upto], before[upto], coefficient,
                        depth[upto],
                    )  # fmt: skip
                earliest[upto] = min(earliest[upto], year)
        for layer in range(layers):
            if earliest[layer] < lanes:
                to = np.uint64((layer * growths + g) * lanes)
                _take(earliest[layer], stop, w, depth[layer], to, loss)
                if stop < lanes:
                    rest[layer, g, stop // LANES] += w * (1.0 - passed(depth[layer, stop - 1]))
        if len(marks) and earliest[layers - 1] < lanes:
            marks[g] = _mark(earliest[layers - 1], stop, years, depth[layers - 1], dim_depth)


@njit(cache=True, error_model="numpy")
def _dim_rays(begin, end_ray, origin, target, light, runs, crowns, dim_depth, loss, masks):
    """Sum the light that some sight lines lose, by layer, growth and year; mark where they dim."""
    growths, years = crowns.height.shape[1], crowns.height.shape[2]
    layers, lanes, plants = loss.shape[0], loss.shape[2], len(runs.x)
    told, form, lost = crowns.foretold.reshape(-1), crowns.form.reshape(-1), loss.reshape(-1)
    origins, targets, bundle = origin.reshape(-1), target.reshape(-1), new_bundle(runs, crowns)
    room = ROOM + plants + 1
    whose, plant, word = (
        np.empty(room, np.uint32),
        np.empty(room, np.uint32),
        np.empty(room, np.uint32),
    )
    near, order = np.empty(3 * room), np.empty(plants, np.int64)
    work, rest = np.zeros((6, layers, lanes)), np.zeros((layers, growths, lanes // LANES + 1))
    marks, never = (
        np.zeros(growths if masks.shape[0] else 0, np.int64),
        np.uint64(years * 0x01010101),
    )
    rays, depth, kind, steepest_of = bundle.rays, work[0, 0], runs.kind, crowns.sides
    extinction, settled = crowns.extinction, crowns.settled
    along, earliest = near[room : 2 * room], np.empty(layers, np.int64)
    one_layer = layers == 1 and not crowns.boxed.any() and (crowns.made == SOLID).all()
    for first in range(begin, end_ray, PART):
        count = min(PART, end_ray - first)
        lay_bundle(first, count, origins, targets, light, runs, bundle)
        ray = run = skip = kept = 0
        while ray < count:
            ray, run, skip, listed = come_near(ray, run, skip, count, runs, crowns, bundle)
            kept = _keep_near(listed, kept, bundle, told, never, whose, plant, near, word)
            # Sight lines before the next one are complete.
            done = 0
            while done < kept and whose[done] < ray:
                end = done + 1
                while end < kept and whose[end] == whose[done]:
                    end += 1
                for g in range(len(marks)):
                    marks[g] = 0
                at = first + np.int64(whose[done])
                _sort(done, end, along, order)
                i, j = order[0], order[end - done - 1]
                k, l = kind[plant[i]], kind[plant[j]]  # noqa: E741
                slope = rays[SLOPE + np.uint64(whose[i])]
                steepest = max(steepest_of[k], steepest_of[l]) * slope * slope
                if one_layer & (end - done < 3) & (abs(slope) <= STEEP) & (steepest < STEEP_CONE):
                    _few_crowns(
                        end - done, i, j, whose, near, word, k, l, rays, extinction, settled, years,
                        lanes, form, light[at], dim_depth, depth, lost, rest, marks,
                    )  # fmt: skip
                else:
                    _many_crowns(
                        end - done, order, whose, plant, near, word, bundle, runs, crowns, form,
                        light[at], dim_depth, work, earliest, lost, rest, marks,
                    )  # fmt: skip
                for g in range(len(marks)):
                    masks[at, g] = marks[g]
                done = end
            for n in range(done, kept):
                to = n - done
                whose[to], plant[to], word[to] = whose[n], plant[n], word[n]
                for part in range(3):
                    near[part * room + to] = near[part * room + n]
            kept -= done
        for ray in range(count):
            if bundle.rays[REACH + np.uint64(ray)] >= UPRIGHT_M or light[first + ray] <= 0.0:
                continue
            x, y = bundle.rays[FROM_X + np.uint64(ray)], bundle.rays[FROM_Y + np.uint64(ray)]
            kept = 0
            for number in range(plants):
                px, py = runs.x[number] - x, runs.y[number] - y
                if np.sqrt(px * px + py * py) < crowns.widest[runs.kind[number]]:
                    whose[kept], plant[kept], word[kept], order[kept] = ray, number, 0, kept
                    kept += 1
            for g in range(len(marks)):
                marks[g] = 0
            if kept:
                _many_crowns(
                    kept, order, whose, plant, near, word, bundle, runs, crowns, form,
                    light[first + ray], dim_depth, work, earliest, lost, rest, marks,
                )  # fmt: skip
            for g in range(len(marks)):
                masks[first + ray, g] = marks[g]
    for layer in range(layers):
        for g in range(growths):
            more = 0.0
            for y in range(lanes):
                if y % LANES == 0:
                    more += rest[layer, g, y // LANES]
                loss[layer, g, y] += more


@njit(parallel=True, cache=True, error_model="numpy")
def _dim_many(origin, target, light, runs, crowns, dim_depth, loss, masks):
    rays = origin.shape[0]
    for block in prange(loss.shape[0]):
        begin = block * BLOCK
        _dim_rays(
            begin, min(begin + BLOCK, rays), origin, target, light, runs, crowns, dim_depth,
            loss[block], masks,
        )  # fmt: skip


def light_through(
    origin, target, light, runs: Runs, crowns: CrownTable, *, dim: float | None = None
):
    """Sum the light that passes the leaves of the rows, by growth, season and year.

    Parameters
    ----------
    origin, target : ndarray of float64, (rays, 3)
        Ends of the sight lines, in metres.
    light : ndarray of float64, (rays,)
        Share of each one's light that what exists lets through.
    runs, crowns : Runs, CrownTable
        The plants, how they grow, and how their leaves dim the light (`CrownTable.extinction`).
    dim : float, optional
        Mark the years in which at most this share of a sight line's light passes the leaves.

    Returns
    -------
    passes : ndarray of float64, (growths, 2, years)
        Light by growth, season (summer, winter) and year, in rays. The winter light is that of
        `screenplan.views.light`: it is the same as with opaque crowns when leaves are dense.
    masks : ndarray of int64, (rays, 1, growths)
        Bit y is set in the years that ``dim`` asks for, in leaf; no rows without ``dim``.
    """
    origin = np.ascontiguousarray(origin, np.float64)
    target = np.ascontiguousarray(target, np.float64)
    light = np.ascontiguousarray(light, np.float64)
    growths, years = crowns.height.shape[1:]
    layers = max(len(crowns.leafless), 1)
    masks = np.zeros((len(origin) if dim is not None else 0, growths), np.int64)
    dim_depth = -np.log(dim) if dim else (DARK if dim is not None else 0.0)
    loss = np.zeros((max(-(-len(origin) // BLOCK), 1), layers, growths, crowns.form.shape[3]))
    if len(runs.x) and len(origin):
        if len(origin) >= MANY_RAYS:
            _dim_many(origin, target, light, runs, crowns, dim_depth, loss, masks)
        else:
            _dim_rays(
                0, len(origin), origin, target, light, runs, crowns, dim_depth, loss[0], masks
            )
    every = light.sum()
    passes = every - loss.sum(axis=0)[..., :years]
    return by_season(passes, every, crowns.leafless), masks[:, None, :]
