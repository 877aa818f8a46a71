"""The times of tasks by year since planting: what a table of tasks means, year by year."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

import pandas as pd

#: All time before the day of planting.
BEFORE = -1
#: So many years from planting on have a page of their own.
YEARS = 10
#: Days of a year.
YEAR_DAYS = 365.25
#: What comes every 365 days slips by the leap days of ten years: it begins so many days into its year, so that each time
#: falls into a year of its own.
SLIP_DAYS = 3
_WORDS = (
    "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth",
)  # fmt: skip


def year_day(year: int) -> int:
    """Give the day, counted from planting, on which a year since planting begins.

    Examples
    --------
    >>> [year_day(year) for year in (0, 1, 4)]
    [0, 365, 1461]
    """
    return round(year * YEAR_DAYS)


def year_of(day: int) -> int:
    """Give the year since planting into which a day falls; `BEFORE` for days before planting.

    Examples
    --------
    >>> year_of(-1), year_of(0), year_of(364), year_of(365)
    (-1, 0, 0, 1)
    """
    if day < 0:
        return BEFORE
    year = int((day + 0.5) // YEAR_DAYS)
    return year if day >= year_day(year) else year - 1


def year_name(year: int) -> str:
    """Say which year it is.

    Examples
    --------
    >>> year_name(-1), year_name(0), year_name(11)
    ('Before planting', 'First year', 'Year 12')
    """
    if year == BEFORE:
        return "Before planting"
    return f"{_WORDS[year]} year".capitalize() if year < len(_WORDS) else f"Year {year + 1}"


def days_of(task: Mapping[str, Any]) -> list[int]:
    """List the days, counted from planting, on which each time of a task begins."""
    first, times = int(task["first_day"]), int(task["times"])
    every = 0 if pd.isna(task["every_days"]) else int(task["every_days"])
    return [first + every * k for k in range(times)]


def tasks_in(schedule: pd.DataFrame, year: int) -> list[dict[str, Any]]:
    """List the tasks that fall due in a year, each with its times in that year only.

    Parameters
    ----------
    schedule : DataFrame
        By its contract.
    year : int
        Years since planting, or `BEFORE`.
    """
    found = []
    for task in schedule.to_dict("records"):
        days = [day for day in days_of(task) if year_of(day) == year]
        if not days:
            continue
        repeated = not pd.isna(task["every_days"])
        # What takes several days in one go ends when it does.
        last = days[-1] if repeated else int(task["last_day"])
        away = last - int(task["first_day"])
        dates = {
            "first_date": _shifted(task["first_date"], days[0] - int(task["first_day"])),
            "last_date": _shifted(task["first_date"], away),
        }
        found.append(task | {"first_day": days[0], "last_day": last, "times": len(days)} | dates)
    return sorted(found, key=lambda task: task["first_day"])


def last_year(schedule: pd.DataFrame) -> int:
    """Give the last year in which a task falls due, or the last of the `YEARS` if that is later."""
    days = (day for task in schedule.to_dict("records") for day in days_of(task))
    return max(YEARS - 1, max(map(year_of, days), default=0))


def _shifted(date: str | None, days: int) -> str | None:
    if date is None or pd.isna(date):
        return None
    return (dt.date.fromisoformat(date) + dt.timedelta(days=days)).isoformat()
