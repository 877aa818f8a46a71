"""In which months plants are set: published months, normals of the climate, hardiness zones."""

import datetime as dt
from types import SimpleNamespace

import pytest
import works_site as site
from options_kit import plan_with

from screenplan.contracts.tables import notes_of
from screenplan.ground.errors import InputError
from screenplan.rules.limit_kinds import PlantingClimate
from screenplan.rules.limits import limit_of, load_limits
from screenplan.works.calendar import schedule_work
from screenplan.works.kinds import kinds_of
from screenplan.works.planting_months import (
    Window,
    months_by_normals,
    move_into,
    next_days,
    windows_of,
)
from screenplan.works.seasons import Seasons

#: Longitude and latitude.
NORTH, SOUTH, TROPICS = (8.0, 50.0), (172.0, -50.0), (8.0, 5.0)
TODAY = dt.date(2027, 1, 15)
#: Des Moines, Iowa, and London, rounded to degrees: from memory, unverified.
IOWA_C = (-6, -3, 4, 11, 17, 22, 24, 23, 19, 12, 4, -3)
LONDON_C = (5, 5, 8, 10, 13, 16, 19, 18, 16, 12, 8, 6)
SEASONS = {
    (roots, leaves): load_limits()[f"season_{key}_{leaves}"]
    for roots, key in (("bare", "bare"), ("with_soil", "soil"))
    for leaves in ("evergreen", "deciduous")
}
CLIMATE = limit_of(None, PlantingClimate)


def celsius(means):
    return [f"{mean} C" for mean in means]


def scheduled(
    planting="2027-04-10", position=NORTH, stock="container", species="thuja_smaragd", **options
):
    *_, plants = site.planted(stock=stock, species=species)
    content = {"calendar_planting": planting} if planting else {}
    return schedule_work(
        {"plants": plants}, today=TODAY, position_deg=position, plan=plan_with(**content, **options)
    )


def plan_of(means=None, zone=None):
    """Stand in for a plan: its normals and its zone."""
    return SimpleNamespace(
        climate=SimpleNamespace(temperature=means or ()), health=SimpleNamespace(zone=zone)
    )


def months(stock="container", species="thuja_smaragd", position=NORTH, **options):
    *_, plants = site.planted(stock=stock, species=species)
    found = windows_of(kinds_of(plants), Seasons(None, position[1]), None, plan_of(**options))
    return found[0].months if found else None


@pytest.mark.evidence(
    part="Planting work",
    kind="published",
    against="In which months bare roots and stock with soil are set, evergreens and others",
    source="Iowa State University Extension (September 2001, August 2011); University of Minnesota, My Minnesota Woods, 2008",
    status="read",
    tolerance="whole months",
)
def test_windows_are_those_of_two_extension_services():
    # Iowa 2001: bare roots while buds are dormant, usually March or April. Minnesota 2008: while dormant, in
    # spring or at the end of the season. Iowa 2011: spring; late summer on, evergreens by early October, others to
    # the middle of November.
    assert months("bare_root") == {3, 4}
    assert months("bare_root", "carpinus_betulus") == {3, 4, 10, 11}
    evergreen, other = months(), months(species="carpinus_betulus")
    assert {4, 8, 9} <= evergreen
    assert not evergreen & {6, 7, 11, 12, 1, 2}
    assert {4, 8, 9, 10, 11} <= other
    assert not other & {6, 7, 12, 1, 2}
    # On the southern half six months later.
    turned = {(month + 5) % 12 + 1 for month in evergreen}
    assert months(position=SOUTH) == turned


def test_the_normals_of_iowa_give_the_months_of_its_extension_service():
    # The custom temperatures were chosen so; the normals are from memory. Late August is left out as too hot.
    given = {key: months_by_normals(IOWA_C, season, CLIMATE) for key, season in SEASONS.items()}
    assert given["bare", "evergreen"] == {3, 4}
    assert given["bare", "deciduous"] == {3, 4, 11}
    assert given["with_soil", "evergreen"] == {3, 4, 5, 9}
    assert given["with_soil", "deciduous"] == {3, 4, 5, 9, 10, 11}
    # A place without frost: bare roots from November to April, as the trade there says (November to March).
    mild = months_by_normals(LONDON_C, SEASONS["bare", "deciduous"], CLIMATE)
    assert mild == {11, 12, 1, 2, 3, 4}


@pytest.mark.parametrize("turn", range(12))
@pytest.mark.parametrize("kind", SEASONS)
def test_windows_turn_with_the_normals(kind, turn):
    # Invariant: normals that come so many months later give months that do; nothing hangs on the half of the earth.
    turned = IOWA_C[-turn:] + IOWA_C[:-turn] if turn else IOWA_C
    plain = months_by_normals(IOWA_C, SEASONS[kind], CLIMATE)
    found = months_by_normals(turned, SEASONS[kind], CLIMATE)
    assert found == {(month - 1 + turn) % 12 + 1 for month in plain}


def test_colder_and_hotter_places_have_fewer_months():
    soil = SEASONS["with_soil", "deciduous"]
    for shift in (-20, 25):
        shifted = [mean + shift for mean in IOWA_C]
        assert len(months_by_normals(shifted, soil, CLIMATE)) < len(
            months_by_normals(IOWA_C, soil, CLIMATE)
        )
    # Where the normals leave no month at all, those by latitude stand.
    assert months_by_normals((-30,) * 12, soil, CLIMATE) == frozenset()
    assert months(species="carpinus_betulus", means=(-30,) * 12) == months(
        species="carpinus_betulus"
    )


@pytest.mark.parametrize("position", [None, TROPICS])
def test_normals_need_no_latitude(position):
    # Invariant: the months are those of the normals, wherever the site lies.
    given = {
        "climate_temperature": celsius(IOWA_C),
        "position": position,
        "species": "carpinus_betulus",
    }
    asked = plan_of(means=IOWA_C)
    *_, plants = site.planted(stock="bare_root", species="carpinus_betulus")
    latitude = None if position is None else position[1]
    kinds = kinds_of(plants)
    found = windows_of(kinds, Seasons(None, latitude), None, asked)
    known = windows_of(kinds, Seasons(None, NORTH[1]), None, asked)
    assert [window.months for window in found] == [window.months for window in known]
    assert windows_of(kinds, Seasons(None, latitude), None, plan_of()) == []
    assert windows_of(kinds, Seasons(None, latitude), None, plan_of(means=(-30,) * 12)) == []
    # In full growth is a warning here, because no season says that it would die.
    late = notes_of(scheduled("2027-07-10", stock="bare_root", **given))
    assert any("outside of the months" in note for note in late)
    assert any("no date but that of planting, by your normals, was held" in note for note in late)
    fine = notes_of(scheduled("2027-04-10", stock="bare_root", **given))
    assert not any("outside of the months" in note for note in fine)
    bare = notes_of(scheduled("2027-04-10", position=position))
    assert any(": no date was held" in note for note in bare)


def test_a_mild_zone_adds_the_winter_and_normals_come_before_it():
    plain = months()
    assert months(zone=6) == plain
    assert months(zone=7) == plain | {10, 11, 12, 1, 2}
    assert months(zone=7, position=SOUTH) == months(position=SOUTH) | {4, 5, 6, 7, 8}
    assert months(zone=9, means=IOWA_C) == months(means=IOWA_C)


def test_between_the_tropics_and_without_a_place_nothing_is_judged_without_normals():
    for position in (TROPICS, None):
        table = scheduled("2027-07-10", position, "bare_root")
        assert not [note for note in notes_of(table) if "outside of the months" in note]
        assert "Best set" not in table.set_index("task").loc["plant", "says"]


def test_a_day_outside_of_the_window_is_kept_and_the_next_one_named():
    table = scheduled("2027-07-10")
    (note,) = [note for note in notes_of(table) if "outside of the months" in note]
    assert "the next such day is 2027-08-01" in note
    assert table.set_index("task").loc["plant", "first_date"] == "2027-07-10"
    (note,) = [
        note
        for note in notes_of(scheduled("2027-08-10", climate_temperature=celsius(IOWA_C)))
        if "outside of the months" in note
    ]
    assert "March to May and September; the next such day is 2027-09-01" in note
    assert "the normals of the plan" in note


def test_without_a_day_the_next_window_is_named():
    (note,) = notes_of(scheduled(None))
    assert "No day of planting is given (calendar.planting)" in note
    assert "the next time from 2027-03-01 to 2027-05-31" in note
    assert notes_of(scheduled(None, position=TROPICS)) == ()


def test_normals_decide_what_is_refused_too():
    # June is full growth at 50 degrees north, and the rest of winter's buds where it is at 6 °C in the mean.
    with pytest.raises(InputError, match="in full growth"):
        scheduled("2027-06-10", stock="bare_root")
    cold = [mean - 14 for mean in IOWA_C]
    assert cold[5] == 8
    table = scheduled("2027-06-10", stock="bare_root", climate_temperature=celsius(cold))
    assert len(table)
    with pytest.raises(InputError, match="in full growth"):
        scheduled("2027-08-10", stock="bare_root", climate_temperature=celsius(IOWA_C))


def test_digging_in_a_frozen_month_is_warned_of():
    notes = notes_of(scheduled("2027-02-02", climate_temperature=celsius(IOWA_C)))
    assert [note for note in notes if "broken in January to February" in note]
    assert not [
        note
        for note in notes_of(scheduled("2027-02-02", climate_temperature=celsius(LONDON_C)))
        if "frozen" in note and "broken" in note
    ]


@pytest.mark.parametrize("planting", ["2027-04-10", "2027-07-10", "2028-01-10", "2028-02-29"])
@pytest.mark.parametrize("position", [NORTH, SOUTH])
def test_losses_are_replaced_in_the_window_after_a_year(planting, position):
    tasks = scheduled(planting, position).set_index("task")
    date = dt.date.fromisoformat(tasks.loc["replace", "first_date"])
    assert date.month in months(position=position)
    assert tasks.loc["replace", "first_day"] >= 365
    assert tasks.loc["locate_again", "last_day"] < tasks.loc["replace", "first_day"]


def window(*given):
    return Window(None, None, frozenset(given), "made up")


def test_the_next_days_are_within_every_window():
    begin = dt.date(2027, 4, 20)
    assert next_days([window(3, 4, 5), window(4)], begin) == (begin, dt.date(2027, 4, 30))
    assert next_days([window(11, 12, 1)], begin) == (dt.date(2027, 11, 1), dt.date(2028, 1, 31))
    assert next_days([window(3), window(4)], begin) is None
    assert next_days([], begin) is None
    # Where every month is one to plant in, no end is found within a year.
    first, last = next_days([window(*range(1, 13))], begin)
    assert first == begin
    assert (last - first).days > 366
    seasons = Seasons(dt.date(2027, 4, 20), 50.0)
    assert move_into([window(5)], seasons, 0) == 11
    assert move_into([window(5)], Seasons(None, 50.0), 3) == 3
    assert move_into([], seasons, 3) == 3


@pytest.mark.parametrize(
    ("figures", "what"),
    [
        ({"hot_from_c": 3.0}, "its temperatures do not rise"),
        ({"frozen_below_c": -200.0}, "out of range"),
        ({"hot_from_c": "22"}, "is not a number"),
    ],
)
def test_temperatures_that_cannot_be_are_refused(figures, what):
    with pytest.raises(InputError, match=what):
        load_limits(None, {"season_by_normals": figures})


@pytest.mark.evidence(
    part="Planting work",
    kind="published",
    against="Between which days hedges are not cut and ground is not cleared, by region",
    source="Minnesota Department of Transportation, March 2024; Environment and Climate Change Canada, general nesting periods; Bundesnaturschutzgesetz section 39(5), as the towns of Gronau and Steinhagen tell it",
    status="read",
    tolerance="whole months, the longer",
)
@pytest.mark.parametrize(
    ("nesting", "closed"),
    [
        # 15 April to 31 August; the middle of March until late August; 1 March to 31 August.
        ("nesting_minnesota", {4, 5, 6, 7, 8}),
        ("nesting_canada", {3, 4, 5, 6, 7, 8}),
        ("nesting_england", {3, 4, 5, 6, 7, 8}),
        # 1 March to 30 September (section 39(5), as two towns tell it).
        ("nesting_march_september", {3, 4, 5, 6, 7, 8, 9}),
    ],
)
def test_nothing_is_cut_in_the_closed_season_of_the_region(nesting, closed):
    for month in range(1, 13):
        table = scheduled(f"2028-{month:02d}-15", calendar_nesting=nesting)
        date = table.set_index("task").loc["cut", "first_date"]
        assert dt.date.fromisoformat(date).month not in closed
