"""Overhead lines: zoning by data, years of entry, the user's allowance."""

import numpy as np
import pandas as pd
import pytest
import shapely
from effects_kit import layer, row
from hypothesis import given, settings
from hypothesis import strategies as st
from options_kit import plan_with

from screenplan.effects.overhead import judge_wires, reach_wires
from screenplan.ground.errors import InputError
from screenplan.ground.said import FOOT_M
from screenplan.plan import DEFAULTS
from screenplan.planting.growth import height_at
from screenplan.planting.species import load_species
from screenplan.rules.limits import allowed_height, load_limits
from screenplan.site.terrain import Terrain


def wire(height=9.0, y=42.0):
    return layer([shapely.LineString([(-50, y), (90, y)])], utility_id=["w"], kind=["electric"],
                 position=["overhead"], diameter_m=[0.0], height_m=[height])  # fmt: skip


@pytest.mark.parametrize(
    ("name", "feet", "allowed_ft"),
    [
        # The two published examples: 20 ft within 15 ft, 40 ft up to 65 ft; 20 ft within 20 ft, 40 ft up to 30 ft.
        ("wires_15_65ft", 14.9, 20), ("wires_15_65ft", 15.1, 40), ("wires_15_65ft", 64.9, 40), ("wires_15_65ft", 65.1, None),
        ("wires_20_30ft", 19.9, 20), ("wires_20_30ft", 20.1, 40), ("wires_20_30ft", 30.1, None),
    ],
)  # fmt: skip
@pytest.mark.evidence(
    part="Effects on others",
    kind="published",
    against="Heights allowed beside overhead lines, by distance",
    source="Two published zonings, which disagree",
    status="read",
    tolerance="exact",
)
def test_published_zonings(name, feet, allowed_ft):
    allowed = allowed_height(load_limits()[name], feet * FOOT_M)
    assert allowed == (float("inf") if allowed_ft is None else pytest.approx(allowed_ft * FOOT_M))


def test_the_year_is_that_in_which_growth_passes_the_allowed_height():
    _, plants = row(species="thuja_standishii_plicata")
    found = reach_wires(plants, wire(), plan=plan_with(growth_years=30))  # 4 m away: 20 ft
    species = load_species()["thuja_standishii_plicata"]
    first = found.iloc[0]
    assert first["allowed_m"] == pytest.approx(20 * FOOT_M)
    for growth, name in (("low", "year_low"), ("typical", "year"), ("high", "year_high")):
        heights = height_at(species, range(31), growth=growth, stock_height_m=1.0)
        passes = next((year for year in range(31) if heights[year] > 20 * FOOT_M), None)
        assert (None if pd.isna(first[name]) else first[name]) == passes
    in_the_end = height_at(species, 30, stock_height_m=1.0)
    assert first["height_m"] == pytest.approx(in_the_end, rel=1e-9)
    assert judge_wires(wire(), found, DEFAULTS).result == "fails"


def test_the_allowance_is_the_users():
    _, plants = row(species="thuja_standishii_plicata")
    without = reach_wires(plants, wire(), plan=plan_with(lines_wires="wires_20_30ft"))
    assert set(without["what"]) == {"zoning"}
    with_it = reach_wires(
        plants, wire(), plan=plan_with(lines_wires="wires_20_30ft", lines_allowance=2.0)
    )
    sag = with_it.loc[with_it["what"] == "sag and swing"]
    # A 9 m wire less 2 m: no plant is in its room before it is 7 m tall.
    heights = height_at(load_species()["thuja_standishii_plicata"], range(31), stock_height_m=1.0)
    assert len(sag)
    assert all(heights[int(year)] > 7.0 for year in sag["year"].dropna())
    later = reach_wires(
        plants, wire(), plan=plan_with(lines_wires="wires_20_30ft", lines_allowance=3.0)
    )
    more = later.loc[later["what"] == "sag and swing"]
    assert more["year"].min() <= sag["year"].min()


@pytest.mark.parametrize(("east", "north"), [(0.0, 0.0), (0.05, 0.1), (-0.03, -0.2)])
def test_the_room_under_a_wire_counts_from_the_ground_of_each_plant(east, north):
    # Closed form: the wire hangs 9 m above the ground under it, its owner asks for 2 m of room. The row
    # stands y = 38, the wire at y = 42: the ground under it is 4 m × the slope higher than the plant's.
    at = np.array([-100.0, 200.0])
    ground = Terrain(east * at[None, :] + north * at[:, None], -100.0, -100.0, 300.0, 300.0)
    _, plants = row(((10, 38), (30, 38)), step=5.0, species="thuja_standishii_plicata")
    plants["ground_m"] = ground.height_at(plants.geometry.x, plants.geometry.y)
    limit = 9.0 + 4.0 * north - 2.0
    found = reach_wires(plants, wire(), ground, plan=plan_with(lines_allowance=2.0))
    sag = found.loc[found["what"] == "sag and swing"].set_index("plant_id")
    assert list(sag.index) == plants["plant_id"].to_list()
    assert sag["distance_m"].to_list() == pytest.approx([4.0] * 5)
    assert sag["allowed_m"].to_list() == pytest.approx([limit] * 5)
    assert set(sag["rule"]) == {"lines.allowance"}
    # No crown is in the room before it is as tall as that.
    species = load_species()["thuja_standishii_plicata"]
    for growth, name in (("low", "year_low"), ("typical", "year"), ("high", "year_high")):
        heights = height_at(species, range(31), growth=growth, stock_height_m=1.0)
        assert all(heights[int(year)] > limit for year in sag[name].dropna())
    # Without the allowance the wire itself is the limit.
    whole = reach_wires(plants, wire(height=6.0, y=38.5), ground)
    hung = whole.loc[whole["what"] == "wire"]
    assert len(hung) == 5
    assert hung["allowed_m"].to_list() == pytest.approx([6.0 + 0.5 * north] * 5)


def test_a_wide_allowance_reaches_farther_than_the_zoning():
    # Closed form: 25 m from a wire 3 m up that swings by 28 m; the zoning ends at 30 ft.
    _, plants = row(((18, 38), (22, 38)), species="thuja_smaragd")
    found = reach_wires(
        plants, wire(3.0, 63.0), plan=plan_with(lines_wires="wires_20_30ft", lines_allowance=28.0)
    )
    assert set(found["what"]) == {"sag and swing"}
    assert found["year"].to_list() == [0] * len(plants)
    assert found["allowed_m"].to_list() == [0.0] * len(plants)


def test_a_crown_that_grows_into_a_low_wire_is_told_without_an_allowance():
    _, plants = row(species="thuja_smaragd")  # at most 15 ft: no zoning forbids it
    low = wire(height=3.5, y=38.3)
    found = reach_wires(plants, low)
    assert set(found["what"]) == {"wire"}
    assert len(found) == len(plants)
    assert found["allowed_m"].to_list() == pytest.approx([3.5] * len(found))
    heights = height_at(load_species()["thuja_smaragd"], range(31), stock_height_m=1.0)
    assert all(heights[int(year)] >= 3.5 for year in found["year"].dropna())
    says = judge_wires(low, found, DEFAULTS)
    assert says.result == "fails"
    assert "grows into wire w, 3.5 m above it" in says.says
    assert judge_wires(low, found.iloc[:1], DEFAULTS).says.startswith(
        "1 plant grows too tall for an overhead wire"
    )
    assert not len(reach_wires(plants, wire(height=5.5, y=38.3)))
    # Beside the crowns, not above them.
    assert not len(reach_wires(plants, wire(height=3.5, y=41.0)))


@settings(max_examples=20)
@given(st.floats(38.5, 70), st.floats(0, 10))
def test_a_farther_wire_is_reached_no_sooner(y, more):
    _, plants = row(((18, 38), (22, 38)), species="thuja_standishii_plicata")
    near, far = (
        reach_wires(plants, wire(y=at), plan=plan_with(lines_allowance=2.0)) for at in (y, y + more)
    )
    never = 10**6
    for what in ("zoning", "sag and swing"):
        one, two = (t.loc[t["what"] == what, "year_high"].fillna(never).min() if (t["what"] == what).any() else never for t in (near, far))  # fmt: skip
        assert one <= two


def test_missing_lines_never_pass():
    _, plants = row()
    found = reach_wires(plants, None)
    assert not len(found)
    assert judge_wires(None, found, DEFAULTS).result == "cannot be judged"
    assert judge_wires(wire(), None, DEFAULTS).result == "cannot be judged"
    buried = wire().assign(position="buried")
    assert judge_wires(buried, reach_wires(plants, buried), DEFAULTS).result == "cannot be judged"


def test_a_low_species_passes():
    _, plants = row(species="ilex_glabra", stock=0.5)
    found = reach_wires(plants, wire(), plan=plan_with(lines_allowance=2.0))
    assert judge_wires(wire(), found, plan_with(lines_allowance=2.0)).result == "passes"


def test_an_unknown_zoning_is_refused():
    _, plants = row()
    with pytest.raises(InputError, match=r"key lines\.wires: there is no limit 'mine'"):
        reach_wires(plants, wire(), plan=plan_with(lines_wires="mine"))
