"""Who no longer sees in and who still does, told by windows: years, chances, reasons."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from screenplan.contracts.called import house_names, observer_names, place_names
from screenplan.contracts.tables import records_of
from screenplan.ground.said import in_units
from screenplan.ground.texts import first_few, more_stand
from screenplan.ground.told_years import chance_in_words, is_drawn, year_range, years_of_view
from screenplan.outputs.drawings.style import clean
from screenplan.outputs.report_cells import LONGEST_TEXT, is_missing
from screenplan.outputs.report_tables import Heading, Table

#: So many windows are told on the first screen, or else their houses; fewer of those for one reason that are derived
#: from footprints and only have a number.
MOST_WINDOWS, MOST_NUMBERED = 8, 3
#: Chance from which on a view counts as surely closed.
SURE = 0.8
#: Said where nobody is given who may look in.
NOBODY_GIVEN = "No window and no onlooker is given, so that this plan does not know who looks in."
#: Said of an open view whose rays meet no row.
NO_ROW = "no row stands in the way"


def view_counts(views: pd.DataFrame | None, built: pd.DataFrame | None = None) -> str:
    """Say how many of the views that are open today close, and how surely; nothing where none were followed.

    Parameters
    ----------
    views : DataFrame or None
    built : DataFrame, optional
        What is built first, by the contract ``new_screens``: of what closes it is told how much closes behind it.
    """
    if views is None:
        return ""
    counts = views["status"].value_counts()
    closes, left = int(counts.get("closes", 0)), int(counts.get("stays open", 0))
    shut, seen = int(counts.get("closed already", 0)), closes + left
    if not len(views):
        return NOBODY_GIVEN
    if not seen:
        return (
            f"Nobody sees in today: {'the one view is' if shut == 1 else f'all {shut} views are'} closed by what stands already."
            if shut
            else "No window or onlooker that is given sees a private place."
        )
    if seen == 1:
        says = f"The one view that is open today {'closes' if closes else 'stays open'}"
    elif not closes or not left:
        every = "Both" if seen == 2 else f"All {seen}"
        says = f"{every if closes else f'None of the {seen}'} views that are open today close{'s' * (not closes)}"
    else:
        says = f"{closes} of the {seen} views that are open today close{'s' * (closes == 1)}, {left} stay{'s' * (left == 1)} open"
    if built is not None and len(built):
        says += _on_the_first_day(built, closes)
    open_now = views.loc[views["status"].isin(["closes", "stays open"])]
    if is_drawn(open_now.iloc[0]):
        year = int(open_now["chance_year"].iloc[0])
        sure = int((open_now["chance"] >= SURE).sum())
        says += (
            f"; by year {year} it is closed with a chance of {chance_in_words(open_now['chance'].iloc[0])}"
            if seen == 1
            else f"; {sure or 'none'} {'is' if sure < 2 else 'are'} closed by year {year} with a chance of {chance_in_words(SURE)} or more"
        )
    return f"{says}."


def _on_the_first_day(built: pd.DataFrame, closes: int) -> str:
    """Say how many of the views that close do so behind what is built first, and how many behind plants."""
    first = min(int(built["closes_first"].iloc[0]), closes)
    behind = f"behind the new {built['option'].iloc[0]}"
    if first == closes:
        return f": on the first day, {behind}" if closes else ""
    return f": {first} on the first day {behind}, {closes - first} later behind plants"


def closing_windows(layers: Mapping) -> tuple[Table | None, str]:
    """Tell by windows which places they see no more, from which year on and with what chance.

    Returns
    -------
    Table or None
        A row a window, or a house where there are more than `MOST_WINDOWS`; None if no view closes. The year and
        the chance are those of its last view.
    str
        What to know of the table, and how many windows it leaves out.
    """
    views = layers["views"]
    closing = views.loc[views["status"] == "closes"]
    if closing.empty:
        return None, ""
    who, names = _lookers(closing["window_id"].astype(str), layers)
    places = place_names(layers.get("private_places"))
    drawn = is_drawn(closing.iloc[0])
    rows = []
    for looker, group in closing.groupby(who.to_numpy(), sort=False):
        mine = group.to_dict("records")
        seen = dict.fromkeys(
            places.get(str(view["place_id"]), str(view["place_id"])) for view in mine
        )
        row = [
            clean(names.get(looker, looker), 120),
            clean(", ".join(seen), 200),
            year_range([_latest(years) for years in zip(*map(years_of_view, mine), strict=True)]),
        ]
        if drawn:
            row.append(chance_in_words(min(view["chance"] for view in mine)))
        rows.append(row)
    headings = [Heading("who"), Heading("no longer sees"), Heading("from year", True)]
    more = [
        "From which year on, in brackets at high and at low growth. Where there are several views, that "
        "of the last"
    ]
    if drawn:
        by = int(closing["chance_year"].iloc[0])
        headings.append(Heading(f"by year {by}", True))
        more = [
            f"From which year on, in brackets in 1 and in 9 of 10 draws, and the chance by year {by}. Where "
            "there are several views, those of the last"
        ]
    built = layers.get("new_screens")
    if built is not None and len(built):
        more.append(f"Year 0 is the first day, behind the new {built['option'].iloc[0]}")
    if len(rows) > MOST_WINDOWS:
        more.append(more_stand(len(rows) - MOST_WINDOWS, "in the table of views"))
    return Table("closed", "", headings, rows[:MOST_WINDOWS]), ". ".join(more)


def _lookers(
    windows: pd.Series, layers: Mapping, most: int = MOST_WINDOWS
) -> tuple[pd.Series, dict[str, str]]:
    """Give by view who is told of, windows or else their houses, and what people call them."""
    names, given = observer_names(layers), layers.get("windows")
    if windows.nunique() <= most or given is None:
        return windows, names
    houses = dict(zip(given["window_id"].astype(str), given["building_id"], strict=True))
    who = windows.map(
        lambda window: window if is_missing(houses.get(window)) else f"in {houses[window]}"
    )
    counts = windows.groupby(who.to_numpy()).nunique().to_dict()
    called = house_names(layers.get("buildings"))
    for house in {house for house in houses.values() if not is_missing(house)}:
        if count := counts.get(f"in {house}"):
            many = f"{count} windows" if count > 1 else "1 window"
            names[f"in {house}"] = f"{called.get(house, house)}, {many}"
    return who, names


def open_windows(layers: Mapping, units: str) -> list[str]:
    """Tell by reasons which windows still see which places."""
    views = layers["views"]
    left = views.loc[views["status"] == "stays open"]
    places = place_names(layers.get("private_places"))
    why = open_reasons(layers, units)
    given = layers.get("windows")
    numbered = (
        () if given is None else given.loc[given["derived"].fillna(False).astype(bool), "window_id"]
    )
    told = []
    for reason, mine in left.groupby(left["view_id"].map(why).fillna(NO_ROW), sort=False):
        windows = mine["window_id"].astype(str)
        most = MOST_NUMBERED if windows.isin(numbered).all() else MOST_WINDOWS
        who, names = _lookers(windows, layers, most)
        seen: dict[str, dict[str, None]] = {}
        for looker, place in zip(who, mine["place_id"].astype(str), strict=True):
            seen.setdefault(looker, {})[clean(places.get(place, place), 60)] = None
        said = [
            f"{clean(names.get(looker, looker), 120)} ({', '.join(onto)})"
            for looker, onto in seen.items()
        ]
        told.append(f"{reason[0].upper()}{reason[1:]}: {first_few(said, MOST_WINDOWS, '; ')}")
    return told


def open_reasons(layers: Mapping, units: str) -> dict[str, str]:
    """Say of each view that stays open why: as the design found, as it is set apart or kept low, or where it passes."""
    found = {
        view: causes[-1] for view, causes in causes_of(layers.get("view_holes"), units).items()
    }
    for row in layers["views"].to_dict("records"):
        if not is_missing(row.get("set_apart")):
            found[row["view_id"]] = f"set apart: {clean(row['set_apart'], 120)}"
    design = layers.get("design_views")
    for row in records_of(design):
        if not row["closed"] and not is_missing(row["says"]):
            found[row["view_id"]] = clean(in_units(row["says"], units), LONGEST_TEXT)
    low = layers.get("kept_open")
    for row in records_of(low):
        found[row["view_id"]] = clean(in_units(row["says"], units), LONGEST_TEXT)
    return found


def causes_of(holes, units: str) -> dict[str, list[str]]:
    """List by view what leaves it open, that which does so longest last."""
    found: dict[str, list[str]] = {}
    if holes is not None:
        # What is open to the end is empty and comes last.
        for row in holes.sort_values("open_until", kind="stable").to_dict("records"):
            found.setdefault(row["view_id"], []).append(clean(in_units(row["cause"], units), 160))
    return found


def _latest(years: Sequence[int | None]) -> int | None:
    """Give the greatest of some years; never is greater than any."""
    said = [year for year in years if year is not None]
    return max(said) if len(said) == len(years) else None
