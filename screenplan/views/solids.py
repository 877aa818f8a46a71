"""Crowns as solids: whether a sight line meets one, and along which stretch.

A crown stands upright on a stem. It fills the heights between its clear stem c and its top h, and
its radius there is, with the depth D = h - c and the greatest radius R,

======  ==========  =========================================
code    name        radius at height z
======  ==========  =========================================
0       cone        R (h - z) / D
1       column      R
2       paraboloid  R sqrt((h - z) / D)
3       ellipsoid   R sqrt(1 - ((z - (h + c)/2) / (D/2))^2)
4       box         no round one: see below
======  ==========  =========================================

A box is a clipped hedge: an upright cuboid that reaches R to either side along its row, and a
half width across it. All five are convex, so a straight line is inside along one stretch at most. A point of the sight
line is o + t d with t from 0 to 1, and being inside is a quadratic inequality in t,
A t^2 + 2 B t + C < 0, within the slab c < z < h. Touching the surface is not a hit.

The compiled functions take numbers that many crowns on one stem share: ``a`` = dx^2 + dy^2,
``b`` = p_x d_x + p_y d_y and ``e`` = p_x^2 + p_y^2, where p is the sight line's start as seen from
the foot of the stem, and ``pz``, ``dz`` are its vertical parts.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from screenplan.views.compiled import inner

CONE, COLUMN, PARABOLOID, ELLIPSOID, BOX = 0, 1, 2, 3, 4
#: Shapes that are round in plan, and all.
ROUND = (CONE, COLUMN, PARABOLOID, ELLIPSOID)
SHAPES = (*ROUND, BOX)

#: What stands for 1 / 0 in the rise of a level sight line: it crosses no height.
LEVEL_PER = 1e300
#: Relative slack when one crown is held inside the next: rounding only.
NESTED_SLACK = 1e-9


@njit(cache=True, error_model="numpy")
def _inequality(shape, a, b, e, pz, dz, h, r, c):
    """Coefficients A, B, C of A t^2 + 2 B t + C < 0 for the unbounded solid."""
    depth = h - c
    if shape == 1:  # x^2 + y^2 < R^2
        return a, b, e - r * r
    if shape == 2:  # x^2 + y^2 < R^2 (h - z) / D
        k = r * r / depth
        return a, b + 0.5 * k * dz, e - k * (h - pz)
    if shape == 0:  # x^2 + y^2 < (R / D)^2 (h - z)^2; the slab cuts off the upper nappe
        q = (r / depth) * (r / depth)
        up = h - pz
        return a - q * dz * dz, b + q * up * dz, e - q * up * up
    # x^2 + y^2 + (2 R / D)^2 (z - middle)^2 < R^2
    s = (2.0 * r / depth) * (2.0 * r / depth)
    w = pz - 0.5 * (h + c)
    return a + s * dz * dz, b + s * w * dz, e + s * w * w - r * r


@njit(cache=True, error_model="numpy")
def _slab(shape, pz, dz, h, c):
    """Stretch of t in [0, 1] within c < z < h; empty when the first exceeds the second."""
    if shape == 3:  # the ellipsoid is bounded by itself
        return 0.0, 1.0
    if dz == 0.0:
        if pz <= c or pz >= h:
            return 1.0, 0.0
        return 0.0, 1.0
    one = (c - pz) / dz
    two = (h - pz) / dz
    if one > two:
        one, two = two, one
    return max(one, 0.0), min(two, 1.0)


@njit(cache=True, error_model="numpy")
def crown_form(shape, h, r, c, across):
    """Give what a hit needs of a crown: h, c, and four numbers m, f, l, n of its surface.

    The inside of a round crown is x^2 + y^2 + f w^2 + 2 l w + n < 0 with w = z - m, and c < z < h:
    for a cone m = h and f = -(R / D)^2, for a column n = -R^2, for a paraboloid m = h and
    l = R^2 / (2 D), for an ellipsoid m = (h + c) / 2, f = (2 R / D)^2 and n = -R^2; what is not
    named is 0. A box has its half width across and R in the places of m and f. A crown
    without an inside gets an empty slab, h = c = 0.
    """
    depth = h - c
    if not (depth > 0.0 and r > 0.0 and (shape != 4 or across > 0.0)):
        return 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    if shape == 4:
        return h, c, across, r, 0.0, 0.0
    if shape == 0:
        return h, c, h, -(r / depth) * (r / depth), 0.0, 0.0
    if shape == 2:
        return h, c, h, 0.0, 0.5 * r * r / depth, 0.0
    if shape == 3:
        return h, c, 0.5 * (h + c), (2.0 * r / depth) * (2.0 * r / depth), 0.0, -r * r
    return h, c, 0.0, 0.0, 0.0, -r * r


@inner()
def form_hit(a, b, e, pz, dz, per_dz, t0, t1, h, c, m, f, l, n):  # noqa: E741
    """Tell whether the sight line passes through the inside of a round crown given by its form.

    Only the stretch from ``t0`` to ``t1`` is looked at. ``per_dz`` is 1 / dz, and `LEVEL_PER` where
    dz is 0. Within the slab the quadratic's least value
    decides: it lies at an end of the stretch, or, if A > 0, at -B / A. No root is drawn,
    nothing is divided, and nothing branches.
    """
    w = pz - m
    fw = f * w
    A, B, C = a + f * dz * dz, b + (fw + l) * dz, e + (fw + 2.0 * l) * w + n
    in_slab = (dz != 0.0) | ((pz > c) & (pz < h))
    one, two = (c - pz) * per_dz, (h - pz) * per_dz
    low, high = (one, two) if one < two else (two, one)
    t0, t1 = (low if low > t0 else t0), (high if high < t1 else t1)
    at_end = ((A * t0 + 2.0 * B) * t0 + C < 0.0) | ((A * t1 + 2.0 * B) * t1 + C < 0.0)
    between = (A > 0.0) & (A * t0 < -B) & (A * t1 > -B) & (B * B > A * C)
    return (t0 < t1) & in_slab & (at_end | between)


@njit(cache=True, error_model="numpy")
def crown_hit(shape, a, b, e, pz, dz, h, r, c):
    """Tell whether the sight line passes through the inside of a round crown."""
    h, c, m, f, l, n = crown_form(shape, h, r, c, 0.0)  # noqa: E741
    per_dz = 1.0 / dz if dz != 0.0 else LEVEL_PER
    return form_hit(a, b, e, pz, dz, per_dz, 0.0, 1.0, h, c, m, f, l, n)


@njit(cache=True, error_model="numpy")
def box_stretch(px, py, pz, dx, dy, dz, t0, t1, h, c, across, r):
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
def crown_stretch(shape, a, b, e, pz, dz, h, r, c):
    """Stretch (t0, t1) of the sight line inside the crown; (1, 0) when there is none.

    The chord's length is (t1 - t0) times the length of the sight line.
    """
    if not (h > c and r > 0.0):
        return 1.0, 0.0
    t0, t1 = _slab(shape, pz, dz, h, c)
    if not t0 < t1:
        return 1.0, 0.0
    A, B, C = _inequality(shape, a, b, e, pz, dz, h, r, c)
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


def line_terms(origin, target, foot):
    """Terms of a sight line as the compiled functions take them.

    Parameters
    ----------
    origin, target, foot : array_like of 3 numbers
        Ends of the sight line, and the foot of the stem, in metres.

    Returns
    -------
    tuple
        (a, b, e, pz, dz) of the module's description.
    """
    p = np.asarray(origin, float) - np.asarray(foot, float)
    d = np.asarray(target, float) - np.asarray(origin, float)
    return (
        d[0] * d[0] + d[1] * d[1],
        p[0] * d[0] + p[1] * d[1],
        p[0] * p[0] + p[1] * p[1],
        p[2],
        d[2],
    )


def chord_length(
    shape, origin, target, foot, height_m, radius_m, clear_stem_m=0.0, across_m=None, row=(1.0, 0.0)
):
    """Length of the sight line inside one crown, in metres.

    Parameters
    ----------
    shape : int
        One of `SHAPES`.
    origin, target, foot : array_like of 3 numbers
        Ends of the sight line, and the foot of the stem.
    height_m, radius_m, clear_stem_m : float
        The crown; one of no depth or no radius has no inside.
    across_m : float, optional
        Half width of a box across its row; by default its radius.
    row : tuple of 2 floats
        Direction of a box's row in plan, of length 1.

    Examples
    --------
    A level line at half the height of a cone that is 2 m wide at its foot, through its axis.

    >>> chord = chord_length(CONE, (-5.0, 0.0, 2.0), (5.0, 0.0, 2.0), (0.0, 0.0, 0.0), 4.0, 1.0)
    >>> round(chord, 9)
    1.0
    """
    way = np.asarray(target, float) - np.asarray(origin, float)
    if shape == BOX:
        across = radius_m if across_m is None else across_m
        h, c, across, r = crown_form(shape, height_m, radius_m, clear_stem_m, across)[:4]
        x, y, z = np.asarray(origin, float) - np.asarray(foot, float)
        ux, uy = row
        stretch = box_stretch(
            x * ux + y * uy, y * ux - x * uy, z,
            way[0] * ux + way[1] * uy, way[1] * ux - way[0] * uy, way[2],
            0.0, 1.0, h, c, across, r,
        )  # fmt: skip
    else:
        stretch = crown_stretch(
            shape, *line_terms(origin, target, foot), height_m, radius_m, clear_stem_m
        )
    length = float(np.linalg.norm(way))
    return max(stretch[1] - stretch[0], 0.0) * length


def is_nested(shape, outer, inner):
    """Tell whether a crown holds another of the same shape on the same stem.

    Parameters
    ----------
    shape : int
        One of `SHAPES`.
    outer, inner : tuple of (height_m, radius_m, clear_stem_m) or with across_m after them
        The two crowns.

    Notes
    -----
    On the inner crown's heights the outer one's radius must not be less. For cones the difference
    of the radii is linear in z, for paraboloids that of their squares: the two ends decide. For
    ellipsoids the difference of the squares is a parabola: its vertex decides too.
    """
    (h1, r1, c1, *v1), (h0, r0, c0, *v0) = outer, inner
    if not (h0 > c0 and r0 > 0.0):
        return True
    if not (h1 > c1 and r1 > 0.0):
        return False
    slack = NESTED_SLACK * max(h1, r1)
    if h0 > h1 + slack or c0 < c1 - slack or r0 > r1 + slack:
        return False
    if shape == COLUMN:
        return True
    if shape == BOX:
        return not v1 or v0[0] <= v1[0] + slack
    if shape in (CONE, PARABOLOID):
        wide = r1 * (h1 - c0) / (h1 - c1) if shape == CONE else r1 * r1 * (h1 - c0) / (h1 - c1)
        return bool(wide >= (r0 if shape == CONE else r0 * r0) - slack * max(r1, 1.0))
    # r1^2 (1 - ((z - m1)/k1)^2) - r0^2 (1 - ((z - m0)/k0)^2) >= 0 for z in [c0, h0]
    m1, k1, m0, k0 = 0.5 * (h1 + c1), 0.5 * (h1 - c1), 0.5 * (h0 + c0), 0.5 * (h0 - c0)
    u1, u0 = (r1 / k1) ** 2, (r0 / k0) ** 2
    heights = [c0, h0]
    if u0 != u1:
        vertex = (u0 * m0 - u1 * m1) / (u0 - u1)
        if c0 < vertex < h0:
            heights.append(vertex)
    return all(
        r1**2 - u1 * (z - m1) ** 2 - r0**2 + u0 * (z - m0) ** 2 >= -slack * max(r1, 1.0)
        for z in heights
    )
