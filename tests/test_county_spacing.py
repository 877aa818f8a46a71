"""How closely a parcel of a county is looked at: never more rays than are allowed, and no fewer than needed."""

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from options_kit import plan_with

from screenplan.county.spacing import WIDEST_M, rays_at, spacing_for_each
from screenplan.site.lots import Many
from screenplan.views.positions import FEWEST_POSITIONS
from screenplan.views.sampling import MOST_TARGETS


def many(*layers):
    """Layers of several lots, each from its shapes."""
    shapes = [shape for some in layers for shape in some]
    lot = np.repeat(np.arange(len(layers)), [len(some) for some in layers])
    return Many(gpd.GeoDataFrame(geometry=shapes), lot, len(layers))


def places_of(areas):
    return [shapely.box(0, 0, area, 1) for area in areas]


def chosen(windows, *areas, **options):
    (spacing,) = spacing_for_each(plan_with(**options), many([None] * windows), many(places_of(areas)))  # fmt: skip
    return spacing


def rays(spacing_m, eyes, areas):
    (count,) = rays_at(np.array([spacing_m]), np.array([eyes]), np.array(areas, float), np.zeros(len(areas), int))  # fmt: skip
    return count


def test_few_windows_are_looked_through_as_in_a_plan():
    # By hand: 10 windows, 3 eye positions at 2 heights, 50 positions of heads at 2 heights: 6,000 rays.
    assert chosen(10, 50.0, county_rays=6000) == 1.0
    assert chosen(10, 50.0, county_rays=5999) == 1.25
    assert chosen(999, 50.0, county_rays=0) == 1.0


def test_the_grid_is_widened_by_quarters_of_a_metre_until_the_rays_are_few_enough():
    # By hand: 100 windows, 3 eye positions at 2 heights, 2 heights of heads: 1,200 rays a position. 20,000 rays
    # are 16.7 positions, of which 100 m² hold as many 2.45 m apart; the next quarter is 2.5 m.
    assert chosen(100, 100.0, county_rays=20_000) == 2.5
    # A plan's spacing between two quarters is raised to the next one.
    assert chosen(100, 100.0, county_rays=20_000, views_target_spacing=2.3) == 2.5
    assert chosen(100, 100.0, county_rays=20_000, views_target_spacing=2.6) == 2.6


@given(
    windows=st.integers(0, 500),
    areas=st.lists(st.floats(1.0, 5000.0), max_size=4),
    most=st.integers(1, 100_000),
)
def test_there_are_never_more_rays_than_allowed_unless_nothing_wider_helps(windows, areas, most):
    spacing, eyes = chosen(windows, *areas, county_rays=most), 6 * windows
    assert rays(spacing, eyes, areas) <= most or spacing == WIDEST_M
    if 1.0 < spacing < WIDEST_M:
        assert rays(spacing - 0.25, eyes, areas) > most


def test_a_place_counts_between_its_fewest_and_most_positions():
    assert rays(1.0, 2, [1.0]) == pytest.approx(4 * FEWEST_POSITIONS)
    assert rays(1.0, 2, [9999.0]) == pytest.approx(4 * MOST_TARGETS)


# Invariant.
def test_each_lot_has_the_spacing_that_it_has_alone():
    lots, plan = [(100, [100.0]), (0, []), (10, [50.0, 700.0]), (3, []), (400, [9.0])], plan_with(county_rays=20_000)  # fmt: skip
    told = spacing_for_each(
        plan, many(*([None] * windows for windows, _ in lots)), many(*(places_of(areas) for _, areas in lots))
    )  # fmt: skip
    assert told.tolist() == [chosen(windows, *areas, county_rays=20_000) for windows, areas in lots]
    assert len(set(told)) > 2
