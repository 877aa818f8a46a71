"""Views and rows that close and open again: told alike, however few years are looked at."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from options_kit import plan_with
from test_views import GARDEN, SHUT, TABLE, only, row, trace, windows

from screenplan.planting.growth import clear_stem_at, height_at
from screenplan.planting.maturity import MATURE_YEAR, followed_years, lasts_from
from screenplan.planting.species import GROWTH_CLASSES, load_species
from screenplan.planting.species_model import HeightFigures, WidthFigures
from screenplan.planting.stand import stand_of
from screenplan.views.goals import judge_goal
from screenplan.views.grown import crowns_of, years_to_rest
from screenplan.views.timeline import last_open, opens_again

SHIPPED = load_species()
#: A ground floor window: sight lines pass the row between 1.2 and 1.6 m.
LOW = windows((0.137, 6), sill=0.9)
LEVEL = GARDEN.assign(eye_seated_m=1.2, eye_standing_m=1.6)


def look(
    kind="magnolia_grandiflora", species_table=SHIPPED, years=30, step=1, stock=0.9, **options
):
    options = {"growth_curve": "smooth", "views_report_years": (0,)} | options
    plants = row(np.arange(0.0, 60.1, step), kind, stock=stock)
    return trace(
        LOW, LEVEL, plants, None, species_table=species_table, growth_years=years, **options
    )


# The bare stem of the shipped magnolia rises to 1.8 m: what passes the row below it is open again.
def test_a_view_that_opens_after_the_years_looked_at_is_not_told_as_closed():
    long = look(years=30)[1]
    typical = long[long["growth"] == "typical"].groupby("year")["open"].max()
    shut = typical.index[typical <= 0.1]
    opens = int(shut.max()) + 1
    # It closes, and from the next year on it is open.
    assert len(shut) > 1
    assert (typical.loc[opens:] > 0.1).all()
    for years in (opens - 1, opens, 30, 60):
        view = only(look(years=years)[0])
        assert view.status == "stays open"
        assert pd.isna(view.year_closed)
        assert view.opens_again == opens
    # Closed form: it opens once the bare stem is above the lower heads' sight lines, at 1.2 m.
    magnolia = SHIPPED["magnolia_grandiflora"]
    bare = clear_stem_at(magnolia, height_at(magnolia, np.arange(31), stock_height_m=0.9))
    assert bare[opens - 1] < 1.6
    assert bare[opens] > 1.2


def test_the_goal_fails_whichever_years_are_looked_at():
    for years in (8, 10, 30):
        views = look(years=years)[0]
        found = judge_goal(views, plan_with(goal_closed_by=8, goal_share=1.0, views_threshold=0.1))
        assert found.result == "fails"
        year = int(only(views).opens_again)
        assert f"1 view closes for a time and is open again from year {year} on" in found.says


# Invariant: what is told of the years looked at does not depend on how many are.
@pytest.mark.parametrize("seed", range(6))
def test_years_told_do_not_depend_on_the_years_looked_at(seed):
    rng = np.random.default_rng(seed)
    shape = ("paraboloid", "ellipsoid", "cone")[seed % 3]
    kind = replace(
        SHIPPED["magnolia_grandiflora"], key="k", shape=shape, clear_stem_share=rng.uniform(0.05, 0.4),
        clear_stem_m=rng.uniform(0.2, 2.5), spread_share=rng.uniform(0.3, 0.9),
        mature_height_m=(6.0, 9.0), mature_spread_m=(1.5, rng.uniform(1.6, 5.0)),
        height_curve=HeightFigures(), width_law=WidthFigures(), yearly_growth_m=GROWTH_CLASSES["moderate"],
    )  # fmt: skip
    spacing = rng.uniform(0.5, 1.5)
    long = look("k", {"k": kind}, years=60, step=spacing)
    for years in (4, 12, 25):
        view, end = only(look("k", {"k": kind}, years=years, step=spacing)[0]), only(long[0])
        for name in ("year_closed_low", "year_closed", "year_closed_high"):
            told = end[name] if pd.notna(end[name]) and end[name] <= years else pd.NA
            assert (view[name] == told) if pd.notna(told) else pd.isna(view[name])
        open_now, later = (v["opens_again"] for v in (view, end))
        assert (open_now == later) if pd.notna(later) else pd.isna(open_now)


def test_the_table_of_years_holds_the_years_looked_at_alone():
    _, years, holes = look(years=8)
    assert years["year"].max() == 8
    # The hole that is shown is where it opens again.
    opens = int(only(look(years=8)[0]).opens_again)
    assert set(holes["year"]) == {opens}


def rest(plants, species_table, years, curve):
    return years_to_rest(stand_of(plants, species_table=species_table, years=years, curve=curve))


def test_crowns_that_only_grow_are_followed_no_longer():
    plants = row(SHUT, "cone")
    assert rest(plants, TABLE, 12, "straight").tolist() == list(range(13))


def test_years_are_followed_until_every_crown_holds_the_one_before():
    # Straight growth from 0.5 m by 0.2, 0.3, 0.4 m a year; a bare stem of nine tenths up to 1.5 m
    # rises until the plant is 1.67 m tall: in year 6 at low growth.
    plants = row(SHUT, "stemmed")
    years = rest(plants, TABLE, 2, "straight")
    assert years.tolist() == list(range(7))
    assert rest(plants, TABLE, 9, "straight")[-1] == 9
    crowns = crowns_of(stand_of(plants, species_table=TABLE, years=years, curve="straight"))
    assert crowns.height.shape[2] == 7


def test_an_ellipsoid_that_only_grows_taller_is_followed_to_the_end():
    rounded = {
        "like": "ilex_vomitoria",
        "shape": "ellipsoid",
        "growth_class": "slow",
        "spread_share": 0.9,
    }
    table = load_species({"rounded": rounded})
    years = rest(row(SHUT, "rounded"), table, 30, "smooth")
    # 61 years and the grown plants: all that fits.
    assert years.tolist() == [*range(61), MATURE_YEAR]


def test_what_lasts_by_hand():
    assert lasts_from([False, True, True, True], 2) == 1
    assert lasts_from([False, True, True, False], 2) is None
    assert lasts_from([False, False, False, True], 2) is None
    assert lasts_from([True, True], 1) == 0
    assert followed_years(250)[-2:].tolist() == [250, MATURE_YEAR]
    shares = [0.0, 1.0, 0.0, 0.05, 0.4, 0.0, 0.0]
    assert opens_again(shares, 0.1) == 1
    assert opens_again(shares[1:4], 0.1) is None
    assert opens_again([1.0, 1.0], 0.1) is None
    assert last_open(shares, 0.1, 6) == 4
    assert last_open(shares, 0.1, 3) == 4
    assert last_open([1.0, 1.0, 1.0], 0.1, 1) == 1
    assert last_open([0.0, 0.1], 0.1, 1) is None
