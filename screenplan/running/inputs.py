"""What a step is called with: the layers of a plan, the plan, and its resources."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

from screenplan.ground.errors import InputError, Problem, refuse
from screenplan.plan import Options, Plan
from screenplan.running.steps import Step


def read_inputs(plan: Plan, folder: Path, frames: Mapping[str, Any] | None = None):
    """Read the layers of a plan into a `Site`.

    Parameters
    ----------
    plan : Plan
        The plan.
    folder : Path
        The folder to which its paths are relative.
    frames : mapping of str to GeoDataFrame, optional
        Layers in memory, which take the place of files of the same name.

    Raises
    ------
    InputError
        With every problem of the layer at fault.
    """
    from screenplan.site.reading import LayerSource, read_site

    sources, terrain = sources_of(plan, folder), terrain_of(plan, folder)
    frames = {name: LayerSource(table) for name, table in (frames or {}).items()}
    with _refusals_in(plan):
        if plan.tape is not None:
            return _read_taped(plan, sources | frames, terrain)
        return read_site(sources | frames, plan=plan, terrain=terrain)


def sources_of(plan: Plan, folder: Path) -> dict[str, Any]:
    """Give the source of each layer that a plan names, by its contract's name."""
    from screenplan.site.reading import LayerSource

    return {
        name: LayerSource(**dict(source) | {"file": Path(os.path.normpath(folder / source.file))})
        for name, source in plan.layers.items()
    }


def terrain_of(plan: Plan, folder: Path):
    """Give the source of the terrain that a plan names; None if it names none."""
    from screenplan.site.terrain import TerrainSource

    ground = plan.terrain
    if ground is None:
        return None
    return TerrainSource(
        Path(os.path.normpath(folder / ground.file)), ground.unit, ground.extend, crs=ground.crs
    )


def _read_taped(plan: Plan, sources: Mapping[str, Any], terrain):
    """Read a site whose line was measured by tape, or along a side of which was measured."""
    from screenplan.site.reading import LayerSource, read_site
    from screenplan.site.sides import find_sides
    from screenplan.site.taped import lay_tape, line_of_side

    tape = plan.tape
    assert tape is not None  # asked for only where something was measured
    for name in {"parcels", "planting_line"} & set(sources) if tape.side is None else ():
        raise refuse(
            f"the line is given by tape.length, and a layer of {name.replace('_', ' ')} is given too",
            "Leave that layer out, or measure from a side of the parcel: tape.side instead of tape.length",
            key="tape.length",
        )
    line = None
    if tape.side is not None:
        known = {name: sources[name] for name in ("parcels", "roads") if name in sources}
        lot = read_site(known, plan=plan, terrain=terrain)
        sides = find_sides(lot.layers["parcels"], lot.layers.get("roads"), plan=plan)
        line = line_of_side(tape, sides, lot.frame)
    with _tables_in(plan):
        laid = lay_tape(tape, plan, houses_given="buildings" in sources, line=line)
    taped = {name: LayerSource(table) for name, table in laid.layers.items() if name not in sources}
    try:
        site = read_site(
            taped | dict(sources),
            plan=plan,
            terrain=laid.terrain if terrain is None else terrain,
            frame=laid.frame,
        )
    except InputError as error:
        raise InputError(
            replace(problem, file=plan.file, layer=None, key=f"tape.{problem.layer}")
            if problem.layer in taped and problem.file is None
            else problem
            for problem in error.problems
        ) from None
    file = None if plan.file is None else str(Path(plan.file).resolve())
    for entry in site.inputs:
        if entry["name"] in taped:
            key = "length" if entry["name"] == "planting_line" else entry["name"]
            entry |= {"file": file, "key": f"tape.{key}"}
    site.warnings.extend(laid.notes)
    return site


def step_arguments(
    step: Step, plan: Options, folder: Path, terrain=None, frame=None, species_table=None
) -> dict[str, Any]:
    """Collect what a step takes besides layers: the plan, and its resources.

    ``species_table`` holds the species as they grow on the site, by default as they grow without own plants.
    """
    from screenplan.planting.mixes import with_spacing
    from screenplan.rules.laws import law_of
    from screenplan.rules.limits import load_limits
    from screenplan.rules.ruleset import load_rules

    with _refusals_in(plan):
        law = law_of(plan)
        by_law = None if law is None else law.rules()
        # A design chooses the spacing where the plan names none; all others go by the usual one.
        if "rows.spacing" in step.keys and "design.spacings" not in step.keys:
            plan = with_spacing(plan, species_in(plan))
        arguments: dict[str, Any] = {"plan": plan}
        if "terrain" in step.resources:
            arguments["terrain"] = terrain
        if "species_table" in step.resources:
            arguments["species_table"] = (
                species_in(plan) if species_table is None else species_table
            )
        if "usual" in step.resources:
            arguments["usual"] = species_in(plan)
        for name, section, load in (
            ("rules", plan.setbacks, partial(load_rules, named=by_law)),
            ("limits", plan.limits, load_limits),
        ):
            if name in step.resources:
                own = None if section.file is None else folder / section.file
                with _tables_in(plan, f"{section.key('rules')}."):
                    arguments[name] = load(own, section.rules)
        if "position_deg" in step.resources:
            arguments["position_deg"] = None if frame is None else frame.position_deg
    return arguments


def refuse_several(plan: Options, what: str, mend: str) -> None:
    """Refuse a plan of several lots for what is done with one.

    Raises
    ------
    InputError
        With the remedy that is given.
    """
    if plan.subject.ids:
        key = plan.subject.key("ids")
        raise plan.placed(
            refuse(f"{what} one lot, and {len(plan.subject.ids)} are named", mend, key=key)
        )


def species_in(plan: Options) -> dict[str, Any]:
    """Give the species that there are, with those of a plan.

    Raises
    ------
    InputError
        With every problem found: the plan's file, key and remedy.
    """
    from screenplan.planting.species import planned_species

    with _tables_in(plan):
        return planned_species(plan)


def species_on(site, plan: Options) -> dict[str, Any]:
    """Give the species as they grow on a site, by plants of one's own that were measured there.

    Parameters
    ----------
    site : Site
    plan : Options

    Raises
    ------
    InputError
        As `species_in`, and with each measured plant that cannot be.
    """
    from screenplan.planting.own_plants import correct_species, own_table

    usual = species_in(plan)
    with rows_of_files(site.layers, site.inputs, plan):
        return own_table(usual, correct_species(usual, site.layers, plan.species))


@contextmanager
def _tables_in(plan: Options, at: str = "") -> Iterator[None]:
    """Name the plan's file, and keys as they stand in it, in what its own tables are refused for.

    What has a file already stands in a rule file. ``at`` is the key of the table in which they stand,
    if the refusals do not name it, with a full stop.
    """
    try:
        yield
    except InputError as error:
        refused = InputError(
            problem
            if problem.file is not None
            else replace(problem, file=plan.file, key=f"{at}{problem.key}")
            for problem in error.problems
        )
        raise plan.placed(refused) from None


@contextmanager
def _refusals_in(plan: Options) -> Iterator[None]:
    """Say lengths in what is refused in the reader's units, and where a key of the plan stands."""
    try:
        yield
    except InputError as error:
        placed = plan.placed(error)
        placed.units = plan.plan.units
        raise placed from None


@contextmanager
def rows_of_files(
    layers: Mapping[str, Any], inputs: Sequence[Mapping[str, Any]], plan: Options
) -> Iterator[None]:
    """Name file, layer and row, or key, as a person knows them in what a step refuses, lengths in their units.

    A step numbers rows from 1 in the layer that it was handed. Reading may have left rows out; it
    keeps their numbers in an index called ``row``.
    """
    try:
        yield
    except InputError as error:
        sources = {entry["name"]: entry for entry in inputs}
        moved = InputError(_relocate(problem, layers, sources) for problem in error.problems)
        moved.units = plan.plan.units
        raise plan.placed(moved) from None


def _relocate(problem: Problem, layers: Mapping[str, Any], sources: Mapping[str, Any]) -> Problem:
    source, layer = sources.get(problem.layer or ""), layers.get(problem.layer or "")
    if source is None or problem.file is not None:
        return problem
    rows = problem.rows
    if layer is not None and layer.index.name == "row":
        rows = [int(layer.index[row - 1]) for row in rows if 0 < row <= len(layer)]
    key = source.get("key") or problem.key
    return replace(problem, file=source["file"], layer=source["layer"], rows=rows, key=key)
