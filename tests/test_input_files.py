"""Input files: read where they lie, by themselves alone, and left as they were."""

import contextlib
import hashlib
import json
import shutil
import socket
import sqlite3
import zipfile
from dataclasses import replace

import fiona
import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely
from rasterio.shutil import copy as copy_raster
from reading_kit import read_site
from site_layers import EAST, NORTH, UTM, parcels, write
from test_dxf import LOT, write_dxf
from test_openstreetmap import SUBURB, extract
from test_point_lists import write_list

from screenplan.ground.errors import InputError
from screenplan.site import copies, pointers
from screenplan.site import sources as sources_module
from screenplan.site.database import has_index
from screenplan.site.loose import column_names, read_table, read_track
from screenplan.site.opening import open_layer
from screenplan.site.reading import LayerSource, TerrainSource

PIN = {"parcel_id": "PIN"}


def fingerprint(folder):
    """Hash and time of every file in a folder."""
    return {
        path.relative_to(folder).as_posix(): (
            hashlib.sha256(path.read_bytes()).hexdigest(),
            path.stat().st_mtime_ns,
        )
        for path in folder.rglob("*")
        if path.is_file()
    }


@contextlib.contextmanager
def left_alone(folder):
    before = fingerprint(folder)
    yield
    assert fingerprint(folder) == before


def read(path, layer=None, **options):
    options = {"subject_id": "A-2", **options}
    return read_site({"parcels": LayerSource(path, layer, PIN)}, **options)


def degrees():
    return parcels().to_crs(4326)


def edit(path, **options):
    """Open a package as another program does; its triggers ask for functions of geometries."""
    base = sqlite3.connect(path, **options)
    for name in ("ST_IsEmpty", "ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY"):
        base.create_function(name, 1, lambda _: 0)
    return base


def zipped(path, *parts):
    with zipfile.ZipFile(path, "w") as packed:
        for part in parts:
            packed.write(part, part.name)
    for part in parts:
        part.unlink()
    return path


# ---- nothing is changed ------------------------------------------------------------------------

VECTOR = {
    "lots.gpkg": parcels,
    "lots.shp": parcels,
    "lots.fgb": parcels,
    "lots.geojson": degrees,
    "lots.geojsonl": degrees,
    "lots.gml": parcels,
    "lots.tab": parcels,
    "lots.gdb": parcels,
    "lots.sqlite": parcels,
}
DRIVERS = {".geojsonl": "GeoJSONSeq", ".gml": "GML", ".tab": "MapInfo File", ".sqlite": "SQLite"}


def make(name, folder):
    path = folder / name
    options = {"driver": DRIVERS[path.suffix]} if path.suffix in DRIVERS else {}
    if name == "lots.sqlite":
        options["LAUNDER"] = "NO"  # or the columns' names are turned into small letters
    VECTOR[name]().to_file(path, engine="pyogrio", **options)
    for made_beside in folder.glob("*.gfs"):
        made_beside.unlink()
    return path


@pytest.mark.parametrize("name", VECTOR)
@pytest.mark.parametrize("is_zipped", [False, True])
def test_a_layer_file_is_left_as_it_was(tmp_path, name, is_zipped):
    # Evidence: invariant, the hashes and the list of files before and after.
    path = make(name, tmp_path)
    if is_zipped:
        if path.is_dir():
            shutil.make_archive(str(tmp_path / "lots"), "zip", tmp_path, "lots.gdb")
            shutil.rmtree(path)
            path = tmp_path / "lots.zip"
        else:
            path = zipped(tmp_path / "lots.zip", *tmp_path.glob("lots.*"))
    with left_alone(tmp_path):
        site = read(path)
        table = read_table(path)
        names = column_names(path)
    assert site.layers["parcels"]["parcel_id"].tolist() == ["A-1", "A-2", "A-3"]
    assert len(table) == 4
    assert "PIN" in names


TRACK = (
    '<?xml version="1.0"?><gpx version="1.1" creator="by hand" xmlns="http://www.topografix.com/GPX/1/1">'
    '<trk><trkseg><trkpt lat="50.0" lon="9.0"/><trkpt lat="50.001" lon="9.0"/></trkseg></trk></gpx>'
)
DRAWING = (
    '<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark><name>A-2</name>'
    "<Polygon><outerBoundaryIs><LinearRing><coordinates>9,50 9.0004,50 9.0004,50.0003 9,50.0003 9,50"
    "</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark></Document></kml>"
)


def test_a_track_and_a_drawing_are_left_as_they_were(tmp_path):
    (tmp_path / "walk.gpx").write_text(TRACK)
    (tmp_path / "lot.kml").write_text(DRAWING)
    with left_alone(tmp_path):
        assert len(read_track(tmp_path / "walk.gpx")) == 1
        site = read_site(
            {"parcels": LayerSource(tmp_path / "lot.kml", columns={"parcel_id": "Name"})}
        )
    assert site.subject_id == "A-2"


def test_an_extract_columns_a_drawing_and_a_list_are_left_as_they_were(tmp_path):
    # Evidence: invariant, the hashes and the list of files before and after.
    parcels().to_parquet(tmp_path / "lots.parquet")
    extract(tmp_path / "suburb.osm", *SUBURB)
    write_dxf(tmp_path / "lot.dxf", LOT)
    write_list(tmp_path / "points.txt")
    sources = {
        "parcels": LayerSource(tmp_path / "lots.parquet", columns=PIN),
        "roads": LayerSource(tmp_path / "suburb.osm"),
        "keep_outs": LayerSource(tmp_path / "lot.dxf", crs="as parcels", fixed={"kind": "path"}),
        "marks": LayerSource(tmp_path / "points.txt", crs="as parcels"),
    }
    with left_alone(tmp_path):
        site = read_site(sources, subject_id="A-2")
    assert {name: len(layer) for name, layer in site.layers.items()} == {
        "parcels": 3, "roads": 1, "keep_outs": 1, "marks": 3
    }  # fmt: skip


def write_ground(path, driver, crs=UTM):
    cells = np.add.outer(np.arange(80), np.arange(80)).astype("int16")
    transform = rasterio.Affine(10.0, 0.0, EAST - 400.0, 0.0, -10.0, NORTH + 400.0)
    with rasterio.open(
        path, "w", driver=driver, width=80, height=80, count=1, dtype="int16", crs=crs,
        transform=transform,
    ) as raster:  # fmt: skip
        raster.write(cells, 1)


@pytest.mark.parametrize(
    ("name", "driver"),
    [("g.tif", "GTiff"), ("g.img", "HFA"), ("g.bil", "EHdr"), ("g.asc", "AAIGrid")],
)
def test_a_raster_is_left_as_it_was(tmp_path, name, driver):
    if driver == "AAIGrid":
        write_ground(tmp_path / "whole.tif", "GTiff")
        copy_raster(tmp_path / "whole.tif", tmp_path / name, driver=driver)
        (tmp_path / "whole.tif").unlink()
    else:
        write_ground(tmp_path / name, driver)
    write(parcels(), tmp_path / "lots.gpkg")
    with left_alone(tmp_path):
        site = read(tmp_path / "lots.gpkg", terrain=TerrainSource(tmp_path / name, "m"))
    assert not site.terrain.is_flat


def write_ahead(path):
    """A package in which the last change, a new name, is in the log beside it only."""
    write(parcels(), path)
    base = edit(path)
    base.execute("PRAGMA journal_mode = WAL")
    base.execute("PRAGMA wal_autocheckpoint = 0")
    base.execute("UPDATE lots SET PIN = 'A-2 new' WHERE PIN = 'A-2'")
    base.commit()
    return base


@pytest.mark.parametrize("is_open", [True, False])
def test_a_package_with_a_log_is_read_to_its_last_state_and_left_alone(tmp_path, is_open):
    (tmp_path / "away").mkdir()
    base = write_ahead(tmp_path / "away" / "lots.gpkg")
    folder = tmp_path / "away"
    if not is_open:
        # As after a crash, or when the files are copied while another program holds them.
        folder = tmp_path / "copied"
        folder.mkdir()
        for part in (tmp_path / "away").iterdir():
            if not part.name.endswith("-shm"):
                shutil.copy(part, folder / part.name)
    path = folder / "lots.gpkg"
    assert (folder / "lots.gpkg-wal").stat().st_size
    with left_alone(folder):
        site = read(path, subject_id="A-2 new")
        assert "A-2 new" in read_table(path)["PIN"].tolist()
    assert site.subject_id == "A-2 new"
    # The log is part of what was read.
    (entry,) = site.inputs
    log = hashlib.sha256((folder / "lots.gpkg-wal").read_bytes()).hexdigest()
    assert entry["sidecars"] == {"lots.gpkg-wal": log}
    base.close()


def test_a_package_that_is_kept_with_a_log_and_has_none_now(tmp_path):
    base = write_ahead(tmp_path / "lots.gpkg")
    base.close()  # what is in the log goes into the file, and the log is deleted
    assert (tmp_path / "lots.gpkg").read_bytes()[18:20] == b"\x02\x02"
    with left_alone(tmp_path):
        assert read(tmp_path / "lots.gpkg", subject_id="A-2 new").subject_id == "A-2 new"


def test_what_a_killed_program_left_half_done_is_taken_back_in_a_copy(tmp_path):
    # A journal holds the pages as they were before a change that was never finished.
    (tmp_path / "away").mkdir()
    away = write(parcels(), tmp_path / "away" / "lots.gpkg")
    base = edit(away, isolation_level=None)
    base.execute("PRAGMA cache_size = 1")
    base.execute("BEGIN IMMEDIATE")
    base.execute("UPDATE lots SET PIN = 'half ' || PIN")
    base.execute("CREATE TABLE filler AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 3000) SELECT i, hex(randomblob(200)) AS text FROM n")  # fmt: skip
    folder = tmp_path / "killed"
    folder.mkdir()
    for part in (tmp_path / "away").iterdir():
        shutil.copy(part, folder / part.name)
    base.execute("ROLLBACK")
    base.close()
    assert (folder / "lots.gpkg-journal").stat().st_size
    with left_alone(folder):
        assert read(folder / "lots.gpkg").subject_id == "A-2"


def test_copies_are_deleted(tmp_path, monkeypatch):
    ours = tmp_path / "ours"
    ours.mkdir()
    monkeypatch.setattr(copies.tempfile, "tempdir", str(ours))
    make("lots.shp", tmp_path)
    path = zipped(tmp_path / "lots.zip", *tmp_path.glob("lots.*"))
    read(path)
    with pytest.raises(InputError, match="There is no layer"):
        read(path, "none")
    assert list(ours.iterdir()) == []


# ---- nothing else is read ----------------------------------------------------------------------


@pytest.fixture
def ear(monkeypatch):
    """A port on this machine, and what has called it so far."""
    # A caller gets no answer; it must not wait for one for long.
    monkeypatch.setenv("GDAL_HTTP_TIMEOUT", "2")
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.setblocking(False)

        def calls():
            heard = []
            with contextlib.suppress(BlockingIOError):
                while True:
                    call, _ = server.accept()
                    with call:
                        heard.append(call.recv(200))
            return heard

        yield f"127.0.0.1:{server.getsockname()[1]}", calls


VIRTUAL = (
    '<OGRVRTDataSource><OGRVRTLayer name="lots"><SrcDataSource>{target}</SrcDataSource>'
    "<SrcLayer>lots</SrcLayer></OGRVRTLayer></OGRVRTDataSource>"
)
WMS = (
    '<GDAL_WMS><Service name="WMS"><Version>1.1.1</Version><ServerUrl>http://{ear}/wms?</ServerUrl>'
    "<Layers>a</Layers></Service><DataWindow><UpperLeftX>0</UpperLeftX><UpperLeftY>1</UpperLeftY>"
    "<LowerRightX>1</LowerRightX><LowerRightY>0</LowerRightY><SizeX>10</SizeX><SizeY>10</SizeY></DataWindow>"
    "</GDAL_WMS>"
)
WFS = "<OGRWFSDataSource><URL>http://{ear}/wfs?SERVICE=WFS</URL></OGRWFSDataSource>"
CAPABILITIES = (
    '<?xml version="1.0"?><!-- a note --><WMS_Capabilities version="1.3.0"><Capability><Request><GetMap>'
    '<DCPType><HTTP><Get><OnlineResource href="http://{ear}/"/></Get></HTTP></DCPType></GetMap></Request>'
    "</Capability></WMS_Capabilities>"
)
TILES = (
    "<GDAL_WMTS><GetCapabilitiesUrl>http://{ear}/wmts?SERVICE=WMTS</GetCapabilitiesUrl></GDAL_WMTS>"
)
MOSAIC = (
    '<VRTDataset rasterXSize="10" rasterYSize="10"><VRTRasterBand dataType="Byte" band="1"><SimpleSource>'
    "<SourceFilename>{target}</SourceFilename><SourceBand>1</SourceBand></SimpleSource></VRTRasterBand></VRTDataset>"
)


def linked(crs):
    lot = parcels().to_crs(4326).geometry.iloc[1].__geo_interface__
    return {
        "type": "FeatureCollection",
        "crs": crs,
        "features": [{"type": "Feature", "properties": {"parcel_id": "A-2"}, "geometry": lot}],
    }


POINTERS = {
    "virtual, to the network": ("lots.vrt", VIRTUAL, "/vsicurl/http://{ear}/lots.gpkg"),
    "virtual, named otherwise": ("lots.gpkg", VIRTUAL, "/vsicurl/http://{ear}/lots.gpkg"),
    "virtual, to another file": ("lots.vrt", VIRTUAL, "other.gpkg"),
    "virtual raster as a layer": ("lots.vrt", MOSAIC, "/vsicurl/http://{ear}/g.tif"),
    "map server": ("lots.xml", WMS, ""),
    "feature server": ("lots.xml", WFS, ""),
    "what a map server can do": ("lots.xml", CAPABILITIES, ""),
    "tile server": ("lots.xml", TILES, ""),
    "mark of a byte order before it": ("lots.xml", "\ufeff" + WFS, ""),
    "table of tables": ("lots.tab", '!table\n!version 500\n\ncreate view lots as\nSelect * From other\n  open table "other.tab"\n', ""),
}  # fmt: skip


@pytest.mark.parametrize("case", POINTERS)
def test_a_file_that_only_says_where_data_lie_is_refused_unheard(tmp_path, ear, case):
    name, text, target = POINTERS[case]
    address, heard = ear
    write(parcels(), tmp_path / "other.gpkg", layer="lots")
    target = target.replace("{ear}", address)
    text = text.replace("{ear}", address).replace("{target}", target)
    (tmp_path / name).write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=r"holds no data, it only says where they lie\. Give the"):
        read(tmp_path / name)
    assert heard() == []


LINKS = [
    {"type": "link", "properties": {"href": "http://{ear}/crs", "type": "proj4"}},
    {"type": "URL", "properties": {"url": "http://{ear}/crs"}},
    {"type": "Link", "properties": {"href": "http://{ear}/crs", "type": "ogcwkt"}},
]


@pytest.mark.parametrize("crs", LINKS)
@pytest.mark.parametrize("is_large", [False, True])
@pytest.mark.parametrize("hide", [False, True])
def test_a_link_in_a_geojson_file_is_not_followed(tmp_path, ear, crs, is_large, hide, monkeypatch):
    address, heard = ear
    text = json.dumps(linked(crs)).replace("{ear}", address)
    if hide:
        text = text.replace('"crs"', '"\\u0063rs"')
    (tmp_path / "lots.geojson").write_text(text)
    if is_large:
        monkeypatch.setattr(pointers, "LARGE_TEXT", 10)
    with pytest.raises(
        InputError, match=r"reference system is a link.*not followed\. Save the layer"
    ):
        read_site({"parcels": LayerSource(tmp_path / "lots.geojson")}, subject_id="A-2")
    assert heard() == []


@pytest.mark.parametrize("is_large", [False, True])
def test_a_reference_system_by_its_name_is_read(tmp_path, is_large, monkeypatch):
    crs = {"type": "name", "properties": {"name": "urn:ogc:def:crs:OGC:1.3:CRS84"}}
    (tmp_path / "lots.geojson").write_text(json.dumps(linked(crs), indent=1))
    if is_large:
        monkeypatch.setattr(pointers, "LARGE_TEXT", 10)
    site = read_site({"parcels": LayerSource(tmp_path / "lots.geojson")}, subject_id="A-2")
    assert site.subject_id == "A-2"


def test_a_gml_file_does_not_fetch_its_schema(tmp_path, ear):
    address, heard = ear
    path = make("lots.gml", tmp_path)
    (tmp_path / "lots.xsd").unlink()
    text = path.read_text()
    for schema in (
        f"http://ogr.maptools.org/ http://{address}/lots.xsd",
        f"http://ogr.maptools.org/ http://{address}/wfs?SERVICE=WFS&amp;REQUEST=DescribeFeatureType",
    ):
        path.write_text(text.replace("http://ogr.maptools.org/ lots.xsd", schema))
        assert schema in path.read_text()
        with contextlib.suppress(InputError):
            read(path)
    assert heard() == []


@pytest.mark.parametrize(
    "sql",
    [
        "CREATE VIEW lots2 AS SELECT fid, geom, gdal_get_pixel_value('/vsicurl/http://{ear}/g.tif', 1, 'pixel', 1, 1) AS PIN FROM lots",
        "CREATE VIRTUAL TABLE lots2 USING VirtualOGR('/vsicurl/http://{ear}/lots.geojson')",
    ],
)
def test_a_package_that_leads_elsewhere_is_refused_unheard(tmp_path, ear, sql):
    address, heard = ear
    path = write(parcels(), tmp_path / "lots.gpkg")
    base = edit(path)
    base.execute("PRAGMA writable_schema = ON")
    base.execute(
        "INSERT INTO sqlite_master (type, name, tbl_name, rootpage, sql) VALUES (?, 'lots2', 'lots2', 0, ?)",
        ("view" if "VIEW" in sql else "table", sql.replace("{ear}", address)),
    )
    base.commit()
    base.close()
    with pytest.raises(InputError, match="'lots2' leads to data outside the file"):
        read(path)
    assert heard() == []


RASTERS = {
    "mosaic": ("g.vrt", MOSAIC, r"holds no data, it only says where they lie"),
    "mosaic named otherwise": ("g.tif", MOSAIC, r"holds no data, it only says where they lie"),
    "map server": ("g.xml", WMS, r"holds no data, it only says where they lie"),
    "tile server": ("g.xml", TILES, r"holds no data, it only says where they lie"),
}


@pytest.mark.parametrize("case", RASTERS)
def test_a_raster_that_only_says_where_data_lie_is_refused_unheard(tmp_path, ear, case):
    name, text, said = RASTERS[case]
    address, heard = ear
    text = text.replace("{target}", f"/vsicurl/http://{address}/g.tif").replace("{ear}", address)
    (tmp_path / name).write_text(text)
    write(parcels(), tmp_path / "lots.gpkg")
    with pytest.raises(InputError, match=said):
        read(tmp_path / "lots.gpkg", terrain=TerrainSource(tmp_path / name, "m"))
    assert heard() == []


def test_what_stands_beside_a_raster_calls_nobody(tmp_path, ear):
    # A side file may name where overviews lie, and the reference system by its address.
    address, heard = ear
    write_ground(tmp_path / "g.tif", "GTiff", crs=None)
    (tmp_path / "g.tif.aux.xml").write_text(
        f'<PAMDataset><SRS>http://{address}/crs</SRS><Metadata domain="OVERVIEWS">'
        f'<MDI key="OVERVIEW_FILE">/vsicurl/http://{address}/g.ovr</MDI></Metadata></PAMDataset>'
    )
    write(parcels(), tmp_path / "lots.gpkg")
    with pytest.raises(InputError, match="has no CRS"):
        read(tmp_path / "lots.gpkg", terrain=TerrainSource(tmp_path / "g.tif", "m"))
    assert heard() == []


def test_the_ear_hears(tmp_path, ear):
    # The other tests would pass with a deaf one.
    address, heard = ear
    with pytest.raises(fiona.errors.DriverError):
        fiona.open(f"/vsicurl/http://{address}/lots.geojson")
    assert heard()[0].startswith((b"HEAD /lots.geojson", b"GET /lots.geojson"))


@pytest.mark.parametrize(
    "name", ["/vsicurl/http://{ear}/l.geojson", "http://{ear}/l.geojson", "WFS:http://{ear}/"]
)
def test_an_address_is_no_file(ear, name):
    address, heard = ear
    with pytest.raises(InputError, match="The file does not exist"):
        read(name.replace("{ear}", address))
    assert heard() == []


# ---- what a file says of itself ----------------------------------------------------------------


@pytest.mark.parametrize("stated", [0, 2, 264])
def test_a_stale_count_is_corrected_and_said(tmp_path, stated):
    path = write(parcels(), tmp_path / "lots.gpkg")
    with contextlib.closing(edit(path)) as base, base:
        base.execute("UPDATE gpkg_ogr_contents SET feature_count = ?", (stated,))
    site = read(path)
    assert len(site.layers["parcels"]) == 3
    assert len(read_table(path)) == 4
    assert site.inputs[0]["rows"] == 4
    assert (
        f"The layer of parcels: its file states {stated} rows and holds 4, which were counted."
        in site.warnings
    )


def test_a_stale_count_of_a_large_layer_is_corrected_too(tmp_path, monkeypatch):
    monkeypatch.setattr(sources_module, "WHOLE_ROWS", 2)
    path = write(parcels(), tmp_path / "lots.gpkg")
    with contextlib.closing(edit(path)) as base, base:
        base.execute("UPDATE gpkg_ogr_contents SET feature_count = 1")
    site = read(path)
    assert site.inputs[0]["rows"] == 4
    assert len(site.layers["parcels"]) == 3


def test_rows_that_a_shapefile_marks_as_deleted_are_left_out_and_said(tmp_path):
    # dBASE III table file: a row that begins with an asterisk is deleted.
    path = write(parcels(), tmp_path / "lots.shp")
    table = bytearray((tmp_path / "lots.dbf").read_bytes())
    start, length = int.from_bytes(table[8:10], "little"), int.from_bytes(table[10:12], "little")
    table[start] = ord("*")
    (tmp_path / "lots.dbf").write_bytes(table)
    site = read(path)
    assert site.layers["parcels"]["parcel_id"].tolist() == ["A-2", "A-3"]
    assert any(
        "1 of 4 rows of its file are marked as deleted" in warning for warning in site.warnings
    )
    assert length > 0


@pytest.mark.parametrize("name", ["lots.gpkg", "lots.shp", "lots.fgb", "lots.geojson"])
@pytest.mark.parametrize("more", [1, 2])
def test_rows_that_are_announced_and_missing_are_refused_in_every_format(tmp_path, name, more):
    # By construction: more rows are announced than there are, and none of them is marked as deleted.
    layer = open_layer("parcels", LayerSource(write(parcels(), tmp_path / name)))
    with pytest.raises(
        InputError, match=f"The file breaks off: {4 + more} rows are announced, 4 can"
    ):
        replace(layer, rows=layer.rows + more).read()
    assert len(layer.read()) == 4
    assert not [note for note in layer.notes if "deleted" in note]


@pytest.mark.parametrize("name", ["lots.gpkg", "lots.shp", "lots.fgb"])
@pytest.mark.parametrize(
    ("ids", "wanted"),
    [
        ([7, 71, 17, 177], "7"),
        ([7.5, 17.5, 7.25, -7.5], "7.5"),
        (["7", "71", "17", " 7b"], "7"),
        (["a%", "a_b", "aXb", "ab"], "a_b"),
    ],
)
def test_one_id_of_a_large_layer_finds_its_own_row(tmp_path, monkeypatch, name, ids, wanted):
    # By construction: each other id holds the wanted one, or would be found by it as a pattern.
    lots = parcels().drop(columns="PIN").assign(ID=ids)
    path = write(lots, tmp_path / name)
    whole = open_layer("parcels", LayerSource(path)).find("ID", wanted)
    monkeypatch.setattr(sources_module, "WHOLE_ROWS", 2)
    found = open_layer("parcels", LayerSource(path)).find("ID", wanted)
    assert [str(number).removesuffix(".0") for number in found["ID"]] == [wanted]
    assert found.index.tolist() == whole.index.tolist()
    assert found.geometry.iloc[0].equals(whole.geometry.iloc[0])


def test_items_that_are_no_features_are_refused_by_row(tmp_path):
    lots = json.loads(degrees().to_json())
    lots["features"][2]["type"] = "Featxre"
    lots["features"].append(7)
    (tmp_path / "lots.geojson").write_text(json.dumps(lots))
    with pytest.raises(
        InputError, match=r"lots\.geojson, rows 3, 5: These items of 'features' are none"
    ):
        read(tmp_path / "lots.geojson")


def test_a_feature_that_a_large_text_loses_is_noticed(tmp_path, monkeypatch):
    monkeypatch.setattr(pointers, "LARGE_TEXT", 10)
    lots = json.loads(degrees().to_json())
    lots["features"][2]["type"] = "Featxre"
    lots["features"][0]["properties"]["note"] = "Feature"  # makes the quick count right by chance
    path = tmp_path / "lots.geojson"
    path.write_text(json.dumps(lots))
    assert pointers.check_json(path, "x") == 4
    with pytest.raises(InputError, match="row 3: These items of 'features' are none"):
        read(path)
    # A text among the attributes is no feature.
    lots["features"][2]["type"] = "Feature"
    path.write_text(json.dumps(lots))
    assert pointers.check_json(path, "x") == 5
    assert read(path).subject_id == "A-2"


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda text: text[: len(text) // 2], r"JSON: .*line \d+, column \d+\)\. Fetch or export"),
        (lambda text: text.replace(b"A-3", b"A\xff3"), r"line 1 is not UTF-8 text\)\. Save it as UTF-8"),
        (lambda text: text.replace(b'"A-3"', b"9" * 5000), "a number of too many digits"),
        (lambda text: text.replace(b'"A-3"', b"[" * 500_000 + b"]" * 500_000), "lists nested too deep"),
    ],
)  # fmt: skip
def test_a_broken_text_says_where(tmp_path, change, said):
    path = tmp_path / "lots.geojson"
    path.write_bytes(change(json.dumps(json.loads(degrees().to_json())).encode()))
    with pytest.raises(InputError, match=said):
        read(path)


def test_a_damaged_package_says_what_is_damaged(tmp_path):
    path = write(parcels(), tmp_path / "lots.gpkg")
    sound = path.read_bytes()
    # In the schema: a name that is no text would end up in a reader's message, and kill it.
    path.write_bytes(sound.replace(b'CREATE TABLE "lots"', b'CREATE TABLE "l\x9ats"', 1))
    with pytest.raises(
        InputError, match=r"damaged: its list of layers cannot be read.*Fetch or export"
    ):
        read(path)
    # In the table that describes the layers.
    path.write_bytes(sound)
    with contextlib.closing(edit(path)) as base, base:
        base.execute("UPDATE gpkg_contents SET description = CAST(x'9a9b' AS TEXT)")
    with pytest.raises(InputError, match="a text in it is not UTF-8"):
        read(path)
    # In the rows: found by the reader, and looked for by SQLite then.
    with contextlib.closing(edit(path)) as base:
        (page,) = base.execute("SELECT rootpage FROM sqlite_master WHERE name = 'lots'").fetchone()
    size = int.from_bytes(sound[16:18], "big")
    path.write_bytes(
        sound[: size * (page - 1)] + bytes(range(256)) * (size // 256) + sound[size * page :]
    )
    with pytest.raises(InputError, match=r"damaged|breaks off"):
        read(path)


def test_a_row_that_is_listed_and_not_there_is_refused(tmp_path, monkeypatch):
    path = write(parcels(), tmp_path / "lots.gpkg")
    monkeypatch.setattr("screenplan.site.files.count_rows", lambda *_: 5)
    monkeypatch.setattr("screenplan.site.files.list_ids", lambda *_: [1, 2, 3, 4, 77])
    with pytest.raises(
        InputError, match=r"cannot be read as vector data \(a row that is listed is not"
    ):
        read_table(path)


def test_a_packed_file_that_is_none(tmp_path):
    path = tmp_path / "lots.zip"
    path.write_bytes(b"PK\x03\x04 and no more")
    with pytest.raises(InputError, match=r"its packing is damaged.*Fetch or export"):
        read(path)
    zipped(
        path, *(tmp_path / name for name in ("readme.txt",) if (tmp_path / name).write_text("x"))
    )
    with pytest.raises(InputError, match="cannot be read as vector data"):
        read(path)
    write(parcels(), tmp_path / "a.gpkg")
    write(parcels(), tmp_path / "b.gpkg")
    zipped(path, tmp_path / "a.gpkg", tmp_path / "b.gpkg")
    with pytest.raises(InputError, match=r"holds several data sets: a\.gpkg, b\.gpkg\. Unpack it"):
        read(path)


def test_a_packed_file_beside_notes_is_found(tmp_path):
    make("lots.shp", tmp_path)
    (tmp_path / "lots.shp.xml").write_text("<metadata/>")
    (tmp_path / "lots.json").write_text("{}")
    path = zipped(tmp_path / "lots.zip", *tmp_path.glob("lots.*"))
    assert read(path).subject_id == "A-2"


def test_a_packed_file_of_too_much_is_not_unpacked(tmp_path, monkeypatch):
    monkeypatch.setattr(copies, "MOST_UNPACKED", 1000)
    path = zipped(tmp_path / "lots.zip", write(parcels(), tmp_path / "lots.gpkg"))
    with pytest.raises(InputError, match=r"holds more than .* GB\. Unpack it"):
        read(path)


# ---- large files -------------------------------------------------------------------------------


def many(count):
    rows, columns = np.divmod(np.arange(count), 20)
    shapes = shapely.box(
        EAST + 40 * columns, NORTH + 40 * rows, EAST + 40 * columns + 40, NORTH + 40 * rows + 40
    )
    return gpd.GeoDataFrame(
        {"PIN": [f"A-{n}" for n in range(count)], "number": np.arange(count) * 1.0}, geometry=shapes, crs=UTM
    )  # fmt: skip


@pytest.mark.parametrize(
    ("name", "gaps"),
    # Only a database keeps the ids of the others when a row is deleted.
    [("lots.gpkg", False), ("lots.gpkg", True), ("lots.fgb", False), ("lots.shp", False), ("lots.gdb", False)],
)  # fmt: skip
def test_a_part_of_a_large_file_is_what_the_whole_gives(tmp_path, name, gaps, monkeypatch):
    # Evidence: invariant, the site read whole.
    path = tmp_path / name
    many(400).to_file(path, engine="pyogrio")
    if gaps:
        with contextlib.closing(edit(path)) as base, base:
            base.execute("DELETE FROM lots WHERE fid % 7 = 3 OR fid < 5")
    for key, wanted in (("PIN", "A-207"), ("number", "207")):

        def site(key=key, wanted=wanted):
            return read_site({"parcels": LayerSource(path, columns={"parcel_id": key})}, subject_id=wanted, reach_m=90.0)  # fmt: skip

        whole = site()
        with monkeypatch.context() as patched:
            patched.setattr(sources_module, "WHOLE_ROWS", 10)
            part = site()
            with pytest.raises(
                InputError, match=r"There is no parcel .*(Did you mean|Ids look like)"
            ):
                read_site(
                    {"parcels": LayerSource(path, columns={"parcel_id": key})}, subject_id="2070"
                )
        assert (
            part.layers["parcels"]["parcel_id"].tolist()
            == whole.layers["parcels"]["parcel_id"].tolist()
        )
        assert part.inputs[0]["rows"] == whole.inputs[0]["rows"]
        opened = open_layer("parcels", LayerSource(path))
        with monkeypatch.context() as patched:
            patched.setattr(sources_module, "WHOLE_ROWS", 10)
            found = open_layer("parcels", LayerSource(path)).find(key, wanted)
        assert found.index.tolist() == opened.find(key, wanted).index.tolist()
        assert len(found) == 1


@pytest.mark.parametrize(
    "odd", ["50%_x", "it's", 'a "b"', "!", "Größe", "  A-1 ", "a\\b", "x" * 300]
)
def test_odd_ids_are_found_in_a_large_file(tmp_path, odd, monkeypatch):
    lots = many(30)
    lots.loc[7, "PIN"] = odd
    write(lots, tmp_path / "lots.gpkg")
    monkeypatch.setattr(sources_module, "WHOLE_ROWS", 10)
    layer = open_layer("parcels", LayerSource(tmp_path / "lots.gpkg"))
    expected = [2, 8] if odd.strip() == "A-1" else [8]
    assert layer.find("PIN", odd.strip()).index.tolist() == expected


def test_an_index_of_the_ids_is_used(tmp_path, monkeypatch):
    lots = many(30)
    lots.loc[3, "PIN"] = " A-9 "
    path = write(lots, tmp_path / "lots.gpkg")
    monkeypatch.setattr(sources_module, "WHOLE_ROWS", 10)
    assert not has_index(path, "lots", "PIN")
    with contextlib.closing(edit(path)) as base, base:
        base.execute("CREATE INDEX by_pin ON lots (PIN)")
    assert has_index(path, "lots", "PIN")
    assert not has_index(path, "lots", "number")
    layer = open_layer("parcels", LayerSource(path))
    # As written first; what differs by blanks is looked for only if there is none such.
    assert layer.find("PIN", "A-9").index.tolist() == [10]
    with contextlib.closing(edit(path)) as base, base:
        base.execute("DELETE FROM lots WHERE PIN = 'A-9'")
    layer = open_layer("parcels", LayerSource(path))
    assert layer.find("PIN", "A-9").index.tolist() == [4]
    assert layer.find("PIN", "none").empty


def test_of_a_large_raster_the_record_says_what_was_read(tmp_path, monkeypatch):
    monkeypatch.setattr(sources_module, "LARGE_FILE", 1000)
    write(parcels(), tmp_path / "lots.gpkg")
    path = tmp_path / "g.tif"

    def entry(change=None):
        write_ground(path, "GTiff")
        if change is not None:
            with rasterio.open(path, "r+") as raster:
                raster.write(
                    np.full((1, 1), 500, dtype="int16"), 1, window=((change, change + 1),) * 2
                )
        return read(tmp_path / "lots.gpkg", terrain=TerrainSource(path, "m")).inputs[-1]

    first = entry()
    assert first["sha256"] is None
    assert first["bytes"] == path.stat().st_size
    assert entry(change=1)["read_sha256"] == first["read_sha256"]  # 390 m away
    assert entry(change=40)["read_sha256"] != first["read_sha256"]  # in the middle


def test_of_a_large_file_the_record_says_what_was_read(tmp_path, monkeypatch):
    monkeypatch.setattr(sources_module, "WHOLE_ROWS", 10)
    monkeypatch.setattr(sources_module, "LARGE_FILE", 1000)
    path = write(many(400), tmp_path / "lots.gpkg")

    def entry():
        source = LayerSource(path, columns=PIN)
        return read_site({"parcels": source}, subject_id="A-207", reach_m=90.0).inputs[0]

    first = entry()
    assert first["sha256"] is None
    assert first["bytes"] == path.stat().st_size
    assert 20 < first["rows_read"] < 60
    assert entry() == first

    def change(sql):
        with contextlib.closing(edit(path)) as base, base:
            base.execute(sql)

    change("UPDATE lots SET PIN = 'far' WHERE fid = 1")
    assert entry()["read_sha256"] == first["read_sha256"]
    change("UPDATE lots SET PIN = 'near' WHERE PIN = 'A-206'")
    assert entry()["read_sha256"] != first["read_sha256"]
