"""Height by year, width by height and the crown's outline as laws with fitted figures.

Symbols: h height, A asymptote, k rate a year, m exponent, t years of growth, h₀ height at the start,
w width (diameter of the crown), z height above the foot, c clear stem, R = w/2, p exponent of the profile.

    height    h(t) = A (1 − exp(−k (t + t₀)))^m,  t₀ so that h(0) = h₀      (Chapman and Richards)
              h(t) = min(h₀ + k A t, A)                                      (a straight line, m = 0)
    width     w(h) = min(a h^b, widest)
    profile   r(z) = R ((h − z) / (h − c))^p,  a cone for p = 1, a paraboloid for 0.5, a column for 0
    volume    V = π R² (h − c) / (2 p + 1), the integral of π r² over z

A curve starts at the height of the stock, so that its years are years since the start and the age at
that height is not counted twice. Slower and faster plants of a kind differ in A and k and never in m:
with the same start their curves do not cross (`scenario`). A plant that starts above A keeps its height.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from screenplan.ground.errors import refuse

#: How a spread of the logarithm of the height is shared out: the part by which A varies, and that by
#: which k does. Chosen by `tests.fitting` among a few pairs by the interval score of all trees.
SHARE_OF_ASYMPTOTE = 1.0
SHARE_OF_RATE = 0.3


@dataclass(frozen=True)
class HeightCurve:
    """How a kind grows taller.

    Parameters
    ----------
    asymptote_m : float
        A, metres.
    rate : float
        k, a year. The straight line rises by k A a year. Both may be arrays that broadcast with the years.
    exponent : float
        m; 0 for a straight line.
    """

    asymptote_m: float
    rate: float
    exponent: float

    def __post_init__(self):
        least, slowest = np.min(self.asymptote_m), np.min(self.rate)
        if not (least > 0 and slowest > 0 and self.exponent >= 0):
            raise refuse(
                f"a height curve has the asymptote {{{least:g} m}}, the rate {slowest:g} "
                f"and the exponent {self.exponent:g}",
                "Write an asymptote and a rate above 0, and an exponent of 0 or more",
            )


@dataclass(frozen=True)
class WidthLaw:
    """How a kind grows wider as it grows taller.

    Parameters
    ----------
    coefficient, exponent : float
        a and b of w = a hᵇ, metres.
    widest_m : float
        The mature spread, at which it stops, metres.
    """

    coefficient: float
    exponent: float
    widest_m: float

    def __post_init__(self):
        if not (self.coefficient > 0 and 0 < self.exponent <= 1 and self.widest_m > 0):
            raise refuse(
                f"a width law has the coefficient {self.coefficient:g}, the exponent "
                f"{self.exponent:g} and the widest {{{self.widest_m:g} m}}",
                "Write an exponent above 0 and up to 1, and the other two above 0",
            )


def height_at(curve: HeightCurve, years, start_height_m) -> np.ndarray:
    """Height so many years after it was so tall.

    Parameters
    ----------
    curve : HeightCurve
    years : array_like
        0 or more.
    start_height_m : array_like
        Height at year 0, metres; broadcast with ``years``.

    Returns
    -------
    ndarray
        Metres.

    Raises
    ------
    InputError
        If a year is below 0 or a start is not above 0.

    Examples
    --------
    With m = 1 half the way to the asymptote is gone in ln 2 / k years; a straight line takes equal
    steps, and a plant above the asymptote stays as it is.

    >>> half = HeightCurve(10.0, np.log(2.0) / 8.0, 1.0)
    >>> height_at(half, [0.0, 8.0, 16.0], 2.0).round(3).tolist()
    [2.0, 6.0, 8.0]
    >>> height_at(HeightCurve(10.0, 0.05, 0.0), [4.0, 99.0], 2.0).tolist()
    [4.0, 10.0]
    >>> height_at(half, 5.0, 12.0).tolist()
    12.0
    """
    t, start = np.asarray(years, float), np.asarray(start_height_m, float)
    if np.any(~(t >= 0)):
        raise refuse("a year lies before the start of the growth", "Give years of 0 or more")
    if np.any(~(start > 0)):
        raise refuse("a plant has no height at the start", "Give a height above 0")
    t, start = np.broadcast_arrays(t, start)
    full = start >= curve.asymptote_m
    if curve.exponent == 0:
        grown = np.minimum(start + curve.rate * curve.asymptote_m * t, curve.asymptote_m)
    else:
        share = np.where(full, 0.0, start / curve.asymptote_m) ** (1.0 / curve.exponent)
        # 1 − exp(−k (t + t₀)) with exp(−k t₀) = 1 − share.
        grown = (
            curve.asymptote_m * (1.0 - (1.0 - share) * np.exp(-curve.rate * t)) ** curve.exponent
        )
    return np.where(full, start, np.maximum(grown, start))


def years_to(curve: HeightCurve, height_m, start_height_m) -> np.ndarray:
    """Years until it is so tall; infinite for what it never reaches, 0 for what it is from the start.

    Examples
    --------
    >>> half = HeightCurve(10.0, np.log(2.0) / 8.0, 1.0)
    >>> years_to(half, [1.0, 6.0, 10.0], 2.0).round(3).tolist()
    [0.0, 8.0, inf]
    """
    goal, start = np.broadcast_arrays(
        np.asarray(height_m, float), np.asarray(start_height_m, float)
    )
    if np.any(~(start > 0)):
        raise refuse("a plant has no height at the start", "Give a height above 0")
    A, k, m = curve.asymptote_m, curve.rate, curve.exponent
    if m == 0:
        years = np.where(goal <= A, (goal - start) / (k * A), np.inf)
    else:
        with np.errstate(divide="ignore", invalid="ignore"):
            left = 1.0 - np.minimum(goal / A, 1.0) ** (1.0 / m)
            years = np.log((1.0 - np.minimum(start / A, 1.0) ** (1.0 / m)) / left) / k
        years = np.where(goal < A, years, np.inf)
    return np.where(goal <= start, 0.0, np.where(start >= A, np.inf, years))


def greatest_yearly_growth(curve: HeightCurve):
    """Growth of the year in which it grows most, metres: where h/A = (1 − 1/m)^m, or at once for m up to 1.

    Raises
    ------
    InputError
        For an exponent between 0 and 1, whose growth has no greatest value.

    Examples
    --------
    >>> greatest_yearly_growth(HeightCurve(10.0, 0.1, 2.0)), greatest_yearly_growth(HeightCurve(10.0, 0.1, 0.0))
    (0.5, 1.0)
    """
    A, k, m = curve.asymptote_m, curve.rate, curve.exponent
    if m in (0.0, 1.0):
        return k * A
    if m < 1.0:
        raise refuse(
            f"a curve with the exponent {m:g} has no greatest growth", "Write 0, or 1 or more"
        )
    return k * A * (1.0 - 1.0 / m) ** (m - 1.0)


def scenario(curve: HeightCurve, log_spread: float) -> HeightCurve:
    """Curve of a plant that is so far above or below the usual one.

    Parameters
    ----------
    curve : HeightCurve
    log_spread : float
        Spread of the logarithm of the height, times the number of standard deviations: −1.2816 of
        them for the plant that one in ten stays below.

    Examples
    --------
    Slower and faster plants share the exponent.

    >>> slow = scenario(HeightCurve(10.0, 0.1, 1.5), -0.4)
    >>> slow.asymptote_m < 10.0, slow.rate < 0.1, slow.exponent
    (True, True, 1.5)
    """
    return HeightCurve(
        curve.asymptote_m * float(np.exp(SHARE_OF_ASYMPTOTE * log_spread)),
        curve.rate * float(np.exp(SHARE_OF_RATE * log_spread)),
        curve.exponent,
    )


def width_at(law: WidthLaw, height_m) -> np.ndarray:
    """Diameter of the crown of a plant of that height, metres.

    Examples
    --------
    The share of the height falls as the plant grows, up to the mature spread.

    >>> width_at(WidthLaw(1.0, 0.5, 3.0), [1.0, 4.0, 16.0]).tolist()
    [1.0, 2.0, 3.0]
    """
    h = np.asarray(height_m, float)
    if np.any(~(h >= 0)):
        raise refuse("a plant has a height below 0", "Give heights of 0 or more")
    return np.minimum(law.coefficient * h**law.exponent, law.widest_m)


def radius_at(z_m, height_m, clear_stem_m, width_m, profile_exponent) -> np.ndarray:
    """Radius of a crown at the height z above its foot, metres; 0 above and below the crown.

    Parameters
    ----------
    z_m, height_m, clear_stem_m, width_m : array_like
        Metres; broadcast.
    profile_exponent : array_like
        p: 1 for a cone, 0.5 for a paraboloid, 0 for a column.

    Examples
    --------
    A crown of 4 m, 2 m wide: a cone, a paraboloid and a column a quarter below its tip.

    >>> radius_at(3.0, 4.0, 0.0, 2.0, [1.0, 0.5, 0.0]).tolist()
    [0.25, 0.5, 1.0]
    """
    z, h, c, w, p = np.broadcast_arrays(
        *(np.asarray(a, float) for a in (z_m, height_m, clear_stem_m, width_m, profile_exponent))
    )
    if np.any(~((p >= 0) & (p <= 1))):
        raise refuse("the exponent of a profile is not from 0 to 1", "Write 0.5 for a paraboloid")
    inside = (z >= c) & (z <= h) & (h > c)
    above = np.where(inside, (h - z) / np.where(h > c, h - c, 1.0), 0.0)
    return np.where(inside, w / 2.0 * above**p, 0.0)


def crown_volume(height_m, clear_stem_m, width_m, profile_exponent) -> np.ndarray:
    """Volume of a crown of that profile, m³.

    Examples
    --------
    A cone has a third of its cylinder, a paraboloid half.

    >>> (crown_volume(3.0, 0.0, 2.0, [1.0, 0.5, 0.0]) / np.pi).round(6).tolist()
    [1.0, 1.5, 3.0]
    """
    h, c, w, p = (np.asarray(a, float) for a in (height_m, clear_stem_m, width_m, profile_exponent))
    return np.pi * (w / 2.0) ** 2 * np.maximum(h - c, 0.0) / (2.0 * p + 1.0)
