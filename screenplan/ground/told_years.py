"""A year as it is told: the typical one, and the least and the greatest of the scenarios."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence


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


def _known(year) -> int | None:
    try:
        return None if year is None else int(year)
    except (TypeError, ValueError):  # pandas' NA, or NaN
        return None
