"""The order in which the steps run, and what a run hands on to the outputs."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from screenplan.contracts import OUTPUTS
from screenplan.ground.errors import InputError, refuse
from screenplan.ground.kept import Kept
from screenplan.plan import Plan
from screenplan.plan.reading import find_plan
from screenplan.running.inputs import (
    read_inputs,
    rows_of_files,
    species_in,
    species_on,
    step_arguments,
)
from screenplan.running.keeping import (
    COMPARED,
    NEEDED,
    PLACING,
    PROPOSING,
    compare_sizes,
    height_in_place,
    plan_to_place,
    with_views_closed,
)
from screenplan.running.steps import STEPS, Step

#: The table that compares free and kept plants, which no step gives.
EFFECTS = "kept_effects"
#: What positions in files are in.
WGS84 = "EPSG:4326"

#: The step that chooses the planting, and those that set the rows that a plan says in its place.
DESIGN, SAID = "design", ("zones", "lines", "room", "stretches", "plants")

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
    only : tuple of str
        The layers that were asked for; empty if every step was run.
    frames : dict
        The layers that were given in memory, by name.
    """

    plan: Plan
    folder: Path
    site: Any
    layers: dict[str, Any] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    only: tuple[str, ...] = ()
    frames: dict[str, Any] = field(default_factory=dict)

    @property
    def fails(self) -> bool:
        """True if a check fails.

        Raises
        ------
        InputError
            If the run was asked for other layers only, so that nothing was checked.
        """
        if "checks" not in self.layers:
            raise refuse(
                f"the run was asked for {', '.join(self.only)} only, and nothing was checked",
                "Run the whole plan, or ask for the layer checks too",
            )
        return bool((self.layers["checks"]["result"] == "fails").any())

    @property
    def warnings(self) -> list[str]:
        """What a person should know before they trust the result."""
        return list(dict.fromkeys([*self.site.warnings, *self.notes]))

    @property
    def species_names(self) -> dict[str, str]:
        """What people call each species of the plan's table, by its key."""
        return {key: species.called for key, species in species_in(self.plan).items()}

    @property
    def species(self) -> list[Any]:
        """The species of the plants as they grow on the site, in the order in which they stand."""
        table = species_on(self.site, self.plan)
        keys = dict.fromkeys(self.layers["plants"]["species"].astype(str))
        return [table[key] for key in keys if key in table]


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
    from screenplan.contracts.tables import notes_of

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
    total = len(steps) + 1
    run = Run(plan, folder, site, dict(site.layers), only=only, frames=frames)
    placed = plan_to_place(plan)
    table, waits = species_on(site, placed), plan.kept.in_place
    arguments, kept = _arguments(steps, placed, folder, site, table), Kept()
    street = _street_of(plan, site)

    def run_step(step: Step, layers: Mapping[str, Any], given: Mapping[str, Any]) -> dict[str, Any]:
        return _run_step(step, street, layers, kept, given)

    for number, step in enumerate(steps, start=2):
        tell(step.name, number, total)
        if waits and step.name not in PLACING:
            size, told = height_in_place(placed, plan.kept, run, run_step, table)
            waits, placed = False, placed.model_copy(update={"kept": size})
            run.plan = plan = plan.model_copy(update={"kept": size})
            run.notes += told
            table = species_on(site, placed)
            arguments = _arguments(steps, placed, folder, site, table)
        with rows_of_files(run.layers, site.inputs, plan):
            fence = None
            if step.name == DESIGN and placed.instead.design:
                fence = _fence_of(step, run, kept, arguments)
            given = run_step(step, run.layers, arguments[step.name])
            if step.name == PROPOSING and placed.kept.height is None:
                sizes = given["kept_sizes"]
                given["kept_sizes"] = with_views_closed(placed, run, sizes, run_step)
        if fence is not None:
            given[DESIGN] = fence.told(given[DESIGN])
        run.layers |= given
        run.notes += (note for layer in given.values() for note in notes_of(layer))
        if step.name == DESIGN:
            # What follows goes by what was chosen, as if the plan had said it.
            placed = designed_plan(placed, given["plants"])
            arguments = _arguments(steps, placed, folder, site, table)
    if "kept_sizes" in run.layers and (not only or EFFECTS in only):
        with rows_of_files(run.layers, site.inputs, plan):
            effects = compare_sizes(placed, run, run_step)
        if effects is not None:
            run.layers[EFFECTS] = effects
    if street is not None:
        added = street.finish(run.layers, arguments)
        run.notes += (note for name in added.keys() - run.layers for note in notes_of(added[name]))
        run.layers |= added
    if not only:
        run.notes += _hint_of_a_fence(run, kept, table)
    if plan.alternatives.asked and (not only or "alternatives" in only):
        from screenplan.running.alternatives import compare_alternatives

        with rows_of_files(run.layers, site.inputs, plan):
            run.layers["alternatives"] = compare_alternatives(
                plan, folder, run.layers, site.terrain, site.frame, table
            )
    return run


def _fence_of(step: Step, run: Run, kept: Kept, arguments: dict[str, dict[str, Any]]):
    """Choose the fence that stands beside what is designed; the plants go by what it leaves to them."""
    choose = replace(step, function="screenplan.design.fenced:choose_fence", gives=("fence",))
    fence = choose(run.layers, kept=kept, **arguments[step.name])["fence"]
    if fence.says:
        run.layers["existing_screens"] = fence.layers["existing_screens"]
        arguments[step.name] = arguments[step.name] | {"plan": fence.plan}
    return fence


def _hint_of_a_fence(run: Run, kept: Kept, table: Mapping[str, Any]) -> list[str]:
    """Say what a fence would do on the first day, if the plan compares nothing with planting."""
    from screenplan.works.fence_first import fence_first

    site = run.site
    given = step_arguments(STEPS["instead"], run.plan, run.folder, site.terrain, site.frame, table)
    given.pop("species_table")
    with rows_of_files(run.layers, site.inputs, run.plan):
        hint = fence_first(run.layers, kept=kept, **given)
    return [] if hint is None else [hint]


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


def _street_of(plan: Plan, site):
    """Give the street that a plan of several lots is; None for a plan of one."""
    if not plan.subject.ids:
        return None
    from screenplan.running.street import Street

    return Street(plan, site)


def _run_step(
    step: Step, street, layers: Mapping[str, Any], kept: Kept | None, given: Mapping[str, Any]
) -> dict[str, Any]:
    """Run a step of one lot, or of a street."""
    if street is None:
        return step(layers, kept=kept, **given)
    return street.run(step, layers, kept, given)


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
    arguments = _arguments(steps, plan, folder, site, species_on(site, plan))
    layers, street = dict(site.layers), _street_of(plan, site)
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
            layers |= _run_step(step, street, given, None, arguments[step.name])


def _arguments(
    steps: Sequence[Step], plan: Plan, folder: Path, site, species_table
) -> dict[str, dict[str, Any]]:
    """Collect what every step is called with, so that what is wrong in it is said at the start."""
    with rows_of_files(site.layers, site.inputs, plan):
        if site.frame.is_placed:
            check_positions(site.frame)
        if plan.subject.ids:
            from screenplan.running.street import refuse_of_street

            refuse_of_street(plan)
        if plan.design.wanted:
            _refuse_rows_of_design(plan)
        if plan.instead.design:
            from screenplan.design.fenced import refuse_fence

            refuse_fence(plan)
        if plan.alternatives.asked:
            from screenplan.running.alternatives import list_variants

            if plan.design.wanted:
                raise refuse(
                    "alternatives are rows of one kind, size and spacing each, and here a design chooses among kinds, sizes and spacings by itself",
                    "List them in design.kinds, design.stock_heights and design.spacings, and leave [alternatives] out; or set design.wanted to false to compare rows",
                    key="alternatives",
                )
            if plan.kept.in_place:
                raise refuse(
                    "alternatives are laid by their own width each, and here rows are kept where free ones stand",
                    "Leave kept.in_place out, or [alternatives]",
                    key=plan.kept.key("in_place"),
                )
            list_variants(plan)
        return {
            step.name: step_arguments(step, plan, folder, site.terrain, site.frame, species_table)
            for step in steps
        }


def _refuse_rows_of_design(plan: Plan) -> None:
    """Refuse what a plan says of its rows and a design cannot keep to."""
    if plan.rows.fill:
        raise refuse(
            "the sides are to be filled from end to end, and a design plants only what closes views",
            "Leave rows.fill out, or set design.wanted to false",
            key=plan.rows.key("fill"),
        )


def designed_plan(plan: Plan, plants) -> Plan:
    """Give the plan that says what a design has chosen."""
    from screenplan.design.chosen import plan_of

    return plan_of(plan, plants)


def check_positions(frame) -> None:
    """Refuse a CRS from which the positions in WGS 84, which files hold, cannot be computed here."""
    try:
        frame.transformation_from(WGS84)
    except InputError as error:
        what, mend = (f"{text}" for text in (error.problems[0].what, error.problems[0].mend))
        raise refuse(
            f"Positions for a receiver and for GeoJSON cannot be computed: {what[:1].lower()}{what[1:]}",
            "State the CRS in which the coordinates of the parcels really are, or save the parcels in another CRS. "
            f"Or {mend[:1].lower()}{mend[1:]}",
            key="layers.parcels.crs",
        ) from None


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
    for name in sorted(wanted - given - {"alternatives", EFFECTS}):
        raise refuse(
            f"no step gives a layer '{name}'",
            f"Ask for some of {', '.join(layer for layer in OUTPUTS if layer in given)}",
        )
    if not wanted:
        return every
    if "alternatives" in wanted:
        wanted.add("sides")
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
