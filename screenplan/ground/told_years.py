"""A year as it is told: the middle one and its range, of draws or of scenarios, and a chance."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence

#: Columns of a view's years by the draws, each with the share of the draws in which it is closed by then; and at low,
#: typical and high growth.
DRAWN = {"year_closed_p10": 0.1, "year_closed_p50": 0.5, "year_closed_p90": 0.9}
SCENARIOS = ("year_closed_low", "year_closed", "year_closed_high")
#: A chance is told in so many parts.
PARTS = 10
#: What floating point may take from a share of whole tenths.
ROUNDING = 1e-9


def year_range(years: Sequence[int | None]) -> str:
    """Tell the typical year, and the least and the greatest of all scenarios in brackets.

    Parameters
    ----------
    years : sequence of int or None
        The year at low, typical and high growth; None, or what pandas takes for it, for never. What is
        reached at low growth may be missed at high, so that the range is that of all three.

    Examples
    --------
    >>> year_range([13, 9, 7]), year_range([4, 4, 4]), year_range([None, 9, 7])
    ('9 (7 to 13)', '4', '9 (7 to never)')
    >>> year_range([None, None, 7]), year_range([None, None, None])
    ('never (7 to never)', 'never')
    """
    low, typical, high = map(_known, years)
    reached = [year for year in (low, typical, high) if year is not None]
    if not reached:
        return "never"
    most = max(reached) if len(reached) == len(years) else "never"
    middle = "never" if typical is None else typical
    return f"{middle}" if min(reached) == most else f"{middle} ({min(reached)} to {most})"


def tell_year(years: Sequence[int | None], evidence: str | None = "") -> str:
    """Tell a year with its range, and what the growth rests on.

    Examples
    --------
    >>> tell_year([13, 9, 7], "published range")
    'year 9 (7 to 13); growth: published range'
    >>> tell_year([None, None, 7])
    'never (7 to never)'
    """
    said = year_range(years)
    said = said if said.startswith("never") else f"year {said}"
    return f"{said}; growth: {evidence}" if evidence else said


def tell_span(first: int, last: int | None) -> str:
    """Tell from which year to which something lasts; to the end if no last one is known.

    Examples
    --------
    >>> tell_span(4, 6), tell_span(4, 4), tell_span(4, None)
    ('from year 4 to year 6', 'in year 4', 'from year 4 to the end')
    """
    if last is None:
        return f"from year {first} to the end"
    return f"in year {first}" if first == last else f"from year {first} to year {last}"


def both_years(own: Sequence[int | None], usual: Sequence[int | None]) -> str:
    """Tell a year by own plants beside that without them.

    Examples
    --------
    >>> both_years([11, 8, 6], [13, 9, 7])
    'year 8 (6 to 11) by your own plants; year 9 (7 to 13) without them'
    """
    return f"{tell_year(own)} by your own plants; {tell_year(usual)} without them"


def soonest_first(years: Sequence[int | None]) -> tuple[float, ...]:
    """Give what sorts by the typical year, then by that at low and at high growth; never is last.

    Examples
    --------
    >>> sorted([[None, 9, 7], [12, 9, 7], [None, None, 3]], key=soonest_first)
    [[12, 9, 7], [None, 9, 7], [None, None, 3]]
    """
    low, typical, high = (math.inf if (known := _known(year)) is None else known for year in years)
    return typical, low, high


def all_evidence(rows: Iterable) -> str:
    """Join what the growth of several rows rests on, each once; empty if none of them says.

    Examples
    --------
    >>> all_evidence(["published range", None, "measured", "published range"])
    'published range, measured'
    """
    return ", ".join(dict.fromkeys(said for said in rows if isinstance(said, str) and said))


def is_drawn(view: Mapping) -> bool:
    """Tell whether draws were made for a view, a row of the layer."""
    return _known(view.get("chance_year")) is not None


def years_of_view(view: Mapping) -> list[int | None]:
    """Give the years of a view that are told: by which it is closed in 9, 5 and 1 of 10 draws.

    Where none were made they are those at low, typical and high growth.

    Examples
    --------
    >>> scenarios = {"year_closed_low": None, "year_closed": 9, "year_closed_high": 5}
    >>> drawn = {"year_closed_p10": 7, "year_closed_p50": 9, "year_closed_p90": 13, "chance_year": 10}
    >>> year_range(years_of_view(scenarios)), year_range(years_of_view(scenarios | drawn))
    ('9 (5 to never)', '9 (7 to 13)')
    """
    return [_known(view[name]) for name in (reversed(DRAWN) if is_drawn(view) else SCENARIOS)]


def chance_in_words(chance: float) -> str:
    """Tell a chance in tenths, never more of them than there are, and what is nearly sure as such.

    Examples
    --------
    >>> [chance_in_words(share) for share in (0.0, 0.02, 0.5, 0.79, 0.84, 0.97, 1.0)]
    ['0 in 10', 'under 1 in 10', '5 in 10', '7 in 10', '8 in 10', 'over 9 in 10', '10 in 10']
    """
    parts = math.floor(chance * PARTS + ROUNDING)
    if parts == 0 and chance > 0.0:
        return f"under 1 in {PARTS}"
    if parts == PARTS - 1 and chance > parts / PARTS + 0.05:
        return f"over {parts} in {PARTS}"
    return f"{parts} in {PARTS}"


def asked_chance(chance: float) -> str:
    """Tell a chance that is asked for: exactly.

    Examples
    --------
    >>> asked_chance(0.8), asked_chance(0.85), asked_chance(0.3)
    ('8 in 10', '85 in 100', '3 in 10')
    """
    parts = round(chance * PARTS, 6)
    return f"{parts:.0f} in {PARTS}" if parts == round(parts) else f"{100 * chance:g} in 100"


def _known(year) -> int | None:
    try:
        return None if year is None else int(year)
    except (TypeError, ValueError):  # pandas' NA, or NaN
        return None
