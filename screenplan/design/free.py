"""What a plan names of its rows is kept to; beside it the design that is free of it, so that its price is told."""

from __future__ import annotations

from collections.abc import Callable

import pandas as pd

from screenplan.ground.errors import InputError
from screenplan.plan import Options

#: What a plan may name of its rows, by section and key, and what stands for naming nothing.
NAMES = {
    ("rows", "along"): (),
    ("rows", "offset"): None,
    ("rows", "spacing"): None,
    ("rows", "rows"): 1,
    ("rows", "row_distance"): None,
    ("plants", "species"): None,
    ("plants", "stock_height"): None,
}


#: Shares of the views that are the same: rounding; and what is no money saved.
SAME, LEAST_SAVED = 1e-9, 0.005


def named(plan: Options) -> list[str]:
    """List the keys by which a plan names sides, species, spacing, offset or stock.

    Examples
    --------
    >>> from screenplan.plan.reading import check_options
    >>> named(check_options({"rows": {"along": ["north"], "spacing": "1 m"}}))
    ['rows.along', 'rows.spacing']
    """
    found = []
    for (section, key), nothing in NAMES.items():
        part = getattr(plan, section)
        given = key in part.model_fields_set and getattr(part, key) != nothing
        if given and not _said_by_design(plan, key):
            found.append(part.key(key))
    return found


def _said_by_design(plan: Options, key: str) -> bool:
    """Tell whether the design's own list goes before what the rows say."""
    lists = {"species": "kinds", "spacing": "spacings", "stock_height": "stock_heights"}
    return key in lists and bool(getattr(plan.design, lists[key]))


def freed(plan: Options) -> Options:
    """Give the plan that names none of it, compares nothing more, and goes by typical growth."""
    sections = {
        "design": plan.design.model_copy(update={"compare": False, "chance": 0.0, "choices": False})
    }
    for section in {section for section, _ in NAMES}:
        part = getattr(plan, section)
        names = {key for of, key in NAMES if of == section}
        usual = {key: getattr(type(part)(), key) for key in names}
        # The design goes by what was set, too.
        sections[section] = type(part).model_construct(
            part.model_fields_set - names, **(dict(part) | usual)
        )
    return plan.model_copy(update=sections)


def compare_free(
    told: pd.DataFrame | None, plan: Options, design: Callable[[Options], pd.DataFrame]
) -> str | None:
    """Tell what the free design would save or close; None if nothing is named, or it is not asked.

    Parameters
    ----------
    told : DataFrame or None
        The table ``design`` of what the plan asks for; None if nothing that it allows closes a view.
    plan : Options
    design : callable
        Gives that table for another plan.
    """
    names = named(plan)
    if not (names and plan.design.compare):
        return None
    without = f"Without {_listed(names)}"
    try:
        free = design(freed(plan)).iloc[0]
    except InputError as error:
        return f"{without} a design finds nothing to plant either: {error.problems[0].what}"
    found = (
        f"{without} a design of {int(free['plants'])} plants would close {int(free['views_closed'])} of "
        f"{int(free['views_open'])} open views at typical growth"
    )
    if told is None:
        return found
    own = told.iloc[0]
    more = float(free["closed_share"]) - float(own["closed_share"])
    says = f"{found}, and not {int(own['views_closed'])} of {int(own['views_open'])}"
    if more < -SAME and float(free["closed_share"]) >= plan.goal.share - SAME:
        says += f", which is as much as is asked for ({plan.goal.share:.0%} by weight)"
    alike = bool(free["priced"]) == bool(own["priced"])
    saved = float(own["typical_cost"]) - float(free["cost"]) if alike else 0.0
    word = ("cost", "") if own["priced"] else ("weigh", " by the square of their height")
    if alike and more < SAME and saved < LEAST_SAVED:
        return f"{without} a design would close no more and save nothing"
    if alike:
        says += f"; its plants would {word[0]} {float(free['cost']):,.2f}, and not {float(own['typical_cost']):,.2f}{word[1]}"
    else:
        says += f"; {int(own['plants'])} plants are set here"
    return says


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
