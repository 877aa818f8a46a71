"""Plants along the lines: counts, corners, exclusions, existing rows, ground; properties."""

import math
import re
from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from options_kit import plan_with
from parcel_kit import PLAIN, box, lay, layer, sides_of, subject
from shapely.affinity import rotate
from shapely.geometry import LineString, Point, Polygon
from shapely.ops import substring

from screenplan.contracts import DROPPED, PLANTS
from screenplan.ground.errors import InputError
from screenplan.planting.existing import row_through, standing_plants
from screenplan.planting.lines import draw_lines
from screenplan.planting.neighbours import gaps_between
from screenplan.planting.rows import set_plants
from screenplan.planting.setting import Setting
from screenplan.planting.spans import CLEARANCE_M
from screenplan.planting.zones import mark_zones
from screenplan.rules.ruleset import Rule
from screenplan.site.lots import Many
from screenplan.site.terrain import Terrain

OFFSET = 2.0 + CLEARANCE_M
#: The demanded tolerance of a plant towards a zone.
IN_ZONE_M = 0.001
#: What rounding makes of a length, metres.
LAST_DIGIT_M = 1e-12
DRIVE_RULES = (*PLAIN, Rule("driveway", "driveway", 1.0, reason="test"))


def drive(a=10.0, b=14.0):
    return {"keep_outs": layer(kind=["driveway"], geometry=[shapely.box(a, -1, b, 9)])}


def gaps(plants):
    return plants["gap_before_m"].dropna().to_numpy()


def test_one_side_evened_by_arithmetic():
    _, _, _, plants, dropped = lay(box(), "south", rows_spacing=1.5)
    length = 40 - 2 * OFFSET  # 35.998 m: ceil(23.9987) + 1 = 25 plants
    assert len(plants) == 25
    assert plants["station_m"].iloc[[0, -1]].to_list() == pytest.approx([0, length])
    assert gaps(plants) == pytest.approx(np.full(24, length / 24))
    assert plants["offset_m"].unique() == pytest.approx([OFFSET])
    assert plants.geometry.y.to_numpy() == pytest.approx(np.full(25, OFFSET))
    assert plants["plant_id"].to_list() == list(range(1, 26))
    assert dropped.empty
    assert list(plants.columns) == [c.name for c in PLANTS.columns] + ["geometry"]
    assert list(dropped.columns) == [c.name for c in DROPPED.columns] + ["geometry"]


def test_one_side_exact_by_arithmetic():
    plants = lay(box(), "south", rows_spacing=1.5, rows_fit="exact")[3]
    assert len(plants) == 24  # floor(35.998 / 1.5) + 1
    assert plants["station_m"].to_numpy() == pytest.approx(1.5 * np.arange(24))


def test_staggered_second_row_has_one_fewer_in_equal_triangles():
    plants = lay(box(), "south", rows_rows=2, rows_spacing=1.5, rows_fit="exact")[3]
    first, second = (plants[plants["row"] == row] for row in (1, 2))
    assert (len(first), len(second)) == (24, 23)
    apart = shapely.distance(first.geometry.to_numpy()[:-1], second.geometry.to_numpy())
    assert apart == pytest.approx(np.full(23, 1.5))


@pytest.mark.parametrize("apart_m", [0.4, 0.9, 1.1, 2.0])
def test_rows_nearer_to_each_other_than_half_the_spacing_are_both_planted(apart_m):
    # Arithmetic: 35.998 m at 3 m are 12 stations of the first row and 11 in their middles, however near
    # the second row stands.
    plants, dropped = lay(
        box(), "south", rows_rows=2, rows_row_distance=apart_m, rows_spacing=3.0,
        rows_fit="exact",
    )[3:]  # fmt: skip
    first, second = (plants[plants["row"] == row]["station_m"].to_numpy() for row in (1, 2))
    assert first == pytest.approx(3.0 * np.arange(12))
    assert second == pytest.approx(first[:-1] + 1.5)
    assert dropped.empty


@pytest.mark.parametrize("fit", ["evened", "exact"])
def test_a_shared_corner_has_one_plant(fit):
    _, _, _, plants, dropped = lay(box(), ["south", "east"], rows_fit=fit, rows_spacing=1.5)
    corner = Point(40 - OFFSET, OFFSET)
    assert (shapely.distance(plants.geometry.to_numpy(), corner) < 0.01).sum() == 1
    assert gaps(plants).max() <= 1.5 + 1e-6
    assert apart(plants).min() >= 0.75 - 1e-6
    assert dropped.empty
    at_corner = plants[(plants["side_id"] == "east") & (plants["station_m"] == 0)].iloc[0]
    assert at_corner["gap_before_m"] <= 1.5 + 1e-6  # along the line that ends there


@pytest.mark.parametrize("spacing", [1.5, 2.05, 1.234])
@pytest.mark.parametrize("sides", [["south", "east"], ["east", "north"], ["north", "west"]])
def test_exact_is_exact_at_a_shared_corner(sides, spacing):
    plants = lay(box(), sides, rows_fit="exact", rows_spacing=spacing)[3]
    assert gaps(plants) == pytest.approx(np.full(len(plants) - 1, spacing))
    assert (plants["moved_m"] == 0).all()
    # floor(35.998 / s) and floor(25.998 / s) gaps, and one plant more.
    assert len(plants) == math.floor(35.998 / spacing) + math.floor(25.998 / spacing) + 1


def test_exact_round_three_sides_leaves_its_rest_between_the_two_corners():
    # South and north count from their corners. On the east side, 25.998 m = 12 × 2.05 + 1.398.
    plants = lay(box(), ["south", "east", "north"], rows_fit="exact", rows_spacing=2.05)[3]
    odd = gaps(plants)[np.abs(gaps(plants) - 2.05) > 1e-6]
    assert odd == pytest.approx([1.398], abs=0.002)


def test_exact_counts_both_ways_from_a_plant_that_stands():
    screens = existing([(20.3, 2.001)])
    plants = lay(box(), "south", screens=screens, rows_spacing=1.5, rows_fit="exact")[3]
    assert gaps(plants) == pytest.approx(np.full(len(plants) - 1, 1.5))


def test_all_round_closes_the_ring():
    plants = lay(box(), "all", rows_spacing=1.5)[3]
    # Sides of 35.998 and 25.998 m: 24 and 18 gaps, and as many plants as gaps.
    assert len(plants) == 2 * (24 + 18)
    assert len(gaps(plants)) == len(plants)


def apart(plants):
    points = plants.geometry.to_numpy()
    distance = shapely.distance(points[:, None], points[None, :])
    return distance[~np.eye(len(points), dtype=bool)]


def test_evened_plants_both_edges_of_a_gap():
    plants = lay(box(), "south", rules=DRIVE_RULES, features=drive(), rows_spacing=1.5)[3]
    x = plants.geometry.x.to_numpy()
    assert x[x < 9].max() == pytest.approx(9, abs=0.002)
    assert x[x > 15].min() == pytest.approx(15, abs=0.002)
    wide = plants[plants["gap_before_m"] > 1.5 + 1e-6]
    assert wide["gap_before_m"].to_list() == pytest.approx([6.0], abs=0.004)


def test_exact_drops_with_the_rules_that_forbid():
    plants, dropped = lay(
        box(), "south", rules=DRIVE_RULES, features=drive(), rows_spacing=1.5, rows_fit="exact"
    )[3:]
    # Zero peg at x = 2.001: stations 7.5, 9, 10.5, 12 fall on x 9.5 to 14.0, inside 9 to 15.
    assert dropped["station_m"].to_list() == pytest.approx([7.5, 9.0, 10.5, 12.0])
    assert set(dropped["rules"]) == {"driveway"}
    assert (plants["moved_m"] == 0).all()


def test_exact_moves_within_the_tolerance():
    plants, dropped = lay(
        box(),
        "south",
        rules=DRIVE_RULES,
        features=drive(),
        rows_spacing=1.5,
        rows_fit="exact",
        rows_move=1.0,
    )[3:]
    moved = plants[plants["moved_m"] != 0]
    # From x 9.501 back to the zone's edge at 9: 0.7 m off the one before would be too near? No:
    # the one before stands at x 8.001, 1 m away. From 14.001 on to 15: the next stands at 15.501,
    # half a metre away, less than half the spacing: dropped.
    assert moved.geometry.x.to_list() == pytest.approx([9.0], abs=0.003)
    assert moved["moved_m"].to_list() == pytest.approx([-0.501], abs=0.003)
    assert dropped["station_m"].to_list() == pytest.approx([9.0, 10.5, 12.0])


def existing(points, heights=1.2, **columns):
    count = len(points)
    return layer(screen_id=[f"e{i}" for i in range(count)], kind=["plant"] * count,
                 height_m=[heights] * count, geometry=[Point(p) for p in points], **columns)  # fmt: skip


def test_an_existing_row_stands_and_is_filled_up():
    screens = existing([(10, 2.3), (14, 2.3), (15, 2.3)], 1.7)
    plants = lay(box(), "south", screens=screens, rows_spacing=1.5)[3]
    stood = plants[plants["existing"].to_numpy(bool)]
    assert stood.geometry.y.to_list() == [2.3] * 3
    assert stood["stock_height_m"].to_list() == [1.7] * 3
    assert stood["stock"].unique() == ["standing"]
    assert stood["offset_m"].to_list() == pytest.approx([2.3] * 3)
    between = plants[(plants.geometry.x > 10.01) & (plants.geometry.x < 13.99)]
    assert between.geometry.x.to_list() == pytest.approx(
        [10 + 4 / 3, 10 + 8 / 3]
    )  # ceil(4/1.5) − 1
    assert gaps(plants).max() <= 1.5 + 1e-6
    assert lay(box(), "south", screens=screens, rows_spacing=1.5, rows_fit="exact")[3][
        "gap_before_m"
    ].max() <= 1.5 + 1e-6  # fmt: skip


def test_an_existing_row_can_be_left_as_it_stands():
    screens = existing([(10, 2.3), (14, 2.3)], species=["ilex_opaca", None])
    plants = lay(box(), "south", screens=screens, rows_fill_existing=False)[3]
    assert len(plants) == 2
    assert plants["species"].to_list() == ["ilex_opaca", "thuja_occidentalis"]
    assert gaps(plants) == pytest.approx([4.0])


def test_existing_plants_elsewhere_belong_to_no_line():
    screens = existing([(10, 2.3), (20, 15)])
    _, _, lines, plants, _ = lay(box(), "south", screens=screens)
    assert plants["existing"].sum() == 1
    assert [plant.line for plant in standing_plants(screens, lines)] == [0, None]


def test_a_line_through_an_existing_row():
    screens = existing([(30, 8), (10, 4), (20, 6.1)])
    line = row_through(screens)
    assert list(line.geometry.iloc[0].coords) == [(10, 4), (20, 6.1), (30, 8)]
    with pytest.raises(InputError, match="an existing row needs at least two plants"):
        row_through(screens.iloc[:1])


def test_ground_and_the_distance_along_the_slope():
    # A plane that rises 20 % to the east: a tape reads √1.04 of the level distance.
    x = np.arange(-50.0, 101.0, 5.0)
    ground = Terrain(np.tile(0.2 * x, (31, 1)), -50.0, -50.0, 5.0, 5.0)
    parcels = box()
    zones, plantable = mark_zones(
        {"parcels": parcels}, rules=PLAIN, plan=plan_with(site_boundary_accuracy=0.0)
    )
    lines = draw_lines(
        parcels, sides_of(parcels), plantable, zones, plan=plan_with(rows_along=["south", "east"])
    )
    plants, _ = set_plants(lines, plantable, zones, terrain=ground)
    assert plants["ground_m"].to_numpy() == pytest.approx(0.2 * plants.geometry.x.to_numpy())
    south, east = (plants[plants["side_id"] == side] for side in ("south", "east"))
    assert south["slope_station_m"].to_numpy() == pytest.approx(south["station_m"] * 1.04**0.5)
    assert east["slope_station_m"].to_numpy() == pytest.approx(east["station_m"])


def _milli(value):
    return round(value, 3)


@st.composite
def sites(draw):
    """Convex-cornered parcels, turned, with a few keep-outs on them."""
    width, depth = draw(st.floats(12, 60).map(_milli)), draw(st.floats(12, 50).map(_milli))
    # Rounded: below that a coordinate is no length any more.
    skew, turn = draw(st.floats(-5, 5).map(_milli)), draw(st.floats(0, 6.28).map(_milli))
    base = np.array([(0, 0), (width, 0), (width + skew, depth), (0, depth)])
    c, s = math.cos(turn), math.sin(turn)
    spin = np.array([[c, s], [-s, c]])
    outs = [
        shapely.transform(Point(x * width, y * 4).buffer(r), lambda xy: xy @ spin)
        for x, y, r in draw(
            st.lists(
                st.tuples(
                    *(st.floats(low, high).map(_milli) for low, high in ((0, 1), (0, 1), (0.1, 3)))
                ),
                max_size=4,
            )
        )
    ]
    return subject(Polygon(base @ spin)), outs


@given(sites(), st.floats(0.5, 3.0), st.sampled_from(["evened", "exact"]), st.sampled_from([1, 2]),
       st.floats(0, 1.5))  # fmt: skip
# A plant of the second row at the corner would leave a gap of 3.13 m beside it.
@example(
    (subject(Polygon([(0, 0), (12, 0), (13, 12), (0, 12)])), [Point(12, 3).buffer(3)]),
    2.75,
    "exact",
    2,
    0.0,
)
@settings(max_examples=35)
def test_no_plant_in_an_exclusion_and_no_unexplained_gap(site, spacing, fit, rows, move):
    parcels, outs = site
    features = {"keep_outs": layer(kind=["bed"] * len(outs), geometry=outs)} if outs else {}
    rules = (*PLAIN, Rule("bed", "keep_out", 0.3, reason="test"))
    try:
        zones, plantable, lines, plants, dropped = lay(
            parcels, ["south", "east"], rules=rules, features=features,
            rows_rows=rows, rows_spacing=spacing, rows_fit=fit, rows_move=move,
        )  # fmt: skip
    except InputError as refusal:
        # Nothing may be planted there at all, or no second row; anything else is a defect.
        if not re.search("no plant (may|can)|too narrow|no room for a second", str(refusal)):
            raise
        assume(False)
    zone = plantable.union_all()
    points = plants.geometry.to_numpy()
    assert shapely.distance(points, zone).max() <= IN_ZONE_M
    kept = shapely.union_all(zones.geometry.to_numpy())
    inside = shapely.intersects(kept, points)
    assert shapely.distance(points[inside], zone).max(initial=0.0) <= IN_ZONE_M
    assert (plants["moved_m"].abs() <= max(move, spacing) + 1e-6).all()
    # Every gap above the spacing has ground in it where no plant may stand.
    by_line = dict(zip(lines["line_id"], lines.geometry, strict=True))
    for line_id, group in plants.groupby("line_id", sort=False):
        line = by_line[line_id]
        station = group["station_m"].to_numpy()
        assert (np.diff(station) > 0).all()
        for a, b in pairwise(station):
            told = dropped.loc[dropped["line_id"] == line_id, "station_m"].between(a, b)
            if b - a > spacing + 2e-3 and not told.any():
                piece = substring(line, a, b)
                assert shapely.difference(piece, zone).length > 0
        if fit == "evened" and group["row"].iloc[0] == 1 and line.length > spacing:
            # Both ends are planted: by this line or by the one that shares the corner.
            for end in (Point(line.coords[0]), Point(line.coords[-1])):
                assert shapely.distance(points, end).min() < spacing / 2 + 1e-6


@given(st.floats(14, 80), st.floats(0.5, 3.0))
@settings(max_examples=15)
def test_counts_on_a_free_side(width, spacing):
    length = width - 2 * OFFSET
    share = length / spacing
    if abs(share - round(share)) < 1e-3:
        return  # a last bit decides
    evened = lay(box(width), "south", rows_spacing=spacing)[3]
    exact = lay(box(width), "south", rows_spacing=spacing, rows_fit="exact")[3]
    assert len(exact) == math.floor(share) + 1
    assert len(evened) == math.ceil(share) + 1
    both = lay(box(width), "south", rows_rows=2, rows_spacing=spacing, rows_fit="exact")[3]
    assert len(both) == 2 * (math.floor(share) + 1) - 1


def test_inputs_are_not_changed():
    screens = existing([(10, 2.3)])
    before = screens.copy()
    lay(box(), "south", screens=screens)
    assert screens.equals(before)


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"plants_species": "oak"}, "there is no species 'oak'"),
        ({"plants_stock_height": 14.0}, "northern white cedar never grows above 12.192 m"),
        ({"screens": existing([(10, 2.3)], math.nan)}, "layer existing_screens, row 1: a standing plant has no height"),
        ({"screens": existing([(10, 2.3)], species=["oak"])}, "layer existing_screens: standing plant e0: there is no species 'oak'.*leave the column species out"),
    ],
)  # fmt: skip
def test_refused(options, says):
    with pytest.raises(InputError, match=says):
        lay(box(), "south", **options)


@pytest.mark.parametrize("spacing", [1.2, 1.5, 2.3, 3.0])
def test_the_outer_of_two_rows_closes_round_a_corner_that_points_inwards(spacing):
    # Invariant: nothing is in the way, so no gap of either row is wider than the spacing, also round the
    # corner, where the second row is longer than the first. No two plants stand nearer than half of it.
    outline = Polygon([(0, 0), (40, 0), (40, 20), (20, 20), (20, 40), (0, 40)])
    parcels = subject(outline)
    sides = sides_of(parcels, ("south", "east", "inner", "nook", "north", "west"))
    plants = lay(
        parcels, ["inner", "nook"], sides=sides, rows_rows=2, rows_spacing=spacing
    )[3]  # fmt: skip
    for row in (1, 2):
        mine = plants[plants["row"] == row]
        assert gaps(mine).max() <= spacing + 1e-6
        assert len(gaps(mine)) == len(mine) - 1
    assert apart(plants).min() >= spacing / 2.0 - 1e-6


@pytest.mark.parametrize(
    ("before", "after", "asked"),
    [
        (1.0, 1.5, [("b", 0.0)]),
        # Neither arm is wider than the spacing: the last digit decides nothing.
        (2.0 + LAST_DIGIT_M, 1.5, [("b", 0.0)]),
        (1.5, 2.0 - LAST_DIGIT_M, [("b", 0.0)]),
        (1.0 - LAST_DIGIT_M, 1.5, [("b", 0.0)]),
        # As wide as the spacing round the corner: nothing is wanting.
        (1.0, 1.0 + LAST_DIGIT_M, []),
        # An arm that is wider, or less than half as wide: halves of 3.6 m and of 2.9 m, thirds of 5.1 m.
        (1.1, 2.5, [("b", 0.7)]),
        (2.0, 0.9, [("a", 18.0 + 1.45)]),
        (2.5, 2.6, [("a", 17.5 + 1.7), ("b", 0.9)]),
        # 1.2 m each way along the lines, and across the corner √(0.8² + 0.4²) m, less than half the spacing.
        (2.0, 0.4, []),
    ],
)
def test_a_second_row_goes_round_a_corner_by_arithmetic(before, after, asked):
    """Two lines of the second row, 20 m each, that meet square: of each only the plant beside the corner stands."""
    lines = layer(side_id=["a", "b"], row=[2, 2], geometry=[LineString([(0, 0), (20, 0)]), LineString([(20, 0), (20, 20)])])  # fmt: skip
    rows = plan_with(rows_rows=2, rows_spacing=2.0).rows
    setting = Setting(Many.one(lines), np.array([shapely.box(-1, -1, 21, 21)]), rows)
    setting.planted[0].add(20.0 - before, (20.0 - before, 0.0))
    setting.planted[1].add(after, (20.0, after))
    setting.fill_second_row()
    found = [
        (side, station)
        for side, own in zip("ab", setting.planted, strict=True)
        for station in own.stations[1:]
    ]
    assert [side for side, _ in found] == [side for side, _ in asked]
    assert [station for _, station in found] == pytest.approx([station for _, station in asked])


@pytest.mark.parametrize(
    ("first", "second", "fit", "asked"),
    [
        (1.0, 6.0, "evened", [[0.0], [0.0, 2.0, 4.0, 6.0]]),
        (1.0, 6.0, "exact", [[], [0.0, 2.0, 4.0, 6.0]]),
        (12.0, 1.0, "evened", [[0.0, 2.0, 4.0, 6.0, 8.0, 10.0], [0.0, 1.0]]),
        (11.0, 1.0, "exact", [[1.0, 3.0, 5.0, 7.0, 9.0], [0.0]]),
    ],
)
def test_a_line_of_half_the_spacing_shares_its_corner_however_it_lies(first, second, fit, asked):
    """By arithmetic, 2 m apart; invariant: the last digit, by which each turned site has another length, decides nothing."""
    ends = shapely.linestrings([[(0, 0), (first, 0)], [(first, 0), (first, second)]])
    ground = np.array([Point(0, 0).buffer(50)])
    for turn in range(0, 360, 15):
        lines = layer(side_id=["a", "b"], row=[1, 1], geometry=rotate(shapely.multilinestrings(ends), turn, origin=(0, 0)).geoms)  # fmt: skip
        rows = plan_with(rows_spacing=2.0, rows_fit=fit).rows
        setting = Setting(Many.one(lines), ground, rows)
        setting.join_corners()
        for some in setting.waves(1):
            setting.plant_lines(some)
        for own, stations in zip(setting.planted, asked, strict=True):
            assert sorted(own.stations) == pytest.approx(stations, abs=1e-9)


@pytest.mark.parametrize("fit", ["evened", "exact"])
@pytest.mark.parametrize("rows", [1, 2])
def test_a_corner_that_is_taken_after_the_lines_were_drawn_stays_free(fit, rows):
    # By construction: a bed about the corner where two lines meet; no plant stands in it, each line is
    # planted up to it, and the gap round the corner is as long as what the bed takes.
    parcels = box()
    zones, plantable = mark_zones(
        {"parcels": parcels}, rules=PLAIN, plan=plan_with(site_boundary_accuracy=0.0)
    )
    lines = draw_lines(
        parcels,
        sides_of(parcels),
        plantable,
        zones,
        plan=plan_with(rows_along=["south", "east"], rows_rows=rows, rows_spacing=1.5),
    )
    bed = shapely.box(34, 0, 40, 7)
    zones, plantable = mark_zones(
        {"parcels": parcels, "keep_outs": layer(kind=["bed"], geometry=[bed])},
        rules=PLAIN,
        plan=plan_with(site_boundary_accuracy=0.0),
    )
    plants, dropped = set_plants(
        lines, plantable, zones, plan=plan_with(rows_spacing=1.5, rows_fit=fit)
    )
    assert not shapely.intersects(bed.buffer(-0.01), plants.geometry.to_numpy()).any()
    first = plants[plants["row"] == 1]
    south, east = (first[first["side_id"] == side] for side in ("south", "east"))
    assert 34 - 1.5 < south.geometry.x.max() <= 34.01
    assert 6.99 <= east.geometry.y.min() < 7 + 1.5
    wide = east["gap_before_m"].iloc[0]
    assert wide == pytest.approx(
        (40 - OFFSET - south.geometry.x.max()) + (east.geometry.y.min() - OFFSET)
    )
    if fit == "exact":
        # Each station in the bed is told with what forbids it.
        told = dropped[shapely.intersects(bed, dropped.geometry.to_numpy())]
        assert len(told)
        assert told["rules"].str.contains("thing itself|footprint", regex=True).all()


def test_a_row_where_no_station_may_stand_is_refused():
    # 3 m apart from the zero peg on: a drawn line whose only plantable stretch holds no station.
    drawn = layer(line_id=["a"], geometry=[LineString([(5, 10), (20, 10)])])
    parcels = box()
    zones, plantable = mark_zones(
        {"parcels": parcels}, rules=PLAIN, plan=plan_with(site_boundary_accuracy=0.0)
    )
    lines = draw_lines(parcels, sides_of(parcels), plantable, zones, drawn)
    bed = layer(kind=["bed"], geometry=[shapely.box(4, 9, 21, 11)])
    zones, plantable = mark_zones(
        {"parcels": parcels, "keep_outs": bed}, rules=(Rule("bed", "keep_out", reason="t"),)
    )
    with pytest.raises(InputError, match=r"no plant can be set .* forbidden by bed"):
        set_plants(lines, plantable, zones, plan=plan_with(rows_fit="exact"))


@st.composite
def stars(draw):
    """Parcels of any outline that is seen whole from its middle: sharp corners, necks, short sides."""
    count = draw(st.integers(3, 9))
    radii = draw(st.lists(st.floats(4, 40).map(_milli), min_size=count, max_size=count))
    angles = (np.arange(count) + 0.3 * np.sin(np.arange(count))) * 2 * np.pi / count
    return Polygon(np.c_[radii * np.cos(angles), radii * np.sin(angles)])


@given(stars(), st.floats(0.6, 2.5).map(_milli), st.sampled_from(["evened", "exact"]),
       st.sampled_from([1, 2]))  # fmt: skip
@settings(max_examples=35)
def test_rows_all_round_any_outline_keep_their_distance(outline, spacing, fit, rows):
    assume(outline.is_valid and outline.area > 60)
    parcels = subject(outline)
    names = [f"side-{number}" for number in range(len(outline.exterior.coords) - 1)]
    try:
        _, plantable, lines, plants, dropped = lay(
            parcels, "all", sides=sides_of(parcels, names), rows_rows=rows,
            rows_spacing=spacing, rows_fit=fit,
        )  # fmt: skip
    except InputError as refusal:
        if not re.search("no plant (may|can)|too narrow|no room for a second", str(refusal)):
            raise
        assume(False)
    points = plants.geometry.to_numpy()
    zone = plantable.union_all()
    assert shapely.distance(points, zone).max() <= IN_ZONE_M
    # Plants of different lines keep half the spacing, except the neighbours of a shared corner:
    # between them it is measured along the tape.
    line = plants["line_id"].to_numpy(str)
    apart = shapely.distance(points[:, None], points[None, :])
    apart[line[:, None] == line[None, :]] = np.inf
    for gap in gaps_between(plants, lines):
        apart[gap.before, gap.after] = apart[gap.after, gap.before] = np.inf
    assert apart.min(initial=np.inf) >= spacing / 2 - 0.002
    # A gap above the spacing holds ground that is forbidden, or is reported as crowded.
    by_line = dict(zip(lines["line_id"], lines.geometry, strict=True))
    for line_id, group in plants.groupby("line_id", sort=False):
        told = dropped.loc[dropped["line_id"] == line_id, "station_m"]
        for a, b in pairwise(group["station_m"].to_numpy()):
            if b - a > spacing + 2e-3 and not told.between(a, b).any():
                piece = substring(by_line[line_id], a, b)
                assert shapely.difference(piece, zone).length > 0


def test_a_sharp_corner_is_not_crowded():
    # 20° between two sides: their rows run together towards the corner.
    tip = math.radians(20)
    outline = Polygon([(0, 0), (60, 0), (60 * math.cos(tip), 60 * math.sin(tip))])
    parcels = subject(outline)
    sides = sides_of(parcels, ("south", "east", "north"))
    _, _, _, plants, dropped = lay(parcels, ["south", "north"], sides=sides, rows_spacing=1.5)
    points = plants.groupby("side_id").geometry
    south, north = (points.get_group(side).to_numpy() for side in ("south", "north"))
    assert shapely.distance(south[:, None], north[None, :]).min() >= 0.75 - 0.002
    assert set(dropped["rules"]) <= {"corner"}
