"""``screenplan step``: one step of a plan, on the layers that an earlier run wrote.

The frame is taken from the run's record, so that the step gives what it gave in the whole run.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
from pyogrio import list_layers

from screenplan.commandline.gathering import split_source
from screenplan.contracts import INPUTS, OUTPUTS, WRITTEN, written_parts
from screenplan.contracts.tables import give_types
from screenplan.ground.datum import horizontal
from screenplan.ground.errors import refuse
from screenplan.ground.frame import LocalFrame
from screenplan.outputs.geojson import WGS84, write_geojson
from screenplan.outputs.geopackage import write_geopackage
from screenplan.outputs.kinds import join_kinds, split_by_kind
from screenplan.outputs.layers import GEOPACKAGE_NAME
from screenplan.outputs.record import RECORD_NAME, read_record
from screenplan.outputs.tables import write_csv
from screenplan.plan import LayerSource, read_plan
from screenplan.running.inputs import (
    read_inputs,
    refuse_several,
    rows_of_files,
    species_on,
    step_arguments,
)
from screenplan.running.steps import STEPS
from screenplan.running.writing import default_folder
from screenplan.site.loose import read_table


def run_single(
    name: str,
    plan_file: str | Path,
    settings: Sequence[str],
    replaced: Sequence[str],
    out: str | Path,
) -> dict[str, Any]:
    """Run one step and write what it gives.

    Parameters
    ----------
    name : str
        The step.
    plan_file : path
        The plan.
    settings : sequence of str
        ``KEY=VALUE``, other values for keys of the plan.
    replaced : sequence of str
        ``NAME=FILE[:LAYER]``, other files for input layers.
    out : path
        A .gpkg file for all that the step gives, or a .geojson or .csv file if it gives one.

    Returns
    -------
    dict
        The layers that it gave, by contract name, in the local frame.

    Raises
    ------
    InputError
        If an input is wrong or missing; nothing is written then.
    """
    step, out = STEPS[name], Path(out)
    _check_out(step, out)
    plan, folder = read_plan(plan_file, settings)
    refuse_several(
        plan,
        "a step by itself takes",
        f"Name it: --set subject.id={next(iter(plan.subject.ids), '')}",
    )
    other = dict(_split_replacement(text, step) for text in replaced)
    given = {
        layer: LayerSource(file=file.resolve(), layer=inner)
        for layer, (file, inner) in other.items()
        if layer in INPUTS
    }
    plan = plan.model_copy(update={"layers": {**plan.layers, **given}})
    site = read_inputs(plan, folder)
    layers = dict(site.layers)
    earlier = default_folder(plan_file)
    frame = (
        LocalFrame.from_dict(read_record(earlier).frame)
        if (earlier / RECORD_NAME).is_file()
        else site.frame
    )
    written = _layers_in(earlier / GEOPACKAGE_NAME)
    for layer in step.layers:
        if layer in INPUTS and layer in layers and layer not in OUTPUTS:
            continue
        if layer in given:
            continue
        if layer in other:
            layers[layer] = _read_whole(layer, *other[layer], frame)
        elif layer in OUTPUTS and layer != "parcels" and written.issuperset(_parts_of(layer)):
            layers[layer] = _read_whole(layer, earlier / GEOPACKAGE_NAME, layer, frame)
    lacking = [layer for layer in step.needs if layer not in layers]
    if lacking:
        raise refuse(
            f"step {name} needs the layer {lacking[0]}",
            f"Run the whole plan first (screenplan run {plan_file}), or give --in {lacking[0]}=FILE",
        )
    with rows_of_files(layers, site.inputs, plan):
        given_layers = step(
            layers,
            **step_arguments(step, plan, folder, site.terrain, frame, species_on(site, plan)),
        )
    _write(given_layers, out, frame)
    return given_layers


def _split_replacement(text: str, step) -> tuple[str, tuple[Path, str | None]]:
    name, equals, source = text.partition("=")
    if not equals or name not in step.layers:
        raise refuse(
            f"--in {text} names no layer of step {step.name}",
            f"Write NAME=FILE or NAME=FILE:LAYER, NAME one of {', '.join(step.layers)}",
        )
    return name, split_source(source)


def _layers_in(package: Path) -> set[str]:
    """Give the names of the layers and tables that an earlier run wrote; none if there is no such file."""
    return set(list_layers(package)[:, 0]) if package.is_file() else set()


def _parts_of(name: str) -> list[str]:
    return list(written_parts(OUTPUTS[name]))


def _read_whole(name: str, file: Path, layer: str | None, frame: LocalFrame) -> Any:
    """Read a layer that a run wrote; asked for by its own name, one that was taken apart too."""
    parts = _parts_of(name)
    if layer != name or len(parts) == 1:
        return _read_layer(name, file, layer, frame)
    return join_kinds([_read_layer(name, file, part, frame) for part in parts])


def _read_layer(name: str, file: Path, layer: str | None, frame: LocalFrame) -> Any:
    """Read a layer or table that a run wrote, and bring it into the frame."""
    contract = OUTPUTS[name]
    table = read_table(file, layer)
    if contract.geometry and not isinstance(table, gpd.GeoDataFrame):
        raise refuse(
            "it has no geometry",
            f"Give a layer {name} that a run wrote",
            file=str(file),
            layer=layer,
        )
    missing = [column for column in contract.required if column not in table.columns]
    if missing:
        raise refuse(
            f"it lacks the column {missing[0]}",
            f"Give a layer {name} that a run wrote",
            file=str(file),
            layer=layer,
        )
    give_types(table, contract)
    return frame.bring_in(table) if contract.geometry else table


def _check_out(step, out: Path) -> None:
    kinds = {".gpkg"}
    if len(step.gives) == 1:
        kinds.add(".geojson" if OUTPUTS[step.gives[0]].geometry else ".csv")
    if out.suffix.lower() not in kinds:
        raise refuse(
            f"step {step.name} cannot be written as {out.suffix or 'a file without an ending'}",
            f"Name a file that ends in {' or '.join(sorted(kinds))}",
            file=str(out),
        )
    if out.exists():
        raise refuse(
            "there is such a file already", "Choose another name, or remove it first", file=str(out)
        )
    if not out.resolve().parent.is_dir():
        raise refuse("its folder does not exist", "Make the folder first", file=str(out))


def _write(layers: dict[str, Any], out: Path, frame: LocalFrame) -> None:
    """Write beside and rename, so that a broken-off write leaves nothing under the name."""
    part = out.with_name(f".{out.stem}~part{out.suffix}")
    try:
        name, only = next(iter(layers.items()))
        if out.suffix.lower() == ".gpkg":
            home = horizontal(frame.source_crs)
            sent = {
                key: frame.send_out(layer, home) if WRITTEN[key].geometry else layer
                for key, layer in split_by_kind(layers, OUTPUTS).items()
            }
            write_geopackage(sent, part, home, contracts=WRITTEN)
        elif out.suffix.lower() == ".geojson":
            write_geojson(frame.send_out(only, WGS84), part, OUTPUTS[name])
        else:
            write_csv(only, part, OUTPUTS[name])
        part.replace(out)
    finally:
        part.unlink(missing_ok=True)
