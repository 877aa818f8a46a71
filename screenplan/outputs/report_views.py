"""What the report says about the views: their short names, their table, a sentence for each year."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from screenplan.contracts import year_column
from screenplan.contracts.apart import tell_set_apart
from screenplan.contracts.called import observer_names, place_names, target_names, view_names
from screenplan.contracts.views import OPEN_TODAY
from screenplan.ground.told_years import chance_in_words, is_drawn, year_range, years_of_view
from screenplan.ground.units import format_length
from screenplan.outputs.drawings.plan import closed_by
from screenplan.outputs.drawings.style import clean, year_words
from screenplan.outputs.report_cells import is_missing
from screenplan.outputs.report_tables import Heading, Table
from screenplan.outputs.who_sees import NO_ROW, causes_of

#: The report's table names so many views; the layer holds all.
MOST_VIEWS = 60
#: Said of a view that closes and of which no ray is left over: the plants stop all of them from the first year on.
_NO_HOLE = "nothing at typical growth"


def table_names(layers: Mapping, species: Mapping[str, str]) -> dict[str, Mapping[str, str]]:
    """Give by the form of a cell what its key stands for: species, views, what light falls on."""
    return {"species": species, "view": view_names(layers), "target": target_names(layers)}


def shown_views(views: pd.DataFrame) -> pd.DataFrame:
    """Give the views that are open today, in the layer's order."""
    return views.loc[views["status"].isin(OPEN_TODAY)]


def view_codes(views: pd.DataFrame) -> dict[str, str]:
    """Give each view that is open today a short name: V1, V2, …."""
    return {view_id: f"V{k}" for k, view_id in enumerate(shown_views(views)["view_id"], 1)}


def views_table(
    layers: Mapping,
    years: Sequence[int],
    units: str = "metric",
    *,
    most: int | None = MOST_VIEWS,
) -> Table | None:
    """Make the table of the views that are open today.

    Parameters
    ----------
    layers : mapping of str to DataFrame
        Needed is ``views``; ``windows``, ``onlookers``, ``private_places`` give names and
        ``view_holes`` says what leaves a view open.
    years : sequence of int
        Years with a column, if the layer has them.
    units : {"metric", "us"}
    most : int, optional
        So many views are told; without it all are.
    """
    views = shown_views(layers["views"])
    if views.empty:
        return None
    codes = view_codes(layers["views"])
    observers, places = observer_names(layers), place_names(layers.get("private_places"))
    causes = causes_of(layers.get("view_holes"), units)
    first = views.iloc[0]
    drawn = is_drawn(first)
    by = int(first["chance_year"]) if drawn else None
    shares = [year for year in years if year > 0 and year_column("open", year) in views]
    headings = [
        Heading("view"),
        Heading("from"),
        Heading("onto"),
        Heading("now", True, "Share open on the day of planting", 0),
        *(
            Heading(year_words(year), True, f"Share still open in {year_words(year)}", year)
            for year in shares
        ),
        Heading("closed in year", True, _OF_DRAWS if drawn else _OF_SCENARIOS),
        *(
            [
                Heading(
                    f"chance by year {by}",
                    True,
                    f"Share of the draws in which it is closed by year {by}",
                )
            ]
            if drawn
            else []
        ),
        Heading("what leaves it open longest", long=True),
    ]
    rows = [
        [
            codes[row["view_id"]],
            clean(observers.get(str(row["window_id"]), row["window_id"]), 120),
            clean(places.get(str(row["place_id"]), row["place_id"]), 120),
            f"{row['open_now']:.0%}",
            *(f"{row[year_column('open', year)]:.0%}" for year in shares),
            year_range(years_of_view(row)),
            *([chance_in_words(row["chance"])] if drawn else []),
            causes.get(row["view_id"], (NO_ROW if row["status"] == "stays open" else _NO_HOLE,))[
                -1
            ],
        ]
        for row in views.iloc[:most].to_dict("records")
    ]
    counts = layers["views"]["status"].value_counts()
    more = len(views) - len(rows)
    lead = (
        f"{len(views)} views are open today; {int(counts.get('closed already', 0))} more are closed "
        f"already by what stands there. Per cent: how much of a view is still open, at typical growth, in "
        f"the season that leaves more of it open."
    )
    if drawn:
        lead += (
            " Year and chance come from many draws of growth, crowns and losses: the year of half of them, "
            "in brackets those of 1 and of 9 in 10."
        )
    if not is_missing(first.get("evidence")):
        lead += f" Growth of the plants: {clean(first['evidence'])}."
    if apart := tell_set_apart(views):
        lead += f" Of the open views {apart}; they are followed as all others are."
    if more:
        lead += f" {more} more open views are in the layer views."
    return Table("views", "Views that are open today", headings, rows, lead)


def year_sentences(layers: Mapping, years: Sequence[int], units: str) -> dict[int, str]:
    """Say for each year how many views are closed and how tall the plants are."""
    views = shown_views(layers["views"])
    crowns = layers["crowns"]
    crowns = crowns.loc[crowns["growth"] == "typical"]
    said = {}
    for year in years:
        shut = int(closed_by(views, year).sum())
        heights = crowns.loc[crowns["year"] == year, "height_m"]
        tall = ""
        if len(heights):
            low, high = (format_length(value, units, 1) for value in (heights.min(), heights.max()))
            tall = (
                f" Plants are {low} tall." if low == high else f" Plants are {low} to {high} tall."
            )
        name = year_words(year).capitalize() if year else "Day of planting"
        said[year] = f"{name}: {shut} of {len(views)} views are closed.{tall}"
    return said


#: What the year of a view is, of draws and without them.
_OF_DRAWS = "In half of the draws it is closed by then; in brackets the years by which it is in 1 and in 9 of 10 draws"
_OF_SCENARIOS = (
    "At typical growth; in brackets the least and the greatest year of low to high growth"
)
