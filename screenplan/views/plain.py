r"""The plain version of the compiled kernel: every plant, every year, by the definition of a crown.

`screenplan.views.kernel` gives the same masks, much faster. This says what they mean, and the tests hold
the kernel to it. A crown blocks a sight line that passes through its inside: somewhere between the clear
stem and the top it is nearer to the stem than the crown's radius there::

       z
       |                            o     p(t) = o + t (q - o), t from 0 to 1
     h + - - - - -  ^ - - - - -  .
       |          / | \       .           rho = distance of p(t) from the stem, in plan
       |        /   |   \   .
     z + - - - |    |--r-* p(t)           u = (h - z) / (h - c)
       |       |    | .  |                r = R s(u), s the shape of the crown
     c + - - - |___.|____|
       |         .  |--R-|                blocked: c < z < h and rho < r, for some t
     0 +------q-----|-----------------
                  foot

Of a box r is R and counts along its row; across the row there is a half width of its own.
"""

from __future__ import annotations

import numpy as np

from screenplan.views.crowns import shapes_by_growth

#: Steps of the search along a sight line: they leave a share of (2/3)^60 = 3e-11 of its length.
STEPS = 60


def is_met(shape, origin, target, foot, sizes, way=(1.0, 0.0)) -> np.ndarray:
    """Tell whether sight lines pass through the inside of crowns; all but the shape broadcast.

    Parameters
    ----------
    shape : CrownShape
    origin, target, foot : ndarray, (..., 3)
        Ends of the sight lines, and feet of the stems, in metres.
    sizes : sequence of 4 array_like, (...)
        Height h, greatest radius R, clear stem c, and for boxes the half width across, in metres.
    way : sequence of 2 floats
        Direction of the row, for boxes.
    """
    height, radius, clear, across = sizes
    start, step = origin - foot, target - origin

    def depth_inside(t):
        """How far inside the surface p(t) lies: concave in t, since crowns are convex."""
        x, y, z = (start[..., axis] + t * step[..., axis] for axis in range(3))
        u = (height - z) / (height - clear)
        r = radius * np.sqrt(np.maximum(shape.square_at(u), 0.0))
        if shape.along_row:
            along, aside = x * way[0] + y * way[1], y * way[0] - x * way[1]
            return np.minimum(r - np.abs(along), across - np.abs(aside))
        return r - np.hypot(x, y)

    with np.errstate(divide="ignore", invalid="ignore"):
        # A level line is between clear stem and top all along or nowhere: from -inf to inf, or not.
        one, two = ((end - start[..., 2]) / step[..., 2] for end in (clear, height))
        low, high = np.maximum(np.minimum(one, two), 0.0), np.minimum(np.maximum(one, two), 1.0)
        passes = (low < high) & (height > clear)
        low, high = np.where(passes, low, 0.0), np.where(passes, high, 0.0)
        for _ in range(STEPS):
            third = (high - low) / 3.0
            rises = depth_inside(low + third) < depth_inside(high - third)
            low, high = np.where(rises, low + third, low), np.where(rises, high, high - third)
        return passes & (depth_inside((low + high) / 2.0) > 0.0)


def blocked_years(origin, target, feet, kind, crowns, shapes, ways=None) -> np.ndarray:
    """Find the years in which each sight line is blocked, as `screenplan.views.kernel.blocked_years` does.

    Parameters
    ----------
    origin, target : ndarray, (rays, 3)
    feet : ndarray, (plants, 3)
        Feet of the stems, in any order.
    kind : sequence of int, (plants,)
        Growth class of each plant, an index into ``shapes`` and the sizes of ``crowns``.
    crowns : CrownTable
    shapes : sequence of str or CrownShape, (classes,), or of sequences of them, (classes, growths)
    ways : ndarray, (plants, 2), optional
        Direction of the row at each plant, for boxes.

    Returns
    -------
    ndarray of int64, (rays, layers, growths)
        Bit y is set if a plant of that layer blocks the sight line in year y.
    """
    _, growths, years = crowns.height.shape
    masks = np.zeros((len(origin), len(crowns.leafless), growths), np.int64)
    ways = np.broadcast_to((1.0, 0.0), (len(feet), 2)) if ways is None else ways
    for foot, k, way in zip(feet, kind, ways, strict=True):
        for g, shape in enumerate(shapes_by_growth(shapes[k], growths)):
            sizes = [
                size[k, g] for size in (crowns.height, crowns.radius, crowns.clear, crowns.across)
            ]
            met = is_met(shape, origin[:, None], target[:, None], foot, sizes, way)
            masks[:, crowns.layer[k], g] |= met @ (1 << np.arange(years))
    return masks
