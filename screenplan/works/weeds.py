"""Weeding, in the growing months of the first years and of the year before planting.

A forester of the Natural Resources Conservation Service advises two or three passes a season for three to five
years, and to stop in late summer so that plants harden (University of Nebraska, CropWatch, 2008, read). That
the months are April to August, and passes evenly apart, is custom, no source. That the site is prepared from the year
before planting on: University of Nebraska-Lincoln, Windbreak Establishment, EC1764 (an excerpt read).

Moderate infestations of annual weeds can reduce the growth of seedlings in a shelterbelt by 50 to 75 per cent
(Government of Alberta, R. Spencer, shelterbelts, read). What the plan loses is its own figure.
"""

from __future__ import annotations

from collections.abc import Iterator

from screenplan.contracts.task_times import year_day
from screenplan.plan.works import Weeds
from screenplan.works.seasons import Seasons
from screenplan.works.tasks import COMMON, task

SOURCE = "Natural Resources Conservation Service, in CropWatch of the University of Nebraska, 2008 (read); the days: custom, no source"
PREPARE_SOURCE = "University of Nebraska-Lincoln, Windbreak Establishment, EC1764 (an excerpt read): it begins in the year before; the days: custom, no source"
#: Of what weeds that are left alone cost.
NEGLECT_SOURCE = "Government of Alberta, shelterbelts (read)"
#: Months of the northern half in which weeds are fought (custom, no source, but for the stop in late summer).
MONTHS = (4, 5, 6, 7, 8)
#: Days without weeding after planting, and before it (custom, no source).
REST_DAYS = 30
#: Days from one pass to the next where no season is known (custom, no source).
APART_DAYS = 45
_NESTS = "Look for nests first, and leave what holds one"


def times_of(weeds: Weeds) -> int:
    """Count the passes of all years, those before planting too.

    Examples
    --------
    >>> times_of(Weeds(prepare=2, passes=3, years=5))
    17
    """
    return weeds.prepare + weeds.passes * weeds.years


def weeding_tasks(weeds: Weeds, seasons: Seasons, hours: float | None) -> Iterator[dict]:
    """Yield a task for each pass.

    Parameters
    ----------
    weeds : Weeds
    seasons : Seasons
        Where none is known, passes are so many days apart.
    hours : float or None
        Of one person for one pass, if they are known.
    """
    for day in pass_days(-year_day(1), -REST_DAYS, weeds.prepare, seasons):
        yield task(
            "prepare", "Fight weeds on the strip", day,
            "The year before planting: mow it close, or cover it. Break no ground: buried lines are not "
            "located yet", source=PREPARE_SOURCE, caution=_NESTS, item="weeding", hours=hours,
        )  # fmt: skip
    for year in range(weeds.years):
        for day in pass_days(year_day(year) + REST_DAYS, year_day(year + 1), weeds.passes, seasons):
            yield task(
                "weed", f"Weed the strip, year {year + 1}", day,
                "Hoe shallow and pull by hand at the stems, and leave mulch where it is; from spring to late summer, "
                "not later, so that plants harden before winter",
                source=SOURCE, caution=_NESTS, item="weeding", hours=hours,
            )  # fmt: skip


def weeding_notes(weeds: Weeds, seasons: Seasons, past_days: int | None) -> Iterator[str]:
    """Say that it is too late to prepare the ground, and what neglect costs.

    Parameters
    ----------
    weeds : Weeds
    seasons : Seasons
    past_days : int or None
        Today, counted from planting; None without a day of planting.
    """
    days = pass_days(-year_day(1), -REST_DAYS, weeds.prepare, seasons)
    late = 0 if past_days is None else sum(day < past_days for day in days)
    if late:
        yield (
            f"{late} of {weeds.prepare} passes before planting are in the past: plant a year later, or set "
            f"{weeds.key('prepare')} = 0 ({COMMON})"
        )
    if weeds.neglect:
        behind = weeds.neglect * weeds.years
        yield (
            f"Growth is told as if weeds were left alone for {weeds.years} years and took {weeds.neglect:.0%} of it "
            f"({weeds.key('neglect')}, your figure; 50 to 75 % is published for seedlings: {NEGLECT_SOURCE}): the "
            f"plants stay {behind:.1f} years behind weeded ones"
        )


def pass_days(first: int, end: int, passes: int, seasons: Seasons) -> list[int]:
    """Lay passes evenly over the days of the growing months from a first day to one before the end.

    Parameters
    ----------
    first, end : int
        Days counted from planting.
    passes : int
    seasons : Seasons
    """
    if not seasons.known or seasons.start is None:
        return [first + APART_DAYS * number for number in range(passes)]
    days = [day for day in range(first, end) if seasons.falls(day, MONTHS)]
    return [days[(2 * number + 1) * len(days) // (2 * passes)] for number in range(passes)]
