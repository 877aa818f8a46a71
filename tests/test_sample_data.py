"""The sample site: made anew it is the same, and it shows what its description promises."""

import importlib.util
import sqlite3
from pathlib import Path

import fiona
import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely

from screenplan.contracts import INPUTS
from screenplan.site.places import lay_places, notes_on_places
from screenplan.site.sides import find_sides
from screenplan.site.windows import examine_windows

FOLDER = Path(__file__).parents[1] / "sample_data"
#: Coordinates are written to the millimetre; another machine may round one the other way.
MILLIMETRE = 0.0011
#: Heights are written to the centimetre.
CENTIMETRE = 0.0101


@pytest.fixture(scope="module")
def script():
    spec = importlib.util.spec_from_file_location(
        "make_sample_data", FOLDER / "make_sample_data.py"
    )
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def layers(script):
    found = {name: gpd.read_file(FOLDER / "site.gpkg", layer=name) for name in script.LAYERS}
    found["parcels"]["is_subject"] = found["parcels"]["parcel_id"] == script.SUBJECT
    found["windows"] = gpd.read_file(FOLDER / "windows.geojson").to_crs(script.CRS)
    return found


@pytest.fixture(scope="module")
def sides(layers):
    return find_sides(layers["parcels"], layers["roads"]).set_index("side_id")


def one(layer, column, value):
    """The geometry of the one row of that name."""
    return layer.loc[layer[column] == value].geometry.item()


def same(one, other, tolerance):
    assert list(one.columns) == list(other.columns)
    assert one.crs == other.crs
    assert shapely.equals_exact(one.geometry.to_numpy(), other.geometry.to_numpy(), tolerance).all()
    columns = [name for name in one.columns if name != "geometry"]
    assert one[columns].equals(other[columns])


def test_the_script_makes_the_files_that_are_here(script, tmp_path):
    script.main(tmp_path)
    assert sorted(fiona.listlayers(tmp_path / "site.gpkg")) == sorted(
        fiona.listlayers(FOLDER / "site.gpkg")
    )
    for name in script.LAYERS:
        same(
            gpd.read_file(tmp_path / "site.gpkg", layer=name),
            gpd.read_file(FOLDER / "site.gpkg", layer=name),
            MILLIMETRE,
        )
    made, kept = (gpd.read_file(folder / "windows.geojson") for folder in (tmp_path, FOLDER))
    same(made.to_crs(script.CRS), kept.to_crs(script.CRS), MILLIMETRE)
    with (
        rasterio.open(tmp_path / "ground.tif") as made,
        rasterio.open(FOLDER / "ground.tif") as kept,
    ):
        assert made.bounds == kept.bounds
        assert made.crs == kept.crs
        assert np.abs(made.read(1) - kept.read(1)).max() < CENTIMETRE


def test_files_are_small_and_the_geopackage_is_of_version_1_3():
    files = [FOLDER / name for name in ("site.gpkg", "windows.geojson", "ground.tif")]
    assert sum(file.stat().st_size for file in files) < 300_000
    with sqlite3.connect(FOLDER / "site.gpkg") as base:
        # The GeoPackage standard, 1.3: user_version is 10300.
        assert base.execute("pragma user_version").fetchone() == (10300,)
    base.close()


def test_layers_hold_their_contracts(layers):
    for name, layer in layers.items():
        contract = INPUTS[name]
        known = {column.name for column in contract.columns}
        assert set(layer.columns) - {"geometry"} <= known
        assert set(contract.required) <= set(layer.columns)
        assert set(layer.geom_type) <= set(contract.geometry)
        assert layer.geometry.is_valid.all()


def test_nothing_real_is_there(layers):
    """The open Atlantic, more than a thousand kilometres from any continent."""
    west, south, east, north = layers["parcels"].to_crs(4326).total_bounds
    assert -34 < west < east < -33
    assert 45 < south < north < 46


def test_sides_and_neighbours(sides):
    # By hand, from the drawing: 36 m by 48 m; the front is an arc of 1.2 m sag, 36.107 m long.
    assert sides["across"].to_dict() == {
        "north": "HC-2", "west": "LR-5", "south": "Larkspur Rise", "east": "LR-9",
    }  # fmt: skip
    lengths = {"north": 36.0, "west": 48.0, "south": 36.107, "east": 48.0}
    for side, length in lengths.items():
        assert sides["length_m"][side] == pytest.approx(length, abs=0.01)


def test_slope_over_the_lot(script):
    def height(x, y):
        east, north = script.to_grid(shapely.Point(x, y)).coords[0]
        with rasterio.open(FOLDER / "ground.tif") as ground:
            return next(ground.sample([(east, north)]))[0]

    for x in (2.0, 18.0, 34.0):
        slope = (height(x, 46.0) - height(x, 2.0)) / 44.0
        assert 0.08 <= slope <= 0.125
    # The lower window of house 2 looks over the swell: for a seated pair of eyes (1.2 m above the
    # floor and above the terrace) the straight line runs below the ground at the swell's crest.
    floor = float(script.ground(10.0, 61.0)) + 0.1
    eye, goal = floor + 1.2, float(script.ground(15.0, 24.0)) + 1.2
    crest = 47.0
    line = goal + (eye - goal) * (crest - 24.0) / (58.0 - 24.0)
    assert line < float(script.ground(13.0, crest))
    # For a standing one (1.6 m) above the terrace's standing ones it runs above it.
    assert line + 0.4 > float(script.ground(13.0, crest))


def test_windows_and_places_are_usable_as_they_are(layers, script):
    class Ground:
        def height_at(self, x, y):
            return script.ground(*script.to_scene(x, y))

    found = examine_windows(layers["parcels"], layers["buildings"], layers["windows"], Ground())
    assert found.notes == ()
    assert len(found.layer) == 8
    assert set(found.layer["building_id"]) == {"house-2", "house-9", "wing-9", "house-5"}
    assert set(found.layer["storey"]) == {0, 1}
    # Given points lie on their walls to the millimetre at which they are written.
    moved = shapely.distance(found.layer.geometry.to_numpy(), layers["windows"].geometry.to_numpy())
    assert moved.max() < 2 * MILLIMETRE
    places = lay_places(layers["parcels"], layers["buildings"], None, layers["private_places"])
    assert set(places["place_id"]) == {"terrace", "bench", "kitchen-garden"}
    assert notes_on_places(layers["parcels"], layers["buildings"], layers["private_places"]) == ()


def test_derived_windows_and_place(layers):
    found = examine_windows(layers["parcels"], layers["buildings"])
    assert {"house-2", "house-9", "house-5"} <= set(found.layer["building_id"])
    place = lay_places(layers["parcels"], layers["buildings"], layers["roads"])
    terrace = one(layers["private_places"], "place_id", "terrace")
    # By hand: the terrace is on the garden side, away from the road.
    assert shapely.intersection(place.geometry.iloc[0], terrace).area > 0.8 * terrace.area


def test_one_view_is_closed_by_the_shed(layers):
    window = one(layers["windows"], "window_id", "9-wing")
    bench = one(layers["private_places"], "place_id", "bench")
    shed = one(layers["buildings"], "building_id", "shed-7")
    assert shapely.LineString([window, bench]).crosses(shed)


def test_one_view_goes_through_the_gate(layers, sides):
    gate = one(layers["keep_outs"], "keep_out_id", "gate")
    assert shapely.distance(gate, sides.loc["east"].geometry) < 2 * MILLIMETRE
    window = one(layers["windows"], "window_id", "9-low-gate")
    terrace = one(layers["private_places"], "place_id", "terrace")
    look = shapely.LineString([window, terrace.centroid])
    assert shapely.distance(shapely.intersection(look, sides.loc["east"].geometry), gate) < 0.5


def test_lines_tree_and_wall_are_where_they_matter(layers, sides):
    main = one(layers["utilities"], "utility_id", "main-1")
    assert main.crosses(sides.loc["north"].geometry)
    wire = one(layers["utilities"], "utility_id", "wire-2")
    assert shapely.dwithin(wire, sides.loc["east"].geometry, 1.0)
    tree = layers["existing_screens"].set_index("screen_id").loc["tree-1"]
    away = shapely.distance(tree.geometry, sides.loc["north"].geometry)
    # A row half of red cedar's greatest spread, 20 ft, and the line's 0.3 m off runs through its root zone.
    assert abs(away - (3.05 + 0.3)) < tree["root_zone_m"]
    wall = one(layers["existing_screens"], "screen_id", "wall-1")
    assert shapely.distance(wall, sides.loc["west"].geometry) < 0.5
