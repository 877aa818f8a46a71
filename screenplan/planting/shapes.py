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


def is_nested(shape: str | CrownShape, outer, inner) -> bool:
    """Tell whether a crown holds another of the same shape on the same stem.

    Parameters
    ----------
    shape : str or CrownShape
    outer, inner : tuple of (height_m, radius_m, clear_stem_m) or with across_m after them
        The two crowns.

    Notes
    -----
    On the inner crown's heights the outer one's radius must not be less. The squares of the radii
    differ by a parabola in z: its two ends decide, and its vertex between them. Those of stacked crowns
    differ by straight pieces that meet at the knots of both.
    """
    shape = shape_of(shape)
    (h1, r1, c1, *v1), (h0, r0, c0, *v0) = outer, inner
    if not (h0 > c0 and r0 > 0.0):
        return True
    if not (h1 > c1 and r1 > 0.0):
        return False
    slack = NESTED_SLACK * max(h1, r1)
    if h0 > h1 + slack or c0 < c1 - slack or r0 > r1 + slack:
        return False
    if shape.along_row:
        return not v1 or v0[0] <= v1[0] + slack
    if shape.pieces:
        shares = np.array(shape.knots)
        heights = np.concatenate([h0 - (h0 - c0) * shares, h1 - (h1 - c1) * shares])
        z = np.clip(heights, max(c0, c1), min(h0, h1))
        apart = r1 * r1 * shape.square_at((h1 - z) / (h1 - c1))
        apart -= r0 * r0 * shape.square_at((h0 - z) / (h0 - c0))
        return bool((apart >= -slack * max(r1, 1.0)).all())
    f1, l1, n1 = shape.surface(r1, h1 - c1)
    f0, l0, n0 = shape.surface(r0, h0 - c0)
    bends = [c0, h0]
    if f0 != f1 and c0 < (vertex := (f0 * h0 - f1 * h1 + l1 - l0) / (f0 - f1)) < h0:
        bends.append(vertex)
    return all(
        (f0 * (z - h0) + 2.0 * l0) * (z - h0) + n0 - (f1 * (z - h1) + 2.0 * l1) * (z - h1) - n1
        >= -slack * max(r1, 1.0)
        for z in bends
    )
