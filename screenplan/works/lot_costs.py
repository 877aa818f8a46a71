"""What falls to each lot of a street: one order is priced, and each part of it goes by what each lot needs of it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from screenplan.contracts import LOT_COSTS
from screenplan.contracts.tables import numbers, table_of

#: What is shared out, columns of the table ``cost``.
SHARED = ("cost", "hours", "labour_cost")


@dataclass(frozen=True, eq=False)
class LotWork:
    """What one lot takes of the work.

    Parameters
    ----------
    lot : str
    plants : int
        New plants on it.
    row_m : float
        Level length of its rows, metres.
    amounts : mapping of str to float
        Amounts of what was counted for it alone, by item.
    """

    lot: str
    plants: int
    row_m: float
    amounts: Mapping[str, float]


def share_costs(cost: pd.DataFrame, lots: Sequence[LotWork]) -> pd.DataFrame:
    """Share what is priced among the lots.

    Each item goes by the lots' own amounts of it, what was not counted lot by lot (pegs, string, the fence) by their
    plants. So the parts add up to the whole order, though packs are rounded up once and not for each lot.

    Parameters
    ----------
    cost : DataFrame
        Contract ``cost``, of the whole street.
    lots : sequence of LotWork

    Returns
    -------
    DataFrame
        Contract ``lot_costs``: a row for each lot, and their total.
    """
    plants = np.array([lot.plants for lot in lots], float)
    items = cost.loc[cost["item"] != "total"]
    parts = {name: np.zeros(len(lots)) for name in SHARED}
    for row, item in enumerate(items["item"]):
        own = np.array([lot.amounts.get(str(item), 0.0) for lot in lots], float)
        weight = own if own.sum() > 0.0 else plants
        for name in SHARED:
            parts[name] += np.nan_to_num(numbers(items, name, 0.0)[row]) * weight / weight.sum()
    priced = {name: bool(items[name].notna().any()) for name in SHARED}
    records = []
    for number, lot in enumerate(lots):
        shared = {name: float(parts[name][number]) for name in SHARED if priced[name]}
        records.append(
            {
                "lot": lot.lot,
                "plants": lot.plants,
                "row_m": lot.row_m,
                "cost_share": _share_of(shared.get("cost"), parts["cost"].sum()),
                "says": "It plants nothing" if not lot.plants else None,
                **shared,
            }
        )
    return table_of(LOT_COSTS, [*records, _total(records)])


def _share_of(part: float | None, whole: float) -> float | None:
    return None if part is None or not whole > 0.0 else min(part / whole, 1.0)


def _total(records: Sequence[Mapping]) -> dict:
    whole = {
        name: math.fsum(record[name] for record in records)
        for name in SHARED
        if all(name in record for record in records)
    }
    return {
        "lot": "total",
        "plants": sum(record["plants"] for record in records),
        "row_m": math.fsum(record["row_m"] for record in records),
        "cost_share": 1.0 if whole.get("cost") else None,
        "says": "Each item by what each lot needs of it; what is not counted by lot, by plants"
        if whole
        else "No prices or rates are given: plants and rows only",
        **whole,
    }
