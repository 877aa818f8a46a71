"""Lengths as people write them."""

import math

import pyproj
import pytest

from screenplan.ground.errors import InputError
from screenplan.ground.said import in_units
from screenplan.ground.units import (
    LENGTH_UNITS,
    format_length,
    format_pack,
    format_tape,
    metres_per,
    parse_length,
)


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
    ("text", "told"),
    [
        # By the definitions of foot, inch, gallon (231 cubic inches) and yard.
        ("{3.05 m} wide", "10.0 ft wide"),
        ("from {0.30 to 1.50 m}", "from 1.0 to 4.9 ft"),
        ("{2 to 3 cm} deep, {37.9 l} each", "0.8 to 1.2 in deep, 10.0 gal each"),
        ("{9.3 m²} and {7.65 m³}", "100 sq ft and 10.01 cu yd"),
        ("{1.7 mm} per {100 m}, {3 km} away", "0.07 in per 328.1 ft, 1.9 mi away"),
        # A tenth of a foot is too coarse for less than half a foot.
        ("out by up to {0.02 m}", "out by up to 0.8 in"),
        ("between {0 and 0.05 m}, {0.00 m} left", "between 0 and 2.0 in, 0.0 ft left"),
        # Speeds, accelerations and losses by length: 1.609344 km, 0.3048 m.
        ("{80 km/h}, {3.414 m/s²}, {0.02 dB/m}", "50 mph, 11.2 ft/s², 0.006 dB/ft"),
        # A number without braces may be a plant's.
        ("plant 3, {2.1 m} away", "plant 3, 6.9 ft away"),
        # What is no measure stays: counts, years, a plan's identifiers.
        ("plants 14 to 15, years 3 to 9, P1 to P2", "plants 14 to 15, years 3 to 9, P1 to P2"),
    ],
)
def test_measures_in_a_sentence_are_turned_whole(text, told):
    assert in_units(text, "us") == told
    assert in_units(told, "us") == told  # once is enough
    assert in_units(text) == text.replace("{", "").replace("}", "")


# A foot is 0.3048 m and an inch a twelfth of it, by definition; inches stand behind feet always.
@pytest.mark.parametrize(
    ("eighths", "said"),
    [
        (0, "0″"), (7, "7/8″"), (8, "1″"), (15, "1 7/8″"), (96, "1′ 0″"), (103, "1′ 0 7/8″"),
        (90 * 96 + 7, "90′ 0 7/8″"), (-(96 + 1), "-1′ 0 1/8″"),
    ],
)  # fmt: skip
def test_a_tape_has_inches_behind_its_feet(eighths, said):
    assert format_tape(eighths * 0.3048 / 96, "us") == said


@pytest.mark.parametrize(
    ("amount", "unit", "metric", "us"),
    [
        # 50 / 0.3048 = 164.04; goods are named by round numbers, without decimals of no meaning.
        (50.0, "m", "50 m", "164 ft"),
        (12.5, "m", "12.5 m", "41 ft"),
        (100.584, "m", "100.6 m", "330 ft"),
        (0.05, "m3", "50 l", "1.8 cu ft"),
        (1.0, "m3", "1 m³", "1.31 cu yd"),
        (0.764554857984, "m3", "0.76 m³", "1 cu yd"),
        (25.0, "each", "25", "25"),
    ],
)
def test_what_a_pack_holds_is_named_as_goods_are(amount, unit, metric, us):
    assert format_pack(amount, unit) == metric
    assert format_pack(amount, unit, "us") == us
