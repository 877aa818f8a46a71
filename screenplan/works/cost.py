"""Cost and hours, by the user's own prices and rates; without them there are quantities only."""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping

import pandas as pd

from screenplan.contracts import COST
from screenplan.contracts.tables import table_of
from screenplan.ground.errors import refuse
from screenplan.plan import DEFAULTS, Options
from screenplan.plan.planting import Hand
from screenplan.works.quantities import ITEMS
from screenplan.works.rates import BUILT, LIKE, NOISE, counted, sold_as, value_of

#: Stock is the one that is priced if its height is within this, metres.
SAME_HEIGHT_M = 0.01


def price_work(
    quantities: pd.DataFrame,
    *,
    plan: Options = DEFAULTS,
) -> pd.DataFrame:
    """Price the quantities.

    Parameters
    ----------
    quantities : DataFrame
    plan : Options, optional
        Of it [cost] and [hand], and the prices of [instead] for what is built new. A price is that of a pack where a
        thing is sold in packs, else of one unit of its amount; hours are counted in the same way. Where plants are of several
        kinds, the price ``plant`` is that of those that have none of their own; where there is
        none, it is that by stock height.

    Returns
    -------
    DataFrame
        One row per quantity and a row ``total``. What has no price stays empty and is named in the
        total's ``says``.

    Raises
    ------
    InputError
        If a price or rate is for something that is no quantity, or a price of what is built new stands in [cost].
    """
    cost = plan.cost
    for item in cost.prices:
        if item.startswith(BUILT):
            raise refuse(
                f"the price of '{item}' is told elsewhere",
                f"Write the price of a metre in instead.prices, as {item.removeprefix(BUILT)}",
                key=cost.key("prices"),
            )
    built = {f"{BUILT}{option}": price for option, price in plan.instead.prices.items()}
    counts = set(quantities["item"])
    prices = cost.prices | {item: price for item, price in built.items() if item in counts}
    for key, given in (("prices", cost.prices), ("hours", cost.hours)):
        for item in given:
            if item not in ITEMS and item not in quantities["item"].to_numpy():
                near = difflib.get_close_matches(item, ITEMS, n=1)
                raise refuse(
                    f"'{item}' is no quantity",
                    f"Did you mean {near[0]}?" if near else f"Write one of {', '.join(ITEMS)}",
                    key=cost.key(key),
                )
    planted = quantities["stock_height_m"].notna() & quantities["packs"].notna()
    for quantity in quantities.loc[planted].to_dict("records"):
        own = prices.get("plant", _price_by_height(quantity["stock_height_m"], plan.hand))
        if own is not None and value_of(quantity["item"], prices) is None:
            prices[quantity["item"]] = own
    records = [
        _row(quantity, prices, cost.hours, cost.hour) for quantity in quantities.to_dict("records")
    ]
    for row, quantity in zip(records, quantities.to_dict("records"), strict=True):
        if quantity["item"].partition(" ")[0] == "raised":
            row["says"] = _if_bought(quantity, prices, plan.hand)
    return table_of(COST, [*records, _total(records, quantities, prices, cost.hours, cost.hour)])


def plant_price(plan: Options, species: str, stock: str, height_m: float) -> float | None:
    """Give the price of one plant before it is known what else is planted; None if there is none.

    Parameters
    ----------
    plan : Options
        Of it [cost] and [hand].
    species, stock : str
    height_m : float
        When planted, metres.

    Examples
    --------
    >>> from screenplan.plan.reading import check_options
    >>> asked = {"cost": {"prices": {"plant ilex_opaca": 30.0}}, "hand": {"prices": {"0.9 m": 12.0}}}
    >>> plan = check_options(asked)
    >>> [plant_price(plan, kind, "container", 0.9) for kind in ("ilex_opaca", "taxus_baccata")]
    [30.0, 12.0]
    """
    prices = plan.cost.prices
    names = (f"plant {species} {stock} {height_m:g} m", f"plant {species}", "plant")
    found = next((prices[name] for name in names if name in prices), None)
    return _price_by_height(height_m, plan.hand) if found is None else found


def _row(quantity: dict, prices, hours, hour_price) -> dict:
    count, per = counted(quantity)
    sold = sold_as(quantity)
    price, each = value_of(sold, prices), value_of(sold, hours)
    time = None if each is None else each * count
    return {
        "item": quantity["item"], "name": quantity["name"], "count": count, "per": per, "price": price,
        "cost": None if price is None else price * count, "hours_each": each, "hours": time,
        "labour_cost": None if time is None or hour_price is None else time * hour_price,
    }  # fmt: skip


def _total(records, quantities, prices, hours, hour_price) -> dict:
    packed = quantities.loc[quantities["packs"].notna().to_numpy(bool)]
    bought = [sold_as(quantity) for quantity in packed.to_dict("records")]
    lacking = (LIKE.get(item, item) for item in bought if value_of(item, prices) is None)
    missing = dict.fromkeys(lacking)
    costs = [row["cost"] for row in records if row["cost"] is not None]
    times = [row["hours"] for row in records if row["hours"] is not None]
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


def _if_bought(quantity: dict, prices: Mapping[str, float], hand: Hand) -> str | None:
    """Say what plants that are raised would cost if they were bought; None if there is no price."""
    price = value_of(quantity["item"].replace("raised", "plant", 1), prices)
    price = _price_by_height(quantity["stock_height_m"], hand) if price is None else price
    return (
        None
        if price is None
        else f"Bought they would cost {math.ceil(quantity['amount'] - NOISE) * price:.2f}"
    )


def _price_by_height(stock_height_m: float, hand: Hand) -> float | None:
    for height, price in hand.price_by_height.items():
        if abs(height - stock_height_m) <= SAME_HEIGHT_M:
            return price
    return None
