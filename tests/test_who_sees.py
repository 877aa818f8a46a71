"""Who no longer sees in, told by windows or, where there are many, by houses."""

from types import SimpleNamespace

import pandas as pd
import pytest

from screenplan.outputs.answer import Block, answer_lines
from screenplan.outputs.answer_costs import cost_lines
from screenplan.outputs.report_tables import Heading, Table
from screenplan.outputs.who_sees import (
    MOST_NUMBERED,
    MOST_WINDOWS,
    closing_windows,
    open_windows,
    view_counts,
)

YEARS = ("year_closed_low", "year_closed", "year_closed_high")


def views(status, **columns):
    """Views of windows w0, w1, … onto the terrace; each closes in the year of its number and 3."""
    count = len(status)
    years = {
        name: pd.array(
            [k + 3 if s == "closes" else pd.NA for k, s in enumerate(status)], dtype="Int64"
        )
        for name in YEARS
    }
    return pd.DataFrame(
        {"view_id": [f"v{k}" for k in range(count)], "window_id": [f"w{k}" for k in range(count)], "place_id": "terrace", "status": status, **years, **columns}
    )  # fmt: skip


@pytest.mark.parametrize(
    ("status", "said"),
    [
        (["closes"], "The one view that is open today closes."),
        (["stays open"], "The one view that is open today stays open."),
        (["closes"] * 2, "Both views that are open today close."),
        (["stays open"] * 4 + ["no view"], "None of the 4 views that are open today closes."),
        (["closes", "closes", "stays open"], "2 of the 3 views that are open today close, 1 stays open."),
        (["closed already"] * 6, "Nobody sees in today: all 6 views are closed by what stands already."),
        (["no view"] * 2, "No window or onlooker that is given sees a private place."),
    ],
)  # fmt: skip
def test_views_are_counted_by_what_becomes_of_them(status, said):
    assert view_counts(views(status)) == said


def test_where_no_view_was_followed_nothing_is_said():
    assert view_counts(None) == ""
    assert "does not know who looks in" in view_counts(views([]))


def site(count):
    """Windows of two houses and one that is in none."""
    houses = ["h-1" if k % 2 else "h-2" for k in range(count - 1)] + [None]
    return {
        "views": views(["closes"] * count),
        "windows": pd.DataFrame({"window_id": [f"w{k}" for k in range(count)], "building_id": houses, "name": "bath", "storey": 0, "derived": False}),
        "buildings": pd.DataFrame({"building_id": ["h-1", "h-2"], "kind": "house", "name": ["No. 1", "No. 2"]}),
    }  # fmt: skip


def test_many_windows_are_told_by_their_houses():
    table, more = closing_windows(site(MOST_WINDOWS + 1))
    # By hand: w0, w2, w4 and w6 are in No. 2, the others but the last in No. 1; the years are 3 to 11.
    assert [row[0] for row in table.rows] == ["No. 2, 4 windows", "No. 1, 4 windows", "bath"]
    assert [row[2] for row in table.rows] == ["9", "10", "11"]
    assert "more stand" not in more


@pytest.mark.parametrize(("left", "said"), [(1, "1 more stands in"), (2, "2 more stand in")])
def test_windows_that_are_left_out_are_counted(left, said):
    layers = site(MOST_WINDOWS + left)
    layers["windows"]["building_id"] = None
    table, more = closing_windows(layers)
    assert len(table.rows) == MOST_WINDOWS
    assert said in more


def test_a_few_windows_are_told_each():
    table, _ = closing_windows(site(MOST_WINDOWS))
    assert [row[0] for row in table.rows][:2] == ["No. 2, bath", "No. 1, bath"]
    assert len(table.rows) == MOST_WINDOWS


def test_a_block_is_told_in_sentences_where_there_are_no_tables():
    table = Table("closed", "", [Heading("who"), Heading("from year")], [["No. 9, bath", "4"]])
    block = Block("closed", "Who", ["Nobody else"], table, more="More stand below")
    assert answer_lines(block) == [
        "Nobody else",
        "who No. 9, bath, from year 4",
        "More stand below",
    ]


@pytest.mark.parametrize(
    ("count", "derived"),
    [(MOST_NUMBERED, True), (MOST_NUMBERED + 2, True), (MOST_NUMBERED + 2, False)],
)
def test_many_derived_windows_that_stay_open_for_one_reason_are_told_by_houses(count, derived):
    layers = site(count)
    layers["windows"]["derived"] = derived
    layers["views"] = views(["stays open"] * count).assign(set_apart=None)
    layers["view_holes"] = pd.DataFrame(
        {"view_id": [f"v{k}" for k in range(count)], "open_until": None, "cause": "past the row"}
    )
    (said,) = open_windows(layers, "metric")
    # By hand: of three windows one is in No. 2, one in No. 1, one in none; of five two each.
    pair = "No. 2, bath (terrace); No. 1, bath (terrace)"
    told = {
        (MOST_NUMBERED, True): f"{pair}; bath (terrace)",
        (
            MOST_NUMBERED + 2,
            True,
        ): "No. 2, 2 windows (terrace); No. 1, 2 windows (terrace); bath (terrace)",
        (MOST_NUMBERED + 2, False): f"{pair}; {pair}; bath (terrace)",
    }
    assert said == f"Past the row: {told[count, derived]}"


def cost_words(**layers):
    about = SimpleNamespace(warnings=(), units="metric")
    """What is said but for the price, of which these tests give none."""
    return list(cost_lines(layers, about, most=6))[1:]


def test_costs_are_told_by_lot_also_where_lots_have_bare_numbers():
    costs = pd.DataFrame({"lot": ["1", "2", "total"], "plants": [14, 1, 15], "cost": [500.0, None, None]})  # fmt: skip
    assert cost_words(lot_costs=costs) == ["By lot: 1: 14 plants, 500.00; 2: 1 plant"]


@pytest.mark.parametrize(
    ("status", "does"),
    [("closes", "close the same views"), ("stays open", "still close the row")],
)
def test_a_height_to_keep_promises_views_only_where_some_close(status, does):
    sizes = pd.DataFrame({"kept": [False], "keep_m": [3.8], "grown_m": [9.0]})
    views = pd.DataFrame({"status": ["stays open", status]})
    assert cost_words(kept_sizes=sizes, views=views) == [
        f"Clipped at 3.8 m the plants {does}; left alone they grow to 9.0 m. In the plan: kept.in_place = true"
    ]
