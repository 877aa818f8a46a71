"""Rows that are kept where they would stand if nobody clipped them.

A row that is kept is laid by its own, smaller size: it stands elsewhere than one that grows freely, its plants stand
otherwise apart, and other sight lines cross it. So the height that does where the free row stands
(`screenplan.works.clipping`) may not do there. With ``kept.in_place`` all is placed by the free sizes, and what comes
after goes by the kept ones. The row then closes at the height that is proposed, and it still has room if one year
nobody clips it.

Crowns end in points, and those that are kept low are narrow. So the height at which they meet as the views need is
raised until every view closes that closes behind the free rows (typical growth).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd

from screenplan.contracts import KEPT_EFFECTS
from screenplan.contracts.tables import table_of
from screenplan.effects.lawful import lawful_effects
from screenplan.plan import Plan
from screenplan.plan.planting import KeptSize
from screenplan.planting.hedges import STEP_M
from screenplan.running.inputs import species_on, step_arguments
from screenplan.running.run import Run
from screenplan.running.steps import STEPS
from screenplan.works.clipping import propose_height

#: The steps that say where plants stand, and those before them.
PLACING = (
    "sides", "windows", "places", "across", "design", "own_growth", "zones", "lines", "room", "stretches", "apart", "needed",
    "plants", "hand",
)  # fmt: skip
#: The layer by which a height is proposed.
NEEDED = "needed_height"
#: What the views are followed with where nobody reads how far their shares may be out.
NO_ERRORS = {"second_sample": False}
#: The step that proposes it.
PROPOSING = "kept"


def plan_to_place(plan: Plan) -> Plan:
    """Give the plan by which plants are placed: the same, or where they are kept in place one that keeps none."""
    if not plan.kept.in_place:
        return plan
    return plan.model_copy(update={"kept": KeptSize(in_place=True)})


def height_in_place(
    placed: Plan, kept: KeptSize, run: Run, run_step: Callable, species_table: Mapping[str, Any]
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
    rows = _proposed(sizes)
    if not len(rows):
        return kept, ["No height was found at which to keep the rows: no view needs one, or their crowns do not meet"]  # fmt: skip
    grown = float(rows["grown_m"].max())
    height = _least_height(placed.model_copy(update={"kept": kept}), run, rows, run_step)
    if height >= grown:
        return kept, [f"The tops are never to be clipped: the plants grow to {{{grown:.1f} m}} by themselves, and the views need no less"]  # fmt: skip
    return kept.model_copy(update={"height": height}), [
        f"The rows are kept at {{{height:.1f} m}}, the least at which they close each view that they close free"
    ]


def with_views_closed(placed: Plan, run, sizes: pd.DataFrame, run_step: Callable) -> pd.DataFrame:
    """Give the kept sizes with one height for all rows for which one is proposed, at which no view opens.

    Parameters
    ----------
    placed : Plan
        The plan by which the plants stand, without a kept height.
    run : Run
        The run up to there.
    sizes : DataFrame
        By the contract ``kept_sizes``, as the step gives it.
    run_step : callable
        Called with the step, the layers and its arguments.
    """
    rows = _proposed(sizes)
    if not len(rows):
        return sizes
    return propose_height(sizes, rows.index, _least_height(placed, run, rows, run_step))


def _proposed(sizes: pd.DataFrame) -> pd.DataFrame:
    """Give the rows for which a height is proposed."""
    return sizes.loc[~sizes["kept"].to_numpy(bool) & sizes["keep_m"].notna().to_numpy(bool)]


def _least_height(plan: Plan, run: Run, rows: pd.DataFrame, run_step: Callable) -> float:
    """Give the least height, in steps, from that at which crowns meet, at which each view closes that closes free."""
    step = STEPS["views"]
    least, grown = float(rows["keep_m"].max()), float(rows["grown_m"].max())
    if least >= grown:
        return grown

    def closed(height: float | None) -> set[str]:
        size = plan.kept.model_copy(update={"height": height})
        tried = plan.model_copy(update={"kept": size}).without_draws()
        given = step_arguments(
            step, tried, run.folder, run.site.terrain, run.site.frame, species_on(run.site, tried)
        )
        views = run_step(step, run.layers, given | NO_ERRORS)["views"]
        return set(views.loc[views["status"] == "closes", "view_id"].astype(str))

    heights = [*np.arange(least, grown, STEP_M).round(3).tolist(), grown]
    free, low, high = closed(None), 0, len(heights) - 1
    if free <= closed(least):
        return least
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if free <= closed(heights[middle]) else (middle, high)
    return heights[high]


#: The steps whose effects are compared.
COMPARED = ("views", "light", "wires", "outgrown")


def compare_sizes(placed: Plan, run: Run, run_step: Callable) -> pd.DataFrame | None:
    """Give what the same plants in the same places do to others and to the views, free and kept.

    Parameters
    ----------
    placed : Plan
        The plan by which the run went.
    run : Run
        The finished run, by whose sizes one side is told.
    run_step : callable
        Called with the step, the layers and its arguments, for the other side.

    Returns
    -------
    DataFrame or None
        By the contract ``kept_effects``; None if the plan keeps no row and no height is proposed below the free one.
    """
    sizes = run.layers["kept_sizes"]
    is_kept = placed.kept.asked
    if is_kept:
        kept, other = placed.kept, KeptSize()
    else:
        rows = _proposed(sizes)
        rows = rows.loc[rows["keep_m"] < rows["grown_m"]]
        if not len(rows):
            return None
        kept = other = KeptSize().model_copy(update={"height": float(rows["keep_m"].max())})
    plan = placed.model_copy(update={"kept": other}).without_draws()
    table, layers = species_on(run.site, plan), dict(run.layers)
    for name in COMPARED:
        step = STEPS[name]
        given = step_arguments(step, plan, run.folder, run.site.terrain, run.site.frame, table)
        layers |= run_step(step, layers, given | (NO_ERRORS if name == "views" else {}))
    rules = step_arguments(STEPS["zones"], plan, run.folder)["rules"]
    told = [
        [*_effects(some), *lawful_effects(some, by, rules, kinds)]
        for some, by, kinds in (
            (run.layers, placed, species_on(run.site, placed)), (layers, plan, table),
        )
    ]  # fmt: skip
    free, clipped = reversed(told) if is_kept else told
    records = [
        {
            "effect": effect, "name": name, "unit": unit, "keep_m": kept.height,
            "free": before, "kept": after, "free_says": _as_read(before, unit), "kept_says": _as_read(after, unit),
        }
        for (effect, name, unit, before), (*_, after) in zip(free, clipped, strict=True)
    ]  # fmt: skip
    return table_of(KEPT_EFFECTS, records)


def _as_read(value: float, unit: str) -> str:
    """Write how much an effect is as it is read."""
    return {"share": f"{value:.0%}", "metres": f"{{{value:.2f} m}}"}.get(unit, f"{value:.0f}")


def _effects(layers: Mapping[str, Any]) -> Iterator[tuple[str, str, str, float]]:
    """Give each effect: its key, what it is, its unit and how much it is, typical growth."""
    light, parcels, views = (layers[name] for name in ("light", "parcels", "views"))
    own = parcels.loc[parcels["is_subject"].astype(bool), "parcel_id"]
    others = light.loc[light["parcel_id"].notna() & ~light["parcel_id"].isin(own)]
    for kind in ("window", "garden"):
        lost = others.loc[others["kind"] == kind, "sun_lost"].astype(float)
        if lost.notna().any():
            yield f"{kind}_sun", f"Most sun that a neighbour's {kind} loses, in its worst year", "share", float(lost.max())  # fmt: skip
    for layer, what in (
        ("wire_plants", "Plants too tall for an overhead wire"),
        ("outgrown", "Plants that outgrow the boundary, the height allowed there, or a wall"),
    ):
        rows = layers[layer]
        yield layer, what, "plants", float(rows.loc[rows["year"].notna(), "plant_id"].nunique())
    closes = int((views["status"] == "closes").sum())
    asked = closes + int((views["status"] == "stays open").sum())
    yield "views_closed", f"Views that close, of {asked}", "views", float(closes)
