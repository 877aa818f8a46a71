"""Patterns by station arithmetic."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from screenplan.planting.patterns import (
    EQUILATERAL,
    evened,
    exact,
    staggered,
)

spacings = st.floats(0.2, 6.0)


@pytest.mark.parametrize(
    ("length", "spacing", "plants"),
    # floor(L/s) + 1 (arithmetic); 0.3 = 3 × 0.1 only up to the last bit.
    [(30, 1.5, 21), (31, 1.5, 21), (0.3, 0.1, 4), (1.4, 1.5, 1), (0, 1.5, 1)],
)
def test_exact_counts(length, spacing, plants):
    assert len(exact(0.0, length, spacing)) == plants


@given(st.integers(1, 400), spacings)
def test_a_length_of_k_spacings_holds_k_plus_one(k, spacing):
    length = sum([spacing] * k)  # the rounding of a sum, not of a product
    for stations in (exact(0.0, length, spacing), evened(0.0, length, spacing)):
        assert len(stations) == k + 1
        assert len(staggered(stations)) == k  # one fewer (arithmetic)


@given(st.floats(-50, 50), st.floats(0, 200), spacings)
def test_exact_starts_at_the_start_and_keeps_the_spacing(start, length, spacing):
    stations = exact(start, start + length, spacing)
    assert stations[0] == start
    assert stations[-1] <= start + length
    assert np.diff(stations) == pytest.approx(spacing, rel=1e-5)
    assert start + length - stations[-1] < spacing * 1.00001


@given(st.floats(-50, 50), st.floats(0.01, 200), spacings)
def test_evened_plants_both_ends_and_no_gap_exceeds_the_spacing(start, length, spacing):
    stations = evened(start, start + length, spacing)
    if length < spacing * 0.499:
        assert stations == pytest.approx([start + length / 2])
        return
    if length < spacing * 0.501:
        return  # on the limit either is right
    assert stations[0] == start
    assert stations[-1] == pytest.approx(start + length)
    assert np.diff(stations).max() <= spacing * 1.00001
    # ceil(L/s) + 1 plants: one fewer would leave a gap above the spacing.
    assert length / max(len(stations) - 2, 1) > spacing * 0.99999 or len(stations) == 2


@pytest.mark.evidence(
    part="Plants and growth",
    kind="published",
    against="Plants of a field of equal-sided triangles against a square grid: 15 % more",
    source="ICAR",
    status="read",
    tolerance="0.5 %",
)
def test_equilateral_field_holds_15_percent_more_than_the_square_grid():
    # Plants per area 2/(√3 s²) against 1/s²: 15 % more (ICAR, read). Per area of a field.
    side, s = 600.0, 1.5
    square = len(exact(0, side, s)) ** 2
    rows = exact(0, side, EQUILATERAL * s)
    triangles = sum(len(exact(0 if row % 2 == 0 else s / 2, side, s)) for row in range(len(rows)))
    # The edge of the field costs up to a row and half a plant per row: 0.5 % here.
    assert triangles / square == pytest.approx(2 / math.sqrt(3), rel=0.005)
    # For a double row it does not hold: 2n - 1 plants either way.
    assert len(exact(0, 30, s)) + len(staggered(exact(0, 30, s))) == 41
