"""Closure of rows and crowns in plan."""

import math

import numpy as np
import pandas as pd
import pytest
import shapely
from parcel_kit import PLAIN, box, lay, layer
from shapely.geometry import Point

from screenplan.contracts import CLOSURE, CROWNS
from screenplan.errors import InputError
from screenplan.planting.closure import close_rows, pair_band
from screenplan.planting.crowns import grow_crowns
from screenplan.planting.growth import height_at, spread_at
from screenplan.planting.shapes import SHAPES, meeting_band
from screenplan.planting.species import load_species
from screenplan.rules.ruleset import Rule

TABLE = load_species()


def closure_of(along="south", asked=1.8, **options):
    _, plantable, lines, plants, _ = lay(box(), along, **options)
    table = close_rows(
        plants, lines, plantable, spacing_m=options.get("spacing_m", 1.5), asked_height_m=asked
    )
    return table.set_index("growth"), plants


def test_a_row_of_cones_year_by_year():
    table, plants = closure_of(species="thuja_standishii_plicata", spacing_m=1.5)
    species = TABLE["thuja_standishii_plicata"]
    s = plants["gap_before_m"].max()
    years = np.arange(31)
    h = height_at(species, years)
    w = spread_at(species, h)
    closed = h * (1 - s / w) >= 1.8  # h (1 − s/w), closed form
    assert table.loc["typical", "year_closed"] == np.argmax(closed)
    assert table.loc["typical", "spacing_m"] == pytest.approx(s)
    # In the end 50 ft tall and 15 ft wide, by its table.
    assert table.loc["typical", "mature_closed_height_m"] == pytest.approx(
        15.24 * (1 - s / 4.572), rel=1e-6
    )
    assert table["year_closed"].to_list() == sorted(table["year_closed"], reverse=True)
    assert list(table.reset_index().columns.sort_values()) == sorted(
        c.name for c in CLOSURE.columns
    )


def test_a_row_that_is_too_wide_never_closes():
    table, _ = closure_of(species="thuja_smaragd", spacing_m=1.5)
    assert table["year_closed"].isna().all()
    assert (table["mature_closed_height_m"] == 0).all()


def test_a_clear_stem_stays_open_below():
    table, _ = closure_of(species="magnolia_grandiflora", spacing_m=2.0, asked=4.0)
    assert table.loc["typical", "mature_closed_from_m"] == pytest.approx(1.8)


def test_gaps_that_an_exclusion_explains_do_not_count():
    drive = {"keep_outs": layer(kind=["driveway"], geometry=[shapely.box(10, -1, 14, 9)])}
    rules = (*PLAIN, Rule("driveway", "driveway", 1.0, reason="test"))
    _, plantable, lines, plants, _ = lay(box(), "south", rules=rules, features=drive, spacing_m=1.5)
    by_zone = close_rows(plants, lines, plantable)
    assert by_zone["spacing_m"].max() <= 1.5
    assert close_rows(plants, lines, spacing_m=1.5)["spacing_m"].max() <= 1.5
    assert close_rows(plants, lines)["spacing_m"].max() == pytest.approx(6.0, abs=0.004)


def test_an_open_stretch_of_a_standing_row_counts():
    screens = layer(
        kind=["plant"] * 3, height_m=[2.0] * 3, geometry=[Point(x, 2.1) for x in (10, 11, 15)]
    )
    _, plantable, lines, plants, _ = lay(box(), "south", screens=screens, fill_existing=False)
    assert close_rows(plants, lines, plantable)["spacing_m"].max() == pytest.approx(4.0)


@pytest.mark.parametrize("shape", SHAPES)
def test_unequal_neighbours_against_equal_ones_and_a_fine_grid(shape):
    size = tuple(np.array([value]) for value in (4.0, 2.4, 0.5))
    low, high = meeting_band(shape, *size[:2], 1.5, size[2])
    # A hair of difference takes the numerical way; the closed form must come out.
    near = (shape, size[0] + 1e-9, size[1], size[2])
    assert pair_band((shape, *size), near, 1.5) == (
        pytest.approx(low, abs=1e-6),
        pytest.approx(high, abs=1e-6),
    )


def test_a_cone_and_a_column_by_hand():
    # Column radius 0.5; the cone must reach 0.7 of its 1.5: 4 (1 − 0.7/1.5).
    cone = ("cone", np.array([4.0]), np.array([3.0]), np.array([0.0]))
    column = ("column", np.array([5.0]), np.array([1.0]), np.array([0.0]))
    low, high = pair_band(cone, column, 1.2)
    assert high == pytest.approx(4 * (1 - 0.7 / 1.5))
    assert low == pytest.approx(0)
    assert pair_band(cone, column, 2.5) == (0, 0)


def test_crowns_are_circles_at_size():
    plants = lay(box(), "south")[3]
    crowns = grow_crowns(plants, years=(0, 10), growth=("low", "high"))
    assert len(crowns) == 4 * len(plants)
    assert list(crowns.columns) == [c.name for c in CROWNS.columns] + ["geometry"]
    assert crowns["crown_id"].is_unique
    cedar = TABLE["thuja_occidentalis"]
    one = crowns[
        (crowns["plant_id"] == 3) & (crowns["year"] == 10) & (crowns["growth"] == "high")
    ].iloc[0]
    assert one["height_m"] == pytest.approx(height_at(cedar, 10, growth="high"))
    assert one["spread_m"] == pytest.approx(spread_at(cedar, one["height_m"], "high"))
    # A polygon of 64 sides in its circle has 0.9984 of its area: 32/π sin(2π/64).
    circle = math.pi / 4 * one["spread_m"] ** 2
    assert one.geometry.area / circle == pytest.approx(32 / math.pi * math.sin(math.pi / 32))


def test_standing_plants_grow_without_establishment():
    screens = layer(kind=["plant"], height_m=[0.9144], geometry=[Point(2.001, 2.001)])
    plants = lay(box(), "south", screens=screens)[3]
    heights = grow_crowns(plants, years=[5])["height_m"]
    assert heights.iloc[0] > heights.iloc[1]


def test_refused():
    _, plantable, lines, plants, _ = lay(box(), "south")
    with pytest.raises(InputError, match="asked to close up to 0 m"):
        close_rows(plants, lines, plantable, asked_height_m=0)
    with pytest.raises(InputError, match="-1 years are asked for"):
        close_rows(plants, lines, plantable, years=-1)
    with pytest.raises(InputError, match=r"2\.5 is not a year"):
        grow_crowns(plants, years=[2.5])
    with pytest.raises(InputError, match="'fast' is not a growth"):
        grow_crowns(plants, growth="fast")
    with pytest.raises(InputError, match="there is no species 'oak'"):
        grow_crowns(plants.assign(species=pd.Series(["oak"] * len(plants), dtype="string")))
