"""Sight lines against single crowns, by the compiled tests of the kernel."""

import numpy as np

from screenplan.ground.crown_shapes import SHAPES, shape_of
from screenplan.views.solids import LEVEL_PER, box_stretch, crown_forms, form_hit, form_stretch

CONE, COLUMN, PARABOLOID, ELLIPSOID, BOX = "cone", "column", "paraboloid", "ellipsoid", "box"
#: Shapes that are round in plan.
ROUND = tuple(word for word, shape in SHAPES.items() if not shape.along_row)


def line_terms(origin, target, foot):
    """Give a, b, e, pz, dz of a sight line, as `screenplan.views.solids` has them."""
    p = np.asarray(origin, float) - np.asarray(foot, float)
    d = np.asarray(target, float) - np.asarray(origin, float)
    return d[:2] @ d[:2], p[:2] @ d[:2], p[:2] @ p[:2], p[2], d[2]


def form_of(shape, height, radius, clear, across=None):
    across = radius if across is None else across
    return crown_forms(shape_of(shape), *np.array([height, radius, clear, across], float))


def crown_hit(shape, a, b, e, pz, dz, height, radius, clear):
    """Tell whether a sight line passes through the inside of a round crown."""
    per_dz = 1.0 / dz if dz != 0.0 else LEVEL_PER
    return form_hit(a, b, e, pz, dz, per_dz, 0.0, 1.0, *form_of(shape, height, radius, clear))


def chord_length(
    shape, origin, target, foot, height, radius, clear=0.0, across=None, row=(1.0, 0.0)
):
    """Length of a sight line inside one crown; ``row`` is the direction of a box's row."""
    way = np.asarray(target, float) - np.asarray(origin, float)
    form = form_of(shape, height, radius, clear, across)
    if shape_of(shape).along_row:
        (x, y, z), (ux, uy) = np.asarray(origin, float) - np.asarray(foot, float), row
        stretch = box_stretch(
            x * ux + y * uy, y * ux - x * uy, z,
            way[0] * ux + way[1] * uy, way[1] * ux - way[0] * uy, way[2], 0.0, 1.0, *form[:4],
        )  # fmt: skip
    else:
        stretch = form_stretch(*line_terms(origin, target, foot), *form)
    return max(stretch[1] - stretch[0], 0.0) * float(np.linalg.norm(way))
