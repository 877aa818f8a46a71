"""Weeding: as many passes as were asked for, in the growing months, over the area of the strip."""

import datetime as dt
from dataclasses import replace

import pytest
import works_site as site
from options_kit import plan_with

from screenplan.contracts.tables import notes_of
from screenplan.ground.errors import InputError
from screenplan.plan import DEFAULTS
from screenplan.planting.species import load_species, planned_species
from screenplan.planting.stand import Start, planned_stand, sizes_of
from screenplan.works.calendar import schedule_work
from screenplan.works.quantities import count_material
from screenplan.works.rates import rate_of
from screenplan.works.seasons import Seasons
from screenplan.works.weeds import MONTHS, REST_DAYS, SOURCE, pass_days

START, TODAY = dt.date(2027, 4, 10), dt.date(2026, 3, 1)
ASKED = {"weeds_passes": 3, "weeds_years": 5, "weeds_prepare": 2}


def counted(**options):
    subject, lines, plants = site.planted()
    plan = plan_with(**options)
    return plan, plants, count_material(site.layers(subject, lines, plants), plan=plan)


def scheduled(latitude=50.0, today=TODAY, **options):
    plan, plants, quantities = counted(calendar_planting=START.isoformat(), **options)
    layers = {"plants": plants, "quantities": quantities}
    return schedule_work(layers, plan=plan, position_deg=(10.0, latitude), today=today)


def weeding(schedule):
    return schedule.loc[schedule["task"].str.match(r"(weed|prepare)(_\d+)?$")]


def test_nothing_is_weeded_until_the_plan_names_it():
    assert not len(weeding(scheduled()))
    assert "weeding" not in set(counted()[2]["item"])


def test_the_area_is_that_of_the_strip_as_often_as_it_is_weeded():
    # Closed form: 3 passes in each of 5 years and 2 before are 17.
    table = counted(**ASKED)[2].set_index("item")
    assert table.loc["weeding", "amount"] == pytest.approx(17 * table.loc["clearing", "amount"])


@pytest.mark.parametrize(("latitude", "months"), [(50.0, {4, 5, 6, 7, 8}), (-35.0, {10, 11, 12, 1, 2})])  # fmt: skip
def test_passes_fall_into_the_growing_months_of_either_half(latitude, months):
    # Arithmetic: on the southern half months are six later.
    tasks = weeding(scheduled(latitude, **ASKED))
    dates = [dt.date.fromisoformat(date) for date in tasks["first_date"]]
    assert len(set(dates)) == 17
    assert {date.month for date in dates} <= months
    assert sum(date < START for date in dates) == 2
    in_years = [sum(year * 365.25 < (date - START).days <= (year + 1) * 365.25 for date in dates) for year in range(5)]  # fmt: skip
    assert in_years == [3] * 5


def test_passes_are_evenly_apart_in_one_season():
    # Closed form: of the 153 days of April to August two passes stand at a quarter and at three quarters.
    days = pass_days(0, 365, 2, Seasons(dt.date(2027, 1, 1), 50.0))
    assert days == [90 + 153 // 4, 90 + 3 * 153 // 4]


def test_without_a_date_days_are_counted():
    assert pass_days(REST_DAYS, 365, 3, Seasons(None, 50.0)) == [30, 75, 120]


@pytest.mark.parametrize("options", [{}, {"cost_hours": {"weeding": 0.5}}])
def test_hours_of_the_calendar_are_those_of_the_area(options):
    plan, _, quantities = counted(**ASKED, **options)
    area = quantities.set_index("item").loc["weeding", "amount"]
    hours = weeding(scheduled(**ASKED, **options))["hours"].sum()
    assert hours == pytest.approx(area * rate_of("weeding", plan).hours)
    assert rate_of("weeding", plan).hours == (0.5 if options else 1.0 / 30.0)


def test_preparing_in_the_past_is_told():
    said = [note for note in notes_of(scheduled(today=dt.date(2026, 11, 30), **ASKED)) if "passes before planting" in note]  # fmt: skip
    assert len(said) == 1
    assert said[0].startswith("2 of 2 ")
    assert not any("passes before" in note for note in notes_of(scheduled(**ASKED)))


@pytest.mark.parametrize(("key", "value"), [("passes", 7), ("years", 6), ("years", 0), ("prepare", -1)])  # fmt: skip
def test_other_numbers_are_refused(key, value):
    with pytest.raises(InputError, match=rf"weeds\.{key}"):
        plan_with(**{f"weeds_{key}": value})


@pytest.mark.evidence(
    part="Planting work",
    kind="published",
    against="how often and for how many years a young windbreak is weeded, and that it ends in late summer",
    source="Natural Resources Conservation Service, in CropWatch of the University of Nebraska, 2008 (read)",
    status="read",
    tolerance="none: 3 years lie in 3 to 5, and no pass is after August",
)
def test_years_and_months_are_those_published():
    assert "(read)" in SOURCE
    assert 3 <= DEFAULTS.weeds.years <= 5
    assert max(MONTHS) == 8
    for passes in (2, 3):
        dates = weeding(scheduled(weeds_passes=passes))["first_date"]
        assert len(dates) == passes * DEFAULTS.weeds.years
        assert all(int(date[5:7]) <= 8 for date in dates)


def test_neglect_takes_its_share_of_the_growth_of_every_kind():
    plan = plan_with(weeds_neglect=0.5, weeds_years=4)
    table, weeded = planned_species(plan), planned_species(plan_with())
    assert {(kind.slowed_share, kind.slowed_years) for kind in table.values()} == {(0.5, 4.0)}
    assert {kind.slowed_share for kind in weeded.values()} == {0.0}
    *_, plants = site.planted()
    sizes = [planned_stand(plants, plan, kinds, [0, 2, 4, 12]).height for kinds in (table, weeded)]
    before = planned_stand(plants, plan, weeded, [0, 1, 2, 10]).height
    # Closed form: half of four years are lost at low, typical and high growth.
    assert sizes[0] == pytest.approx(before)
    assert (sizes[0][..., 1:] < sizes[1][..., 1:]).all()


@pytest.mark.evidence(
    part="Planting work",
    kind="published",
    against="Moderate infestations of annual weeds reduce the growth of seedlings by 50 to 75 per cent",
    source="Government of Alberta, R. Spencer, shelterbelts (read)",
    status="read",
    tolerance="0.1 % of the growth: a straight curve of a rooted seedling, over the years of neglect",
)
@pytest.mark.parametrize("lost", [0.5, 0.75])
def test_what_is_lost_is_the_share_that_is_stated(lost):
    # A tall kind on the straight curve, whose growth slows nowhere; rooted at once.
    table = load_species({"kind": {"like": "thuja_occidentalis", "establishment_years": 0.0, "mature_height": ["40 m", "50 m"]}})  # fmt: skip
    kind = table["kind"]
    slowed = replace(kind, slowed_share=lost, slowed_years=3.0)
    start, end = 0.3, [
        float(sizes_of([Start(each, 0.3, False)], [3], "straight")[0, 0, 1, 0]) for each in (kind, slowed)
    ]  # fmt: skip
    assert (end[1] - start) / (end[0] - start) == pytest.approx(1.0 - lost, rel=1e-3)


def test_neglect_is_told_with_its_source_and_not_beside_weeding():
    (told,) = [note for note in notes_of(scheduled(weeds_neglect=0.6, weeds_years=5)) if "weeds were left alone" in note]  # fmt: skip
    assert "took 60% of it" in told
    assert "3.0 years behind" in told
    assert "Alberta" in told
    assert not any("left alone" in note for note in notes_of(scheduled()))
    with pytest.raises(InputError, match="fought and left alone"):
        plan_with(weeds_neglect=0.5, weeds_passes=2)
    with pytest.raises(InputError, match=r"weeds\.neglect"):
        plan_with(weeds_neglect=0.95)
