"""When plants are ordered, and what becomes of the spare ones."""

import datetime as dt

import pytest
import works_site as site
from options_kit import plan_with

from screenplan.contracts.tables import notes_of
from screenplan.rules.limit_kinds import LeadTime
from screenplan.rules.limits import load_limits
from screenplan.works.calendar import schedule_work
from screenplan.works.quantities import count_material

STOCKS = ("plug", "bare_root", "container", "balled")
LEADS = {
    limit.stock: limit.order_days for limit in load_limits().values() if isinstance(limit, LeadTime)
}


def scheduled(
    stock="container", planting="2027-04-10", limits=None, today=dt.date(2026, 6, 1), **options
):
    subject, lines, plants = site.planted(stock=stock)
    plan = plan_with(calendar_planting=planting, **options)
    material = count_material(site.layers(subject, lines, plants), plan=plan)
    table = schedule_work(
        {"plants": plants, "quantities": material}, today=today, position_deg=(8.0, 50.0), plan=plan,
        limits=limits,
    )  # fmt: skip
    return table, material


@pytest.mark.parametrize("stock", STOCKS)
def test_each_stock_is_ordered_as_early_as_it_asks_for(stock):
    tasks = scheduled(stock)[0].set_index("task")
    assert tasks.loc["order", "first_day"] == -LEADS[stock]
    # The rules are settled before money is spent.
    assert tasks.loc["ask", "first_day"] <= tasks.loc["order", "first_day"] - 7
    assert tasks.loc["order", "part"] == "order"


@pytest.mark.evidence(
    part="Planting work",
    kind="published",
    against="How long before a planting in spring bare roots are ordered",
    source="Purdue University, forestry: orders to the state nursery by the third Friday of October",
    status="read",
    tolerance="two weeks",
)
def test_bare_roots_are_ordered_in_october_for_spring():
    # Third Friday of October 2026: the 16th. For the 1st of April 167 days before.
    third_friday = dt.date(2026, 10, 16)
    assert third_friday.weekday() == 4
    tasks = scheduled("bare_root", "2027-04-01")[0].set_index("task")
    ordered = dt.date.fromisoformat(tasks.loc["order", "first_date"])
    assert abs((ordered - third_friday).days) <= 14


@pytest.mark.evidence(
    part="Planting work",
    kind="published",
    against="How long small shrubs and trees take that are grown to order",
    source="Habitat Nursery, contract grow lead times: 8 to 20 months",
    status="read",
    tolerance="the shortest is taken, to two weeks",
)
def test_plugs_are_ordered_as_early_as_they_take_to_grow():
    tasks = scheduled("plug", "2027-10-01")[0].set_index("task")
    ordered = dt.date.fromisoformat(tasks.loc["order", "first_date"])
    assert abs((ordered - dt.date(2027, 2, 1)).days) <= 14


def test_the_order_names_what_is_set_and_what_is_spare_and_the_spare_are_watered():
    table, material = scheduled(works_losses=0.1)
    row = material.set_index("item").loc["plant"]
    spare = int(row["packs"]) - int(row["plants"])
    assert spare > 1
    tasks = table.set_index("task")
    assert (
        f"{int(row['packs'])} plants: {int(row['plants'])} to set and {spare} spare"
        in tasks.loc["order", "says"]
    )
    told = f"The {spare} spare plants are kept in the shade, heeled in or in the pot, and watered whenever the others are"
    assert told in tasks.loc["plant", "says"]
    none, _ = scheduled(works_losses=0.0)
    assert not none["says"].str.contains("spare plant").any()


def test_plants_of_ones_own_are_not_ordered():
    table, _ = scheduled(planting="2029-04-10", plants_raised="seed", plants_raised_years=2.0)
    assert "order" not in set(table["task"])


def test_an_order_that_is_late_is_told():
    late = [
        note
        for note in notes_of(scheduled("bare_root", today=dt.date(2027, 3, 1))[0])
        if "ordered" in note
    ]
    assert "should have been ordered by 2026-10-27" in late[0]
    # Arithmetic: 165 days after the 1st of March; bare roots of evergreens are set in March and April.
    assert (
        "they are there by 2027-08-13: the days on which they are set are then from 2028-03-01 to 2028-04-30"
        in late[0]
    )
    assert not [note for note in notes_of(scheduled("bare_root")[0]) if "ordered" in note]


def test_a_lead_time_of_the_plan_replaces_the_shipped_one():
    own = load_limits(None, {"order_container": {"order_days": 60}})
    assert scheduled(limits=own)[0].set_index("task").loc["order", "first_day"] == -60
    none = load_limits(None, {f"order_{stock}": {"use": False} for stock in STOCKS})
    assert "order" not in set(scheduled(limits=none)[0]["task"])
