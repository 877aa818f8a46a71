"""Which columns of a layer the report's tables show, under which headings, and in which form."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import pandas as pd

from screenplan.contracts import Contract


@dataclass(frozen=True)
class Shown:
    """Which columns of a layer are shown, and how.

    Parameters
    ----------
    title, lead : str
        The table's caption, and a sentence before it.
    columns : tuple of (str, str, str)
        Column, heading and form (see `screenplan.outputs.report_cells`).
    tick : bool
        Whether each row has a box to tick on paper.
    keep : callable, optional
        Gives the rows that are shown.
    notes : (str, str), optional
        Columns of a name and of what is said of it, which become sentences under the table.
    """

    title: str
    columns: tuple[tuple[str, str, str], ...]
    lead: str = ""
    tick: bool = False
    keep: Callable[[pd.DataFrame], pd.DataFrame] | None = field(default=None)
    notes: tuple[str, str] | None = None


_TAPE = Shown(
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
_PEGS = Shown(
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
    keep=lambda frame: frame.loc[frame["method"] == "two tapes"],
    notes=("peg_id", "says"),
)
_PEGS_BY_OFFSET = Shown(
    "Pegs by offset",
    (
        ("peg_id", "peg", "text"),
        ("role", "is", "text"),
        ("point_a", "line from", "text"),
        ("point_b", "towards", "text"),
        ("along_m", "level", "tape"),
        ("slope_along_m", "along the ground", "tape"),
        ("offset_m", "offset", "tape"),
        ("side", "to the", "text"),
        ("point_c", "check from", "text"),
        ("slope_c_m", "taut tape", "tape"),
        ("tolerance_m", "within", "tape"),
    ),
    "No two tapes cross well at these pegs. Lay one tape from the first point towards the second, and "
    "sight it on past that if the distance asks for it. At the distance set off the offset square to "
    "it, on the side that is named, seen from the first point.",
    tick=True,
    keep=lambda frame: frame.loc[frame["method"] == "offset"],
    notes=("peg_id", "says"),
)
_PEGS_BY_INSTRUMENT = Shown(
    "Pegs that need an instrument",
    (
        ("peg_id", "peg", "text"),
        ("role", "is", "text"),
        ("x_m", "east", "tape"),
        ("y_m", "north", "tape"),
    ),
    "Something is in the way of every tape. Have these set by a total station or a survey receiver from "
    "their coordinates, which are counted as those of the tape points are, or find a mark that sees them.",
    tick=True,
    keep=lambda frame: frame.loc[frame["method"] == "instrument"],
    notes=("peg_id", "says"),
)
_PEGS_OF_LINE = Shown(
    "Pegs at the ends of the row",
    (
        ("peg_id", "peg", "text"),
        ("role", "is", "text"),
        ("x_m", "x", "tape"),
        ("y_m", "y", "tape"),
    ),
    "Only the row is known, so nothing is measured to its ends: set the first peg where the row is to "
    "begin, the other in the direction in which it is to run. The base lines, or the proofs below, give "
    "the distance between them; x and y are counted from the plan's own origin.",
    tick=True,
    keep=lambda frame: frame.loc[frame["method"] == "own end"],
)
#: Tables of the pegs, each with those that are set in one way.
PEGS = {
    "pegs-of-the-row": _PEGS_OF_LINE,
    "pegs": _PEGS,
    "pegs-by-offset": _PEGS_BY_OFFSET,
    "pegs-by-instrument": _PEGS_BY_INSTRUMENT,
}
_BASES = Shown(
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
_STAKES = Shown(
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
_STATIONS = Shown(
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
_CHECKS = Shown(
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
_QUANTITIES = Shown(
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
_SCHEDULE = Shown(
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
_COST = Shown(
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
_FENCE = Shown(
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
_ALTERNATIVES = Shown(
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
_HAND = Shown(
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
_CLOSURE = Shown(
    "When the rows close",
    (
        ("line_id", "row", "text"),
        ("growth", "growth", "text"),
        ("spacing_m", "widest gap", "length"),
        ("asked_from_m", "closed from", "length"),
        ("asked_height_m", "up to", "length"),
        ("year_closed", "in year", "never"),
        ("mature_closed_from_m", "in the end from", "length"),
        ("mature_closed_height_m", "up to", "length"),
    ),
)
_NEEDED = Shown(
    "When other species would reach the needed height",
    (
        ("line_id", "row", "text"),
        ("species", "plant", "species"),
        ("planned", "planned", "yes"),
        ("lowest_m", "needed from", "length"),
        ("needed_m", "up to", "length"),
        ("mature_closed_from_m", "closes in the end from", "length"),
        ("mature_closed_height_m", "up to", "length"),
        ("year_reached", "in year", "never"),
        ("reached", "in words", "text"),
    ),
)
_LIGHT = Shown(
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
_SIGHT = Shown(
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
_NOISE = Shown(
    "Noise from roads",
    (
        ("path_id", "from road to place", "text"),
        ("foliage_m", "foliage on the way", "length"),
        ("loss_db", "less, dB", "number"),
        ("says", "in words", "text"),
        ("source", "source", "text"),
    ),
)
_HEALTH = Shown(
    "Plant health",
    (("topic", "about", "words"), ("name", "what", "species"), ("says", "in words", "text"), ("source", "source", "text")),
)  # fmt: skip
_LOCATE = Shown(
    "Ground near buried lines, dug by hand only",
    (
        ("utility_id", "line", "text"),
        ("kind", "kind", "words"),
        ("width_m", "width", "length"),
        ("reason", "why", "text"),
        ("source", "source", "text"),
    ),
)
_RULES = Shown(
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
_MISSING = Shown(
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

#: By contract.
KNOWN = {
    "light": _LIGHT,
    "sight_areas": _SIGHT,
    "noise_paths": _NOISE,
    "plant_health": _HEALTH,
    "locate_zones": _LOCATE,
    "rules": _RULES,
    "missing_plants": _MISSING,
    "tape_points": _TAPE,
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

_FORM = {"boolean": "yes", "number": "number"} | dict.fromkeys(("text", "integer", "date"), "text")


def show_whole(contract: Contract) -> Shown:
    """Show every column of a layer that is not known here, but for its columns by year."""
    form = {"m": "length", "deg": "degrees", "share": "share"}
    return Shown(
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


def _words(name: str, unit: str) -> str:
    ending = {"m": "_m", "deg": "_deg", "share": "_share", "m2": "_m2"}.get(unit, "")
    return name.removesuffix(ending).removesuffix("_id").replace("_", " ")
