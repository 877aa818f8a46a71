"""Width by height, leaf area by crown volume, and the exponent of the profile."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np
import pandas as pd

from screenplan.planting.curves import crown_volume

from .reading import OTHER_LEAF_METHOD, UTD

LEAST = 10
#: Screens are no taller: leaves are counted on such trees, because density falls as crowns grow.
TALLEST_LEAVES_M = 9.0
#: Trees that tell a width law: taller ones stand at their mature spread.
TALLEST_WIDTH_M = 12.0
#: Fewer trees do not tell their own exponent.
OWN_EXPONENT = 100
#: The exponent of a width law lies in these bounds: b < 1, so that the share falls.
EXPONENT_BOUNDS = (0.3, 0.98)
PARABOLOID = 0.5
#: Kinds that share a score exactly, from which on it is that of a group and of none of them.
SHARED = 3


@dataclass(frozen=True)
class Width:
    """w = a hᵇ up to the widest, its spread on the logarithm, and what it was fitted to.

    ``taller`` counts the trees in the open that are taller than a tree of the widest: they tell where the law ends.
    """

    coefficient: float
    exponent: float
    widest_m: float
    taller: int
    log_sd: float
    n: int
    regions: tuple[str, ...]
    heights: tuple[float, float]


@dataclass(frozen=True)
class Leaves:
    """Leaf area over crown volume, m²/m³, median and 10 and 90 %."""

    density: tuple[float, float, float]
    n: int
    regions: tuple[str, ...]


@dataclass(frozen=True)
class Profile:
    """Published exponent and where it comes from: the kind's own score, its genus' or a group's."""

    exponent: float
    grade: str
    of: str


def fit_width(trees: pd.DataFrame, exponent: float | None = None) -> Width:
    """Fit the law to trees up to `TALLEST_WIDTH_M`, by least squares of the logarithms.

    Regions count alike, whatever the number of their trees, up to 30 of them. A given exponent stays
    where there are fewer than `OWN_EXPONENT` trees.
    """
    used = trees[trees["w"].notna() & (trees["h"] <= TALLEST_WIDTH_M)]
    x, y = np.log(used["h"].to_numpy()), np.log(used["w"].to_numpy())
    counts = used.groupby("region")["h"].transform("size").to_numpy()
    weights = np.minimum(30.0, counts) / counts
    mx, my = np.average(x, weights=weights), np.average(y, weights=weights)
    if exponent is None or len(used) >= OWN_EXPONENT:
        slope = np.sum(weights * (x - mx) * (y - my)) / np.sum(weights * (x - mx) ** 2)
        exponent = float(np.clip(slope, *EXPONENT_BOUNDS))
    left = y - my - exponent * (x - mx)
    widest, taller = width_end(trees[trees["w"].notna()], my - exponent * mx, exponent)
    return Width(
        float(np.exp(my - exponent * mx)),
        exponent,
        widest,
        taller,
        float(np.sqrt(np.average(left**2, weights=weights))),
        len(used),
        tuple(sorted(set(used["region"]))),
        (float(used["h"].min()), float(used["h"].max())),
    )


def width_end(trees: pd.DataFrame, log_coefficient: float, exponent: float) -> tuple[float, int]:
    """Find the width at which the law ends: where taller trees are no wider.

    The level W that makes the squares of ln w − min(ln a + b ln h, ln W) least. With the k tallest trees
    above it, it is their mean, as far as that lies between the law of the k-th and of the next one. Where no
    level does better than the law itself, it is that of the tallest tree.

    Returns
    -------
    (float, int)
        Metres, and the number of trees in the open above it. Those of a forest stand too close to tell.
    """
    tall = trees.sort_values("h", ascending=False, kind="stable")
    law = log_coefficient + exponent * np.log(tall["h"].to_numpy())
    w = np.log(tall["w"].to_numpy())
    along = np.append(np.cumsum(((w - law) ** 2)[::-1])[::-1], 0.0)
    least, level, above = along[0], law[0], 0
    for k in range(1, len(law) + 1):
        below = law[k] if k < len(law) else -np.inf
        tried = float(np.clip(w[:k].mean(), below, law[k - 1]))
        squares = float(((w[:k] - tried) ** 2).sum() + along[k])
        if squares < least:
            least, level, above = squares, tried, k
    return float(np.exp(level)), int((tall["source"].to_numpy()[:above] == UTD).sum())


def common_exponent(trees: pd.DataFrame) -> float:
    """One exponent for all kinds of a group: the slope within kinds and regions, least squares."""
    used = trees[trees["w"].notna() & (trees["h"] <= TALLEST_WIDTH_M)]
    keys = used["name"] + " " + used["region"]
    x, y = np.log(used["h"]), np.log(used["w"])
    x, y = x - x.groupby(keys).transform("mean"), y - y.groupby(keys).transform("mean")
    return float(np.clip(float((x * y).sum() / (x**2).sum()), *EXPONENT_BOUNDS))


def leaf_densities(trees: pd.DataFrame, profile_exponent: float) -> pd.Series:
    """One-sided leaf area over the volume of a crown of that profile, m²/m³.

    Without the cities whose leaf areas were found by another method.
    """
    used = trees[
        trees[["leaf_area", "w", "depth"]].notna().all(axis=1)
        & ~trees["region"].isin(OTHER_LEAF_METHOD)
        & (trees["h"] <= TALLEST_LEAVES_M)
    ]
    volume = crown_volume(used["depth"], 0.0, used["w"], profile_exponent)
    return used["leaf_area"] / volume


def fit_leaves(trees: pd.DataFrame, profile_exponent: float) -> Leaves | None:
    """Median and range of the leaf area density, None where there are too few trees."""
    density = leaf_densities(trees, profile_exponent)
    if len(density) < LEAST:
        return None
    low, middle, high = np.quantile(density, [0.1, 0.5, 0.9])
    return Leaves(
        (float(low), float(middle), float(high)),
        len(density),
        tuple(sorted(set(trees.loc[density.index, "region"]))),
    )


def typical_exponent(published: float) -> float:
    """The middle between the published exponent and a paraboloid.

    The published one is of forest trees; of young trees in the open none was found. A paraboloid is the
    cautious end, and nothing says where between the two a young screen lies.
    """
    return 0.5 * (published + PARABOLOID)


def find_profile(profiles: pd.DataFrame, latin: str, genus: str, broadleaf: bool) -> Profile:
    """Look up the exponent of a kind, of its genus, or the median of its group."""
    plain = latin.replace(" × ", " x ")
    rows = profiles[profiles["latin"].isin({latin, plain})]
    of_genus = profiles[profiles["genus"] == genus]
    if len(rows):
        row = rows.iloc[0]
        return Profile(
            float(row["exponent"]),
            "measured" if is_own_score(profiles, row) else "relatives",
            str(row["latin"]),
        )
    if len(of_genus):
        return Profile(float(of_genus["exponent"].median()), "relatives", f"{genus}, median")
    conifers = profiles["genus"].isin(CONIFER_GENERA)
    group = profiles[conifers != broadleaf]
    return Profile(
        float(group["exponent"].median()),
        "group",
        "broadleaves, median" if broadleaf else "conifers, median",
    )


def is_own_score(profiles: pd.DataFrame, row: pd.Series) -> bool:
    """Tell a score of the kind's own from one that its genus or its group lent it."""
    shared = Counter(profiles["score"])[row["score"]]
    lent = profiles[profiles["latin"] == f"{row['genus']} spp."]
    return shared < SHARED and row["score"] not in set(lent["score"])


def exponent_of_score(score):
    """Exponent of a trait score (Purves, Lichstein and Pacala 2007): B = 0.196 (1 − T) + 0.511 T."""
    return 0.196 * (1.0 - score) + 0.511 * score


CONIFER_GENERA = {
    "Abies", "Calocedrus", "Chamaecyparis", "Cryptomeria", "Cupressus", "Juniperus", "Metasequoia",
    "Picea", "Pinus", "Platycladus", "Podocarpus", "Pseudotsuga", "Sequoia", "Taxodium", "Taxus",
    "Thuja", "Torreya", "Tsuga",
}  # fmt: skip
