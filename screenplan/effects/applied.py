"""Which rules and limits apply to a plan, and why."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from screenplan.contracts import RULES
from screenplan.contracts.tables import has_rows, table_of, texts
from screenplan.ground.said import said
from screenplan.plan import DEFAULTS, Options
from screenplan.planting.mixes import kinds_in
from screenplan.planting.species_model import Species
from screenplan.planting.stock import season_of
from screenplan.planting.zones import size_judged, under_rule
from screenplan.rules.limit_kinds import FenceHeight, LeadTime, Limit, MildWinter
from screenplan.rules.limits import load_limits, months_text
from screenplan.rules.ruleset import KEEP_OUT_FEATURES, Rule, keep_out_kind, load_rules
from screenplan.rules.told import FORMS_CALLED, setback_text
from screenplan.site.ownership import outline_known
from screenplan.site.shaping import column_or


def list_rules(
    layers: Mapping[str, Any],
    *,
    plan: Options = DEFAULTS,
    rules: Sequence[Rule] | None = None,
    limits: Mapping[str, Limit] | None = None,
    species_table: Mapping[str, Species] | None = None,
) -> pd.DataFrame:
    """List every rule and limit, whether it applies to the plan, and why.

    Parameters
    ----------
    layers : mapping
        Layers of the site by their contracts, as far as there are any: buildings, utilities,
        keep-outs, roads, existing screens, windows, private places and parcels. What is there
        decides what applies; an empty layer of parcels says that the outline is not known.
    plan : Options, optional
        Of it [plants], for some setbacks hold only for tall or low species, and each has its season
        by its stock; and what [road], [lines], [calendar] and [light] pick among several of a kind.
    rules, limits, table
        By default the shipped ones.

    Returns
    -------
    DataFrame
        By the contract ``rules``, those that apply first.
    """
    rules = load_rules() if rules is None else rules
    limits = load_limits() if limits is None else limits
    planted = tuple(dict.fromkeys(kinds_in(plan.plants.species, species_table)))
    there = _things(layers)
    records = [_setback(rule, there, planted) for rule in rules]
    picked = {
        plan.road.drive, plan.road.corner, plan.lines.wires, plan.lines.locate, plan.lines.walls,
        plan.calendar.request, plan.calendar.nesting, plan.instead.code,
    }  # fmt: skip
    seasons = [season_of(limits, plan.plants.stock, evergreen=kind.evergreen) for kind in planted]
    picked |= {season.key for season in seasons if season is not None}
    picked |= {
        limit.key
        for limit in limits.values()
        if isinstance(limit, LeadTime) and limit.stock == plan.plants.stock
    }
    records += [
        _limit(limit, there, picked, plan, layers)
        for limit in limits.values()
        if plan.instead.compare or not isinstance(limit, FenceHeight)
    ]
    records.sort(key=lambda row: not row["applies"])
    return table_of(RULES, records)


def figures_text(figures: Mapping) -> str:
    """Write the figures of a limit in one line, lengths in metres, each number with its unit."""
    told = []
    for key, value in figures.items():
        name, unit = _words_of(key)
        if key.endswith("months"):
            value = months_text(value)
        elif isinstance(value, Mapping):
            value = ", ".join(f"{at} {_quantity(figure, unit)}" for at, figure in value.items())
        elif isinstance(value, tuple):
            value = ", ".join(_quantity(figure, unit) for figure in value)
        elif isinstance(value, float):
            value = _quantity(value, unit)
        told.append(f"{name} {value}")
    return said("; ".join(told))


def _quantity(value: float, unit: str) -> str:
    text = f"{value:.4g} {unit}".rstrip()
    # Seconds, hertz and decibels are the same everywhere.
    return f"{{{text}}}" if "m" in unit else text


#: Figures whose name does not say their unit by its ending, or not in usual words.
_FIGURES = {
    "deceleration_m": ("deceleration", "m/s²"),
    "db_per_m": ("by length", "dB/m"),
    "per_metre_from_m": ("by length from", "m"),
    "total_db": ("in total", "dB"),
}
_ENDINGS = {"_m": "m", "_s": "s", "_hz": "Hz", "_c": "°C"}


def _words_of(key: str) -> tuple[str, str]:
    """Give a figure's name in words, and its unit."""
    if key in _FIGURES:
        return _FIGURES[key]
    for ending, unit in _ENDINGS.items():
        if key.endswith(ending):
            return key.removesuffix(ending).replace("_", " "), unit
    return key.replace("_", " "), ""


def _things(layers: Mapping[str, Any]) -> dict[str, set[str]]:
    """Give the features that are on the site, and the kinds of each."""
    utilities, keep_outs = layers.get("utilities"), layers.get("keep_outs")
    existing, places = layers.get("existing_screens"), layers.get("private_places")
    buildings, parcels = layers.get("buildings"), layers.get("parcels")
    found: dict[str, set[str]] = {}
    if parcels is None or outline_known(parcels):
        found["boundary"] = {""}
    if has_rows(buildings):
        found["building"] = set(texts(buildings, "kind", "house"))
    if has_rows(utilities):
        for position, kind in zip(texts(utilities, "position"), texts(utilities, "kind"), strict=True):  # fmt: skip
            found.setdefault(position, set()).add(kind)
    for kind in texts(keep_outs, "kind") if has_rows(keep_outs) else ():
        kind = keep_out_kind(kind)
        found.setdefault(kind if kind in KEEP_OUT_FEATURES else "keep_out", set()).add(kind)
    if has_rows(layers.get("roads")):
        found["road"] = {""}
    for kind in texts(existing, "kind") if has_rows(existing) else ():
        found.setdefault(kind, set()).add(kind)
    if has_rows(places) and not column_or(places, "derived", False).astype(bool).all():
        found["private_place"] = {""}
    return found


def _setback(rule: Rule, there: Mapping[str, set[str]], planted: Sequence[Species]) -> dict:
    kinds = there.get(rule.feature)
    feature = _WORDS.get(rule.feature, f"{rule.feature.replace('_', ' ')}")
    if kinds is None or (rule.kind and rule.kind not in kinds):
        applies, why = False, f"no {rule.kind or feature} is given"
    elif not any(under_rule(rule, kind) for kind in planted):
        heights = dict.fromkeys(size_judged(rule, kind)[0] for kind in planted)
        grown = " and ".join(f"{{{height:.1f} m}}" for height in heights)
        if rule.form != "any" and all(kind.is_clipped == (rule.form == "free") for kind in planted):
            why = f"it is for {FORMS_CALLED[rule.form]}"
        else:
            why = f"it is for another height than the species' {grown}"
        applies = False
    else:
        applies, why = True, f"{_a(rule.kind or feature)} is there" if feature != "boundary" else "every parcel has a boundary"  # fmt: skip
    return _row(rule, "setback", applies, why, setback_text(rule))


def _winter_is_mild(limit: Limit, plan: Options) -> bool:
    zone = plan.health.zone
    return (
        isinstance(limit, MildWinter)
        and zone is not None
        and zone >= limit.from_zone
        and not plan.climate.temperature
    )


def _limit(limit: Limit, there, picked, plan: Options, layers) -> dict:
    kind, guidance = limit.kind, plan.light.hedge_guidance
    is_there = {
        "sight_triangle": "road" in there and (getattr(limit, "place", "") == "corner" or "driveway" in there),
        "stopping": "road" in there and "driveway" in there,
        "emerging": "road" in there and "driveway" in there,
        "zoning": "overhead" in there or "building" in there,
        "tolerance": "buried" in there,
        "by_height": "septic_field" in there,
        "hedge_height": guidance,
        "sun_needed": True,
        "foliage_noise": "road" in there and has_rows(layers.get("private_places")),
        "locate_request": True,
        "nesting": True,
        "planting_season": True,
        "planting_climate": bool(plan.climate.temperature),
        "mild_winter": _winter_is_mild(limit, plan),
        "lead_time": plan.plants.raised == "bought",
        "winter_water": True,
        "fence_height": True,
    }[kind]  # fmt: skip
    several = kind in _SEVERAL
    if several and limit.key not in picked:
        applies, why = False, "the plan picks another of its kind"
    elif kind == "hedge_height":
        applies, why = guidance, "the plan asks for it" if guidance else "the plan does not ask for it"  # fmt: skip
    elif is_there:
        applies, why = True, "the plan picks it" if several else _WHY.get(kind, "what it is about is there")  # fmt: skip
    else:
        applies, why = False, "nothing that it is about is given"
    return _row(limit, kind, applies, why, figures_text(limit.figures))


def _a(noun: str) -> str:
    return f"an {noun}" if noun[0] in "aeiou" else f"a {noun}"


_WORDS = {
    "buried": "buried line",
    "overhead": "overhead line",
    "private_place": "private place that was drawn",
}
#: Kinds of which the plan picks one, for planting seasons by its stock and species.
_SEVERAL = (
    "sight_triangle", "zoning", "tolerance", "locate_request", "nesting", "planting_season", "lead_time",
    "fence_height",
)  # fmt: skip
_WHY = {
    "planting_climate": "the plan gives mean temperatures of the months",
    "mild_winter": "the plan's hardiness zone is as mild, and it gives no temperatures",
    "sun_needed": "plants need sun",
    "by_height": "a septic field is there",
    "winter_water": "new plants are watered",
}


def _row(rule, kind, applies, why, says) -> dict:
    return {
        "rule": rule.key,
        "kind": kind,
        "applies": applies,
        "why": why,
        "says": says,
        "reason": rule.reason,
        "source": rule.source,
        "status": rule.status,
        "date": rule.date or None,
        "confirm_locally": rule.confirm_locally,
    }
