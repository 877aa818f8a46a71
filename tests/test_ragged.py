"""Rows of different lengths in one array, held against the same row by row in plain Python."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from screenplan.site.ragged import first_most, firsts, numbered, turned

COUNTS = st.lists(st.integers(0, 5), max_size=8)
FILLED = st.lists(st.integers(1, 5), max_size=8)


@given(COUNTS)
def test_items_are_numbered_row_by_row(count):
    group, number = numbered(count)
    by_row = [(row, item) for row, size in enumerate(count) for item in range(size)]
    assert list(zip(group.tolist(), number.tolist(), strict=True)) == by_row
    assert firsts(count).tolist() == [sum(count[:row]) for row in range(len(count))]


@given(FILLED, st.data())
def test_rows_are_turned_as_rings(count, data):
    by = data.draw(st.lists(st.integers(-7, 7), min_size=len(count), max_size=len(count)))
    items, after = list(range(sum(count))), 0
    wanted = []
    for size, steps in zip(count, by, strict=True):
        row, after = items[after : after + size], after + size
        wanted += row[steps % size :] + row[: steps % size]
    assert turned(count, np.array(by, dtype=int)).tolist() == wanted


@given(FILLED, st.data())
def test_the_first_of_the_greatest_items_is_found(count, data):
    total = sum(count)
    values = data.draw(st.lists(st.integers(0, 3), min_size=total, max_size=total))
    rows, after = [], 0
    for size in count:
        rows.append(values[after : after + size])
        after += size
    found = first_most(np.array(values, dtype=float), count).tolist()
    assert found == [row.index(max(row)) for row in rows]
