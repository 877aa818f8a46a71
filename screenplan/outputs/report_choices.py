"""The plantings that may be chosen, for the report: each with drawing, order, years and its command."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from screenplan.contracts.views import OPEN_TODAY
from screenplan.ground.said import in_units
from screenplan.ground.told_years import DRAWN
from screenplan.ground.units import format_length
from screenplan.outputs.drawings.plantings import choice_sheet, draw_choice
from screenplan.outputs.drawings.style import clean, drawing_style, off_screen
from screenplan.outputs.drawings.svg import to_svg
from screenplan.outputs.plant_names import names_in
from screenplan.outputs.report_cells import LONGEST_TEXT, is_missing, text_of
from screenplan.outputs.report_tables import Table
from screenplan.outputs.who_sees import closing_windows, view_counts

#: So many are shown; the table of choices holds all.
MOST_CHOICES = 8


@dataclass(frozen=True)
class Choice:
    """One planting that may be chosen.

    Parameters
    ----------
    number : int
        From 1.
    name : str
    chosen : bool
        Whether it is the one that the rest of the report is about.
    order : list of str
        How many plants of which kind and size, and what they cost.
    headline : str
        How many views it closes.
    says : str
        What it costs and brings beside the chosen one.
    table : Table or None
        Who no longer sees in, and from when.
    command : str
        What plans it in full.
    svg : str
        Its drawing, with the years.
    """

    number: int
    name: str
    chosen: bool
    order: list[str]
    headline: str
    says: str
    table: Table | None
    command: str
    svg: str


def make_choices(
    layers: Mapping, *, years: Sequence[int], shown: int, units: str, names: Mapping[str, str]
) -> list[Choice]:
    """Gather the choices of a design; none if the plan worked out no others.

    Parameters
    ----------
    layers : mapping of str to DataFrame
        By contract name; of them ``choices``, ``choice_plants`` and ``choice_views``.
    years : sequence of int
        Years of the drawings.
    shown : int
        The year that is visible at first.
    units : {"metric", "us"}
    names : mapping of str to str
        What the keys of species stand for.
    """
    table, plants, seen = (layers.get(f"choice{end}") for end in ("s", "_plants", "_views"))
    if table is None or plants is None or seen is None or len(table) < 2:
        return []
    rows = table.sort_values("chosen", ascending=False, kind="stable").head(MOST_CHOICES)
    made = []
    with drawing_style(), off_screen():
        sheet = choice_sheet(layers, units)
        for number, row in enumerate(rows.to_dict("records"), 1):
            mine = plants.loc[plants["choice"] == row["choice"]]
            views = _views_of(
                layers["views"], seen.loc[seen["choice"] == row["choice"]], row["year"]
            )
            figure = draw_choice(layers, mine, views, years=years, sheet=sheet).figure
            name = clean(row["name"], 120)
            made.append(
                Choice(
                    number, name, bool(row["chosen"]), _order(row, mine, units, names),
                    view_counts(views), clean(in_units(text_of(row["says"]), units), LONGEST_TEXT),
                    closing_windows({**layers, "views": views})[0],
                    clean(row["command"], LONGEST_TEXT),
                    to_svg(
                        figure, f"choice-{number}", title=name, shown=shown,
                        says=f"Plan from above: {len(mine)} plants, and the sight lines that are open or closed.",
                    ),
                )
            )  # fmt: skip
    return made


def _views_of(views: pd.DataFrame, own: pd.DataFrame, year: int) -> pd.DataFrame:
    """Give the views of the run with the years and chances that a choice gives them."""
    open_now = views.loc[views["status"].isin(OPEN_TODAY)]
    own = own.set_index("view_id").reindex(open_now["view_id"])
    changed = {
        "year_closed": own["closed_in"],
        **{name: own[name] for name in (*DRAWN, "chance")},
    }
    return open_now.assign(
        **{name: column.array for name, column in changed.items()},
        chance_year=pd.array([int(year)] * len(open_now), dtype="Int64"),
        status=np.where(own["closed_in"].notna(), "closes", "stays open"),
    )


def _order(row: Mapping, plants, units: str, names: Mapping[str, str]) -> list[str]:
    counts = plants.groupby(["species", "stock_m"], sort=False).size()
    lines = [
        f"{count} {clean(names_in(str(species), names), 90)}, {format_length(float(height), units)} high"
        for (species, height), count in counts.items()
    ]
    if not is_missing(row["cost"]):
        lines.append(
            f"{float(row['cost']):,.2f} for the plants, by your prices"
            if row["priced"]
            else f"weight of the plants by their size: {float(row['cost']):,.2f} (no price is given)"
        )
    return lines
