"""Every layer out to the formats of other programs and back: what comes back, and what is said to be lost."""

import csv
import datetime as dt
import json
import re
import shutil
import subprocess
from pathlib import Path

import geopandas
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely
from geojson_rules import hold_to_rfc
from made_up import SHAPES, make_all, make_layer
from pyproj import CRS, Transformer

from screenplan.commandline.main import main
from screenplan.contracts import OUTPUTS, PRIVATE_PLACES, WRITTEN, Column, Contract
from screenplan.contracts.called import name_as_called
from screenplan.ground.errors import InputError
from screenplan.outputs.conform import conform
from screenplan.outputs.geojson import WGS84
from screenplan.outputs.kinds import split_by_kind
from screenplan.outputs.layers import write_layers
from screenplan.outputs.other_formats import FORMATS, LONGEST_TEXT, write_format
from screenplan.outputs.record import read_record
from screenplan.outputs.short_names import LONGEST_NAME, short_names
from screenplan.outputs.styles import style_qml
from screenplan.running.exporting import export_run
from screenplan.running.pipeline import run_plan
from screenplan.running.writing import write_run

SAMPLE = Path(__file__).parent.parent / "sample_data" / "hillside.toml"
FEET = CRS(2264)
SPATIAL = {name: contract for name, contract in WRITTEN.items() if contract.geometry}
ENDINGS = {"shapefile": ".shp", "flatgeobuf": ".fgb", "kml": ".kml", "geopackage": ".gpkg",
           "geojson": ".geojson", "geoparquet": ".parquet"}  # fmt: skip

#: Shapefile, FlatGeobuf and GeoPackage hold coordinates as eight-byte numbers.
EXACT = 0.0
#: KML by GDAL carries 15 digits, here 12 decimals of a degree: 0.1 micrometres on the ground.
KML_DEGREES = 1e-12
#: GeoJSON carries 9 decimals: half of the last, along each axis, with room for rounding.
GEOJSON_DEGREES = 0.6e-9 * 2**0.5
TOLERANCES = {"shapefile": EXACT, "geoparquet": EXACT, "flatgeobuf": EXACT, "geopackage": EXACT, "kml": KML_DEGREES,
              "geojson": GEOJSON_DEGREES}  # fmt: skip
#: Two reference systems are the same if they put a place at the same longitude and latitude; this
#: is a micrometre on the ground.
SAME_PLACE_DEGREES = 1e-11

COLUMNS = (
    Column("words", "text", "Words"),
    Column("name", "text", "Words in a column that KML takes for itself"),
    Column("amount_of_it_m", "number", "A number", unit="m"),
    Column("amount_of_it_h", "number", "Another number", unit="h"),
    Column("count", "integer", "An integer"),
    Column("so", "boolean", "Yes or no"),
    Column("day", "date", "A day"),
)
NAMES = " ".join(column.name for column in COLUMNS)
LONG = "\u00fc" * 126 + "xyz"  # 255 bytes: a dBASE field holds 254
WORDS = [
    None,
    "",
    "Zaun \u2265 3 m \u6f22\u5b57",
    'a "b", c',
    "[1, 2]",
    "a\tb",
    "=1+1",
    "<b>&amp;",
    LONG,
]
NUMBERS = [None, 0.1, 1e-6, 1 / 3, -1e9, 123456.789012, 0.0, -2.5, 1e8]
COUNTS = [None, 0, -1, 2**31 - 1, 2**53 - 1, 7, 3, -(2**31), 12]
BOOLEANS = [None, True, False, True, False, True, False, True, False]
DAYS = [None, "2026-03-21", "1999-12-31", "2024-02-29", "1900-01-01", "2026-01-02", None,
        dt.date(2030, 1, 1), "2026-12-31"]  # fmt: skip


def things(kind, crs, *, rows=9):
    """A layer of one geometry type with awkward values; the third row has no geometry."""
    contract = Contract("things", (kind,), "A thing", columns=COLUMNS, key="words", optional=NAMES)
    shapes = [None if row == 2 else SHAPES[kind] for row in range(rows)]
    columns = dict(
        zip([c.name for c in COLUMNS],
            [WORDS, WORDS[::-1], NUMBERS, NUMBERS[::-1], COUNTS, BOOLEANS, DAYS],
            strict=True)
    )  # fmt: skip
    table = {name: pd.Series(values[:rows], dtype="object") for name, values in columns.items()}
    return contract, geopandas.GeoDataFrame(table, geometry=shapes, crs=crs)


def to_crs(layer, crs):
    return layer.to_crs(crs)


def write(form, layers, folder, crs, contracts):
    """Write layers in any of the formats; give what is said to be lost."""
    folder.mkdir(exist_ok=True)
    if form in FORMATS:
        return write_format(layers, folder, form, send_out=to_crs, crs=crs, contracts=contracts)[1]
    write_layers(layers, folder, send_out=to_crs, crs=crs, contracts=contracts)
    return ()


def read(form, folder, name):
    """Read a layer back."""
    if form == "geoparquet":
        return geopandas.read_parquet(folder / f"{name}.parquet")
    file = {"kml": "plan.kml", "geopackage": "plan.gpkg", "geojson": f"layers/{name}.geojson"}.get(
        form, f"{name}{ENDINGS[form]}"
    )
    return pyogrio.read_dataframe(folder / file, layer=name)


def name_in_file(form, names):
    """Column names as they stand in the file."""
    if form == "shapefile":
        return short_names(names)
    if form == "kml":
        return {name: f"{name}_" if name == "name" else name for name in names}
    return {name: name for name in names}


def kept(form, value, column, values):
    """What a format keeps of a value, by what it says of itself."""
    if value is None:
        return None
    if column.type == "text":
        if form == "shapefile":
            value = value.encode()[:LONGEST_TEXT].decode(errors="ignore")
        if form == "kml":
            value = value.replace("\t", " ")
        return value if value or form not in ("shapefile", "kml") else None
    if form == "kml":
        if column.type == "boolean":
            return str(value).lower()
        if column.type == "integer" and any(abs(other or 0) >= 2**31 for other in values):
            return str(value)
    return value


def plain(value, column):
    if value is None or pd.isna(value):
        return None
    if column.type == "date":
        return pd.Timestamp(value).date().isoformat()
    return value.item() if isinstance(value, np.generic) else value


def compare(form, layout, back, crs):
    """Hold what came back against what was written."""
    name = layout.contract.name
    assert len(back) == len(layout), name
    names = name_in_file(form, [label for label, _ in layout.columns])
    if not len(layout) and form in ("geojson", "kml"):
        return  # an empty collection has no columns
    for label, column in layout.columns:
        values = layout.values[label]
        expected = [kept(form, value, column, values) for value in values]
        found = [plain(value, column) for value in back[names[label]]]
        assert found == expected, (name, label)
    if "geometry" not in back:
        assert all(shape is None for shape in layout.geometries)
        return
    target = WGS84 if form in ("kml", "geojson") else crs
    assert_same_system(CRS(back.crs), target, layout)
    was = geopandas.GeoSeries(layout.geometries, crs=crs).to_crs(target)
    for now, before in zip(back.geometry, was, strict=True):
        assert (now is None) == (before is None), name
        if before is not None:
            now = shapely.force_2d(now)
            assert shapely.get_num_coordinates(now) == shapely.get_num_coordinates(before)
            assert shapely.hausdorff_distance(now, before) <= TOLERANCES[form], name
            assert now.geom_type.removeprefix("Multi") == before.geom_type.removeprefix("Multi")


def assert_same_system(found, wanted, layout):
    """The two systems put the layer's own places at the same longitude and latitude."""
    if wanted.is_bound:  # the shift is said to be lost
        wanted = wanted.source_crs
    places = [shape for shape in layout.geometries if shape is not None]
    if not places:
        return
    xy = shapely.get_coordinates(places)
    lonlat = [
        np.array(Transformer.from_crs(crs, crs.geodetic_crs, always_xy=True).transform(*xy.T))
        for crs in (found, wanted)
    ]
    assert np.abs(lonlat[0] - lonlat[1]).max() <= SAME_PLACE_DEGREES
    assert found.geodetic_crs.ellipsoid.semi_major_metre == pytest.approx(
        wanted.geodetic_crs.ellipsoid.semi_major_metre, abs=1e-6
    )


# -- made-up layers --------------------------------------------------------------------------


@pytest.fixture(scope="module")
def made_up():
    return make_all(OUTPUTS, FEET, rows=5, origin=(1_500_000, 600_000))


@pytest.mark.evidence(
    part="Files",
    kind="other software",
    against="Every layer as GeoPackage, GeoJSON, Shapefile, FlatGeobuf, GeoParquet and KML: written and read back",
    source="GDAL, by pyogrio; GeoParquet by geopandas",
    status="run",
    tolerance=f"values as stated; coordinates the same, in KML to {KML_DEGREES:g} degrees",
)
@pytest.mark.parametrize("form", ENDINGS)
def test_every_layer_comes_back(form, made_up, tmp_path):
    # A run's windows, onlookers and places are written under the names by which people call them.
    named = name_as_called(made_up)
    write(form, named, tmp_path / "out", FEET, OUTPUTS)
    for name, layer in split_by_kind(named, OUTPUTS).items():
        layout = conform(layer, WRITTEN[name])
        if WRITTEN[name].geometry:
            compare(form, layout, read(form, tmp_path / "out", name), FEET)
        else:
            inner = "tables" if form in ("geopackage", "geojson") else ""
            assert (tmp_path / "out" / inner / f"{name}.csv").is_file()


@pytest.mark.parametrize("rows", [0, 9])
@pytest.mark.parametrize("kind", SHAPES)
@pytest.mark.parametrize("form", ENDINGS)
def test_awkward_values_come_back(form, kind, rows, tmp_path):
    crs = CRS(25832)
    contract, layer = things(kind, crs, rows=rows)
    layer = layer.set_geometry(layer.geometry.translate(500_000, 5_500_000))
    write(form, {"things": layer}, tmp_path / "out", crs, {"things": contract})
    if form == "geojson" and not rows:  # it could not say its kind, columns and system
        assert [file.name for file in (tmp_path / "out").iterdir()] == ["plan.gpkg"]
        return
    compare(form, conform(layer, contract), read(form, tmp_path / "out", "things"), crs)


@pytest.mark.parametrize("kind", ["Point", "Polygon"])
def test_single_and_multiple_parts_side_by_side_come_back(kind, tmp_path):
    contract = Contract(
        "things", (kind, f"Multi{kind}"), "A thing", columns=COLUMNS[:1], optional=NAMES
    )
    shapes = [SHAPES[kind], SHAPES[f"Multi{kind}"], None]
    layer = geopandas.GeoDataFrame({"words": ["a", "b", None]}, geometry=shapes, crs=FEET)
    for form in FORMATS:
        write(form, {"things": layer}, tmp_path / form, FEET, {"things": contract})
        compare(form, conform(layer, contract), read(form, tmp_path / form, "things"), FEET)


SYSTEMS = {
    "degrees": (CRS(4326), (8.0, 50.0), 1e-4),
    "degrees on an older datum": (CRS(4267), (-80.0, 35.0), 1e-4),
    "US feet": (FEET, (1_500_000, 600_000), 1),
    "without a code": (CRS("+proj=tmerc +lat_0=50 +lon_0=8 +k=1.00003 +ellps=GRS80"), (0, 0), 1),
    "with a datum shift": (
        CRS("+proj=tmerc +lon_0=9 +x_0=3500000 +ellps=bessel +towgs84=598.1,73.7,418.2,0.2,0,-2.5,6.7"),
        (3_500_000, 5_500_000),
        1,
    ),
}  # fmt: skip


@pytest.mark.parametrize("form", ["shapefile", "flatgeobuf", "geoparquet"])
@pytest.mark.parametrize("system", SYSTEMS)
def test_the_reference_system_comes_back(form, system, tmp_path):
    crs, origin, unit = SYSTEMS[system]
    layer = make_layer(OUTPUTS["plants"], crs, origin=origin, unit=unit)
    contracts = {"plants": OUTPUTS["plants"]}
    losses = write(form, {"plants": layer}, tmp_path / "out", crs, contracts)
    compare(form, conform(layer, OUTPUTS["plants"]), read(form, tmp_path / "out", "plants"), crs)
    # A GeoParquet file holds the whole system, with its shift.
    lost = crs.is_bound and form != "geoparquet"
    assert any("its own shift to WGS 84" in loss for loss in losses) == lost


# -- short names -----------------------------------------------------------------------------


@pytest.mark.parametrize("name", SPATIAL)
def test_short_names_differ_and_can_be_told_apart(name):
    labels = list(make_layer(SPATIAL[name]).columns.drop("geometry"))
    short = short_names(labels)
    assert list(short) == labels
    assert len({value.lower() for value in short.values()}) == len(labels)
    for label, value in short.items():
        assert len(value.encode("ascii")) <= LONGEST_NAME
        assert re.fullmatch(r"[a-z][a-z0-9_]*", value)
        assert len(label) > LONGEST_NAME or value == label
        # Legible: the letters stand in the name in this order, and it begins as the name does.
        assert value[0] == label[0]
        assert re.search(".*".join(value), label)


def test_names_that_would_be_the_same_get_a_figure_before_their_unit():
    # By hand: "height" loses i and e, "above" and "abave" e and the vowel before: ten letters. The
    # second name must give one more letter for its figure, and has no vowel left to give.
    assert short_names(["height_above_m", "height_abave_m"]) == {
        "height_above_m": "hght_abv_m",
        "height_abave_m": "hgh_abv2_m",
    }
    # A name that fits is not taken from its owner.
    assert short_names(["hght_abv_m", "height_above_m"])["height_above_m"] == "hgh_abv2_m"


# -- what is said to be lost -----------------------------------------------------------------


@pytest.mark.parametrize("form", FORMATS)
def test_what_a_format_never_keeps_is_told_each_time(form, tmp_path):
    contract, layer = things("Polygon", FEET)
    losses = write(form, {"things": layer}, tmp_path / "out", FEET, {"things": contract})
    assert FORMATS[form].losses
    assert set(FORMATS[form].losses) <= set(losses)


def test_the_command_line_takes_every_format():
    (choice,) = (each for each in main.commands["export"].params if each.name == "form")
    assert list(choice.type.choices) == list(FORMATS)


def test_losses_stand_beside_the_layers(tmp_path):
    contract, layer = things("Polygon", FEET)
    losses = write("shapefile", {"things": layer}, tmp_path / "out", FEET, {"things": contract})
    # WORDS[8] is the only text over 254 bytes; in `name` the order is turned round.
    assert "Layer things, column words, row 9: the text is cut after 254 bytes." in losses
    assert "Layer things, column name, row 1: the text is cut after 254 bytes." in losses
    notes = (tmp_path / "out" / "read_me.txt").read_text("utf-8")
    assert all(loss in notes for loss in losses)
    with (tmp_path / "out" / "columns.csv").open(encoding="utf-8", newline="") as source:
        rows = {row["column"]: row for row in csv.DictReader(source)}
    fields = list(pyogrio.read_info(tmp_path / "out" / "things.shp")["fields"])
    assert [row["written_as"] for row in rows.values()] == fields
    assert rows["amount_of_it_m"] == {
        "layer": "things", "file": "things.shp", "column": "amount_of_it_m",
        "written_as": fields[2], "type": "number", "unit": "m", "meaning": "A number",
        "rows": "9", "no_value": "1", "lost": "",
    }  # fmt: skip
    assert rows["words"]["lost"] == "is cut in 1 of the rows"


def test_a_shapefile_says_that_its_letters_are_utf_8(tmp_path):
    contract, layer = things("Point", FEET)
    write("shapefile", {"things": layer}, tmp_path / "out", FEET, {"things": contract})
    assert (tmp_path / "out" / "things.cpg").read_text() == "UTF-8"


@pytest.mark.parametrize("name", SPATIAL)
def test_a_shapefile_has_its_style_under_its_own_names(name, tmp_path):
    """Each column that the style beside it speaks of stands in the file, and no style is the same."""
    layer = make_layer(SPATIAL[name], FEET)
    for form in ("shapefile", "flatgeobuf"):
        write(form, {name: layer}, tmp_path / form, FEET, {name: SPATIAL[name]})
    style = (tmp_path / "shapefile" / f"{name}.qml").read_text("utf-8")
    fields = list(pyogrio.read_info(tmp_path / "shapefile" / f"{name}.shp")["fields"])
    assert re.findall(r'<alias field="(\w+)"', style) == fields
    # Quoted words of expressions are columns; in the document the quotes are escaped, or in text.
    spoken = re.findall(r"&quot;(\w+)&quot;", style) + re.findall(r'>[^<]*"(\w+)"[^<]*<', style)
    assert set(spoken) <= set(fields)
    wide = (tmp_path / "flatgeobuf" / f"{name}.qml").read_text("utf-8")
    assert wide.splitlines()[1:] == style_qml(name, columns=layer.columns).splitlines()[1:]


def test_kml_names_and_describes_its_rows(tmp_path):
    layer = make_layer(PRIVATE_PLACES, "EPSG:4326", unit=1e-5, rows=2)
    layer["name"] = ["Terrace\x07<b>", None]
    losses = write(
        "kml", {"private_places": layer}, tmp_path / "out", CRS(4326),
        {"private_places": PRIVATE_PLACES},
    )  # fmt: skip
    areas = read("kml", tmp_path / "out", "private_places_areas")
    assert areas["Name"].iloc[0] == layer["place_id"].iloc[0]
    assert "name: Terrace &lt;b&gt;" in areas["description"].iloc[0]
    assert areas["name_"].iloc[0] == "Terrace <b>"
    assert any("column name, row 1: control characters are spaces" in loss for loss in losses)
    text = (tmp_path / "out" / "plan.kml").read_text("utf-8")
    assert text.count("<styleUrl>#outline</styleUrl>") == 2


# -- the sample run --------------------------------------------------------------------------


#: GDAL reads the whole KML file for each layer: areas, lines, points, and an empty one are enough.
KML_SHOWN = ("parcels", "plants", "crowns", "views", "fence_posts")


@pytest.fixture(scope="module")
def run_folder(tmp_path_factory):
    return write_run(run_plan(SAMPLE), tmp_path_factory.mktemp("run") / "Hecke \u00fc")


@pytest.mark.parametrize("form", FORMATS)
def test_the_sample_run_comes_back(form, run_folder):
    exported = export_run(run_folder, form)
    assert exported.folder == run_folder.with_name(f"Hecke \u00fc_{form}")
    record = read_record(exported.folder)
    written = read_record(run_folder).files["plan.gpkg"]["layers"]
    assert exported.rows == written
    assert {"read_me.txt", "columns.csv"} < set(record.files)
    for name, rows in written.items():
        if (exported.folder / f"{name}.csv").is_file():
            assert not WRITTEN[name].geometry
            table = run_folder / "tables" / f"{name}.csv"
            assert table.is_file() == (rows > 0)  # an empty one stands in plan.gpkg alone
            if rows:
                assert (exported.folder / f"{name}.csv").read_bytes() == table.read_bytes()
            continue
        if form == "kml" and name not in KML_SHOWN:
            continue
        home = pyogrio.read_dataframe(run_folder / "plan.gpkg", layer=name)
        back = read(form, exported.folder, name)
        assert len(back) == len(home) == rows
        if form != "kml" and rows:
            assert CRS(back.crs).equals(CRS(home.crs), ignore_axis_order=True)
            distances = back.geometry.hausdorff_distance(home.geometry)
            assert distances.max() == EXACT
        elif rows:
            geojson = pyogrio.read_dataframe(run_folder / "layers" / f"{name}.geojson")
            flat = shapely.force_2d(back.geometry.array)
            distances = shapely.hausdorff_distance(flat, geojson.geometry.array)
            assert distances.max() <= GEOJSON_DEGREES


@pytest.mark.evidence(
    part="Files",
    kind="standard",
    against="Every GeoJSON file of the sample run: each rule that a writer can break",
    source="RFC 7946, sections 3 to 7, 11 and 12; geojson-pydantic as a second validator",
    status="code",
    tolerance="every rule",
)
def test_every_geojson_of_the_sample_run_keeps_the_rules(run_folder):
    files = sorted(run_folder.glob("layers/*.geojson"))
    assert {file.stem for file in files} == {
        name
        for name, rows in read_record(run_folder).files["plan.gpkg"]["layers"].items()
        if name in SPATIAL and rows
    }
    features = sum(len(hold_to_rfc(file)["features"]) for file in files)
    assert features > 1000  # the grid of sun hours alone has more


def test_chosen_layers_only(run_folder, tmp_path):
    exported = export_run(run_folder, "flatgeobuf", tmp_path / "some", names=["plants", "light"])
    assert list(exported.rows) == ["plants", "light_areas", "light_lines", "light_points"]
    names = {path.name for path in (tmp_path / "some").iterdir()}
    files = {f"{name}.{end}" for name in exported.rows for end in ("fgb", "qml")}
    assert names == {"columns.csv", "read_me.txt", "run.json"} | files
    # Written anew over itself: nothing in it is a person's own.
    assert exported.replaced is None
    again = export_run(run_folder, "kml", tmp_path / "some", names=["plants"])
    assert list(again.rows) == ["plants"]
    assert re.fullmatch(r"It holds the run.* of \S+Z, and its files are replaced", again.replaced)
    assert (tmp_path / "some" / "plan.kml").is_file()
    assert not (tmp_path / "some" / "plants.fgb").exists()


@pytest.mark.evidence(
    part="Files",
    kind="other software",
    against="Shapefile, FlatGeobuf and KML files: opened without a warning",
    source="ogrinfo of the system's GDAL",
    status="run",
    tolerance="no warning, every row",
)
@pytest.mark.skipif(not shutil.which("ogrinfo"), reason="ogrinfo is not there (gdal-bin)")
# GeoParquet is no driver of each GDAL; the validator below reads it.
@pytest.mark.parametrize("form", [form for form in FORMATS if form != "geoparquet"])
def test_the_systems_gdal_opens_it_without_a_warning(form, run_folder, tmp_path):
    folder = export_run(run_folder, form, tmp_path / "out", names=["plants", "views"]).folder
    for path in folder.glob(f"*{ENDINGS[form]}"):
        done = subprocess.run(
            ["ogrinfo", "-ro", "-al", str(path)],
            capture_output=True, text=True, check=True, env={"PATH": "/usr/bin:/bin"},
        )  # fmt: skip
        assert done.stderr == ""
        assert not re.search("^(Warning|ERROR)", done.stdout, re.MULTILINE), done.stdout
        # The record of the run counts the rows of its GeoPackage; a KML file holds both layers.
        rows = read_record(run_folder).files["plan.gpkg"]["layers"]
        counts = re.findall(r"Feature Count: (\d+)", done.stdout)
        expected = ["plants", "views"] if form == "kml" else [path.stem]
        assert [int(count) for count in counts] == [rows[name] for name in expected]


# -- refusals --------------------------------------------------------------------------------


def call(*arguments):
    from click.testing import CliRunner

    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def test_the_command_says_what_is_lost(run_folder, tmp_path):
    result = call("export", run_folder, "--as", "kml", "--out", tmp_path / "o", "--layer", "plants")
    assert result.exit_code == 0, result.output
    assert "Yes and no, and dates, are text" in result.output
    result = call(
        "export", run_folder, "--as", "kml", "--out", tmp_path / "o", "--layer", "plants", "--json"
    )
    content = json.loads(result.stdout)
    assert content["replaced"].endswith("and its files are replaced")
    # As the record of the run counts them.
    assert content["layers"] == {
        "plants": read_record(run_folder).files["plan.gpkg"]["layers"]["plants"]
    }
    assert any("longitude and latitude" in loss for loss in content["losses"])


def test_refusals(run_folder, tmp_path):
    result = call("export", tmp_path, "--as", "kml")
    assert result.exit_code == 2
    assert "it is no folder that a run wrote" in result.output
    with pytest.raises(InputError, match=r"the run has no layer 'trees'. Name some of parcels"):
        export_run(run_folder, "kml", tmp_path / "out", names=["trees"])
    with pytest.raises(InputError, match=r"there is no format 'dwg'. Name one of shapefile"):
        export_run(run_folder, "dwg", tmp_path / "out")
    own = tmp_path / "own"
    own.mkdir()
    (own / "letter.txt").write_text("mine")
    with pytest.raises(InputError, match=r"It holds files of your own \(letter.txt\)"):
        export_run(run_folder, "kml", own)
    assert not (tmp_path / "out").exists()
    assert [path.name for path in own.iterdir()] == ["letter.txt"]


@pytest.mark.parametrize("form", FORMATS)
def test_a_full_disk_leaves_nothing_behind(form, run_folder, tmp_path):
    resource = pytest.importorskip("resource", reason="POSIX only")
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, before[1]))
    try:
        with pytest.raises(InputError, match="written"):
            export_run(run_folder, form, tmp_path / "out", names=["crowns"])
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
    assert list(tmp_path.iterdir()) == []
