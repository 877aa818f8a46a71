"""Private places, given and derived. Lengths in metres."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from lots_kit import alone, assert_each, cuts, district
from options_kit import plan_with
from shapely import affinity

from screenplan.contracts import PRIVATE_PLACES
from screenplan.ground.errors import InputError
from screenplan.ground.said import in_units
from screenplan.site.garden import ROOMY_M, usable
from screenplan.site.lots import Lots
from screenplan.site.places import lay_places, lay_places_each, notes_on_places

SUBJECT = shapely.box(0, 0, 30, 40)
HOUSE = shapely.box(8, 10, 20, 18)
SHED = shapely.box(16, 20, 20, 23)
ROAD = shapely.LineString([(-50, -6), (80, -6)])
#: Where GEOS fails, areas are cut on a grid of a micrometre: of 100 m of edges so much.
AREA_M2 = 1e-4


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


def derived(subject, *footprints, road=ROAD, **keys):
    """Derive the place of a site with one parcel; its row, and what is said of it."""
    site = gpd.GeoDataFrame({"parcel_id": ["own"], "is_subject": [True]}, geometry=[subject])
    plan = plan_with(**{f"places_{key}": value for key, value in keys.items()})
    laid = lay_places(
        site, buildings(*footprints), None if road is None else roads(road), plan=plan
    )
    return laid.iloc[0], laid.attrs["notes"][0]


def is_same(place, expected, within=AREA_M2):
    return shapely.symmetric_difference(place, expected).area < within


def test_the_garden_is_behind_the_house_off_the_line_and_within_the_depth():
    row, says = derived(SUBJECT, HOUSE)
    # Closed form: the road is south, so the place lies north of the wall y = 18, for 10 m; sideways it
    # would reach 10 m beyond the house, but the strip of 4.7 m along the line comes first.
    assert is_same(row.geometry, shapely.box(4.7, 18, 25.3, 28))
    assert row["derived"]
    assert row["name"] == "garden behind the house"
    assert (row["eye_seated_m"], row["eye_standing_m"], row["weight"]) == (1.2, 1.6, 1.0)
    # By hand: 20.6 m by 10 m.
    assert says == (
        "the private place is derived, because nobody has said where people sit: the garden behind the house, "
        "206 m² of open ground away from the nearest road, within 10 m of the house and 4.7 m off the parcel's "
        "line, where the screen would stand. To change it, draw where people sit in a layer private_places, or "
        "set places.depth or places.edge"
    )
    assert "2217 sq ft" in in_units(says, "us")


def test_an_empty_layer_of_roads_tells_no_more_than_none():
    site, house, plan = parcels(), buildings(HOUSE), plan_with()
    empty, none = (lay_places(site, house, given, plan=plan) for given in (roads(), None))
    assert is_same(empty.geometry[0], none.geometry[0])
    assert empty.attrs["notes"] == none.attrs["notes"]


def test_depth_and_edge_bound_the_garden():
    row, _ = derived(SUBJECT, HOUSE, depth=6.0, edge=1.0)
    # Closed form: 6 m behind the house and to both sides of it, where 1 m off the line is less.
    assert is_same(row.geometry, shapely.box(2, 18, 26, 24))
    row, _ = derived(shapely.box(-100, 0, 100, 200), HOUSE)
    assert is_same(row.geometry, shapely.box(-2, 18, 30, 28))


def test_other_buildings_are_cut_out():
    row, _ = derived(SUBJECT, HOUSE, shapely.box(20, 18, 26, 33))
    # Closed form: what is left west of the shed.
    assert is_same(row.geometry, shapely.box(4.7, 18, 20, 28))


def test_a_nook_belongs_to_the_side_to_which_it_opens():
    wing = HOUSE.union(shapely.box(8, 18, 12, 26))
    row, _ = derived(SUBJECT, wing)
    # Closed form: behind the wing to the strip at y = 35.3, and the nook beside the wing.
    expected = shapely.box(4.7, 26, 25.3, 35.3).union(shapely.box(12, 18, 20, 26))
    assert is_same(row.geometry, expected)
    front = HOUSE.union(shapely.box(8, 2, 12, 10))
    assert is_same(derived(SUBJECT, front)[0].geometry, shapely.box(4.7, 18, 25.3, 28))


def test_ground_beside_the_house_comes_before_that_towards_the_road():
    house = shapely.box(6, 10, 12, 35)
    row, says = derived(SUBJECT, house)
    # Closed form: nothing behind it but the strip; 10 m beside it, 10 m by 25 m; before it 17.3 m by 5.3 m.
    assert is_same(row.geometry, shapely.box(12, 10, 22, 35))
    assert row["name"] == "garden beside the house"
    assert "250 m² of open ground, as only 0 m² behind it are usable, within" in says


def test_ground_before_the_house_is_taken_where_there_is_no_other():
    house = shapely.box(6, 25, 24, 38)
    row, says = derived(SUBJECT, house)
    # Closed form: beside the house the strip of 4.7 m leaves 1.3 m.
    assert is_same(row.geometry, shapely.box(4.7, 15, 25.3, 25))
    assert row["name"] == "garden before the house"
    assert "as only 0 m² behind it and 0 m² beside it are usable" in says


def test_ground_behind_the_house_that_is_small_gives_way_to_the_garden():
    # By hand: 3 m of ground are left between house and strip; at 20.6 m long it is enough (more than
    # 40 m²), at 6 m it is less than that and than half of what lies beside the house.
    wide, _ = derived(SUBJECT, shapely.box(4, 4, 26, 30.0))
    assert is_same(wide.geometry, shapely.box(4.7, 30, 25.3, 35.3))
    lot = shapely.Polygon([(0, 0), (60, 0), (60, 30), (16, 30), (16, 40), (0, 40)])
    row, _ = derived(lot, shapely.box(2, 6, 14, 32))
    assert row["name"] == "garden beside the house"


def test_a_strip_in_which_nobody_sits_is_no_garden():
    # By hand: 2.9 m lie behind the house and before the strip, too narrow for a table with chairs.
    row, _ = derived(SUBJECT, shapely.box(4, 12, 26, 32.4))
    assert row["name"] == "garden before the house"
    # A lane of 2 m that leads on from the garden is no part of it, but for its mouth: the middle of the
    # last circle of 5 m is √(2.5² - 1²) m away from there, and all within 0.71 times 5 m is taken.
    lot = SUBJECT.union(shapely.box(14, 39, 16, 60))
    row, _ = derived(lot, shapely.box(8, 10, 20, 20.5), depth=30.0, edge=0.0)
    assert 40.0 < row.geometry.bounds[3] <= 40.0 + 5.0 * 0.5**0.5 - (2.5**2 - 1.0) ** 0.5 + 0.05


def test_the_strip_is_narrowed_where_the_lot_is_small():
    # Closed form: 4.7 m and 3.525 m off the line leave less than 3 m, 2.35 m leaves 5.3 m.
    row, says = derived(shapely.box(0, 0, 10, 16), shapely.box(1, 2, 9, 8))
    assert is_same(row.geometry, shapely.box(2.35, 8, 7.65, 13.65))
    assert "off the parcel's line, where the screen would stand (4.7 m would leave no room)" in says


@pytest.mark.parametrize("road", [None, shapely.LineString([(-50, 150), (80, 150)])])
def test_without_a_road_that_tells_the_most_open_ground_is_the_garden(road):
    # By hand: 22 m of ground north of the house against 10 south, 8 west and 10 east; the road is 137 m away.
    row, says = derived(SUBJECT, HOUSE, road=road)
    assert is_same(row.geometry, shapely.box(4.7, 18, 25.3, 28))
    assert row["name"] == "garden of the house"
    assert "the side of the house with the most room, 206 m² of open ground, as no road" in says
    row, _ = derived(SUBJECT, shapely.box(8, 26, 20, 34), road=road)
    assert is_same(row.geometry, shapely.box(4.7, 16, 25.3, 26))


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


@pytest.mark.parametrize("angle", [0.0, 33.0, 45.0, 155.0, 290.0])
@pytest.mark.parametrize("road", [ROAD, None])
@pytest.mark.parametrize(
    "house", [HOUSE, shapely.box(6, 10, 12, 35), HOUSE.union(shapely.box(8, 18, 12, 26))]
)
def test_the_garden_turns_with_the_site(angle, road, house):
    def moved(shape):
        turned = affinity.rotate(shape, angle, origin=(0, 0))
        return affinity.translate(turned, 70.0, -20.0)

    # Invariant: what lies where does not hang on the axes.
    here, _ = derived(SUBJECT, house, road=road)
    there, _ = derived(moved(SUBJECT), moved(house), road=None if road is None else moved(road))
    assert here["name"] == there["name"]
    assert is_same(there.geometry, moved(here.geometry), 1e-3)


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


@settings(max_examples=30)
@given(
    angle=st.floats(0, 360),
    west=st.floats(1, 15),
    south=st.floats(1, 25),
    wide=st.floats(4, 14),
    deep=st.floats(4, 14),
    depth=st.floats(3, 15),
    edge=st.floats(0, 12),
    with_road=st.booleans(),
)
def test_derived_place_is_usable_open_ground_of_the_subject_off_its_line(
    angle, west, south, wide, deep, depth, edge, with_road
):
    def moved(shape):
        return affinity.rotate(shape, angle, origin=(0, 0))

    house = shapely.box(west, south, west + wide, south + deep)
    subject, solid = moved(SUBJECT), moved(house.union(SHED))
    row, says = derived(
        subject, moved(house), moved(SHED), road=moved(ROAD) if with_road else None,
        depth=depth, edge=edge,
    )  # fmt: skip
    place = row.geometry
    assert place.is_valid
    assert place.area >= 12.0 - 1e-6
    # On a grid: without one what only touches may be cut out whole, where edges in line differ in the last digits.
    assert shapely.difference(place, subject, grid_size=1e-9).area < AREA_M2
    assert shapely.intersection(place, solid, grid_size=1e-9).area < AREA_M2
    if "would leave no room" not in says:
        corners = shapely.points(shapely.get_coordinates(place))
        assert shapely.distance(subject.boundary, corners).min() >= edge - 1e-6
    # Arithmetic: all of it is within 0.71 × 5 m of the middle of a circle of 5 m, so within 2.54 m of the
    # middle of one of 3 m; or within 0.71 × 3 m of that.
    # Files may be out by 5 cm, and an arc of 32 chords a circle lies 5 mm within 2.54 m.
    middles = shapely.buffer(place, -1.475 + 1e-6)
    assert shapely.difference(place, shapely.buffer(middles, 2.54 + 0.03)).area < AREA_M2


# A cut of two edges that nearly meet left the house of this lot as a hole beside the ground, where GEOS 3.14 fails
# on what its own mending left (a lot of a suburb, © OpenStreetMap contributors, ODbL; to the last digit, in a local frame).
BESIDE = (
    [
        (0.019840162376487287, 27.66694270259378),
        (4.663881058246089, 27.009156447000265),
        (25.01675432819792, 3.1974555289789355),
        (24.353421940935615, -0.8839426673823236),
        (19.150965298628314, -5.330703572780855),
        (12.653576284559271, 2.270871000941022),
        (9.439684823123319, -0.47617868875505387),
        (5.925568672291766, 10.142256181430765),
        (-12.040228123888145, 4.203520294205794),
        (1.2742810437078314, 15.583997424867274),
        (-5.223107970361209, 23.185571998589154),
    ],
    [
        (-12.040228123888143, 4.203520294205794),
        (-8.526159016329618, -6.426074083257407),
        (9.439684823123319, -0.47617868875505454),
        (5.925568672291766, 10.142256181430765),
    ],
)


def test_a_hole_that_a_cut_left_beside_the_ground_takes_nothing_of_it():
    # Invariant: the ground is its shell.
    ground = shapely.Polygon(BESIDE[0], [BESIDE[1]])
    assert not ground.is_valid
    left, alone = usable(np.array([ground, shapely.Polygon(BESIDE[0])]), ROOMY_M)
    assert alone.area > 300.0
    assert left.symmetric_difference(alone).area < AREA_M2


# Invariant: not the other lots, nor their order, nor the cut, nor what lies beyond the reach.
@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_places_of_many_lots_are_those_of_each_alone(seed):
    layers, reach_m = district(seed), 45.0
    each = []
    for row in range(len(layers["parcels"])):
        own = alone(layers, row, reach_m)
        each.append(lay_places(own["parcels"], own["buildings"], own["roads"]))
    for lots, rows in cuts(layers, reach_m, seed):
        found, notes = lay_places_each(lots)
        assert_each(found, rows, each)
        assert [tuple(own) for own in notes] == [each[row].attrs["notes"] for row in rows]


def test_lots_without_anything_around_them_have_the_middle_of_their_ground():
    site = gpd.GeoDataFrame({"parcel_id": ["a", "b"]}, geometry=[SUBJECT, shapely.box(0, 0, 1, 1)])
    found, (first, second) = lay_places_each(Lots({"parcels": site}, np.array([1, 0])))
    assert found.lot.tolist() == [1]
    assert found.layer["name"].tolist() == ["middle of the parcel"]
    assert "no open ground" in first[0]
    assert "no house stands on the parcel" in second[0]
    off = lay_places_each(
        Lots({"parcels": site}, np.array([1, 0])), plan=plan_with(places_derive=False)
    )
    assert len(off[0].layer) == 0
    assert [len(notes) for notes in off[1]] == [1, 1]
