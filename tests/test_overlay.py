"""Areas that are cut: valid, and their areas add up, also where edges nearly meet."""

import numpy as np
import pytest
import shapely

from screenplan.site.overlay import areas_of, ground_left, shared_ground, without
from screenplan.site.round_house import BEHIND, ground_round

#: Areas may be out by a grid of a micrometre along some 100 m of edges.
SAME_M2 = 1e-3


def leaning(count, seed=7):
    """Houses whose walls lean by about a tenth of a millimetre, what lies behind each, and the ground round each."""
    rng = np.random.default_rng(seed)
    turn, wide, deep = rng.uniform(0, 2 * np.pi, count), *rng.uniform(6, 14, (2, count))
    cos, sin = np.cos(turn), np.sin(turn)
    x = np.column_stack([-wide, wide, wide, -wide]) / 2 + rng.normal(0, 1e-4, (count, 4))
    y = np.column_stack([-deep, -deep, deep, deep]) / 2 + rng.normal(0, 1e-4, (count, 4))
    at = rng.uniform(-50, 50, (count, 2))
    house = shapely.polygons(
        np.stack(
            [
                cos[:, None] * x - sin[:, None] * y + at[:, :1],
                sin[:, None] * x + cos[:, None] * y + at[:, 1:],
            ],
            axis=2,
        )
    )
    away = np.column_stack([-sin, cos])
    behind = ground_round(house, away, 10.0, np.full(count, BEHIND))
    lot = shapely.buffer(shapely.points(at), rng.uniform(9, 25, count), quad_segs=4)
    return behind, shapely.difference(lot, house)


def test_what_is_shared_and_what_is_left_are_the_whole():
    # Invariant: each is valid, and both together have the area of the ground.
    behind, free = leaning(4000)
    shared = shared_ground(free, behind)
    left = ground_left(free, behind)
    assert shapely.is_valid(shared).all()
    assert shapely.is_valid(left).all()
    assert shapely.area(shared) + shapely.area(left) == pytest.approx(shapely.area(free), abs=SAME_M2)  # fmt: skip
    # Those on which GEOS does not fail are as it gives them; it fails on few (3.14: 2 in 1,000).
    alone = shapely.intersection(free, behind)
    whole = shapely.is_valid(alone)
    assert (~whole).sum() < 40
    assert shapely.equals_exact(shared[whole], alone[whole]).all()


def test_it_is_what_the_library_gives_on_a_grid():
    # Another way: snapped to a grid of a tenth of a micrometre, the library does not fail.
    behind, free = leaning(4000, seed=3)
    for mine, operation in ((shared_ground, shapely.intersection), (ground_left, shapely.difference)):  # fmt: skip
        on_grid = operation(free, behind, grid_size=1e-7)
        assert shapely.area(mine(free, behind)) == pytest.approx(shapely.area(on_grid), abs=SAME_M2)


def test_one_on_which_the_library_raises_spoils_no_other():
    # A ring that crosses itself makes GEOS raise; by hand, two squares of 1 m on a side are left of a bow tie of two triangles.
    square = shapely.box(0, 0, 4, 4)
    bow = shapely.Polygon([(0, 0), (2, 2), (2, 0), (0, 2)])
    found = shared_ground(np.array([square, bow, square]), np.array([square] * 3))
    assert shapely.area(found) == pytest.approx([16.0, 2.0, 16.0])


def test_lines_beside_the_areas_are_left_out_where_it_is_cut_once_more():
    # By hand, as above; the spike is a line of no area, and mended the ring is a collection of areas and a line.
    square = shapely.box(0, 0, 4, 4)
    spiked = shapely.Polygon([(0, 0), (2, 2), (2, 0), (0, 2), (0, 3), (0, 2)])
    assert shapely.make_valid(spiked).geom_type == "GeometryCollection"
    with pytest.raises(shapely.errors.GEOSException):
        shapely.intersection(shapely.make_valid(spiked), square, grid_size=1e-6)
    assert shared_ground(np.array([spiked]), np.array([square]))[0].area == pytest.approx(2.0)
    assert without(square, spiked).area == pytest.approx(14.0)
    found = areas_of(
        np.array([shapely.make_valid(spiked), None, shapely.LineString([(0, 0), (1, 1)])])
    )
    assert found[0].area == pytest.approx(2.0)
    assert found[1] is None
    assert found[2].is_empty


def test_nothing_and_none_stay():
    nothing = np.zeros(0, dtype=object)
    assert len(shared_ground(nothing, nothing)) == 0
    found = ground_left(np.array([None, shapely.box(0, 0, 1, 1)]), np.array([shapely.box(0, 0, 1, 1)] * 2))  # fmt: skip
    assert found[0] is None
    assert found[1].is_empty
    # By hand: half of a square is left.
    assert without(shapely.box(0, 0, 2, 1), shapely.box(1, 0, 2, 1)).area == pytest.approx(1.0)
