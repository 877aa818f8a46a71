"""Setback rules as data: read, check, override; and the distance that each asks for.

A rule names a class of thing (`FEATURES`) and how far a plant stays away from it. Its distance to
the stem is

    d = max(distance + a H + b W, at_least) + half the mature spread   (measured to the crown)
                                            + half the hole            (measured to the hole)

with H and W the species' mature height and spread. Safety takes the high values of both. No
expression is ever evaluated from a file: a rule is keys and numbers only.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from importlib import resources
from pathlib import Path

from screenplan.ground.errors import InputError, Problem
from screenplan.ground.texts import quoted
from screenplan.ground.toml_files import read_toml
from screenplan.ground.units import parse_length

#: Classes of things that a rule can keep clear.
FEATURES = (
    "boundary",
    "building",
    "buried",
    "overhead",
    "driveway",
    "gate",
    "septic_field",
    "easement",
    "pond",
    "path",
    "road",
    "tree",
    "wall",
    "fence",
    "hedge",
    "private_place",
    "keep_out",
)
#: Features that are kinds of the keep-outs layer; every other kind falls under ``keep_out``.
KEEP_OUT_FEATURES = ("driveway", "gate", "septic_field", "easement", "pond", "path")
#: Other words for them.
KEEP_OUT_WORDS = {"drive": "driveway"}

MEASURED_FROM = ("line", "outside_edge")
MEASURED_TO = ("stem", "hole", "crown")
#: No setback reaches farther than what is read around the parcel at most (``site.reach``), metres.
MOST_M = 2000.0
#: How a rule's figure is known.
STATUSES = ("read", "code", "second-hand", "arithmetic", "memory", "common practice", "user")


def keep_out_kind(text: str) -> str:
    """Give the kind of a keep-out as the rules name it: ``Septic field`` is ``septic_field``."""
    kind = "_".join(text.strip().lower().replace("-", " ").split())
    return KEEP_OUT_WORDS.get(kind, kind)


_LENGTHS = {
    "distance": "distance_m",
    "at_least": "at_least_m",
    "passage": "passage_m",
    "above_mature_height": "above_mature_height_m",
    "up_to_mature_height": "up_to_mature_height_m",
}
_SHARES = ("per_mature_height", "per_mature_spread")
_CHOICES = {
    "feature": FEATURES,
    "measured_from": MEASURED_FROM,
    "measured_to": MEASURED_TO,
    "status": STATUSES,
}
_TEXTS = ("kind", "reason", "source", "date")
_FLAGS = ("confirm_locally", "unclipped", "use")
KEYS = ("feature", *_LENGTHS, *_SHARES, "measured_from", "measured_to", *_TEXTS, "status", *_FLAGS)

_SHIPPED = "the shipped rules"


@dataclass(frozen=True)
class Rule:
    """One setback.

    Parameters
    ----------
    key : str
        Its name in the rules table.
    feature : str
        What is kept clear, one of `FEATURES`.
    distance_m : float
        Fixed part of the distance, metres.
    per_mature_height, per_mature_spread : float
        Multiples of the species' mature height and spread that are added.
    at_least_m : float
        The sum is not taken smaller than this, metres.
    measured_from : {"line", "outside_edge"}
        A centre line or boundary, or the outside edge of a thing that has a width.
    measured_to : {"stem", "hole", "crown"}
        What of the plant keeps the distance.
    reason, source, status : str
        Why, by whom, and how the figure is known (one of `STATUSES`).
    confirm_locally : bool
        Whether the local code decides.
    date : str
        When the figure was taken from its source, such as ``2026-11``; empty if not said.
    kind : str
        Only things of this kind (``gas`` among buried lines); empty for all.
    passage_m : float
        How far the way through a thing in the boundary (a gate) leads on into the parcel and is
        kept clear, metres.
    above_mature_height_m, up_to_mature_height_m : float
        Only species with a mature height above the first and not above the second, metres.
    unclipped : bool
        Whether a clipped hedge counts as if nobody clipped it: its roots do not know of the shears,
        and a wire must be safe in the years in which they rest.
    """

    key: str
    feature: str
    distance_m: float = 0.0
    per_mature_height: float = 0.0
    per_mature_spread: float = 0.0
    at_least_m: float = 0.0
    measured_from: str = "outside_edge"
    measured_to: str = "stem"
    reason: str = ""
    source: str = "the user's own rule"
    status: str = "user"
    confirm_locally: bool = True
    date: str = ""
    kind: str = ""
    passage_m: float = 0.0
    above_mature_height_m: float = 0.0
    up_to_mature_height_m: float = math.inf
    unclipped: bool = False

    def applies_to(self, mature_height_m: float) -> bool:
        """Whether a species of that mature height falls under the rule."""
        return self.above_mature_height_m < mature_height_m <= self.up_to_mature_height_m

    def stem_distance_m(
        self, mature_height_m: float, mature_spread_m: float, hole_m: float
    ) -> float:
        """Distance from the thing to the stem, metres.

        Parameters
        ----------
        mature_height_m, mature_spread_m : float
            The species' high values, metres.
        hole_m : float
            Width of the planting hole, metres.

        Examples
        --------
        >>> Rule("boundary", "boundary", 0.5, measured_to="crown").stem_distance_m(10.0, 3.0, 0.4)
        2.0
        """
        free = max(
            self.distance_m
            + self.per_mature_height * mature_height_m
            + self.per_mature_spread * mature_spread_m,
            self.at_least_m,
        )
        beyond = {"stem": 0.0, "hole": hole_m / 2.0, "crown": mature_spread_m / 2.0}
        return free + beyond[self.measured_to]


def load_rules(
    path: str | Path | None = None, overrides: Mapping[str, Mapping] | None = None
) -> tuple[Rule, ...]:
    """Read the shipped rules, then a file of the user's, then overrides from a plan.

    A table with the key of a known rule changes only the keys that it names; ``use = false``
    switches a rule off; a new key adds a rule, which needs ``feature``, ``reason`` and a distance.

    Parameters
    ----------
    path : str or Path, optional
        A TOML file with one table per rule.
    overrides : mapping, optional
        The same tables, from elsewhere (a plan file).

    Returns
    -------
    tuple of Rule
        In the order of the shipped table, new rules last.

    Raises
    ------
    InputError
        With every problem found: file, rule and remedy.

    Examples
    --------
    >>> rules = load_rules(None, {"boundary_stem": {"distance": "1 m"}, "gate": {"use": False}})
    >>> stem = next(rule for rule in rules if rule.key == "boundary_stem")
    >>> stem.distance_m, stem.status
    (1.0, 'user')
    >>> "gate" in [rule.key for rule in rules]
    False
    """
    shipped = tomllib.loads(
        resources.files("screenplan.rules").joinpath("setbacks.toml").read_text(encoding="utf-8")
    )
    rules = _merge({}, shipped, _SHIPPED)
    if path is not None:
        rules = _merge(rules, read_rule_file(Path(path)), str(path))
    if overrides:
        rules = _merge(rules, overrides, None)
    return tuple(rules.values())


def read_rule_file(path: Path) -> dict:
    """Read a TOML file of rules; refused with a sentence if it cannot be."""
    return read_toml(path, "rules file", "Check the path, or leave the rules file out")


def _merge(known: dict[str, Rule], tables: Mapping, file: str | None) -> dict[str, Rule]:
    problems: list[Problem] = []
    rules = dict(known)
    for key, table in tables.items():
        if not isinstance(table, Mapping):
            problems.append(
                Problem(
                    f"{quoted(key)} is not a rule but {quoted(table)}",
                    f"Write a table: [{key}] and below it feature, distance and reason",
                    file=file,
                    key=str(key),
                )
            )
            continue
        before = len(problems)
        values, use = _read_rule(key, table, file, problems)
        if len(problems) > before:
            continue
        if not use:
            if key not in rules:
                problems.append(
                    Problem(
                        f"there is no rule '{key}' to switch off",
                        f"Write one of {', '.join(rules)}",
                        file=file,
                        key=f"{key}.use",
                    )
                )
            rules.pop(key, None)
            continue
        rule = _build(key, values, rules.get(key), file, problems)
        if rule is not None:
            rules[key] = rule
    if problems:
        raise InputError(problems)
    return rules


def _read_rule(
    key: str, table: Mapping, file: str | None, problems: list[Problem]
) -> tuple[dict, bool]:
    values: dict = {}

    def wrong(name: str, what: str, mend: str) -> None:
        problems.append(Problem(f"rule {key}: {what}", mend, file=file, key=f"{key}.{name}"))

    for name, value in table.items():
        if name not in KEYS:
            wrong(name, f"{quoted(name)} is not a key of a rule", f"Write one of {', '.join(KEYS)}")
        elif name in _LENGTHS:
            try:
                length = parse_length(value, key=f"{key}.{name}")
            except InputError as error:
                wrong(name, error.problems[0].what, error.problems[0].mend)
                continue
            if length < 0:
                wrong(name, f"{name} is negative ({quoted(value)})", "Write a length of 0 or more")
            elif length > MOST_M:
                wrong(name, f"{name} is {quoted(value)}", f"Write a length of at most {MOST_M:g} m")
            values[_LENGTHS[name]] = length
        elif name in _SHARES:
            if isinstance(value, bool) or not isinstance(value, (int, float)):
                wrong(
                    name, f"{name} is {quoted(value)}, not a number", "Write a number such as 0.5"
                )
            elif not 0 <= value <= 10:
                wrong(name, f"{name} is {quoted(value)}", "Write a number from 0 to 10")
            else:
                values[name] = float(value)
        elif name in _CHOICES:
            if value not in _CHOICES[name]:
                wrong(
                    name,
                    f"{name} is {quoted(value)}, which is not known",
                    f"Write one of {', '.join(_CHOICES[name])}",
                )
            else:
                values[name] = value
        elif name in _TEXTS:
            if not isinstance(value, str) or not value.strip():
                wrong(name, f"{name} is {quoted(value)}, not a text", "Write a few words in quotes")
            else:
                values[name] = value.strip()
        elif not isinstance(value, bool):
            wrong(name, f"{name} is {quoted(value)}", "Write true or false, without quotes")
        else:
            values[name] = value
    return values, values.pop("use", True)


def _build(
    key: str, values: dict, base: Rule | None, file: str | None, problems: list[Problem]
) -> Rule | None:
    def wrong(what: str, mend: str, name: str | None = None) -> None:
        problems.append(
            Problem(f"rule {key}: {what}", mend, file=file, key=f"{key}.{name}" if name else key)
        )

    if base is None:
        missing = [name for name in ("feature", "reason") if name not in values]
        if missing:
            wrong(f"a new rule needs {' and '.join(missing)}", "Add what is missing")
            return None
        if not {"distance_m", "at_least_m", *_SHARES} & values.keys():
            wrong("it has no distance", 'Add one, such as distance = "3 ft"')
            return None
        if values["feature"] == "boundary":
            values = {"measured_from": "line", **values}
        rule = Rule(key=key, **values)
    else:
        figures = {item.name for item in fields(Rule)} - {"reason", "source", "status", "date"}
        if values.keys() & figures and "source" not in values:
            values = {
                "source": f"changed by the user; before: {base.source}",
                "status": "user",
                "date": "",
                **values,
            }
        rule = replace(base, **values)
    if rule.measured_to == "crown" and rule.per_mature_spread > 0:
        wrong(
            "measured to the crown it contains half the mature spread already, "
            "and per_mature_spread would count it again",
            'Leave per_mature_spread out, or write measured_to = "stem"',
            "per_mature_spread",
        )
        return None
    if rule.up_to_mature_height_m <= rule.above_mature_height_m:
        wrong(
            "no species can be taller than above_mature_height and at most up_to_mature_height",
            "Write the greater length as up_to_mature_height",
            "up_to_mature_height",
        )
        return None
    return rule


def rules_for(
    rules: Iterable[Rule], feature: str, mature_height_m: float, kind: str | None = None
) -> tuple[Rule, ...]:
    """Rules that hold for one class of thing and a species of that mature height.

    Parameters
    ----------
    rules : iterable of Rule
        All rules of the plan.
    feature : str
        One of `FEATURES`.
    mature_height_m : float
        The species' high mature height, metres.
    kind : str, optional
        The thing's own kind, for rules that are narrowed to one.
    """
    return tuple(
        rule
        for rule in rules
        if rule.feature == feature
        and rule.applies_to(mature_height_m)
        and rule.kind in ("", kind or "")
    )
