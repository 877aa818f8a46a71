"""A layer brings its presentation: its contract says how it is drawn, where it stands, what it is called.

Whatever a new layer or column lacks, a test here fails and says in which file it is to be filled in.
"""

import importlib
import pkgutil
from itertools import chain

import pandas as pd
import pytest

import screenplan.contracts
from screenplan.contracts import COUNTY, INPUTS, OUTPUTS, SURROUNDINGS, WRITTEN, Column, Contract
from screenplan.contracts.model import UNITS
from screenplan.contracts.presentation import Place, Shown
from screenplan.outputs.project.tree import arrange
from screenplan.outputs.report_tables import tables_of
from screenplan.outputs.styles import KNOWN, LOOKS

ALL = INPUTS | SURROUNDINGS | OUTPUTS
#: Those that a run writes, or keeps of what it read.
DRAWN = {
    name: contract
    for name, contract in (OUTPUTS | SURROUNDINGS | COUNTY).items()
    if contract.geometry
}


def file_of(contract: Contract) -> str:
    """The module in which a contract stands."""
    for found in pkgutil.iter_modules(screenplan.contracts.__path__):
        module = importlib.import_module(f"screenplan.contracts.{found.name}")
        if any(value is contract for value in vars(module).values()):
            return f"screenplan/contracts/{found.name}.py, {contract.name}"
    raise LookupError(contract.name)


@pytest.mark.parametrize("contract", DRAWN.values(), ids=DRAWN)
def test_a_layer_that_is_drawn_says_where_it_stands_in_the_tree(contract):
    assert contract.place, f"{file_of(contract)}: give it place=Place(group, order, themes)"


@pytest.mark.parametrize("name", [name for name, contract in KNOWN.items() if contract.geometry])
def test_a_layer_that_is_drawn_has_a_look(name):
    look = KNOWN[name].look
    assert look in LOOKS, (
        f"screenplan/outputs/styles/: add the look '{look}' of the layer {name} to a module there"
    )


def test_every_look_is_of_a_layer():
    asked = {contract.look for contract in KNOWN.values()}
    assert not set(LOOKS) - asked, "screenplan/outputs/styles/: take out what no layer asks for"


def test_no_two_layers_claim_one_place():
    places = {}
    for contract in DRAWN.values():
        for place in filter(None, (contract.place, contract.place_of_areas)):
            other = places.setdefault((place.group, place.order), contract)
            assert other is contract, f"{file_of(contract)}: place {place.order} is {other.name}'s"


def test_no_two_tables_claim_one_place_in_the_report():
    places = {}
    for contract in OUTPUTS.values():
        for shown in contract.report:
            other = places.setdefault((shown.part, shown.order), contract)
            key = f"{file_of(contract)}: order {shown.order} in {shown.part} is {other.name}'s"
            assert other is contract, key


@pytest.mark.parametrize(
    "contract", [c for c in OUTPUTS.values() if c.report], ids=lambda c: c.name
)
def test_a_table_of_the_report_shows_columns_that_there_are(contract):
    names = {column.name for column in contract.columns}
    for shown in contract.report:
        asked = shown.columns.split()
        lacking = (set(asked) | set(shown.notes or ())) - names
        assert not lacking, f"{file_of(contract)}: the report shows {lacking}, which it has not"
        assert set(shown.headings) <= set(asked), f"{file_of(contract)}: headings of no column"
        assert len(set(asked)) == len(asked)


@pytest.mark.parametrize("contract", ALL.values(), ids=ALL)
def test_labels_are_short_unlike_each_other_and_say_the_unit(contract):
    labels = [column.called() for column in contract.columns]
    twice = {label for label in labels if labels.count(label) > 1}
    assert not twice, f"{file_of(contract)}: give the columns called {twice} labels of their own"
    for label, column in zip(labels, contract.columns, strict=True):
        told = f"{file_of(contract)}, {column.name}: label '{label}'"
        assert 2 <= len(label) <= 44, told
        assert label[0].isupper(), told
        assert "_" not in label, told
        unit = UNITS.get(column.unit, column.unit)
        assert label.endswith(f"({unit})") or not unit, told


def test_a_label_says_what_the_column_means_in_its_own_layer():
    def label(layer, name):
        return ALL[layer].column(name).called(name)

    assert label("deep_roots", "needed_m") == "Distance needed (m)"
    assert label("needed_height", "needed_m") == "Needed height (m)"
    assert label("closure", "spacing_m") == "Widest gap between neighbours (m)"
    assert label("windows", "height_m") == "Height of the opening (m)"
    assert label("buildings", "height_m") == "Height of the eaves (m)"
    assert WRITTEN["light_areas"].column("error_share").called() == "Error of the sun lost (0 to 1)"


def test_a_label_names_the_year_and_the_unit():
    assert OUTPUTS["views"].column("open_y05").called("open_y05") == "Open, year 5 (0 to 1)"
    assert OUTPUTS["crowns"].column("height_m").called("height_m") == "Height (m)"
    assert OUTPUTS["windows"].column("facing_deg").called("facing_deg") == "Faces (°)"
    assert OUTPUTS["plantable_zone"].column("area_m2").called("area_m2") == "Area (m²)"


def test_a_column_without_words_takes_them_from_its_name():
    columns = Column("moss_id", "text", "A patch"), Column("reached_y", "text", "A year")
    assert [column.called(column.name) for column in columns] == ["Moss", "Reached y"]
    assert [column.heading for column in columns] == ["moss", "reached y"]
    plain = {("number", "m"): "length", ("number", "deg"): "degrees", ("number", "share"): "share",
             ("number", "h"): "number", ("boolean", ""): "yes", ("integer", "year"): "text"}  # fmt: skip
    for (kind, unit), form in plain.items():
        assert Column("moss", kind, "A patch", unit=unit).form == form


def test_a_new_layer_is_shown_by_its_contract_alone(monkeypatch):
    moss = Contract(
        "moss", ("Point",), "A patch of moss", title="Moss patches", look="windows",
        place=Place("Site", 75), report=(Shown("growth", 15, "Moss", columns="depth_m moss_id"),),
        columns=(Column("moss_id", "text", "Its name", label="Patch"),
                 Column("depth_m", "number", "Depth", unit="m", heading="how deep")),
    )  # fmt: skip
    layer = pd.DataFrame({"moss_id": ["a"], "depth_m": [0.25]})
    beside = {"keep_outs_points": layer, "roads": layer, "moss": layer, "closure": layer}
    known = {**WRITTEN, "roads": SURROUNDINGS["roads"], "moss": moss}
    titles = [entry.title for entry in arrange(beside, known)]
    assert titles == ["Roads", "Moss patches", "Closure"]
    monkeypatch.setitem(OUTPUTS, "moss", moss)
    (table,) = tables_of("growth", {"moss": layer})
    assert (table.title, table.rows) == ("Moss", [["0.25 m", "a"]])
    assert [head.text for head in table.headings] == ["how deep", "patch"]


def test_every_contract_is_read_written_or_kept():
    found = {}
    for module in pkgutil.iter_modules(screenplan.contracts.__path__):
        for value in vars(importlib.import_module(f"screenplan.contracts.{module.name}")).values():
            if isinstance(value, Contract):
                found[value.name] = value
    assert set(found) == set(chain(INPUTS, OUTPUTS, SURROUNDINGS, COUNTY)), (
        "screenplan/contracts/__init__.py: name it in INPUTS, OUTPUTS, SURROUNDINGS or COUNTY"
    )


@pytest.mark.parametrize(
    "contract",
    [*INPUTS.values(), *OUTPUTS.values(), *COUNTY.values()],
    ids=lambda contract: contract.name,
)
def test_what_may_be_empty_is_a_column_and_named_once(contract):
    names = contract.optional.split()
    assert len(set(names)) == len(names)
    assert set(names) <= {column.name for column in contract.columns}
    assert {column.name for column in contract.columns if not column.required} == set(names)
