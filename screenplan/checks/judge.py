"""What a finished plan is held against: the rules, the goal, and what cannot be judged.

Each finding is measured again from the layers, not taken from the steps that laid them, so that a
row which a person gave or which stands already is judged like any other.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from inspect import signature
from typing import Any

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
from screenplan.effects.roads import judge_road_sight
from screenplan.ground.kept import Kept
from screenplan.plan import DEFAULTS, Options
from screenplan.planting.closure import judge_closure
from screenplan.planting.judging import (
    judge_crowns,
    judge_gaps,
    judge_lines,
    judge_places,
    judge_stems,
)
from screenplan.planting.species import load_species
from screenplan.planting.species_model import Species
from screenplan.site.ownership import outline_known
from screenplan.site.terrain import Terrain
from screenplan.views.goals import judge_goal, judge_use
from screenplan.views.kept_low import judge_kept

#: Every check, in the order of the table. Each stands beside the step that it judges, names the layers
#: that it takes, or `layers`, and `plan`, and gives a finding or several.
EVERY_CHECK = (
    judge_stems,
    judge_crowns,
    judge_places,
    judge_goal,
    judge_kept,
    judge_use,
    judge_gaps,
    judge_closure,
    judge_lines,
    judge_road_sight,
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
    layers: Mapping[str, Any],
    *,
    plan: Options = DEFAULTS,
    terrain: Terrain | None = None,
    species_table: Mapping[str, Species] | None = None,
    kept: Kept | None = None,
) -> pd.DataFrame:
    """Judge a plan by the rules that made it and by its goal.

    Parameters
    ----------
    layers : mapping
        Layers of a run by their contracts, in the local frame. An empty one of parcels says that the
        outline is not known; without private places all views weigh the same; what concerns any
        other layer that is not there cannot be judged, and the table says so.
    plan : Options, optional
        The goal, and what else the checks hold it against.
    terrain : Terrain, optional
        Ground heights; by default level ground at 0.
    species_table : mapping, optional
        Species by key; by default the shipped table.
    kept : Kept, optional
        What the run has made: the sight.

    Returns
    -------
    DataFrame
        By the contract ``checks``.
    """
    given = {
        **layers,
        "layers": layers,
        "plan": plan,
        "terrain": terrain,
        "kept": kept,
        "species_table": load_species() if species_table is None else species_table,
        "known": outline_known(layers["parcels"]),
    }
    findings = (finding for check in EVERY_CHECK for finding in _found(check, given))
    return table_of(CHECKS, [vars(finding) for finding in findings])


def _found(check: Callable, given: Mapping) -> Iterable[Finding]:
    """Call a check with what it names; a layer that is not there is None."""
    found = check(**{name: given.get(name) for name in signature(check).parameters})
    return [found] if isinstance(found, Finding) else found
