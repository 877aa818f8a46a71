"""What docs/conventions.md says of names, units and identifiers holds for every layer, step and key."""

import re
from pathlib import Path

import pytest

from screenplan.contracts import INPUTS, OUTPUTS
from screenplan.running.descriptions import describe_keys

ROOT = Path(__file__).parent.parent
PAGE = (ROOT / "docs" / "conventions.md").read_text(encoding="utf-8")
SUFFIX = {"m": "_m", "deg": "_deg"}
NUMBERED = {"plant_id", "stake_id", "station_id", "cell_id"}
COLUMNS = [
    (contract.name, column)
    for contracts in (INPUTS, OUTPUTS)
    for contract in contracts.values()
    for column in contract.columns
]


def unit_of(name):
    return next((unit for unit, end in SUFFIX.items() if name.endswith(end)), None)


def test_columns_carry_their_unit_in_their_name():
    wrong = [
        (layer, column.name, column.unit)
        for layer, column in COLUMNS
        if not column.per_year
        and column.type != "text"  # last_station_m is a list of ranges, in metres
        and (column.unit in SUFFIX or unit_of(column.name))
        and unit_of(column.name) != column.unit
    ]
    assert wrong == []


def test_identifiers_are_text_but_for_what_is_numbered():
    for layer, column in COLUMNS:
        if column.name.endswith("_id"):
            expected = "integer" if column.name in NUMBERED else "text"
            assert column.type == expected, (layer, column.name)


def test_shares_are_0_to_1_and_years_count_from_0():
    for layer, column in COLUMNS:
        if column.unit == "share" and column.low is not None:
            high = None if column.name.endswith("error_share") else 1
            assert (column.low, column.high) == (0, high), (layer, column.name)
        if column.unit == "year" and column.low is not None:
            assert column.low >= 0, (layer, column.name)


def test_keys_of_a_plan_carry_no_unit():
    for key in describe_keys():
        assert unit_of(key.key) is None, key.key


def test_names_on_the_page_are_names_of_the_code():
    columns = {column.name for _, column in COLUMNS}
    named = set(re.findall(r"`([a-z_]+_(?:m|deg|share))`", PAGE))
    assert len(named) >= 8
    assert named <= columns
    for path in re.findall(r"`((?:tests|views)/\w+\.py)`", PAGE):
        assert (ROOT / path).exists() or (ROOT / "screenplan" / path).exists(), path


@pytest.mark.parametrize("word", ["Frame", "Directions", "Stations", "Heights", "Years", "Names"])
def test_the_page_is_the_only_home(word):
    assert f"- **{word}" in PAGE
    assert f"- **{word}" not in (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
