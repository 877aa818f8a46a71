"""Private places, given and derived. Lengths in metres."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from options_kit import plan_with
from shapely import affinity

from screenplan.contracts import PRIVATE_PLACES
from screenplan.ground.errors import InputError
from screenplan.site.places import lay_places, notes_on_places

SUBJECT = shapely.box(0, 0, 30, 40)
HOUSE = shapely.box(8, 10, 20, 18)
SHED = shapely.box(16, 20, 20, 23)
ROAD = shapely.LineString([(-50, -6), (80, -6)])
AREA_M2 = 1e-6


def parcels(subject=SUBJECT):
    return gpd.GeoDataFrame(
        {"parcel_id": ["own", "east"], "is_subject": [True, False]},
        geometry=[subject, shapely.box(30, 0, 60, 40)],
    )


def buildings(*footprints, kinds=None):
    return gpd.GeoDataFrame(
        {
            "building_id": [f"b{i}" for i in range(len(footprints))],
            "kind": kinds or ["house"] * len(footprints),
        },
        geometry=list(footprints),
    )


def roads(*lines):
    return gpd.GeoDataFrame({"road_id": ["r1"] * len(lines)}, geometry=list(lines))


def places(*shapes, **columns):
    return gpd.GeoDataFrame(
        {"place_id": [f"t{i}" for i in range(1, len(shapes) + 1)], **columns}, geometry=list(shapes)
    )


def test_garden_side_is_away_from_the_road():
    place = lay_places(parcels(), buildings(HOUSE), roads(ROAD)).iloc[0]
    # Closed form: the road is south, so the strip lies north of the wall y = 18, 12 m by 5 m.
    assert shapely.symmetric_difference(place.geometry, shapely.box(8, 18, 20, 23)).area < AREA_M2
    assert place["derived"]
    assert place["name"] == "garden side of the house"
    assert (place["eye_seated_m"], place["eye_standing_m"], place["weight"]) == (1.2, 1.6, 1.0)


def test_garden_side_is_cut_free_of_other_buildings_and_keeps_its_depth():
    place = lay_places(
        parcels(), buildings(HOUSE, SHED), roads(ROAD), plan=plan_with(places_depth=4.0)
    ).iloc[0]
    # Closed form: 12 m by 4 m less the shed's part, x = 16 to 20, y = 20 to 22.
    expected = shapely.difference(shapely.box(8, 18, 20, 22), shapely.box(16, 20, 20, 22))
    assert shapely.symmetric_difference(place.geometry, expected).area < AREA_M2


def test_garden_side_is_clipped_to_the_parcel():
    house = shapely.box(8, 28, 20, 38)
    place = lay_places(parcels(), buildings(house), roads(ROAD)).iloc[0]
    # Closed form: the parcel ends 2 m north of the house.
    assert shapely.symmetric_difference(place.geometry, shapely.box(8, 38, 20, 40)).area < AREA_M2


def test_side_without_room_gives_way_to_the_next():
    house = shapely.box(8, 29, 20, 39.5)
    place = lay_places(parcels(), buildings(house), roads(ROAD)).iloc[0]
    # By hand: 0.5 m is left north of the house, below the 12 m² for a table; the most open ground
    # is south of it (30 m by 29 m).
    assert shapely.symmetric_difference(place.geometry, shapely.box(8, 24, 20, 29)).area < AREA_M2


def test_without_a_road_the_larger_open_ground_decides():
    place = lay_places(parcels(), buildings(HOUSE)).iloc[0]
    # By hand: 22 m of ground north of the house against 10 south, 8 west and 10 east.
    assert shapely.symmetric_difference(place.geometry, shapely.box(8, 18, 20, 23)).area < AREA_M2
    south = shapely.box(8, 26, 20, 34)
    place = lay_places(parcels(), buildings(south)).iloc[0]
    assert place.geometry.bounds[3] == pytest.approx(26.0)


def test_far_road_does_not_decide():
    far = shapely.LineString([(-50, 150), (80, 150)])
    place = lay_places(parcels(), buildings(HOUSE), roads(far)).iloc[0]
    # By hand: 137 m from the house, which is beyond 100 m; the open ground is to the north.
    assert place.geometry.bounds[1] == pytest.approx(18.0)


def test_main_house_is_the_largest_that_is_lived_in():
    barn = shapely.box(2, 24, 28, 38)
    place = lay_places(parcels(), buildings(HOUSE, barn, kinds=["house", "barn"]), roads(ROAD))
    assert place.geometry.iloc[0].bounds[1] == pytest.approx(18.0)


def test_neighbours_house_is_not_the_subjects():
    place = lay_places(parcels(), buildings(shapely.box(40, 10, 55, 25)), roads(ROAD)).iloc[0]
    assert place["name"] == "middle of the parcel"


def test_parcel_without_a_house_gives_its_middle():
    place = lay_places(parcels()).iloc[0]
    # Closed form: the largest circle has a radius of 15 m; 7.5 m from the outline on each side.
    expected = shapely.box(7.5, 7.5, 22.5, 32.5)
    assert shapely.symmetric_difference(place.geometry, expected).area < 1.0
    assert place["derived"]


def test_parcel_built_upon_all_over_has_no_derived_place():
    laid = lay_places(parcels(), buildings(SUBJECT))
    assert len(laid) == 0
    assert [c for c in laid if c != "geometry"] == [c.name for c in PRIVATE_PLACES.columns]


def test_deriving_can_be_switched_off():
    assert len(lay_places(parcels(), buildings(HOUSE), plan=plan_with(places_derive=False))) == 0


def test_given_places_are_completed_and_keep_their_index():
    frame = places(
        shapely.box(8, 20, 14, 24),
        shapely.Point(25, 30),
        name=["terrace", None],
        weight=[2.0, np.nan],
    )
    frame.index = [4, 2]
    before = frame.copy()
    laid = lay_places(parcels().set_crs(32632), buildings(HOUSE), None, frame)
    assert list(laid.index) == [4, 2]
    assert laid.crs == "EPSG:32632"
    assert list(laid["name"]) == ["terrace", "private place t2"]
    # The contract's defaults.
    assert list(laid["weight"]) == [2.0, 1.0]
    assert list(laid["eye_standing_m"]) == [1.6, 1.6]
    assert not laid["derived"].any()
    assert laid.geometry.iloc[0].equals(frame.geometry.iloc[0])
    assert frame.equals(before)


def test_buildings_are_cut_out_of_a_given_place():
    frame = places(shapely.box(8, 16, 20, 24))
    laid = lay_places(parcels(), buildings(HOUSE, SHED), None, frame)
    # Closed form: 12 × 8 less 12 × 2 of the house and 4 × 3 of the shed.
    assert laid.geometry.iloc[0].area == pytest.approx(96 - 24 - 12)
    notes = notes_on_places(parcels(), buildings(HOUSE, SHED), frame)
    assert notes == ("buildings take 36.0 m² of place t1, which is cut to the rest",)


def test_a_place_that_a_building_cuts_in_two_keeps_both_parts():
    # Closed form: 30 by 6 m less the shed's 4 by 3 m leaves what is left and right of it, and a strip; the
    # shed as long as the place is deep leaves two parts.
    across = shapely.box(16, 19, 20, 27)
    (row,) = lay_places(
        parcels(), buildings(across), None, places(shapely.box(2, 20, 28, 26))
    ).itertuples()
    assert row.geometry.geom_type == "MultiPolygon"
    assert row.geometry.area == pytest.approx(14 * 6 + 8 * 6)
    both = shapely.box(2, 20, 16, 26).union(shapely.box(20, 20, 28, 26))
    assert row.geometry.symmetric_difference(both).area < AREA_M2


@pytest.mark.parametrize("angle", [0.0, 33.0, 155.0, 290.0])
@pytest.mark.parametrize("garden", ["north", "west"])
def test_the_garden_side_turns_with_the_site(angle, garden):
    # Closed form: the ground before a wall reaches over its whole half-plane. Of a house at the south
    # east of its lot the ground in the north is larger, or with a deep lot to the west that in the west.
    lot = {"north": shapely.box(0, 0, 30, 60), "west": shapely.box(-40, 0, 30, 24)}[garden]
    house = shapely.box(14, 4, 26, 12)
    strip = {"north": shapely.box(14, 12, 26, 17), "west": shapely.box(9, 4, 14, 12)}[garden]
    lot, house, strip = (
        affinity.translate(affinity.rotate(one, angle, origin=(0, 0)), 70.0, -20.0)
        for one in (lot, house, strip)
    )
    site = gpd.GeoDataFrame({"parcel_id": ["own"], "is_subject": [True]}, geometry=[lot])
    place = lay_places(site, buildings(house), None, plan=plan_with(places_depth=5.0)).iloc[0]
    assert place.geometry.symmetric_difference(strip).area < 1e-3


def test_roof_terrace_is_kept_and_a_place_beneath_the_roof_is_not():
    houses = buildings(HOUSE, SHED).assign(height_m=[6.0, 2.5])
    over = shapely.box(15, 17, 21, 24)
    # By hand: at 2.5 m the terrace is on the shed and beside the house, from which it is cut.
    laid = lay_places(parcels(), houses, None, places(over, deck_m=[2.5]))
    assert laid["deck_m"].to_list() == [2.5]
    assert laid.geometry.iloc[0].area == pytest.approx(over.area - 5.0)
    low = lay_places(parcels(), houses, None, places(over, deck_m=[2.4]))
    assert low.geometry.iloc[0].area == pytest.approx(over.area - 5.0 - SHED.area)
    with pytest.raises(InputError, match="inside a building"):
        lay_places(parcels(), houses, None, places(SHED.buffer(-0.1), deck_m=[2.4]))


def test_places_outside_the_subject_are_kept_and_noted():
    frame = places(shapely.box(40, 10, 44, 14), shapely.box(28, 10, 34, 14), shapely.Point(3, 3))
    assert len(lay_places(parcels(), None, None, frame)) == 3
    assert notes_on_places(parcels(), None, frame) == (
        "place t1 is outside the subject parcel",
        "place t2 is in part outside the subject parcel",
    )
    assert "is derived" in notes_on_places(parcels())[0]


@pytest.mark.parametrize(
    ("shape", "message"),
    [
        (shapely.Point(10, 12), "layer private_places, row 1: place t1 is inside a building"),
        (shapely.box(9, 11, 12, 14), "place t1 is inside a building. Draw it where people sit"),
        (shapely.Polygon(), "place t1 has no outline"),
        (None, "place t1 has no outline"),
    ],
)
def test_refuses_by_row(shape, message):
    with pytest.raises(InputError, match=message):
        lay_places(parcels(), buildings(HOUSE), None, places(shape))


def test_refuses_doubles_and_a_depth_that_is_none():
    frame = places(shapely.Point(1, 1), shapely.Point(2, 2)).assign(place_id="t")
    with pytest.raises(InputError, match="rows 1, 2: the identifier t stands there 2 times"):
        lay_places(parcels(), None, None, frame)


@settings(max_examples=40)
@given(
    angle=st.floats(0, 360),
    west=st.floats(1, 15),
    south=st.floats(1, 25),
    wide=st.floats(4, 14),
    deep=st.floats(4, 14),
    depth=st.floats(1, 8),
    with_road=st.booleans(),
)
def test_derived_place_is_open_ground_of_the_subject(
    angle, west, south, wide, deep, depth, with_road
):
    def moved(frame):
        return frame.set_geometry(
            [affinity.rotate(shape, angle, origin=(0, 0)) for shape in frame.geometry]
        )

    house = shapely.box(west, south, west + wide, south + deep)
    frame = moved(buildings(house, SHED))
    site = moved(parcels())
    lines = moved(roads(ROAD)) if with_road else None
    row = lay_places(site, frame, lines, plan=plan_with(places_depth=depth)).iloc[0]
    place = row.geometry
    assert place.is_valid
    # The least size of a derived place; open ground of this site always has more.
    assert place.area > 4.0 - 1e-6
    assert shapely.difference(place, site.geometry.iloc[0]).area < AREA_M2
    assert shapely.intersection(place, frame.union_all()).area < AREA_M2
    if row["name"] == "garden side of the house":
        corners = shapely.points(shapely.get_coordinates(place))
        # The strip is made of rectangles on the walls: no point is farther than it is deep.
        assert shapely.distance(corners, frame.geometry.iloc[0]).max() <= depth + 1e-6
