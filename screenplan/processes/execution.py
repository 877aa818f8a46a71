"""Run a process: GeoJSON in WGS 84 in, GeoJSON in WGS 84 out, on the library's own steps.

Nothing is fetched and no file is read for a request: layers and tables come in it, or not at all.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from typing import Any

import geopandas as gpd
import pandas as pd

from screenplan.contracts import INPUTS, Contract
from screenplan.contracts.tables import give_types
from screenplan.ground.errors import InputError, refuse
from screenplan.ground.texts import quoted
from screenplan.outputs.conform import conform, expand_columns
from screenplan.outputs.geojson import WGS84
from screenplan.plan import LAST_YEAR, Options
from screenplan.plan.reading import check_options
from screenplan.processes.documents import SUBJECT, TABLES, find_step, layers_of, takes_parcels
from screenplan.processes.geojson import check_json, read_collection, read_rows, write_result
from screenplan.running.descriptions import ParameterDescription, StepDescription, contract_read
from screenplan.running.library import run_step

#: Members of a qualified value (table "qualifiedInputValue" of the standard's schemas).
QUALIFIED = {"value", "mediaType", "encoding", "schema", "format"}


def execute(process_id: str, inputs: Mapping[str, Any]) -> dict[str, Any]:
    """Run a process.

    Parameters
    ----------
    process_id : str
        A step of `screenplan.STEPS`.
    inputs : mapping
        By the names of the process description: layers as GeoJSON FeatureCollections in WGS 84,
        tables as lists of rows, values as plain JSON, each as it is or as ``{"value": ...}``.

    Returns
    -------
    dict
        By layer: a GeoJSON FeatureCollection by RFC 7946, or a list of rows.

    Raises
    ------
    InputError
        If there is no such process, or an input is missing, unknown or wrong.

    Examples
    --------
    >>> lot = {"type": "FeatureCollection", "features": [{"type": "Feature",
    ...     "properties": {"parcel_id": "7"}, "geometry": {"type": "Polygon", "coordinates":
    ...     [[[8, 50], [8.0004, 50], [8.0004, 50.0004], [8, 50.0004], [8, 50]]]}}]}
    >>> sides = execute("sides", {"parcels": lot})["sides"]
    >>> sorted(side["properties"]["side_id"] for side in sides["features"])
    ['east', 'north', 'south', 'west']
    """
    step = find_step(process_id)
    if not isinstance(inputs, Mapping):
        raise refuse("the inputs are no JSON object", 'Send {"inputs": {NAME: VALUE, ...}}')
    check_json(inputs)
    given = {name: _unpack(name, value) for name, value in inputs.items()}
    given = {name: value for name, value in given.items() if value is not None}
    layers = {layer.name: layer for layer in layers_of(step)}
    values = {parameter.key: parameter for parameter in step.parameters}
    tables = {resource.name for resource in step.resources} & set(TABLES)
    subject = set(SUBJECT) if takes_parcels(step) else set()
    known = [*layers, *sorted(subject), *values, *sorted(tables)]
    for name in given:
        if name not in known:
            raise refuse(
                f"the process has no input {quoted(name)}", f"Give some of {', '.join(known)}"
            )
    for name, layer in layers.items():
        if layer.needed and name not in given:
            raise refuse(
                f"process {step.name} needs the layer {name}",
                f"Give it; the process needs {', '.join(n for n, o in layers.items() if o.needed)}",
            )
    content = _plan_of(values, given) | _tables_of(tables, given)
    if "growth.years" not in values:
        # A process that takes no last year draws any year that is asked for.
        content["growth"] = {"years": LAST_YEAR} | content.get("growth", {})
    chosen = _subject_of(given)
    with _subject_named():
        plan = check_options(content)
        frames = {
            name: read_collection(name, given[name])
            if layer.geometry
            else read_rows(name, given[name])
            for name, layer in layers.items()
            if name in given
        }
        results = _run(step, frames, plan.about(**chosen))
    return {name: write_result(name, result) for name, result in results.items()}


def _run(step: StepDescription, frames: dict[str, Any], plan: Options):
    """Run the step; what a person brings is read as files are, what a step gave is held to its contract."""
    own = {layer.name for layer in step.inputs}
    brought = {name: frame for name, frame in frames.items() if name in INPUTS}
    held = {
        name: _hold(frame, contract_read(name))
        for name, frame in frames.items()
        if name not in INPUTS
    }
    if "parcels" in own or "parcels" not in brought:
        results = run_step(step.name, brought | held, plan=plan)
        return {name: _to_wgs84(result) for name, result in results.items()}
    # A step that does not look at the parcels: they lay the frame, and the others are read by them.
    from screenplan.site.reading import LayerSource, read_site

    site = read_site({name: LayerSource(frame) for name, frame in brought.items()}, plan=plan)
    local = {name: site.layers[name] for name in brought if name in own}
    results = run_step(step.name, local | held, frame=site.frame, plan=plan)
    return {
        name: site.frame.send_out(result, WGS84)
        if isinstance(result, gpd.GeoDataFrame) and result.crs.equals(site.frame.crs)
        else _to_wgs84(result)
        for name, result in results.items()
    }


def _to_wgs84(result: Any) -> Any:
    return result.to_crs(WGS84) if isinstance(result, gpd.GeoDataFrame) else result


def _hold(frame: pd.DataFrame, contract: Contract) -> pd.DataFrame:
    """Hold a layer that another process gave against its contract; columns of others are left out."""
    names = [name for name, _ in expand_columns(contract, frame.columns)]
    spatial = isinstance(frame, gpd.GeoDataFrame)
    optional = {column.name for column in contract.columns if not column.required}
    for name in names:
        if name not in frame.columns and (name in optional or not len(frame)):
            frame[name] = None  # a collection without features has no columns
    own = [name for name in frame.columns if name in names]
    layout = conform(frame[[*own, frame.geometry.name] if spatial else own], contract)
    table: Any = pd.DataFrame({name: layout.values[name] for name, _ in layout.columns})
    if spatial:
        table = gpd.GeoDataFrame(table, geometry=layout.geometries, crs=frame.crs)
    return give_types(table, contract)


def _unpack(name: str, value: Any) -> Any:
    """Take a value out of the object in which a request may send it."""
    if not isinstance(value, Mapping):
        return value
    if "href" in value:
        raise refuse(
            "the input is a link, and nothing is fetched for a request",
            "Send the value itself",
            key=name,
        )
    if "value" in value and set(value) <= QUALIFIED:
        return value["value"]
    return value


def _plan_of(values: Mapping[str, ParameterDescription], given: Mapping[str, Any]):
    """Write the values as the sections of a plan, so that the plan's own checks hold them."""
    content: dict[str, dict[str, Any]] = {}
    for name, parameter in values.items():
        if name in given:
            section, key = name.split(".")
            content.setdefault(section, {})[key] = _in_plan(parameter.type, given[name], name)
    return content


def _tables_of(tables: set[str], given: Mapping[str, Any]) -> dict[str, Any]:
    content: dict[str, Any] = {}
    for name in tables & set(given):
        if not isinstance(given[name], Mapping):
            raise refuse("the input is no table", "Send a JSON object", key=name)
        section, _, key = TABLES[name].partition(".")
        content[section] = {key: given[name]} if key else given[name]
    return content


def _in_plan(kind: str, value: Any, name: str) -> Any:
    """Write a plain value as a plan holds it: lengths and volumes with their unit."""
    unit = {"length": "m", "volume": "m3"}.get(kind)
    if unit is None:
        return value
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise refuse(
            f"the value {quoted(value)} is no number", f"Give a number of {unit}", key=name
        )
    return f"{value!r} {unit}"


def _subject_of(given: Mapping[str, Any]) -> dict[str, Any]:
    subject: dict[str, Any] = {}
    if "subject_id" in given:
        wanted = given["subject_id"]
        if isinstance(wanted, bool) or not isinstance(wanted, (str, int)):
            raise refuse(
                f"{quoted(wanted)} is no identifier",
                "Give the parcel_id, a text or a whole number",
                key="subject_id",
            )
        subject["parcel_id"] = str(wanted)
    if "subject_point" in given:
        point = given["subject_point"]
        whole = (
            isinstance(point, (list, tuple))
            and len(point) == 2
            and all(
                isinstance(number, (int, float)) and not isinstance(number, bool)
                for number in point
            )
            and abs(point[0]) <= 360.0
            and abs(point[1]) <= 90.0
        )
        if not whole:
            raise refuse(
                "the point is no pair of numbers that are longitude and latitude",
                "Give [longitude, latitude]",
                key="subject_point",
            )
        subject["point"] = tuple(point)
    return subject


@contextmanager
def _subject_named() -> Iterator[None]:
    """Name a wrong key of the subject by the input that set it."""
    names = {"subject.id": "subject_id", "subject.point": "subject_point"}
    try:
        yield
    except InputError as error:
        raise InputError(
            replace(problem, key=names.get(problem.key or "", problem.key))
            for problem in error.problems
        ) from None
