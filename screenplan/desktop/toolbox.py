"""What the plugin is told of the library: steps, layers and keys, as plain values.

The plugin reads this from a file beside it, since it imports nothing of the library. The digest
names what is handed to and fro, words for people left out, so that a plugin and a library that do
not go together notice.
"""

from __future__ import annotations

import hashlib
import json
import re
from typing import Any

from screenplan._version import __version__
from screenplan.contracts import INPUTS, Contract, written_parts
from screenplan.contracts.written import kinds_of
from screenplan.plan.text import range_text
from screenplan.running.descriptions import (
    GROUPS,
    LayerDescription,
    ParameterDescription,
    StepDescription,
    contract_read,
    describe_key,
    describe_layer,
    describe_steps,
)

#: Keys that the form for whole plans shows; the others can be written below them.
PLAN_KEYS = (
    "plan.title",
    "plan.units",
    "site.boundary_accuracy",
    "rows.along",
    "rows.spacing",
    "rows.offset",
    "rows.rows",
    "rows.fit",
    "plants.species",
    "plants.group",
    "plants.stock",
    "plants.stock_height",
    "growth.asked_height",
    "growth.years",
    "views.threshold",
    "goal.closed_by",
    "goal.share",
    "fence.scheme",
    "calendar.planting",
    "light.time_zone",
    "site.height",
    "site.reach",
)

#: Sections whose values are rarely changed, and single keys of others: shown folded away.
ADVANCED = {"site", "views", "sides", "growth.curve", "light.days", "light.step"}
#: Keys of these that people do change.
PLAIN = {"views.threshold", "views.needed_share", "views.missing_year", "views.report_years"}

#: Entries that only people read: another wording needs no other plugin.
WORDS = {"does", "title", "meaning", "help", "label", "range", "suggestions", "group", "resources"}

#: A label takes no longer beginning of a help than this, letters; and where the beginning ends.
LONGEST_SAID = 80
_BEGINNING = re.compile(r"[;:]|, (?:such as|degrees|dB|by default)")

#: Titles of the columns of values that are tables.
HEADERS = {
    "stakeout.measured": ["from", "to", "distance, with its unit"],
    "hand.prices": ["height, with its unit", "price"],
    "cost.prices": ["item", "price of one"],
    "cost.hours": ["item", "hours for one"],
}


def describe_toolbox() -> dict[str, Any]:
    """Describe all forms.

    Returns
    -------
    dict
        ``version``, ``digest``, ``steps``, ``inputs`` (of a whole plan) and ``plan_values``.
    """
    suggestions = _suggestions()
    content = {
        "steps": [_step(step, suggestions) for step in describe_steps()],
        "inputs": [
            _layer(describe_layer(contract, needed=name == "parcels"))
            for name, contract in INPUTS.items()
        ],
        "plan_values": [_value(describe_key(key), suggestions, by_key=True) for key in PLAN_KEYS],
    }
    text = json.dumps(_without_words(content), sort_keys=True, ensure_ascii=False)
    digest = hashlib.sha256(text.encode()).hexdigest()[:16]
    return {"version": __version__, "digest": digest, **content}


def _without_words(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _without_words(entry) for key, entry in value.items() if key not in WORDS}
    return [_without_words(entry) for entry in value] if isinstance(value, list) else value


def inputs_of(step: StepDescription) -> tuple[LayerDescription, ...]:
    """Give the layers of a step's form: its own, and the parcels by which the frame is laid."""
    if any(layer.name == "parcels" for layer in step.inputs):
        return step.inputs
    placed = any((layer.geometry and layer.needed) or layer.brought for layer in step.inputs)
    return (describe_layer(INPUTS["parcels"], needed=placed), *step.inputs)


def _step(step: StepDescription, suggestions) -> dict[str, Any]:
    group = list(GROUPS.values()).index(step.group) + 1
    terrain = any(entry.name == "terrain" for entry in step.resources)
    return {
        "name": step.name,
        "title": step.title,
        "does": step.does,
        "number": step.number,
        "group": f"{group} {step.group}",
        "group_id": f"{group}_{step.group.split()[0].lower()}",
        "inputs": [_layer(layer) for layer in inputs_of(step)],
        "parameters": [_value(entry, suggestions) for entry in step.parameters],
        "resources": [entry.to_dict() for entry in step.resources],
        "on_terrain": terrain or any(layer.brought for layer in step.inputs),
        "outputs": [_layer(layer) for layer in step.outputs],
    }


def _layer(layer: LayerDescription) -> dict[str, Any]:
    contract = contract_read(layer.name)
    return {
        **layer.to_dict(),
        "required": [column.name for column in layer.columns if column.required and layer.brought],
        "parts": [_part(layer, part) for part in written_parts(contract).values()],
    }


def _part(layer: LayerDescription, part: Contract) -> dict[str, str]:
    kind = next(iter(kinds_of(part)), "table")
    several = part.name != layer.name
    return {
        "name": part.name,
        "kind": kind,
        "title": f"{layer.title} ({kind})" if several else layer.title,
    }


def _value(entry: ParameterDescription, suggestions, *, by_key: bool = False) -> dict[str, Any]:
    section = entry.key.split(".")[0]
    title = entry.title
    if by_key and section not in ("plan", "rows", "plants", "site"):
        title = f"{section.capitalize()}: {title[0].lower()}{title[1:]}"
    unit = entry.unit if entry.type not in ("length", "list", "choice") else ""
    return {
        **entry.to_dict(),
        "title": title,
        "label": _label(entry, title, unit),
        "range": range_text(entry.key),
        "headers": HEADERS.get(entry.key, []),
        "suggestions": suggestions.get(entry.key, []),
        "advanced": bool({section, entry.key} & ADVANCED) and entry.key not in PLAIN,
    }


def _label(entry: ParameterDescription, title: str, unit: str) -> str:
    """Say in a line what a value is: its name and the beginning of its help.

    Of a help that goes through the choices, or says no more, the section of the plan is named.
    """
    said = _BEGINNING.split(entry.help)[0].strip()
    explains = ":" in entry.help.split(";")[0] or said.startswith("Its ")
    if explains or not said or len(said) > LONGEST_SAID:
        section = entry.key.split(".")[0].capitalize()
        label = title if ":" in title else f"{section}: {title[0].lower()}{title[1:]}"
    elif said.lower().startswith(entry.title.lower()):
        label = said
    else:
        label = f"{entry.title}: {said[0].lower()}{said[1:]}"
    return f"{label} ({unit})" if unit and unit not in label.split() else label


def _suggestions() -> dict[str, list[str]]:
    """List the names that keys of free text take, unless a plan adds its own."""
    from screenplan.planting.species import load_species

    return {"plants.species": list(load_species())}
