"""One parcel of a county by the steps of a plan, in memory: its sides, rows, plants and views."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screenplan.contracts import PLANTING_LINES, PLANTS
from screenplan.contracts.tables import layer_of
from screenplan.county.seen import Seen, see
from screenplan.county.spacing import spacing_for
from screenplan.ground.errors import InputError
from screenplan.ground.kept import Kept
from screenplan.plan import Options, Plan
from screenplan.plan.county import IN_PLACE_OF, County
from screenplan.plan.planting import Chance, Plants
from screenplan.plan.site import Subject
from screenplan.planting.mixes import kinds_in, planned_spacing
from screenplan.running.inputs import rows_of_files, species_in, step_arguments
from screenplan.running.steps import STEPS
from screenplan.site.side_classes import classes_of
from screenplan.site.site import Site

#: Steps of a parcel before its rows are known, those that set a row, and those that look at all rows.
FIRST, ROW = ("sides", "windows", "places"), ("zones", "lines", "room", "plants")


@dataclass
class Planned:
    """What was planned for one parcel, in its local frame.

    Parameters
    ----------
    site : Site
        What was read.
    layers : dict
        Sides, windows, places, planting lines, and plants, by contract.
    classes : ndarray of str, (sides,)
        The class of each side.
    target_spacing_m : float
        Distance between the points of a place that were looked at.
    causes : dict of str to str
        By the side's name, why it has no row.
    plan : Options
        The plan as it was gone by for the parcel's views.
    seen : Seen
        The views, and how tall the rows must be.
    """

    site: Site
    layers: dict[str, Any]
    classes: np.ndarray
    target_spacing_m: float
    causes: dict[str, str]
    plan: Options
    seen: Seen


@dataclass
class _Rows:
    """What is known of a parcel while its rows are set; see `Planned`."""

    site: Site
    layers: dict[str, Any]
    classes: np.ndarray
    target_spacing_m: float
    causes: dict[str, str] = field(default_factory=dict)


class Planner:
    """Plans parcels one after the other; what does not hang on a parcel is made once.

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
        self.designs = [
            (self._variant(dict(said)), classes) for said, classes in plan.county.designs().items()
        ]
        self._given: dict[tuple[int, str], dict[str, Any]] = {}
        try:
            for design, classes in self.designs:
                self._check_species(design, classes)
                for name in (*FIRST, *ROW, "stretches"):
                    self._arguments(name, design)
        except InputError as error:
            raise plan.placed(error) from None

    def _check_species(self, design: Plan, classes: Sequence[str]) -> None:
        try:
            kinds_in(design.plants.species, self.species)
        except InputError as error:
            said = any(name in self.plan.county.species for name in classes)
            key = County.key("species") if said else Plants.key("species")
            raise InputError(replace(problem, key=key) for problem in error.problems) from None

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

    def plan_parcel(
        self,
        site: Site,
        look_up=lambda: None,
        laid: Mapping[str, Any] | None = None,
    ) -> Planned:
        """Plan one parcel.

        Parameters
        ----------
        site : Site
            The parcel as the subject, and what lies within the reach of it.
        look_up : callable
            Called before each step, so that a parcel that takes too long can be given up.
        laid : mapping, optional
            What of the first steps' layers was laid with those of other parcels.

        Raises
        ------
        InputError
            As of `screenplan.run_plan`; rows are those of the site's sources, from 1.
        """
        plan = self.plan_for(site.subject_id)
        layers, kept = dict(site.layers), Kept()
        with rows_of_files(layers, site.inputs, plan):
            layers |= laid or {}
            for name in FIRST:
                look_up()
                if not set(STEPS[name].gives) <= (laid or {}).keys():
                    layers |= self._step(name, plan, layers, site, kept)
            found = _Rows(
                site, layers, classes_of(layers["sides"]),
                spacing_for(plan, layers["windows"], layers["private_places"]),
            )  # fmt: skip
            self._set_rows(found, kept, look_up)
            look_up()
            looking = _looking(plan, found.target_spacing_m)
            seen = see(layers, looking, site.terrain, self.species)
        return Planned(
            site, layers, found.classes, found.target_spacing_m, found.causes, looking, seen
        )

    def _set_rows(self, planned: _Rows, kept: Kept, look_up) -> None:
        """Set the rows of each design, those of an earlier class first."""
        layers, site = planned.layers, planned.site
        lines: list[gpd.GeoDataFrame] = []
        plants: list[gpd.GeoDataFrame] = []
        for design, classes in self.designs:
            along = [
                str(name)
                for name, own in zip(layers["sides"]["side_id"], planned.classes, strict=True)
                if own in classes
            ]
            if not along:
                continue
            plan = _looking(_along(design, along), planned.target_spacing_m)
            made = self._row(plan, along, planned, kept, look_up)
            if made is None:
                continue
            layers["private_places"] = made["private_places"]
            lines.append(made["planting_lines"])
            plants.append(_clear_of(made["plants"], plants, plan))
        crs = site.frame.crs
        layers["planting_lines"] = _joined(lines, layer_of(PLANTING_LINES, [], [], crs))
        layers["plants"] = _joined(plants, layer_of(PLANTS, [], [], crs))
        if len(plants) > 1:
            layers["plants"]["plant_id"] = np.arange(1, len(layers["plants"]) + 1)

    def _row(self, plan, along: Sequence[str], planned: _Rows, kept: Kept, look_up):
        """Give the layers of the rows along some sides; None, with the causes, where there is no room."""
        layers, site = dict(planned.layers), planned.site
        steps = ROW if plan.rows.fill is not False else (*ROW[:3], "stretches", *ROW[3:])
        for name in steps:
            look_up()
            try:
                layers |= self._step(name, plan, layers, site, kept)
            except InputError as error:
                if name not in ("lines", "stretches") or _names_rows(error):
                    raise
                planned.causes |= dict.fromkeys(along, str(error.problems[0].what))
                return None
        standing = set(layers["planting_lines"]["side_id"].astype(str))
        for side in along:
            if side not in standing:
                planned.causes[side] = self._cause(_along(plan, [side]), layers, site)
        return layers

    def _cause(self, plan, layers: Mapping[str, Any], site: Site) -> str:
        """Tell why a side has no row, where another one has."""
        try:
            self._step("lines", plan, layers, site, Kept())
        except InputError as error:
            return str(error.problems[0].what)
        return "no plant along it would stop a sight line of a view that is open today"

    def _step(
        self,
        name: str,
        plan: Options,
        layers: Mapping[str, Any],
        site: Site,
        kept: Kept,
        **more: Any,
    ) -> dict[str, Any]:
        """Run a step; the rules and the species that it is called with are read once for all parcels."""
        given = dict(self._arguments(name, plan))
        spacing = given["plan"].rows.spacing
        given["plan"] = plan.model_copy(
            update={"rows": plan.rows.model_copy(update={"spacing": spacing})}
        )
        if "terrain" in given:
            given["terrain"] = site.terrain
        return STEPS[name](layers, kept=kept, **(given | more))

    def _arguments(self, name: str, plan: Options) -> dict[str, Any]:
        """Give what a step is called with: rules, limits and species hang on what designs differ in, and no more."""
        key = (hash((plan.plants, plan.rows.spacing)), name)
        if key not in self._given:
            self._given[key] = step_arguments(
                STEPS[name], plan, self.folder, species_table=self.species
            )
        return self._given[key]


def _looking(plan: Plan, target_spacing_m: float) -> Plan:
    views = plan.views.model_copy(update={"target_spacing": target_spacing_m})
    return plan.model_copy(update={"views": views})


def _along(plan: Plan, sides: Sequence[str]) -> Plan:
    rows = plan.rows
    fill = True if rows.fill is None else rows.fill
    return plan.model_copy(
        update={"rows": rows.model_copy(update={"along": tuple(sides), "fill": fill})}
    )


def _names_rows(error: InputError) -> bool:
    return any(problem.layer and problem.rows for problem in error.problems)


def _clear_of(
    plants: gpd.GeoDataFrame, earlier: Sequence[gpd.GeoDataFrame], plan: Options
) -> gpd.GeoDataFrame:
    """Leave out new plants that stand nearer than half the spacing to those of another design."""
    if not earlier or not len(plants):
        return plants
    others = np.concatenate([one.geometry.to_numpy() for one in earlier])
    least = 0.5 * planned_spacing(plan)
    away = shapely.distance(plants.geometry.to_numpy()[:, None], others[None, :]).min(
        axis=1, initial=np.inf
    )
    return plants[(away >= least) | plants["existing"].to_numpy(bool)]


def _joined(parts: Sequence[gpd.GeoDataFrame], none: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    parts = [part for part in parts if len(part)]
    if not parts:
        return none
    return parts[0] if len(parts) == 1 else pd.concat(parts, ignore_index=True)
