"""The local frame against geodesics, geocentric chords, and itself by way of other CRS."""

import json
import math

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import CRS, Geod, Transformer

from screenplan.ground.errors import InputError
from screenplan.ground.frame import LocalFrame, mean_radius
from screenplan.ground.reproject import EDGE_TOLERANCE_M, MOST_PIECES, reproject

#: The promise of the frame: a millimetre in 100 m.
MM_PER_100_M = 1e-5


def lot(lon, lat, metres=100.0, crs="EPSG:4326"):
    """A lot of about that size around a point, in degrees."""
    dy = metres / 111_000.0 / 2.0
    dx = dy / math.cos(math.radians(lat))
    corners = [(-dx, -dy), (dx, -dy), (1.1 * dx, 0.9 * dy), (-dx, dy)]
    outline = shapely.Polygon([(lon + x, lat + y) for x, y in corners])
    return gpd.GeoDataFrame({"parcel_id": ["A"]}, geometry=[outline], crs=crs)


def vertices(frame):
    return shapely.get_coordinates(frame.geometry.array)


@settings(max_examples=20)
@given(lon=st.floats(-179.0, 179.0), lat=st.floats(-75.0, 75.0), metres=st.floats(10.0, 1000.0))
@pytest.mark.evidence(
    part="Local frame and datum",
    kind="other software",
    against="Lengths of the frame at height 0: pyproj.Geod, which solves the geodesic on the ellipsoid, anywhere between 75° south and north",
    source="pyproj (GeographicLib)",
    status="run",
    tolerance=f"{1e5 * MM_PER_100_M:g} mm in 100 m",
)
def test_lengths_at_height_zero_are_geodesic(lon, lat, metres):
    # Evidence: other software; pyproj.Geod solves the geodesic on the same ellipsoid.
    parcel = lot(lon, lat, metres)
    degrees = vertices(parcel)
    _, _, geodesic = Geod(ellps="WGS84").inv(*degrees[:-1].T, *degrees[1:].T)
    inside = LocalFrame.around(parcel).bring_in(
        gpd.GeoDataFrame(geometry=shapely.points(degrees), crs=parcel.crs)
    )
    tape = np.hypot(*np.diff(vertices(inside), axis=0).T)
    np.testing.assert_allclose(tape, geodesic, rtol=MM_PER_100_M, atol=1e-6)


@pytest.mark.parametrize("height_m", [0.0, 850.0, 2600.0, 4300.0])
@pytest.mark.parametrize(
    ("lon", "lat"), [(-105.0, 39.7), (7.0, 46.0), (-68.1, -16.5), (15.0, 69.0)]
)
@pytest.mark.evidence(
    part="Local frame and datum",
    kind="other software",
    against="Lengths of the frame at a height: chords between points of EPSG:4978 at that height",
    source="pyproj (PROJ's geocentric coordinates)",
    status="run",
    tolerance=f"{1e5 * MM_PER_100_M:g} mm in 100 m",
)
def test_lengths_at_a_height_are_geocentric_chords(lon, lat, height_m):
    # Evidence: closed form; the straight distance in EPSG:4978 between points at that height.
    # Over 150 m a chord is shorter than its arc by L³/(24 R²), less than a micrometre.
    parcel = lot(lon, lat, 100.0)
    frame = LocalFrame.around(parcel, height_m=height_m)
    degrees = vertices(parcel)
    points = gpd.GeoDataFrame(geometry=shapely.points(degrees), crs=parcel.crs)
    tape = np.hypot(*np.diff(vertices(frame.bring_in(points)), axis=0).T)
    to_earth = Transformer.from_crs("EPSG:4979", "EPSG:4978", always_xy=True)
    xyz = np.column_stack(to_earth.transform(*degrees.T, np.full(len(degrees), height_m)))
    chords = np.linalg.norm(np.diff(xyz, axis=0), axis=1)
    np.testing.assert_allclose(tape, chords, rtol=MM_PER_100_M)


def test_without_a_height_lengths_are_short_by_what_the_note_says():
    # Evidence: closed form h/R; 1000 m over 6371 km is 15.7 mm in 100 m.
    parcel = lot(-105.0, 39.7)
    low, high = (
        vertices(LocalFrame.around(parcel, height_m=h).bring_in(parcel)) for h in (None, 1000.0)
    )
    side = [np.hypot(*(c[1] - c[0])) for c in (low, high)]
    assert 100.0 * (side[1] / side[0] - 1.0) == pytest.approx(0.0157, abs=0.0001)
    assert "0.016% more for each 1000 m of height" in LocalFrame.around(parcel).length_note
    assert "true at 1000 m" in LocalFrame.around(parcel, height_m=1000.0).length_note


@pytest.mark.evidence(
    part="Local frame and datum",
    kind="published",
    against="What a height above sea level in place of one above the ellipsoid costs: the largest geoid height, about 106 m",
    source="no source at hand",
    status="memory",
    tolerance="1.67 mm in 100 m, to 0.02 mm",
)
def test_a_height_above_sea_level_costs_less_than_two_millimetres():
    # Evidence: the largest geoid height is about 106 m (from memory); 106/6371000 of 100 m.
    parcel = lot(138.0, -5.0)
    scales = [LocalFrame.around(parcel, height_m=h).scale for h in (0.0, 106.0)]
    assert 100_000.0 * (scales[1] - scales[0]) == pytest.approx(1.67, abs=0.02)


@pytest.mark.parametrize("code", ["EPSG:4269", "EPSG:4326", "EPSG:4277"])
def test_mean_radius_at_equator_and_pole(code):
    # Evidence: closed form; √(M N) is b on the equator and a²/b at the pole.
    ellipsoid = CRS(code).ellipsoid
    a, b = ellipsoid.semi_major_metre, ellipsoid.semi_minor_metre
    assert mean_radius(CRS(code), 0.0) == pytest.approx(b, rel=1e-12)
    assert mean_radius(CRS(code), 90.0) == pytest.approx(a * a / b, rel=1e-12)


@pytest.mark.parametrize(
    ("geographic", "others", "place"),
    [
        # NAD83: UTM, and state planes in US survey feet and in metres.
        ("EPSG:4269", ["EPSG:26917", "EPSG:2264", "EPSG:32119"], (-80.0, 35.5)),
        # WGS 84: web Mercator, UTM, three dimensions.
        ("EPSG:4326", ["EPSG:3857", "EPSG:32633", "EPSG:4979"], (14.4, 50.1)),
        # Paris meridian and grads.
        ("EPSG:4807", ["EPSG:27572", "EPSG:27562"], (0.5, 51.5)),
        # A compound CRS.
        ("EPSG:4258", ["EPSG:25831", "EPSG:5554"], (3.0, 50.0)),
    ],
)
def test_every_crs_of_a_datum_gives_the_same_frame(geographic, others, place):
    # Evidence: invariant.
    parcel = lot(*place, 100.0, crs=geographic)
    expected = vertices(LocalFrame.around(parcel, height_m=200.0).bring_in(parcel))
    assert np.ptp(expected[:, 0]) > 50.0
    for code in others:
        there = parcel.to_crs(code)
        found = vertices(LocalFrame.around(there, height_m=200.0).bring_in(there))
        np.testing.assert_allclose(found, expected, atol=1e-4)


def test_a_bound_crs_keeps_its_own_datum():
    # Evidence: invariant; the towgs84 part moves the datum, not the lengths on it.
    plain = "+proj=utm +zone=32 +ellps=intl +units=m +type=crs"
    outline = shapely.box(500_000, 5_500_000, 500_080, 5_500_040)
    pair = [
        gpd.GeoDataFrame(geometry=[outline], crs=crs)
        for crs in (plain, plain.replace("+units", "+towgs84=-87,-98,-121 +units"))
    ]
    first, second = (vertices(LocalFrame.around(p).bring_in(p)) for p in pair)
    np.testing.assert_allclose(first, second, atol=1e-6)


def test_web_mercator_sides_are_shortened_to_ground_length():
    # Evidence: closed form on the sphere, 1/cos 50° = 1.5557; the ellipsoid changes it by < 0.5 %.
    x, y = Transformer.from_crs(4326, 3857, always_xy=True).transform(8.0, 50.0)
    parcel = gpd.GeoDataFrame(geometry=[shapely.box(x, y, x + 155.57, y + 155.57)], crs=3857)
    local = LocalFrame.around(parcel).bring_in(parcel)
    assert math.sqrt(local.area.iloc[0]) == pytest.approx(100.0, rel=0.005)


def test_the_centre_is_the_origin_and_north_is_up():
    # Evidence: trivial by construction, and the meridian through the centre.
    parcel = lot(10.0, 47.0)
    frame = LocalFrame.around(parcel)
    points = gpd.GeoSeries.from_xy(
        [frame.lon0, frame.lon0], [frame.lat0, frame.lat0 + 0.0005], crs=4326
    ).to_frame("geometry")
    (x0, y0), (x1, y1) = vertices(frame.bring_in(gpd.GeoDataFrame(points)))
    assert (x0, y0, x1) == pytest.approx((0.0, 0.0, 0.0), abs=1e-6)
    assert y1 == pytest.approx(0.0005 * 111_170, rel=1e-3)


def test_a_lot_across_the_antimeridian_is_in_one_piece():
    # Evidence: invariant; the same lot one degree farther west.
    here, there = lot(179.9999, -17.0), lot(178.9999, -17.0)
    wrapped = here.set_geometry(
        shapely.transform(
            here.geometry.array,
            lambda xy: np.column_stack(
                [np.where(xy[:, 0] > 180, xy[:, 0] - 360, xy[:, 0]), xy[:, 1]]
            ),
        )
    )
    assert wrapped.total_bounds[0] < 0.0
    found = vertices(LocalFrame.around(wrapped).bring_in(wrapped))
    # Edges that the antimeridian tears in degrees are drawn the short way.
    expected = vertices(LocalFrame.around(there).bring_in(there))
    assert found == pytest.approx(expected, abs=1e-4)


@pytest.mark.parametrize("system", ["EPSG:4326", "EPSG:3857"])
def test_what_lies_across_the_antimeridian_gets_no_more_vertices(system):
    # Evidence: invariant; its edges are as straight as one degree farther west. Followed round the
    # globe in steps of half a millimetre they would have 280,000 vertices each.
    crown = shapely.Point(0.0, 0.0).buffer(2.0)
    frame = LocalFrame.around(lot(179.9999, -17.0))
    layer = gpd.GeoDataFrame(geometry=[crown], crs=frame.crs)
    sent = frame.send_out(layer, system)
    assert len(vertices(sent)) == len(shapely.get_coordinates(crown))
    back = frame.bring_in(sent).geometry.iloc[0]
    assert back.hausdorff_distance(crown) < 1e-4


@pytest.mark.evidence(
    part="Local frame and datum",
    kind="other software",
    against="A long edge of a map in the frame: its own points through pyproj, one by one",
    source="pyproj",
    status="run",
    tolerance="1 mm over 1 km",
)
def test_a_long_edge_bends_as_it_does_on_the_map():
    # Evidence: other software; the edge's own points through pyproj one by one. A parallel at
    # 50° N leaves its chord by L² tan φ / (8 R): 23 mm over 1 km.
    x, y = Transformer.from_crs(4326, 3857, always_xy=True).transform(8.0, 50.0)
    line = shapely.LineString([(x, y), (x + 1555.0, y)])
    edge = gpd.GeoDataFrame(geometry=[line], crs=3857)
    frame = LocalFrame.around(edge)
    local = frame.bring_in(edge).geometry.iloc[0]
    way = Transformer.from_crs(3857, frame.crs, always_xy=True)
    true = shapely.points(*way.transform(np.linspace(x, x + 1555.0, 501), np.full(501, y)))
    assert shapely.distance(true, local).max() < 0.001
    chord = shapely.LineString([local.coords[0], local.coords[-1]])
    assert shapely.distance(true, chord).max() == pytest.approx(0.023, abs=0.002)
    assert len(local.coords) < 20


def test_a_short_edge_gets_no_vertices():
    parcel = lot(8.0, 50.0, 60.0).to_crs(3857)
    assert len(vertices(LocalFrame.around(parcel).bring_in(parcel))) == len(vertices(parcel))


def test_holes_and_parts_keep_their_own_edges():
    # Evidence: trivial by construction; a shear moves every straight edge onto a straight edge.
    ring = shapely.box(0, 0, 10, 10).difference(shapely.box(2, 2, 4, 4))
    both = shapely.multipolygons([ring, shapely.box(500, 0, 510, 10)])
    given_ = np.array([both, None, shapely.Point(1, 1), shapely.LineString()], dtype=object)
    sheared = reproject(given_, lambda x, y: (x + 0.5 * y, y))
    assert shapely.get_num_coordinates(sheared).tolist() == [15, 0, 1, 0]
    assert sheared[0].area == pytest.approx(both.area)
    assert EDGE_TOLERANCE_M < 0.001


@pytest.mark.parametrize(
    ("text", "whole"),
    [
        ("POLYGON ((0 0, 9 0, 9 9, 0 0), EMPTY)", "POLYGON ((0 0, 9 0, 9 9, 0 0))"),
        ("MULTIPOLYGON (((0 0, 9 0, 9 9, 0 0)), EMPTY)", "MULTIPOLYGON (((0 0, 9 0, 9 9, 0 0)))"),
        ("MULTILINESTRING (EMPTY, (0 0, 9 0))", "MULTILINESTRING ((0 0, 9 0))"),
        (
            "GEOMETRYCOLLECTION (LINESTRING EMPTY, MULTIPOLYGON (((0 0, 9 0, 9 9, 0 0), EMPTY), EMPTY), MULTIPOINT EMPTY)",
            "GEOMETRYCOLLECTION (MULTIPOLYGON (((0 0, 9 0, 9 9, 0 0))))",
        ),
        ("POLYGON ((0 0, 9 0, 9 9, 0 0), (1 0, 1 0, 1 0, 1 0))", "POLYGON ((0 0, 9 0, 9 9, 0 0))"),
        ("MULTILINESTRING ((1 0, 1 0), (0 0, 9 0))", "MULTILINESTRING ((0 0, 9 0))"),
    ],
)
def test_parts_without_length_of_what_bends_do_not_matter(text, whole):
    # Evidence: invariant; a parabola moves the middle of an edge of 9 m by 2 m from its chord, so that it is
    # cut into 9 / 9 √(2 / 0.0005) pieces, about 60. Cutting an empty part ended the process.
    def bend(x, y):
        return x, y + x * x / 10.0

    given_, expected = (np.array([shapely.from_wkt(wkt)], dtype=object) for wkt in (text, whole))
    (found,) = reproject(given_, bend)
    (true,) = reproject(expected, bend)
    assert shapely.get_num_coordinates(true) > 60
    extra = shapely.get_num_coordinates(given_[0]) - shapely.get_num_coordinates(expected[0])
    assert shapely.get_num_coordinates(found) - shapely.get_num_coordinates(true) == extra
    held = {tuple(point) for point in shapely.get_coordinates(found)}
    assert held >= {tuple(point) for point in shapely.get_coordinates(true)}
    assert found.geom_type == given_[0].geom_type


@pytest.mark.parametrize("far", [1e155, 1e308, np.inf, np.nan])
def test_what_is_longer_than_any_number_is_not_cut(far):
    # Evidence: invariant; there is no number of pieces for it. Its corners stay, to be refused.
    with np.errstate(invalid="ignore"):
        line = np.array([shapely.LineString([(0.0, 0.0), (9.0, 0.0), (far, far)])], dtype=object)
    (found,) = reproject(line, lambda x, y: (x, y + np.minimum(x, 9.0) ** 2 / 10.0))
    assert shapely.get_num_coordinates(found) == 3


def test_what_goes_round_the_globe_gets_no_more_than_some_thousand_vertices():
    # Evidence: closed form; as many pieces as the named number, and one more for each edge.
    line = np.array([shapely.LineString([(0.0, 0.0), (4e7, 0.0)])], dtype=object)
    (found,) = reproject(line, lambda x, y: (x, y + x * x / 1e7))
    assert MOST_PIECES / 2 < shapely.get_num_coordinates(found) <= MOST_PIECES + 2


BOX = (-50.0, -40.0, 60.0, 70.0)


@pytest.mark.parametrize(
    ("lon", "lat", "system"),
    [(9.0, 50.0, "EPSG:32632"), (9.0, 50.0, "EPSG:4326"), (179.99, -17.0, "EPSG:4326"),
     (-120.0, 89.0, "EPSG:4326"), (9.0, 50.0, "EPSG:4807"), (179.9999, -17.0, "EPSG:32760")],
)  # fmt: skip
def test_the_boxes_of_another_crs_hold_what_lies_in_a_box(lon, lat, system):
    # Evidence: invariant; points of the box, by a transformer of their own, and in degrees those too that
    # are counted to 360 or the other way round. None of the boxes is much larger than the box itself.
    frame = LocalFrame.around(lot(lon, lat))
    boxes = frame.boxes_out(BOX, frame.transformation_from(CRS(system)))
    x, y = (
        values.ravel() for values in np.meshgrid(np.linspace(-50, 60, 12), np.linspace(-40, 70, 12))
    )
    there = Transformer.from_crs(frame.crs, system, always_xy=True)
    px, py = there.transform(x, y)
    turns = {"EPSG:4326": (0.0, 360.0, -360.0), "EPSG:4807": (0.0, 400.0, -400.0)}.get(
        system, (0.0,)
    )
    assert len(boxes) == len(turns)
    for (west, south, east, north), turn in zip(boxes, turns, strict=True):
        slack = EDGE_TOLERANCE_M / 100_000.0 if len(turns) > 1 else 0.0  # of a degree
        assert ((px + turn >= west - slack) & (px + turn <= east + slack)).all()
        assert ((py >= south - slack) & (py <= north + slack)).all()
        assert east - west == pytest.approx(np.ptp(px), rel=0.1)
        assert north - south == pytest.approx(np.ptp(py), rel=0.1)


@pytest.mark.parametrize(
    ("lon", "lat", "system"),
    [(179.9999, -17.0, "EPSG:4326"), (-179.9999, -17.0, "EPSG:3857"), (10.0, 89.9999, "EPSG:4326")],
)
def test_no_box_holds_what_an_end_of_the_map_tears(lon, lat, system):
    # By construction: the box of 110 m lies 10 m from the antimeridian or the pole at most.
    frame = LocalFrame.around(lot(lon, lat))
    assert frame.boxes_out(BOX, frame.transformation_from(CRS(system))) is None


def test_what_comes_back_and_what_does_not():
    # Evidence: closed form; longitudes a turn apart are one, at the pole all are; latitudes are not, nor
    # is the place beyond the tip of a cone.
    degrees = LocalFrame.around(lot(9.0, 50.0))
    way = degrees.transformation_from(CRS(4326))
    points = shapely.points(
        [[9.0, 50.0], [369.0, 50.0], [-351.0, 50.0], [77.0, 90.0], [9.0, 95.0], [np.inf, 5.0]]
    )
    mixed = np.array([*points, shapely.MultiPoint([points[0], points[4]])], dtype=object)
    told = degrees.come_back(mixed, degrees.project_in(mixed, way), way)
    assert told.tolist() == [True, True, True, True, False, False, False]
    # Of a long edge vertices were added, which have no place of their own in the layer.
    long = np.array([shapely.LineString([(9.0, 50.0), (10.0, 50.0)]), points[4]], dtype=object)
    moved = degrees.project_in(long, way)
    assert shapely.count_coordinates(moved) > shapely.count_coordinates(long)
    assert degrees.come_back(long, moved, way).tolist() == [True, False]
    cone = LocalFrame.around(gpd.GeoDataFrame(geometry=[shapely.box(-90, -90, -50, -50)], crs=5514))
    way = cone.transformation_from(CRS(5514))
    points = shapely.points([[-70.0, -70.0], [1.0, 1.0], [20.0, 20.0]])
    told = cone.come_back(points, cone.project_in(points, way), way)
    assert told.tolist() == [True, False, False]


def test_out_and_back_loses_nothing():
    # Evidence: invariant, to a thousandth of a millimetre.
    parcel = lot(-80.0, 35.5, crs="EPSG:4269").to_crs("EPSG:2264").set_axis(["x"])
    frame = LocalFrame.around(parcel, height_m=100.0)
    local = frame.bring_in(parcel)
    back = frame.send_out(local, frame.source_crs)
    assert back.crs == parcel.crs
    assert back.index.tolist() == local.index.tolist() == ["x"]
    assert back["parcel_id"].tolist() == ["A"]
    feet = vertices(back)
    for corner in vertices(parcel):
        assert np.hypot(*(feet - corner).T).min() < 1e-5
    again = frame.bring_in(local)
    assert again is not local
    assert again.equals(local)


@pytest.mark.evidence(
    part="Local frame and datum",
    kind="published",
    against="The stated accuracy of NAD83 to WGS 84: 4 m",
    source="EPSG transformation 1188, as PROJ's database has it",
    status="code",
    tolerance="exact",
)
def test_sending_out_to_degrees_states_its_accuracy():
    parcel = lot(-71.15, 42.35, crs="EPSG:4269")
    frame = LocalFrame.around(parcel)
    out = frame.send_out(frame.bring_in(parcel), "EPSG:4326")
    assert out.crs.to_epsg() == 4326
    # Evidence: published, EPSG transformation 1188 (NAD83 to WGS 84) states 4 m.
    assert frame.transformation_from("EPSG:4326").accuracy_m == 4.0


def test_inputs_are_left_alone():
    parcel = lot(8.0, 50.0)
    before = parcel.copy(deep=True)
    frame = LocalFrame.around(parcel)
    frame.send_out(frame.bring_in(parcel), 3857)
    assert parcel.equals(before)
    assert parcel.crs == before.crs


@pytest.mark.parametrize("crs", ["EPSG:4326", "EPSG:2264", "EPSG:27572"])
def test_a_record_gives_the_same_frame(crs):
    place = {"EPSG:2264": (-80.0, 35.5), "EPSG:27572": (2.5, 47.0)}.get(crs, (8.0, 50.0))
    parcel = lot(*place).to_crs(crs)
    frame = LocalFrame.around(parcel, height_m=321.5)
    again = LocalFrame.from_dict(json.loads(json.dumps(frame.to_dict())))
    assert (again.scale, again.height_m) == (frame.scale, 321.5)
    np.testing.assert_array_equal(
        vertices(again.bring_in(parcel)), vertices(frame.bring_in(parcel))
    )


@pytest.mark.parametrize("record", [{}, {"source_crs_wkt": "nonsense"}, {"source_crs_wkt": None}])
def test_a_record_without_a_frame_is_refused(record):
    with pytest.raises(InputError, match=r"holds no local frame.*Run the plan again"):
        LocalFrame.from_dict(record)


def test_no_crs_is_refused():
    bare = lot(8.0, 50.0).set_crs(None, allow_override=True)
    with pytest.raises(InputError, match=r"has no CRS\. State the CRS"):
        LocalFrame.around(bare)
    with pytest.raises(InputError, match="layer roads: The layer has no CRS"):
        LocalFrame.around(lot(8.0, 50.0)).bring_in(bare, layer="roads")


def test_a_crs_without_a_place_on_a_map_is_refused():
    parcel = gpd.GeoDataFrame(geometry=[shapely.box(0, 0, 10, 10)], crs="EPSG:4978")
    with pytest.raises(InputError, match=r"gives no place on a map.*geographic or projected"):
        LocalFrame.around(parcel)


def test_coordinates_that_cannot_be_in_the_crs_are_refused_by_row():
    frame = LocalFrame.around(lot(8.0, 50.0))
    layer = gpd.GeoDataFrame(geometry=shapely.points([[8.0, 50.0], [5e5, 5e6]]), crs=4326)
    with pytest.raises(InputError, match=r"layer roads, row 2: Coordinates cannot lie in"):
        frame.bring_in(layer, layer="roads")
    with pytest.raises(InputError, match="No coordinate can lie in the CRS 'WGS 84'"):
        LocalFrame.around(layer.iloc[1:])
