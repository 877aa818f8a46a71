"""How many days the work takes: closed forms, and the tasks of the calendar on those days."""

import datetime as dt
import itertools
import math

import pytest
import works_site as site
from icalendar import Calendar
from options_kit import plan_with

from screenplan.contracts import QUANTITIES
from screenplan.contracts.tables import notes_of, table_of
from screenplan.ground.errors import InputError
from screenplan.outputs.calendar_file import write_calendar
from screenplan.plan import DEFAULTS
from screenplan.rules.limits import load_limits
from screenplan.works.calendar import schedule_work
from screenplan.works.durations import _setting, days_of_work, hours_to_replace
from screenplan.works.locating import Request
from screenplan.works.rates import rate_of

HOLES = 335


def row(item, amount, unit="each", **more):
    return {"item": item, "part": "holes", "name": item, "amount": amount, "unit": unit,
            "how": "given", "source": "made up"} | more  # fmt: skip


def material(*more, planted=HOLES, spare=17, dug=30.0):
    """Quantities of so many plants, by hand."""
    return table_of(
        QUANTITIES,
        [
            row("plant", planted + spare, plants=planted, packs=planted + spare, pack="plant", pack_amount=1.0),
            row("hole", planted), row("dug", dug, "m3"), *more,
        ],
    )  # fmt: skip


def work(quantities, fenced=False, **options):
    return days_of_work(quantities, plan_with(**options), fenced=fenced)


@pytest.mark.parametrize(
    ("people", "hours", "days"), [(2, 8.0, 11), (1, 8.0, 21), (3, 10.0, 6), (50, 16.0, 1)]
)
def test_335_holes_take_as_many_days_as_arithmetic_says(people, hours, days):
    # Closed form: 335 holes of half an hour are 167.5 h; by two people of 8 h, 10.5 days, so 11.
    made = work(material(), cost_hours={"hole": 0.5}, crew_people=people, crew_hours=hours)
    assert made.dig.hours == 0.5 * HOLES
    assert made.dig.days == days == math.ceil(0.5 * HOLES / (people * hours))
    assert (made.dig.first_day, made.dig.last_day) == (-days, -1)


def test_without_a_rate_of_ones_own_holes_are_dug_by_the_earth_in_them():
    # Closed form: 30 m³ at the published 0.43 m³ an hour are 69.8 h, 4.4 days of two people of 8 h.
    made = work(material(dug=30.0))
    assert made.dig.hours == pytest.approx(30.0 / 0.43)
    assert made.dig.days == 5
    assert [note for note in made.notes() if "usual rates that may not be yours" in note]
    assert rate_of("dug", DEFAULTS).source in made.sources
    # One's own rate takes the place of it, and nothing is counted twice.
    own = work(material(dug=30.0), cost_hours={"hole": 0.1, "plant": 0.1})
    assert own.dig.hours == pytest.approx(0.1 * HOLES)
    assert list(own.notes()) == []
    both = work(material(dug=30.0), cost_hours={"hole": 0.1, "dug": 1.0})
    assert both.dig.hours == pytest.approx(0.1 * HOLES + 30.0)


def test_spare_plants_are_not_set():
    made = work(material(), cost_hours={"plant": 0.25})
    assert made.plant.hours == 0.25 * HOLES
    # Plants of one's own are set like those that are bought.
    raised = material().assign(item=["raised", "hole", "dug"])
    assert work(raised, cost_hours={"plant": 0.25}).plant.hours == 0.25 * HOLES


def test_tasks_follow_one_another_and_mulch_fills_the_last_day_of_planting():
    table = material(
        row("clearing", 335.0, "m2"), row("peg", 6, packs=6, pack="peg", pack_amount=1.0),
        row("flag", HOLES, packs=HOLES, pack="flag", pack_amount=1.0), row("mulch", 20.0, "m3"),
        row("fence_roll", 700.0, "m"),
    )  # fmt: skip
    rates = {"hole": 0.5, "clearing": 0.1, "flag": 0.05, "peg": 0.25, "plant": 0.1, "mulch": 1.0, "fence_roll": 0.1}  # fmt: skip
    made = work(table, fenced=True, cost_hours=rates)
    assert made.pegs.hours == pytest.approx(0.05 * HOLES + 0.25 * 6)  # 18.25 h, 2 days
    assert made.first_dig == made.pegs.first_day == -(11 + 3 + 2)
    for one, other in ((made.pegs, made.clear), (made.clear, made.dig)):
        assert other.first_day == one.last_day + 1
    assert made.dig.last_day == -1
    # 33.5 h of planting end within the third day of 16 h; 20 h of mulch bring it to 53.5 h, the fourth.
    assert (made.plant.first_day, made.plant.last_day) == (0, 2)
    assert (made.mulch.first_day, made.mulch.last_day) == (2, 3)
    # 70 h of fence are five days, from the day after.
    assert (made.fence.first_day, made.fence.last_day) == (4, 8)
    assert made.last_dig == 8
    assert work(table, cost_hours=rates).last_dig == 3


def test_without_quantities_each_task_takes_a_day():
    made = work(None, fenced=True)
    days = {name: (span.first_day, span.last_day) for name, span in vars(made).items() if hasattr(span, "days")}  # fmt: skip
    assert days == {
        "pegs": (-3, -3), "clear": (-2, -2), "dig": (-1, -1), "plant": (0, 0), "mulch": (0, 0), "fence": (1, 1),
    }  # fmt: skip
    assert made.dig.hours is None
    assert made.said(made.dig) == ""
    assert list(made.notes()) == []
    assert hours_to_replace(None, made) is None


def test_replacements_take_the_hours_of_as_many_plants():
    table = material(row("plant_again", 33.0, packs=33, pack="plant", pack_amount=1.0))
    made = work(table, cost_hours={"hole": 0.5, "plant": 0.25})
    # 17 spare ones and 33 more, three quarters of an hour each.
    assert hours_to_replace(table, made) == pytest.approx((17 + 33) * 0.75)


@pytest.mark.parametrize("life", [12, 17, 28, 30])
@pytest.mark.parametrize("last_dig", [-3, 1, 5, 30, 90])
def test_some_request_holds_on_every_day_of_digging(life, last_dig):
    limit = load_limits(None, {"request_nebraska": {"life_days": life}})["request_nebraska"]
    lines = Request.before(-20, limit)
    held, wait = set(), lines.answered_day - lines.ask_day
    asked = [lines.ask_day, *(lines.renew_day + time * lines.renewed_every for time in range(lines.renewals(last_dig)))]  # fmt: skip
    for before, day in itertools.pairwise(asked):
        # Each renewal is answered while the one before it holds.
        assert day + wait <= before + life - 1
    for day in asked:
        held |= set(range(day + wait, day + life))
    assert set(range(-20, last_dig + 1)) <= held
    # None is asked for in vain, but for the first, which is told for those who are late.
    if lines.renewals(last_dig) > 1:
        assert lines.renew_day + (lines.renewals(last_dig) - 2) * lines.renewed_every + life - 1 < last_dig  # fmt: skip


def scheduled(**options):
    subject, lines, plants = site.planted()
    from screenplan.works.quantities import count_material

    quantities = count_material(site.layers(subject, lines, plants))
    return schedule_work(
        {"plants": plants, "quantities": quantities}, today=dt.date(2027, 1, 15), position_deg=(8.0, 50.0),
        plan=plan_with(calendar_planting="2027-04-10", **options),
    )  # fmt: skip


def test_the_calendar_and_its_file_hold_the_days_of_the_work(tmp_path):
    table = scheduled(crew_people=1, crew_hours=4.0, cost_hours={"hole": 2.0, "plant": 1.0})
    tasks = table.set_index("task")
    dig = tasks.loc["dig"]
    days = math.ceil(dig["hours"] / 4.0)
    assert days > 1
    assert (dig["first_day"], dig["last_day"]) == (-days, -1)
    assert f"About {dig['hours']:.0f} h: {days} days for one person, 4 hours a day" in dig["says"]
    assert tasks.loc["pegs", "first_day"] > tasks.loc["locate", "last_day"]
    assert tasks.loc["clear", "last_day"] < dig["first_day"]
    (tmp_path / "plan").mkdir()
    file = tmp_path / "plan" / "calendar.ics"
    write_calendar(table, file, title="")
    # Identity: each event that is not repeated ends on the day after its task's last one.
    events = Calendar.from_ical(file.read_bytes()).walk("VEVENT")
    for event, task in zip(events, table.itertuples(), strict=True):
        assert event.decoded("dtstart").isoformat() == task.first_date
        if event.get("rrule") is None:
            last = event.decoded("dtend") - dt.timedelta(days=1)
            assert last.isoformat() == task.last_date


def test_digging_longer_than_a_request_holds_renews_it():
    table = scheduled(crew_people=1, crew_hours=1.0, cost_hours={"hole": 3.0})
    tasks = table.set_index("task")
    renew = tasks.loc["renew"]
    assert "Work goes on after it has lapsed" in renew["says"]
    assert f"again every {renew['every_days']} days while anything is dug" in renew["says"]
    asked = tasks.loc["locate", "first_day"] if renew["times"] == 1 else renew["last_day"]
    assert asked + 17 - 1 >= tasks.loc["dig", "last_day"]


def test_a_note_says_whose_days_they_are():
    (note,) = [
        note for note in notes_of(scheduled(crew_people=1, crew_hours=2.0)) if "crew" in note
    ]
    assert note.startswith(
        "The days of work are those of one person, 2 hours a day, by usual rates"
    )


@pytest.mark.parametrize(
    ("options", "what"),
    [
        ({"crew_people": 0}, "crew.people: 0 is out of range. Give at least 1"),
        ({"crew_hours": 25.0}, "crew.hours: 25.0 is out of range. Give at most 16"),
    ],
)
def test_a_crew_that_cannot_be_is_refused(options, what):
    with pytest.raises(InputError, match=what):
        plan_with(**options)


def test_only_rows_of_plants_that_are_counted_take_hours_to_set():
    sources: list[str] = []
    rows = [{"item": "plant holly", "plants": None}, {"item": "mulch", "plants": 3}]
    assert list(_setting(rows, DEFAULTS, sources)) == []
    (hours,) = _setting([{"item": "plant holly", "plants": 3}], DEFAULTS, sources)
    assert hours > 0.0
