"""Sight at drives and corners: published distances, triangles by hand, plants by year."""

import geopandas as gpd
import pytest
import shapely
from effects_kit import layer, parcels, row
from options_kit import plan_with
from shapely import affinity

from screenplan.effects.roads import draw_sight_triangles, judge_road_sight
from screenplan.ground.errors import InputError
from screenplan.ground.said import FOOT_M, KMH_PER_MPH
from screenplan.rules.driver_sight import emerging_distance, stopping_distance
from screenplan.rules.limit_kinds import Stopping
from screenplan.rules.limits import limit_of, load_limits

#: AASHTO Green Book, stopping sight distance by mph, ft (table second-hand, reproduced by its formula).
STOPPING_FT = {
    15: 80, 20: 115, 25: 155, 30: 200, 35: 250, 40: 305, 45: 360, 50: 425, 55: 495, 60: 570,
    65: 645, 70: 730, 75: 820, 80: 910,
}  # fmt: skip


@pytest.mark.parametrize(("mph", "feet"), STOPPING_FT.items())
@pytest.mark.evidence(
    part="Effects on others",
    kind="published",
    against=f"Stopping sight distances at {len(STOPPING_FT)} speeds",
    source="AASHTO Green Book: the formula read in a state manual, the table second-hand and reproduced by it",
    status="second-hand",
    tolerance="exact",
)
def test_all_fourteen_stopping_distances(mph, feet):
    rule = limit_of(None, Stopping)
    assert stopping_distance(mph * KMH_PER_MPH, rule) / FOOT_M == pytest.approx(feet, abs=1e-6)


@pytest.mark.evidence(
    part="Effects on others",
    kind="published",
    against="Sight distance of a driver who emerges, 1.47 V t with a gap of 7.5 s",
    source="AASHTO Green Book, gap times",
    status="memory",
    tolerance="arithmetic with the gap",
)
def test_the_emerging_distance():
    # Arithmetic: 1.47 × 30 mph × 7.5 s = 330.75 ft.
    assert emerging_distance(30 * KMH_PER_MPH, 7.5) / FOOT_M == pytest.approx(330.75)
    assert emerging_distance(30 * KMH_PER_MPH, 7.5) > stopping_distance(30 * KMH_PER_MPH, limit_of(None, Stopping))  # fmt: skip


def road(speed=30.0):
    return layer([shapely.LineString([(-200, -5), (240, -5)])], road_id=["r"], speed_kmh=[speed], width_m=[6.0])  # fmt: skip


def drive(begins=0.0):
    return layer([shapely.box(18, begins, 21, 12)], keep_out_id=["d"], kind=["driveway"])


def watch(plants, **options):
    given = {"roads": road(), "keep_outs": drive(), **options}
    return draw_sight_triangles(parcels(), plants, **given)


# A drive that ends at the line, before it, or goes on over the verge to the street has the same edges on the line.
@pytest.mark.parametrize("begins", [0.0, 0.4, -0.6, -3.0])
def test_the_triangles_at_a_drive(begins):
    _, plants = row(((2, 38), (38, 38)))
    areas, inside = watch(plants, keep_outs=drive(begins))
    mine = areas.loc[areas["kind"] == "drive"]
    # By hand: 10 ft along the line from each edge of the drive, and 10 ft in along its edges.
    leg = 10 * FOOT_M
    by_hand = [shapely.Polygon([(18, 0), (18 - leg, 0), (18, leg)]), shapely.Polygon([(21, 0), (21 + leg, 0), (21, leg)])]  # fmt: skip
    union = shapely.union_all(by_hand)
    assert shapely.union_all(mine.geometry.to_numpy()).symmetric_difference(union).area < 1e-6
    assert not len(inside)
    assert judge_road_sight(road(), drive(), areas, inside).result == "passes"


def test_the_areas_along_the_road():
    _, plants = row()
    areas, _ = watch(plants)
    stop, emerge = (areas.loc[areas["kind"] == kind] for kind in ("stopping", "emerging"))
    assert stop["is_minimum"].all()
    assert not emerge["is_minimum"].any()
    # The eye is 14.5 ft behind the road's edge at y = -2, in the middle of the drive at x = 19.5.
    reach = stopping_distance(30.0, limit_of(None, Stopping))
    eye = (19.5, -2 + 14.5 * FOOT_M)
    by_hand = shapely.union_all([
        shapely.Polygon([eye, (19.5 - reach, -5), (19.5, -5)]), shapely.Polygon([eye, (19.5, -5), (19.5 + reach, -5)])
    ])  # fmt: skip
    assert shapely.union_all(stop.geometry.to_numpy()).symmetric_difference(by_hand).area < 1e-6
    assert emerge["distance_m"].iloc[0] == pytest.approx(emerging_distance(30.0, 7.5))


def test_a_plant_at_the_drive_is_in_the_way_from_the_year_in_which_it_is_too_tall():
    _, plants = row(((16.5, 0.5), (17.4, 0.5)), step=0.9, stock=0.6)
    areas, inside = watch(plants)
    at_drive = inside.loc[inside["kind"] == "drive"].iloc[0]
    # 30 in is 0.762 m: planted at 0.6 m it is below at first.
    assert at_drive["limit_m"] == pytest.approx(30 * 0.0254)
    assert 0 < at_drive["year_high"] <= at_drive["year"] <= at_drive["year_low"]
    finding = judge_road_sight(road(), drive(), areas, inside)
    assert finding.result == "fails"
    assert "A child behind it would be seen too late" in finding.says


def new_fence(xy, height=6 * FOOT_M):
    return layer([shapely.LineString(xy)], piece_id=["new fence 1"], option=["fence"], height_m=[height])  # fmt: skip


def test_a_new_fence_is_held_against_what_drivers_must_see_over():
    _, plants = row()
    areas, inside = watch(plants)
    said = (road(), drive(), areas, inside, True)
    # By hand: west of the drive, which begins at x = 18, the triangle's legs are 10 ft; at y = 2.8 m, behind the eye of
    # who drives out, it begins at x = 17.75 m.
    finding = judge_road_sight(*said, new_fence([(2.0, 2.8), (17.8, 2.8)]))
    assert finding.result == "fails"
    assert finding.says.startswith(
        "1 piece stands of the new fence where a driver must see: new fence 1, 1.83 m high and so above 0.76 m, in "
        "the sight triangle at drive d"
    )
    assert finding.needs == "ending it before that ground, or building it lower there"
    clear = judge_road_sight(*said, new_fence([(2.0, 2.8), (17.7, 2.8)]))
    assert clear.result == "passes"
    assert clear.says.endswith("and nothing new is built there")
    # 30 in may stand there.
    low = judge_road_sight(*said, new_fence([(2.0, 2.8), (17.8, 2.8)], 30 * 0.0254))
    assert low.result == "passes"


# Invariant: a fence on the boundary (instead.inset = 0) runs along the legs of a corner's triangle, whichever way the lot is
# turned; one that ends where the triangle begins does not.
@pytest.mark.parametrize("turn", range(0, 360, 7))
def test_a_fence_along_the_rim_stands_in_the_way_whichever_way_the_lot_is_turned(turn):
    def turned(shape):
        return affinity.rotate(shape, turn, origin=(0, 0))

    corner = shapely.Polygon([(40.0, 0.0), (40.0 - 25 * FOOT_M, 0.0), (40.0, 25 * FOOT_M)])
    areas = layer([turned(corner)], area_id=["s"], kind=["corner"], at=["south and east"], clear_from_m=[0.76])  # fmt: skip
    for xy, result in (
        ([(0.0, 0.0), (40.0, 0.0), (40.0, 60.0)], "fails"),
        ([(0.0, 0.0), (40.0, 0.0)], "fails"),
        ([(0.0, 0.0), (40.0 - 25 * FOOT_M, 0.0)], "passes"),
    ):
        fence = new_fence(xy).assign(geometry=[turned(shapely.LineString(xy))])
        finding = judge_road_sight(road(), drive(), areas, areas.iloc[:0], True, fence)
        assert finding.result == result


def test_plants_and_a_new_fence_in_the_way_are_both_told():
    _, plants = row(((16.5, 0.5), (17.4, 0.5)), step=0.9, stock=0.6)
    areas, inside = watch(plants)
    finding = judge_road_sight(road(), drive(), areas, inside, True, new_fence([(2.0, 0.5), (16.0, 0.5)]))  # fmt: skip
    assert finding.says.startswith("2 plants grow into ground")
    assert "1 piece stands of the new fence" in finding.says


def test_a_plant_whose_crown_begins_above_the_band_is_not_in_the_way():
    table = {"palm": _palm()}
    _, plants = row(((16.5, 0.5), (17.0, 0.5)), step=1.0, stock=4.0, species="palm")
    _, inside = watch(plants, species_table=table, plan=plan_with(road_drive="drive_10ft_band"))
    assert "drive" not in set(inside["kind"])
    _, inside = watch(plants, species_table=table)  # the other example allows nothing above 30 in
    assert "drive" in set(inside["kind"])


def _palm():
    from screenplan.planting.species_model import Species

    return Species(
        "palm", "Palm", "ellipsoid", (6.0, 8.0), (2.0, 3.0), yearly_growth_m=(0.3, 0.4, 0.5), spread_share=0.4,
        clear_stem_m=6.0, clear_stem_share=0.7,
    )  # fmt: skip


def test_a_corner_of_two_roads():
    _, plants = row(((34, 1.5), (39, 1.5)), stock=1.5)
    sides = gpd.GeoDataFrame(
        {"side_id": ["south", "east", "north", "west"], "across_kind": ["road", "road", "parcel", "parcel"]},
        geometry=[shapely.LineString(xy) for xy in ([(0, 0), (40, 0)], [(40, 0), (40, 40)], [(40, 40), (0, 40)], [(0, 40), (0, 0)])],
    )  # fmt: skip
    areas, inside = watch(plants, sides=sides)
    corner = areas.loc[areas["kind"] == "corner"]
    leg = 25 * FOOT_M
    # Half of 25 by 25 ft, at the corner (40, 0).
    assert corner.geometry.iloc[0].symmetric_difference(shapely.Polygon([(40, 0), (40 - leg, 0), (40, leg)])).area < 1e-6  # fmt: skip
    assert "corner" in set(inside["kind"])


def test_missing_layers_never_pass():
    _, plants = row()
    areas, inside = watch(plants, roads=None)
    assert judge_road_sight(None, drive(), areas, inside).result == "cannot be judged"
    areas, inside = watch(plants, keep_outs=None)
    assert judge_road_sight(road(), None, areas, inside).result == "cannot be judged"
    areas, inside = watch(plants, roads=road(None))
    finding = judge_road_sight(road(None), drive(), areas, inside)
    assert finding.result == "cannot be judged"
    assert finding.needs == "the road's speed_kmh"
    assert judge_road_sight(road(), drive(), None, None).result == "cannot be judged"


def test_a_triangle_of_the_wrong_kind_is_refused():
    _, plants = row()
    with pytest.raises(
        InputError, match=r"key road\.drive: there is no limit 'corner_25ft'.*drive_10ft"
    ):
        watch(plants, plan=plan_with(road_drive="corner_25ft"))


def test_presets_are_named_by_what_they_are():
    limits = load_limits()
    assert limits["drive_10ft"].leg_m == pytest.approx(10 * FOOT_M)
    assert limits["corner_25ft"].leg_m == pytest.approx(25 * FOOT_M)
