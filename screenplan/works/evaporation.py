"""What the air takes from leaves and soil in each month, by its temperatures.

By the mean alone (Thornthwaite 1948) the formula gives the water of a day, millimetres, of a month whose mean is t degrees Celsius:

    e = 16/30 · L/12 · (10 t / I)^a        and none at 0 °C and below

with L the hours of a day, I the sum of (t / 5)^1.514 over the months above 0 °C, and
a = 6.75e-7 I³ − 7.71e-5 I² + 1.792e-2 I + 0.49239. It was read in texts that quote it: the evapotranspiration page of
a Canadian stormwater guide (wiki.sustainabletechnologies.ca), whose example is among the tests, and the manual of a
general library for evapotranspiration. From 26.5 °C on Thornthwaite takes no formula but a drawn curve: its fit by a
parabola, 16/30 of −415.855 + 32.244 t − 0.43253 t² in the place of 16 times the power, was read in the code of a
library for plant ecology. Beyond the top of the parabola the curve is taken as level (its own reading, no source).

Where the lowest and highest temperatures of a day and the latitude are known too, the formula of Hargreaves (1985) takes
its place, which knows the sun and, by the range of a day, how clear the sky is:

    e = 0.0023 · R · (t + 17.8) · √(highest − lowest)        t their middle

with R the sun's radiation above the air, as millimetres of water. It is equation 52 of FAO Irrigation and Drainage Paper 56, and
R its equation 21 (both read in the code and manual of a general library for evapotranspiration that quotes them by number).

The hours of a day follow from the sun's declination, by FAO Irrigation and Drainage Paper 56 (equations 24, 25 and 34;
read in a fire research wiki of the WSL that quotes them).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from screenplan.rules.limits import MONTH_DAYS

MEAN_SOURCE = "need by temperature: Thornthwaite 1948 (read in texts that quote it)"
RANGE_SOURCE = "need by temperature: Hargreaves 1985, FAO Irrigation and Drainage Paper 56, equation 52 (second-hand)"
#: Degrees Celsius from which the drawn curve holds, and the fit to it: constant, by t, by t².
HOT_C, HOT_FIT = 26.5, (-415.855, 32.244, -0.43253)
#: Hours of a day where the latitude is not known.
HALF_A_DAY = 12.0
#: The sun above the air, MJ on a square metre in a minute, and the water that a MJ evaporates, mm (FAO paper 56).
SOLAR_MJ, MM_PER_MJ = 0.0820, 0.408


def day_hours(latitude_deg: float) -> np.ndarray:
    """Give the mean hours of a day in each month, (12,).

    Examples
    --------
    >>> [round(float(hours), 1) for hours in day_hours(0.0)[[0, 6]]]
    [12.0, 12.0]
    >>> [round(float(hours), 1) for hours in day_hours(-50.0)[[0, 6]]]
    [15.6, 8.4]
    """
    _, half = _sun(latitude_deg, np.arange(1, 366))
    return _by_month(24.0 / np.pi * half)


def radiation_mj(latitude_deg: float, days: np.ndarray) -> np.ndarray:
    """Give the sun's radiation above the air on days of the year, from 1 on, MJ on a square metre in a day.

    Examples
    --------
    At the equator both equinoxes differ by the sun's distance alone, and none shines at a pole in its winter.

    >>> [round(float(part), 1) for part in radiation_mj(0.0, np.array([80, 266]))]
    [37.8, 37.4]
    >>> float(radiation_mj(-90.0, np.array([172]))[0])
    0.0
    """
    latitude = np.radians(latitude_deg)
    declination, half = _sun(latitude_deg, days)
    distance = 1.0 + 0.033 * np.cos(2.0 * np.pi * days / 365.0)
    lit = half * np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(
        declination
    ) * np.sin(half)
    return np.maximum(24.0 * 60.0 / np.pi * SOLAR_MJ * distance * lit, 0.0)


def _sun(latitude_deg: float, days: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the sun's declination and its half arc above the horizon on days of the year, radians."""
    declination = 0.409 * np.sin(2.0 * np.pi * days / 365.0 - 1.39)
    turn = -np.tan(np.radians(latitude_deg)) * np.tan(declination)
    return declination, np.arccos(np.clip(turn, -1.0, 1.0))


def _by_month(daily: np.ndarray) -> np.ndarray:
    return np.array([part.mean() for part in np.split(daily, np.cumsum(MONTH_DAYS)[:-1])])


def evaporated_by_range_mm(
    lowest_c: Sequence[float], highest_c: Sequence[float], latitude_deg: float
) -> np.ndarray:
    """Give the water that a day of each month takes by Hargreaves, millimetres, (12,).

    Parameters
    ----------
    lowest_c, highest_c : sequence of 12 floats
        Mean lowest and highest temperatures of a day in the months, degrees Celsius.
    latitude_deg : float

    Examples
    --------
    A month whose days are as cold as warm takes none, and four times the range takes twice as much.

    >>> less, more = (evaporated_by_range_mm([20 - r] * 12, [20 + r] * 12, 40.0) for r in (2, 8))
    >>> bool(np.allclose(more, 2.0 * less)), float(evaporated_by_range_mm([9] * 12, [9] * 12, 40.0).max())
    (True, 0.0)
    """
    lowest, highest = np.asarray(lowest_c, dtype=float), np.asarray(highest_c, dtype=float)
    sun = MM_PER_MJ * _by_month(radiation_mj(latitude_deg, np.arange(1, 366)))
    warm = np.maximum((lowest + highest) / 2.0 + 17.8, 0.0)
    return 0.0023 * sun * warm * np.sqrt(highest - lowest)


def evaporated_mm(means_c: Sequence[float], hours: np.ndarray | float = HALF_A_DAY) -> np.ndarray:
    """Give the water that a day of each month takes, millimetres, (12,).

    Parameters
    ----------
    means_c : sequence of 12 floats
        Mean temperatures of the months, degrees Celsius.
    hours : ndarray, (12,), or float
        Mean hours of a day in each month.

    Examples
    --------
    Frost takes none, and at 26.5 °C formula and curve meet at 135 mm in a month of 30 days.

    >>> float(evaporated_mm([0.0] * 12).max())
    0.0
    >>> round(float(evaporated_mm([26.5] * 12)[0] * 30.0), 0)
    135.0
    """
    warm = np.maximum(np.asarray(means_c, dtype=float), 0.0)
    index = float(((warm / 5.0) ** 1.514).sum())
    if index == 0.0:
        return np.zeros(len(warm))
    power = 6.75e-7 * index**3 - 7.71e-5 * index**2 + 1.792e-2 * index + 0.49239
    month = 16.0 * (10.0 * warm / index) ** power
    constant, slope, bend = HOT_FIT
    hot = np.minimum(warm, -slope / (2.0 * bend))
    month = np.where(warm >= HOT_C, constant + slope * hot + bend * hot**2, month)
    return month / 30.0 * (np.asarray(hours) / 12.0)


def shares_of_peak(
    means_c: Sequence[float],
    latitude_deg: float | None,
    lowest_c: Sequence[float] = (),
    highest_c: Sequence[float] = (),
) -> np.ndarray:
    """Give what a day of each month takes as a share of the month that takes most, (12,).

    Parameters
    ----------
    means_c : sequence of 12 floats
    latitude_deg : float or None
        Without one all days are as long.
    lowest_c, highest_c : sequence of 12 floats, optional
        With both and a latitude the share is by Hargreaves, else by Thornthwaite.

    Examples
    --------
    >>> shares_of_peak([20.0] * 12, None).tolist() == [1.0] * 12
    True
    """
    if latitude_deg is not None and len(lowest_c) and len(highest_c):
        daily = evaporated_by_range_mm(lowest_c, highest_c, latitude_deg)
    else:
        daily = evaporated_mm(
            means_c, HALF_A_DAY if latitude_deg is None else day_hours(latitude_deg)
        )
    most = float(daily.max())
    return daily / most if most > 0.0 else np.zeros(len(daily))
