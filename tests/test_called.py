"""Windows, houses and places are called by one name, wherever a person meets them."""

import xml.etree.ElementTree as ET

import geopandas
import pandas as pd
import pyogrio
import pytest
from made_up import make_layer
from shapely.geometry import box

from screenplan.contracts import INPUTS, OUTPUTS
from screenplan.contracts.called import name_as_called, observer_names
from screenplan.ground.frame import LocalFrame
from screenplan.outputs.layers import write_layers


def houses(name="No. 9"):
    return pd.DataFrame({"building_id": ["h-9"], "kind": ["house"], "name": [name]})


def windows(name, storey=1):
    return pd.DataFrame(
        {"window_id": ["9-up"], "name": [name], "building_id": ["h-9"], "storey": [storey]}
    )


@pytest.mark.parametrize("house", ["No. 9", "Smith, 9 Elm St", None])
@pytest.mark.parametrize("name", ["bedroom", "h-9, bedroom", "attic", None])
def test_a_name_that_was_made_is_not_made_longer(house, name):
    layers = {"buildings": houses(house), "windows": windows(name)}
    once = name_as_called(layers)
    assert once["windows"]["name"].to_list() == list(observer_names(layers).values())
    twice = name_as_called(once)
    for layer in layers:
        assert twice[layer]["name"].to_list() == once[layer]["name"].to_list()


def test_what_was_read_stays_as_it_is():
    layers = {"buildings": houses(None), "windows": windows("bedroom"), "plants": object()}
    named = name_as_called(layers)
    assert layers["windows"]["name"].to_list() == ["bedroom"]
    assert layers["buildings"]["name"].to_list() == [None]
    assert named["plants"] is layers["plants"]
    assert named["buildings"]["name"].to_list() == ["h 9"]


def test_written_layers_and_their_labels_have_the_names(tmp_path):
    frame = LocalFrame.around(geopandas.GeoSeries([box(0, 0, 90, 90)], crs=32632))
    layers = {
        "windows": make_layer(OUTPUTS["windows"], frame.crs, rows=1).assign(
            window_id="9-up", name="bedroom", building_id="h-9", storey=1
        ),
        "buildings": make_layer(INPUTS["buildings"], frame.crs, rows=1).assign(
            building_id="h-9", name="No. 9"
        ),
        "private_places": make_layer(OUTPUTS["private_places"], frame.crs, rows=1).assign(
            place_id="seat-2", name=None
        ),
        "views": make_layer(OUTPUTS["views"], frame.crs, rows=1).assign(
            view_id="9-up to seat-2", name=None, window_id="9-up", place_id="seat-2"
        ),
    }
    write_layers(layers, tmp_path, send_out=frame.send_out, crs=frame.source_crs)
    expected = {
        "windows": "No. 9, bedroom, upstairs",
        "buildings": "No. 9",
        "private_places_areas": "seat 2",
        "views": "No. 9, bedroom, upstairs, onto seat 2",
    }
    for layer, name in expected.items():
        written = pyogrio.read_dataframe(tmp_path / "plan.gpkg", layer=layer)
        assert written["name"].to_list() == [name]
    for sld in ("windows", "private_places_areas"):
        labels = ET.parse(tmp_path / "styles" / f"{sld}.sld").getroot()
        (label,) = labels.iter("{http://www.opengis.net/sld}Label")
        assert "".join(label.itertext()).strip() == "name"
