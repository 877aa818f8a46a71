"""Layers of several lots in one table: each lot has what it would have by itself."""

import geopandas as gpd
import numpy as np
import pytest
import shapely

from screenplan.site.lots import Lots, Many, joined


def squares(*west, names=None):
    names = [f"l{k}" for k in range(len(west))] if names is None else names
    return gpd.GeoDataFrame(
        {"parcel_id": names}, geometry=[shapely.box(x, 0, x + 10, 10) for x in west]
    )


def layer(*values):
    return gpd.GeoDataFrame({"value": list(values)}, geometry=[shapely.Point(v, 0) for v in values])


def test_each_lot_has_its_rows_counted_from_0():
    many = Many(layer(1, 2, 5), np.array([0, 0, 2]), 3)
    assert many.count.tolist() == [2, 0, 1]
    assert [many.of(lot)["value"].to_list() for lot in range(3)] == [[1, 2], [], [5]]
    assert many.of(2).index.to_list() == [0]


@pytest.mark.parametrize("rows", [np.array([False, True, True]), np.array([1, 2])])
def test_some_rows_leave_no_lot_out(rows):
    some = Many(layer(1, 2, 5), np.array([0, 0, 2]), 3).only(rows)
    assert some.lots == 3
    assert some.lot.tolist() == [0, 2]
    assert some.layer["value"].to_list() == [2, 5]


def test_joined_rows_of_a_lot_follow_the_parts():
    first = Many(layer(1, 4), np.array([0, 1]), 2)
    second = Many(layer(2, 3), np.array([0, 0]), 2)
    whole = joined([first, second])
    assert whole.layer["value"].to_list() == [1, 2, 3, 4]
    assert whole.lot.tolist() == [0, 0, 0, 1]
    assert joined([first]) is first


def test_rows_are_near_within_the_distance_and_the_reach():
    lots = Lots({"parcels": squares(0, 100), "houses": squares(12, 50, 111)}, np.array([0, 1]), 20)
    assert [part.tolist() for part in lots.near("houses")] == [[0, 1], [0, 2]]
    # The house at 12 lies 2 m east of the first lot, that at 111 lies 1 m east of the second.
    assert [part.tolist() for part in lots.near("houses", 1.5)] == [[1], [2]]
    assert lots.names == ["l0", "l1"]


def test_without_a_reach_every_row_with_a_place_is_near():
    houses = gpd.GeoDataFrame(geometry=[shapely.Point(5e5, 0), None, shapely.Polygon()])
    lots = Lots({"parcels": squares(0, 100), "houses": houses}, np.array([0, 1]))
    assert [part.tolist() for part in lots.near("houses")] == [[0, 1], [0, 0]]


def test_the_marked_parcel_is_the_one_lot():
    parcels = squares(0, 100).assign(is_subject=[False, True])
    lots = Lots.one({"parcels": parcels})
    assert len(lots) == 1
    assert lots.names == ["l1"]
    assert lots.outlines[0].bounds[0] == 100


def test_what_stands_on_each_lot_lies_within_its_reach():
    # By hand: of the three that say that they stand on the second lot, the last lies 39 m from it.
    houses = squares(12, 101, 105, 149)
    owner = np.array([None, "l1", "l1", "l1"], dtype=object)
    lots = Lots({"parcels": squares(0, 100), "houses": houses}, np.array([1, 0]), 20)
    assert [part.tolist() for part in lots.standing_on("houses", owner)] == [[0, 0], [1, 2]]
    all_over = Lots(lots.around, lots.rows)
    assert [part.tolist() for part in all_over.standing_on("houses", owner)] == [[0] * 3, [1, 2, 3]]


def test_united_ground_of_each_lot_and_the_rows_beside_things():
    many = Many(squares(0, 5, 100), np.array([0, 0, 2]), 3)
    # Two squares of 10 m overlap by half: 15 m by 10 m (arithmetic).
    assert shapely.area(many.united).tolist() == [150.0, 0.0, 100.0]
    assert [part.tolist() for part in many.beside(np.array([2, 0, 1]))] == [[0, 1, 1], [2, 0, 1]]
