"""The summary of a finished run, as rows of a label and a value; the faces print it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import pandas as pd

from screenplan.contracts import GROWTHS
from screenplan.contracts.apart import tell_set_apart
from screenplan.ground.said import in_units
from screenplan.ground.told_years import (
    closing_in_words,
    is_drawn,
    tell_year,
    years_of_view,
)
from screenplan.ground.units import format_length
from screenplan.outputs.plant_names import names_in
from screenplan.outputs.who_sees import view_counts

#: Heights that differ by less are the same, metres.
SAME_HEIGHT_M = 0.005
#: Plants that are named as those to replace first.
MOST_REPLACED = 5


class SummaryRow(NamedTuple):
    """One line of the summary."""

    label: str
    value: str


class _About(NamedTuple):
    """In which words a person reads it: units, and the names of species by their keys."""

    units: str
    names: Mapping[str, str]


def summarise(
    layers: Mapping[str, pd.DataFrame],
    *,
    units: str = "metric",
    names: Mapping[str, str] | None = None,
) -> list[SummaryRow]:
    """Sum up the layers of a run.

    Parameters
    ----------
    layers : mapping of str to DataFrame
        By contract name, with contract columns, lengths in metres. What is not there is left
        out of the summary.
    units : {"metric", "us"}
        In which lengths are written.
    names : mapping of str to str, optional
        What people call each species, by its key; without it the keys are told.

    Returns
    -------
    list of SummaryRow
        In reading order.
    """
    about = _About(units, names or {})
    rows: list[SummaryRow] = []
    for name, tell in _TELL:
        table = layers.get(name)
        if table is not None:
            rows.extend(SummaryRow(label, value) for label, value in tell(table, about))
    return rows


def _tell_sides(sides: pd.DataFrame, about: _About):
    if sides.empty:
        yield "Sides of the parcel", "not known"
        return
    around = format_length(float(sides["length_m"].sum()), about.units)
    yield "Sides of the parcel", f"{len(sides)}, {around} around"


def _tell_lines(lines: pd.DataFrame, about: _About):
    if lines.empty:
        yield "Planting lines", "none"
        return
    length = format_length(float(lines["length_m"].sum()), about.units)
    plantable = format_length(float(lines["plantable_m"].sum()), about.units)
    along = ", ".join(dict.fromkeys(lines["side_id"]))
    yield "Planting lines", f"{len(lines)} along {along}: {length}, {plantable} plantable"


def _tell_plants(plants: pd.DataFrame, about: _About):
    standing = int(plants["existing"].astype(bool).sum())
    new = plants[~plants["existing"].astype(bool)]
    counts = new["species"].astype(str).map(lambda key: names_in(key, about.names)).value_counts()
    kinds = ", ".join(f"{count} {name}" for name, count in sorted(counts.items()))
    yield "New plants", f"{len(new)} ({kinds})" if kinds else "0"
    if standing:
        yield "Plants that stand already", str(standing)
    moved = int((plants["moved_m"].abs() > 0).sum())
    if moved:
        yield "Plants moved along their line", str(moved)


def _tell_dropped(dropped: pd.DataFrame, _about: _About):
    if not dropped.empty:
        yield "Stations where nothing may stand", str(len(dropped))


def _tell_closure(closure: pd.DataFrame, about: _About):
    typical = closure[closure["growth"] == "typical"]
    years = {
        line: part.set_index("growth")["year_closed"] for line, part in closure.groupby("line_id")
    }
    for row in typical.itertuples():
        height = format_length(row.asked_height_m, about.units)
        begin = format_length(row.asked_from_m, about.units)
        if pd.isna(row.year_closed):
            low = format_length(row.mature_closed_from_m, about.units)
            most = format_length(row.mature_closed_height_m, about.units)
            bare = row.mature_closed_from_m > row.asked_from_m + SAME_HEIGHT_M
            late = row.mature_closed_height_m >= row.asked_height_m and not bare
            meets = (
                f"crowns meet from {low} to {most}"
                if row.mature_closed_height_m > 0
                else "crowns never meet"
            )
            says = (
                f"from {begin} to {height} only after the years looked at"
                if late
                else f"not from {begin} to {height}; {meets}"
            )
        else:
            told = tell_year(
                [years[row.line_id].get(growth, row.year_closed) for growth in GROWTHS],
                said_of(row),
            )
            says = f"from {begin} to {height} in {told}"
        yield f"Row {row.line_id} closes", says


def _tell_first(views: pd.DataFrame, _about: _About):
    """Say before anything else what the plan is for: how many open views it closes."""
    yield "In short", view_counts(views)


def _tell_views(views: pd.DataFrame, _about: _About):
    counts = views["status"].value_counts()
    exist = len(views) - int(counts.get("no view", 0))
    yield "Views onto private places", str(exist)
    yield "  closed by what stands already", str(int(counts.get("closed already", 0)))
    closing = views[views["status"] == "closes"]
    when = f", in {_view_years(closing)}" if len(closing) else ""
    yield "  closed by the screen", f"{len(closing)}{when}"
    yield "  left open", str(int(counts.get("stays open", 0)))
    if apart := tell_set_apart(views.loc[views["status"] == "stays open"]):
        yield "  of them", apart
    again = views.loc[(views["status"] == "stays open") & views["opens_again"].notna()]
    if len(again):
        year = int(again["opens_again"].min())
        yield "  of them closed for a time", f"{len(again)}, open again from year {year} on"


def _tell_own_growth(own: pd.DataFrame, about: _About):
    for row in own.itertuples():
        name = names_in(row.species, about.names)
        counted = (
            f"{row.plants} measured" if row.plants else f"{row.relatives} of other kinds measured"
        )
        yield f"Your own plants: {name}", f"{counted}; {in_units(row.says, about.units)}"


def _tell_own_years(years: pd.DataFrame, _about: _About):
    """Tell the years by own plants beside those without them."""
    for row in years[years["kind"] == "row"].itertuples():
        yield f"  row {row.closes_id} closes", row.says
    views = years[years["kind"] == "view"]
    if len(views):
        own, usual = (_how_many(views, column) for column in ("year", "usual"))
        yield (
            "  views that are open today",
            f"{own} by your own plants; {usual} without them",
        )


def _how_many(views: pd.DataFrame, column: str) -> str:
    """Tell how many views close, and in which years."""
    closing = pd.DataFrame(
        {f"year_closed{end}": views[f"{column}{end}"] for end in ("_low", "", "_high")}
    )
    closing = closing[closing["year_closed"].notna()]
    if closing.empty:
        return f"none of {len(views)} closes"
    return f"{len(closing)} of {len(views)} close in {_view_years(closing)}"


def _tell_needed(needed: pd.DataFrame, about: _About):
    for row in needed[needed["planned"].astype(bool)].itertuples():
        if row.needed_m > 0.0:
            height = format_length(row.needed_m, about.units)
            says = f"{height}; {names_in(row.species, about.names)}: {row.reached}"
        else:
            says = "none: no view crosses this row, and its plants close none"
        yield f"Height needed along {row.line_id}", says


def _tell_missing(missing: pd.DataFrame, _about: _About):
    if missing.empty:
        return
    reopens = missing[missing["reopens"].astype(bool)]
    year = int(missing["year"].iloc[0])
    count = reopens["plant_id"].nunique()
    yield (
        "Plants that matter most",
        f"{count}: lose one and a neighbour sees in again (year {year}); replace first no. {', '.join(_most_needed(reopens))}"
        if count
        else f"none: no view that is closed hangs on a single plant (year {year})",
    )


def _most_needed(reopens: pd.DataFrame) -> list[str]:
    """Give the plants whose loss opens most views again, then those of which more of a view hangs."""
    opens = reopens.assign(more=reopens["open_without"] - reopens["open"])
    by_plant = opens.groupby("plant_id", sort=True)["more"].agg(["size", "max"])
    ordered = by_plant.sort_values(["size", "max"], ascending=False, kind="stable")
    return [str(plant) for plant in ordered.index[:MOST_REPLACED]]


def _view_years(closing: pd.DataFrame) -> str:
    """Tell the years in which views close, with their range, and on what they rest; of a single one its chance too."""
    if (
        len(closing) == 1
        and is_drawn(closing.iloc[0])
        and not closing["year_closed_p50"].isna().any()
    ):
        growth = said_of(closing.iloc[0])
        said = closing_in_words(closing.iloc[0])
        return f"{said}; growth: {growth}" if growth else said
    every = [years_of_view(row) for row in closing.to_dict("records")]
    middle = [year for _, year, _ in every if year is not None]
    first, last = _span(middle)
    seldom = len(every) - len(middle)
    said = f"year {first}" if first == last else f"years {first} to {last}"
    if seldom:
        few = "fewer than half of the draws"
        said = f"{said}, {seldom} of them in {few}" if middle else few
    least, most = _span([year for years in every for year in years])
    span = "" if (least, most) == (first, last) else f" ({least} to {most})"
    growth = said_of(closing.iloc[0])
    return f"{said}{span}; growth: {growth}" if growth else f"{said}{span}"


def _span(years) -> tuple[int | str, int | str]:
    """Give the least and the greatest year; never is greater than any."""
    reached = [year for year in years if year is not None]
    first = min(reached, default="never")
    return first, max(reached) if reached and len(reached) == len(years) else "never"


def said_of(row) -> str:
    """Give what the growth rests on of which a row of a layer tells a year; empty if it is not known."""
    evidence = getattr(row, "evidence", None)
    return "" if evidence is None or pd.isna(evidence) else str(evidence)


def _tell_checks(checks: pd.DataFrame, _about: _About):
    counts = checks["result"].value_counts()
    results = [
        f"{counts[result]} {words}" for result, words in _RESULTS.items() if result in counts
    ]
    yield "Checks", ", ".join(results) or "none"


_RESULTS = {"passes": "passed", "fails": "failed", "cannot be judged": "not judged"}

#: Which layer tells what, in reading order.
_TELL = (
    ("views", _tell_first),
    ("sides", _tell_sides),
    ("planting_lines", _tell_lines),
    ("plants", _tell_plants),
    ("dropped_stations", _tell_dropped),
    ("closure", _tell_closure),
    ("own_growth", _tell_own_growth),
    ("own_years", _tell_own_years),
    ("needed_years", _tell_needed),
    ("views", _tell_views),
    ("missing_plants", _tell_missing),
    ("checks", _tell_checks),
)
