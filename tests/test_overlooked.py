"""Which sides are looked across: by windows, and by people out of doors."""

import geopandas
import numpy as np
import pytest
from options_kit import plan_with
from shapely.geometry import LineString, Point, box

from screenplan.contracts import SIDES
from screenplan.site.overlooked import count_sight_lines

#: A parcel of 20 m by 20 m with one place, a point, in its middle.
SIDES_OF_BOX = geopandas.GeoDataFrame(
    {"side_id": ["south", "east", "north", "west"]},
    geometry=[
        LineString([(0, 0), (20, 0)]),
        LineString([(20, 0), (20, 20)]),
        LineString([(20, 20), (0, 20)]),
        LineString([(0, 20), (0, 0)]),
    ],
)
MIDDLE = geopandas.GeoDataFrame({"place_id": ["seat"]}, geometry=[Point(10, 10)])


def shares(windows=(), onlookers=(), **options):
    """Shares by side; a window is (x, y, facing in degrees)."""
    eyes = geopandas.GeoDataFrame(
        {"facing_deg": np.array([facing for *_, facing in windows], float)},
        geometry=[Point(x, y) for x, y, _ in windows],
    )
    people = geopandas.GeoDataFrame(geometry=list(onlookers)) if onlookers else None
    found = count_sight_lines(SIDES_OF_BOX, eyes, MIDDLE, people, plan=plan_with(**options))
    return dict(zip(found["side_id"], found["looked_across"], strict=True))


SOUTHERN_WINDOW = (10, -10, 0)


def test_a_window_looks_across_the_side_before_it_and_not_behind_itself():
    # By construction: its only line runs due north, across the south side.
    assert shares([SOUTHERN_WINDOW]) == {"south": 1.0, "east": 0.0, "north": 0.0, "west": 0.0}
    assert set(shares([(10, -10, 180)]).values()) == {0.0}


def test_people_alone_let_a_side_be_looked_across():
    assert shares(onlookers=[Point(30, 10)])["east"] == 1.0


@pytest.mark.parametrize(
    "path",
    [
        Point(10, 30),
        LineString([(9, 30), (11, 30)]),
        LineString([(7, 32), (13, 28)]),
        box(8, 28, 12, 32),
    ],
    ids=["one place", "short path", "longer path", "terrace"],
)
@pytest.mark.parametrize("spacing_m", [0.5, 5.0])
def test_an_onlooker_counts_as_much_as_a_window_however_long_its_way(path, spacing_m):
    # Two viewers, one to the south and one to the north: half each, by the definition.
    found = shares([SOUTHERN_WINDOW], [path], views_onlooker_spacing=spacing_m)
    assert found["south"] == pytest.approx(0.5)
    assert found["north"] == pytest.approx(0.5)


def test_people_out_of_reach_do_not_count():
    road = LineString([(10, 30), (10, 400)])  # begins 20 m from the place
    assert shares([SOUTHERN_WINDOW], [road], views_onlooker_reach=25.0)["north"] == pytest.approx(
        0.5
    )
    assert shares([SOUTHERN_WINDOW], [road], views_onlooker_reach=5.0)["south"] == 1.0


def test_nobody_looks():
    assert set(shares().values()) == {0.0}


def test_the_contract_says_who_is_counted():
    assert "onlookers" in SIDES.column("looked_across").meaning
