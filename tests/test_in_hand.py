"""Plants and money in hand, by arithmetic and against the rows as they would be set."""

import pandas as pd
import pytest
from hypothesis import given as for_all
from hypothesis import settings
from hypothesis import strategies as st
from options_kit import plan_with
from parcel_kit import box, lay, layer
from shapely.geometry import LineString, Point

from screenplan.contracts import PLANTS_IN_HAND
from screenplan.ground.errors import InputError
from screenplan.planting.in_hand import plants_in_hand


def row_of(length, spacing=1.5, **rows):
    """A drawn straight line with a whole length, inside a wide parcel."""
    drawn = layer(line_id=["a"], geometry=[LineString([(5, 10), (5 + length, 10)])])
    return lay(box(length + 10), (), drawn=drawn, rows_spacing=spacing, **rows)[2:4]


def hand(lines, plants, spacing=1.5, **options):
    return (
        plants_in_hand(lines, plants, plan=plan_with(rows_spacing=spacing, **options))
        .set_index("line_id")
        .loc["all"]
    )


def test_by_hand():
    lines, plants = row_of(30.0)
    short = hand(lines, plants, hand_plants=16)
    assert (short["needed"], short["given"], short["surplus"]) == (21, 16, -5)  # 30 / 1.5 + 1
    assert short["spacing_to_fill_m"] == pytest.approx(2.0)  # 30 m in 15 gaps
    assert short["reach_m"] == pytest.approx(22.5)  # 15 gaps of 1.5 m
    over = hand(lines, plants, hand_plants=31)
    assert over["surplus"] == 10
    assert over["spacing_to_fill_m"] == pytest.approx(1.0)  # 30 m in 30 gaps
    assert over["reach_m"] == pytest.approx(30.0)


def test_rows_per_line_and_columns():
    lines, plants = lay(box(), ["south", "east"])[2:4]
    table = plants_in_hand(lines, plants, plan=plan_with(rows_spacing=1.5))
    assert list(table.columns) == [c.name for c in PLANTS_IN_HAND.columns]
    assert table["line_id"].to_list() == ["south-row1", "east-row1", "all"]
    assert table["needed"].iloc[:2].sum() == table["needed"].iloc[2] == len(plants)
    assert table["given"].isna().all()


@for_all(st.integers(3, 80), st.floats(9, 58), st.floats(0.6, 3))
@settings(max_examples=40)
def test_the_spacing_to_fill_fills_the_row_with_no_more_plants(given, length, spacing):
    lines, plants = row_of(length, spacing)
    fill = hand(lines, plants, spacing, hand_plants=given)["spacing_to_fill_m"]
    needed = len(row_of(length, fill * (1 + 1e-5))[1])
    assert needed <= given
    assert len(row_of(length, fill * (1 - 1e-3))[1]) > given


def test_several_sides_with_corners():
    lines, plants = lay(box(), "all", rows_spacing=1.5)[2:4]
    fill = hand(lines, plants, hand_plants=70)["spacing_to_fill_m"]
    assert len(lay(box(), "all", rows_spacing=fill * 1.0001)[3]) <= 70
    assert len(lay(box(), "all", rows_spacing=fill * 0.999)[3]) > 70


def test_staggered():
    lines, plants = row_of(30.0, rows_rows=2)
    answer = hand(lines, plants, hand_plants=31)
    assert answer["needed"] == 41  # 21 and one fewer
    assert answer["spacing_to_fill_m"] == pytest.approx(2.0)  # 16 + 15


def test_standing_plants_are_not_needed():
    screens = layer(kind=["plant"] * 2, height_m=[1.0, 1.0], geometry=[Point(5, 10), Point(35, 10)])
    lines, plants = row_of(30.0, screens=screens)
    answer = hand(lines, plants, hand_plants=14)
    assert answer["needed"] == 19  # 21 less the two that stand at the ends
    assert answer["spacing_to_fill_m"] == pytest.approx(2.0)  # 15 gaps


def test_an_uneven_standing_row_is_filled_as_it_would_be_set():
    # Invariant: at the spacing told the rows as set need no more plants than there are, closer they do.
    # Three plants stand 2.3 m apart, which is as good as the 2 m that are asked.
    screens = layer(
        kind=["plant"] * 3, height_m=[1.0] * 3, geometry=[Point(5 + at, 10) for at in (0, 2.3, 4.6)]
    )
    for given in (5, 8, 20):
        lines, plants = row_of(30.0, 2.0, screens=screens)
        answer = hand(lines, plants, 2.0, hand_plants=given)
        assert answer["needed"] == int((~plants["existing"]).sum())
        fill = answer["spacing_to_fill_m"]
        closer, wider = (
            int((~row_of(30.0, fill * more, screens=screens)[1]["existing"]).sum())
            for more in (1 - 1e-3, 1 + 1e-5)
        )
        assert wider <= given < closer


def test_fewer_plants_than_ends_fill_nothing():
    lines, plants = row_of(30.0)
    answer = hand(lines, plants, hand_plants=1)
    assert pd.isna(answer["spacing_to_fill_m"])
    assert answer["reach_m"] == 0


def test_the_tallest_stock_that_the_budget_buys():
    lines, plants = row_of(30.0)
    prices = {"1 ft": 4.0, "3 ft": 14.0, "6 ft": 45.0}
    answer = hand(lines, plants, hand_budget=300, hand_prices=prices)
    assert answer["stock_height_m"] == pytest.approx(3 * 0.3048)  # 21 × 14 = 294
    assert answer["cost"] == pytest.approx(294)
    poor = hand(lines, plants, hand_budget=50, hand_prices={"0.3 m": 4.0})
    assert pd.isna(poor["stock_height_m"])
    assert pd.isna(poor["cost"])


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"hand_plants": 0}, "key hand.plants: 0 is out of range"),
        ({"hand_plants": 2.5}, "key hand.plants: 2.5 does not fit"),
        ({"hand_budget": 10}, "key hand.prices: a budget is given without prices"),
        ({"hand_prices": {"1 m": -2.0}}, "key hand.prices.1 m: -2.0 is out of range"),
        (
            {"hand_prices": {"0 m": 2.0}},
            "key hand.prices: a price is given for a stock height of 0.0 m",
        ),
        ({"hand_prices": {"3": 2.0}}, "key hand.prices: '3' has no unit"),
    ],
)
def test_refused(options, says):
    with pytest.raises(InputError) as caught:
        plan_with(**options)
    assert says in str(caught.value)
