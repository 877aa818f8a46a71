"""Crown shapes: their codes, their radius at a height, and how far up two neighbours meet.

A crown stands between the clear stem c and the height h, and has the spread w. A box is a clipped
hedge: w long along its row. The others are solids of revolution:

    cone        r(z) = w/2 (h − z) / (h − c)
    column      r(z) = w/2
    paraboloid  r(z) = w/2 √((h − z) / (h − c))
    ellipsoid   r(z) = w/2 √(1 − ((z − m) / b)²),  m = (h + c)/2,  b = (h − c)/2
    box         r(z) = w/2, along the row

Equal neighbours at spacing s meet where r(z) = s/2; solved for z that gives `meeting_band`.
"""

from __future__ import annotations

import numpy as np

from screenplan.ground.errors import refuse

CONE, COLUMN, PARABOLOID, ELLIPSOID, BOX = range(5)

#: Code of each shape; compiled code takes the number, people write the word.
SHAPE_CODES = {
    "cone": CONE,
    "column": COLUMN,
    "paraboloid": PARABOLOID,
    "ellipsoid": ELLIPSOID,
    "box": BOX,
}
SHAPES = tuple(SHAPE_CODES)


def is_box(shape: str | int) -> bool:
    """Tell whether a shape stands along its row, as long as it is wide there and as wide as it is kept."""
    return shape_code(shape) == BOX


def no_form(shape: str | int) -> ValueError:
    """Build the error of a shape that has no formula here: a slip of ours, never a person's."""
    return ValueError(f"nothing is known here of a crown that is a {shape!r}")


def shape_code(shape: str | int) -> int:
    """Code of a shape given as a word or as its code.

    Raises
    ------
    InputError
        If there is no such shape.
    """
    if isinstance(shape, str) and shape in SHAPE_CODES:
        return SHAPE_CODES[shape]
    if not isinstance(shape, (str, bool)) and shape in SHAPE_CODES.values():
        return int(shape)
    raise refuse(f"{shape!r} is not a crown shape", f"Write one of {', '.join(SHAPES)}")


def shape_radius(shape, height, spread, clear_stem, z) -> np.ndarray:
    """Radius of a crown, for a box half its length, at the height z above its foot.

    Parameters
    ----------
    shape : str or int
        One of `SHAPES`, or its code.
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
    code = shape_code(shape)
    h, w, c, z = np.broadcast_arrays(
        *(np.asarray(a, float) for a in (height, spread, clear_stem, z))
    )
    depth = h - c
    inside = (z >= c) & (z <= h) & (depth > 0)
    # Share of the crown's depth that lies above z, 1 at its foot and 0 at its tip.
    above = np.where(inside, (h - z) / np.where(depth > 0, depth, 1.0), 0.0)
    if code == CONE:
        share = above
    elif code in (COLUMN, BOX):
        share = np.ones_like(above)
    elif code == PARABOLOID:
        share = np.sqrt(above)
    elif code == ELLIPSOID:
        share = np.sqrt(np.clip(1.0 - (2.0 * above - 1.0) ** 2, 0.0, None))
    else:
        raise no_form(shape)
    return np.where(inside, w / 2.0 * share, 0.0)


def meeting_band(shape, height, spread, spacing, clear_stem=0.0) -> tuple[np.ndarray, np.ndarray]:
    """Heights between which equal neighbours touch.

    Parameters
    ----------
    shape : str or int
        One of `SHAPES`, or its code.
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
    code = shape_code(shape)
    h, w, s, c = np.broadcast_arrays(
        *(np.asarray(a, float) for a in (height, spread, spacing, clear_stem))
    )
    meets = (s < w) & (h > c)
    ratio = np.where(meets, s / np.where(w > 0, w, 1.0), 1.0)
    low = c
    if code == CONE:
        high = c + (h - c) * (1.0 - ratio)
    elif code in (COLUMN, BOX):
        high = h
    elif code == PARABOLOID:
        high = c + (h - c) * (1.0 - ratio**2)
    elif code == ELLIPSOID:
        half = (h - c) / 2.0 * np.sqrt(1.0 - ratio**2)
        low, high = (h + c) / 2.0 - half, (h + c) / 2.0 + half
    else:
        raise no_form(shape)
    return np.where(meets, low, 0.0), np.where(meets, high, 0.0)
