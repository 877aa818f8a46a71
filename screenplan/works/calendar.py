"""The calendar: from having buried lines located to the year in which the row closes.

Days count from planting, day 0. Days before planting and the yearly tasks are common practice, no
source; watering follows `screenplan.works.water`; years of growth and closure come from the plan.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping

import numpy as np
import pandas as pd

from screenplan.contracts import SCHEDULE
from screenplan.errors import refuse
from screenplan.planting.growth import height_at, spread_at
from screenplan.planting.species import Species, species_of
from screenplan.tables import table_of, with_notes
from screenplan.works.earth import least_gap
from screenplan.works.quantities import DIG
from screenplan.works.water import SOURCE, YEAR_DAYS, water_stages

#: A planting date this many years back or ahead is a slip.
BACK_YEARS, AHEAD_YEARS = 5, 30
#: Days before planting on which lines are asked for, ground is cleared, marked and dug.
LOCATE_DAY, CLEAR_DAY, MARK_DAY, DIG_DAY = -21, -14, -3, -1
#: Mulch is topped up for so many years.
MULCH_YEARS = 3
_COMMON = "common practice, no source"


def schedule_work(
    plants: pd.DataFrame,
    closure: pd.DataFrame | None = None,
    quantities: pd.DataFrame | None = None,
    fence_options: pd.DataFrame | None = None,
    *,
    planting: str | None = None,
    years: int = 30,
    caliper_m: float | None = None,
    water_every_days: int = 2,
    curve: str = "smooth",
    table: Mapping[str, Species] | None = None,
    today: dt.date | None = None,
) -> pd.DataFrame:
    """Lay out the tasks in order of their first day.

    Parameters
    ----------
    plants : GeoDataFrame
    closure, quantities, fence_options : DataFrame, optional
        The year of closure, whether there is mulch, and the chosen fence come from them.
    planting : str, optional
        Day of planting, ``YYYY-MM-DD``; without it days are counted and dates stay empty.
    years : int
        Growth is looked at so far.
    caliper_m : float, optional
        Diameter of the stems, metres.
    water_every_days : {2, 3}
        In weeks 3 to 12.
    curve, table
        As for growth.
    today : date, optional
        To tell a date in the past; by default the computer's.

    Returns
    -------
    DataFrame
        Having buried lines located is always the first task.

    Raises
    ------
    InputError
        If the planting date is no date, or more than `BACK_YEARS` back or `AHEAD_YEARS` ahead.
    """
    start = _read_date(planting, today or dt.date.today())
    new = plants.loc[~plants["existing"].to_numpy(bool)]
    if not len(new):
        raise refuse("no plant is to be set", "Choose a line that has room for plants", key="rows")
    tasks = [
        *_before(quantities, fence_options),
        *_watering(str(new["stock"].iloc[0]), caliper_m, water_every_days),
        *_after(plants, new, closure, quantities, fence_options, years, curve, table),
    ]
    tasks.sort(key=lambda task: task["first_day"])
    rows = []
    for task in tasks:
        last = task["first_day"] + (task.get("every_days") or 0) * (task["times"] - 1)
        last = task.pop("until", last)
        rows.append(
            task
            | {
                "last_day": last,
                "year": max(0, int((task["first_day"] + 0.5) // YEAR_DAYS)),
                "first_date": _date(start, task["first_day"]),
                "last_date": _date(start, last),
            }
        )
    notes = []
    if start is not None and start < (today or dt.date.today()):
        notes.append(
            f"The planting date {start.isoformat()} is in the past: tasks that are over stand in the "
            "calendar too"
        )
    return with_notes(table_of(SCHEDULE, rows), notes)


def year_day(year: int) -> int:
    """Day on which a year since planting begins."""
    return round(year * YEAR_DAYS)


def _read_date(text: str | None, today: dt.date) -> dt.date | None:
    if text is None:
        return None
    try:
        date = dt.date.fromisoformat(str(text))
    except ValueError:
        raise refuse(
            f"'{text}' is not a date", "Write it as 2027-04-10", key="calendar.planting"
        ) from None
    years = (date - today).days / YEAR_DAYS
    if not -BACK_YEARS <= years <= AHEAD_YEARS:
        raise refuse(
            f"the planting date {date.isoformat()} is {abs(years):.0f} years "
            f"{'back' if years < 0 else 'ahead'}",
            f"Give a day at most {BACK_YEARS} years back or {AHEAD_YEARS} ahead, as 2027-04-10",
            key="calendar.planting",
        )
    return date


def _date(start: dt.date | None, day: int) -> str | None:
    return None if start is None else (start + dt.timedelta(days=int(day))).isoformat()


def _task(key, name, day, says, *, source=_COMMON, caution=None, item=None, **more) -> dict:
    return {
        "task": key, "name": name, "first_day": int(day), "times": 1, "says": says, "source": source,
        "caution": caution, "item": item,
    } | more  # fmt: skip


def _before(quantities, fence_options) -> Iterator[dict]:
    yield _task(
        "locate", "Have buried lines located", LOCATE_DAY,
        "Ask the one-call centre or the lines' owners to mark every buried line on the ground, private "
        "lines too (garden lights, irrigation, septic); wait until all have answered",
        source="state one-call laws (read): tolerance zone 18 or 24 in each side",
        caution="No digging before every line is marked. Marks fade and lapse: ask again if the work is late",
    )  # fmt: skip
    yield _task(
        "ask", "Settle the boundary and the rules", LOCATE_DAY,
        "Find the boundary's pins or have it surveyed, ask for local limits on hedges and fences, look "
        "for overhead lines and for sight at the road, and tell the neighbours",
    )  # fmt: skip
    yield _task(
        "clear", "Clear the strip", CLEAR_DAY,
        "Cut and lift grass and weeds; do not dig deep", caution=DIG, item="clearing",
    )  # fmt: skip
    yield _task(
        "mark", "Set the pegs and mark every plant", MARK_DAY,
        "Two people, two tapes; close the tape on the far peg before the first mark", item="flag",
        caution="Driving a peg is digging: " + DIG[0].lower() + DIG[1:],
    )  # fmt: skip
    yield _task(
        "dig", "Dig the holes", DIG_DAY,
        "As wide as the sheet says, no deeper than the root ball; rough sides, firm bottom",
        caution=DIG, item="hole",
    )  # fmt: skip
    yield _task(
        "plant", "Plant", 0,
        "Root flare level with the ground; cut wire and cloth off the top of the ball; fill with the "
        "earth that came out, and water in", caution=DIG, item="plant",
    )  # fmt: skip
    if quantities is None or (quantities["item"] == "mulch").any():
        yield _task(
            "mulch", "Mulch", 0, "Even, to the depth on the sheet, kept off the stems", item="mulch",
            caution="Never heap mulch against a stem",
        )  # fmt: skip
    if _chosen(fence_options) is not None:
        yield _task(
            "fence", "Set the fence", 1, "Posts, braces, wire, gate; the same week, browsing starts at once",
            caution=DIG, item="fence_roll",
        )  # fmt: skip


def _watering(stock, caliper, every) -> Iterator[dict]:
    for stage in water_stages(stock, caliper, often_every_days=every):
        yield _task(
            stage.key, stage.name, stage.first_day,
            "The amount on the sheet, slowly, onto the root ball; none while the soil is moist or frozen, "
            "or after an inch of rain",
            source=SOURCE, item=stage.key, times=stage.times, every_days=stage.every_days,
        )  # fmt: skip


def _after(plants, new, closure, quantities, fence_options, years, curve, table) -> Iterator[dict]:
    yield _task(
        "replace", "Replace losses", year_day(1),
        "Before the second season, with plants of the same size; the allowance was ordered for it",
        caution=DIG, item="plant",
    )  # fmt: skip
    if quantities is None or (quantities["item"] == "mulch").any():
        yield _task(
            "mulch_again", "Top up the mulch", year_day(1), "Back to its depth, off the stems",
            times=MULCH_YEARS, every_days=365, item="mulch",
        )  # fmt: skip
    fence = _chosen(fence_options)
    if fence is not None:
        stands = int(fence["stands_years"])
        yield _task(
            "fence_check", "Walk the fence", 30, "Wire tight, gate shut, nothing fallen on it",
            times=max(1, stands * 365 // 30 - 1), every_days=30,
        )  # fmt: skip
        yield _task(
            "fence_off", "Take the fence down", year_day(stands),
            "When plants are above the animals' reach; look first, and leave it if low twigs are browsed",
            source="growth of the plan, low growth",
        )  # fmt: skip
    clip = _first_clip(plants, new, years, curve, table)
    if clip is not None:
        yield _task(
            "clip", "First clip of the sides", year_day(clip),
            "When neighbouring crowns touch; into green twigs only, and not while birds nest",
            source="growth of the plan, typical growth; " + _COMMON,
        )  # fmt: skip
    closed = _year_closed(closure)
    if closed is not None:
        yield _task(
            "closed", "The row should be closed", year_day(closed),
            "To the height that was asked, with typical growth; compare it with the elevation of that year",
            source="closure of the plan, typical growth",
        )  # fmt: skip


def _chosen(options):
    if options is None or not options["chosen"].any():
        return None
    return options.loc[options["chosen"].to_numpy(bool)].iloc[0]


def _first_clip(plants, new, years, curve, table) -> int | None:
    """First year in which typical crowns of the nearest neighbours touch."""
    gap = least_gap(plants)
    if not np.isfinite(gap):
        return None
    species = species_of(str(new["species"].iloc[0]), table)
    at = np.arange(years + 1)
    tall = height_at(species, at, stock_height_m=float(new["stock_height_m"].iloc[0]), curve=curve)
    touch = np.flatnonzero(spread_at(species, tall) >= gap)
    return max(1, int(touch[0])) if touch.size else None


def _year_closed(closure) -> int | None:
    """Year in which the last row closes, typical growth; None if one never does."""
    if closure is None or not len(closure):
        return None
    typical = closure.loc[closure["growth"] == "typical", "year_closed"]
    return None if not len(typical) or typical.isna().any() else int(typical.max())
