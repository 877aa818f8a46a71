"""Whole views: closed forms, invariants, words and layers of the result, refusals."""

from dataclasses import replace

import geopandas as gpd
import numba
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pandas.testing import assert_frame_equal
from shapely.geometry import LineString, Point, box
from views_kit import follow as follow_step

from screenplan.contracts import VIEW_HOLES, VIEW_YEARS, VIEWS, year_column
from screenplan.ground.errors import InputError
from screenplan.planting.species_model import Species
from screenplan.planting.stand import stand_of
from screenplan.site.terrain import Terrain
from screenplan.views import sampling
from screenplan.views.crowns import one_growth
from screenplan.views.grown import crowns_of, runs_of
from screenplan.views.obstacles import lay_obstacles
from screenplan.views.openings import openings_of
from screenplan.views.sampling import Outdoors, eyes_behind_each, sample_places
from screenplan.views.timeline import Scene, follow, opens_again, sum_up, year_closed
from screenplan.views.views import trace_views


def species(shape="column", spread=1.0, growth=(0.2, 0.3, 0.4), tall=9.0, **more):
    """A made-up plant that grows in a straight line; its spread is at its cap from the start."""
    return Species(
        key=shape,
        latin_name=shape,
        shape=shape,
        yearly_growth_m=growth,
        mature_height_m=(tall, tall),
        mature_spread_m=(spread, spread),
        establishment_years=0.0,
        spread_share=5.0,
        **more,
    )


TABLE = {
    "column": species(),
    "cone": species("cone", 2.0),
    "ellipsoid": species("ellipsoid", 2.4),
    "stemmed": species("column", clear_stem_share=0.9, clear_stem_m=1.5),
    "oak": species(evergreen=False, winter_share=0.6),
}
#: A house with an upper window, 6 m north of a row along y = 0; a garden 4 to 10 m south of it.
HOUSE = gpd.GeoDataFrame({"building_id": ["h"], "height_m": [6.0]}, geometry=[box(-5, 6, 5, 14)])
LINE = gpd.GeoDataFrame({"line_id": ["north"]}, geometry=[LineString([(-30, 0), (30, 0)])])
GARDEN = gpd.GeoDataFrame({"place_id": ["g"]}, geometry=[box(-6, -10, 6, -4)])


def windows(*points, facing=180.0, sill=3.7, name="w", **more):
    table = {
        "window_id": [f"{name}{k}" for k in range(len(points))],
        "sill_m": sill,
        "height_m": 1.2,
        "width_m": 1.2,
        "facing_deg": facing,
        "floor_m": sill - 0.9,
    }
    return gpd.GeoDataFrame(table | more, geometry=[Point(p) for p in points])


def row(stations, kind="column", stock=0.5, existing=False):
    stations = np.asarray(stations, float)
    table = {
        "plant_id": np.arange(1, len(stations) + 1),
        "line_id": "north",
        "side_id": "north",
        "row": 1,
        "station_m": stations,
        "ground_m": 0.0,
        "species": kind,
        "stock_height_m": stock,
        "existing": existing,
    }
    return gpd.GeoDataFrame(table, geometry=[Point(s - 30, 0) for s in stations])


SHUT = np.arange(0.0, 60.1, 0.9)
WINDOW = windows((0, 6))


def trace(
    w=WINDOW, p=GARDEN, plants=None, buildings=HOUSE, existing_screens=None, no_plant_zones=None,
    *, line=LINE, onlookers=None, **options
):  # fmt: skip
    layers = {
        "windows": w, "private_places": p, "planting_lines": line,
        "plants": row(SHUT) if plants is None else plants, "buildings": buildings,
        "existing_screens": existing_screens, "no_plant_zones": no_plant_zones,
        "onlookers": onlookers,
    }  # fmt: skip
    return follow_step(
        trace_views, layers,
        **{"species_table": TABLE, "growth_curve": "straight", "second_sample": False} | options,
    )  # fmt: skip


def only(layer):
    assert len(layer) == 1
    return layer.iloc[0]


# Closed form: eye at y 7, z 4.0 (floor 2.8 + 1.2); head at y -4, z 1.2. The line falls 2.8 m in
# 11 m; it leaves the touching columns of radius 0.5 last at y -0.5, straight under it, where it is
# at 4.0 - 2.8 * 7.5 / 11 = 2.0909 m, and between two columns where they meet, y about -0.22, at
# 2.162 m. Straight growth from 0.5 m by 0.3 m a year passes 2.0909 in year 6 (2.3 m), not in
# year 5 (2.0 m); by 0.2 m in year 8 (2.1 m) or, between columns, 9 (2.3 m); by 0.4 in year 4 (2.1).
@pytest.mark.parametrize(("x", "years"), [(0.6, (8, 6, 4)), (1.05, (9, 6, 5))])
def test_row_closes_when_it_passes_the_sight_line(x, years):
    # x 0.6 is 30.6 along the row, a stem (34 x 0.9); 1.05 is midway to the next.
    place = gpd.GeoDataFrame(
        {"place_id": ["p"], "eye_seated_m": 1.2, "eye_standing_m": 1.2}, geometry=[Point(x, -4)]
    )
    views, _, holes = trace(
        windows((x, 6), width_m=0.1), place, views_eye_seated=1.2, views_eye_standing=1.2
    )
    view = only(views)
    assert (view.year_closed_low, view.year_closed, view.year_closed_high) == years
    assert view.status == "closes"
    assert [view.open_y03, view.open_y05, view.open_y10] == [1.0, 1.0, 0.0]
    # The last open rays pass over the plants where the line crosses the row: 4.0 - 2.8 * 7 / 11.
    hole = only(holes)
    assert hole.year == years[1] - 1
    assert hole.low_m == pytest.approx(4.0 - 2.8 * 7 / 11, abs=1e-3)
    assert hole.cause.startswith("over plant")
    # All its rays are open until the year before, and none is after it.
    assert hole.open_until == years[1] - 1
    assert hole.cause.endswith(f" until year {years[1] - 1}")
    assert hole.from_m == pytest.approx(x + 30, abs=0.11)


def test_columns_and_types_are_those_of_the_contracts():
    report = (0, 5, 30)
    views, years, holes = trace(views_report_years=report)
    names = []
    for column in VIEWS.columns:
        names += [year_column("open", y) for y in report] if column.per_year else [column.name]
    assert list(views.columns) == [*names, "geometry"]
    assert list(years.columns) == [column.name for column in VIEW_YEARS.columns]
    assert list(holes.columns) == [*[column.name for column in VIEW_HOLES.columns], "geometry"]
    assert set(views.geom_type) | set(holes.geom_type) == {"LineString"}
    for contract, layer in ((VIEWS, views), (VIEW_YEARS, years), (VIEW_HOLES, holes)):
        for column in contract.columns:
            if column.choices:
                assert set(layer[column.name]) <= set(column.choices)
            if column.required:
                assert layer[column.name].notna().all()
            if column.type == "integer":
                assert pd.api.types.is_integer_dtype(layer[column.name])
    assert len(years) == 31 * 3 * 2
    assert np.isclose(views.closed_already + views.open_now, 1.0).all()


def test_layers_keep_the_caller_s_frame_and_are_not_changed():
    crs = "EPSG:32633"
    w, p = WINDOW.set_crs(crs), GARDEN.set_crs(crs)
    w.index, plants = [17], row(SHUT).set_crs(crs)
    plants.index = plants.index * 3 + 5
    before = w.copy(), p.copy(), plants.copy()
    views, _, holes = trace(w, p, plants)
    assert views.crs == holes.crs == w.crs
    for one, two in zip(before, (w, p, plants), strict=True):
        assert_frame_equal(pd.DataFrame(one), pd.DataFrame(two))
    assert_frame_equal(pd.DataFrame(views), pd.DataFrame(trace()[0]))


def test_a_window_that_is_set_apart_is_followed_as_any_other_and_keeps_its_reason():
    apart, _, _ = trace(WINDOW.assign(set_apart=["no room for a plant"]))
    plain, _, _ = trace()
    assert only(apart).set_apart == "no room for a plant"
    assert pd.isna(only(plain).set_apart)
    assert_frame_equal(
        pd.DataFrame(apart.drop(columns="set_apart")), pd.DataFrame(plain.drop(columns="set_apart"))
    )


def test_house_in_between_closes_the_view_already():
    # By construction: a long shed 8 m high between row and garden.
    shed = pd.concat(
        [HOUSE, gpd.GeoDataFrame({"building_id": ["shed"], "height_m": [8.0]}, geometry=[box(-40, -3, 40, -2)])],
        ignore_index=True,
    )  # fmt: skip
    views, _, holes = trace(buildings=shed)
    view = only(views)
    assert (view.status, view.closed_by) == ("closed already", "shed")
    assert (view.closed_already, view.open_now, view.year_closed) == (1.0, 0.0, 0)
    assert holes.empty


def test_own_facade_does_not_count_but_another_wing_does():
    wing = box(5, -20, 7, 14)
    whole = HOUSE.set_geometry([shapely.union(HOUSE.geometry[0], wing)])
    beyond = gpd.GeoDataFrame({"place_id": ["g"]}, geometry=[box(9, -10, 12, -4)])
    assert only(trace(p=beyond)[0]).closed_already == 0.0
    view = only(trace(p=beyond, buildings=whole)[0])
    assert (view.status, view.closed_by) == ("closed already", "h")
    assert only(trace(buildings=whole)[0]).open_now == 1.0


def test_no_view_where_no_ray_passes_the_window():
    behind = gpd.GeoDataFrame({"place_id": ["g"]}, geometry=[box(-6, 20, 6, 24)])
    views, years, holes = trace(p=behind, second_sample=True)
    view = only(views)
    assert (view.status, view.rays) == ("no view", 0)
    assert pd.isna(view.year_closed)
    assert years.empty
    assert holes.empty


# Closed form: one eye in the window; a tall wall hides what lies east of the line from the eye past
# its end. From (0, 6) past (1, -2) that line is x = (6 - y) / 8: over the garden, y -4 to -10, it
# runs from x 1.25 to 2, so 6 - 1.625 of the garden's 12 m are hidden.
@pytest.mark.parametrize(("spacing", "within"), [(2.0, 0.06), (0.25, 0.005)])
def test_share_converges_to_the_closed_form(spacing, within, monkeypatch):
    monkeypatch.setattr(sampling, "MOST_TARGETS", 100_000)
    wall = gpd.GeoDataFrame(
        {"screen_id": ["wall"], "kind": ["wall"], "height_m": [20.0]},
        geometry=[LineString([(1, -2), (60, -2)])],
    )
    views, _, _ = trace(
        windows((0, 6), width_m=0.05), GARDEN, row([]), None, wall,
        views_eye_inside=1e-6, views_eyes_across=1, views_target_spacing=spacing,
        second_sample=True,
    )  # fmt: skip
    view = only(views)
    assert view.closed_already == pytest.approx((6 - 1.625) / 12, abs=within)
    assert view.closed_by == "wall"
    assert 0.0 < view.error_share <= 2 * within


def test_error_is_one_cell_where_all_is_open_and_unknown_where_not_asked():
    # By definition: 12 by 6 positions 1 m apart, seen by 3 eyes.
    view = only(trace(plants=row([]), second_sample=True)[0])
    assert view.error_share == pytest.approx(1.0 / 72 / 3**0.5)
    assert np.isnan(only(trace(plants=row([]))[0]).error_share)


def test_translucent_fence_counts_as_light():
    fence = gpd.GeoDataFrame(
        {"screen_id": ["f"], "kind": ["fence"], "height_m": [20.0], "opacity": [0.3]},
        geometry=[LineString([(-60, -2), (60, -2)])],
    )
    view = only(trace(WINDOW, GARDEN, row([]), HOUSE, fence)[0])
    assert (view.open_now, view.closed_by) == (pytest.approx(0.7), "f")
    assert view.open_y30 == pytest.approx(0.7)


def test_plants_that_drop_their_leaves_leave_a_view_in_winter():
    # By construction: 0.6 of the screening is left, so 0.4 of the light passes in winter.
    views, years, _ = trace(plants=row(SHUT, "oak", 6.0))
    view = only(views)
    assert view.open_y30 == pytest.approx(0.4)
    assert view.status == "stays open"
    last = years[(years.year == 30) & (years.growth == "typical")].set_index("season").open
    assert last["summer"] == 0.0
    assert last["winter"] == pytest.approx(0.4)


def test_row_that_stands_already_screens_from_the_first_year():
    view = only(trace(plants=row(SHUT, stock=8.0, existing=True))[0])
    assert (view.open_now, view.open_y00, view.year_closed) == (1.0, 0.0, 0)


def test_view_that_opens_again_where_crowns_are_not_nested():
    # Ellipsoids at their widest from the start grow only taller: low down they draw apart.
    low = gpd.GeoDataFrame(
        {"place_id": ["p"], "eye_seated_m": 0.3, "eye_standing_m": 0.3}, geometry=[Point(0.0, -4)]
    )
    views, years, _ = trace(
        windows((0, 6), sill=0.1, floor_m=-0.9, height_m=1.0), low,
        row(np.arange(0.0, 60.1, 1.8), "ellipsoid"), HOUSE, views_eye_seated=1.2, views_eye_standing=1.2,
    )  # fmt: skip
    summer = years[(years.growth == "typical") & (years.season == "summer")].open.to_numpy()
    assert summer[0] == 0.0
    assert summer[-1] > 0.1
    # Closed at first is not closed from then on.
    assert only(views).status == "stays open"
    assert pd.isna(only(views).year_closed)


@pytest.mark.parametrize(
    ("shares", "year"),
    [([1, 0.5, 0.1, 0.0], 2), ([1, 0.0, 0.5, 0.1], 3), ([1, 1, 1, 0.2], None), ([0.0, 0.1], 0)],
)
def test_year_closed_by_hand(shares, year):
    assert year_closed(shares, 0.1) == year


@settings(max_examples=10)
@given(st.lists(st.integers(0, 66), min_size=1, max_size=12, unique=True), st.integers(0, 66))
def test_one_more_plant_never_opens_a_view_nor_does_growth(chosen, more):
    one = trace(plants=row(0.9 * np.array(sorted(chosen)), "cone"))[1]
    two = trace(plants=row(0.9 * np.array(sorted({*chosen, more})), "cone"))[1]
    assert (two.open <= one.open + 1e-9).all()
    for _, share in one.groupby(["growth", "season"]).open:
        assert (np.diff(share) <= 1e-9).all()
    # More growth never opens either, as these crowns hold each other too.
    by = one.pivot_table(index=["year", "season"], columns="growth", values="open")
    assert (by.high <= by.typical + 1e-9).all()
    assert (by.typical <= by.low + 1e-9).all()


# Invariance: the whole site turned, moved and mirrored. A head that sits on a crown's edge may
# change by rounding: a ray in some hundred.
@settings(max_examples=8)
@given(st.floats(1, 359), st.floats(-200, 200), st.booleans())
def test_turned_moved_and_mirrored(angle, east, mirrored):
    def move(layer):
        shapes = layer.geometry
        if mirrored:
            shapes = shapes.scale(xfact=-1.0, origin=(0, 0))
        return layer.set_geometry(shapes.rotate(-angle, origin=(0, 0)).translate(east, 4.0))

    # Measures that put no ray on the edge of the opening.
    plants, window = row(SHUT[5:50]), windows((0.137, 6))
    garden = GARDEN.set_geometry([box(-5.83, -9.71, 6.07, -4.13)])
    one = only(trace(window, garden, plants)[0])
    turned = move(window).assign(facing_deg=(180.0 + angle) % 360.0)
    two = only(trace(turned, move(garden), move(plants), move(HOUSE), line=move(LINE))[0])
    assert two.rays == one.rays
    for name in ("open_now", "open_y05", "open_y10", "open_y30"):
        assert two[name] == pytest.approx(one[name], abs=0.01)


def gate(*stations):
    stations = np.array(stations)
    zone = gpd.GeoDataFrame(
        {"feature": ["property_line", "gate"]},
        geometry=[box(-40, -3, 40, 3), box(-1.2, -1, 1.2, 1)],
    )
    return row(stations, stock=8.0), zone


def test_gap_at_a_gate_is_named():
    plants, zones = gate(*SHUT[(SHUT < 28.5) | (SHUT > 31.5)])
    _, _, holes = trace(WINDOW, GARDEN, plants, HOUSE, None, zones)
    hole = only(holes)
    # By construction: plants 1 to 32 stand before the gate.
    assert hole.cause == "between plants 32 and 33, which leave room for the gate"
    assert 27.9 < hole.from_m < hole.to_m < 32.1
    assert hole.line_id == "north"
    assert shapely.distance(hole.geometry, LINE.geometry[0]) < 1e-9
    _, _, holes = trace(WINDOW, GARDEN, plants, HOUSE)
    assert only(holes).cause == "between plants 32 and 33, which stand wide apart"


def test_rays_past_the_end_of_the_row():
    # By construction: the row ends at station 30, and the view to the east stays.
    views, _, holes = trace(plants=row(SHUT[SHUT <= 30], stock=8.0))
    assert only(holes).cause == "past plant 34, where the row ends"
    assert only(views).status == "stays open"
    assert only(views).last_station_m.startswith("north 30")


def test_what_takes_the_ground_beyond_the_row_is_named():
    # By construction: a drive from station 30.5 on, where the row ends.
    zones = gpd.GeoDataFrame(
        {"feature": ["property_line", "driveway"]},
        geometry=[box(-40, 1, 40, 3), box(0.5, -3, 5, 3)],
    )
    _, _, holes = trace(WINDOW, GARDEN, row(SHUT[SHUT <= 30], stock=8.0), HOUSE, None, zones)
    assert only(holes).cause == "past plant 34, where the row stops short of the driveway"
    assert pd.isna(only(holes).open_until)


def test_rays_that_miss_the_line_are_told_before_its_peg():
    short = LINE.set_geometry([LineString([(1.5, 0), (30, 0)])])
    plants = row(SHUT[SHUT > 31.5], stock=8.0)
    plants["station_m"] -= 31.5
    _, _, holes = trace(plants=plants, line=short)
    hole = only(holes)
    assert hole.cause == "past plant 1, where the row ends"
    assert hole.from_m < 0.0
    assert hole.geometry.bounds[0] == pytest.approx(1.5 + hole.from_m, abs=1e-3)


def test_rays_under_the_crowns():
    low = gpd.GeoDataFrame(
        {"place_id": ["p"], "eye_seated_m": 0.4, "eye_standing_m": 0.4},
        geometry=[box(-1, -6, 1, -4)],
    )
    _, _, holes = trace(
        windows((0, 6), sill=0.5, height_m=1.2), low, row(SHUT, "stemmed", stock=8.0),
        views_eye_seated=1.2, views_eye_standing=1.2,
    )  # fmt: skip
    assert len(holes)
    assert holes.cause.str.match(
        r"under the crowns of plants \d+ (and|to) \d+, below \d\.\d m"
    ).all()


def test_rays_between_cones():
    # Cones of 2 m at 1.8 m touch near the ground only.
    _, _, holes = trace(plants=row(np.arange(0.0, 60.1, 1.8), "cone", stock=8.9))
    assert len(holes)
    assert holes.cause.str.contains(r"between plants \d+ (?:and|to) \d+ above \d\.\d m").all()


def test_slope_blocks_and_carries():
    # By hand: a ridge of 6 m along y -3 hides the garden from the window.
    y = np.arange(-20.0, 21.0)
    z = np.tile(np.where(y == -3, 6.0, 0.0)[:, None], (1, 81))
    ridge = Terrain(z, -40.0, -20.0, 1.0, 1.0)
    view = only(trace(WINDOW, GARDEN, row(SHUT), HOUSE, terrain=ridge)[0])
    assert (view.status, view.closed_by) == ("closed already", "terrain")
    # A level raster is the flat site.
    level = Terrain(np.zeros_like(z) + [[1.0]] * 41, -40.0, -20.0, 1.0, 1.0)
    one, two = trace(), trace(WINDOW, GARDEN, row(SHUT), HOUSE, terrain=Terrain.flat(0.0))
    assert_frame_equal(one[1], two[1])
    raised = trace(
        WINDOW.assign(floor_m=3.8), GARDEN, row(SHUT).assign(ground_m=1.0), HOUSE, terrain=level
    )
    assert np.allclose(one[1].open, raised[1].open, atol=0.01)


def test_portions_do_not_change_the_sum():
    openings = openings_of(WINDOW, HOUSE)
    (opening,) = openings
    eyes = eyes_behind_each(openings, inside_m=1.0, heights_m=(1.2, 1.6), across=3).xyz
    targets = sample_places(GARDEN, Outdoors(), spacing_m=1.0).coarse.row(0)
    stand = stand_of(row(SHUT), species_table=TABLE, years=30, curve="straight")
    crowns = crowns_of(stand)
    scene = Scene(lay_obstacles(HOUSE), runs_of(stand, crowns), crowns)
    whole = sum_up(follow(opening, eyes, targets, scene), scene)
    for portion in (1, 37, 500):
        parts = list(follow(opening, eyes, targets, scene, portion))
        assert max(len(part.light) for part in parts) <= max(portion, len(targets))
        again = sum_up(iter(parts), scene)
        assert again.rays == whole.rays
        assert np.allclose(again.open, whole.open, atol=1e-12)


def test_without_plants_or_windows():
    views, years, holes = trace(plants=row([]))
    assert only(views).status == "stays open"
    assert set(holes.cause) == {"no plant on this row"}
    views, years, holes = trace(WINDOW.iloc[:0])
    assert views.empty
    assert years.empty
    assert holes.empty
    assert "status" in views.columns


def zero_height(plants):
    plants.loc[2, "stock_height_m"] = 0.0
    return plants


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"plants": zero_height(row(SHUT))}, "layer plants, row 3: a plant has no height when"),
        ({"plants": row(SHUT, stock=float("nan"))}, "has no height when planted"),
        ({"plants": row(SHUT, stock=80.0)}, "taller than 60 m"),
        ({"plants": row(SHUT, "palm")}, "species is not in the table: palm"),
        ({"plants": row(SHUT).assign(ground_m=np.nan)}, "has no ground height"),
        ({"plants": row([3.0]).set_geometry([Point()])}, "row 1: a plant has no place"),
        ({"line": LINE.set_geometry([LineString()])}, "layer planting_lines, row 1"),
        ({"p": GARDEN.set_geometry([Point(0, 0.1)])}, "of a planting line"),
        ({"p": GARDEN.set_geometry([Point(0, 10)])}, "inside a building"),
        ({"p": GARDEN.set_geometry([Point(0, 6)])}, "same position as window w0"),
        ({"w": windows((0, 6), sill=float("nan"), floor_m=2.8)}, "no sill height"),
        ({"w": windows((0, 10))}, "from the walls of its building"),
    ],
)
def test_bad_input_is_refused(options, says):
    if "from the walls" in says:
        options = {"w": options["w"].assign(building_id="h")}
    with pytest.raises(InputError, match=says):
        trace(**options)


@pytest.mark.parametrize("missing", [None, np.nan, pd.NA, ""], ids=["None", "NaN", "NA", "text"])
def test_a_window_that_names_no_building_belongs_to_the_wall_on_which_it_lies(missing):
    named, bare = (windows((0, 6), building_id=[value]) for value in ("h", missing))
    # Invariant: the wall tells the building that the name tells.
    pd.testing.assert_frame_equal(trace(w=named)[0], trace(w=bare)[0])


def test_species_table_by_default_is_the_shipped_one():
    with pytest.raises(InputError, match="not in the table: column"):
        trace(species_table=None)
    assert len(trace(plants=row(SHUT, "thuja_occidentalis"), species_table=None)[0]) == 1


def test_growth_classes_are_shared():
    plants = row(SHUT)
    stand = stand_of(plants, species_table=TABLE, years=5, curve="straight")
    crowns = crowns_of(stand)
    assert crowns.height.shape == (1, 3, 6)
    assert set(stand.start) == {0}
    two = pd.concat([plants, row([3.3], stock=1.0)], ignore_index=True)
    several = crowns_of(stand_of(two, species_table=TABLE, years=5))
    assert several.height.shape == (2, 3, 6)
    # Loops are compiled for the types of their arrays, and so but once.
    assert numba.typeof(several) == numba.typeof(crowns)
    assert numba.typeof(one_growth(several, 1)) == numba.typeof(one_growth(crowns, 1))
    # Closed form: straight growth of 0.3 m a year from 0.5 m.
    assert crowns.height[0, 1] == pytest.approx(0.5 + 0.3 * np.arange(6))
    slow = {"column": replace(TABLE["column"], establishment_years=2.0)}
    stands = row(SHUT, existing=True)
    later = stand_of(plants, species_table=slow, years=5, curve="straight").height[0, 1]
    rooted = stand_of(stands, species_table=slow, years=5, curve="straight").height[0, 1]
    assert (rooted[1:] > later[1:]).all()
    assert len(runs_of(stand, crowns).x) == len(plants)


def test_a_view_that_is_open_again_is_told_by_its_first_such_year():
    # By hand.
    assert opens_again([1.0, 0.0, 0.5], 0.1) == 2
    assert opens_again([1.0, 0.0, 0.05], 0.1) is None
    assert opens_again([1.0, 0.5], 0.1) is None
