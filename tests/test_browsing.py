"""What animals leave: a cut crown is the same crown cut off, ray by ray, and what that opens."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from crown_kit import BOX, COLUMN, CONE, ELLIPSOID, PARABOLOID, POWERS
from options_kit import plan_with

from screenplan.contracts import BROWSED_VIEWS
from screenplan.contracts.tables import notes_of
from screenplan.ground.crown_shapes import shape_of
from screenplan.ground.errors import InputError
from screenplan.outputs.conform import conform
from screenplan.planting.species import load_species
from screenplan.views.crowns import tabulate_crowns
from screenplan.views.kernel import arrange_runs, blocked_years
from screenplan.views.plain import is_met
from screenplan.works.browsing import BARE, look_browsed

SHAPES = (CONE, COLUMN, PARABOLOID, ELLIPSOID, BOX, *POWERS)
YEARS, REACH = 6, 0.9


def rays(rng, feet, count=200):
    """Random rays about plants, level and upright ones among them."""
    middle = feet[rng.integers(0, len(feet), count)] + rng.normal(0.0, 0.9, (count, 3))
    way = rng.normal(0.0, 1.0, (count, 3)) * (6.0, 6.0, 2.0)
    way[:10, :2], way[10:40, 2] = 0.0, 0.0
    return middle - way, middle + way


def above(origin, target, z):
    """The part of each ray above a height; a point where there is none."""
    step = target[:, 2] - origin[:, 2]
    with np.errstate(divide="ignore", invalid="ignore"):
        at = (z - origin[:, 2]) / step
    low = np.where((step > 0.0) & (at > 0.0), at, 0.0)
    high = np.where((step < 0.0) & (at < 1.0), at, 1.0)
    none = (low >= high) | ((step == 0.0) & (origin[:, 2] <= z))
    low, high = np.where(none, 0.0, np.minimum(low, 1.0)), np.where(none, 0.0, np.maximum(high, 0.0))  # fmt: skip
    way = target - origin
    return origin + low[:, None] * way, origin + high[:, None] * way, none


@pytest.mark.parametrize("shape", SHAPES)
def test_a_browsed_crown_is_the_same_crown_cut_off(shape):
    rng = np.random.default_rng(17)
    height = np.cumsum(rng.uniform(0.05, 0.7, (2, YEARS, 1)), axis=1)
    sizes = height, np.minimum(0.3 * height, 0.9), 0.1 * height, 0.1 * height
    feet = np.column_stack([1.1 * np.arange(5), rng.normal(0, 0.3, 5), rng.uniform(0, 1, 5)])
    origin, target = rays(rng, feet)
    crowns = tabulate_crowns([shape], *sizes[:3], across=sizes[3], floor=[REACH])
    runs = arrange_runs(*feet.T, np.zeros(5, int), np.zeros(5, int), crowns)
    found = blocked_years(origin, target, runs, crowns)[:, 0]
    ways = runs.way[np.argsort(runs.order)]
    expected = np.zeros_like(found)
    for foot, way in zip(feet, ways, strict=True):
        begin, end, none = above(origin, target, foot[2] + REACH)
        for g in range(2):
            size = [part[g, :, 0] for part in sizes]
            met = is_met(shape_of(shape), begin[:, None], end[:, None], foot, size, way)
            expected[:, g] |= np.where(none, 0, met @ (1 << np.arange(YEARS)))
    assert np.array_equal(found, expected)
    plain = tabulate_crowns([shape], *sizes[:3], across=sizes[3])
    assert (found != blocked_years(origin, target, runs, plain)[:, 0]).any()  # it cuts something


def test_for_columns_it_is_a_clear_stem():
    rng = np.random.default_rng(3)
    height = np.linspace(1.2, 3.0, YEARS)[None, :, None]
    feet = np.column_stack([1.1 * np.arange(5), np.zeros(5), np.zeros(5)])
    origin, target = rays(rng, feet)
    for shape, same in ((COLUMN, True), (BOX, True), (CONE, False)):
        masks = []
        for clear, floor in ((0.0, [REACH]), (REACH, None)):
            sizes = height, 0.5 + 0.0 * height, clear + 0.0 * height
            crowns = tabulate_crowns([shape], *sizes, floor=floor)
            runs = arrange_runs(*feet.T, np.zeros(5, int), np.zeros(5, int), crowns)
            masks.append(blocked_years(origin, target, runs, crowns))
        assert np.array_equal(*masks) is same


def layer(shapes, **columns):
    return gpd.GeoDataFrame(columns, geometry=list(shapes))


def site(species="hedge", eye=1.5):
    """A window that looks level through a row, 10 m before it, at a terrace 10 m behind it."""
    count = 41
    x = 0.5 * np.arange(count)
    return {
        "windows": layer([shapely.Point(10, 20)], window_id=["w"], floor_m=[0.0], sill_m=[eye - 0.2], height_m=[0.4],
                         width_m=[0.6], facing_deg=[180.0], building_id=[None]),
        "private_places": layer([shapely.box(9.5, -1, 10.5, 0)], place_id=["p"], kind=["terrace"], ground_m=[0.0]),
        "planting_lines": layer([shapely.LineString([(0, 10), (20, 10)])], line_id=["north"]),
        "plants": layer(shapely.points(x, 10.0), plant_id=np.arange(1, count + 1), line_id="north", station_m=x,
                        species=species, stock="container", stock_height_m=2.5, ground_m=0.0, existing=False),
    }  # fmt: skip


def table_of_kinds(level="intolerant"):
    return load_species(
        {
            "hedge": {
                "like": "thuja_smaragd",
                "shape": "box",
                "kept_height": "2.5 m",
                "kept_width": "0.8 m",
                "tolerances": {"browse": level},
            }
        }
    )


def looked(level="intolerant", layers=None, **options):
    found = look_browsed(
        layers or site(), plan=plan_with(growth_years=10, **options),
        species_table=table_of_kinds(level),
    )  # fmt: skip
    conform(found, BROWSED_VIEWS)
    return found


def test_a_view_below_the_reach_opens_and_one_above_it_does_not():
    # By hand: eye and heads are below 1.8 m and above 1.0 m where the rays pass the row.
    low = looked(browsing_reach=1.8).iloc[0]
    assert low["last_fenced"] == 0.0
    assert low["last_browsed"] == 1.0
    assert low["opens"]
    assert pd.isna(low["closes_browsed"])
    high = looked(browsing_reach=0.9).iloc[0]
    assert (high["opens"], high["last_browsed"]) == (False, 0.0)
    assert high["says"] == "closed with and without a fence"


def test_it_is_gone_from_its_year_on_and_by_its_chance():
    found = looked(browsing_reach=1.8, browsing_from_year=4, browsing_chance=0.25).iloc[0]
    assert found["says"] == "opens without a fence from year 4 to the end, up to 100 %"
    assert found["last_mixed"] == pytest.approx(0.25 * found["last_browsed"] + 0.75 * found["last_fenced"])  # fmt: skip


def test_what_stands_browsing_keeps_its_leaves():
    found = looked("tolerant", browsing_reach=1.8)
    assert not found["opens"].any()
    assert "known to stand browsing" in notes_of(found)[0]


def test_it_says_whether_a_fence_must_stay_and_how_high():
    (note,) = notes_of(looked(browsing_reach=1.8))
    assert "1 of the 1 views that close open again" in note
    assert "2.44 m" in note  # 8 ft, Craven and Hygnstrom, 1994 (read)
    assert BARE in note
    (note,) = notes_of(looked(browsing_reach=0.9))
    assert "no fence has to stay" in note


def test_a_year_that_is_not_looked_at_is_refused():
    with pytest.raises(InputError, match=r"from year 20 on, and the plan looks at 10 years.*browsing.from_year"):  # fmt: skip
        looked(browsing_reach=1.8, browsing_from_year=20)
