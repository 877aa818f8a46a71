"""A year is told with its range and with what it rests on, wherever it is told."""

import numpy as np
import pandas as pd
import pytest
from options_kit import plan_with

from screenplan.ground.told_years import tell_year, year_range, years_of_view
from screenplan.outputs.report_views import views_table
from screenplan.outputs.who_sees import view_counts
from screenplan.planting.closure import judge_closure
from screenplan.planting.species import load_species
from screenplan.views.closing import row_closing
from screenplan.views.goals import judge_goal

TOLD = "9 (7 to 13)"
GRADE = "published range"


def closure(low=13, typical=9, high=7, evidence=GRADE):
    years = pd.array([low, typical, high], dtype="Int64")
    return pd.DataFrame(
        {
            "line_id": "west", "growth": ["low", "typical", "high"], "spacing_m": 1.5, "asked_from_m": 0.0,
            "asked_height_m": 1.8, "year_closed": years, "mature_closed_height_m": 5.0,
            "mature_closed_from_m": 0.0, "evidence": evidence,
        }
    )  # fmt: skip


def views(low=13, typical=9, high=7, evidence=GRADE):
    years = {
        name: pd.array([year], dtype="Int64")
        for name, year in (
            ("year_closed_low", low),
            ("year_closed", typical),
            ("year_closed_high", high),
        )
    }
    status = "stays open" if typical is None else "closes"
    return pd.DataFrame(
        {
            "view_id": ["v"],
            "place_id": ["p"],
            "status": status,
            **years,
            "opens_again": pd.NA,
            "evidence": evidence,
        }
    )


@pytest.mark.parametrize(
    ("years", "said"),
    [
        # Open at high and closed at low growth: the range is the least and greatest of all three.
        ((5, 9, 12), "9 (5 to 12)"),
        ((12, 9, 5), "9 (5 to 12)"),
        ((9, 9, 4), "9 (4 to 9)"),
        ((9, 12, 11), "12 (9 to 12)"),
        ((None, 9, 5), "9 (5 to never)"),
        ((9, 12, None), "12 (9 to never)"),
        ((None, None, 5), "never (5 to never)"),
        ((pd.NA, np.nan, pd.NA), "never"),
        ((3, 3, 3), "3"),
    ],
)
def test_the_range_is_the_least_and_the_greatest_year_or_never(years, said):
    assert year_range(years) == said


def test_what_the_growth_rests_on_stands_beside_the_year():
    assert tell_year((13, 9, 7), GRADE) == f"year {TOLD}; growth: {GRADE}"
    assert tell_year((13, 9, 7)) == f"year {TOLD}"


def drawn(p10=6, p50=10, p90=None, chance=0.84, year=10):
    """The view with what was drawn for it."""
    years = {"year_closed_p10": p10, "year_closed_p50": p50, "year_closed_p90": p90}
    columns = {name: pd.array([year], dtype="Int64") for name, year in years.items()}
    return views().assign(**columns, chance=chance, chance_year=year, open_now=1.0, window_id="w")


def test_a_view_is_told_by_its_draws_where_there_are_any():
    assert years_of_view(drawn().iloc[0]) == [None, 10, 6]
    assert years_of_view(views().iloc[0]) == [13, 9, 7]
    assert view_counts(drawn()).endswith("by year 10 it is closed with a chance of 8 in 10.")
    two = pd.concat([drawn(), drawn(p50=None, chance=0.3)])
    assert view_counts(two).endswith("1 is closed by year 10 with a chance of 8 in 10 or more.")
    table = views_table({"views": drawn()}, [])
    assert {"closed in year", "chance by year 10"} <= {heading.text for heading in table.headings}
    assert {"10 (6 to never)", "8 in 10"} <= set(table.rows[0])


def test_half_the_draws_may_never_close_what_closes_at_typical_growth():
    table = views_table({"views": drawn(p10=7, p50=None, chance=0.3)}, [])
    assert {"never (7 to never)", "3 in 10"} <= set(table.rows[0])
    assert table.lead.endswith(f"Growth of the plants: {GRADE}.")


def test_checks_tell_it():
    for goal in (None, 5, 10):
        (row,) = judge_closure(closure(), plan_with(goal_closed_by=goal))
        assert f"year {TOLD}; growth: {GRADE}" in row.says
        assert judge_goal(views(), plan_with(goal_closed_by=goal)).says.endswith(
            f"; growth: {GRADE}"
        )


def test_the_report_and_the_needed_height_tell_it():
    row = views_table({"views": views().assign(open_now=1.0, window_id="w")}, []).rows[0]
    assert TOLD in row
    species = load_species()["thuja_occidentalis"]
    said = row_closing(species, 1.5, years=30).in_words(1.8)
    assert said.startswith("year ")
    assert said.endswith(f"; growth: {species.evidence}")
    # Of a mixed row the weakest evidence.
    mixed = [load_species()["picea_pungens"], species]
    assert row_closing(mixed, 1.5, years=30).evidence == GRADE
