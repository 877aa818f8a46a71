"""What the commands list: sides, what was read, layers, steps, processes, keys."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pandas as pd

from screenplan.commandline.printing import console, records, show_json, show_notes, show_table
from screenplan.ground.datum import is_ground
from screenplan.ground.said import in_units
from screenplan.ground.units import format_length


def show_sides(sides, units: str, *, as_json: bool) -> None:
    """Show the sides of a parcel."""
    if as_json:
        show_json(records(sides))
        return
    looked = bool(sides["looked_across"].notna().any())
    columns = ["side", "length", "bearing", "faces", "across it"] + ["of the looks across"] * looked
    rows = []
    for side in sides.itertuples():
        across = (
            f"{side.across_kind} {side.across}" if pd.notna(side.across) and side.across else "–"
        )
        row = [
            side.side_id,
            format_length(side.length_m, units),
            f"{round(side.bearing_deg, 1) % 360:.1f}°",
            f"{round(side.facing_deg, 1) % 360:.1f}°",
            across,
        ]
        rows.append(row + [f"{side.looked_across:.0%}"] * looked)
    show_table("Sides of the parcel, anticlockwise", columns, rows,
               note=f"Bearings are {'from up in the drawing' if is_ground(sides.crs) else 'true'}. Choose sides in the plan: [rows] along = [\"" + str(sides["side_id"].iloc[0]) + "\"]")  # fmt: skip


def show_site(site, units: str, *, replaces: str | None = None, as_json: bool) -> None:
    """Show what was read, repaired and changed, in the plan's units."""
    if as_json:
        show_json({
            "subject": site.subject_id, "layers": {name: len(frame) for name, frame in site.layers.items()},
            "repairs": records(site.repairs), "transformations": site.transformations, "warnings": site.warnings, "replaces": replaces,
        })  # fmt: skip
        return
    lots = int(site.layers["parcels"]["is_subject"].sum())
    show_table(
        f"Read for {'parcel' if lots == 1 else 'lots'} {site.subject_id}" if lots else "Read",
        ["layer", "rows"],
        [[name, len(frame)] for name, frame in site.layers.items()],
    )
    if len(site.repairs):
        shown = site.repairs.assign(
            row=["all" if pd.isna(number) else int(number) for number in site.repairs["row"]],
            repair=[in_units(text, units) for text in site.repairs["repair"]],
        )
        show_table("Repaired", list(shown.columns), shown.itertuples(index=False))
    changes = [
        [change["layer"], change["source"], change["target"], in_units(_metres(change["accuracy_m"]), units)]
        for change in site.transformations
        if change["operation"] != "none"
    ]  # fmt: skip
    if changes:
        show_table("Changes of coordinates", ["layer", "from", "to", "good to"], changes)
    show_notes([in_units(note, units) for note in site.warnings])


def _metres(accuracy: float | None) -> str:
    return "not known" if accuracy is None else f"{{{accuracy:g} m}}"


def show_layers(layers: Mapping[str, Any], *, as_json: bool) -> None:
    """Show what one step gave."""
    if as_json:
        show_json({name: records(frame) for name, frame in layers.items()})
        return
    show_table("Written", ["layer", "rows"], [[name, len(frame)] for name, frame in layers.items()])


def show_export(exported, *, as_json: bool) -> None:
    """Print the layers that were written in another format, and what it does not keep."""
    if as_json:
        show_json(
            {
                "folder": str(exported.folder),
                "layers": exported.rows,
                "losses": list(exported.losses),
                "replaced": exported.replaced,
            }
        )
        return
    show_table("Layers", ["layer", "rows"], exported.rows.items())
    console().print("\nThese files do not keep everything:", style="bold")
    for sentence in exported.losses:
        console().print(f"- {sentence}", highlight=False)
    console().print(f"\nWritten: {exported.folder}", highlight=False)
    if exported.replaced is not None:
        console().print(f"Note: {exported.replaced}.")


def show_steps(name: str | None, *, as_json: bool) -> None:
    """Show the steps, or one of them."""
    from screenplan.plan import key_field
    from screenplan.plan.text import default_text, range_text
    from screenplan.running.steps import STEPS

    if as_json:
        chosen = STEPS.values() if name is None else [STEPS[name]]
        show_json([{"step": step.name, "does": step.does, "needs": step.needs, "takes": step.takes, "gives": step.gives,
                    "parameters": {key: key_field(key).description for key in step.keys}} for step in chosen])  # fmt: skip
    elif name is None:
        show_table(
            "Steps, in the order in which they run",
            ["step", "does", "gives"],
            [[step.name, step.does, ", ".join(step.gives)] for step in STEPS.values()],
        )
    else:
        step = STEPS[name]
        show_table(
            f"{step.name}: {step.does}",
            ["layers", ""],
            [
                ["needs", ", ".join(step.needs)],
                ["takes", ", ".join(step.takes) or "–"],
                ["gives", ", ".join(step.gives)],
            ],
        )
        if step.keys:
            show_table("Keys of the plan that it uses", ["key", "default", "what it is"],
                       [[key, default_text(key) or "–", (key_field(key).description or "") + range_text(key)] for key in step.keys])  # fmt: skip


def show_processes(
    name: str | None, folder: str | None, server: str | None, *, as_json: bool
) -> None:
    """Print a process description or the list of them, and write what is asked for."""
    from screenplan.processes import describe_process, list_processes, write_processes
    from screenplan.processes.configuration import write_configuration
    from screenplan.running.steps import STEPS

    written = []
    if folder is not None:
        written.append(f"{len(write_processes(folder))} descriptions: {folder}")
    if server is not None:
        written.append(f"Configuration of a server: {write_configuration(server)}")
    if written:
        for line in written:
            console().print(line, highlight=False)
    elif name is not None:
        show_json(describe_process(name))
    elif as_json:
        show_json(list_processes())
    else:
        note = "Layers are GeoJSON in WGS 84. 'screenplan processes STEP' shows a description."
        rows = [(step.name, step.does) for step in STEPS.values()]
        show_table("Processes", ["id", "what it does"], rows, note=note)


def show_keys(*, as_json: bool) -> None:
    """Show every key of a plan file."""
    from screenplan.plan import SECTIONS, TAPE_TABLES, Ground, LayerSource
    from screenplan.plan.text import default_text, range_text
    from screenplan.plan.values import Section

    tables: dict[str, type[Section]] = {
        "layers.NAME": LayerSource,
        "terrain": Ground,
        **TAPE_TABLES,
    }
    rows = [(f"{table}.{key}", "", field.description or "")
            for table, model in tables.items() for key, field in model.model_fields.items()]  # fmt: skip
    rows += [(f"{section}.{key}", default_text(f"{section}.{key}"), (field.description or "") + range_text(f"{section}.{key}"))
            for section, model in SECTIONS.items() for key, field in model.model_fields.items()]  # fmt: skip
    if as_json:
        show_json(
            [{"key": key, "default": default or None, "help": text} for key, default, text in rows]
        )
    else:
        show_table(
            "Keys of a plan file",
            ["key", "default", "what it is"],
            [[key, default or "–", text] for key, default, text in rows],
        )
