"""Buried lines and drains: widths of the zones, holes by hand, septic fields by height."""

import pytest
import shapely
from effects_kit import layer, row
from options_kit import plan_with

from screenplan.contracts.tables import notes_of
from screenplan.effects.buried import (
    LOCATE_FIRST,
    judge_digging,
    judge_drains,
    mark_buried,
    reach_drains,
)
from screenplan.ground.said import FOOT_M
from screenplan.planting.growth import height_at
from screenplan.planting.species import load_species
from screenplan.planting.stock import hole_width

INCH_M = 0.0254


def main(y=20.0, diameter=0.1):
    return layer([shapely.LineString([(20, -10), (20, 60)])], utility_id=["m"], kind=["water"],
                 position=["buried"], diameter_m=[diameter], height_m=[None])  # fmt: skip


@pytest.mark.parametrize(("name", "inches"), [("locate_18in", 18), ("locate_24in", 24)])
@pytest.mark.evidence(
    part="Effects on others",
    kind="published",
    against="Tolerance zones of buried lines: 18 in and 24 in each side",
    source="One-call laws of many states; of Florida and New York",
    status="read",
    tolerance="1.1 mm, as the outline is drawn around the true one",
)
def test_a_zone_is_its_diameter_and_a_margin_each_side_wide(name, inches):
    _, plants = row()
    zones, _ = mark_buried(plants, main(), plan=plan_with(lines_locate=name))
    width = 0.1 + 2 * inches * INCH_M
    assert zones["width_m"].iloc[0] == pytest.approx(width)
    across = shapely.LineString([(0, 25), (40, 25)])
    # The outline is drawn around the true one, by half a millimetre each side at most.
    assert shapely.intersection(across, zones.geometry.iloc[0]).length == pytest.approx(width, abs=0.0011)  # fmt: skip


def test_holes_that_touch_a_zone_are_listed():
    _, plants = row(((18.0, 30), (22.0, 30)), step=0.5)
    _, holes = mark_buried(plants, main())
    # By hand: stems nearer to x = 20 than 0.05 m, 24 in and half the hole that the crew digs.
    hole = hole_width(plants["stock"].iloc[0], plants["stock_height_m"].iloc[0])
    away = (plants.geometry.x - 20).abs()
    near = plants.loc[away < 0.05 + 24 * INCH_M + hole / 2, "plant_id"]
    assert 0 < len(near) < len(plants)
    assert holes["plant_id"].tolist() == near.tolist()
    assert holes["edge_m"].min() == 0.0
    assert judge_digging(main(), holes).result == "fails"
    for width in (2.0, 0.01):  # a machine that digs wider; one narrower changes nothing
        _, by_machine = mark_buried(plants, main(), plan=plan_with(setbacks_hole=width))
        reach = 0.05 + 24 * INCH_M + max(width, hole) / 2
        assert by_machine["plant_id"].tolist() == plants.loc[away < reach, "plant_id"].tolist()
    plants["existing"] = True  # what stands needs no hole
    assert not len(mark_buried(plants, main())[1])


def test_the_caution_is_on_every_output_that_leads_to_a_hole_wherever_the_site_is():
    _, plants = row(((19, 30), (21, 30)), step=0.5)
    for utilities in (None, main()):
        zones, holes = mark_buried(plants, utilities)
        assert notes_of(zones) == notes_of(holes) == (LOCATE_FIRST,)
        assert (zones["caution"] == LOCATE_FIRST).all()
        assert (holes["caution"] == LOCATE_FIRST).all()
        assert "located" in judge_digging(utilities, holes).caution
    assert judge_digging(None, mark_buried(plants, None)[1]).result == "cannot be judged"
    assert judge_digging(main(), None).result == "cannot be judged"
    assert (
        judge_digging(main(), mark_buried(row(((2, 38), (9, 38)))[1], main())[1]).result == "passes"
    )


def field():
    return layer([shapely.box(10, 30, 20, 33)], keep_out_id=["f"], kind=["Septic field"])


@pytest.mark.evidence(
    part="Effects on others",
    kind="published",
    against="Distance from a septic field: the height, never under 10 ft",
    source="Johnson County, Indiana",
    status="read",
    tolerance="exact",
)
def test_plants_keep_their_height_from_a_septic_field():
    _, plants = row(((12, 38), (18, 38)), species="thuja_standishii_plicata")
    found = reach_drains(plants, field())
    # Johnson County, Indiana: the height away, never under 10 ft; here 5 m.
    heights = height_at(load_species()["thuja_standishii_plicata"], range(31), stock_height_m=1.0)
    assert found["distance_m"].unique() == pytest.approx([5.0])
    assert found["year"].unique().tolist() == [next(y for y in range(31) if heights[y] > 5.0)]
    assert judge_drains(field(), found).result == "fails"
    _, near = row(((12, 36), (18, 36)), stock=0.3)
    assert (reach_drains(near, field())["year"] == 0).all()  # 3 m is under 10 ft
    assert 10 * FOOT_M > 3.0


def test_missing_fields_never_pass():
    _, plants = row()
    assert judge_drains(None, reach_drains(plants, None)).result == "cannot be judged"
    assert judge_drains(field(), None).result == "cannot be judged"
    _, low = row(((12, 39), (18, 39)), species="ilex_glabra", stock=0.5)
    assert judge_drains(field(), reach_drains(low, field())).result == "passes"
