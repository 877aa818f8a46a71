"""Published height-by-age curves, brought to one exponent a kind and to a common site.

A curve needs a site index, which no garden has. The sites of street trees serve: `street_site` finds, for
kinds that have both street trees and a curve, the height at 50 years at which the curve runs through
the street trees' one from 10 to 40 years, and all curves of that leaf are taken at their mean.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from scipy.optimize import brentq, least_squares

from screenplan.planting.curves import HeightCurve

from .heights import EXPONENTS, Fit

FOOT = 0.3048
#: Kinds with street trees, and the curve that serves to find their site.
WITH_BOTH = {
    "Juniperus virginiana": 58,
    "Pinus sylvestris": 108,
    "Pinus taeda": 109,
    "Pinus echinata": 78,
    "Pinus elliottii": 84,
}
COMPARED = np.arange(10.0, 41.0, 5.0)
#: Ages of the points that a curve of ours is fitted to: those of a screen.
FITTED = np.arange(5.0, 51.0, 5.0)
SITE_AGE = 50.0


def height(curves: pd.DataFrame, which, site: float, ages) -> np.ndarray:
    """Height in metres at ages since seed; the site index in the curve's own unit."""
    ages = np.asarray(ages, float)
    if which == "CWC_KURUCZ":
        since_breast = np.maximum(ages - max(1.0, 13.25 - site / 6.096), 0.0)
        x = 2500.0 / (site - 1.3)
        with np.errstate(divide="ignore", invalid="ignore"):
            grown = since_breast**2 / (
                -3.11785 + 0.05027 * x
                + (-0.02465 + 0.01411 * x) * since_breast
                + (0.00174 + 0.000097667 * x) * since_breast**2
            )  # fmt: skip
        return np.where(since_breast > 0, 1.3 + grown, np.nan)
    if which == "CWI_NIGH":
        since_breast = ages - max(1.0, 18.18 - 0.5526 * site)
        b1, b2, b3 = 9.474, -1.340, -1.244
        log = np.log(np.where(since_breast > 0.5, since_breast, np.nan) - 0.5)
        top = 1.0 + np.exp(b1 + b2 * np.log(49.5) + b3 * np.log(site - 1.3))
        return 1.3 + (site - 1.3) * top / (1.0 + np.exp(b1 + b2 * log + b3 * np.log(site - 1.3)))
    row = curves.loc[int(which)]
    asymptote = row["b1"] * site ** row["b2"]
    exponent = row["b4"] * site ** row["b5"]
    return FOOT * (row["bh_ft"] + asymptote * (1.0 - np.exp(row["b3"] * ages)) ** exponent)


def at_site(curves: pd.DataFrame, which, height_at_50_m: float, ages) -> np.ndarray:
    """Height at ages of the curve that is so tall at 50 years."""
    metric = isinstance(which, str)
    low, high = (4.0, 45.0) if metric else (5.0, 150.0)
    site = brentq(lambda s: float(height(curves, which, s, SITE_AGE)) - height_at_50_m, low, high)
    return height(curves, which, site, ages)


def street_site(curves: pd.DataFrame, fits: dict[str, Fit], leaf_of: dict[str, str]) -> dict:
    """Height at 50 years by leaf at which the curves run through street trees, metres."""
    found: dict[str, list[float]] = {}
    for name, which in WITH_BOTH.items():
        if name not in fits:
            continue
        street = np.log(fits[name].typical(COMPARED))

        def apart(h50, street=street, which=which):
            return np.log(at_site(curves, which, float(h50[0]), COMPARED)) - street

        best = least_squares(apart, [15.0], bounds=([4.0], [35.0]))
        found.setdefault(leaf_of[name], []).append(float(np.log(best.x[0])))
    return {leaf: float(np.exp(np.mean(logs))) for leaf, logs in found.items()}


def fit_published(curves: pd.DataFrame, which: list, height_at_50_m: float) -> HeightCurve:
    """Fit one curve since seed to points of the published ones at that site."""
    points = [
        (age, top)
        for number in which
        for age, top in zip(FITTED, at_site(curves, number, height_at_50_m, FITTED), strict=True)
        if np.isfinite(top)
    ]
    ages, logs = np.array([p[0] for p in points]), np.log([p[1] for p in points])
    tried = []
    for m in EXPONENTS:

        def apart(p, m=m):
            return p[0] + m * np.log1p(-np.exp(-np.exp(p[1]) * ages)) - logs

        first = [np.log(1.4 * height_at_50_m), np.log(0.03)]
        bounds = ([np.log(height_at_50_m), np.log(0.003)], [np.log(3.0 * height_at_50_m), 0.0])
        best = least_squares(apart, first, bounds=bounds)
        tried.append((best.cost, m, best.x))
    _, m, (log_a, log_k) = min(tried, key=lambda item: item[0])
    return HeightCurve(float(np.exp(log_a)), float(np.exp(log_k)), m)
