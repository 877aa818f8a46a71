"""The ground round a house, parted by the way to the road. Lengths in metres."""

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity

from screenplan.site.round_house import BEFORE, BEHIND, LEFT, PARTS, RIGHT, ground_round

DEPTH_M = 10.0
NORTH = np.array([[0.0, 1.0]])
L_SHAPED = shapely.Polygon([(0, 0), (10, 0), (10, 4), (4, 4), (4, 9), (0, 9)])
#: A house with a court that opens to a side and a courtyard, one of two parts with a gap, and a slanted one.
HOUSES = (
    shapely.Polygon([(0, 0), (12, 0), (12, 3), (5, 3), (5, 6), (12, 6), (12, 10), (0, 10)], [[(1, 7), (4, 7), (4, 9)]]),
    shapely.MultiPolygon([shapely.box(0, 0, 3, 3), shapely.box(5, 1, 8, 6)]),
    shapely.Polygon([(0, 3), (7, 0), (11, 5), (6, 6), (9, 11), (2, 9)]),
    L_SHAPED,
)  # fmt: skip


def part_of(house, part, away=NORTH):
    return ground_round(np.array([house], dtype=object), away, DEPTH_M, np.array([part]))[0]


# Closed form, by hand: the nook of the L opens to the north-east.
@pytest.mark.parametrize(
    ("part", "area"),
    [(BEHIND, 30 * 10 + 6 * 5), (BEFORE, 30 * 10), (LEFT, 9 * 10), (RIGHT, 9 * 10)],
)
def test_a_nook_belongs_to_the_part_to_which_it_opens(part, area):
    assert part_of(L_SHAPED, part).area == pytest.approx(area)


# Closed form, by hand: along a wall there is no way down and up again, however it is turned.
@pytest.mark.parametrize(("house", "around"), [(shapely.box(0, 0, 10, 9), 80), (L_SHAPED, 90)])
@pytest.mark.parametrize("bearing", range(0, 360, 15))
def test_a_wall_that_runs_straight_back_leaves_no_spike(house, around, bearing):
    angle = np.radians(bearing)
    turned = affinity.rotate(house, -bearing, origin=(131.7, -58.3))
    ground = part_of(turned, BEHIND, np.array([[np.sin(angle), np.cos(angle)]]))
    assert ground.is_valid
    assert ground.length == pytest.approx(around)


@settings(max_examples=40)
@given(
    house=st.sampled_from(HOUSES),
    turn=st.sampled_from([0.0, 90.0, 180.0, 33.3, 271.1]),
    bearing=st.sampled_from([0.0, 90.0, 180.0, 270.0, 17.0, 203.4]),
    seed=st.integers(0, 10_000),
)
def test_a_spot_is_behind_the_house_if_no_wall_is_between_it_and_the_far_side(
    house, turn, bearing, seed
):
    """By its definition, spot by spot, with shapely's plain predicates in the turned frame."""
    house = affinity.rotate(house, turn, origin=(3.0, 40.0))
    angle = np.radians(bearing)
    away = np.array([[np.sin(angle), np.cos(angle)]])
    grounds = [
        affinity.rotate(part_of(house, part, away), bearing, origin=(0.0, 0.0))
        for part in range(len(PARTS))
    ]
    turned = affinity.rotate(house, bearing, origin=(0.0, 0.0))
    west, south, east, north = turned.bounds
    chance = np.random.default_rng(seed)
    for x, y in chance.uniform([west - 12, south - 12], [east + 12, north + 12], (40, 2)):
        within = west - DEPTH_M < x < east + DEPTH_M and south - DEPTH_M < y < north + DEPTH_M
        free = [
            not turned.intersects(shapely.LineString([(x, y), (x, end)])) for end in (north, south)
        ]
        inside = west < x < east and south < y < north
        wanted = {
            BEHIND: within and (y > north or (inside and free[0])),
            LEFT: within and x < west and south < y < north,
            RIGHT: within and x > east and south < y < north,
            BEFORE: within and (y < south or (inside and free[1])),
        }
        near = min(
            turned.boundary.distance(shapely.Point(x, y)), *(abs(x - end) for end in (west, east))
        )
        if near > 1e-6:
            told = {part: bool(grounds[part].covers(shapely.Point(x, y))) for part in wanted}
            assert told == wanted


def test_many_houses_are_those_of_each_alone():
    """Invariant: to the last digit."""
    houses = np.array(HOUSES * 4, dtype=object)
    angle = np.linspace(0.0, 6.0, len(houses))
    away, part = np.column_stack([np.sin(angle), np.cos(angle)]), np.arange(len(houses)) // 4
    together = ground_round(houses, away, DEPTH_M, part)
    for row, ground in enumerate(together):
        assert ground.is_valid
        assert ground.equals_exact(part_of(houses[row], part[row], away[[row]]), 0.0)
    assert len(ground_round(houses[:0], away[:0], DEPTH_M, part[:0])) == 0
