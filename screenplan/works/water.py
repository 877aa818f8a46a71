"""Water for new plants, by the stages that the University of Minnesota Extension publishes (read).

Weeks 1 and 2 daily, weeks 3 to 12 every two to three days, then weekly until established. Each time
1 to 1.5 gal per inch of stem caliper, and 1.5 years per inch to establish; shrubs, whose caliper
nobody measures, a quarter to a third of the container's volume. The upper ends are taken. None is
needed after an inch of rain.

Where no stem was measured its thickness follows from the height, by what trees of those leaves measure.
Balls and plugs are given a third of their volume like containers (our reading, no source). Bare roots have no ball: they are given the inch of water
that the same source takes for a watering, over the spread of their roots (our reading, no source).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from screenplan.contracts.task_times import YEAR_DAYS
from screenplan.ground.said import INCH_M
from screenplan.planting.growth import establishment_years
from screenplan.planting.measured import stem_inches
from screenplan.planting.stock import ball_depth, ball_width, stock_of
from screenplan.works.kinds import Kind

GALLON_L = 3.785411784
GALLONS_PER_INCH = (1.0, 1.5)
SHARE_OF_BALL = (0.25, 1.0 / 3.0)
YEARS_PER_INCH = 1.5
#: Last days, counted from planting, of the daily stage and of the one every few days.
DAILY_DAYS, OFTEN_DAYS = 14, 84
#: Days of the first year; weekly watering after it is a stage of its own.
FIRST_YEAR_DAYS = 365
SOURCE = "University of Minnesota Extension (read)"


@dataclass(frozen=True)
class Stage:
    """Waterings of one stage: from which day, every how many days, how many times."""

    key: str
    name: str
    first_day: int
    every_days: int
    times: int

    @property
    def last_day(self) -> int:
        """Day of the last watering."""
        return self.first_day + self.every_days * (self.times - 1)


def litres_each_time(stock: str, stock_height_m: float, caliper_m: float | None = None) -> float:
    """Water for one plant each time, litres.

    Parameters
    ----------
    stock, stock_height_m : str, float
        Kind and height of the stock.
    caliper_m : float, optional
        Diameter of the stem, metres, if it was measured.
    """
    if caliper_m is not None:
        return GALLONS_PER_INCH[1] * GALLON_L * caliper_m / INCH_M
    if not stock_of(stock).has_soil:
        # An inch over a circle: 1 l is 1 mm over 1 m².
        return INCH_M * math.pi / 4.0 * ball_width(stock, stock_height_m) ** 2 * 1000.0
    volume = ball_volume(stock, stock_height_m)
    return SHARE_OF_BALL[1] * volume * 1000.0


def ball_volume(stock: str, stock_height_m: float) -> float:
    """Volume of a root ball as a cylinder, π/4 w² d, m³."""
    width = ball_width(stock, stock_height_m)
    return math.pi / 4.0 * width**2 * ball_depth(stock, stock_height_m)


def years_to_establish(kind: Kind, caliper_m: float | None = None) -> float:
    """Years until a plant needs no watering.

    Parameters
    ----------
    kind : Kind
        Without a measured stem its thickness follows from the plant's height, and the plant is watered as
        long as it takes to root in its zone and stock, if that is longer.
    caliper_m : float, optional
        Diameter of the stem, metres, if it was measured.
    """
    if caliper_m is not None:
        return YEARS_PER_INCH * caliper_m / INCH_M
    by_stem = YEARS_PER_INCH * float(stem_inches(kind.species.leaf, kind.height_m))
    return max(by_stem, float(establishment_years(kind.species, kind.height_m, kind.stock.key)))


def water_stages(years: float, *, often_every_days: int = 2) -> list[Stage]:
    """List the stages of watering from the day of planting on.

    Parameters
    ----------
    years : float
        Years until the plants are established.
    often_every_days : {2, 3}
        In weeks 3 to 12.
    """
    often = math.ceil((OFTEN_DAYS - DAILY_DAYS) / often_every_days)
    last = years * YEAR_DAYS
    stages = [
        Stage("water_daily", "Water daily, weeks 1 and 2", 0, 1, DAILY_DAYS),
        Stage(
            "water_often",
            f"Water every {often_every_days} days, weeks 3 to 12",
            DAILY_DAYS,
            often_every_days,
            often,
        ),
    ]
    if last > OFTEN_DAYS:
        weeks = math.floor((last - OFTEN_DAYS) / 7.0) + 1
        first = min(weeks, math.ceil((FIRST_YEAR_DAYS - OFTEN_DAYS) / 7.0))
        later = OFTEN_DAYS + 7 * first
        stages.append(
            Stage("water_weekly", "Water weekly from week 13, first year", OFTEN_DAYS, 7, first)
        )
        if weeks > first:
            stages.append(
                Stage("water_later", "Water weekly until established", later, 7, weeks - first)
            )
    return stages
