"""Closure of rows and crowns in plan."""

import math

import numpy as np
import pandas as pd
import pytest
import shapely
from crown_kit import POWERS, named
from options_kit import plan_with
from parcel_kit import PLAIN, box, lay, layer
from shapely.geometry import Point

from screenplan.contracts import CLOSURE, CROWNS
from screenplan.ground.crown_shapes import SHAPES
from screenplan.ground.errors import InputError
from screenplan.planting.closure import close_rows, judge_closure, pair_band
from screenplan.planting.crowns import grow_crowns
from screenplan.planting.growth import height_at, spread_at
from screenplan.planting.shapes import meeting_band
from screenplan.planting.species import load_species
from screenplan.rules.ruleset import Rule

TABLE = load_species()


def closure_of(along="south", **options):
    table = options.pop("species_table", None)
    _, plantable, lines, plants, _ = lay(box(), along, species_table=table, **options)
    table = close_rows(plants, lines, plantable, plan=plan_with(**options), species_table=table)
    return table.set_index("growth"), plants


def test_a_row_of_cones_year_by_year():
    cone = {
        "like": "thuja_occidentalis", "shape": "cone", "growth_class": "rapid", "spread_share": 0.35,
        "mature_height": ["40 ft", "60 ft"], "mature_spread": ["12 ft", "18 ft"],
    }  # fmt: skip
    species = load_species({"cone": cone})["cone"]
    table, plants = closure_of(
        plants_species="cone", rows_spacing=1.5, species_table={"cone": species}
    )
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
    table, _ = closure_of(plants_species="thuja_smaragd", rows_spacing=1.6)
    assert table["year_closed"].isna().all()
    assert (table["mature_closed_height_m"] == 0).all()


def test_a_clear_stem_stays_open_below():
    table, _ = closure_of(
        plants_species="magnolia_grandiflora", rows_spacing=2.0, growth_asked_height=4.0
    )
    assert table.loc["typical", "mature_closed_from_m"] == pytest.approx(1.8)


def looked_through(lowest, line_id="south-row1"):
    """A needed height of two stretches, one that no ray crosses."""
    return pd.DataFrame({"line_id": [line_id, line_id, "other"], "lowest_m": [np.nan, lowest, 0.0]})


def magnolias(lowest=None, spacing=2.0, **options):
    _, plantable, lines, plants, _ = lay(
        box(), "south", plants_species="magnolia_grandiflora", rows_spacing=spacing
    )
    needed = None if lowest is None else looked_through(lowest, lines["line_id"].iloc[0])
    table = close_rows(
        plants, lines, plantable, needed, plan=plan_with(rows_spacing=spacing, **options)
    )
    return table.set_index("growth").loc["typical"], plants


def test_crowns_that_are_bare_below_do_not_close():
    # From a quarter of its height on, up to 1.8 m, by its table: they meet from there on, high up.
    typical, _ = magnolias()
    assert typical["mature_closed_height_m"] > 10
    assert typical["mature_closed_from_m"] == pytest.approx(1.8)
    assert typical["asked_from_m"] == 0.0
    assert pd.isna(typical["year_closed"])


def test_a_row_closes_from_the_lowest_sight_line_on():
    # Bare up to 1.8 m in the end: what passes lower passes for ever, what passes higher does not.
    below, _ = magnolias(1.2)
    assert (below["asked_from_m"], pd.isna(below["year_closed"])) == (1.2, True)
    above, plants = magnolias(1.9, growth_asked_height=2.5)
    assert above["asked_from_m"] == 1.9
    magnolia, years = TABLE["magnolia_grandiflora"], np.arange(31)
    gap = plants["gap_before_m"].max()
    h = height_at(magnolia, years)
    c = np.minimum(magnolia.clear_stem_share * h, magnolia.clear_stem_m)
    # Paraboloids: c + (h − c)(1 − (s/w)²), closed form.
    ratio = np.minimum(gap / spread_at(magnolia, h), 1.0)
    top = np.where(ratio < 1, c + (h - c) * (1 - ratio**2), 0.0)
    assert above["year_closed"] == np.argmax(top >= 2.5)


def test_a_row_that_opens_below_after_the_years_looked_at_is_not_told_as_closed():
    # Its bare stem rises with its height: looked through from 1 m on, it closes and opens again.
    magnolia = TABLE["magnolia_grandiflora"]
    bare = magnolia.clear_stem_share * height_at(magnolia, np.arange(31))
    opens = int(np.argmax(bare > 1.0))
    typical, _ = magnolias(
        spacing=1.0, growth_asked_from=1.0, growth_asked_height=1.2, growth_years=opens - 1
    )
    assert pd.isna(typical["year_closed"])
    # The last year in which the crowns begin at 1 m, they meet from there up to 1.2 m.
    h = float(height_at(magnolia, opens - 1))
    c = magnolia.clear_stem_share * h
    assert c <= 1.0
    assert c + (h - c) * (1 - (1.0 / float(spread_at(magnolia, h))) ** 2) > 1.2


def test_the_height_from_which_a_row_closes_can_be_asked_for():
    typical, _ = magnolias(0.2, growth_asked_from=1.8, growth_asked_height=2.5)
    assert typical["asked_from_m"] == 1.8
    assert typical["year_closed"] > 0
    with pytest.raises(InputError, match=r"asked to close from 1\.8 m up to 1\.8 m"):
        magnolias(growth_asked_from=1.8, growth_asked_height=1.8)


def test_a_bare_row_fails_its_check_and_says_what_is_bare():
    bare, _ = magnolias(1.2)
    table = bare.to_frame().T.assign(growth="typical")
    (finding,) = judge_closure(table, plan=plan_with(goal_closed_by=10))
    assert finding.result == "fails"
    assert (
        "crowns meet only from 1.80 m on; from 1.20 to 1.80 m the row should close" in finding.says
    )


def test_gaps_that_an_exclusion_explains_do_not_count():
    drive = {"keep_outs": layer(kind=["driveway"], geometry=[shapely.box(10, -1, 14, 9)])}
    rules = (*PLAIN, Rule("driveway", "driveway", 1.0, reason="test"))
    _, plantable, lines, plants, _ = lay(
        box(), "south", rules=rules, features=drive, rows_spacing=1.5
    )
    by_zone = close_rows(plants, lines, plantable)
    assert by_zone["spacing_m"].max() <= 1.5
    assert close_rows(plants, lines, plan=plan_with(rows_spacing=1.5))["spacing_m"].max() <= 1.5
    counted = close_rows(plants, lines, plan=plan_with(rows_spacing=7.0))
    assert counted["spacing_m"].max() == pytest.approx(6.0, abs=0.004)


def test_an_open_stretch_of_a_standing_row_counts():
    screens = layer(
        kind=["plant"] * 3, height_m=[2.0] * 3, geometry=[Point(x, 2.1) for x in (10, 11, 15)]
    )
    _, plantable, lines, plants, _ = lay(box(), "south", screens=screens, rows_fill_existing=False)
    assert close_rows(plants, lines, plantable)["spacing_m"].max() == pytest.approx(4.0)


@pytest.mark.parametrize("shape", [*SHAPES, *POWERS], ids=named)
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
    crowns = grow_crowns(plants, growth=("low", "high"), plan=plan_with(growth_show_years=(0, 10)))
    assert len(crowns) == 4 * len(plants)
    assert list(crowns.columns) == [c.name for c in CROWNS.columns] + ["geometry"]
    assert crowns["crown_id"].is_unique
    cedar = TABLE["thuja_occidentalis"]
    crown = crowns[
        (crowns["plant_id"] == 3) & (crowns["year"] == 10) & (crowns["growth"] == "high")
    ].iloc[0]
    assert crown["height_m"] == pytest.approx(height_at(cedar, 10, growth="high"))
    assert crown["spread_m"] == pytest.approx(spread_at(cedar, crown["height_m"], "high"))
    # A polygon of 64 sides in its circle has 0.9984 of its area: 32/π sin(2π/64).
    circle = math.pi / 4 * crown["spread_m"] ** 2
    assert crown.geometry.area / circle == pytest.approx(32 / math.pi * math.sin(math.pi / 32))


def test_standing_plants_grow_without_establishment():
    screens = layer(kind=["plant"], height_m=[0.9144], geometry=[Point(2.001, 2.001)])
    plants = lay(box(), "south", screens=screens)[3]
    heights = grow_crowns(plants, plan=plan_with(growth_show_years=[5]))["height_m"]
    assert heights.iloc[0] > heights.iloc[1]


def test_refused():
    plants = lay(box(), "south")[3]
    with pytest.raises(InputError, match="'fast' is not a growth"):
        grow_crowns(plants, growth="fast")
    with pytest.raises(InputError, match="a species is not in the table: oak"):
        grow_crowns(plants.assign(species=pd.Series(["oak"] * len(plants), dtype="string")))
