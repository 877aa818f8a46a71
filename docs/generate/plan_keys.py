"""The page of the plan file: its sections and keys."""

from __future__ import annotations

from docs.generate.markdown import code, page, plain, section, table, value
from docs.generate.steps import range_of, type_of
from screenplan.plan import SECTIONS, TAPE_TABLES, Ground, LayerSource
from screenplan.running.descriptions import describe_keys, describe_steps

_INTRO = """\
A plan is a TOML file. `screenplan start` writes one in which every key stands with its meaning,
range and default; what is left out keeps its default, and a key that is not known is refused.

A length is text with its unit: `"5 ft"`, `"18 in"`, `"1.5 m"`; a volume likewise: `"50 l"`,
`"2 cu ft"`. A bare number in their place is refused. A day is `2027-04-10`. Below, lengths are in
metres. The last column names the [steps](#page-steps) that a key goes into; a key without one is read by
the run itself or by what writes the sheets. Files are looked for from the folder of the plan."""

_SPECIES = """\
`[species.KEY]` adds a plant, or changes that of the shipped table with the same key; `like` names one
to begin from. What a table may hold is told with [the species](#page-species). Single rules are changed in
`[setbacks.rules.KEY]` and `[limits.rules.KEY]`: see [the rules](#page-rules)."""


def plan_page() -> str:
    """Write the page."""
    used = {}
    for step in describe_steps():
        for parameter in step.parameters:
            used.setdefault(parameter.key, []).append(step.name)
        for resource in step.resources:
            for key in resource.keys:
                used.setdefault(key, []).append(step.name)
    keys = describe_keys()
    return page(
        "The plan file",
        "plan-file",
        _INTRO,
        *_source("layers", "[layers.NAME]", LayerSource),
        *_source("terrain", "[terrain]", Ground),
        *(
            part
            for name, model in TAPE_TABLES.items()
            for part in _source(
                name.replace(".", "-"), f"[{name}]" if name == "tape" else f"[[{name}]]", model
            )
        ),
        *(
            part
            for name, model in SECTIONS.items()
            for part in (
                section(code(f"[{name}]"), 2, f"section-{name}"),
                plain(model.__doc__),
                table(
                    ["Key", "Type", "Range", "Default", "What it is", "Used by"],
                    [
                        [
                            code(key.key.split(".")[1]),
                            type_of(key),
                            range_of(key),
                            value(key.default, key.unit),
                            plain(key.help),
                            ", ".join(f"[{step}](#step-{step})" for step in used.get(key.key, ())),
                        ]
                        for key in keys
                        if key.key.startswith(f"{name}.")
                    ],
                ),
            )
        ),
        section(code("[species.KEY]"), 2, "section-species"),
        _SPECIES,
    )


def _source(label: str, head: str, model) -> list[str]:
    """Write what is not a section: where a layer or the terrain is read from."""
    return [
        section(code(head), 2, f"section-{label}"),
        plain(model.__doc__),
        table(
            ["Key", "Default", "What it is"],
            [
                [
                    code(name),
                    "needed" if field.is_required() else value(field.get_default(call_default_factory=True)),
                    plain(field.description),
                ]
                for name, field in model.model_fields.items()
            ],
        ),
    ]  # fmt: skip
