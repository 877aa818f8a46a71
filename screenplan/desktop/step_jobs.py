"""The job of one step, on the layers that the plugin hands over."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
from pyproj import CRS
from pyproj.exceptions import CRSError

from screenplan.contracts import INPUTS, OUTPUTS, WRITTEN, Contract
from screenplan.contracts.tables import DTYPES, notes_of
from screenplan.desktop.form_values import columns_of, content_of, settings_of
from screenplan.desktop.toolbox import inputs_of
from screenplan.ground.datum import WGS84
from screenplan.ground.errors import refuse
from screenplan.ground.frame import LocalFrame
from screenplan.ground.said import in_units
from screenplan.outputs.geopackage import write_geopackage
from screenplan.outputs.kinds import join_kinds, split_by_kind
from screenplan.plan import Options, read_plan
from screenplan.plan.reading import check_options
from screenplan.running.descriptions import LayerDescription, describe_step
from screenplan.running.inputs import rows_of_files, step_arguments
from screenplan.running.steps import STEPS
from screenplan.site.loose import read_table
from screenplan.site.reading import LayerSource, TerrainSource, read_site

#: Called with a message for the plugin.
Tell = Callable[[dict[str, Any]], None]

#: How much of a step's work is done when its layers are read, and when it has run; measured on the
#: sample site, where starting takes about a third of the time.
READ, RAN = 35, 90


def run_step_job(job: Mapping[str, Any], tell: Tell) -> dict[str, Any]:
    """Run one step on handed-over layers, and write what it gives into one GeoPackage."""
    step, described = STEPS[job["step"]], describe_step(job["step"])
    tell({"progress": 5, "doing": "Reading the layers"})
    plan, folder = _plan_of(job)
    tables = {name: read_handed(name, entries) for name, entries in job["layers"].items()}
    layers, frame, terrain, inputs = _bring_in(job, plan, inputs_of(described), tables, tell)
    lacking = [name for name in step.needs if name not in layers]
    if lacking:
        raise refuse(f"step {step.name} needs the layer {lacking[0]}", "Choose it in the form")
    tell({"progress": READ, "doing": described.does})
    with rows_of_files(layers, inputs, plan):
        given = step(layers, **step_arguments(step, plan, folder, terrain, frame))
    for note in dict.fromkeys(note for layer in given.values() for note in notes_of(layer)):
        tell({"note": in_units(note, plan.plan.units)})
    tell({"progress": RAN, "doing": "Writing the results"})
    crs = _crs_of(job) or _first_crs(tables)
    sent = {
        name: frame.send_out(layer, crs) if OUTPUTS[name].geometry else layer
        for name, layer in given.items()
    }
    write_geopackage(
        split_by_kind(sent, OUTPUTS),
        Path(job["result"]),
        WGS84 if crs is None else crs,  # tables alone have no place
        contracts=WRITTEN,
    )
    return {"rows": {name: len(layer) for name, layer in given.items()}}


def _plan_of(job: Mapping[str, Any]) -> tuple[Options, Path]:
    if job.get("plan"):
        return read_plan(job["plan"], settings_of(job["values"]))
    return check_options(content_of(job["values"])), Path.cwd()


def _bring_in(job, plan: Options, wanted, tables, tell: Tell):
    """Bring all layers into one frame: what a person brings is checked, what a step gave is typed."""
    brought = {
        layer.name: tables[layer.name] for layer in wanted if layer.brought and layer.name in tables
    }
    local, frame, terrain, inputs = {}, None, None, []
    if "parcels" in brought:
        site = _read_site(job, plan, brought)
        local, frame, terrain, inputs = dict(site.layers), site.frame, site.terrain, site.inputs
        for row in site.repairs.itertuples():
            place = f"{row.layer}, row {row.row}" if pd.notna(row.row) else row.layer
            tell({"says": f"Repaired: {place}: {row.repair}"})
    for layer in wanted:
        if layer.name not in tables or layer.name in local:
            continue
        table = check_given(layer, tables[layer.name])
        if layer.geometry:
            frame = LocalFrame.around(table) if frame is None else frame
            table = frame.bring_in(table, layer=layer.name)
        local[layer.name] = table
    return local, frame, terrain, inputs


def _read_site(job, plan: Options, brought):
    columns, units = columns_of(job)
    point = job.get("subject_point")
    sources = {
        name: LayerSource(frame, columns=columns.get(name, {}), units=units.get(name, {}))
        for name, frame in brought.items()
    }
    plan = plan.about(job.get("subject_id"), None if point is None else tuple(point))
    return read_site(sources, plan=plan, terrain=terrain_of(job))


def terrain_of(job: Mapping[str, Any]) -> TerrainSource | None:
    """Give the terrain that a form names."""
    ground = job.get("terrain") or {}
    return TerrainSource(Path(ground["file"]), ground["unit"]) if ground else None


def read_handed(name: str, entries) -> Any:
    """Read a layer from the files as which it was handed over, one for each kind of geometry."""
    parts = []
    for entry in entries:
        part = read_table(entry["file"], entry["layer"])
        if isinstance(part, gpd.GeoDataFrame):
            part = part.set_crs(_crs_of(entry), allow_override=True)
        parts.append(part)
    spatial = [part for part in parts if isinstance(part, gpd.GeoDataFrame)]
    contract = INPUTS.get(name) or OUTPUTS[name]
    if contract.geometry and len(spatial) < len(parts):
        tables = [part for part in parts if not isinstance(part, gpd.GeoDataFrame)]
        if not any(map(len, tables)):  # of an empty layer of any geometry the kind is not known
            raise refuse(
                "The layer is empty, and its kind of geometry is not known",
                "Draw what it should hold, or leave the layer out",
                layer=name,
            )
        raise refuse("The layer has no geometry", "Choose a layer with geometry", layer=name)
    if len(parts) == 1:
        return parts[0]
    return join_kinds([part.to_crs(parts[0].crs) for part in parts])


def check_given(layer: LayerDescription, table: Any) -> Any:
    """Hold a layer that an earlier step gave against its contract, and give it the right types.

    Raises
    ------
    InputError
        If it lacks a column or holds another type.
    """
    contract: Contract = OUTPUTS.get(layer.name) or INPUTS[layer.name]
    whence = " or ".join(f"'{name}'" for name in layer.given_by)
    remedy = f"Give the layer {layer.name} as the step {whence} gives it"
    for column in contract.columns:
        if column.per_year:
            continue
        if column.name not in table.columns:
            raise refuse(f"it lacks the column {column.name}", remedy, layer=layer.name)
        try:
            table[column.name] = table[column.name].astype(DTYPES[column.type])
        except (TypeError, ValueError):
            raise refuse(
                f"its column {column.name} does not hold values of the type {column.type}",
                remedy,
                layer=layer.name,
            ) from None
        if column.required and len(table) and table[column.name].isna().any():
            rows = [number + 1 for number, empty in enumerate(table[column.name].isna()) if empty]
            raise refuse(f"its column {column.name} is empty", remedy, layer=layer.name, rows=rows)
    own = [name for name in table.columns if name == "geometry" or _is_ours(contract, name)]
    return table[own]


def _is_ours(contract: Contract, name: str) -> bool:
    try:
        contract.column(name)
    except KeyError:
        return False
    return True


def _crs_of(entry: Mapping[str, Any]) -> CRS | None:
    """Read a reference system by its code, which both sides know, or else by its text."""
    for text in (entry.get("crs"), entry.get("crs_wkt")):
        try:
            if text:
                return CRS.from_user_input(text)
        except CRSError:
            continue
    return None


def _first_crs(tables: Mapping[str, Any]) -> CRS | None:
    return next((table.crs for table in tables.values() if getattr(table, "crs", None)), None)
