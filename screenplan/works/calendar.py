"""The calendar: from marking the ground to the year in which the row closes.

Days count from planting, day 0. The ground that will be broken is marked first, then buried lines are
asked for, then it is dug while the request holds (`screenplan.works.locating`). Watering follows
`screenplan.works.water`, setting the plants `screenplan.works.handling`, seasons
`screenplan.works.seasons`; years of growth and closure come from the plan. All other days are common
practice, no source.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from screenplan.contracts import SCHEDULE
from screenplan.contracts.tables import table_of, with_notes
from screenplan.ground.errors import refuse
from screenplan.ground.told_years import all_evidence
from screenplan.plan import DEFAULTS, Options
from screenplan.plan.planting import Plants
from screenplan.plan.works import Calendar, Works
from screenplan.planting.growth import TYPICAL
from screenplan.planting.raised import Raised, time_to_raise
from screenplan.planting.species_model import Species
from screenplan.planting.stand import Stand, planned_stand
from screenplan.rules.limit_kinds import Limit, LocateRequest, Nesting, WinterWater
from screenplan.rules.limits import limit_named, limit_of, months_text
from screenplan.works.earth import least_gap
from screenplan.works.fence import chosen_fence
from screenplan.works.handling import handling_of, roots_of, watered_of
from screenplan.works.kinds import Kind, kinds_of
from screenplan.works.locating import FIRST_DIG, LAST_DIG, Request
from screenplan.works.quantities import DIG, MULCH_YEARS
from screenplan.works.seasons import Seasons, judge_planting, season_words, water_by_season
from screenplan.works.tasks import COMMON, PART, task, year_day
from screenplan.works.water import SOURCE, YEAR_DAYS, Stage, water_stages, years_to_establish

#: A planting date this many years back or ahead is a slip.
BACK_YEARS, AHEAD_YEARS = 5, 30
#: Days before planting on which the boundary is settled, turf is lifted and holes are dug.
SETTLE_DAY, CLEAR_DAY, DIG_DAY = -28, -2, -1


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
        Plants, and closure, quantities and fence options if there are any: the year of closure,
        whether there is mulch, and the chosen fence come from them.
    plan : Options, optional
        Of it [calendar], [works], [plants] and [growth]. Without a day of planting days are counted, and
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
    if not len(new):
        raise refuse("no plant is to be set", "Choose a line that has room for plants", key="rows")
    asked = limit_named(limits, plan.calendar.request, LocateRequest, plan.calendar.key("request"))
    birds = limit_named(limits, plan.calendar.nesting, Nesting, plan.calendar.key("nesting"))
    seasons = Seasons(start, None if position_deg is None else position_deg[1])
    kinds = kinds_of(new, species_table)
    notes = [*judge_planting(seasons, kinds, limits)]
    mulched = quantities is None or (quantities["item"] == "mulch").any()
    topped = quantities is None or (quantities["item"] == "mulch_again").any()
    fence = chosen_fence(layers.get("fence_options"))
    stand = planned_stand(new, plan, species_table)
    clip = _first_clip(stand, least_gap(plants))
    raising = _raising_of(kinds, plan.plants)
    notes += _delay(raising, kinds, plan.plants.raised, seasons, today)
    tasks = [
        *_raising(raising, plan.plants.raised),
        *_before(asked, birds, seasons, fence is not None),
        *_planting(kinds, seasons, limits, mulched, fence),
        *_watering(kinds, plan.works, seasons, limits),
        *_after(asked, topped, fence),
        *_clipping(clip, birds, seasons),
        *_closing(layers.get("closure")),
    ]
    if start is not None:
        notes += seasons.doubts()
        notes += _nesting(tasks, birds, seasons, today)
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
            "year": max(0, int((made["first_day"] + 0.5) // YEAR_DAYS)),
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


def _raising_of(kinds: Sequence[Kind], plants: Plants) -> Raised | None:
    """Tell how long the slowest of the kinds that are raised takes; None if they are bought."""
    if plants.raised == "bought":
        return None
    every = [time_to_raise(kind.species, kind.height_m, plants) for kind in kinds]
    return max(every, key=lambda stage: stage.years)


def _raising(raising: Raised | None, way: str) -> Iterator[dict]:
    if raising is None:
        return
    begin = -round(raising.years * YEAR_DAYS)
    cuttings = way == "cuttings"
    yield task(
        "raise", "Take the cuttings" if cuttings else "Sow", begin,
        (
            "From healthy plants of the kind; when in the year and how, by the kind: ask a nursery near you"
            if cuttings
            else "When in the year, and whether the seed must be kept cold before, by the kind: ask a nursery near you"
        ),
        item="cutting" if cuttings else "seed", source=f"years until planting: {raising.source}; {COMMON}",
    )  # fmt: skip
    yield task(
        "pot", "Pot them on", begin + round(min(1.0, raising.years / 2.0) * YEAR_DAYS),
        "When roots fill the pot or the bed: each into a pot of its own, or farther apart; leave out the weak ones",
    )  # fmt: skip


def _delay(
    raising: Raised | None, kinds: Sequence[Kind], way: str, seasons: Seasons, today: dt.date
) -> Iterator[str]:
    """Say in one sentence when what is raised is ready, and what that delays."""
    if raising is None:
        return
    tall = max(kind.height_m for kind in kinds)
    ready = f"Raised from {way}, plants of {{{tall:g} m}} are ready after {raising.years:.1f} years ({raising.source})"
    days = round(raising.years * YEAR_DAYS)
    if seasons.start is None:
        yield (
            f"{ready}: planting, and with it every year that this plan tells, comes so much later than with "
            "bought stock of that height, if they are begun today"
        )
        return
    late = (today + dt.timedelta(days=days) - seasons.start).days
    if late <= 0:
        yield (
            f"{ready}: begun by {seasons.said(-days)} they delay nothing, and the planting on "
            f"{seasons.said(0)} stands"
        )
        return
    then = today + dt.timedelta(days=days)
    yield (
        f"{ready}: begun today they are ready on {then.isoformat()}, {late / YEAR_DAYS:.1f} years after the "
        f"planting on {seasons.said(0)}; every year that this plan tells comes so much later, unless stock is bought"
    )


def _before(asked: LocateRequest, birds: Nesting, seasons: Seasons, fenced: bool) -> Iterator[dict]:
    lines = Request.before(FIRST_DIG, asked)
    yield task(
        "ask", "Settle the boundary and the rules", min(SETTLE_DAY, lines.mark_day - 7),
        "Find the boundary's pins or have it surveyed, ask for local limits on hedges and fences, look "
        "for overhead lines and for sight at the road, and tell the neighbours",
    )  # fmt: skip
    yield task(
        "cut", "Cut what grows on the strip", seasons.before(lines.mark_day - 2, birds.months),
        f"Shrubs and tall growth, to the ground and no deeper; keep it mown until planting. {_birds(birds, seasons)}",
        source=f"{COMMON}; nesting: {birds.source}",
    )  # fmt: skip
    posts = ", each post of the fence" if fenced else ""
    yield task(
        "mark", "Mark all that will be broken", lines.mark_day,
        f"White paint, no peg and no flag yet: each hole at its full width, each peg{posts}, and the edges "
        "of the strip. Two people, two tapes; close the tape on the far end before the first mark",
        item="flag",
        source="Illinois, the one-call centre's own pages (read): the ground is marked in white before lines are asked for",
    )  # fmt: skip
    yield _locate("locate", "Have buried lines located", lines, asked)
    until = seasons.said(lines.last_day)
    more = (
        f"Work goes on after it has lapsed, on {until}: ask anew by now"
        if lines.last_day < LAST_DIG
        else f"Only if something is still to be dug then: the request holds up to {until} at most"
    )
    yield task(
        "renew", "Renew the request before it lapses", lines.renew_day,
        f"{more}. Renewing takes as long as asking; a mark that can no longer be read is asked for at once",
        source=f"{asked.source} ({asked.status}), the day of asking counted",
        caution=_LAPSED,
    )  # fmt: skip
    yield task(
        "pegs", "Set the pegs and flag every plant", FIRST_DIG,
        "Two people, two tapes; close the tape on the far peg before the first flag", item="peg",
        caution="Driving a peg is digging: " + f"{DIG}".replace("Have", "have", 1),
    )  # fmt: skip
    yield task(
        "clear", "Lift the turf of the strip", CLEAR_DAY,
        "First take each locator's mark over to the sides of the strip: its paint and flags go with the "
        "turf. Lift grass and weeds, no deeper; look for nests in the grass before",
        caution=DIG, item="clearing",
    )  # fmt: skip


#: At a request that may have lapsed.
_LAPSED = "Nothing is dug on a request that has lapsed"


def _locate(key: str, name: str, lines: Request, asked: LocateRequest) -> dict:
    return task(
        key, name, lines.ask_day,
        "Ask the one-call centre or the lines' owners to mark every buried line on the ground, private "
        f"lines too (garden lights, irrigation, septic), at least {asked.wait_working_days:g} working days "
        "before digging, and wait until all have answered. The request is taken to hold for "
        f"{asked.life_days:g} days, this one counted: ask which days hold where you are",
        source=f"{asked.source} ({asked.status}); tolerance zone 18 or 24 in each side: state one-call laws (read)",
        caution="No digging before every buried line is marked. Marks fade and lapse: ask again if the work is late",
        until=lines.answered_day,
    )  # fmt: skip


def _birds(birds: Nesting, seasons: Seasons) -> str:
    """Say when birds nest, and that the local law decides."""
    when = f", {months_text(seasons.months(birds.months))}" if seasons.known else ""
    return (
        f"Not while birds nest{when} (by {birds.source}): the law where you are decides; a nest in use "
        "stays in any month"
    )


def _planting(
    kinds: Sequence[Kind], seasons: Seasons, limits, mulched: bool, fence
) -> Iterator[dict]:
    roots, handling = roots_of(kinds), handling_of(kinds)
    yield task(
        "dig", "Dig the holes", DIG_DAY,
        f"As wide as the sheet says, no deeper than the {roots}; rough sides, firm bottom",
        caution=DIG, item="hole",
    )  # fmt: skip
    months = season_words(seasons, kinds, limits)
    season = f". Best set in {months}; the local custom decides" if months else ""
    yield task("plant", "Plant", 0, handling.says + season, source=handling.source, item="plant")
    if mulched:
        yield task(
            "mulch", "Mulch", 0, "Even, to the depth on the sheet, kept off the stems", item="mulch",
            caution="Never heap mulch against a stem",
        )  # fmt: skip
    if fence is not None:
        yield task(
            "fence", "Set the fence", LAST_DIG,
            "Posts, braces, wire, gate; the same week, browsing starts at once",
            caution=DIG, item="fence_roll",
        )  # fmt: skip


def _watering(kinds: Sequence[Kind], works: Works, seasons: Seasons, limits) -> Iterator[dict]:
    longest: dict[str, Stage] = {}
    for kind in kinds:
        years = years_to_establish(kind, works.caliper)
        for stage in water_stages(years, often_every_days=works.water_every):
            longest[stage.key] = max(
                stage, longest.get(stage.key, stage), key=lambda stage: stage.times
            )
    rest = limit_of(limits, WinterWater)
    for run in water_by_season(list(longest.values()), seasons, limits):
        stage = run.stage
        says = (
            "Only if the soil is dry, not frozen, and the day is mild; evergreens first"
            if run.winter
            else f"The amount on the sheet, slowly, over the {watered_of(kinds)}; none while the soil is moist "
            "or frozen, or after an inch of rain"
        )
        yield task(
            stage.key, stage.name, stage.first_day, says,
            source=f"{rest.source} ({rest.status})" if run.winter and rest else SOURCE,
            item="water_round" if run.winter else stage.key, times=stage.times,
            every_days=stage.every_days if stage.times > 1 else None,
        )  # fmt: skip


def _after(asked: LocateRequest, topped: bool, fence) -> Iterator[dict]:
    replace = year_day(1)
    lines = Request.before(replace, asked)
    again = _locate("locate_again", "Have lines located again, for replacements", lines, asked)
    yield again | {
        "says": "If a plant is to be replaced: mark its hole in white, then ask anew as before planting, "
        "for the first request has lapsed"
    }
    yield task(
        "replace", "Replace losses", replace,
        "Before the second season, with plants of the same size; the allowance was ordered for it",
        caution=DIG, item="plant",
    )  # fmt: skip
    if topped:
        yield task(
            "mulch_again", "Top up the mulch", year_day(1), "Back to its depth, off the stems",
            times=MULCH_YEARS, every_days=365, item="mulch_again",
        )  # fmt: skip
    if fence is not None:
        stands = int(fence["stands_years"])
        yield task(
            "fence_check", "Walk the fence", 30, "Wire tight, gate shut, nothing fallen on it",
            times=max(1, stands * 365 // 30 - 1), every_days=30,
        )  # fmt: skip
        yield task(
            "fence_off", "Take the fence down", year_day(stands),
            "When plants are above the animals' reach; look first, and leave it if low twigs are browsed",
            source="growth of the plan, low growth",
        )  # fmt: skip


def _clipping(clip: int | None, birds: Nesting, seasons: Seasons) -> Iterator[dict]:
    if clip is None:
        return
    yield task(
        "clip", "First clip of the sides", seasons.after(year_day(clip), birds.months),
        f"When neighbouring crowns touch; into green twigs only. {_birds(birds, seasons)}",
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
    tasks: Sequence[dict], birds: Nesting, seasons: Seasons, today: dt.date
) -> Iterator[str]:
    """Warn if the ground is cleared while birds nest."""
    if seasons.start is None or not seasons.falls(CLEAR_DAY, birds.months):
        return
    cut = next(task["first_day"] for task in tasks if task["task"] == "cut")
    months = months_text(seasons.months(birds.months))
    free = seasons.said(seasons.after(CLEAR_DAY, birds.months) - CLEAR_DAY)
    before = (
        f"the strip is cut before, on {seasons.said(cut)}, and kept mown"
        if seasons.start + dt.timedelta(days=cut) >= today
        else "it is too late to cut the strip before"
    )
    yield (
        f"The ground is broken while birds nest, {months} ({birds.source}): {before}; look for nests "
        f"first and leave what holds one, or plant from {free} on. The law where you are decides"
    )


def _first_clip(new: Stand, least_gap_m: float) -> int | None:
    """First year in which typical crowns of some kind touch, or are wider than they are kept."""
    kept = [start.species.kept_width_m or np.inf for start in new.starts]
    most = np.minimum(least_gap_m, kept)
    touch = (new.sizes[1, :, TYPICAL] >= most[:, None]).any(axis=0)
    return max(1, int(touch.argmax())) if touch.any() else None


def _year_closed(closure) -> int | None:
    """Year in which the last row closes, typical growth; None if one never does."""
    if closure is None or not len(closure):
        return None
    typical = closure.loc[closure["growth"] == "typical", "year_closed"]
    return None if not len(typical) or typical.isna().any() else int(typical.max())
