"""Where the sun is, through a year of local days, and what an overcast sky gives.

The sun is up while its centre's apparent elevation, refraction included, is above 0. A day is
cut into equal steps of clock time in the site's time zone, and the sun stands during a step where
it stands in its middle; so each change between sun and shade is placed to within half a step.
Some days stand for their month: each counts as many days as it stands for.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec, module_from_spec, spec_from_file_location
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from screenplan.ground.errors import refuse
from screenplan.plan.effects import Light

MONTHS = 12
#: Air in which light is bent, difference of terrestrial and universal time, and bending at the
#: horizon: pvlib's own defaults.
SEA_LEVEL_MBAR, MILD_C, DELTA_T_S, REFRACTION_DEG = 1013.25, 12.0, 67.0, 0.5667
#: Months in which what drops its leaves is bare, north and south of the equator (common practice,
#: no source), and those in which plants grow.
BARE_NORTH, BARE_SOUTH = (11, 12, 1, 2, 3), (5, 6, 7, 8, 9)
GROWING_NORTH, GROWING_SOUTH = (4, 5, 6, 7, 8, 9), (10, 11, 12, 1, 2, 3)


@dataclass(frozen=True)
class SunPath:
    """Samples of the sun while it is up.

    Parameters
    ----------
    direction : ndarray, (samples, 3)
        Unit vectors to the sun: east, north, up.
    hours : ndarray, (samples,)
        Hours for which each stands.
    month : ndarray of int, (samples,)
        Month from 0, by the clock of the site.
    minute : ndarray of int, (samples,)
        Minute of the day by the clock of the site.
    bare : ndarray of bool, (samples,)
        Whether what drops its leaves is bare.
    step_minutes : int
        Length of a step.
    """

    direction: np.ndarray
    hours: np.ndarray
    month: np.ndarray
    minute: np.ndarray
    bare: np.ndarray
    step_minutes: int


def sun_path(
    longitude_deg: float,
    latitude_deg: float,
    *,
    time_zone: str = "UTC",
    calendar_year: int = 2027,
    days_a_month: int = 1,
    step_minutes: int = 30,
) -> SunPath:
    """Sample the sun over a year.

    Parameters
    ----------
    longitude_deg, latitude_deg : float
        Place, east and north positive.
    time_zone : str
        Name of the zone, such as ``Europe/Berlin``; daylight saving is that of the zone.
    calendar_year : int
        Year whose days are taken.
    days_a_month : int
        Days that stand for each month, evenly chosen; 31 takes every day.
    step_minutes : int
        Step, a divisor of an hour or a number of hours that divides a day.

    Returns
    -------
    SunPath

    Raises
    ------
    InputError
        If the zone is not known or a number is out of range.
    """
    zone = _zone(time_zone)
    if not (-180 <= longitude_deg <= 360 and -90 <= latitude_deg <= 90):
        raise refuse(
            f"{longitude_deg}, {latitude_deg} is no place on earth", "Give longitude and latitude"
        )
    if not (1 <= days_a_month <= 31 and step_minutes >= 1 and 1440 % step_minutes == 0):
        raise refuse(
            f"{days_a_month} days a month in steps of {step_minutes} minutes cannot be taken",
            "Give 1 to 31 days, and a step that divides a day, such as 15, 30 or 60 minutes",
            key=Light.key("step"),
        )
    if not 1950 <= calendar_year <= 2100:
        raise refuse(
            f"{calendar_year} is not a year to look at", "Give one from 1950 to 2100", key=Light.key("calendar_year")
        )  # fmt: skip
    times, weight, month, minute = _steps(zone, calendar_year, days_a_month, step_minutes)
    direction = sun_directions(times, longitude_deg, latitude_deg)
    up = direction[:, 2] > 0.0
    bare = BARE_NORTH if latitude_deg >= 0 else BARE_SOUTH
    return SunPath(
        np.ascontiguousarray(direction[up]),
        weight[up],
        month[up],
        minute[up],
        np.isin(month[up] + 1, bare),
        step_minutes,
    )


def sun_directions(
    times: pd.DatetimeIndex, longitude_deg: float, latitude_deg: float
) -> np.ndarray:
    """Give unit vectors to the sun's apparent place (pvlib), east, north, up, (times, 3)."""
    unix = (times - pd.Timestamp(0, tz="UTC")) / pd.Timedelta(seconds=1)
    _, _, up, _, azimuth, _ = _algorithm().solar_position(
        unix.to_numpy(float), latitude_deg, longitude_deg, 0.0, SEA_LEVEL_MBAR, MILD_C, DELTA_T_S, REFRACTION_DEG
    )  # fmt: skip
    up, azimuth = np.radians(up), np.radians(azimuth)
    return np.column_stack([np.cos(up) * np.sin(azimuth), np.cos(up) * np.cos(azimuth), np.sin(up)])


@cache
def _algorithm():
    """Give pvlib's solar position algorithm, without the rest of pvlib: that takes a second to import."""
    found = find_spec("pvlib")
    assert found is not None  # it is required
    file = Path(f"{found.origin}").with_name("spa.py")
    if not file.is_file():  # pragma: no cover (another layout of pvlib)
        from pvlib import spa

        return spa
    spec = spec_from_file_location("_pvlib_spa", file)
    assert spec is not None  # of a Python file there is one, with a loader
    assert spec.loader is not None
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def growing_months(latitude_deg: float) -> np.ndarray:
    """Months from 0 in which plants grow, by hemisphere."""
    return np.array(GROWING_NORTH if latitude_deg >= 0 else GROWING_SOUTH) - 1


def overcast_sky(patches: int = 400) -> tuple[np.ndarray, np.ndarray]:
    """Directions over the upper half of the sky, and the light that comes from each.

    Each patch has the same solid angle 2π / patches; the overcast sky of the CIE is three times as
    bright overhead as at the horizon, L = (1 + 2 sin γ) / 3.

    Returns
    -------
    direction : ndarray, (patches, 3)
    light : ndarray, (patches,)
        Luminance times solid angle, overhead luminance 1: on level ground they sum, times sin γ,
        to 7π/9.
    """
    up = (np.arange(patches) + 0.5) / patches
    turn = np.arange(patches) * np.pi * (3.0 - np.sqrt(5.0))
    flat = np.sqrt(1.0 - up**2)
    direction = np.column_stack([flat * np.sin(turn), flat * np.cos(turn), up])
    return direction, (1.0 + 2.0 * up) / 3.0 * 2.0 * np.pi / patches


def _zone(name: str) -> ZoneInfo:
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        raise refuse(
            f"'{name}' is not the name of a time zone",
            "Write it as in the time zone database, such as Europe/Berlin, America/New_York or UTC",
            key=Light.key("time_zone"),
        ) from None


def _steps(zone, year, days_a_month, step_minutes):
    """Middles of all steps of the chosen local days, in UTC, with weights in hours."""
    times, weight, month, minute = [], [], [], []
    half, step = dt.timedelta(minutes=step_minutes / 2), dt.timedelta(minutes=step_minutes)
    for number in range(MONTHS):
        first = dt.date(year, number + 1, 1)
        length = (dt.date(year + number // 11, (number + 1) % 12 + 1, 1) - first).days
        count = min(days_a_month, length)
        chosen = ((np.arange(count) + 0.5) / count * length).astype(int)
        for day in chosen:
            local = first + dt.timedelta(days=int(day))
            start = dt.datetime.combine(local, dt.time(), zone).astimezone(dt.UTC)
            end = dt.datetime.combine(local + dt.timedelta(days=1), dt.time(), zone).astimezone(
                dt.UTC
            )
            # A day on which the clocks change has 23 or 25 hours, and no step is lost or doubled.
            steps = round((end - start) / step)
            for part in range(steps):
                middle = start + part * step + half
                clock = middle.astimezone(zone)
                times.append(middle)
                weight.append(step_minutes / 60.0 * length / count)
                month.append(number)
                minute.append(clock.hour * 60 + clock.minute)
    return pd.DatetimeIndex(times), np.array(weight), np.array(month), np.array(minute)
