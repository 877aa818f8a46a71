"""One lot out of what was read round a street."""

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely import LineString, Point, box

from screenplan.site.street_lots import layers_of, lots_of, lying_on, nearest_lot

LOTS = np.array([box(0, 0, 20, 30), box(20, 0, 40, 30)], object)


def read():
    parcels = gpd.GeoDataFrame(
        {"parcel_id": ["a", "b", "c", "far"], "is_subject": [True, True, False, False]},
        geometry=[*LOTS, box(40, 0, 60, 30), box(90, 0, 110, 30)],
    )
    places = gpd.GeoDataFrame(
        {"place_id": ["pa", "pb", "out"]},
        geometry=[box(2, 2, 8, 8), box(18, 2, 30, 8), Point(50, 5)],
    )
    screens = gpd.GeoDataFrame(
        {"screen_id": ["p", "t"], "kind": ["plant", "tree"]}, geometry=[Point(5, 28), Point(35, 28)]
    )
    return {"parcels": parcels, "private_places": places, "existing_screens": screens,
            "measured_plants": pd.DataFrame({"plant": [1]})}  # fmt: skip


def test_a_lot_has_what_lies_within_its_reach_and_what_lies_on_it():
    layers = read()
    found = layers_of("b", layers, 45.0)
    assert lots_of(layers["parcels"]) == ["a", "b"]
    assert lots_of(found["parcels"]) == ["b"]
    assert list(found["parcels"]["parcel_id"]) == ["a", "b", "c"]
    assert list(found["private_places"]["place_id"]) == ["pb"]
    # A tree screens whoever looks past it; a plant of a row is of the lot on which the row stands.
    assert list(found["existing_screens"]["screen_id"]) == ["t"]
    assert list(layers_of("a", layers, 45.0)["existing_screens"]["screen_id"]) == ["p", "t"]
    assert found["measured_plants"] is layers["measured_plants"]
    assert list(found["existing_screens"].index) == [1]


def test_most_of_a_thing_decides_on_which_lot_it_lies():
    shapes = np.array([box(15, 0, 21, 5), LineString([(19, 1), (25, 1)]), Point(3, 3), Point(70, 3)], object)  # fmt: skip
    assert lying_on(shapes, LOTS).tolist() == [0, 1, 0, -1]
    assert lying_on(np.array([], object), LOTS).tolist() == []
    # A line outside belongs to the lot that is nearest to it.
    assert nearest_lot(np.array([shapely.box(-5, 0, -3, 5), Point(70, 3)], object), LOTS).tolist() == [0, 1]  # fmt: skip
