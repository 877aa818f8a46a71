"""The page of the steps, from their descriptions."""

from __future__ import annotations

from docs.generate.markdown import (
    bullets,
    code,
    codes,
    link,
    page,
    plain,
    section,
    span,
    table,
    value,
)
from screenplan.running.descriptions import (
    LayerDescription,
    ParameterDescription,
    StepDescription,
    describe_steps,
)
from screenplan.running.steps import STEPS

_INTRO = """\
A step is a plain function from layers and values to layers. The same steps are called from
[Python](#page-python), run by [`screenplan step`](#page-commands), and run one after the other by
`screenplan run`. Lengths are metres; the other units stand beside the values. Layers and their
columns are in the [data dictionary](#page-layers), keys of a plan in [the plan file](#page-plan-file)."""


def steps_page() -> str:
    """Write the page."""
    described = describe_steps()
    return page(
        "The steps",
        "steps",
        _INTRO,
        "In the order in which they run:",
        table(
            ["Step", "What it does", "Gives"],
            [
                [
                    link(code(step.name), f"step-{step.name}"),
                    plain(step.does),
                    codes(layer.name for layer in step.outputs),
                ]
                for step in described
            ],
        ),
        *(part for step in described for part in _step(step)),
    )


def _step(step: StepDescription) -> list[str]:
    module, name = STEPS[step.name].function.split(":")
    needed = [layer for layer in step.inputs if layer.needed]
    taken = [layer for layer in step.inputs if not layer.needed]
    lists = [
        ("Needs", [_layer(layer) for layer in needed]),
        ("Takes, if there", [_layer(layer) for layer in taken]),
        ("Gives", [_layer(layer, comes_out=True) for layer in step.outputs]),
        ("Takes besides", [_resource(resource) for resource in step.resources]),
    ]
    return [
        section(code(step.name), 2, f"step-{step.name}"),
        f"{plain(step.does)}. {step.group}, step {step.number}; in Python {{py:func}}`~{module}.{name}`.",
        *(f"{head}:\n\n{bullets(entries)}" for head, entries in lists if entries),
        table(
            ["Key of the plan", "Type", "Range", "Default", "What it is"],
            [_parameter(parameter) for parameter in step.parameters],
        ),
    ]


def _layer(layer: LayerDescription, *, comes_out: bool = False) -> str:
    read = layer.brought and not comes_out
    target = f"{'in' if read else 'out'}-{layer.name}"
    return f"{link(code(layer.name), target)}: {plain(layer.meaning[:1].lower() + layer.meaning[1:])}"  # fmt: skip


def _resource(resource) -> str:
    keys = f" ({codes(resource.keys)})" if resource.keys else ""
    return (
        f"{code(resource.name)}: {plain(resource.meaning[:1].lower() + resource.meaning[1:])}{keys}"
    )


def _parameter(parameter: ParameterDescription) -> list[str]:
    return [
        link(code(parameter.key), key_label(parameter.key)),
        type_of(parameter),
        range_of(parameter),
        value(parameter.default, parameter.unit),
        plain(parameter.help),
    ]


def key_label(key: str) -> str:
    """Name the place of a key's section on the page of the plan file."""
    return f"section-{key.split('.')[0]}"


def type_of(parameter: ParameterDescription) -> str:
    """Say the type of a value, and its unit."""
    kind = f"list of {parameter.item}s" if parameter.item else parameter.type
    kind = {"choice": "one of these", "tables": "table of tables"}.get(kind, kind)
    kind = kind.replace("list of choices", "list of these").replace("list of lists", "list of rows")
    return f"{kind}, {parameter.unit}" if parameter.unit else kind


def range_of(parameter: ParameterDescription) -> str:
    """Say the range of a value, or its choices."""
    if parameter.choices:
        return codes(parameter.choices)
    return span(
        parameter.low,
        parameter.high,
        parameter.unit,
        low_open=parameter.low_open,
        high_open=parameter.high_open,
    )
