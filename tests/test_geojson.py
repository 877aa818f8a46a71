"""GeoJSON against RFC 7946: its rules one by one, and a validator that is not ours."""

import json

import geopandas
import numpy as np
import pandas as pd
import pytest
import shapely
from geojson_rules import check_geometry, hold_to_rfc, load_strictly
from geopandas.testing import assert_geodataframe_equal
from made_up import SHAPES, make_layer
from shapely.geometry import LineString, Point, Polygon, box, shape

from screenplan.contracts import OUTPUTS, PARCELS, VIEW_YEARS, VIEWS, Column, Contract
from screenplan.ground.errors import InputError
from screenplan.outputs.geojson import COORDINATE_DECIMALS, write_geojson

SPATIAL = {name: contract for name, contract in OUTPUTS.items() if contract.geometry}
THINGS = Contract(
    "things", tuple(SHAPES), "A thing", columns=(Column("name", "text", "Its name"),), key="name"
)
#: 0.1 mm on the ground: half of the last decimal that is written, with room for rounding.
HALF_DECIMAL = 0.6 * 10**-COORDINATE_DECIMALS


def things(*shapes, crs="EPSG:4326"):
    names = [f"thing {number}" for number in range(len(shapes))]
    return geopandas.GeoDataFrame({"name": names}, geometry=list(shapes), crs=crs)


@pytest.mark.parametrize("name", SPATIAL)
def test_every_output_layer_keeps_the_rules(name, tmp_path):
    contract = SPATIAL[name]
    layer = make_layer(contract, "EPSG:4326", rows=5, origin=(-80.25, 35.5), unit=1e-5)
    path = tmp_path / f"{name}.geojson"
    assert write_geojson(layer, path, contract) == 5
    collection = hold_to_rfc(path)
    for feature, was in zip(collection["features"], layer.itertuples(), strict=True):
        now = shape(feature["geometry"])
        assert now.geom_type == was.geometry.geom_type
        assert shapely.hausdorff_distance(now, was.geometry) <= HALF_DECIMAL * 2**0.5
        assert list(feature["properties"]) == [c for c in layer.columns if c != "geometry"]


def test_the_checks_of_this_file_can_fail(tmp_path):
    bad = tmp_path / "bad.geojson"
    clockwise = {
        "type": "Feature",
        "properties": {},
        "bbox": [0, 0, 1, 1],
        "geometry": {
            "type": "Polygon",
            "coordinates": [[[0, 0], [0, 1], [1, 1], [1, 0], [0, 0]]],
        },
    }
    bad.write_text(json.dumps({"type": "FeatureCollection", "features": [clockwise]}))
    with pytest.raises(AssertionError):
        hold_to_rfc(bad)
    bad.write_text('{"type": "FeatureCollection", "features": [], "features": []}')
    with pytest.raises(AssertionError, match="twice"):
        hold_to_rfc(bad)


@pytest.mark.parametrize(
    ("kind", "coordinates"),
    [
        ("Point", [35.5, 100.25]),  # axes swapped
        ("Point", [1, 2, 3]),
        ("Point", [[1, 2]]),
        ("LineString", [[1, 2]]),
        ("LineString", [[179, 0], [-179, 0]]),  # across the antimeridian, not cut
        ("Polygon", [[[0, 0], [1, 0], [0, 0]]]),
        ("Polygon", [[[0, 0], [1, 0], [1, 1], [0, 1]]]),  # not closed
        ("MultiPolygon", [[[[0, 0], [0, 1], [1, 1], [0, 0]]]]),  # clockwise
        ("Polygon", [[[0, 0], [1, 0], [1, 1], [0, 0]], [[5, 5], [5, 6], [6, 6], [5, 5]]]),
        ("GeometryCollection", []),
    ],
)
def test_a_geometry_that_breaks_a_rule_is_found(kind, coordinates):
    with pytest.raises((AssertionError, IndexError)):
        check_geometry({"type": kind, "coordinates": coordinates})


def test_coordinates_carry_nine_decimals(tmp_path):
    path = tmp_path / "point.geojson"
    write_geojson(things(Point(-80.1234567891234, 35.9876543210987)), path, THINGS)
    feature = load_strictly(path)["features"][0]
    # Rounded by hand from the numbers above.
    assert feature["geometry"]["coordinates"] == [-80.123456789, 35.987654321]
    assert feature["bbox"] == [-80.123456789, 35.987654321, -80.123456789, 35.987654321]


def test_coordinates_beside_round_numbers_keep_their_decimals(tmp_path):
    # GDAL would take such zeros and nines for rounding noise.
    lons = [9.000000084, 8.999999916, -80.1000000042, 33.119999996, 170.5000000021, 9.00000084]
    path = tmp_path / "points.geojson"
    write_geojson(things(*[Point(lon, 49.9999999123) for lon in lons]), path, THINGS)
    for feature, lon in zip(load_strictly(path)["features"], lons, strict=True):
        x, y = feature["geometry"]["coordinates"]
        assert abs(x - lon) <= HALF_DECIMAL
        assert abs(y - 49.9999999123) <= HALF_DECIMAL
    collection = hold_to_rfc(path)
    assert collection["bbox"] == pytest.approx(
        [min(lons), 49.9999999123, max(lons), 49.9999999123], abs=HALF_DECIMAL
    )


def test_years_are_in_order_and_the_columns_in_that_of_the_contract(tmp_path):
    layer = make_layer(VIEWS, "EPSG:4326", unit=1e-5)
    layer["open_y100"] = 0.5
    shuffled = layer[sorted(layer.columns, reverse=True)]
    path = tmp_path / "views.geojson"
    write_geojson(shuffled, path, VIEWS)
    names = list(load_strictly(path)["features"][0]["properties"])
    at = names.index("open_now")
    assert names[at : at + 5] == ["open_now", "open_y00", "open_y05", "open_y20", "open_y100"]
    expected = [column.name for column in VIEWS.columns if not column.per_year]
    assert [name for name in names if not name.startswith("open_y")] == expected


def test_a_missing_geometry_is_null_and_an_empty_one_too(tmp_path):
    path = tmp_path / "things.geojson"
    write_geojson(things(None, Polygon(), Point(1, 2)), path, THINGS)
    geometries = [feature["geometry"] for feature in hold_to_rfc(path)["features"]]
    assert geometries[:2] == [None, None]
    assert geometries[2]["coordinates"] == [1.0, 2.0]


def test_an_empty_layer_is_an_empty_collection(tmp_path):
    path = tmp_path / "views.geojson"
    assert write_geojson(make_layer(VIEWS, "EPSG:4326", rows=0), path, VIEWS) == 0
    collection = hold_to_rfc(path)
    assert collection["features"] == []
    assert "bbox" not in collection


def test_heights_of_vertices_are_left_out(tmp_path):
    path = tmp_path / "things.geojson"
    write_geojson(things(Point(1, 2, 3)), path, THINGS)
    assert load_strictly(path)["features"][0]["geometry"]["coordinates"] == [1.0, 2.0]


@pytest.mark.filterwarnings("ignore:BBOX crossing the Antimeridian line")
def test_what_crosses_the_antimeridian_is_cut_there(tmp_path):
    # Section 3.1.9. Taveuni, Fiji, lies on it.
    line = LineString([(179.999, -16.8), (-179.999, -16.9)])
    lot = Polygon([(179.999, -17), (-179.999, -17), (-179.999, -16.9), (179.999, -16.9)])
    path = tmp_path / "things.geojson"
    write_geojson(things(line, lot), path, THINGS)
    collection = hold_to_rfc(path)
    cut_line, cut_lot = (shape(feature["geometry"]) for feature in collection["features"])
    assert [cut_line.geom_type, cut_lot.geom_type] == ["MultiLineString", "MultiPolygon"]
    # Closed form: the lot is 0.002 by 0.1 degrees, half on either side.
    assert [round(part.area, 12) for part in cut_lot.geoms] == [0.0001, 0.0001]
    assert cut_lot.bounds[0] == -180
    assert cut_lot.bounds[2] == 180
    west, _, east, _ = collection["bbox"]
    assert (west, east) == (179.999, -179.999)


def test_values_stay_what_they_are(tmp_path):
    layer = make_layer(VIEWS, "EPSG:4326", rows=2, unit=1e-5)
    layer["year_closed"] = pd.array([pd.NA, 7], dtype="Int64")
    layer["error_share"] = [np.nan, 1 / 3]
    layer["closed_by"] = ['{"a": 1}', "line\nbreak"]
    path = tmp_path / "views.geojson"
    write_geojson(layer, path, VIEWS)
    first, second = (feature["properties"] for feature in load_strictly(path)["features"])
    assert first["year_closed"] is None
    assert isinstance(second["year_closed"], int)
    assert first["error_share"] is None
    assert second["error_share"] == 0.333333  # six decimals, by hand
    assert first["closed_by"] == '{"a": 1}'  # not an object
    assert second["closed_by"] == "line\nbreak"


def test_booleans_stay_booleans(tmp_path):
    layer = make_layer(PARCELS, "EPSG:4326", rows=2, unit=1e-5)
    layer["is_subject"] = pd.array([True, pd.NA], dtype="boolean")
    path = tmp_path / "parcels.geojson"
    write_geojson(layer, path, PARCELS)
    values = [f["properties"]["is_subject"] for f in load_strictly(path)["features"]]
    assert values == [True, None]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda g: g.to_crs(3857), "layer parcels: .* is WGS 84 / Pseudo-Mercator, .* Transform"),
        (lambda g: g.set_crs(None, allow_override=True), "system is none, and GeoJSON needs"),
        (lambda g: g.drop(columns="parcel_id"), "layer parcels: Column parcel_id is missing. Add"),
        (lambda g: g.assign(note="x"), "Column note is not in the layer's contract. Leave it out"),
        (lambda g: g.assign(parcel_id=[None, "b"]), "row 1: Column parcel_id has no value. Give"),
        (lambda g: g.assign(parcel_id=["a", 7]), "row 2: Column parcel_id holds 7, which is not t"),
        (lambda g: g.assign(parcel_id=["a", "b\0"]), "row 2: .* NUL character"),
        (
            lambda g: g.assign(parcel_id=pd.Series(["a", "\udc80"], dtype=object)),
            "row 2: .* cannot be written as UTF-8",
        ),
        (lambda g: g.assign(is_subject=[1, 0]), "rows 1, 2: .* neither true nor false"),
        (lambda g: g.set_geometry(g.centroid), "rows 1, 2: Geometry is a Point. Give Polygon or"),
        (lambda g: pd.DataFrame(g.drop(columns="geometry")), "has no geometry column. Hand in a"),
    ],
)
@pytest.mark.filterwarnings("ignore:Geometry is in a geographic CRS")
def test_a_layer_that_breaks_its_contract_is_refused(change, message, tmp_path):
    layer = change(make_layer(PARCELS, "EPSG:4326", rows=2, unit=1e-5))
    path = tmp_path / "parcels.geojson"
    with pytest.raises(InputError, match=message):
        write_geojson(layer, path, PARCELS)
    assert not path.exists()


@pytest.mark.parametrize(
    ("values", "message"),
    [
        ({"open_now": [0.5, np.inf]}, "row 2: Column open_now holds inf, which is not finite"),
        ({"open_now": [0.5, 1.5]}, "row 2: .* above 1. Give a number value from 0 to 1"),
        ({"open_now": [-0.5, 0.5]}, "row 1: .* below 0"),
        ({"open_now": ["0.5", 0.5]}, "row 1: .* is not a number"),
        ({"rays": [1.5, 2]}, "row 1: .* holds 1.5, which is not an integer"),
        ({"rays": [2**64, 2]}, "row 1: .* too large an integer"),
        ({"status": ["closes", "shut"]}, "row 2: .* holds 'shut'. Give one of no view, closed"),
    ],
)
def test_a_value_that_its_column_cannot_hold_is_refused(values, message, tmp_path):
    layer = make_layer(VIEWS, "EPSG:4326", rows=2, unit=1e-5).assign(**values)
    with pytest.raises(InputError, match=message):
        write_geojson(layer, tmp_path / "views.geojson", VIEWS)


def test_rounding_noise_is_not_out_of_range(tmp_path):
    layer = make_layer(VIEWS, "EPSG:4326", rows=1, unit=1e-5).assign(open_now=[1 + 1e-12])
    path = tmp_path / "views.geojson"
    write_geojson(layer, path, VIEWS)
    assert load_strictly(path)["features"][0]["properties"]["open_now"] == 1.0


def test_a_geometry_that_is_not_finite_is_refused(tmp_path):
    with pytest.raises(InputError, match="row 2: Geometry has a coordinate that is not finite"):
        write_geojson(things(Point(0, 0), Point(np.inf, 0)), tmp_path / "x.geojson", THINGS)


def test_a_table_is_refused(tmp_path):
    with pytest.raises(InputError, match=r"layer view_years: It is a table.*Write it as CSV"):
        write_geojson(make_layer(VIEW_YEARS), tmp_path / "x.geojson", VIEW_YEARS)


def test_inputs_are_not_changed_and_the_same_input_gives_the_same_bytes(tmp_path):
    layer = make_layer(PARCELS, "EPSG:4326", unit=1e-5)
    before = layer.copy(deep=True)
    for name in ("one", "two"):
        write_geojson(layer, tmp_path / name, PARCELS)
    assert_geodataframe_equal(layer, before)
    assert (tmp_path / "one").read_bytes() == (tmp_path / "two").read_bytes()


def test_a_disk_that_is_full_is_said_so(tmp_path):
    resource = pytest.importorskip("resource", reason="POSIX only")
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    layer = things(*[box(0, 0, 1, 1)] * 500)
    resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, before[1]))
    try:
        with pytest.raises(InputError, match=r"x.geojson, layer things: It could not be written"):
            write_geojson(layer, tmp_path / "x.geojson", THINGS)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
