"""What the air takes from leaves and soil in each month, by its mean temperature (Thornthwaite 1948).

The formula gives the water of a day, millimetres, of a month whose mean is t degrees Celsius:

    e = 16/30 · L/12 · (10 t / I)^a        and none at 0 °C and below

with L the hours of a day, I the sum of (t / 5)^1.514 over the months above 0 °C, and
a = 6.75e-7 I³ − 7.71e-5 I² + 1.792e-2 I + 0.49239. It was read in texts that quote it: the evapotranspiration page of
a Canadian stormwater guide (wiki.sustainabletechnologies.ca), whose example is among the tests, and the manual of a
general library for evapotranspiration. From 26.5 °C on Thornthwaite takes no formula but a drawn curve: its fit by a
parabola, 16/30 of −415.855 + 32.244 t − 0.43253 t² in the place of 16 times the power, was read in the code of a
library for plant ecology. Beyond the top of the parabola the curve is taken as level (its own reading, no source).

The hours of a day follow from the sun's declination, by FAO Irrigation and Drainage Paper 56 (equations 24, 25 and 34;
read in a fire research wiki of the WSL that quotes them).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

SOURCE = "need by temperature: Thornthwaite 1948 (read in texts that quote it)"
#: Days of the months of a usual year.
MONTH_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
#: Degrees Celsius from which the drawn curve holds, and the fit to it: constant, by t, by t².
HOT_C, HOT_FIT = 26.5, (-415.855, 32.244, -0.43253)
#: Hours of a day where the latitude is not known.
HALF_A_DAY = 12.0


def day_hours(latitude_deg: float) -> np.ndarray:
    """Give the mean hours of a day in each month, (12,).

    Examples
    --------
    >>> [round(float(hours), 1) for hours in day_hours(0.0)[[0, 6]]]
    [12.0, 12.0]
    >>> [round(float(hours), 1) for hours in day_hours(-50.0)[[0, 6]]]
    [15.6, 8.4]
    """
    days = np.arange(1, 366)
    declination = 0.409 * np.sin(2.0 * np.pi * days / 365.0 - 1.39)
    half = np.arccos(np.clip(-np.tan(np.radians(latitude_deg)) * np.tan(declination), -1.0, 1.0))
    hours = 24.0 / np.pi * half
    return np.array([part.mean() for part in np.split(hours, np.cumsum(MONTH_DAYS)[:-1])])


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


def shares_of_peak(means_c: Sequence[float], latitude_deg: float | None) -> np.ndarray:
    """Give what a day of each month takes as a share of the month that takes most, (12,).

    Parameters
    ----------
    means_c : sequence of 12 floats
        Mean temperatures of the months, degrees Celsius.
    latitude_deg : float or None
        Without one all days are as long.

    Examples
    --------
    >>> shares_of_peak([20.0] * 12, None).tolist() == [1.0] * 12
    True
    """
    daily = evaporated_mm(means_c, HALF_A_DAY if latitude_deg is None else day_hours(latitude_deg))
    most = float(daily.max())
    return daily / most if most > 0.0 else np.zeros(len(daily))
