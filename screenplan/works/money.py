"""Prices and rates as the user gives them: checked, never invented."""

from __future__ import annotations

import math
from collections.abc import Mapping

from screenplan.contracts import HIGHEST_PRICE
from screenplan.ground.errors import InputError, Problem


def check_prices(
    prices: Mapping[str, float], *, key: str = "cost.prices", highest: float = HIGHEST_PRICE
) -> dict[str, float]:
    """Refuse prices that cannot be.

    Parameters
    ----------
    prices : mapping
        Price, or hours, of one by item.
    key : str
        The plan's key, for the message.
    highest : float
        Above it a value is a slip.

    Raises
    ------
    InputError
        With every item that is negative, absurd or no number.
    """
    problems = []
    for item, price in prices.items():
        if isinstance(price, bool) or not isinstance(price, (int, float)):
            what = f"{price!r} for {item} is not a number"
        elif not (math.isfinite(price) and price >= 0):
            what = f"{price} for {item} is negative or not finite"
        elif price > highest:
            what = f"{price:g} for {item} is absurd"
        else:
            continue
        problems.append(Problem(what, f"Give 0 to {highest:g}", key=key))
    if problems:
        raise InputError(problems)
    return {str(item): float(price) for item, price in prices.items()}
