"""Height by age: curves, spreads between and within regions, and how well they hold where they were not fitted.

Model: ln h = ln H(t; A, k, m) + u + e, u of the region with variance τ², e of the tree with σ².
Ages are years since planting, so that H starts at the planted size: the median height at age 0.
A is bounded (see `fit_curve`), m is one for a group of leaves and a kind's own where there are
`OWN_EXPONENT` trees or more. A straight line is taken where its AICc is lower by `CLEARLY` or more.
τ is one for all kinds, σ one for a group of leaves. The size at planting has a spread of its own, which
is that of these street trees: whoever plants knows the size of the stock.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.optimize import least_squares

from screenplan.planting.curves import HeightCurve, height_at, scenario

EXPONENTS = (1.0, 1.25, 1.5, 1.75, 2.0, 2.25, 2.5)
#: Fewer trees do not tell the exponent apart.
OWN_EXPONENT = 100
#: Trees below which a kind has no curve of its own, and relatives none together.
LEAST_OWN, LEAST_RELATIVES = 25, 10
#: Trees of which ages were asked: a tree of age 0 stands at the size it was planted at.
YOUNGEST = 1.0
Z80 = 1.2816
#: Akaike's criterion by which a straight line must be better than a curve.
CLEARLY = 2.0
#: τ²/σ² with which regions are weighted in the curves; `variances` finds about this.
WEIGHT_RATIO = 0.3


@dataclass(frozen=True)
class Fit:
    """A curve and what it was fitted to."""

    curve: HeightCurve
    start_m: float
    n: int
    regions: tuple[str, ...]
    ages: tuple[float, float]
    bound: str
    cost: float

    def typical(self, ages) -> np.ndarray:
        """Height at those ages."""
        return height_at(self.curve, ages, self.start_m)


@dataclass(frozen=True)
class Spread:
    """Standard deviations of the logarithm of the height."""

    between_sites: float
    within_site: float
    between_kinds: float = 0.0

    @property
    def whole(self) -> float:
        """All of them together."""
        return float(np.sqrt(self.between_sites**2 + self.within_site**2 + self.between_kinds**2))


def aged(trees: pd.DataFrame) -> pd.DataFrame:
    """Trees whose age is known, and that have grown since they were planted."""
    return trees[trees["age"] >= YOUNGEST]


def planted_size(trees: pd.DataFrame) -> float:
    """Median height at age 0."""
    return float(trees.loc[trees["age"] == 0, "h"].median())


def planted_spread(trees: pd.DataFrame) -> float:
    """Spread of the logarithm of the height at age 0."""
    return float(np.log(trees.loc[trees["age"] == 0, "h"]).std())


def fit_curve(
    trees: pd.DataFrame,
    start_m: float,
    exponents=EXPONENTS,
    mature_m: float | None = None,
    *,
    straight: bool = True,
) -> Fit:
    """Fit one curve to trees of one kind, or of several that are taken as one.

    A lies between the median of the heights and their 95 % quantile, or the published mature
    height where that is greater; ``bound`` says what held it.
    """
    ages, heights = trees["age"].to_numpy(), trees["h"].to_numpy()
    low = max(float(np.quantile(heights, 0.50)), 1.2 * start_m)
    quantile = float(np.quantile(heights, 0.95))
    high = max(quantile, mature_m or 0.0, 1.1 * low)
    roots = _weights(trees["region"].to_numpy())
    logs = np.log(heights)

    def residuals(parameters, m):
        curve = HeightCurve(np.exp(parameters[0]), np.exp(parameters[1]), m)
        return roots * (logs - np.log(height_at(curve, ages, start_m)))

    bounds = ([np.log(low), np.log(0.002)], [np.log(high), np.log(0.8)])
    first = [np.log(0.5 * (low + high)), np.log(0.04)]
    tried = []
    for m in (*exponents, 0.0) if straight else exponents:
        found = least_squares(residuals, first, bounds=bounds, args=(m,))
        tried.append((2.0 * found.cost, m, found.x))
    bent = min(item for item in tried if item[1] > 0)
    best = bent
    fitted = 2 + (len(exponents) > 1)
    if straight:
        line = _aicc(tried[-1][0], len(ages), 2)
        if line <= _aicc(bent[0], len(ages), fitted) - CLEARLY:
            best = tried[-1]
    cost, m, (log_a, log_k) = best
    curve = HeightCurve(float(np.exp(log_a)), float(np.exp(log_k)), m)
    bound = "within its bounds"
    if log_a > np.log(high) - 1e-3:
        published = mature_m is not None and high == mature_m
        bound = "published mature height" if published else "95 % quantile of the heights"
    elif log_a < np.log(low) + 1e-3:
        bound = "median of the heights"
    regions = tuple(sorted(set(trees["region"])))
    return Fit(curve, start_m, len(ages), regions, (ages.min(), ages.max()), bound, cost)


def _aicc(square_sum: float, n: int, parameters: int) -> float:
    k = parameters + 1
    return n * np.log(max(square_sum, 1e-12) / n) + 2 * k + 2 * k * (k + 1) / max(n - k - 1, 1)


def _weights(groups: np.ndarray) -> np.ndarray:
    """Roots of weights by which regions count nearly alike: a region of n trees as 1/(τ²/σ² + 1/n)."""
    _, codes, counts = np.unique(groups, return_inverse=True, return_counts=True)
    weights = (1.0 / (1.0 + WEIGHT_RATIO * counts))[codes]
    return np.sqrt(weights / weights.mean())


def group_exponent(trees: pd.DataFrame, start_m: float) -> float:
    """One exponent for all kinds of a group: that of the least sum of squares over their own curves."""
    kinds = [of for _, of in trees.groupby("name") if len(of) >= LEAST_OWN]
    costs = [
        sum(fit_curve(of, start_m, (m,), straight=False).cost for of in kinds) for m in EXPONENTS
    ]
    return EXPONENTS[int(np.argmin(costs))]


def fit_kinds(
    trees: pd.DataFrame, starts: dict[str, float], mature: dict[str, float] | None = None
) -> tuple[dict[str, Fit], dict[str, float]]:
    """Fit each kind that has trees enough; and say the exponent of each group of leaves."""
    fits, exponents = {}, {}
    for leaf, of_leaf in trees.groupby("leaf"):
        exponents[leaf] = group_exponent(of_leaf, starts[leaf])
        for name, own in of_leaf.groupby("name"):
            if len(own) >= LEAST_OWN:
                tried = EXPONENTS if len(own) >= OWN_EXPONENT else (exponents[leaf],)
                fits[name] = fit_curve(own, starts[leaf], tried, (mature or {}).get(name))
    return fits, exponents


def fit_together(trees: pd.DataFrame, start_m: float, exponent: float) -> Fit:
    """Fit relatives, or a whole group, as one kind: a kind in a region counts as a region."""
    mixed = trees.assign(region=trees["region"] + " " + trees["name"])
    fit = fit_curve(mixed, start_m, (exponent,), straight=False)
    return Fit(**{**fit.__dict__, "regions": tuple(sorted(set(trees["region"])))})


def variances(trees: pd.DataFrame, fits: dict[str, Fit]) -> Spread:
    """Spread between regions, from the kinds that grow in several, and within them.

    Moments: the mean residual of a region varies by τ² + σ²/n. A kind in r regions has r − 1 degrees of
    freedom, because its curve went through the middle of them.
    """
    squares = freedom = within = within_freedom = correction = 0.0
    for name, fit in fits.items():
        own = trees[trees["name"] == name]
        if own.empty:
            continue
        left = np.log(own["h"]) - np.log(fit.typical(own["age"]))
        by = left.groupby(own["region"])
        means, counts = by.mean(), by.size()
        within += float(((left - by.transform("mean")) ** 2).sum())
        within_freedom += len(own) - len(counts) - 2
        if len(counts) >= 2:
            squares += float(((means - means.mean()) ** 2).sum())
            freedom += len(counts) - 1
            correction += float((1.0 / counts).mean()) * (len(counts) - 1)
    sigma2 = within / max(within_freedom, 1.0)
    tau2 = max(squares - sigma2 * correction, 0.0) / freedom if freedom else 0.0
    return Spread(float(np.sqrt(tau2)), float(np.sqrt(sigma2)))


def spreads(trees: pd.DataFrame, fits: dict[str, Fit]) -> dict[str, Spread]:
    """Spread of each group of leaves: between sites as over all kinds, within a site as in the group."""
    everywhere = variances(trees, fits)
    return {
        leaf: Spread(everywhere.between_sites, variances(of, fits).within_site)
        for leaf, of in trees.groupby("leaf")
    }


def between_kinds(trees: pd.DataFrame, together: Fit, spread: Spread) -> float:
    """Spread of kinds around the curve they share, beyond that of regions and trees.

    Mean squares of the kinds' mean residuals, less what sites and trees explain.
    """
    left = np.log(trees["h"]) - np.log(together.typical(trees["age"]))
    means = left.groupby(trees["name"]).mean()
    regions = trees.groupby("name")["region"].nunique()
    counts = trees.groupby("name").size()
    enough = counts >= LEAST_RELATIVES
    if enough.sum() < 3:
        return float("nan")
    explained = spread.between_sites**2 / regions + spread.within_site**2 / counts
    return float(np.sqrt(max((means[enough] ** 2).mean() - explained[enough].mean(), 0.0)))


def interval(fit: Fit, spread: Spread, ages, start_log_sd=0.0) -> tuple[np.ndarray, np.ndarray]:
    """The range that holds 80 % of the trees, by the low and high scenario and start."""
    return tuple(
        height_at(
            scenario(fit.curve, side * Z80 * spread.whole),
            ages,
            fit.start_m * float(np.exp(side * Z80 * start_log_sd)),
        )
        for side in (-1.0, 1.0)
    )


def interval_score(heights, low, high, share: float = 0.8) -> np.ndarray:
    """Score of a range on the logarithm, the smaller the better (Gneiting and Raftery 2007, eq. 43).

    Its width, and 2/α for what lies outside, α = 1 − share.
    """
    y, lower, upper = np.log(heights), np.log(low), np.log(high)
    outside = np.maximum(lower - y, 0.0) + np.maximum(y - upper, 0.0)
    return (upper - lower) + 2.0 / (1.0 - share) * outside
