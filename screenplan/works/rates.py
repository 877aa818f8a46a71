"""How long work takes: the user's own rates first, then those of `rates.toml`, each with its source."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, TypeVar

import pandas as pd

from screenplan.plan import Options
from screenplan.plan.catalogue import shipped_tables

#: A price, hours or a rate.
V = TypeVar("V")
#: Items that cost as much, and take as long, as another if they have no figure of their own.
LIKE = {"mulch_again": "mulch", "plant_again": "plant"}
#: Rounding noise that must not cost another pack, day or round.
NOISE = 1e-9
#: How mulch is sold in bulk; a load of it has a price and hours of its own.
BULK = "load"
#: How the keys of what is built new begin.
BUILT = "new_"


@dataclass(frozen=True)
class Rate:
    """Hours of one person for one.

    Parameters
    ----------
    hours : float
    unit : str
        What one is; of the user's own rates empty: a pack where a thing is sold in packs, else one of
        its unit.
    source, status : str
        Where it comes from, and how it is known.
    """

    hours: float
    unit: str
    source: str
    status: str


def counted(quantity: Mapping[str, Any]) -> tuple[float, str]:
    """Give by how many a quantity is priced, and of what: its packs, if it is sold in packs, else its amount.

    What is built new goes by the metre, though it is ordered as one piece of work.
    """
    if pd.isna(quantity["packs"]) or quantity["item"].startswith(BUILT):
        return float(quantity["amount"]), quantity["unit"]
    return float(quantity["packs"]), quantity["pack"]


def sold_as(quantity: Mapping[str, Any]) -> str:
    """Give the item by which a quantity is priced: its own, or of mulch in bulk that of a load."""
    bulk = not pd.isna(quantity["pack"]) and quantity["pack"] == BULK
    return "mulch_bulk" if bulk else quantity["item"]


def rate_of(item: str, plan: Options, *, sold: str | None = None) -> Rate | None:
    """Give the rate of an item: the plan's, or the shipped one; None if there is neither.

    Parameters
    ----------
    item : str
        A quantity's key, or a work of `rates.toml` that is of none.
    plan : Options
        Of it [cost].
    sold : str, optional
        The item of which the plan's own rate is, if it is another: see `sold_as`.

    Examples
    --------
    >>> from screenplan.plan import DEFAULTS
    >>> rate = rate_of("dug", DEFAULTS)
    >>> round(rate.hours * 0.43, 9), rate.unit
    (1.0, 'm3')
    """
    own = value_of(sold or item, plan.cost.hours)
    if own is not None:
        return Rate(own, "", "your rate", "user")
    return value_of(item, _shipped())


def hours_of(quantity: Mapping[str, Any], plan: Options) -> float | None:
    """Give the hours of one person that a quantity takes; None without a rate.

    Parameters
    ----------
    quantity : mapping
        A row of the table of quantities.
    plan : Options
        Of it [cost].
    """
    rate = rate_of(quantity["item"], plan, sold=sold_as(quantity))
    if rate is None:
        return None
    return rate.hours * (float(quantity["amount"]) if rate.unit else counted(quantity)[0])


def value_of(item: str, values: Mapping[str, V]) -> V | None:
    """Give the price or rate of an item; one kind of plants falls back on that of all plants."""
    word, _, kind = item.partition(" ")
    like = LIKE.get(word, word)
    names = (item, f"{like} {kind}".strip(), word, like)
    return next((values[name] for name in names if name in values), None)


@cache
def _shipped() -> dict[str, Rate]:
    rates = {}
    for item, table in shipped_tables("screenplan.works", "rates.toml").items():
        hours = table["hours"] if "hours" in table else 1.0 / table["per_hour"]
        rates[item] = Rate(hours, table["unit"], table["source"], table["status"])
    return rates
