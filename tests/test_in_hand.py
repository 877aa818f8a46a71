"""Plants and money in hand, by arithmetic and against the rows as they would be set."""

import pandas as pd
import pytest
from hypothesis import given as for_all
from hypothesis import settings
from hypothesis import strategies as st
from parcel_kit import box, lay, layer
from shapely.geometry import LineString, Point

from screenplan.contracts import PLANTS_IN_HAND
from screenplan.ground.errors import InputError
from screenplan.planting.in_hand import plants_in_hand


def row_of(length, spacing=1.5, **rows):
    """A drawn straight line with a whole length, inside a wide parcel."""
    drawn = layer(line_id=["a"], geometry=[LineString([(5, 10), (5 + length, 10)])])
    return lay(box(length + 10), (), drawn=drawn, spacing_m=spacing, **rows)[2:4]


def hand(lines, plants, spacing=1.5, **options):
    return (
        plants_in_hand(lines, plants, spacing_m=spacing, **options).set_index("line_id").loc["all"]
    )


def test_by_hand():
    lines, plants = row_of(30.0)
    short = hand(lines, plants, given=16)
    assert (short["needed"], short["given"], short["surplus"]) == (21, 16, -5)  # 30 / 1.5 + 1
    assert short["spacing_to_fill_m"] == pytest.approx(2.0)  # 30 m in 15 gaps
    assert short["reach_m"] == pytest.approx(22.5)  # 15 gaps of 1.5 m
    over = hand(lines, plants, given=31)
    assert over["surplus"] == 10
    assert over["spacing_to_fill_m"] == pytest.approx(1.0)  # 30 m in 30 gaps
    assert over["reach_m"] == pytest.approx(30.0)


def test_rows_per_line_and_columns():
    lines, plants = lay(box(), ["south", "east"])[2:4]
    table = plants_in_hand(lines, plants, spacing_m=1.5)
    assert list(table.columns) == [c.name for c in PLANTS_IN_HAND.columns]
    assert table["line_id"].to_list() == ["south-row1", "east-row1", "all"]
    assert table["needed"].iloc[:2].sum() == table["needed"].iloc[2] == len(plants)
    assert table["given"].isna().all()


@for_all(st.integers(2, 120), st.floats(9, 60), st.floats(0.6, 3))
@settings(max_examples=40, deadline=None)
def test_the_spacing_to_fill_fills_the_row_with_no_more_plants(given, length, spacing):
    lines, plants = row_of(length, spacing)
    fill = hand(lines, plants, spacing, given=given)["spacing_to_fill_m"]
    needed = len(row_of(length, fill * (1 + 1e-5))[1])
    assert needed <= given
    assert len(row_of(length, fill * (1 - 1e-3))[1]) > given


def test_several_sides_with_corners():
    lines, plants = lay(box(), "all", spacing_m=1.5)[2:4]
    fill = hand(lines, plants, given=70)["spacing_to_fill_m"]
    assert len(lay(box(), "all", spacing_m=fill * 1.0001)[3]) <= 70
    assert len(lay(box(), "all", spacing_m=fill * 0.999)[3]) > 70


def test_staggered():
    lines, plants = row_of(30.0, lines={"rows": 2})
    answer = hand(lines, plants, given=31)
    assert answer["needed"] == 41  # 21 and one fewer
    assert answer["spacing_to_fill_m"] == pytest.approx(2.0)  # 16 + 15


def test_standing_plants_are_not_needed():
    screens = layer(kind=["plant"] * 2, height_m=[1.0, 1.0], geometry=[Point(5, 10), Point(35, 10)])
    lines, plants = row_of(30.0, screens=screens)
    answer = hand(lines, plants, given=14)
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
        answer = hand(lines, plants, 2.0, given=given)
        assert answer["needed"] == int((~plants["existing"]).sum())
        fill = answer["spacing_to_fill_m"]
        closer, wider = (
            int((~row_of(30.0, fill * more, screens=screens)[1]["existing"]).sum())
            for more in (1 - 1e-3, 1 + 1e-5)
        )
        assert wider <= given < closer


def test_fewer_plants_than_ends_fill_nothing():
    lines, plants = row_of(30.0)
    answer = hand(lines, plants, given=1)
    assert pd.isna(answer["spacing_to_fill_m"])
    assert answer["reach_m"] == 0


def test_the_tallest_stock_that_the_budget_buys():
    lines, plants = row_of(30.0)
    prices = {"1 ft": 4.0, "3 ft": 14.0, "6 ft": 45.0}
    answer = hand(lines, plants, budget=300, prices=prices)
    assert answer["stock_height_m"] == pytest.approx(3 * 0.3048)  # 21 × 14 = 294
    assert answer["cost"] == pytest.approx(294)
    poor = hand(lines, plants, budget=50, prices={0.3: 4.0})
    assert pd.isna(poor["stock_height_m"])
    assert pd.isna(poor["cost"])


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"given": 0}, "0 plants are in hand. Give a whole number of 1 or more"),
        ({"given": 2.5}, "2.5 plants are in hand"),
        ({"given": True}, "True plants are in hand"),
        ({"budget": -1, "prices": {1.0: 2.0}}, "the budget is -1"),
        ({"budget": 10}, "a budget is given without prices"),
        ({"budget": 10, "prices": {1.0: -2.0}}, "the price of stock 1 m high is -2"),
        ({"budget": 10, "prices": {0.0: 2.0}}, "a price is given for a stock height of 0"),
        ({"budget": 10, "prices": {"3": 2.0}}, "'3' has no unit"),
        ({"pattern": "wild"}, "'wild' is not a pattern"),
    ],
)
def test_refused(options, says):
    lines, plants = row_of(30.0)
    with pytest.raises(InputError) as caught:
        hand(lines, plants, **options)
    assert says in str(caught.value)
