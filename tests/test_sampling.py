"""Openings, eyes, targets and the rays that pass an opening."""

import math

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, box

from screenplan.ground.errors import InputError
from screenplan.plan import DEFAULTS
from screenplan.site.terrain import Terrain
from screenplan.views.openings import NUDGE_M, OPENING, openings_of
from screenplan.views.positions import FEWEST_POSITIONS, positions_in, positions_in_each
from screenplan.views.sampling import (
    Outdoors,
    eyes_behind_each,
    positions_in_view,
    rays_through,
    sample_places,
)
from screenplan.views.sight import lay_sight
from screenplan.views.stems import Stems

HOUSE = gpd.GeoDataFrame({"building_id": ["h"], "height_m": [6.0]}, geometry=[box(0, 0, 10, 8)])
OPENINGS = np.rec.array([(5.0, 0.0, (0.0, -1.0), 0.6, 3.7, 4.9, 2.8, NUDGE_M)], dtype=OPENING)
SOUTH = OPENINGS[0]


def window(x=5.0, y=0.0, **more):
    row = {"window_id": "w", "sill_m": 3.7, "height_m": 1.2, "width_m": 1.2, "facing_deg": 180.0}
    row |= {"floor_m": 2.8, "building_id": "h"} | more
    return gpd.GeoDataFrame([row], geometry=[Point(x, y)])


def places(*shapes, **more):
    names = [f"p{k}" for k in range(len(shapes))]
    return gpd.GeoDataFrame({"place_id": names} | more, geometry=list(shapes))


def sample(layer, buildings=None, lines=None, terrain=None):
    sampled = sample_places(layer, Outdoors(buildings), terrain, spacing_m=1.0)
    return sampled if lines is None else sampled.off(Stems.of(lines))


def test_opening_of_a_window_in_a_wall():
    # By hand: datum 0.5, sill 3.7 above it, floor as given.
    house = HOUSE.assign(floor_m=0.5)
    (got,) = openings_of(window(), house)
    assert (got.x, got.y) == (5.0, 0.0)
    assert got.out == pytest.approx((0.0, -1.0))
    assert (got.sill_z, got.head_z, got.floor_z) == pytest.approx((4.2, 5.4, 2.8))
    assert got.half_width_m == 0.6


def test_window_off_its_wall_is_laid_on_it():
    # A point 0.3 m inside or outside, and a direction 20 degrees off, take the wall's.
    for y in (-0.3, 0.3):
        (got,) = openings_of(window(y=y, facing_deg=200.0), HOUSE)
        assert (got.x, got.y) == pytest.approx((5.0, 0.0))
        assert got.out == pytest.approx((0.0, -1.0))


def test_window_without_a_direction_takes_that_of_its_wall():
    (got,) = openings_of(window(x=10.0, y=3.0, facing_deg=np.nan), HOUSE)
    assert got.out == pytest.approx((1.0, 0.0))
    # Neither building nor direction named: the wall on which it lies gives both.
    (got,) = openings_of(window(x=10.0, y=3.0, facing_deg=np.nan, building_id=None), HOUSE)
    assert got.out == pytest.approx((1.0, 0.0))


def test_window_without_a_building_stands_on_the_ground():
    # By hand: ground at 2 m, so the sill is at 2.9 m and the floor 0.9 m under it.
    row = window(sill_m=0.9, floor_m=np.nan, building_id=None)
    (got,) = openings_of(row, None, Terrain.flat(2.0))
    assert (got.sill_z, got.floor_z) == pytest.approx((2.9, 2.0))


def test_courtyard_wall_faces_the_courtyard():
    ring = gpd.GeoDataFrame(
        {"building_id": ["h"], "height_m": [6.0]},
        geometry=[box(0, 0, 20, 20).difference(box(5, 5, 15, 15))],
    )
    (got,) = openings_of(window(x=10.0, y=5.0, facing_deg=np.nan), ring)
    assert got.out == pytest.approx((0.0, 1.0))


@pytest.mark.parametrize(
    ("row", "says"),
    [
        (window(sill_m=np.nan), "row 1: a window has no sill height"),
        (window(width_m=0.0), "opening has no size"),
        (window(y=4.0), "more than 1 m from the walls of its building"),
        (window(facing_deg=0.0), "direction is not that of its wall"),
        (window(building_id=None, y=-9.0, facing_deg=np.nan), "neither a direction nor a building"),
        (window().set_geometry([Point()]), "a window has no place"),
        (window(x=math.nan), "a window has no place"),
        (window(sill_m=0.2, height_m=0.5, floor_m=-3.0), "lies under the ground"),
    ],
)
def test_bad_windows_are_refused_by_row(row, says):
    with pytest.raises(InputError, match=says):
        openings_of(row, HOUSE)


def test_eyes_lie_inside_and_over_the_width():
    # By hand: thirds of 1.2 m have their middles at -0.4, 0, 0.4.
    eyes = eyes_behind_each(OPENINGS, inside_m=1.0, heights_m=(1.2, 1.6), across=3).xyz
    assert sorted(set(eyes[:, 0].round(9))) == pytest.approx([4.6, 5.0, 5.4])
    assert set(eyes[:, 1].round(9)) == {1.0}
    assert sorted(set(eyes[:, 2].round(9))) == pytest.approx([4.0, 4.4])
    assert len(eyes) == 6


# Closed form: from 1 m behind the middle of the opening, sill 0.3 m under the eye and head 0.9 m
# above it, a target 9 m before the facade is seen if its line at the facade, a tenth of the way,
# is within the opening: sideways 10 x 0.6 m, down 10 x 0.3 m, up 10 x 0.9 m.
@pytest.mark.parametrize(
    ("aside", "down", "seen"),
    [
        (0.0, 2.9, True),
        (0.0, 3.1, False),
        (5.9, 0.0, True),
        (6.1, 0.0, False),
        (-5.9, 0.0, True),
        (-6.1, 0.0, False),
        (0.0, -8.9, True),
        (0.0, -9.1, False),
    ],
)
def test_rays_must_cross_the_opening(aside, down, seen):
    eye = np.array([[5.0, 1.0, 4.0]])
    target = np.array([[5.0 + aside, -9.0, 4.0 - down]])
    origin, _ = rays_through(SOUTH, eye, target)
    assert (len(origin) == 1) == seen


def test_rays_begin_just_outside_on_the_line_from_the_eye():
    eye = np.array([[5.1, 1.0, 4.1]])
    target = np.array([[3.0, -9.0, 2.0]])
    origin, end = rays_through(SOUTH, eye, target)
    assert np.array_equal(end, target)
    assert -0.01 < origin[0, 1] < 0.0
    assert np.linalg.norm(np.cross(origin[0] - eye[0], target[0] - eye[0])) < 1e-9


def test_targets_behind_the_facade_or_on_it_are_not_seen():
    eye = np.array([[5.0, 1.0, 4.2]])
    for target in ((5.0, 5.0, 4.2), (5.0, 0.0, 4.2), (7.0, 1.0, 4.2), (5.0, 1.0, 4.2)):
        assert not len(rays_through(SOUTH, eye, np.array([target]))[0])


def test_positions_of_a_rectangle():
    # By hand: 4 by 3 cells of 1 m, their middles.
    got = positions_in(box(0, 0, 4, 3), 1.0, 100)
    expected = {(x + 0.5, y + 0.5) for x in range(4) for y in range(3)}
    assert {tuple(p) for p in got.round(9)} == expected


@pytest.mark.parametrize("most", [5, 40, 400])
def test_number_of_positions_is_bounded(most):
    for shape in (
        box(0, 0, 80, 60),
        box(0, 0, 300, 0.5),
        LineString([(0, 0), (40, 30), (90, 0)]).buffer(0.3),
        MultiPolygon([box(0, 0, 1, 1), box(70, 70, 71, 90)]),
        Point(0, 0).buffer(30),
    ):
        got = positions_in(shape, 0.5, most)
        assert 1 <= len(got) <= 2 * most + FEWEST_POSITIONS
        assert shapely.contains_xy(shape, *got.T).all()


def test_small_and_thin_places_have_positions():
    assert len(positions_in(box(0, 0, 0.3, 0.3), 1.0, 100)) >= FEWEST_POSITIONS
    assert len(positions_in(box(0, 0, 10, 0.05), 1.0, 100)) >= 1


# Invariance: a place that is turned, moved or mirrored keeps its positions.
@settings(max_examples=40)
@given(
    st.floats(0, 360),
    st.floats(-200, 200),
    st.booleans(),
    st.sampled_from(
        [
            box(0, 0, 7, 3),
            Polygon([(0, 0), (9, 1), (8, 5), (3, 7)]),
            Polygon([(0, 0), (6, 0), (6, 2), (2, 2), (2, 5), (0, 5)]),
        ]
    ),
)
def test_positions_turn_with_the_place(angle, east, mirrored, shape):
    def move(geometry):
        if mirrored:
            geometry = shapely.affinity.scale(geometry, xfact=-1.0, origin=(0, 0))
        geometry = shapely.affinity.rotate(geometry, angle, origin=(0, 0))
        return shapely.affinity.translate(geometry, east, 3.0)

    one = shapely.MultiPoint(positions_in(shape, 0.8, 200))
    two = shapely.MultiPoint(positions_in(move(shape), 0.8, 200))
    assert len(one.geoms) == len(two.geoms)
    assert move(one).hausdorff_distance(two) < 1e-6


def test_heads_stand_on_the_ground():
    # By hand: ground z = x / 10 at the middles of the cells; heads at 1.0 and 1.5 m.
    ground = Terrain(np.tile(np.arange(11) / 10.0, (2, 1)), 0.0, 0.0, 1.0, 10.0)
    layer = places(box(2, 2, 4, 4), eye_seated_m=1.0, eye_standing_m=1.5)
    got = sample(layer, None, None, ground)
    assert got.coarse.xyz[:, 2] - got.coarse.xyz[:, 0] / 10 == pytest.approx([1.0] * 4 + [1.5] * 4)
    assert len(got.dense.xyz) > len(got.coarse.xyz)


def test_point_is_one_position():
    got = sample(places(Point(3, 4)))
    assert got.coarse.row(0).tolist() == [[3.0, 4.0, 1.2], [3.0, 4.0, 1.6]]
    assert got.single.tolist() == [True]


def test_positions_indoors_or_on_the_line_are_left_out():
    line = gpd.GeoDataFrame(geometry=[LineString([(0, -6), (20, -6)])])
    got = sample(places(box(0, -10, 10, 4)), HOUSE, line).coarse.xyz
    assert (got[:, 1] < 0).all()
    assert (np.abs(got[:, 1] + 6) > 0.5).all()


@pytest.mark.parametrize(
    ("layer", "says"),
    [
        (places(box(-20, 0, -10, 5), box(2, 2, 4, 4)), "row 2: .*lies inside a building"),
        (places(Point(3, 3)), "row 1: .*lies inside a building"),
        (places(Point(3, -6.1)), "within 0.5 m of a planting line"),
        (places(Polygon()), "has no shape"),
        (places(None), "has no shape"),
        (places(Point(3, -3), eye_seated_m=-1.0), "head height is no number"),
    ],
)
def test_bad_places_are_refused_by_row(layer, says):
    line = gpd.GeoDataFrame(geometry=[LineString([(0, -6), (20, -6)])])
    with pytest.raises(InputError, match=says):
        sample(layer, HOUSE, line)


def test_place_in_a_window_or_an_eye_is_refused():
    def put(at):
        layers = {
            "windows": window(), "private_places": places(Point(at)),
            "planting_lines": gpd.GeoDataFrame(geometry=[LineString([(0, -6), (20, -6)])]),
        }  # fmt: skip
        return lay_sight(layers, DEFAULTS.views.model_copy(update={"eyes_across": 1}))

    # With one eye across times four there is none in the middle, but some at an eighth of the width.
    for at in ((5.0, 0.0), (5.0 + 0.6 / 4, 1.0)):
        with pytest.raises(InputError, match="same position as window w"):
            put(at)
    put((5.0, -1.0))


def test_positions_between_which_nothing_passes_do_not_count():
    # By hand: one eye 1 m behind the window, at two heights; of the heads one lies before the wall, one behind it.
    eyes = eyes_behind_each(OPENINGS, inside_m=1.0, heights_m=(1.2, 1.6), across=1).xyz
    ahead, behind = eyes[0] + [0.0, -8.0, 0.0], eyes[0] + [0.0, 8.0, 0.0]
    heads = np.array([ahead, ahead + np.array([0.0, 0.0, 0.3]), behind])
    assert positions_in_view(SOUTH, eyes, heads) == (1, 1)
    # Without an opening nothing stands between any of them.
    assert positions_in_view(None, eyes, heads) == (1, 2)


@pytest.mark.parametrize("turn", [0, 1, 2, 3, 4])
def test_a_corner_on_a_straight_edge_does_not_turn_the_grid(turn):
    """Invariant: the longest edge stays the longest, whatever parts it and wherever the outline begins."""
    plain = Polygon([(0, 0), (7, 2), (5, 6), (0, 5)])
    corners = [(0, 0), (3.49, 1.003), (7, 2), (5, 6), (0, 5)]  # 6 mm off the first edge
    parted = Polygon(corners[turn:] + corners[:turn])
    one, two = (positions_in(shape, 0.8, 200) for shape in (plain, parted))
    assert len(one) == len(two) > 20
    away = shapely.distance(shapely.MultiPoint(one), shapely.points(two))
    assert away.max() < 0.02


# Invariant: to the last digit, whatever other places are sampled with it.
@given(st.integers(0, 2**32 - 1))
def test_many_places_are_sampled_as_each_alone(seed):
    rng = np.random.default_rng(seed)
    turned = [
        shapely.affinity.rotate(box(x, y, x + wide, y + deep), angle)
        for x, y, wide, deep, angle in rng.uniform(
            [20, 20, 0.05, 2, 0], [90, 90, 9, 30, 90], (6, 5)
        )
    ]
    shapes = np.array(
        [*turned[:4], MultiPolygon([box(0, 0, 4, 3), box(9, 9, 14, 10)]), *turned[4:]]
    )
    spacing = rng.uniform(0.3, 4.0, len(shapes))
    xy, count = positions_in_each(shapes, spacing, 40)
    alone = [positions_in(shape, apart, 40) for shape, apart in zip(shapes, spacing, strict=True)]
    assert count.tolist() == [len(some) for some in alone]
    assert np.array_equal(xy, np.concatenate(alone))
    layer = places(*shapes, Point(3, 3), deck_m=[0.0, 0.5] * 4)
    spacing = np.append(spacing, 1.0)
    house = HOUSE.set_geometry([box(1, 1, 2, 2)])
    whole = sample_places(layer, Outdoors(house), spacing_m=spacing)
    for row in range(len(layer)):
        own = sample_places(layer.iloc[[row]], Outdoors(house), spacing_m=spacing[row])
        assert np.array_equal(whole.coarse.row(row), own.coarse.xyz)
        assert np.array_equal(whole.dense.row(row), own.dense.xyz)
        assert whole.single[row] == own.single[0]


def test_windows_that_are_alike_are_laid_alike():
    # The same window twice, another floor of it, and one beside it: each as if it were alone.
    rows = [window(), window(window_id="twice"), window(sill_m=0.9, floor_m=0.0), window(x=7.0)]
    whole = openings_of(gpd.GeoDataFrame(rows_of(rows), geometry="geometry"), HOUSE)
    for row, alone in enumerate(rows):
        assert whole[row] == openings_of(alone, HOUSE)[0]


def rows_of(layers):
    return [row for layer in layers for row in layer.to_dict("records")]
