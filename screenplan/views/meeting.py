"""Compiled tests of one sight line against one growing crown: in one year, or through the years.

Along a sight line distances count in plan, from its start or from where the stem is passed; it
rises by ``slope`` per metre. The crown is at ``across`` to the side, and the sight line passes its
stem at ``foot`` above the stem's foot.
"""

from __future__ import annotations

import numpy as np

from screenplan.views.compiled import called, inner
from screenplan.views.solids import (
    IN_ALL,
    LEVEL_PER,
    SOLID,
    box_stretch,
    form_at,
    form_hit,
    stacked_stretch,
    stacked_upright,
)


@inner()
def meets(boxed, crowns, k, g, y, across, foot, slope, per_slope, s0, s1, cu, cv):
    """Tell whether a sight line meets one crown.

    Parameters
    ----------
    boxed : bool
        Whether the crown is a box.
    crowns, k, g, y
        The crowns, and the class, growth and year.
    across : float
        Distance in plan at which the stem is passed; it lies to the left if negative.
    foot : float
        Height there above the foot of the stem.
    slope, per_slope : float
        Rise per metre in plan, and 1 / slope (`LEVEL_PER` for a level one).
    s0, s1 : float
        Start and end of the sight line, from where it passes the stem.
    cu, cv : float
        Its direction in plan, along and across the row (for boxes).
    """
    size = form_at(crowns.form, k, g, y)
    if boxed:
        one, two = box_stretch(-across * cv, across * cu, foot, cu, cv, slope, s0, s1, *size[:4])
        return one < two
    if crowns.made[k, g] != SOLID:
        h, c, _, l, n = size  # noqa: E741
        one, two = stacked_stretch(
            across * across, foot, slope, per_slope, s0, s1, h, c, l, n, crowns.pieces[k, g],
            crowns.made[k, g] == IN_ALL,
        )  # fmt: skip
        return one < two
    return form_hit(1.0, 0.0, across * across, foot, slope, per_slope, s0, s1, *size)


@called()
def meets_upright(boxed, crowns, k, g, y, px, py, pz, dz, row_x, row_y):
    """Tell whether an upright sight line of rise ``dz`` meets one crown, seen from its foot."""
    size = form_at(crowns.form, k, g, y)
    if boxed:
        along, aside = px * row_x + py * row_y, py * row_x - px * row_y
        one, two = box_stretch(along, aside, pz, 0.0, 0.0, dz, 0.0, 1.0, *size[:4])
        return one < two
    e = px * px + py * py
    if crowns.made[k, g] != SOLID:
        h, c, _, l, n = size  # noqa: E741
        in_all = crowns.made[k, g] == IN_ALL
        one, two = stacked_upright(e, pz, dz, h, c, l, n, crowns.pieces[k, g], in_all)
        return one < two
    per_dz = 1.0 / dz if dz != 0.0 else LEVEL_PER
    return form_hit(0.0, 0.0, e, pz, dz, per_dz, 0.0, 1.0, *size)


@called()
def highest_bit(mask):
    """Find the highest set bit of a positive mask."""
    bit = 0
    for step in (32, 16, 8, 4, 2, 1):
        if mask >> step:
            mask >>= step
            bit += step
    return bit


@called()
def add_years(
    mask, early, boxed, crowns, k, g, across, foot, slope, per_slope, s0, s1, cu, cv
):  # fmt: skip
    """Add to a mask the years, from an early one on, in which a crown that is not nested stops it."""
    later = -(np.int64(1) << early)
    for spell in range(crowns.nested.shape[2]):
        years = crowns.nested[k, g, spell]
        if years == 0:
            break
        rest = years & ~mask & later
        if rest == 0:
            continue
        # Crowns are nested within a piece: one that is not met in the last year still open is met
        # in no year before it.
        last = highest_bit(rest)
        if not meets(boxed, crowns, k, g, last, across, foot, slope, per_slope, s0, s1, cu, cv):
            continue
        first = max(highest_bit(years & -years), early)
        hit = last
        while first < hit:
            middle = (first + hit) >> 1
            if meets(boxed, crowns, k, g, middle, across, foot, slope, per_slope, s0, s1, cu, cv):
                hit = middle
            else:
                first = middle + 1
        mask |= ((np.int64(1) << (last + 1)) - (np.int64(1) << hit)) & years
    return mask
