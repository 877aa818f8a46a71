"""The order in which the steps run."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from screenplan.contracts import OUTPUTS
from screenplan.ground.errors import refuse
from screenplan.plan import Plan
from screenplan.plan.reading import find_plan
from screenplan.running.course import (
    ALTERNATIVES,
    BUILT_FIRST,
    DESIGN,
    EFFECTS,
    Course,
    arguments_of,
    run_step,
    street_of,
)
from screenplan.running.inputs import read_inputs, rows_of_files, species_on
from screenplan.running.keeping import COMPARED, NEEDED, plan_to_place
from screenplan.running.run import Run
from screenplan.running.steps import STEPS, Step

#: The steps that set the rows that a plan says, which a design chooses in their place.
SAID = ("zones", "lines", "room", "stretches", "plants")

#: Called with the step's name and its number from 1, and how many there are.
Progress = Callable[[str, int, int], None]


def run_plan(
    plan: Plan | Mapping[str, Any] | Path | str,
    folder: Path | str | None = None,
    *,
    layers: Mapping[str, Any] | None = None,
    settings: Sequence[str] = (),
    only: Sequence[str] = (),
    reuse: Run | None = None,
    progress: Progress | None = None,
) -> Run:
    """Run the steps of a plan.

    Parameters
    ----------
    plan : path, mapping or Plan
        The file that holds a plan, the sections of one, or one that was read.
    folder : path, optional
        The folder to which the paths of a mapping or a `Plan` are relative; by default the current
        one.
    layers : mapping of str to GeoDataFrame, optional
        Layers in memory by contract name, each in its own reference system: checked and repaired
        as files are, never changed. They take the place of the plan's files of the same name.
    settings : sequence of str
        ``KEY=VALUE``, values that replace those of the file or mapping.
    only : sequence of str
        Names of layers that are wanted: only the steps on which they hang are run. By default all.
    reuse : Run, optional
        An earlier run on the same layers: what it read is not read again, which takes a large part
        of the time where one value after another is tried.
    progress : callable, optional
        Called before each step.

    Returns
    -------
    Run

    Raises
    ------
    InputError
        If the plan or a layer cannot be used, or if ``reuse`` read other layers; of a class of its
        own where a geometry, a reference system, missing room or missing onlookers are the cause.

    Examples
    --------
    >>> import screenplan
    >>> run = run_plan(screenplan.sample_plan(), only=["sides"])
    >>> sorted(run.layers["sides"]["side_id"])
    ['east', 'north', 'south', 'west']

    A plan for a parcel in memory; nobody looks at it, and no side is chosen.

    >>> import geopandas, shapely
    >>> lot = geopandas.GeoDataFrame(
    ...     {"parcel_id": ["7"]}, geometry=[shapely.box(0, 0, 30, 45)], crs="EPSG:25832"
    ... ).translate(500000, 5500000).to_frame("geometry").assign(parcel_id="7")
    >>> try:
    ...     run_plan({}, layers={"parcels": lot})
    ... except screenplan.NobodyLooksError:
    ...     run = run_plan({}, layers={"parcels": lot}, settings=["rows.along=['north']"])
    >>> len(run.layers["planting_lines"])
    1
    """
    only = (only,) if isinstance(only, str) else tuple(only)
    frames = dict(layers or (reuse.frames if reuse else {}))
    plan, folder = find_plan(plan, folder, settings, frames)
    steps = _steps_of(plan, only)
    tell = progress or (lambda *_: None)
    total = sum(_is_recorded(step, {}, only) for step in steps) + 1
    tell("reading", 1, total)
    site = (
        read_inputs(plan, folder, frames)
        if reuse is None
        else _read_before(plan, folder, frames, reuse)
    )
    steps = [step for step in steps if _is_recorded(step, site.layers, only)]
    run = Run(plan, folder, site, dict(site.layers), only=only, frames=frames)
    course = Course(run, steps)
    for number, step in enumerate(steps, start=2):
        tell(step.name, number, len(steps) + 1)
        course.take(step)
    course.finish()
    return run


def _steps_of(plan: Plan, only: Sequence[str]) -> list[Step]:
    """Find the steps of a run, in the order in which they run."""
    by = (*only, NEEDED) if only and plan.kept.in_place else only
    steps = steps_for(by, designs=plan.design.wanted)
    return [step for step in steps if _is_asked(step, plan, only)]


def _is_asked(step: Step, plan: Plan, only: Sequence[str]) -> bool:
    """Tell whether a plan asks for a step, or a caller for what it gives."""
    if not step.asked or set(step.gives).intersection(only):
        return True
    section, name = step.asked.split(".", 1)
    # What hangs on the rows of a layer is settled once they are read.
    return section == "layers" or bool(getattr(getattr(plan, section), name))


def _is_recorded(step: Step, layers: Mapping[str, Any], only: Sequence[str]) -> bool:
    """Tell whether a row of a layer asks for a step that is run for such rows alone."""
    if not step.asked.startswith("layers.") or set(step.gives).intersection(only):
        return True
    _, name, column = step.asked.split(".")
    layer = layers.get(name)
    return layer is not None and bool(layer[column].fillna(False).astype(bool).any())


def rehearse_plan(plan: Plan, folder: Path, site) -> None:
    """Refuse what a run of a plan would refuse, without following a sight line or a ray of the sun.

    Every step is run as a run would, but those that follow rays are given none to follow.

    Parameters
    ----------
    plan : Plan
        The plan.
    folder : Path
        The folder to which its paths are relative.
    site : Site
        What was read by it.

    Raises
    ------
    InputError
        If a rule file, the species, a key of the plan or a layer cannot be used.
    """
    steps = [step for step in _steps_of(plan, ()) if _is_recorded(step, site.layers, ())]
    plan = plan_to_place(plan)
    arguments = arguments_of(steps, plan, folder, site, species_on(site, plan))
    layers, street = dict(site.layers), street_of(plan, site)
    for step in steps:
        if step.name == DESIGN:
            # What comes after hangs on what is chosen, which takes following sight lines.
            from screenplan.design.designing import prepare

            own = {name: layers.get(name) for name in step.layers}
            given = arguments[step.name]
            with rows_of_files(layers, site.inputs, plan):
                prepare(
                    own, given["plan"], given["rules"], given["species_table"],
                    limits=given["limits"], terrain=given["terrain"],
                )  # fmt: skip
            return
        given = layers | {
            name: layers[name].iloc[:0] for name in step.follows if layers.get(name) is not None
        }
        with rows_of_files(layers, site.inputs, plan):
            layers |= run_step(step, street, given, None, arguments[step.name])


def steps_for(only: Sequence[str], *, designs: bool = False) -> list[Step]:
    """Find the steps on which layers hang, in the order in which they run.

    Parameters
    ----------
    only : sequence of str
        Names of layers; with none, all steps are given.
    designs : bool
        Whether the planting is designed; else its rows are those that the plan says.

    Raises
    ------
    InputError
        If no step gives a layer of that name.

    Examples
    --------
    >>> [step.name for step in steps_for(["crowns"])][-3:]
    ['stretches', 'plants', 'crowns']
    """
    left_out = SAID if designs else (DESIGN,)
    every = [step for step in STEPS.values() if step.name not in left_out]
    given = {name for step in every for name in step.gives}
    wanted = set(only)
    for name in sorted(wanted - given - {ALTERNATIVES, EFFECTS, BUILT_FIRST}):
        raise refuse(
            f"no step gives a layer '{name}'",
            f"Ask for some of {', '.join(layer for layer in OUTPUTS if layer in given)}",
        )
    if not wanted:
        return every
    if ALTERNATIVES in wanted:
        wanted.add("sides")
    if BUILT_FIRST in wanted:
        wanted.add("design")
    if EFFECTS in wanted:
        wanted |= {"kept_sizes", *(layer for name in COMPARED for layer in STEPS[name].gives)}
    steps = []
    for step in reversed(every):
        if wanted.intersection(step.gives):
            steps.append(step)
            wanted.update(step.layers)
    return steps[::-1]


#: Sections of a plan that say what is read, and how.
_READ_BY = ("layers", "terrain", "tape", "subject", "site")


def _read_before(plan: Plan, folder: Path, frames: Mapping[str, Any], earlier: Run):
    """Give the site that an earlier run read, if this plan would read the same."""
    for section in _READ_BY:
        if getattr(plan, section) != getattr(earlier.plan, section):
            raise refuse(
                f"the earlier run read by another section [{section}]",
                "Run this plan without reuse",
                key=section,
            )
    if frames.keys() != earlier.frames.keys() or any(
        table is not earlier.frames[name] for name, table in frames.items()
    ):
        raise refuse("the earlier run read other layers in memory", "Run this plan without reuse")
    if plan.layers and folder.resolve() != earlier.folder.resolve():
        raise refuse(
            f"the earlier run read from {earlier.folder}, not from {folder}",
            "Run this plan without reuse",
        )
    return earlier.site
