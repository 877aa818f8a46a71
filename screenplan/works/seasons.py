"""Dates held against the seasons: which half of the earth, when birds nest, when winter is.

Months of limits are those of the northern half; on the southern half they are six months later
(arithmetic). Between the tropics a year has no such seasons, and nothing is judged.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from screenplan.plan.works import Calendar
from screenplan.rules.limit_kinds import Nesting, WinterWater
from screenplan.rules.limits import limit_of, months_text
from screenplan.works.water import Stage

#: Latitude of the tropics, degrees (arithmetic: the tilt of the earth's axis).
TROPIC_DEG = 23.44
#: Days of a leap year.
LONGEST_YEAR = 366


@dataclass(frozen=True)
class Seasons:
    """The seasons of a site, and the day of planting.

    Parameters
    ----------
    start : date or None
        Day of planting.
    latitude_deg : float or None
        None if the site has no place.
    """

    start: dt.date | None
    latitude_deg: float | None

    @classmethod
    def of(cls, calendar: Calendar, position_deg: tuple[float, float] | None) -> Seasons:
        """Give the seasons of a plan's day of planting, and of a place by longitude and latitude."""
        start = None if calendar.planting is None else dt.date.fromisoformat(calendar.planting)
        return cls(start, None if position_deg is None else position_deg[1])

    @property
    def known(self) -> bool:
        """Whether the site has the seasons of which the limits speak."""
        return self.latitude_deg is not None and abs(self.latitude_deg) >= TROPIC_DEG

    def months(self, months: Iterable[int]) -> frozenset[int]:
        """Turn months of the northern half into those of the site."""
        south = self.latitude_deg is not None and self.latitude_deg < 0
        return frozenset((int(month) + 5) % 12 + 1 if south else int(month) for month in months)

    def falls(self, day: int, months: Iterable[int]) -> bool:
        """Tell whether a day counted from planting falls into months of the northern half."""
        if self.start is None or not self.known:
            return False
        return (self.start + dt.timedelta(days=day)).month in self.months(months)

    def after(self, day: int, months: Iterable[int]) -> int:
        """Give the first day, from this one on, that is outside of such months."""
        return next((at for at in range(day, day + LONGEST_YEAR) if not self.falls(at, months)), day)  # fmt: skip

    def before(self, day: int, months: Iterable[int]) -> int:
        """Give the last day, up to this one, that is outside of such months."""
        return next((at for at in range(day, day - LONGEST_YEAR, -1) if not self.falls(at, months)), day)  # fmt: skip

    def said(self, day: int) -> str:
        """Write a day counted from planting: its date, if there is one."""
        if self.start is None:
            return f"day {day}"
        return (self.start + dt.timedelta(days=day)).isoformat()

    def doubts(self, *, normals: bool) -> Iterator[str]:
        """Say why no date is held against the seasons, if that is so; with normals that of planting is."""
        dates = "no date but that of planting, by your normals," if normals else "no date"
        if self.latitude_deg is None:
            yield f"The site has no place on the earth: {dates} was held against the seasons"
        elif not self.known:
            yield (
                f"Between the tropics there are no such seasons as the limits name: {dates} was held "
                "against them, ask locally"
            )


def nesting_said(birds: Nesting, seasons: Seasons, *, clearing: bool = False) -> str:
    """Say when birds nest, and that the local law decides; of clearing its own months."""
    months = birds.cleared if clearing else birds.months
    when = f", {months_text(seasons.months(months))}" if seasons.known else ""
    return (
        f"Not while birds nest{when} (by {birds.source}): the law where you are decides; a nest in use "
        "stays in any month"
    )


@dataclass(frozen=True)
class Watering:
    """A run of waterings without a winter in it, or those of one winter.

    Parameters
    ----------
    stage : Stage
        By its own days; of a winter, the stage that it breaks.
    winter : bool
    """

    stage: Stage
    winter: bool = False


def water_by_season(stages: Sequence[Stage], seasons: Seasons, limits) -> list[Watering]:
    """Break the stages of watering at winters, in each of which there is little.

    Parameters
    ----------
    stages : sequence of Stage
    seasons : Seasons
    limits : mapping or None

    Returns
    -------
    list of Watering
        In the order of their days; the stages themselves if no season is known.
    """
    rest = limit_of(limits, WinterWater)
    if rest is None:
        return [Watering(stage) for stage in stages]
    made: list[Watering] = []
    winters: dict[int, list[int]] = {}
    for stage in stages:
        days = range(stage.first_day, stage.last_day + 1, stage.every_days)
        run: list[int] = []
        for day in days:
            if not seasons.falls(day, rest.months):
                run.append(day)
                continue
            # A winter is told by its first day, whichever stage falls into it.
            first = seasons.before(day, rest.months) + 1
            winters.setdefault(first, []).append(day)
            if run:
                made.append(Watering(_part(stage, run)))
                run = []
        if run:
            made.append(Watering(_part(stage, run)))
    for winter in winters.values():
        times = min(int(rest.times), 1 + (max(winter) - min(winter)) // 30)
        if times:
            apart = max((max(winter) - min(winter)) // times, 1)
            made.append(
                Watering(Stage("water_winter", "Water in winter", min(winter), apart, times), True)
            )
    return sorted(made, key=lambda season: season.stage.first_day)


def _part(stage: Stage, days: Sequence[int]) -> Stage:
    return Stage(stage.key, stage.name, days[0], stage.every_days, len(days))
