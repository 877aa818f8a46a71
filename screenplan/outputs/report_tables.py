"""The report's tables, each made from a layer by its contract: headings, order, units.

A table that is known here gets short headings and only the columns that people on the ground need.
One that is not is shown whole, so that nothing a run gives is left out.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from screenplan.contracts import OUTPUTS, Contract
from screenplan.outputs.drawings.scale import SHEET_MM
from screenplan.outputs.drawings.style import clean
from screenplan.units import format_amount, format_length, format_tape, in_units

#: Texts of a table are cut at this many characters.
LONGEST_TEXT = 600
#: Width on paper of a letter of a table, of the gap between columns, and of a box to tick.
LETTER_MM, GAP_MM, TICK_MM = 1.7, 2.0, 9.0
#: A column with a text longer than this gets room for sentences.
LONG_TEXT = 30


@dataclass(frozen=True)
class Heading:
    """The head of one column.

    Parameters
    ----------
    text : str
    number : bool
        Whether its cells stand to the right.
    meaning : str
        The contract's line about it.
    year : int or None
        The year since planting to which it belongs.
    long : bool
        Whether its cells hold sentences.
    """

    text: str
    number: bool = False
    meaning: str = ""
    year: int | None = None
    long: bool = False


@dataclass
class Table:
    """A table as the report shows it; every cell is text.

    Parameters
    ----------
    key : str
        Letters and hyphens.
    title, lead : str
        Its caption, and a sentence before it.
    headings : list of Heading
    rows : list of list of str
    tick : bool
        Whether each row has a box to tick on paper.
    notes : list of str
        Sentences under it.
    """

    key: str
    title: str
    headings: list[Heading]
    rows: list[list[str]]
    lead: str = ""
    tick: bool = False
    notes: list[str] = field(default_factory=list)

    @property
    def crowded(self) -> bool:
        """True if its columns hardly fit a sheet: it is then set smaller, and words may break."""
        width = TICK_MM if self.tick else 0.0
        for k, head in enumerate(self.headings):
            texts = [head.text, *(row[k] for row in self.rows)]
            words = max(len(word) for text in texts for word in text.split() or [""])
            whole = max((len(row[k]) for row in self.rows), default=0) if head.number else 0
            width += max(words, whole, LONG_TEXT * 0.6 if head.long else 0) * LETTER_MM + GAP_MM
        return width > SHEET_MM[0]


@dataclass(frozen=True)
class _Plan:
    """Which columns of a layer are shown, and how."""

    title: str
    columns: tuple[tuple[str, str, str], ...]  # column, heading, format
    lead: str = ""
    tick: bool = False
    keep: Callable[[pd.DataFrame], pd.DataFrame] | None = field(default=None)
    notes: tuple[str, str] | None = None  # columns that become sentences under the table


_TAPE = _Plan(
    "Tape points",
    (
        ("point_id", "point", "text"),
        ("name", "what it is", "text"),
        ("x_m", "east", "tape"),
        ("y_m", "north", "tape"),
        ("moved_m", "moved by the fit", "tape"),
    ),
    "Find these on the ground first. East and north are counted from the site's origin: distances "
    "between two points can be worked out from them as a check.",
    keep=lambda frame: frame.loc[frame["used"].astype(bool)],
)
_PEGS = _Plan(
    "Pegs",
    (
        ("peg_id", "peg", "text"),
        ("role", "is", "text"),
        ("point_a", "tape 1 from", "text"),
        ("tape_a_m", "level", "tape"),
        ("slope_a_m", "taut tape", "tape"),
        ("point_b", "tape 2 from", "text"),
        ("tape_b_m", "level", "tape"),
        ("slope_b_m", "taut tape", "tape"),
        ("side", "side of 1→2", "text"),
        ("crossing_deg", "tapes cross at", "degrees"),
        ("point_c", "check from", "text"),
        ("slope_c_m", "taut tape", "tape"),
        ("tolerance_m", "within", "tape"),
    ),
    "Hook a tape on each of the two points and swing both until they meet: the peg stands there, on "
    "the side that is named, seen from the first point towards the second. Hold the tapes level and "
    "read the level distance, or pull them taut over the ground and read the other.",
    tick=True,
    notes=("peg_id", "says"),
)
_BASES = _Plan(
    "Base lines",
    (
        ("base_id", "line", "text"),
        ("from_peg", "from peg (zero)", "text"),
        ("to_peg", "to peg", "text"),
        ("length_m", "level", "tape"),
        ("slope_m", "along the ground", "tape"),
        ("bearing_deg", "bearing, true", "degrees"),
        ("stakes", "stakes", "text"),
        ("line_ids", "rows", "text"),
    ),
    "Lay one tape from the zero peg to the end peg and leave it there: every stake is read on it, "
    "never measured from the stake before.",
    tick=True,
)
_STAKES = _Plan(
    "Stakes",
    (
        ("stake_id", "stake", "text"),
        ("base_id", "line", "text"),
        ("along_m", "level from zero", "tape"),
        ("slope_along_m", "along the ground", "tape"),
        ("offset_m", "offset", "tape"),
        ("offset_side", "to the", "text"),
        ("diagonal_m", "diagonal from zero", "tape"),
        ("tolerance_m", "within", "tape"),
        ("species", "plant", "species"),
        ("mark", "mark", "text"),
    ),
    "Read the first distance with a level tape, the second with a tape that lies on the ground. A "
    "stake without an offset stands at the tape; an offset is square to it, and its diagonal proves "
    "the right angle.",
    tick=True,
)
_STATIONS = _Plan(
    "Stations",
    (
        ("plant_id", "plant", "text"),
        ("line_id", "row", "text"),
        ("station_m", "level from zero", "tape"),
        ("slope_station_m", "along the ground", "tape"),
        ("offset_m", "from the boundary", "tape"),
        ("moved_m", "moved", "tape"),
        ("species", "plant", "species"),
    ),
    "Running distances from each row's zero peg.",
    tick=True,
    keep=lambda frame: frame.loc[~frame["existing"].astype(bool)],
)
_CHECKS = _Plan(
    "Distances that prove the stake-out",
    (
        ("check_id", "check", "text"),
        ("kind", "kind", "text"),
        ("from_name", "from", "text"),
        ("to_name", "to", "text"),
        ("refit_m", "level", "tape"),
        ("slope_m", "taut tape", "tape"),
        ("measured_m", "you measured", "tape"),
        ("residual_m", "off by", "tape"),
        ("says", "what it proves", "text"),
    ),
    tick=True,
)
_QUANTITIES = _Plan(
    "What to order, dig and haul",
    (
        ("part", "for", "text"),
        ("name", "what", "text"),
        ("amount", "needed", "amount"),
        ("packs", "order", "packs"),
        ("how", "how it is counted", "text"),
        ("caution", "watch", "text"),
    ),
)
_SCHEDULE = _Plan(
    "Calendar",
    (
        ("first_day", "when", "when"),
        ("name", "what", "text"),
        ("times", "how often", "often"),
        ("says", "how", "text"),
        ("caution", "watch", "text"),
    ),
    tick=True,
)
_COST = _Plan(
    "Cost and hours, by your prices and rates",
    (
        ("name", "what", "text"),
        ("count", "count", "number"),
        ("per", "of", "text"),
        ("price", "price", "money"),
        ("cost", "cost", "money"),
        ("hours", "hours", "number"),
        ("labour_cost", "labour", "money"),
        ("says", "note", "text"),
    ),
    keep=lambda frame: frame.loc[frame[["cost", "hours", "labour_cost"]].notna().any(axis=1)],
)
_FENCE = _Plan(
    "Ways to fence",
    (
        ("scheme", "way", "words"),
        ("chosen", "chosen", "yes"),
        ("possible", "room", "yes"),
        ("height_m", "height", "length"),
        ("wire_m", "wire", "length"),
        ("rolls", "rolls", "text"),
        ("line_posts", "line posts", "text"),
        ("corner_posts", "corner and end posts", "text"),
        ("gate_posts", "gate posts", "text"),
        ("braces", "braces", "text"),
        ("gates", "gates", "text"),
        ("staples", "staples or clips", "text"),
        ("cost", "material", "money"),
    ),
    notes=("scheme", "says"),
)
_ALTERNATIVES = _Plan(
    "Alternatives",
    (
        ("alternative", "no.", "text"),
        ("species", "plant", "species"),
        ("stock", "stock", "words"),
        ("stock_height_m", "planted at", "length"),
        ("spacing_m", "spacing", "length"),
        ("rows", "rows", "text"),
        ("plants", "plants", "text"),
        ("to_order", "to order", "text"),
        ("cost", "material", "money"),
        ("year_closed", "rows closed in year", "text"),
        ("views_open", "views open now", "text"),
        ("views_close", "of them close", "text"),
        ("views_close_year", "the last in year", "text"),
        ("says", "note", "text"),
    ),
)
_HAND = _Plan(
    "Plants in hand",
    (
        ("line_id", "row", "text"),
        ("needed", "needed", "text"),
        ("given", "in hand", "text"),
        ("surplus", "over (− short)", "text"),
        ("spacing_to_fill_m", "they fill it at", "length"),
        ("reach_m", "or reach", "length"),
        ("stock_height_m", "budget buys", "length"),
        ("cost", "for", "money"),
    ),
)
_CLOSURE = _Plan(
    "When the rows close",
    (
        ("line_id", "row", "text"),
        ("growth", "growth", "text"),
        ("spacing_m", "widest gap", "length"),
        ("asked_height_m", "closed up to", "length"),
        ("year_closed", "in year", "never"),
        ("mature_closed_height_m", "in the end up to", "length"),
    ),
)
_NEEDED = _Plan(
    "When other species would reach the needed height",
    (
        ("line_id", "row", "text"),
        ("species", "plant", "species"),
        ("planned", "planned", "yes"),
        ("needed_m", "needed", "length"),
        ("mature_closed_height_m", "closes in the end up to", "length"),
        ("year_reached", "in year", "never"),
        ("reached", "in words", "text"),
    ),
)
_LIGHT = _Plan(
    "Light of windows and gardens",
    (
        ("kind", "of", "words"),
        ("target_id", "which", "text"),
        ("parcel_id", "parcel", "text"),
        ("sun_now_h", "hours of sun a year now", "hours"),
        ("sun_lost", "of it lost at most", "share"),
        ("sky_lost", "of the sky lost", "share"),
        ("year_worst", "in year", "text"),
        ("over", "over your limit for", "text"),
    ),
)
_SIGHT = _Plan(
    "Sight at drives and corners",
    (
        ("kind", "where", "words"),
        ("at", "at", "text"),
        ("distance_m", "distance", "length"),
        ("clear_from_m", "clear from", "length"),
        ("clear_to_m", "to", "length"),
        ("plants", "plants in it", "text"),
        ("first_year", "from year", "text"),
        ("reason", "why", "text"),
        ("source", "source", "text"),
    ),
)
_NOISE = _Plan(
    "Noise from roads",
    (
        ("path_id", "from road to place", "text"),
        ("foliage_m", "foliage on the way", "length"),
        ("loss_db", "less, dB", "number"),
        ("says", "in words", "text"),
        ("source", "source", "text"),
    ),
)
_HEALTH = _Plan(
    "Plant health",
    (("topic", "about", "words"), ("name", "what", "species"), ("says", "in words", "text"), ("source", "source", "text")),
)  # fmt: skip
_LOCATE = _Plan(
    "Ground near buried lines, dug by hand only",
    (
        ("utility_id", "line", "text"),
        ("kind", "kind", "words"),
        ("width_m", "width", "length"),
        ("reason", "why", "text"),
        ("source", "source", "text"),
    ),
)
_RULES = _Plan(
    "Rules and limits that apply",
    (
        ("rule", "rule", "words"),
        ("says", "figures", "text"),
        ("reason", "what for", "text"),
        ("source", "source", "text"),
        ("status", "known how", "text"),
        ("date", "taken", "text"),
        ("confirm_locally", "local code decides", "yes"),
    ),
    keep=lambda frame: frame.loc[frame["applies"].astype(bool)],
)
_MISSING = _Plan(
    "Plants on which most hangs",
    (
        ("plant_id", "plant", "text"),
        ("view_id", "view", "text"),
        ("year", "in year", "text"),
        ("open", "open with it", "share"),
        ("open_without", "open without it", "share"),
        ("reopens", "view opens again", "yes"),
    ),
    "If one of these fails, replace it first.",
    keep=lambda frame: frame.loc[
        (frame["open_without"] - frame["open"])
        .sort_values(ascending=False, kind="stable")
        .index[:8]
    ],
)

_KNOWN = {
    "light": _LIGHT,
    "sight_areas": _SIGHT,
    "noise_paths": _NOISE,
    "plant_health": _HEALTH,
    "locate_zones": _LOCATE,
    "rules": _RULES,
    "missing_plants": _MISSING,
    "tape_points": _TAPE,
    "pegs": _PEGS,
    "base_lines": _BASES,
    "stakes": _STAKES,
    "stake_checks": _CHECKS,
    "plants": _STATIONS,
    "quantities": _QUANTITIES,
    "schedule": _SCHEDULE,
    "cost": _COST,
    "fence_options": _FENCE,
    "alternatives": _ALTERNATIVES,
    "plants_in_hand": _HAND,
    "closure": _CLOSURE,
    "needed_years": _NEEDED,
}


def make_table(
    name: str,
    frame: pd.DataFrame | None,
    *,
    units: str = "metric",
    species: Mapping[str, str] | None = None,
    contracts: Mapping[str, Contract] = OUTPUTS,
) -> Table | None:
    """Lay out a layer as a table for people.

    Parameters
    ----------
    name : str
        Name of its contract.
    frame : DataFrame or None
        The layer; its geometry is left out.
    units : {"metric", "us"}
    species : mapping, optional
        What a species' key stands for.
    contracts : mapping of str to Contract

    Returns
    -------
    Table or None
        None if there is nothing to show. Columns that are empty all the way down are left out.
    """
    if frame is None or frame.empty or name not in contracts:
        return None
    contract = contracts[name]
    plan = _KNOWN.get(name) or _whole(contract)
    if plan.keep is not None:
        frame = plan.keep(frame)
    shown = [entry for entry in plan.columns if entry[0] in frame and _filled(frame[entry[0]])]
    if frame.empty or not shown:
        return None
    rows = [
        [_cell(row, column, form, units, species or {}) for column, _, form in shown]
        for row in frame.to_dict("records")
    ]
    headings = [
        Heading(
            text,
            long=any(len(row[k]) > LONG_TEXT for row in rows),
            number=form in _RIGHT
            or (form == "text" and contract.column(column).type in ("number", "integer")),
            meaning=contract.column(column).meaning,
        )
        for k, (column, text, form) in enumerate(shown)
    ]
    notes = []
    if plan.notes:
        name_of, says = plan.notes
        notes = [
            f"{clean(row[name_of]).replace('_', ' ').capitalize()}: {clean(in_units(str(row[says]), units), LONGEST_TEXT)}"
            for row in frame.to_dict("records")
            if not _missing(row[says])
        ]
    return Table(name.replace("_", "-"), plan.title, headings, rows, plan.lead, plan.tick, notes)


def stakes_by_line(table: Table | None) -> list[Table]:
    """Split the stakes by their base line, so that each line is a list of its own on the sheet."""
    if table is None:
        return []
    column = next(
        (k for k, head in enumerate(table.headings) if head.text in ("line", "row")), None
    )
    if column is None:
        return [table]
    made = []
    for number, line in enumerate(dict.fromkeys(row[column] for row in table.rows), 1):
        rows = [row for row in table.rows if row[column] == line]
        keep = range(len(table.headings))
        if all("on the line" in row for row in rows):
            keep = [k for k in keep if table.headings[k].text not in _OFFSETS]
        made.append(
            Table(
                f"{table.key}-{number}",
                f"{table.title} on {line}",
                [table.headings[k] for k in keep],
                [[row[k] for k in keep] for row in rows],
                table.lead if number == 1 else "",
                table.tick,
            )
        )
    return made


#: Columns that say nothing on a line where every stake stands on the tape.
_OFFSETS = ("offset", "to the", "diagonal from zero")


def plain_table(
    key: str, title: str, headings: Sequence[str], rows: Sequence[Sequence[Any]], lead: str = ""
) -> Table | None:
    """Make a table of texts; None if it has no rows. Columns that hold nothing are left out."""
    texts = [[clean(cell, LONGEST_TEXT) for cell in row] for row in rows]
    keep = [k for k in range(len(headings)) if any(row[k] for row in texts)]
    if not texts or not keep:
        return None
    return Table(
        key, title,
        [Heading(headings[k], long=any(len(row[k]) > LONG_TEXT for row in texts)) for k in keep],
        [[row[k] for k in keep] for row in texts],
        lead,
    )  # fmt: skip


def _whole(contract: Contract) -> _Plan:
    form = {"m": "length", "deg": "degrees", "share": "share"}
    return _Plan(
        contract.meaning,
        tuple(
            (
                column.name,
                _words(column.name, column.unit),
                form.get(column.unit, _FORM[column.type]),
            )
            for column in contract.columns
            if not column.per_year
        ),
    )


#: Columns of the library's own sentences, whose measures are told in the user's units.
_SENTENCES = ("how", "says", "caution")
_FORM = {"boolean": "yes", "number": "number"} | dict.fromkeys(("text", "integer", "date"), "text")
_RIGHT = {"tape", "length", "degrees", "share", "money", "number", "amount", "hours"}


def _words(name: str, unit: str) -> str:
    ending = {"m": "_m", "deg": "_deg", "share": "_share", "m2": "_m2"}.get(unit, "")
    return name.removesuffix(ending).removesuffix("_id").replace("_", " ")


def _filled(series: pd.Series) -> bool:
    texts = series.dropna()
    return bool(len(texts)) and any(str(value).strip() for value in texts)


def _missing(value: Any) -> bool:
    return value is None or value is pd.NA or value != value


def _cell(row: Mapping, column: str, form: str, units: str, species: Mapping[str, str]) -> str:
    value = row[column]
    if form == "never":
        return "never" if _missing(value) else str(int(value))
    if form == "when":
        return _when(row)
    if form == "often":
        return _often(row)
    if form == "packs":
        return _packs(row, units)
    if _missing(value) or (isinstance(value, str) and not value.strip()):
        return "–" if form in _RIGHT else ""
    if form in ("tape", "length"):
        write = format_tape if form == "tape" else format_length
        return write(float(value), units)
    if form == "amount":
        return format_amount(float(value), str(row.get("unit", "each")), units)
    if form == "degrees":
        return f"{float(value):.0f}°"
    if form == "hours":
        return f"{float(value):.0f}"
    if form == "share":
        return f"{float(value):.0%}"
    if form == "money":
        return f"{float(value):,.2f}"
    if form == "number":
        return f"{float(value):.2f}".rstrip("0").rstrip(".")
    if form == "yes":
        return "yes" if bool(value) else "no"
    if form == "species":
        return clean(species.get(str(value), value))
    if form == "words":
        return clean(value).replace("_", " ")
    return clean(in_units(str(value), units) if column in _SENTENCES else value, LONGEST_TEXT)


def _when(row: Mapping) -> str:
    """Say when a task is due: dates, or days before and after planting."""
    first, last = row.get("first_date"), row.get("last_date")
    if not _missing(first):
        return str(first) if _missing(last) or last == first else f"{first} to {last}"
    start, end = int(row["first_day"]), int(row["last_day"])
    span = _day(start) if start == end else f"{_day(start)} to {_day(end)}"
    return "day of planting" if start == end == 0 else span


def _day(number: int) -> str:
    if number >= 730:
        return f"year {number / 365.25:.0f}"
    if number < 0:
        return f"{-number} day{'s' if number < -1 else ''} before"
    return f"day {number}"


def _often(row: Mapping) -> str:
    times, every = row["times"], row.get("every_days")
    if _missing(every) or int(times) == 1:
        return "once" if int(times) == 1 else f"{int(times)} times"
    pace = {1: "every day", 7: "every week"}.get(int(every), f"every {int(every)} days")
    return f"{pace}, {int(times)} times"


def _packs(row: Mapping, units: str) -> str:
    if _missing(row["packs"]) or _missing(row.get("pack")) or not str(row["pack"]).strip():
        return ""
    text = f"{int(row['packs'])} × {clean(row['pack'])}"
    size = row.get("pack_amount")
    if not _missing(size) and row.get("unit") != "each":
        text += f" of {format_amount(float(size), str(row['unit']), units)}"
    return text
