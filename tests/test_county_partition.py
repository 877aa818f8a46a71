"""A partition: what it hands over, what it sets aside, what it gives up."""

import pickle
import time
from contextlib import contextmanager
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from county_kit import CRS, EAST, NORTH, PLAN, lots
from pandas.testing import assert_frame_equal

import screenplan
from screenplan.county import around
from screenplan.county.answer import side_of_views_each
from screenplan.county.around import Task
from screenplan.county.laying import lay_layer
from screenplan.county.partition import plan_partition
from screenplan.county.planner import Planner
from screenplan.county.time_limit import AGAIN_S, TooSlowError, limit_of
from screenplan.plan import check_plan
from screenplan.site.lots import Many
from screenplan.site.reading import LayerSource


def side_of_views(looks, lines):
    """The sides across which the views of one lot come in."""
    sides = Many.one(gpd.GeoDataFrame(geometry=lines))
    return side_of_views_each(looks, np.zeros(len(looks), dtype=int), sides)


def task_of(layers, folder, **changes):
    plan = check_plan(PLAN | changes, given=layers)
    laid = {name: lay_layer(name, LayerSource(layer), folder) for name, layer in layers.items()}
    return Task(plan, folder, laid)


def test_the_order_is_handed_to_another_process_whole(tmp_path):
    task = task_of(lots(2), tmp_path)
    there = pickle.loads(pickle.dumps(task))
    one, other = plan_partition(task, 0, 1), plan_partition(there, 0, 1)
    for name, table in one.items():
        assert table.equals(other[name])


def test_a_parcel_sees_what_lies_within_its_reach_and_no_farther(tmp_path, monkeypatch):
    """What is handed over is all within the reach, and nothing beyond it, whether it is read with others or alone."""
    layers = lots(12)
    task = task_of(layers, tmp_path, site={"reach": "30 m"})
    real = Planner.plan_lots
    outlines = layers["parcels"].set_index("parcel_id").geometry
    for alone in (False, True):
        seen = {}

        def look(self, site, lots, *rest, seen=seen):
            for number, name in enumerate(lots.names):
                lot, row = lots.near("buildings")
                seen[name] = lots.around["buildings"]["building_id"].iloc[row[lot == number]]
            return real(self, site, lots, *rest)

        monkeypatch.setattr(Planner, "plan_lots", look)
        if alone:
            monkeypatch.setattr(around, "read_together", lambda *_: None)
        plan_partition(task, 0, 3)
        assert len(seen) == 3
        for parcel_id, handed in seen.items():
            away = layers["buildings"].geometry.distance(outlines[parcel_id])
            # UTM lengths are 0.9996 of those on the ground here; no house is 30 m off to 0.1 m.
            near = layers["buildings"]["building_id"][away <= 30.0 * 0.9996]
            assert set(near) == set(handed)


def test_a_house_that_cannot_be_read_is_listed_once_and_left_out(tmp_path):
    layers = lots(4)
    # A bow tie whose mending would lose half of it.
    x, y = EAST + 7.0, NORTH + 5.0
    knot = shapely.Polygon([(x, y), (x + 10, y + 8), (x + 10, y), (x, y + 8)])
    layers["buildings"].loc[0, "geometry"] = knot
    tables = plan_partition(task_of(layers, tmp_path), 0, 4)
    skipped = tables["county_skipped"].drop_duplicates()
    assert skipped["layer"].tolist() == ["buildings"]
    assert skipped["source_row"].tolist() == [1]
    assert sorted(tables["county_sides"]["parcel_id"].unique()) == ["p1", "p2", "p3", "p4"]


def test_a_parcel_that_takes_too_long_is_given_up_at_once_and_told(tmp_path, monkeypatch):
    real = Planner.plan_lots

    def slow(self, site, lots, *rest):
        if "p1" in lots.names:
            while time.thread_time() - begun < 30.0:
                pass
        return real(self, site, lots, *rest)

    plan_partition(task_of(lots(2), tmp_path), 1, 2)  # compiles
    monkeypatch.setattr(Planner, "plan_lots", slow)
    task = task_of(lots(2), tmp_path, county=PLAN["county"] | {"seconds": 4.0})
    begun = time.thread_time()
    tables = plan_partition(task, 0, 2)
    # Both together are given up after 4 s, and the first by itself once more.
    assert time.thread_time() - begun < 29.0
    (told,) = tables["county_skipped"].to_dict("records")
    assert told["parcel_id"] == "p1"
    assert told["reason"].startswith("it was given up after 4 s of processor time")
    assert "county.seconds" in told["remedy"]
    assert set(tables["county_sides"]["parcel_id"]) == {"p2"}


def work(seconds):
    """Take some processor time."""
    begun = time.thread_time()
    while time.thread_time() - begun < seconds:
        pass


def test_what_takes_too_long_is_given_up_soon_after_its_time():
    # Evidence: by definition; what follows is looked up every `AGAIN_S`.
    begun = time.thread_time()
    with pytest.raises(TooSlowError), limit_of(0.2):
        work(5.0)
    assert 0.2 <= time.thread_time() - begun < 0.2 + 3.0 * AGAIN_S


def test_what_is_given_up_is_tidied_up_in_peace():
    # Evidence: by definition; the tidying takes several alarms long.
    tidied = []

    @contextmanager
    def tidying():
        try:
            yield
        finally:
            work(6.0 * AGAIN_S)
            tidied.append(True)

    with pytest.raises(TooSlowError), limit_of(0.1), tidying():
        work(5.0)
    assert tidied


def test_a_parcel_may_wait_as_long_as_it_must(tmp_path, monkeypatch):
    real = Planner.plan_lots

    def waiting(self, site, lots, *rest):
        time.sleep(4.5)
        return real(self, site, lots, *rest)

    plan_partition(task_of(lots(2), tmp_path), 1, 2)  # compiles
    monkeypatch.setattr(Planner, "plan_lots", waiting)
    task = task_of(lots(2), tmp_path, county=PLAN["county"] | {"seconds": 4.0})
    tables = plan_partition(task, 0, 2)
    assert not len(tables["county_skipped"])
    assert set(tables["county_sides"]["parcel_id"]) == {"p1", "p2"}


def test_without_an_alarm_it_is_given_up_before_the_next_step(tmp_path, monkeypatch):
    import threading

    task = task_of(lots(2), tmp_path, county=PLAN["county"] | {"seconds": 0.001})
    found = []
    thread = threading.Thread(target=lambda: found.append(plan_partition(task, 0, 2)))
    thread.start()
    thread.join()
    assert len(found[0]["county_skipped"]) == 2
    assert not len(found[0]["county_sides"])


# Invariant: what is planned at once is what is planned alone, whatever houses are called.
@pytest.mark.parametrize("nameless", [(), (1, 4), range(6)])
def test_what_is_told_of_parcels_at_once_is_told_of_each_alone(tmp_path, monkeypatch, nameless):
    layers = lots(6)
    layers["buildings"].loc[list(nameless), "building_id"] = None
    task = replace(task_of(layers, tmp_path), wanted=("county_lines", "county_plants"))
    once = plan_partition(task, 0, 6)
    monkeypatch.setattr(around, "read_together", lambda *_: None)
    alone = plan_partition(task, 0, 6)
    assert len(once["county_plants"]) > 20
    for name, table in once.items():
        assert_frame_equal(pd.DataFrame(table), pd.DataFrame(alone[name]), check_exact=True)


# Invariant. Evidence: half of each of two houses stands on either side of a boundary, to the millimetre.
def test_whose_half_a_house_is_does_not_hang_on_the_cut(tmp_path):
    layers = lots(8)
    for row, x in ((0, EAST + 24.0), (4, EAST + 48.0)):
        y = NORTH + (5.0 if row == 0 else 47.0)
        layers["buildings"].loc[row, "geometry"] = shapely.box(x - 5.0, y, x + 5.0, y + 8.0)
    task = task_of(layers, tmp_path)
    whole = plan_partition(task, 0, 8)["county_sides"]
    parts = [plan_partition(task, k, k + 1)["county_sides"] for k in range(8)]
    assert whole["windows"].sum() > 20
    assert_frame_equal(pd.DataFrame(whole), pd.concat([pd.DataFrame(part) for part in parts], ignore_index=True), check_exact=True)  # fmt: skip


def test_where_one_of_many_is_at_fault_the_others_are_planned_at_once(tmp_path, monkeypatch):
    real, sizes = Planner.plan_lots, []

    def fail(self, site, lots, *rest):
        if "p3" in lots.names and len(lots) > 1:
            raise ZeroDivisionError("only with others")
        sizes.append(len(lots))
        return real(self, site, lots, *rest)

    task = task_of(lots(8), tmp_path)
    expected = plan_partition(task, 0, 8)["county_sides"]
    monkeypatch.setattr(Planner, "plan_lots", fail)
    tables = plan_partition(task, 0, 8)
    assert not len(tables["county_skipped"])
    assert_frame_equal(pd.DataFrame(tables["county_sides"]), pd.DataFrame(expected))
    # By hand: eight are halved to four and four, those with the third to two and two, these to one and one.
    assert sorted(sizes) == [1, 1, 2, 4]


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"plants": {"species": "no_such_tree"}}, "key plants.species: there is no species"),
        (
            {"county": {"species": {"rear": "no_such_tree"}}},
            "key county.species: there is no species",
        ),
        ({"setbacks": {"rules": {"house": {"distance": "x"}}}}, "setbacks.rules.house"),
    ],
)
def test_what_is_wrong_with_the_plan_is_refused_and_not_listed_for_each_parcel(
    tmp_path, changes, says
):
    task = task_of(lots(2), tmp_path, **changes)
    with pytest.raises(screenplan.InputError, match=says.replace(".", "[.]")):
        plan_partition(task, 0, 2)


def test_every_view_belongs_to_the_side_that_it_crosses_last():
    # By hand: a square lot; lines from outside to its middle, one that crosses two sides, one that crosses none.
    corners = [(0, 0), (10, 0), (10, 10), (0, 10), (0, 0)]
    sides = shapely.linestrings([corners[k : k + 2] for k in range(4)])
    lines = [
        [(5, -20), (5, 5)],
        [(20, 6), (5, 6)],
        [(-20, 4), (15, 4)],  # in at the west, out at the east
        [(5, 8), (5, 9.5)],  # within the lot, nearest to the north side
    ]
    views = np.array(lines, dtype=float)
    assert side_of_views(views, sides).tolist() == [0, 1, 1, 2]
    # Through the south-eastern corner, and a hair to either hand of it: the first of the two sides.
    hairs = [-1e-9, 0.0, 1e-9]
    through = np.array([[(15 + hair, -5), (5 + hair, 5)] for hair in hairs])
    assert side_of_views(through, sides).tolist() == [0, 0, 0]
    assert side_of_views(through, sides[::-1]).tolist() == [2, 2, 2]
    assert side_of_views(views[:0], sides).tolist() == []
    assert side_of_views(views, sides[:0]).tolist() == [0, 0, 0, 0]


def test_a_parcel_alone_on_the_far_end_of_the_curve_is_planned_by_itself(tmp_path):
    # Along the curve it stands beside lots 300 km away.
    layers = lots(2)
    far = gpd.GeoDataFrame({"parcel_id": ["far"]}, geometry=[shapely.box(EAST + 3e5, NORTH + 3e5, EAST + 3e5 + 24, NORTH + 3e5 + 30)], crs=CRS)  # fmt: skip
    layers["parcels"] = pd.concat([layers["parcels"], far], ignore_index=True)
    tables = plan_partition(task_of(layers, tmp_path), 0, 3)
    assert not len(tables["county_skipped"])
    sides = tables["county_sides"]
    assert set(sides["parcel_id"]) == {"p1", "p2", "far"}
    # UTM 33.. : 300 km east of the central meridian a map metre is 0.9996 (1 + (300/6382)²/2) of one on the ground.
    length = sides.loc[sides["parcel_id"] == "far", "length_m"].min()
    assert length == pytest.approx(24.0 / (0.9996 * (1 + (300.0 / 6382.0) ** 2 / 2)), abs=0.003)
