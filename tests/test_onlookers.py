"""Onlookers out of doors, raised places, and what both have in common with windows."""

import geopandas as gpd
import numpy as np
import pytest
from reading_kit import read_frames
from shapely.geometry import LineString, MultiPoint, Point, Polygon, box
from test_views import GARDEN, HOUSE, SHUT, WINDOW, only, row, windows
from test_views import trace as trace_all

from screenplan.ground.errors import InputError
from screenplan.site.terrain import Terrain
from screenplan.views.onlookers import MOST_ALONG, onlooker_eyes
from screenplan.views.sampling import Outdoors, by_subject, sample_places

#: A path along y = 20, north of the row at y = 0 and of the garden south of it.
PATH = LineString([(-50, 20), (50, 20)])


def people(*shapes, **more):
    names = [f"o{k}" for k in range(len(shapes))]
    return gpd.GeoDataFrame({"onlooker_id": names} | more, geometry=list(shapes))


def eyes(layer, buildings=None, terrain=None, spacing=5.0, reach=60.0):
    """Coarse and dense eyes of each onlooker."""
    coarse, dense = onlooker_eyes(
        layer, by_subject(GARDEN), Outdoors(buildings), terrain, spacing_m=spacing, reach_m=reach
    )
    return [(coarse.row(k), dense.row(k)) for k in range(len(layer))]


def trace(onlookers, w=None, plants=None, buildings=None, **options):
    w = WINDOW.iloc[:0] if w is None else w
    return trace_all(w, options.pop("p", GARDEN), plants, buildings, onlookers=onlookers, **options)


def test_a_line_is_walked_by_distance():
    # By hand: 100 m in 20 parts of 5 m, eyes at their middles; the denser sample has 30 of 3.33 m.
    ((coarse, dense),) = eyes(people(PATH, eye_m=1.55))
    assert coarse[:, 0] == pytest.approx(np.arange(-47.5, 50, 5.0))
    assert set(coarse[:, 1]) == {20.0}
    assert coarse[:, 2] == pytest.approx(1.55)
    assert len(dense) == 30


def test_a_long_line_keeps_its_ends_and_its_order():
    # Every n-th eye of those at the usual distance, from one end to the other; the densest sample has more.
    long = people(LineString([(-2000, 20), (2000, 20)]), eye_m=1.55)
    ((coarse, dense),) = eyes(long, reach=5000.0)
    for some, most in ((coarse, MOST_ALONG), (dense, 1.5 * MOST_ALONG)):
        assert most / 2 < len(some) <= most
        assert (np.diff(some[:, 0]) > 0).all()
        assert np.ptp(np.diff(some[:, 0])) < 1e-6
        assert abs(some[0, 0] + some[-1, 0]) < 4000 / len(some)


def test_only_what_is_within_reach_counts():
    # By hand: the garden's nearest corners are at (-6, -4) and (6, -4), 24 m from the path.
    ((coarse, _),) = eyes(people(PATH), reach=30.0)
    assert np.abs(coarse[:, 0]).max() == 22.5  # 6 + sqrt(30^2 - 24^2) = 24
    ((far, _),) = eyes(people(PATH), reach=20.0)
    assert len(far) == 0
    view = only(trace(people(PATH), views_onlooker_reach=20.0, second_sample=True)[0])
    assert (view.status, view.rays) == ("no view", 0)


def test_points_areas_and_raised_floors():
    shapes = Point(1, 9), MultiPoint([(1, 9), (3, 9)]), box(0, 8, 4, 12)
    one, two, area = eyes(people(*shapes, eye_m=1.2, raised_m=[0.0, 3.0, 3.0]), spacing=1.0)
    assert one[0].tolist() == [[1.0, 9.0, 1.2]]
    assert two[0].tolist() == [[1.0, 9.0, 4.2], [3.0, 9.0, 4.2]]
    assert len(area[0]) == 16
    assert set(area[0][:, 2]) == {4.2}


# By hand: ground z = y / 10. A balcony's floor is level, above the mean ground under it; people
# on the ground stand on it; a deck as a place likewise.
def test_raised_floors_are_level_and_the_ground_is_not():
    ground = Terrain(np.tile(np.arange(-50.0, 51.0, 5.0)[:, None] / 10, (1, 21)), -50, -50, 5, 5)
    down, up = eyes(
        people(box(0, 8, 4, 12), box(0, 8, 4, 12), raised_m=[0.0, 2.0]), terrain=ground, spacing=1.0
    )
    assert down[0][:, 2] == pytest.approx(down[0][:, 1] / 10 + 1.6)
    assert up[0][:, 2] == pytest.approx(1.0 + 2.0 + 1.6)
    places = GARDEN.assign(deck_m=0.8)
    deck = sample_places(places, Outdoors(), ground, spacing_m=1.0).coarse.xyz
    assert np.unique(deck[:, 2].round(9)) == pytest.approx([1.3, 1.7])


def test_terrace_on_a_roof_is_a_place_and_one_under_it_is_not():
    place = gpd.GeoDataFrame({"place_id": ["roof"]}, geometry=[box(-3, 8, 3, 12)])
    for deck, fits in ((6.0, True), (5.9, False)):
        layer = place.assign(deck_m=deck)
        if fits:
            got = sample_places(layer, Outdoors(HOUSE), spacing_m=1.0)
            assert got.coarse.xyz[:, 2].min() == pytest.approx(7.2)
        else:
            with pytest.raises(InputError, match="inside a building"):
                sample_places(layer, Outdoors(HOUSE), spacing_m=1.0)
    assert len(eyes(people(box(-3, 8, 3, 12), raised_m=6.0), HOUSE)[0][0])


# Closed form: eye at 1.6 m, 20 m before the row; head at 1.6 m, 4 m behind it. The sight line is
# level, so columns of radius 0.5 m that touch close it when they are taller than 1.6 m: by 0.3 m a
# year from 0.5 m in year 4 (1.7 m).
def test_passer_by_is_shut_out_when_the_row_passes_eye_level():
    place = gpd.GeoDataFrame(
        {"place_id": ["p"], "eye_seated_m": 1.6, "eye_standing_m": 1.6}, geometry=[Point(0, -4)]
    )
    views, years, holes = trace(people(PATH, kind="path"), p=place)
    view = only(views)
    assert (view.view_id, view.window_id, view.looks_from) == ("o0 to p", "o0", "path")
    assert (view.rays, view.open_now, view.status) == (20, 1.0, "closes")
    assert (view.year_closed_low, view.year_closed, view.year_closed_high) == (6, 4, 3)
    assert only(views[["open_y03"]]).open_y03 == 1.0
    assert set(holes.year) == {3}
    assert holes.cause.str.fullmatch("over plants? .* until year 3").all()
    assert set(years.view_id) == {"o0 to p"}


# Invariant: an opening as large as a wall, with the eye in it, is no opening.
def test_onlooker_and_a_window_without_walls_see_the_same():
    at = 0.37, 6.0
    w = windows(at, sill=0.05, floor_m=0.0, height_m=9.5, width_m=29.0)
    plants = row(SHUT[::2], "cone")
    one = trace(None, w, plants, views_eye_inside=1e-6, views_eyes_across=1, views_eye_seated=1.6)[
        1
    ]
    two = trace(people(Point(at), eye_m=1.6), None, plants)[1]
    assert one.open.to_numpy() == pytest.approx(two.open.to_numpy())
    assert ((one.open > 0.0) & (one.open < 1.0)).any()


# Invariant: both ways. From a neighbour's terrace to ours and from ours to theirs.
def test_a_view_is_as_open_one_way_as_the_other():
    ours, theirs = box(-6, -10, 6, -4), box(-3, 7, 5, 12)

    def look(here, there):
        place = gpd.GeoDataFrame(
            {"place_id": ["p"], "eye_seated_m": 1.5, "eye_standing_m": 1.5}, geometry=[there]
        )
        return trace(
            people(here, eye_m=1.5), None, row(SHUT[::2], "cone"), p=place,
            views_onlooker_spacing=1.0, views_target_spacing=1.0,
        )[1]  # fmt: skip

    one, two = look(theirs, ours), look(ours, theirs)
    # A ray that grazes a crown may fall either way by rounding: one in the 2880.
    assert one.open.to_numpy() == pytest.approx(two.open.to_numpy(), abs=1.01 / 2880)
    assert 0.0 < one.open.min() < one.open.max() == 1.0


def test_windows_and_onlookers_stand_in_one_table():
    both = trace(people(PATH, box(-3, 15, 3, 18), kind=["road", None]), WINDOW, None, HOUSE)[0]
    assert both.window_id.to_list() == ["w0", "o0", "o1"]
    assert both.looks_from.to_list() == ["window", "road", "path"]
    alone = trace(None, WINDOW, None, HOUSE)[0]
    for name in ("rays", "open_y03", "open_y05", "year_closed", "status"):
        assert both[name].iloc[0] == alone[name].iloc[0]


def test_onlookers_are_read_as_a_layer_of_their_own():
    lot = gpd.GeoDataFrame(
        {"parcel_id": ["a"]}, geometry=[box(5e5, 5e6, 5e5 + 40, 5e6 + 40)], crs=32632
    )
    shapes = [LineString([(5e5 - 20, 5e6 - 6), (5e5 + 60, 5e6 - 6)]), Point(5e5 + 20, 5e6 + 50)]
    layer = gpd.GeoDataFrame({"what": ["pavement", None]}, geometry=shapes, crs=32632)
    site = read_frames(
        {"parcels": lot, "onlookers": layer}, columns={"onlookers": {"kind": "what"}},
        fixed={"onlookers": {"eye_m": 1.5}},
    )  # fmt: skip
    read = site.layers["onlookers"]
    assert read["onlooker_id"].to_list() == ["1", "2"]
    assert read["kind"].to_list() == ["pavement", "path"]
    assert read["eye_m"].to_list() == [1.5, 1.5]
    assert read["raised_m"].to_list() == [0.0, 0.0]
    with pytest.raises(InputError, match="layer onlookers, rows 1, 2: The eye_m 9 m"):
        read_frames({"parcels": lot, "onlookers": layer.assign(eye_m=9.0)})


@pytest.mark.parametrize(
    ("layer", "says"),
    [
        (people(Point(0, 9), Polygon()), "layer onlookers, row 2: an onlooker has no place"),
        (people(None), "row 1: an onlooker has no place"),
        (people(Point(0, 9), eye_m=-1.0), "height of an onlooker's eyes or floor is no number"),
        (people(Point(0, 9), raised_m=np.inf), "height of an onlooker's eyes or floor"),
        (people(Point(0, 10)), "row 1: an onlooker is inside a building"),
        (people(Point(9, 0.1)), "row 1: an onlooker is on a planting line all over"),
        (
            people(Point(9, 9)).assign(onlooker_id="w0"),
            "row 1: an onlooker has the identifier of a",
        ),
        (people(Point(-5.5, -9.5)), "same position as onlooker o0"),
    ],
)
def test_bad_onlookers_are_refused_by_row(layer, says):
    with pytest.raises(InputError, match=says):
        trace(layer, WINDOW, None, HOUSE)
