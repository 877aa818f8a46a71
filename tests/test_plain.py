"""The plain version of the kernel: closed forms, and that the kernel agrees with it ray by ray."""

import math

import numpy as np
import pytest
from crown_kit import BOX, COLUMN, CONE, ELLIPSOID, PARABOLOID, POWERS
from crown_shape_toy import DOME
from hypothesis import given, settings
from hypothesis import strategies as st

from screenplan.ground.crown_shapes import SHAPES, shape_of
from screenplan.views.crowns import tabulate_crowns
from screenplan.views.kernel import arrange_runs, blocked_years
from screenplan.views.plain import blocked_years as plainly
from screenplan.views.plain import is_met

#: Those that there are, one that a test adds, and crowns with an exponent.
EVERY = (*SHAPES, DOME, *POWERS)
YEARS = 6


def meets(shape, origin, target, size, way=(1.0, 0.0)):
    shape = shape_of(shape)
    return bool(is_met(shape, np.array(origin), np.array(target), np.zeros(3), size, way))


# Closed forms: a level line at the height z passes at the radius of the crown there, less or more by
# 1e-7; a crown of 4 m, clear to 0 m, with a radius of 1.5 m.
@pytest.mark.parametrize(
    ("shape", "z", "radius"),
    [
        (CONE, 1.0, 1.5 * 3 / 4),
        (COLUMN, 3.9, 1.5),
        (PARABOLOID, 3.0, 1.5 * math.sqrt(1 / 4)),
        (ELLIPSOID, 3.0, 1.5 * math.sqrt(1 - (1 / 2) ** 2)),
        (DOME, 2.0, 1.5 * math.sqrt(1 - (1 / 2) ** 2)),
    ],
)
def test_level_line_beside_a_crown(shape, z, radius):
    for beside, expected in ((radius - 1e-7, True), (radius + 1e-7, False)):
        line = (-9.0, beside, z), (5.0, beside, z)
        assert meets(shape, *line, (4.0, 1.5, 0.0, 1.5)) is expected


# By hand: a box 3 m along its row and 1 m across it, seen along either side of its corner.
def test_a_box_lies_along_its_row():
    size = 2.0, 1.5, 0.0, 0.5
    assert meets(BOX, (1.4, -9.0, 1.0), (1.4, 9.0, 1.0), size)
    assert not meets(BOX, (1.6, -9.0, 1.0), (1.6, 9.0, 1.0), size)
    assert not meets(BOX, (1.4, -9.0, 1.0), (1.4, 9.0, 1.0), size, way=(0.0, 1.0))
    assert meets(BOX, (0.4, -9.0, 1.0), (0.4, 9.0, 1.0), size, way=(0.0, 1.0))


# By hand: over the top, under the leaves, along either of their levels, ending before the crown, and
# crowns without an inside.
@pytest.mark.parametrize("shape", EVERY)
def test_lines_that_meet_nothing(shape):
    size = 4.0, 1.5, 0.5, 1.5
    for z in (0.4, 0.5, 4.0, 4.1):
        assert not meets(shape, (-9.0, 0.0, z), (9.0, 0.0, z), size)
    assert meets(shape, (-9.0, 0.0, 2.0), (9.0, 0.0, 2.0), size)
    assert not meets(shape, (-9.0, 0.0, 2.0), (-2.0, 0.0, 2.0), size)
    for none in ((0.0, 1.0, 0.0), (3.0, 0.0, 0.0), (1.0, 1.0, 1.0), (1.0, 1.0, 2.0)):
        assert not meets(shape, (-9.0, 0.0, 0.5), (9.0, 0.0, 0.5), (*none, none[1]))


# By hand: upright lines beside the stem, from above down to a height within the crown or over it.
@pytest.mark.parametrize("shape", EVERY)
def test_upright_lines(shape):
    size = 4.0, 1.5, 0.5, 1.5
    assert meets(shape, (0.2, 0.0, 9.0), (0.2, 0.0, 2.0), size)
    assert not meets(shape, (0.2, 0.0, 9.0), (0.2, 0.0, 4.0), size)
    assert not meets(shape, (0.2, 1.51, 9.0), (0.2, 1.51, 0.0), size)


# Brute force: random rows of every shape, whose crowns grow and whose stems clear. All rays agree to the
# bit: one that grazes a crown by less than the search of the plain version leaves is too rare to be drawn.
@settings(max_examples=12)
@given(st.integers(0, 2**16), st.sampled_from([0.0, 0.15]), st.booleans())
def test_the_kernel_agrees(seed, stem, bare):
    rng = np.random.default_rng(seed)
    height = np.cumsum(rng.uniform(0.0, 0.7, (2, YEARS, len(EVERY))), axis=1)
    sizes = height, np.minimum(0.3 * height, 0.9), stem * height, 0.1 * height
    winter = rng.choice([0.5, 1.0], len(EVERY)) if bare else None
    feet = np.column_stack([1.1 * np.arange(7), rng.normal(0.0, 0.3, 7), rng.uniform(0, 1, 7)])
    kind = rng.integers(0, len(EVERY), 7)
    middle = feet[rng.integers(0, 7, 150)] + rng.normal(0.0, 1.0, (150, 3))
    way = rng.normal(0.0, 1.0, (150, 3)) * (6.0, 6.0, 3.0)
    way[:10, :2], way[10:20, 2] = 0.0, 0.0  # upright ones and level ones
    origin, target = middle - way, middle + way

    crowns = tabulate_crowns(EVERY, *sizes[:3], winter, across=sizes[3])
    runs = arrange_runs(*feet.T, kind, np.zeros(7, int), crowns)
    ways = runs.way[np.argsort(runs.order)]
    plain = plainly(origin, target, feet, kind, crowns, EVERY, ways)
    assert np.array_equal(blocked_years(origin, target, runs, crowns), plain)
    assert (plain != 0).any()
