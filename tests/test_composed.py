"""Columns that a file holds only in parts."""

import geopandas as gpd
import pandas as pd
import pytest
from reading_kit import read_site
from site_layers import UTM, box, parcels, write

from screenplan.ground.errors import InputError
from screenplan.site import sources
from screenplan.site.composed import cells_of, is_held, metres_in, parts_of, tags_of, tags_within
from screenplan.site.reading import LayerSource


def test_tags_are_read_as_gdal_writes_them():
    # Evidence: the form that GDAL's page of its OSM driver names, HSTORE, whose manual has a backslash before a quotation mark.
    assert tags_of(r'"ref"=>"357", "note"=>"the \"old\" yard => 2","height"=>"5.5 m"') == {
        "ref": "357",
        "note": 'the "old" yard => 2',
        "height": "5.5 m",
    }
    assert tags_of(None) == tags_of(float("nan")) == tags_of("none of them") == {}
    assert tags_within(['"a"=>"1","b"=>"2"', None, '"b"=>"3"']) == ["b", "a"]


def test_a_columns_own_name_goes_before_what_it_may_be_made_of():
    frame = pd.DataFrame({"a": ["1"], "b": ["2"], "a + b": ["own"]})
    assert cells_of(frame, "a + b").tolist() == ["own"]
    assert parts_of("b + a", frame.columns) == ("b", "a")
    assert not is_held("a + c", frame.columns)
    assert not is_held("other_tags:height", frame.columns)


def test_texts_are_joined_and_a_missing_one_makes_the_whole_missing():
    frame = pd.DataFrame({"SECTION": ["AB", "AB", None], "NUMERO": [12.0, "0013", "14"]})
    assert cells_of(frame, "SECTION + NUMERO").tolist() == ["AB 12", "AB 0013", None]


@pytest.mark.parametrize(
    ("height", "roof", "eaves"),
    [
        ("9", "3", 6.0),
        (9.0, None, 9.0),
        ("9 m", "3", "6.0 m"),
        ("30'", "3.048", "6.096 m"),  # 10 yd less 10 ft, exact by the definition of the foot
        (None, "3", None),
        ("tall", "3", "tall"),
        ("9", "steep", "steep"),
    ],
)
def test_a_length_less_another(height, roof, eaves):
    frame = pd.DataFrame({"height": [height], "roof:height": [roof]}, dtype=object)
    (made,) = cells_of(frame, "height - roof:height")
    assert (metres_in(made) or made) == (
        pytest.approx(metres_in(eaves)) if metres_in(eaves) else eaves
    )


def lots(path):
    frame = parcels().assign(SECTION=["A", "A", "A", "B"], NUMERO=[1, 2, 3, 9])
    return write(frame.drop(columns="PIN"), path)


@pytest.mark.parametrize("is_large", [False, True])
def test_a_parcel_is_found_by_an_id_of_two_columns(tmp_path, monkeypatch, is_large):
    if is_large:
        monkeypatch.setattr(sources, "WHOLE_ROWS", 1)
    source = LayerSource(lots(tmp_path / "lots.gpkg"), columns={"parcel_id": "SECTION + NUMERO"})
    site = read_site({"parcels": source}, subject_id="A 2")
    assert sorted(site.layers["parcels"]["parcel_id"]) == ["A 1", "A 2", "A 3"]
    with pytest.raises(
        InputError, match=r"There is no parcel 'A 4' among 4\. Did you mean A [123]"
    ):
        read_site({"parcels": source}, subject_id="A 4")
    missing = LayerSource(source.file, columns={"parcel_id": "SECTION + NUMBER"})
    with pytest.raises(InputError, match=r"There is no column 'SECTION \+ NUMBER'"):
        read_site({"parcels": missing}, subject_id="A 2")


def test_heights_are_read_out_of_other_tags_with_their_units(tmp_path):
    tags = ['"height"=>"9","roof:height"=>"3"', '"height"=>"20 ft"', '"building:levels"=>"1.5"']
    houses = gpd.GeoDataFrame(
        {"other_tags": tags},
        geometry=[box(-50, -5, -40, 5), box(-50, 8, -40, 18), box(-50, 21, -40, 31)],
        crs=UTM,
    )
    columns = {
        "height_m": "other_tags:height - other_tags:roof:height",
        "storeys": "other_tags:building:levels",
    }
    site = read_site(
        {
            "parcels": LayerSource(
                write(parcels(), tmp_path / "lots.gpkg"), columns={"parcel_id": "PIN"}
            ),
            "buildings": LayerSource(write(houses, tmp_path / "houses.gpkg"), columns=columns),
        },
        subject_id="A-2",
        storey_height_m=3.0,
    )
    # Evidence: closed form; 9 less 3, 20 feet of 0.3048 m, 2 storeys of 3 m.
    assert site.layers["buildings"]["height_m"].tolist() == pytest.approx([6.0, 6.096, 6.0])
    assert "1.5 storeys counted as 2" in site.repairs["repair"].tolist()
