"""Rows that are kept where they would stand if nobody clipped them.

A row that is kept is laid by its own, smaller size: it stands elsewhere than one that grows freely, its plants stand
otherwise apart, and other sight lines cross it. So the height that does where the free row stands
(`screenplan.works.clipping`) may not do there. With ``kept.in_place`` all is placed by the free sizes, and what comes
after goes by the kept ones. The row then closes at the height that is proposed, and it still has room if one year
nobody clips it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import pandas as pd

from screenplan.plan import Plan
from screenplan.plan.planting import KeptSize
from screenplan.running.inputs import step_arguments
from screenplan.running.steps import STEPS

#: The steps that say where plants stand, and those before them.
PLACING = (
    "sides", "windows", "places", "across", "design", "own_growth", "zones", "lines", "room", "stretches", "apart", "needed",
    "plants", "hand",
)  # fmt: skip
#: The layer by which a height is proposed.
NEEDED = "needed_height"
#: The step that proposes it.
PROPOSING = "kept"


def plan_to_place(plan: Plan) -> Plan:
    """Give the plan by which plants are placed: the same, or where they are kept in place one that keeps none."""
    if not plan.kept.in_place:
        return plan
    return plan.model_copy(update={"kept": KeptSize(in_place=True)})


def height_in_place(
    placed: Plan, kept: KeptSize, run, run_step: Callable, species_table: Mapping[str, Any]
) -> tuple[KeptSize, list[str]]:
    """Give the size at which rows are kept that stand in their places.

    Parameters
    ----------
    placed : Plan
        The plan by which they were placed.
    kept : KeptSize
        What the plan says; without a height the greatest is taken that the views need of a row.
    run : Run
        The run up to there.
    run_step : callable
        Called with the step, the layers and its arguments.
    species_table : mapping
        The species by which they were placed.

    Returns
    -------
    kept : KeptSize
        With the height, unless no row grows taller than it is needed.
    notes : list of str
    """
    if kept.height is not None:
        return kept, []
    step = STEPS[PROPOSING]
    arguments = step_arguments(
        step, placed, run.folder, run.site.terrain, run.site.frame, species_table
    )
    sizes: pd.DataFrame = run_step(step, run.layers, arguments)["kept_sizes"]
    rows = sizes.loc[~sizes["kept"].to_numpy(bool) & sizes["keep_m"].notna().to_numpy(bool)]
    if not len(rows):
        return kept, ["No height was found at which to keep the rows: no view needs one, or their crowns do not meet"]  # fmt: skip
    height, grown = (float(rows[name].astype(float).max()) for name in ("keep_m", "grown_m"))
    if height >= grown:
        return kept, [f"The tops are never to be clipped: the plants grow to {{{grown:.1f} m}} by themselves, and the views need no less"]  # fmt: skip
    return kept.model_copy(update={"height": height}), [
        f"The rows are kept at {{{height:.1f} m}}, the least at which their crowns meet as the views need"
    ]
