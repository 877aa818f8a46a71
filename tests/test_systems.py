"""Reference systems that a plan states for its layers: by code, by WKT, as another layer's."""

import json

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine
from click.testing import CliRunner
from pyproj import CRS
from site_layers import BUILDING_COLUMNS, EAST, NORTH, UTM, buildings, parcels, write

from screenplan.cli import main
from screenplan.errors import InputError
from screenplan.site.reading import LayerSource, TerrainSource, read_site

PIN = {"parcel_id": "PIN"}
#: What a text may say of `UTM`.
STATED = {
    "code": UTM,
    "WKT": CRS(UTM).to_wkt(),
    "WKT of its own": CRS(UTM).to_wkt("WKT1_ESRI"),
    "with room": f"  {UTM} ",
}


def call(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def lots_without(folder, crs=None):
    """The lots in a file that states no system, or a wrong one."""
    lots = parcels().set_crs(crs, allow_override=True)
    return write(lots, folder / "lots.shp", engine="fiona", driver="ESRI Shapefile")


def outlines(site):
    return shapely.to_wkb(site.layers["parcels"].geometry.to_numpy()).tolist()


@pytest.fixture
def expected(tmp_path):
    file = write(parcels(), tmp_path / "right.gpkg")
    return outlines(read_site({"parcels": LayerSource(file, columns=PIN)}, subject_id="A-2"))


def read(sources, **options):
    return read_site(sources, subject_id="A-2", **options)


@pytest.mark.parametrize("text", STATED.values(), ids=list(STATED))
def test_a_layer_without_a_system_is_read_in_the_one_that_is_stated(tmp_path, expected, text):
    # Evidence: invariant; the same lots, whose file states their system.
    file = lots_without(tmp_path)
    refusal = r"lots\.shp.*key layers\.parcels\.crs: The layer has no CRS\. State the CRS in which"
    with pytest.raises(InputError, match=refusal):
        read({"parcels": LayerSource(file, columns=PIN)})
    site = read({"parcels": LayerSource(file, columns=PIN, crs=text)})
    assert outlines(site) == expected
    assert site.inputs[0]["crs"] in (UTM, CRS(text.strip()).name)
    assert not any("as the plan says" in note for note in site.warnings)


def test_a_system_that_a_file_states_wrongly_is_replaced_with_a_word(tmp_path, expected):
    file = lots_without(tmp_path, "EPSG:4326")
    refusal = r"key layers\.parcels\.crs: Coordinates such as .* they look like metres or feet, not degrees"
    with pytest.raises(InputError, match=refusal):
        read({"parcels": LayerSource(file, columns=PIN)})
    site = read({"parcels": LayerSource(file, columns=PIN, crs=UTM)})
    assert outlines(site) == expected
    assert (
        "The layer of parcels is read in the CRS 'WGS 84 / UTM zone 32N', as the plan says; its file "
        "states 'WGS 84'." in site.warnings
    )


def test_a_layer_may_be_in_the_system_of_another_one(tmp_path):
    lots = LayerSource(lots_without(tmp_path), columns=PIN, crs=UTM)
    bare = buildings().set_crs(None, allow_override=True)
    file = write(bare, tmp_path / "houses.shp", engine="fiona", driver="ESRI Shapefile")
    layers = {
        "parcels": lots,
        "buildings": LayerSource(file, columns=BUILDING_COLUMNS, crs="as parcels"),
    }
    site = read(layers)
    assert site.layers["buildings"].geometry.area.tolist() == pytest.approx(
        [100.0, 170.0], rel=1e-3
    )
    # Of a layer whose file states its own, too, and along a chain.
    layers["parcels"] = LayerSource(write(parcels(), tmp_path / "own.gpkg"), columns=PIN)
    way = gpd.GeoDataFrame(geometry=[shapely.LineString([(EAST, NORTH), (EAST + 9, NORTH)])])
    file = write(way, tmp_path / "roads.shp", engine="fiona", driver="ESRI Shapefile")
    layers["roads"] = LayerSource(file, crs="as buildings")
    assert read(layers).layers["roads"].geometry.length.tolist() == pytest.approx([9.0], rel=1e-3)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "EPSG:none",
            r"'EPSG:none' is not a CRS\. Write a code such as \"EPSG:2249\", WKT, or \"as parcels\"",
        ),
        (
            "as gardens",
            r"'as gardens' names no other layer.*another layer of the plan \(buildings\)",
        ),
        ("as parcels", "'as parcels' names no other layer"),
        ("as buildings", "'as parcels' names no other layer"),
    ],
)
def test_a_text_that_names_no_system_is_refused(tmp_path, text, said):
    lots = LayerSource(lots_without(tmp_path), columns=PIN, crs=text)
    houses = write(buildings(), tmp_path / "houses.gpkg")
    layers = {
        "parcels": lots,
        "buildings": LayerSource(houses, columns=BUILDING_COLUMNS, crs="as parcels"),
    }
    with pytest.raises(InputError, match=rf"key layers\.(parcels|buildings)\.crs: {said}"):
        read(layers)


def test_a_raster_without_a_system_is_read_in_the_one_that_is_stated(tmp_path):
    file = tmp_path / "ground.tif"
    profile = {"driver": "GTiff", "height": 200, "width": 200, "count": 1, "dtype": "float32"}
    place = Affine(4.0, 0.0, EAST - 400.0, 0.0, -4.0, NORTH + 400.0)
    with rasterio.open(file, "w", transform=place, **profile) as raster:
        raster.write(np.full((200, 200), 7.0, np.float32), 1)
    lots = {"parcels": LayerSource(write(parcels(), tmp_path / "own.gpkg"), columns=PIN)}
    refusal = r"ground\.tif, key terrain\.crs: The raster has no CRS\. State it, or save"
    with pytest.raises(InputError, match=refusal):
        read(lots, terrain=TerrainSource(file))
    for text in (UTM, "as parcels"):
        assert read(lots, terrain=TerrainSource(file, crs=text)).terrain.z[0, 0] == 7.0
    with pytest.raises(InputError, match=r"key terrain\.crs: 'as roads' names no other layer"):
        read(lots, terrain=TerrainSource(file, crs="as roads"))


def test_start_and_sides_take_the_system_and_the_column_of_ids(tmp_path):
    file = lots_without(tmp_path)
    plan = tmp_path / "hedge.toml"
    refused = call("sides", file, "--id", "A-2", "--id-column", "PIN")
    assert refused.exit_code == 2
    assert "The layer has no CRS. State the CRS in which its coordinates are" in refused.stderr
    sides = call("sides", file, "--id", "A-2", "--id-column", "PIN", "--crs", UTM, "--json")
    assert sides.exit_code == 0, sides.output
    started = call("start", plan, "--layer", f"parcels={file}", "--id", "A-2", "--id-column", "PIN")
    assert started.exit_code == 2
    assert "key layers.parcels.crs: The layer has no CRS" in started.stderr
    given = ("--crs", f"parcels={UTM}", "--id", "A-2", "--id-column", "PIN", "--force")
    started = call("start", plan, "--layer", f"parcels={file}", *given)
    assert started.exit_code == 0, started.output
    text = plan.read_text(encoding="utf-8")
    assert f'crs = "{UTM}"\n' in text
    assert 'columns = { "parcel_id" = "PIN" }\n' in text
    assert call("check", plan).exit_code == 0
    assert json.loads(call("sides", plan, "--json").stdout) == json.loads(sides.stdout)


def test_sides_of_a_plan_take_them_too(tmp_path):
    lots_without(tmp_path)
    plan = tmp_path / "bare.toml"
    plan.write_text('[layers.parcels]\nfile = "lots.shp"\n', encoding="utf-8")
    said = call("sides", plan, "--id", "A-2", "--id-column", "PIN", "--crs", UTM, "--json")
    assert said.exit_code == 0, said.output
    assert len(json.loads(said.stdout)) == 4


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--crs", "roads=EPSG:2249"), "--crs roads=EPSG:2249 names no layer that is given. Write NAME=CRS, NAME one of parcels"),
        (("--crs", "EPSG:2249"), "--crs EPSG:2249 names no layer that is given"),
        (("--id-column", "APN"), "key --id-column: the parcels have no column 'APN'. Name one of PIN"),
    ],
)  # fmt: skip
def test_start_refuses_a_system_or_a_column_that_is_none(tmp_path, arguments, said):
    file = write(parcels(), tmp_path / "lots.gpkg")
    plan = tmp_path / "hedge.toml"
    result = call("start", plan, "--layer", f"parcels={file}", "--id", "A-2", *arguments)
    assert result.exit_code == 2
    assert said in result.stderr
    assert not plan.exists()
