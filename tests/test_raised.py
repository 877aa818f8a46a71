"""Plants that one raises: when they are ready, what that delays, what is counted and what it costs."""

import datetime as dt
import math

import pandas as pd
import pytest
import works_site as site
from options_kit import plan_with

from screenplan.contracts import COST, QUANTITIES, SCHEDULE
from screenplan.contracts.tables import notes_of
from screenplan.ground.errors import InputError
from screenplan.outputs.conform import conform
from screenplan.plan.planting import Plants
from screenplan.planting.curves import height_at
from screenplan.planting.measured import load_measured
from screenplan.planting.raised import CUTTING_M, time_to_raise
from screenplan.planting.species import load_species
from screenplan.works.calendar import schedule_work
from screenplan.works.cost import price_work
from screenplan.works.quantities import NOISE, count_material

LEYLAND = load_species()["cupressus_leylandii"]
TODAY = dt.date(2027, 1, 15)
#: A year has so many days on average.
YEAR_DAYS = 365.25


@pytest.fixture(scope="module")
def layers():
    return site.layers(*site.planted(species="cupressus_leylandii"))


def planned(**options):
    return plan_with(**{"plants_raised": "cuttings", "plants_raised_years": 2.0, **options})


def scheduled(layers, **options):
    table = schedule_work(layers, plan=planned(**options), today=TODAY)
    conform(table, SCHEDULE)
    return table.set_index("task"), [note for note in notes_of(table) if note.startswith("Raised")]


# ---- when they are ready -----------------------------------------------------------------------


def test_published_heights_by_year_give_the_years():
    # The curve through the published heights, from a cutting on: it is as tall as the stock in that year.
    ready = time_to_raise(LEYLAND, 1.2, Plants(raised="cuttings"))
    tall = height_at(load_measured()["cupressus_leylandii"].curve, ready.years, CUTTING_M)
    assert float(tall) == pytest.approx(1.2)
    assert "Sunset plant finder" in ready.source
    # Of 15 to 20 ft in five years, as published, the middle.
    assert time_to_raise(LEYLAND, 17.5 * 0.3048, Plants(raised="cuttings")).years == pytest.approx(5.0, abs=0.05)  # fmt: skip


def test_the_users_years_come_first_and_without_any_it_is_refused():
    own = Plants(raised="cuttings", raised_years=3.0)
    assert time_to_raise(LEYLAND, 1.2, own) == (3.0, "the user's value")
    for raised, key, way in (("cuttings", "taxus_baccata", "a cutting"), ("seed", "cupressus_leylandii", "seed")):  # fmt: skip
        with pytest.raises(InputError, match=rf"takes from {way} to 0\.9 m.*plants\.raised_years|raised_years.*{way}") as refused:  # fmt: skip
            time_to_raise(load_species()[key], 0.9, Plants(raised=raised))
        assert refused.value.problems[0].key == "plants.raised_years"


def test_years_of_bought_plants_are_refused():
    with pytest.raises(InputError, match=r"plants\.raised_years: .*the plants are bought"):
        plan_with(plants_raised_years=2.0)


# ---- the calendar ------------------------------------------------------------------------------


def test_bought_plants_have_no_such_task_and_the_calendar_is_as_before(layers):
    table = schedule_work(layers, plan=plan_with(), today=TODAY)
    assert {"raise", "pot"}.isdisjoint(table["task"])
    assert not any(note.startswith("Raised") for note in notes_of(table))


def test_cuttings_are_taken_so_many_years_before_planting(layers):
    tasks, (note,) = scheduled(layers, calendar_planting="2029-03-10")
    assert tasks.loc["raise", "first_day"] == -round(2.0 * YEAR_DAYS)
    assert tasks.loc["raise", "first_date"] == "2027-03-11"  # 730 days before, over a leap day
    assert tasks.loc["raise", "name"] == "Take the cuttings"
    assert tasks.loc["pot", "first_day"] == -round(2.0 * YEAR_DAYS) + round(YEAR_DAYS)
    assert "begun by 2027-03-11 they delay nothing" in note
    sown, _ = scheduled(layers, calendar_planting="2029-03-10", plants_raised="seed")
    assert (sown.loc["raise", "name"], sown.loc["raise", "item"]) == ("Sow", "seed")


def test_what_is_not_ready_in_time_says_by_how_much_it_delays(layers):
    _, (note,) = scheduled(layers, calendar_planting="2027-03-10")
    # Two years from today, less the days until the planting.
    late = (TODAY + dt.timedelta(days=round(2.0 * YEAR_DAYS)) - dt.date(2027, 3, 10)).days
    assert (
        f"ready on 2029-01-14, {late / YEAR_DAYS:.1f} years after the planting on 2027-03-10"
        in note
    )
    _, (note,) = scheduled(layers)
    assert "comes so much later than with bought stock" in note
    assert "2.0 years (the user's value)" in note


# ---- quantities and cost -----------------------------------------------------------------------


def counted(layers, **options):
    table = count_material(layers, plan=planned(**options))
    conform(table, QUANTITIES)
    return table.set_index("item")


def test_cuttings_are_counted_with_what_is_lost(layers):
    plants = len(layers["plants"])
    table = counted(layers, works_losses=0.1, plants_raised_losses=0.2)
    needed = math.ceil(1.1 * plants - NOISE)
    assert table.loc["cutting", "amount"] == pytest.approx(needed / 0.8)
    assert table.loc["cutting", "packs"] == math.ceil(needed / 0.8 - NOISE)
    assert table.loc["raised", "plants"] == plants
    assert pd.isna(table.loc["raised", "packs"])
    assert "plant" not in table.index
    bought = count_material(layers, plan=plan_with()).set_index("item")
    assert {"raised", "cutting", "seed"}.isdisjoint(bought.index)


def test_a_cutting_has_its_own_price_and_what_is_raised_says_what_it_would_cost(layers):
    table = counted(layers)
    prices = {"plant": 40.0, "cutting": 0.5}
    cost = price_work(table.reset_index(), plan=planned(cost_prices=prices))
    conform(cost, COST)
    cost = cost.set_index("item")
    assert cost.loc["cutting", "cost"] == 0.5 * table.loc["cutting", "packs"]
    assert pd.isna(cost.loc["raised", "cost"])
    asked = math.ceil(table.loc["raised", "amount"] - NOISE) * 40.0
    assert cost.loc["raised", "says"] == f"Bought they would cost {asked:.2f}"
    # By its height too; and the dead are replaced by bought plants.
    by_height = price_work(table.reset_index(), plan=planned(hand_prices={"0.9 m": 7.0})).set_index(
        "item"
    )
    assert by_height.loc["raised", "says"].startswith("Bought they would cost")
    assert pd.isna(by_height.loc["cutting", "cost"])
    assert by_height.loc["plant_again", "price"] == 7.0
