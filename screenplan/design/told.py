"""The result in tables and words: what was chosen, what is proven of it, and what stays open."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import pandas as pd

from screenplan.contracts import DESIGN, DESIGN_VIEWS
from screenplan.contracts.tables import notes_of, table_of, with_notes
from screenplan.design.causes import Cause
from screenplan.design.kinds import Offer
from screenplan.design.rounds import Chosen, Pool


def tables_of(
    offer: Offer, pool: Pool, chosen: Chosen, causes: Mapping[int, Cause], year: int
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Make the tables ``design``, with what must be known in its notes, and ``design_views``."""
    views, weight = len(pool.rays.views), pool.weight
    kinds = {
        pool.candidates.options[k].species.key: pool.candidates.options[k].species
        for k in pool.candidates.table["option"].to_numpy(int)[chosen.planted]
    }
    solution, price = chosen.solution, chosen.open_price
    least = solution.least_cost(price)
    gap = 0.0 if solution.cost <= 0.0 else max(1.0 - least / solution.cost, 0.0)
    closed = int(chosen.closed.sum())
    stand = int(chosen.layers.plants["existing"].sum()) if chosen.layers is not None else 0
    by_themselves = int((pool.need <= 0.0).sum())
    says = (
        f"{int(chosen.planted.sum())} plants in {chosen.runs} "
        f"{'run' if chosen.runs == 1 else 'runs'} of {', '.join(kind.called for kind in kinds.values())} "
        f"close {closed} of {views} open views by year {year}; {_cost(offer, solution.cost)}"
    )
    if not chosen.planted.any():
        says = (
            f"No new plants: those that stand close {closed} of {views} open views by year {year}"
        )
    row = {
        "year": year, "views_open": views, "views_closed": closed,
        "closed_share": float(weight[chosen.closed].sum() / weight.sum()),
        "candidates": len(pool.candidates.table), "rays": len(pool.rays.view),
        "plants": int(chosen.planted.sum()), "runs": chosen.runs, "kinds": ", ".join(kinds),
        "priced": offer.priced, "cost": solution.cost, "least_cost": least, "gap_share": gap,
        "made_by": solution.made_by, "in_time": solution.in_time, "says": says,
        "proof": _proof(pool, chosen, offer, least, gap), "free": None,
    }  # fmt: skip
    warned = [f"{kind.called}: {warning}" for kind in kinds.values() for warning in kind.warnings]
    stay = views - closed
    notes = [f"Design: {says}"]
    if stand:
        notes.append(
            f"{stand} plants stand already; as they grow they close {by_themselves} of {views} views by year {year} "
            "by themselves, and new plants fill up their rows or keep off them"
        )
    notes += [*offer.notes, *pool.candidates.notes, *warned]
    if stay:
        by = pd.Series([cause.key for cause in causes.values()]).value_counts()
        notes.append(
            f"{stay} views stay open: "
            + ", ".join(f"{count} {key}" for key, count in by.items())
            + ". The table design_views tells why, view by view"
        )
    told = [
        {
            "view_id": name, "weight": float(weight[k]), "closed": bool(chosen.closed[k]),
            "closed_in": None if math.isnan(chosen.closed_in[k]) else int(chosen.closed_in[k]),
            "open_share": float(chosen.open_share[k]), "best_share": best,
            "cause": causes[k].key if k in causes else None,
            "says": causes[k].says if k in causes else None,
        }
        for k, (name, best) in enumerate(zip(pool.rays.views, _at_best(pool), strict=True))
    ]  # fmt: skip
    return with_notes(table_of(DESIGN, [row]), notes), table_of(DESIGN_VIEWS, told)


def with_free(told: pd.DataFrame, free: str | None) -> pd.DataFrame:
    """Put what a design would do that is free of what the plan names into the table, and into its notes."""
    if free is None:
        return told
    notes = notes_of(told)
    return with_notes(told.assign(free=free), [notes[0], free, *notes[1:]])


def _at_best(pool: Pool) -> list[float]:
    met = pool.stopped(np.ones(len(pool.candidates.table), bool))
    stopped = np.bincount(pool.rays.view[met], pool.rays.light[met], len(pool.rays.views))
    return np.clip(pool.rays.now - stopped, 0.0, 1.0).round(12).tolist()


def _cost(offer: Offer, cost: float) -> str:
    return f"they cost {cost:.2f}" if offer.priced else f"they weigh {cost:.4g}"


def _proof(pool: Pool, chosen: Chosen, offer: Offer, least: float, gap: float) -> str:
    """Say what exactly is proven, and of what."""
    solution = chosen.solution
    word = "costs" if offer.priced else "weighs"
    among = (
        f"Among {len(pool.candidates.table)} candidates (these kinds, sizes, spacings and lines) and by "
        f"{chosen.rays} of {len(pool.rays.view)} rays at typical growth"
    )
    if gap <= 1e-6:
        proven = f"{among} no planting that closes as much {word} less"
    elif least > 0.0:
        proven = (
            f"{among} no planting that closes as much {word} less than {least:.4g}, so that at most {gap:.0%} "
            "might be saved"
        )
    else:
        proven = f"The solver found no bound of the cost in its time: it is not known how much might be saved. {among} this is the best that was found"
    open_least = solution.least_open(chosen.open_price)
    if solution.open_weight > 1e-9:
        # Rounded towards what is less to say.
        at_least = math.floor(10.0 * open_least + 1e-6) / 10.0
        proven += (
            f"; of the weight {solution.open_weight:.4g} that stays open below the asked share, at least {at_least:g} stays "
            "open whatever is planted for as much"
        )
    checked = "every view was then traced with all rays"
    return f"{proven}; {checked}. The proof is of the programme, not of how plants will grow"
