"""A fence, wall, trellis, awning or moved place beside the plants: identities, closed forms, refusals."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from options_kit import plan_with
from shapely.affinity import rotate
from shapely.geometry import LineString, box
from test_views import GARDEN, HOUSE, LINE, SHUT, TABLE, row, species, trace, windows

import screenplan
from screenplan.contracts import INSTEAD
from screenplan.ground.errors import InputError
from screenplan.rules.limits import load_limits
from screenplan.site.terrain import Terrain
from screenplan.views.obstacles import AWNING, Obstacles, lay_obstacles
from screenplan.works.boundary_screens import Allowed, fence_lines, lay_upright
from screenplan.works.instead import compare_instead

FOOT_M = 0.3048
#: Windows that look across the line squarely and obliquely, up and down stairs.
OBLIQUE = pd.concat(
    [windows((0, 6), sill=1.0, name="low"), windows((3, 6), sill=3.7, name="up"),
     windows((25, 14), facing=220.0, sill=2.4, name="far")],
    ignore_index=True,
)  # fmt: skip
#: A lot south of the line, with the garden in it.
LOT = gpd.GeoDataFrame({"parcel_id": ["A"], "is_subject": [True]}, geometry=[box(-20, -20, 20, 2)])
SIDES = gpd.GeoDataFrame(
    {"side_id": ["north", "west", "south", "east"], "across_kind": ["parcel", "parcel", "road", "parcel"],
     "facing_deg": [0.0, 270.0, 180.0, 90.0], "length_m": [40.0, 22.0, 40.0, 22.0]},
    geometry=[LineString([(20, 2), (-20, 2)]), LineString([(-20, 2), (-20, -20)]),
              LineString([(-20, -20), (20, -20)]), LineString([(20, -20), (20, 2)])],
)  # fmt: skip


def fence(height, y=0.0, **more):
    table = {"screen_id": ["f"], "kind": ["fence"], "height_m": [height], **more}
    return gpd.GeoDataFrame(table, geometry=[LineString([(-30.5, y), (30.5, y)])])


def compare(*what, **options):
    return both(*what, **options)[0].set_index("option")


def both(*what, plants=None, w=OBLIQUE, **options):
    """The table of what is compared, and the layer of its pieces."""
    layers = {
        "parcels": LOT, "sides": SIDES, "windows": w, "private_places": GARDEN, "buildings": HOUSE,
        "planting_lines": LINE.assign(side_id="north"), "plants": row(SHUT) if plants is None else plants,
    }  # fmt: skip
    layers |= {
        name: options.pop(name)
        for name in ("cost", "existing_screens", "keep_outs")
        if name in options
    }
    plan = plan_with(plants_species="column", growth_years=12, instead_inset=0.0, **options)
    plan = plan.model_copy(update={"instead": plan.instead.model_copy(update={"compare": what})})
    return compare_instead(layers, plan=plan, species_table=TABLE)


def open_now(screens, plants=None):
    """Open shares on the first day of every view, without plants and with them."""
    views = trace(w=OBLIQUE, plants=plants, existing_screens=screens, species_table=TABLE | HEDGE)[
        0
    ]
    return views.set_index("view_id")[["open_now", "open_y00"]].astype(float)


#: Boxes a millimetre wide and as long as their stations are apart, kept at 2 m.
HEDGE = {"box": species("box", spread=0.9, kept_height_m=2.0, kept_width_m=0.001)}


def test_a_fence_closes_what_a_box_crown_of_its_height_closes_as_its_width_goes_to_zero():
    # Invariant: the sides of the box close in on the sheet.
    hedge = open_now(None, row(SHUT, "box", stock=2.0))["open_y00"]
    ends = fence(2.0).assign(geometry=[LineString([(-30.45, 0), (30.45, 0)])])
    # One plant far away, so that nothing but the fence stands on the line.
    stood = open_now(ends, row(SHUT[:1], "box", stock=2.0))["open_now"]
    assert (stood > 0.02).any()
    assert (stood < 0.98).any()
    assert hedge.to_numpy() == pytest.approx(stood.to_numpy(), abs=1e-3)


def test_a_fence_of_no_height_changes_nothing():
    pd.testing.assert_frame_equal(open_now(fence(0.0)), open_now(None))


def test_two_together_close_at_least_what_each_closes():
    one, other = fence(1.6, 1.0), fence(2.2, -3.0, opacity=[0.7])
    both = open_now(pd.concat([one, other], ignore_index=True))
    for alone in (open_now(one), open_now(other)):
        assert (both <= alone + 1e-12).all(axis=None)


def test_an_awning_stops_exactly_the_rays_through_its_sheet():
    awning = gpd.GeoDataFrame(
        {"screen_id": ["a"], "kind": [AWNING], "height_m": [2.0]}, geometry=[box(0, 0, 4, 4)]
    )
    made = lay_obstacles(None, awning, Terrain.flat(10.0))
    # By similar triangles: from 14 m down to 11 m the ray is at 12 m after two thirds of its way.
    origin = np.array([[-10.0, 2, 14], [-10, 2, 14], [-10, 2, 11.9], [2, 2, 20]])
    target = np.array([[5.1, 2, 11], [4.9, 2, 11], [2, 2, 11], [2, 2, 12.1]])
    at = origin[:2, 0] + 2 / 3 * (target[:2, 0] - origin[:2, 0])
    assert isinstance(made, Obstacles)
    assert (at > 0.0).tolist() == [True, False]
    assert made.light_left(origin, target)[0].tolist() == [0.0, 1.0, 1.0, 1.0]


@pytest.mark.evidence(
    part="Rules", kind="published", against="heights of fences that three cities allow", status="read",
    source="Monte Sereno, California; Sunnyside, Washington; Kalamazoo, Michigan", tolerance="exact",
)  # fmt: skip
def test_published_heights_stand_as_they_were_read():
    by_hand = {"fence_3_6ft": (3, 6, 6), "fence_4_6ft": (4, 6, 6), "fence_4_7ft": (4, 7, 7)}
    for key, feet in by_hand.items():
        code = load_limits()[key]
        assert (code.front_m, code.side_m, code.rear_m) == pytest.approx(
            tuple(foot * FOOT_M for foot in feet)
        )


def test_the_table_is_what_the_views_say():
    found = compare("fence", "trellis", instead_rear=2.6)  # fmt: skip
    alone = trace(w=OBLIQUE, plants=row(SHUT), existing_screens=None)[0]
    fenced = trace(
        w=OBLIQUE, plants=row(SHUT),
        existing_screens=fence(2.6).assign(geometry=[LineString([(-20, 2), (20, 2)])]),
    )[0]  # fmt: skip
    assert found["open_first"].to_dict()["nothing"] == (alone["open_now"] > 0.1).sum()
    assert found["open_first"]["fence"] == (fenced["open_now"] > 0.1).sum()
    assert found["length_m"]["fence"] == pytest.approx(40.0)
    assert found["open_first"]["fence"] <= found["open_first"]["trellis"] <= found["open_first"]["nothing"]  # fmt: skip
    assert (found["open_later"] <= found["open_later"]["nothing"]).all()
    assert found["needed_m"]["fence"] <= found["needed_m"]["nothing"]
    assert "north (rear)" in found["says"]["fence"]
    assert "The code fence_3_6ft allows less: rear 1.83 m" in found["says"]["fence"]


def test_a_fence_that_nobody_sees_over_leaves_nothing_for_plants():
    found = compare("wall", instead_rear=9.0)
    assert found["open_first"]["wall"] == found["open_later"]["wall"] == 0
    assert found["needed_m"]["wall"] == 0.0
    assert pd.isna(found["kind"]["wall"])
    assert found["shut_out"]["wall"].count("window") == found["open_first"]["nothing"]


def test_a_fence_keeps_to_its_yard_and_off_buildings():
    code = load_limits()["fence_3_6ft"]
    for along, yard in (("south", "front"), ("west", "side"), ("north", "rear")):
        found = compare("fence", instead_along=[along])
        assert found["height_m"]["fence"] == pytest.approx(getattr(code, f"{yard}_m"))
    shed = gpd.GeoDataFrame({"building_id": ["s"]}, geometry=[box(-5, -1, 5, 4)])
    lines = fence_lines(LOT, SIDES.geometry.iloc[0], 0.0, shed)
    # The side of 40 m less the 10 m of the shed.
    assert sorted(line.length for line in lines) == pytest.approx([15.0, 15.0])
    (inside,) = fence_lines(LOT, SIDES.geometry.iloc[0], 0.5)
    assert shapely.contains(LOT.geometry.iloc[0], inside)


@pytest.mark.parametrize("turn", range(0, 360, 40))
@pytest.mark.parametrize("inset", [0.0, 0.5])
def test_a_fence_leaves_drives_open_however_the_lot_is_turned(turn, inset):
    """By hand: the side of 40 m less a drive of 4 m, and one drawn as a line, 3 m; room of 0.25 m beside each."""

    def turned(shape):
        return rotate(shape, turn, origin=(3.0, -7.0))

    # The area ends a hand's breadth before the boundary, the line goes through it; a path is no drive.
    drives = [
        box(-15, -9, -11, 1.8),
        LineString([(0, -6), (0, 9)]),
        LineString([(10, -6), (10, 9)]),
    ]
    keep_outs = gpd.GeoDataFrame({"kind": ["driveway", "Drive", "path"]}, geometry=list(map(turned, drives)))  # fmt: skip
    lot = LOT.assign(geometry=[turned(LOT.geometry.iloc[0])])
    lines = fence_lines(lot, turned(SIDES.geometry.iloc[0]), inset, None, keep_outs)
    # It begins as far from the corner as it stands off the boundary, and goes half as far round it.
    corner = inset / 2.0
    found = sorted(line.length for line in lines)
    assert found == pytest.approx(
        [5.0 - 0.25 - corner, 11.0 - 1.5 - 0.5, 20.0 - 1.5 - 0.25 - corner]
    )


def test_what_is_compared_leaves_drives_open():
    # By hand: 40 m less a drive of 3 m with 0.25 m beside it; and what looks in through the gap still does.
    drive = gpd.GeoDataFrame({"kind": ["driveway"]}, geometry=[LineString([(0, -6), (0, 9)])])
    whole, open_drive = (
        both("fence", instead_rear=9.0, keep_outs=keep_outs) for keep_outs in (None, drive)
    )
    length = [table.set_index("option")["length_m"]["fence"] for table, _ in (whole, open_drive)]
    assert length == pytest.approx([40.0, 36.5])
    first = [table.set_index("option")["open_first"]["fence"] for table, _ in (whole, open_drive)]
    assert first[0] == 0 < first[1]


def test_costs_are_length_times_price_and_only_what_is_known():
    cost = pd.DataFrame({"item": ["plant", "hole", "total"], "cost": [500.0, None, 500.0], "labour_cost": [None, 70.0, 70.0]})  # fmt: skip
    # A hole is dug and not bought: it needs no price.
    quantities = pd.DataFrame({"item": ["plant", "hole"], "packs": [10.0, None]})
    layers = {"cost": cost, "quantities": quantities}
    content = {"fence": 20.0}
    plan = {"instead_prices": content}
    found = _priced(plan, **layers)
    assert found["cost"]["fence"] == pytest.approx(40.0 * 20.0)
    assert found["cost_both"]["fence"] == pytest.approx(800.0 + 570.0)
    assert found["cost_both"]["nothing"] == pytest.approx(570.0)
    assert pd.isna(found["cost"]["wall"])
    assert "without a price" in found["says"]["wall"].lower()
    # What is bought and has no price leaves the sum empty, and it is said.
    lacking = pd.DataFrame({"item": ["plant", "hole"], "packs": [10.0, 10.0]})
    found = _priced(plan, cost=cost, quantities=lacking)
    assert pd.isna(found["cost_both"]["fence"])
    assert "no full price" in found["says"]["nothing"]


def _priced(plan, **layers):
    from screenplan.plan.reading import check_options

    options = check_options(
        {"plants": {"species": "ilex_opaca"}, "growth": {"years": 12},
         "instead": {"compare": ["fence", "wall"], "inset": "0 m", "prices": plan["instead_prices"]}}
    )  # fmt: skip
    whole = {
        "parcels": LOT, "sides": SIDES, "windows": OBLIQUE, "private_places": GARDEN, "buildings": HOUSE,
        "planting_lines": LINE.assign(side_id="north"), "plants": row(SHUT, "ilex_opaca", 1.0), **layers,
    }  # fmt: skip
    return compare_instead(whole, plan=options)[0].set_index("option")


def test_the_map_shows_each_piece_with_its_size_and_what_all_of_its_kind_close():
    plan = {
        "instead_rear": 2.6,
        "instead_along": ["north", "west"],
        "instead_prices": {"fence": 20.0, "awning": 50.0},
    }
    table, lines = both("fence", "wall", "awning", "place_moved", **plan)
    by_option, pieces = table.set_index("option"), lines.groupby("option")
    # The two sides are 40 m and 22 m long, and the garden is a square of known area.
    assert pieces["length_m"].sum()["fence"] == pytest.approx(62.0)
    assert lines["side_id"].dropna().tolist() == ["north", "west"] * 2
    assert pieces["area_m2"].sum()["awning"] == pytest.approx(GARDEN.area.sum())
    for option, mine in pieces:
        closes = by_option["open_first"]["nothing"] - by_option["open_first"][option]
        assert (mine["closes_first"] == closes).all()
        assert mine["height_m"].max() == by_option["height_m"][option]
    # Invariant: the pieces cost what the table says of the whole.
    for option in ("fence", "awning"):
        assert pieces["cost"].sum()[option] == pytest.approx(by_option["cost"][option])
    assert pieces.get_group("wall")["cost"].isna().all()
    assert set(lines.geom_type) == {"LineString"}
    assert lines["piece_id"].is_unique
    # Each piece of the north side stands on it.
    north = lines.loc[lines["side_id"] == "north"].geometry
    assert shapely.hausdorff_distance(north.to_numpy(), SIDES.geometry.iloc[0]).max() < 1e-6


def test_the_moved_place_is_in_the_lot_and_less_looked_at():
    found = compare("place_moved", instead_move_step=3.0)
    assert found["open_first"]["place_moved"] <= found["open_first"]["nothing"]
    assert "the best of" in found["says"]["place_moved"]


def test_refusals_say_what_and_how_to_mend_it():
    with pytest.raises(InputError, match=r"there is no side 'up'.*Write some of north"):
        compare("fence", instead_along=["up"])
    with pytest.raises(InputError, match=r"there is no limit 'my town' of that kind"):
        compare("fence", instead_code="my town")
    with pytest.raises(InputError, match=r"instead\.compare"):
        screenplan.run_plan({"instead": {"compare": ["hedge"]}})


def test_nothing_is_compared_until_the_plan_names_it():
    table, lines = both()
    assert len(table) == len(lines) == 0
    assert table.columns.tolist() == list(INSTEAD.names())


@pytest.mark.parametrize(("feet", "asks"), [(5.0, False), (6.0, False), (6.5, True)])
def test_a_permit_is_told_above_the_height_from_which_the_code_asks_one(feet, asks):
    # Published: Sunnyside, Washington, asks for a permit above 6 ft.
    tall = feet * FOOT_M
    asked = plan_with(instead_front=1.0, instead_side=tall, instead_rear=tall).instead
    laid = lay_upright(
        "fence", {"parcels": LOT, "sides": SIDES}, asked, Allowed(load_limits()["fence_4_6ft"])
    )
    assert any("needs a permit" in says for says in laid.says) == asks
