"""Outlines of crowns seen from the side, and circles of crowns seen from above."""

from __future__ import annotations

import numpy as np

from screenplan.ground.crown_shapes import CrownShape, is_along_row, shape_of


def crown_outline(
    shape: str | CrownShape,
    height: float,
    spread: float,
    clear_stem: float = 0.0,
    exponent: float | None = None,
) -> np.ndarray:
    """Outline of a crown seen from the side, its stem at 0, from its lower left corner on.

    Parameters
    ----------
    shape : str or CrownShape
    height, spread, clear_stem : float
        Metres.
    exponent : float, optional
        That of the profile, where the shape has one.

    Returns
    -------
    ndarray, (points, 2)
        Metres, an open ring.
    """
    right = np.array(shape_of(shape, exponent).outline()) * (spread / 2.0, height - clear_stem)
    right[:, 1] += clear_stem
    left = right[::-1] * (-1.0, 1.0)
    return np.concatenate([left[::-1], right[::-1]])


def add_crowns(ax, feet, crowns, **options) -> list:
    """Draw crowns seen from above at true size: circles, and the rectangles of clipped hedges.

    Parameters
    ----------
    ax : Axes
    feet : ndarray, (crowns, 2)
        Stems, metres.
    crowns : GeoDataFrame
        Rows of the layer ``crowns``.
    **options
        Of a collection; ``gid`` is numbered.
    """
    from matplotlib.collections import PolyCollection

    box = np.array([is_along_row(shape) for shape in crowns["shape"]], bool)
    made = add_circles(ax, feet[~box], crowns["spread_m"][~box], **options)
    if box.any():
        gid = options.pop("gid", None)
        rings = [np.asarray(area.exterior.coords) for area in crowns.geometry[box]]
        boxes = PolyCollection(rings, **options)
        if gid:
            boxes.set_gid(f"{gid}-box")
        made.append(ax.add_collection(boxes, autolim=False))
    return made


def add_circles(ax, xy, diameters, **options) -> list:
    """Draw circles at true size; equal ones share one path.

    Parameters
    ----------
    ax : Axes
    xy : ndarray, (circles, 2)
        Middles, metres.
    diameters : ndarray, (circles,)
        Metres.
    **options
        Of a collection; ``gid`` is numbered.
    """
    from matplotlib.collections import EllipseCollection

    made = []
    diameters = np.round(np.asarray(diameters, float), 4)
    gid = options.pop("gid", None)
    for number, size in enumerate(np.unique(diameters)):
        circles = EllipseCollection(
            [size], [size], [0.0], units="xy", offsets=xy[diameters == size],
            offset_transform=ax.transData, **options,
        )  # fmt: skip
        if gid:
            circles.set_gid(f"{gid}-{number}")
        made.append(ax.add_collection(circles, autolim=False))
    return made
