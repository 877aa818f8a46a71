"""Sight lines against crowns: closed forms, dense stepping, and a ray tracer on triangles."""

import math

import numpy as np
import pytest
from crown_kit import (
    COLUMN,
    CONE,
    ELLIPSOID,
    PARABOLOID,
    POWERS,
    ROUND,
    chord_length,
    crown_hit,
    line_terms,
    named,
)
from crown_shape_toy import DOME
from hypothesis import assume, given
from hypothesis import strategies as st

from screenplan.ground.errors import InputError
from screenplan.planting import shapes as planted
from screenplan.planting.shapes import is_nested
from screenplan.views.crowns import tabulate_crowns

#: Those that there are, one that a test adds, and crowns with an exponent.
SHAPES = (*ROUND, DOME, *POWERS)
FOOT = (3.0, -2.0, 1.0)
#: Stepping finds a chord to within its step at either end.
STEPS = 20_000


def hit(shape, origin, target, h, r, c=0.0, foot=FOOT):
    return crown_hit(shape, *line_terms(origin, target, foot), h, r, c)


def chord(shape, origin, target, h, r, c=0.0, foot=FOOT):
    return chord_length(shape, origin, target, foot, h, r, c)


def shifted(*points):
    return [tuple(np.add(point, FOOT)) for point in points]


def inside(shape, p, h, r, c):
    """Tell whether points are inside: the implicit solid, written apart from the code tested."""
    x, y, z = np.moveaxis(np.asarray(p) - FOOT, -1, 0)
    rho = np.hypot(x, y)
    depth = h - c
    within = (z > c) & (z < h)
    up = np.clip((h - z) / depth, 0.0, None)
    if shape == CONE:
        return within & (rho < r * up)
    if shape == COLUMN:
        return within & (rho < r)
    if shape == PARABOLOID:
        return within & (rho < r * np.sqrt(up))
    if shape in POWERS:
        return within & (rho < r * np.sqrt(np.maximum(shape.square_at(up), 0.0)))
    if shape == DOME:
        return within & ((rho / r) ** 2 + (1.0 - up) ** 2 < 1.0)
    if shape == ELLIPSOID:
        return (rho / r) ** 2 + ((z - (h + c) / 2) / (depth / 2)) ** 2 < 1.0
    raise NotImplementedError(f"write the solid of a {shape.word} here, apart from its record")


# Closed forms: level lines at height z through the axis are as long as the crown is wide there.
@pytest.mark.parametrize(
    ("shape", "z", "expected"),
    [
        (CONE, 1.0, 2 * 1.5 * (4 - 1) / 4),
        (CONE, 3.0, 2 * 1.5 * (4 - 3) / 4),
        (COLUMN, 1.0, 3.0),
        (PARABOLOID, 3.0, 2 * 1.5 * math.sqrt(1 / 4)),
        (ELLIPSOID, 2.0, 3.0),
        (ELLIPSOID, 3.0, 2 * 1.5 * math.sqrt(1 - (1 / 2) ** 2)),
    ],
)
def test_level_line_through_the_axis(shape, z, expected):
    o, t = shifted((-9.0, 0.0, z), (9.0, 0.0, z))
    assert chord(shape, o, t, 4.0, 1.5) == pytest.approx(expected, abs=1e-12)
    assert hit(shape, o, t, 4.0, 1.5)


# Closed form: off the axis by v the chord is 2 sqrt(r(z)^2 - v^2).
@pytest.mark.parametrize("shape", SHAPES, ids=named)
def test_level_line_beside_the_axis(shape):
    z, v = 2.5, 0.4
    r = planted.shape_radius(shape, 4.0, 3.0, 0.5, z)
    o, t = shifted((-9.0, v, z), (9.0, v, z))
    assert chord(shape, o, t, 4.0, 1.5, 0.5) == pytest.approx(2 * math.sqrt(r**2 - v**2), abs=1e-12)


# Closed form: an upright line at distance v from the axis is inside from the clear stem (or the
# ellipsoid's lower surface) up to the height at which the crown's radius is v.
@pytest.mark.parametrize(
    ("shape", "expected"),
    [
        (CONE, 4.0 * (1 - 0.6 / 1.5)),
        (COLUMN, 4.0),
        (PARABOLOID, 4.0 * (1 - (0.6 / 1.5) ** 2)),
        (ELLIPSOID, 4.0 * math.sqrt(1 - (0.6 / 1.5) ** 2)),
    ],
)
def test_upright_line(shape, expected):
    o, t = shifted((0.6, 0.0, -3.0), (0.6, 0.0, 9.0))
    assert chord(shape, o, t, 4.5, 1.5, 0.5) == pytest.approx(expected, abs=1e-12)
    assert chord(shape, t, o, 4.5, 1.5, 0.5) == pytest.approx(expected, abs=1e-12)
    assert hit(shape, o, t, 4.5, 1.5, 0.5)


@pytest.mark.parametrize("shape", SHAPES, ids=named)
def test_along_the_axis(shape):
    o, t = shifted((0.0, 0.0, -1.0), (0.0, 0.0, 9.0))
    assert chord(shape, o, t, 4.0, 1.5, 0.5) == pytest.approx(3.5, abs=1e-12)
    assert hit(shape, o, t, 4.0, 1.5, 0.5)


# Closed form: through a cone's apex at a slope steeper than its side, the line is inside all the
# way down to the base; flatter than its side, it only touches.
def test_steep_line_through_the_apex_of_a_cone():
    o, t = shifted((-0.5, 0.0, 6.0), (1.0, 0.0, 0.0))  # slope 4 : 1, side 4 : 1.5
    assert chord(CONE, o, t, 4.0, 1.5) == pytest.approx(math.hypot(1.0, 4.0), abs=1e-9)
    assert hit(CONE, o, t, 4.0, 1.5)
    o, t = shifted((-6.0, 0.0, 6.0), (6.0, 0.0, 2.0))
    assert chord(CONE, o, t, 4.0, 1.5) == pytest.approx(0.0, abs=1e-9)
    assert not hit(CONE, o, t, 4.0, 1.5)


# Closed form: a line parallel to the cone's side, shifted by 0.5 m towards the other side, enters
# there and leaves through the base: similar triangles leave 5/6 of the slant height.
def test_line_parallel_to_the_side_of_a_cone():
    o, t = shifted((-1.0, 0.0, 5.0 + 1 / 3), (1.5, 0.0, -1.5 + 1 / 6))
    direction = np.subtract(t, o)
    assert direction[2] / direction[0] == pytest.approx(-4.0 / 1.5)
    expected = math.hypot(1.25, 1.25 * 4 / 1.5)
    assert chord(CONE, o, t, 4.0, 1.5) == pytest.approx(expected, abs=1e-6)


# Touching is no hit: tangents in plan and over the top.
@pytest.mark.parametrize("shape", SHAPES, ids=named)
def test_tangents_have_no_chord(shape):
    z = 2.0
    r = float(planted.shape_radius(shape, 4.0, 3.0, 0.0, z))
    for o, t in (
        shifted((-9.0, r, z), (9.0, r, z)),
        shifted((-9.0, 0.0, 4.0), (9.0, 0.0, 4.0)),
    ):
        assert chord(shape, o, t, 4.0, 1.5) == pytest.approx(0.0, abs=1e-6)
    just_outside = shifted((-9.0, r + 1e-7, z), (9.0, r + 1e-7, z))
    just_inside = shifted((-9.0, r - 1e-7, z), (9.0, r - 1e-7, z))
    assert not hit(shape, *just_outside, 4.0, 1.5)
    assert hit(shape, *just_inside, 4.0, 1.5)


@pytest.mark.parametrize("shape", SHAPES, ids=named)
def test_begins_or_ends_inside(shape):
    middle, out, near = shifted((0.0, 0.0, 2.0), (9.0, 0.0, 2.0), (0.1, 0.0, 2.0))
    r = float(planted.shape_radius(shape, 4.0, 3.0, 0.0, 2.0))
    assert chord(shape, middle, out, 4.0, 1.5) == pytest.approx(r, abs=1e-12)
    assert chord(shape, out, middle, 4.0, 1.5) == pytest.approx(r, abs=1e-12)
    assert chord(shape, middle, near, 4.0, 1.5) == pytest.approx(0.1, abs=1e-12)
    assert hit(shape, middle, near, 4.0, 1.5)


@pytest.mark.parametrize("shape", SHAPES, ids=named)
def test_ends_short_of_the_crown_or_passes_under_it(shape):
    o, t = shifted((-9.0, 0.0, 2.0), (-2.0, 0.0, 2.0))
    assert not hit(shape, o, t, 4.0, 1.5)
    o, t = shifted((-9.0, 0.0, 0.4), (9.0, 0.0, 0.4))
    assert not hit(shape, o, t, 4.0, 1.5, 0.5)
    o, t = shifted((-9.0, 0.0, 4.1), (9.0, 0.0, 4.1))
    assert not hit(shape, o, t, 4.0, 1.5, 0.5)


@pytest.mark.parametrize("shape", SHAPES, ids=named)
def test_crown_of_no_size_has_no_inside(shape):
    o, t = shifted((-9.0, 0.0, 0.5), (9.0, 0.0, 0.5))
    for h, r, c in ((0.0, 1.0, 0.0), (1.0, 0.0, 0.0), (1.0, 1.0, 1.0), (1.0, 1.0, 2.0)):
        assert not hit(shape, o, t, h, r, c)
        assert chord(shape, o, t, h, r, c) == 0.0


def test_sight_line_of_no_length():
    (o,) = shifted((0.0, 0.0, 1.0))
    for shape in SHAPES:
        assert chord(shape, o, o, 4.0, 1.5) == 0.0


# Brute force: points along the line, tested one by one against the implicit solid.
@pytest.mark.parametrize("shape", SHAPES, ids=named)
def test_against_dense_stepping(shape):
    rng = np.random.default_rng(7)
    t = (np.arange(STEPS) + 0.5) / STEPS
    for _ in range(150):
        o = np.array(FOOT) + rng.uniform((-3, -3, -1), (3, 3, 6))
        q = np.array(FOOT) + rng.uniform((-3, -3, -1), (3, 3, 6))
        h, r, c = rng.uniform(2, 5), rng.uniform(0.3, 2), rng.uniform(0, 1.5)
        within = inside(shape, o + t[:, None] * (q - o), h, r, c)
        length = np.linalg.norm(q - o)
        got = chord(shape, o, q, h, r, c)
        assert got == pytest.approx(within.mean() * length, abs=2 * length / STEPS)
        if within.any():
            assert hit(shape, o, q, h, r, c)
        if got > 1e-9:
            assert hit(shape, o, q, h, r, c)
        else:
            assert not within.any()


coordinate = st.floats(-10, 10, allow_nan=False)
points = st.tuples(coordinate, coordinate, coordinate)


# Invariant: the two compiled tests agree, and the way of travel does not matter.
@given(
    st.sampled_from(SHAPES),
    points,
    points,
    st.floats(0.5, 8),
    st.floats(0.1, 3),
    st.floats(0, 0.4),
)
def test_hit_agrees_with_chord_and_is_reciprocal(shape, o, q, h, r, c):
    # A line of no length has no chord, wherever it lies; eye and target at one place are refused.
    assume(math.dist(o, q) > 1e-3)
    got = chord(shape, o, q, h, r, c)
    assert chord(shape, q, o, h, r, c) == pytest.approx(got, abs=1e-6)
    if got > 1e-6:
        assert hit(shape, o, q, h, r, c)
    elif hit(shape, o, q, h, r, c):
        # A graze that rounding decides: a slightly slimmer crown is missed.
        assert not hit(shape, o, q, h - 1e-6, r - 1e-6, c + 1e-6)


# Invariant: a crown that holds another is met by every line that meets the other.
@given(
    st.sampled_from(SHAPES),
    points,
    points,
    *[st.floats(0.5, 5), st.floats(0.1, 2), st.floats(0, 0.4)] * 2,
)
def test_nested_crowns_hide_no_less(shape, o, q, h1, r1, c1, h0, r0, c0):
    if is_nested(shape, (h1, r1, c1), (h0, r0, c0)) and chord(shape, o, q, h0, r0, c0) > 1e-6:
        assert hit(shape, o, q, h1, r1, c1)


# Brute force: containment of profiles at many heights.
@given(
    st.sampled_from(SHAPES),
    *[st.floats(0.5, 5), st.floats(0.1, 2), st.floats(0, 0.4)] * 2,
)
def test_nested_agrees_with_the_profiles(shape, h1, r1, c1, h0, r0, c0):
    z = np.linspace(c0, h0, 400)[1:-1]
    outer = planted.shape_radius(shape, h1, 2 * r1, c1, z)
    inner = planted.shape_radius(shape, h0, 2 * r0, c0, z)
    if is_nested(shape, (h1, r1, c1), (h0, r0, c0)):
        assert (outer >= inner - 1e-4).all()
    elif (outer >= inner + 1e-3).all():
        # All but the very ends: there the difference must be where they part.
        assert h0 > h1 - 1e-2 or c0 < c1 + 1e-2


def test_nested_by_hand():
    # Trivial by construction.
    assert is_nested(CONE, (3.0, 1.0, 0.0), (2.0, 1.0, 0.0))
    assert is_nested(COLUMN, (3.0, 1.0, 0.0), (2.0, 1.0, 0.5))
    assert not is_nested(COLUMN, (3.0, 1.0, 0.6), (2.0, 1.0, 0.5))
    # Taller at the same width, an ellipsoid is slimmer low down.
    assert not is_nested(ELLIPSOID, (4.0, 1.0, 0.0), (2.0, 1.0, 0.0))
    # Growing in proportion it is not.
    assert is_nested(ELLIPSOID, (4.0, 2.0, 0.0), (2.0, 1.0, 0.0))
    # A cone whose stem clears is lost below it.
    assert not is_nested(CONE, (4.0, 2.0, 0.3), (2.0, 1.0, 0.0))


def test_years_are_cut_where_nesting_breaks():
    # By construction: an ellipsoid that grows in proportion to year 2 and only taller after.
    h = np.array([1.0, 2.0, 3.0, 4.0, 5.0])[None, :, None]
    r = np.array([0.3, 0.6, 0.9, 0.9, 0.9])[None, :, None]
    table = tabulate_crowns([ELLIPSOID], h, r, 0 * h)
    assert table.nested[0, 0].tolist() == [0b00111, 0b01000, 0b10000]


def test_crowns_whose_stems_clear_are_nested_above_the_highest_clear_stem():
    # By construction: what is widest at its foot and only grows loses nothing but what its stem clears.
    h = np.array([1.0, 2.0, 3.0, 4.0])[None, :, None]
    stem = np.minimum(0.2 * h, 0.5)
    kinds = [CONE, COLUMN, PARABOLOID, *POWERS]
    every = np.ones(len(kinds))
    table = tabulate_crowns(kinds, h * every, 0.3 * h * every, stem * every)
    assert (table.nested_from == 0.5).all()
    assert (tabulate_crowns([CONE], h, 0.3 * h, 0 * h).nested_from == 0.0).all()
    assert np.isinf(tabulate_crowns([ELLIPSOID], h, 0.3 * h, stem).nested_from).all()
    # One that draws in is nested above no height.
    assert np.isinf(tabulate_crowns([CONE], h, 1.0 / h, stem).nested_from).all()


def test_table_refuses_what_would_be_a_silent_error():
    h = np.ones((1, 3, 1))
    with pytest.raises(ValueError, match="finite"):
        tabulate_crowns([CONE], h * np.nan, h, h)
    with pytest.raises(InputError, match=r"5 is not a crown shape\. Write one of cone, column, "):
        tabulate_crowns([5], h, h, h)
    with pytest.raises(ValueError, match="years fit"):
        tabulate_crowns([CONE], np.ones((1, 63, 1)), np.ones((1, 63, 1)), np.ones((1, 63, 1)))
