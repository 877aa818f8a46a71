"""What is built along the boundary keeps off ground over which a driver must see: by hand, and held against its check."""

from dataclasses import replace

import geopandas as gpd
import pytest
import shapely
from effects_kit import row
from options_kit import plan_with
from parcel_kit import PLAIN
from shapely.affinity import rotate
from shapely.geometry import LineString, box
from test_fenced import TABLE, as_sides, high_and_low, plan_of

from screenplan.design.fenced import choose_fence
from screenplan.effects.roads import draw_sight_triangles, judge_road_sight
from screenplan.ground.errors import InputError
from screenplan.ground.said import FOOT_M
from screenplan.works.boundary_screens import lay_upright, what_is_allowed

#: Legs of the triangles at drives and at corners of roads, as the default limits have them.
LEG_M, CORNER_M = 10 * FOOT_M, 25 * FOOT_M
#: A rim of half a centimetre stays open too.
RIM_M = 0.005
#: A lot of 40 by 30 m at a corner, roads south and east of it, with a drive of 3 m across its south side.
OUTLINE = box(0, 0, 40, 30)
CORNERS = [(0, 0), (40, 0), (40, 30), (0, 30)]
NAMES = ["south", "east", "north", "west"]
FACING = [180.0, 90.0, 0.0, 270.0]
ROADS = [LineString([(-100, -6), (140, -6)]), LineString([(46, -90), (46, 120)])]
DRIVE = box(10, -3, 13, 12)


def lot(turn=0.0, at_roads=("south", "east")):
    """The layers of the lot, turned."""

    def turned(shape):
        return rotate(shape, turn, origin=(7.0, -3.0))

    lines = [LineString(pair) for pair in zip(CORNERS, CORNERS[1:] + CORNERS[:1], strict=True)]
    sides = {
        "side_id": NAMES, "across_kind": ["road" if name in at_roads else "parcel" for name in NAMES],
        "facing_deg": [(facing - turn) % 360.0 for facing in FACING], "length_m": [line.length for line in lines],
    }  # fmt: skip
    return {
        "parcels": gpd.GeoDataFrame({"parcel_id": ["7"], "is_subject": [True]}, geometry=[turned(OUTLINE)]),
        "sides": gpd.GeoDataFrame(sides, geometry=[turned(line) for line in lines]),
        "roads": gpd.GeoDataFrame({"road_id": ["a", "b"], "width_m": [6.0, 6.0]}, geometry=[turned(road) for road in ROADS]),
        "keep_outs": gpd.GeoDataFrame({"keep_out_id": ["drive"], "kind": ["driveway"]}, geometry=[turned(DRIVE)]),
    }  # fmt: skip


def laid(layers, **options):
    plan = plan_with(**options)
    return lay_upright("fence", layers, plan.instead, what_is_allowed(layers, plan, None))


def test_a_fence_stops_where_a_driver_must_see_over_less():
    # By hand, on the boundary: of 40 m the drive of 3 m with 10 ft beside each edge, 25 ft at the corner, and a rim for each.
    tall = {"instead_inset": 0.0, "instead_along": ["south"], "instead_front": 6 * FOOT_M}
    south = laid(lot(), **tall)
    by_hand = [10.0 - LEG_M - RIM_M, 40.0 - 13.0 - LEG_M - CORNER_M - 2 * RIM_M]
    assert sorted(south.screens.length) == pytest.approx(by_hand, abs=1e-4)
    opened = 40.0 - 3.0 - 2 * 0.25 - sum(by_hand)
    assert south.says[-1] == (
        f"{{{opened:.1f} m}} of the boundary stays open where a driver must see: above {{0.76 m}} at the drive, above {{0.91 m}} "
        "at the corner of south and east"
    )
    # The corner asks for no more than the 3 ft that the code allows at the front; the drive does.
    by_code = laid(lot(), **{**tall, "instead_front": 3 * FOOT_M})
    assert sorted(by_code.screens.length) == pytest.approx(
        [by_hand[0], 27.0 - LEG_M - RIM_M], abs=1e-4
    )
    # 30 in may stand there: of it only the drive is open, with a quarter of a metre beside each edge.
    low = laid(lot(), instead_inset=0.0, instead_along=["south"], instead_front=30 * 0.0254)
    assert sorted(low.screens.length) == pytest.approx([10.0 - 0.25, 40.0 - 13.0 - 0.25])
    assert not any("driver must see" in says for says in low.says)


def test_of_several_heights_at_a_place_the_least_is_told():
    # With a speed the eye of who drives out looks along the road too, over 3.5 ft (1.07 m).
    layers = lot()
    layers["roads"] = layers["roads"].assign(speed_kmh=40.0)
    south = laid(layers, instead_inset=0.0, instead_along=["south"], instead_front=6 * FOOT_M)
    assert {area.clear_from_m for area in what_is_allowed(layers, plan_with(), None).seen_over} > {
        30 * 0.0254
    }
    assert south.says[-1].count("at the drive") == 1
    assert "above {0.76 m} at the drive" in south.says[-1]


def test_nothing_stays_open_for_drivers_where_no_roads_are_known():
    known = lot()
    del known["roads"]
    south = laid(known, instead_inset=0.0, instead_along=["south"])
    assert sorted(south.screens.length) == pytest.approx([10.0 - 0.25, 40.0 - 13.0 - 0.25])


def test_a_side_that_lies_in_sight_ground_from_end_to_end_has_no_room():
    far = {"road_corner": "corner_25ft", "instead_along": ["south"], "instead_front": 2.0}
    layers = lot()
    narrow = box(33, 0, 40, 30)
    cut = {
        **layers,
        "parcels": layers["parcels"].assign(geometry=[narrow]),
        "sides": layers["sides"].assign(geometry=[
            LineString([(33, 0), (40, 0)]), LineString([(40, 0), (40, 30)]), LineString([(40, 30), (33, 30)]), LineString([(33, 30), (33, 0)]),
        ]),
    }  # fmt: skip
    # By hand: 7 m are less than the 25 ft of the corner.
    made = laid(cut, instead_inset=0.0, **far)
    assert not len(made.screens)
    assert made.says[0] == "No side has room for it"


# Invariant: what is laid passes the check of the sight at the road, whichever way the lot is turned and however far off the
# boundary it stands; laid without a thought for drivers it does not.
@pytest.mark.parametrize("turn", range(0, 360, 40))
@pytest.mark.parametrize("inset", [0.0, 0.1, 1.0])
def test_what_is_laid_passes_the_check_however_the_lot_is_turned(turn, inset):
    layers = lot(turn)
    plan = plan_with(instead_inset=inset, instead_along=NAMES)
    _, plants = row(((2.0, 28.0), (30.0, 28.0)))
    plants = plants.set_geometry(rotate_all(plants.geometry, turn))
    areas, grown = draw_sight_triangles(
        layers["parcels"], plants, layers["roads"], layers["keep_outs"], layers["sides"], plan=plan
    )
    assert set(areas["kind"]) == {"drive", "corner"}
    allowed = what_is_allowed(layers, plan, None)

    def result(what):
        screens = lay_upright("fence", layers, plan.instead, what).screens
        built = screens.assign(piece_id=screens["screen_id"], option="fence")
        return judge_road_sight(
            layers["roads"], layers["keep_outs"], areas, grown, True, built
        ).says

    assert "stand" not in result(allowed)
    assert "where a driver must see" in result(replace(allowed, seen_over=()))


def rotate_all(shapes, turn):
    return [rotate(shape, turn, origin=(7.0, -3.0)) for shape in shapes]


def test_a_fence_that_a_design_chooses_keeps_off_what_drivers_must_see_over():
    made = high_and_low()
    sides = made["sides"].assign(
        across_kind=["road" if name == "north" else "parcel" for name in made["sides"]["side_id"]]
    )
    roads = gpd.GeoDataFrame({"road_id": ["r"], "width_m": [5.0]}, geometry=[LineString([(-90, 5), (90, 5)])])  # fmt: skip
    # The drive and its triangles take in the boundary where the rays of the window at x = -15 cross it.
    drive = gpd.GeoDataFrame({"keep_out_id": ["d"], "kind": ["driveway"]}, geometry=[box(-13.5, -4, -10.5, 3)])  # fmt: skip
    plan = plan_of(1.0, instead_front=6 * FOOT_M)
    chosen = {}
    for name, more in {"alone": {}, "drive": {"roads": roads, "keep_outs": drive}}.items():
        layers = as_sides({**made, **more}) | {"sides": sides.assign(facing_deg=as_sides(made)["sides"]["facing_deg"], length_m=sides.length)}  # fmt: skip
        chosen[name] = choose_fence(layers, plan=plan, rules=PLAIN, species_table=TABLE)
    pieces = {name: shapely.union_all(fence.screens.geometry) for name, fence in chosen.items()}
    west = box(-13.5 - LEG_M, -4, -10.5 + LEG_M, 4)
    assert shapely.intersects(pieces["alone"], west)
    assert (
        shapely.intersection(pieces["drive"], west).length < 0.3
    )  # a leg is shorter at 0.1 m from the boundary
    assert "above 0.76 m at drive d." in chosen["drive"].screens["says"].iloc[0]
    assert "a driver must see" not in chosen["alone"].screens["says"].iloc[0]


def test_an_unknown_sight_triangle_is_refused_by_its_key():
    with pytest.raises(InputError, match=r"there is no limit 'my corner' of that kind"):
        laid(lot(), road_corner="my corner")
