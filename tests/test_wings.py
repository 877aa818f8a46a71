"""Buildings in several rows, without a floor, without a height."""

import geopandas as gpd
import pytest
from reading_kit import read_frames
from site_layers import UTM, box, parcels

from screenplan.ground.errors import InputError
from screenplan.ground.said import in_units
from screenplan.plan import Options
from screenplan.site.reading import LayerSource, read_site

HOUSE, WING, TOWER = box(-50, -5, -40, 5), box(-40, -5, -35, 5), box(-48, -2, -44, 2)


def read(geometry, missing=None, **columns):
    """Read buildings beside the lots; give them and what was told of them."""
    houses = gpd.GeoDataFrame(columns, geometry=geometry, crs=UTM)
    sources = {
        "parcels": LayerSource(parcels(), columns={"parcel_id": "PIN"}),
        "buildings": LayerSource(houses, missing=missing or {}),
    }
    site = read_site(sources, plan=Options().about("A-2", None))
    told = site.repairs[site.repairs["layer"] == "buildings"]
    return site.layers["buildings"], [
        (row if row == row else 0, in_units(text, "metric"))
        for row, text in zip(told["row"].fillna(0), told["repair"], strict=True)
    ]


def test_a_part_within_an_outline_is_left_out_where_it_is_no_higher():
    made, told = read([HOUSE, TOWER], height_m=[6.0, 4.0])
    assert made["height_m"].tolist() == [6.0]
    assert told == [(2, "part of the building in row 1: row left out")]


def test_an_outline_without_a_height_gets_that_of_its_tallest_part():
    made, told = read([HOUSE, TOWER, box(-44, -2, -40, 2)], height_m=[None, 9.0, 5.0])
    # Evidence: published, OpenStreetMap's page of building:levels; the number of a building is the greatest of its parts.
    assert made["height_m"].tolist() == [9.0]
    assert (1, "as high as its tallest part, in row 2") in told


def test_a_part_that_stands_out_of_its_outline_stays():
    made, _ = read([HOUSE, TOWER], height_m=[6.0, None], storeys=[None, 4])
    # Evidence: closed form; 4 storeys of 2.8 m are 11.2 m, more than 6 m.
    assert made["height_m"].tolist() == pytest.approx([6.0, 11.2])


def test_rows_of_one_identifier_that_touch_are_one_building():
    made, told = read([HOUSE, WING], building_id=["x", "x"], height_m=[6.0, 6.0])
    assert made["building_id"].tolist() == ["x"]
    assert made.geometry.area.tolist() == pytest.approx([150.0], rel=1e-3)
    assert told == [(2, "part of the building 'x' in row 1: joined to it")]


def test_rows_of_one_identifier_that_differ_are_called_its_parts():
    made, told = read([WING, HOUSE], building_id=["x", "x"], height_m=[3.0, 6.0])
    assert made["building_id"].tolist() == ["x (part 2)", "x"]
    assert told == [(1, "part of the building 'x': called 'x (part 2)'")]


def test_what_has_no_floor_above_the_ground_is_left_out():
    made, told = read([HOUSE, WING, TOWER], storeys=[2, 0, 0], height_m=[None, None, 7.0])
    assert made["height_m"].tolist() == pytest.approx([5.6, 7.0])
    assert (2, "no floor above the ground: row left out") in told
    assert (3, "no storey above the ground: the number is left out") in told


def test_a_value_for_rows_that_lack_one_leaves_the_others_alone():
    away = box(-50, 8, -40, 18)
    made, told = read([HOUSE, away], missing={"storeys": 1}, height_m=[6.0, None])
    assert made["height_m"].tolist() == pytest.approx([6.0, 2.8])
    assert made["storeys"].isna().tolist() == [True, False]
    assert (2, "storeys 1 taken, which the plan gives for rows without") in told
    with pytest.raises(
        InputError,
        match=r"row 2, key layers\.buildings\.missing: The building has neither.*missing = \{ storeys = 2 \}",
    ):
        read([HOUSE, away], height_m=[6.0, None])


def test_marks_for_not_known_and_heights_of_nothing_lack_a_height_where_a_value_is_given():
    shapes = [HOUSE, box(-50, 8, -40, 18), box(-50, 21, -40, 31)]
    made, told = read(shapes, missing={"height_m": 5.0}, height_m=[6.0, 0.0, 9999.0])
    assert made["height_m"].tolist() == [6.0, 5.0, 5.0]
    assert (2, "height_m 0 taken as not known") in told


@pytest.mark.parametrize(
    ("missing", "said"),
    [
        (
            {"height_m": 9999.0},
            r"key layers\.buildings\.missing\.height_m: The height_m 9999 m looks like a mark",
        ),
        *(
            (
                {name: blank},
                rf"key layers\.buildings\.missing\.{name}: the {name} for rows without one is empty",
            )
            for name in ("kind", "roof", "storeys")
            for blank in ("", "  ")
        ),
        ({"storeys": "many"}, r"key layers\.buildings\.missing\.storeys: 'many' is not a number"),
        (
            {"colour": 2},
            r"key layers\.buildings\.missing: The layer of buildings has no column 'colour'",
        ),
    ],
)
def test_a_value_for_rows_that_lack_one_must_be_one(missing, said):
    with pytest.raises(InputError, match=said):
        read([HOUSE], missing=missing, height_m=[None])


def test_a_required_column_may_be_given_for_rows_without_it():
    fences = gpd.GeoDataFrame(
        {"kind": ["fence", "hedge"], "height_m": [1.2, None]},
        geometry=[box(-20, 19, 0, 19.2), box(0, 19, 20, 20)],
        crs=UTM,
    )
    with pytest.raises(InputError, match=r"row 2: The column height_m is empty"):
        read_frames(
            {"parcels": parcels(), "existing_screens": fences},
            columns={"parcels": {"parcel_id": "PIN"}},
            subject_id="A-2",
        )
    sources = {
        "parcels": LayerSource(parcels(), columns={"parcel_id": "PIN"}),
        "existing_screens": LayerSource(fences, missing={"height_m": 1.8}),
    }
    site = read_site(sources, plan=Options().about("A-2", None))
    assert site.layers["existing_screens"]["height_m"].tolist() == [1.2, 1.8]
