"""Moved outlines, against closed forms and against the union of what another library widens edge by edge."""

import itertools
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Polygon

from screenplan.planting.clearing import ARC_EXCESS_M, inside_each, keep_clear
from screenplan.planting.moved import Loops, discs, moved, wound

#: Chords in a quarter of a circle of the other library, and by which factor they lie inside the circle.
FINE_QUADS = 64
INSIDE = math.cos(math.pi / (4 * FINE_QUADS))
#: Ground whose outlines are the same but for rounding differs by less per metre of outline, metres.
ROUNDING_M = 1e-7
SQUARE = shapely.box(0.0, 0.0, 10.0, 10.0)
WIDE = 3.0 + ARC_EXCESS_M


def ring_moved(ring, distance, clockwise=False):
    rings, area = moved(
        Loops.round_rings(np.array([ring]), clockwise=clockwise), np.array([distance]), ARC_EXCESS_M
    )
    return rings[0], area[0]


def within(shape, distance):
    """The ground nearer to lines than a distance, its arcs within the circle: each edge by itself, by shapely."""
    edges = [
        LineString(pair) for xy in map(shapely.get_coordinates, shapely.get_parts(shape))
        for pair in itertools.pairwise(xy)
    ]  # fmt: skip
    return shapely.union_all(shapely.buffer(edges, distance, quad_segs=FINE_QUADS))


def assert_between(ground, least, most):
    """The ground contains the one and is contained in the other."""
    assert shapely.difference(least, ground).area <= ROUNDING_M * (1.0 + least.length)
    assert shapely.difference(ground, most).area <= ROUNDING_M * (1.0 + ground.length)


def test_squares_by_closed_form():
    """Closed form: out by D a² + 4 a D and a circle; in by D (a - 2 D)²; without an inside nothing."""
    ring, area = ring_moved(SQUARE.exterior, 3.0)
    assert area == pytest.approx(shapely.area(ring), rel=1e-12)
    circle = discs(np.zeros((1, 2)), np.array([3.0]), ARC_EXCESS_M)[0].area
    assert math.pi * 9.0 <= circle <= math.pi * WIDE**2
    # A corner's arc is a quarter of the circle.
    assert area == pytest.approx(100.0 + 40.0 * WIDE + circle, abs=1e-9)
    ring, area = ring_moved(SQUARE.exterior, 3.0, clockwise=True)
    assert len(shapely.get_coordinates(ring)) == 5
    assert area == pytest.approx(-((10.0 - 2.0 * WIDE) ** 2), abs=1e-9)
    assert inside_each(np.array([SQUARE]), np.array([5.0]))[0].is_empty
    assert inside_each(np.array([SQUARE]), np.array([0.0]))[0].equals(SQUARE)


def test_what_crosses_itself_is_gone_round_as_often_as_it_says():
    """Closed form: what is gone round anticlockwise is ground, once or twice; what is gone round clockwise is not."""
    square = [(0, 0), (6, 0), (6, 6), (0, 6), (0, 0)]
    both = Polygon([*square, (-4, 0), (-4, -4), (0, -4)])
    twice = Polygon([*square, (3, 0), (3, 3), (0, 3)])
    eight = Polygon([*square, (0, -4), (-4, -4), (-4, 0)])
    assert shapely.area(wound(np.array([both, twice, eight]))).tolist() == [52.0, 36.0, 36.0]


def test_two_rooms_and_the_passage_between_them():
    """Closed form: two squares of 10 m, and a passage of 2 m between them that is too narrow for what is kept clear."""
    rooms = shapely.union_all([SQUARE, shapely.box(20, 0, 30, 10), shapely.box(10, 2, 20, 4)])
    left = inside_each(np.array([rooms]), np.array([1.5]))[0]
    squares = shapely.box(0, 0, 10, 10).buffer(-1.5 - ARC_EXCESS_M, join_style="mitre")
    assert left.geom_type == "MultiPolygon"
    # Before the mouth, which has no wall, a segment of at most 2 m by 1.5 - √(1.5² - 1) m is added.
    assert 2 * squares.area < left.area < 2 * (squares.area + 2.0 * (1.5 - math.sqrt(1.25)))


def test_a_pocket_of_a_long_narrow_lot_is_found():
    """A lot 1 m wide and 200 m long, with a square of 10 m: moved in, more is gone round the wrong way."""
    lot = shapely.union_all([SQUARE, shapely.box(10, 4, 210, 5)])
    ring, area = ring_moved(lot.exterior, 2.0, clockwise=True)
    assert area > 0.0
    assert not ring.is_valid
    left = inside_each(np.array([lot]), np.array([2.0]))[0]
    assert (6.0 - 2 * ARC_EXCESS_M) ** 2 <= left.area <= 36.1
    assert_between(
        shapely.difference(lot, left),
        shapely.intersection(within(lot.boundary, 2.0), lot),
        within(lot.boundary, (2.0 + ARC_EXCESS_M) / INSIDE),
    )


@st.composite
def grounds(draw):
    """A polygon round a middle, some with a hole, some far from the origin of the frame."""
    count = draw(st.integers(3, 14))
    away = np.array(draw(st.lists(st.integers(4, 20), min_size=count, max_size=count)), dtype=float)
    angle = np.linspace(0.0, 2.0 * math.pi, count, endpoint=False)
    at = np.array([draw(st.integers(-2000, 2000)), draw(st.integers(-2000, 2000))])
    xy = np.round(away[:, None] * np.column_stack([np.cos(angle), np.sin(angle)]), 3)
    hole = [at + np.round(xy[::-1] * draw(st.floats(0.2, 0.6)), 3)] if draw(st.booleans()) else []
    ground = Polygon(at + xy, hole)
    return ground if draw(st.booleans()) else shapely.reverse(ground)


@pytest.mark.evidence(
    part="Rules",
    kind="other software",
    against="GEOS, which widens each edge by itself; the union of these",
    source="shapely.buffer and shapely.union_all",
    status="run",
    tolerance=f"contains the true ground, and nothing farther than {ARC_EXCESS_M} m more",
)
@given(grounds(), st.floats(0.05, 12.0))
@settings(max_examples=80, deadline=None)
def test_what_is_kept_clear_is_what_single_edges_keep_clear(ground, distance):
    if not ground.is_valid:
        return
    beside = within(ground.boundary, distance)
    more = within(ground.boundary, (distance + ARC_EXCESS_M) / INSIDE)
    assert_between(keep_clear(ground, distance), beside.union(ground), more.union(ground))
    assert_between(keep_clear(ground.boundary, distance), beside, more)
    left = inside_each(np.array([ground]), np.array([distance]))[0]
    assert_between(left, ground.difference(more), ground.difference(beside))
    # The two are one: what is kept clear of the outline, and what is left.
    other = ground.difference(keep_clear(ground.boundary, distance))
    assert shapely.symmetric_difference(left, other).area <= ROUNDING_M * (1.0 + ground.length)


@given(grounds(), st.floats(0.05, 12.0), st.integers(1, 13))
@settings(max_examples=40, deadline=None)
def test_a_closed_line_has_no_ends(ground, distance, by):
    """Invariant: where a closed line begins changes nothing; not even if it crosses itself."""
    xy = shapely.get_coordinates(ground.exterior)[:-1]
    first, second = (
        keep_clear(LineString(np.vstack([ring, ring[:1]])), distance)
        for ring in (xy, np.roll(xy, by, axis=0))
    )
    assert shapely.symmetric_difference(first, second).area <= ROUNDING_M * (1.0 + first.length)


def test_several_at_once_are_as_each_alone():
    """Invariant: to the last digit; a ground of several parts has what each has, and a hole is kept clear of."""
    parts = [SQUARE, shapely.box(20, 0, 30, 10)]
    ring = SQUARE.difference(shapely.box(4, 4, 6, 6))
    some = np.array([shapely.multipolygons(parts), ring, *parts])
    distance = np.array([1.0, 1.0, 2.0, 1.0])
    left = inside_each(some, distance)
    for ground, far, own in zip(some, distance, left, strict=True):
        alone = inside_each(np.array([ground]), np.array([far]))[0]
        assert shapely.equals_exact(own, alone, 0.0)
    a = 10.0 - 2.0 * (1.0 + ARC_EXCESS_M)
    assert left[0].area == pytest.approx(2.0 * a * a, abs=1e-9)
    assert left[1].area == pytest.approx(a * a - keep_clear(shapely.box(4, 4, 6, 6), 1.0).area)
