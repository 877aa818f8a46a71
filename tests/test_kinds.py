"""Each written layer is of one kind of geometry, and nothing is lost by taking layers apart."""

import geopandas as gpd
import pytest
import shapely
from made_up import make_all, make_layer
from shapely.geometry import LineString, MultiPolygon, Point, box

from screenplan.contracts import LIGHT, OUTPUTS, PRIVATE_PLACES, WRITTEN, written_parts
from screenplan.contracts.written import kinds_of
from screenplan.outputs.kinds import join_kinds, split_by_kind


def test_every_written_layer_is_of_one_kind():
    assert all(len(kinds_of(contract)) <= 1 for contract in WRITTEN.values())
    assert {name for name in WRITTEN if name not in OUTPUTS} == {
        "private_places_areas", "private_places_points", "light_areas", "light_lines",
        "light_points", "hedge_heights_areas", "hedge_heights_points",
    }  # fmt: skip
    # A name stands for one thing only: none is both a layer in memory and a part of another.
    mixed = [contract for contract in OUTPUTS.values() if len(kinds_of(contract)) > 1]
    assert not {contract.name for contract in mixed} & set(WRITTEN)
    for contract in mixed:
        assert all(part.columns == contract.columns for part in written_parts(contract).values())


def test_layers_are_split_and_joined_whole():
    layers = make_all(OUTPUTS, 3857, rows=7)
    for name, contract in OUTPUTS.items():
        if contract.key:
            layers[name][contract.key] = [f"{row}" for row in range(7)]
    taken = split_by_kind(layers, OUTPUTS)
    assert set(taken) == set(WRITTEN)
    for name, layer in layers.items():
        parts = [taken[part] for part in written_parts(OUTPUTS[name])]
        assert sum(len(part) for part in parts) == len(layer)
        if len(parts) > 1:
            again = join_kinds(parts)
            key = OUTPUTS[name].key
            before, after = layer.set_index(key), again.set_index(key)
            same = after.geometry.geom_equals(before.geometry.reindex(after.index), align=False)
            assert same.all()
            assert again.crs == layer.crs
            assert list(again.columns) == list(layer.columns)


@pytest.mark.parametrize("absent", [None, Point(), shapely.Polygon()])
def test_a_row_without_a_shape_is_in_one_part(absent):
    layer = make_layer(PRIVATE_PLACES, 3857, rows=4)
    layer.geometry = [absent, Point(1, 1), box(0, 0, 1, 1), MultiPolygon([box(0, 0, 1, 1)])]
    taken = split_by_kind({"private_places": layer}, OUTPUTS)
    assert [len(part) for part in taken.values()] == [3, 1]
    assert sorted(taken) == ["private_places_areas", "private_places_points"]


def test_empty_parts_keep_their_system_and_columns():
    layer = make_layer(LIGHT, 3857, rows=2)
    layer.geometry = [LineString([(0, 0), (1, 1)])] * 2
    taken = split_by_kind({"light": layer}, OUTPUTS)
    assert {name: len(part) for name, part in taken.items()} == {
        "light_areas": 0, "light_lines": 2, "light_points": 0,
    }  # fmt: skip
    for part in taken.values():
        assert isinstance(part, gpd.GeoDataFrame)
        assert part.crs == layer.crs
    assert len(join_kinds([taken["light_areas"]] * 2)) == 0


def test_a_layer_without_a_contract_is_handed_on():
    layer = make_layer(LIGHT, 3857)
    assert split_by_kind({"other": layer}, OUTPUTS) == {"other": layer}
