"""Lengths as people write them."""

import math

import pyproj
import pytest

from screenplan.errors import InputError
from screenplan.units import LENGTH_UNITS, format_length, in_units, metres_per, parse_length


@pytest.mark.parametrize(
    ("text", "metres"),
    [
        # The international foot is 0.3048 m and the inch 0.0254 m by definition (1959).
        ("5 ft", 1.524), ("18 in", 0.4572), ("1.5 m", 1.5), ("6'", 1.8288), ("5 ft 6 in", 1.6764),
        ("5'6\"", 1.6764), ("1 yd", 0.9144), ("90 cm", 0.9), ("0.2 km", 200.0), ("-3 ft", -0.9144), (0, 0.0), ("0", 0.0),
    ],
)  # fmt: skip
def test_lengths_as_written(text, metres):
    assert parse_length(text) == pytest.approx(metres, abs=1e-12)


@pytest.mark.evidence(
    part="Local frame and datum",
    kind="other software",
    against="Every unit of length that may be written: PROJ's table of linear units",
    source="pyproj",
    status="run",
    tolerance="1 in 10¹⁴",
)
def test_every_unit_of_length_is_as_long_as_another_library_has_it():
    # PROJ's own table of linear units.
    known = {
        unit.name: unit.conv_factor for unit in pyproj.get_units_map(category="linear").values()
    }
    called = {
        "mm": "millimetre", "cm": "centimetre", "m": "metre", "km": "kilometre", "in": "inch", "inch": "inch",
        "ft": "foot", "foot": "foot", "feet": "foot", "yd": "yard", "yard": "yard", "survey_foot": "US survey foot",
    }  # fmt: skip
    assert set(called) == set(LENGTH_UNITS)
    for unit, name in called.items():
        assert metres_per(unit) == pytest.approx(known[name], rel=1e-14), unit


def test_survey_foot_is_not_the_international_one():
    # 1200/3937 m by the definition of 1893.
    assert metres_per("US_survey_foot") == pytest.approx(1200 / 3937, abs=1e-12)
    assert metres_per("us-ft") != metres_per("ft")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (5, r'5 has no unit\. Write the unit too, such as "5 m" or "5 ft"'),
        ("5", "'5' has no unit"),
        ("5 kg", "'kg' is not a unit of length"),
        ("wide", "'wide' is not a length"),
        ("nan m", "'nan m' is not a length"),
        ("1,5 m", "with a decimal point"),
        (True, "True is not a length"),
        (None, "None is not a length"),
        ("1e999 m", "is not a finite length"),
    ],
)
def test_what_is_no_length_is_refused(text, message):
    with pytest.raises(InputError, match=message):
        parse_length(text, key="rows.spacing")


def test_the_remedy_of_a_bare_number_works():
    with pytest.raises(InputError) as refusal:
        parse_length(5)
    written = refusal.value.problems[0].mend.split('"')[1]
    assert parse_length(written) == 5.0


def test_lengths_for_people():
    assert format_length(1.524) == "1.52 m"
    assert format_length(1.524, "us") == "5.0 ft"
    assert format_length(math.nan) == "–"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        # By the definitions of foot, inch, gallon (231 cubic inches) and yard.
        ("3.05 m wide", "10.0 ft wide"),
        ("from 0.30 to 1.50 m", "from 1.0 to 4.9 ft"),
        ("2 to 3 cm deep, 37.9 l each", "0.8 to 1.2 in deep, 10.0 gal each"),
        ("9.3 m² and 7.65 m³", "100 sq ft and 10.01 cu yd"),
        # What is no measure stays: counts, years, a plan's identifiers.
        ("plants 14 to 15, years 3 to 9, P1 to P2", "plants 14 to 15, years 3 to 9, P1 to P2"),
    ],
)
def test_measures_in_a_sentence_are_turned_whole(text, said):
    assert in_units(text, "us") == said
    assert in_units(said, "us") == said  # once is enough
    assert in_units(text) == text
