"""A quote: the lines of goods and work with a price, what they come to, and what is not included.

No price is made up: what has none is listed as not included.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import pandas as pd

from screenplan.contracts.task_times import BEFORE, tasks_in
from screenplan.plan import Options
from screenplan.works.earth import SWELL
from screenplan.works.water_months import months_given
from screenplan.works.years import shares_of

#: The part of the work that is pouring.
WATER = "water"
#: Parts of the work as a customer reads them.
PARTS = {
    "order": "ordering or raising plants", "stake-out": "marking out", "dig": "ground and holes",
    "plant": "planting and mulching", "fence": "the fence", WATER: "watering", "check": "care after planting",
}  # fmt: skip
#: Decimals of an amount of money: those that are written, so that a customer who adds up the lines comes to the total.
CENTS = 2
#: Decimals of hours and cubic metres, as they are written.
HUNDREDTHS = 2
#: A share of a quantity below this is rounding only.
NOISE = 1e-9


@dataclass(frozen=True)
class Line:
    """One thing that is quoted: how many of what, the price of one, and what it comes to."""

    name: str
    count: float
    per: str
    price: float
    amount: float


@dataclass(frozen=True)
class Offer:
    """All that is quoted.

    Parameters
    ----------
    lines : tuple of Line
    margin, tax : float
        What is added to the lines, and to both of them.
    missing : tuple of str
        What is not included, in words: what has no price, then the plan's own list.
    """

    lines: tuple[Line, ...]
    margin: float
    tax: float
    missing: tuple[str, ...]

    @property
    def sum(self) -> float:
        """What the lines come to."""
        return math.fsum(line.amount for line in self.lines)

    @property
    def total(self) -> float:
        """What is to be paid."""
        return self.sum + self.margin + self.tax


def make_offer(layers: Mapping[str, Any], plan: Options) -> Offer:
    """Gather what is quoted.

    Parameters
    ----------
    layers : mapping
        Of it ``quantities``, ``schedule`` and ``cost``, and ``water_by_month`` if there is one.
    plan : Options
        Of it [quote] and [cost].
    """
    asked = plan.quote
    missing: list[str] = []
    unpriced: list[str] = []
    unrated: list[str] = []
    # Without normals the water is known at most, which is no amount to quote.
    poured = months_given(layers.get("water_by_month")) is not None
    if not poured and (layers["schedule"]["part"] == WATER).any():
        missing.append("watering: how much rain spares is not known (climate.rain)")
    lines = [
        *_goods(layers, asked.years, unpriced, poured=poured),
        *_work(layers, plan, missing, unrated, poured=poured),
    ]
    for names, lacking in ((unpriced, "goods without a price"), (unrated, "work without a rate")):
        if names:
            missing.append(f"{lacking}: {'; '.join(dict.fromkeys(names))}")
    earth = layers["quantities"].set_index("item")["amount"].get("surplus", 0.0) * SWELL
    if not asked.spoil:
        missing.append("taking away the earth that is left over")
    elif asked.spoil_price is None:
        missing.append(
            "taking away the earth that is left over: it has no price (quote.spoil_price)"
        )
    elif earth > 0.0:
        lines.append(
            _measured(
                "Earth that is left over, taken away, loosened", earth, "m3", asked.spoil_price
            )
        )
    lines = [replace(line, amount=round(line.amount, CENTS)) for line in lines]
    goods = math.fsum(line.amount for line in lines)
    margin = round(goods * asked.margin, CENTS)
    later = (
        f"work and goods after {'the first year' if asked.years == 1 else f'{asked.years} years'}"
    )
    return Offer(
        tuple(lines), margin, round((goods + margin) * asked.tax, CENTS),
        (*missing, later, *asked.not_included),
    )  # fmt: skip


def _goods(
    layers: Mapping[str, Any], years: int, unpriced: list[str], *, poured: bool
) -> Iterator[Line]:
    """Give what is bought in the years that are covered; note what has no price."""
    cost = layers["cost"].set_index("item")
    for row in layers["quantities"].to_dict("records"):
        shares = shares_of(row, layers["schedule"])
        part = math.fsum(share for year, share in shares.items() if year < years)
        if part < NOISE or (row["part"] == WATER and not poured):
            continue
        priced = cost.loc[row["item"]]
        if not pd.isna(priced["cost"]):
            yield Line(
                row["name"], float(priced["count"]) * part, str(priced["per"]), float(priced["price"]),
                float(priced["cost"]) * part,
            )  # fmt: skip
        elif not pd.isna(row["packs"]):
            unpriced.append(row["name"])


def _work(
    layers: Mapping[str, Any],
    plan: Options,
    missing: list[str],
    unrated: list[str],
    *,
    poured: bool,
) -> Iterator[Line]:
    """Give the hours of the years that are covered, by the part of the work; note the tasks whose hours are not known."""
    asked, hour = plan.quote, plan.cost.hour
    if hour is None:
        missing.append("all work: no price of an hour is given (cost.hour)")
        return
    due = [
        task for year in range(BEFORE, asked.years) for task in tasks_in(layers["schedule"], year)
    ]
    for part, name in PARTS.items():
        mine = [task for task in due if task["part"] == part and (poured or part != WATER)]
        known = [task["hours"] * task["times"] for task in mine if not pd.isna(task["hours"])]
        hours = math.fsum(known) * asked.access
        if hours > 0.0:
            yield _measured(f"Work: {name}", hours, "h", hour)
        unrated += [task["name"] for task in mine if pd.isna(task["hours"])]


def _measured(name: str, count: float, per: str, price: float) -> Line:
    """Give a line of hours or earth, rounded first, so that a customer who multiplies comes to the amount."""
    count = round(count, HUNDREDTHS)
    return Line(name, count, per, price, count * price)
