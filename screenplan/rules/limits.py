"""Limits on what a screen does to others, as data: read, check, override.

A limit names its kind, which decides what figures it carries (`KINDS`). Like a setback it says
why, whence, how the figure is known and when it was taken, and whether the local code decides.
No expression is ever evaluated from a file: a limit is keys and figures only.
"""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from importlib import resources
from pathlib import Path
from typing import Any

from screenplan.ground.errors import InputError, Problem, refuse
from screenplan.ground.texts import quoted
from screenplan.ground.units import parse_length
from screenplan.plan.catalogue import read_rule_file
from screenplan.rules.ruleset import STATUSES

#: For each kind of limit its figures: length, number, text choices, lists. Those that may be left out
#: end in a question mark.
KINDS: dict[str, dict[str, str]] = {
    "sight_triangle": {
        "place": "drive|corner",
        "leg": "length",
        "depth": "length",
        "clear_from": "length",
        "clear_to": "length?",
    },
    "stopping": {
        "reaction_s": "number",
        "deceleration": "length",
        "round_up_to": "length",
        "eye": "length",
    },
    "emerging": {
        "gap_left_s": "number",
        "gap_right_s": "number",
        "eye_back": "length",
        "eye": "length",
    },
    "zoning": {"within": "lengths", "at_most": "lengths"},
    "tolerance": {"margin": "length"},
    "locate_request": {"wait_working_days": "number", "life_days": "number"},
    "by_height": {"feature": "septic_field", "times_height": "number", "at_least": "length"},
    "hedge_height": {
        "never_below": "length",
        "window_opposite_per_distance": "number",
        "window_side_per_distance": "number",
        "window_plus": "length",
        "garden_factors": "numbers by name",
        "set_back_beyond": "length",
    },
    "sun_needed": {"hours": "numbers by name"},
    "foliage_noise": {
        "bands_hz": "numbers",
        "from": "length",
        "per_metre_from": "length",
        "at_most": "length",
        "total_db": "numbers",
        "db_per_m": "numbers",
        "path_radius": "length",
    },
    "nesting": {"months": "months"},
    "planting_season": {
        "roots": "bare|with_soil",
        "leaves": "evergreen|deciduous",
        "months": "months",
        "refused_months": "months",
    },
    "winter_water": {"months": "months", "times": "number"},
}
#: Names of the months. Limits give them by number, as they are on the northern half of the earth.
MONTHS = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
    "November", "December",
)  # fmt: skip
#: The eight winds by which a garden factor may be named.
WINDS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")
#: No length of a limit is larger; the largest of the shipped ones is a radius, 5 km.
MOST_M = 10_000.0
#: No other figure of a limit is larger; the largest of the shipped ones is a frequency, 8000 Hz.
MOST = 1e6
_SAID = ("reason", "source", "status", "date", "confirm_locally")
_DATE = re.compile(r"\d{4}(-\d{2}(-\d{2})?)?")


@dataclass(frozen=True)
class Limit:
    """One limit.

    Parameters
    ----------
    key : str
        Its name in the rules table.
    kind : str
        One of `KINDS`.
    figures : mapping
        Its figures, lengths in metres under their key with ``_m``.
    reason, source, status, date : str
        Why, by whom, how the figure is known (one of `STATUSES`), and when it was taken.
    confirm_locally : bool
        Whether the local code, the utility or the road authority decides.
    """

    key: str
    kind: str
    figures: Mapping[str, Any] = field(default_factory=dict)
    reason: str = ""
    source: str = "the user's own limit"
    status: str = "user"
    date: str = ""
    confirm_locally: bool = True

    def __getitem__(self, name: str) -> Any:
        return self.figures[name]


def load_limits(
    path: str | Path | None = None, overrides: Mapping[str, Mapping] | None = None
) -> dict[str, Limit]:
    """Read the shipped limits, then a file of the user's, then overrides from a plan.

    A table with the key of a known limit changes only the figures that it names; ``use = false``
    switches one off; a new key adds one, which needs ``kind``, ``reason`` and all its figures.

    Parameters
    ----------
    path : str or Path, optional
        A TOML file with one table per limit.
    overrides : mapping, optional
        The same tables, from elsewhere (a plan file).

    Returns
    -------
    dict
        Limits by key, the shipped ones first.

    Raises
    ------
    InputError
        With every problem found: file, limit and remedy.

    Examples
    --------
    >>> load_limits()["locate_18in"]["margin_m"]
    0.4572
    """
    text = resources.files("screenplan.rules").joinpath("effects.toml").read_text("utf-8")
    limits = _merge({}, tomllib.loads(text), "the shipped limits")
    if path is not None:
        limits = _merge(limits, read_rule_file(Path(path)), str(path))
    if overrides:
        limits = _merge(limits, overrides, None)
    return limits


def limit_named(
    limits: Mapping[str, Limit] | None, name: str, kind: str, key: str, **figures: str
) -> Limit:
    """Find the limit that a plan names, of the kind that is meant.

    Parameters
    ----------
    limits : mapping, optional
        By default the shipped limits.
    name : str
        Its key.
    kind : str
        The kind that it must be of.
    key : str
        The plan's key that names it, for the message.
    **figures
        Figures that it must carry, such as ``place="drive"``.

    Raises
    ------
    InputError
        If there is none of that name and kind; those that are there are listed.
    """
    limits = load_limits() if limits is None else limits
    fits = {
        one.key
        for one in limits.values()
        if one.kind == kind and all(one.figures.get(at) == value for at, value in figures.items())
    }
    if name in fits:
        return limits[name]
    raise refuse(
        f"there is no limit '{name}' of that kind",
        f"Write one of {', '.join(sorted(fits)) or 'your own rules'}, or add it to your rules",
        key=key,
    )


def limit_of(limits: Mapping[str, Limit] | None, kind: str) -> Limit | None:
    """Give the one limit of a kind; the last that was added, None if all are switched off."""
    limits = load_limits() if limits is None else limits
    found = [one for one in limits.values() if one.kind == kind]
    return found[-1] if found else None


def allowed_height(zoning: Limit, distance_m: float) -> float:
    """Height that a zoning allows at a distance, metres; infinite beyond its last distance.

    Examples
    --------
    >>> zoning = load_limits(None, {"wires_15_65ft": {"within": ["4 m"], "at_most": ["6 m"]}})
    >>> [allowed_height(zoning["wires_15_65ft"], at) for at in (3.0, 5.0)]
    [6.0, inf]
    """
    for within, at_most in zip(zoning["within_m"], zoning["at_most_m"], strict=True):
        if distance_m < within:
            return at_most
    return math.inf


def months_text(months: Iterable[int]) -> str:
    """Write months in words, those that follow one another as a span.

    Examples
    --------
    >>> months_text((3, 4, 5, 9)), months_text((11, 12, 1, 2))
    ('March to May and September', 'November to February')
    """
    there = {int(month) for month in months}
    if len(there) == len(MONTHS):
        return "every month"
    spans = []
    for first in sorted(there):
        if (first - 2) % 12 + 1 in there:
            continue
        last = first
        while last % 12 + 1 in there:
            last = last % 12 + 1
        names = MONTHS[first - 1], MONTHS[last - 1]
        spans.append(names[0] if first == last else " to ".join(names))
    return " and ".join(filter(None, (", ".join(spans[:-1]), *spans[-1:]))) or "none"


def _merge(known: Mapping[str, Limit], tables: Mapping, file: str | None) -> dict[str, Limit]:
    problems: list[Problem] = []
    limits = dict(known)
    for key, table in tables.items():
        if not isinstance(table, Mapping):
            problems.append(
                Problem(
                    f"{quoted(key)} is not a limit but {quoted(table)}",
                    f"Write a table: [{key}] and below it kind, reason and its figures",
                    file=file,
                    key=str(key),
                )
            )
            continue
        reader = _Reader(str(key), file, problems)
        made = reader.read(table, limits.get(key))
        if made == "off":
            limits.pop(key, None)
        elif made is not None:
            limits[str(key)] = made
    if problems:
        raise InputError(problems)
    return limits


class _Reader:
    """Reads one limit's table and notes what is wrong with it."""

    def __init__(self, key: str, file: str | None, problems: list[Problem]):
        self.key, self.file, self.problems, self.before = key, file, problems, len(problems)

    def wrong(self, name: str, what: str, mend: str) -> None:
        self.problems.append(
            Problem(f"limit {self.key}: {what}", mend, file=self.file, key=f"{self.key}.{name}")
        )

    def read(self, table: Mapping, base: Limit | None) -> Limit | str | None:
        if table.get("use") is False:
            if base is None:
                self.wrong("use", "there is no such limit to switch off", "Take this table out")
                return None
            return "off"
        kind = table.get("kind", base.kind if base else None)
        if not isinstance(kind, str) or kind not in KINDS:
            self.wrong("kind", f"kind is {quoted(kind)}", f"Write one of {', '.join(KINDS)}")
            return None
        if base is not None and kind != base.kind:
            self.wrong("kind", f"it is of the kind {base.kind}", "Choose another name for your own")
            return None
        figures, said = {}, {}
        for name, value in table.items():
            if name in KINDS[kind]:
                self._figure(name, KINDS[kind][name], value, figures)
            elif name in _SAID:
                self._say(name, value, said)
            elif name not in ("kind", "use"):
                known = ", ".join((*KINDS[kind], *_SAID, "use"))
                self.wrong(name, f"{quoted(name)} is not a key of {kind}", f"Write one of {known}")
        if len(self.problems) > self.before:
            return None
        if base is None:
            return self._new(kind, figures, said)
        if figures and "source" not in said:
            before = f"changed by the user; before: {base.source}"
            said = {"source": before, "status": "user", "date": "", **said}
        values = {name: said.get(name, getattr(base, name)) for name in _SAID}
        return self._whole(Limit(self.key, kind, {**base.figures, **figures}, **values))

    def _new(self, kind: str, figures: dict, said: dict) -> Limit | None:
        needed = [name for name, form in KINDS[kind].items() if not form.endswith("?")]
        missing = [name for name in needed if _stored(name, KINDS[kind][name]) not in figures]
        missing += ["reason"] if "reason" not in said else []
        if missing:
            self.wrong(missing[0], f"a new limit needs {', '.join(missing)}", "Add what is missing")
            return None
        return self._whole(Limit(self.key, kind, figures, **said))

    def _whole(self, made: Limit) -> Limit | None:
        """Check what holds between the figures of one limit."""
        if made.kind == "zoning":
            one, two = made["within_m"], made["at_most_m"]
            if len(one) != len(two) or list(one) != sorted(set(one)) or list(two) != sorted(two):
                self.wrong(
                    "within",
                    "within and at_most do not rise together, one height for each distance",
                    'Write them as in within = ["15 ft", "65 ft"], at_most = ["20 ft", "40 ft"]',
                )
                return None
        if (
            made.kind == "sight_triangle"
            and made.figures.get("clear_to_m", math.inf) <= made["clear_from_m"]
        ):
            self.wrong("clear_to", "it is not above clear_from", "Write the greater height there")
            return None
        if made.kind == "foliage_noise" and not (
            len(made["bands_hz"]) == len(made["total_db"]) == len(made["db_per_m"])
            and made["from_m"] <= made["per_metre_from_m"] <= made["at_most_m"]
        ):
            self.wrong("bands_hz", "its rows do not fit together", "Give one figure for each band")
            return None
        return self._whole_calendar(made)

    def _whole_calendar(self, made: Limit) -> Limit | None:
        """Check what holds between the figures of limits that are about days and months."""
        if (
            made.kind == "locate_request"
            and not made["wait_working_days"] < made["life_days"] <= 366
        ):
            self.wrong("life_days", "it is not above wait_working_days, or above a year",
                       "Write for how many days a request holds")  # fmt: skip
            return None
        if made.kind == "locate_request" and made["wait_working_days"] > 30:
            self.wrong("wait_working_days", "it is above 30", "Write a smaller number")
            return None
        if made.kind in ("nesting", "winter_water") and len(made["months"]) == len(MONTHS):
            self.wrong(
                "months", "every month is named", "Leave out those in which work may be done"
            )
            return None
        if made.kind == "winter_water" and made["times"] != int(made["times"]):
            self.wrong("times", f"times is {made['times']:g}", "Write a whole number")
            return None
        return made

    def _say(self, name: str, value: object, said: dict) -> None:
        if name == "confirm_locally":
            if not isinstance(value, bool):
                self.wrong(
                    name, f"{name} is {quoted(value)}", "Write true or false, without quotes"
                )
        elif not isinstance(value, str) or not value.strip():
            self.wrong(
                name, f"{name} is {quoted(value)}, not a text", "Write a few words in quotes"
            )
        elif name == "status" and value not in STATUSES:
            self.wrong(name, f"status is {quoted(value)}", f"Write one of {', '.join(STATUSES)}")
        elif name == "date" and not _DATE.fullmatch(value):
            self.wrong(
                name, f"date is {quoted(value)}", 'Write a year, a month or a day: "2026-11"'
            )
        said[name] = value

    def _figure(self, name: str, form: str, value: object, figures: dict) -> None:
        to = _stored(name, form)
        if form in ("length", "length?"):
            figures[to] = self._length(name, value)
        elif form == "number":
            figures[to] = self._number(name, value)
        elif form in ("lengths", "numbers"):
            if not isinstance(value, (list, tuple)) or not value:
                self.wrong(
                    name, f"{name} is {quoted(value)}, not a list", f"Write a list of {form}"
                )
                return
            read = self._length if form == "lengths" else self._number
            figures[to] = tuple(read(name, item) for item in value)
        elif form == "months":
            figures[to] = self._months(name, value)
        elif form == "numbers by name":
            if not isinstance(value, Mapping) or not value:
                self.wrong(name, f"{name} is {quoted(value)}", f"Write {name} = {{ name = 1.0 }}")
                return
            figures[to] = {str(at): self._number(name, item) for at, item in value.items()}
            if name == "garden_factors" and set(figures[to]) != set(WINDS):
                self.wrong(name, "a garden factor is missing", f"Name each of {', '.join(WINDS)}")
        else:
            if value not in form.split("|"):
                self.wrong(
                    name, f"{name} is {quoted(value)}", f"Write {' or '.join(form.split('|'))}"
                )
            figures[to] = value

    def _length(self, name: str, value: object) -> float:
        try:
            length = parse_length(value, key=f"{self.key}.{name}")
        except InputError as error:
            self.wrong(name, error.problems[0].what, error.problems[0].mend)
            return math.nan
        if length < 0:
            self.wrong(name, f"{name} is negative ({quoted(value)})", "Write a length of 0 or more")
        elif length > MOST_M:
            self.wrong(
                name, f"{name} is {quoted(value)}", f"Write a length of at most {MOST_M:g} m"
            )
        return length

    def _months(self, name: str, value: object) -> tuple[int, ...]:
        months = tuple(value) if isinstance(value, (list, tuple)) else (value,)
        if not isinstance(value, (list, tuple)) or not all(
            type(one) is int and 1 <= one <= 12 for one in months
        ):
            self.wrong(name, f"{name} is {value!r}", "Write a list of months by number: [3, 4]")
            return ()
        return tuple(sorted(set(months)))

    def _number(self, name: str, value: object) -> float:
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            self.wrong(
                name, f"{name} is {quoted(value)}, not a number", "Write a number such as 2.5"
            )
            return math.nan
        if not 0 <= value <= MOST:
            self.wrong(
                name,
                f"{name} is {quoted(value)}",
                f"Write a number of 0 or more, and at most {MOST:g}",
            )
            return math.nan
        return float(value)


def _stored(name: str, form: str) -> str:
    return f"{name}_m" if form.startswith("length") else name
