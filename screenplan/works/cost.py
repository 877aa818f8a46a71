"""Cost and hours, by the user's own prices and rates; without them there are quantities only."""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping

import pandas as pd

from screenplan.contracts import COST
from screenplan.contracts.tables import table_of
from screenplan.ground.errors import refuse
from screenplan.ground.units import parse_length
from screenplan.works.money import check_prices
from screenplan.works.quantities import ITEMS

#: Hours for one thing above this are a slip.
MOST_HOURS = 1000.0
#: Stock is the one that is priced if its height is within this, metres.
SAME_HEIGHT_M = 0.01
#: Items that cost as much as another if they have no price of their own.
_LIKE = {"mulch_again": "mulch"}


def price_work(
    quantities: pd.DataFrame,
    *,
    prices: Mapping[str, float] | None = None,
    hours: Mapping[str, float] | None = None,
    hour_price: float | None = None,
    plant_prices: Mapping[str | float, float] | None = None,
) -> pd.DataFrame:
    """Price the quantities.

    Parameters
    ----------
    quantities : DataFrame
    prices : mapping, optional
        Price of one by item: of a pack where it is sold in packs, else of one unit of its amount.
        Where plants are of several kinds, ``plant`` prices those that have no price of their own.
    hours : mapping, optional
        Hours of work for one, by item, counted in the same way.
    hour_price : float, optional
        Price of an hour of work.
    plant_prices : mapping, optional
        Price of a plant by stock height; taken where ``prices`` has none for ``plant``.

    Returns
    -------
    DataFrame
        One row per quantity and a row ``total``. What has no price stays empty and is named in the
        total's ``says``.

    Raises
    ------
    InputError
        If a price or rate is negative, absurd, or for something that is no quantity.
    """
    prices = check_prices(prices or {})
    hours = check_prices(hours or {}, key="cost.hours", highest=MOST_HOURS)
    for key, given in (("cost.prices", prices), ("cost.hours", hours)):
        for item in given:
            if item not in ITEMS and item not in quantities["item"].to_numpy():
                near = difflib.get_close_matches(item, ITEMS, n=1)
                raise refuse(
                    f"'{item}' is no quantity",
                    f"Did you mean {near[0]}?" if near else f"Write one of {', '.join(ITEMS)}",
                    key=key,
                )
    if hour_price is not None:
        check_prices({"an hour": hour_price}, key="cost.hour")
    for one in quantities.loc[quantities["part"] == "plants"].to_dict("records"):
        own = prices.get("plant", _price_by_height(one["stock_height_m"], plant_prices or {}))
        if own is not None:
            prices.setdefault(one["item"], own)
    rows = [_row(one, prices, hours, hour_price) for one in quantities.to_dict("records")]
    return table_of(COST, [*rows, _total(rows, quantities, prices, hours, hour_price)])


def _row(one: dict, prices, hours, hour_price) -> dict:
    packed = not pd.isna(one["packs"])
    count = float(one["packs"]) if packed else float(one["amount"])
    per = one["pack"] if packed else one["unit"]
    price, each = _value_of(one["item"], prices), _value_of(one["item"], hours)
    time = None if each is None else each * count
    return {
        "item": one["item"], "name": one["name"], "count": count, "per": per, "price": price,
        "cost": None if price is None else price * count, "hours_each": each, "hours": time,
        "labour_cost": None if time is None or hour_price is None else time * hour_price,
    }  # fmt: skip


def _value_of(item: str, values: Mapping[str, float]) -> float | None:
    """Give the price or rate of an item; one kind of plants falls back on that of all plants."""
    return values.get(item, values.get(_LIKE.get(item, item.split(" ")[0])))


def _total(rows, quantities, prices, hours, hour_price) -> dict:
    bought = quantities.loc[quantities["packs"].notna().to_numpy(bool), "item"]
    missing = [item for item in bought if _value_of(item, prices) is None]
    costs = [row["cost"] for row in rows if row["cost"] is not None]
    times = [row["hours"] for row in rows if row["hours"] is not None]
    if not prices and not hours:
        says = "No prices or rates are given: quantities only"
    else:
        parts = []
        if missing:
            parts.append(f"without a price: {', '.join(missing)}")
        if times and hour_price is None:
            parts.append("without the price of an hour")
        if hours:
            parts.append(f"hours are those of {', '.join(hours)} only")
        parts.append("taxes, delivery and hire only if the prices hold them")
        says = "; ".join(parts)
        says = says[0].upper() + says[1:]
    return {
        "item": "total", "name": "Total of what is priced", "cost": math.fsum(costs) if costs else None,
        "hours": math.fsum(times) if times else None,
        "labour_cost": math.fsum(times) * hour_price if times and hour_price is not None else None,
        "says": says,
    }  # fmt: skip


def _price_by_height(stock_height_m: float, by_height) -> float | None:
    for height, price in by_height.items():
        metres = parse_length(height, key="hand.prices") if isinstance(height, str) else height
        if abs(metres - stock_height_m) <= SAME_HEIGHT_M:
            return check_prices({"plant": price}, key="hand.prices")["plant"]
    return None
