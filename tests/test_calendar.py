"""The calendar: order, published stages, and an iCalendar file that another library reads."""

import datetime as dt

import pandas as pd
import pytest
import works_site as site
from dateutil.rrule import rrulestr
from icalendar import Calendar

from screenplan.contracts import CLOSURE, SCHEDULE
from screenplan.errors import InputError
from screenplan.outputs.calendar_file import write_calendar
from screenplan.outputs.conform import conform
from screenplan.plan import check_plan
from screenplan.planting.closure import close_rows
from screenplan.tables import notes_of, table_of
from screenplan.works.calendar import schedule_work
from screenplan.works.fence import lay_fence
from screenplan.works.quantities import count_material

TODAY = dt.date(2027, 1, 15)


def schedule(planting="2027-04-10", scheme="perimeter", **options):
    subject, lines, plants = site.planted()
    _, _, fences = lay_fence(subject, lines, plants, scheme=scheme, stands_years=4)
    material = count_material(subject, lines, plants)
    closure = close_rows(plants, lines)
    table = schedule_work(
        plants, closure, material, fences, planting=planting, today=TODAY, **options
    )
    conform(table, SCHEDULE)
    return table


def test_lines_are_located_first_and_cautioned_wherever_a_hole_is_dug():
    table = schedule()
    assert table["task"][0] == "locate"
    tasks = table.set_index("task")
    assert (table["first_day"] >= tasks.loc["locate", "first_day"]).all()
    for task in ("clear", "mark", "dig", "plant", "fence", "replace"):
        assert "buried lines located before any digging" in tasks.loc[task, "caution"]
    order = ["locate", "clear", "mark", "dig", "plant", "fence", "replace", "fence_off"]
    assert tasks.loc[order, "first_day"].is_monotonic_increasing
    assert table["first_day"].is_monotonic_increasing


@pytest.mark.evidence(
    part="Planting work",
    kind="published",
    against="The watering of the calendar: daily, every two to three days, weekly",
    source="University of Minnesota Extension",
    status="read",
    tolerance="the day",
)
def test_watering_follows_the_published_stages():
    # University of Minnesota Extension (read): weeks 1 and 2 daily, weeks 3 to 12 every 2 to 3 days,
    # then weekly. Dates by arithmetic from 10 April 2027.
    tasks = schedule().set_index("task")
    assert tasks.loc["water_daily", ["first_date", "last_date"]].tolist() == [
        "2027-04-10",
        "2027-04-23",
    ]
    assert tasks.loc["water_often", "first_date"] == "2027-04-24"
    assert tasks.loc["water_often", ["every_days", "times"]].tolist() == [2, 35]
    assert tasks.loc["water_weekly", ["first_date", "every_days"]].tolist() == ["2027-07-03", 7]
    assert schedule(water_every_days=3).set_index("task").loc["water_often", "every_days"] == 3


def test_the_years_are_those_of_the_plan():
    tasks = schedule().set_index("task")
    assert tasks.loc["fence_off", "year"] == 4
    assert tasks.loc["fence_off", "first_date"] == "2031-04-10"  # 4 · 365.25 = 1461 days
    assert tasks.loc["replace", "year"] == 1
    # A row that has closed by the table is in the calendar in that year; one that never does is not.
    row = {
        "line_id": "L",
        "spacing_m": 1.5,
        "asked_height_m": 1.8,
        "mature_closed_height_m": 3.0,
        "mature_closed_from_m": 0.0,
    }
    *_, plants = site.planted()
    for year, there in ((7, True), (None, False)):
        closure = table_of(CLOSURE, [row | {"growth": "typical", "year_closed": year}])
        table = schedule_work(plants, closure).set_index("task")
        assert ("closed" in table.index) == there
        if there:
            assert table.loc["closed", "year"] == 7


def test_without_a_date_days_are_counted_and_dates_stay_empty():
    table = schedule(planting=None)
    assert table["first_date"].isna().all()
    assert table["last_date"].isna().all()
    assert table["first_day"].tolist() == schedule()["first_day"].tolist()


def test_without_a_fence_or_mulch_their_tasks_are_not_there():
    subject, lines, plants = site.planted()
    material = count_material(subject, lines, plants, mulch="none")
    tasks = set(schedule_work(plants, None, material)["task"])
    assert not tasks & {"mulch", "mulch_again", "fence", "fence_off", "fence_check"}
    assert "fence" not in set(schedule(scheme="none")["task"])


@pytest.mark.parametrize(
    ("planting", "message"),
    [
        ("10 April", r"key calendar\.planting: '10 April' is not a date\. Write it as 2027-04-10"),
        ("2027-02-30", "'2027-02-30' is not a date"),
        ("1999-04-10", "the planting date 1999-04-10 is 28 years back"),
        ("2099-04-10", "the planting date 2099-04-10 is 72 years ahead"),
    ],
)
def test_dates_that_cannot_be_are_refused(planting, message):
    with pytest.raises(InputError, match=message):
        schedule(planting=planting)


def test_a_date_in_the_recent_past_is_told():
    assert "is in the past" in notes_of(schedule(planting="2026-10-01"))[0]
    assert notes_of(schedule()) == ()


def test_a_plan_reads_a_date_in_either_spelling():
    base = {"layers": {"parcels": {"file": "p.gpkg"}}}
    for value in (dt.date(2027, 4, 10), "2027-04-10"):
        plan = check_plan(base | {"calendar": {"planting": value}})
        assert plan.calendar.planting == "2027-04-10"
    with pytest.raises(InputError, match=r"'soon' is not a date\. Write it as 2027-04-10"):
        check_plan(base | {"calendar": {"planting": "soon"}})


# --- the file ------------------------------------------------------------------------------------

NASTY = 'A,B;C\\D\n"Ü" BEGIN:VEVENT'


def unfold(text: str) -> list[str]:
    """Lines by RFC 5545, section 3.1: CRLF and a space continue a line."""
    return text.replace("\r\n ", "").split("\r\n")


@pytest.mark.evidence(
    part="Files",
    kind="other software",
    against="Repeated tasks of the calendar file, expanded to days",
    source="python-dateutil",
    status="run",
    tolerance="exact",
)
def test_the_file_is_read_by_other_code(tmp_path):
    table = schedule()
    file = tmp_path / "calendar.ics"
    count = write_calendar(
        table, file, title="Lot 7", written_at=dt.datetime(2027, 1, 15, tzinfo=dt.UTC)
    )
    raw = file.read_bytes()
    assert all(len(line) <= 75 for line in raw.split(b"\r\n"))  # RFC 5545, section 3.1
    lines = unfold(raw.decode())
    assert lines[0] == "BEGIN:VCALENDAR"
    assert lines.count("BEGIN:VEVENT") == count == len(table)
    starts = [line.partition(":")[2] for line in lines if line.startswith("DTSTART")]
    assert starts == [date.replace("-", "") for date in table["first_date"]]
    # dateutil expands the rules: as many days as the table says, the last one on its last day.
    events = "\n".join(lines).split("BEGIN:VEVENT")[1:]
    for event, row in zip(events, table.itertuples(), strict=True):
        rule = next((line for line in event.split("\n") if line.startswith("RRULE")), None)
        if rule is None:
            assert row.times == 1
            continue
        days = list(rrulestr(rule, dtstart=dt.datetime.fromisoformat(row.first_date)))
        assert len(days) == row.times
        assert days[-1].date().isoformat() == row.last_date


@pytest.mark.evidence(
    part="Files",
    kind="other software",
    against="The calendar file, with a title full of its own marks",
    source="icalendar",
    status="run",
    tolerance="exact",
)
def test_any_title_stays_text(tmp_path):
    file = tmp_path / "calendar.ics"
    write_calendar(schedule(), file, title=NASTY)
    read = Calendar.from_ical(file.read_bytes())
    events = read.walk("VEVENT")
    assert len(events) == len(schedule())
    shown = NASTY.replace("\n", " ")
    assert str(events[0]["summary"]) == f"Have buried lines located ({shown})"
    assert "No digging before every line is marked" in events[0]["description"]
    uids = [str(event["uid"]) for event in events]
    assert len(set(uids)) == len(uids)
    # The same plan gives the same identifiers, so that a second import replaces the first.
    write_calendar(schedule(), file, title=NASTY)
    assert [str(e["uid"]) for e in Calendar.from_ical(file.read_bytes()).walk("VEVENT")] == uids


def test_without_dates_no_file_is_written(tmp_path):
    assert write_calendar(schedule(planting=None), tmp_path / "c.ics", title="") == 0
    assert not list(tmp_path.iterdir())
    assert isinstance(schedule(), pd.DataFrame)
