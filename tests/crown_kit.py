"""Sight lines against single crowns, by the compiled tests of the kernel."""

import numpy as np

from screenplan.ground.crown_shapes import SHAPES, power_shape, shape_of
from screenplan.views.chords import any_stretch
from screenplan.views.crowns import tabulate_crowns
from screenplan.views.runs import UPRIGHT_M
from screenplan.views.solids import (
    IN_ALL,
    LEVEL_PER,
    box_stretch,
    crown_forms,
    crown_pieces,
    form_hit,
    form_stretch,
    how_made,
    stacked_stretch,
    stacked_upright,
)

CONE, COLUMN, PARABOLOID, ELLIPSOID, BOX = "cone", "column", "paraboloid", "ellipsoid", "box"
#: Shapes that are round in plan.
ROUND = tuple(word for word, shape in SHAPES.items() if not shape.along_row)
#: Crowns with an exponent: as published ones are, and steeper and blunter ones.
EXPONENTS = (0.05, 0.2, 0.3, 0.4, 0.7)
POWERS = tuple(power_shape(exponent) for exponent in EXPONENTS)


def named(shape):
    """Give a name to a shape, for the lists of tests."""
    return shape if isinstance(shape, str) else f"{shape.word}-{shape.exponent}"


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
    if shape_of(shape).pieces:
        return _stacked_hit(shape_of(shape), a, b, e, pz, dz, height, radius, clear)
    per_dz = 1.0 / dz if dz != 0.0 else LEVEL_PER
    return form_hit(a, b, e, pz, dz, per_dz, 0.0, 1.0, *form_of(shape, height, radius, clear))


def _stacked_hit(shape, a, b, e, pz, dz, height, radius, clear):
    h, c, _, l, n = form_of(shape, height, radius, clear)  # noqa: E741
    pieces, in_all = crown_pieces(shape), how_made(shape) == IN_ALL
    reach = np.sqrt(a)
    if reach < UPRIGHT_M:
        one, two = stacked_upright(e, pz, dz, h, c, l, n, pieces, in_all)
        return one < two
    slope, along = dz / reach, -b / reach
    per_slope = 1.0 / slope if slope != 0.0 else LEVEL_PER
    one, two = stacked_stretch(
        max(e - along * along, 0.0), pz + along * slope, slope, per_slope, -along, reach - along,
        h, c, l, n, pieces, in_all,
    )  # fmt: skip
    return one < two


def chord_length(
    shape, origin, target, foot, height, radius, clear=0.0, across=None, row=(1.0, 0.0)
):
    """Length of a sight line inside one crown; ``row`` is the direction of a box's row."""
    way = np.asarray(target, float) - np.asarray(origin, float)
    form = form_of(shape, height, radius, clear, across)
    if shape_of(shape).pieces:
        start = np.asarray(origin, float) - np.asarray(foot, float)
        sizes = (np.full((1, 1, 1), float(size)) for size in (height, radius, clear))
        table = tabulate_crowns([shape], *sizes)
        stretch = any_stretch(False, table, 0, 0, 0, *start, *way, np.array(row))
    elif shape_of(shape).along_row:
        (x, y, z), (ux, uy) = np.asarray(origin, float) - np.asarray(foot, float), row
        stretch = box_stretch(
            x * ux + y * uy, y * ux - x * uy, z,
            way[0] * ux + way[1] * uy, way[1] * ux - way[0] * uy, way[2], 0.0, 1.0, *form[:4],
        )  # fmt: skip
    else:
        stretch = form_stretch(*line_terms(origin, target, foot), *form)
    return max(stretch[1] - stretch[0], 0.0) * float(np.linalg.norm(way))
