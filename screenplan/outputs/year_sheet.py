"""The year sheet: a printed page for each year, with what is done and when, and a form for what is measured.

Where nothing is planted, and so nothing is measured, only the years with tasks have a page.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from markupsafe import Markup

from screenplan._version import __version__
from screenplan.contracts.called import view_names
from screenplan.contracts.tables import notes_of, records_of
from screenplan.contracts.task_times import BEFORE, YEARS, last_year, tasks_in, year_day, year_name
from screenplan.ground.said import in_units
from screenplan.ground.units import format_amount, format_length, format_tape
from screenplan.outputs.drawings.style import clean
from screenplan.outputs.report import About, environment, template
from screenplan.outputs.report_cells import LONGEST_TEXT, is_missing, write_cell

YEARS_NAME = "years.html"
#: Lines from which on a page is set smaller, so that a year stays on one sheet of paper.
CROWDED = 26
#: So many of those lines the table of all years takes on the first page.
TOTALS_LINES = 6
#: A blank at which no line ends.
NO_BREAK = "\u00a0"
#: What lasts so many days lasts all the year.
ALL_YEAR_DAYS = 330
#: What the years are told side by side by.
_TOTALS = ("year", "hours", "rounds of water", "water", "hours of watering", "bought", "labour")


@dataclass(frozen=True)
class Page:
    """One year on paper: its name, its days, what it takes in a sentence, its tasks, what to watch and what was lost."""

    anchor: str
    name: str
    days: str
    takes: str
    rows: list[list[str]]
    watch: list[str]
    measures: bool
    lost: list[str]
    crowded: bool


def write_years(layers: Mapping[str, Any], path: str | Path, about: About) -> Path:
    """Write the year sheet of a run.

    Parameters
    ----------
    layers : mapping of str to DataFrame
        By contract name, of it ``schedule``, ``year_costs`` and ``to_measure``, and, if they are there, ``water_by_month``,
        ``lost_plants`` and ``lost_views``, in the local frame.
    path : path
        The file.
    about : About
    """
    path = Path(path)
    path.write_text(make_years(layers, about), encoding="utf-8", newline="\n")
    return path


def make_years(layers: Mapping[str, Any], about: About) -> str:
    """Give the year sheet of a run as HTML; the same layers give the same text."""
    schedule = layers["schedule"]
    months = layers.get("water_by_month")
    water = {} if months is None else months.set_index("first_day")["water_l"].to_dict()
    told = {int(row["year"]): row for row in layers["year_costs"].to_dict("records")}
    measured = _form(layers["to_measure"], about)
    pages = [
        _page(schedule, told[year], water, about.units, (_lost(layers, year, about), len(measured)))
        for year in range(BEFORE, YEARS)
    ]
    title = clean(about.title, 120) or (f"Screen on {about.of}" if about.subject else "Screen")
    later = [
        f"{year_name(year)}: {', '.join(clean(task['name']) for task in due)}"
        for year in range(YEARS, last_year(schedule) + 1)
        if (due := tasks_in(schedule, year))
    ]
    return environment().get_template("years.html.jinja").render(
        title=title,
        version=__version__,
        style=Markup(template("years.css")),
        pages=pages if measured else _of_a_build(pages),
        measured=measured,
        totals=_totals(schedule, told, about.units),
        unit="ft and in" if about.units == "us" else "m",
        later=later,
    )  # fmt: skip


def _of_a_build(pages: list[Page]) -> list[Page]:
    """Give the pages that have something to say where nothing is planted."""
    first = replace(pages[0], name="Until it is built")
    return [page for page in (first, *pages[1:]) if page.rows or page.lost]


def _lost(layers: Mapping[str, Any], year: int, about: About) -> list[str]:
    """Say which plants were found dead in a year; in the last such year also what to order, and which views open."""
    lost, views = layers.get("lost_plants"), layers.get("lost_views")
    if lost is None or views is None or not (lost["found"] == year).any():
        return []
    lines = [
        f"No. {row['plant_id']}, {clean(about.names.get(row['species'], row['species']))}, {clean(row['line_id'])}, "
        f"{format_tape(float(row['station_m']), about.units)} from zero"
        for row in lost.loc[lost["found"] == year].to_dict("records")
    ]
    if year < lost["found"].max():
        return lines
    names = view_names(layers)
    opens = [
        f"{clean(names.get(row['view_id'], row['view_id']), LONGEST_TEXT)}: {clean(in_units(row['says'], about.units), LONGEST_TEXT)}"
        for row in views.loc[views["opens"]].to_dict("records")
    ]
    notes = [
        clean(in_units(note, about.units), LONGEST_TEXT)
        for table in (lost, views)
        for note in notes_of(table)
    ]
    return [*lines, *notes, *opens]


def _totals(schedule, told: Mapping[int, Mapping[str, Any]], units: str) -> list[list[str]]:
    """Give what the years take side by side, headed, without the columns that nothing fills."""
    poured = {year: _hours_of_water(tasks_in(schedule, year)) for year in told}
    rows = [
        [
            row["name"],
            "" if is_missing(row["hours"]) else _whole(row["hours"] - poured[year]),
            f"{row['rounds']}" if row["rounds"] else "",
            format_amount(float(row["water_l"]), "l", units) if row["rounds"] else "",
            _whole(poured[year]),
            *("" if is_missing(row[name]) else f"{row[name]:,.2f}" for name in ("material", "labour_cost")),
        ]
        for year, row in told.items()
        if year < YEARS
    ]  # fmt: skip
    filled = [k for k in range(len(_TOTALS)) if any(row[k] for row in rows)]
    return [[row[k] for k in filled] for row in (list(_TOTALS), *rows)]


def _page(
    schedule,
    told: Mapping[str, Any],
    water: Mapping[int, float],
    units: str,
    more: tuple[list[str], int],
) -> Page:
    """Lay out a year; ``water`` are the litres of months by the day of their first round, ``more`` what was lost and the rows of the form."""
    year, due = int(told["year"]), tasks_in(schedule, int(told["year"]))
    watch = dict.fromkeys(
        clean(in_units(task["caution"], units), LONGEST_TEXT)
        for task in due
        if not is_missing(task["caution"])
    )
    first, last = told["first_date"], told["last_date"]
    lost, measured = more
    return Page(
        anchor=f"year-{year}" if year >= 0 else "before",
        name=year_name(year),
        days="" if is_missing(first) else f"{first} to {last}",
        takes=_takes(told, due, units, normals=bool(water))
        if due
        else "Nothing is to be done but to look and to measure.",
        rows=[_row(task, year, water, units) for task in due],
        watch=list(watch),
        measures=year >= 0,
        lost=lost,
        crowded=len(due) + len(watch) + len(lost) + (TOTALS_LINES if year < 0 else measured)
        > CROWDED,
    )


def _row(task: Mapping[str, Any], year: int, water: Mapping[int, float], units: str) -> list[str]:
    hours, what = task["hours"], clean(in_units(task["name"], units), LONGEST_TEXT)
    if task["part"] == "water" and task["first_day"] in water:
        amount = format_amount(water[task["first_day"]], "l", units)
        what += f": {amount.replace(' ', NO_BREAK)}"
    counted = is_missing(task["first_date"]) and year > 0
    return [
        _day_of(task, year) if counted else write_cell(task, "first_day", "when", units, {}),
        what,
        write_cell(task, "times", "often", units, {}),
        "" if is_missing(hours) else f"{hours * task['times']:.1f}",
    ]


def _day_of(task: Mapping[str, Any], year: int) -> str:
    """Say on which days of a year after the first a task is due that has no date."""
    first, last = (int(task[name]) - year_day(year) for name in ("first_day", "last_day"))
    if last - first >= ALL_YEAR_DAYS:
        return "all the year"
    if last == 0:
        return "first day of the year"
    return f"day {first} of the year" if first == last else f"day {first} to {last} of the year"


def _takes(told: Mapping[str, Any], due: Sequence[dict], units: str, *, normals: bool) -> str:
    """Say in a sentence what the tasks of a year take."""
    parts = [_counted(told["tasks"], "task")]
    pour = _hours_of_water(due)
    work = "" if is_missing(told["hours"]) else _whole(told["hours"] - pour)
    if work:
        parts.append(f"about {_counted(work, 'hour')} of one person, as far as rates are known")
    if told["rounds"]:
        water = format_amount(float(told["water_l"]), "l", units)
        rain = (
            f"{water} besides the rain of your normals"
            if normals
            else f"at most {water} if no rain falls"
        )
        hours = _whole(pour)
        hose = (
            f", and {_counted(hours, 'hour')} with one hose or fewer with a drip line"
            if hours
            else ""
        )
        parts.append(f"{_counted(told['rounds'], 'round')} of water, {rain}{hose}")
    if not is_missing(told["material"]):
        parts.append(f"{told['material']:,.2f} for what is bought, by your prices")
    if not is_missing(told["labour_cost"]):
        parts.append(f"{told['labour_cost']:,.2f} for all hours")
    return f"{'; '.join(parts)}."


def _whole(hours: float) -> str:
    """Write whole hours, tenths up to half an hour, and nothing for what rounding leaves of a difference."""
    return f"{hours:,.0f}" if hours > 0.5 else f"{hours:.1f}" if hours >= 0.05 else ""


def _counted(number: int | str, what: str) -> str:
    return f"{number} {what}{'' if str(number) == '1' else 's'}"


def _hours_of_water(due: Sequence[dict]) -> float:
    """Add up the hours of all rounds with one hose."""
    return math.fsum(
        task["hours"] * task["times"]
        for task in due
        if task["part"] == "water" and not is_missing(task["hours"])
    )


def _form(to_measure, about: About) -> list[list[str]]:
    return [
        [
            str(int(row["plant_id"])),
            clean(about.names.get(row["species"], row["species"])),
            f"{clean(row['line_id'])}, {format_tape(float(row['station_m']), about.units)}",
            format_length(float(row["stock_height_m"]), about.units),
        ]
        for row in records_of(to_measure)
    ]
