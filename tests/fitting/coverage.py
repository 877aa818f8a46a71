"""How well the curves hold in a region that they were not fitted to: each is left out in turn.

A kind that grows in other regions too is foretold by its own curve there; one that does not by its
relatives (same genus and leaf) or by its group of leaves, as the figures of a kind without trees are.
The range to beat is one for all conifers and one for all broadleaves.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from .heights import (
    LEAST_RELATIVES,
    Spread,
    aged,
    between_kinds,
    fit_kinds,
    fit_together,
    interval,
    interval_score,
    planted_spread,
    spreads,
)

CONIFERS = {"scale", "needle"}


def leave_one_region_out(trees: pd.DataFrame, starts: dict[str, float]) -> pd.DataFrame:
    """Foretell every tree from the other regions.

    Returns
    -------
    DataFrame
        name, leaf, region, age, h, typical, low, high, score, by (own, relatives or group), and
        one_low, one_high, one_score of the range to beat.
    """
    start_log_sd = planted_spread(trees)
    grown = aged(trees)
    return pd.concat(
        [
            _foretell(
                grown[grown["region"] != region],
                grown[grown["region"] == region],
                starts,
                start_log_sd,
            )
            for region in sorted(set(grown["region"]))
        ],
        ignore_index=True,
    )


def _foretell(train, test, starts, start_log_sd: float) -> pd.DataFrame:
    fits, exponents = fit_kinds(train, starts)
    spread = spreads(train, fits)
    made = []
    for (leaf, name), own in test.groupby(["leaf", "name"]):
        if leaf not in exponents:
            continue
        fit, spreading, by = _predictor(train, fits, exponents, spread, leaf, name, starts)
        low, high = interval(fit, spreading, own["age"], start_log_sd)
        made.append(
            own[["name", "leaf", "region", "age", "h"]].assign(
                typical=fit.typical(own["age"]),
                low=low,
                high=high,
                by=by,
                score=interval_score(own["h"], low, high),
                asymptote_m=fit.curve.asymptote_m,
                rate=fit.curve.rate,
                exponent=fit.curve.exponent,
                start_m=fit.start_m,
                log_sd=spreading.whole,
            )
        )
    found = pd.concat(made, ignore_index=True)
    conifer = found["leaf"].isin(CONIFERS)
    for side in (True, False):
        rows = conifer == side
        if rows.any():
            leaves = train[train["leaf"].isin(CONIFERS) == side]
            low, high = _one_range(leaves, starts, found.loc[rows, "age"], start_log_sd)
            found.loc[rows, "one_low"], found.loc[rows, "one_high"] = low, high
            found.loc[rows, "one_score"] = interval_score(found.loc[rows, "h"], low, high)
    return found


def _predictor(train, fits, exponents, spread, leaf, name, starts):
    if name in fits:
        return fits[name], spread[leaf], "own"
    group = train[train["leaf"] == leaf]
    genus = group[group["genus"] == name.split()[0]]
    by, chosen = ("relatives", genus) if len(genus) >= LEAST_RELATIVES else ("group", group)
    fit = fit_together(chosen, starts[leaf], exponents[leaf])
    kinds = between_kinds(chosen, fit, spread[leaf])
    if np.isnan(kinds):
        kinds = between_kinds(
            group, fit_together(group, starts[leaf], exponents[leaf]), spread[leaf]
        )
    whole = Spread(spread[leaf].between_sites, spread[leaf].within_site, np.nan_to_num(kinds))
    return fit, whole, by


def _one_range(trees: pd.DataFrame, starts, ages, start_log_sd: float):
    """One curve for all, and the spread of the residuals around it."""
    start = float(np.mean([starts[leaf] for leaf in sorted(set(trees["leaf"]))]))
    fit = fit_together(trees, start, 1.5)
    left = np.log(trees["h"]) - np.log(fit.typical(trees["age"]))
    return interval(fit, Spread(0.0, float(left.std())), ages, start_log_sd)


def summary(found: pd.DataFrame) -> dict[str, float]:
    """Say coverage and scores, of all trees and of those foretold by their own kind."""
    inside = (found["h"] >= found["low"]) & (found["h"] <= found["high"])
    own = found["by"] == "own"
    return {
        "n": len(found),
        "inside": float(inside.mean()),
        "score": float(found["score"].mean()),
        "score_of_one_range": float(found["one_score"].mean()),
        "n_own": int(own.sum()),
        "inside_own": float(inside[own].mean()) if own.any() else float("nan"),
        "score_own": float(found.loc[own, "score"].mean()) if own.any() else float("nan"),
        "score_of_one_range_own": float(found.loc[own, "one_score"].mean())
        if own.any()
        else float("nan"),
    }
