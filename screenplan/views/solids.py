"""Crowns as solids: whether a sight line meets one, and along which stretch.

A crown stands upright on a stem. It fills the heights between its clear stem c and its top h. A round
one fills there x^2 + y^2 + f w^2 + 2 l w + n < 0 with w = z - h; the numbers f, l, n follow from its
shape (`screenplan.ground.crown_shapes`). A box is a clipped hedge: an upright cuboid that reaches R to
either side along its row, and a half width across it.

A crown that is stacked from pieces (those with an exponent) has f = 0, and for each of its pieces a, b a
paraboloid x^2 + y^2 + 2 b l w + a n < 0: it fills what is in all of them, or, where its exponent is
above 1/2, in any. Its pieces stand in `CrownTable.pieces`, and `SOLID`, `IN_ALL` or `IN_ANY` says which
it is.

All are convex, so a straight line is inside along one stretch at most. (One that is in any of its
paraboloids has dents between them, no deeper than the error of its radius; they count as inside.) A point of the sight
line is o + t d with t from 0 to 1, and being inside is a quadratic inequality in t,
A t^2 + 2 B t + C < 0, within the slab c < z < h. Touching the surface is not a hit.

The compiled functions take numbers that many crowns on one stem share: ``a`` = dx^2 + dy^2,
``b`` = p_x d_x + p_y d_y and ``e`` = p_x^2 + p_y^2, where p is the sight line's start as seen from
the foot of the stem, and ``pz``, ``dz`` are its vertical parts.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from screenplan.ground.crown_shapes import PIECES, CrownShape
from screenplan.views.compiled import FAST, called, inner

#: What stands for 1 / 0 in the rise of a level sight line: it crosses no height.
LEVEL_PER = 1e300
#: Numbers of a form.
FORM = 5
#: How a crown is made: of one form, of what is in all of its paraboloids, or in any.
SOLID, IN_ALL, IN_ANY = 0, 1, 2
#: Less than any disc that tells whether a paraboloid is met, and farther than any sight line goes.
_FAR = 1e300


def crown_forms(shape: CrownShape, height, radius, clear, across) -> np.ndarray:
    """Give what the compiled tests take of crowns, (5, ...): h, c, f, l, n.

    A box has R and its half width across in the places of f and l. A crown without an inside gets
    an empty slab, h = c = 0. Of a stacked crown each piece changes l and n.
    """
    depth = height - clear
    there = (depth > 0.0) & (radius > 0.0)
    if shape.along_row:
        there &= across > 0.0
        surface = radius, across, np.zeros_like(depth)
    else:
        surface = shape.surface(radius, np.where(there, depth, 1.0))
    return np.where(there, np.stack([height, clear, *surface]), 0.0)


@inner()
def form_at(form, k, g, y):
    """Take one crown's numbers from `CrownTable.form`: class, growth and year."""
    return form[k, g, 0, y], form[k, g, 1, y], form[k, g, 2, y], form[k, g, 3, y], form[k, g, 4, y]


@inner()
def form_hit(a, b, e, pz, dz, per_dz, t0, t1, h, c, f, l, n):  # noqa: E741
    """Tell whether the sight line passes through the inside of a round crown given by its form.

    Only the stretch from ``t0`` to ``t1`` is looked at. ``per_dz`` is 1 / dz, and `LEVEL_PER` where
    dz is 0. Within the slab the quadratic's least value
    decides: it lies at an end of the stretch, or, if A > 0, at -B / A. No root is drawn,
    nothing is divided, and nothing branches.
    """
    w = pz - h
    fw = f * w
    A, B, C = a + f * dz * dz, b + (fw + l) * dz, e + (fw + 2.0 * l) * w + n
    in_slab = (dz != 0.0) | ((pz > c) & (pz < h))
    one, two = (c - pz) * per_dz, (h - pz) * per_dz
    low, high = (one, two) if one < two else (two, one)
    t0, t1 = (low if low > t0 else t0), (high if high < t1 else t1)
    at_end = ((A * t0 + 2.0 * B) * t0 + C < 0.0) | ((A * t1 + 2.0 * B) * t1 + C < 0.0)
    between = (A > 0.0) & (A * t0 < -B) & (A * t1 > -B) & (B * B > A * C)
    return (t0 < t1) & in_slab & (at_end | between)


def crown_pieces(shape: CrownShape) -> np.ndarray:
    """Give the pieces of a crown, (2, PIECES): a and b. One that is not stacked has none, zeros."""
    return np.array(shape.pieces).T if shape.pieces else np.zeros((2, PIECES))


def how_made(shape: CrownShape) -> int:
    """Say how the crown is made: `SOLID`, `IN_ALL` or `IN_ANY`."""
    if not shape.pieces:
        return SOLID
    return IN_ALL if shape.takes_least else IN_ANY


@inner(fastmath=FAST)
def piece_stretch(B, C, low, high, in_all):
    """Bring one more paraboloid into the stretch of a sight line for which A = 1.

    Parameters
    ----------
    B, C : float
        The numbers of s^2 + 2 B s + C < 0 for it.
    low, high : float
        The stretch of those before it: at first without end where all count, and none where any does.
    in_all : bool
        Whether all count.
    """
    disc = B * B - C
    root = np.sqrt(disc if disc > 0.0 else 0.0)
    one, two = -B - root, root - B
    if in_all:
        low = one if one > low else low
        high = two if two < high else high
        return low, (high if disc > 0.0 else -_FAR)
    low = one if (one < low) & (disc > 0.0) else low
    return low, (two if (two > high) & (disc > 0.0) else high)


@called(fastmath=FAST)
def stacked_stretch(across2, foot, slope, per_slope, s0, s1, h, c, l, n, pieces, in_all):  # noqa: E741
    """Stretch of a sight line inside a stacked crown, from where the stem is passed; (1, 0) for none.

    ``across2`` is the square of the distance in plan at which it is, ``foot`` the height there above
    its foot, and ``pieces`` are those of one crown.
    """
    w, at = foot - h, slope * l
    two_lw = 2.0 * l * w
    low, high = (-_FAR, _FAR) if in_all else (_FAR, -_FAR)
    for i in range(PIECES):
        a, b = pieces[0, i], pieces[1, i]
        low, high = piece_stretch(at * b, across2 + two_lw * b + n * a, low, high, in_all)
    in_slab = (slope != 0.0) | ((foot > c) & (foot < h))
    one, two = (c - foot) * per_slope, (h - foot) * per_slope
    t0, t1 = (one, two) if one < two else (two, one)
    t0, t1 = (t0 if t0 > s0 else s0), (t1 if t1 < s1 else s1)
    low, high = (low if low > t0 else t0), (high if high < t1 else t1)
    return (low, high) if (low < high) & in_slab else (1.0, 0.0)


@called()
def stacked_upright(e, pz, dz, h, c, l, n, pieces, in_all):  # noqa: E741
    """Do the same for an upright sight line of rise ``dz``, as shares of its way."""
    if dz == 0.0:
        return 1.0, 0.0
    one, two = (c - pz) / dz, (h - pz) / dz
    t0, t1 = max(min(one, two), 0.0), min(max(one, two), 1.0)
    # Inside below the height at which the crown is as wide as the line is far from the stem.
    top = _FAR if in_all else -_FAR
    for i in range(PIECES):
        w = -(e + n * pieces[0, i]) / (2.0 * l * pieces[1, i])
        top = min(top, w) if in_all else max(top, w)
    at = (top + h - pz) / dz
    t0, t1 = (t0, min(t1, at)) if dz > 0.0 else (max(t0, at), t1)
    return (t0, t1) if t0 < t1 else (1.0, 0.0)


@njit(cache=True, error_model="numpy")
def box_stretch(px, py, pz, dx, dy, dz, t0, t1, h, c, r, across):
    """Stretch of a sight line inside a box, given in the box's own plan axes; (1, 0) for none.

    Between the three pairs of faces (slabs): x runs along the row, y across it.
    """
    for part in range(3):
        if part == 0:
            at, step, low, high = px, dx, -r, r
        elif part == 1:
            at, step, low, high = py, dy, -across, across
        else:
            at, step, low, high = pz, dz, c, h
        if step == 0.0:
            if at <= low or at >= high:
                return 1.0, 0.0
            continue
        one, two = (low - at) / step, (high - at) / step
        t0, t1 = max(min(one, two), t0), min(max(one, two), t1)
    return (t0, t1) if t0 < t1 else (1.0, 0.0)


@njit(cache=True, error_model="numpy")
def form_stretch(a, b, e, pz, dz, h, c, f, l, n):  # noqa: E741
    """Stretch (t0, t1) of the sight line inside a round crown; (1, 0) when there is none.

    The chord's length is (t1 - t0) times the length of the sight line.
    """
    if dz == 0.0:
        if pz <= c or pz >= h:
            return 1.0, 0.0
        t0, t1 = 0.0, 1.0
    else:
        one, two = (c - pz) / dz, (h - pz) / dz
        t0, t1 = max(min(one, two), 0.0), min(max(one, two), 1.0)
    if not t0 < t1:
        return 1.0, 0.0
    w = pz - h
    A, B, C = a + f * dz * dz, b + (f * w + l) * dz, e + (f * w + 2.0 * l) * w + n
    if A == 0.0:  # upright, or along a cone's generator: linear
        if B == 0.0:
            return (t0, t1) if C < 0.0 else (1.0, 0.0)
        root = -0.5 * C / B
        if B > 0.0:
            t1 = min(t1, root)
        else:
            t0 = max(t0, root)
        return (t0, t1) if t0 < t1 else (1.0, 0.0)
    disc = B * B - A * C
    if disc <= 0.0:
        if A > 0.0:
            return 1.0, 0.0
        disc = 0.0  # a steep line through the apex
    # Both roots without cancellation: t1 = q / A, t2 = C / q.
    q = -(B + np.copysign(np.sqrt(disc), B))
    one = q / A
    two = C / q if q != 0.0 else 0.0
    if one > two:
        one, two = two, one
    if A > 0.0:
        t0, t1 = max(t0, one), min(t1, two)
    elif dz > 0.0:  # steeper than the cone, going up: inside before the first root
        t1 = min(t1, one)
    else:
        t0 = max(t0, two)
    return (t0, t1) if t0 < t1 else (1.0, 0.0)
