"""What a finished plan is held against: the rules, the goal, and what cannot be judged.

Each finding is measured again from the layers, not taken from the steps that laid them, so that a
row which a person gave or which stands already is judged like any other.
"""

from __future__ import annotations

from collections.abc import Mapping

import pandas as pd

from screenplan.checks.effects import judge_lines, judge_sight
from screenplan.checks.findings import LOCATE, WIRES
from screenplan.checks.goals import judge_closure, judge_goal
from screenplan.checks.stems import judge_crowns, judge_gaps, judge_stems
from screenplan.contracts import CHECKS
from screenplan.planting.species import Species, load_species
from screenplan.tables import table_of


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
    *,
    spacing_m: float = 1.5,
    closed_by: int | None = None,
    share: float = 1.0,
    threshold: float = 0.10,
    assumed_parcel: bool = False,
    table: Mapping[str, Species] | None = None,
) -> pd.DataFrame:
    """Judge a plan by the rules that made it and by its goal.

    Parameters
    ----------
    parcels, planting_lines, plants, no_plant_zones, plantable_zone, dropped_stations, views, closure
        Layers of a run, in the local frame.
    utilities, roads : GeoDataFrame, optional
        Without them what concerns them cannot be judged, and the table says so.
    private_places : GeoDataFrame, optional
        Gives the weight of each place; without it all weigh the same.
    spacing_m : float
        Asked spacing, m.
    closed_by : int, optional
        Year by which views should be closed at typical growth; without it the goal is not judged.
    share : float
        Share of the views' weight that should be closed by then, 0 to 1.
    threshold : float
        Share of a view that may stay open, for the sentence.
    assumed_parcel : bool
        True if the parcel's outline is only assumed.
    table : mapping, optional
        Species by key; by default the shipped table.

    Returns
    -------
    DataFrame
        By the contract ``checks``.
    """
    table = load_species() if table is None else table
    weights = (
        {}
        if private_places is None
        else dict(zip(private_places["place_id"], private_places["weight"], strict=True))
    )
    findings = [
        *judge_stems(plants, no_plant_zones),
        judge_crowns(parcels, plants, table, assumed_parcel),
        judge_gaps(planting_lines, plants, plantable_zone, dropped_stations, spacing_m),
        *judge_closure(closure),
        judge_goal(views, closed_by, share, threshold, weights),
        judge_lines(utilities, no_plant_zones, plants, "buried", LOCATE),
        judge_lines(utilities, no_plant_zones, plants, "overhead", WIRES),
        judge_sight(roads),
    ]
    return table_of(CHECKS, [vars(finding) for finding in findings])
