"""Sides of a parcel: corners, names, what lies across. Lengths in metres."""

import math
import re
import tracemalloc

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from lots_kit import alone, assert_each, cuts, district
from options_kit import plan_with
from shapely import affinity

from screenplan.contracts import SIDES
from screenplan.ground.errors import InputError
from screenplan.plan import key_limits
from screenplan.site.across import Around, look_across, points_along
from screenplan.site.compass import POINTS, compass_name
from screenplan.site.corners import find_corners, fitting_bases, least_width
from screenplan.site.lots import Lots
from screenplan.site.repair import SAME_VERTEX_M
from screenplan.site.rings import Rings
from screenplan.site.sides import find_sides, find_sides_each

#: The outline is cut, not redrawn: only the rounding of the cut points is left.
SUM_RELATIVE = 1e-9
#: Survey noise of ±2 cm at a corner moves a length by a few centimetres.
NOISE_LENGTH_M = 0.35


def parcels(*outlines):
    """The first is the subject; parcels are called p0, p1, …"""
    return gpd.GeoDataFrame(
        {
            "parcel_id": [f"p{i}" for i in range(len(outlines))],
            "is_subject": [i == 0 for i in range(len(outlines))],
        },
        geometry=list(outlines),
    )


def arc(x, y, radius, start, end, n=40):
    """Points on a circle; angles in degrees anticlockwise from east."""
    a = np.radians(np.linspace(start, end, n))
    return list(zip(x + radius * np.cos(a), y + radius * np.sin(a), strict=True))


def densify(outline, step=0.5):
    return shapely.segmentize(outline, step)


def noisy(outline, seed, size=0.02):
    rng = np.random.default_rng(seed)
    xy = shapely.get_coordinates(outline.exterior)[:-1]
    return shapely.Polygon(xy + rng.uniform(-size, size, xy.shape))


def turned(outline, first):
    xy = shapely.get_coordinates(outline.exterior)[:-1]
    return shapely.Polygon(np.roll(xy, -first, axis=0))


def by_name(sides):
    return dict(zip(sides["side_id"], sides["length_m"], strict=True))


RECTANGLE = shapely.box(0, 0, 25, 40)
L_SHAPE = shapely.Polygon([(0, 0), (45, 0), (45, 18), (20, 18), (20, 40), (0, 40)])
FLAG = shapely.Polygon([(0, 0), (6, 0), (6, 30), (33, 30), (33, 62), (0, 62)])
CHAMFERED = shapely.Polygon([(0, 0), (38, 0), (40, 2), (40, 30), (0, 30)])
ROUNDED = shapely.Polygon([(0, 0), *arc(35, 5, 5, -90, 0), (40, 31), (0, 31)])
WIDE_ROUNDED = shapely.Polygon([(0, 0), *arc(32, 10, 10, -90, 0), (42, 33), (0, 33)])
# A road front on a circle of radius 36.06 m, 42.4 m along the arc between radial-ish side lines.
ARC_FRONT = shapely.Polygon(
    [(40, 0), (40, 30), (0, 30), *arc(20, -30, math.hypot(20, 30), 123.69, 56.32)]
)
CUL_DE_SAC = shapely.Polygon([*arc(0, 0, 15, 60, 120), *arc(0, 0, 45, 120, 60, 2)])
TRIANGLE = shapely.Polygon([(0, 0), (40, 0), (10, 35)])
SHAPES = {
    "rectangle": RECTANGLE,
    "L": L_SHAPE,
    "flag lot": FLAG,
    "chamfered": CHAMFERED,
    "rounded": ROUNDED,
    "wide rounded": WIDE_ROUNDED,
    "arc front": ARC_FRONT,
    "cul-de-sac": CUL_DE_SAC,
    "triangle": TRIANGLE,
    "circle": shapely.Point(5, 5).buffer(20),
    "ellipse": affinity.scale(shapely.Point(0, 0).buffer(20, quad_segs=32), 2, 1),
    "rounded everywhere": shapely.box(10, 10, 40, 60).buffer(10),
    "narrow": shapely.box(0, 0, 3.5, 18),
    "with a courtyard": shapely.Polygon(
        RECTANGLE.exterior.coords, [shapely.box(10, 10, 15, 15).exterior.coords]
    ),
}


@pytest.mark.parametrize("name", SHAPES)
def test_sides_are_exactly_the_outline(name):
    outline = SHAPES[name]
    sides = find_sides(parcels(outline))
    # Invariant: the outline's own length.
    assert sides["length_m"].sum() == pytest.approx(outline.exterior.length, rel=SUM_RELATIVE)
    ends = [shapely.get_coordinates(line)[[0, -1]] for line in sides.geometry]
    for (_, end), (start, _) in zip(ends, ends[1:] + ends[:1], strict=True):
        assert tuple(end) == tuple(start)
    ring = np.vstack([shapely.get_coordinates(line)[:-1] for line in sides.geometry])
    rebuilt = shapely.Polygon(ring)
    assert rebuilt.exterior.is_ccw
    # Invariant: the area inside, holes filled.
    assert rebuilt.area == pytest.approx(shapely.Polygon(outline.exterior).area, rel=SUM_RELATIVE)


@pytest.mark.parametrize("name", SHAPES)
def test_sides_keep_their_contract(name):
    sides = find_sides(parcels(SHAPES[name]))
    assert [column for column in sides if column != "geometry"] == [c.name for c in SIDES.columns]
    assert sides["side_id"].is_unique
    assert sides["bearing_deg"].between(0, 360, inclusive="left").all()
    assert set(sides["across_kind"]) == {"unknown"}
    assert (sides["chord_m"] <= sides["length_m"] + 1e-9).all()


def test_rectangle_by_hand():
    sides = find_sides(parcels(RECTANGLE)).set_index("side_id")
    # Closed form: the rectangle's own sides; anticlockwise, the north side runs west.
    assert list(sides.index) == ["north", "west", "south", "east"]
    assert list(sides["length_m"]) == [25, 40, 25, 40]
    assert list(sides["bearing_deg"]) == [270, 180, 90, 0]
    assert list(sides["facing_deg"]) == [0, 270, 180, 90]
    assert not sides["curved"].any()


def test_l_shape_has_six_sides_the_longest_of_a_name_first():
    # Closed form: the drawn coordinates.
    assert by_name(find_sides(parcels(L_SHAPE))) == pytest.approx(
        {"south": 45, "west": 40, "north-1": 25, "north-2": 20, "east-1": 22, "east-2": 18}
    )


def test_flag_lot_keeps_its_short_front():
    # Closed form: the drawn coordinates; the front of 6 m is above the base length.
    assert by_name(find_sides(parcels(FLAG))) == pytest.approx(
        {"south-1": 27, "south-2": 6, "east-1": 32, "east-2": 30, "north": 33, "west": 62}
    )


def test_narrow_parcel_shortens_the_base_length():
    # Closed form: a row-house lot 3.5 m wide still has four sides.
    assert by_name(find_sides(parcels(shapely.box(0, 0, 3.5, 18)))) == pytest.approx(
        {"north": 3.5, "south": 3.5, "west": 18, "east": 18}
    )


@pytest.mark.parametrize("radius", [1, 2, 3, 5, 7, 8, 10, 12])
def test_rounded_street_corner_is_a_corner(radius):
    outline = shapely.Polygon(
        [(0, 0), *arc(42 - radius, radius, radius, -90, 0), (42, 33), (0, 33)]
    )
    sides = find_sides(parcels(outline)).set_index("side_id")
    assert set(sides.index) == {"north", "west", "south", "east"}
    # Closed form: straight part and half the quarter arc. Within half a base length.
    half_arc = math.pi * radius / 4
    assert sides["length_m"]["south"] == pytest.approx(42 - radius + half_arc, abs=2)
    assert sides["length_m"]["east"] == pytest.approx(33 - radius + half_arc, abs=2)
    assert not sides["curved"].any()


def test_chamfered_corner_is_one_corner():
    sides = find_sides(parcels(CHAMFERED))
    assert set(sides["side_id"]) == {"north", "west", "south", "east"}


@pytest.mark.parametrize("first", range(8))
def test_chamfers_are_shared_by_halves_wherever_the_ring_begins(first):
    # Closed form: cut off by 1.0, 1.4, 1.8 and 2.2 m along both sides, each corner lies in the middle of its
    # chamfer, so that a side has what is left of it and half of the chamfers at its two ends.
    a, b, c, d = 1.0, 1.4, 1.8, 2.2
    xy = [(a, 0), (40 - b, 0), (40, b), (40, 30 - c), (40 - c, 30), (d, 30), (0, 30 - d), (0, a)]
    sides = by_name(find_sides(parcels(shapely.Polygon(xy[first:] + xy[:first]))))
    half = {length: length * math.sqrt(2) / 2 for length in (a, b, c, d)}
    assert sides == pytest.approx(
        {
            "south": 40 - a - b + half[a] + half[b], "east": 30 - b - c + half[b] + half[c],
            "north": 40 - c - d + half[c] + half[d], "west": 30 - d - a + half[d] + half[a],
        },
        abs=0.02,
    )  # fmt: skip


def test_chamfer_longer_than_the_base_is_a_side():
    outline = shapely.Polygon([(0, 0), (30, 0), (40, 10), (40, 30), (0, 30)])
    # Closed form: the chamfer's length is 10 √2.
    assert by_name(find_sides(parcels(outline)))["south-east"] == pytest.approx(10 * math.sqrt(2))


def test_curved_road_front_is_one_side():
    sides = find_sides(parcels(ARC_FRONT)).set_index("side_id")
    assert set(sides.index) == {"north", "west", "south", "east"}
    front = sides.loc["south"]
    # Closed form: R 36.056 m × 67.380° = 42.40 m, less the sag of 40 chords; chord 40 m.
    assert front["length_m"] == pytest.approx(36.0555 * math.radians(67.380), abs=0.01)
    assert front["chord_m"] == pytest.approx(40, abs=1e-3)
    assert front["curved"]
    assert not sides.drop("south")["curved"].any()


def test_cul_de_sac_front_is_one_curved_side():
    sides = find_sides(parcels(CUL_DE_SAC)).set_index("side_id")
    assert len(sides) == 4
    # Closed form: 60° of a circle of 15 m.
    assert sides.loc["south", "length_m"] == pytest.approx(15 * math.pi / 3, abs=0.01)
    assert sides.loc["south", "curved"]


@pytest.mark.parametrize(("wide", "deep"), [(1, 1), (2, 2), (2, 3), (3, 0.5), (10, 1)])
def test_bump_below_the_base_length_makes_no_side(wide, deep):
    outline = shapely.Polygon(
        [
            (0, 0),
            (20, 0),
            (20, -deep),
            (20 + wide, -deep),
            (20 + wide, 0),
            (40, 0),
            (40, 30),
            (0, 30),
        ]
    )
    # Closed form: the bump's two flanks belong to the south side.
    assert by_name(find_sides(parcels(outline)))["south"] == pytest.approx(40 + 2 * deep)


@pytest.mark.parametrize("jog", [0.3, 1, 2, 3, 3.9])
def test_jog_below_the_base_length_makes_no_side(jog):
    outline = shapely.Polygon([(0, 0), (20, 0), (20, jog), (40, jog), (40, 30), (0, 30)])
    assert by_name(find_sides(parcels(outline)))["south"] == pytest.approx(40 + jog)


def test_jog_above_the_base_length_makes_sides():
    outline = shapely.Polygon([(0, 0), (20, 0), (20, 6), (40, 6), (40, 30), (0, 30)])
    assert set(find_sides(parcels(outline))["side_id"]) == {
        "north", "west", "south-1", "south-2", "east-1", "east-2",
    }  # fmt: skip


def test_kink_below_the_threshold_makes_no_side_and_above_it_two():
    def kinked(angle):
        x, y = 25 * math.cos(math.radians(angle)), 25 * math.sin(math.radians(angle))
        return shapely.Polygon([(0, 0), (25, 0), (25 + x, y), (25 + x, 40), (0, 40)])

    assert len(find_sides(parcels(kinked(24)))) == 4
    assert len(find_sides(parcels(kinked(36)))) == 5
    assert len(find_sides(parcels(kinked(24)), plan=plan_with(sides_corner=20))) == 5


def test_circle_is_cut_into_four_quarters():
    outline = shapely.Point(5, 5).buffer(20, quad_segs=64)
    sides = find_sides(parcels(outline))
    assert list(sides["side_id"]) == ["north", "west", "south", "east"]
    # Closed form: a quarter of the circumference, chord R √2.
    assert sides["length_m"].to_numpy() == pytest.approx(10 * math.pi, abs=0.02)
    assert sides["chord_m"].to_numpy() == pytest.approx(20 * math.sqrt(2), abs=0.02)
    assert sides["curved"].all()


def test_two_part_parcel_gives_the_sides_of_both():
    outline = shapely.MultiPolygon([shapely.box(0, 0, 20, 30), shapely.box(50, 0, 60, 15)])
    sides = find_sides(parcels(outline))
    # Closed form: 2 (20 + 30) + 2 (10 + 15).
    assert sides["length_m"].sum() == pytest.approx(150)
    assert by_name(sides)["north-1"] == pytest.approx(20)
    assert by_name(sides)["north-2"] == pytest.approx(10)


def test_two_hundred_surveyed_vertices_are_four_sides():
    outline = noisy(densify(RECTANGLE, 130 / 200), seed=3)
    assert len(outline.exterior.coords) > 200
    sides = find_sides(parcels(outline))
    assert list(sides["side_id"]) == ["north", "west", "south", "east"]


STEADY = [
    "rectangle",
    "L",
    "flag lot",
    "chamfered",
    "rounded",
    "wide rounded",
    "arc front",
    "triangle",
]


@settings(max_examples=40)
@given(
    name=st.sampled_from(STEADY),
    quarters=st.integers(0, 3),
    first=st.integers(0, 50),
    step=st.floats(0.3, 3.0),
    seed=st.integers(0, 10_000),
    x=st.floats(-5e3, 5e3),
    y=st.floats(-5e3, 5e3),
    mirror=st.booleans(),
)
def test_sides_hold_however_the_outline_is_drawn(name, quarters, first, step, seed, x, y, mirror):
    """Quarter turns, another first vertex, more vertices, survey noise, winding, place."""
    plain = find_sides(parcels(SHAPES[name]))
    outline = noisy(densify(SHAPES[name], step), seed)
    outline = turned(outline, first % (len(outline.exterior.coords) - 1))
    outline = affinity.translate(affinity.rotate(outline, 90 * quarters, origin=(0, 0)), x, y)
    if mirror:
        outline = outline.reverse()
    sides = find_sides(parcels(outline))

    def name_turned(side_id):
        point, number = re.fullmatch(r"([a-z-]+?)(-\d+)?", side_id).groups()
        return POINTS[(POINTS.index(point) - 2 * quarters) % 8] + (number or "")

    expected = {name_turned(key): length for key, length in by_name(plain).items()}
    found = by_name(sides)
    assert set(found) == set(expected)
    for key, length in expected.items():
        # ±2 cm on vertices 0.3 m apart lengthens an outline by up to 0.02² / 0.3² × 1.3, below 1 %.
        assert found[key] == pytest.approx(length, rel=0.01, abs=NOISE_LENGTH_M)
    assert sides["length_m"].sum() == pytest.approx(outline.exterior.length, rel=SUM_RELATIVE)


@settings(max_examples=30)
@given(angle=st.floats(0, 360), step=st.floats(0.3, 20))
def test_corners_do_not_depend_on_the_compass(angle, step):
    outline = affinity.rotate(densify(L_SHAPE, step), angle, origin=(0, 0))
    lengths = sorted(find_sides(parcels(outline))["length_m"])
    # Closed form: the drawn coordinates.
    assert lengths == pytest.approx([18, 20, 22, 25, 40, 45], abs=1e-6)


def test_across_names_the_neighbour_with_the_longest_front():
    sides = find_sides(
        parcels(
            shapely.box(0, 0, 20, 40),
            shapely.box(20, -10, 40, 15),
            shapely.box(20, 15, 40, 60),
            shapely.box(-20.4, 0, -0.4, 40),  # a sliver of 40 cm lies between
            shapely.box(-30, 41, 30, 60),
            shapely.box(-30, -40, 30, -8),  # too far across a road
        )
    ).set_index("side_id")
    assert sides["across"].to_dict() == {"north": "p4", "west": "p3", "south": "", "east": "p2"}
    assert sides.loc["south", "across_kind"] == "unknown"
    assert (sides["across_kind"].drop("south") == "parcel").all()


def test_parcel_that_meets_only_a_corner_is_not_across():
    sides = find_sides(parcels(shapely.box(0, 0, 20, 40), shapely.box(20, 40, 40, 60)))
    assert set(sides["across_kind"]) == {"unknown"}


def test_across_names_the_road_where_no_parcel_adjoins():
    roads = gpd.GeoDataFrame(
        {"road_id": ["r1", "r2"], "name": ["Larch Lane", None]},
        geometry=[
            shapely.LineString([(-50, -6), (80, -6)]),
            shapely.LineString([(29, -50), (29, 90)]),
        ],
    )
    sides = find_sides(
        parcels(
            shapely.box(0, 0, 20, 40), shapely.box(-20, 0, 0, 40), shapely.box(-50, -30, 80, -12)
        ),
        roads,
    ).set_index("side_id")
    assert tuple(sides.loc["south", ["across", "across_kind"]]) == ("Larch Lane", "road")
    assert tuple(sides.loc["east", ["across", "across_kind"]]) == ("r2", "road")
    assert tuple(sides.loc["west", ["across", "across_kind"]]) == ("p1", "parcel")
    assert sides.loc["north", "across_kind"] == "unknown"


def test_road_behind_a_parcel_is_not_across():
    roads = gpd.GeoDataFrame(
        {"road_id": ["r1"]}, geometry=[shapely.LineString([(-9, 52), (40, 52)])]
    )
    sides = find_sides(
        parcels(shapely.box(0, 0, 20, 40), shapely.box(0, 44, 20, 50)), roads
    ).set_index("side_id")
    assert sides.loc["north", "across_kind"] == "unknown"


def test_invalid_neighbour_does_not_stop_it():
    bow_tie = shapely.Polygon([(20, 0), (40, 40), (40, 0), (20, 40)])
    sides = find_sides(parcels(shapely.box(0, 0, 20, 40), bow_tie)).set_index("side_id")
    assert sides["length_m"]["east"] == 40


def test_inputs_are_left_alone_and_crs_is_kept():
    frame = parcels(RECTANGLE, shapely.box(25, 0, 50, 40)).set_crs(32632)
    before = frame.copy()
    sides = find_sides(frame)
    assert sides.crs == frame.crs
    assert frame.equals(before)


@pytest.mark.parametrize(
    ("direction", "name"),
    [(0, "north"), (22.4, "north"), (22.5, "north-east"), (180, "south"), (337.4, "north-west"),
     (337.5, "north"), (359.9, "north"), (360, "north")],
)  # fmt: skip
def test_compass_names(direction, name):
    # By definition: eight points of 45°, a half-way direction goes clockwise.
    assert compass_name(direction) == name


def test_refuses_no_subject_or_two():
    frame = parcels(RECTANGLE, shapely.box(25, 0, 50, 40))
    with pytest.raises(InputError, match=r"layer parcels: 0 parcels are marked as the subject"):
        find_sides(frame.assign(is_subject=False))
    with pytest.raises(InputError, match=r"rows 1, 2: 2 parcels are marked as the subject"):
        find_sides(frame.assign(is_subject=True))
    with pytest.raises(InputError, match="the column is_subject is missing"):
        find_sides(frame.drop(columns="is_subject"))


#: Memory that finding sides may take, bytes a vertex: about thirty arrays of a few numbers each.
MOST_BYTES_A_VERTEX = 2000


@pytest.mark.parametrize("corners", [5_000, 20_000])
def test_memory_grows_with_the_vertices_and_not_with_their_square(corners):
    # Evidence: a bound that is linear; every vertex of a circle is one of its hull's.
    angle = np.linspace(0.0, 2.0 * np.pi, corners, endpoint=False)
    lot = parcels(shapely.Polygon(60.0 * np.column_stack([np.cos(angle), np.sin(angle)])))
    tracemalloc.start()
    try:
        assert len(find_sides(lot)) == 4
        _, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert most < MOST_BYTES_A_VERTEX * corners


@settings(max_examples=200)
@given(
    points=st.lists(
        st.tuples(st.integers(-60, 60), st.integers(-60, 60)), min_size=3, max_size=40, unique=True
    ),
    angle=st.floats(0.0, 90.0),
    step=st.floats(0.3, 30.0),
)
def test_the_least_width_is_that_over_all_edges_of_the_hull(points, angle, step):
    # Evidence: another way; each edge of the hull held against each of its corners. Corners are set
    # on the edges too, which rounding puts a little inside or outside.
    hull = shapely.convex_hull(shapely.multipoints(points))
    assume(hull.geom_type == "Polygon")
    outline = affinity.rotate(densify(hull, step), angle, origin=(0, 0))
    hull = affinity.rotate(hull, angle, origin=(0, 0))
    corners = shapely.get_coordinates(hull)
    edges = np.diff(corners, axis=0)
    normals = np.column_stack([-edges[:, 1], edges[:, 0]]) / np.hypot(*edges.T)[:, None]
    expected = np.ptp(normals @ corners.T, axis=1).min()
    assert least_width(outline) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("key", ["sides.corner", "sides.base"])
def test_both_ends_of_a_keys_range_are_taken(key):
    # Evidence: invariant; what the plan's key allows, the step does not refuse.
    lot = gpd.GeoDataFrame(
        {"parcel_id": ["a"], "is_subject": [True]}, geometry=[shapely.box(0, 0, 40, 30)]
    )
    limits = key_limits(key)
    for value in (limits["ge"], limits["le"]):
        assert len(find_sides(lot, plan=plan_with(**{key.replace(".", "_"): value}))) >= 1


def flake(radius, orders):
    """A snowflake of so many corners that several settle on one place."""
    turns = np.linspace(0.0, 2.0 * np.pi, 4)
    xy = radius * np.column_stack([np.cos(turns), np.sin(turns)])
    for _ in range(orders):
        step = np.diff(xy, axis=0)
        tips = xy[:-1] + step / 2.0 + 0.288 * np.column_stack([step[:, 1], -step[:, 0]])
        bends = np.stack([xy[:-1], xy[:-1] + step / 3.0, tips, xy[:-1] + step * 2.0 / 3.0], axis=1)
        xy = np.vstack([bends.reshape(-1, 2), xy[-1:]])
    return shapely.Polygon(xy)


@pytest.mark.parametrize(
    ("radius", "orders"), [(9.5, 3), (16.75, 3), (13.0, 4), (24.25, 4), (28.0, 4)]
)
def test_no_side_is_without_length(radius, orders):
    # Evidence: invariant; the sides are the outline still, each longer than a vertex is exact. Two peaks of
    # the turn settled on one place but for the last digits, and the file held a line of one point.
    outline = flake(radius, orders)
    rings = Rings.around(np.array([outline]))
    base = fitting_bases(np.array([outline]), 4.0)
    xy, count = rings.cut(*find_corners(rings, 30.0, base))
    lengths = shapely.length(
        shapely.linestrings(xy, indices=np.repeat(np.arange(len(count)), count))
    )
    assert lengths.min() >= SAME_VERTEX_M
    assert lengths.sum() == pytest.approx(outline.length)


@settings(max_examples=25)
@given(st.randoms(use_true_random=False), st.integers(1, 5))
def test_what_lies_across_many_subjects_is_what_lies_across_each_alone(chance, count):
    """Invariant: of lots in a street, in any order of the parcels and of the sides that are asked for."""
    lots = [shapely.box(20.0 * k, 30.0 * row, 20.0 * k + 20.2, 30.0 * row + 29.0) for k in range(4) for row in (0, 1)]  # fmt: skip
    chance.shuffle(lots)
    lots = lots[: 8 - chance.randrange(3)]
    parcels = gpd.GeoDataFrame(
        {"parcel_id": [f"p{k}" for k in range(len(lots))], "is_subject": False}, geometry=lots
    )
    roads = gpd.GeoDataFrame(
        {"road_id": ["a", "b"], "name": ["High Street", None]},
        geometry=[
            shapely.LineString([(-20, -6), (110, -6)]),
            shapely.LineString([(90, -20), (90, 80)]),
        ],
    )
    subjects = sorted(chance.sample(range(len(lots)), min(count, len(lots))))
    own, wanted = [], []
    for number, subject in enumerate(subjects):
        sides = find_sides(
            parcels.assign(is_subject=[k == subject for k in range(len(lots))]), roads
        )
        own += [(number, line) for line in sides.geometry]
        wanted += list(zip(sides["across"], sides["across_kind"], strict=True))
    order = list(range(len(own)))
    chance.shuffle(order)
    found = look_across(
        np.array([own[k][1] for k in order], dtype=object),
        np.full(len(own), 4.0),
        np.array([own[k][0] for k in order]),
        Around.of(Lots({"parcels": parcels, "roads": roads}, np.array(subjects))),
    )
    base = plan_with().sides.base
    assert base == 4.0
    assert found == [wanted[k] for k in order]


# Invariant: not the other lots, nor their order, nor the cut, nor what lies beyond the reach.
@settings(max_examples=8, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_sides_of_many_lots_are_those_of_each_alone(seed):
    layers, reach_m = district(seed), 22.0
    # An outline of many corners, a circle, one in two parts, and a narrow one, beside the others.
    odd = [
        affinity.translate(flake(13.0, 3), -80.0, 0.0),
        shapely.Point(-80.0, 60.0).buffer(15.0),
        shapely.MultiPolygon([shapely.box(-99, 90, -80, 99), shapely.box(-99, 110, -70, 130)]),
        shapely.box(-120.0, 0.0, -114.0, 30.0),
    ]
    more = layers["parcels"].iloc[:4].assign(parcel_id=["o1", "o2", "o3", "o4"], geometry=odd)
    layers["parcels"] = pd.concat([layers["parcels"], more], ignore_index=True)
    each = []
    for row in range(len(layers["parcels"])):
        own = alone(layers, row, reach_m)
        each.append(find_sides(own["parcels"], own["roads"]))
    for lots, rows in cuts(layers, reach_m, seed):
        assert_each(find_sides_each(lots), rows, each)


@settings(max_examples=40)
@given(st.integers(0, 10_000))
def test_points_along_lines_are_those_of_another_library(seed):
    """Evidence: another library, to the last digit; at vertices and beyond the end too."""
    rng = np.random.default_rng(seed)
    lines = np.array(
        [
            shapely.LineString(np.cumsum(rng.uniform(-9, 9, (rng.integers(2, 20), 2)), axis=0))
            for _ in range(8)
        ]
    )
    vertices = [shapely.line_locate_point(line, shapely.points(line.coords)) for line in lines]
    of = np.concatenate(
        [rng.integers(0, 8, 60), np.repeat(np.arange(8), [len(v) for v in vertices])]
    )
    length = shapely.length(lines)
    s = np.concatenate([rng.uniform(0.0, 1.0, 60) * length[of[:60]], *vertices])
    expected = shapely.get_coordinates(shapely.line_interpolate_point(lines[of], s))
    assert np.array_equal(points_along(lines, of, s), expected)
