"""What is kept clear of: who has which things, in which order and by which name."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from parcel_kit import layer
from shapely.geometry import LineString, Point

from screenplan.planting.things import things_near, things_of
from screenplan.site.lots import Lots, Many


def street(reach_m=np.inf, **around):
    """Two lots, 10 by 10 m, 90 m apart; the second comes first."""
    parcels = gpd.GeoDataFrame(
        {"parcel_id": ["a", "b"]}, geometry=[shapely.box(x, 0, x + 10, 10) for x in (0, 100)]
    )
    return Lots({"parcels": parcels, **around}, np.array([1, 0]), reach_m)


def told(near):
    return [(found.lot, found.thing.layer, found.name) for found in near]


def test_things_come_by_lot_layer_and_name():
    houses = layer(
        building_id=["h10", "h2", "far"],
        geometry=[shapely.box(x, 12, x + 5, 15) for x in (0, 2, 50)],
    )
    pipe = layer(utility_id=["w"], geometry=[LineString([(-5, 5), (120, 5)])])
    places = Many(
        layer(
            place_id=["own", "hers"],
            derived=[False, True],
            geometry=[Point(5, 5).buffer(1), Point(105, 5).buffer(1)],
        ),
        np.array([1, 1]), 2,
    )  # fmt: skip
    found = things_near(street(buildings=houses, utilities=pipe), places, 3.0)
    assert told(found) == [
        (0, "parcels", "b"), (0, "utilities", "w"),
        (1, "parcels", "a"), (1, "buildings", "h2"), (1, "buildings", "h10"),
        (1, "utilities", "w"), (1, "private_places", "own"),
    ]  # fmt: skip
    # Both lots have the same record of the pipe, so that it is widened once.
    assert found[1].thing is found[5].thing


def test_a_thing_without_a_name_is_counted_among_those_that_the_lot_has():
    houses = layer(
        building_id=[None, "h", None, None],
        geometry=[shapely.box(x, 12, x + 5, 15) for x in (0, 102, 5, 104)],
    )
    # All is read for one lot: the row of the file. Of a reach of 20 m lot b has h and one that is its second.
    assert [name for *_, name in told(things_of(street(buildings=houses), "buildings", 5.0))] == [
        "4", "h", "1", "3",
    ]  # fmt: skip
    own = things_of(street(20.0, buildings=houses), "buildings", 5.0)
    assert told(own) == [
        (0, "buildings", "2"), (0, "buildings", "h"),
        (1, "buildings", "1"), (1, "buildings", "2"),
    ]  # fmt: skip


@pytest.mark.parametrize(("kind", "feature"), [("Drive", "driveway"), ("  ", "keep_out"), (None, "keep_out"), ("patio", "keep_out")])  # fmt: skip
def test_keep_outs_have_a_rule_of_their_kind_or_the_general_one(kind, feature):
    outs = layer(kind=[kind], geometry=[Point(5, 5).buffer(1)])
    [near] = [n for n in things_of(street(keep_outs=outs), "keep_outs", 5.0) if n.lot == 1]
    assert near.thing.feature == feature


def test_a_root_zone_that_reaches_the_lot_is_found_however_far_its_trunk_is():
    # The tree stands 30 m off, and its root zone is wider than any distance that a rule keeps.
    tree = layer(kind=["tree"], root_zone_m=[40.0], geometry=[Point(40, 5)])
    row = layer(kind=["plant"], root_zone_m=[40.0], geometry=[Point(12, 5)])
    [near] = [n for n in things_of(street(existing_screens=tree), "existing_screens", 1.0) if n.lot]
    assert near.thing.edge_m == 40.0
    assert things_of(street(existing_screens=row), "existing_screens", 1.0) == []
