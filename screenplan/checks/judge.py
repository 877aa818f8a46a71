"""What a finished plan is held against: the rules, the goal, and what cannot be judged.

Each finding is measured again from the layers, not taken from the steps that laid them, so that a
row which a person gave or which stands already is judged like any other.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from inspect import signature

import pandas as pd

from screenplan.contracts import CHECKS
from screenplan.contracts.findings import Finding
from screenplan.contracts.tables import table_of
from screenplan.effects.boundary import judge_outgrown
from screenplan.effects.buried import judge_digging, judge_drains
from screenplan.effects.health import check_health
from screenplan.effects.hedge_height import judge_hedge_heights
from screenplan.effects.judged_light import judge_light
from screenplan.effects.noise import judge_noise
from screenplan.effects.overhead import judge_wires
from screenplan.effects.roads import judge_sight
from screenplan.planting.closure import judge_closure
from screenplan.planting.judging import (
    judge_crowns,
    judge_gaps,
    judge_lines,
    judge_places,
    judge_stems,
)
from screenplan.planting.species import Species, load_species
from screenplan.site.ownership import outline_known
from screenplan.views.goals import judge_goal, judge_use

#: Every check, in the order of the table. Each stands beside the step that it judges, names the layers
#: and options that it takes, and gives a finding or several.
EVERY_CHECK = (
    judge_stems,
    judge_crowns,
    judge_places,
    judge_goal,
    judge_use,
    judge_gaps,
    judge_closure,
    judge_lines,
    judge_sight,
    judge_wires,
    judge_digging,
    judge_drains,
    judge_outgrown,
    judge_light,
    judge_hedge_heights,
    judge_noise,
    check_health,
)


def judge_plan(
    parcels,
    planting_lines,
    plants,
    no_plant_zones,
    plantable_zone,
    dropped_stations,
    views,
    closure,
    utilities=None,
    roads=None,
    private_places=None,
    buildings=None,
    keep_outs=None,
    light=None,
    hedge_heights=None,
    sight_areas=None,
    sight_plants=None,
    wire_plants=None,
    holes_at_lines=None,
    deep_roots=None,
    outgrown=None,
    noise_paths=None,
    plant_health=None,
    view_holes=None,
    needed_years=None,
    *,
    spacing_m: float = 1.5,
    closed_by: int | None = None,
    share: float = 1.0,
    threshold: float = 0.10,
    most_sun_lost: float | None = None,
    most_sky_lost: float | None = None,
    guidance: bool = False,
    allowance_m: float | None = None,
    most_height_m: float | None = None,
    wanted_db: float | None = None,
    table: Mapping[str, Species] | None = None,
) -> pd.DataFrame:
    """Judge a plan by the rules that made it and by its goal.

    Parameters
    ----------
    parcels, planting_lines, plants, no_plant_zones, plantable_zone, dropped_stations, views, closure
        Layers of a run, in the local frame; an empty one of parcels says that the outline is not
        known.
    utilities, roads : GeoDataFrame, optional
        Without them what concerns them cannot be judged, and the table says so.
    private_places : GeoDataFrame, optional
        Gives the weight of each place; without it all weigh the same.
    spacing_m : float
        Asked spacing, m.
    view_holes, needed_years : optional
        Where open views pass the lines, and which rows a view crosses; without them that is not judged.
    closed_by : int, optional
        Year by which views should be closed and crowns should meet, at typical growth; without it
        only a plan that closes no view fails.
    share : float
        Share of the views' weight that should be closed by then, 0 to 1.
    threshold : float
        Share of a view that may stay open, for the sentence.
    buildings, keep_outs, light, hedge_heights, sight_areas, sight_plants, wire_plants : optional
        The site, and what the screen does to others, by the steps of ``screenplan.effects``; what is
        not there cannot be judged.
    holes_at_lines, deep_roots, outgrown, noise_paths, plant_health : optional
        The same.
    most_sun_lost, most_sky_lost : float, optional
        Shares of sun hours and of the sky's light that may be lost.
    guidance : bool
        Whether the hedge-height guidance is asked for.
    allowance_m : float, optional
        Room for the sag and swing of wires, for the sentence.
    most_height_m : float, optional
        Height allowed at the boundary, for the sentence.
    wanted_db : float, optional
        Reduction of noise that is asked for, dB.
    table : mapping, optional
        Species by key; by default the shipped table.

    Returns
    -------
    DataFrame
        By the contract ``checks``.
    """
    given = dict(locals())
    given["table"] = load_species() if table is None else table
    given["known"] = outline_known(parcels)
    findings = (finding for check in EVERY_CHECK for finding in _found(check, given))
    return table_of(CHECKS, [vars(finding) for finding in findings])


def _found(check: Callable, given: Mapping) -> Iterable[Finding]:
    """Call a check with the layers and options that it names."""
    found = check(**{name: given[name] for name in signature(check).parameters})
    return [found] if isinstance(found, Finding) else found
