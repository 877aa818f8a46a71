"""Columns by the names that cadastres and open data give them."""

import re

import pytest

from screenplan.contracts import INPUTS
from screenplan.site.known_columns import KNOWN, find_known


@pytest.mark.parametrize(
    ("layer", "present", "column", "theirs"),
    [
        ("parcels", ["APN", "SITUS"], "parcel_id", "APN"),
        (
            "parcels",
            ["gml_id", "localId", "nationalCadastralReference"],
            "parcel_id",
            "nationalCadastralReference",
        ),
        ("parcels", ["gml_id", "localId"], "parcel_id", "localId"),
        ("parcels", ["COMMUNE", "section", "numero"], "parcel_id", "section + numero"),
        ("parcels", ["CAPAKEY"], "parcel_id", "CAPAKEY"),
        ("parcels", ["nationalCa"], "parcel_id", "nationalCa"),
        ("parcels", ["map", "lot", "fcode"], "parcel_id", "map + lot"),
        ("buildings", ["numberOfFloorsAboveGround"], "storeys", "numberOfFloorsAboveGround"),
        ("buildings", ["numberOfFl"], "storeys", "numberOfFl"),
        ("buildings", ["Bldg_Flrs"], "storeys", "Bldg_Flrs"),
        ("buildings", ["building_levels"], "storeys", "building_levels"),
        ("buildings", ["height", "roof:height"], "height_m", "height - roof:height"),
        ("buildings", ["HEIGHT", "EAVE_HT"], "height_m", "EAVE_HT"),
        ("buildings", ["HAUTEUR", "NB_ETAGES"], "height_m", "HAUTEUR"),
    ],
)
def test_the_best_of_the_known_names_comes_first(layer, present, column, theirs):
    assert find_known(layer, column, present)[0].theirs == theirs


@pytest.mark.parametrize(
    ("name", "unit"), [("HGT_FT", "ft"), ("eaves (m)", "m"), ("heightroof", "ft"), ("HEIGHT", "")]
)
def test_a_name_says_its_unit(name, unit):
    assert [
        (match.theirs, match.unit) for match in find_known("buildings", "height_m", [name])
    ] == [(name, unit)]


@pytest.mark.parametrize("name", ["weightft", "heft", "ht_stone", "roof_height", "PINE", "count"])
def test_other_names_are_left_alone(name):
    for layer, columns in KNOWN.items():
        for column in columns:
            assert not find_known(layer, column, [name])


def test_a_tag_is_found_inside_its_column_after_a_column_of_its_own():
    tags = ["other_tags:building:levels"]
    assert find_known("buildings", "storeys", ["other_tags"], tags)[0].theirs == tags[0]
    assert (
        find_known("buildings", "storeys", ["other_tags", "building:levels"], tags)[0].theirs
        == "building:levels"
    )


def test_what_is_known_are_columns_of_contracts_and_no_name_stands_twice():
    for layer, columns in KNOWN.items():
        for column, groups in columns.items():
            assert INPUTS[layer].column(column)
            names = [name for group in groups for known in group for name in known.names.split("|")]
            plain = {re.sub(r"[ _:]", "", name).lower() for name in names}
            assert len(names) == len(plain)
