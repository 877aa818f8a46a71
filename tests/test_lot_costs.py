"""What falls to each lot of a street: parts of one order that add up to it."""

import pytest

from screenplan.contracts import COST
from screenplan.contracts.tables import table_of
from screenplan.works.lot_costs import LotWork, share_costs

LOTS = [
    LotWork("12", 6, 9.0, {"plant": 6.0, "mulch": 1.0}),
    LotWork("14", 2, 3.0, {"plant": 2.0, "mulch": 3.0}),
    LotWork("16", 0, 0.0, {}),
]


def cost(*rows):
    names = ("item", "cost", "hours", "labour_cost")
    records = [dict(zip(names, row, strict=True)) | {"name": row[0]} for row in rows]
    return table_of(COST, [*records, {"item": "total", "name": "Total", "cost": 999.0}])


def test_each_item_goes_by_what_each_lot_needs_of_it():
    # Closed form: plants 6 to 2 of 80, mulch 1 to 3 of 40, pegs by plants, 6 to 2 of 8; 16 plants nothing.
    table = share_costs(
        cost(("plant", 80.0, 4.0, 120.0), ("mulch", 40.0, None, None), ("peg", 8.0, None, None)),
        LOTS,
    )
    lots = table.set_index("lot")
    assert lots["cost"].tolist() == pytest.approx([60 + 10 + 6, 20 + 30 + 2, 0, 128])
    assert lots["hours"].tolist() == pytest.approx([3, 1, 0, 4])
    assert lots["labour_cost"].tolist() == pytest.approx([90, 30, 0, 120])
    assert lots["plants"].tolist() == [6, 2, 0, 8]
    assert lots["row_m"].tolist() == [9.0, 3.0, 0.0, 12.0]
    assert lots.loc["12", "cost_share"] == pytest.approx(76 / 128)
    assert lots.loc["16", "says"] == "It plants nothing"


def test_without_prices_plants_and_rows_are_told():
    table = share_costs(cost(("plant", None, None, None)), LOTS).set_index("lot")
    assert table[["cost", "hours", "labour_cost", "cost_share"]].isna().all(axis=None)
    assert table.loc["total", "plants"] == 8
    assert table.loc["total", "says"].startswith("No prices or rates are given")
