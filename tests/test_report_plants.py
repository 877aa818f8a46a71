"""Many plants are told together, each with its share in the ranges of figures."""

import pandas as pd
import pytest

from screenplan.contracts import OUTPUTS
from screenplan.outputs.report_cells import how_tapes_lie
from screenplan.outputs.report_plants import MOST_ALONE, numbers_in_words
from screenplan.outputs.report_tables import make_table

COUNT = MOST_ALONE + 2


def outgrown(count):
    """Plants of which every second one outgrows a wall instead of the boundary; of the first no year is known."""
    even = [number % 2 == 0 for number in range(1, count + 1)]
    return pd.DataFrame({
        "outgrown_id": [f"{number} x" for number in range(1, count + 1)],
        "plant_id": range(1, count + 1),
        "what": ["crown at a wall" if wall else "crown over the boundary" for wall in even],
        "thing_id": "LR-7", "distance_m": [0.5 + 0.1 * number for number in range(count)],
        "limit_m": 0.7, "over_m": 1.0, "year_low": pd.array([pd.NA] * count, dtype="Int64"),
        "year": pd.array([pd.NA, *range(2, count + 1)], dtype="Int64"), "year_high": 1, "clip_m": 0.1,
        "rule": "boundary", "source": "the outline of the parcel, as it was read from the file",
    })  # fmt: skip


def test_plants_that_differ_in_figures_alone_are_one_row():
    table = make_table("outgrown", outgrown(COUNT))
    rows = [
        dict(zip([head.text for head in table.headings], row, strict=True)) for row in table.rows
    ]
    assert [row["what"] for row in rows] == ["crown over the boundary", "crown at a wall"]
    # Counted by hand: plants 1, 3, … 13 stand 0.5, 0.7, … 1.7 m away, plants 2, 4, … 14 from 0.6 m on.
    assert rows[0]["plant"] == "1, 3, 5, 7, 9, 11, 13"
    assert rows[0]["distance"] == "0.50 m to 1.70 m"
    # What never comes is later than any year.
    assert rows[0]["year"] == "3 to never"
    assert rows[1]["year"] == "2 to 14"
    assert "outgrown" not in rows[0]


def test_a_few_plants_have_a_row_each():
    assert len(make_table("outgrown", outgrown(MOST_ALONE)).rows) == MOST_ALONE


@pytest.mark.parametrize("name", ["stakes", "pegs", "quantities"])
def test_what_the_crew_works_by_is_never_merged(name):
    assert all(shown.columns for shown in OUTPUTS[name].report)


@pytest.mark.parametrize("slope", [1.0, 1.02])
def test_a_reading_along_the_ground_stands_beside_the_level_one_only_where_they_differ(slope):
    along = pd.Series([0.0, 3.0, 6.0])
    stakes = pd.DataFrame({
        "stake_id": [1, 2, 3], "base_id": "L1", "along_m": along, "slope_along_m": slope * along,
        "offset_m": 0.0, "offset_side": "on the line", "diagonal_m": None, "tolerance_m": 0.02,
        "species": "yaupon", "mark": "flag",
    })  # fmt: skip
    table = make_table("stakes", stakes)
    heads = [head.text for head in table.headings]
    assert ("along the ground" in heads) == (slope > 1.0)
    assert [row[heads.index("level from zero")] for row in table.rows] == [
        "0.00 m",
        "3.00 m",
        "6.00 m",
    ]
    assert how_tapes_lie(stakes) == ("held level" if slope == 1.0 else "along the ground")


def test_a_table_of_few_narrow_columns_is_not_spread_over_the_sheet():
    stakes = pd.DataFrame({
        "stake_id": [1, 2], "base_id": "L1", "along_m": [0.0, 3.0], "slope_along_m": [0.0, 3.0],
    })  # fmt: skip
    assert make_table("stakes", stakes).slim
    assert not make_table(
        "stakes",
        stakes.assign(mark="a flag of pink cloth on a long thin wire of steel, one by one"),
    ).slim


@pytest.mark.parametrize(
    ("numbers", "said"), [([], ""), ([3], "3"), ([3, 4], "3, 4"), ([5, 3, 4, 4, 9], "3 to 5, 9")]
)
def test_numbers_that_follow_each_other_are_a_range(numbers, said):
    assert numbers_in_words(numbers) == said
