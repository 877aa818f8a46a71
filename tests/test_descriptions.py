"""The plain descriptions of steps and keys say what the registry, the contracts and the plan say."""

import json
import subprocess
import sys

import pytest

from screenplan.contracts import INPUTS, OUTPUTS
from screenplan.ground.errors import InputError
from screenplan.plan import SECTIONS, check_plan, key_field
from screenplan.running.descriptions import (
    GROUPS,
    RESOURCES,
    contract_read,
    describe_key,
    describe_keys,
    describe_layer,
    describe_step,
)
from screenplan.running.steps import STEPS

#: Values of each type that a plan takes and refuses, written as in a plan file.
WRITTEN = {"length": "{} m", "volume": "{} m3"}


@pytest.fixture(params=STEPS.values(), ids=list(STEPS))
def step(request):
    return request.param


def test_a_step_is_described_as_the_registry_has_it(step):
    described = describe_step(step)
    assert [layer.name for layer in described.inputs] == list(step.layers)
    assert [layer.name for layer in described.inputs if layer.needed] == list(step.needs)
    assert [layer.name for layer in described.outputs] == list(step.gives)
    assert tuple(entry.key for entry in described.parameters) == step.keys
    assert [entry.name for entry in described.resources] == list(step.resources)
    assert described.does == step.does
    assert described.group in GROUPS.values()
    assert describe_step(step.name) == described


def test_its_layers_are_described_as_the_contracts_have_them(step):
    for layer in describe_step(step).inputs:
        contract = INPUTS.get(layer.name) or OUTPUTS[layer.name]
        assert layer.brought or layer.given_by, "a layer that nobody gives"
        assert not layer.brought or layer.name in INPUTS
        assert (layer.geometry, layer.meaning, layer.key) == (
            contract.geometry,
            contract.meaning,
            contract.key,
        )
        assert layer.columns == contract.columns


def test_it_comes_back_from_json(step):
    described = describe_step(step).to_dict()
    assert json.loads(json.dumps(described, allow_nan=False)) == described


def test_every_key_of_a_plan_is_described():
    keys = [entry.key for entry in describe_keys()]
    assert keys == [f"{section}.{name}" for section, model in SECTIONS.items() for name in model.model_fields]  # fmt: skip
    assert all(entry.help for entry in describe_keys())


#: What a key asks for beside itself.
BESIDE = {"hand.budget": {"prices": {"1 m": 1.0}}, "plants.raised_years": {"raised": "seed"}}


def limits():
    for entry in describe_keys():
        for side, limit, is_open in (
            ("low", entry.low, entry.low_open),
            ("high", entry.high, entry.high_open),
        ):
            if limit is not None:
                yield pytest.param(entry, side, limit, is_open, id=f"{entry.key} {side}")


@pytest.mark.parametrize(("entry", "side", "limit", "is_open"), list(limits()))
def test_the_range_is_that_which_the_plan_holds(entry, side, limit, is_open):
    """The plan's own check takes the described end and refuses what lies beyond it."""
    beyond = limit - 1 if side == "low" else limit + 1
    beside = BESIDE.get(entry.key, {})
    others = {"growth": {"years": 60}} if entry.key == "chance.year" else {}

    def fits(value) -> bool:
        section, name = entry.key.split(".")
        written = WRITTEN[entry.type].format(value) if entry.type in WRITTEN else value
        try:
            check_plan(
                {"layers": {"parcels": {"file": "a"}}, section: {name: written} | beside} | others
            )
        except InputError:
            return False
        return True

    whole = entry.type == "integer"
    assert fits(int(limit) if whole else limit) != is_open
    assert not fits(int(beyond) if whole else beyond)


def test_choices_and_defaults_are_those_of_the_plan():
    for entry in describe_keys():
        section, name = entry.key.split(".")
        for choice in entry.choices:
            value = [choice] if entry.type == "list" else choice
            check_plan({"layers": {"parcels": {"file": "a"}}, section: {name: value}})
        assert entry.default == key_field(entry.key).get_default(call_default_factory=True)
        assert entry.optional or entry.default is not None


@pytest.mark.parametrize(
    ("key", "kind", "item"),
    [
        ("rows.spacing", "length", ""),
        ("rows.offset", "length", ""),
        ("rows.along", "list", "text"),
        ("alternatives.spacings", "list", "length"),
        ("health.exposed_to", "list", "choice"),
        ("growth.show_years", "list", "integer"),
        ("stakeout.measured", "list", "list"),
        ("works.mulch_bag", "volume", ""),
        ("calendar.planting", "date", ""),
        ("cost.prices", "table", ""),
        ("setbacks.rules", "tables", ""),
        ("setbacks.file", "file", ""),
        ("rows.rows", "choice", ""),
        ("goal.closed_by", "integer", ""),
        ("goal.share", "number", ""),
        ("windows.derive", "boolean", ""),
        ("plants.species", "texts", ""),
    ],
)
def test_types(key, kind, item):
    """Read off the plan's own fields by eye, one of each type."""
    assert (describe_key(key).type, describe_key(key).item) == (kind, item)


def test_resources_are_those_that_steps_take():
    assert {name for step in STEPS.values() for name in step.resources} == set(RESOURCES)


def test_layers_that_go_in_are_read_by_the_contract_of_what_a_person_brings():
    assert contract_read("windows") is INPUTS["windows"]
    assert contract_read("plants") is OUTPUTS["plants"]
    assert describe_layer(OUTPUTS["plants"]).given_by == ("design", "plants", "missing")


def test_what_a_step_completes_is_brought_to_that_step_only():
    brought = {
        step.name: [layer.name for layer in describe_step(step).inputs if layer.brought]
        for step in STEPS.values()
    }
    assert brought["windows"] == ["parcels", "buildings", "windows"]
    assert brought["places"] == ["parcels", "buildings", "roads", "private_places"]
    assert brought["views"] == ["buildings", "existing_screens", "onlookers"]


def test_describing_loads_nothing_heavy():
    code = (
        "import sys; from screenplan.running.descriptions import describe_steps; describe_steps();"
        "print({'pandas', 'numpy', 'geopandas', 'shapely', 'pint', 'numba'} & set(sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "set()"
