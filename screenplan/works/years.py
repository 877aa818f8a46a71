"""The work year by year: each time of each task, with its hours, its water and its money.

A year begins on the day of planting, and all time before it counts as one year, -1. What is bought for a task falls
into the year of the task; what a task needs again and again is shared out over its times. So the years
add up to the tables of quantities and of cost.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from screenplan.contracts import YEAR_COSTS
from screenplan.contracts.tables import table_of
from screenplan.contracts.task_times import (
    BEFORE,
    days_of,
    last_year,
    tasks_in,
    year_day,
    year_name,
    year_of,
)
from screenplan.plan import DEFAULTS, Options
from screenplan.works.water_months import months_given

#: The task into whose year that falls which is bought for a part of the work, and is named by no task.
_TASK_OF = {
    "plants": "plant", "replacements": "replace", "stake-out": "pegs", "ground": "clear", "holes": "dig",
    "mulch": "mulch", "fence": "fence",
}  # fmt: skip
#: Items that are needed at the first of their tasks only: later ones use what was ordered then.
_ONCE = ("plant",)


def count_years(
    schedule: pd.DataFrame,
    quantities: pd.DataFrame,
    cost: pd.DataFrame | None = None,
    water_by_month: pd.DataFrame | None = None,
    *,
    plan: Options = DEFAULTS,
) -> pd.DataFrame:
    """Count hours, water and money by year.

    Parameters
    ----------
    schedule, quantities : DataFrame
    cost : DataFrame, optional
        By your own prices; without it there is no money.
    water_by_month : DataFrame, optional
        If the plan has normals of rain: the water of each year is that of its months.
    plan : Options, optional
        Of it [cost] hour, the price of an hour.

    Returns
    -------
    DataFrame
        A row for the time before planting, one for each of ten years, and one for each later year up to the
        last task. Hours are those of the schedule; the water of all years is that of the stages in the
        quantities, and the material that of the total in the cost.
    """
    years = range(BEFORE, last_year(schedule) + 1)
    material = _material(schedule, quantities, cost)
    months = months_given(water_by_month)
    water = _water(schedule, quantities) if months is None else _water_of(months)
    records = []
    for year in years:
        due = tasks_in(schedule, year)
        hours = [row["hours"] * row["times"] for row in due if not pd.isna(row["hours"])]
        time = math.fsum(hours) if hours else None
        records.append(
            {
                "year": year, "name": year_name(year), "tasks": len(due), "hours": time,
                "rounds": sum(row["times"] for row in due if row["part"] == "water"),
                "water_l": _sum_of_year(water, year) or 0.0,
                "material": _sum_of_year(material, year),
                "labour_cost": None if time is None or plan.cost.hour is None else time * plan.cost.hour,
            } | _dates(schedule, year)
        )  # fmt: skip
    return table_of(YEAR_COSTS, records)


def _sum_of_year(shared: Sequence[tuple[float, Mapping[int, float]]], year: int) -> float | None:
    found = [amount * share[year] for amount, share in shared if year in share]
    return math.fsum(found) if found else None


def _water(schedule, quantities) -> list[tuple[float, dict[int, float]]]:
    """Give the water of each stage, and which share of it falls into each year."""
    litres = quantities.loc[(quantities["unit"] == "l").to_numpy(bool)]
    return [
        (float(row["amount"]), shares_of(row, schedule))
        for row in litres.to_dict("records")
        if row["item"] != "water_round"
    ]


def _water_of(months: pd.DataFrame) -> list[tuple[float, dict[int, float]]]:
    """Give the water of each month, all of it in the month's year."""
    return [(float(row["water_l"]), {int(row["year"]): 1.0}) for row in months.to_dict("records")]


def _material(schedule, quantities, cost) -> list[tuple[float, dict[int, float]]]:
    """Give the price of each quantity that has one, and which share of it falls into each year."""
    if cost is None:
        return []
    priced = cost.loc[cost["cost"].notna().to_numpy(bool)].set_index("item")["cost"]
    return [
        (float(priced[row["item"]]), shares_of(row, schedule))
        for row in quantities.to_dict("records")
        if row["item"] in priced.index
    ]


def shares_of(quantity: Mapping[str, Any], schedule: pd.DataFrame) -> dict[int, float]:
    """Give the share of a quantity that falls into each year, by the times of the tasks that it is for."""
    word = str(quantity["item"]).partition(" ")[0]
    named = schedule.loc[(schedule["item"] == word).fillna(False).to_numpy(bool)]
    task = _TASK_OF.get(quantity["part"], "")
    if named.empty:
        named = schedule.loc[(schedule["task"] == task).to_numpy(bool)]
    if named.empty:
        named = schedule.loc[(schedule["part"] == quantity["part"]).to_numpy(bool)].head(1)
    days = sorted(day for row in named.to_dict("records") for day in days_of(row))
    if not days:
        return {BEFORE: 1.0}
    days = days[:1] if word in _ONCE else days
    shares: dict[int, float] = {}
    for day in days:
        shares[year_of(day)] = shares.get(year_of(day), 0.0) + 1.0 / len(days)
    return shares


def _dates(schedule: pd.DataFrame, year: int) -> dict[str, str | None]:
    """Give the first and last day of a year; that before planting begins with its first task."""
    dated = schedule.loc[schedule["first_date"].notna().to_numpy(bool)].to_dict("records")
    if not dated:
        return {}
    any_task = dated[0]
    start = dt.date.fromisoformat(any_task["first_date"]) - dt.timedelta(
        days=int(any_task["first_day"])
    )
    first = min(int(row["first_day"]) for row in dated) if year == BEFORE else year_day(year)
    return {
        "first_date": (start + dt.timedelta(days=first)).isoformat(),
        "last_date": (start + dt.timedelta(days=year_day(year + 1) - 1)).isoformat(),
    }
