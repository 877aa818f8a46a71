"""Places that are no candidates because a plant there would outgrow its room: at a wall, at an overhead wire, or where a driver must see.

What outgrows its room is told by the checks' own rules (`screenplan.effects`), so that no design is chosen that they
fail.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from screenplan.design.candidates import Candidates
from screenplan.design.incidence import plants_of
from screenplan.effects.boundary import outgrows_walls
from screenplan.effects.overhead import reach_wires
from screenplan.effects.roads import grow_into_sight
from screenplan.ground.said import said
from screenplan.plan import Options
from screenplan.planting.species_model import Species
from screenplan.planting.stand import planned_stand
from screenplan.rules.driver_sight import find_sight_areas
from screenplan.rules.limit_kinds import Limit
from screenplan.site.terrain import Terrain


def without_outgrown(
    candidates: Candidates,
    layers: Mapping[str, Any],
    ground_m: np.ndarray,
    *,
    plan: Options,
    limits: Mapping[str, Limit] | None = None,
    species_table: Mapping[str, Species] | None = None,
    terrain: Terrain | None = None,
) -> Candidates:
    """Leave out candidates that would outgrow their room at a wall or a wire, or grow into ground over which a driver must see.

    Stretches end where one is left out.

    Parameters
    ----------
    candidates : Candidates
    layers : mapping
        Of them parcels, sides, buildings, utilities, roads and keep-outs.
    ground_m : ndarray, (plants,)
        Heights of the ground at the stems.
    plan : Options
        Of it [lines], [road] and [growth].
    limits, species_table, terrain
        As `outgrow_boundary` and `reach_wires` take them.
    """
    count = len(candidates.table)
    if not count:
        return candidates
    plants = plants_of(candidates, np.ones(count, bool), ground_m)
    stand = planned_stand(plants, plan, species_table)
    at_wall = outgrows_walls(stand, layers.get("buildings"), plan, limits)
    wires = reach_wires(
        plants, layers.get("utilities"), terrain, plan=plan, limits=limits, species_table=species_table
    )  # fmt: skip
    at_wire = np.isin(plants["plant_id"].to_numpy(), wires["plant_id"].to_numpy())
    in_sight = grow_into_sight(stand, find_sight_areas(layers, plan, limits))
    new = ~candidates.stands
    left = ~((at_wall | at_wire | in_sight) & new)
    if left.all():
        return candidates
    outgrow = "plants there would outgrow their room at"
    notes = [
        said(f"{many} of {count} places for plants are not chosen from, because {why}")
        for many, why in (
            (int((at_wall & new).sum()), f"{outgrow} a wall, or pass the height that is allowed there (lines.walls)"),
            (int((at_wire & new).sum()), f"{outgrow} an overhead wire, or pass the height that is allowed there (lines.wires)"),
            (int((in_sight & new).sum()), "plants there would grow into ground over which a driver must see (road.drive, road.corner)"),
        )
        if many
    ]  # fmt: skip
    return replace(_only(candidates, left), notes=(*candidates.notes, *notes))


def _only(candidates: Candidates, left: np.ndarray) -> Candidates:
    """Keep some of the candidates; those to either side of one that is left out are neighbours no more."""
    at = np.flatnonzero(left)
    table = candidates.table.iloc[at].reset_index(drop=True)
    before = table["stretch"].to_numpy(int)
    begins = np.append(True, (np.diff(at) > 1) | (np.diff(before) != 0))[: len(at)]
    stretch = np.cumsum(begins) - 1
    was = before[begins]
    return replace(
        candidates,
        table=table.assign(stretch=stretch),
        lines={number: candidates.lines[own] for number, own in enumerate(was.tolist())},
        seconds={
            number: candidates.seconds[own]
            for number, own in enumerate(was.tolist())
            if own in candidates.seconds
        },
    )
