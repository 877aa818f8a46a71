"""Ground nearer than a distance, against closed forms of its area, and that it contains what it must."""

import math

import numpy as np
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Point

from screenplan.planting.clearing import ARC_EXCESS_M, keep_clear, keep_clear_each
from screenplan.site.lots import united

#: Zones may be wider than their rule by the excess of their arcs.
WIDE_M = 1.01 * ARC_EXCESS_M
#: Holes of a smaller area are cracks that rounding leaves, square metres.
CRACK_M2 = 1e-9
# Whole millimetres: over points 1e-300 m apart no library finds a distance.
millimetres = st.integers(-30_000, 30_000).map(lambda number: number / 1000)
coordinates = st.tuples(millimetres, millimetres)


@given(
    st.lists(coordinates, min_size=2, max_size=6, unique=True),
    st.floats(0.05, 12),
    st.integers(0, 2**31),
)
@settings(max_examples=60)
def test_kept_clear_ground_contains_the_true_one_and_hardly_more(points, distance, seed):
    line = LineString(points)
    ground = keep_clear(line, distance)
    rng = np.random.default_rng(seed)
    at = line.interpolate(rng.uniform(0, 1, 200), normalized=True)
    angle = rng.uniform(0, 2 * np.pi, 200)
    near = shapely.points(
        shapely.get_x(at) + 0.999999 * distance * np.cos(angle),
        shapely.get_y(at) + 0.999999 * distance * np.sin(angle),
    )
    assert shapely.intersects(ground, near).all()
    # Its own corners are the furthest points of it.
    assert (
        shapely.distance(shapely.points(shapely.get_coordinates(ground)), line).max()
        <= distance + WIDE_M
    )


def test_areas_by_closed_form():
    # Circle π D², capsule 2 D L + π D², square with round corners a² + 4 a D + π D².
    for shape, area in (
        (Point(0, 0), math.pi * 9),
        (LineString([(0, 0), (10, 0)]), 60 + math.pi * 9),
        (shapely.box(0, 0, 10, 10), 100 + 120 + math.pi * 9),
    ):
        found = keep_clear(shape, 3.0).area
        assert area <= found <= area + 60 * ARC_EXCESS_M
    assert keep_clear(shapely.box(0, 0, 1, 1), 0.0).area == 1.0
    assert keep_clear(Point(0, 0), 0.0).is_empty


@given(
    st.lists(st.lists(coordinates, min_size=2, max_size=9, unique=True), min_size=1, max_size=4),
    st.lists(st.floats(-1.0, 6.0), min_size=4, max_size=4),
    st.permutations(range(4)),
)
@settings(max_examples=60)
def test_many_at_once_are_as_each_alone(lines, distances, order):
    """Invariant: to the last digit, in any order."""
    things = [LineString(points) for points in lines]
    things += [shapely.box(0, 0, 7, 5), Point(3, 3), LineString([(0, 0), (9, 0), (9, 9), (0, 0)])]
    things = np.array([things[k] for k in order if k < len(things)], dtype=object)
    distance = np.array(distances[: len(things)])
    together = keep_clear_each(things, distance)
    for thing, far, ground in zip(things, distance, together, strict=True):
        assert shapely.equals_exact(ground, keep_clear(thing, far), 0.0)


@given(st.integers(0, 2**31), st.floats(0.5, 6.0))
@settings(max_examples=40)
def test_no_crack_is_left_between_the_pieces_round_a_bent_outline(seed, distance):
    """Invariant: the ground along an outline that is drawn with many points has its inside as its only hole."""
    rng = np.random.default_rng(seed)
    angle = np.linspace(0.0, 2.0 * np.pi, 40, endpoint=False)
    away = 20.0 + rng.uniform(-0.5, 0.5, len(angle))
    ring = np.column_stack([away * np.cos(angle), away * np.sin(angle)])
    ground = keep_clear(shapely.Polygon(ring).exterior, distance)
    assert ground.geom_type == "Polygon"
    assert [shapely.Polygon(hole).area > CRACK_M2 for hole in ground.interiors] == [True]
    assert shapely.is_valid(ground)


def test_there_and_back_and_straight_on_is_the_capsule():
    """Closed form: a line that is gone over twice, or has a point in its middle, is widened as it is without."""
    area = 2.0 * 3.0 * 10.0 + math.pi * 9.0
    for points in (
        [(0, 0), (10, 0)],
        [(0, 0), (4, 0), (10, 0)],
        [(0, 0), (10, 0), (0, 0)],
        [(0, 0), (10, 0), (10, 0), (3, 0)],
    ):
        ground = keep_clear(LineString(points), 3.0)
        assert area <= ground.area <= area + 60 * ARC_EXCESS_M
        assert not len(ground.interiors)


def test_shapes_are_joined_by_owner_and_who_has_none_has_nothing():
    squares = np.array([shapely.box(x, 0, x + 2, 2) for x in (0, 1, 9)])
    joined = united(squares, np.array([1, 1, 3]), 4)
    # Two squares of 4 m² that overlap by 2 m².
    assert shapely.area(joined).tolist() == [0.0, 6.0, 0.0, 4.0]
    assert shapely.is_empty(joined).tolist() == [True, False, True, False]
    assert len(united(squares[:0], np.zeros(0, dtype=int), 0)) == 0
