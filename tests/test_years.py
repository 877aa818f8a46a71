"""The work by year: it adds up to quantities, hours and cost, and its dates are those of the calendar file."""

import datetime as dt
import re

import pytest
import works_site as site
from dateutil.rrule import rrulestr
from icalendar import Calendar
from options_kit import plan_with

from screenplan.contracts import LOST_PLANTS, LOST_VIEWS, YEAR_COSTS
from screenplan.contracts.tables import table_of, with_notes
from screenplan.contracts.task_times import BEFORE, YEARS, days_of, tasks_in, year_day, year_of
from screenplan.outputs.calendar_file import write_calendar
from screenplan.outputs.conform import conform
from screenplan.outputs.report import About
from screenplan.outputs.year_sheet import _takes, make_years
from screenplan.rules.limit_kinds import Nesting
from screenplan.rules.limits import limit_named
from screenplan.works.calendar import schedule_work
from screenplan.works.clipping import clip_tasks
from screenplan.works.cost import price_work
from screenplan.works.fence import lay_fence
from screenplan.works.measuring import choose_to_measure
from screenplan.works.quantities import count_material
from screenplan.works.seasons import Seasons
from screenplan.works.years import count_years

TODAY, PLANTED = dt.date(2027, 1, 15), "2027-04-10"
#: Rounding of sums of floats only.
SUM = 1e-9


@pytest.fixture(scope="module")
def made():
    """Every table of a fenced row with prices, by name."""
    subject, lines, plants = site.planted(stock="balled", height=1.8)
    plan = plan_with(
        calendar_planting=PLANTED, fence_scheme="perimeter", fence_years=4,
        cost_prices={"plant": 40.0, "mulch": 4.5, "water_weekly": 0.01, "water_later": 0.01, "fence_roll": 90.0},
        cost_hour=30.0,
    )  # fmt: skip
    layers = site.layers(subject, lines, plants)
    _, _, fences = lay_fence(layers, plan=plan)
    quantities = count_material(
        layers | {"fence_options": fences}, plan=plan, position_deg=(8.0, 50.0)
    )
    schedule = schedule_work(
        {"plants": plants, "quantities": quantities, "fence_options": fences},
        today=TODAY, position_deg=(8.0, 50.0), plan=plan,
    )  # fmt: skip
    cost = price_work(quantities, plan=plan)
    years = count_years(schedule, quantities, cost, plan=plan)
    conform(years, YEAR_COSTS)
    measured = choose_to_measure(plants, plan=plan)
    return {
        "plan": plan, "quantities": quantities, "schedule": schedule, "cost": cost, "year_costs": years,
        "to_measure": measured, "plants": plants,
    }  # fmt: skip


def test_years_add_up_to_the_cost(made):
    total = made["cost"].set_index("item").loc["total", "cost"]
    assert made["year_costs"]["material"].sum() == pytest.approx(total, rel=SUM)


def test_years_add_up_to_the_water_of_the_stages(made):
    """Invariant: the stages' litres, but not those of one round, which are in them."""
    stages = made["quantities"].loc[made["quantities"]["item"].str.match("water_(?!round)")]
    assert len(stages) == 5
    assert made["year_costs"]["water_l"].sum() == pytest.approx(stages["amount"].sum(), rel=SUM)


def test_the_water_of_a_year_is_that_of_its_rounds(made):
    """Invariant of plants that are all alike: litres are rounds by the litres of one, winters without."""
    each = made["quantities"].set_index("item").loc["water_round", "amount"]
    years = made["year_costs"]
    assert years["water_l"].sum() > 0.0
    assert years["water_l"].to_numpy() == pytest.approx(each * years["rounds"].to_numpy(float))


def test_years_add_up_to_the_hours_and_times_of_the_schedule(made):
    schedule, years = made["schedule"], made["year_costs"]
    hours = (schedule["hours"] * schedule["times"].astype(float)).sum()
    assert hours > 0.0
    assert years["hours"].sum() == pytest.approx(hours, rel=SUM)
    assert years["labour_cost"].sum() == pytest.approx(30.0 * hours, rel=SUM)
    times = sum(task["times"] for year in years["year"] for task in tasks_in(schedule, year))
    assert times == schedule["times"].sum()


def test_every_year_has_a_row_and_plants_fall_into_the_year_in_which_they_are_ordered(made):
    years = made["year_costs"].set_index("year")
    assert list(years.index) == list(range(BEFORE, YEARS))
    assert years.loc[0, "first_date"] == PLANTED
    assert years.loc[0, "last_date"] == "2028-04-08"  # by hand: 365 days later begins the next
    assert years.loc[1, "first_date"] == "2028-04-09"
    plants = made["cost"].set_index("item").filter(regex="^plant ?", axis=0)["cost"]
    # They are ordered before the day of planting, and nothing else that has a price is bought so early.
    assert years.loc[BEFORE, "material"] == pytest.approx(plants.iloc[0])


@pytest.mark.parametrize("year", [0, 1, 2, 6, 9, 30])
def test_a_year_begins_on_its_day(year):
    assert year_of(year_day(year)) == year
    assert year_of(year_day(year) - 1) == year - 1


def test_the_sheet_and_the_calendar_file_agree(made, tmp_path):
    """By another library: each time of each event stands on the page of its year, and nothing else does."""
    path = tmp_path / "calendar.ics"
    write_calendar(made["schedule"], path, title="", units="metric")
    start, read = dt.date.fromisoformat(PLANTED), set()
    for event in Calendar.from_ical(path.read_bytes()).walk("VEVENT"):
        first, rule = event.decoded("dtstart"), event.get("rrule")
        begin = dt.datetime.combine(first, dt.time())
        times = [begin] if rule is None else rrulestr(rule.to_ical().decode(), dtstart=begin)
        read |= {(str(event["summary"]), time.date()) for time in times}
    told = set()
    for year in range(BEFORE, YEARS):
        for task in tasks_in(made["schedule"], year):
            days = [task["first_day"] + k * (0 if task["times"] == 1 else int(task["every_days"])) for k in range(task["times"])]  # fmt: skip
            assert task["first_date"] == (start + dt.timedelta(days=days[0])).isoformat()
            told |= {(task["name"], start + dt.timedelta(days=day)) for day in days}
    ten_years = start + dt.timedelta(days=year_day(YEARS))
    assert told == {entry for entry in read if entry[1] < ten_years}
    assert len(told) > 100


def test_each_page_lists_the_tasks_of_its_year(made):
    page = make_years(made, About(title="Row & <more>"))
    assert "Row &amp; &lt;more&gt;" in page
    sections = re.findall(r'<section id="(.+?)".*?</section>', page, re.DOTALL)
    assert sections == ["before", *(f"year-{year}" for year in range(YEARS))]
    for text, year in zip(page.split("<section ")[1:], range(BEFORE, YEARS), strict=True):
        due = tasks_in(made["schedule"], year)
        assert text.count('<span class="box"') == len(due)
        for task in due:
            assert f"<td>{task['name']}</td>" in text
            assert task["first_date"] in text
        assert ("Nothing is to be done" in text) == (not due)
        assert text.count('<td class="blank">') == (0 if year == BEFORE else 3 * len(made["to_measure"]))  # fmt: skip


def test_what_was_found_dead_stands_on_the_page_of_its_year(made):
    plants = made["plants"].head(2).drop(columns="geometry").to_dict("records")
    lost = table_of(
        LOST_PLANTS, [row | {"found": year} for row, year in zip(plants, (1, 3), strict=True)]
    )
    says = {"w to p": "open from year 4 to year 6, up to 12%", "v to p": "closed as before"}
    views = table_of(LOST_VIEWS, [{"view_id": view, "opens": "open" in text, "says": text} for view, text in says.items()])  # fmt: skip
    lost = with_notes(lost, ["Order again: 2"])
    page = make_years(made | {"lost_plants": lost, "lost_views": views}, About())
    pages = dict(re.findall(r'<section id="(.+?)"(.*?)</section>', page, re.DOTALL))
    found = {name: text for name, text in pages.items() if "Found dead" in text}
    assert set(found) == {"year-1", "year-3"}
    for (name, text), row in zip(found.items(), plants, strict=True):
        assert f"No. {row['plant_id']}, " in text
        # What to order, and what opens, stands once: where the last was found.
        assert ("Order again: 2." in text) == (name == "year-3")
        assert ("w to p: open from year 4 to year 6, up to 12%." in text) == (name == "year-3")
        assert "v to p" not in text
    assert "Found dead" not in make_years(made, About())


def test_without_a_date_days_are_counted(made):
    plan = plan_with()
    schedule = schedule_work({"plants": made["plants"], "quantities": made["quantities"]}, plan=plan, today=TODAY)  # fmt: skip
    years = count_years(schedule, made["quantities"], plan=plan)
    conform(years, YEAR_COSTS)
    assert years["first_date"].isna().all()
    assert years["material"].isna().all()
    assert years["labour_cost"].isna().all()
    layers = made | {"schedule": schedule, "year_costs": years}
    page = make_years(layers, About(units="us"))
    assert "day of planting" in page
    pages = dict(re.findall(r'<section id="(.+?)"(.*?)</section>', page, re.DOTALL))
    # By hand: mulch is topped up on day 365 + 3, and a year of weekly rounds lasts all the year.
    assert "day 3 of the year" in pages["year-1"]
    assert "all the year" in pages["year-2"]
    assert "year 2" not in page


def test_the_years_stand_side_by_side_on_the_first_page(made):
    first = make_years(made, About()).split("<section ")[1]
    rows = re.findall(r"<tr>(.*?)</tr>", first.split("at a glance")[1])[1:]
    cells = [re.findall(r"<td.*?>(.*?)</td>", row) for row in rows]
    years = made["year_costs"].set_index("year")
    assert [row[0] for row in cells] == years["name"].tolist()
    for row, (_, told) in zip(cells, years.iterrows(), strict=True):
        # Invariant: the hours and those of watering, both whole, add up to the hours of the year.
        whole = [float(cell.replace(",", "") or 0.0) for cell in (row[1], row[4])]
        assert sum(whole) == pytest.approx(0.0 if told["hours"] != told["hours"] else told["hours"], abs=1.0)  # fmt: skip
        assert (whole[1] > 0) == (told["water_l"] > 0)
        assert row[2] == (f"{told['rounds']}" if told["rounds"] else "")
    plain = make_years(made | {"year_costs": made["year_costs"].assign(material=None)}, About())
    assert ">bought<" not in plain
    assert ">bought<" in first


def test_the_hours_of_watering_are_told_apart(made):
    """Invariant: hours of tasks and of pouring are those of the year; a nursery's hose pours 0.75 gal a minute (read)."""
    page = dict(re.findall(r'<section id="(.+?)"(.*?)</section>', make_years(made, About()), re.DOTALL))["year-0"]  # fmt: skip
    told = made["year_costs"].set_index("year").loc[0]
    pour = told["water_l"] / (0.75 * 3.785411784 * 60)
    assert f"and {pour:.0f} hours with one hose" in page
    assert f"about {told['hours'] - pour:.0f} hours of one person" in page


@pytest.mark.parametrize(
    ("hours", "each", "says"),
    [
        # By hand: of 1.3 hours one is left beside 0.3 of watering, of 0.9 none but rounding, and one of watering.
        # Less than half an hour is told by tenths, so that hours stand beside the money for them.
        (1.3, 0.3, "about 1 hour of one person, as far as rates are known; 1 round of water, 5 l besides"),
        (0.9 - 1e-15, 0.9, "1 task; 1 round of water, 5 l besides the rain of your normals, and 1 hour with one hose"),
        (0.3, 0.3, "1 task; 1 round of water, 5 l besides the rain of your normals, and 0.3 hours with one hose"),
        (1.4, 1.0, "about 0.4 hours of one person, as far as rates are known; 1 round"),
        (0.02, 0.02, "1 task; 1 round of water, 5 l besides the rain of your normals."),
    ],
)  # fmt: skip
def test_few_hours_are_told_in_words_that_fit(hours, each, says):
    told = {"tasks": 1, "hours": hours, "rounds": 1, "water_l": 5.0, "material": None, "labour_cost": None}  # fmt: skip
    due = [{"part": "water", "hours": each, "times": 1}]
    assert says in _takes(told, due, "metric", normals=True)


@pytest.mark.parametrize("clip", range(1, 12))
@pytest.mark.parametrize("start", [None, *(dt.date(2027, month, 10) for month in range(1, 13))])
def test_what_comes_each_year_comes_once_in_each(made, clip, start):
    """Property: no leap day brings two times into one year and none into the next."""
    birds = limit_named(None, "nesting_march_august", Nesting, "calendar.nesting")
    seasons = Seasons(start, None if start is None else 50.0)
    *_, clips = clip_tasks(clip, 2.0, None, birds, seasons, plan_with())
    mulch = made["schedule"].set_index("task").loc["mulch_again"]
    for task in (clips, mulch):
        years = [year_of(day) for day in days_of(task)]
        assert years == list(range(years[0], years[0] + len(years)))
    assert len(years) == 3


def test_a_task_that_takes_several_days_counts_once(made):
    task = made["schedule"].set_index("task").loc["locate"]
    assert task["last_day"] > task["first_day"]
    assert len(days_of(task)) == 1
