"""The needed height of an opaque sheet: closed forms, the sheet put up, and species held against it."""

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from options_kit import plan_with
from shapely.geometry import LineString, Point, box
from test_views import GARDEN, HOUSE, LINE, WINDOW, windows
from test_views import TABLE as PLANTS
from views_kit import follow

from screenplan.contracts import NEEDED_HEIGHT, NEEDED_PROFILE, NEEDED_YEARS, year_column
from screenplan.ground.errors import InputError
from screenplan.planting.closure import close_rows
from screenplan.planting.species import load_species
from screenplan.site.terrain import Terrain
from screenplan.views.closing import row_closing
from screenplan.views.needed_height import (
    Crossings,
    cross_lines,
    find_needed_height,
    height_for,
    most_needed,
    needed_along,
)
from screenplan.views.sight import lay_sight

#: Made-up plants of 0.5 m that grow in a straight line, by 0.2, 0.3 and 0.4 m a year, up to 9 m.
TABLE = {key: replace(kind, stock_height_m=0.5) for key, kind in PLANTS.items()}


def find(w=WINDOW, p=GARDEN, line=LINE, buildings=HOUSE, existing_screens=None, **options):
    layers = {
        "windows": w, "private_places": p, "planting_lines": line, "buildings": buildings,
        "existing_screens": existing_screens, "onlookers": options.pop("onlookers", None),
    }  # fmt: skip
    options = {
        "species_table": TABLE,
        "plants_species": "cone",
        "growth_curve": "straight",
    } | options
    return follow(find_needed_height, layers, **options)


def head(x, y, z=1.2):
    table = {"place_id": ["p"], "eye_seated_m": z, "eye_standing_m": z}
    return gpd.GeoDataFrame(table, geometry=[Point(x, y)])


# Closed form: eye at y 7, z 4.0; head at y -4, z 1.2. At the line, y 0, the ray is at
# 4.0 - 2.8 * 7 / 11 = 2.2182 m, rounded up to the millimetre.
def test_height_at_which_one_ray_crosses():
    needed, profile, _ = find(
        windows((0.6, 6), width_m=0.1), head(0.6, -4), views_eye_seated=1.2, views_eye_standing=1.2
    )
    with_rays = needed[needed["rays"] > 0]
    assert len(with_rays) == 1
    row = with_rays.iloc[0]
    assert (row.needed_m, row.needed_for_all_m) == (2.219, 2.219)
    assert row.lowest_m == pytest.approx(4.0 - 2.8 * 7 / 11)
    assert row.from_m <= 30.6 <= row.to_m
    assert row.view_id == "w0 to p"
    assert (needed.loc[needed["rays"] == 0, "needed_m"] == 0.0).all()
    assert profile["needed_m"].max() == 2.219


# By hand: of five rays of light 1, heights 1 to 5, 60 % are stopped by three; with most light low,
# one is enough.
def test_height_for_a_share_by_hand():
    above, light = np.array([3.0, 1.0, 5.0, 2.0, 4.0]), np.ones(5)
    assert height_for(above, light, 0.6) == pytest.approx(3.001)
    assert height_for(above, light, 0.61) == pytest.approx(4.001)
    assert height_for(above, light, 1.0) == pytest.approx(5.001)
    assert height_for(above, np.array([0.1, 5.0, 0.1, 0.1, 0.1]), 0.9) == pytest.approx(1.001)
    assert height_for(np.array([-1.0]), np.ones(1), 1.0) == pytest.approx(0.001)
    assert height_for(np.zeros(0), np.zeros(0), 1.0) == 0.0


# The sheet itself put up as a wall, stretch by stretch: it stops the share that was asked for, and
# one that is 2 cm lower, where there are rays that high, does not.
@pytest.mark.parametrize("share", [0.5, 0.9, 1.0])
def test_a_sheet_of_the_needed_height_stops_the_share(share):
    w = pd.concat([windows((0, 6)), windows((-3, 6), sill=0.9, name="low")], ignore_index=True)
    needed, *_ = find(w, views_needed_share=share, views_needed_step=1.5)
    layers = {"windows": w, "private_places": GARDEN, "planting_lines": LINE, "buildings": HOUSE}

    def crossings(screens=None):
        sight = lay_sight(layers | {"existing_screens": screens})
        return cross_lines(sight, list(LINE.geometry))[0]

    def left(lower):
        sheets = needed[needed["needed_m"] > lower + 0.01]
        walls = gpd.GeoDataFrame(
            {
                "screen_id": sheets["needed_id"].to_list(), "kind": "wall",
                "height_m": sheets["needed_m"].to_numpy() - lower,
            },
            geometry=list(sheets.geometry),
        )  # fmt: skip
        return crossings(walls)

    def by_stretch(met):
        place = np.searchsorted(needed["to_m"].to_numpy(), met.station)
        return np.bincount(place, weights=met.light, minlength=len(needed))

    every, through = by_stretch(crossings()), by_stretch(left(0.0))
    assert (through <= (1.0 - share) * every + 1e-9).all()
    lower = by_stretch(left(0.02))
    asked = every > 20
    assert asked.sum() >= 3
    assert (lower[asked] > through[asked]).mean() > 0.5
    if share == 1.0:
        assert through.sum() == 0.0
        assert (needed["needed_m"] == needed["needed_for_all_m"]).all()


def test_what_is_closed_already_asks_for_nothing():
    shed = pd.concat(
        [HOUSE, gpd.GeoDataFrame({"building_id": ["s"], "height_m": [8.0]}, geometry=[box(-40, -3, 40, -2)])],
        ignore_index=True,
    )  # fmt: skip
    needed, _, years = find(buildings=shed)
    assert (needed["needed_m"] == 0.0).all()
    assert set(needed["reached"]) == {"nothing needed"}
    assert set(years["reached"]) == {"nothing needed"}


# Closed form: on ground that falls 1 in 5 to the south the row stands at 0, the room's floor at
# 4.2 m, the head at -0.8: eye 5.4, head 0.4, crossing at 5.4 - 5.0 * 7 / 11.
def test_heights_count_from_the_ground_at_the_line():
    ground = Terrain(np.tile(np.linspace(-12, 12, 25)[:, None], (1, 25)), -60, -60, 5, 5)
    house = HOUSE.assign(floor_m=1.4)
    needed, *_ = find(
        windows((0.6, 6), width_m=0.1).assign(floor_m=4.2, sill_m=3.3), head(0.6, -4),
        LINE, house, terrain=ground, views_eye_seated=1.2, views_eye_standing=1.2,
    )  # fmt: skip
    row = needed[needed["rays"] > 0].iloc[0]
    assert row.lowest_m == pytest.approx(5.4 - 5.0 * 7 / 11)
    assert row.ground_m == pytest.approx(0.0)
    lifted = LINE.set_geometry([LineString([(-30, 2.5), (30, 2.5)])])
    needed, *_ = find(
        windows((0.6, 6), width_m=0.1).assign(floor_m=4.2, sill_m=3.3), head(0.6, -4), lifted, house,
        terrain=ground, views_eye_seated=1.2, views_eye_standing=1.2,
    )  # fmt: skip
    row = needed[needed["rays"] > 0].iloc[0]
    assert row.lowest_m == pytest.approx(5.4 - 5.0 * 4.5 / 11 - 0.5)


# Closed forms at spacing 1.5 m, both 0.3 m a year from 0.5 m with their spread at its cap. Cones
# of 2 m: closed up to h (1 - 1.5 / 2), so 2.219 m wants h = 8.876 m, year 28 (8.9 m); their 9 m
# end at 2.25 m. Columns of 1 m never meet at 1.5 m, at 0.9 m they are closed up to h: year 6 (2.3).
def test_two_crown_shapes_reach_it_when_their_rows_close():
    options = {"views_eye_seated": 1.2, "views_eye_standing": 1.2}
    site = windows((0.6, 6), width_m=0.1), head(0.6, -4)
    _, profile, years = find(*site, rows_spacing=1.5, views_report_years=(0, 10, 30), **options)
    by = years.set_index("species")
    assert by.loc["cone", "planned"]
    assert by["planned"].sum() == 1
    assert (by.loc["cone", "shape"], by.loc["column", "shape"]) == ("cone", "column")
    assert by.loc["cone", "year_reached"] == 28
    assert pd.isna(by.loc["cone", "year_reached_low"])  # 0.5 + 0.2 * 30 = 6.5 m
    assert by.loc["cone", "year_reached_high"] == 21  # 0.5 + 0.4 * 21 = 8.9 m
    assert by.loc["cone", "reached"] == "year 28 (21 to never); growth: own figures"
    assert by.loc["cone", "mature_closed_height_m"] == pytest.approx(2.25)
    assert by.loc["column", "reached"] == "never at this spacing"
    assert by.loc["column", "mature_closed_height_m"] == 0.0
    assert profile["closed_y10"].unique() == pytest.approx([3.5 / 4])
    _, _, years = find(*site, rows_spacing=0.9, plants_species="column", **options)
    by = years.set_index("species")
    assert by.loc[
        "column", ["year_reached_low", "year_reached", "year_reached_high"]
    ].to_list() == [9, 6, 5]
    assert by.loc["column", "reached"] == "year 6 (5 to 9); growth: own figures"


# The step that measures closure finds pairs and gaps by itself, on plants that stand; the band of a
# pair is the closed form of both.
@pytest.mark.parametrize("spacing", [1.2, 2.0])
def test_closing_agrees_with_the_closure_of_rows(spacing):
    table = load_species()
    for key in ("thuja_standishii_plicata", "ilex_vomitoria", "juniperus_scopulorum"):
        closing = row_closing(table[key], spacing, years=30)
        stations = spacing * np.arange(5)
        plants = gpd.GeoDataFrame(
            {
                "plant_id": range(5), "line_id": "l", "row": 1, "station_m": stations,
                "species": key, "stock_height_m": table[key].stock_height_m, "existing": False,
                "gap_before_m": [np.nan, *[spacing] * 4],
            },
            geometry=[Point(s, 0) for s in stations],
        )  # fmt: skip
        line = gpd.GeoDataFrame(
            {"line_id": ["l"], "row": 1, "side_id": "l"},
            geometry=[LineString([(0, 0), (4 * spacing, 0)])],
        )
        closure = close_rows(
            plants,
            line,
            plan=plan_with(rows_spacing=spacing, growth_asked_height=1.5, growth_years=30),
        ).set_index("growth")
        for g, growth in enumerate(("low", "typical", "high")):
            year = closure.loc[growth, "year_closed"]
            assert closing.year_reached(g, 1.5) == (None if pd.isna(year) else year)
        assert closing.mature_height_m == pytest.approx(
            closure.loc["typical", "mature_closed_height_m"], abs=1e-6
        )


# Closed form: the ray crosses the line at 2.2182 m (above); crowns that are bare up to 2.5 m in the
# end let it pass, though they meet far above it.
def test_a_species_that_one_looks_through_below_is_not_offered():
    stilts = replace(
        TABLE["cone"],
        key="stilts",
        clear_stem_share=0.5,
        clear_stem_m=2.5,
        mature_height_m=(12, 12),
    )
    table = {**TABLE, "stilts": stilts}
    one_ray = {"views_eye_seated": 1.2, "views_eye_standing": 1.2}
    _, _, years = find(
        windows((0.6, 6), width_m=0.1),
        head(0.6, -4),
        species_table=table,
        rows_spacing=0.5,
        growth_years=60,
        **one_ray,
    )
    rows = years.set_index("species")
    assert rows["lowest_m"].to_numpy() == pytest.approx(4.0 - 2.8 * 7 / 11)
    bare, leafy = rows.loc["stilts"], rows.loc["cone"]
    assert leafy["year_reached"] > 0
    assert bare["mature_closed_height_m"] > bare["needed_m"]
    assert bare["mature_closed_from_m"] == pytest.approx(2.5)
    assert pd.isna(bare["year_reached"])
    assert bare["reached"] == "never: one looks through below its crowns"
    # In the years in which its bare stem is lower it has closed, and opens again.
    closing = row_closing(stilts, 0.5, years=20, curve="straight")
    once = (closing.height[1] >= 2.219) & (closing.low[1] <= 2.2182)
    assert once.any()
    assert not once[-1]
    assert closing.year_reached(1, 2.219, 2.2182) is None


def test_words_for_what_is_out_of_reach():
    slow = row_closing(TABLE["cone"], 1.5, years=10, curve="straight")
    assert slow.in_words(1.2) == "not within 10 years"
    assert slow.in_words(1.1) == "never (10 to never); growth: own figures"  # 4.5 m / 4 = 1.125
    assert slow.in_words(2.3) == "never at this spacing"
    assert slow.in_words(0.0) == "nothing needed"
    even = row_closing(TABLE["column"], 0.9, years=10, curve="straight")
    assert even.in_words(0.4) == "year 0; growth: own figures"


def test_layers_by_contract_cover_each_line_once():
    two = gpd.GeoDataFrame(
        {"line_id": ["a", "b"]},
        geometry=[LineString([(-30, 0), (0, 0), (10, 3)]), LineString([(-10, 2), (10, 2)])],
        crs="EPSG:32633",
    )
    needed, profile, years = find(line=two, views_needed_step=0.7, views_report_years=(0, 5))
    assert [*needed.columns] == [*(c.name for c in NEEDED_HEIGHT.columns), "geometry"]
    names = [c.name for c in NEEDED_PROFILE.columns if not c.per_year]
    assert [*profile.columns] == [*names, year_column("closed", 0), year_column("closed", 5)]
    assert [*years.columns] == [c.name for c in NEEDED_YEARS.columns]
    assert needed.crs == two.crs
    assert needed["needed_id"].is_unique
    for line_id, shape in zip(two["line_id"], two.geometry, strict=True):
        mine = needed[needed["line_id"] == line_id]
        assert shapely.length(mine.geometry.to_numpy()).sum() == pytest.approx(shape.length)
        assert (mine["to_m"] - mine["from_m"]).max() <= 0.7 + 1e-9
        assert (mine["from_m"].to_numpy()[1:] == mine["to_m"].to_numpy()[:-1]).all()
    assert len(profile) == 2 * len(needed)
    assert len(years) == 2 * len(TABLE)


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"plants_species": "palm"}, "palm"),
        ({"line": LINE.set_geometry([LineString()])}, "layer planting_lines, row 1"),
    ],
)
def test_bad_parameters_are_refused(options, says):
    with pytest.raises(InputError, match=says):
        find(**options)


# Another library: numpy parts the line and places the crossings; and each line is told as if it were alone.
@given(st.integers(0, 2**32 - 1), st.sampled_from([0.5, 0.9, 1.0]))
def test_many_lines_need_what_each_alone_needs(seed, share):
    rng = np.random.default_rng(seed)
    views = plan_with(views_needed_share=share, views_needed_step=2.5).views
    lines = [LineString([(0, 0), (length, 0)]) for length in rng.uniform(0.4, 40.0, 5)]
    lengths, line = np.array([line.length for line in lines]), rng.integers(0, 4, 60)
    # Some at the ends of stretches, where rounding would show.
    station = rng.choice(np.linspace(0.0, 1.0, 33), 60) * lengths[line]
    light, above = rng.choice([0.3, 0.7, 1.0], 60), rng.uniform(-1.0, 5.0, 60)
    met = Crossings(station, above, light, np.zeros(60, int), line)
    told = most_needed(lengths, met, views)
    assert told[4] == 0.0
    for number, shape in enumerate(lines):
        own = met.only(line == number)
        along = needed_along(shape, own, Terrain.flat(), views)
        assert told[number] == along.needed_m.max()
        ends = np.linspace(0.0, shape.length, len(along.ends))
        assert np.array_equal(along.ends, ends)
        place = np.clip(np.searchsorted(ends, own.station, side="right") - 1, 0, len(ends) - 2)
        by_hand = [
            height_for(own.above[place == k], own.light[place == k], share)
            for k in range(len(ends) - 1)
        ]
        assert along.needed_m.tolist() == by_hand
