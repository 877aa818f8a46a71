"""Stations of one line: moving, dropping, fixed plants, and what is left of a stretch."""

import numpy as np
import pytest

from screenplan.planting.stations import covers, set_evened, set_exact, settle, subtract


def test_subtract():
    assert subtract([(0, 10)], [(3, 4), (8, 12)]) == [(0, 3), (4, 8)]
    assert subtract([(0, 10)], [(-1, 11)]) == []
    # What rounding leaves is no place to stand: a plant there would touch the one that crowds it.
    assert subtract([(0, 10)], [(1.8e-15, 0.9)]) == [(0.9, 10)]
    assert subtract([(0, 10)], [(9, 10 - 1e-12)]) == [(0, 9)]


def test_stations_that_crowd_are_dropped():
    found = settle([(0, 0), (0.4, 0), (1.5, 0)], [(0, 10)], [], 1.5, 0.0)
    assert (found.placed, found.dropped) == ([(0, 0), (1.5, 0)], [0.4])
    found = settle([(1.0, 0), (3.0, 0)], [(0, 10)], [3.3], 1.5, 0.0)
    assert (found.placed, found.dropped) == ([(1.0, 0)], [3.0])


def test_a_station_moves_to_the_nearest_end_within_reach():
    stretches = [(0, 2.7), (3.4, 10)]
    wanted = [(0, 0), (1.5, 0), (3.0, 0), (4.5, 0)]
    assert settle(wanted, stretches, [], 1.5, 0.5).placed[2] == pytest.approx((2.7, -0.3))
    assert settle(wanted, stretches, [], 1.5, 0.2).dropped == [3.0]
    # Not back across a plant that is set already, nor next to one that is to come.
    assert settle([(2.7, 0), (3.0, 0)], stretches, [], 1.5, 0.5).dropped == [3.0]
    assert settle([(3.0, 0), (3.2, 0), (4.0, 0)], [(3.4, 10)], [], 1.5, 0.5).placed == [(4.0, 0)]


def test_exact_counts_back_from_a_fixed_plant():
    # A corner's plant at 5: 3.5, 2 and 0.5, by arithmetic; what is left over lies at the free end.
    found = set_exact(5.0, [(0, 5)], [5.0], [], 1.5, 0.0)
    assert found.placed == [(0.5, 0.0), (2.0, 0.0), (3.5, 0.0)]
    assert found.groups == [[0.5, 2.0, 3.5, 5.0]]
    # Between two plants that stand the gap is filled evenly.
    found = set_exact(9.0, [(0, 9)], [2.0, 6.0], [2.0, 6.0], 1.5, 0.0)
    stations = [station for station, _ in found.placed]
    assert stations == pytest.approx([0.5, 2 + 4 / 3, 2 + 8 / 3, 7.5, 9.0])
    # A length of whole spacings is filled from end to end, and a short one holds no second plant.
    assert [station for station, _ in set_exact(6.0, [(0, 6)], [6.0], [], 1.5, 0.0).placed] == [
        0,
        1.5,
        3,
        4.5,
    ]
    assert set_exact(1.4, [(0, 1.4)], [1.4], [], 1.5, 0.0).placed == []


def test_exact_between_two_fixed_plants_keeps_what_is_left_over_in_the_last_gaps():
    # 0, 1.5, 3 and the corner at 4: the last gap is 1 m.
    found = set_exact(4.0, [(0, 4)], [0.0, 4.0], [], 1.5, 0.0)
    assert found.placed == [(1.5, 0.0), (3.0, 0.0)]
    # 0, 1.5, 3, 4.5 and the corner at 5: 4.5 would crowd it; the last stands half way from 3.
    found = set_exact(5.0, [(0, 5)], [0.0, 5.0], [], 1.5, 0.0)
    assert found.placed == [(1.5, 0.0), (3.0, 0.0), (4.0, -0.5)]
    # Nearer to each other than a spacing there is no room between.
    assert set_exact(1.2, [(0, 1.2)], [0.0, 1.2], [], 1.5, 0.0).placed == []


def test_evened_ends_give_way_to_fixed_plants_and_to_each_other():
    found = set_evened([(0, 3), (3.2, 6)], [], 1.5)
    stations = np.array([station for station, _ in found.placed])
    assert stations[:3] == pytest.approx([0, 1.5, 3])
    assert stations[3:] == pytest.approx([3.75, 4.875, 6])  # half a spacing from the one before
    found = set_evened([(0.5, 5)], [0.0], 1.5)
    assert found.placed[0][0] == pytest.approx(0.75)


@pytest.mark.parametrize(
    ("fixed", "before"),
    [(0.5, []), (0.74, []), (0.76, [0.0]), (1.5, [0.0]), (1.6, [0.0, 0.8]), (4.0, [0.0, 4 / 3, 8 / 3])],
)  # fmt: skip
def test_evened_fills_the_ends_beside_a_fixed_plant(fixed, before):
    # Arithmetic: as few equal gaps as the spacing allows from the end to the fixed plant, and none of less
    # than half of it. The other way round it is the same, mirrored.
    for mirrored in (False, True):
        at = 10.0 - fixed if mirrored else fixed
        found = set_evened([(0.0, 10.0)], [at], 1.5)
        own = np.array([station for station, _ in found.placed])
        own = np.sort(10.0 - own) if mirrored else own
        gaps = int(np.ceil((10.0 - fixed) / 1.5))
        assert own[own < fixed] == pytest.approx(before)
        assert own[own > fixed] == pytest.approx(np.linspace(fixed, 10.0, gaps + 1)[1:])
        assert not found.dropped


def test_covers():
    assert covers((1, 2), [(0, 3)])
    assert not covers((1, 4), [(0, 3), (3.5, 5)])


def test_an_uneven_standing_row_is_not_doubled():
    # Plants set by tape 2.0008 m apart where 2 m is asked: as asked, so nothing is added.
    row = [2.0008 * number for number in range(6)]
    assert set_evened([(0.0, row[-1])], row, 2.0, row).placed == []
    assert set_exact(row[-1], [(0.0, row[-1])], row, row, 2.0, 0.0).placed == []


def test_a_gap_where_a_standing_plant_died_is_filled():
    # Twice the spacing between two standing plants: one new plant in the middle.
    assert set_evened([(0.0, 4.1)], [0.0, 4.1], 2.0, [0.0, 4.1]).placed == [(2.05, 0.0)]


def test_a_long_gap_in_a_standing_row_is_filled_at_the_spacing():
    # 30 m at 1.5 m: 19 plants between the two, by station arithmetic.
    assert len(set_evened([(0.0, 30.0)], [0.0, 30.0], 1.5, [0.0, 30.0]).placed) == 19
