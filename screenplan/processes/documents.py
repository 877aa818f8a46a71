"""Process descriptions by OGC API – Processes, part 1, derived from the registry of steps."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

from screenplan._version import __version__
from screenplan.contracts import PARCELS
from screenplan.ground.errors import refuse
from screenplan.ground.texts import quoted
from screenplan.plan.values import MOST_TEXTS
from screenplan.processes.schemas import (
    MOST_FEATURES,
    MOST_POSITIONS,
    layer_schema,
    parameter_schema,
)
from screenplan.processes.timing import MOST_SECONDS
from screenplan.running.descriptions import (
    LayerDescription,
    ParameterDescription,
    ResourceDescription,
    StepDescription,
    describe_layer,
    describe_step,
)
from screenplan.running.steps import STEPS

#: Words by which people look for such a process, beside its group.
KEYWORDS = ("privacy screen", "hedge", "planting", "parcel")
#: Resources that are tables of the plan: the input's name, and the plan's key that it sets.
TABLES = {
    "rules": "setbacks.rules",
    "limits": "limits.rules",
    "species_table": "species",
    "usual": "species",
}

FLAT = "The ground is taken as level: no terrain can be sent."


def find_step(name: str) -> StepDescription:
    """Describe the step of that name.

    Raises
    ------
    InputError
        If there is none.
    """
    if not isinstance(name, str) or name not in STEPS:
        raise refuse(f"there is no process {quoted(name)}", f"Name one of {', '.join(STEPS)}")
    return describe_step(name)


def layers_of(step: StepDescription) -> tuple[LayerDescription, ...]:
    """Give the layers of a process: those of the step, and the parcels by which the frame is laid."""
    placed = any(layer.geometry for layer in step.inputs)
    if not placed or any(layer.name == PARCELS.name for layer in step.inputs):
        return step.inputs
    return (describe_layer(PARCELS), *step.inputs)


def takes_parcels(step: StepDescription) -> bool:
    """Tell whether a process takes the parcels, and so a subject among them."""
    return any(layer.name == PARCELS.name for layer in layers_of(step))


def summarize_process(name: str, seconds: float = MOST_SECONDS) -> dict[str, Any]:
    """Give what the list of processes says of one (``processSummary`` of the standard)."""
    step = find_step(name)
    described = [f"{step.does}."]
    if any(resource.name == "terrain" for resource in step.resources):
        described.append(FLAT)
    if any(layer.geometry for layer in step.outputs):
        described.append("Layers are GeoJSON in WGS 84; lengths in them are metres.")
    described.append(
        f"Refused are more than {MOST_FEATURES} rows or {MOST_POSITIONS} positions in a layer; "
        f"a request is given up after {seconds:g} s."
    )
    return {
        "id": step.name,
        "version": __version__,
        "title": step.title,
        "description": " ".join(described),
        "keywords": list(dict.fromkeys((step.group.lower(), *KEYWORDS))),
        "jobControlOptions": ["sync-execute", "async-execute"],
        "outputTransmission": ["value"],
    }


def describe_process(name: str, seconds: float = MOST_SECONDS) -> dict[str, Any]:
    """Describe a step as a process (``process`` of the standard).

    Parameters
    ----------
    name : str
        A step of `screenplan.STEPS`.
    seconds : float
        For how long a request is worked on at most.

    Returns
    -------
    dict
        Plain values: id, version, title, description, keywords, jobControlOptions,
        outputTransmission, inputs and outputs, each with a schema.

    Raises
    ------
    InputError
        If there is no such step.

    Examples
    --------
    >>> spacing = describe_process("plants")["inputs"]["rows.spacing"]
    >>> spacing["title"], spacing["minOccurs"], spacing["schema"]["minimum"]
    ('Spacing (m)', 0, 0.1)
    """
    step = find_step(name)
    inputs = {layer.name: _describe_layer(layer) for layer in layers_of(step)}
    if takes_parcels(step):
        inputs |= SUBJECT
    inputs |= {parameter.key: _describe_value(parameter) for parameter in step.parameters}
    inputs |= {
        resource.name: _describe_table(resource)
        for resource in step.resources
        if resource.name in TABLES
    }
    outputs = {
        layer.name: {
            "title": layer.title,
            "description": layer.meaning,
            "schema": layer_schema(layer, incoming=False),
        }
        for layer in step.outputs
    }
    return {**summarize_process(name, seconds), "inputs": inputs, "outputs": outputs}


def list_processes() -> dict[str, Any]:
    """Give the list of all processes (``processList`` of the standard), in the order of the steps."""
    return {"processes": [summarize_process(name) for name in STEPS], "links": []}


def _describe_layer(layer: LayerDescription) -> dict[str, Any]:
    whence = "" if layer.brought else f" As the process '{layer.given_by[0]}' gives it."
    most = f" At most {MOST_FEATURES} rows" + (
        f" and {MOST_POSITIONS} positions." if layer.geometry else "."
    )
    schema = layer_schema(layer, incoming=True)
    return _input(layer.title, f"{layer.meaning}.{whence}{most}", schema, least=int(layer.needed))


def _describe_value(parameter: ParameterDescription) -> dict[str, Any]:
    title = f"{parameter.title} ({parameter.unit})" if parameter.unit else parameter.title
    most = MOST_TEXTS if parameter.type == "texts" else 1
    described = _input(title, parameter.help, parameter_schema(parameter), most=most)
    if parameter.unit:
        described["metadata"] = [{"role": "unit", "title": parameter.unit}]
    return described


def _describe_table(resource: ResourceDescription) -> dict[str, Any]:
    own = {"species_table": "Species of your own"}
    title = own.get(resource.name, resource.name.capitalize())
    description = f"{resource.meaning}; written as in a plan, [{TABLES[resource.name]}]"
    return _input(title, description, {"type": "object"})


def _input(
    title: str, description: str, schema: dict[str, Any], *, least: int = 0, most: int = 1
) -> dict[str, Any]:
    """Describe one input, and how often it may be given."""
    return {
        "title": title, "description": description, "minOccurs": least, "maxOccurs": most,
        "schema": schema,
    }  # fmt: skip


#: Inputs by which the parcel to plan is chosen, if there are several.
SUBJECT = {
    "subject_id": _input(
        "Subject",
        "parcel_id of the parcel to plan; not needed if there is only one",
        {"type": "string"},
    ),
    "subject_point": _input(
        "Point in the subject",
        "Longitude and latitude of a point in the parcel to plan, instead of its parcel_id",
        {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2},
    ),
}


def write_processes(folder: str | Path) -> list[Path]:
    """Write every description as JSON, and the list of them as ``processes.json``: all or nothing.

    Parameters
    ----------
    folder : path
        A folder that is not there yet.

    Returns
    -------
    list of Path
        The files.

    Raises
    ------
    InputError
        If the folder is there already or cannot be written.
    """
    folder = Path(folder)
    if folder.exists():
        raise refuse("there is such a folder or file already", "Name another", file=str(folder))
    part = folder.with_name(f".{folder.name}~part")
    documents = {"processes": list_processes()} | {name: describe_process(name) for name in STEPS}
    try:
        part.mkdir()
        for name, document in documents.items():
            text = json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False)
            (part / f"{name}.json").write_text(f"{text}\n", encoding="utf-8", newline="\n")
        part.rename(folder)
    except OSError as error:
        raise refuse(
            f"the folder cannot be written ({error.strerror})", "Name another", file=str(folder)
        ) from None
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return [folder / f"{name}.json" for name in documents]
