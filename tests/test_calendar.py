"""The calendar: order, published stages, and an iCalendar file that another library reads."""

import datetime as dt
from functools import cache

import pandas as pd
import pytest
import works_site as site
from dateutil.rrule import rrulestr
from icalendar import Calendar
from options_kit import plan_with

from screenplan.contracts import CLOSURE, SCHEDULE
from screenplan.contracts.tables import notes_of, table_of
from screenplan.ground.errors import InputError
from screenplan.outputs.calendar_file import write_calendar
from screenplan.outputs.conform import conform
from screenplan.plan import check_plan
from screenplan.planting.closure import close_rows
from screenplan.rules.limits import load_limits
from screenplan.works.calendar import schedule_work
from screenplan.works.fence import lay_fence
from screenplan.works.locating import Request, waiting_days
from screenplan.works.quantities import count_material

TODAY = dt.date(2027, 1, 15)


#: Longitude and latitude: 50 degrees north, and as far south.
NORTH, SOUTH = (8.0, 50.0), (172.0, -50.0)


@cache
def made(species, stock, scheme):
    """Plants, closure, material and fences of a row."""
    subject, lines, plants = site.planted(stock=stock, species=species)
    _, _, fences = lay_fence(
        site.layers(subject, lines, plants), plan=plan_with(fence_scheme=scheme, fence_years=4)
    )
    return {
        "plants": plants,
        "closure": close_rows(plants, lines),
        "quantities": count_material(site.layers(subject, lines, plants, fence_options=fences)),
        "fence_options": fences,
    }


def schedule(
    planting="2027-04-10", scheme="perimeter", position_deg=NORTH, today=TODAY, species="thuja_smaragd",
    stock="container", limits=None, **options,
):  # fmt: skip
    table = schedule_work(
        made(species, stock, scheme), today=today, position_deg=position_deg, limits=limits,
        plan=plan_with(calendar_planting=planting, **options),
    )  # fmt: skip
    conform(table, SCHEDULE)
    return table


# --- locating ------------------------------------------------------------------------------------

#: Tasks in which the ground is broken.
DIGS = ("pegs", "clear", "dig", "fence", "replace")
#: Names of the shipped requests and the days for which each holds, as published.
LIVES = {"request_nebraska": 17, "request_illinois": 28, "request_colorado": 30}


def test_the_ground_is_marked_then_asked_for_then_dug():
    tasks = schedule().set_index("task")
    order = [
        "cut",
        "mark",
        "locate",
        "pegs",
        "clear",
        "dig",
        "plant",
        "fence",
        "replace",
        "fence_off",
    ]
    assert tasks.loc[order, "first_day"].is_monotonic_increasing
    assert schedule()["first_day"].is_monotonic_increasing
    # What is marked is all that is broken, and marking breaks nothing.
    for word in ("hole", "peg", "post of the fence", "edges of the strip", "White paint, no peg"):
        assert word in tasks.loc["mark", "says"]
    assert "post" not in schedule(scheme="none").set_index("task").loc["mark", "says"]
    # Nothing that holds marks of the locators is lifted before they are taken over.
    assert tasks.loc["clear", "says"].startswith("First take each locator's mark over")


@pytest.mark.evidence(
    part="Planting work",
    kind="published",
    against="Days for which a request to locate lines holds: all first digging falls within them",
    source="Nebraska Administrative Code 155-2-005, the one-call centre of Illinois, Colorado Revised Statutes 9-1.5-103",
    status="read",
    tolerance="the day",
)
@pytest.mark.parametrize("request_key", LIVES)
def test_all_digging_falls_within_the_life_of_the_request(request_key):
    life = LIVES[request_key]
    assert load_limits()[request_key].life_days == life
    tasks = schedule(calendar_request=request_key).set_index("task")
    asked, answered = tasks.loc["locate", ["first_day", "last_day"]]
    first = [task for task in DIGS if task != "replace"]
    assert tasks.loc[first, "first_day"].min() > answered
    assert tasks.loc[first, "last_day"].max() <= asked + life - 1
    # A renewal is answered before the request lapses.
    assert tasks.loc["renew", "first_day"] + (answered - asked) <= asked + life - 1
    assert f"hold for {life} days" in tasks.loc["locate", "says"]
    # Nebraska asks for a renewal by day 14 of a ticket that starts two business days after asking.
    if request_key == "request_nebraska":
        assert tasks.loc["renew", "first_day"] - asked <= 14
    # Replacements are dug on a request of their own, once the first has lapsed.
    again, replace = tasks.loc["locate_again"], tasks.loc["replace"]
    assert again["first_day"] > asked + life - 1
    assert again["last_day"] < replace["first_day"] <= again["first_day"] + life - 1


@pytest.mark.parametrize("life", [6, 7, 9, 12, 60])
def test_a_request_that_lapses_while_work_goes_on_is_renewed(life):
    limits = load_limits(None, {"request_nebraska": {"life_days": life}})
    tasks = schedule(limits=limits).set_index("task")
    lapses = tasks.loc["locate", "first_day"] + life - 1
    must = "Work goes on after it has lapsed" in tasks.loc["renew", "says"]
    assert must == (lapses < tasks.loc["fence", "first_day"])
    assert tasks.loc["locate", "first_day"] <= tasks.loc["renew", "first_day"] <= lapses


@pytest.mark.parametrize("working", [1, 2, 3, 5])
def test_the_days_of_a_request_follow_from_its_wait_and_life(working):
    # By the definitions, for every life: marked the day before asking, answered before the first day of
    # digging, the day of asking counts as the first of its life.
    wait = waiting_days(working)
    for life in range(working + 1, 45):
        own = {"request_nebraska": {"life_days": life, "wait_working_days": working}}
        made = Request.before(-3, load_limits(None, own)["request_nebraska"])
        assert made.mark_day == made.ask_day - 1
        assert made.answered_day == made.ask_day + wait < -3
        assert made.last_day == made.ask_day + life - 1
        # It holds when digging begins if any request can that is answered before.
        assert (made.last_day >= -3) == (life >= wait + 2)
        # Late owners are left two days, if it still holds then.
        assert -3 - made.answered_day == (3 if life >= wait + 4 else 1)
        # A renewal waits as long; one that comes too late for that is asked for with the first.
        assert made.renew_day == max(made.last_day - wait, made.ask_day)


@pytest.mark.parametrize("working", range(1, 9))
def test_waiting_is_long_enough_from_any_weekday_with_a_holiday(working):
    # Enumeration: every weekday of asking, and a holiday on any day after it.
    most = 0
    for asked in range(7):
        for holiday in range(1, 15):
            day, left = 0, working
            while left:
                day += 1
                left -= (asked + day) % 7 < 5 and day != holiday
            most = max(most, day)
    assert most <= waiting_days(working) <= most + 1


def test_each_digging_task_has_one_caution_and_a_report_no_more():
    table = schedule()
    cautioned = (
        table["caution"].str.contains("buried lines located before any digging").fillna(False)
    )
    assert set(table.loc[cautioned, "task"]) == set(DIGS)
    assert set(schedule(scheme="none")["task"]) & set(DIGS) == set(DIGS) - {"fence"}


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
    # The winter breaks the weekly stage: none is dated from December to February.
    assert tasks.loc["water_weekly", "last_date"] == "2027-11-27"
    assert tasks.loc["water_weekly_2", "first_date"] == "2028-03-04"
    assert schedule(works_water_every=3).set_index("task").loc["water_often", "every_days"] == 3


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
        "evidence": "published range",
    }
    *_, plants = site.planted()
    for year, there in ((7, True), (None, False)):
        closure = table_of(CLOSURE, [row | {"growth": "typical", "year_closed": year}])
        table = schedule_work({"plants": plants, "closure": closure}).set_index("task")
        assert ("closed" in table.index) == there
        if there:
            assert table.loc["closed", "year"] == 7
            # Where a year is told, so is what it rests on.
            assert "which rests on: published range" in table.loc["closed", "says"]


def test_without_a_date_days_are_counted_and_dates_stay_empty():
    table = schedule(planting=None)
    assert table["first_date"].isna().all()
    assert table["last_date"].isna().all()
    assert table["first_day"].tolist() == schedule(position_deg=None)["first_day"].tolist()


def test_without_a_fence_or_mulch_their_tasks_are_not_there():
    subject, lines, plants = site.planted()
    material = count_material(
        site.layers(subject, lines, plants), plan=plan_with(works_mulch="none")
    )
    tasks = set(schedule_work({"plants": plants, "quantities": material})["task"])
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
    assert "is in the past" in notes_of(schedule(planting="2026-09-01"))[-1]
    assert notes_of(schedule("2027-09-25")) == ()


def test_a_plan_reads_a_date_in_either_spelling():
    base = {"layers": {"parcels": {"file": "p.gpkg"}}}
    for value in (dt.date(2027, 4, 10), "2027-04-10"):
        plan = check_plan(base | {"calendar": {"planting": value}})
        assert plan.calendar.planting == "2027-04-10"
    with pytest.raises(InputError, match=r"'soon' is not a date\. Write it as 2027-04-10"):
        check_plan(base | {"calendar": {"planting": "soon"}})


# --- seasons -------------------------------------------------------------------------------------


def dates_of(row):
    """Give every date of a task."""
    first = dt.date.fromisoformat(row.first_date)
    every = 0 if pd.isna(row.every_days) else int(row.every_days)
    return [first + dt.timedelta(days=every * time) for time in range(int(row.times))]


@pytest.mark.parametrize(
    ("species", "planting", "position", "best"),
    [
        ("thuja_smaragd", "2027-07-10", NORTH, "March to April"),
        ("thuja_smaragd", "2028-01-10", SOUTH, "September to October"),
        ("carpinus_betulus", "2027-06-01", NORTH, "March to April and October to November"),
    ],
)
def test_bare_roots_in_full_growth_are_refused(species, planting, position, best):
    message = (
        rf"key calendar\.planting: bare-root .* are planted on {planting}, in full growth.*{best}"
    )
    with pytest.raises(InputError, match=message) as refusal:
        schedule(planting, species=species, stock="bare_root", position_deg=position)
    # The remedy holds: another day, other stock, or the custom of the place.
    assert "calendar.planting" in str(refusal.value)
    key = refusal.value.problems[0].mend.split("limits.rules.")[1].split("]")[0]
    layers = {"parcels": {"file": "p.gpkg"}}
    plan = check_plan({"layers": layers, "limits": {"rules": {key: {"refused_months": []}}}})
    custom = load_limits(None, plan.limits.rules)
    for options in ({"stock": "container"}, {"stock": "bare_root", "limits": custom}):
        assert len(schedule(planting, species=species, position_deg=position, **options))


@pytest.mark.parametrize(
    ("stock", "planting", "position", "warned"),
    [
        ("bare_root", "2027-03-20", NORTH, False),
        ("bare_root", "2027-09-20", NORTH, True),
        ("bare_root", "2027-09-20", SOUTH, False),
        ("container", "2027-04-10", NORTH, False),
        ("container", "2027-07-10", NORTH, True),
        ("balled", "2027-12-10", NORTH, True),
        ("balled", "2027-10-10", SOUTH, False),
        ("plug", "2027-12-10", (8.0, 5.0), False),
        ("plug", "2027-12-10", None, False),
    ],
)
def test_a_day_outside_of_the_season_is_warned_of_with_its_source(
    stock, planting, position, warned
):
    notes = [note for note in notes_of(schedule(planting, stock=stock, position_deg=position))
             if "outside of the months" in note]  # fmt: skip
    assert bool(notes) == warned
    if warned:
        assert "Extension" in notes[0]
        assert "the local custom decides" in notes[0]


def test_seasons_that_are_not_known_are_said():
    assert "Between the tropics" in notes_of(schedule(position_deg=(0.0, 0.0)))[0]
    assert "has no place on the earth" in notes_of(schedule(position_deg=None))[0]
    assert notes_of(schedule(planting=None, position_deg=None)) == ()


@pytest.mark.parametrize("position", [NORTH, SOUTH])
@pytest.mark.parametrize("month", range(1, 13))
@pytest.mark.parametrize("nesting", ["nesting_march_august", "nesting_march_september"])
def test_nothing_is_cut_or_clipped_while_birds_nest(position, month, nesting):
    # Published months: March to August (Ireland); in Germany clearing to September, while shaping is allowed in any
    # month and waits for the end of August. Six months later in the south.
    last = {"nesting_march_august": 8, "nesting_march_september": 9}[nesting]
    closed = {"cut": set(range(3, last + 1)), "clip": set(range(3, 9))}
    if position is SOUTH:
        closed = {task: {(month + 5) % 12 + 1 for month in some} for task, some in closed.items()}
    day, species = f"2028-{month:02d}-15", "thuja_occidentalis"
    table = schedule(day, species=species, position_deg=position, calendar_nesting=nesting)
    tasks = table.set_index("task")
    for task, months in closed.items():
        assert dt.date.fromisoformat(tasks.loc[task, "first_date"]).month not in months
        assert "the law where you are decides" in tasks.loc[task, "says"]
        assert load_limits()[nesting].source in tasks.loc[task, "says"]
    # Cut before marking, clipped once the crowns touch, and neither put off for longer than it must be.
    assert tasks.loc["cut", "first_day"] < tasks.loc["mark", "first_day"]
    plain = schedule(day, species=species, position_deg=None).set_index("task")
    late = tasks.loc["clip", "first_day"] - plain.loc["clip", "first_day"]
    early = plain.loc["cut", "first_day"] - tasks.loc["cut", "first_day"]
    for moved, months in ((late, closed["clip"]), (early, closed["cut"])):
        assert 0 <= moved <= 31 * len(months)


def test_breaking_ground_while_birds_nest_is_warned_of():
    def told(planting, **options):
        return [note for note in notes_of(schedule(planting, **options)) if "birds nest" in note]

    (note,) = told("2027-05-20")
    assert "the strip is cut before, on 2027-02-28, and kept mown" in note
    assert "Wildlife Act 1976" in note
    assert "The law where you are decides" in note
    # From the day on which nothing before planting falls into those months: turf is lifted 2 days before.
    assert "plant from 2027-09-03 on" in note
    assert not told("2027-09-03")
    assert told("2027-09-02")
    assert "too late to cut the strip before" in told("2027-05-20", today=dt.date(2027, 3, 1))[0]
    assert not told("2027-05-20", position_deg=SOUTH)


@pytest.mark.parametrize("position", [NORTH, SOUTH])
@pytest.mark.parametrize("planting", ["2027-11-20", "2027-12-10", "2028-02-27", "2027-06-05"])
def test_no_daily_or_weekly_watering_is_dated_in_winter(planting, position):
    winter = {12, 1, 2} if position is NORTH else {6, 7, 8}
    table = schedule(planting, position_deg=position)
    water = table.loc[table["task"].str.startswith("water_")]
    in_winter = {}
    for row in water.itertuples():
        for date in dates_of(row):
            assert (date.month in winter) == row.task.startswith("water_winter"), (row.task, date)
            if date.month in winter:
                in_winter.setdefault(date.year + (date.month == 12), []).append(date)
    # Once or twice in a winter (University of Nebraska-Lincoln Extension, read).
    assert in_winter
    assert all(len(dates) <= 2 for dates in in_winter.values())
    rows = table.set_index("task").loc["water_winter"]
    assert "not frozen" in rows["says"]
    assert "Nebraska" in rows["source"]
    # What is left of each stage falls on the days that it had without seasons.
    plain = schedule(planting, position_deg=None)
    days = {(row.item, date) for row in plain.itertuples() if row.task.startswith("water_") for date in dates_of(row)}  # fmt: skip
    ours = {(row.item, date) for row in water.itertuples() if "winter" not in row.task for date in dates_of(row)}  # fmt: skip
    assert ours == {(item, date) for item, date in days if date.month not in winter}


@pytest.mark.parametrize(
    ("stock", "words", "never"),
    [
        ("container", "cut roots that circle", "wire"),
        ("balled", "take wire and cloth off", "circle"),
        ("bare_root", "Keep the roots wet", "ball"),
        ("plug", "Wet the plugs", "wire"),
    ],
)
def test_each_stock_is_set_and_watered_as_it_is(stock, words, never):
    tasks = schedule(stock=stock).set_index("task")
    assert words in tasks.loc["plant", "says"]
    for task in ("plant", "dig", "water_daily", "water_weekly"):
        assert never not in tasks.loc[task, "says"]
    roots = {"container": "pot", "balled": "root ball", "bare_root": "roots", "plug": "plug"}[stock]
    assert roots in tasks.loc["dig", "says"]
    assert roots.replace("pot", "root ball") in tasks.loc["water_daily", "says"]
    assert "Best set in March" in tasks.loc["plant", "says"]


def test_several_stocks_are_each_told():
    subject, lines, plants = site.planted()
    plants.loc[plants.index[:5], "stock"] = "balled"
    material = count_material(site.layers(subject, lines, plants))
    says = (
        schedule_work({"plants": plants, "quantities": material}, today=TODAY)
        .set_index("task")
        .loc["plant", "says"]
    )
    assert says.startswith("Balled: Lift by the ball")
    assert "Container: Take the pot off" in says


# --- the file ------------------------------------------------------------------------------------

NASTY = 'A,B;C\\D\n"Ü" BEGIN:VEVENT'


def unfold(text: str) -> list[str]:
    """Lines by RFC 5545, section 3.1: CRLF and a space continue a line."""
    return text.replace("\r\n ", "").split("\r\n")


def test_a_calendar_that_lacks_an_event_is_refused(tmp_path, monkeypatch):
    whole = Calendar.to_ical

    def write_less(calendar, *options):
        calendar.subcomponents.pop()
        return whole(calendar, *options)

    monkeypatch.setattr(Calendar, "to_ical", write_less)
    count = len(schedule())
    with pytest.raises(InputError, match=rf"calendar.ics: It holds {count - 1} of {count} events"):
        write_calendar(schedule(), tmp_path / "calendar.ics", title="Lot 7")


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
    located = next(e for e in events if e["summary"].startswith("Have buried lines located ("))
    assert str(located["summary"]) == f"Have buried lines located ({shown})"
    assert "No digging before every buried line is marked" in located["description"]
    uids = [str(event["uid"]) for event in events]
    assert len(set(uids)) == len(uids)
    # The same plan gives the same identifiers, so that a second import replaces the first.
    write_calendar(schedule(), file, title=NASTY)
    assert [str(e["uid"]) for e in Calendar.from_ical(file.read_bytes()).walk("VEVENT")] == uids


def test_the_file_clips_and_waters_in_season(tmp_path):
    # Every day of every event, by other code: none is watered by a stage from December to February, none
    # cut or clipped from March to August.
    file = tmp_path / "calendar.ics"
    write_calendar(schedule("2027-11-10", species="thuja_occidentalis"), file, title="")
    seen = set()
    for event in Calendar.from_ical(file.read_bytes()).walk("VEVENT"):
        name, start = str(event["summary"]), event.decoded("dtstart")
        days = [start]
        if "rrule" in event:
            rule = event["rrule"].to_ical().decode()
            days = rrulestr(rule, dtstart=dt.datetime.combine(start, dt.time()))
        months = {day.month for day in days}
        if name.startswith(("Water daily", "Water every", "Water weekly")):
            assert not months & {12, 1, 2}, name
            seen.add("water")
        if name.startswith(("First clip", "Cut what grows")):
            assert not months & set(range(3, 9)), name
            assert "the law where you are decides" in event["description"]
            seen.add(name)
    assert seen == {"water", "First clip of the sides", "Cut what grows on the strip"}


def test_without_dates_no_file_is_written(tmp_path):
    assert write_calendar(schedule(planting=None), tmp_path / "c.ics", title="") == 0
    assert not list(tmp_path.iterdir())
    assert isinstance(schedule(), pd.DataFrame)


# By hand: bought plants are not raised; cuttings that take two years are taken 730 or 731 days before planting.
def test_raised_plants_begin_years_before():
    assert not {"raise", "pot"} & set(schedule()["task"])
    table = schedule(plants_raised="cuttings", plants_raised_years=2.0).set_index("task")
    planted = table.loc["plant", "first_day"]
    assert planted - table.loc["raise", "first_day"] in (730, 731)
    assert table.loc["raise", "first_day"] < table.loc["pot", "first_day"] < planted
