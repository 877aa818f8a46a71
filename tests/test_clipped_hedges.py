"""A clipped hedge takes the size at which it is kept, wherever a size is taken."""

import numpy as np
import pandas as pd
import pytest
import shapely
import works_site as site
from effects_kit import layer as place
from effects_kit import parcels, row
from options_kit import plan_with
from parcel_kit import box, lay
from views_kit import follow

from screenplan.contracts import CROWNS, GROWTHS
from screenplan.effects.applied import list_rules
from screenplan.effects.boundary import outgrow_boundary
from screenplan.effects.buried import reach_drains
from screenplan.effects.growing import meet
from screenplan.effects.noise import follow_noise
from screenplan.ground.crown_shapes import SHAPES
from screenplan.ground.errors import InputError
from screenplan.outputs.conform import conform
from screenplan.outputs.drawings.crowns import add_crowns
from screenplan.outputs.drawings.style import new_figure
from screenplan.planting.crowns import grow_crowns
from screenplan.planting.growth import TYPICAL, height_at
from screenplan.planting.judging import judge_crowns
from screenplan.planting.species import load_species
from screenplan.planting.stand import stand_of
from screenplan.planting.stock import planted_height
from screenplan.planting.zones import mark_zones
from screenplan.rules.ruleset import load_rules
from screenplan.views.sections import cut_sections
from screenplan.works.clipping import first_clip
from screenplan.works.fence import lay_fence

#: Hornbeam of round figures, 11.0 m wide when it grows free, kept 2 m high and 0.6 m wide.
FREE = {
    "shape": "ellipsoid", "growth_class": "moderate", "establishment_years": 2.0, "spread_share": 0.6,
    "mature_height": ["40 ft", "60 ft"], "mature_spread": ["25 ft", "40 ft"],
}  # fmt: skip
HEDGE = {"like": "carpinus_betulus", "shape": "box", "kept_height": "2 m", "kept_width": "0.6 m"}
TABLE = load_species({"carpinus_betulus": FREE, "hedge": HEDGE})
KEPT = TABLE["hedge"]
#: Half its length along the row: six tenths of its height, by its table.
ALONG = 0.6 * 2.0 / 2
ACROSS = 0.3
HIGH = GROWTHS.index("high")
#: An edge of a polygon may lie so far off the sizes that it is drawn from, metres.
DRAWN_M = 1e-9
#: How far a wire may be off the closed form, metres: its outline is widened and straightened by 0.1.
WIRE_M = 0.11


def hedge(xy=((10.0, 39.0), (30.0, 39.0)), step=0.5, **options):
    lines, plants = row(xy, step=step, species="hedge", **options)
    return lines, plants.assign(gap_before_m=plants["station_m"].diff())


# --- the table -----------------------------------------------------------------------------------


def test_the_size_in_the_end_is_that_at_which_it_is_kept():
    assert KEPT.final_height("high") == 2.0
    assert KEPT.final_spread("high") == pytest.approx(2 * ALONG)
    assert KEPT.final_width("high") == pytest.approx(2 * ACROSS)
    # Free, the same plant is as tall as its table says, 60 ft, and six tenths of that wide.
    free = KEPT.unclipped()
    assert free.final_height("high") == pytest.approx(60 * 0.3048)
    assert free.final_spread("high") == free.final_width("high") == pytest.approx(36 * 0.3048)


def test_kept_low_but_not_narrow_it_is_as_wide_as_a_plant_of_that_height():
    own = {"carpinus_betulus": FREE, "low": {**HEDGE, "kept_width": "5 m"}}
    low = load_species(own)["low"]
    assert low.final_width("high") == pytest.approx(2 * ALONG)


def test_stock_taller_than_the_hedge_is_kept_is_refused():
    assert planted_height(KEPT, 2.0) == 2.0
    with pytest.raises(
        InputError, match=r"2\.5 m high, but European hornbeam is not kept above 2 m"
    ):
        planted_height(KEPT, 2.5)


# --- zones and rules -----------------------------------------------------------------------------


def rule_distances(species, **features):
    zones, _ = mark_zones(
        {"parcels": box(), **features},
        species_table=TABLE,
        rules=load_rules(),
        plan=plan_with(plants_species=species, site_boundary_accuracy=0.0),
    )
    return zones.set_index("rule")["distance_m"]


def test_a_hedge_is_set_back_by_half_its_kept_width():
    clipped = rule_distances("hedge")
    assert clipped["boundary_crown"] == pytest.approx(ACROSS)
    # 2 ft from stem to line: the stem rule is the wider, and decides.
    assert clipped["boundary_stem"] == pytest.approx(2 * 0.3048)
    # Free, half of 36 ft, six tenths of 60.
    assert rule_distances("carpinus_betulus")["boundary_crown"] == pytest.approx(18 * 0.3048)


def test_at_a_wall_a_low_hedge_is_a_shrub_and_no_tall_tree():
    walls = {"buildings": place([shapely.box(15, 10, 25, 20)], building_id=["h"], kind=["house"])}
    near = rule_distances("hedge", **walls)
    assert near["building_shrub"] == pytest.approx(3 * 0.3048)
    assert not {"building_tree", "building_tall_tree"} & set(near.index)
    assert "building_tall_tree" in rule_distances("carpinus_betulus", **walls).index


def test_roots_and_wires_count_a_hedge_as_it_would_grow_unclipped():
    line = shapely.LineString([(0, 15), (40, 15)])
    wire = {"utilities": place([line], utility_id=["w"], position=["overhead"], kind=["power"])}
    septic = {"keep_outs": place([shapely.box(10, 10, 20, 15)], keep_out_id=["s"], kind=["septic_field"])}  # fmt: skip
    for things in (wire, septic):
        same = rule_distances("hedge", **things)
        free = rule_distances("carpinus_betulus", **things)
        rules = set(free.index) - {"boundary_crown", "boundary_stem"}
        assert rules
        assert rules <= set(same.index)
        assert all(same[rule] == pytest.approx(free[rule]) for rule in rules)
    _, plants = hedge()
    field = place([shapely.box(10, 20, 20, 30)], keep_out_id=["s"], kind=["septic_field"])
    # Nine metres off: a hornbeam of 20 years is taller than that, a hedge never.
    assert len(reach_drains(plants, field, species_table=TABLE, plan=plan_with(growth_years=50)))


def test_the_list_of_rules_judges_the_same_height_as_the_zones():
    house = place([shapely.box(15, 10, 25, 20)], building_id=["h"], kind=["house"])
    wire = place([shapely.LineString([(0, 1), (9, 1)])], utility_id=["w"], position=["overhead"], kind=["power"])  # fmt: skip
    listed = list_rules(
        {"buildings": house, "utilities": wire},
        species_table=TABLE,
        plan=plan_with(plants_species="hedge"),
    ).set_index("rule")["applies"]
    assert listed[["building_shrub", "overhead_tree", "overhead_tall_tree"]].all()
    assert not listed[["building_tree", "building_tall_tree"]].any()


def test_rows_of_a_hedge_stand_where_the_stem_rule_lets_them():
    # Along the south side the first stems stand 2 ft from the line, not 20 ft.
    plants = lay(
        box(), "south", rules=load_rules(),
        plants_species="hedge", species_table=TABLE, rows_spacing=0.5,
    )[3]  # fmt: skip
    assert plants.geometry.y.max() == pytest.approx(2 * 0.3048, abs=0.01)


# --- crowns in plan ------------------------------------------------------------------------------


@pytest.mark.parametrize("turn", [0.0, 33.0, 90.0])
def test_crowns_of_a_hedge_are_rectangles_along_their_row(turn):
    xy = shapely.affinity.rotate(shapely.LineString([(10, 20), (20, 20)]), turn, origin=(15, 20))
    _, plants = hedge(xy.coords)
    crowns = grow_crowns(
        plants, growth="high", species_table=TABLE, plan=plan_with(growth_show_years=(0, 30))
    )
    conform(crowns, CROWNS)
    grown = crowns[crowns["year"] == 30]
    assert (grown["shape"] == "box").all()
    assert grown["height_m"].to_numpy() == pytest.approx(2.0)
    assert grown["spread_m"].to_numpy() == pytest.approx(2 * ALONG)
    assert grown["width_m"].to_numpy() == pytest.approx(2 * ACROSS)
    assert grown.geometry.area.to_numpy() == pytest.approx(4 * ALONG * ACROSS)
    # Together they are the row, longer by half a crown at its ends, and as wide as it is kept.
    whole = shapely.affinity.rotate(shapely.union_all(grown.geometry), -turn, origin=(15, 20))
    assert whole.bounds == pytest.approx((10 - ALONG, 20 - ACROSS, 20 + ALONG, 20 + ACROSS))


def test_a_round_crown_is_as_wide_as_its_spread():
    _, plants = row()
    crowns = grow_crowns(plants, plan=plan_with(growth_show_years=[10]))
    assert (crowns["width_m"] == crowns["spread_m"]).all()


def test_every_shape_can_be_written():
    _, plants = row(((2, 38), (4, 38)))
    for shape in SHAPES:
        table = load_species({"one": {"like": "thuja_occidentalis", "shape": shape}})
        crowns = grow_crowns(
            plants.assign(species="one"), species_table=table, plan=plan_with(growth_show_years=[5])
        )
        assert set(crowns["shape"]) == {shape}
        conform(crowns, CROWNS)


# --- checks and effects --------------------------------------------------------------------------


def test_a_hedge_near_the_line_stays_inside_it():
    _, plants = hedge(((10.0, 39.5), (30.0, 39.5)))
    finding = judge_crowns(parcels(), plants, TABLE)
    assert finding.result == "passes"
    _, plants = hedge(((10.0, 39.8), (30.0, 39.8)))
    finding = judge_crowns(parcels(), plants, TABLE)
    # 0.3 m across, 0.2 m to the line.
    assert finding.result == "fails"
    assert "by up to 0.10 m" in finding.says


def test_the_end_of_a_hedge_reaches_as_far_as_it_is_long():
    _, plants = hedge(((0.4, 30.0), (10.4, 30.0)))
    finding = judge_crowns(parcels(), plants, TABLE)
    # 0.6 m along the row, 0.4 m to the west side.
    assert finding.says.startswith("1 mature crowns reach over the boundary, by up to 0.20 m")
    found = outgrow_boundary(parcels(), plants, species_table=TABLE)
    over = found.iloc[0]
    assert (len(found), over["what"], over["plant_id"]) == (1, "crown over the boundary", 1)
    assert over["distance_m"] == pytest.approx(0.4)
    assert over["over_m"] == pytest.approx(ALONG - 0.4)


def test_a_mature_crown_of_a_plant_far_beyond_the_line_is_outside():
    # 15 ft wide, 9 m beyond: its distance from the line is greater than its radius.
    _, plants = row(((10, 49), (30, 49)), species="thuja_standishii_plicata")
    finding = judge_crowns(parcels(), plants, load_species())
    assert finding.result == "fails"


def test_walls_beside_a_hedge_and_at_its_end():
    lots = parcels(neighbour=shapely.box(0, 80, 40, 90))

    def at(wall):
        house = place([wall], building_id=["h"], height_m=[5.0], kind=["house"])
        found = outgrow_boundary(lots, hedge(((10, 20), (20, 20)))[1], house, species_table=TABLE)
        return found.loc[found["what"] == "crown at a wall"]

    # Beside it: 0.4 m off, it is 0.3 m wide on that side.
    assert not len(at(shapely.box(9, 20.4, 21, 30)))
    beside = at(shapely.box(9, 20.25, 21, 30))
    assert len(beside) == 21
    assert beside["over_m"].to_numpy() == pytest.approx(ACROSS - 0.25)
    # At its end: the last plant reaches 0.6 m along the row.
    ends = at(shapely.box(20.4, 15, 30, 25))
    assert ends["plant_id"].to_list() == [21]
    assert ends["over_m"].iloc[0] == pytest.approx(ALONG - 0.4)


def test_meeting_a_thing_against_the_drawn_crown():
    # Invariant: a crown meets a point in a year if its drawn polygon covers it.
    rng = np.random.default_rng(4)
    _, plants = hedge(((10, 20), (13, 24)))
    stand = stand_of(plants, years=8, species_table=TABLE)
    met = 0
    for _ in range(60):
        spot = shapely.Point(rng.uniform(9, 14), rng.uniform(19, 25))
        holds = meet(stand, spot).holds
        for year in (0, 3, 8):
            covers = shapely.intersects(stand.crowns(TYPICAL, year).areas(), spot)
            assert (holds[:, 1, year] == covers).all()
            met += covers.sum()
    assert met > 20


def test_noise_goes_through_the_width_of_a_hedge():
    _, plants = hedge(((5, 20), (35, 20)))
    road = place([shapely.LineString([(0, 0), (40, 0)])], road_id=["r"])
    garden = place([shapely.box(19, 30, 21, 32)], place_id=["p"])
    path = follow_noise(plants, garden, road, species_table=TABLE).iloc[0]
    assert path["foliage_m"] == pytest.approx(2 * ACROSS)


# --- sections and drawings -----------------------------------------------------------------------


@pytest.mark.parametrize("east", [False, True])
def test_a_section_across_a_hedge_is_as_wide_as_it_is_kept(east):
    """Across the row, and along it: a rectangle either way."""
    line = ((-5.0, 10.0), (5.0, 10.0)) if not east else ((0.0, 8.0), (0.0, 12.0))
    lines, plants = hedge(line, line="r")
    windows = place([shapely.Point(0, 0)], window_id=["w"], sill_m=[1.0], height_m=[1.2], width_m=[0.05], facing_deg=[0.0], floor_m=[0.0])  # fmt: skip
    garden = place([shapely.Point(0, 20)], place_id=["p"], eye_seated_m=[1.2], eye_standing_m=[1.2])
    views = pd.DataFrame({"view_id": ["w to p"], "status": ["closes"], "year_closed": pd.array([9], "Int64"), "open_now": [1.0]})  # fmt: skip
    layers = {"windows": windows, "private_places": garden, "planting_lines": lines, "plants": plants, "views": views}  # fmt: skip
    *_, sections = follow(
        cut_sections, layers, growth_show_years=(20,), views_eyes_across=1, species_table=TABLE
    )
    cut = sections[sections["crown_to_y20"].notna()]
    half = (cut["distance_m"].max() - cut["distance_m"].min()) / 2
    expected = ACROSS if not east else 2.0 + ALONG
    assert half == pytest.approx(expected, abs=0.06)  # steps of 0.05 m
    assert cut["crown_to_y20"].to_numpy() == pytest.approx(2.0)
    assert cut["crown_from_y20"].to_numpy() == pytest.approx(0.0)


def test_the_plan_draws_rectangles():
    _, plants = hedge(((10, 20), (12, 20)))
    crowns = grow_crowns(plants, species_table=TABLE, plan=plan_with(growth_show_years=[20]))
    ax = new_figure(100, 100).add_axes((0, 0, 1, 1))
    (boxes,) = [artist for artist in add_crowns(ax, shapely.get_coordinates(plants.geometry), crowns) if len(artist.get_paths()) == 5]  # fmt: skip
    extents = boxes.get_paths()[0].get_extents()
    assert (extents.width, extents.height) == pytest.approx((2 * ALONG, 2 * ACROSS))


# --- the work ------------------------------------------------------------------------------------


def test_the_sides_are_clipped_once_they_outgrow_the_kept_width():
    # 1 m apart, kept 0.6 m wide: six tenths of its height, so at a height of 1 m.
    _, plants = hedge(((10, 20), (20, 20)), step=1.0)
    tall = height_at(KEPT, np.arange(31), stock_height_m=0.5)
    plants = plants.assign(stock_height_m=0.5)
    kept = stand_of(plants, years=30, species_table=TABLE)
    year = first_clip(kept.starts, kept.sizes, 1.0)
    assert year == int(np.argmax(tall >= 1.0)) > 1
    free = plants.assign(species="carpinus_betulus")
    grown = stand_of(free, years=30, species_table=TABLE)
    clip = first_clip(grown.starts, grown.sizes, 1.0)
    assert clip == int(np.argmax(tall >= 1.0 / 0.6)) > year


# --- the fence -----------------------------------------------------------------------------------


def test_a_fence_runs_beside_the_kept_width_and_past_the_ends():
    lines, plants = hedge(((10, 20), (20, 20)))
    _, wires, options = lay_fence(site.layers(parcels(), lines, plants), species_table=TABLE, plan=plan_with(fence_scheme="perimeter", fence_years=10, fence_gates=0, fence_clearance=0.3))  # fmt: skip
    west, south, east, north = wires.total_bounds
    across, along = ACROSS + 0.3, ALONG + 0.3
    assert (20 - south, north - 20) == pytest.approx((across, across), abs=WIRE_M)
    assert (10 - west, east - 20) == pytest.approx((along, along), abs=WIRE_M)
    crowns = stand_of(plants, years=[10], species_table=TABLE).crowns(HIGH, 0).areas()
    assert shapely.distance(crowns, shapely.union_all(wires.geometry)).min() >= 0.3 - DRAWN_M
    # A hedge 0.5 m apart that is 1.2 m long at each plant fills no cage.
    assert not options.set_index("scheme").loc["cages", "possible"]


def test_a_fence_in_a_narrow_strip_has_room_for_a_kept_hedge_alone():
    # 0.9 m to the line: crown 0.3 m, clearance 0.2 m, and 0.3 m to the boundary.
    _, plants = hedge(((5, 39.1), (35, 39.1)))
    lines = row(((5, 39.1), (35, 39.1)))[0]
    plan = plan_with(fence_scheme="outer_side", fence_years=10, fence_clearance=0.2)
    _, wires, _ = lay_fence(site.layers(parcels(), lines, plants), species_table=TABLE, plan=plan)
    assert wires.geometry.distance(shapely.Point(20, 39.1)).min() == pytest.approx(0.5, abs=0.01)
    free = plants.assign(species="carpinus_betulus")
    with pytest.raises(InputError, match="no room for"):
        lay_fence(site.layers(parcels(), lines, free), species_table=TABLE, plan=plan)
