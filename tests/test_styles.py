"""Styles: every layer has one, no feature is left out of it, and eyes of every kind can read it.

That the desktop GIS draws by them is held in ``test_styles_desktop.py``.
"""

import itertools
import re
import sqlite3
from contextlib import closing
from dataclasses import replace
from xml.etree.ElementTree import fromstring

import pytest
from colour_vision import MATRICES, distance, lightness
from made_up import make_all, make_layer
from style_kit import class_of, holds, list_tests, paint, shape_of

from screenplan.contracts import COUNTY, NO_PLANT_ZONES, OUTPUTS, PARCELS, SURROUNDINGS, WRITTEN
from screenplan.contracts.written import kinds_of
from screenplan.outputs import palette
from screenplan.outputs.conform import conform
from screenplan.outputs.drawings import style as drawings
from screenplan.outputs.geopackage import write_geopackage
from screenplan.outputs.kinds import split_by_kind
from screenplan.outputs.styles import KNOWN, STYLES, style_of, style_qml, style_sld
from screenplan.outputs.styles.delivery import write_style_files
from screenplan.outputs.styles.ground import KEPT_CLEAR
from screenplan.outputs.styles.model import Area, Class, Line, Points, Style, Test
from screenplan.rules.ruleset import FEATURES
from screenplan.site.files import choose_layer, open_file

SYMBOLS = {"areas": Area, "lines": Line, "points": Points}
#: CIE 1976 distance from which two fills of one layer are told apart without being side by side.
#: 2.3 is just noticeable side by side (Mahy and others 1994, from memory); three times that is ours.
APART = 7.0
#: Difference of CIE lightness from which two greys are told apart on paper; ours too.
GREYS_APART = 5.0
#: Columns of a made-up layer that has been run for these years.
ALL = STYLES | {"sun_grid by year": style_of("sun_grid", ["sun_y00", "sun_y05", "sun_y20"])}
NAMES = pytest.mark.parametrize("name", list(STYLES))


# --- what there is -------------------------------------------------------------------------------


def test_every_layer_with_a_shape_has_a_style_of_its_kind():
    spatial = [name for name, contract in KNOWN.items() if contract.geometry]
    assert list(STYLES) == spatial
    assert set(WRITTEN) <= set(KNOWN)
    for name in spatial:
        (kind,) = kinds_of(KNOWN[name])
        assert {type(style_class.symbol) for style_class in STYLES[name].classes} == {
            SYMBOLS[kind]
        }, name


@NAMES
def test_a_style_speaks_of_columns_that_the_layer_has(name):
    contract, style = KNOWN[name], STYLES[name]
    columns = {column.name: column for column in contract.columns}
    for test in list_tests(style):
        column = columns[test.column]
        values = test.value if test.operator == "in" else (test.value,)
        if column.choices and test.operator in ("=", "in"):
            assert set(values) <= set(column.choices), test
        if test.operator in ("<", "<=", ">", ">="):
            assert column.type in ("integer", "number"), test
        if test.operator == "null":
            assert not column.required, test
    named = set(
        re.findall(r'"(\w+)"', style.order + (style.label.expression if style.label else ""))
    )
    if style.label:
        named.add(style.label.column)
        assert style.label.role in palette.COLOURS
    assert named <= set(columns)
    marks = [
        mark
        for style_class in style.classes
        if isinstance(style_class.symbol, Points)
        for mark in style_class.symbol.marks
    ]
    assert {mark.turn for mark in marks} - {""} <= set(columns)


@NAMES
def test_classes_are_told_apart_in_the_legend_and_hold_all_there_is(name):
    """Of every combination of values at, below and above each bound, just one class holds each."""
    contract, style = KNOWN[name], STYLES[name]
    labels = [style_class.label for style_class in style.classes]
    assert len(set(labels)) == len(labels)
    assert all(0 < len(label) <= 60 for label in labels)
    assert sum(not style_class.tests for style_class in style.classes) <= 1
    columns = dict.fromkeys(test.column for test in list_tests(style))
    trials = [_trials(contract.column(column), style) for column in columns]
    met = set()
    for values in itertools.product(*trials):
        row = dict(zip(columns, values, strict=True))
        own = [
            style_class
            for style_class in style.classes
            if style_class.tests and holds(style_class, row)
        ]
        rest = [style_class for style_class in style.classes if not style_class.tests]
        assert len(own or rest) == 1, row
        met.add((own or rest)[0].label)
    assert met == set(labels)


def _trials(column, style):
    if column.type == "boolean":
        values = [True, False]
    elif column.type == "text":
        values = list(column.choices) or ["something else"]
        for test in list_tests(style):
            if test.column == column.name and not column.choices and test.value is not None:
                values += test.value if test.operator == "in" else [test.value]
    else:
        bounds = {test.value for test in list_tests(style) if test.column == column.name} - {None}
        nudge = 1 if column.type == "integer" else 1e-6
        values = {value + step for value in bounds for step in (-nudge, 0, nudge)}
        values = {value for value in values if -1 < value <= 1e9}
        if column.low is not None:
            values = {value for value in values if value >= column.low}
        values = sorted(values) or [1]
    if not column.required and column.default is None:
        values = [*values, None]
    return values


def test_exclusions_are_drawn_by_every_class_of_things_that_rules_know():
    grouped = [feature for features, _ in KEPT_CLEAR.values() for feature in features]
    assert sorted([*grouped, "keep_out"]) == sorted(FEATURES)
    assert class_of(STYLES["no_plant_zones"], {"feature": "keep_out"}) == "Kept out by the plan"
    assert STYLES["no_plant_zones"].label.column in [c.name for c in NO_PLANT_ZONES.columns]


def test_views_are_drawn_by_the_year_in_which_they_close():
    def at(status, year=None):
        return class_of(STYLES["views"], {"status": status, "year_closed": year})

    assert [at("closes", year) for year in (0, 2, 3, 5, 6, 10, 11, 15, 16, 60)] == [
        "Closes by year 2", "Closes by year 2", "Closes in years 3 to 5", "Closes in years 3 to 5",
        "Closes in years 6 to 10", "Closes in years 6 to 10", "Closes in years 11 to 15",
        "Closes in years 11 to 15", "Closes after year 15", "Closes after year 15",
    ]  # fmt: skip
    assert at("stays open") == "Never closes in the years looked at"
    assert at("closed already", 0) == "Closed already, by what stands there"
    assert at("no view") == "No view"


def test_sizes_are_millimetres_everywhere():
    """Map units would be wrong in feet and in degrees: no document may speak of any."""
    for name in STYLES:
        qml = style_qml(name, columns=["sun_y00", "sun_y20"])
        assert "MapUnit" not in qml, name
        assert set(re.findall(r'name="\w*_unit" type="QString" value="(\w+)"', qml)) <= {"MM"}
        assert set(re.findall(r'(?:Size|dist)Units?="(\w+)"', qml)) <= {"MM", "Point"}
        assert "uom" not in style_sld(name), name


def test_what_is_crowded_shows_at_large_scales_only():
    for name, most in {"plants": 500, "needed_height": 500, "no_plant_zones": 500,
                       "windows": 1000, "sides": 5000, "pegs": 2000}.items():  # fmt: skip
        assert 0 < STYLES[name].label.below <= most, name
    assert STYLES["pegs"].label.priority > STYLES["plants"].label.priority
    assert STYLES["crowns"].label is None


def test_every_stake_has_its_number_at_any_scale():
    style, label = STYLES["stakes"], STYLES["stakes"].label
    assert style.below is None
    assert label.always
    assert label.below >= 10**8  # no map of a garden is smaller
    # Square to its line, so that numbers of neighbours never meet: turned, and smaller where stakes close up.
    made = fromstring(style_qml("stakes")).find("labeling/settings")
    assert made.find("rendering").get("displayAll") == "1"
    turned = {one.get("name") for one in made.iter("Option")}
    assert {"LabelRotation", "OffsetQuad", "Size"} <= turned


# --- colours -------------------------------------------------------------------------------------


def test_the_drawings_and_the_layers_share_one_palette():
    assert drawings.COLOURS is palette.COLOURS
    known = {*palette.COLOURS.values(), palette.WARN, *palette.YEARS, *palette.HEIGHTS,
             *palette.SHADE, *palette.QUIETER, *palette.CROWNS}  # fmt: skip
    for name, style in ALL.items():
        for style_class in style.classes:
            assert set(re.findall("#[0-9a-f]{6}", repr(style_class.symbol))) <= known, (
                name,
                style_class.label,
            )


def test_the_simulation_is_the_published_one():
    # Closed form: each matrix keeps white (its rows add up to 1), so that paper stays paper, up to
    # the rounding of its published figures.
    for matrix in MATRICES.values():
        assert matrix.sum(axis=1) == pytest.approx([1.0, 1.0, 1.0], abs=2e-6)
    # CIE 15: white has lightness 100, black 0, and mid-grey #777777 has 50.03 (sRGB to CIELAB, from
    # memory).
    assert lightness("#ffffff") == pytest.approx(100.0)
    assert lightness("#000000") == pytest.approx(0.0, abs=1e-9)
    assert lightness("#777777") == pytest.approx(50.03, abs=0.05)
    # What the model is for: red and green of one lightness fall together, blue and yellow do not.
    assert distance("#a05000", "#5a7000", "deuteranopia") < 0.4 * distance("#a05000", "#5a7000")
    assert distance("#2040ff", "#c0b000", "protanopia") > 100


@pytest.mark.evidence(
    part="Desktop GIS and servers",
    kind="published",
    against="Classes of one layer, as eyes without one kind of cone see them, and in grey",
    source="Machado, Oliveira and Fernandes 2009, matrices at severity 1.0",
    status="code",
    tolerance=f"at least {APART:g} in CIELAB (1976) and {GREYS_APART:g} in lightness, unless shape, dash "
    "or hatch differ",
)
@pytest.mark.parametrize("name", list(ALL))
def test_classes_are_told_apart_by_every_eye_and_in_grey(name):
    """Two classes of one layer differ in shape, dash or hatch, or in colour to each kind of eye."""
    for one, other in itertools.combinations(ALL[name].classes, 2):
        if shape_of(one.symbol) != shape_of(other.symbol):
            continue
        colours = paint(one.symbol), paint(other.symbol)
        seen = {vision: distance(*colours, vision) for vision in MATRICES}
        assert min(seen.values()) >= APART, (one.label, other.label, seen)
        grey = abs(lightness(colours[0]) - lightness(colours[1]))
        assert grey >= GREYS_APART, (one.label, other.label, grey)


@pytest.mark.parametrize("ramp", ["YEARS", "HEIGHTS", "SHADE", "QUIETER", "CROWNS", "SUN"])
def test_ramps_run_one_way_from_light_to_dark_or_back(ramp):
    grey = [lightness(colour) for colour in getattr(palette, ramp)]
    assert grey in (sorted(grey), sorted(grey, reverse=True))


def test_what_never_closes_and_what_warns_stand_out():
    open_, closes = palette.COLOURS["open"], palette.YEARS
    for vision in MATRICES:
        assert min(distance(open_, year, vision) for year in closes) >= 3 * APART
        assert distance(palette.WARN, palette.COLOURS["faint"], vision) >= 3 * APART


# --- documents -----------------------------------------------------------------------------------


def test_documents_name_each_column_once_and_tell_what_it_means():
    columns = ["open_y00", "open_y05", "open_y20"]
    root = fromstring(style_qml("views", columns=columns))
    aliases = {entry.get("field"): entry.get("name") for entry in root.iter("alias")}
    assert list(aliases)[:3] == ["view_id", "name", "window_id"]
    assert set(columns) <= set(aliases)
    notes = root.find("customproperties/Option/Option[@name='userNotes']").get("value")
    for column in OUTPUTS["views"].columns:
        assert column.meaning.replace("'", "&#x27;") in notes
    table = fromstring(style_qml("closure"))
    assert table.find("renderer-v2") is None
    assert len(table.findall("aliases/alias")) == len(OUTPUTS["closure"].columns)


def test_the_list_of_features_calls_each_row_by_its_name():
    shown = {
        name: fromstring(style_qml(name)).findtext("previewExpression")
        for name in ("views", "windows", "plants")
    }
    assert shown["views"] == 'coalesce("name", "view_id")'
    assert shown["windows"].startswith('coalesce("name", ')
    assert shown["plants"] == f'"{STYLES["plants"].label.column}"'


#: What an element of SLD 1.0 may hold, in this order (schema of OGC 02-070, as GeoTools and MapServer
#: quote it in their sources); a star for what may come again and again.
ORDER = {
    "StyledLayerDescriptor": ["Name", "Title", "Abstract", "NamedLayer*"],
    "NamedLayer": ["Name", "UserStyle*"],
    "UserStyle": ["Name", "Title", "Abstract", "IsDefault", "FeatureTypeStyle*"],
    "FeatureTypeStyle": ["Name", "Title", "Abstract", "FeatureTypeName", "Rule*"],
    "Rule": [
        "Name", "Title", "Abstract", "LegendGraphic", "Filter", "MinScaleDenominator",
        "MaxScaleDenominator", "PolygonSymbolizer*", "LineSymbolizer*", "PointSymbolizer*",
        "TextSymbolizer*",
    ],
    "PolygonSymbolizer": ["Geometry", "Fill", "Stroke"],
    "LineSymbolizer": ["Geometry", "Stroke"],
    "PointSymbolizer": ["Geometry", "Graphic"],
    "TextSymbolizer": ["Geometry", "Label", "Font", "LabelPlacement", "Halo", "Fill"],
    "Fill": ["GraphicFill", "CssParameter*"],
    "Stroke": ["GraphicFill", "GraphicStroke", "CssParameter*"],
    "GraphicFill": ["Graphic"],
    "Graphic": ["Mark*", "Opacity", "Size", "Rotation"],
    "Mark": ["WellKnownName", "Fill", "Stroke"],
    "Font": ["CssParameter*"],
    "LabelPlacement": ["PointPlacement", "LinePlacement"],
    "PointPlacement": ["AnchorPoint", "Displacement", "Rotation"],
    "AnchorPoint": ["AnchorPointX", "AnchorPointY"],
    "Displacement": ["DisplacementX", "DisplacementY"],
    "LinePlacement": ["PerpendicularOffset"],
    "Halo": ["Radius", "Fill"],
}  # fmt: skip


@NAMES
def test_an_sld_keeps_the_order_of_the_standard(name):
    root = fromstring(style_sld(name))
    assert root.tag == "{http://www.opengis.net/sld}StyledLayerDescriptor"
    assert root.get("version") == "1.0.0"
    for element in root.iter():
        tag = element.tag.rpartition("}")[2]
        if tag not in ORDER or "/ogc}" in element.tag:
            continue
        pattern = "".join(
            f"({part.rstrip('*')} ){'*' if '*' in part else '?'}" for part in ORDER[tag]
        )
        inner = "".join(child.tag.rpartition("}")[2] + " " for child in element)
        assert re.fullmatch(pattern, inner), (tag, inner)


def test_a_layer_of_several_kinds_is_found_by_its_geometry():
    assert style_qml("light", "Point") == style_qml("light_points")
    assert (
        style_qml("light", "MultiPolygon")
        == style_qml("light", "areas")
        == style_qml("light_areas")
    )
    assert style_sld("private_places", "Point") == style_sld("private_places_points")
    for call in (lambda: style_qml("nothing"), lambda: style_qml("light"), lambda: style_sld("closure"),
                 lambda: style_qml("private_places", "LineString")):  # fmt: skip
        with pytest.raises(KeyError):
            call()


def test_a_style_of_the_rest_is_made_of_rules():
    area = STYLES["parcels"].classes[0].symbol
    some = (Class("one", area, (Test("kind", "=", "a"),)), Class("rest", area))
    assert Style(some).kind == "by rule"
    assert Style(some[:1]).kind == "by value"
    assert Style(some[1:]).kind == "single"


# --- on their way --------------------------------------------------------------------------------

FEET = "EPSG:2264"


@pytest.fixture(scope="module")
def package(tmp_path_factory):
    path = tmp_path_factory.mktemp("styled") / "plan.gpkg"
    layers = split_by_kind(
        make_all(OUTPUTS | SURROUNDINGS | COUNTY, FEET, rows=4), OUTPUTS | SURROUNDINGS | COUNTY
    )
    write_geopackage(layers, path, FEET, contracts=KNOWN)
    return path


def test_every_layer_has_its_default_style_in_the_geopackage(package):
    with closing(sqlite3.connect(package)) as database:
        database.row_factory = sqlite3.Row
        rows = {row["f_table_name"]: row for row in database.execute("SELECT * FROM layer_styles")}
        counted = database.execute(
            "SELECT feature_count FROM gpkg_ogr_contents WHERE table_name = 'layer_styles'"
        ).fetchone()[0]
        moments = {
            moment for (moment,) in database.execute("SELECT last_change FROM gpkg_contents")
        }
    assert list(rows) == list(KNOWN)
    assert counted == len(KNOWN)
    for name, row in rows.items():
        # Without an empty schema and the real geometry column the desktop GIS passes a style over.
        assert row["f_table_schema"] == row["f_table_catalog"] == ""
        assert row["f_geometry_column"] == ("geom" if name in STYLES else "")
        assert row["useAsDefault"] == 1
        assert len(row["styleName"]) <= 30
        assert fromstring(row["styleQML"]).tag == "qgis"
        assert (row["styleSLD"] is not None) == (name in STYLES)
        assert {row["update_time"]} == moments


def test_the_geopackage_says_what_its_columns_mean(package):
    import pyogrio

    with closing(sqlite3.connect(package)) as database:
        rows = database.execute(
            "SELECT table_name, column_name, name, description FROM gpkg_data_columns"
        ).fetchall()
    told = {(table, column): (name, says) for table, column, name, says in rows}
    for name, contract in KNOWN.items():
        for column in contract.columns:
            if not column.per_year:
                assert told[name, column.name] == (
                    column.called(column.name),
                    column.meaning,
                )
    # The columns keep their own names for GDAL.
    fields = list(pyogrio.read_info(package, layer="plants")["fields"])
    assert fields == [column.name for column in OUTPUTS["plants"].columns]


def test_the_table_of_styles_is_not_taken_for_a_layer(tmp_path):
    path = tmp_path / "one.gpkg"
    write_geopackage({"parcels": make_layer(PARCELS, FEET)}, path, FEET)
    assert choose_layer("parcels", open_file(path, "the parcels layer"), None) == "parcels"


def test_style_files_stand_beside_their_layers(tmp_path):
    layouts = [
        conform(make_layer(OUTPUTS[name], FEET), OUTPUTS[name])
        for name in ("plants", "sun_grid", "closure")
        if name != "closure"
    ] + [conform(make_layer(OUTPUTS["closure"]), OUTPUTS["closure"])]
    written = write_style_files(layouts, tmp_path, tmp_path / "styles")
    assert [path.relative_to(tmp_path).as_posix() for path in written] == [
        "plants.qml", "styles/plants.sld", "sun_grid.qml", "styles/sun_grid.sld",
    ]  # fmt: skip
    assert written[0].read_text(encoding="utf-8") == style_qml("plants")
    # The last year that the layer has is the one drawn.
    assert "&quot;sun_now_h&quot; - &quot;sun_y20&quot;" in written[2].read_text(encoding="utf-8")
    assert "sun_y20" in written[3].read_text(encoding="utf-8")


def test_a_layer_that_is_not_known_is_written_without_a_style(tmp_path):
    other = replace(PARCELS, name="others")
    path = tmp_path / "others.gpkg"
    write_geopackage({"others": make_layer(other, FEET)}, path, FEET, contracts={"others": other})
    with closing(sqlite3.connect(path)) as database:
        assert database.execute("SELECT count(*) FROM layer_styles").fetchone() == (0,)
    assert (
        write_style_files([conform(make_layer(other, FEET), other)], tmp_path, tmp_path / "styles")
        == []
    )
