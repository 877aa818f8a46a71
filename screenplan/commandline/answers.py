"""What a person says of a line measured by tape, in the words of a question or an option, as keys of a plan.

A length may leave its unit out where the line's length was typed with one: it is in that unit then.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from screenplan.ground.errors import InputError, refuse
from screenplan.ground.texts import quoted
from screenplan.ground.units import in_unit, parse_length, units_of
from screenplan.plan import check_plan
from screenplan.plan.reading import check_options
from screenplan.plan.tape import may_lie_at
from screenplan.plan.values import instead_of
from screenplan.site.compass import POINTS
from screenplan.site.outline import read_bearing

#: Directions by the words for them and their letters, degrees from north.
DIRECTIONS = {
    word: 45.0 * number
    for number, name in enumerate(POINTS)
    for word in (name.replace("-", ""), "".join(part[0] for part in name.split("-")))
}
_NUMBER = re.compile(r"[-+]?\d*\.?\d+")
_DEGREES = re.compile(r"^\s*(?P<lat>[-+]?\d+(?:\.\d+)?)\s*°?\s*(?P<ns>[NSns])?[\s,;]+(?P<lon>[-+]?\d+(?:\.\d+)?)\s*°?\s*(?P<ew>[EWew])?\s*$")  # fmt: skip
#: What an answer about a window and a place says, in this order; the first is needed.
WINDOW_PARTS = ("beyond", "along", "sill", "head", "ground")
PLACE_PARTS = ("inside", "along", "width", "depth")


@dataclass(frozen=True)
class Usual:
    """Round lengths in a unit, for what a person leaves out and for examples."""

    unit: str
    length: str
    sill: str
    head: str
    middle: str
    width: str
    depth: str
    stock: str
    window: str
    place: str


USUAL = {
    "metric": Usual("m", "30 m", "0.9 m", "2.1 m", "15 m", "4 m", "3 m", "0.6 m",
                    "No. 9 bedroom, 15 m, 12 m, 3.5 m, 4.7 m, 0 m", "terrace, 4 m"),
    "us": Usual("ft", "100 ft", "3 ft", "7 ft", "50 ft", "12 ft", "10 ft", "2 ft",
                "No. 9 bedroom, 50 ft, 40 ft, 12 ft, 16 ft, 0 ft", "terrace, 12 ft"),
}  # fmt: skip


def read_line(text: str) -> str:
    """Read the length of the line; its unit is that of all other lengths."""
    metres = parse_length(text, key="--length")
    if not 0 < metres <= 10_000:
        raise refuse(
            f"a row of {text} cannot be planned",
            "Give a length above 0 and up to {10 km}",
            key="--length",
        )
    return text.strip()


def read_direction(text: str) -> str | float:
    """Read a direction: a bearing, degrees from true north, or a word such as ``NE``."""
    word = text.strip().lower().replace("-", "").replace(" ", "")
    if word in DIRECTIONS:
        return DIRECTIONS[word]
    read_bearing(text)
    return text.strip()


def read_position(text: str) -> list[float]:
    """Read latitude and longitude as a map shows them, to longitude and latitude."""
    match = _DEGREES.match(text)
    if not match:
        raise refuse(
            f"{quoted(text)} is no latitude and longitude",
            "Write degrees, latitude first, such as 41.26 -95.93, or 41.26 N 95.93 W",
        )
    lat, lon = float(match["lat"]), float(match["lon"])
    lat = -lat if (match["ns"] or "").upper() == "S" else lat
    lon = -lon if (match["ew"] or "").upper() == "W" else lon
    if not may_lie_at(lon, lat):
        raise refuse(
            f"latitude {lat:g}, longitude {lon:g} is no place for a garden",
            "Write degrees, latitude first, such as 41.26 -95.93",
        )
    return [lon, lat]


def read_window(text: str, length: str) -> dict[str, Any]:
    """Read a window: its name, how far beyond the line, along it, sill, head, ground; see `WINDOW_PARTS`."""
    usual = USUAL[units_of(length)]
    row = _read_row(text, WINDOW_PARTS, usual.unit, usual.window)
    row = _in_order(
        {"along": _middle(length), "sill": usual.sill, "head": usual.head} | row,
        ("name", "along", "beyond", "sill", "head", "ground"),
    )
    _check({"windows": [row]}, length)
    return row


def read_place(text: str, length: str) -> dict[str, Any]:
    """Read a place that is to be hidden: its name, how far from the line, along it, width, depth."""
    usual = USUAL[units_of(length)]
    row = _read_row(text, PLACE_PARTS, usual.unit, usual.place)
    row = _in_order(
        {"along": _middle(length), "width": usual.width, "depth": usual.depth} | row,
        ("name", "along", "inside", "width", "depth"),
    )
    _check({"private_places": [row]}, length)
    return row


def read_kinds(text: str) -> str | list[str]:
    """Read which species may be planted: one key, or several for a mixed row."""
    from screenplan.planting.species import load_species

    known = load_species()
    kinds = [
        part.strip().lower().replace(" ", "_").replace("-", "_")
        for part in text.split(",")
        if part.strip()
    ]
    for kind in kinds:
        if kind not in known:
            raise refuse(
                f"{quoted(kind)} is not in the table of species",
                instead_of(kind, known, "screenplan species"),
            )
    if not kinds:
        raise refuse("no species is named", "Write a key that `screenplan species` lists")
    return kinds[0] if len(kinds) == 1 else kinds


def read_day(text: str) -> str | None:
    """Read the day of planting."""
    return check_options({"calendar": {"planting": text.strip()}}).calendar.planting


def read_plants(text: str) -> int | None:
    """Read how many plants are at hand."""
    if not re.fullmatch(r"\d{1,7}", text.strip()):
        raise refuse(f"{quoted(text)} is no number of plants", "Write a whole number, such as 20")
    return check_options({"hand": {"plants": int(text)}}).hand.plants


def read_budget(text: str, unit: str) -> dict[str, Any]:
    """Read a budget, the price of a plant, and how tall the plant at that price is."""
    parts = [part.strip() for part in text.split(",")]
    if len(parts) != 3 or not all(_NUMBER.fullmatch(part) for part in parts[:2]):
        raise refuse(
            f"{quoted(text)} is no budget with a price",
            "Write the money, the price of a plant and its height, such as "
            f"600, 12.50, {USUAL['us' if unit == 'ft' else 'metric'].stock}",
        )
    hand = {
        "budget": float(parts[0]),
        "prices": {with_unit(parts[2], unit): float(parts[1])},
    }
    check_options({"hand": hand})
    return hand


def with_unit(text: str, unit: str) -> str:
    """Give a length that is a bare number a unit."""
    text = text.strip()
    return f"{text} {unit}" if _NUMBER.fullmatch(text) else text


def _read_row(text: str, parts: Sequence[str], unit: str, example: str) -> dict[str, Any]:
    """Read a name, if there is one, and lengths in the order of their keys."""
    words = [word.strip() for word in text.split(",")]
    row: dict[str, Any] = {}
    if words and not _NUMBER.match(words[0]):
        row["name"] = words.pop(0)
    elif not words[0]:
        words.pop(0)
    if not row.get("name"):
        row.pop("name", None)
    if not words:
        raise refuse(
            f"{quoted(text)} says no distance", f"Write {', '.join(('name', *parts))}, such as: {example}"
        )  # fmt: skip
    if len(words) > len(parts):
        raise refuse(
            f"{len(words)} lengths are given, and {len(parts)} are asked for",
            f"Write {', '.join(('name', *parts))}, such as: {example} (a decimal point, no comma)",
        )
    for part, word in zip(parts, words, strict=False):
        if word:
            written = with_unit(word, unit)
            try:
                parse_length(written)
            except InputError as error:
                problem = error.problems[0]
                raise refuse(f"{part}: {problem.what}", problem.mend) from None
            row[part] = written
    return row


def _middle(length: str) -> str:
    """Write the middle of the line in the line's unit."""
    return in_unit(0.5 * parse_length(length), USUAL[units_of(length)].unit)


def _in_order(row: Mapping[str, Any], keys: Sequence[str]) -> dict[str, Any]:
    return {key: row[key] for key in keys if key in row}


def _check(rows: Mapping[str, Any], length: str) -> None:
    """Refuse what the plan would refuse, without naming keys of a file that is not there yet."""
    try:
        check_plan({"tape": {"length": length, **rows}})
    except InputError as error:
        problem = error.problems[0]
        units = units_of(length)
        refusal = refuse(problem.what, problem.mend)
        refusal.units = units
        raise refusal from None
