"""Requests that no process can answer: each is one sentence of the library, whatever it holds."""

import copy
import json

import pytest
from hostile.outcome import judge
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from process_kit import lot_request, request_for, run_chain

from screenplan.ground.errors import InputError
from screenplan.processes import describe_process, execute
from screenplan.running.steps import STEPS

#: A sentence with its remedy; the remedy may list what there is.
LONGEST = 1000
BIG = 10**400


def nested(depth, leaf=1):
    for _ in range(depth):
        leaf = [leaf]
    return leaf


def tables(depth, leaf=1):
    for _ in range(depth):
        leaf = {"a": leaf}
    return leaf


LOT = lot_request()
ONE = {**LOT["parcels"], "features": LOT["parcels"]["features"][:1]}


def request(**changes):
    return copy.deepcopy({"parcels": ONE, "subject_id": "7"}) | changes


def feature(**changes):
    made = copy.deepcopy(ONE)
    made["features"][0] |= changes
    return request(parcels=made)


def shape(coordinates, kind="Polygon"):
    return feature(geometry={"type": kind, "coordinates": coordinates})


def values(**changes):
    return feature(properties={"parcel_id": "7"} | changes)


def test_the_plainest_requests_are_answered():
    # The process needs no layer of its own, so nothing but the parcels lays the frame.
    everywhere = {row["rule"] for row in execute("rules", {"parcels": ONE})["rules"]}
    assert {"boundary_stem", "locate_24in"} <= everywhere
    assert len(execute("sides", {"parcels": ONE})["sides"]["features"]) == 4
    # A property of others, and one that is no plain value, is passed over.
    assert execute("sides", values(owner={"name": ["x"]}, geometry="south"))["sides"]["features"]


@pytest.mark.parametrize("name", STEPS)
def test_a_request_of_parcels_alone_is_answered_or_refused(name):
    needed = [
        layer
        for layer, given in describe_process(name)["inputs"].items()
        if given["minOccurs"] and layer != "parcels"
    ]
    inputs = {"parcels": ONE} if "parcels" in describe_process(name)["inputs"] else {}
    if needed:
        with pytest.raises(InputError, match=f"process {name} needs the layer {needed[0]}"):
            execute(name, inputs)
    else:
        assert execute(name, inputs)


@pytest.mark.parametrize("name", [["sides"], {}, None, 3, "x" * 5000, "sides\n"])
def test_what_is_no_name_of_a_process_is_refused(name):
    with pytest.raises(InputError, match=r"there is no process .{1,80}\. Name one of sides"):
        execute(name, {})


@pytest.mark.parametrize(
    ("inputs", "message"),
    [
        ([1], "the inputs are no JSON object"),
        (None, "the inputs are no JSON object"),
        ({1: 2}, "the process has no input 1"),
        ({"k" * 5000: 2}, "the process has no input 'kkk"),
        (feature(properties=[1, 2]), r"parcels, row 1: the properties are \[1, 2\], no JSON object"),
        (feature(properties="ab"), "the properties are 'ab', no JSON object"),
        (feature(properties=3), "the properties are 3, no JSON object"),
        (values(parcel_id=[1]), r"row 1: Column parcel_id holds \[1\], and not one value"),
        (values(parcel_id=tables(3)), "Column parcel_id holds {'a': {'a': {'a': 1}}}, and not one"),
        (values(parcel_id=nested(3000)), "key parcels: lists or objects stand too deep"),
        (values(owner=nested(3000)), "key parcels: lists or objects stand too deep"),
        (values(parcel_id=10**5000), "key parcels: a number of 5001 digits is out of range"),
        (feature(type=["Feature"]), "row 1: the entry is no GeoJSON feature"),
        (feature(geometry=[1]), "row 1: the geometry is no GeoJSON geometry"),
        (shape(nested(3000)), "row 1: the geometry is no GeoJSON geometry"),
        (shape(nested(5)), "row 1: the geometry is no GeoJSON geometry"),
        (shape({"a": 1}), "the geometry is no GeoJSON geometry"),
        (shape(None), "the geometry is no GeoJSON geometry"),
        (shape([[[BIG, 50], [9, 50], [9, 51], [BIG, 50]]]), "the geometry is no GeoJSON geometry"),
        (shape([[[8, 50], [9, 50], [9, 51], [8, 50]]], ["Polygon"]), "is no GeoJSON geometry"),
        (shape([[[8, 50], [9, 50], [9, 51], [8, 50]]], None), "is no GeoJSON geometry"),
        (request(parcels={**ONE, "crs": ["EPSG:4326"]}), r"says that it is in \['EPSG:4326'\]"),
        (request(parcels={**ONE, "crs": {"properties": {"name": [1]}}}), r"it is in \[1\], and"),
        (request(parcels={**ONE, "crs": nested(3000)}), "key parcels: lists or objects stand too"),
        (request(parcels=tables(3000)), "key parcels: lists or objects stand too deep"),
        (request(subject_id=["7"]), r"key subject_id: \['7'\] is no identifier"),
        (request(subject_id=True), "key subject_id: True is no identifier"),
        (request(subject_id="8"), r"key subject_id: There is no parcel '8' among 1"),
        (request(subject_id=BIG), "key subject_id: a number of 401 digits is out of range"),
        (request(subject_point=[BIG, 1]), "key subject_point: a number of 401 digits"),
        (request(subject_point=[50, 120]), "key subject_point: the point is no pair of numbers"),
        (request(**{"sides.base": 10**5000}), "key sides.base: a number of 5001 digits is out of range"),
        (request(**{"sides.base": tables(2000)}), "key sides.base: lists or objects stand too deep"),
        (request(**{"sides.base": [4]}), r"key sides.base: the value \[4\] is no number"),
        (request(**{"sides.corner": nested(50)}), "key sides.corner: lists or objects stand too deep"),
        (request(**{"sides.corner": "steep " * 500}), "key sides.corner: 'steep "),
    ],
)  # fmt: skip
def test_what_is_no_input_is_refused(inputs, message):
    with pytest.raises(InputError, match=message) as refusal:
        execute("sides", inputs)
    assert len(str(refusal.value)) < LONGEST


@pytest.mark.parametrize(
    ("inputs", "message"),
    [
        ({"rules": [1]}, "key rules: the input is no table"),
        ({"rules": tables(2000)}, "key rules: lists or objects stand too deep"),
        ({"rules": {"boundary_stem": {"feature": ["x"]}}}, r"feature: \['x'\] is not one of the"),
        (
            {"rules": {"boundary_stem": {"distance": "1e300 m"}}},
            "distance: '1e300 m' is out of range. Give at most 2000 m",
        ),
        (
            {"species_table": {"x": {"like": ["a"]}}},
            r"key species.x.like: there is no species \['a'\]",
        ),
        (
            {"species_table": {"x": {"growth_class": {}}}},
            "key species.x.growth_class: {} is not one of the choices",
        ),
        ({"species_table": {"x": 5}}, "key species.x: 5 is not a table"),
        ({"plants.species": ["a"]}, "key plants.species: there is no species 'a'"),
        ({"plants.species": {"a": 1}}, "key plants.species: {'a': 1} is neither a text nor a list"),
    ],
)
def test_tables_that_are_none_are_refused(inputs, message):
    with pytest.raises(InputError, match=message):
        execute("zones", request(**inputs))


def test_a_limit_of_an_unknown_kind_is_refused():
    with pytest.raises(InputError, match=r"key limits.rules.x.kind: \['a'\] is not one of"):
        execute("rules", request(limits={"x": {"kind": ["a"]}}))


@pytest.mark.parametrize("rows", [5, [5], {}, "x", [{"amount": BIG}], [{"item": nested(2)}], [{}]])
def test_rows_that_are_none_are_refused(rows):
    with pytest.raises(InputError, match="quantities"):
        execute("cost", {"quantities": rows})


@pytest.fixture(scope="module")
def everything():
    return run_chain(lot_request(), "crowns")


def test_a_process_without_a_last_year_draws_any_year(everything):
    asked = request_for("crowns", everything) | {"growth.show_years": [40]}
    years = {
        feature["properties"]["year"] for feature in execute("crowns", asked)["crowns"]["features"]
    }
    assert years == {40}


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=12,
)  # fmt: skip
#: Where in a request something else may stand: a path of keys and indices.
PLACES = (
    ("parcels",), ("parcels", "type"), ("parcels", "features"), ("parcels", "features", 0), ("parcels", "crs"),
    ("parcels", "features", 0, "properties"), ("parcels", "features", 0, "properties", "parcel_id"),
    ("parcels", "features", 0, "geometry"), ("parcels", "features", 0, "geometry", "type"),
    ("parcels", "features", 0, "geometry", "coordinates"), ("parcels", "features", 0, "geometry", "coordinates", 0),
    ("parcels", "features", 0, "geometry", "coordinates", 0, 1), ("parcels", "features", 0, "geometry", "coordinates", 0, 1, 0),
    ("subject_id",), ("subject_point",), ("sides.corner",), ("sides.base",), ("roads",),
)  # fmt: skip


@given(place=st.sampled_from(PLACES), value=JSON)
@settings(max_examples=300, suppress_health_check=[HealthCheck.too_slow])
def test_whatever_stands_in_a_request_it_is_answered_or_refused(place, value):
    inputs = request()
    at = inputs
    for key in place[:-1]:
        at = at[key]
    at[place[-1]] = value
    outcome = judge(lambda: json.dumps(execute("sides", inputs), allow_nan=False))
    assert not outcome.is_fault, outcome.said
