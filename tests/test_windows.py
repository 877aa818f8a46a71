"""Windows of the neighbours, given and derived. Lengths in metres, directions from north."""

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from lots_kit import alone, assert_each, cuts, district
from options_kit import plan_with
from shapely import affinity

from screenplan.contracts import WINDOWS
from screenplan.ground.errors import InputError
from screenplan.site.compass import apart_deg, unit_vector
from screenplan.site.facades import derive_windows_each
from screenplan.site.floors import floors_of
from screenplan.site.looks import Points, points_of, see_targets
from screenplan.site.lots import Lots
from screenplan.site.ownership import parcels_of, share_a_house
from screenplan.site.steady import EQUAL_M
from screenplan.site.terrain import Terrain
from screenplan.site.wall_places import WindowPlaces, window_places
from screenplan.site.walls import (
    exposed_stretches_each,
    walls_of,
    walls_of_each,
)
from screenplan.site.windows import examine_windows, lay_windows
from screenplan.views.openings import openings_of

SUBJECT = shapely.box(0, 0, 30, 40)
NEIGHBOUR = shapely.box(30, 0, 60, 40)


@dataclass(frozen=True)
class Slope:
    """Ground that rises to the east, one metre in ten."""

    def height_at(self, x, y):
        return 100.0 + 0.1 * np.asarray(x)


def parcels():
    return gpd.GeoDataFrame(
        {"parcel_id": ["own", "east"], "is_subject": [True, False]}, geometry=[SUBJECT, NEIGHBOUR]
    )


def buildings(*rows):
    """Rows of (id, footprint, further columns)."""
    return gpd.GeoDataFrame(
        [{"building_id": name, **more} for name, _, more in rows],
        geometry=[footprint for _, footprint, _ in rows],
    )


OWN_HOUSE = ("h0", shapely.box(10, 10, 20, 20), {"height_m": 6.0})
EAST_HOUSE = ("h1", shapely.box(38, 12, 48, 22), {"height_m": 5.6})


def windows(*rows):
    return gpd.GeoDataFrame(
        [{"window_id": f"w{i}", **more} for i, (_, more) in enumerate(rows, start=1)],
        geometry=[shapely.Point(at) for at, _ in rows],
    )


@pytest.mark.parametrize("own", [0, 1])
@pytest.mark.parametrize("turn", range(0, 360, 15))
def test_half_a_house_stands_on_each_parcel_whatever_the_last_digits_say(own, turn):
    # Evidence: symmetry. A half holds 50.0005 m², where rounding to the third digit turns.
    west, east, house = (
        affinity.translate(affinity.rotate(shapely.box(*bounds), turn, origin=(0, 0)), 500_000.3, 4.1e6)
        for bounds in ((-20, -20, 0, 20), (0, -20, 20, 20), (-5, 0, 5, 10.0001))
    )  # fmt: skip
    land = gpd.GeoDataFrame(
        {"parcel_id": ["west", "east"], "is_subject": [own == 0, own == 1]}, geometry=[west, east]
    )
    houses = gpd.GeoDataFrame({"parcel_id": [None]}, geometry=[house])
    assert parcels_of(houses, land).tolist() == [land["parcel_id"][own]]
    assert share_a_house(houses, land).tolist() == [True, True]


def test_a_house_that_only_touches_a_parcel_stands_on_none():
    # Evidence: by definition; it reaches over the line by less than a file tells.
    houses = gpd.GeoDataFrame(geometry=[shapely.box(60.0 - 1e-6, 5, 70, 15)])
    assert parcels_of(houses, parcels()).tolist() == [None]
    assert not share_a_house(houses, parcels()).any()


def test_given_window_is_put_on_its_wall_and_completed():
    laid = lay_windows(
        parcels(), buildings(OWN_HOUSE, EAST_HOUSE), windows(((37.2, 15), {"sill_m": 3.7})), Slope()
    )
    assert [c for c in laid if c != "geometry"] == [c.name for c in WINDOWS.columns]
    row = laid.iloc[0]
    # By hand: the west wall of h1 is x = 38 and faces 270°.
    assert (row.geometry.x, row.geometry.y) == (38.0, 15.0)
    assert row["facing_deg"] == 270.0
    assert row["building_id"] == "h1"
    # By hand: a sill at 3.7 is in the storey from 2.8 to 5.6.
    assert row["storey"] == 1
    # Closed form: the mean of 100 + 0.1 x over x = 38 to 48 is 104.3; one storey of 2.8 above.
    assert row["floor_m"] == pytest.approx(104.3 + 2.8)
    assert (row["height_m"], row["width_m"], row["name"]) == (1.2, 1.2, "window w1")
    assert not row["derived"]


def test_given_values_are_kept():
    more = {
        "sill_m": 4.0,
        "storey": 1,
        "height_m": 1.5,
        "width_m": 0.8,
        "facing_deg": 285.0,
        "name": "bathroom",
        "building_id": "h1",
    }
    row = lay_windows(parcels(), buildings(EAST_HOUSE), windows(((38, 15), more))).iloc[0]
    for name, value in more.items():
        assert row[name] == value


def test_floor_of_the_building_counts_where_it_is_stated():
    house = (*EAST_HOUSE[:2], {"height_m": 5.6, "floor_m": 99.0})
    row = lay_windows(
        parcels(), buildings(house), windows(((38, 15), {"sill_m": 0.9})), Slope()
    ).iloc[0]
    assert row["floor_m"] == 99.0


def test_index_and_crs_of_the_caller_are_kept():
    given_windows = windows(((38, 15), {"sill_m": 0.9}), ((10, 15), {"sill_m": 0.9}))
    given_windows.index = [7, 9]
    before = given_windows.copy()
    laid = lay_windows(parcels().set_crs(32632), buildings(OWN_HOUSE, EAST_HOUSE), given_windows)
    assert list(laid.index) == [7]
    assert laid.crs == "EPSG:32632"
    assert given_windows.equals(before)


def test_windows_of_the_own_house_are_left_out_and_named():
    frame = windows(((10, 15), {"sill_m": 0.9}), ((38, 15), {"sill_m": 0.9}))
    found = examine_windows(parcels(), buildings(OWN_HOUSE, EAST_HOUSE), frame)
    assert list(found.layer["window_id"]) == ["w2"]
    assert found.own == ("w1",)
    assert any("left out: w1" in note for note in found.notes)


def test_facing_decides_at_a_corner():
    """A window 10 cm from the corner of two walls takes the wall that it faces."""
    frame = windows(((38.1, 22.1), {"sill_m": 0.9, "facing_deg": 0.0}))
    row = lay_windows(parcels(), buildings(EAST_HOUSE), frame).iloc[0]
    assert row.geometry.y == 22.0
    frame = windows(((37.9, 21.9), {"sill_m": 0.9, "facing_deg": 270.0}))
    row = lay_windows(parcels(), buildings(EAST_HOUSE), frame).iloc[0]
    assert row.geometry.x == 38.0


def test_window_without_a_building_stands_free_if_it_has_a_facing():
    frame = windows(((50, 35), {"sill_m": 1.0, "facing_deg": 300.0}))
    found = examine_windows(parcels(), buildings(EAST_HOUSE), frame, Slope())
    row = found.layer.iloc[0]
    assert pd.isna(row["building_id"])
    # Closed form: the ground at x = 50.
    assert row["floor_m"] == pytest.approx(105.0)
    assert "window w1 has no building within 1.5 m" in found.notes[0]
    assert lay_windows(parcels(), None, frame).iloc[0]["facing_deg"] == 300.0


def test_sill_above_the_ceiling_is_noted():
    frame = windows(((38, 15), {"sill_m": 3.7, "storey": 0}))
    assert (
        "above the ceiling of storey 0"
        in examine_windows(parcels(), buildings(EAST_HOUSE), frame).notes[0]
    )


WING = ("h2", shapely.box(33, 12, 38, 17), {"height_m": 3.0})


@pytest.mark.parametrize(
    ("at", "more", "message"),
    [
        ((43, 17), {"sill_m": 1}, r"row 1: window w1 is inside building h1, 5\.0 m from its nearest"),
        ((55, 35), {"sill_m": 1}, r"window w1 has no wall within 1\.5 m and states no facing"),
        ((38, 20), {"sill_m": 1, "facing_deg": 90}, r"faces 90°, into its own building h1, whose wall faces 270°"),
        ((38, 14), {"sill_m": 1, "building_id": "h1"}, r"opens into another building beside h1"),
        ((38, 14), {"sill_m": 1, "building_id": "h9"}, r"is in building h9, which is not in the layer"),
        ((33, 14), {"sill_m": 1, "building_id": "h1"}, r"is 5\.0 m from every wall of its building h1"),
        ((38, 20), {"sill_m": np.nan}, r"window w1 has no height of its sill"),
        ((38, 20), {"sill_m": -1.0}, r"window w1 has its sill at -1\.0 m"),
        ((38, 20), {"sill_m": 0.9, "storey": 1}, r"has its sill at 0\.9 m, below the floor of storey 1 at 2\.8 m"),
        ((np.nan, 20), {"sill_m": 0.9}, r"window w1 has no place"),
    ],
)  # fmt: skip
def test_refuses_by_row(at, more, message):
    with pytest.raises(InputError, match=message) as error:
        lay_windows(parcels(), buildings(EAST_HOUSE, WING), windows((at, more)))
    assert str(error.value).startswith("layer windows, row 1: ")


def test_refuses_all_bad_rows_at_once_and_doubles():
    frame = windows(((43, 17), {"sill_m": 1}), ((38, 20), {"sill_m": 1}), ((55, 35), {"sill_m": 1}))
    frame["window_id"] = ["a", "b", "b"]
    with pytest.raises(InputError, match="the identifier b stands there 2 times") as error:
        lay_windows(parcels(), buildings(EAST_HOUSE), frame)
    assert [tuple(problem.rows) for problem in error.value.problems] == [(2, 3), (1,), (3,)]


def test_remedy_of_a_facing_into_the_building_works():
    at, more = (38, 20), {"sill_m": 1.0, "facing_deg": 90.0}
    with pytest.raises(InputError, match="Turn the facing round"):
        lay_windows(parcels(), buildings(EAST_HOUSE), windows((at, more)))
    more["facing_deg"] = 270.0
    assert len(lay_windows(parcels(), buildings(EAST_HOUSE), windows((at, more)))) == 1


def test_derived_windows_by_hand():
    laid = lay_windows(parcels(), buildings(OWN_HOUSE, EAST_HOUSE), terrain=Slope())
    # By hand: the subject is west of h1. Its west wall sees it; the north and south walls see the
    # parts of it that lie at more than 30° to them; the east wall sees nothing.
    # 10 m at 4 m at most: three windows a wall, 5.6 m: two storeys.
    walls = laid.groupby("facing_deg").size()
    assert walls[270.0] == 6
    assert 90.0 not in walls.index
    assert set(laid["building_id"]) == {"h1"}
    west = laid[(laid["facing_deg"] == 270.0) & (laid["storey"] == 1)]
    # Closed form: thirds of the wall, each window in the middle of its third.
    assert sorted(west.geometry.y) == pytest.approx([12 + 10 / 6, 17, 22 - 10 / 6])
    assert (west.geometry.x == 38.0).all()
    assert west["sill_m"].to_numpy() == pytest.approx(2.8 + 0.9)
    assert west["floor_m"].to_numpy() == pytest.approx(104.3 + 2.8)
    assert west["name"].str.contains(r"upper window \d+, west wall$").all()
    assert west["window_id"].str.fullmatch(r"h1-w\d+-s1").all()
    assert laid["derived"].all()
    assert laid["window_id"].is_unique
    assert laid["name"].is_unique


@pytest.mark.parametrize(
    ("more", "storeys"),
    [
        ({"height_m": 2.5}, 1), ({"height_m": 4.0}, 1), ({"height_m": 4.3}, 2),
        ({"height_m": 8.6}, 3), ({"storeys": 3, "height_m": 5.6}, 3), ({}, 1),
    ],
)  # fmt: skip
def test_storeys_come_from_the_height_or_as_stated(more, storeys):
    # Arithmetic: height / 2.8 rounded, one at least; a stated number counts.
    laid = lay_windows(parcels(), buildings((*EAST_HOUSE[:2], more)))
    assert sorted(set(laid["storey"])) == list(range(storeys))


def test_where_a_house_is_built_into_the_slope_no_window_is_derived_under_the_ground():
    # By hand: the ground rises 1 in 4 to the north, the house is 12 m deep, so that it stands 1.5 m in the ground at
    # its north wall: a sill of 0.9 m and a window of 0.5 m end 0.1 m below, the storey above is clear of it.
    ground = Terrain(np.array([[0.0, 0.0], [100.0, 100.0]]), -200.0, -200.0, 400.0, 400.0)
    south = buildings(("s", shapely.box(0, -32, 20, -20), {"height_m": 6.0}))
    low = plan_with(windows_sill=0.9, windows_height=0.5, site_storey_height=3.0)
    level = examine_windows(parcels(), south, plan=low)
    assert not any("under the ground" in note for note in level.notes)
    slope = examine_windows(parcels(), south, terrain=ground, plan=low)
    gone = (level.layer["storey"] == 0) & (level.layer["facing_deg"] == 0.0)
    assert 0 < gone.sum() < len(level.layer)
    assert slope.layer["window_id"].tolist() == level.layer.loc[~gone, "window_id"].tolist()
    assert f"{gone.sum()} of the places for windows lie under the ground" in slope.notes[1]
    # Nothing that is derived is refused when it is looked through.
    assert len(openings_of(slope.layer, south, ground)) == len(slope.layer)
    # Windows that end 2.4 m above the floor are all there: 0.9 m of them look over the ground.
    tall = plan_with(windows_sill=0.9, windows_height=1.5, site_storey_height=3.0)
    laid = examine_windows(parcels(), south, terrain=ground, plan=tall)
    assert len(laid.layer) == len(level.layer)


def test_walls_that_adjoin_another_building_get_no_windows():
    laid = lay_windows(parcels(), buildings(EAST_HOUSE, WING))
    west = laid[(laid["building_id"] == "h1") & (laid["facing_deg"] == 270.0)]
    # By hand: the wing covers y = 12 to 17 of the west wall of 12 to 22; 5 m are left.
    assert len(west[west["storey"] == 0]) == 2
    assert west.geometry.y.min() > 17.0
    wing = laid[laid["building_id"] == "h2"]
    assert 90.0 not in set(wing["facing_deg"])


def test_short_walls_get_no_window_and_walls_of_two_metres_one():
    def on_west(width):
        house = ("h1", shapely.box(38, 12, 48, 12 + width), {"height_m": 3.0})
        laid = lay_windows(parcels(), buildings(house))
        return int((laid["facing_deg"] == 270.0).sum())

    assert [on_west(width) for width in (1.9, 2.0, 4.0, 4.1, 8.0)] == [0, 1, 1, 2, 2]


def test_a_building_hides_the_subject_from_its_own_courtyard_and_back():
    """A U-shaped house whose court opens to the east: the court's walls do not look at the subject."""
    footprint = shapely.Polygon(
        [(34, 10), (58, 10), (58, 14), (40, 14), (40, 26), (58, 26), (58, 30), (34, 30)]
    )
    laid = lay_windows(parcels(), buildings(("h1", footprint, {"height_m": 3.0})))
    court = shapely.box(40.5, 13.9, 58, 26.1)
    assert len(laid) > 0
    assert not laid.geometry.within(court).any()


def test_sheds_and_far_buildings_get_no_windows():
    frame = buildings(
        ("s", shapely.box(38, 12, 44, 18), {"height_m": 3.0, "kind": "shed"}),
        ("far", shapely.box(95, 0, 105, 10), {"height_m": 3.0, "kind": "house"}),
    )
    assert len(lay_windows(parcels(), frame)) == 0
    # By hand: 65 m from the subject.
    assert set(
        lay_windows(parcels(), frame, plan=plan_with(windows_reach=70.0))["building_id"]
    ) == {"far"}


def test_building_beyond_the_known_parcels_counts_as_a_neighbours():
    frame = buildings(("n", shapely.box(10, 50, 20, 60), {"height_m": 3.0}))
    assert set(lay_windows(parcels(), frame)["building_id"]) == {"n"}


def test_nothing_to_derive_is_an_empty_layer_with_its_columns():
    for options, why in (
        ({"windows_derive": False}, "switched off"),
        ({}, "no buildings are given"),
    ):
        frame = buildings(EAST_HOUSE) if options else None
        found = examine_windows(parcels(), frame, plan=plan_with(**options))
        assert len(found.layer) == 0
        assert [c for c in found.layer if c != "geometry"] == [c.name for c in WINDOWS.columns]
        assert why in found.notes[0]


def test_walls_pass_over_surveyed_steps_of_the_outline():
    rng = np.random.default_rng(1)
    ring = shapely.get_coordinates(shapely.segmentize(shapely.box(0, 0, 12, 8), 0.5))[:-1]
    rough = shapely.Polygon(np.roll(ring, 7, axis=0) + rng.uniform(-0.03, 0.03, ring.shape))
    walls = walls_of(rough)
    # Closed form: the rectangle's own sides, within the noise.
    assert sorted(np.round(walls.length_m)) == [8, 8, 12, 12]
    for facing in (0, 90, 180, 270):
        assert apart_deg(walls.facing_deg, facing).min() < 1.0


@pytest.mark.parametrize("angle", [0.0, 40.0, 87.0, 117.0, 260.0, 357.0])
@pytest.mark.parametrize("first", [0, 3, 7, 13])
def test_walls_pass_over_a_small_bay_in_the_middle_of_each(angle, first):
    # By construction: each wall of a rectangle of 7 by 5 m swells by 0.19 m over 1 m. The walls are the
    # rectangle's, corner to corner, wherever the ring begins, also where a bay points to the north.
    ring = []
    corners = np.array([(0, 0), (7, 0), (7, 5), (0, 5)], float)
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        along = (b - a) / np.hypot(*(b - a))
        middle, out = (a + b) / 2.0, np.array([along[1], -along[0]])
        ring += [a, middle - along / 2, middle + 0.19 * out, middle + along / 2]
    house = affinity.rotate(shapely.Polygon(ring[first:] + ring[:first]), angle, origin=(0, 0))
    plain = affinity.rotate(shapely.Polygon(corners), angle, origin=(0, 0))
    walls = walls_of(house)
    assert len(walls) == 4
    assert shapely.Polygon(walls.start).symmetric_difference(plain).area < 1e-6


def test_walls_follow_part_by_part_the_largest_first():
    # By the definition: of equal parts that in the north first, then that in the west; each part's outline
    # before its courtyards, the longer before the shorter, each from its first corner clockwise from north.
    wing = shapely.box(40, 0, 48, 6)
    hall = shapely.Polygon(
        shapely.box(0, 0, 30, 20).exterior.coords,
        [shapely.box(4, 4, 8, 8).exterior.coords, shapely.box(12, 4, 26, 16).exterior.coords],
    )
    twins = [shapely.box(60, 0, 64, 4), shapely.box(80, 0, 84, 4), shapely.box(70, 10, 74, 14)]
    for parts in ([wing, *twins, hall], [hall, *twins[::-1], wing]):
        walls = walls_of(shapely.MultiPolygon(parts))
        rings = walls.start.reshape(-1, 4, 2)
        assert [ring.min(axis=0).tolist() for ring in rings] == [
            [0, 0], [12, 4], [4, 4], [40, 0], [70, 10], [60, 0], [80, 0],
        ]  # fmt: skip
        # From the corner in the north-east an outline runs on to the north-west, a courtyard the other way.
        assert [ring[0].tolist() for ring in rings[[0, 3]]] == [[30, 20], [48, 6]]
        assert walls.facing_deg[:4].tolist() == [0, 270, 180, 90]


def exposed(start, end, others):
    """The free stretches of one face, from where to where."""
    _, low, high = exposed_stretches_each(start[None], end[None], np.array([others]))
    return list(zip(low.tolist(), high.tolist(), strict=True))


@pytest.mark.parametrize("angle", [0.0, 20.0, 135.0, 250.0])
def test_the_stretches_of_a_face_that_nothing_adjoins(angle):
    # By construction, turned: a face of 10 m that runs east with its building in the north; two others
    # adjoin it over 2 to 4 m and over 7 to 12 m, one stands half a metre off.
    def turned(shape):
        return affinity.translate(affinity.rotate(shape, angle, origin=(0, 0)), 31.0, 17.0)

    others = [shapely.box(2, -5, 4, 0), shapely.box(7, -3, 12, -0.1), shapely.box(0, -3, 2, -0.5)]
    start, end = shapely.get_coordinates(turned(shapely.LineString([(0, 0), (10, 0)])))
    # The face's outside is on its right: the building is on the left. Rounding may leave a crumb.
    near = turned(shapely.MultiPolygon(others[:2])).union(turned(others[2]))
    found = [stretch for stretch in exposed(start, end, near) if stretch[1] - stretch[0] > 1e-6]
    assert np.array(found) == pytest.approx(np.array([(0, 2), (4, 7)]))
    assert exposed(start, end, shapely.Polygon()) == [(0.0, pytest.approx(10.0))]
    # What adjoins the other side is the building's own.
    inner = turned(shapely.box(2, 0, 4, 5))
    assert exposed(start, end, inner) == [(0.0, pytest.approx(10.0))]


def test_floors_lie_on_the_mean_ground_or_as_stated():
    # Closed form: on a plane the mean under a rectangle is the height of its middle.
    class Plane:
        def height_at(self, x, y):
            return 100.0 + 0.1 * np.asarray(x) - 0.03 * np.asarray(y)

    houses = buildings(
        ("a", shapely.box(10, 20, 24, 27), {"floor_m": None}),
        ("b", affinity.rotate(shapely.box(40, 5, 60, 8), 30.0), {"floor_m": None}),
        ("c", shapely.box(0, 0, 5, 5), {"floor_m": 3.25}),
    )
    found = floors_of(houses, Plane())
    middles = shapely.get_coordinates(shapely.centroid(houses.geometry.to_numpy()))
    expected = 100.0 + 0.1 * middles[:, 0] - 0.03 * middles[:, 1]
    assert found[0] == pytest.approx(expected[0])
    assert found[1] == pytest.approx(expected[1], abs=0.05)  # askew to the sample
    assert found[2] == 3.25
    assert floors_of(houses, None).tolist() == [0.0, 0.0, 3.25]


def test_walls_of_a_courtyard_face_into_it():
    ring = shapely.Polygon(
        shapely.box(0, 0, 20, 20).exterior.coords, [shapely.box(5, 5, 15, 15).exterior.coords]
    )
    walls = walls_of(ring)
    middles = (walls.start + walls.end) / 2
    before = middles + 0.1 * np.column_stack(unit_vector(walls.facing_deg))
    assert len(walls) == 8
    assert not shapely.contains_xy(ring, *before.T).any()


@settings(max_examples=40)
@given(
    angle=st.floats(0, 360),
    x=st.floats(-1e4, 1e4),
    y=st.floats(-1e4, 1e4),
    spacing=st.floats(1.0, 8.0),
)
def test_derived_windows_turn_with_the_site(angle, x, y, spacing):
    def moved(frame):
        geometry = [
            affinity.translate(affinity.rotate(shape, angle, origin=(0, 0)), x, y)
            for shape in frame.geometry
        ]
        return frame.set_geometry(geometry)

    frame = buildings(OWN_HOUSE, ("h1", shapely.box(36, 12, 47, 21), {"height_m": 5.6}), WING)
    plain = lay_windows(parcels(), frame, plan=plan_with(windows_spacing=spacing))
    turned = lay_windows(moved(parcels()), moved(frame), plan=plan_with(windows_spacing=spacing))
    west = plain[plain["facing_deg"] == 270.0]
    # Invariant: the west walls see the subject wholly, so its sampling decides nothing there.
    facing = (270.0 - angle) % 360.0
    found = turned[apart_deg(turned["facing_deg"].to_numpy(), facing) < 1e-6]
    assert len(found) == len(west)
    outlines = shapely.union_all(moved(frame).boundary.to_numpy())
    assert shapely.distance(turned.geometry.to_numpy(), outlines) == pytest.approx(0, abs=1e-6)
    solid = moved(frame).geometry.to_numpy()
    step = 0.05 * np.column_stack(unit_vector(turned["facing_deg"].to_numpy()))
    before = shapely.get_coordinates(turned.geometry.to_numpy()) + step
    assert not any(shapely.contains_xy(footprint, *before.T).any() for footprint in solid)
    # No two windows of one wall and storey are farther apart than asked.
    for _, wall in turned.groupby(["building_id", "storey", turned["facing_deg"].round(3)]):
        at = shapely.get_coordinates(wall.geometry.to_numpy())
        along = np.sort(at @ np.array(unit_vector(wall["facing_deg"].iloc[0] + 90.0)))
        assert (np.diff(along) <= spacing + EQUAL_M).all()


@st.composite
def houses(draw):
    """Houses at random, of an L or a rectangle, some with a courtyard, some of two parts, some that adjoin."""
    found = []
    for number in range(draw(st.integers(1, 6))):
        x, y = 13.0 * number, draw(st.floats(-30.0, 30.0))
        house = shapely.box(x, y, x + draw(st.sampled_from([6.0, 9.0, 13.0])), y + 9.0)
        shape = draw(st.sampled_from(["plain", "nook", "court", "two"]))
        if shape == "nook":
            house = house.difference(shapely.box(x, y, x + 3.0, y + 4.0))
        elif shape == "court":
            house = house.difference(shapely.box(x + 2.5, y + 3.0, x + 4.5, y + 6.0))
        elif shape == "two":
            house = house.union(shapely.box(x, y + 12.0, x + 5.0, y + 17.0))
        found.append(affinity.rotate(house, draw(st.floats(0.0, 360.0)), origin=(40.0, 0.0)))
    return np.array(found, dtype=object)


@settings(max_examples=40)
@given(houses(), st.randoms(use_true_random=False))
def test_walls_and_places_of_many_houses_are_those_of_each_alone(footprints, chance):
    """Invariant: to the last digit, whatever the order in which houses are asked for."""
    order = list(range(len(footprints)))
    chance.shuffle(order)
    which = np.array(order)
    walls = walls_of_each(footprints[which])
    places = window_places(footprints, which, 3.0)
    for number, house in enumerate(order):
        alone = walls_of(footprints[house])
        assert np.array_equal(walls.start[walls.of == number], alone.start)
        assert np.array_equal(walls.end[walls.of == number], alone.end)
        single = window_places(footprints, np.array([house]), 3.0)
        mine = places.building == house
        for name in ("number", "xy", "facing_deg"):
            assert np.array_equal(getattr(places, name)[mine], getattr(single, name))
    others = np.array([footprints[0]] * len(walls), dtype=object)
    face, low, high = exposed_stretches_each(walls.start, walls.end, others)
    for number in range(len(walls)):
        one = exposed(walls.start[number], walls.end[number], others[0])
        assert list(zip(low[face == number], high[face == number], strict=True)) == one


@settings(max_examples=40)
@given(houses(), st.lists(st.floats(-60.0, 60.0), min_size=1, max_size=4))
def test_what_looks_at_many_subjects_is_what_looks_at_each_alone(footprints, norths):
    """Invariant: to the last digit, and whatever else is asked in the same call, in whatever order."""
    subjects = np.array([shapely.box(10.0, y, 35.0 + y / 9.0, y + 20.0) for y in norths])
    places = window_places(footprints, np.arange(len(footprints)), 3.0)
    targets = points_of(subjects)
    place = np.repeat(np.arange(len(places)), len(subjects))[::-1]
    subject = np.tile(np.arange(len(subjects)), len(places))
    together = see_targets(places, footprints, place, subject, targets, 45.0)
    for number in range(len(subjects)):
        one = points_of(subjects[number : number + 1])
        first = targets.first[number]
        assert np.array_equal(targets.xy[first : first + len(one.xy)], one.xy)
        rows = place[subject == number]
        alone = see_targets(places, footprints, rows, np.zeros(len(rows), int), one, 45.0)
        assert np.array_equal(together[subject == number], alone)


def test_a_place_sees_what_one_line_of_sight_leaves_its_building_for():
    """Counted by hand, target by target, with shapely's plain predicates."""
    house = shapely.box(0, 0, 9, 9).difference(shapely.box(3, 4, 6, 9))
    footprints = np.array([house], dtype=object)
    places = window_places(footprints, np.array([0]), 1.5)
    targets = points_of(np.array([shapely.box(14, 2, 30, 20)], dtype=object))
    every = np.arange(len(places))
    seen = see_targets(places, footprints, every, np.zeros(len(every), int), targets, 25.0)
    solid = house.buffer(-0.02)
    for place in every:
        out = np.array(unit_vector(places.facing_deg[place]))
        by_hand = False
        for target in targets.xy:
            way = target - places.xy[place]
            away = np.hypot(*way)
            if way @ out > away * 0.5 and away <= 25.0:
                line = shapely.LineString([places.xy[place], target])
                by_hand |= not solid.intersects(line)
        assert seen[place] == by_hand
    assert 0 < seen.sum() < len(seen)


@settings(max_examples=60)
@given(
    houses(),
    st.lists(st.tuples(*[st.integers(-20, 60).map(lambda half: half / 2.0)] * 2), min_size=1, max_size=12),
)  # fmt: skip
def test_what_is_seen_is_what_shapely_says_of_each_line(footprints, xy):
    """Another implementation: plain predicates, line by line; some buildings are as thin as a hair, some have holes."""
    ring = shapely.box(0, 0, 12, 12).difference(shapely.box(2, 2, 10, 10))
    thin = shapely.box(20.0, 0.0, 26.0, 0.03)
    footprints = np.array([*footprints, ring, thin], dtype=object)
    places = window_places(footprints, np.arange(len(footprints)), 3.0)
    targets = Points(np.array(xy), np.array([len(xy)]))
    every = np.arange(len(places))
    seen = see_targets(places, footprints, every, np.zeros(len(every), int), targets, 25.0)
    way = targets.xy - places.xy[:, None]
    outward = (way * np.column_stack(unit_vector(places.facing_deg))[:, None]).sum(axis=2)
    away = np.hypot(*np.moveaxis(way, 2, 0))
    asked = (outward > 0.0) & (away <= 25.0) & (outward > away * np.sin(np.radians(30.0)))
    place, target = np.nonzero(asked)
    lines = shapely.linestrings(np.stack([places.xy[place], targets.xy[target]], axis=1))
    free = ~shapely.intersects(shapely.buffer(footprints[places.building[place]], -0.02), lines)
    assert np.array_equal(seen, np.bincount(place[free], minlength=len(places)) > 0)


def test_a_line_that_only_touches_its_building_is_hidden():
    """By hand: from the foot of the notch past the corner of what the hair leaves, exactly, and a hair beside it."""
    house = shapely.box(0, 0, 9, 9).difference(shapely.box(3, 4, 6, 9))
    corner = shapely.get_coordinates(house.buffer(-0.02))
    corner = corner[np.lexsort((-corner[:, 1], np.abs(corner[:, 0] - 6.02)))][0]
    eye = np.array([4.5, 4.0])
    places = WindowPlaces(*(np.zeros(1, int),) * 3, eye[None], np.zeros(1))
    for beside, seen in ((0.0, False), (1e-9, False), (-1e-9, True)):
        target = eye + 2.0 * (corner + np.array([beside, 0.0]) - eye)
        targets = Points(target[None], np.array([1]))
        every = np.zeros(1, int)
        told = see_targets(places, np.array([house]), every, every, targets, 45.0)
        line = shapely.LineString([eye, target])
        assert told[0] == (not house.buffer(-0.02).intersects(line))
        assert beside == 0.0 or told[0] == seen


# Invariant: not the other lots, nor their order, nor the cut, nor what lies beyond the reach.
@settings(max_examples=6, deadline=None)
@given(seed=st.integers(0, 10_000))
def test_windows_of_many_lots_are_those_of_each_alone(seed):
    layers, reach_m, plan = district(seed), 32.0, plan_with(windows_reach=30.0)
    each = []
    for row in range(len(layers["parcels"])):
        own = alone(layers, row, reach_m)
        each.append(lay_windows(own["parcels"], own["buildings"], plan=plan))
    for lots, rows in cuts(layers, reach_m, seed):
        found, buried = derive_windows_each(lots, terrain=None, plan=plan)
        assert_each(found, rows, each)
        assert buried.tolist() == [0] * len(rows)


def test_what_adjoins_a_long_house_beyond_the_reach_of_a_lot_hides_no_window_from_it():
    """By hand: the second lot does not reach the shed at the far end of the house, so that windows are counted there."""
    lots = [shapely.box(80, -30, 100, -10), shapely.box(-20, -30, 0, -10)]
    layers = {
        "parcels": gpd.GeoDataFrame({"parcel_id": ["near", "far"]}, geometry=lots),
        "buildings": gpd.GeoDataFrame(
            {"building_id": ["long", "shed"], "storeys": 1, "kind": ["house", "shed"]},
            geometry=[shapely.box(0, 0, 100, 8), shapely.box(60, 8, 100, 12)],
        ),
    }
    plan = plan_with(windows_reach=30.0)

    def names(rows, reach_m):
        found, _ = derive_windows_each(
            Lots(layers, np.array(rows), reach_m), terrain=None, plan=plan
        )
        return [found.of(lot)["window_id"].tolist() for lot in range(len(rows))]

    each = []
    for row in range(2):
        own = alone(layers, row, 40.0)
        each.append(lay_windows(own["parcels"], own["buildings"], plan=plan)["window_id"].tolist())
    assert len(own["buildings"]) == 1
    assert names([0, 1], 40.0) == each
    assert names([1, 0], 40.0) == each[::-1]
    assert names([0, 1], 150.0) == [each[0], names([1], 150.0)[0]]
    assert names([1], 150.0)[0] != each[1]
