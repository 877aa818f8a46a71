"""What is seen of a parcel is what the steps of a plan say, and it hangs on no other parcel that is looked at with it."""

import geopandas as gpd
import numpy as np
import pytest
from county_kit import PLAN, lots
from hypothesis import given, settings
from hypothesis import strategies as st
from options_kit import plan_with
from shapely.geometry import LineString, Point, box

import screenplan
from screenplan.county.seen import Seen, see_each
from screenplan.plan import check_plan
from screenplan.planting.species import load_species
from screenplan.site.lots import Lots, Many
from screenplan.site.terrain import Terrain

ASKED = ["views", "needed_height", "plants"]


def see(layers, plan, terrain, species_table) -> Seen:
    """Look at one lot."""
    names = ("windows", "private_places", "planting_lines", "plants")
    return see_each(
        Lots(layers, np.zeros(1, int)), {name: Many.one(layers[name]) for name in names}, plan=plan,
        terrain=terrain, target_spacing_m=np.array([plan.views.target_spacing]), species_table=species_table,
    )  # fmt: skip


@pytest.fixture(scope="module")
def planned():
    layers = lots(6)
    run = screenplan.run_plan(
        PLAN, layers=layers, settings=["subject.id=p2", "rows.along=['west', 'east']", "chance.draws=0"], only=ASKED,
    )  # fmt: skip
    plan = check_plan(PLAN, given=layers)
    return run.layers, plan, see(run.layers, plan, Terrain.flat(), load_species())


# Evidence: the steps of the plan, which trace every view by itself and make the whole layers.
def test_views_are_those_of_the_steps(planned):
    layers, _, seen = planned
    views = layers["views"]
    assert seen.rays.tolist() == views["rays"].tolist()
    assert np.allclose(seen.open_now, views["open_now"].to_numpy(float))
    assert seen.is_open.tolist() == views["status"].isin(["closes", "stays open"]).tolist()
    told = views["year_closed"].astype("Float64").to_numpy(float, na_value=np.inf)
    assert seen.year_closed.tolist() == told.tolist()
    assert (np.isfinite(told) & (told > 0)).any()
    names = np.array(seen.sight.observers.ids, object)[seen.windows]
    assert names.tolist() == views["window_id"].tolist()


def test_needed_heights_are_the_greatest_of_those_of_the_step(planned):
    layers, _, seen = planned
    greatest = layers["needed_height"].groupby("line_id")["needed_m"].max()
    assert seen.needed_m.tolist() == greatest[layers["planting_lines"]["line_id"]].to_list()
    assert seen.needed_m.max() > 0.5


def test_looks_run_from_the_windows_to_the_middle_of_the_heads(planned):
    _, _, seen = planned
    for (begin, end), (window, place) in zip(
        seen.looks(np.arange(len(seen.rays))), seen.sight.pairs, strict=True
    ):
        assert begin.tolist() == seen.sight.observers.middle[window].tolist()
        assert end == pytest.approx(seen.sight.targets.coarse.row(place)[:, :2].mean(axis=0))


def test_without_rows_nothing_closes_and_nothing_is_needed(planned):
    layers, plan, seen = planned
    bare = layers | {name: layers[name].iloc[:0] for name in ("planting_lines", "plants")}
    none = see(bare, plan, Terrain.flat(), load_species())
    assert len(none.needed_m) == 0
    assert np.isinf(none.year_closed[none.is_open]).all()
    assert none.is_open.sum() == seen.is_open.sum()


def test_without_windows_there_is_no_view(planned):
    layers, plan, _ = planned
    none = see(layers | {"windows": layers["windows"].iloc[:0]}, plan, Terrain.flat(), load_species())  # fmt: skip
    assert len(none.rays) == len(none.looks(none.rays)) == len(none.is_open) == 0


#: Kinds of plants by lot: none, one kind, two of which one is bare in winter, and one that stands already.
PLANTED = [(), (("thuja_occidentalis", False),), (("thuja_occidentalis", False), ("carpinus_betulus", False)),
           (("ilex_opaca", True),)]  # fmt: skip
#: Lots are so far from each other, and so far everything counts, metres.
APART_M, REACH_M = 25.0, 30.0
SPECIES = load_species()
LAYERS = ("windows", "private_places", "planting_lines", "plants")


def a_lot(k: int, rng) -> dict[str, gpd.GeoDataFrame]:
    """Lay one lot of a street: windows of the houses beyond its garden, places, rows along its sides."""
    west, houses = k * APART_M, [name for name in (k - 1, k, k + 1) if rng.random() < 0.8]
    windows = [
        (f"w{name}-{n}", f"h{name}", Point(name * APART_M + 4.0 + 3.0 * n, 30.0))
        for name in houses
        for n in range(3)
    ]
    places = [
        box(west + 3, 4, west + rng.uniform(6, 20), rng.uniform(8, 20)),
        Point(west + 8.0, 24.0),
    ][: rng.integers(0, 3)]
    lines = [
        LineString([(west + 1, 22), (west + 12, 22.5), (west + 22, 22)]),
        LineString([(west + 1, 2), (west + 1, 21)]),
    ]
    lines = lines[: rng.integers(1, 3)]
    kinds = PLANTED[rng.integers(len(PLANTED))]
    plants = [
        (n, line, station, *kinds[station % len(kinds)], lines[line].interpolate(station * 1.5))
        for line in range(len(lines) if kinds else 0)
        for n, station in enumerate(range(9), 9 * line + 1)
    ]
    return {
        "windows": gpd.GeoDataFrame(
            {
                "window_id": [name for name, *_ in windows], "building_id": [house for _, house, _ in windows],
                "sill_m": 3.7, "height_m": 1.2, "width_m": 1.2, "facing_deg": 180.0, "floor_m": 2.8,
            },
            geometry=[at for *_, at in windows],
        ),
        "private_places": gpd.GeoDataFrame({"place_id": [f"p{n}" for n in range(len(places))]}, geometry=places),
        "planting_lines": gpd.GeoDataFrame({"line_id": [f"row{n}" for n in range(len(lines))]}, geometry=lines),
        "plants": gpd.GeoDataFrame(
            {
                "plant_id": [n for n, *_ in plants], "line_id": [f"row{line}" for _, line, *_ in plants],
                "station_m": [1.5 * station for _, _, station, *_ in plants], "ground_m": 0.0,
                "species": [kind for *_, kind, _, _ in plants], "stock_height_m": 0.9,
                "existing": [old for *_, old, _ in plants],
            },
            geometry=[at for *_, at in plants],
        ),
    }  # fmt: skip


def a_street(seed: int, count: int):
    """Lay so many lots, and what lies around them: houses, and a fence, a hedge and trees between."""
    rng = np.random.default_rng(seed)
    numbers = range(-1, count + 1)
    around = {
        "parcels": gpd.GeoDataFrame(
            {"parcel_id": [f"l{k}" for k in range(count)]}, geometry=[box(k * APART_M, 0, k * APART_M + 24, 28) for k in range(count)]
        ),
        "buildings": gpd.GeoDataFrame(
            {"building_id": [f"h{k}" for k in numbers], "height_m": 6.0},
            geometry=[box(k * APART_M + 2, 30, k * APART_M + 13, 38) for k in numbers],
        ),
        "existing_screens": gpd.GeoDataFrame(
            {
                "screen_id": [f"s{k}" for k in numbers], "kind": [("fence", "tree", "hedge")[k % 3] for k in numbers],
                "height_m": 3.0, "opacity": [(1.0, 0.6)[k % 2] for k in numbers],
            },
            geometry=[Point(k * APART_M + 9, 21) if k % 3 == 1 else LineString([(k * APART_M + 4, 25), (k * APART_M + 9, 24)]) for k in numbers],
        ),
    }  # fmt: skip
    return around, [a_lot(k, rng) for k in range(count)]


def together(around, lots, some, plan, spacing) -> Seen:
    """Look at some of the lots in one go."""
    layers = {}
    for name in LAYERS:
        parts = [lots[k][name] for k in some]
        rows = rows_in(*parts)
        layer = gpd.GeoDataFrame(rows or parts[0], geometry="geometry", columns=parts[0].columns)
        layers[name] = Many(
            layer, np.repeat(np.arange(len(some)), [len(part) for part in parts]), len(some)
        )
    return see_each(
        Lots(around, np.array(some), REACH_M), layers, plan=plan, terrain=Terrain.flat(),
        target_spacing_m=spacing[list(some)], species_table=SPECIES,
    )  # fmt: skip


def by_itself(around, lot, outline, plan) -> Seen:
    """Look at one lot, of which nothing is known but what lies within its reach."""
    near = {
        name: layer[layer.distance(outline) <= REACH_M].reset_index(drop=True)
        for name, layer in around.items()
    }
    return see(lot | near, plan, Terrain.flat(), SPECIES)


def told(seen: Seen, lot: int, lines: slice | np.ndarray) -> list:
    mine = np.flatnonzero(seen.lot == lot)
    figures = [
        seen.rays[mine],
        seen.open_now[mine],
        seen.year_closed[mine],
        seen.is_open[mine],
        seen.needed_m[lines],
    ]
    return [*(part.tolist() for part in figures), seen.looks(mine).tolist()]


# Invariant: a lot is told the same to the last digit, whatever other lots are looked at with it, and in which order.
@pytest.mark.parametrize("leaves", ["opaque", "translucent"])
@settings(max_examples=6)
@given(seed=st.integers(0, 2**32 - 1), data=st.data())
def test_lots_together_see_what_each_sees_by_itself(leaves, seed, data):
    around, street = a_street(seed, 5)
    spacing = np.array([2.0, 1.0, 2.5, 2.0, 3.0])
    plan = plan_with(views_leaves=leaves, growth_years=12)
    some = data.draw(st.lists(st.sampled_from(range(5)), min_size=1, max_size=5, unique=True))
    whole = together(around, street, some, plan, spacing)
    lines = np.repeat(np.arange(len(some)), [len(street[k]["planting_lines"]) for k in some])
    for number, k in enumerate(some):
        views = plan.views.model_copy(update={"target_spacing": spacing[k]})
        alone = by_itself(
            around,
            street[k],
            around["parcels"].geometry[k],
            plan.model_copy(update={"views": views}),
        )
        assert told(whole, number, lines == number) == told(alone, 0, slice(None))


def test_the_street_has_views_that_plants_close_and_some_that_stay_open():
    around, street = a_street(3, 5)
    seen = together(around, street, range(5), plan_with(growth_years=12), np.full(5, 2.0))
    closes = np.isfinite(seen.year_closed) & (seen.year_closed > 0)
    assert closes.any()
    assert (np.isinf(seen.year_closed) & seen.is_open).any()
    assert (seen.needed_m > 0.5).sum() >= 3


# Invariant: what lies beyond the reach of a lot is not there for it, though another lot sees it.
def test_a_wall_beyond_the_reach_stands_in_nobodys_way():
    around, street = a_street(3, 1)
    house = around["buildings"].iloc[[0]].assign(building_id="far")
    house.geometry = [box(14, 90, 26, 98)]
    wall = around["existing_screens"].iloc[[0]].assign(kind="wall", height_m=20.0, opacity=1.0)
    wall.geometry = [LineString([(-20, 60), (40, 60)])]
    around["buildings"] = gpd.GeoDataFrame(rows_in(around["buildings"], house), geometry="geometry")
    windows = street[0]["windows"].iloc[:1].assign(building_id="far", window_id="far")
    windows.geometry = [Point(20.0, 90.0)]
    lot = street[0] | {
        "windows": windows,
        "private_places": gpd.GeoDataFrame({"place_id": ["p"]}, geometry=[box(18, 4, 22, 9)]),
    }
    with_wall = around | {"existing_screens": wall.reset_index(drop=True)}
    plan, spacing = plan_with(growth_years=12), np.array([2.0])
    seen = together(with_wall, [lot], [0], plan, spacing)
    assert seen.open_now.tolist() == [1.0]
    wall.geometry = [LineString([(-20, 27), (40, 27)])]
    near = together(
        around | {"existing_screens": wall.reset_index(drop=True)}, [lot], [0], plan, spacing
    )
    assert near.open_now.tolist() == [0.0]


def rows_in(*layers) -> list[dict]:
    return [row for layer in layers for row in layer.to_dict("records")]
