"""Water month by month: need, rain, frozen ground, and that every table tells the same litres."""

import datetime as dt
import math

import numpy as np
import pytest
import works_site as site
from hypothesis import given, settings
from hypothesis import strategies as st
from options_kit import plan_with

from screenplan.contracts import WATER_BY_MONTH, YEAR_COSTS
from screenplan.contracts.tables import notes_of
from screenplan.contracts.task_times import year_of
from screenplan.outputs.conform import conform
from screenplan.outputs.report import About
from screenplan.outputs.year_sheet import make_years
from screenplan.plan.reading import check_options
from screenplan.works.calendar import schedule_work
from screenplan.works.evaporation import shares_of_peak
from screenplan.works.kinds import kinds_of
from screenplan.works.measuring import choose_to_measure
from screenplan.works.quantities import count_material
from screenplan.works.water import Stage
from screenplan.works.water_months import _Part, _record, lay_water
from screenplan.works.watering import litres_of
from screenplan.works.years import count_years

TODAY, INCH_MM = dt.date(2027, 1, 15), 25.4
#: Degrees Celsius, made up: January, February and December are frozen.
MEANS = (-6, -3, 4, 11, 17, 22, 24, 23, 19, 12, 4, -3)
WARM = (10,) * 12
#: A site whose place is not known: all days are equally long, and so WARM months need as much each.
NOWHERE = None
#: Rounding of sums of floats only.
SUM = 1e-9
SUBJECT, LINES, PLANTS = site.planted(stock="balled", height=1.8)


def planned(rain_mm, means=MEANS, planting="2027-04-10", **sections):
    climate = {"rain": [f"{mm} mm" for mm in rain_mm]}
    if means:
        climate["temperature"] = [f"{mean} C" for mean in means]
    return check_options(
        {"climate": climate, "calendar": {"planting": planting} if planting else {}} | sections
    )


def months(rain_mm, means=MEANS, plants=PLANTS, position_deg=(8.0, 50.0), **options):
    table = lay_water(plants, plan=planned(rain_mm, means, **options), position_deg=position_deg)
    conform(table, WATER_BY_MONTH)
    return table


def without_normals(plants=PLANTS):
    """Litres of the published stages, by other code: no season is known."""
    from screenplan.works.seasons import Seasons

    found = litres_of(kinds_of(plants), plan_with().works, Seasons(None, None), None)
    return {key: litres for key, (litres, _) in found.items()}


def test_without_rain_and_frost_the_water_is_the_published_need():
    table = months([0] * 12, WARM, position_deg=NOWHERE)
    assert (table["rain_l"] == 0.0).all()
    assert table["water_l"].tolist() == table["need_l"].tolist()
    stages = without_normals()
    found = table.groupby("item")["water_l"].sum()
    assert set(found.index) == set(stages)
    for item, litres in stages.items():
        assert found[item] == pytest.approx(litres, rel=SUM)
    assert "None" not in " ".join(table["says"])


@pytest.mark.evidence(
    part="Planting work",
    kind="published",
    against="An inch of rain spares a watering, so that an inch a week spares all weekly ones",
    source="University of Minnesota Extension, watering newly planted trees and shrubs",
    status="read",
    tolerance="0.01 l",
)
def test_an_inch_of_rain_a_week_spares_the_weekly_rounds_and_less_does_not():
    # 31 days of 1/7 in; months of 30 and fewer days then bring more than an inch a week.
    plenty = (
        months([31 / 7 * INCH_MM] * 12, means=None)
        .groupby("item")[["need_l", "water_l", "rounds"]]
        .sum()
    )
    for stage in ("water_weekly", "water_later"):
        assert plenty.loc[stage, "need_l"] > 0.0
        assert plenty.loc[stage, "water_l"] == pytest.approx(0.0, abs=0.01)
    assert plenty.loc["water_daily", "water_l"] > 0.0
    scarce = months([28 / 7 * INCH_MM * 0.9] * 12, means=None).groupby("item")["water_l"].sum()
    assert scarce["water_weekly"] > 0.0


def test_a_month_by_hand():
    # April 2027 has 30 days: 60 mm are 2 mm a day, so that a round each second day is spared 4 of 25.4 mm.
    table = months([60] * 12, WARM, position_deg=NOWHERE).set_index("name")
    row = table.loc["April 2027, weeks 3 to 12"]
    each = site_round()
    # Days 14, 16, 18 and 20 after 10 April are 24 to 30 April.
    assert row["need_l"] == pytest.approx(4 * each)
    assert row["rain_l"] == pytest.approx(4 * each * 4 / INCH_MM)
    assert row["rounds"] == 4  # 4 · (1 - 0.157) = 3.37
    assert (row["first_date"], row["month"], row["year"]) == ("2027-04-24", 4, 0)
    # 4 l of 170.3 l in an hour, a nursery's hose (read): 0.75 gal a minute.
    assert row["hours"] == pytest.approx(row["water_l"] / (0.75 * 3.785411784 * 60), rel=1e-3)


def site_round():
    material = count_material(site.layers(SUBJECT, LINES, PLANTS))
    return material.set_index("item").loc["water_round", "amount"]


def test_frozen_months_have_no_water():
    table = months([0] * 12)
    frozen = table["month"].isin([1, 2, 12]).to_numpy()
    assert frozen.any()
    for column in ("need_l", "rain_l", "water_l", "rounds", "hours"):
        assert (table.loc[frozen, column] == 0).all(), column
        assert (table.loc[~frozen, column] > 0).all() or column == "rain_l"
    assert set(table.loc[frozen, "says"]) == {"None: the ground is frozen, or the month too cold"}


def test_the_need_follows_the_temperature_below_the_published_rate():
    # By hand: the share of each month is that of the peak, and without temperatures it is 1 in all.
    plain, table = months([0] * 12, means=None), months([0] * 12)
    shares = shares_of_peak(MEANS, 50.0)
    assert shares.max() == 1.0
    # The first two weeks take the whole, but in frost.
    share = shares[table["month"].to_numpy() - 1]
    fresh = (table["item"] == "water_daily").to_numpy()
    assert fresh.any()
    share = np.where(fresh & (share > 0.0), 1.0, share)
    assert table["need_l"].to_numpy() == pytest.approx(plain["need_l"].to_numpy() * share)
    assert (table["rounds"] <= plain["rounds"]).all()
    peak = table["month"].to_numpy() == 1 + shares.argmax()
    assert table.loc[peak, "need_l"].tolist() == plain.loc[peak, "need_l"].tolist()
    assert 0 < peak.sum() < len(peak)
    assert "Thornthwaite" in table.iloc[0]["source"]
    assert "Thornthwaite" not in plain.iloc[0]["source"]


def test_lowest_and_highest_temperatures_change_the_need_and_are_named():
    extremes = {
        name: [f"{mean + away} C" for mean in MEANS]
        for name, away in (("lowest", -5), ("highest", 5))
    }
    plan = planned([], climate=extremes | {"rain": ["0 mm"] * 12})
    table = lay_water(PLANTS, plan=plan, position_deg=(8.0, 50.0))
    plain = months([0] * 12)
    assert table["month"].tolist() == plain["month"].tolist()
    assert "Hargreaves" in table.iloc[0]["source"]
    assert "Thornthwaite" not in table.iloc[0]["source"]
    # A flat range leaves warmth and sun; in frost none is needed all the same.
    frozen = (plain["need_l"] == 0.0).to_numpy()
    assert ((table["need_l"] == 0.0).to_numpy() == frozen).all()
    assert frozen.any()
    nowhere = lay_water(PLANTS, plan=plan, position_deg=None)
    assert "Thornthwaite" in nowhere.iloc[0]["source"]


# By hand: ten rounds, of which each needs 0.8 and has 0.5 of rain, are three; in the last digit they are more.
def test_rounds_hang_on_no_last_digit():
    assert (0.8 - 0.5) * 10 > 3.0
    stage = Stage("water_often", "", 1, 2, 10)
    part = _Part(stage, set(range(1, 21, 2)), 100.0)
    rain = [0.5 * INCH_MM / 1000.0 * 30 / 2] * 12
    row = _record(part, dt.date(2027, 4, 1), rain, np.full(12, 0.8), None)
    assert (row["month"], row["rounds"]) == (4, 3)
    assert row["water_l"] == pytest.approx(30.0)
    # As much rain as is needed, but for the last digit: none is poured.
    none = _record(part, dt.date(2027, 4, 1), rain, np.full(12, 0.5 + 1e-15), None)
    assert (none["rounds"], none["water_l"], none["says"]) == (
        0,
        0.0,
        "None: the rain of the normals is enough",
    )


def test_in_a_cool_month_rain_is_held_against_the_smaller_need():
    # April 2027: 11 °C. 2 mm a day spare a round each second day 4 mm of the share of an inch that it needs.
    row = months([60] * 12).set_index("name").loc["April 2027, weeks 3 to 12"]
    share = shares_of_peak(MEANS, 50.0)[3]
    assert row["water_l"] == pytest.approx(4 * site_round() * (share - 4 / INCH_MM))
    assert row["rounds"] == math.ceil(4 * (share - 4 / INCH_MM)) < 4


@settings(max_examples=20, deadline=None)
@given(
    st.lists(st.floats(0, 400), min_size=12, max_size=12),
    st.lists(st.floats(0, 200), min_size=12, max_size=12),
    st.lists(st.integers(-20, 30), min_size=12, max_size=12),
)
def test_more_rain_never_means_more_water(rain, more, means):
    # Properties: need is water and rain; it does not hang on the rain; a month without water has no round.
    less = months(rain, means)
    wetter = months([a + b for a, b in zip(rain, more, strict=True)], means)
    assert less["need_l"].tolist() == wetter["need_l"].tolist()
    for table in (less, wetter):
        assert (table["water_l"] + table["rain_l"]).to_numpy() == pytest.approx(table["need_l"])
        assert ((table["rounds"] > 0) == (table["water_l"] > 0.0)).all()
    for column in ("water_l", "rounds"):
        assert (wetter[column] <= less[column] + SUM).all()


@pytest.fixture(scope="module")
def made():
    plan = planned(
        [25, 30, 55, 95, 120, 125, 110, 105, 80, 70, 55, 35],
        cost={"prices": {"water_weekly": 0.01, "water_later": 0.01}, "hour": 30.0},
    )
    by_month = lay_water(PLANTS, plan=plan, position_deg=(8.0, 50.0))
    layers = site.layers(SUBJECT, LINES, PLANTS, water_by_month=by_month)
    quantities = count_material(layers, plan=plan, position_deg=(8.0, 50.0))
    schedule = schedule_work(
        {"plants": PLANTS, "quantities": quantities, "water_by_month": by_month},
        plan=plan, position_deg=(8.0, 50.0), today=TODAY,
    )  # fmt: skip
    years = count_years(schedule, quantities, None, by_month, plan=plan)
    conform(years, YEAR_COSTS)
    return {
        "water_by_month": by_month, "quantities": quantities, "schedule": schedule, "year_costs": years,
        "to_measure": choose_to_measure(PLANTS, plan=plan),
    }  # fmt: skip


def test_every_table_tells_the_same_water(made):
    """Invariant: months, stages, the calendar and the years add up to each other."""
    by_month, years = made["water_by_month"], made["year_costs"].set_index("year")
    water = made["quantities"].loc[made["quantities"]["item"].str.match("water_(?!round)")]
    assert water["amount"].sum() == pytest.approx(by_month["water_l"].sum(), rel=SUM)
    tasks = made["schedule"].loc[made["schedule"]["part"] == "water"]
    assert tasks["times"].sum() == by_month["rounds"].sum() > 0
    for year, rows in by_month.groupby("year"):
        assert years.loc[year, "water_l"] == pytest.approx(rows["water_l"].sum(), rel=SUM)
        assert years.loc[year, "rounds"] == rows["rounds"].sum()
    hours = (tasks["hours"] * tasks["times"].astype(float)).sum()
    assert hours == pytest.approx(by_month["hours"].sum(), rel=SUM)
    assert not tasks["task"].str.startswith("water_winter").any()


def test_each_round_falls_into_its_month_and_year(made):
    by_month = made["water_by_month"].set_index("first_day")
    start = dt.date(2027, 4, 10)
    for row in made["schedule"].loc[made["schedule"]["part"] == "water"].to_dict("records"):
        month = by_month.loc[row["first_day"]]
        last = start + dt.timedelta(days=row["last_day"])
        assert last.month == month["month"]
        assert year_of(row["last_day"]) == month["year"]
        assert row["name"] == f"Water in {month['name']}"


def test_the_year_sheet_tells_the_water_of_each_month(made):
    page = make_years(made, About(units="metric"))
    first = page.split("<section ")[2]
    assert "besides the rain of your normals" in first
    assert "if no rain falls" not in page
    row = made["water_by_month"].iloc[0]
    assert f"<td>Water in {row['name']}: {row['water_l']:,.0f}\u00a0l</td>" in first
    without = make_years(made | {"water_by_month": None}, About(units="metric"))
    assert f"<td>Water in {row['name']}</td>" in without
    assert "if no rain falls" in without


def test_kinds_are_watered_as_long_as_each_needs():
    *_, plants = site.planted(species=("thuja_smaragd", "ilex_opaca"), stock="balled", height=1.8)
    table = months([0] * 12, WARM, plants=plants, position_deg=NOWHERE)
    for item, litres in without_normals(plants).items():
        found = table.loc[table["item"] == item, "need_l"].sum()
        assert found == pytest.approx(litres, rel=SUM)


def test_what_is_lacking_is_said():
    assert notes_of(lay_water(PLANTS, plan=plan_with())) == (
        "Water by month is not told without climate.rain",
    )
    undated = months([50] * 12, planting=None)
    assert undated.empty
    assert notes_of(undated) == ("Water by month is not told without calendar.planting",)
    notes = notes_of(months([50] * 12, means=None))
    assert any("no month counts as frozen" in note for note in notes)
    notes = notes_of(months([50] * 12, position_deg=NOWHERE))
    assert any("all days count as equally long" in note for note in notes)
    given_all = notes_of(months([50] * 12))
    assert len(given_all) == 1
    assert "By the rain of your normals" in given_all[0]


def test_your_own_rate_gives_the_hours():
    table = months([0] * 12, cost={"hours": {"water_round": 0.001}})
    assert table["hours"].to_numpy() == pytest.approx(0.001 * table["water_l"].to_numpy())
    assert "your rate" in table.iloc[0]["source"]
