"""The calendar: from marking the ground to the year in which the row closes.

Days count from planting, day 0. The ground that will be broken is marked first, then buried lines are
asked for, then it is dug while the request holds (`screenplan.works.until_planted`). How many days that takes
follows `screenplan.works.durations`, watering `screenplan.works.water`, setting the plants
`screenplan.works.handling`, seasons `screenplan.works.seasons`; years of growth and closure come from the
plan. All other days are common practice, no source.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import pandas as pd

from screenplan.contracts import SCHEDULE
from screenplan.contracts.tables import table_of, with_notes
from screenplan.contracts.task_times import SLIP_DAYS, YEAR_DAYS, year_day, year_of
from screenplan.ground.errors import refuse
from screenplan.ground.told_years import all_evidence
from screenplan.plan import DEFAULTS, Options
from screenplan.plan.works import Calendar
from screenplan.planting.species_model import Species
from screenplan.planting.stand import planned_stand
from screenplan.rules.limit_kinds import Limit, LocateRequest, Nesting, WinterWater
from screenplan.rules.limits import limit_named, limit_of, months_text
from screenplan.works.clipping import clip_tasks, first_clip
from screenplan.works.durations import Durations, days_of_work, hours_to_replace
from screenplan.works.earth import least_gap
from screenplan.works.fence import ANIMALS, chosen_fence
from screenplan.works.handling import watered_of
from screenplan.works.kinds import Kind, kinds_of
from screenplan.works.locating import Request
from screenplan.works.ordering import order_of, order_tasks
from screenplan.works.planting_months import (
    frozen_days,
    judge_planting,
    move_into,
    next_window,
    windows_of,
)
from screenplan.works.quantities import DIG, MULCH_YEARS
from screenplan.works.rates import hours_of, rate_of
from screenplan.works.seasons import Seasons, nesting_said, water_by_season
from screenplan.works.tasks import COMMON, PART, task
from screenplan.works.until_planted import (
    delay_of,
    locate,
    raise_tasks,
    raising_of,
    setting_tasks,
    tasks_before,
)
from screenplan.works.water import SOURCE
from screenplan.works.water_months import month_tasks, months_given
from screenplan.works.watering import longest_stages
from screenplan.works.weeds import times_of, weeding_notes, weeding_tasks

#: A planting date this many years back or ahead is a slip.
BACK_YEARS, AHEAD_YEARS = 5, 30


def schedule_work(
    layers: Mapping[str, Any],
    *,
    plan: Options = DEFAULTS,
    position_deg: tuple[float, float] | None = None,
    limits: Mapping[str, Limit] | None = None,
    species_table: Mapping[str, Species] | None = None,
    today: dt.date | None = None,
) -> pd.DataFrame:
    """Lay out the tasks in order of their first day.

    Parameters
    ----------
    layers : mapping
        Plants, and closure, quantities, fence options, new screens and water by month if there are any: the year of
        closure, whether there is mulch, the chosen fence, what is built first, and the rounds that rain leaves come from
        them.
    plan : Options, optional
        Of it [calendar], [crew], [cost] hours, [works], [weeds], [plants] and [growth]. Without a day of planting days are counted, and
        dates stay empty.
    position_deg : tuple of 2 floats, optional
        Longitude and latitude of the site; without them no date is held against the seasons.
    limits, species_table : mapping, optional
        By default the shipped ones.
    today : date, optional
        To tell a date in the past; by default the computer's.

    Returns
    -------
    DataFrame
        The ground is marked and buried lines are asked for before anything is dug, in the first weeks
        and again in later years. Where a date and the seasons are known, a winter breaks the stages
        of watering, and no clipping or cutting falls into the months in which birds nest.

    Raises
    ------
    InputError
        If the planting date is more than `BACK_YEARS` back or `AHEAD_YEARS` ahead, or one on
        which the stock would die.
    """
    today, plants = today or dt.date.today(), layers["plants"]
    quantities = layers.get("quantities")
    start = _read_date(plan.calendar, today)
    new = plants.loc[~plants["existing"].to_numpy(bool)]
    screens = layers.get("new_screens")
    built = () if screens is None else tuple(dict.fromkeys(screens["option"]))
    if not len(new) and not built:
        raise refuse("no plant is to be set", "Choose a line that has room for plants", key="rows")
    asked = limit_named(limits, plan.calendar.request, LocateRequest, plan.calendar.key("request"))
    birds = limit_named(limits, plan.calendar.nesting, Nesting, plan.calendar.key("nesting"))
    seasons = Seasons.of(plan.calendar, position_deg)
    if not len(new):
        work = days_of_work(quantities, plan, fenced=False)
        tasks = [*tasks_before(asked, birds, seasons, work, ordered=0, fenced=False, built=built, planted=False)]  # fmt: skip
        tasks.sort(key=lambda task: task["first_day"])
        return table_of(SCHEDULE, _dated(tasks, start))
    kinds = kinds_of(new, species_table)
    windows = windows_of(kinds, seasons, limits, plan)
    notes = [*judge_planting(windows, seasons, today)]
    mulched = quantities is None or bool((quantities["item"] == "mulch").any())
    fence = chosen_fence(layers.get("fence_options"))
    months = months_given(layers.get("water_by_month"))
    stand = planned_stand(new, plan, species_table)
    kept = [start.species for start in stand.starts if start.species.is_clipped]
    due = [k for k, start in enumerate(stand.starts) if start.species.is_clipped or not kept]
    clip = first_clip([stand.starts[k] for k in due], stand.sizes[:, due], least_gap(plants))
    fenced = fence is not None
    work = days_of_work(quantities, plan, fenced=fenced)
    notes += work.notes()
    notes += frozen_days(seasons, work.first_dig, work.last_dig, limits, plan)
    order, bought = order_of(kinds, quantities, limits), plan.plants.raised == "bought"
    raising = raising_of(kinds, plan.plants)
    notes += delay_of(raising, kinds, plan.plants.raised, seasons, today)
    tasks = [
        *raise_tasks(raising, plan.plants.raised),
        *(order_tasks(order) if bought else ()),
        *tasks_before(
            asked,
            birds,
            seasons,
            work,
            ordered=order.day if bought else 0,
            fenced=fenced,
            built=built,
        ),
        *setting_tasks(kinds, windows, work, order, mulched=mulched, fenced=fenced),
        *(
            _watering(kinds, quantities, plan, seasons, limits)
            if months is None
            else month_tasks(months, watered_of(kinds))
        ),
        *_weeding(quantities, plan, seasons),
        *_after(asked, quantities, work, plan, fence, move_into(windows, seasons, year_day(1))),
        *(
            clip_tasks(
                clip,
                _height_of(kept),
                _hours_for("clipped", quantities, plan),
                birds,
                seasons,
                plan,
            )
            if kept
            else _clipping(clip, birds, seasons)
        ),
        *_closing(layers.get("closure")),
    ]
    notes += () if start is None else seasons.doubts(normals=bool(windows))
    notes += weeding_notes(plan.weeds, seasons, None if start is None else (today - start).days)
    if start is not None:
        notes += _nesting(tasks, birds, seasons, work.clear.first_day, today)
        ordered = start + dt.timedelta(days=order.day)
        if bought and ordered < today <= start:
            notes.append(
                f"The plants should have been ordered by {ordered.isoformat()} ({order.source}): order at once, and "
                f"ask what is still to be had{next_window(windows, today - dt.timedelta(days=order.day))}"
            )
        if start < today:
            notes.append(
                f"The planting date {start.isoformat()} is in the past: tasks that are over stand in the "
                "calendar too"
            )
    tasks.sort(key=lambda task: task["first_day"])
    return with_notes(table_of(SCHEDULE, _dated(tasks, start)), notes)


def _dated(tasks: Sequence[dict], start: dt.date | None) -> Iterator[dict]:
    """Give the tasks their last days, years and dates, and those of one key a number."""
    seen: dict[str, int] = {}
    for made in tasks:
        seen[made["task"]] = number = seen.get(made["task"], 0) + 1
        last = made["first_day"] + (made.get("every_days") or 0) * (made["times"] - 1)
        last = made.pop("until", last)
        yield made | {
            "part": PART[made["task"]],
            "task": made["task"] if number == 1 else f"{made['task']}_{number}",
            "last_day": last,
            "year": max(0, year_of(made["first_day"])),
            "first_date": _date(start, made["first_day"]),
            "last_date": _date(start, last),
        }


def _read_date(asked: Calendar, today: dt.date) -> dt.date | None:
    if asked.planting is None:
        return None
    date = dt.date.fromisoformat(asked.planting)
    years = (date - today).days / YEAR_DAYS
    if not -BACK_YEARS <= years <= AHEAD_YEARS:
        raise refuse(
            f"the planting date {date.isoformat()} is {abs(years):.0f} years "
            f"{'back' if years < 0 else 'ahead'}",
            f"Give a day at most {BACK_YEARS} years back or {AHEAD_YEARS} ahead, as 2027-04-10",
            key=asked.key("planting"),
        )
    return date


def _date(start: dt.date | None, day: int) -> str | None:
    return None if start is None else (start + dt.timedelta(days=int(day))).isoformat()


def _weeding(quantities, plan: Options, seasons: Seasons) -> Iterator[dict]:
    hours = _hours_for("weeding", quantities, plan)
    times = times_of(plan.weeds)
    yield from weeding_tasks(plan.weeds, seasons, None if hours is None else hours / times)


def _hours_for(item: str, quantities, plan: Options) -> float | None:
    """Give the hours that all of a quantity takes; None if it is not counted, or has no rate."""
    if quantities is None:
        return None
    counted = quantities.loc[(quantities["item"] == item).to_numpy(bool)].to_dict("records")
    return hours_of(counted[0], plan) if counted else None


def _height_of(kept: Sequence[Species]) -> float | None:
    """Give the height at which all of some kinds are kept; None if they are kept at several, or at none."""
    heights = {species.kept_height_m for species in kept}
    return heights.pop() if len(heights) == 1 else None


def _watering(kinds: Sequence[Kind], quantities, plan: Options, seasons: Seasons, limits) -> Iterator[dict]:  # fmt: skip
    rest = limit_of(limits, WinterWater)
    runs = water_by_season(longest_stages(kinds, plan.works), seasons, limits)
    rounds = Counter[str]()
    for run in runs:
        rounds[run.stage.key] += run.stage.times
    for run in runs:
        stage = run.stage
        says = (
            "Only if the soil is dry, not frozen, and the day is mild; evergreens first"
            if run.winter
            else f"The amount on the sheet, slowly, over the {watered_of(kinds)}; none while the soil is moist "
            "or frozen, or after an inch of rain"
        )
        hours = _hours_to_pour(stage.key, quantities, plan)
        yield task(
            stage.key, stage.name, stage.first_day, says,
            source=f"{rest.source} ({rest.status})" if run.winter and rest else SOURCE,
            item=stage.key, times=stage.times,
            every_days=stage.every_days if stage.times > 1 else None,
            hours=None if hours is None else hours / rounds[stage.key],
        )  # fmt: skip


def _hours_to_pour(item: str, quantities, plan: Options) -> float | None:
    """Give the hours to pour all the water of a stage; None if it is not counted, or has no rate."""
    rate = rate_of("water_round", plan)
    if quantities is None or rate is None:
        return None
    return rate.hours * float(quantities.loc[quantities["item"] == item, "amount"].sum())


def _after(
    asked: LocateRequest, quantities, work: Durations, plan: Options, fence, replace: int
) -> Iterator[dict]:
    topped = (
        []
        if quantities is None
        else quantities.loc[quantities["item"] == "mulch_again"].to_dict("records")
    )
    lines = Request.before(replace, asked)
    again = locate("locate_again", "Have lines located again, for replacements", lines, asked)
    yield again | {
        "says": "If a plant is to be replaced: mark its hole in white, then ask anew as before planting, "
        "for the first request has lapsed"
    }
    yield task(
        "replace", "Replace losses", replace,
        "Before the second season, with plants of the same size; the allowance was ordered for it",
        caution=DIG, item="plant", hours=hours_to_replace(quantities, work),
    )  # fmt: skip
    if topped or quantities is None:
        hours = hours_of(topped[0], plan) if topped else None
        yield task(
            "mulch_again", "Top up the mulch", year_day(1) + SLIP_DAYS, "Back to its depth, off the stems",
            times=MULCH_YEARS, every_days=365, item="mulch_again",
            hours=None if hours is None else hours / MULCH_YEARS,
        )  # fmt: skip
    look, reach = "", plan.browsing.reach
    if reach is not None:
        look = (
            f". First see in the table browsed_views which views open with the leaves up to {{{reach:.2f} m}} gone: for as "
            "long as those shall be closed, leave it"
        )
    elif plan.fence.animal == "deer":
        look = f". Set browsing.reach, such as {{{ANIMALS['deer'].reach_m:.1f} m}}, to see which views would open then"
    if fence is not None:
        stands = int(fence["stands_years"])
        yield task(
            "fence_check", "Walk the fence", 30, "Wire tight, gate shut, nothing fallen on it",
            times=max(1, stands * 365 // 30 - 1), every_days=30,
        )  # fmt: skip
        yield task(
            "fence_off", "Take the fence down", year_day(stands),
            f"When plants are above the animals' reach; look first, and leave it if low twigs are browsed{look}",
            source="growth of the plan, low growth",
        )  # fmt: skip


def _clipping(clip: int | None, birds: Nesting, seasons: Seasons) -> Iterator[dict]:
    if clip is None:
        return
    yield task(
        "clip", "First clip of the sides", seasons.after(year_day(clip), birds.months),
        f"When neighbouring crowns touch; into green twigs only. {nesting_said(birds, seasons)}",
        source=f"growth of the plan, typical growth; {COMMON}; nesting: {birds.source}",
    )  # fmt: skip


def _closing(closure) -> Iterator[dict]:
    closed = _year_closed(closure)
    if closed is not None:
        evidence = all_evidence(closure["evidence"])
        rests = f", which rests on: {evidence}" if evidence else ""
        yield task(
            "closed", "The row should be closed", year_day(closed),
            f"To the height that was asked, with typical growth{rests}; compare it with the elevation of that year",
            source="closure of the plan, typical growth",
        )  # fmt: skip


def _nesting(
    tasks: Sequence[dict], birds: Nesting, seasons: Seasons, clear_day: int, today: dt.date
) -> Iterator[str]:
    """Warn if the ground is cleared while birds nest."""
    if seasons.start is None or not seasons.falls(clear_day, birds.cleared):
        return
    cut = next(task["first_day"] for task in tasks if task["task"] == "cut")
    months = months_text(seasons.months(birds.cleared))
    free = seasons.said(seasons.after(clear_day, birds.cleared) - clear_day)
    before = (
        f"the strip is cut before, on {seasons.said(cut)}, and kept mown"
        if seasons.start + dt.timedelta(days=cut) >= today
        else "it is too late to cut the strip before"
    )
    yield (
        f"The ground is broken while birds nest, {months} ({birds.source}): {before}; look for nests "
        f"first and leave what holds one, or plant from {free} on. The law where you are decides"
    )


def _year_closed(closure) -> int | None:
    """Year in which the last row closes, typical growth; None if one never does."""
    if closure is None or not len(closure):
        return None
    typical = closure.loc[closure["growth"] == "typical", "year_closed"]
    return None if not len(typical) or typical.isna().any() else int(typical.max())
