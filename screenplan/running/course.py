"""A run on its way: by which plan plants are placed, what each step takes, and what is done round some of the steps.

Most steps are run as they stand. Round a few more is done: a design goes by the fence that was chosen, and what comes
after it by the planting that it chose; heights at which rows are kept are tried until the views close.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from screenplan.contracts.tables import notes_of
from screenplan.ground.datum import WGS84
from screenplan.ground.errors import InputError, refuse
from screenplan.ground.kept import Kept
from screenplan.ground.said import said
from screenplan.plan import Plan
from screenplan.running.inputs import rows_of_files, species_on, step_arguments
from screenplan.running.keeping import (
    PLACING,
    PROPOSING,
    compare_sizes,
    height_in_place,
    plan_to_place,
    with_views_closed,
)
from screenplan.running.run import Run
from screenplan.running.steps import STEPS, Step

#: The step that chooses the planting.
DESIGN = "design"
#: What no step gives, and is told at the end of a run: free and kept plants side by side, and other rows.
EFFECTS, ALTERNATIVES = "kept_effects", "alternatives"
#: What is built before the planting, which is given with the design.
BUILT_FIRST = "new_screens"


class Course:
    """Takes the steps of a run one after another.

    Parameters
    ----------
    run : Run
        What is known so far; each step adds its layers and notes.
    steps : sequence of Step
        Those of the run, in their order.
    """

    def __init__(self, run: Run, steps: Sequence[Step]):
        self.run, self.steps, self.kept = run, steps, Kept()
        self.placed = plan_to_place(run.plan)
        self.table = species_on(run.site, self.placed)
        self.arguments = self._arguments()
        self.street = street_of(run.plan, run.site)
        self._waits = run.plan.kept.in_place

    def take(self, step: Step) -> None:
        """Run a step, and what is done round it."""
        if self._waits and step.name not in PLACING:
            self._keep_in_place()
        run = self.run
        with rows_of_files(run.layers, run.site.inputs, run.plan):
            given = _AROUND.get(step.name, Course._plainly)(self, step)
        run.layers |= given
        run.notes += (note for layer in given.values() for note in notes_of(layer))

    def finish(self) -> None:
        """Add what hangs on all steps: both sizes of kept rows, the costs of a street, the hint of a fence, other rows."""
        run = self.run
        with rows_of_files(run.layers, run.site.inputs, run.plan):
            if "kept_sizes" in run.layers and self._wants(EFFECTS):
                effects = compare_sizes(self.placed, run, self.run_step)
                if effects is not None:
                    run.layers[EFFECTS] = effects
            if self.street is not None:
                added = self.street.finish(run.layers, self.arguments)
                run.notes += (
                    note for name in added.keys() - run.layers for note in notes_of(added[name])
                )
                run.layers |= added
            if not run.only:
                run.notes += map(said, self._hint_of_a_fence())
            if run.plan.alternatives.asked and self._wants(ALTERNATIVES):
                from screenplan.running.alternatives import compare_alternatives

                run.layers[ALTERNATIVES] = compare_alternatives(
                    run.plan, run.folder, run.layers, run.site.terrain, run.site.frame, self.table
                )

    def run_step(
        self, step: Step, layers: Mapping[str, Any], given: Mapping[str, Any]
    ) -> dict[str, Any]:
        """Run a step on some layers with some arguments."""
        return run_step(step, self.street, layers, self.kept, given)

    def _arguments(self) -> dict[str, dict[str, Any]]:
        run = self.run
        return arguments_of(self.steps, self.placed, run.folder, run.site, self.table)

    def _wants(self, name: str) -> bool:
        return not self.run.only or name in self.run.only

    def _plainly(self, step: Step) -> dict[str, Any]:
        return self.run_step(step, self.run.layers, self.arguments[step.name])

    def _design(self, step: Step) -> dict[str, Any]:
        """Choose the planting; what follows goes by it, as if the plan had said it."""
        given = self._fenced(step) if self.placed.instead.design else self._plainly(step)
        self.placed = designed_plan(self.placed, given["plants"])
        self.arguments = self._arguments()
        return given

    def _fenced(self, step: Step) -> dict[str, Any]:
        """Choose a fence, and the planting by what it leaves to the plants."""
        choose = replace(step, function="screenplan.design.fenced:choose_fence", gives=("fence",))
        fence = choose(self.run.layers, kept=self.kept, **self.arguments[step.name])["fence"]
        if fence.screens is not None:
            self.run.layers["existing_screens"] = fence.layers["existing_screens"]
            self.arguments[step.name] |= {"plan": fence.plan}
        else:
            self.run.notes.append(said(self._no_fence()))
        return fence.told(self._plainly(step) if fence.alone is None else fence.alone._asdict())

    def _no_fence(self) -> str:
        """Say that none is built, of what was asked for."""
        from screenplan.works.boundary_screens import UPRIGHT

        priced = [option for option in UPRIGHT if self.placed.instead.price_of(option) is not None]
        return (
            f"No new {' or '.join(priced)} is built: of those that were tried none leaves fewer views open than "
            "plants alone, or as few for less money (instead.design)"
        )

    def _propose_height(self, step: Step) -> dict[str, Any]:
        """Tell sizes at which rows are kept; a height that is proposed closes what free rows close."""
        given = self._plainly(step)
        if self.placed.kept.height is not None:
            return given
        sizes = with_views_closed(self.placed, self.run, given["kept_sizes"], self.run_step)
        return given | {"kept_sizes": sizes}

    def _keep_in_place(self) -> None:
        """Go on by the kept sizes, once all is placed by the free ones."""
        run = self.run
        size, told = height_in_place(self.placed, run.plan.kept, run, self.run_step, self.table)
        self._waits, self.placed = False, self.placed.model_copy(update={"kept": size})
        run.plan = run.plan.model_copy(update={"kept": size})
        run.notes += map(said, told)
        self.table = species_on(run.site, self.placed)
        self.arguments = self._arguments()

    def _hint_of_a_fence(self) -> list[str]:
        """Say what a fence would do on the first day, if the plan compares nothing with planting."""
        from screenplan.works.fence_first import fence_first

        run, site = self.run, self.run.site
        given = step_arguments(
            STEPS["instead"], run.plan, run.folder, site.terrain, site.frame, self.table
        )
        given.pop("species_table")
        hint = fence_first(run.layers, kept=self.kept, **given)
        return [] if hint is None else [hint]


#: What is done round a step, by its name.
_AROUND: dict[str, Callable[[Course, Step], dict[str, Any]]] = {
    DESIGN: Course._design,
    PROPOSING: Course._propose_height,
}


def street_of(plan: Plan, site):
    """Give the street that a plan of several lots is; None for a plan of one."""
    if not plan.subject.ids:
        return None
    from screenplan.running.street import Street

    return Street(plan, site)


def run_step(
    step: Step, street, layers: Mapping[str, Any], kept: Kept | None, given: Mapping[str, Any]
) -> dict[str, Any]:
    """Run a step of one lot, or of a street."""
    if street is None:
        return step(layers, kept=kept, **given)
    return street.run(step, layers, kept, given)


def arguments_of(
    steps: Sequence[Step], plan: Plan, folder: Path, site, species_table
) -> dict[str, dict[str, Any]]:
    """Collect what every step is called with, so that what is wrong in it is said at the start."""
    with rows_of_files(site.layers, site.inputs, plan):
        if site.frame.is_placed:
            check_positions(site.frame)
        if plan.subject.ids:
            from screenplan.running.street_refusals import refuse_of_street

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
