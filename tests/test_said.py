"""Sentences carry their quantities: metres in files and to Python, the reader's units at the face."""

import copy
import json
import pickle
import re

import pandas as pd
import pytest
from click.testing import CliRunner
from test_feet import ran  # noqa: F401

from screenplan.commandline.main import main
from screenplan.contracts import CHECKS
from screenplan.contracts.findings import PASSES, Finding
from screenplan.contracts.tables import notes_of, table_of, with_notes
from screenplan.ground.errors import refuse
from screenplan.ground.said import FOOT_M, Said, in_units, said

#: A quantity in braces, which only `said` may read.
BRACES = re.compile(r"\{[-+.\w]+(?: to | and |–)?[-+.\w]* (?:mm|cm|km/h|km|m/s²|dB/m|m²|m³|m|l)\}")
GAP = Said("A gap of {3.048 m} is left")


def test_a_text_reads_in_metres_and_tells_in_feet():
    # Ten feet of 0.3048 m, by definition.
    assert str(GAP) == GAP == "A gap of 3.048 m is left"
    assert in_units(GAP) == "A gap of 3.048 m is left"
    assert in_units(GAP, "us") == f"A gap of {3.048 / FOOT_M:.1f} ft is left"


def test_what_an_f_string_takes_over_keeps_its_quantities():
    assert in_units(f"{GAP}; plant {3}", "us") == "A gap of 10.0 ft is left; plant 3"


@pytest.mark.parametrize("send", [copy.deepcopy, lambda text: pickle.loads(pickle.dumps(text))])
def test_quantities_travel(send):
    assert in_units(send(GAP), "us") == "A gap of 10.0 ft is left"


def test_quantities_travel_in_a_layer_and_not_into_files():
    table = table_of(CHECKS, [vars(Finding("gaps", PASSES, f"{GAP}", needs="none"))] * 2)
    moved = pd.concat([table.iloc[1:], table]).sort_values("check")
    for cell in moved["says"]:
        assert in_units(cell, "us") == "A gap of 10.0 ft is left"
    assert json.loads(json.dumps(moved["says"].tolist()))[0] == "A gap of 3.048 m is left"
    assert moved.to_csv().count("A gap of 3.048 m is left") == 3
    assert in_units(notes_of(with_notes(table, [f"{GAP}"]))[0], "us").endswith("10.0 ft is left")


def test_what_carries_no_quantity_stays_as_it_is():
    # Another person's words are not turned: nobody marked their measures.
    for text in ("a hedge of 3 m", "{name} m", "{3 plants}", "{}", 3, None):
        assert said(text) is text
    assert in_units("a hedge of 3 m, {x m}", "us") == "a hedge of 3 m, x m"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("{-0.02 m}", "-0.8 in"),
        ("{-3.048 m}", "-10.0 ft"),
        ("{inf m}", "inf ft"),
        ("{1e-05 m}", "0.0 in"),
        ("above {0 m}", "above 0 ft"),
    ],
)  # fmt: skip
def test_numbers_of_every_form_are_turned(text, told):
    assert in_units(text, "us") == told


def test_a_refusal_tells_lengths_in_the_readers_units():
    error = refuse("the stock is {9.144 m} high", "Give up to {6.096 m}", key="plants.stock_height")
    assert "stock is 9.144 m high. Give up to 6.096 m" in str(error)
    error.units = "us"
    assert "stock is 30.0 ft high. Give up to 20.0 ft" in str(error)
    assert error.problems[0].what == "the stock is 9.144 m high"


@pytest.mark.parametrize(
    ("units", "key", "told"),
    [
        # Refused by a step, by the plan itself, and by the range of a key. A foot is 0.3048 m.
        ("us", "plants.stock_height=9 m", "the stock is 29.5 ft high"),
        ("metric", "plants.stock_height=9 m", "the stock is 9 m high"),
        ("us", "growth.asked_from=9 m", "asked to close from 29.5 ft up to"),
        ("metric", "growth.asked_from=9 m", "asked to close from 9.0 m up to"),
        ("us", "setbacks.hole=9 m", "at most 9.8 ft"),
        ("metric", "setbacks.hole=9 m", "at most 3 m"),
    ],
)
def test_a_refused_plan_is_told_in_its_units(units, key, told):
    sample = "sample_data/hillside.toml"
    settings = ["--set", f"plan.units={units}", "--set", key]
    result = CliRunner().invoke(main, ["check", sample, *settings])
    assert result.exit_code == 2
    assert told in result.output


def test_no_quantity_stays_in_braces_in_what_is_written(ran):  # noqa: F811
    folder, shown = ran
    assert not BRACES.search(shown)
    read = 0
    for path in folder.rglob("*"):
        if path.suffix in {".html", ".json", ".geojson", ".csv", ".ics", ".svg", ".qgs", ".toml"}:
            read += 1
            assert not BRACES.search(path.read_text(encoding="utf-8")), path
    assert read > 10


def test_layers_in_files_hold_metres_whatever_the_reader_has(ran):  # noqa: F811
    says = " ".join(pd.read_csv(ran[0] / "tables" / "checks.csv")["says"])
    assert re.search(r"\d m\b", says)
    assert not re.search(r"\d ft\b", says)
