"""Crown shapes at size: their radius at a height, how far up two neighbours meet, which holds which.

All follows from the records of `screenplan.ground.crown_shapes`. Equal neighbours at spacing s meet
where r(z) = s/2; solved for z that gives `meeting_band`.
"""

from __future__ import annotations

import numpy as np

from screenplan.ground.crown_shapes import CrownShape, shape_of

#: Relative slack when one crown is held inside the next: rounding only.
NESTED_SLACK = 1e-9


def shape_radius(shape: str | CrownShape, height, spread, clear_stem, z) -> np.ndarray:
    """Radius of a crown, for a box half its length, at the height z above its foot.

    Parameters
    ----------
    shape : str or CrownShape
    height, spread, clear_stem, z : array_like
        Metres; broadcast against each other. The crown begins at ``clear_stem``.

    Returns
    -------
    ndarray
        Metres; 0 above the crown, below it, and where the crown has no depth.

    Examples
    --------
    A cone of 4 m that is 2 m wide at its foot.

    >>> shape_radius("cone", 4.0, 2.0, 0.0, [0.0, 1.0, 4.0]).tolist()
    [1.0, 0.75, 0.0]
    """
    shape = shape_of(shape)
    h, w, c, z = np.broadcast_arrays(
        *(np.asarray(a, float) for a in (height, spread, clear_stem, z))
    )
    depth = h - c
    inside = (z >= c) & (z <= h) & (depth > 0)
    above = np.where(inside, (h - z) / np.where(depth > 0, depth, 1.0), 0.0)
    return np.where(inside, w / 2.0 * np.sqrt(np.maximum(shape.square_at(above), 0.0)), 0.0)


def meeting_band(
    shape: str | CrownShape, height, spread, spacing, clear_stem=0.0
) -> tuple[np.ndarray, np.ndarray]:
    """Heights between which equal neighbours touch.

    Parameters
    ----------
    shape : str or CrownShape
    height, spread, spacing, clear_stem : array_like
        Metres; broadcast.

    Returns
    -------
    low, high : ndarray
        Metres above the ground. Both 0 where the crowns do not overlap (spacing not smaller than
        the spread, or no crown): such a row closes nowhere.

    Examples
    --------
    >>> low, high = meeting_band("paraboloid", 4.0, 2.0, 1.0)
    >>> float(low), float(high)
    (0.0, 3.0)
    """
    shape = shape_of(shape)
    h, w, s, c = np.broadcast_arrays(
        *(np.asarray(a, float) for a in (height, spread, spacing, clear_stem))
    )
    meets = (s < w) & (h > c)
    ratio = np.where(meets, s / np.where(w > 0, w, 1.0), 1.0)
    tip, foot = (np.clip(u, 0.0, 1.0) for u in shape.shares_with(ratio**2))
    low, high = c + (h - c) * (1.0 - foot), h - (h - c) * tip
    return np.where(meets, low, 0.0), np.where(meets, high, 0.0)


def is_nested(shape: str | CrownShape, outer, inner):
    """Tell whether a crown holds another of the same shape on the same stem.

    Parameters
    ----------
    shape : str or CrownShape
    outer, inner : array_like, (3, ...) or (4, ...)
        The two crowns: height, radius and clear stem in metres, and the half width across the row after them.

    Returns
    -------
    ndarray of bool, (...)

    Notes
    -----
    On the inner crown's heights the outer one's radius must not be less. The squares of the radii
    differ by a parabola in z: its two ends decide, and its vertex between them. Those of stacked crowns
    differ by straight pieces that meet at the knots of both.

    Examples
    --------
    >>> is_nested("cone", [3.0, [1.0, 0.5], 0.0], [2.0, 0.6, 0.0]).tolist()
    [True, False]
    """
    shape = shape_of(shape)
    (h1, r1, c1, *v1), (h0, r0, c0, *v0) = (
        np.broadcast_arrays(*(np.asarray(size, float) for size in crown))
        for crown in (outer, inner)
    )
    is_one, is_other = (h1 > c1) & (r1 > 0.0), (h0 > c0) & (r0 > 0.0)
    slack = NESTED_SLACK * np.maximum(h1, r1)
    within = (h0 <= h1 + slack) & (c0 >= c1 - slack) & (r0 <= r1 + slack)
    if shape.along_row:
        held = v0[0] <= v1[0] + slack if v1 else True
    else:
        d1, d0 = np.where(is_one, h1 - c1, 1.0), np.where(is_other, h0 - c0, 1.0)
        apart = _apart(shape, (h1, r1, c1, d1), (h0, r0, c0, d0))
        held = (apart >= -slack * np.maximum(r1, 1.0)).all(axis=0)
    return ~is_other | (is_one & within & held)


def _apart(shape: CrownShape, outer, inner) -> np.ndarray:
    """By how much the squares of two crowns' radii differ where that may be least, (places, ...), square metres."""
    (h1, r1, c1, d1), (h0, r0, c0, d0) = outer, inner
    if shape.pieces:
        shares = np.array(shape.knots).reshape(-1, *[1] * np.broadcast(h1, h0).ndim)
        heights = np.concatenate(np.broadcast_arrays(h0 - d0 * shares, h1 - d1 * shares))
        # Crowns that are not within each other have no heights in common here.
        z = np.minimum(np.maximum(heights, np.maximum(c0, c1)), np.minimum(h0, h1))
        return r1 * r1 * shape.square_at((h1 - z) / d1) - r0 * r0 * shape.square_at((h0 - z) / d0)
    f1, l1, n1 = shape.surface(r1, d1)
    f0, l0, n0 = shape.surface(r0, d0)
    bends = np.where(f0 == f1, 1.0, f0 - f1)
    vertex = np.where(f0 == f1, c0, (f0 * h0 - f1 * h1 + l1 - l0) / bends)
    z = np.stack(np.broadcast_arrays(c0, h0, np.minimum(np.maximum(vertex, c0), h0)))
    return (f0 * (z - h0) + 2.0 * l0) * (z - h0) + n0 - (f1 * (z - h1) + 2.0 * l1) * (z - h1) - n1
