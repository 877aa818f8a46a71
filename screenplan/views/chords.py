"""Light that leaves take along chords through crowns, year by year, in the vector units.

The years of one crown lie side by side (`CrownTable.form`, here flat: ``at`` is where the crown
begins, ``lanes`` the step from one of its numbers to the next), so a loop over years without a branch
works on several at a time. A sight line through one crown or two, as most are, is worked out in one
such loop; more crowns take the stretches of each, and join them.
"""

from __future__ import annotations

import numpy as np

from screenplan.ground.crown_shapes import PIECES
from screenplan.views.compiled import FAST, called, inner
from screenplan.views.crowns import LANES
from screenplan.views.runs import UPRIGHT_M
from screenplan.views.solids import (
    IN_ALL,
    LEVEL_PER,
    SOLID,
    box_stretch,
    form_at,
    form_stretch,
    piece_stretch,
    stacked_stretch,
    stacked_upright,
)

#: Level lines are taken to rise by this per metre, which moves them by less than rounding shows.
LEVEL = 1e-12
#: Farther along than any sight line, in metres.
FAR_M = 1e30
#: Optical depth beyond which nothing is left to see: exp(-40) is 4e-18.
DARK = 40.0
#: The pieces of a stacked crown from here on are its lower half.
HALF = PIECES // 2
#: Slack of a height by which pieces of a stacked crown are left out: rounding only.
HEIGHT_SLACK_M = 1e-6
_TWO, _THREE, _FOUR = (np.uint64(number) for number in range(2, 5))


@inner(fastmath=FAST)
def passed(depth):
    """Give exp(-depth) for depths of 0 or more, to 1e-13, without a branch.

    The Taylor sum of degree 7 at depth / 64, squared six times: the first term left out is
    (depth / 64)^8 / 8!, and 64 times that, times exp(-depth), is greatest at a depth of 8: 3e-14.
    Its terms are summed by halves, so that they need not wait for each other.
    """
    u = (depth if depth < DARK else DARK) * (-1.0 / 64.0)
    u2 = u * u
    low = (1.0 + u) + u2 * (1.0 / 2.0 + u * (1.0 / 6.0))
    high = (1.0 / 24.0 + u * (1.0 / 120.0)) + u2 * (1.0 / 720.0 + u * (1.0 / 5040.0))
    x = low + (u2 * u2) * high
    x *= x
    x *= x
    x *= x
    x *= x
    x *= x
    return x * x


@inner(fastmath=FAST)
def _chord(h, c, f, l, n, across, foot, slope, per_slope, s0, s1):  # noqa: E741
    """Stretch of a sight line inside one round crown, from where the stem is passed.

    A s^2 + 2 B s + C < 0 holds between the roots, as in `screenplan.views.solids`, with A > 0. Where
    there is none it ends long before it begins.
    """
    w = foot - h
    fw = f * w
    A, B, C = 1.0 + f * slope * slope, (fw + l) * slope, across * across + (fw + 2.0 * l) * w + n
    disc = B * B - A * C
    root, per = np.sqrt(disc if disc > 0.0 else 0.0), 1.0 / A
    one, two = (c - foot) * per_slope, (h - foot) * per_slope
    low, high = (one, two) if one < two else (two, one)
    one, two = (-B - root) * per, (root - B) * per
    low = one if one > low else low
    low = s0 if s0 > low else low
    high = two if two < high else high
    high = s1 if s1 < high else high
    return low, (high if disc > 0.0 else -FAR_M)


@inner(fastmath=FAST)
def one_crown(form, at, lanes, year, stop, across, foot, slope, per_slope, s0, s1, coefficient, w, to, depth, loss):  # fmt: skip
    """Add what is lost of a sight line's light in one round crown."""
    for y in range(np.uint64(year), np.uint64(stop)):
        i = at + y
        low, high = _chord(
            form[i], form[i + lanes], form[i + lanes * _TWO], form[i + lanes * _THREE],
            form[i + lanes * _FOUR],
            across, foot, slope, per_slope, s0, s1,
        )  # fmt: skip
        deep = high - low
        deep = coefficient * (deep if deep > 0.0 else 0.0)
        depth[y] = deep
        loss[to + y] += w * (1.0 - passed(deep))


@inner(fastmath=FAST)
def two_crowns(
    form, at, lanes, year, stop, across, along, foot, slope, per_slope, reach, coefficient,
    at2, across2, along2, foot2, coefficient2, w, to, depth, loss,
):  # fmt: skip
    """Add what is lost in two round crowns, the first of which fills what both share."""
    for y in range(np.uint64(year), np.uint64(stop)):
        i, j = at + y, at2 + y
        a, b = _chord(
            form[i], form[i + lanes], form[i + lanes * _TWO], form[i + lanes * _THREE],
            form[i + lanes * _FOUR],
            across, foot, slope, per_slope, -along, reach - along,
        )  # fmt: skip
        c, d = _chord(
            form[j], form[j + lanes], form[j + lanes * _TWO], form[j + lanes * _THREE],
            form[j + lanes * _FOUR],
            across2, foot2, slope, per_slope, -along2, reach - along2,
        )  # fmt: skip
        there = a < b
        a, b = (a + along if there else -FAR_M), (b + along if there else -FAR_M)
        c, d = c + along2, d + along2
        before, after = (d if d < a else a) - c, d - (c if c > b else b)
        deep = coefficient2 * ((before if before > 0.0 else 0.0) + (after if after > 0.0 else 0.0))
        deep += coefficient * (b - a)
        depth[y] = deep
        loss[to + y] += w * (1.0 - passed(deep))


@called(fastmath=FAST)
def round_stretches(
    form, at, lanes, year, stop, across, along, foot, slope, per_slope, reach, enter, leave
):
    """Stretches of a sight line inside one round crown from a year on, as distances from its start."""
    for y in range(np.uint64(year), np.uint64(stop)):
        i = at + y
        low, high = _chord(
            form[i], form[i + lanes], form[i + lanes * _TWO], form[i + lanes * _THREE],
            form[i + lanes * _FOUR],
            across, foot, slope, per_slope, -along, reach - along,
        )  # fmt: skip
        enter[y], leave[y] = low + along, high + along


@inner(fastmath=FAST)
def _through_pieces(
    form, at, lanes, pieces, in_all, upper, year, stop, across, along, foot, slope, per_slope, reach,
    enter, leave,
):  # fmt: skip
    """Stretches inside a stacked crown from a year on; without ``upper`` by the lower half of its pieces.

    The loops over the pieces have a known length, so that they are unrolled and years stand side by side.
    """
    across2, s0, s1 = across * across, -along, reach - along
    for y in range(np.uint64(year), np.uint64(stop)):
        j = at + y
        h, c, n = form[j], form[j + lanes], form[j + lanes * _FOUR]
        two_l, w = 2.0 * form[j + lanes * _THREE], foot - h
        half_l, two_lw = 0.5 * two_l * slope, two_l * w
        low, high = (-FAR_M, FAR_M) if in_all else (FAR_M, -FAR_M)
        if upper:
            for i in range(HALF):
                a, b = pieces[0, i], pieces[1, i]
                low, high = piece_stretch(
                    half_l * b, across2 + two_lw * b + n * a, low, high, in_all
                )
        for i in range(HALF, PIECES):
            a, b = pieces[0, i], pieces[1, i]
            low, high = piece_stretch(half_l * b, across2 + two_lw * b + n * a, low, high, in_all)
        one, two = (c - foot) * per_slope, (h - foot) * per_slope
        first, last = (one, two) if one < two else (two, one)
        low = first if first > low else low
        low = s0 if s0 > low else low
        high = last if last < high else high
        high = s1 if s1 < high else high
        enter[y], leave[y] = low + along, high + along


@called(fastmath=FAST)
def stacked_stretches(
    form, at, lanes, crowns, k, g, year, stop, across, along, foot, slope, per_slope, reach, enter,
    leave,
):  # fmt: skip
    """Do the same for a stacked crown.

    What lies above a height is a share of the crown that never falls while it rises: so from some year
    on a sight line can meet the lower half of its pieces only.
    """
    pieces, in_all = crowns.pieces[k, g], crowns.made[k, g] == IN_ALL
    middle, years = stop, crowns.height.shape[2]
    if crowns.rises[k, g]:
        side = crowns.widest[k] * crowns.widest[k] - across * across
        top = foot + abs(slope) * np.sqrt(side if side > 0.0 else 0.0) + HEIGHT_SLACK_M
        share = crowns.knots[k, g, HALF]
        middle = year
        while middle < stop:
            i = at + np.uint64(min(middle, years - 1))
            if form[i] - (form[i] - form[i + lanes]) * share >= top:
                break
            middle += LANES
        middle = min(middle, stop)
    if in_all:
        _through_pieces(
            form, at, lanes, pieces, True, True, year, middle, across, along, foot, slope, per_slope,
            reach, enter, leave,
        )  # fmt: skip
        _through_pieces(
            form, at, lanes, pieces, True, False, middle, stop, across, along, foot, slope, per_slope,
            reach, enter, leave,
        )  # fmt: skip
    else:
        _through_pieces(
            form, at, lanes, pieces, False, True, year, stop, across, along, foot, slope, per_slope,
            reach, enter, leave,
        )  # fmt: skip


@called(fastmath=FAST)
def box_stretches(
    form, at, lanes, year, stop, across, along, foot, per_slope, reach, cu, cv, enter, leave
):
    """Do the same for one box: between three pairs of faces."""
    per_u = 1.0 / (cu if abs(cu) > LEVEL else LEVEL)
    per_v = 1.0 / (cv if abs(cv) > LEVEL else LEVEL)
    x, y0 = -across * cv * per_u, across * cu * per_v
    s0, s1 = -along, reach - along
    for y in range(np.uint64(year), np.uint64(stop)):
        i = at + y
        h, c, rr, q = form[i], form[i + lanes], form[i + lanes * _TWO], form[i + lanes * _THREE]
        one, two = (c - foot) * per_slope, (h - foot) * per_slope
        low, high = (one, two) if per_slope > 0.0 else (two, one)
        half_u, half_v = rr * abs(per_u), q * abs(per_v)
        low = -half_u - x if -half_u - x > low else low
        high = half_u - x if half_u - x < high else high
        low = -half_v - y0 if -half_v - y0 > low else low
        high = half_v - y0 if half_v - y0 < high else high
        low = s0 if s0 > low else low
        high = s1 if s1 < high else high
        high = high if h > c else -FAR_M
        enter[y], leave[y] = low + along, high + along


@inner(fastmath=FAST)
def join(a, b, low, high, apart_at):
    """Join the stretch of one more crown to those before it, in the order of their stems.

    Parameters
    ----------
    a, b : float
        Where it begins and ends; none if it ends before it begins.
    low, high, apart_at : float
        Begin and end of the last group of crowns that touch, and the end of the group before it;
        -FAR_M where there is none.

    Returns
    -------
    more : float
        Length that it fills and none before it does.
    low, high, apart_at : float
        The same of the groups that there are then.
    """
    below = (b if b < low else low) - (a if a > apart_at else apart_at)
    above = b - (a if a > high else high)
    more = (below if below > 0.0 else 0.0) + (above if above > 0.0 else 0.0)
    there, apart = a < b, a >= high
    back = a if a > apart_at else apart_at
    low_new = a if apart else (back if back < low else low)
    high_new = b if b > high else high
    apart_new = high if apart else apart_at
    low, high = (low_new if there else low), (high_new if there else high)
    return more, low, high, (apart_new if there else apart_at)


@called()
def any_stretch(boxed, crowns, k, g, y, px, py, pz, dx, dy, dz, way):
    """Stretch of any sight line, upright ones too, inside one crown: shares of its way, or (1, 0).

    ``px`` to ``pz`` is its start as seen from the foot of the stem, ``way`` the direction of the row.
    """
    size = form_at(crowns.form, k, g, y)
    if boxed:
        return box_stretch(
            px * way[0] + py * way[1], py * way[0] - px * way[1], pz,
            dx * way[0] + dy * way[1], dy * way[0] - dx * way[1], dz, 0.0, 1.0, *size[:4],
        )  # fmt: skip
    if crowns.made[k, g] != SOLID:
        return _any_stacked(crowns, k, g, size, px, py, pz, dx, dy, dz)
    return form_stretch(dx * dx + dy * dy, px * dx + py * dy, px * px + py * py, pz, dz, *size)


@called()
def _any_stacked(crowns, k, g, size, px, py, pz, dx, dy, dz):
    """Stretch of any sight line inside a stacked crown: shares of its way, or (1, 0)."""
    h, c, _, l, n = size  # noqa: E741
    pieces, in_all = crowns.pieces[k, g], crowns.made[k, g] == IN_ALL
    reach = np.sqrt(dx * dx + dy * dy)
    if reach < UPRIGHT_M:
        return stacked_upright(px * px + py * py, pz, dz, h, c, l, n, pieces, in_all)
    per = 1.0 / reach
    slope, along, across = dz * per, -(px * dx + py * dy) * per, (px * dy - py * dx) * per
    per_slope = 1.0 / slope if slope != 0.0 else LEVEL_PER
    low, high = stacked_stretch(
        across * across, pz + along * slope, slope, per_slope, -along, reach - along, h, c, l, n,
        pieces, in_all,
    )  # fmt: skip
    return ((low + along) * per, (high + along) * per) if low < high else (1.0, 0.0)


@called()
def any_stretches(boxed, crowns, k, g, years, px, py, pz, dx, dy, dz, way, scale, enter, leave):
    """Do the same year by year, as lengths for a way of the length ``scale``."""
    for y in range(years):
        low, high = any_stretch(boxed, crowns, k, g, y, px, py, pz, dx, dy, dz, way)
        if not low < high:
            low, high = 0.0, -FAR_M
        enter[y], leave[y] = low * scale, high * scale
