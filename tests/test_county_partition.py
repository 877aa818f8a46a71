"""A partition: what it hands over, what it sets aside, what it gives up."""

import pickle
import time

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from county_kit import CRS, EAST, NORTH, PLAN, lots

import screenplan
from screenplan.county import partition
from screenplan.county.answer import PlannedLots, layers_of, rows_of, side_of_views
from screenplan.county.laying import lay_layer
from screenplan.county.parcel import Planner
from screenplan.county.partition import Task, plan_partition
from screenplan.county.seen import see_each
from screenplan.county.together import read_together
from screenplan.plan import check_plan
from screenplan.planting.species import load_species
from screenplan.site.lots import Lots, Many
from screenplan.site.reading import LayerSource


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
    real = Planner.plan_parcel
    outlines = layers["parcels"].set_index("parcel_id").geometry
    for alone in (False, True):
        seen = {}

        def look(self, site, *rest, seen=seen):
            seen[site.subject_id] = site.layers
            return real(self, site, *rest)

        monkeypatch.setattr(Planner, "plan_parcel", look)
        if alone:
            monkeypatch.setattr(partition, "read_together", lambda *_: None)
        plan_partition(task, 0, 3)
        assert len(seen) == 3
        for parcel_id, handed in seen.items():
            away = layers["buildings"].geometry.distance(outlines[parcel_id])
            # UTM lengths are 0.9996 of those on the ground here; no house is 30 m off to 0.1 m.
            near = layers["buildings"]["building_id"][away <= 30.0 * 0.9996]
            assert set(near) == set(handed["buildings"]["building_id"])
            own = handed["parcels"].set_index("parcel_id")["is_subject"]
            assert own[own].index.tolist() == [parcel_id]


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
    real = Planner.plan_parcel

    def slow(self, site, *rest):
        if site.subject_id == "p1":
            time.sleep(30.0)
        return real(self, site, *rest)

    plan_partition(task_of(lots(2), tmp_path), 1, 2)  # compiles
    monkeypatch.setattr(Planner, "plan_parcel", slow)
    task = task_of(lots(2), tmp_path, county=PLAN["county"] | {"seconds": 15.0})
    begun = time.monotonic()
    tables = plan_partition(task, 0, 2)
    assert time.monotonic() - begun < 29.0
    (told,) = tables["county_skipped"].to_dict("records")
    assert told["parcel_id"] == "p1"
    assert told["reason"].startswith("it was given up after 15 s")
    assert "county.seconds" in told["remedy"]
    assert set(tables["county_sides"]["parcel_id"]) == {"p2"}


def test_without_an_alarm_it_is_given_up_before_the_next_step(tmp_path, monkeypatch):
    import threading

    task = task_of(lots(2), tmp_path, county=PLAN["county"] | {"seconds": 0.001})
    found = []
    thread = threading.Thread(target=lambda: found.append(plan_partition(task, 0, 2)))
    thread.start()
    thread.join()
    assert len(found[0]["county_skipped"]) == 2
    assert not len(found[0]["county_sides"])


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
    views = shapely.linestrings(lines)
    assert side_of_views(views, sides).tolist() == [0, 1, 1, 2]
    # Through the south-eastern corner, and a hair to either hand of it: the first of the two sides.
    hairs = [-1e-9, 0.0, 1e-9]
    through = shapely.linestrings([[(15 + hair, -5), (5 + hair, 5)] for hair in hairs])
    assert side_of_views(through, sides).tolist() == [0, 0, 0]
    assert side_of_views(through, sides[::-1]).tolist() == [2, 2, 2]
    assert side_of_views(views[:0], sides).tolist() == []
    assert side_of_views(views, sides[:0]).tolist() == [-1, -1, -1, -1]


def test_a_parcel_alone_on_the_far_end_of_the_curve_is_planned_by_itself(tmp_path):
    # Along the curve it stands beside lots 300 km away.
    layers = lots(2)
    far = gpd.GeoDataFrame({"parcel_id": ["far"]}, geometry=[shapely.box(EAST + 3e5, NORTH + 3e5, EAST + 3e5 + 24, NORTH + 3e5 + 30)], crs=CRS)  # fmt: skip
    import pandas as pd

    layers["parcels"] = pd.concat([layers["parcels"], far], ignore_index=True)
    tables = plan_partition(task_of(layers, tmp_path), 0, 3)
    assert not len(tables["county_skipped"])
    sides = tables["county_sides"]
    assert set(sides["parcel_id"]) == {"p1", "p2", "far"}
    # UTM 33.. : 300 km east of the central meridian a map metre is 0.9996 (1 + (300/6382)²/2) of one on the ground.
    length = sides.loc[sides["parcel_id"] == "far", "length_m"].min()
    assert length == pytest.approx(24.0 / (0.9996 * (1 + (300.0 / 6382.0) ** 2 / 2)), abs=0.003)


def test_views_of_several_lots_come_in_across_the_sides_of_their_own():
    # By hand: two square lots side by side; each view crosses the shared line, which is a side of both.
    corners = [(0, 0), (10, 0), (10, 10), (0, 10), (0, 0)]
    west = shapely.linestrings([corners[k : k + 2] for k in range(4)])
    sides = np.concatenate([west, shapely.transform(west, lambda xy: np.add(xy, [10, 0]))])
    views = shapely.linestrings([[(15, 5), (5, 5)], [(5, 4), (15, 4)], [(5, -9), (5, 5)]])
    of, lot = np.repeat([0, 1], 4), np.array([0, 1, 0])
    assert side_of_views(views, sides, lot, of).tolist() == [1, 7, 0]
    # A lot without sides has none.
    assert side_of_views(views, sides[:4], lot, of[:4]).tolist() == [1, -1, 0]


@pytest.fixture(scope="module")
def planned_lots(tmp_path_factory):
    """Four lots as a county plans them one by one, what was read around them, and the county's tables."""
    task = task_of(lots(4), tmp_path_factory.mktemp("lots"))
    found, read = [], []

    def keep(planned, about, wanted=()):
        found.append((planned, about))
        return rows_of(planned, about, wanted)

    def keep_read(*given):
        read.append(read_together(*given))
        return read[-1]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(partition, "rows_of", keep)
        patch.setattr(partition, "read_together", keep_read)
        tables = plan_partition(task, 0, 4)
    return found, read[0], tables


# Invariant: the table of several lots that are looked at in one go is that of each, one after the other.
def test_rows_of_several_lots_are_those_of_each(planned_lots):
    found, read, tables = planned_lots
    every, count = [planned for planned, _ in found], len(found)

    def many(name):
        parts = [planned.layers[name] for planned in every]
        layer = gpd.GeoDataFrame(pd.concat(parts, ignore_index=True))
        return Many(layer, np.repeat(np.arange(count), [len(part) for part in parts]), count)

    names = ("sides", "windows", "private_places", "planting_lines", "plants")
    layers = {name: many(name) for name in names}
    sides = layers.pop("sides")
    around = Lots(
        read.site.layers, np.array([read.rows[planned.site.subject_id] for planned in every]), 40.0
    )
    spacing, plan = np.array([planned.target_spacing_m for planned in every]), every[0].plan
    seen = see_each(
        around, layers, plan=plan, target_spacing_m=spacing, terrain=read.site.terrain,
        species_table=load_species(),
    )  # fmt: skip
    alone = [PlannedLots.one(*one) for one in found]
    planned = PlannedLots(
        np.concatenate([one.rows for one in alone]), [name for one in alone for name in one.ids],
        sides, np.concatenate([one.classes for one in alone]), np.concatenate([one.causes for one in alone]),
        layers["planting_lines"], layers["plants"], spacing, plan, seen,
    )  # fmt: skip
    wanted, crs = ("county_lines", "county_plants"), every[0].site.frame.crs
    for name, layer in layers_of(planned, wanted, crs).items():
        each = [layers_of(one, wanted, crs)[name] for one in alone]
        want = gpd.GeoDataFrame(pd.concat(each, ignore_index=True))
        pd.testing.assert_frame_equal(pd.DataFrame(layer), pd.DataFrame(want), check_exact=True)
        assert layer.to_wkb().equals(want.to_wkb())
    told, county = layers_of(planned, (), crs)["county_sides"], tables["county_sides"]
    same = [column for column in county.columns if column != "geometry"]
    pd.testing.assert_frame_equal(pd.DataFrame(told[same]), pd.DataFrame(county[same]))
    # By hand: 20 a plant.
    assert (county["cost"] == 20.0 * county["plants"].astype(float)).all()
    assert county["plants"].sum() > 0
    assert county["views_open"].sum() > 0


def test_a_plant_without_a_price_leaves_its_side_without_a_cost(planned_lots):
    planned, about = planned_lots[0][0]
    one = PlannedLots.one(planned, about)
    one.plants.layer.loc[0, "stock_height_m"] = 7.0
    sides = layers_of(one, (), planned.site.frame.crs)["county_sides"]
    lost = sides["side_id"] == one.plants.layer["side_id"][0]
    assert sides.loc[lost, "cost"].isna().all()
    assert sides.loc[~lost, "cost"].notna().all()
