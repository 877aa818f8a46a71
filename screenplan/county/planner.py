"""Lots of a county by the steps of a plan, in memory and all at once: their sides, rows, plants and views.

A lot that has to be read by itself is planned by the same functions, as the only one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from screenplan.contracts import PLANTING_LINES, PLANTS, WINDOWS
from screenplan.contracts.tables import has_rows, layer_of, texts
from screenplan.county.seen import Seen, see_each
from screenplan.county.spacing import spacing_for_each
from screenplan.ground.errors import InputError
from screenplan.ground.frame import LocalFrame
from screenplan.plan import Plan
from screenplan.plan.county import IN_PLACE_OF, County
from screenplan.plan.planting import Chance, Plants
from screenplan.plan.site import Subject
from screenplan.planting.lines import draw_lines_each
from screenplan.planting.mixes import kinds_in, planned_spacing
from screenplan.planting.room import leave_room_each
from screenplan.planting.rows import set_plants_each
from screenplan.planting.zones import mark_zones_each
from screenplan.running.inputs import species_in, step_arguments
from screenplan.running.steps import STEPS
from screenplan.site.facades import derive_windows_each
from screenplan.site.lots import Lots, Many, joined
from screenplan.site.places import lay_places, lay_places_each
from screenplan.site.side_classes import classes_of_each
from screenplan.site.sides import find_sides_each
from screenplan.site.site import Site
from screenplan.site.windows import lay_windows

#: Why a side has no plants though it has a line, or no line though it would have one by itself.
NO_STATION = "no station along its line is free"
TAKEN = "the rows of the sides beside it take the room along it"
#: Steps whose rules and spacing hang on the design.
_BY_DESIGN = ("zones", "lines", "room", "plants")


@dataclass(frozen=True, eq=False)
class Planned:
    """What was planned for some lots, in the local frame that they share.

    Parameters
    ----------
    lots : Lots
    frame : LocalFrame
    layers : dict of str to Many
        Sides, windows, places, planting lines, and plants, by contract.
    classes : ndarray of str, (sides,)
    causes : ndarray of str or None, (sides,)
        Why a side that was to be planted has no row.
    target_spacing_m : ndarray, (lots,)
        Distance between the points of a place that were looked at.
    plan : Plan
    seen : Seen
        The views, and how tall the rows must be.
    """

    lots: Lots
    frame: LocalFrame
    layers: dict[str, Many]
    classes: np.ndarray
    causes: np.ndarray
    target_spacing_m: np.ndarray
    plan: Plan
    seen: Seen


class Planner:
    """Plans lots; what does not hang on a lot is made once.

    Parameters
    ----------
    plan : Plan
        What holds for every parcel.
    folder : Path
        The folder to which its paths are relative.

    Raises
    ------
    InputError
        If the species, a rule or a key cannot be used.
    """

    def __init__(self, plan: Plan, folder: Path):
        # A county tells typical years; ten thousand draws of each view would take most of its time.
        self.plan = plan.model_copy(
            update={"chance": Chance(draws=0), "layers": {}, "terrain": None}
        )
        self.folder = folder
        self.species = species_in(plan)
        try:
            self.designs = [
                self._design(self._variant(dict(said)), classes)
                for said, classes in plan.county.designs().items()
            ]
        except InputError as error:
            raise plan.placed(error) from None

    def _design(self, plan: Plan, classes: Sequence[str]) -> _Design:
        try:
            kinds_in(plan.plants.species, self.species)
        except InputError as error:
            said = any(name in self.plan.county.species for name in classes)
            key = County.key("species") if said else Plants.key("species")
            raise InputError(replace(problem, key=key) for problem in error.problems) from None
        given = {
            name: step_arguments(STEPS[name], plan, self.folder, species_table=self.species)
            for name in _BY_DESIGN
        }
        return _Design(given["plants"]["plan"], tuple(classes), given["zones"]["rules"])

    def _variant(self, said: Mapping[str, Any]) -> Plan:
        """Give the plan with what is said for some classes of sides."""
        plan = self.plan
        for key, value in said.items():
            section, name = IN_PLACE_OF[key]
            changed = getattr(plan, section).model_copy(update={name: value})
            plan = plan.model_copy(update={section: changed})
        return plan.model_copy(update={"county": plan.county.without()})

    def plan_for(self, parcel_id: str) -> Plan:
        """Give the plan with a parcel as its subject."""
        chosen = Subject.model_construct(id=parcel_id, point=None)
        return self.plan.model_copy(update={"subject": chosen})

    def plan_lots(
        self, site: Site, lots: Lots, look_up: Callable[[], None] = lambda: None
    ) -> Planned:
        """Plan some lots, each by itself.

        Parameters
        ----------
        site : Site
            What lies around them.
        lots : Lots
            Its layers. Windows and places that are given are those of a lot by itself, marked as the subject.
        look_up : callable
            Called before each step, so that lots that take too long can be given up.

        Raises
        ------
        InputError
            As of `screenplan.run_plan`; rows are those of the site's sources, from 1.
        """
        layers = self._first(site, lots, look_up)
        classes = classes_of_each(layers["sides"])
        target_spacing_m = spacing_for_each(self.plan, layers["windows"], layers["private_places"])
        causes = self._set_rows(site, lots, layers, classes, look_up)
        look_up()
        seen = see_each(
            lots, layers, plan=self.plan, target_spacing_m=target_spacing_m, terrain=site.terrain,
            species_table=self.species,
        )  # fmt: skip
        return Planned(lots, site.frame, layers, classes, causes, target_spacing_m, self.plan, seen)

    def _first(self, site: Site, lots: Lots, look_up: Callable[[], None]) -> dict[str, Many]:
        """Lay what does not hang on rows: sides, windows and places."""
        look_up()
        layers = {"sides": find_sides_each(lots, plan=self.plan)}
        look_up()
        layers["windows"] = self._windows(site, lots)
        look_up()
        layers["private_places"] = self._places(lots)
        return layers

    def _windows(self, site: Site, lots: Lots) -> Many:
        around, plan = lots.around, self.plan
        if has_rows(around.get("windows")):  # of a lot by itself, which is marked as the subject
            given = {name: around.get(name) for name in ("parcels", "buildings", "windows")}
            return Many.one(lay_windows(**given, terrain=site.terrain, plan=plan))
        if not plan.windows.derive or not has_rows(around.get("buildings")):
            return _joined([], layer_of(WINDOWS, [], [], site.frame.crs), len(lots))
        return derive_windows_each(lots, terrain=site.terrain, plan=plan)[0]

    def _places(self, lots: Lots) -> Many:
        names = ("parcels", "buildings", "roads", "private_places")
        given = {name: lots.around.get(name) for name in names}
        if has_rows(given["private_places"]):
            return Many.one(lay_places(**given, plan=self.plan))
        return lay_places_each(lots, plan=self.plan)[0]

    def _set_rows(
        self, site: Site, lots: Lots, layers: dict[str, Many], classes: np.ndarray, look_up: Callable[[], None],
    ) -> np.ndarray:  # fmt: skip
        """Set the rows of each design, those of an earlier class first; gives the causes of sides without one."""
        sides = layers["sides"]
        causes = np.full(len(classes), None, dtype=object)
        lines: list[Many] = []
        plants: list[Many] = []
        for design in self.designs:
            chosen = np.isin(classes, design.classes)
            if not chosen.any():
                continue
            look_up()
            plan, species = design.plan, self.species
            ground = dict(zip(
                ("no_plant_zones", "plantable_zone"),
                mark_zones_each(lots, layers, plan=plan, rules=design.rules, species_table=species),
                strict=True,
            ))  # fmt: skip
            look_up()
            drawn, why = draw_lines_each(lots, ground | {"sides": sides}, plan=plan, chosen=chosen)
            look_up()
            layers["private_places"] = leave_room_each(
                layers["private_places"], drawn, plan=plan, species_table=species
            )
            look_up()
            set_now, _ = set_plants_each(
                lots, ground | {"planting_lines": drawn}, plan=plan, terrain=site.terrain,
                species_table=species,
            )  # fmt: skip
            lines.append(drawn)
            plants.append(_clear_of(set_now, plants, plan))
            causes[chosen] = _causes(why, sides, drawn, plants[-1])[chosen]
        crs = site.frame.crs
        layers["planting_lines"] = _joined(lines, layer_of(PLANTING_LINES, [], [], crs), len(lots))
        layers["plants"] = _joined(plants, layer_of(PLANTS, [], [], crs), len(lots))
        if len(plants) > 1:
            whole = layers["plants"]
            numbers = np.arange(len(whole.lot)) - whole.first[whole.lot] + 1
            whole.layer["plant_id"] = numbers
        return causes


@dataclass(frozen=True)
class _Design:
    """What is planted along sides of some classes: the plan for them, and the rules of its zones."""

    plan: Plan
    classes: tuple[str, ...]
    rules: Sequence[Any]


def _clear_of(plants: Many, earlier: Sequence[Many], plan: Plan) -> Many:
    """Leave out new plants that stand nearer than half the spacing to those of another design on the same lot."""
    if not earlier or not len(plants.lot):
        return plants
    least = 0.5 * planned_spacing(plan)
    near = np.zeros(len(plants.lot), dtype=bool)
    for others in earlier:
        mine, theirs = shapely.STRtree(others.shapes).query(
            plants.shapes, predicate="dwithin", distance=least
        )
        same = plants.lot[mine] == others.lot[theirs]
        mine, theirs = mine[same], theirs[same]
        near[mine[shapely.distance(plants.shapes[mine], others.shapes[theirs]) < least]] = True
    return plants.only(~near | plants.layer["existing"].to_numpy(bool))


def _joined(parts: Sequence[Many], none: Any, lots: int) -> Many:
    return joined(parts) if parts else Many(none, np.zeros(0, dtype=int), lots)


def side_of(many: Many, sides: Many) -> np.ndarray:
    """Find the side of each row of a layer that names sides, as its row among those of all lots."""
    names = zip(sides.lot.tolist(), texts(sides.layer, "side_id"), strict=True)
    row = {name: k for k, name in enumerate(names)}
    asked = zip(many.lot.tolist(), texts(many.layer, "side_id"), strict=True)
    return np.array([row[name] for name in asked], dtype=int)


def _causes(why: Sequence[str], sides: Many, lines: Many, plants: Many) -> np.ndarray:
    """Tell why sides that were to be planted have no plants, (sides,); None where they have some."""
    told = np.array([text or TAKEN for text in why], dtype=object)
    told[side_of(lines, sides)] = NO_STATION
    told[side_of(plants, sides)] = None
    return told
