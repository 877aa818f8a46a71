"""When the plants are ordered, and how many of them are spare."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from screenplan.rules.limit_kinds import LeadTime, Limit
from screenplan.rules.limits import load_limits
from screenplan.works.kinds import Kind
from screenplan.works.rates import NOISE
from screenplan.works.tasks import task


@dataclass(frozen=True)
class Order:
    """What is ordered.

    Parameters
    ----------
    day : int
        Counted from planting.
    planted, spare : int
        How many are set, and how many beyond them; 0 without quantities.
    source : str
    """

    day: int
    planted: int
    spare: int
    source: str

    def spares_said(self) -> str:
        """Say who looks after the spare plants; empty if there are none."""
        if not self.spare:
            return ""
        which = "The spare plant is" if self.spare == 1 else f"The {self.spare} spare plants are"
        return (
            f". {which} kept in the shade, heeled in or in the pot, and watered whenever the others are, until "
            "losses are replaced"
        )


def order_of(
    kinds: Sequence[Kind], quantities: pd.DataFrame | None, limits: Mapping[str, Limit] | None
) -> Order:
    """Tell when the plants are ordered: as early as the slowest of their stocks asks for.

    Parameters
    ----------
    kinds : sequence of Kind
    quantities : DataFrame or None
    limits : mapping or None
        By default the shipped ones.
    """
    limits = load_limits() if limits is None else limits
    stocks = {kind.stock.key for kind in kinds}
    leads = [
        limit for limit in limits.values() if isinstance(limit, LeadTime) and limit.stock in stocks
    ]
    planted = spare = 0
    if quantities is not None:
        rows = quantities.loc[quantities["plants"].notna().to_numpy(bool)]
        planted = int(rows["plants"].sum())
        spare = sum(math.ceil(amount - NOISE) for amount in rows["amount"]) - planted
    longest = max(leads, key=lambda lead: lead.order_days, default=None)
    if longest is None:
        return Order(0, planted, spare, "")
    status = f" ({longest.status})" if longest.status not in longest.source else ""
    return Order(-round(longest.order_days), planted, spare, f"{longest.source}{status}")


def order_tasks(order: Order) -> Iterator[dict]:
    """Yield the task of ordering; none if no stock has a lead time."""
    if not order.source:
        return
    many = (
        f"{order.planted + order.spare} plants: {order.planted} to set and {order.spare} spare. "
        if order.planted
        else ""
    )
    yield task(
        "order", "Order the plants", order.day,
        f"{many}Ask what is to be had and when it comes, and let them come on the day of planting. First ask "
        "for the local rules, and show the plan to the neighbours",
        item="plant", source=order.source,
    )  # fmt: skip
