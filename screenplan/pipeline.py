"""The order in which the steps run, and what a run hands on to the outputs."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from screenplan.errors import InputError, Problem
from screenplan.plan import Plan, read_plan
from screenplan.steps import STEPS, Step

#: Called with the step's name and its number from 1, and how many there are.
Progress = Callable[[str, int, int], None]


@dataclass
class Run:
    """A finished run, all layers in the local frame.

    Parameters
    ----------
    plan : Plan
        The plan that was run.
    folder : Path
        The folder to which the plan's paths are relative.
    site : Site
        What was read.
    layers : dict
        Every layer and table by its contract's name, those that were read included.
    """

    plan: Plan
    folder: Path
    site: Any
    layers: dict[str, Any] = field(default_factory=dict)

    @property
    def fails(self) -> bool:
        """True if a check fails."""
        return bool((self.layers["checks"]["result"] == "fails").any())

    @property
    def warnings(self) -> list[str]:
        """What a person should know before they trust the result."""
        from screenplan.tables import notes_of

        notes = (note for layer in self.layers.values() for note in notes_of(layer))
        return list(dict.fromkeys([*self.site.warnings, *notes]))

    @property
    def species_names(self) -> dict[str, str]:
        """What people call each species of the plan's table, by its key."""
        from screenplan.planting.species import load_species

        return {
            key: species.common_name or species.latin_name
            for key, species in load_species(self.plan.species).items()
        }

    @property
    def species(self) -> list[Any]:
        """The species of the plants, in the order in which they stand."""
        from screenplan.planting.species import load_species

        table = load_species(self.plan.species)
        keys = dict.fromkeys(self.layers["plants"]["species"].astype(str))
        return [table[key] for key in keys if key in table]


def read_inputs(plan: Plan, folder: Path):
    """Read the layers of a plan into a `Site`.

    Raises
    ------
    InputError
        With every problem of the layer at fault.
    """
    from screenplan.site.reading import LayerSource, read_site
    from screenplan.site.terrain import TerrainSource

    sources = {
        name: LayerSource(
            Path(os.path.normpath(folder / source.file)),
            source.layer,
            source.columns,
            source.units,
            source.fixed,
        )
        for name, source in plan.layers.items()
    }
    ground = plan.terrain
    return read_site(
        sources,
        subject_id=plan.subject.id,
        subject_point=plan.subject.point,
        height_m=plan.site.height,
        terrain=None
        if ground is None
        else TerrainSource(
            Path(os.path.normpath(folder / ground.file)), ground.unit, ground.extend
        ),
        datum_tolerance_m=plan.site.datum_tolerance,
        reach_m=plan.site.reach,
        storey_height_m=plan.site.storey_height,
    )


def step_arguments(
    step: Step, plan: Plan, folder: Path, terrain=None, frame=None
) -> dict[str, Any]:
    """Collect a step's parameters and resources from a plan."""
    from screenplan.planting.species import load_species
    from screenplan.rules.ruleset import load_rules

    arguments = {name: plan.value(key) for name, key in step.parameters.items()}
    if "terrain" in step.resources:
        arguments["terrain"] = terrain
    if "table" in step.resources:
        arguments["table"] = load_species(plan.species)
    if "rules" in step.resources:
        own = plan.setbacks.file
        arguments["rules"] = load_rules(None if own is None else folder / own, plan.setbacks.rules)
    if "limits" in step.resources:
        from screenplan.rules.limits import load_limits

        own = plan.limits.file
        arguments["limits"] = load_limits(None if own is None else folder / own, plan.limits.rules)
    if "position_deg" in step.resources:
        arguments["position_deg"] = None if frame is None else frame.position_deg
    return arguments


def run_plan(
    plan: Plan | Path | str,
    folder: Path | None = None,
    *,
    settings: Sequence[str] = (),
    progress: Progress | None = None,
) -> Run:
    """Run every step of a plan.

    Parameters
    ----------
    plan : Plan or path
        A plan, or the file that holds it.
    folder : Path, optional
        The folder to which a `Plan`'s paths are relative; by default the current one.
    settings : sequence of str
        ``KEY=VALUE``, values that replace those of a plan file.
    progress : callable, optional
        Called before each step.

    Returns
    -------
    Run

    Raises
    ------
    InputError
        If the plan or a layer cannot be used.
    """
    if not isinstance(plan, Plan):
        plan, folder = read_plan(plan, settings)
    folder = Path.cwd() if folder is None else folder
    tell = progress or (lambda *_: None)
    total = len(STEPS) + 1
    tell("reading", 1, total)
    site = read_inputs(plan, folder)
    run = Run(plan, folder, site, dict(site.layers))
    for number, step in enumerate(STEPS.values(), start=2):
        tell(step.name, number, total)
        arguments = step_arguments(step, plan, folder, site.terrain, site.frame)
        with rows_of_files(run.layers, site.inputs):
            run.layers |= step(run.layers, **arguments)
    if plan.alternatives.asked:
        from screenplan.alternatives import compare_alternatives

        run.layers["alternatives"] = compare_alternatives(
            plan, folder, run.layers, site.terrain, site.frame
        )
    return run


@contextmanager
def rows_of_files(layers: Mapping[str, Any], inputs: Sequence[Mapping[str, Any]]) -> Iterator[None]:
    """Name file, layer and row as a person knows them in what a step refuses.

    A step numbers rows from 1 in the layer that it was handed. Reading may have left rows out; it
    keeps their numbers in an index called ``row``.
    """
    try:
        yield
    except InputError as error:
        sources = {entry["name"]: entry for entry in inputs}
        raise InputError(
            _relocate(problem, layers, sources) for problem in error.problems
        ) from None


def _relocate(problem: Problem, layers: Mapping[str, Any], sources: Mapping[str, Any]) -> Problem:
    source, layer = sources.get(problem.layer), layers.get(problem.layer)
    if source is None or problem.file is not None or source["file"] is None:
        return problem
    rows = problem.rows
    if layer is not None and layer.index.name == "row":
        rows = [int(layer.index[row - 1]) for row in rows if 0 < row <= len(layer)]
    return replace(problem, file=source["file"], layer=source["layer"], rows=rows)
