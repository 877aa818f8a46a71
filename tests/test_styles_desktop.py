"""The desktop GIS draws each layer by its own style: renderer, classes, colours, labels, aliases.

A style that fails is passed over in silence there, so each is asked for what it does: which class
draws which feature is held against the style's own tests, row by row.
"""

from collections import Counter

import geopandas
import pandas as pd
import pytest
import shapely
from desktop_kit import ask_desktop, why_not
from made_up import make_layer
from pyproj import CRS
from shapely.geometry import box
from style_kit import class_of

from screenplan.contracts import OUTPUTS, SURROUNDINGS, WRITTEN, as_written, written_parts
from screenplan.ground.frame import LocalFrame
from screenplan.outputs.conform import expand_columns
from screenplan.outputs.kinds import split_by_kind
from screenplan.outputs.layers import GEOPACKAGE_NAME, write_layers
from screenplan.outputs.other_formats import write_format
from screenplan.outputs.palette import COLOURS, SUN, WARN, YEARS
from screenplan.outputs.rasters import write_sun_hours
from screenplan.outputs.styles import KNOWN, STYLES, style_of
from screenplan.outputs.styles.expressions import combined
from screenplan.outputs.styles.model import Area, Line
from screenplan.outputs.styles.parts import MOST
from screenplan.outputs.styles.qml import FONTS

pytestmark = pytest.mark.desktop

SCRIPT = "desktop_styles.py"
RENDERERS = {
    "single": "singleSymbol",
    "by value": "categorizedSymbol",
    "by number": "graduatedSymbol",
    "by rule": "RuleRenderer",
}
#: Rows of a made-up layer beside those for its classes.
MORE = 3
#: A parcel's corner in systems in which a size in map units would be wrong.
PLACES = {
    "US feet": (2264, (1_450_000, 540_000), 100),
    "degrees": (4326, (-80.25, 35.5), 0.0005),
    "web Mercator": (3857, (890_000, 6_440_000), 100),
}


def varied(name, crs):
    """Make a layer up with a row for each class of its style, and some more rows."""
    contract = KNOWN[name]
    style = style_of(name, ["sun_y00", "sun_y05", "sun_y20"])
    layer = make_layer(contract, crs, rows=len(style.classes) + MORE, origin=(-20.0, 3.0))
    if name == "sun_grid":  # a step that counts the sun fills every year
        layer["sun_y20"] = 100.0
    for row, style_class in enumerate(style.classes):
        for column in {test.column for test in style_class.tests}:
            tests = [test for test in style_class.tests if test.column == column]
            layer.loc[row, column] = _value(tests, contract.column(column))
            if tests[0].less:
                layer.loc[row, column] += layer.loc[row, tests[0].less]
    return layer


def _value(tests, column):
    """Choose a value that passes tests of one column."""
    bounds = {test.operator: test.value for test in tests}
    if bounds.get("<=", MOST) != MOST:
        return bounds["<="]
    if ">" in bounds:
        return bounds[">"] + (1 if column.high is None else (column.high - bounds[">"]) / 2)
    (test,) = tests
    return {"=": test.value, "in": (test.value or [0])[-1] if test.operator == "in" else None,
            "null": None, "filled": 4}[test.operator]  # fmt: skip


@pytest.fixture(scope="module", params=PLACES)
def seen(request, tmp_path_factory):
    """Write made-up layers in one system, and ask the desktop GIS about each in both formats."""
    reason = why_not()
    if reason:
        pytest.skip(reason)
    code, (x, y), size = PLACES[request.param]
    folder = tmp_path_factory.mktemp("plan")
    parcel = geopandas.GeoSeries([box(x, y, x + size, y + size)], crs=code)
    frame = LocalFrame.around(parcel)
    contracts = OUTPUTS | SURROUNDINGS
    layers = {}
    for name, contract in contracts.items():
        if contract.geometry:
            made = [varied(part, frame.crs) for part in written_parts(contract)]
            layers[name] = pd.concat(made, ignore_index=True)
        else:
            layers[name] = make_layer(contract)
    write_layers(layers, folder, send_out=frame.send_out, crs=frame.source_crs)
    parts = split_by_kind(layers, OUTPUTS | SURROUNDINGS)
    return parts, *ask(folder, parts, tmp_path_factory.mktemp("home"))


def ask(folder, parts, home):
    """Ask about each layer that has rows: as GeoJSON, in the GeoPackage, and both with their SLD."""
    package = folder / GEOPACKAGE_NAME
    outside = [name for name in WRITTEN if name in STYLES and len(parts.get(name, ()))]
    inside = [name for name in KNOWN if name in parts and (name in WRITTEN or len(parts[name]))]
    jobs = {
        ("geojson", name): {"address": str(folder / "layers" / f"{name}.geojson")}
        for name in outside
    }
    jobs |= {("gpkg", name): {"address": f"{package}|layername={name}"} for name in inside}
    for name in outside:
        style = {"sld": str(folder / "styles" / f"{name}.sld")}
        for kind in ("geojson", "gpkg"):
            jobs[f"{kind} sld", name] = jobs[kind, name] | style
    answer, complaints = ask_desktop(SCRIPT, list(jobs.values()), home)
    assert complaints == ""
    assert answer["said"] == []
    return dict(zip(jobs, answer["layers"], strict=True)), inside


def rows_of(layer):
    """Give the rows as plain values, None where there is none."""
    table = pd.DataFrame(layer.drop(columns="geometry"))
    return table.astype(object).where(table.notna(), None).to_dict("records")


def test_every_layer_is_drawn_by_its_own_renderer(seen):
    _, found, _ = seen
    for (kind, name), layer in found.items():
        assert layer["valid"], (kind, name)
        assert layer["loaded"], (kind, name, layer.get("said"))
        if name not in STYLES or "sld" in kind:
            continue
        style = style_of(name, layer["aliases"])
        assert layer["renderer"] == RENDERERS[style.kind], (kind, name)
        assert layer["crs"], (kind, name)
        if style.kind in ("by value", "by number") and name != "sun_grid":
            assert layer["attribute"] == style.column
        if name == "sun_grid":
            assert layer["attribute"] == '"sun_now_h" - "sun_y20"'
        assert bool(layer["ordered"]) == bool(style.order), name
        if style.order:
            assert layer["ordered"] == [style.order]
        assert layer["below"] == (style.below or None), name


def test_classes_have_their_labels_tests_and_symbols(seen):
    _, found, _ = seen
    for (kind, name), layer in found.items():
        if name not in STYLES or "sld" in kind:
            continue
        style = style_of(name, layer["aliases"])
        assert len(layer["classes"]) == len(style.classes), name
        for style_class, drawn in zip(style.classes, layer["classes"], strict=True):
            assert drawn["label"] in (None, style_class.label)
            assert drawn["test"] == _expected_test(style, style_class), (name, style_class.label)
            assert _colours(drawn["symbol"]) == _expected_colours(style_class.symbol), (
                name,
                style_class.label,
            )


def _expected_test(style, style_class):
    if style.kind == "single":
        return None
    if style.kind == "by value":
        return style_class.tests[0].value
    if style.kind == "by number":
        return [float(test.value) for test in style_class.tests]
    return combined(style_class.tests) if style_class.tests else "ELSE"


def _colours(symbol):
    """List class and colour of a symbol's layers as drawn."""
    return [
        (layer["class"], layer["inner"][0]["colour"] if "inner" in layer else layer["colour"])
        for layer in symbol
    ]


def _expected_colours(symbol):
    if isinstance(symbol, Area):
        fill = [("SimpleFill", symbol.fill)] if symbol.fill else []
        hatches = [("LinePatternFill", hatch.ink.colour) for hatch in symbol.hatches]
        return fill + hatches + ([("SimpleLine", symbol.edge.colour)] if symbol.edge else [])
    if isinstance(symbol, Line):
        strokes = [("SimpleLine", stroke.colour) for stroke in symbol.strokes]
        return strokes + ([("MarkerLine", symbol.end.fill)] if symbol.end else [])
    return [("SimpleMarker", _mark_colour(mark)) for mark in symbol.marks]


def _mark_colour(mark):
    bare = mark.shape in ("x", "cross", "bar")  # of lines alone
    return mark.edge.colour if bare else mark.fill or COLOURS["paper"]


@pytest.mark.evidence(
    part="Desktop GIS and servers",
    kind="other software",
    against="Features that each class of each layer's style draws, by QML and by SLD, from GeoJSON and "
    "from the GeoPackage",
    source="the renderers of QGIS",
    status="run",
    tolerance="every row in its own class",
)
def test_each_class_draws_the_rows_that_it_should_and_none_is_left_out(seen):
    parts, found, _ = seen
    classes = Counter()
    for (kind, name), layer in found.items():
        if name not in STYLES:
            continue
        style = style_of(name, layer["aliases"])
        expected = Counter(class_of(style, row) for row in rows_of(parts[name]))
        assert None not in expected
        counts = layer["counts"]
        if style.kind == "single":
            assert list(counts.values()) == [len(parts[name])], (kind, name)
        else:
            assert counts == expected, (kind, name)
        classes[name] = max(classes[name], len(counts))
    # The made-up rows meet every class that tests something.
    for name, met in classes.items():
        assert met >= max(
            1, sum(bool(style_class.tests) for style_class in STYLES[name].classes)
        ), name


@pytest.mark.parametrize("form", ["shapefile", "flatgeobuf"])
def test_a_style_beside_a_file_of_another_format_draws_the_same_classes(form, tmp_path):
    """Its columns may be called otherwise there; a style that does not know them draws nothing."""
    reason = why_not()
    if reason:
        pytest.skip(reason)
    crs = CRS(25832)
    names = [name for name, contract in WRITTEN.items() if contract.geometry]
    made = {name: varied(name, crs) for name in names}
    write_format(
        made, tmp_path, form, send_out=lambda layer, crs: layer.to_crs(crs), crs=crs,
        contracts={name: WRITTEN[name] for name in names},
    )  # fmt: skip
    ending = {"shapefile": "shp", "flatgeobuf": "fgb"}[form]
    jobs = [{"address": str(tmp_path / f"{name}.{ending}")} for name in names]
    answer, complaints = ask_desktop(SCRIPT, jobs, tmp_path / "home")
    assert (complaints, answer["said"]) == ("", [])
    for name, layer in zip(names, answer["layers"], strict=True):
        style = style_of(name, made[name].columns)
        assert layer["loaded"], (name, layer.get("said"))
        assert layer["renderer"] == RENDERERS[style.kind], name
        expected = Counter(class_of(style, row) for row in rows_of(made[name]))
        if style.kind == "single":
            assert list(layer["counts"].values()) == [len(made[name])], name
        else:
            assert layer["counts"] == expected, name


def test_an_sld_gives_the_same_classes(seen):
    _, found, _ = seen
    assert sum("sld" in kind for kind, _ in found) == 2 * sum(
        kind == "geojson" for kind, _ in found
    )
    for (kind, name), layer in found.items():
        if "sld" not in kind:
            continue
        style = style_of(name, layer["aliases"])
        single = style.kind == "single"
        assert layer["renderer"] == ("singleSymbol" if single else "RuleRenderer"), (kind, name)
        ordered = style.classes[::-1] if style.order else style.classes
        assert [drawn["label"] for drawn in layer["classes"] if drawn["symbol"]] == [
            None if single else style_class.label for style_class in ordered
        ], (kind, name)
        for style_class, drawn in zip(ordered, layer["classes"], strict=False):
            expected = {
                colour
                for what, colour in _expected_colours(style_class.symbol)
                if "Marker" not in what
            }
            assert expected <= _all_colours(drawn["symbol"]), (name, style_class.label)
            if isinstance(style_class.symbol, Area):
                brushes = [BRUSHES[tuple(hatch.angle_deg for hatch in style_class.symbol.hatches)]]
                fills = [
                    brush for brush in (style_class.symbol.fill and "solid", *brushes) if brush
                ]
                patterns = [layer["properties"].get("style") for layer in drawn["symbol"]
                            if layer["class"] == "SimpleFill"]  # fmt: skip
                assert patterns == fills, (name, style_class.label)
        labels = style.label is not None and style.label.elsewhere
        assert bool(layer["labels"] and layer["labels"]["field"]) == labels, (kind, name)
        if labels:
            assert layer["labels"]["field"] == style.label.column
            assert layer["labels"]["halo"]


#: Hatches by their angles, as QGIS calls its own patterns.
BRUSHES = {
    (): None,
    (0.0,): "horizontal",
    (45.0,): "b_diagonal",
    (90.0,): "vertical",
    (135.0,): "f_diagonal",
    (45.0, 135.0): "diagonal_x",
    (0.0, 90.0): "cross",
}


def _all_colours(symbol):
    found = set()
    for layer in symbol:
        found.add(layer["colour"])
        found |= _all_colours(layer.get("inner", []))
        names = ("outline_color", "color", "line_color")
        rgba = [layer["properties"][name] for name in names if name in layer["properties"]]
        for value in rgba:
            red, green, blue = map(int, value.split(",")[:3])
            found.add(f"#{red:02x}{green:02x}{blue:02x}")
    return found


def test_labels_show_their_column_with_a_halo_up_to_their_scale(seen):
    _, found, _ = seen
    for (kind, name), layer in found.items():
        if name not in STYLES or "sld" in kind:
            continue
        label, drawn = STYLES[name].label, layer["labels"]
        if name == "sun_grid" or label is None:
            assert drawn is None, (kind, name)
            continue
        assert drawn["field"] == (label.expression or label.column)
        assert drawn["is_expression"] == bool(label.expression)
        assert drawn["valid"], (name, label.expression)
        assert drawn["scale_limited"]
        assert drawn["below"] == label.below
        assert drawn["size"] == label.size_pt
        assert drawn["colour"] == COLOURS[label.role]
        assert drawn["halo"]
        assert drawn["families"] == list(FONTS[1:])
        # Labels that would lie upon each other are left out, not drawn over each other, but for those of which
        # every one is needed.
        assert drawn["displays_all"] == label.always


def test_fields_have_aliases_and_layers_have_notes(seen):
    parts, found, inside = seen
    for (kind, name), layer in found.items():
        if "sld" in kind:
            continue
        columns = dict(expand_columns(KNOWN[name], parts[name].columns))
        aliases = dict(layer["aliases"])
        aliases.pop("fid", None)
        expected = {column: meaning.called(column) for column, meaning in columns.items()}
        assert aliases == expected, (kind, name)
        assert KNOWN[name].meaning.split("'")[0] in layer["notes"]
    assert {name for name in inside if name not in STYLES} == {
        name for name, contract in WRITTEN.items() if not contract.geometry
    }


def test_windows_are_turned_the_way_they_face(seen):
    _, found, _ = seen
    for kind in ("geojson", "gpkg"):
        for drawn in found[kind, "windows"]["classes"]:
            assert drawn["symbol"][0]["overrides"] == ['coalesce("facing_deg", 0)']


def test_the_sample_plan_opens_styled_with_every_feature_in_its_class(tmp_path):
    """A real run: counts by class are those of the rows, and what must stand out has its colour."""
    from screenplan.commandline.sample import sample_plan
    from screenplan.running.pipeline import run_plan

    reason = why_not()
    if reason:
        pytest.skip(reason)
    run = run_plan(sample_plan())
    frame = run.site.frame
    write_layers(run.layers, tmp_path, send_out=frame.send_out, crs=frame.source_crs)
    parts = split_by_kind(
        {name: run.layers[name] for name in OUTPUTS | SURROUNDINGS if name in run.layers},
        OUTPUTS | SURROUNDINGS,
    )
    found, _ = ask(tmp_path, parts, tmp_path / "home")
    for (kind, name), layer in found.items():
        if name not in STYLES:
            continue
        style = style_of(name, layer["aliases"])
        assert sum(layer["counts"].values()) == len(parts[name]), (kind, name)
        if style.kind != "single":
            expected = Counter(class_of(style, row) for row in rows_of(parts[name]))
            assert layer["counts"] == expected, (kind, name)
    views = found["gpkg", "views"]
    statuses = parts["views"]["status"].value_counts()
    assert views["counts"]["Never closes in the years looked at"] == statuses["stays open"] > 0
    assert views["counts"]["Closed already, by what stands there"] == statuses["closed already"] > 0
    drawn = {drawn["label"]: _colours(drawn["symbol"])[-1][1] for drawn in views["classes"]}
    assert drawn["Never closes in the years looked at"] == COLOURS["open"]
    assert drawn["Closes in years 3 to 5"] == YEARS[1]
    assert drawn["Closed already, by what stands there"] == COLOURS["closed"]
    zones = {
        drawn["label"]: _colours(drawn["symbol"])[0][1]
        for drawn in found["gpkg", "no_plant_zones"]["classes"]
    }
    assert zones["Buried lines: have them located"] == WARN
    # Crowns carry the plants' size: their polygons are as wide as the growth model says, on the ground.
    crowns = run.layers["crowns"]
    width = shapely.bounds(crowns.geometry.to_numpy())
    assert width[:, 2] - width[:, 0] == pytest.approx(crowns["spread_m"].to_numpy(), rel=0.01)
    assert set(as_written(SURROUNDINGS)) & {name for _, name in found}


def test_the_raster_of_sun_hours_opens_in_classes_of_its_darkest_year(tmp_path):
    reason = why_not()
    if reason:
        pytest.skip(reason)
    cells = [(column, line) for column in range(4) for line in range(3)]
    grid = geopandas.GeoDataFrame(
        {
            "cell_id": range(12),
            "column": [column for column, _ in cells],
            "line": [line for _, line in cells],
            "cell_m": 2.0,
            "sun_now_h": [100.0 * number for number in range(12)],
            "sun_y00": [90.0 * number for number in range(12)],
            "sun_y20": [50.0 * number for number in range(12)],
            "sun_y30": [60.0 * number for number in range(12)],
        },
        geometry=[shapely.Point(2 * column, 2 * line) for column, line in cells],
        crs=32632,
    )
    write_sun_hours(grid, tmp_path, grid.crs)
    job = {"raster": str(tmp_path / "sun_hours.tif")}
    answer, complaints = ask_desktop(SCRIPT, [job], tmp_path / "home")
    assert complaints == ""
    (found,) = answer["layers"]
    assert found["valid"]
    assert found["crs"]
    assert found["renderer"] == "singlebandpseudocolor"
    # Today is band 1, the years 0, 20 and 30 are bands 2 to 4; year 20 has the least sun.
    assert found["band"] == 3
    # By hand: 1100 h in six classes are 183 h, rounded up to 200 h.
    assert [item[0] for item in found["items"][:-1]] == [200, 400, 600, 800, 1000]
    assert [item[1] for item in found["items"]] == list(SUN)
    assert found["items"][0][2] == "0 to 200 h a year"
    assert found["items"][-1][2] == "1000 h a year and more"


def test_an_empty_layer_opens_with_its_kind_its_system_and_its_style(tmp_path):
    reason = why_not()
    if reason:
        pytest.skip(reason)
    parcel = geopandas.GeoSeries([box(1_450_000, 540_000, 1_450_100, 540_100)], crs=2264)
    frame = LocalFrame.around(parcel)
    layers = {name: make_layer(contract, frame.crs if contract.geometry else None, rows=0)
              for name, contract in OUTPUTS.items()}  # fmt: skip
    write_layers(layers, tmp_path, send_out=frame.send_out, crs=frame.source_crs)
    names = [name for name in WRITTEN if name in STYLES]
    jobs = [{"address": f"{tmp_path / GEOPACKAGE_NAME}|layername={name}"} for name in names]
    answer, complaints = ask_desktop(SCRIPT, jobs, tmp_path / "home")
    assert complaints == ""
    for name, layer in zip(names, answer["layers"], strict=True):
        assert layer["valid"], name
        assert layer["count"] == 0
        assert layer["crs"], name
        assert layer["renderer"] == RENDERERS[style_of(name, layer["aliases"]).kind], name
