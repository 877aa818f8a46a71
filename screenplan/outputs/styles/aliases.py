"""What columns are called in a desktop GIS: short words with the unit, and notes with the meaning."""

from __future__ import annotations

import html
import re
from collections.abc import Iterable

from screenplan.contracts import Column

#: Units as they stand behind a name; a share is a number from 0 to 1.
UNITS = {
    "m": "m",
    "m2": "m²",
    "deg": "°",
    "share": "0 to 1",
    "h": "h",
    "dB": "dB",
    "km/h": "km/h",
    "year": "",
    "": "",
}
#: Endings of names that say the unit, which stands in brackets instead.
_SUFFIX = re.compile(r"_(m|m2|m3|deg|h|db|share|kmh)$")
_YEAR = re.compile(r"_y(\d{2,})$")
#: Names that are no words by themselves.
WORDS = {
    "says": "In words",
    "why": "Why",
    "at": "Where",
    "across": "Across it",
    "across_kind": "What lies across",
    "looked_across": "Looked across",
    "closed_by": "Closed by",
    "open_now": "Open now",
    "year": "Year",
    "year_low": "Year, low growth",
    "year_high": "Year, high growth",
    "year_closed": "Year closed",
    "year_closed_low": "Year closed, low growth",
    "year_closed_high": "Year closed, high growth",
    "year_reached": "Year reached",
    "year_reached_low": "Year reached, low growth",
    "year_reached_high": "Year reached, high growth",
    "hangs_share": "Share of a view that hangs on it",
    "hangs_view": "View that hangs on it",
    "moved_m": "Moved by",
    "needed_m": "Needed height",
    "needed_for_all_m": "Height that stops all rays",
    "from_m": "From station",
    "to_m": "To station",
    "x_m": "East",
    "y_m": "North",
    "eye_z_m": "Height at the window",
    "head_z_m": "Height of the head",
    "sill_z_m": "Height of the sill",
    "top_z_m": "Height of the window's head",
    "above_m": "Above the ground",
    "along_m": "Along the tape, level",
    "slope_along_m": "Along the tape, on the ground",
    "slope_station_m": "Station on the ground",
    "slope_m": "On the ground",
    "rule": "Rule",
    "how": "How",
    "per": "Per",
    "sun_free_h": "Sun, nothing in the way",
    "sun_now_h": "Sun today",
    "sun_h": "Sun with the row",
    "lost_h": "Sun lost",
    "sun_lost": "Sun lost",
    "sun_lost_high": "Sun lost, high growth",
    "sky_now": "Sky light today",
    "sky_lost": "Sky light lost",
    "season_h": "Sun a day in the season",
    "asked_h": "Sun a day asked for",
    "sun": "Sun",
    "sky": "Sky light",
    "open": "Open",
    "closed": "Closed up to",
    "over_m": "Too much by",
    "clip_m": "To clip a year",
    "last_station_m": "Stations of the last light",
    "error_share": "Error of the shares",
    "terrain_error_share": "Error of the terrain",
    "is_subject": "Is the planned parcel",
    "is_minimum": "Is the least distance",
    "confirm_locally": "Confirm locally",
    "stock_height_m": "Height when planted",
    "guided_m": "Guided height",
    "keep_below_m": "Keep below",
    "edge_m": "Edge of the hole to the line",
    "belt_m": "Belt needed",
    "by_band": "Loss by octave band",
    "hours_each": "Hours for one",
    "count": "Count",
}


def alias_of(name: str, column: Column) -> str:
    """Give a column's short name for people, with its unit: ``Height (m)``, ``Open, year 5 (0 to 1)``.

    Parameters
    ----------
    name : str
        As it stands in the layer, with the year of a per-year column.
    column : Column
        What it means.
    """
    stem, year = name, ""
    if column.per_year and (match := _YEAR.search(name)):
        stem, year = name[: match.start()], f", year {int(match[1])}"
    words = WORDS.get(stem) or _words(stem)
    unit = UNITS[column.unit]
    return f"{words}{year} ({unit})" if unit else f"{words}{year}"


def _words(name: str) -> str:
    bare = _SUFFIX.sub("", name)
    bare = bare.removesuffix("_ids").removesuffix("_id") or bare
    text = bare.replace("_", " ")
    return text[0].upper() + text[1:]


def notes_of_layer(meaning: str, columns: Iterable[tuple[str, Column]]) -> str:
    """Give a layer's notes: what a row is, and what each column means, as HTML."""
    rows = "".join(
        f"<tr><td><b>{html.escape(alias_of(name, column))}</b></td>"
        f"<td>{html.escape(column.meaning)}</td></tr>"
        for name, column in columns
    )
    return f"<p>{html.escape(meaning)}.</p><table>{rows}</table>"
