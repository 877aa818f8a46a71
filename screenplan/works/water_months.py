"""Water month by month: what the plants need, less the rain of the normals.

The need is that of the published stages (`screenplan.works.water`): so many rounds, each of so many litres.
None is needed after an inch of rain, the same source says. So a round is taken to lie an inch deep, and each
round is spared the rain of the days up to the next one, by the share of that inch:

    water of a round = litres of a round × max(0, share − rain of a day × days to the next round / 1 in)

The share is 1 in the month that takes most water from the leaves, and less in a cooler one, by what the
temperatures take (`screenplan.works.evaporation`); without temperatures it is 1 in all. That the published rate is
that of the peak is custom, no source, and so is that the first two weeks take the whole in cool months too. The rain
of a month is spread evenly over its days (custom, no source). A month whose mean is below freezing has no need: newly
planted trees are watered until the soil freezes (Iowa State University Extension, 2023, read). Its own months decide,
so that nothing is turned for the southern half, and no other winter is kept.
"""

from __future__ import annotations

import calendar
import datetime as dt
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import geopandas as gpd
import numpy as np
import pandas as pd

from screenplan.contracts import WATER_BY_MONTH
from screenplan.contracts.tables import table_of, with_notes
from screenplan.contracts.task_times import year_of
from screenplan.ground.said import INCH_M
from screenplan.plan import DEFAULTS, Options
from screenplan.planting.species_model import Species
from screenplan.rules.limit_kinds import Limit, PlantingClimate
from screenplan.rules.limits import MONTHS, limit_of
from screenplan.works.evaporation import MEAN_SOURCE, RANGE_SOURCE, shares_of_peak
from screenplan.works.kinds import kinds_of
from screenplan.works.rates import NOISE, rate_of
from screenplan.works.tasks import task
from screenplan.works.water import SOURCE, Stage
from screenplan.works.watering import round_litres, stages_of

#: What to do before each round.
FEEL_FIRST = "Feel the soil first: none is needed while it is moist or frozen"
#: The stage in which a new ball dries out fast, so that it is not watered less in a cool month (custom, no source).
FRESH = "water_daily"
#: The stages in words.
STAGES = {
    "water_daily": "weeks 1 and 2",
    "water_often": "weeks 3 to 12",
    "water_weekly": "week 13 to a year",
    "water_later": "after a year",
}
SOURCES = (
    f"{SOURCE}; frozen soil: Iowa State University Extension, 2023 (read); the normals of the plan"
)


@dataclass
class _Part:
    """The rounds of a stage that fall into one month and one year since planting."""

    stage: Stage
    days: set[int] = field(default_factory=set)
    litres: float = 0.0


def lay_water(
    plants: gpd.GeoDataFrame,
    *,
    plan: Options = DEFAULTS,
    position_deg: tuple[float, float] | None = None,
    limits: Mapping[str, Limit] | None = None,
    species_table: Mapping[str, Species] | None = None,
) -> pd.DataFrame:
    """Tell month by month what new plants need, what rain brings of it and what is poured.

    Parameters
    ----------
    plants : GeoDataFrame
        Those that stand already need nothing.
    plan : Options, optional
        Of it [climate], [calendar] planting, [works] and [cost] hours.
    position_deg : tuple of 2 floats, optional
        Longitude and latitude, by which days are longer in summer; without one all are as long.
    limits, species_table : mapping, optional
        By default the shipped ones.

    Returns
    -------
    DataFrame
        By the contract ``water_by_month``, in the order of days, until the plants are established. Empty without
        normals of rain, or without a day of planting: no month is known then.
    """
    rain, means, planting = plan.climate.rain, plan.climate.temperature, plan.calendar.planting
    extremes = plan.climate.lowest, plan.climate.highest
    kinds = kinds_of(plants.loc[~plants["existing"].to_numpy(bool)], species_table)
    rounds = [(round_litres(kind, plan.works), stages_of(kind, plan.works)) for kind in kinds]
    rate = rate_of("water_round", plan)
    if not rain or planting is None:
        lacking = "climate.rain" if not rain else "calendar.planting"
        table = table_of(WATER_BY_MONTH, [])
        return with_notes(table, [f"Water by month is not told without {lacking}"])
    start = dt.date.fromisoformat(planting)
    climate = limit_of(limits, PlantingClimate)
    frozen = frozenset(
        month
        for month, mean in enumerate(means, 1)
        if climate is not None and mean < climate.frozen_below_c
    )
    latitude = None if position_deg is None else position_deg[1]
    shares = shares_of_peak(means, latitude, *extremes) if means else np.ones(len(MONTHS))
    shares[[month - 1 for month in frozen]] = 0.0
    formula = MEAN_SOURCE if latitude is None or not extremes[0] else RANGE_SOURCE
    sources = f"{SOURCES}; {formula}" if means else SOURCES
    parts = sorted(_parts(rounds, start).items(), key=lambda entry: min(entry[1].days))
    records = [
        _record(part, start, rain, shares, None if rate is None else rate.hours)
        | {"year": year, "source": sources if rate is None else f"{sources}; hours: {rate.source}"}
        for (year, *_), part in parts
    ]
    return with_notes(table_of(WATER_BY_MONTH, records), list(_told(records, means, latitude)))


def _parts(
    rounds: Sequence[tuple[float, Sequence[Stage]]], start: dt.date
) -> dict[tuple[int, int, int, str], _Part]:
    """Sort the rounds of all kinds by year since planting, calendar year, month and stage."""
    found: dict[tuple[int, int, int, str], _Part] = {}
    for litres, stages in rounds:
        for stage in stages:
            for day in range(stage.first_day, stage.last_day + 1, stage.every_days):
                date = start + dt.timedelta(days=day)
                key = (year_of(day), date.year, date.month, stage.key)
                part = found.setdefault(key, _Part(stage))
                part.days.add(day)
                part.litres += litres
    return found


def _record(
    part: _Part,
    start: dt.date,
    rain_m: Sequence[float],
    shares: np.ndarray,
    rate: float | None,
) -> dict:
    """Make the row of a part of a month; ``shares`` are those of the peak, 0 if none is needed, ``rate`` hours for a litre."""
    first, every = min(part.days), part.stage.every_days
    date = start + dt.timedelta(days=first)
    days = calendar.monthrange(date.year, date.month)[1]
    share = float(shares[date.month - 1])
    if share and part.stage.key == FRESH:
        share = 1.0
    spared = min(share, rain_m[date.month - 1] / days * every / INCH_M)
    rounds = math.ceil(len(part.days) * (share - spared) - NOISE)
    need = part.litres * share
    by_rain = part.litres * spared if rounds else need
    water = need - by_rain
    if not need:
        says = "None: the ground is frozen, or the month too cold"
    elif not rounds:
        says = "None: the rain of the normals is enough"
    else:
        says = f"{{{water / rounds:.0f} l}} each time for all plants"
    return {
        "month": date.month, "name": f"{MONTHS[date.month - 1]} {date.year}, {STAGES[part.stage.key]}",
        "item": part.stage.key, "first_day": first, "first_date": date.isoformat(),
        "every_days": len(part.days) * every // rounds if rounds else every,
        "need_l": need, "rain_l": by_rain, "water_l": water, "unit": "l", "rounds": rounds,
        "hours": None if rate is None else water * rate, "says": says,
    }  # fmt: skip


def _told(
    records: Sequence[dict], means: Sequence[float], latitude_deg: float | None
) -> Iterator[str]:
    """Say what rain spares, and what is not known."""
    if not records:
        return
    need, water = (math.fsum(row[name] for row in records) for name in ("need_l", "water_l"))
    yield (
        f"By the rain of your normals the plants are given {{{water:.0f} l}} in {sum(row['rounds'] for row in records)} "
        f"rounds until they are established; they need {{{need:.0f} l}}"
    )
    if not means:
        yield "Without climate.temperature no month counts as frozen: no watering of frozen ground"
    elif latitude_deg is None:
        yield "The site's place on earth is not known, and so all days count as equally long in what a month needs"


def by_stage(table: pd.DataFrame) -> dict[str, tuple[float, str]]:
    """Give the litres of each stage that has any by its key, and how they are counted in words."""
    found = {}
    for key, rows in table.groupby("item", sort=False):
        need, rain, water = (float(rows[name].sum()) for name in ("need_l", "rain_l", "water_l"))
        how = (
            f"{int(rows['rounds'].sum())} rounds, month by month: {{{need:.0f} l}} needed, {{{rain:.0f} l}} of it "
            "by the rain of your normals"
        )
        if water > 0.0:
            found[str(key)] = (water, how)
    return found


def month_tasks(table: pd.DataFrame, over: str) -> Iterator[dict]:
    """Yield a task for each month of a stage in which water is poured.

    Parameters
    ----------
    table : DataFrame
        By the contract ``water_by_month``.
    over : str
        Over what water is poured.
    """
    for row in table.loc[(table["rounds"] > 0).to_numpy(bool)].to_dict("records"):
        rounds = int(row["rounds"])
        yield task(
            row["item"], f"Water in {row['name']}", row["first_day"],
            f"{row['says']}, slowly, over the {over}", source=row["source"], caution=FEEL_FIRST,
            item=row["item"], times=rounds,
            every_days=int(row["every_days"]) if rounds > 1 else None,
            hours=None if pd.isna(row["hours"]) else row["hours"] / rounds,
        )  # fmt: skip


def months_given(table: pd.DataFrame | None) -> pd.DataFrame | None:
    """Give a table of water by month if it tells of any; else None."""
    return None if table is None or table.empty else table
