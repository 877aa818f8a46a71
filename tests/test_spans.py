"""Stretches of lines on some ground, against lengths by shapely and by hand."""

import itertools

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.ops import substring

from screenplan.planting.spans import (
    CLEARANCE_M,
    SAME_M,
    covered_spans,
    covered_spans_each,
    cut_out_each,
    places_on,
    plantable_stretches,
    plantable_stretches_each,
)

SPOT = st.tuples(st.integers(-8, 8), st.integers(-8, 8))
BOX = st.tuples(SPOT, st.integers(1, 6), st.integers(1, 6))


@st.composite
def lines_on_grounds(draw):
    """Bent lines, each with the ground of a few boxes."""
    lines, grounds = [], []
    for _ in range(draw(st.integers(1, 4))):
        spots = draw(st.lists(SPOT, min_size=2, max_size=5, unique=True))
        lines.append(shapely.LineString(np.array(spots) + 0.25))
        boxes = draw(st.lists(BOX, max_size=3))
        grounds.append(
            shapely.union_all([shapely.box(x, y, x + w, y + h) for (x, y), w, h in boxes])
        )
    return np.array(lines, dtype=object), np.array(grounds, dtype=object)


def pairs(found, number):
    """The stretches of one line."""
    line, low, high = found
    return list(zip(low[line == number], high[line == number], strict=True))


@settings(max_examples=60)
@given(lines_on_grounds())
def test_many_lines_at_once_are_as_each_alone(made):
    """Invariant: to the last digit, with a ground of its own for each line."""
    lines, grounds = made
    spans, stretches = covered_spans_each(lines, grounds), plantable_stretches_each(lines, grounds)
    for number, (line, ground) in enumerate(zip(lines, grounds, strict=True)):
        assert pairs(spans, number) == covered_spans(line, ground)
        assert pairs(stretches, number) == plantable_stretches(line, ground)
    for found in (spans, stretches):
        assert list(found[0]) == sorted(found[0])


@settings(max_examples=60)
@given(lines_on_grounds())
def test_spans_are_what_lies_on_the_ground(made):
    """Another library: on a line that does not cross itself they add up to the length that shapely cuts out."""
    lines, grounds = made
    for line, ground in zip(lines, grounds, strict=True):
        spans = covered_spans(line, ground)
        assert all(-SAME_M <= a < b <= line.length + SAME_M for a, b in spans)
        assert all(a[1] < b[0] for a, b in itertools.pairwise(spans))
        if line.is_simple:
            on = shapely.intersection(line, ground).length
            assert sum(b - a for a, b in spans) == pytest.approx(on, abs=1e-6)


def test_ends_keep_off_an_edge_and_a_free_end_stays():
    """By hand: the line enters the ground at 2 m, and ends in it at 9 m."""
    line, ground = shapely.LineString([(0, 0), (9, 0)]), shapely.box(2, -5, 20, 5)
    assert covered_spans(line, ground) == [pytest.approx((2.0, 9.0))]
    assert plantable_stretches(line, ground) == [pytest.approx((2.0 + CLEARANCE_M, 9.0))]
    assert plantable_stretches(line, shapely.Polygon()) == []


@settings(max_examples=60)
@given(lines_on_grounds(), st.integers(0, 7), st.integers(8, 16))
def test_stretches_are_cut_out_as_shapely_does(made, low, high):
    """Another library, line by line: to the last digit."""
    lines, _ = made
    ends = [shapely.length(lines) * sixteenth / 16.0 for sixteenth in (low, high)]
    for cut, line, a, b in zip(cut_out_each(lines, *ends), lines, *ends, strict=True):
        assert shapely.to_wkb(cut) == shapely.to_wkb(substring(line, a, b))


@settings(max_examples=60)
@given(lines_on_grounds(), st.lists(st.floats(-2.0, 40.0), max_size=8))
def test_places_are_where_geos_finds_them(made, far):
    """Another library: GEOS, to the last digit; also at the ends, beyond them, at corners and of closed lines."""
    lines, _ = made
    rings = [shapely.LineString([*line.coords, line.coords[0]]) for line in lines]
    lines = np.array([*lines, *rings], dtype=object)
    corners = [shapely.line_locate_point(line, shapely.Point(line.coords[1])) for line in lines]
    each = [[*far, 0.0, corner, line.length] for corner, line in zip(corners, lines, strict=True)]
    of = np.repeat(np.arange(len(lines)), len(far) + 3)
    at = np.ravel(each)
    at[at < 0.0] = 0.0  # shapely counts from the end there
    expected = shapely.get_coordinates(shapely.line_interpolate_point(lines[of], at))
    assert (places_on(lines, of, at) == expected).all()
    assert (places_on(lines, of, np.where(at == 0.0, -1.0, at)) == expected).all()


def test_a_line_that_lies_whole_on_its_ground_has_one_span_of_its_own_length():
    """Arithmetic: 5 m, also where the ground has a hole beside the line or the line runs on its edge."""
    line = shapely.LineString([(0, 0), (3, 4)])
    square = shapely.box(-1, -1, 6, 6)
    holed = square.difference(shapely.box(4, 0, 5, 1))
    edge = shapely.Polygon([(0, 0), (3, 4), (0, 4)])
    for ground in (square, holed, edge):
        assert covered_spans(line, ground) == [(0.0, 5.0)]
    # Not whole: the ground ends after 2.5 m.
    assert covered_spans(line, shapely.box(-1, -1, 1.5, 6)) == [
        (pytest.approx(0.0, abs=SAME_M), pytest.approx(2.5))
    ]
