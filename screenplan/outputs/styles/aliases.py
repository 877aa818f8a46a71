"""What columns are called in a desktop GIS: short words with the unit, and notes with the meaning."""

from __future__ import annotations

import html
import re
from collections.abc import Iterable

from screenplan.contracts import Column
from screenplan.contracts.written import KINDS
from screenplan.outputs.styles.aliases_by_layer import BY_LAYER

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
#: Names that are no words by themselves, and mean the same in every layer that has them.
WORDS = {
    "says": "In words",
    "why": "Why",
    "at": "Where",
    "across": "Across it",
    "across_kind": "What lies across",
    "looked_across": "Looked across",
    "closed_by": "Closed by",
    "open_now": "Open now",
    "year_low": "First year, low growth",
    "year_high": "First year, high growth",
    "year_closed": "Year closed",
    "year_closed_low": "Year closed, low growth",
    "year_closed_high": "Year closed, high growth",
    "opens_again": "Opens again in year",
    "views_open": "Views open at planting",
    "views_close": "Views that close",
    "views_close_year": "Year the last view closes",
    "year_reached": "Year reached",
    "year_reached_low": "Year reached, low growth",
    "year_reached_high": "Year reached, high growth",
    "hangs_share": "Share of a view that hangs on it",
    "hangs_view": "View that hangs on it",
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
    "slope_station_m": "Station on the ground",
    "rule": "Rule",
    "how": "How",
    "per": "For each",
    "sun_free_h": "Sun, nothing in the way",
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
    "closed": "Closed up to",
    "over_m": "Too much by",
    "clip_m": "To clip a year",
    "last_station_m": "Stations of the last light",
    "terrain_error_share": "Error of the terrain",
    "is_subject": "Is the planned parcel",
    "is_minimum": "Is the least distance",
    "confirm_locally": "Confirm locally",
    "guided_m": "Guided height",
    "keep_below_m": "Keep below",
    "edge_m": "Edge of the hole to the line",
    "belt_m": "Belt needed",
    "by_band": "Loss by octave band",
    "hours_each": "Hours for one",
    "count": "How many",
    "source_layer": "Layer of the thing",
    "feature": "What is kept clear",
    "length_m": "Length",
    "chord_m": "Straight distance",
    "plantable_m": "Plantable length",
    "bound_by": "Bound by rules",
    "needed_id": "Stretch",
    "lowest_m": "Lowest ray",
    "reached": "Reached, in words",
    "ground_m": "Height of the ground",
    "mature_closed_height_m": "Closes in the end up to",
    "mature_closed_from_m": "Closes in the end from",
    "gap_before_m": "Gap to the plant before",
    "stock": "Kind of stock",
    "existing": "Stands already",
    "spread_m": "Spread",
    "clear_stem_m": "Lowest leaves",
    "facing_deg": "Faces",
    "eye_seated_m": "Eyes, seated",
    "eye_standing_m": "Eyes, standing",
    "deck_m": "Floor of the deck above the ground",
    "looks_from": "Looked from",
    "low_m": "Lowest open ray",
    "high_m": "Highest open ray",
    "sight_m": "Sight line",
    "stands_from_m": "Stands there already, from",
    "stands_to_m": "Stands there already, up to",
    "crown_from": "Crown from",
    "crown_to": "Crown up to",
    "open_without": "Open without the plant",
    "reopens": "Opens the view",
    "needed": "Plants needed",
    "given": "Plants in hand",
    "surplus": "Plants over",
    "spacing_to_fill_m": "Spacing that fills the line",
    "reach_m": "Length that they fill",
    "stands_years": "Years that it stands",
    "part_id": "Part",
    "braces": "Brace assemblies",
    "fence_id": "Fence or cage",
    "method": "Set by",
    "point_a": "Tape point A",
    "tape_a_m": "Tape A, level",
    "slope_a_m": "Tape A, taut",
    "point_b": "Tape point B",
    "tape_b_m": "Tape B, level",
    "slope_b_m": "Tape B, taut",
    "point_c": "Tape point C",
    "tape_c_m": "Tape C, level",
    "slope_c_m": "Tape C, taut",
    "side": "Side of the line A to B",
    "crossing_deg": "Tapes cross at",
    "line_ids": "Planting lines",
    "line_id": "Planting line",
    "base_id": "Base line",
    "offset_side": "Offset to the",
    "mark": "Flag or paint",
    "from_name": "From",
    "to_name": "To",
    "planned_m": "On the map",
    "refit_m": "After the refit",
    "measured_m": "Measured",
    "residual_m": "Measured less refit",
    "amount": "Amount",
    "pack_amount": "One of the goods holds",
    "pack": "Sold as",
    "packs": "To order",
    "every_days": "Every so many days",
    "item": "Item",
    "year_worst": "Worst year",
    "worst_month_h": "Sun lost in the worst month",
    "over": "Over your limit for",
    "light_id": "What the light falls on",
    "target_id": "Identifier of the target",
    "shade_from": "Shade begins",
    "shade_to": "Shade ends",
    "cell_m": "Size of the cell",
    "column": "Column, to the east",
    "line": "Line, to the north",
    "height_id": "Line and target",
    "area_id": "Area",
    "clear_from_m": "Must be clear from",
    "clear_to_m": "Must be clear up to",
    "first_year": "First year",
    "sight_plant_id": "Plant and area",
    "wire_plant_id": "Plant, line and rule",
    "root_id": "Plant and field",
    "outgrown_id": "Plant and thing",
    "thing_id": "Parcel or building",
    "allowed_m": "Allowed height",
    "path_id": "Road and place",
    "foliage_m": "Way through foliage",
    "loss_db": "Loss",
    "share": "Share of all plants",
    "meets": "Meets the limit",
    "applies": "Applies",
    "ridge_m": "Height of the ridge",
    "eye_m": "Height of the eyes",
    "raised_m": "Floor above the ground",
    "diameter_m": "Outside diameter",
    "speed_kmh": "Speed",
    "opacity": "Share of light stopped",
    "root_zone_m": "Radius of the root zone",
    "sill_m": "Height of the sill",
    "cell_id": "Cell",
    "stake_id": "Stake",
    "rules": "Rules",
    "tolerance_m": "May be out by",
    "diagonal_m": "Diagonal from the zero peg",
    "asked_height_m": "Asked height",
    "asked_from_m": "Asked from",
    "wire_m": "Length of wire",
    "formula": "How the row stands to it",
    "hours": "Hours of work",
    "crown_id": "Plant and year",
    "part": "Part of the work",
}


def alias_of(layer: str, name: str, column: Column) -> str:
    """Give a column's short name for people, with its unit: ``Height (m)``, ``Open, year 5 (0 to 1)``.

    Parameters
    ----------
    layer : str
        In which it stands, in memory or as written: ``light`` or ``light_areas``.
    name : str
        As it stands in the layer, with the year of a per-year column.
    column : Column
        What it means.
    """
    stem, year = name, ""
    if column.per_year and (match := _YEAR.search(name)):
        stem, year = name[: match.start()], f", year {int(match[1])}"
    of_layer = BY_LAYER.get(stem, {})
    words = of_layer.get(layer) or of_layer.get(_whole(layer)) or WORDS.get(stem) or _words(stem)
    unit = UNITS[column.unit]
    return f"{words}{year} ({unit})" if unit else f"{words}{year}"


def _whole(layer: str) -> str:
    """Give the layer of which one is a part: ``light`` for ``light_areas``."""
    for kind in KINDS:
        layer = layer.removesuffix(f"_{kind}")
    return layer


def _words(name: str) -> str:
    bare = _SUFFIX.sub("", name)
    bare = bare.removesuffix("_ids").removesuffix("_id") or bare
    text = bare.replace("_", " ")
    return text[0].upper() + text[1:]


def notes_of_layer(layer: str, meaning: str, columns: Iterable[tuple[str, Column]]) -> str:
    """Give a layer's notes: what a row is, and what each column means, as HTML."""
    rows = "".join(
        f"<tr><td><b>{html.escape(alias_of(layer, name, column))}</b></td>"
        f"<td>{html.escape(column.meaning)}</td></tr>"
        for name, column in columns
    )
    return f"<p>{html.escape(meaning)}.</p><table>{rows}</table>"
