"""Exclusion zones against closed forms of their areas, and that they contain what they must."""

import math

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from options_kit import plan_with
from parcel_kit import PLAIN, box, layer, subject
from shapely.geometry import LineString, Point, Polygon

from screenplan.contracts import NO_PLANT_ZONES, PLANTABLE_ZONE
from screenplan.ground.errors import InputError
from screenplan.planting.clearing import ARC_EXCESS_M
from screenplan.planting.exclusions import exclusions, rims
from screenplan.planting.stock import ball_width
from screenplan.planting.zones import (
    mark_zones,
    mark_zones_each,
    plantable_ground,
)
from screenplan.rules.ruleset import Rule, load_rules
from screenplan.site.lots import Lots, Many

#: Zones may be wider than their rule by the excess of their arcs.
WIDE_M = 1.01 * ARC_EXCESS_M
CEDAR = "thuja_occidentalis"
#: Stock of the least hole: as wide as its plug.
SMALL = {"plants_stock": "plug", "plants_stock_height": 0.3, "works_hole_factor": 1.0}


def zones_of(rules=None, things=None, **options):
    """Zones, by rule, on a box with these things."""
    zones, plantable = mark_zones(
        {"parcels": box(), **(things or {})}, rules=rules, plan=plan_with(**options)
    )
    return zones.set_index("rule"), plantable


def test_boundary_zone_is_the_ring_inside_the_parcel():
    zones, plantable = zones_of(rules=PLAIN, site_boundary_accuracy=0.5)
    zone = zones.loc["stem"]
    assert zone["distance_m"] == 2.5  # 2 m and the boundary's accuracy
    # 40 × 30 m less the ring of 2.5 m: 35 × 25 m.
    assert plantable["area_m2"].sum() == pytest.approx(875, abs=120 * WIDE_M)
    assert zone.geometry.area + plantable["area_m2"].sum() == pytest.approx(1200)
    assert zone.geometry.within(box().geometry.iloc[0].buffer(1e-9))


def test_crown_rule_counts_half_the_high_spread_once():
    zones, _ = zones_of(site_boundary_accuracy=0.0, plants_species=CEDAR)
    # 12 ft high spread (UF/IFAS ST-629, read): 6 ft to the stem, whatever the stem rule adds.
    assert zones.loc["boundary_crown", "distance_m"] == pytest.approx(6 * 0.3048)
    assert zones["distance_m"].max() == pytest.approx(6 * 0.3048)


def test_buried_line_is_measured_from_its_outside_edge():
    pipe = layer(kind=["water"], position=["buried"], diameter_m=[0.3], utility_id=["W1"],
                 geometry=[LineString([(20, -5), (20, 35)])])  # fmt: skip
    zones, _ = zones_of(
        things={"utilities": pipe}, setbacks_hole=0.5, plants_stock="plug", plants_stock_height=0.3
    )
    zone = zones.loc["buried_line"]
    # 24 in tolerance (Florida, New York; read) and half the hole, from the edge of the pipe.
    assert zone["distance_m"] == pytest.approx(0.6096 + 0.25)
    west, _, east, _ = zone.geometry.bounds
    assert east - west == pytest.approx(2 * (0.6096 + 0.25 + 0.15), abs=2 * WIDE_M)
    assert (zone["source_layer"], zone["source_id"]) == ("utilities", "W1")
    assert "locate" in zone["reason"]


@pytest.mark.parametrize(("stock", "height"), [("container", 1.2), ("balled", 1.8), ("plug", 0.3)])
def test_a_hole_is_as_wide_as_its_root_ball_asks_for(stock, height):
    pipe = layer(kind=["water"], position=["buried"], diameter_m=[0.0], utility_id=["W1"],
                 geometry=[LineString([(20, -5), (20, 35)])])  # fmt: skip
    planted = {"plants_stock": stock, "plants_stock_height": height}
    # 24 in to the edge of the hole, the width that the crew digs by the quantities.
    for factor in (2.0, 3.0):
        zones, _ = zones_of(things={"utilities": pipe}, works_hole_factor=factor, **planted)
        hole = factor * ball_width(stock, height)
        assert zones.loc["buried_line", "distance_m"] == pytest.approx(0.6096 + hole / 2)
    # A machine's width that is given holds where it is wider, and not where it is narrower.
    wide, _ = zones_of(things={"utilities": pipe}, setbacks_hole=2.5, **planted)
    narrow, _ = zones_of(things={"utilities": pipe}, setbacks_hole=0.01, **planted)
    usual, _ = zones_of(things={"utilities": pipe}, **planted)
    assert wide.loc["buried_line", "distance_m"] == pytest.approx(0.6096 + 1.25)
    assert (
        narrow.loc["buried_line", "distance_m"] == usual.loc["buried_line", "distance_m"] > 0.6096
    )


def test_missing_diameter_and_id_take_their_defaults():
    pipe = layer(
        kind=["gas"],
        position=["buried"],
        diameter_m=[None],
        geometry=[LineString([(5, 5), (9, 5)])],
    )
    zones, _ = zones_of(things={"utilities": pipe})
    assert zones.loc["buried_line", "source_id"] == "1"


def test_overhead_line_depends_on_the_mature_height():
    wire = layer(
        kind=["electric"], position=["overhead"], geometry=[LineString([(0, 15), (40, 15)])]
    )
    low, _ = zones_of(things={"utilities": wire}, plants_species="ilex_glabra")
    assert "overhead_tree" not in low.index
    tall, plantable = zones_of(things={"utilities": wire}, plants_species="juniperus_virginiana")
    assert {"overhead_tree", "overhead_tall_tree"} <= set(tall.index)
    assert plantable.empty  # 65 ft either side covers the whole parcel
    assert list(plantable.columns) == [c.name for c in PLANTABLE_ZONE.columns] + ["geometry"]


def test_root_zones_and_what_is_no_obstacle():
    screens = layer(
        screen_id=["given", "spread", "unknown", "member", "fence"],
        kind=["tree", "tree", "tree", "plant", "fence"],
        height_m=[8.0, 8.0, 8.0, 1.0, 1.8],
        width_m=[6.0, 5.0, None, None, None],
        root_zone_m=[4.0, None, None, None, None],
        geometry=[Point(6, 15), Point(16, 15), Point(26, 15), Point(33, 15), LineString([(37, 10), (37, 20)])],
    )  # fmt: skip
    zones, _ = zones_of(things={"existing_screens": screens}, **SMALL)
    zones = zones.set_index("source_id")
    radius = {
        name: math.sqrt(zones.loc[name].geometry.area / math.pi)
        for name in ("given", "spread", "unknown")
    }
    # The radius given; half the spread; a quarter of the height where neither is known; and half the hole.
    half = ball_width("plug", 0.3) / 2
    assert radius == pytest.approx(
        {"given": 4.0 + half, "spread": 2.5 + half, "unknown": 2.0 + half}, abs=2 * WIDE_M
    )
    assert "taken as 4.0 m" in zones.loc["unknown", "reason"]
    assert "member" not in zones.index
    assert zones.loc["fence", "feature"] == "fence"


def test_keep_outs_by_kind_and_the_others():
    outs = layer(
        kind=["Septic field", "patio", "pond"],
        geometry=[shapely.box(18, 13, 22, 17), shapely.box(3, 3, 6, 6), shapely.box(30, 3, 34, 6)],
    )
    zones, _ = zones_of(
        things={"keep_outs": outs}, plants_species="morella_cerifera", setbacks_hole=0.4, **SMALL
    )
    assert zones.loc["septic_field", "distance_m"] == pytest.approx(10 * 0.3048)  # 10 ft (read)
    assert zones.loc["keep_out", "distance_m"] == pytest.approx(0.2)
    assert zones.loc["pond", "feature"] == "pond"


def test_a_drive_is_a_driveway():
    shape = shapely.box(18, 0, 22, 17)
    zones, _ = zones_of(things={"keep_outs": layer(kind=["Drive"], geometry=[shape])})
    same, _ = zones_of(things={"keep_outs": layer(kind=["driveway"], geometry=[shape])})
    assert zones.loc["driveway", "distance_m"] == same.loc["driveway", "distance_m"]
    assert "keep_out" not in zones.index


def test_a_gate_keeps_the_way_through_it_free():
    gate = layer(kind=["gate"], geometry=[LineString([(10, 0), (13, 0)])])
    rules = (Rule("gate", "gate", 1.0, passage_m=8.0, reason="way"),)
    zones, _ = zones_of(things={"keep_outs": gate}, rules=rules)
    zone = zones.loc["gate"].geometry
    # The gate's 3 m and 1 m either side, 8 m into the parcel and 1 m round its end.
    assert zone.bounds == pytest.approx((9, 0, 14, 9), abs=WIDE_M)
    assert zone.contains(shapely.box(9, 0.01, 14, 8))


def test_a_road_and_a_building_outside_the_parcel_reach_into_it():
    road = layer(road_id=["R"], width_m=[8.0], geometry=[LineString([(-10, -4.5), (50, -4.5)])])
    house = layer(building_id=["B"], kind=["house"], geometry=[shapely.box(41, 10, 50, 20)])
    far = layer(building_id=["far"], kind=["house"], geometry=[shapely.box(141, 10, 150, 20)])
    zones, _ = zones_of(things={"roads": road, "buildings": house}, plants_species=CEDAR)
    # The road's edge lies 0.5 m outside; 5 ft to the crown and 6 ft of half spread.
    assert zones.loc["road"].geometry.bounds[3] == pytest.approx(11 * 0.3048 - 0.5, abs=WIDE_M)
    assert zones.loc["building_tree"].geometry.bounds[0] == pytest.approx(41 - 3.048, abs=WIDE_M)
    assert len(zones_of(things={"buildings": far})[0]) == len(zones_of()[0])


def test_without_rules_things_still_stand_where_they_stand():
    house = layer(kind=["house"], geometry=[shapely.box(10, 10, 20, 20)])
    zones, plantable = zones_of(things={"buildings": house}, rules=())
    assert list(zones.index) == ["footprint"]
    assert plantable["area_m2"].sum() == pytest.approx(1200 - 100)


def test_where_the_parcel_is_not_known_things_are_kept_clear_on_all_ground():
    # Closed form: of houses of 10 by 10 m in the four quarters of the plane each is kept clear whole, and
    # plants may stand anywhere else; nothing is told of a boundary or of plantable ground.
    corners = [(x, y) for x in (-510.0, 300.0) for y in (-420.0, 200.0)]
    houses = layer(
        building_id=[f"h{k}" for k in range(4)], kind=["house"] * 4,
        geometry=[shapely.box(x, y, x + 10, y + 10) for x, y in corners],
    )  # fmt: skip
    alone = box().iloc[:0]
    zones, plantable = mark_zones({"parcels": alone, "buildings": houses}, rules=())
    assert zones["feature"].tolist() == ["building"] * 4
    assert shapely.area(zones.geometry.to_numpy()) == pytest.approx([100.0] * 4)
    assert plantable.empty
    lines = layer(line_id=["a"], plantable_m=[30.0], geometry=[LineString([(0, 0), (30, 0)])])
    ground = plantable_ground(plantable, zones, lines)
    assert not shapely.contains_xy(ground, *(np.array(corners).T + 5.0)).any()
    around = np.array([(900.0, 900.0), (-900.0, 900.0), (900.0, -900.0), (-900.0, -900.0)])
    assert shapely.contains_xy(ground, *around.T).all()


def test_columns_crs_and_input_are_kept():
    parcels = box().set_crs("EPSG:32632")
    before = parcels.copy()
    zones, plantable = mark_zones({"parcels": parcels})
    assert list(zones.columns) == [c.name for c in NO_PLANT_ZONES.columns] + ["geometry"]
    assert zones.crs == plantable.crs == parcels.crs
    assert zones["zone_id"].is_unique
    assert parcels.equals(before)
    assert (zones["confirm_locally"]).all()


@given(st.floats(0, 6.2), st.floats(3, 12), st.floats(1, 9))
@settings(max_examples=30)
def test_zones_and_plantable_zone_tile_the_parcel(turn, size, wide):
    c, s = math.cos(turn), math.sin(turn)
    outline = Polygon(
        [
            (c * x - s * y, s * x + c * y)
            for x, y in [(0, 0), (3 * size, 0), (2 * size, wide), (0, 2 * size)]
        ]
    )
    if not outline.is_valid:
        return
    house = layer(kind=["house"], geometry=[outline.centroid.buffer(size / 4)])
    zones, plantable = mark_zones(
        {"parcels": subject(outline), "buildings": house},
        rules=load_rules(),
        plan=plan_with(plants_species="ilex_glabra"),
    )
    kept, left = shapely.union_all(zones.geometry.to_numpy()), plantable.union_all()
    assert kept.area + left.area == pytest.approx(outline.area, rel=1e-6)
    assert shapely.intersection(kept, left).area < 1e-6


def test_refused():
    parcels = box()
    with pytest.raises(InputError, match="0 parcels are marked as the subject"):
        mark_zones({"parcels": parcels.assign(is_subject=False)})
    with pytest.raises(InputError, match="there is no species 'oak'"):
        mark_zones({"parcels": parcels}, plan=plan_with(plants_species="oak"))


@settings(max_examples=25)
@given(st.randoms(use_true_random=False), st.integers(1, 12))
def test_exclusions_on_many_subjects_are_those_on_each_alone(chance, count):
    """Invariant: to the last digit, whatever the order of things and what else is in the call."""
    subjects = np.array([shapely.box(30.0 * k, 0.0, 30.0 * k + 24.0, 20.0) for k in range(4)])
    things, reach, own, passage = [], [], [], []
    for _ in range(count):
        x, y = chance.uniform(-5.0, 125.0), chance.uniform(-5.0, 25.0)
        things.append(
            chance.choice([shapely.box(x, y, x + 4.0, y + 3.0), LineString([(x, y), (x + 9.0, y + 2.0)]), Point(x, y)])
        )  # fmt: skip
        reach.append(chance.choice([0.0, 1.5, 4.0]))
        own.append(chance.randrange(4))
        passage.append(chance.choice([0.0, 0.0, 3.0]))
    things = np.array(things, dtype=object)
    reach, own, passage = np.array(reach), np.array(own), np.array(passage)
    together = exclusions(things, reach, own, subjects, passage_m=passage)
    for k in range(count):
        alone = exclusions(
            things[k : k + 1], reach[k : k + 1], np.zeros(1, int), subjects[own[k : k + 1]],
            passage_m=passage[k : k + 1],
        )  # fmt: skip
        assert shapely.equals_exact(together[k], alone[0], 0.0) or together[k] is alone[0] is None
        far = shapely.distance(things[k], subjects[own[k]]) > reach[k] + WIDE_M
        assert (together[k] is None) >= far


def test_rims_are_what_an_outline_keeps_clear_of_its_own_ground():
    """Invariant: of plain ground, with a hole and of two parts; the widest says what is left."""
    square = shapely.box(0.0, 0.0, 20.0, 20.0)
    grounds = np.array([
        square,
        square.difference(shapely.box(9.0, 9.0, 12.0, 12.0)),
        shapely.multipolygons([square, shapely.box(25.0, 0.0, 45.0, 20.0)]),
        shapely.box(0.0, 0.0, 2.0, 20.0),
        square,
    ])  # fmt: skip
    ground = np.array([0, 0, 1, 2, 3, 4, 1])
    reach = np.array([1.0, 2.5, 1.5, 1.5, 1.5, 0.0, 0.5])
    found, inside = rims(grounds, ground, reach)
    told = exclusions(
        shapely.boundary(grounds)[ground], reach, ground, grounds, passage_m=np.zeros(len(reach))
    )
    assert (
        [rim is None for rim in found]
        == [rim is None for rim in told]
        == [k == 5 for k in range(7)]
    )
    there = np.arange(7) != 5
    assert shapely.is_valid(found[there]).all()
    # A strip that is kept clear as a whole has no hole, not even an empty one.
    assert shapely.get_num_interior_rings(found[[0, 1, 4]]).tolist() == [1, 1, 0]
    assert shapely.area(shapely.symmetric_difference(found[there], told[there])).max() < 1e-9
    # Closed form: (a - 2 D)², of two squares twice, of a strip of 2 m nothing, of no rim all.
    a = (20.0 - 2.0 * (np.array([2.5, 1.5]) + ARC_EXCESS_M)) ** 2
    assert shapely.area(inside[[0, 2, 3, 4]]) == pytest.approx([a[0], 2.0 * a[1], 0.0, 400.0])
    left = shapely.difference(grounds[1], told[2])
    assert shapely.symmetric_difference(inside[1], left).area < 1e-9


def lots_in_a_street(chance, count):
    """Lots beside a road, each a little crooked, and houses, wires, gates, trees and places on and between them."""

    def some(low, high):
        # Whole millimetres: over points 1e-300 m apart no library finds a distance.
        return round(chance.uniform(low, high), 3)

    shift = [some(-2, 2) for _ in range(2 * (count + 1))]
    outlines = [
        Polygon([(20 * k, 0), (20 * k + 20, 0), (20 * k + 20 + shift[k + 1], 25), (20 * k + shift[k], 25 + shift[count + k])])
        for k in range(count)
    ]  # fmt: skip
    across = 20.0 * count
    at = [(some(-5, across + 5), some(-5, 30)) for _ in range(2 * count)]
    houses = [shapely.box(x, y, x + some(2, 9), y + 6) for x, y in at[:count]]
    around = {
        "parcels": gpd.GeoDataFrame({"parcel_id": [f"p{k}" for k in range(count)], "is_subject": False}, geometry=outlines),
        "buildings": layer(building_id=[chance.choice([None, "h10", "h2", f"h{k}"]) for k in range(count)], geometry=houses),
        "roads": layer(width_m=[7.0], geometry=[LineString([(-30, -6), (across / 2, -4), (across + 30, -6)])]),
        "utilities": layer(
            position=["overhead", "buried"], diameter_m=[None, 0.2],
            geometry=[LineString([(-9, 20), (across, 12)]), LineString([(3, -9), (across, 21)])],
        ),
        "keep_outs": layer(kind=["gate"] * count, geometry=[LineString([(20 * k + 8, 0), (20 * k + 11, 0)]) for k in range(count)]),
        "existing_screens": layer(
            kind=["tree"] * count, height_m=[6.0] * count, width_m=[chance.choice([None, 3.0]) for _ in range(count)],
            geometry=[Point(xy) for xy in at[count : 2 * count]],
        ),
    }  # fmt: skip
    owner = np.sort([chance.randrange(count) for _ in range(count)])
    places = layer(
        place_id=[None] * count, derived=[chance.choice([True, False]) for _ in range(count)],
        geometry=[shapely.box(20 * k + 4, 9, 20 * k + 9, 14) for k in owner],
    )  # fmt: skip
    return around, Many(places, owner, count)


@settings(max_examples=12, deadline=None)
@given(st.randoms(use_true_random=False), st.integers(2, 5), st.sampled_from([CEDAR, "juniperus_virginiana"]))  # fmt: skip
def test_zones_of_many_lots_are_those_of_each_alone(chance, count, species):
    """Invariant: to the last digit, whatever the other lots, in whatever order, and as of a plan of one parcel."""
    around, places = lots_in_a_street(chance, count)
    given_ = {"plan": plan_with(plants_species=species), "rules": load_rules(), "species_table": None}  # fmt: skip
    order = chance.sample(range(count), chance.randint(1, count))
    own = np.concatenate([np.flatnonzero(places.lot == lot) for lot in order])
    turned = Many(places.only(own).layer, np.repeat(range(len(order)), places.count[order]), len(order))  # fmt: skip
    together = mark_zones_each(
        Lots(around, np.array(order), 200.0), {"private_places": turned}, **given_
    )
    for number, lot in enumerate(order):
        parcels = around["parcels"].assign(is_subject=np.arange(count) == lot)
        layers = {**around, "parcels": parcels, "private_places": places.of(lot)}
        for found, alone in zip(together, mark_zones(layers, **given_), strict=True):
            found = found.of(number)
            pd.testing.assert_frame_equal(
                pd.DataFrame(found.drop(columns="geometry")),
                pd.DataFrame(alone.drop(columns="geometry")),
                check_exact=True,
            )
            assert (found.geometry.to_wkb() == alone.geometry.to_wkb()).all()


def test_what_is_left_of_each_lot_is_numbered_by_itself_the_largest_part_first():
    parcels = gpd.GeoDataFrame(
        {"parcel_id": ["parted", "narrow", "wide"]},
        geometry=[shapely.box(-31, 0, -1, 20), shapely.box(0, 0, 3, 20), shapely.box(9, 0, 29, 20)],
    )
    wall = layer(kind=["wall"], width_m=[2.0], geometry=[LineString([(-20, -1), (-20, 21)])])
    zones, plantable = mark_zones_each(
        Lots({"parcels": parcels, "existing_screens": wall}, np.array([0, 1, 2])), {},
        rules=PLAIN, species_table=None, plan=plan_with(site_boundary_accuracy=0.0),
    )  # fmt: skip
    # 2 m from the boundary: of 30 by 20 m 26 by 16 m, of which the wall takes 2 m and leaves 8 and 16 m on its
    # sides; of 3 m nothing, and that is no error; of 20 by 20 m 16 by 16 m.
    assert zones.layer["zone_id"].tolist() == ["z001", "z002", "z001", "z001"]
    assert plantable.count.tolist() == [2, 0, 1]
    assert plantable.layer["zone_id"].tolist() == ["p01", "p02", "p01"]
    assert plantable.layer["area_m2"].tolist() == pytest.approx([256, 128, 256], abs=80 * WIDE_M)
