"""The GeoPackage and the CSV tables: what comes back out of them, by other programs."""

import csv
import datetime as dt
import re
import shutil
import sqlite3
import subprocess
import warnings

import geopandas
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from geopandas.testing import assert_geodataframe_equal
from made_up import SHAPES, make_all, make_layer
from pyproj import CRS
from shapely.geometry import Point, Polygon, box

from screenplan.contracts import CHECKS, OUTPUTS, PARCELS, PLANTS, Column, Contract
from screenplan.ground.errors import InputError
from screenplan.outputs import vector
from screenplan.outputs.geojson import write_geojson
from screenplan.outputs.geopackage import write_geopackage
from screenplan.outputs.other_formats import write_format
from screenplan.outputs.tables import cell_text, write_csv

FEET = CRS(2264)
NOON = dt.datetime(2026, 3, 21, 12, 0, tzinfo=dt.UTC)

COLUMNS = (
    Column("words", "text", "Words"),
    Column("amount", "number", "A number"),
    Column("count", "integer", "An integer"),
    Column("so", "boolean", "Yes or no"),
    Column("day", "date", "A day"),
)
NAMES = " ".join(column.name for column in COLUMNS)
THINGS = Contract("things", tuple(SHAPES), "A thing", columns=COLUMNS, optional=NAMES)
LIST = Contract("list", (), "A line of a list", columns=COLUMNS, optional=NAMES)

#: A column's values beside what must come back.
AWKWARD = {
    "words": (
        [None, "", "Zaun \u2265 3 m \u6f22\u5b57", 'a "b", c', "[1, 2]", "a\r\nb", "=1+1", "'x", np.nan],
        [None, "", "Zaun \u2265 3 m \u6f22\u5b57", 'a "b", c', "[1, 2]", "a\r\nb", "=1+1", "'x", None],
    ),
    "amount": (
        [None, np.nan, pd.NA, 0.1, -0.0, 1e-12, 1 / 3, np.float32(0.5), -1e9],
        [None, None, None, 0.1, 0.0, 0.0, 0.333333, 0.5, -1e9],
    ),
    "count": (
        [None, np.nan, pd.NA, 0, -1, 2**62, np.int32(7), 3.0, 2**31],
        [None, None, None, 0, -1, 2**62, 7, 3, 2**31],
    ),
    "so": (
        [None, np.nan, pd.NA, True, False, np.True_, np.False_, True, False],
        [None, None, None, True, False, True, False, True, False],
    ),
    "day": (
        [
            None,
            pd.NaT,
            "2026-03-21",
            dt.date(1999, 12, 31),
            pd.Timestamp("2024-02-29 13:00"),
            dt.datetime(2026, 1, 2, 3),
            np.nan,
            pd.NA,
            "1900-01-01",
        ],
        [None, None, "2026-03-21", "1999-12-31", "2024-02-29", "2026-01-02", None, None, "1900-01-01"],
    ),
}  # fmt: skip
LENGTH = 9


def awkward_columns(rows):
    return {name: pd.Series(given[:rows], dtype="object") for name, (given, _) in AWKWARD.items()}


def returned(frame, name):
    """Values as plain Python; of the missing ones only that they are missing is compared."""
    values = [None if pd.isna(value) else value for value in frame[name]]
    if name == "day":
        return [value and pd.Timestamp(value).date().isoformat() for value in values]
    return values


@pytest.mark.parametrize("rows", [0, LENGTH])
@pytest.mark.parametrize("kind", [*SHAPES, "mixed", "missing"])
@pytest.mark.parametrize("suffix", ["geojson", "gpkg"])
def test_what_is_written_comes_back(suffix, kind, rows, tmp_path):
    shapes = [SHAPES.get(kind)] * rows
    if kind == "mixed":
        shapes = [list(SHAPES.values())[row % len(SHAPES)] for row in range(rows)]
    crs = "EPSG:4326" if suffix == "geojson" else FEET
    layer = geopandas.GeoDataFrame(awkward_columns(rows), geometry=shapes, crs=crs)
    path = tmp_path / f"things.{suffix}"
    if suffix == "geojson":
        assert write_geojson(layer, path, THINGS) == rows
    else:
        assert write_geopackage({"things": layer}, path, crs, contracts={"things": THINGS}) == {
            "things": rows
        }
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        back = geopandas.read_file(
            path, engine="fiona"
        )  # another build of GDAL than the one that wrote
    assert len(back) == rows
    if suffix == "geojson" and rows == 0:
        return  # GeoJSON has no header: an empty collection has no columns
    assert [name for name in back.columns if name != "geometry"] == list(AWKWARD)
    for name, (_, expected) in AWKWARD.items():
        assert returned(back, name) == expected[:rows], name
    if kind != "missing":
        assert CRS(back.crs) == CRS(crs)
        assert all(
            now.equals(was) for now, was in zip(back.geometry, shapes, strict=True)
        )  # small whole numbers survive both formats exactly
    elif rows:
        assert pd.isna(back["geometry"]).all() if "geometry" in back else True


def test_a_table_comes_back_from_the_geopackage(tmp_path):
    path = tmp_path / "x.gpkg"
    table = pd.DataFrame(awkward_columns(LENGTH))
    write_geopackage({"list": table}, path, FEET, contracts={"list": LIST})
    back = pyogrio.read_dataframe(path, layer="list")
    assert not isinstance(back, geopandas.GeoDataFrame)
    for name, (_, expected) in AWKWARD.items():
        assert returned(back, name) == expected, name


def test_a_table_comes_back_from_csv(tmp_path):
    path = tmp_path / "list.csv"
    assert write_csv(pd.DataFrame(awkward_columns(LENGTH)), path, LIST) == LENGTH
    assert not path.read_bytes().startswith(b"\xef\xbb\xbf")
    with path.open(encoding="utf-8", newline="") as source:
        head, *rows = csv.reader(source, strict=True)
    assert head == list(AWKWARD)
    for place, (name, (_, expected)) in enumerate(AWKWARD.items()):
        for cell, value in zip((row[place] for row in rows), expected, strict=True):
            if value is None:
                assert cell == ""
            elif name == "words":
                # Tabs and line ends are spaces; all else comes back.
                assert re.sub(r"^'", "", cell) == re.sub(r"[\t\r\n]+", " ", value)
            elif name == "so":
                assert cell == str(value).lower()
            elif name == "day":
                assert cell == value
            else:
                assert type(value)(cell) == value


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "'=1"])
def test_text_in_a_csv_is_no_formula(text, tmp_path):
    path = tmp_path / "checks.csv"
    table = make_layer(CHECKS, rows=1).assign(says=[text])
    write_csv(table, path, CHECKS)
    with path.open(encoding="utf-8", newline="") as source:
        row = list(csv.DictReader(source))[0]  # noqa: RUF015
    # A tab or a line end is a space, and what stands behind it is no formula either.
    assert row["says"] == "'" + re.sub(r"[\t\r]", " ", text)


CONTROLS = [chr(code) for code in (*range(0x20), *range(0x7F, 0xA0), 0x2028, 0x2029, 0x202E)]


def test_control_characters_do_not_reach_a_csv(tmp_path):
    # All of C0 and C1 (ECMA-48), the line ends of Unicode and the override of its direction; a NUL
    # is refused before by the contract.
    path = tmp_path / "checks.csv"
    table = make_layer(CHECKS, rows=1).assign(says=[f"a{''.join(CONTROLS[1:])}b\u2066c"])
    write_csv(table, path, CHECKS)
    (line,) = path.read_text("utf-8").splitlines()[1:]
    assert "a b\u2066c" in line
    assert not any(mark in line for mark in CONTROLS)
    assert cell_text("".join(CONTROLS)) == " "


def test_a_negative_number_in_a_csv_stays_a_number(tmp_path):
    path = tmp_path / "list.csv"
    table = pd.DataFrame(awkward_columns(1)).assign(amount=[-2.5])
    write_csv(table, path, LIST)
    assert path.read_bytes() == b"words,amount,count,so,day\r\n,-2.5,,,\r\n"


def test_a_layer_with_geometries_is_no_csv(tmp_path):
    with pytest.raises(InputError, match=r"layer plants: .* Write it as GeoJSON"):
        write_csv(make_layer(PLANTS, FEET), tmp_path / "x.csv", PLANTS)


# Reference systems: by code, in feet, without a code, compound, with datum shift, geographic.
SYSTEMS = {
    "US feet by code": CRS(2264),
    "metres by code": CRS(25832),
    "degrees": CRS(4326),
    "web Mercator": CRS(3857),
    "international feet without a code": CRS(
        "+proj=lcc +lat_1=36 +lat_2=34 +lat_0=33.7 +lon_0=-79 +x_0=609601 +datum=NAD83 +units=ft"
    ),
    "local without a code": CRS("+proj=tmerc +lat_0=50 +lon_0=8 +k=1.00003 +ellps=GRS80"),
    "with a datum shift": CRS(
        "+proj=tmerc +lon_0=9 +x_0=3500000 +ellps=bessel +towgs84=598.1,73.7,418.2,0.2,0,-2.5,6.7"
    ),
}


@pytest.mark.parametrize("name", SYSTEMS)
def test_the_reference_system_comes_back(name, tmp_path):
    crs = SYSTEMS[name]
    path = tmp_path / "plan.gpkg"
    write_geopackage({"plants": make_layer(PLANTS, crs)}, path, crs)
    back = pyogrio.read_dataframe(path, layer="plants")
    assert CRS(back.crs).equals(crs, ignore_axis_order=True)
    assert back.geometry.iloc[0] == Point(1, 2)  # x first, whatever the axes are


def test_a_compound_reference_system_gives_its_horizontal_part(tmp_path):
    path = tmp_path / "plan.gpkg"
    write_geopackage({"plants": make_layer(PLANTS, CRS(2249))}, path, CRS("EPSG:2249+5703"))
    assert pyogrio.read_dataframe(path, layer="plants").crs == CRS(2249)


def test_a_layer_in_another_system_is_refused(tmp_path):
    layers = {"plants": make_layer(PLANTS, CRS(2264))}
    with pytest.raises(InputError, match=r"layer plants: .* \(ftUS\), and the file's is ETRS89"):
        write_geopackage(layers, tmp_path / "x.gpkg", 25832)
    layers = {"plants": make_layer(PLANTS)}
    with pytest.raises(InputError, match=r"layer plants: .* is none, .*Transform the layer"):
        write_geopackage(layers, tmp_path / "x.gpkg", 25832)
    assert not (tmp_path / "x.gpkg").exists()


def test_an_unknown_layer_is_refused(tmp_path):
    with pytest.raises(InputError, match=r"no output layer trees. Give parcels, sides"):
        write_geopackage({"trees": make_layer(PLANTS, FEET)}, tmp_path / "x.gpkg", FEET)


@pytest.mark.parametrize(
    ("shapes", "expected"),
    [
        ([box(0, 0, 1, 1)], "Polygon"),
        ([box(0, 0, 1, 1), SHAPES["MultiPolygon"]], "MultiPolygon"),
        ([SHAPES["MultiPolygon"], None, Polygon()], "MultiPolygon"),
        ([], "MultiPolygon"),
    ],
)
def test_the_layer_type_is_the_narrowest_that_fits(shapes, expected, tmp_path):
    path = tmp_path / "plan.gpkg"
    columns = {
        "parcel_id": [f"p{number}" for number in range(len(shapes))],
        "is_subject": pd.array([False] * len(shapes), dtype="boolean"),
    }
    layer = geopandas.GeoDataFrame(columns, geometry=shapes, crs=FEET)
    write_geopackage({"parcels": layer}, path, FEET)
    assert pyogrio.read_info(path, layer="parcels")["geometry_type"] == expected
    back = pyogrio.read_dataframe(path, layer="parcels")
    kept = [shape for shape in shapes if shape is not None and not shape.is_empty]
    assert back.geometry.area.sum() == sum(shape.area for shape in kept)
    assert {shape.geom_type for shape in back.geometry.dropna()} <= {expected}


@pytest.fixture(scope="module")
def package(tmp_path_factory):
    path = tmp_path_factory.mktemp("package") / "plan.gpkg"
    write_geopackage(make_all(OUTPUTS, FEET), path, FEET, written_at=NOON)
    return path


def test_the_file_says_what_it_is(package):
    with sqlite3.connect(package) as database:
        # GeoPackage 1.3, table 2: application id "GPKG", user version 10300.
        assert database.execute("PRAGMA application_id").fetchone() == (0x47504B47,)
        assert database.execute("PRAGMA user_version").fetchone() == (10300,)
        assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert database.execute("PRAGMA foreign_key_check").fetchall() == []
        contents = database.execute(
            "SELECT table_name, data_type, identifier, description, last_change FROM gpkg_contents"
        ).fetchall()
        columns = dict(
            database.execute("SELECT table_name, column_name FROM gpkg_geometry_columns")
        )
    database.close()
    assert contents == [
        (
            name,
            "features" if contract.geometry else "attributes",
            name,
            contract.meaning,
            "2026-03-21T12:00:00.000Z",
        )
        for name, contract in OUTPUTS.items()
    ] + [("layer_styles", "attributes", "layer_styles", "", "2026-03-21T12:00:00.000Z")]
    assert set(columns.values()) == {"geom"}


def test_the_same_layers_give_the_same_bytes(package, tmp_path):
    again = tmp_path / "again.gpkg"
    write_geopackage(make_all(OUTPUTS, FEET), again, FEET, written_at=NOON)
    assert again.read_bytes() == package.read_bytes()


def test_a_file_that_exists_is_replaced_whole(tmp_path):
    path = tmp_path / "plan.gpkg"
    write_geopackage(make_all(OUTPUTS, FEET), path, FEET)
    write_geopackage({"parcels": make_layer(PARCELS, FEET)}, path, FEET)
    assert [name for name, _ in pyogrio.list_layers(path)] == ["parcels", "layer_styles"]


@pytest.mark.skipif(not shutil.which("ogrinfo"), reason="ogrinfo is not there (gdal-bin)")
@pytest.mark.evidence(
    part="Files",
    kind="other software",
    against="Every layer of the GeoPackage and every GeoJSON file: opened without a warning",
    source="ogrinfo of the system's GDAL",
    status="run",
    tolerance="no warning, every row",
)
def test_the_systems_gdal_opens_every_layer_without_a_warning(package, tmp_path):
    for path, names in [(package, list(OUTPUTS)), *_geojson_files(tmp_path)]:
        for name in names:
            done = subprocess.run(
                ["ogrinfo", "-ro", "-al" if path != package else "-so", str(path), name],
                capture_output=True,
                text=True,
                check=True,
                env={"PATH": "/usr/bin:/bin"},
            )
            assert done.stderr == ""
            assert not re.search("^(Warning|ERROR)", done.stdout, re.MULTILINE), done.stdout
            assert "Feature Count: 3" in done.stdout


def _geojson_files(folder):
    for name, contract in OUTPUTS.items():
        if contract.geometry:
            path = folder / f"{name}.geojson"
            write_geojson(make_layer(contract, "EPSG:4326", unit=1e-5), path, contract)
            yield path, [name]


def test_a_disk_that_is_full_is_said_so(tmp_path):
    resource = pytest.importorskip("resource", reason="POSIX only")
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    layers = {"plants": make_layer(PLANTS, FEET, rows=2000)}
    for limit in (10_000, 100_000, 200_000):
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, before[1]))
        try:
            with pytest.raises(InputError, match=r"x.gpkg, layer plants: It could not be written"):
                write_geopackage(layers, tmp_path / "x.gpkg", FEET)
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, before)


def test_inputs_are_not_changed(tmp_path):
    layer = make_layer(PARCELS, FEET)
    before = layer.copy(deep=True)
    write_geopackage({"parcels": layer}, tmp_path / "x.gpkg", FEET)
    assert_geodataframe_equal(layer, before)
    assert shapely.get_type_id(layer.geometry.array).tolist() == [3, 6, 3]


@pytest.mark.parametrize("form", ["geopackage", "geojson", "flatgeobuf", "shapefile"])
def test_a_file_that_lacks_a_column_is_refused(form, tmp_path, monkeypatch):
    # As some versions of GDAL do in silence for some formats.
    whole = vector.raw.write

    def write_less(*arguments, **options):
        for name in ("fields", "field_data", "field_mask"):
            options[name] = options[name][1:]
        whole(*arguments, **options)

    monkeypatch.setattr(vector.raw, "write", write_less)
    layer = make_layer(PLANTS, FEET)
    write = {
        "geopackage": lambda: write_geopackage({"plants": layer}, tmp_path / "x.gpkg", FEET),
        "geojson": lambda: write_geojson(layer.to_crs("EPSG:4326"), tmp_path / "x.json", PLANTS),
    }.get(
        form,
        lambda: write_format({"plants": layer}, tmp_path, form, send_out=_send_out, crs=FEET),
    )
    with pytest.raises(InputError, match=r"layer plants: The columns plant_id were not written"):
        write()


def _send_out(layer, crs):
    return layer.to_crs(crs)
