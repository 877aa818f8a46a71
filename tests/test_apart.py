"""Windows that are set apart: no screen is planned against them. Lengths in metres."""

import geopandas as gpd
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from options_kit import plan_with

from screenplan.contracts.apart import NO_ROOM, NOT_LIVED_IN, TOO_HIGH, tell_set_apart
from screenplan.contracts.tables import notes_of
from screenplan.planting.apart import MOST_NAMED, set_windows_apart
from screenplan.planting.species import load_species
from screenplan.planting.zones import mark_zones
from screenplan.rules.ruleset import load_rules
from screenplan.site.windows import lay_windows

SUBJECT, EAST = shapely.box(0, 0, 30, 30), shapely.box(30, 0, 60, 30)
#: A shrub of 4 m by 2 m, and a tree of 10 m by 2 m: by the shipped rules they stay 0.914 m (3 ft) and
#: 3.048 m (10 ft) off a wall.
TABLE = {
    key: kind
    for key, kind in load_species({
        "shrub": {"like": "thuja_smaragd", "mature_height": ["4 m", "4 m"], "mature_spread": ["2 m", "2 m"]},
        "tree": {"like": "thuja_occidentalis", "mature_height": ["10 m", "10 m"], "mature_spread": ["2 m", "2 m"]},
    }).items()
    if key in ("shrub", "tree")
}  # fmt: skip
PLAN = plan_with(site_boundary_accuracy=0.0)


def site(place, *, wall=0.5, sill=0.9, kind="house", **columns):
    """A window in the west wall of the neighbour's house, ``wall`` off the line, and a place."""
    parcels = gpd.GeoDataFrame(
        {"parcel_id": ["own", "east"], "is_subject": [True, False]}, geometry=[SUBJECT, EAST]
    )
    house = gpd.GeoDataFrame(
        {"building_id": ["h"], "kind": [kind], "storeys": [3]},
        geometry=[shapely.box(30 + wall, 5, 45, 25)],
    )
    given = gpd.GeoDataFrame(
        {"window_id": ["w"], "sill_m": [sill], **columns}, geometry=[shapely.Point(30 + wall, 15)]
    )
    places = gpd.GeoDataFrame({"place_id": ["p"]}, geometry=[place])
    return lay_windows(parcels, house, given), parcels, places, house


def reason(place, plan=PLAN, **where):
    laid = set_windows_apart(*site(place, **where), plan=plan, species_table=TABLE)
    (found,) = laid["set_apart"]
    return None if pd.isna(found) else found


def strip(east):
    """A place that ends ``east`` off the line."""
    return shapely.box(20, 10, 30 - east, 20)


@pytest.mark.parametrize(
    ("off", "expected"),
    [
        # Closed form: the shrub's crown stays inside the parcel, its stem 1 m off the line, and its
        # other half ends 2 m off the line.
        (1.99, NO_ROOM),
        (2.01, None),
    ],
)
def test_a_window_before_which_no_plant_has_room_is_set_apart(off, expected):
    assert reason(strip(off)) == expected


def test_the_room_is_that_of_the_setbacks():
    # Closed form: the boundary may be out by 1 m, so the row stands 1 m farther in.
    loose = plan_with(site_boundary_accuracy=1.0)
    assert reason(strip(2.99), loose) == NO_ROOM
    assert reason(strip(3.01), loose) is None
    # Closed form: with no rule but 3 m off a wall, a wall 0.5 m off the line leaves 2.5 m, and the crown 1 m more.
    rules = load_rules(None, {"building_shrub": {"distance": "3 m"}})
    for off, expected in ((3.49, NO_ROOM), (3.51, None)):
        given = site(strip(off))
        laid = set_windows_apart(*given, plan=PLAN, species_table=TABLE, rules=rules)
        assert laid["set_apart"].fillna("none").to_list() == [expected or "none"]


@pytest.mark.parametrize(
    ("off", "sill", "expected"),
    [
        # Closed form: a seated head is at 1.2 m, the place's far corners are √(10.5² + 5²) = 11.63 m away.
        # Before a place that begins 2 m off the line the shrub stands 1.5 m from the wall. The line from a
        # sill s is at s - (s - 1.2) 1.5 / 11.63 there, which is 4 m for s = 4.41 m.
        (2.0001, 4.36, None),
        (2.0001, 4.46, TOO_HIGH),
        # The tree has room from 3.048 m from the wall on, and 1 m beyond: at 3.05 m the line from 5.5 m
        # is at 4.37 m, too high for the shrub, that from 13 m at 9.9 m and that from 13.5 m at 10.3 m.
        (3.54, 5.5, TOO_HIGH),
        (3.56, 5.5, None),
        (3.56, 13.0, None),
        (3.56, 13.5, TOO_HIGH),
    ],
)
def test_a_window_above_what_has_room_is_set_apart(off, sill, expected):
    assert reason(strip(off), sill=sill) == expected


def test_a_window_is_set_apart_only_if_no_place_can_be_screened():
    windows, parcels, places, house = site(strip(1.0))
    both = pd.concat([places, places.assign(place_id="q").set_geometry([shapely.box(5, 5, 9, 9)])])
    laid = set_windows_apart(windows, parcels, both, house, plan=PLAN, species_table=TABLE)
    assert laid["set_apart"].isna().all()


@pytest.mark.parametrize("kind", ["shed", "Garage", "garages", "carport"])
def test_windows_of_sheds_and_garages_are_set_apart(kind):
    assert reason(strip(8.0), kind=kind) == NOT_LIVED_IN
    assert reason(strip(8.0), kind="house") is None


def test_a_reason_of_the_persons_own_stays_and_an_old_one_is_judged_anew():
    assert reason(strip(8.0), set_apart=["frosted glass"]) == "frosted glass"
    assert reason(strip(8.0), set_apart=[NO_ROOM]) is None


def test_it_is_said_which_and_why():
    laid = set_windows_apart(*site(strip(1.0)), plan=PLAN, species_table=TABLE)
    assert notes_of(laid) == (
        "1 window is set apart, because no plant has room between wall and private place, with its "
        "setbacks from the wall and the parcel's line: h, window w; their views count as open until they close",
    )


@pytest.mark.parametrize("more", [0, 1, 3])
def test_of_many_windows_some_are_named_and_the_others_counted(more):
    windows, parcels, places, house = site(strip(1.0))
    many = pd.concat([windows] * (MOST_NAMED + more), ignore_index=True)
    many["window_id"] = [f"w{number}" for number in range(len(many))]
    (note,) = notes_of(
        set_windows_apart(many, parcels, places, house, plan=PLAN, species_table=TABLE)
    )
    assert note.count("h, window w") == MOST_NAMED
    assert (f" and {more} more; their views" in note) == (more > 0)


def test_without_places_or_outline_nothing_is_too_near():
    windows, parcels, places, house = site(strip(1.0))
    for each in (
        (windows, parcels, places.iloc[:0], house),
        (windows, parcels.iloc[:0], places, None),
    ):
        assert set_windows_apart(*each, plan=PLAN, species_table=TABLE)["set_apart"].isna().all()


@settings(max_examples=40)
@given(wall=st.floats(0.01, 6), off=st.floats(0, 12), accuracy=st.floats(0, 1))
def test_where_no_plant_has_room_the_zones_leave_none(wall, off, accuracy):
    # Invariant: straight before the window, the ground that zones of each kind leave, less half its width
    # before the place, is empty if and only if the window is set apart for want of room.
    windows, parcels, places, house = site(strip(off), wall=wall)
    plan = plan_with(site_boundary_accuracy=accuracy)
    found = set_windows_apart(windows, parcels, places, house, plan=plan, species_table=TABLE)[
        "set_apart"
    ]
    way = shapely.LineString([(30, 15), (30 - off, 15)])
    left = 0.0
    for key, kind in TABLE.items():
        _, zone = mark_zones(
            {"parcels": parcels, "buildings": house},
            plan=plan_with(site_boundary_accuracy=accuracy, plants_species=key), species_table=TABLE,
        )  # fmt: skip
        ground = shapely.union_all(zone.geometry.to_numpy())
        clear = shapely.difference(
            ground, places.geometry.iloc[0].buffer(kind.final_width("high") / 2)
        )
        left = max(left, shapely.intersection(way, clear).length)
    # The zones stand up to a millimetre outside.
    if left > 0.0:
        assert found.iloc[0] is pd.NA or found.iloc[0] != NO_ROOM
    elif found.iloc[0] is pd.NA:
        further = set_windows_apart(
            *site(strip(max(off - 0.005, 0.0)), wall=wall), plan=plan, species_table=TABLE
        )
        assert further["set_apart"].iloc[0] == NO_ROOM


def test_views_tell_how_many_and_why():
    views = pd.DataFrame({"set_apart": [NO_ROOM, None, NOT_LIVED_IN, NO_ROOM]})
    assert tell_set_apart(views) == "3 set apart: no room for a plant 2, not lived in 1"
    assert tell_set_apart(views.iloc[1:2]) == ""
    assert tell_set_apart(views.drop(columns="set_apart")) == ""
