"""What a setback asks for, in words."""

from __future__ import annotations

import math
from collections.abc import Iterator

from screenplan.ground.said import said
from screenplan.rules.ruleset import Rule

#: The rows for which alone a rule may hold, by its ``form``.
FORMS_CALLED = {"clipped": "hedges that are clipped", "free": "rows that grow freely"}


def setback_text(rule: Rule) -> str:
    """Write the distance that a setback asks for in one line."""
    parts = [f"{{{rule.distance_m:.4g} m}}"] if rule.distance_m or not (
        rule.per_mature_height or rule.per_mature_spread or rule.at_least_m
    ) else []  # fmt: skip
    if rule.per_mature_height:
        beyond = f" above {{{rule.beyond_height_m:.4g} m}}" if rule.beyond_height_m else ""
        parts.append(f"{rule.per_mature_height:g} times the mature height{beyond}")
    if rule.per_mature_spread:
        parts.append(f"{rule.per_mature_spread:g} times the mature spread")
    least = f", at least {{{rule.at_least_m:.4g} m}}" if rule.at_least_m else ""
    whole = f"{' and '.join(parts)}{least} from the {rule.measured_from.replace('_', ' ')} to the {rule.measured_to}"
    return said("; ".join([whole, *_only_for(rule)]))


def _only_for(rule: Rule) -> Iterator[str]:
    """Say for which plants alone a rule holds."""
    if rule.form != "any":
        yield f"only for {FORMS_CALLED[rule.form]}"
    if rule.above_mature_height_m:
        yield f"only for species above {{{rule.above_mature_height_m:.4g} m}}"
    if rule.up_to_mature_height_m != math.inf:
        yield f"only for species up to {{{rule.up_to_mature_height_m:.4g} m}}"
