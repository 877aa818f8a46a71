"""Setback rules as data: read, check, override; and the distance that each asks for.

A rule names a class of thing (`FEATURES`) and how far a plant stays away from it. Its distance to
the stem is

    d = max(distance + a max(H - H0, 0) + b W, at_least) + half the mature spread   (measured to the crown)
                                            + half the hole            (measured to the hole)

with H and W the species' mature height and spread, and H0 the height beyond which height counts,
0 unless the rule says otherwise. Safety takes those of high growth. No
expression is ever evaluated from a file: a rule is keys and numbers only.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, ClassVar, Literal, get_args

from pydantic import Field, WrapValidator

from screenplan.plan.catalogue import Catalogue, lay_over
from screenplan.plan.values import TABLE, Flag, Length, Number, Words, WrongError

#: Classes of things that a rule can keep clear.
Feature = Literal[
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
]
FEATURES: tuple[str, ...] = get_args(Feature)
#: Features that are kinds of the keep-outs layer; every other kind falls under ``keep_out``.
KEEP_OUT_FEATURES = ("driveway", "gate", "septic_field", "easement", "pond", "path")
#: Other words for them.
KEEP_OUT_WORDS = {"drive": "driveway"}

MeasuredFrom = Literal["line", "outside_edge"]
MeasuredTo = Literal["stem", "hole", "crown"]
#: How a row is kept, where a rule holds for one of both only.
Form = Literal["any", "clipped", "free"]
#: No setback reaches farther than what is read around the parcel at most (``site.reach``), metres.
MOST_M = 2000.0
#: How a rule's figure is known.
Status = Literal["read", "code", "second-hand", "arithmetic", "memory", "common practice", "user"]
STATUSES: tuple[str, ...] = get_args(Status)


def keep_out_kind(text: str) -> str:
    """Give the kind of a keep-out as the rules name it: ``Septic field`` is ``septic_field``."""
    kind = "_".join(text.strip().lower().replace("-", " ").split())
    return KEEP_OUT_WORDS.get(kind, kind)


#: What a rule or limit says of its figures.
SAID = ("reason", "source", "status", "date")

Distance = Annotated[Length, Field(ge=0, le=MOST_M)]
Share = Annotated[Number, Field(ge=0, le=10)]


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
    beyond_height_m : float
        Only what the mature height is above this is counted by ``per_mature_height``, metres.
    form : {"any", "clipped", "free"}
        Whether it holds for every row, only for hedges that are clipped, or only for rows that grow
        freely: laws on boundaries part hedges from trees.
    """

    __pydantic_config__ = TABLE
    beside: ClassVar = ("use",)

    key: str
    feature: Feature
    distance_m: Distance = 0.0
    per_mature_height: Share = 0.0
    per_mature_spread: Share = 0.0
    at_least_m: Distance = 0.0
    measured_from: MeasuredFrom = "outside_edge"
    measured_to: MeasuredTo = "stem"
    reason: Words = ""
    source: Words = "the user's own rule"
    status: Status = "user"
    confirm_locally: Flag = True
    date: Words = ""
    kind: Words = ""
    passage_m: Distance = 0.0
    above_mature_height_m: Distance = 0.0
    up_to_mature_height_m: Distance = math.inf
    unclipped: Flag = False
    beyond_height_m: Distance = 0.0
    form: Form = "any"

    def concerns(self, feature: str, kind: str = "") -> bool:
        """Whether it is about such a thing."""
        return self.feature == feature and self.kind in ("", kind)

    def applies_to(self, mature_height_m: float, *, clipped: bool = False) -> bool:
        """Whether a species of that mature height, or a hedge that is kept at it, falls under the rule."""
        return (
            self.above_mature_height_m < mature_height_m <= self.up_to_mature_height_m
            and self.form in ("any", "clipped" if clipped else "free")
        )

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
            + self.per_mature_height * max(mature_height_m - self.beyond_height_m, 0.0)
            + self.per_mature_spread * mature_spread_m,
            self.at_least_m,
        )
        beyond = {"stem": 0.0, "hole": hole_m / 2.0, "crown": mature_spread_m / 2.0}
        return free + beyond[self.measured_to]


def load_rules(
    path: str | Path | None = None,
    overrides: Mapping[str, Mapping] | None = None,
    *,
    named: Mapping[str, Mapping] | None = None,
) -> tuple[Rule, ...]:
    """Read the shipped rules, then those of a named set, then a file of the user's, then overrides from a plan.

    A table with the key of a known rule changes only the keys that it names; ``use = false``
    switches a rule off; a new key adds a rule, which needs ``feature``, ``reason`` and a distance.

    Parameters
    ----------
    path : str or Path, optional
        A TOML file with one table per rule.
    overrides : mapping, optional
        The same tables, from elsewhere (a plan file).
    named : mapping, optional
        The same tables, of a named set (`screenplan.rules.laws`).

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
    return tuple(_CATALOGUE.load(path, overrides, named).values())


def _read_whole(table: Mapping[str, Any], read: Callable[[Mapping], Rule]) -> Rule:
    """Read a rule, and check what holds between its figures."""
    if table.get("feature") == "boundary":
        table = {"measured_from": "line", **table}
    rule = read(table)
    if not rule.reason:
        raise WrongError("a new rule needs a reason", "Say why, in a few words", "reason")
    if not {"distance", "at_least", "per_mature_height", "per_mature_spread"} & table.keys():
        raise WrongError("it has no distance", 'Add one, such as distance = "3 ft"')
    if rule.measured_to == "crown" and rule.per_mature_spread > 0:
        raise WrongError(
            "measured to the crown it contains half the mature spread already, "
            "and per_mature_spread would count it again",
            'Leave per_mature_spread out, or write measured_to = "stem"',
            "per_mature_spread",
        )
    if rule.beyond_height_m and not rule.per_mature_height:
        raise WrongError(
            "beyond_height says from where height is counted, and none is",
            "Write per_mature_height too, or leave beyond_height out",
            "beyond_height",
        )
    if rule.form != "any" and rule.unclipped:
        raise WrongError(
            "unclipped takes every row as growing freely, so that form has nothing to part",
            'Leave one of both out; form = "free" holds for rows that are not clipped',
            "form",
        )
    if rule.up_to_mature_height_m <= rule.above_mature_height_m:
        raise WrongError(
            "no species can be taller than above_mature_height and at most up_to_mature_height",
            "Write the greater length as up_to_mature_height",
            "up_to_mature_height",
        )
    return rule


_CATALOGUE = Catalogue(
    "rule",
    ("screenplan.rules", "setbacks.toml"),
    Annotated[Rule, WrapValidator(_read_whole)],
    lambda known, key, table: lay_over(known.get(key), table, SAID),
)
