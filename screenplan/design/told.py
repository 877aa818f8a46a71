"""The result in tables and words: what was chosen, what is proven of it, and what stays open."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd

from screenplan.contracts import (
    CHOICE_PLANTS,
    CHOICE_VIEWS,
    CHOICES,
    DESIGN,
    DESIGN_VIEWS,
    year_column,
)
from screenplan.contracts.tables import DTYPES, layer_of_columns, notes_of, table_of, with_notes
from screenplan.design.causes import Cause
from screenplan.design.choices import Point, command_of, says_of
from screenplan.design.kinds import Offer
from screenplan.design.odds import FRESH_DRAWS
from screenplan.design.rounds import Chosen, Pool, Stage
from screenplan.ground.said import said
from screenplan.ground.told_years import DRAWN, asked_chance
from screenplan.planting.growth import growth_number
from screenplan.planting.stand import stand_of


@dataclass(frozen=True, eq=False)
class Found:
    """What a design has found.

    Parameters
    ----------
    year : int
    chance : float or None
        Share of the draws in which views should be closed; None if it was planned by typical growth alone.
    typical : Chosen
        What is enough at typical growth, of which the proof is.
    chosen : Chosen
        What is planted; the same without a chance.
    causes : dict
        By view that stays open or is less sure than asked.
    """

    year: int
    chance: float | None
    typical: Chosen
    chosen: Chosen
    causes: Mapping[int, Cause]


def tables_of(offer: Offer, pool: Pool, found: Found) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Make the tables ``design``, with what must be known in its notes, and ``design_views``."""
    weight, chosen = pool.weight, found.chosen
    kinds = {
        pool.candidates.options[k].species.key: pool.candidates.options[k].species
        for k in pool.candidates.table["option"].to_numpy(int)[chosen.planted]
    }
    solution = found.typical.solution
    least = solution.least_cost(found.typical.open_price)
    gap = 0.0 if solution.cost <= 0.0 else max(1.0 - least / solution.cost, 0.0)
    sure = None if found.chance is None else chosen.sure(found.chance)
    called = ", ".join(kind.called for kind in kinds.values())
    says = _says_of(offer, pool, found, called)
    row = {
        "year": found.year, "views_open": len(pool.rays.views), "views_closed": int(chosen.closed.sum()),
        "closed_share": float(weight[chosen.closed].sum() / weight.sum()),
        "chance_asked": found.chance, "views_sure": None if sure is None else int(sure.sum()),
        "sure_share": None if sure is None else float(weight[sure].sum() / weight.sum()),
        "draws": None if sure is None else FRESH_DRAWS,
        "candidates": len(pool.candidates.table), "rays": len(pool.rays.view),
        "plants": int(chosen.planted.sum()), "runs": chosen.runs, "kinds": ", ".join(kinds),
        "priced": offer.priced, "cost": chosen.solution.cost,
        "typical_plants": int(found.typical.planted.sum()), "typical_cost": solution.cost,
        "least_cost": least, "gap_share": gap,
        "made_by": solution.made_by, "in_time": solution.in_time, "says": says,
        "proof": _proof(pool, found, offer, least, gap), "free": None,
    }  # fmt: skip
    warned = [f"{kind.called}: {warning}" for kind in kinds.values() for warning in kind.warnings]
    notes = [
        f"Design: {says}", *_price_of_chance(offer, found), *_by_themselves(pool, found),
        *offer.notes, *pool.candidates.notes, *warned, *_left(found),
    ]  # fmt: skip
    return with_notes(table_of(DESIGN, [row]), notes), table_of(DESIGN_VIEWS, _by_view(pool, found))


def _says_of(offer: Offer, pool: Pool, found: Found, called: str) -> str:
    """Say what was chosen and what it closes; the kinds are called so."""
    views, chosen = len(pool.rays.views), found.chosen
    closed = int(chosen.closed.sum())
    says = (
        f"{int(chosen.planted.sum())} plants in {chosen.runs} "
        f"{'run' if chosen.runs == 1 else 'runs'} of {called} "
        f"close {closed} of {views} open views by year {found.year}"
    )
    if not chosen.planted.any():
        says = f"No new plants: those that stand close {closed} of {views} open views by year {found.year}"
    if found.chance is not None:
        sure = chosen.sure(found.chance)
        says += f" at typical growth, {int(sure.sum())} of them with a chance of {asked_chance(found.chance)} or more"
    if chosen.planted.any():
        says += f"; {_cost(offer, chosen.solution.cost)}"
    return says


def _by_themselves(pool: Pool, found: Found) -> list[str]:
    """Say what plants that stand close by themselves, if there are any."""
    chosen = found.chosen
    stand = int(chosen.layers.plants["existing"].sum()) if chosen.layers is not None else 0
    if not stand:
        return []
    return [
        f"{stand} plants stand already; as they grow they close {int((pool.need <= 0.0).sum())} of "
        f"{len(pool.rays.views)} views by year {found.year} "
        "by themselves, and new plants fill up their rows or keep off them"
    ]


def _left(found: Found) -> list[str]:
    """Say how many views stay open, or are less sure than asked, and why."""
    chosen, notes = found.chosen, []
    for (one, many), some in (
        (("view stays open", "views stay open"), ~chosen.closed),
        (
            ("view closes at typical growth, but is less sure than asked",
             "views close at typical growth, but are less sure than asked"),
            chosen.closed & ~chosen.sure(found.chance or 0.0),
        ),
    ):  # fmt: skip
        if some.any():
            by = pd.Series([cause.key for k, cause in found.causes.items() if some[k]]).value_counts()  # fmt: skip
            notes.append(
                f"{int(some.sum())} {one if some.sum() == 1 else many}: "
                + ", ".join(f"{many} {key}" for key, many in by.items())
                + ". The table design_views tells why, view by view"
            )
    return notes


def _by_view(pool: Pool, found: Found) -> list[dict[str, Any]]:
    """Give the records of the views that are open today."""
    chosen = found.chosen
    return [
        {
            "view_id": name, "weight": float(pool.weight[k]), "closed": bool(chosen.closed[k]),
            "closed_in": _year(chosen.closed_in[k]),
            "chance": None if chosen.chance is None else float(chosen.chance[k]),
            "open_share": float(chosen.open_share[k]), "best_share": best,
            "cause": found.causes[k].key if k in found.causes else None,
            "says": found.causes[k].says if k in found.causes else None,
        }
        for k, (name, best) in enumerate(zip(pool.rays.views, _at_best(pool), strict=True))
    ]  # fmt: skip


def with_free(told: pd.DataFrame, free: str | None) -> pd.DataFrame:
    """Put what a design would do that is free of what the plan names into the table, and into its notes."""
    if free is None:
        return told
    notes = notes_of(told)
    told = told.assign(free=pd.array([said(free)] * len(told), DTYPES["text"]))
    return with_notes(told, [notes[0], free, *notes[1:]])


def tables_of_choices(
    points: Sequence[Point], offer: Offer, stage: Stage, chance: float
) -> tuple[pd.DataFrame, gpd.GeoDataFrame, pd.DataFrame]:
    """Make the tables ``choices`` and ``choice_views`` and the layer ``choice_plants``; the chosen point is the first.

    Parameters
    ----------
    points : sequence of Point
    offer : Offer
    stage : Stage
    chance : float
        That by which views count as sure.
    """
    crs = stage.layers["parcels"].crs
    rows, plants, views = [], [layer_of_columns(CHOICE_PLANTS, {}, [], crs)], []
    for point in points:
        wish, found, weight = point.wish, point.found, point.pool.weight
        key, typical = wish.key, point.typical
        rows.append(
            {
                "choice": key, "name": wish.name, "chosen": point is points[0], "year": wish.year,
                "chance_asked": wish.chance or None, "plants": int(found.planted.sum()),
                "priced": offer.priced, "cost": found.solution.cost, "views_open": len(weight),
                "views_closed": int(found.closed.sum()), "views_sure": int(found.sure(chance).sum()),
                "closed_share": float(weight[found.closed].sum() / weight.sum()),
                "mean_chance": point.mean_chance,
                "gap_share": typical.solution.gap(typical.open_price),
                "says": says_of(point, points[0], priced=offer.priced), "command": command_of(wish),
            }
        )  # fmt: skip
        assert found.layers is not None  # a point plants something
        assert found.chance is not None
        assert found.by_draws is not None  # and its draws were followed
        new = found.layers.plants.loc[~found.layers.plants["existing"].astype(bool)]
        columns = {
            "choice_plant_id": [f"{key}/{plant}" for plant in new["plant_id"]], "choice": [key] * len(new),
            "plant_id": new["plant_id"], "species": new["species"], "stock_m": new["stock_height_m"],
            "line_id": new["line_id"],
        }  # fmt: skip
        if len(new):
            grown = layer_of_columns(CHOICE_PLANTS, columns, new.geometry, crs)
            plants.append(grown.assign(**_widths(new, stage)))
        views += [
            {
                "choice_view_id": f"{key}/{name}", "choice": key, "view_id": name,
                "closed": bool(found.closed[k]), "closed_in": _year(found.closed_in[k]),
                "chance": float(found.chance[k]),
                **{name: _year(found.by_draws[k, at]) for at, name in enumerate(DRAWN)},
            }
            for k, name in enumerate(point.pool.rays.views)
        ]  # fmt: skip
    return (
        table_of(CHOICES, rows),
        pd.concat(plants[1:] or plants, ignore_index=True),
        table_of(CHOICE_VIEWS, views),
    )


def _widths(plants: gpd.GeoDataFrame, stage: Stage) -> dict[str, np.ndarray]:
    """Give how wide the crowns are in the years that are shown, typical growth, as columns."""
    growth, typical = stage.plan.growth, growth_number("typical")
    years = sorted(growth.show_years)
    stand = stand_of(plants, years=years, curve=growth.curve, species_table=stage.species_table)
    return {
        year_column("spread", year): 2.0 * stand.crowns(typical, k).across
        for k, year in enumerate(years)
    }


def _year(value: float) -> int | None:
    return None if math.isnan(value) else int(value)


def _price_of_chance(offer: Offer, found: Found) -> list[str]:
    """Tell what is enough at typical growth, beside what is planted."""
    if found.chance is None:
        return []
    plants, cost = int(found.typical.planted.sum()), found.typical.solution.cost
    more = found.chosen.solution.cost - cost
    word = f"{abs(more):,.2f}" if offer.priced else f"a weight of {abs(more):.4g}"
    same = abs(more) < 0.005
    price = "nothing more" if same else f"{word} {'more' if more > 0 else 'less'}"
    return [
        f"{plants} plants are enough at typical growth alone ({_cost(offer, cost)}); the chance of {asked_chance(found.chance)} "
        f"costs {price}. It was measured by {FRESH_DRAWS:,} draws that did not choose, to {_error(found.chance):.1%}"
    ]


def _error(chance: float) -> float:
    """Give the standard error of a chance that the fresh draws measure."""
    return math.sqrt(chance * (1.0 - chance) / FRESH_DRAWS)


def _at_best(pool: Pool) -> list[float]:
    met = pool.stopped(np.ones(len(pool.candidates.table), bool))
    stopped = np.bincount(pool.rays.view[met], pool.rays.light[met], len(pool.rays.views))
    return np.clip(pool.rays.now - stopped, 0.0, 1.0).round(12).tolist()


def _cost(offer: Offer, cost: float) -> str:
    return f"they cost {cost:,.2f}" if offer.priced else f"they weigh {cost:.4g}"


def _proof(pool: Pool, found: Found, offer: Offer, least: float, gap: float) -> str:
    """Say what exactly is proven, and of what."""
    chosen, solution = found.typical, found.typical.solution
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
    proven = f"{proven}; {checked}. The proof is of the programme, not of how plants will grow"
    if found.chance is not None:
        proven += f". That nothing as sure costs less is not proven: the chance is measured by {FRESH_DRAWS:,} fresh draws"
    return proven
