"""How many days the work takes, by its amounts, the hours for one of each, and the crew.

Days count from planting, day 0. Each of pegs, turf and holes ends before the next begins, and the holes before
the planting; mulch follows the planting as soon as it is done, and the fence the mulch.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import pandas as pd

from screenplan.plan import Options
from screenplan.plan.works import Crew
from screenplan.works.rates import NOISE, Rate, hours_of, rate_of, sold_as

#: The items whose hours make up each task. Of a group those count for which the plan has rates; if
#: there are none, those that are shipped.
_GROUPS = {
    "pegs": ("peg", "flag", "line"),
    "clear": ("clearing",),
    "dig": ("hole dug",),
    "mulch": ("mulch",),
    "fence": (
        "fence_roll fence_line_post fence_corner_post fence_brace fence_gate fence_staple cage_post",
    ),
}


@dataclass(frozen=True)
class Span:
    """The days of a task, and the hours that one person would take; None if no rate is known."""

    first_day: int
    last_day: int
    hours: float | None = None

    @property
    def days(self) -> int:
        """How many there are."""
        return self.last_day - self.first_day + 1


@dataclass(frozen=True)
class Durations:
    """The days of the tasks round the planting.

    Parameters
    ----------
    pegs, clear, dig, plant, mulch, fence : Span
        Of what is not done the days on which it would be.
    last_dig : int
        The last day on which the ground is broken.
    crew : Crew
    sources : tuple of str
        Where the shipped rates come from that were used.
    """

    pegs: Span
    clear: Span
    dig: Span
    plant: Span
    mulch: Span
    fence: Span
    last_dig: int
    crew: Crew
    sources: tuple[str, ...] = ()

    @property
    def first_dig(self) -> int:
        """The first day on which the ground is broken: pegs are driven."""
        return self.pegs.first_day

    def said(self, span: Span) -> str:
        """Say how long a task takes; empty if that is not known, or within the day."""
        if span.hours is None or span.days == 1:
            return ""
        return f". About {span.hours:.0f} h: {span.days} days for {_people(self.crew)}"

    def notes(self) -> Iterator[str]:
        """Say by what the days are counted, where some task takes more than one."""
        spans = (self.pegs, self.clear, self.dig, self.plant, self.mulch, self.fence)
        if self.sources and any(span.days > 1 for span in spans):
            yield (
                f"The days of work are those of {_people(self.crew)}, by usual rates that may not be yours: "
                "give your own under [crew] and [cost] hours"
            )


def days_of_work(quantities: pd.DataFrame | None, plan: Options, *, fenced: bool) -> Durations:
    """Lay the tasks round the day of planting, as many days each as the crew needs.

    Parameters
    ----------
    quantities : DataFrame or None
        Without it each task takes a day.
    plan : Options
        Of it [crew] and [cost].
    fenced : bool
        Whether a fence is set.
    """
    hours: dict[str, float | None] = dict.fromkeys((*_GROUPS, "plant"))
    sources: list[str] = []
    if quantities is not None:
        rows = quantities.to_dict("records")
        for task, groups in _GROUPS.items():
            hours[task] = _sum(_of_groups(groups, rows, plan, sources))
        hours["plant"] = _sum(_setting(rows, plan, sources))
    each_day = plan.crew.people * plan.crew.hours
    begin, spans = 0, {}
    for task in ("dig", "clear", "pegs"):
        days = _whole_days(hours[task], each_day)
        spans[task] = Span(begin - days, begin - 1, hours[task])
        begin -= days
    # Mulch begins on the day on which the last plant is set, if that leaves time.
    plant, mulch = hours["plant"] or 0.0, hours["mulch"] or 0.0
    spans["plant"] = Span(0, _whole_days(plant, each_day) - 1, hours["plant"])
    first = math.floor(plant / each_day + NOISE)
    done = max(first, _whole_days(plant + mulch, each_day) - 1)
    spans["mulch"] = Span(first, done, hours["mulch"])
    last = spans["plant"].last_day if hours["mulch"] is None else max(done, spans["plant"].last_day)
    spans["fence"] = Span(last + 1, last + _whole_days(hours["fence"], each_day), hours["fence"])
    last_dig = spans["fence"].last_day if fenced else spans["plant"].last_day + 1
    return Durations(
        **spans, last_dig=last_dig, crew=plan.crew, sources=tuple(dict.fromkeys(sources))
    )


def hours_to_replace(quantities: pd.DataFrame | None, work: Durations) -> float | None:
    """Hours to dig for, and set again, as many plants as are ordered to replace the dead."""
    if quantities is None or work.dig.hours is None or work.plant.hours is None:
        return None
    ordered = quantities.loc[quantities["plants"].notna().to_numpy(bool)]
    planted = float(ordered["plants"].sum())
    words = quantities["item"].str.partition(" ")[0]
    again = float(quantities.loc[(words == "plant_again").to_numpy(bool), "amount"].sum())
    dead = float(ordered["amount"].sum()) - planted + again
    return dead * (work.dig.hours + work.plant.hours) / planted if planted else None


def _whole_days(hours: float | None, each_day: float) -> int:
    return max(1, math.ceil((hours or 0.0) / each_day - NOISE))


def _of_groups(
    groups: Iterable[str], rows: list[dict], plan: Options, sources: list[str]
) -> Iterator[float]:
    for group in groups:
        listed = group.split()
        found = [row for row in rows if row["item"].partition(" ")[0] in listed]
        rates = [(row, rate_of(row["item"], plan, sold=sold_as(row))) for row in found]
        rated = [(row, rate) for row, rate in rates if rate is not None]
        own = [row for row, rate in rated if not rate.unit]
        for row, rate in rated:
            if bool(own) == (not rate.unit):
                sources += _shipped(rate)
                yield hours_of(row, plan) or 0.0


def _setting(rows: list[dict], plan: Options, sources: list[str]) -> Iterator[float]:
    """Give the hours in which the plants of each kind are set: not those that are spare."""
    for row in rows:
        word, _, kind = row["item"].partition(" ")
        if word in ("plant", "raised") and not pd.isna(row["plants"]):
            rate = rate_of(f"plant {kind}".strip(), plan)
            if rate is not None:
                sources += _shipped(rate)
                yield rate.hours * float(row["plants"])


def _sum(hours: Iterable[float]) -> float | None:
    """Sum hours; None if there are none."""
    listed = list(hours)
    return math.fsum(listed) if listed else None


def _shipped(rate: Rate) -> list[str]:
    return [rate.source] if rate.unit else []


def _people(crew: Crew) -> str:
    people = "one person" if crew.people == 1 else f"{crew.people} people"
    return f"{people}, {crew.hours:g} hours a day"
