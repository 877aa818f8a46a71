"""In which months each kind of stock is set: by the normals of the site, else by latitude and hardiness zone.

Normals say when the ground is frozen, when roots grow, when buds rest and when heat dries new plants out. Bare
roots are set while buds rest, stock with soil up to the heat; evergreens only where roots grow on in the month
after. Normals are of the site's own months, so that nothing is turned for the southern half.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from screenplan.ground.errors import refuse
from screenplan.plan import Options
from screenplan.plan.works import Calendar
from screenplan.planting.stock import season_of
from screenplan.rules.limit_kinds import Limit, MildWinter, PlantingClimate, PlantingSeason
from screenplan.rules.limits import limit_of, months_text
from screenplan.works.kinds import Kind
from screenplan.works.seasons import LONGEST_YEAR, Seasons

_YEAR = 12


@dataclass(frozen=True)
class Window:
    """When plants of a kind are set where the site is.

    Parameters
    ----------
    kind : Kind
    season : PlantingSeason
        The months of the northern half by stock and leaves, and what is refused.
    months : frozenset of int
        The site's own.
    source : str
    """

    kind: Kind
    season: PlantingSeason
    months: frozenset[int]
    source: str


def windows_of(
    kinds: Sequence[Kind], seasons: Seasons, limits: Mapping[str, Limit] | None, plan: Options
) -> list[Window]:
    """Find when each kind is set; none where neither the seasons of the site nor its normals are known.

    Parameters
    ----------
    kinds : sequence of Kind
    seasons : Seasons
    limits : mapping or None
        By default the shipped ones.
    plan : Options
        Of it [climate] and [health] zone.
    """
    means = plan.climate.temperature
    if not (seasons.known or means):
        return []
    climate, mild = limit_of(limits, PlantingClimate), limit_of(limits, MildWinter)
    found = []
    for kind in kinds:
        season = season_of(limits, kind.stock.key, evergreen=kind.species.evergreen)
        if season is None:
            continue
        months, source = seasons.months(season.months), season.source
        by_normals = months_by_normals(means, season, climate) if means and climate else frozenset()
        if climate is not None and by_normals:
            months, source = by_normals, f"the normals of the plan; {climate.source}"
        elif not seasons.known:
            continue
        elif (
            mild is not None and plan.health.zone is not None and plan.health.zone >= mild.from_zone
        ):
            months |= seasons.months(mild.months)
            source = f"{source}; {mild.source}"
        found.append(Window(kind, season, months, source))
    return found


def months_by_normals(
    means_c: Sequence[float], season: PlantingSeason, climate: PlantingClimate
) -> frozenset[int]:
    """Give the months in which stock is set by the mean temperatures of the twelve months; it may be none.

    Parameters
    ----------
    means_c : sequence of 12 floats
        Degrees Celsius, from January.
    season : PlantingSeason
        Whether the roots are bare, and the leaves stay on.
    climate : PlantingClimate
    """
    warmest = climate.buds_open_above_c if season.roots == "bare" else climate.hot_from_c
    return frozenset(
        month + 1
        for month in range(_YEAR)
        if climate.frozen_below_c <= means_c[month] < warmest
        and (
            season.leaves == "deciduous"
            or means_c[(month + 1) % _YEAR] >= climate.roots_grow_above_c
        )
    )


def window_words(windows: Sequence[Window]) -> str:
    """Say in which months the plants are set where the site is; empty if that is not known."""
    said = {_stock_words(window.kind): months_text(window.months) for window in windows}
    if len(set(said.values())) == 1:
        return next(iter(said.values()))
    return "; ".join(f"{months} ({stock})" for stock, months in said.items())


def next_days(windows: Sequence[Window], begin: dt.date) -> tuple[dt.date, dt.date] | None:
    """Give the first and the last of the next days on which all these plants are set; None if there are none.

    Parameters
    ----------
    windows : sequence of Window
    begin : date
        The earliest first day.
    """
    months = (
        frozenset.intersection(*(window.months for window in windows)) if windows else frozenset()
    )
    every = [begin + dt.timedelta(days=day) for day in range(2 * LONGEST_YEAR)]
    first = next((day for day in every if day.month in months), None)
    if first is None:
        return None
    until = next((day for day in every if day > first and day.month not in months), every[-1])
    return first, until - dt.timedelta(days=1)


def next_window(windows: Sequence[Window], there: dt.date) -> str:
    """Say when plants can be set that are there from a day on; empty where no months are known."""
    coming = next_days(windows, there)
    if coming is None:
        return ""
    return (
        f". Ordered today they are there by {there.isoformat()}: the days on which they are set are then from "
        f"{coming[0].isoformat()} to {coming[1].isoformat()}"
    )


def judge_planting(windows: Sequence[Window], seasons: Seasons, today: dt.date) -> Iterator[str]:
    """Warn of a day of planting outside of the months in which the stock is set, or say the next ones.

    Raises
    ------
    InputError
        If the stock would not live: bare roots in full growth.
    """
    start = seasons.start
    if start is None:
        coming = next_days(windows, today)
        if coming is not None:
            yield (
                f"No day of planting is given (calendar.planting): these plants are best set in {window_words(windows)}, "
                f"the next time from {coming[0].isoformat()} to {coming[1].isoformat()}"
            )
        return
    told = set()
    for window in windows:
        kind, season = window.kind, window.season
        best = months_text(window.months)
        if seasons.known and start.month in seasons.months(season.refused_months) - window.months:
            raise refuse(
                f"{_stock_words(kind)} are planted on {seasons.said(0)}, in full growth, and "
                f"would die ({season.source})",
                f"Choose a day in {best}, or stock with soil (plants.stock); where the custom is another, "
                f"write [limits.rules.{season.key}] in the plan and below it refused_months = []",
                key=Calendar.key("planting"),
            )
        if start.month in window.months or season.key in told:
            continue
        told.add(season.key)
        coming = next_days([window], start)
        then = f"; the next such day is {coming[0].isoformat()}" if coming else ""
        yield (
            f"{start.isoformat()} is outside of the months in which {_stock_words(kind)} are "
            f"best set, {best}{then}: {_lower(season.reason)} ({window.source}). Ask a local nursery: the "
            "local custom decides"
        )


def frozen_days(
    seasons: Seasons,
    first_day: int,
    last_day: int,
    limits: Mapping[str, Limit] | None,
    plan: Options,
) -> Iterator[str]:
    """Warn if the ground is broken in a month whose mean is below freezing.

    Parameters
    ----------
    seasons : Seasons
    first_day, last_day : int
        Of digging, counted from planting.
    limits : mapping or None
    plan : Options
        Of it [climate].
    """
    climate, means = limit_of(limits, PlantingClimate), plan.climate.temperature
    if seasons.start is None or climate is None or not means:
        return
    days = (seasons.start + dt.timedelta(days=day) for day in range(first_day, last_day + 1))
    months = {day.month for day in days if means[day.month - 1] < climate.frozen_below_c}
    if months:
        yield (
            f"The ground is broken in {months_text(months)}, whose mean temperature is below {climate.frozen_below_c:g} °C: "
            "it may be frozen, so look for another day"
        )


def move_into(windows: Sequence[Window], seasons: Seasons, day: int) -> int:
    """Give the first day, from this one on, on which all these plants are set; the day itself if none is known."""
    if seasons.start is None:
        return day
    date = seasons.start + dt.timedelta(days=day)
    coming = next_days(windows, date)
    return day if coming is None else day + (coming[0] - date).days


def _stock_words(kind: Kind) -> str:
    stock = {"bare_root": "bare-root", "container": "container-grown"}.get(
        kind.stock.key, kind.stock.key
    )
    return f"{stock} {'evergreens' if kind.species.evergreen else 'plants that drop their leaves'}"


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]
