"""The goal: rows that close, views that close."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from screenplan.checks.findings import Finding


def judge_closure(closure) -> Iterator[Finding]:
    """Tell of each row whether it closes up to the asked height."""
    for row in closure.loc[closure["growth"] == "typical"].itertuples():
        name = f"closure of {row.line_id}"
        if pd.isna(row.year_closed):
            if row.mature_closed_height_m >= row.asked_height_m:
                says = f"In the years looked at the row does not close up to {row.asked_height_m:.2f} m; later it does"
            elif row.mature_closed_height_m > 0:
                says = f"Set {row.spacing_m:.2f} m apart, crowns never meet higher than {row.mature_closed_height_m:.2f} m; {row.asked_height_m:.2f} m are asked"
            else:
                says = f"Set {row.spacing_m:.2f} m apart, crowns never meet"
            yield Finding(name, "fails", says, "a closer spacing or a wider species")
        else:
            yield Finding(
                name,
                "passes",
                f"Crowns meet up to {row.asked_height_m:.2f} m in year {int(row.year_closed)} at typical growth",
            )


def judge_goal(views, closed_by, share, threshold, weights) -> Finding:
    """Hold the years in which views close against the goal."""
    name = "views closed"
    seen = views.loc[views["status"].isin(["closes", "stays open"])]
    if not len(seen):
        return Finding(
            name,
            "cannot be judged",
            "No view is open today, or there are no windows and places",
            "windows and private places",
        )
    closes = int((seen["status"] == "closes").sum())
    if closed_by is None:
        return Finding(
            name,
            "cannot be judged",
            f"{closes} of {len(seen)} open views close in the years looked at; no goal is set",
            "goal.closed_by",
        )
    weight = seen["place_id"].map(lambda place: weights.get(place, 1.0)).to_numpy(float)
    done = (seen["year_closed"] <= closed_by).fillna(False).to_numpy(bool)
    if weight.sum() <= 0:
        return Finding(
            name, "cannot be judged", "Every place that is seen has weight 0", "a weight above 0"
        )
    reached = float(weight[done].sum() / weight.sum())
    says = (f"{done.sum()} of {len(seen)} open views ({reached:.0%} by weight) are closed to {1 - threshold:.0%} "
            f"by year {closed_by}; {share:.0%} are asked")  # fmt: skip
    return Finding(name, "passes" if reached >= share - 1e-9 else "fails", says)
