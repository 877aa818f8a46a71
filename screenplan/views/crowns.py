"""Crowns as solids of revolution: whether a sight line meets one, and along which stretch.

A crown stands upright on a stem. It fills the heights between its clear stem c and its top h, and
its radius there is, with the depth D = h - c and the greatest radius R,

======  ==========  =========================================
code    name        radius at height z
======  ==========  =========================================
0       cone        R (h - z) / D
1       column      R
2       paraboloid  R sqrt((h - z) / D)
3       ellipsoid   R sqrt(1 - ((z - (h + c)/2) / (D/2))^2)
======  ==========  =========================================

All four are convex, so a straight line is inside along one stretch at most. A point of the sight
line is o + t d with t from 0 to 1, and being inside is a quadratic inequality in t,
A t^2 + 2 B t + C < 0, within the slab c < z < h. Touching the surface is not a hit.

The compiled functions take numbers that many crowns on one stem share: ``a`` = dx^2 + dy^2,
``b`` = p_x d_x + p_y d_y and ``e`` = p_x^2 + p_y^2, where p is the sight line's start as seen from
the foot of the stem, and ``pz``, ``dz`` are its vertical parts.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit

CONE, COLUMN, PARABOLOID, ELLIPSOID = 0, 1, 2, 3
SHAPES = (CONE, COLUMN, PARABOLOID, ELLIPSOID)

#: Bits of a signed 64-bit mask that hold one year each; the sign stays clear.
MOST_YEARS = 62
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
def crown_form(shape, h, r, c):
    """Give what a hit needs of a crown: its top h, its stem c, a slope q, and R^2.

    q is (R / D)^2 for a cone, R^2 / D for a paraboloid, (2 R / D)^2 for an ellipsoid, 0 for a
    column. A crown without an inside gets an R^2 below 0 and an empty slab.
    """
    depth = h - c
    if not (depth > 0.0 and r > 0.0):
        return 0.0, 0.0, 0.0, -1.0
    if shape == 0:
        return h, c, (r / depth) * (r / depth), r * r
    if shape == 2:
        return h, c, r * r / depth, r * r
    if shape == 3:
        return h, c, (2.0 * r / depth) * (2.0 * r / depth), r * r
    return h, c, 0.0, r * r


@njit(cache=True, error_model="numpy")
def form_hit(shape, a, b, e, pz, dz, per_dz, h, c, q, rr):
    """Tell whether the sight line passes through the inside of a crown given by its form.

    ``per_dz`` is 1 / dz, any number where dz is 0. Within the slab the quadratic's least value
    decides: it lies at an end of the stretch, or, if A > 0, at -B / A. No root is drawn and
    nothing is divided.
    """
    t0, t1 = 0.0, 1.0
    if shape == 3:
        w = pz - 0.5 * (h + c)
        A, B, C = a + q * dz * dz, b + q * w * dz, e + q * w * w - rr
    else:
        if dz == 0.0:
            if pz <= c or pz >= h:
                return False
        else:
            one, two = (c - pz) * per_dz, (h - pz) * per_dz
            t0, t1 = max(min(one, two), 0.0), min(max(one, two), 1.0)
            if not t0 < t1:
                return False
        up = h - pz
        if shape == 0:
            A, B, C = a - q * dz * dz, b + q * up * dz, e - q * up * up
        elif shape == 2:
            A, B, C = a, b + 0.5 * q * dz, e - q * up
        else:
            A, B, C = a, b, e - rr
    if (A * t0 + 2.0 * B) * t0 + C < 0.0 or (A * t1 + 2.0 * B) * t1 + C < 0.0:
        return True
    return A > 0.0 and A * t0 < -B and A * t1 > -B and B * B > A * C


@njit(cache=True, error_model="numpy")
def crown_hit(shape, a, b, e, pz, dz, h, r, c):
    """Tell whether the sight line passes through the crown's inside."""
    h, c, q, rr = crown_form(shape, h, r, c)
    return form_hit(shape, a, b, e, pz, dz, 1.0 / dz if dz != 0.0 else 0.0, h, c, q, rr)


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


def chord_length(shape, origin, target, foot, height_m, radius_m, clear_stem_m=0.0):
    """Length of the sight line inside one crown, in metres.

    Parameters
    ----------
    shape : int
        One of `SHAPES`.
    origin, target, foot : array_like of 3 numbers
        Ends of the sight line, and the foot of the stem.
    height_m, radius_m, clear_stem_m : float
        The crown; one of no depth or no radius has no inside.
    """
    stretch = crown_stretch(
        shape, *line_terms(origin, target, foot), height_m, radius_m, clear_stem_m
    )
    length = float(np.linalg.norm(np.asarray(target, float) - np.asarray(origin, float)))
    return max(stretch[1] - stretch[0], 0.0) * length


def is_nested(shape, outer, inner):
    """Tell whether a crown holds another of the same shape on the same stem.

    Parameters
    ----------
    shape : int
        One of `SHAPES`.
    outer, inner : tuple of (height_m, radius_m, clear_stem_m)
        The two crowns.

    Notes
    -----
    On the inner crown's heights the outer one's radius must not be less. For cones the difference
    of the radii is linear in z, for paraboloids that of their squares: the two ends decide. For
    ellipsoids the difference of the squares is a parabola: its vertex decides too.
    """
    (h1, r1, c1), (h0, r0, c0) = outer, inner
    if not (h0 > c0 and r0 > 0.0):
        return True
    if not (h1 > c1 and r1 > 0.0):
        return False
    slack = NESTED_SLACK * max(h1, r1)
    if h0 > h1 + slack or c0 < c1 - slack or r0 > r1 + slack:
        return False
    if shape == COLUMN:
        return True
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


class CrownTable(NamedTuple):
    """Sizes of the crowns of each growth class, by growth and year.

    A class is a set of plants of one species, stock height and age: they grow alike.

    Attributes
    ----------
    shape : ndarray of int64, (classes,)
        Shape codes.
    layer : ndarray of int64, (classes,)
        Index into ``leafless``.
    leafless : ndarray of float64, (layers,)
        Share of the light that passes in winter, rising: 0 for evergreens.
    height, radius, clear : ndarray of float64, (classes, growths, years)
        Sizes in metres.
    form : ndarray of float64, (classes, growths, years, 4)
        The same as `form_hit` takes them.
    widest : ndarray of float64, (classes,)
        Greatest radius of all growths and years.
    pieces : ndarray of int64, (classes, growths, pieces)
        Masks of years (bit y is year y): within each the crowns are nested, so that the first
        year in which one is hit can be bisected. A class whose crowns always hold the year
        before has one piece; unused pieces are 0.
    """

    shape: np.ndarray
    layer: np.ndarray
    leafless: np.ndarray
    height: np.ndarray
    radius: np.ndarray
    clear: np.ndarray
    form: np.ndarray
    widest: np.ndarray
    pieces: np.ndarray


def tabulate_crowns(shape, height, radius, clear, winter_share=None) -> CrownTable:
    """Arrange crown sizes for the kernel, and find in which years they are nested.

    Parameters
    ----------
    shape : array_like of int, (classes,)
        Shape codes.
    height, radius, clear : array_like, (growths, years, classes)
        Height, greatest radius and clear stem in metres.
    winter_share : array_like, (classes,), optional
        Share of the screening that is left after leaf fall, 1 for evergreens (the default).

    Raises
    ------
    ValueError
        On sizes that are not finite, shapes that are unknown, or more years than a mask holds:
        a caller's mistake, never a person's.
    """
    shape = np.ascontiguousarray(shape, np.int64)
    arrays = [
        np.ascontiguousarray(np.moveaxis(np.asarray(size, np.float64), -1, 0))
        for size in (height, radius, clear)
    ]
    height, radius, clear = arrays
    if not all(np.isfinite(size).all() for size in arrays):
        msg = "crown sizes must be finite"
        raise ValueError(msg)
    if not np.isin(shape, SHAPES).all():
        msg = f"shape codes must be among {SHAPES}"
        raise ValueError(msg)
    classes, growths, years = height.shape
    if years > MOST_YEARS:
        msg = f"at most {MOST_YEARS} years fit a mask"
        raise ValueError(msg)
    passes = np.zeros(classes) if winter_share is None else 1.0 - np.asarray(winter_share, float)
    leafless, layer = np.unique(passes, return_inverse=True)
    pieces = [
        [
            _nested_pieces(int(shape[k]), height[k, g], radius[k, g], clear[k, g])
            for g in range(growths)
        ]
        for k in range(classes)
    ]
    most = max((len(piece) for row in pieces for piece in row), default=1)
    masks = np.zeros((classes, growths, most), np.int64)
    for k, row in enumerate(pieces):
        for g, piece in enumerate(row):
            masks[k, g, : len(piece)] = piece
    widest = radius.reshape(classes, -1).max(axis=1) if classes else np.zeros(0)
    form = _forms(shape, height, radius, clear)
    return CrownTable(
        shape, layer.astype(np.int64), leafless, height, radius, clear, form, widest, masks
    )


def _nested_pieces(shape, height, radius, clear) -> list[int]:
    pieces = [1]
    for year in range(1, len(height)):
        bit = 1 << year
        now = (height[year], radius[year], clear[year])
        before = (height[year - 1], radius[year - 1], clear[year - 1])
        if is_nested(shape, now, before):
            pieces[-1] |= bit
        else:
            pieces.append(bit)
    return pieces


@njit(cache=True, error_model="numpy")
def _forms(shape, height, radius, clear):
    form = np.zeros((*height.shape, 4))
    for k in range(height.shape[0]):
        for g in range(height.shape[1]):
            for y in range(height.shape[2]):
                h, c, q, rr = crown_form(shape[k], height[k, g, y], radius[k, g, y], clear[k, g, y])
                form[k, g, y, 0], form[k, g, y, 1] = h, c
                form[k, g, y, 2], form[k, g, y, 3] = q, rr
    return form
