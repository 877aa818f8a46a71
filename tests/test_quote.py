"""A quote adds up, makes up no price, and is written only if it is asked for."""

import datetime as dt
import re

import pytest
import works_site as site

from screenplan.ground.errors import InputError
from screenplan.outputs.answer import CAUTIONS
from screenplan.outputs.quote_sheet import write_quote
from screenplan.outputs.report import About
from screenplan.plan.reading import check_options
from screenplan.works.calendar import schedule_work
from screenplan.works.cost import price_work
from screenplan.works.earth import SWELL
from screenplan.works.quantities import count_material
from screenplan.works.quote import make_offer
from screenplan.works.water_months import lay_water
from screenplan.works.years import count_years

TODAY = dt.date(2027, 1, 15)
PRICES = {"plant": 40.0, "mulch": 4.5}
#: Each amount is rounded to a cent.
CENT = 0.005
#: Hours and cubic metres are rounded to a hundredth before they are priced: a line of hours at 30.0 moves by as much.
HOURS = 0.005 * 30.0 + CENT


#: Rain of the months, made up: with it and a day of planting the water is known.
RAINY = {"climate": {"rain": ["60 mm"] * 12}, "calendar": {"planting": "2027-04-10"}}


def offered(quote, hour=30.0, more=None):
    subject, lines, plants = site.planted()
    plan = check_options({"quote": quote, "cost": {"prices": PRICES} | ({} if hour is None else {"hour": hour})} | (more or {}))  # fmt: skip
    months = lay_water(plants, plan=plan)
    quantities = count_material(site.layers(subject, lines, plants, water_by_month=months), plan=plan)  # fmt: skip
    schedule = schedule_work({"plants": plants, "quantities": quantities, "water_by_month": months}, plan=plan, today=TODAY)  # fmt: skip
    cost = price_work(quantities, plan=plan)
    layers = {
        "quantities": quantities, "schedule": schedule, "cost": cost, "water_by_month": months,
        "year_costs": count_years(schedule, quantities, cost, months, plan=plan),
    }  # fmt: skip
    return make_offer(layers, plan), layers, plan


def test_ten_years_of_goods_are_the_total_of_the_cost():
    offer, layers, _ = offered({"years": 10}, hour=None)
    assert offer.sum == pytest.approx(layers["cost"].set_index("item").loc["total", "cost"])
    assert offer.total == offer.sum
    assert "all work: no price of an hour is given (cost.hour)" in offer.missing


def test_the_first_year_leaves_out_later_goods():
    first, layers, _ = offered({"years": 1})
    cost = layers["cost"].set_index("item")
    assert not any(line.name == "Mulch to top up" for line in first.lines)
    second, _, _ = offered({"years": 2})
    again = {line.name: line for line in second.lines}["Mulch to top up"]
    # One of the three times falls into the second year.
    assert again.amount == pytest.approx(cost.loc["mulch_again", "cost"] / 3.0, abs=CENT)
    assert again.amount == pytest.approx(again.count * again.price, abs=CENT)


def test_work_is_hours_by_access_and_the_price_of_an_hour():
    easy, layers, _ = offered({"access": 1.0}, more=RAINY)
    hard, _, _ = offered({"access": 1.5}, more=RAINY)
    hours = layers["year_costs"].set_index("year").loc[[-1, 0], "hours"].sum()
    work = [work_of(offer) for offer in (easy, hard)]
    assert sum(work[0].values()) == pytest.approx(30.0 * hours, abs=len(work[0]) * HOURS)
    assert {name: 1.5 * amount for name, amount in work[0].items()} == pytest.approx(
        work[1], abs=2.5 * HOURS
    )
    water = layers["water_by_month"]
    first = water.loc[(water["year"] == 0).to_numpy(bool), "hours"].sum()
    assert work[0]["Work: watering"] == pytest.approx(30.0 * first, abs=HOURS)


def work_of(offer):
    return {line.name: line.amount for line in offer.lines if line.name.startswith("Work: ")}


def test_water_that_is_known_at_most_is_not_quoted():
    offer, layers, _ = offered({"customer": "A"})
    assert "Work: watering" not in work_of(offer)
    assert sum("climate.rain" in text for text in offer.missing) == 1
    assert not any("Water " in text for text in offer.missing)
    years, tasks = layers["year_costs"].set_index("year"), layers["schedule"]
    first = tasks.loc[((tasks["part"] == "water") & (tasks["year"] == 0)).to_numpy(bool)]
    poured = (first["hours"] * first["times"].astype(float)).sum()
    assert poured > 0.0
    covered = years.loc[[-1, 0], "hours"].sum()
    work = work_of(offer)
    assert sum(work.values()) == pytest.approx(30.0 * (covered - poured), abs=len(work) * HOURS)
    known, _, _ = offered({"customer": "A"}, more=RAINY)
    assert not any("climate.rain" in text for text in known.missing)


def test_water_that_is_known_at_most_has_no_price_either():
    water = {"cost": {"prices": PRICES | {"water_daily": 0.01}, "hour": 30.0}}
    offer, layers, _ = offered({"customer": "A"}, more=water)
    priced = layers["cost"].set_index("item").loc["water_daily"]
    assert priced["cost"] > 0.0
    assert priced["name"] not in {line.name for line in offer.lines}
    known, *_ = offered({"customer": "A"}, more=RAINY | water)
    assert priced["name"] in {line.name for line in known.lines}
    # Also where no work is quoted.
    bare, *_ = offered({"customer": "A"}, hour=None)
    assert sum("climate.rain" in text for text in bare.missing) == 1


# Invariant: what is written of the lines adds up to what is written of the total.
@pytest.mark.parametrize("hour", [31.37, 29.99, 33.33])
def test_the_lines_add_up_to_the_total_to_the_cent(hour):
    offer, *_ = offered({"margin": 0.07, "tax": 0.19}, hour=hour, more=RAINY)
    parts = [*(line.amount for line in offer.lines), offer.margin, offer.tax]
    cents = sum(round(100 * float(f"{part:.2f}")) for part in parts)
    assert f"{offer.total:.2f}" == f"{cents / 100:.2f}"


# Invariant: a customer who multiplies what is written of hours and earth comes to the amount that is written.
def test_written_hours_and_earth_times_the_price_are_the_written_amount(tmp_path):
    quote = {
        "spoil": True,
        "spoil_price": 61.5,
        "margin": 0.1,
        "tax": 0.19,
        "guarantee": "two years",
    }
    offer, _, plan = offered(quote | {"access": 1.3}, hour=47.0, more=RAINY)
    text = write_quote(offer, tmp_path / "quote.html", About(), plan.quote, TODAY).read_text(
        "utf-8"
    )
    rows = re.findall(
        r"<tr><td>(?:Work|Earth)[^<]*</td>"
        r'<td class="number">([\d.]+) (?:h|m³)</td><td class="number">([\d.,]+)</td><td class="number">([\d.,]+)</td>',
        text,
    )
    assert len(rows) >= 4
    for count, price, amount in rows:
        assert float(amount.replace(",", "")) == pytest.approx(
            float(count) * float(price), abs=0.0051
        )
    assert "Added, 10%" in text
    assert "Tax, 19%" in text
    assert "<p>Two years</p>" in text


def test_earth_is_taken_away_by_a_price_or_not_included():
    kept, layers, _ = offered({"customer": "A"})
    assert "taking away the earth that is left over" in kept.missing
    unpriced, _, _ = offered({"spoil": True})
    assert any("quote.spoil_price" in text for text in unpriced.missing)
    taken, _, _ = offered({"spoil": True, "spoil_price": 20.0})
    earth = layers["quantities"].set_index("item").loc["surplus", "amount"]
    assert taken.sum - kept.sum == pytest.approx(20.0 * SWELL * earth, abs=0.005 * 20.0 + CENT)
    assert not any("earth" in text for text in taken.missing)


def test_margin_and_tax():
    plain, _, _ = offered({"customer": "A"})
    full, _, _ = offered({"margin": 0.1, "tax": 0.2})
    assert full.total == pytest.approx(plain.total * 1.1 * 1.2, abs=3.0 * CENT)


def test_what_has_no_price_is_not_included_and_never_priced():
    offer, layers, _ = offered({"not_included": ["watering"]})
    cost = layers["cost"].set_index("name")
    assert all(
        cost.loc[line.name, "cost"] > 0.0
        for line in offer.lines
        if not line.name.startswith("Work: ")
    )
    work = next(text for text in offer.missing if text.startswith("work without a rate: "))
    assert "Order the plants; Settle the boundary" in work
    assert not any(text.startswith("goods without") for text in offer.missing)
    bare, *_ = offered({"customer": "A"}, more={"cost": {"prices": {"plant": 40.0}}})
    assert "goods without a price: Mulch" in bare.missing
    assert offer.missing[-2:] == ("work and goods after the first year", "watering")


def test_the_page(tmp_path):
    quote = {
        "customer": "<Ann>",
        "guarantee": "Dead plants are replaced for a year.",
        "valid_days": 10,
    }
    offer, _, plan = offered(quote)
    text = write_quote(offer, tmp_path / "quote.html", About(), plan.quote, TODAY).read_text(
        "utf-8"
    )
    assert "Quote for &lt;Ann&gt;" in text
    assert "2027-01-15, holds until 2027-01-25" in text
    assert "Dead plants are replaced for a year." in text
    assert all(caution.split(":")[0] in text for caution in CAUTIONS)


def test_it_is_asked_for_by_any_key():
    assert not check_options({}).quote.asked
    assert check_options({"quote": {"valid_days": 30}}).quote.asked


@pytest.mark.parametrize(
    ("quote", "said"),
    [({"access": 0.5}, "access"), ({"valid_days": 0}, "valid_days"), ({"tax": 20}, "tax")],
)
def test_what_cannot_be_is_refused(quote, said):
    with pytest.raises(InputError, match=said):
        check_options({"quote": quote})
