"""One plant missing at a time, against the views traced anew without that plant."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import LineString, Point, box
from test_views import GARDEN, HOUSE, TABLE, WINDOW, row, species, trace, windows
from views_kit import follow

from screenplan.contracts import MISSING_PLANTS
from screenplan.contracts.tables import notes_of
from screenplan.planting.stand import stand_of
from screenplan.site.terrain import Terrain
from screenplan.views.grown import crowns_of, runs_of
from screenplan.views.kernel import blocked_years
from screenplan.views.missing import find_missing
from screenplan.views.stoppers import sole_blockers

LINES = gpd.GeoDataFrame(
    {"line_id": ["west", "north"]},
    geometry=[LineString([(-30, 1.5), (30, 1.5)]), LineString([(-30, 0), (30, 0)])],
)


def two_rows(kind="cone", stock=3.0):
    """Two rows whose layer is in another order than the names of their lines."""
    first = row(np.arange(19.5, 41, 2.4), kind, stock).assign(line_id="west", side_id="west")
    first["geometry"] = [Point(s - 30, 1.5) for s in first["station_m"]]
    both = pd.concat([first, row(np.arange(18.3, 41, 2.4), kind, stock)], ignore_index=True)
    return both.assign(plant_id=np.arange(1, len(both) + 1))


def missing(plants, existing_screens=None, *, w=WINDOW, p=GARDEN, buildings=HOUSE, **options):
    layers = {
        "windows": w, "private_places": p, "planting_lines": LINES, "plants": plants,
        "buildings": buildings, "existing_screens": existing_screens,
        "onlookers": options.pop("onlookers", None),
    }  # fmt: skip
    options = {
        "species_table": TABLE,
        "growth_curve": "straight",
        "views_missing_year": 4,
    } | options
    return follow(find_missing, layers, **options)


# Independent: the whole step traced again without each plant in turn.
@pytest.mark.parametrize("leaves", ["opaque", "translucent"])
@pytest.mark.parametrize("kind", ["cone", "ellipsoid", "column"])
def test_one_pass_gives_what_runs_without_each_plant_give(kind, leaves):
    plants = two_rows(kind)
    w = pd.concat([windows((0, 6)), windows((-4, 6), name="v")], ignore_index=True)
    told, table = missing(plants, w=w, views_leaves=leaves)
    found = table.set_index(["plant_id", "view_id"])

    def shares(some):
        views, *_ = trace(
            w, GARDEN, some, line=LINES, growth_years=4, views_report_years=(4,),
            views_leaves=leaves,
        )  # fmt: skip
        return views.set_index("view_id").open_y04

    everything, seen = shares(plants), 0
    for plant in plants["plant_id"]:
        opens = shares(plants[plants["plant_id"] != plant]) - everything
        for view_id, more in opens.items():
            if (plant, view_id) in found.index:
                line = found.loc[(plant, view_id)]
                assert line.open == pytest.approx(everything[view_id], abs=1e-9)
                assert line.open_without - line.open == pytest.approx(more, abs=1e-9)
                assert line.reopens == (everything[view_id] <= 0.1 < line.open_without)
                seen += 1
            else:
                assert more == pytest.approx(0.0, abs=1e-9)
        at = told.loc[told["plant_id"] == plant].iloc[0]
        assert at.hangs_share == pytest.approx(opens.max(), abs=1e-9)
        if opens.max() > 1e-9:
            assert opens[at.hangs_view] == pytest.approx(opens.max(), abs=1e-9)
        else:
            assert pd.isna(at.hangs_view)
    assert seen == len(table) > 5


def test_plants_come_back_as_they_were_with_two_columns_more():
    plants = two_rows()
    plants.index = plants.index * 2 + 7
    before = plants.copy()
    told, table = missing(plants)
    pd.testing.assert_frame_equal(pd.DataFrame(plants), pd.DataFrame(before))
    assert list(told.index) == list(plants.index)
    same = [name for name in plants.columns if name != "geometry"]
    pd.testing.assert_frame_equal(pd.DataFrame(told[same]), pd.DataFrame(plants[same]))
    assert list(table.columns) == [column.name for column in MISSING_PLANTS.columns]
    assert (told["hangs_share"] > 0).any()


# By construction: two equal rows behind each other, plant behind plant as seen from straight
# ahead, leave nothing hanging on one plant; one row alone does.
def test_nothing_hangs_on_one_of_two_that_stand_behind_each_other():
    place = gpd.GeoDataFrame({"place_id": ["p"]}, geometry=[Point(0.0, -8.0)])
    w = windows((0, 6), width_m=0.05)
    ahead = row([30.0], "column", 8.0)
    behind = ahead.assign(line_id="west", plant_id=2).set_geometry([Point(0.0, 1.5)])
    told, _ = missing(ahead, w=w, p=place)
    assert told["hangs_share"].to_list() == [1.0]
    two, table = missing(pd.concat([ahead, behind], ignore_index=True), w=w, p=place)
    assert two["hangs_share"].to_list() == [0.0, 0.0]
    assert table.empty


def test_what_is_closed_already_hangs_on_no_plant():
    wall = gpd.GeoDataFrame(
        {"screen_id": ["w"], "kind": ["wall"], "height_m": [20.0]},
        geometry=[LineString([(-60, -2), (60, -2)])],
    )
    told, table = missing(two_rows(), wall)
    assert table.empty
    assert (told["hangs_share"] == 0).all()


def test_terrain_and_onlookers_are_those_of_the_views():
    z = np.tile(np.linspace(3.0, -3.0, 31)[:, None], (1, 41))
    ground = Terrain(z, -40.0, -30.0, 2.0, 2.0)
    plants = two_rows(stock=2.0).assign(
        ground_m=lambda p: ground.height_at(p.geometry.x, p.geometry.y)
    )
    terrace = gpd.GeoDataFrame(
        {"onlooker_id": ["t"], "kind": ["terrace"]}, geometry=[box(-8, 15, 8, 18)]
    )
    none = WINDOW.iloc[:0]
    both = {"buildings": None, "terrain": ground, "onlookers": terrace}
    _, table = missing(plants, w=none, views_missing_year=3, **both)
    views, *_ = trace(
        none, GARDEN, plants, line=LINES, growth_years=3, views_report_years=(3,), **both
    )
    assert set(table["view_id"]) == {"t to g"}
    assert table["open"].iloc[0] == pytest.approx(views["open_y03"].iloc[0], abs=1e-9)


def test_no_plants_at_all():
    told, table = missing(two_rows().iloc[:0])
    assert told.empty
    assert table.empty


HEDGE = species("box", kept_height_m=2.0, kept_width_m=0.6)


def grown(plants):
    stand = stand_of(plants, species_table={**TABLE, "hedge": HEDGE}, years=6, curve="straight")
    crowns = crowns_of(stand)
    return runs_of(stand, crowns), crowns


# Independent: every plant alone through the kernel, for slanting, level and upright sight lines.
# A clipped hedge's crowns lie along their row, which is turned here.
@pytest.mark.parametrize(
    ("kind", "turned"), [("cone", 0), ("ellipsoid", 0), ("stemmed", 0), ("hedge", 35)]
)
def test_only_plant_in_the_way_against_the_kernel_plant_by_plant(kind, turned):
    plants = row(np.arange(24.0, 36.0, 1.3), kind, 3.0)
    plants["geometry"] = plants.rotate(turned, origin=(0, 0))
    rows, crowns = grown(plants)
    rng = np.random.default_rng(2)
    # More than `MANY_RAYS`, so that both cores are at it, and few.
    origin = np.column_stack(
        [rng.uniform(-8, 8, 21_000), rng.uniform(2, 5, 21_000), rng.uniform(0, 4, 21_000)]
    )
    target = np.column_stack(
        [rng.uniform(-8, 8, 21_000), rng.uniform(-5, -2, 21_000), rng.uniform(0, 4, 21_000)]
    )
    origin[:300, 1] = target[:300, 1] = rng.uniform(-0.8, 0.8, 300)
    target[:300, 0] = origin[:300, 0]
    target[300:600, 2] = origin[300:600, 2]
    cos, sin = np.cos(np.radians(turned)), np.sin(np.radians(turned))
    for ends in (origin, target):
        ends[:, :2] = ends[:, :2] @ [[cos, sin], [-sin, cos]]
    hits = []
    for number in range(len(plants)):
        alone, table = grown(plants.iloc[[number]])
        # Alone it has no row, whose way it keeps.
        alone = alone._replace(way=rows.way[rows.order == number])
        hits.append((blocked_years(origin, target, alone, table)[:, 0, 1] >> 5) & 1)
    hits = np.array(hits)
    stopped, only = sole_blockers(origin, target, rows, crowns, 5, 1)
    assert np.array_equal(stopped, hits.any(axis=0))
    assert np.array_equal(only, np.where(hits.sum(axis=0) == 1, hits.argmax(axis=0), -1))
    assert (only[:300] >= 0).any()
    wanted = rng.random(500) < 0.5
    few = sole_blockers(origin[:500], target[:500], rows, crowns, 5, 1, wanted)
    assert np.array_equal(few[0], stopped[:500] & wanted)
    assert np.array_equal(few[1], np.where(wanted, only[:500], -1))


# By hand of the shares themselves: counted anew from the table of plants and views.
def test_plants_are_replaced_in_the_order_of_what_their_loss_opens():
    w = pd.concat([windows((0, 6)), windows((-4, 6), name="v")], ignore_index=True)
    columns = row(np.arange(20, 41, 1.0), "column", 3.0).assign(line_id="north", side_id="north")
    plants, table = missing(columns, w=w, views_missing_year=8)
    reopened = table.loc[table["reopens"]].groupby("plant_id").size()
    assert len(reopened)
    ordered = plants.dropna(subset=["replace_first"]).sort_values("replace_first")
    assert ordered["replace_first"].tolist() == list(range(1, len(ordered) + 1))
    assert set(ordered["plant_id"]) == set(table["plant_id"])
    key = [
        (-int(reopened.get(plant, 0)), -share)
        for plant, share in zip(ordered["plant_id"], ordered["hangs_share"], strict=True)
    ]
    assert key == sorted(key)
    (note,) = notes_of(table)
    named = ", ".join(map(str, ordered["plant_id"].iloc[: min(len(reopened), 5)]))
    assert f"{len(reopened)} plant" in f"{note}"
    assert f"{note}".endswith(f"replace first: no. {named}")
    assert "(year 8, typical growth)" in f"{note}"
