"""A step's description and its function agree, so that no face can drift from the library."""

import inspect

import pytest

from screenplan.contracts import INPUTS, OUTPUTS
from screenplan.plan import key_field
from screenplan.running.steps import STEPS

RESOURCES = {"terrain", "rules", "limits", "table", "position_deg"}


@pytest.fixture(params=STEPS.values(), ids=list(STEPS))
def step(request):
    return request.param


def test_layers_and_parameters_are_those_of_the_function(step):
    signature = inspect.signature(step.load()).parameters
    needed = {name for name, entry in signature.items() if entry.default is entry.empty}
    assert needed - set(step.parameters) == set(step.needs)
    assert set(step.layers) | set(step.parameters) | set(step.resources) <= set(signature)
    assert set(step.resources) <= RESOURCES
    for name in step.parameters:
        assert signature[name].kind is inspect.Parameter.KEYWORD_ONLY


def test_every_layer_has_a_contract(step):
    assert set(step.layers) <= set(INPUTS) | set(OUTPUTS)
    assert set(step.gives) <= set(OUTPUTS)


def test_defaults_of_plan_and_function_are_the_same(step):
    signature = inspect.signature(step.load()).parameters
    for name, key in step.parameters.items():
        own = signature[name].default
        if own is inspect.Parameter.empty or own is None:
            continue  # the function needs it, or does without
        default = key_field(key).get_default(call_default_factory=True)
        assert own == default, name


def test_steps_run_in_an_order_that_works():
    there = set(INPUTS)
    for step in STEPS.values():
        assert set(step.needs) <= there | {"windows", "private_places"}
        there |= set(step.gives)
