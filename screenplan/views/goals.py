"""The goal: views that close, and rows that a view crosses."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

from screenplan.contracts.apart import tell_set_apart
from screenplan.contracts.findings import Finding
from screenplan.contracts.views import OPEN_TODAY
from screenplan.views.opened import open_rays
from screenplan.views.sight import sight_of
from screenplan.views.stretches import crowns_stop


def judge_use(
    needed_years, plants, views, layers, plan, terrain, species_table, kept
) -> Iterator[Finding]:
    """Tell of each row that is newly planted whether a view crosses it at all: its line, or the crowns of its plants."""
    if needed_years is None or not _are_open(views).any():
        return
    new = plants.loc[~plants["existing"].astype(bool)]
    count = new["line_id"].value_counts()
    rows = needed_years.loc[needed_years["planned"].astype(bool) & needed_years["line_id"].isin(new["line_id"])]  # fmt: skip
    beside = new.loc[new["line_id"].isin(rows.loc[rows["needed_m"] <= 0.0, "line_id"])]
    stop: set[str] = set()
    if (
        len(beside)
        and layers.get("windows") is not None
        and layers.get("private_places") is not None
    ):
        rays = open_rays(sight_of(layers, plan.views, terrain, kept), plan.views.threshold)
        beside = beside.reset_index(drop=True)
        stop = set(beside.loc[crowns_stop(beside, rays, plan, species_table), "line_id"])
    for row in rows.itertuples():
        name = f"use of {row.line_id}"
        if row.needed_m > 0.0:
            yield Finding(name, "passes", "Views that nothing else closes cross the row")
        elif row.line_id in stop:
            yield Finding(
                name,
                "passes",
                "Views that are open pass beside its line, through the crowns of its plants",
            )
        else:
            yield Finding(name, "fails", f"No view that is open crosses the row: its {count[row.line_id]} new plants close none",
                          "another side in rows.along, or the windows and people who look across this one")  # fmt: skip


def judge_goal(views, plan, private_places=None) -> Finding:
    """Hold the years in which views close against the goal."""
    name, closed_by, share = "views closed", plan.goal.closed_by, plan.goal.share
    seen = views.loc[_are_open(views)]
    if not len(seen):
        shut = int((views["status"] == "closed already").sum())
        if shut:
            says = f"No view is open today: all {shut} views are closed by what stands already, and the plants close none"
        else:
            says = "No window or onlooker that is given sees a private place"
        return Finding(name, "cannot be judged", says, "windows and private places")
    closes = int((seen["status"] == "closes").sum())
    again, growth = _tell_again(seen) + _tell_apart(seen), _tell_growth(seen)
    if closes == 0:
        says = f"None of the {len(seen)} views that are open today closes in the years looked at{again}"
        return Finding(
            name, "fails", says, "another side, a taller or denser species, or a closer place for the row"
        )  # fmt: skip
    if closed_by is None:
        return Finding(
            name,
            "cannot be judged",
            f"{closes} of {len(seen)} open views close in the years looked at{again}; no goal is set{growth}",
            "goal.closed_by",
        )
    weights = {}
    if private_places is not None:
        weights = dict(zip(private_places["place_id"], private_places["weight"], strict=True))
    weight = seen["place_id"].map(lambda place: weights.get(place, 1.0)).to_numpy(float)
    done = (seen["year_closed"] <= closed_by).fillna(False).to_numpy(bool)
    if weight.sum() <= 0:
        return Finding(
            name, "cannot be judged", "Every place that is seen has weight 0", "a weight above 0"
        )
    reached = float(weight[done].sum() / weight.sum())
    says = (f"{done.sum()} of {len(seen)} open views ({reached:.0%} by weight) are closed to {1 - plan.views.threshold:.0%} "
            f"by year {closed_by}{again}; {share:.0%} are asked{growth}")  # fmt: skip
    return Finding(name, "passes" if reached >= share - 1e-9 else "fails", says)


def _tell_again(seen) -> str:
    """Say how many views close and open again, which does not count as closed."""
    again = seen.loc[(seen["status"] == "stays open") & seen["opens_again"].notna(), "opens_again"]
    if not len(again):
        return ""
    who = (
        "1 view closes for a time and is"
        if len(again) == 1
        else f"{len(again)} views close for a time and are"
    )
    return f"; {who} open again from year {int(again.min())} on"


def _tell_apart(seen) -> str:
    """Say how many of the views that stay open are from windows that are set apart, and why."""
    apart = tell_set_apart(seen.loc[seen["status"] == "stays open"])
    return f"; of those that stay open {apart}" if apart else ""


def _tell_growth(seen) -> str:
    """Say what the growth rests on by which views close."""
    if "evidence" not in seen:
        return ""
    said = seen["evidence"].dropna()
    return f"; growth: {said.iloc[0]}" if len(said) else ""


def _are_open(views) -> pd.Series:
    """Tell which views are open on the day of planting."""
    return views["status"].isin(OPEN_TODAY)
