"""Reference systems that a plan states for its layers: by code, by WKT, as another layer's."""

import json
import re

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely
from affine import Affine
from click.testing import CliRunner
from pyproj import CRS
from reading_kit import read_frames, read_site
from site_layers import BUILDING_COLUMNS, EAST, NORTH, UTM, buildings, parcels, write

from screenplan.commandline.main import main
from screenplan.ground import frame as frame_module
from screenplan.ground.datum import knows_place
from screenplan.ground.errors import InputError, refuse
from screenplan.ground.frame import LocalFrame
from screenplan.running.pipeline import run_plan
from screenplan.site.reading import LayerSource, TerrainSource

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


# ---- a datum that nobody knows ---------------------------------------------------------------------

#: A map whose datum is called unknown, and a site grid in feet.
ODD = CRS("+proj=tmerc +lon_0=9 +k=0.9996 +x_0=500000 +ellps=GRS80 +units=m")
GRID = CRS.from_wkt(
    'LOCAL_CS["site grid",UNIT["US survey foot",0.304800609601219],AXIS["E",EAST],AXIS["N",NORTH]]'
)
#: Metres of `UTM` in a unit of each, and metres of tape in one of those.
UNITS = {
    "a datum called unknown": (ODD, 1.0, 1.0 / 0.9996),
    "a site grid in feet": (GRID, 0.304800609601219, 1.0),
}
#: The map's scale changes by less than this over the site.
SCALE_TOLERANCE = 1e-6


def in_plane(layer, crs, unit):
    """A layer of `UTM`, its numbers taken for those of another system."""
    shapes = shapely.transform(layer.geometry.to_numpy(), lambda xy: xy / unit)
    return layer.set_geometry(gpd.GeoSeries(shapes, index=layer.index, crs=crs), crs=crs)


@pytest.mark.parametrize(("crs", "unit", "tape"), UNITS.values(), ids=list(UNITS))
def test_an_unknown_datum_that_all_layers_share_is_read_in_its_own_plane(crs, unit, tape):
    # Evidence: closed form; a lot of 40 by 40 m of the map, whose scale is 0.9996 or not known.
    assert not knows_place(crs)
    houses = buildings().assign(HT=[6.0, 5.0, 4.0])
    site = read_frames(
        {"parcels": in_plane(parcels(), crs, unit), "buildings": in_plane(houses, crs, unit)},
        columns={"parcels": PIN, "buildings": BUILDING_COLUMNS},
        units={"buildings": {"height_m": "m"}},
        subject_id="A-2",
    )
    assert site.subject.area == pytest.approx((40.0 * tape) ** 2, rel=2 * SCALE_TOLERANCE)
    assert site.layers["buildings"].geometry.area.tolist() == pytest.approx(
        [100.0 * tape**2, 170.0 * tape**2], rel=2 * SCALE_TOLERANCE
    )
    assert not site.frame.is_placed
    # An ellipsoid is enough for the sun, a site grid is not.
    assert (site.frame.position_deg is None) == crs.is_engineering
    said = (
        f"Nobody knows how the CRS '{crs.name}' lies on the earth: all layers are read in it alone"
    )
    assert any(said in note for note in site.warnings)
    # Back to the last digit of a millimetre, by the record too.
    for frame in (site.frame, LocalFrame.from_dict(json.loads(json.dumps(site.frame.to_dict())))):
        back = frame.send_out(site.layers["parcels"], frame.source_crs)
        assert back.crs == crs
        drawn = in_plane(parcels().iloc[:3], crs, unit).geometry
        assert shapely.hausdorff_distance(back.geometry.to_numpy(), drawn.to_numpy()).max() < 1e-6
        again = frame.bring_in(back).geometry.to_numpy()
        assert (
            shapely.hausdorff_distance(again, site.layers["parcels"].geometry.to_numpy()).max()
            < 1e-6
        )
        with pytest.raises(InputError, match="It is not known where on earth the site lies"):
            frame.send_out(back, "EPSG:4326")


def test_layers_in_the_frame_itself_stay_there():
    lots = in_plane(parcels(), *UNITS["a site grid in feet"][:2])
    frame = read_frames({"parcels": lots}, columns={"parcels": PIN}, subject_id="A-2").frame
    again = read_frames(
        {"parcels": frame.bring_in(lots)}, columns={"parcels": PIN}, subject_id="A-2", frame=frame
    )
    assert again.subject.bounds == pytest.approx((-20.0, -20.0, 20.0, 20.0), abs=1e-6)
    assert again.layers["parcels"]["parcel_id"].tolist() == ["A-1", "A-2", "A-3"]


def test_an_unknown_datum_beside_a_known_one_is_refused_and_the_remedies_hold(tmp_path):
    lots = write(parcels(), tmp_path / "lots.gpkg")
    odd = in_plane(buildings(), ODD, 1.0)
    houses = write(odd, tmp_path / "houses.shp", engine="fiona", driver="ESRI Shapefile")
    named = {
        "parcels": LayerSource(lots, columns=PIN),
        "buildings": LayerSource(houses, columns=BUILDING_COLUMNS),
    }
    said = r"houses\.shp.*The datum of the CRS '.*' is not known, so nobody can tell how 'WGS 84 / UTM zone 32N' lies to it\. "
    with pytest.raises(InputError, match=said + r"State the CRS .* \"as parcels\""):
        read(named)
    right = read_frames(
        {"parcels": parcels(), "buildings": buildings()},
        columns={"parcels": PIN, "buildings": BUILDING_COLUMNS}, subject_id="A-2",
    )  # fmt: skip
    for text in (UTM, "as parcels"):
        named["buildings"] = LayerSource(houses, columns=BUILDING_COLUMNS, crs=text)
        assert read(named).layers["buildings"].geometry.area.tolist() == pytest.approx(
            right.layers["buildings"].geometry.area.tolist(), rel=1e-9
        )


def test_no_refusal_about_an_unknown_datum_sends_a_person_round_in_a_circle(tmp_path):
    twice = in_plane(parcels().assign(PIN=["A", "A", "B", "C"]), ODD, 1.0)
    by_id = {"columns": {"parcels": PIN}, "subject_id": "A"}
    with pytest.raises(
        InputError, match=r"stands for 2 parcels.*Give each parcel an id of its own"
    ):
        read_frames({"parcels": twice}, **by_id)
    with pytest.raises(
        InputError, match=r"no place on earth can be found in it\. Choose the parcel by its id"
    ):
        read_frames({"parcels": twice}, columns={"parcels": PIN}, subject_point=(9.0, 50.0))
    assert (
        read_frames({"parcels": twice}, columns={"parcels": PIN}, subject_id="B").subject_id == "B"
    )


@pytest.mark.parametrize("crs", [ODD, GRID], ids=["a datum called unknown", "a site grid"])
def test_a_plan_of_an_unknown_datum_is_planned_without_places_on_earth(tmp_path, crs):
    unit = crs.axis_info[0].unit_conversion_factor
    lots = in_plane(parcels(), crs, unit)
    write(lots, tmp_path / "lots.shp", engine="fiona", driver="ESRI Shapefile")
    plan = tmp_path / "plan.toml"
    plan.write_text(
        '[subject]\nid = "A-2"\n[layers.parcels]\nfile = "lots.shp"\ncolumns = { parcel_id = "PIN" }\n'
        '[rows]\nalong = ["north"]\n',
        encoding="utf-8",
    )
    assert call("check", plan).exit_code == 0
    result = call("run", plan)
    assert result.exit_code in (0, 1), result.output
    assert result.exception is None or isinstance(result.exception, SystemExit)
    out = tmp_path / "plan_plan"
    said = " ".join(call("sides", plan).stdout.split())
    assert f"Bearings are {'from up in the drawing' if crs is GRID else 'true'}." in said
    assert not list(out.rglob("*.geojson")) + list(out.rglob("*.gpx")) + list(out.rglob("*.kml"))
    plants = gpd.read_file(out / "plan.gpkg", layer="plants", engine="fiona")
    # They stand on the lot as it is drawn: A-2 spans 40 m about the middle.
    west, south, east, north = plants.total_bounds * unit - [EAST, NORTH, EAST, NORTH]
    assert -20 < west < east < 20
    assert 0 < south <= north < 20


def test_a_run_that_could_write_no_positions_is_refused_before_it_computes(monkeypatch, tmp_path):
    # A datum whose only way to WGS 84 needs a grid that is not on this machine.
    write(parcels(), tmp_path / "lots.gpkg")
    content = {
        "subject": {"id": "A-2"},
        "layers": {"parcels": {"file": "lots.gpkg", "columns": PIN}},
        "rows": {"along": ["north"]},
    }
    found = frame_module.find_transformation

    def without_grid(source, target, **options):
        if source.equals(CRS("EPSG:4326")):
            raise refuse("No transformation can be used: it needs the grid x.tif", "Fetch the grid")
        return found(source, target, **options)

    monkeypatch.setattr(frame_module, "find_transformation", without_grid)
    done = []
    with pytest.raises(
        InputError,
        match=r"Positions for a receiver and for GeoJSON cannot be computed: no tr.*\. State the CRS.*or save the parcels",
    ):
        run_plan(content, tmp_path, progress=lambda name, *_: done.append(name))
    assert done == ["reading"]


# ---- NAD83 and WGS 84 -------------------------------------------------------------------------------


def everyday(folder):
    """Lots in a state's plane on NAD83, and footprints in longitude and latitude on WGS 84."""
    lots = gpd.GeoDataFrame(
        {"APN": ["1-1", "1-2"]},
        geometry=[shapely.box(x, 900_000, x + 30, 900_040) for x in (230_000, 230_030)],
        crs="EPSG:26986",
    )
    lots.to_file(folder / "lots.gpkg", engine="fiona")
    houses = gpd.GeoDataFrame(
        {"height": [6.0]}, geometry=[shapely.box(230_040, 900_015, 230_050, 900_025)], crs=26986
    )
    # Evidence of what is written: NAD83 and WGS 84 are taken as one, as EPSG transformation 1188 does.
    houses.to_crs(4269).set_crs(4326, allow_override=True).to_file(
        folder / "houses.geojson", engine="fiona"
    )
    plan = folder / "hedge.toml"
    given = ("--layer", f"parcels={folder / 'lots.gpkg'}", "--id", "1-1", "--id-column", "APN")
    return plan, call("start", plan, *given, "--layer", f"buildings={folder / 'houses.geojson'}")


def test_parcels_on_nad83_and_footprints_on_wgs84_end_in_a_plan_with_the_error_told(tmp_path):
    plan, started = everyday(tmp_path)
    assert started.exit_code == 0, started.output
    checked = call("check", plan)
    assert checked.exit_code == 0, checked.output
    told = " ".join(checked.stdout.split())
    assert "was brought from 'WGS 84' to 'NAD83 / Massachusetts Mainland', good to 4 m" in told
    # Evidence: invariant; the house stands where it was drawn.
    sides = json.loads(call("sides", plan, "--json").stdout)
    assert sorted(side["length_m"] for side in sides) == pytest.approx([30, 30, 40, 40], abs=0.01)


@pytest.mark.parametrize("asked", ['site.boundary_accuracy="0.1 m"', 'site.datum_tolerance="2 m"'])
def test_surveyed_accuracy_is_asked_for_by_a_setting_and_the_remedy_holds(tmp_path, asked):
    plan, _ = everyday(tmp_path)
    refused = call("check", plan, "--set", asked)
    assert refused.exit_code == 2
    said = " ".join(refused.stderr.split())
    assert (
        "is good to 4 m only, the tolerance is 2 m; the grid us_noaa_nehpgn.tif, good to 2 m"
        in said
    )
    assert "pyproj sync --file us_noaa_nehpgn.tif" in said
    remedy = re.search(r"Go on by (\S+ m\")", said)[1]
    assert call("check", plan, "--set", asked, "--set", remedy).exit_code == 0
