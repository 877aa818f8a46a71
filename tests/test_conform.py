"""Columns laid out at once against the same columns laid out value by value."""

from unittest import mock

import geopandas
import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import Point, Polygon

import screenplan.outputs.conform
from screenplan.contracts import Column, Contract
from screenplan.contracts.model import POINTS
from screenplan.ground.errors import InputError
from screenplan.outputs.conform import NUMBER_DECIMALS, conform, place

#: A number that is halfway between two micrometres may be rounded either way.
ONE_DECIMAL = 1.01 * 10.0**-NUMBER_DECIMALS


def table(column, *, required=False):
    return Contract("table", (), "A row", (column,), optional="" if required else column.name)


def laid(values, column, dtype, *, required=False):
    frame = pd.DataFrame({column.name: pd.Series(values, dtype=dtype)})
    return conform(frame, table(column, required=required)).values[column.name]


numbers = st.one_of(
    st.none(), st.floats(allow_nan=False, allow_infinity=False), st.floats(-1000, 1000)
)


@given(st.lists(numbers, max_size=8))
def test_numbers_at_once_are_those_one_by_one(values):
    column = Column("amount", "number", "A number")
    fast, slow = laid(values, column, "float64"), laid(values, column, "object")
    assert [value is None for value in fast] == [value is None for value in slow]
    for one, two in zip(fast, slow, strict=True):
        if one is not None:
            assert type(one) is float
            assert abs(one - two) <= ONE_DECIMAL
            assert one == round(one, NUMBER_DECIMALS)  # no digits beyond the last decimal
            assert str(one) != "-0.0"


@given(st.lists(st.one_of(st.none(), st.text(max_size=6)), max_size=8))
def test_texts_at_once_are_those_one_by_one(values):
    column = Column("words", "text", "Words")

    def lay():
        try:
            return laid(values, column, "object")
        except InputError as error:
            return str(error)

    with mock.patch.object(screenplan.outputs.conform, "_lay_at_once", return_value=None):
        one_by_one = lay()
    assert lay() == one_by_one
    if all(value is None or "\0" not in value for value in values):
        assert one_by_one == values


@pytest.mark.parametrize("dtype", ["float64", "object"])
@pytest.mark.parametrize(
    ("values", "options", "says"),
    [
        ([1.0, np.inf], {}, r"row 2: Column amount holds inf, which is not finite"),
        ([0.5, 1.5], {"high": 1.0}, r"row 2: Column amount holds 1.5, which is above 1"),
        ([-0.1, 0.0], {"low": 0.0}, r"row 1: Column amount holds -0.1, which is below 0"),
        ([0.0, None], {"required": True}, r"row 2: Column amount has no value"),
    ],
)
def test_a_faulty_number_is_refused_with_its_row_either_way(values, options, says, dtype):
    required, column = (
        options.get("required", False),
        Column("amount", "number", "A number", **options),
    )
    with pytest.raises(InputError, match=says):
        laid(values, column, dtype, required=required)


@pytest.mark.parametrize(
    ("values", "options", "says"),
    [
        (["a", "b\0c"], {}, r"row 2: .*NUL character"),
        (["\ud800"], {}, r"row 1: .*cannot be written as UTF-8"),
        (["a", "z"], {"choices": ("a", "b")}, r"row 2: Column words holds 'z'.*one of a, b"),
        (["a", 3], {}, r"row 2: Column words holds 3, which is not text"),
    ],
)
def test_a_faulty_text_is_refused_with_its_row(values, options, says):
    with pytest.raises(InputError, match=says):
        laid(values, Column("words", "text", "Words", **options), "object")


def test_a_layer_takes_other_geometries_that_keep_its_contract():
    spots = Contract("spots", POINTS, "A spot", columns=(Column("name", "text", "Its name"),))
    layout = conform(
        geopandas.GeoDataFrame({"name": ["a", "b"]}, geometry=[Point(1, 2), None]), spots
    )
    moved = place(layout, [Point(3, 4, 5), Point()])
    assert moved.values == layout.values
    assert moved.geometries == [Point(3, 4), None]  # without height; an empty one counts as none
    assert not moved.geometries[0].has_z
    with pytest.raises(InputError, match=r"layer spots, row 2: .*is a Polygon.*Point or MultiP"):
        place(layout, [Point(), Polygon([(0, 0), (1, 0), (0, 1)])])
    with pytest.raises(InputError, match=r"layer spots, row 1: .*not finite"):
        place(layout, [Point(np.inf, 0), None])
