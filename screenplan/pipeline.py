"""The order in which the steps run, and what a run hands on to the outputs."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from screenplan.inputs import read_inputs, rows_of_files, step_arguments
from screenplan.plan import Plan, read_plan
from screenplan.steps import STEPS

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
    notes : list of str
        What the steps found doubtful.
    """

    plan: Plan
    folder: Path
    site: Any
    layers: dict[str, Any] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)

    @property
    def fails(self) -> bool:
        """True if a check fails."""
        return bool((self.layers["checks"]["result"] == "fails").any())

    @property
    def warnings(self) -> list[str]:
        """What a person should know before they trust the result."""
        return list(dict.fromkeys([*self.site.warnings, *self.notes]))

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
    from screenplan.tables import notes_of

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
            given = step(run.layers, **arguments)
        run.layers |= given
        run.notes += (note for layer in given.values() for note in notes_of(layer))
    if plan.alternatives.asked:
        from screenplan.alternatives import compare_alternatives

        run.layers["alternatives"] = compare_alternatives(
            plan, folder, run.layers, site.terrain, site.frame
        )
    return run
