"""Classes of sides: which is the front, which the rear."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from county_kit import lots

from screenplan.site.lots import Many
from screenplan.site.side_classes import classes_of, classes_of_each
from screenplan.site.sides import find_sides


def classed(outline, roads, others=()):
    shapes = [outline, *others]
    parcels = gpd.GeoDataFrame(
        {"parcel_id": [f"p{k}" for k in range(len(shapes))], "is_subject": [k == 0 for k in range(len(shapes))]},
        geometry=shapes,
    )  # fmt: skip
    ways = gpd.GeoDataFrame({"road_id": [f"r{k}" for k in range(len(roads))]}, geometry=roads)
    sides = find_sides(parcels, ways)
    return dict(zip(sides["side_id"], classes_of(sides), strict=True))


LOT = shapely.box(0.0, 0.0, 20.0, 40.0)
SOUTH, WEST = shapely.LineString([(-50, -6), (70, -6)]), shapely.LineString([(-6, -50), (-6, 90)])


@pytest.mark.parametrize(
    ("roads", "expected"),
    [
        # By hand, from the definition.
        ([SOUTH], {"south": "front", "north": "rear", "east": "side", "west": "side"}),
        # Of two fronts the longest tells which way the rear faces: the west side is 40 m, the south side 20 m.
        ([SOUTH, WEST], {"south": "front", "west": "front", "east": "rear", "north": "side"}),
        ([], dict.fromkeys(("north", "west", "south", "east"), "side")),
    ],
)
def test_a_lot_has_a_front_at_the_road_and_a_rear_away_from_it(roads, expected):
    assert classed(LOT, roads) == expected


def test_roads_before_and_behind_leave_no_rear():
    north = shapely.LineString([(-50, 46), (70, 46)])
    found = classed(LOT, [SOUTH, north])
    assert found == {"south": "front", "north": "front", "east": "side", "west": "side"}


def test_a_wedge_may_have_two_rear_sides():
    # 40 m deep with a roof-shaped back: both its sides face within 45 degrees of north.
    wedge = shapely.Polygon([(0, 0), (20, 0), (20, 30), (10, 40), (0, 30)])
    found = classed(wedge, [SOUTH])
    assert sorted(found.values()) == ["front", "rear", "rear", "side", "side"]


def test_the_kit_is_what_it_says():
    layers = lots(4)
    assert layers["parcels"].geometry.area.tolist() == pytest.approx([720.0] * 4)
    assert all(
        layers["parcels"].geometry.iloc[k].contains(layers["buildings"].geometry.iloc[k])
        for k in range(4)
    )


# Invariant.
def test_the_sides_of_many_lots_are_classed_as_those_of_each_alone():
    def facing(*ways):
        return gpd.GeoDataFrame(
            {"facing_deg": [deg for deg, _, _ in ways], "length_m": [long for _, long, _ in ways], "across_kind": [kind for *_, kind in ways]},
            geometry=[None] * len(ways),
        )  # fmt: skip

    corner = facing((0, 20, "road"), (90, 20.02, "road"), (180, 20, "parcel"), (270, 20, None))
    inner = facing((0, 20, "parcel"), (180, 20, None))
    plain = facing((10, 20, "parcel"), (190, 20, "road"))
    lots_ = [corner, inner, plain, inner.iloc[:0], corner]
    whole = Many(pd.concat(lots_, ignore_index=True), np.repeat(np.arange(5), [4, 2, 2, 0, 4]), 5)
    together = classes_of_each(whole)
    assert together.tolist() == [name for one in lots_ for name in classes_of(one)]
    # By hand: of two fronts equal to 5 cm that which faces nearest to north tells where the rear is.
    assert together[:4].tolist() == ["front", "front", "rear", "side"]
    assert together[4:8].tolist() == ["side", "side", "rear", "front"]
