"""The ground: closed forms on planes, and rasters made here."""

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from screenplan.ground.errors import InputError
from screenplan.ground.frame import LocalFrame
from screenplan.plan import check_plan
from screenplan.running.inputs import read_inputs
from screenplan.site.raster import read_terrain
from screenplan.site.terrain import Terrain, TerrainSource, ground_at

EAST, NORTH = 500_000.0, 5_540_000.0
HERE = (-60.0, -60.0, 60.0, 60.0)


def plane(x, y):
    """Rises 0.2 to the east and falls 0.05 to the north."""
    return 100.0 + 0.2 * x - 0.05 * y


def plane_terrain():
    x, y = np.meshgrid(np.arange(-50.0, 51.0, 5.0), np.arange(-40.0, 41.0, 4.0))
    return Terrain(plane(x, y), -50.0, -40.0, 5.0, 4.0)


@pytest.fixture
def frame():
    parcel = gpd.GeoDataFrame(
        geometry=[shapely.box(EAST - 20, NORTH - 20, EAST + 20, NORTH + 20)], crs=32632
    )
    return LocalFrame.around(parcel)


def write(
    path, z, *, cell=2.0, crs="EPSG:32632", nodata=None, units=None, origin=None, transform=None,
    **options,
):  # fmt: skip
    z = np.asarray(z, dtype="float32")
    west, north = origin or (EAST - z.shape[1] * cell / 2.0, NORTH + z.shape[0] * cell / 2.0)
    profile = {
        "driver": "GTiff", "height": z.shape[0], "width": z.shape[1], "count": 1,
        "dtype": "float32", "crs": crs,
        "transform": transform or Affine(cell, 0.0, west, 0.0, -cell, north),
        "nodata": nodata,
    }  # fmt: skip
    with rasterio.open(path, "w", **profile) as raster:
        raster.write(z, 1)
        if units:
            raster.units = (units,)
        for name, value in options.items():
            setattr(raster, name, value)
    return path


def map_plane(cells, cell=2.0):
    """The plane on the map, at the centres of a square raster's pixels, north first."""
    at = (np.arange(cells) + 0.5) * cell - cells * cell / 2.0
    x, y = np.meshgrid(at, -at)
    return plane(x, y)


# ---- the grid itself ---------------------------------------------------------------------------


def test_a_flat_site_is_flat_everywhere():
    # Evidence: trivial by construction.
    ground = Terrain.flat(12.3)
    assert ground.is_flat
    heights = ground.height_at(np.array([[0.0, 1e5], [-1e5, 3.3]]), 7.0)
    assert heights.shape == (2, 2)
    assert (heights == 12.3).all()
    assert ground.mean_under(shapely.box(0, 0, 3, 4)) == 12.3
    assert ground.slope_length([0, 3, 3], [0, 4, 10]).tolist() == [0.0, 5.0, 11.0]


@given(st.floats(-50, 50), st.floats(-40, 40))
def test_a_plane_is_met_exactly(x, y):
    # Evidence: closed form; bilinear interpolation is exact on a plane.
    ground = plane_terrain()
    assert not ground.is_flat
    assert float(ground.height_at(x, y)) == pytest.approx(plane(x, y), abs=1e-9)


def test_nodes_are_row_by_row_from_the_south():
    z = np.array([[1.0, 2.0], [3.0, 5.0]])
    ground = Terrain(z, 10.0, 20.0, 2.0, 4.0)
    assert ground.bounds == (10.0, 20.0, 12.0, 24.0)
    assert ground.height_at([10, 12, 10, 12], [20, 20, 24, 24]).tolist() == [1.0, 2.0, 3.0, 5.0]
    # Evidence: closed form, the mean of the four corners in the middle.
    assert float(ground.height_at(11.0, 22.0)) == 2.75
    # Beyond the grid its edge goes on.
    assert ground.height_at([0.0, 99.0], [0.0, 99.0]).tolist() == [1.0, 5.0]


# Closed form: the plane's own heights; without a terrain, and of no position, there is nothing to know.
def test_ground_at_positions_is_that_of_the_terrain_or_level():
    xy = np.array([[0.0, 0.0], [12.5, -7.25]])
    assert ground_at(plane_terrain(), xy) == pytest.approx(plane(*xy.T))
    assert ground_at(plane_terrain(), xy[0]) == pytest.approx([100.0])
    assert ground_at(None, xy).tolist() == [0.0, 0.0]
    assert ground_at(plane_terrain(), np.zeros((0, 2))).shape == (0,)


@settings(max_examples=50)
@given(
    arrays(float, (4, 5), elements=st.floats(-100, 3000)),
    st.floats(-20, 20),
    st.floats(-20, 20),
)
def test_no_height_is_outside_the_nodes_heights(z, x, y):
    # Evidence: invariant.
    height = float(Terrain(z, -4.0, -3.0, 2.0, 2.0).height_at(x, y))
    assert z.min() - 1e-9 <= height <= z.max() + 1e-9


@given(st.floats(0, 360), st.lists(st.floats(0.1, 30.0), min_size=1, max_size=5))
def test_the_tape_on_a_plane_is_longer_by_the_slope(azimuth, legs):
    # Evidence: closed form, level distance × √(1 + slope²), slope along the line.
    ground = Terrain(
        plane(*np.meshgrid(np.arange(-200.0, 201.0, 10.0), np.arange(-200.0, 201.0, 10.0))),
        -200.0, -200.0, 10.0, 10.0,
    )  # fmt: skip
    east, north = np.sin(np.radians(azimuth)), np.cos(np.radians(azimuth))
    run = np.concatenate([[0.0], np.cumsum(legs)])
    slope = 0.2 * east - 0.05 * north
    found = ground.slope_length(run * east, run * north)
    np.testing.assert_allclose(found, run * np.sqrt(1.0 + slope**2), rtol=1e-9)


def test_twenty_per_cent_is_nine_tenths_of_a_metre_over_forty_five():
    # Evidence: arithmetic, 45 (√1.04 - 1) = 0.891 m.
    x = np.arange(0.0, 61.0, 5.0)
    ground = Terrain(np.tile(0.2 * x, (2, 1)), 0.0, -5.0, 5.0, 10.0)
    assert ground.slope_length([0.0, 45.0], [0.0, 0.0])[-1] - 45.0 == pytest.approx(0.891, abs=5e-4)


def test_a_leg_follows_the_ground_between_its_ends():
    # Evidence: closed form; up and down a ridge 3 m high, 4 m to each side: twice 5 m.
    z = np.tile([0.0, 3.0, 0.0], (2, 1))
    ground = Terrain(z, 0.0, 0.0, 4.0, 4.0)
    assert ground.slope_length([0.0, 8.0], [2.0, 2.0]).tolist() == pytest.approx([0.0, 10.0])
    assert ground.slope_length([1.0], [1.0]).tolist() == [0.0]


def test_the_mean_under_a_symmetric_footprint_is_that_of_its_middle():
    # Evidence: closed form on a plane.
    ground = plane_terrain()
    assert ground.mean_under(shapely.box(4, -6, 14, 2)) == pytest.approx(plane(9, -2), abs=1e-9)
    # On x² / 20 + y² / 10 it is (a² + ab + b²) / 3 of each axis; cells of 0.5 m leave 1/80 + 1/160 m at most.
    x, y = np.meshgrid(np.arange(-10.0, 20.1, 0.5), np.arange(-20.0, 30.1, 0.5))
    bowl = Terrain(x**2 / 20.0 + y**2 / 10.0, -10.0, -20.0, 0.5, 0.5)
    expected = (9.0 + 36.0 + 144.0) / 60.0 + (64.0 + 8.0 * -13.0 + 169.0) / 30.0
    for spacing in (None, 0.1, 0.3):
        found = bowl.mean_under(shapely.box(3, -13, 12, 8), spacing)
        assert found == pytest.approx(expected, abs=0.02)
    sliver = shapely.LineString([(0, 0), (10, 10)]).buffer(1e-4)
    assert ground.mean_under(sliver) == pytest.approx(plane(5, 5), abs=1.0)


@pytest.mark.parametrize(
    ("z", "cell", "said"),
    [
        (np.zeros(3), 1.0, "at least 2 rows"),
        (np.zeros((1, 5)), 1.0, "at least 2 rows"),
        ([[0.0, np.nan], [0.0, 0.0]], 1.0, "finite throughout"),
        (np.zeros((2, 2)), 0.0, "must be positive"),
    ],
)
def test_a_grid_that_is_none_is_refused(z, cell, said):
    with pytest.raises(ValueError, match=said):
        Terrain(z, 0.0, 0.0, cell, 1.0)


def test_the_grid_cannot_be_changed_from_outside():
    z = np.zeros((2, 2))
    ground = Terrain(z, 0.0, 0.0, 1.0, 1.0)
    z[0, 0] = 9.0
    assert ground.is_flat
    with pytest.raises(ValueError, match="read-only"):
        ground.z[0, 0] = 1.0


# ---- rasters -----------------------------------------------------------------------------------


def test_a_flat_raster_gives_exactly_flat(tmp_path, frame):
    # Evidence: trivial by construction; 12.3 as the raster's own 32-bit number.
    path = write(tmp_path / "flat.tif", np.full((80, 80), 12.3), units="metre")
    ground, notes, way, record = read_terrain(TerrainSource(path), frame, HERE)
    assert ground.is_flat
    assert ground.z[0, 0] == np.float32(12.3)
    assert len(notes) == 1
    assert "cells of 2 m; between their middles heights may be out by less than 1 cm" in notes[0]
    assert record["cell_error_m"] == 0.0
    assert way["accuracy_m"] == 0.0
    assert (record["rows"], record["columns"]) == (80, 80)


def test_a_plane_on_the_map_is_that_plane_in_the_frame(tmp_path, frame):
    # Evidence: closed form. Near its central meridian UTM and frame differ by the scale 0.9996
    # only, which on 60 m of 20 % is 5 mm.
    path = write(tmp_path / "plane.tif", map_plane(80), units="m")
    ground, *_ = read_terrain(TerrainSource(path), frame, HERE)
    x, y = np.meshgrid(np.linspace(-60, 60, 23), np.linspace(-60, 60, 19))
    np.testing.assert_allclose(ground.height_at(x, y), plane(x, y), atol=0.006)
    assert ground.bounds == pytest.approx(HERE)
    assert ground.dx == pytest.approx(2.0, rel=0.02)


@pytest.mark.parametrize(("turn", "east_m", "north_m"), [(0.0, 3.0, 2.0), (25.0, 2.0, 3.0)])
def test_cells_that_are_oblong_or_turned(tmp_path, frame, turn, east_m, north_m):
    # Closed form: the plane is the plane however the raster's cells lie; the grid's own are as near to
    # their lesser size as whole numbers of them fit.
    cos, sin = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    a, b, d, e = east_m * cos, north_m * sin, east_m * sin, -north_m * cos
    way = Affine(a, b, EAST - 70 * (a + b), d, e, NORTH - 70 * (d + e))
    columns, rows = np.meshgrid(np.arange(140) + 0.5, np.arange(140) + 0.5)
    x, y = way.c + a * columns + b * rows, way.f + d * columns + e * rows
    path = write(tmp_path / "t.tif", plane(x - EAST, y - NORTH), units="m", transform=way)
    bounds = (-60.0, -30.0, 61.0, 45.0)
    ground, *_ = read_terrain(TerrainSource(path), frame, bounds)
    x, y = np.meshgrid(np.linspace(-60, 61, 23), np.linspace(-30, 45, 19))
    np.testing.assert_allclose(ground.height_at(x, y), plane(x, y), atol=0.006)
    assert ground.bounds == pytest.approx(bounds)
    cell = min(a, -e) / 0.9996
    assert ground.dx == pytest.approx(121.0 / np.ceil(121.0 / cell), rel=1e-3)
    assert ground.dy == pytest.approx(75.0 / np.ceil(75.0 / cell), rel=1e-3)


@pytest.mark.parametrize(
    ("unit", "stated", "metres"),
    [
        ("ft", None, 0.3048),
        ("ft", "foot", 0.3048),
        (None, "US survey foot", 1200 / 3937),
        (None, "metre", 1.0),
        ("m", None, 1.0),
    ],
)
def test_heights_have_their_own_unit(tmp_path, frame, unit, stated, metres):
    # Evidence: the definitions of the two feet.
    path = write(tmp_path / "t.tif", np.full((80, 80), 100.0), units=stated)
    ground, *_ = read_terrain(TerrainSource(path, unit), frame, HERE)
    assert ground.z[0, 0] == pytest.approx(100.0 * metres, rel=1e-12)


def test_an_unstated_unit_is_taken_as_metres_with_a_word(tmp_path, frame):
    path = write(tmp_path / "t.tif", np.full((80, 80), 5.0))
    _, notes, *_ = read_terrain(TerrainSource(path), frame, HERE)
    assert notes[0] == (
        "Terrain: the raster does not state the unit of its heights; metres are taken"
    )


def test_a_plan_that_says_no_unit_leaves_it_to_the_raster(tmp_path, frame):
    # Evidence: the definition of the foot. The plan's own default was metres, which a raster in feet
    # contradicts, and which one that states nothing in a map of feet does not.
    lot = gpd.GeoDataFrame(geometry=[shapely.box(-20, -20, 20, 20)], crs=frame.crs)
    frame.send_out(lot, frame.source_crs).to_file(tmp_path / "lot.gpkg", driver="GPKG")
    write(tmp_path / "t.tif", np.full((400, 400), 100.0), units="ft")
    plan = {"layers": {"parcels": {"file": "lot.gpkg"}}, "terrain": {"file": "t.tif"}}
    site = read_inputs(check_plan(plan), tmp_path)
    assert site.terrain.z[0, 0] == pytest.approx(30.48)
    write(tmp_path / "t.tif", np.full((400, 400), 100.0), crs="EPSG:2249")
    with pytest.raises(InputError, match=r"does not state the unit of its heights.*US survey foot"):
        read_inputs(check_plan(plan), tmp_path)


def test_scale_and_offset_of_the_raster_count(tmp_path, frame):
    # Evidence: arithmetic.
    path = write(
        tmp_path / "t.tif", np.full((80, 80), 500.0), units="m", scales=(0.1,), offsets=(7.0,)
    )
    ground, *_ = read_terrain(TerrainSource(path), frame, HERE)
    assert ground.z[0, 0] == pytest.approx(57.0)


def test_another_crs_is_handled(tmp_path, frame):
    # Evidence: invariant; a raster in degrees whose heights are its longitudes' rise.
    lon, lat = frame.lon0, frame.lat0
    cell = 2.0 / 111_000.0
    across = (np.arange(400) - 199.5) * cell
    path = write(
        tmp_path / "t.tif", np.tile(across * 1e5, (400, 1)), cell=cell, crs="EPSG:4326",
        origin=(lon - 200 * cell, lat + 200 * cell), units="m",
    )  # fmt: skip
    ground, *_ = read_terrain(TerrainSource(path), frame, HERE)
    metres_per_degree = 111_320 * np.cos(np.radians(lat))
    assert float(ground.height_at(50.0, 0.0)) == pytest.approx(
        50 / metres_per_degree * 1e5, rel=0.01
    )


def test_a_fine_raster_is_thinned_with_a_word(tmp_path, frame, monkeypatch):
    monkeypatch.setattr("screenplan.site.raster.MOST_NODES", 400)
    path = write(tmp_path / "t.tif", map_plane(80), units="m")
    ground, notes, *_ = read_terrain(TerrainSource(path), frame, HERE)
    assert ground.z.size <= 21 * 21
    assert "thinned to 6 m" in notes[0]


def test_a_raster_of_part_of_the_site_is_refused_with_what_is_missing(tmp_path, frame):
    path = write(tmp_path / "west.tif", np.full((80, 30), 9.0), origin=(EAST - 80, NORTH + 80))
    with pytest.raises(
        InputError,
        match=r"west\.tif, key terrain\.extend: The raster ends before the ground that is needed: "
        r"6\d% is missing, x -(18|19|20)(\.\d)? to 60 m, y -60 to 60 m from the middle.*"
        r"extend = true",
    ):
        read_terrain(TerrainSource(path, "m"), frame, HERE)


def test_extended_ground_goes_on_flat_and_says_so(tmp_path, frame):
    # Evidence: trivial by construction; a ramp from the west that ends at x = -20.
    ramp = np.tile(np.arange(30) * 1.0, (80, 1))
    path = write(tmp_path / "west.tif", ramp, origin=(EAST - 80, NORTH + 80))
    ground, notes, *_ = read_terrain(TerrainSource(path, "m", extend=True), frame, HERE)
    assert "goes on flat at the nearest known height" in notes[0]
    assert float(ground.height_at(50.0, 0.0)) == pytest.approx(29.0, abs=0.6)
    assert float(ground.height_at(-50.0, 0.0)) == pytest.approx(14.5, abs=0.1)


def test_a_hole_without_data_is_refused_and_can_be_filled(tmp_path, frame):
    z = np.full((80, 80), 4.0)
    z[38:42, 38:42] = -9999.0
    path = write(tmp_path / "hole.tif", z, nodata=-9999.0)
    with pytest.raises(InputError, match="has cells without data in the ground that is needed: 1%"):
        read_terrain(TerrainSource(path, "m"), frame, HERE)
    ground, *_ = read_terrain(TerrainSource(path, "m", extend=True), frame, HERE)
    assert ground.is_flat
    assert ground.z[0, 0] == 4.0


BAD_RASTERS = {
    "missing file": (lambda p: p / "none.tif", {}, r"none\.tif, key terrain\.file: The file does not exist"),
    "no raster": (lambda p: text(p / "t.tif"), {}, r"cannot be read as a raster.*Give a complete GeoTIFF"),
    "no CRS": (lambda p: write(p / "t.tif", np.ones((80, 80)), crs=None), {}, r"has no CRS\. State it, or save the raster"),
    "wrong unit": (
        lambda p: write(p / "t.tif", np.ones((80, 80)), units="foot"), {"unit": "m"},
        r"states heights in 'foot', the plan says 'm'\. Write unit = \"ft\"",
    ),
    "unknown unit": (
        lambda p: write(p / "t.tif", np.ones((80, 80)), units="klafter"), {}, r"'klafter', is not known",
    ),
    "no unit on a map in feet": (
        lambda p: write(p / "t.tif", np.ones((80, 80)), crs="EPSG:2264"), {},
        r"does not state the unit of its heights, and its map unit is US survey foot",
    ),
    "not a unit": (
        lambda p: write(p / "t.tif", np.ones((80, 80))), {"unit": "stone"}, r"key terrain\.unit: 'stone' is not a unit",
    ),
    "sentinel": (
        lambda p: write(p / "t.tif", np.full((80, 80), -9999.0)), {"unit": "m"},
        r"heights such as -9999, which no ground has\. State its value for 'no data'",
    ),
    "elsewhere": (
        lambda p: write(p / "t.tif", np.ones((80, 80)), origin=(EAST + 9000, NORTH)), {"unit": "m", "extend": True},
        r"knows no ground of the site",
    ),
    "band": (lambda p: write(p / "t.tif", np.ones((80, 80))), {"band": 3}, r"There is no band 3; it has 1"),
}  # fmt: skip


def text(path):
    path.write_text("not a raster")
    return path


@pytest.mark.parametrize("case", BAD_RASTERS)
def test_a_bad_raster_is_refused(tmp_path, frame, case):
    make, options, said = BAD_RASTERS[case]
    with pytest.raises(InputError, match=said):
        read_terrain(TerrainSource(make(tmp_path), **options), frame, HERE)


def test_a_truncated_raster_is_refused(tmp_path, frame):
    path = write(tmp_path / "t.tif", map_plane(200))
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 3])
    with pytest.raises(InputError, match="cannot be read as a raster"):
        read_terrain(TerrainSource(path, "m"), frame, HERE)


def test_a_datum_change_beyond_the_tolerance_is_refused(tmp_path):
    parcel = gpd.GeoDataFrame(
        geometry=[shapely.box(330_000, 4.69e6, 330_050, 4.69e6 + 50)], crs=26919
    )
    frame = LocalFrame.around(parcel)
    path = write(
        tmp_path / "t.tif", np.ones((80, 80)), crs="EPSG:32619", origin=(329_900, 4.69e6 + 100)
    )
    with pytest.raises(InputError, match=r"good to 4 m only, the tolerance is 2 m"):
        read_terrain(TerrainSource(path, "m"), frame, (-20, -20, 20, 20), datum_tolerance_m=2.0)
    ground, _, way, _ = read_terrain(
        TerrainSource(path, "m"), frame, (-20, -20, 20, 20), datum_tolerance_m=4.0
    )
    assert ground.is_flat
    assert way["accuracy_m"] == 4.0


# Closed form: on z = x^2 / 20 bilinear heights are out by dx^2 / 80 in the middle of a cell,
# 0.05 m with cells of 2 m; half the cell leaves a quarter of it.
@pytest.mark.parametrize(("cell", "error"), [(2.0, 0.05), (1.0, 0.0125)])
def test_error_that_the_cells_leave(cell, error):
    x = np.arange(0.0, 60.1, cell)
    ground = Terrain(np.tile(x**2 / 20.0, (31, 1)), 0.0, 0.0, cell, cell)
    middle = ground.height_at(x[:-1] + cell / 2.0, 20.0) - (x[:-1] + cell / 2.0) ** 2 / 20.0
    assert middle == pytest.approx(error)
    assert ground.cell_error_m == pytest.approx(error)
    assert plane_terrain().cell_error_m == pytest.approx(0.0, abs=1e-12)
