"""Sight lines and sections against similar triangles and the crown's own closed form."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from views_kit import follow

from screenplan.contracts import SECTIONS, SIGHT_LINES, SIGHT_OUTLINES
from screenplan.outputs.conform import conform
from screenplan.planting.growth import height_at, spread_at
from screenplan.planting.species import load_species
from screenplan.site.terrain import Terrain
from screenplan.views.obstacles import HEDGE_WIDTH_M
from screenplan.views.sections import BEHIND_M, cut_sections

SPECIES = "thuja_occidentalis"
#: The same as a cone, of which cuts have closed forms.
CONES = load_species({SPECIES: {"shape": "cone"}})
ROW_Y, PLACE_Y = 10.0, 20.0


def layer(geometries, **columns):
    return gpd.GeoDataFrame(columns, geometry=list(geometries))


WINDOWS = layer([shapely.Point(0, 0)], window_id=["w"], sill_m=[3.7], height_m=[1.2], width_m=[0.05], facing_deg=[0.0], floor_m=[2.8])  # fmt: skip
PLACES = layer([shapely.Point(0, PLACE_Y)], place_id=["p"], eye_seated_m=[1.2], eye_standing_m=[1.2])  # fmt: skip
LINES = layer([shapely.LineString([(-6, ROW_Y), (6, ROW_Y)])], line_id=["r"])
PLANTS = layer(
    [shapely.Point(x, ROW_Y) for x in (-4.0, 0.0, 4.0)], plant_id=[1, 2, 3], line_id=["r"] * 3, species=[SPECIES] * 3,
    stock_height_m=[0.9] * 3, existing=[False] * 3, ground_m=[0.0] * 3, station_m=[2.0, 6.0, 10.0],
)  # fmt: skip
VIEWS = pd.DataFrame({"view_id": ["w to p"], "status": ["closes"], "year_closed": pd.array([9], "Int64"), "open_now": [1.0]})  # fmt: skip


def cut(**changes):
    given = {"windows": WINDOWS, "private_places": PLACES, "planting_lines": LINES, "plants": PLANTS, "views": VIEWS}  # fmt: skip
    given |= {
        name: changes.pop(name)
        for name in list(changes)
        if name in given or name == "existing_screens"
    }
    # One eye in the middle of the window, at one height: the ray is known.
    options = {
        "growth_show_years": (0, 20),
        "views_eyes_across": 1,
        "views_eye_seated": 1.6,
        "views_eye_standing": 1.6,
    }
    return follow(cut_sections, given, **(options | changes))


def test_sight_line_follows_similar_triangles():
    lines, outlines, _ = cut()
    conform(lines, SIGHT_LINES)
    conform(outlines, SIGHT_OUTLINES)
    sight = lines.iloc[0]
    # The eye is 1 m behind the wall, 1.6 m above a floor at 2.8 m: z = 4.4 − 3.2 (y + 1) / 21.
    assert sight.eye_z_m == pytest.approx(4.4 - 3.2 / 21.0, abs=2e-3)
    assert sight.above_m == pytest.approx(4.4 - 3.2 * 11.0 / 21.0, abs=2e-3)
    assert sight.head_z_m == pytest.approx(1.2)
    assert (sight.line_id, sight.station_m) == ("r", pytest.approx(6.0, abs=0.01))
    assert (sight.sill_z_m, sight.top_z_m) == pytest.approx((3.7, 4.9))
    assert sight.length_m == pytest.approx(PLACE_Y, abs=2e-3)
    assert outlines["above_m"].between(sight.above_m - 1e-3, sight.above_m + 1e-3).all()
    assert outlines["station_m"].min() <= 6.0 <= outlines["station_m"].max()


def test_section_cuts_the_crown_through_its_stem():
    table = cut(species_table=CONES)[2]
    conform(table, SECTIONS)
    species = CONES[SPECIES]
    assert table["distance_m"].max() == pytest.approx(PLACE_Y + BEHIND_M, abs=0.01)
    for year in (0, 20):
        height = float(height_at(species, year, stock_height_m=0.9))
        half = float(spread_at(species, height)) / 2.0
        away = np.abs(table["distance_m"] - ROW_Y)
        # A cone cut through its axis: h (1 − r / (w/2)), nothing beyond its edge.
        expected = np.where(away < half, height * (1.0 - away / half), np.nan)
        got = table[f"crown_to_y{year:02d}"].to_numpy()
        inside = away < half - 0.01
        assert inside.any()
        assert got[inside] == pytest.approx(expected[inside], abs=0.02)
        assert np.isnan(got[away > half + 0.01]).all()
        assert table[f"crown_from_y{year:02d}"].to_numpy()[inside] == pytest.approx(0.0)


def test_section_beside_a_stem_is_a_hyperbola():
    windows = WINDOWS.set_geometry([shapely.Point(0.3, 0)])
    places = PLACES.set_geometry([shapely.Point(0.3, PLACE_Y)])
    table = cut(windows=windows, private_places=places, species_table=CONES)[2]
    species = CONES[SPECIES]
    height = float(height_at(species, 20, stock_height_m=0.9))
    half = float(spread_at(species, height)) / 2.0
    # A cone cut beside its axis by a vertical plane: r = √(0.3² + (y − 10)²).
    r = np.hypot(0.3, table["distance_m"] - ROW_Y)
    inside = r < half - 0.01
    assert table["crown_to_y20"][inside].to_numpy() == pytest.approx(
        (height * (1.0 - r / half))[inside].to_numpy(), abs=0.02
    )


def test_section_shows_the_ground_and_what_stands():
    y = np.arange(-10.0, 41.0, 2.0)
    slope = Terrain(z=np.repeat((0.1 * y)[:, None], 21, axis=1), x0=-20.0, y0=-10.0, dx=2.0, dy=2.0)
    wall = layer([shapely.LineString([(-3, 5), (3, 5)])], screen_id=["s"], kind=["wall"], height_m=[1.5], width_m=[1.0])  # fmt: skip
    plants = PLANTS.assign(ground_m=1.0)
    table = cut(plants=plants, terrain=slope, existing_screens=wall)[2]
    assert table["ground_m"].to_numpy() == pytest.approx(0.1 * table["distance_m"], abs=0.01)
    there = table["stands_to_m"].notna()
    assert table.loc[there, "distance_m"].between(4.49, 5.51).all()
    assert (table["stands_to_m"] - table["ground_m"])[there].to_numpy() == pytest.approx(1.5)


def test_a_hedge_that_is_one_plant_is_cut_as_wide_as_it_stops_rays():
    hedge = layer([shapely.Point(0, 5.0)], kind=["hedge"], height_m=[2.0])
    table = cut(existing_screens=hedge)[2]
    there = table["stands_to_m"] == 2.0
    # Arithmetic: it is cut through its middle, half of its thickness to either side.
    cut_through = (table["distance_m"] - 5.0).abs() < HEDGE_WIDTH_M / 2.0
    assert there.any()
    assert (there == cut_through).all()


def test_nothing_to_cut_gives_empty_tables_by_contract():
    for lines, outlines, table in (cut(views=VIEWS.assign(status="no view")), cut(plants=PLANTS.iloc[:0], views=VIEWS.iloc[:0])):  # fmt: skip
        assert lines.empty
        assert outlines.empty
        assert table.empty
        conform(lines, SIGHT_LINES)
        conform(table, SECTIONS)


def test_a_view_beside_the_row_crosses_no_line():
    far = LINES.set_geometry([shapely.LineString([(50, ROW_Y), (60, ROW_Y)])])
    lines, outlines, table = cut(planting_lines=far)
    assert lines["line_id"].isna().all()
    assert outlines.empty
    assert len(table)


def test_inputs_are_left_as_they_were():
    before = [frame.copy() for frame in (WINDOWS, PLACES, LINES, PLANTS)]
    cut()
    for old, now in zip(before, (WINDOWS, PLACES, LINES, PLANTS), strict=True):
        assert old.equals(now)
