"""What a step takes and gives, as plain values for faces that know nothing of the library.

Everything is derived from the registry of steps, the layer contracts and the keys of a plan, so
that a toolbox, a process description and the reference say the same. ``to_dict()`` of a
description holds nothing but text, numbers, booleans, None, lists and dicts.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from types import UnionType
from typing import Any, Literal, Union, get_args, get_origin

from pydantic.fields import FieldInfo
from pydantic_core import PydanticUndefined

from screenplan.contracts import INPUTS, OUTPUTS, Column, Contract
from screenplan.plan import (
    SECTIONS,
    is_length,
    is_texts,
    is_volume,
    key_choices,
    key_field,
    key_limits,
)
from screenplan.plan.values import read_day, read_length, read_texts, read_volume
from screenplan.running.steps import STEPS, Step

ParameterType = Literal[
    "length",
    "number",
    "integer",
    "text",
    "texts",
    "choice",
    "boolean",
    "date",
    "volume",
    "file",
    "list",
    "table",
    "tables",
]

#: The room of a step's function, and what its steps are about.
GROUPS = {
    "site": "Site",
    "planting": "Planting",
    "views": "Views",
    "design": "Design",
    "effects": "Effects on others",
    "works": "Works",
    "checks": "Checks",
}

#: Things that a step takes besides layers and values: what they are, and the plan keys that set them.
RESOURCES = {
    "terrain": (
        "A raster of ground heights; without it the site is taken as flat",
        ("terrain.file", "terrain.unit", "terrain.extend"),
    ),
    "rules": (
        "The setback rules; those that come with the library unless others are given",
        ("setbacks.law", "setbacks.file", "setbacks.rules"),
    ),
    "limits": (
        "The limits on what the screen does to others; those that come with the library unless others are given",
        ("limits.file", "limits.rules"),
    ),
    "species_table": (
        "The species table; that which comes with the library, and the species that the plan adds, as they grow by the plants that were measured on the site",
        ("species",),
    ),
    "usual": (
        "The species table as it is without the plants that were measured on the site",
        ("species",),
    ),
    "position_deg": ("Longitude and latitude of the site, taken from its layers", ()),
}


class _Plain:
    """A description that can be turned into plain values."""

    def to_dict(self) -> dict[str, Any]:
        """Give it as dicts, lists, text, numbers, booleans and None."""
        return _plain(asdict(self))  # type: ignore[call-overload]  # every kind of it is a dataclass


@dataclass(frozen=True)
class LayerDescription(_Plain):
    """One layer or table that goes into a step or comes out of it.

    Parameters
    ----------
    name, meaning, key : str
        As in `screenplan.contracts.Contract`.
    title : str
        Its name as people write it.
    geometry : tuple of str
        The geometry types that its rows may have; empty for a table.
    needed : bool
        Whether the step cannot do without it; True of every layer that comes out.
    brought : bool
        Whether a person may bring it; other layers come from earlier steps. What a step completes,
        such as ``windows``, is brought to that step only.
    given_by : tuple of str
        The steps that give it, or with which a run makes it.
    columns : tuple of Column
        In the order in which they are written.
    """

    name: str
    title: str
    geometry: tuple[str, ...]
    meaning: str
    key: str
    needed: bool
    brought: bool
    given_by: tuple[str, ...]
    columns: tuple[Column, ...]


@dataclass(frozen=True)
class ParameterDescription(_Plain):
    """One key of a plan, by which steps go.

    Parameters
    ----------
    key : str
        The plan's key, such as ``rows.spacing``.
    title : str
        Its last part as people write it.
    type : str
        length, number, integer, text, texts (one or a list), choice, boolean, date (ISO 8601),
        volume, file, list, table
        (text to numbers) or tables (text to tables). Lengths are numbers in metres, volumes in
        cubic metres.
    item : str
        Type of a list's entries, itself ``list`` for `stakeout.measured`; otherwise empty.
    unit : str
        ``m``, ``m3``, ``deg``, ``min``, ``days``, ``years``, ``dB`` or empty.
    low, high : float or None
        The range; an open end is not itself allowed.
    low_open, high_open : bool
        Whether the end is open.
    choices : tuple
        The values allowed, of the parameter or of its entries; or empty.
    default : object
        None if it has none; the step then does without or works it out.
    optional : bool
        Whether None may be given.
    help : str
        What it is, in one line.
    """

    key: str
    title: str
    type: ParameterType
    item: str
    unit: str
    low: float | None
    high: float | None
    low_open: bool
    high_open: bool
    choices: tuple[Any, ...]
    default: Any
    optional: bool
    help: str


@dataclass(frozen=True)
class ResourceDescription(_Plain):
    """Something that a step takes which is neither a layer nor a value.

    Parameters
    ----------
    name : str
        As the step's function calls it.
    meaning : str
        What it is.
    keys : tuple of str
        The plan's keys that set it; empty if it follows from the layers.
    """

    name: str
    meaning: str
    keys: tuple[str, ...]


@dataclass(frozen=True)
class StepDescription(_Plain):
    """One step.

    Parameters
    ----------
    name, does : str
        As in `screenplan.running.steps.Step`.
    title : str
        Its name as people write it.
    group : str
        What it is about, such as ``Planting``.
    number : int
        Its place in the order in which the steps run, from 1.
    inputs, outputs : tuple of LayerDescription
        The layers that go in, the needed ones first, and those that come out.
    parameters : tuple of ParameterDescription
        Its values.
    resources : tuple of ResourceDescription
        What else it takes.
    """

    name: str
    title: str
    does: str
    group: str
    number: int
    inputs: tuple[LayerDescription, ...]
    parameters: tuple[ParameterDescription, ...]
    resources: tuple[ResourceDescription, ...]
    outputs: tuple[LayerDescription, ...]


def describe_step(step: Step | str) -> StepDescription:
    """Describe a step of the registry.

    Parameters
    ----------
    step : Step or str
        A step, or its name.

    Examples
    --------
    >>> plants = describe_step("plants")
    >>> [layer.name for layer in plants.inputs if layer.needed]
    ['planting_lines', 'plantable_zone', 'no_plant_zones']
    >>> spacing = plants.parameters[0]
    >>> spacing.key, spacing.type, spacing.unit, spacing.default
    ('rows.spacing', 'length', 'm', None)
    """
    step = STEPS[step] if isinstance(step, str) else step
    room = step.function.split(":")[0].split(".")[1]
    return StepDescription(
        name=step.name,
        title=_title(step.name),
        does=step.does,
        group=GROUPS[room],
        number=list(STEPS).index(step.name) + 1,
        inputs=tuple(_describe_input(name, step) for name in step.layers),
        parameters=tuple(map(describe_key, step.keys)),
        resources=tuple(ResourceDescription(name, *RESOURCES[name]) for name in step.resources),
        outputs=tuple(describe_layer(OUTPUTS[name]) for name in step.gives),
    )


def describe_steps() -> tuple[StepDescription, ...]:
    """Describe every step, in the order in which they run."""
    return tuple(describe_step(step) for step in STEPS.values())


def contract_read(name: str) -> Contract:
    """Give the contract by which a layer is read: a person's if they may bring it, else a run's."""
    return INPUTS.get(name) or OUTPUTS[name]


def _describe_input(name: str, step: Step) -> LayerDescription:
    layer = describe_layer(contract_read(name), needed=name in step.needs)
    # A later step that gives it once more takes it as the first one gave it.
    completed = bool(layer.given_by) and step.name != layer.given_by[0]
    return replace(layer, brought=layer.brought and not completed)


def describe_layer(contract: Contract, *, needed: bool = True) -> LayerDescription:
    """Describe a layer by its contract."""
    return LayerDescription(
        name=contract.name,
        title=_title(contract.name),
        geometry=contract.geometry,
        meaning=contract.meaning,
        key=contract.key,
        needed=needed,
        brought=contract.name in INPUTS,
        given_by=tuple(
            step.name for step in STEPS.values() if contract.name in (*step.gives, *step.adds)
        ),
        columns=contract.columns,
    )


def describe_key(key: str) -> ParameterDescription:
    """Describe a key of a plan such as ``rows.spacing``.

    Parameters
    ----------
    key : str
        The key.

    Raises
    ------
    KeyError
        If there is no such key.
    """
    field, limits = key_field(key), key_limits(key)
    kind, item, choices = _type_of(key)
    default = field.get_default(call_default_factory=True)
    return ParameterDescription(
        key=key,
        title=_title(key.split(".")[1]),
        type=kind,
        item=item,
        unit=_unit(field, kind, item),
        low=limits.get("ge", limits.get("gt")),
        high=limits.get("le", limits.get("lt")),
        low_open="gt" in limits,
        high_open="lt" in limits,
        choices=choices,
        default=None if default is PydanticUndefined else default,
        optional=type(None) in get_args(field.annotation),
        help=field.description or "",
    )


def describe_keys() -> tuple[ParameterDescription, ...]:
    """Describe every key of a plan's sections, in the order of the commented plan."""
    return tuple(
        describe_key(f"{section}.{name}")
        for section, model in SECTIONS.items()
        for name in model.model_fields
    )


def _type_of(key: str) -> tuple[ParameterType, str, tuple[Any, ...]]:
    """Tell the type of a key, that of its entries if it is a list, and the choices of either."""
    if is_length(key):
        return "length", "", ()
    if is_volume(key):
        return "volume", "", ()
    annotation = _without_none(key_field(key).annotation)
    if get_origin(annotation) is tuple:
        inner = _without_none(get_args(annotation)[0])
        choices = get_args(inner) if get_origin(inner) is Literal else ()
        return "list", "choice" if choices else _plain_type(inner), choices
    choices = key_choices(key)
    if is_texts(key):
        return "texts", "", ()
    return ("choice" if choices else _plain_type(annotation)), "", choices


def _plain_type(annotation: Any) -> ParameterType:
    """Tell the type of an annotation that is neither a choice nor a length by itself."""
    readers = [
        mark.func for mark in getattr(annotation, "__metadata__", ()) if hasattr(mark, "func")
    ]
    read: dict[Any, ParameterType] = {
        read_length: "length", read_day: "date", read_volume: "volume", read_texts: "texts",
    }  # fmt: skip
    for reader, kind in read.items():
        if reader in readers:
            return kind
    base = _bare(annotation)
    if get_origin(base) is dict:
        return "table" if _bare(get_args(base)[1]) is float else "tables"
    plain: dict[Any, ParameterType] = {
        bool: "boolean",
        int: "integer",
        float: "number",
        Path: "file",
        tuple: "list",
    }
    return plain.get(get_origin(base) or base, "text")


def _bare(annotation: Any) -> Any:
    """Take a type out of what says its range and how it is read."""
    return get_args(annotation)[0] if hasattr(annotation, "__metadata__") else annotation


def _without_none(annotation: Any) -> Any:
    if get_origin(annotation) in (Union, UnionType):
        kept = [part for part in get_args(annotation) if part is not type(None)]
        return kept[0] if len(kept) == 1 else annotation
    return annotation


def _unit(field: FieldInfo, kind: str, item: str) -> str:
    if "length" in (kind, item):
        return "m"
    if kind == "volume":
        return "m3"
    more = field.json_schema_extra
    return str(more.get("unit", "")) if isinstance(more, dict) else ""


def _title(name: str) -> str:
    """Write a name as people do: ``row_distance`` is ``Row distance``."""
    words = name.replace("_", " ")
    return words[:1].upper() + words[1:]


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(entry) for key, entry in value.items()}
    if isinstance(value, Iterable) and not isinstance(value, str):
        return [_plain(entry) for entry in value]
    return value if value is None or isinstance(value, (str, int, float)) else str(value)
