"""Hours of work: the user's own rates first, then the shipped ones, each with its source."""

import pytest
import works_site as site
from options_kit import plan_with

from screenplan.plan import DEFAULTS
from screenplan.plan.catalogue import shipped_tables
from screenplan.works.clipping import face_area
from screenplan.works.cost import price_work
from screenplan.works.quantities import count_material
from screenplan.works.rates import hours_of, rate_of

SHIPPED = shipped_tables("screenplan.works", "rates.toml")


def quantities():
    subject, lines, plants = site.planted()
    return count_material(site.layers(subject, lines, plants))


@pytest.mark.parametrize("item", SHIPPED)
def test_each_shipped_rate_says_what_it_is_and_whence(item):
    table = SHIPPED[item]
    assert ("hours" in table) != ("per_hour" in table)
    assert {"unit", "source", "status", "date"} <= set(table)
    assert table["status"] in ("read", "second-hand", "common practice")
    assert rate_of(item, DEFAULTS).hours > 0.0


def test_a_rate_of_the_user_comes_first_and_is_counted_as_the_cost_counts_it():
    plan = plan_with(cost_hours={"mulch": 0.25, "hole": 0.5})
    table = quantities().set_index("item", drop=False)
    priced = price_work(table, plan=plan).set_index("item")
    for item in ("mulch", "hole"):
        assert rate_of(item, plan).status == "user"
        assert hours_of(table.loc[item], plan) == priced.loc[item, "hours"]
    # Mulch is sold in bags: so many hours a bag.
    assert hours_of(table.loc["mulch"], plan) == 0.25 * table.loc["mulch", "packs"]


def test_a_shipped_rate_is_of_the_amount_not_of_the_packs():
    row = quantities().set_index("item", drop=False).loc["mulch"]
    assert hours_of(row, DEFAULTS) == pytest.approx(SHIPPED["mulch"]["hours"] * row["amount"])
    assert row["amount"] != row["packs"]


def test_of_what_no_rate_is_known_there_are_no_hours():
    row = quantities().set_index("item", drop=False).loc["spoil"]
    assert hours_of(row, DEFAULTS) is None
    assert rate_of("plant_again thuja_smaragd", DEFAULTS) == rate_of("plant", DEFAULTS)


@pytest.mark.evidence(
    part="Planting work",
    kind="published",
    against="how much earth a person digs by hand in an hour, and how long a quarter of a mile of woven wire takes",
    source="Guild of Project Controls, compendium, excavation by hand; Iowa State University Extension, costs of fencing, 2012 (both read)",
    status="read",
    tolerance="rounding of the figure, 1 %",
)
def test_rates_are_the_published_ones():
    # Pits up to 2 m² and 1.5 m deep, firm sand or soil: 0.43 m³ an hour. 42 hours for 1320 ft of woven wire.
    assert rate_of("dug", DEFAULTS).hours == pytest.approx(1.0 / 0.43)
    assert rate_of("fence_roll", DEFAULTS).hours == pytest.approx(42.0 / (1320 * 0.3048), rel=0.01)
    # A cubic yard of mulch in an hour; 90 sq ft of cut sod in an hour (contractors' own figures, read).
    assert rate_of("mulch", DEFAULTS).hours == pytest.approx(1.0 / 0.9144**3, rel=0.01)
    assert rate_of("clearing", DEFAULTS).hours == pytest.approx(1.0 / (90 * 0.3048**2), rel=0.01)


@pytest.mark.evidence(
    part="Planting work",
    kind="published",
    against="how long a hedge 15 m long and 2 m high takes to clip and to clear away, a year after the last time",
    source="heckenbarbier.de, a hedge-cutting firm, February 2025",
    status="read",
    tolerance="the slower of the range; the top is not counted there",
)
def test_a_clip_takes_as_long_as_a_firm_says():
    # 90 to 120 minutes to cut and 45 to 60 to gather, both sides of 15 m by 2 m.
    sides = face_area(15.0, 2.0, 1.0, topped=False)
    assert sides == 60.0
    hours = rate_of("clipped", DEFAULTS).hours * sides
    assert (90 + 45) / 60 <= hours <= (120 + 60) / 60
    assert hours == pytest.approx(3.0)
