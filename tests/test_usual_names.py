"""Columns of a table by the names that people give them."""

import pytest

from screenplan.contracts import INPUTS, MEASURED_PLANTS
from screenplan.site.repair import WHOLE_LAYER, Findings
from screenplan.site.sources import LayerSource
from screenplan.site.usual_names import take_usual_names


def take(*present, columns=None, units=None, fixed=None, us=False):
    """Give the columns and units that are taken of a file, and what was noted."""
    findings = Findings("measured_plants", "own.csv", "own")
    named = LayerSource("own.csv", None, columns or {}, units or {}, fixed or {})
    found = take_usual_names(MEASURED_PLANTS, present, named, findings, us=us)
    return found.columns, found.units, findings


@pytest.mark.parametrize(
    ("theirs", "ours", "unit"),
    [
        ("Height", "height_m", "m"),
        ("HEIGHT_M", "height_m", "m"),
        ("Ht (ft)", "height_m", "ft"),
        ("height, cm", "height_m", "cm"),
        ("Crown width [inches]", "width_m", "in"),
        ("spread_feet", "width_m", "ft"),
        ("Height when planted (m)", "stock_height_m", "m"),
        ("Age", "age_years", None),
        ("AGE_YEARS", "age_years", None),
        ("Year planted", "planted_year", None),
        ("Measured", "measured_year", None),
        ("Botanical name", "species", None),
        ("plant", "species", None),
        ("Tag", "tag_id", None),
    ],
)
def test_a_usual_name_is_taken_with_its_unit_and_told(theirs, ours, unit):
    columns, units, findings = take(theirs)
    assert columns == {ours: theirs}
    assert units == ({ours: unit} if unit else {})
    told = f"the column '{theirs}' is taken for {ours}" + (f", in {unit}" if unit else "")
    assert findings.repairs == [("measured_plants", WHOLE_LAYER, told)]
    assert not findings.problems


@pytest.mark.parametrize(
    "theirs", ["height_m", "height of the wall", "dbh", "diameter", "ht (stone)", "", "(m)", "note"]
)
def test_other_names_and_our_own_are_left_alone(theirs):
    columns, units, findings = take(theirs)
    assert (columns, units, findings.repairs, findings.problems) == ({}, {}, [], [])


def test_our_own_name_and_what_the_plan_says_go_before():
    assert take("height_m", "ht")[0] == {}
    assert take("ht", "tall", columns={"height_m": "tall"})[:2] == ({"height_m": "tall"}, {})
    assert take("ht", fixed={"height_m": 2.0})[0] == {}
    # The unit of the plan before that of the name.
    assert take("ht (ft)", units={"height_m": "in"})[1] == {"height_m": "in"}
    # What the plan names for one thing is not taken for another.
    assert take("name", columns={"tag_id": "name"})[0] == {"tag_id": "name"}


def test_the_first_of_several_usual_names_is_taken_and_a_column_once():
    assert take("name", "latin name")[0] == {"species": "latin name"}
    assert take("plant", "plant id")[0] == {"species": "plant", "tag_id": "plant id"}


def test_a_length_without_a_unit_is_refused_where_the_plan_is_in_feet():
    _, _, findings = take("height", "spread ft", us=True)
    (problem,) = findings.problems
    assert "The column 'height' holds lengths, and neither its name nor the plan" in problem.what
    assert problem.key == "layers.measured_plants.units.height_m"
    assert not take("height", units={"height_m": "ft"}, us=True)[2].problems


def test_no_name_is_usual_for_two_columns_of_a_layer_and_layers_with_places_have_none():
    for contract in INPUTS.values():
        names = [name for column in contract.columns for name in column.usual]
        assert len(names) == len(set(names))
        assert not contract.geometry or not names
        for name in names:
            assert name == name.lower()
