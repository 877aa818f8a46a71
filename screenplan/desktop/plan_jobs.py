"""Whole plans for the plugin: a plan file run, or layers and choices made into one and run."""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pyogrio

from screenplan.contracts import INPUTS, OUTPUTS, WRITTEN
from screenplan.desktop.form_values import columns_of, content_of
from screenplan.desktop.step_jobs import Tell, read_handed
from screenplan.ground.errors import refuse
from screenplan.ground.said import in_units
from screenplan.outputs.answer import answer, answer_lines
from screenplan.outputs.kinds import split_by_kind
from screenplan.plan import check_plan
from screenplan.plan.reading import change_plan
from screenplan.plan.text import plan_text
from screenplan.running.pipeline import run_plan
from screenplan.running.run import Run
from screenplan.running.writing import about_run, default_folder, open_folder, write_run

#: Files in the folder of a plan that is made from layers.
PLAN_NAME, INPUTS_NAME = "screen.toml", "inputs.gpkg"
#: The last line of a plan file that a form wrote, and nobody changed since.
MARK = "# Written by the form of the toolbox; unchanged while this is the digest of the rest: "

#: How much of the work of a whole plan is done when it is computed.
RAN = 90


def run_plan_file(job: Mapping[str, Any], tell: Tell) -> dict[str, Any]:
    """Run a plan file and write its folder."""
    return _run_into(job["out"], job["plan"], job["settings"], tell)


def run_plan_layers(job: Mapping[str, Any], tell: Tell) -> dict[str, Any]:
    """Make a plan file from handed-over layers and choices, run it, and keep both."""
    home = Path(job["out"])
    _check_home(home)
    made = not home.exists()
    stage = Path(job["layers"]["parcels"][0]["file"]).parent / "plan"
    stage.mkdir()
    plan = stage / PLAN_NAME
    plan.write_text(_plan_text(job, stage), encoding="utf-8")
    home.mkdir(exist_ok=True)
    try:
        done = _run_into(home / default_folder(plan).name, plan, (), tell)
        for name in (INPUTS_NAME, PLAN_NAME):
            _put(stage / name, home / name)
    finally:
        if made and not any(home.iterdir()):
            home.rmdir()
    tell({"says": f"The plan file, to edit and run again: {home / PLAN_NAME}"})
    return done


def _run_into(folder, plan, settings, tell: Tell) -> dict[str, Any]:
    """Run a plan and write its folder, telling first what it replaces."""
    with open_folder(folder) as target:
        if (replaced := target.replaces) is not None:
            tell({"says": f"{target.shown}: {replaced}."})
        run = _run(plan, settings, tell)
        return _written(run, write_run(run, target))


def _run(plan, settings, tell: Tell) -> Run:
    def progress(name: str, number: int, total: int) -> None:
        tell({"progress": RAN * (number - 1) / total, "doing": f"{number} of {total}: {name}"})

    run = run_plan(plan, settings=settings, progress=progress)
    tell({"progress": RAN, "doing": "Writing the folder"})
    units = run.plan.plan.units
    for block in answer(run.layers, about_run(run)):
        for line in answer_lines(block):
            tell({"says": f"{block.title}: {line}"})
    for row in run.layers["checks"].itertuples():
        if row.result == "fails":
            tell({"note": f"Check fails: {row.check}: {in_units(row.says, units)}"})
    for warning in run.warnings:
        tell({"note": in_units(warning, units)})
    return run


def _written(run: Run, folder: Path) -> dict[str, Any]:
    layers = split_by_kind(
        {name: run.layers[name] for name in OUTPUTS if name in run.layers}, OUTPUTS
    )
    return {
        "folder": str(folder),
        "fails": run.fails,
        "layers": [
            {
                "name": name,
                "title": contract.name.replace("_", " ").capitalize(),
                "rows": len(layers[name]),
            }
            for name, contract in WRITTEN.items()
            if name in layers and contract.geometry
        ],
    }


def _check_home(home: Path) -> None:
    """Refuse a folder whose plan file was changed by hand: it would be lost."""
    if home.exists() and not home.is_dir():
        raise refuse("It is a file", "Choose a folder", file=str(home))
    if not home.parent.is_dir():
        raise refuse("The folder above it does not exist", "Make it first", file=str(home))
    plan = home / PLAN_NAME
    if plan.exists() and not _unchanged(plan.read_text(encoding="utf-8", errors="replace")):
        raise refuse(
            "The plan file in it was changed since a form wrote it",
            "Run it with the form 'Plan from a plan file', or choose another folder",
            file=str(plan),
        )


def _unchanged(text: str) -> bool:
    content, mark, digest = text.rpartition(MARK)
    return bool(mark) and digest.strip() == _digest(content)


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def _plan_text(job: Mapping[str, Any], stage: Path) -> str:
    columns, units = columns_of(job)
    layers = write_inputs(job["layers"], stage / INPUTS_NAME)
    for name, source in layers.items():
        source["columns"] = columns.get(name, {})
        source["units"] = units.get(name, {})
    chosen = change_plan(content_of(job["values"]), job["settings"])
    _refuse_inputs(chosen)
    if job.get("subject_id"):
        chosen.setdefault("subject", {})["id"] = job["subject_id"]
    elif job.get("subject_point"):
        chosen.setdefault("subject", {})["point"] = job["subject_point"]
    check_plan({**chosen, "layers": layers})
    terrain = job.get("terrain") or None
    text = plan_text(
        chosen,
        layers,
        head=("A plan made from layers of the desktop GIS. Every key stands here with its range.",),
        terrain=terrain and {"file": terrain["file"], "unit": terrain["unit"]},
    )
    return f"{text}{MARK}{_digest(text)}\n"


def _refuse_inputs(chosen: Mapping[str, Any]) -> None:
    """Refuse keys of layers and of the terrain among the other keys, which the form's own fields would overrule."""
    for section in ("layers", "terrain"):
        if section in chosen:
            raise refuse(
                f"among the other keys of the plan one names [{section}], which the form hands over itself",
                "Choose layers and the terrain in their own fields, write columns and their units in the field for "
                "columns, and take the line out",
                key=section,
            )


def write_inputs(handed: Mapping[str, Any], package: Path) -> dict[str, dict[str, Any]]:
    """Write all handed-over layers into one GeoPackage, each in its own reference system."""
    layers = {}
    for name in INPUTS:
        if name in handed:
            table = read_handed(name, handed[name])
            pyogrio.write_dataframe(table, package, layer=name, driver="GPKG")
            layers[name] = {"file": package.name, "layer": name}
    return layers


def _put(source: Path, target: Path) -> None:
    """Copy beside the target and rename, so that it is there whole or not at all."""
    part = target.with_name(f".{target.name}~part")
    try:
        shutil.copyfile(source, part)
        part.replace(target)
    except OSError as error:
        raise refuse(
            f"It cannot be written ({error.strerror})",
            "Close it in other programs, check the permissions, or choose another folder",
            file=str(target),
        ) from None
    finally:
        part.unlink(missing_ok=True)
