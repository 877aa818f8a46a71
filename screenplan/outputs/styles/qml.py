"""A layer's style as the desktop GIS keeps it: a QML document for QGIS 3.22 and later.

The format has no written definition; element and attribute names are those that QGIS 3.22 itself
writes and reads, checked by opening each style in it (``tests/test_styles.py``).
"""

from __future__ import annotations

import html
from collections.abc import Iterable, Mapping
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from screenplan.contracts import Column
from screenplan.outputs.palette import COLOURS
from screenplan.outputs.styles.expressions import combined, graded
from screenplan.outputs.styles.model import (
    Area,
    Class,
    Label,
    Line,
    Mark,
    Points,
    Stroke,
    Style,
    Symbol,
)

VERSION = "3.22.0"
HEADER = "<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>\n"
#: Number of each kind of geometry in QGIS.
_GEOMETRY = {"points": "0", "lines": "1", "areas": "2"}
_TYPES = {Area: "fill", Line: "line", Points: "marker"}
_SHAPES = {
    "circle": "circle",
    "square": "square",
    "diamond": "diamond",
    "triangle": "triangle",
    "cross": "cross",
    "x": "cross2",
    "star": "star",
    "bar": "line",
    "arrow": "filled_arrowhead",
}
#: QGIS counts an arrowhead's size over its whole box and lets it point to the right.
_POINTS_EAST = ("arrow",)
_HALO_MM = 0.7
#: A typographic point, millimetres, and the height of a line by that of its letters.
MM_PER_POINT, _LINE = 0.3528, 1.15
#: Typefaces in the order in which one is looked for; each system has one of them.
FONTS = ("Arial", "Liberation Sans", "DejaVu Sans", "Sans Serif")


def write_qml(
    style: Style | None,
    kind: str | None,
    columns: Iterable[tuple[str, Column]],
    meaning: str,
) -> str:
    """Write a style as a QML document.

    Parameters
    ----------
    style : Style or None
        None for a table.
    kind : {"areas", "lines", "points"} or None
    columns : iterable of (str, Column)
        Names as they stand in the layer, and what they mean.
    meaning : str
        What one row is.

    Returns
    -------
    str
    """
    columns = list(columns)
    root = Element("qgis", version=VERSION, styleCategories="AllStyleCategories")
    if style is not None:
        _add_scales(root, style)
        root.append(_renderer(style))
        if style.label is not None and kind is not None:
            root.append(_labelling(style.label, kind))
    _add_properties(root, _notes(meaning, columns))
    if style is not None:
        SubElement(root, "blendMode").text = "0"
        SubElement(root, "featureBlendMode").text = "0"
        SubElement(root, "layerOpacity").text = _number(style.opacity)
    aliases = SubElement(root, "aliases")
    for index, (name, column) in enumerate(columns):
        SubElement(aliases, "alias", field=name, index=str(index), name=column.called(name))
    if style is not None and kind is not None:
        SubElement(root, "previewExpression").text = _preview(style, [name for name, _ in columns])
        SubElement(root, "layerGeometryType").text = _GEOMETRY[kind]
    else:
        SubElement(root, "layerGeometryType").text = "4"
    indent(root, " ")
    return HEADER + tostring(root, encoding="unicode") + "\n"


def _preview(style: Style, names: list[str]) -> str:
    """Say what the list of features calls a row: its name if it has one."""
    shown = f'"{style.label.column if style.label else names[0]}"'
    return f'coalesce("name", {shown})' if "name" in names else shown


def _notes(meaning: str, columns: Iterable[tuple[str, Column]]) -> str:
    """Say what a row is, and what each column means, as HTML."""
    rows = "".join(
        f"<tr><td><b>{html.escape(column.called(name))}</b></td>"
        f"<td>{html.escape(column.meaning)}</td></tr>"
        for name, column in columns
    )
    return f"<p>{html.escape(meaning)}.</p><table>{rows}</table>"


def _add_scales(root: Element, style: Style) -> None:
    root.set("hasScaleBasedVisibilityFlag", "1" if style.below else "0")
    root.set("minScale", str(style.below or 100_000_000))
    root.set("maxScale", "0")


def _add_properties(root: Element, notes: str) -> None:
    properties = SubElement(root, "customproperties")
    _options(properties, {"userNotes": notes})


def _options(parent: Element, values: Mapping[str, str]) -> None:
    table = SubElement(parent, "Option", type="Map")
    for name, value in values.items():
        SubElement(table, "Option", name=name, type="QString", value=value)


# --- the renderer --------------------------------------------------------------------------------


def _renderer(style: Style) -> Element:
    kind = style.kind
    if kind == "single":
        renderer = Element("renderer-v2", type="singleSymbol")
    elif kind == "by value":
        renderer = Element("renderer-v2", type="categorizedSymbol", attr=style.column)
        categories = SubElement(renderer, "categories")
        for number, style_class in enumerate(style.classes):
            categories.append(_category(style_class, number))
    elif kind == "by number":
        renderer = Element(
            "renderer-v2",
            type="graduatedSymbol",
            attr=graded(style.classes[0].tests[0]),
            graduatedMethod="GraduatedColor",
        )
        ranges = SubElement(renderer, "ranges")
        for number, style_class in enumerate(style.classes):
            low, high = (float(test.value) for test in style_class.tests)
            SubElement(
                ranges, "range", lower=repr(low), upper=repr(high), symbol=str(number),
                label=style_class.label, render="true",
            )  # fmt: skip
    else:
        renderer = Element("renderer-v2", type="RuleRenderer")
        rules = SubElement(renderer, "rules", key="{all}")
        for number, style_class in enumerate(style.classes):
            SubElement(
                rules, "rule", key=f"{{class {number}}}", symbol=str(number), label=style_class.label,
                filter=combined(style_class.tests) if style_class.tests else "ELSE",
            )  # fmt: skip
    renderer.set("symbollevels", "0")
    renderer.set("forceraster", "0")
    renderer.set("enableorderby", "1" if style.order else "0")
    symbols = SubElement(renderer, "symbols")
    for number, style_class in enumerate(style.classes):
        symbols.append(_symbol(style_class.symbol, str(number)))
    SubElement(renderer, "rotation")
    SubElement(renderer, "sizescale")
    if style.order:
        order = SubElement(renderer, "orderby")
        SubElement(order, "orderByClause", asc="0", nullsFirst="1").text = style.order
    return renderer


def _category(style_class: Class, number: int) -> Element:
    value = style_class.tests[0].value
    kind = "long" if isinstance(value, int) else "string"
    return Element(
        "category",
        value=str(value),
        type=kind,
        symbol=str(number),
        label=style_class.label,
        render="true",
    )


# --- symbols -------------------------------------------------------------------------------------


def _symbol(symbol: Symbol, name: str) -> Element:
    made = Element(
        "symbol", name=name, type=_TYPES[type(symbol)], alpha="1", clip_to_extent="1", force_rhr="0"
    )
    _no_overrides(made)
    if isinstance(symbol, Points):
        for mark in symbol.marks:
            _add_mark(made, mark)
    elif isinstance(symbol, Line):
        for stroke in symbol.strokes:
            _add_stroke(made, stroke)
        if symbol.end:
            _add_end(made, symbol.end, name)
    else:
        _add_area(made, symbol, name)
    return made


def _layer(parent: Element, kind: str, values: Mapping[str, str], turn: str = "") -> Element:
    made = SubElement(parent, "layer", {"class": kind}, enabled="1", locked="0")
    made.set("pass", "0")
    _options(made, values)
    _no_overrides(made, turn)
    return made


def _no_overrides(parent: Element, turn: str = "") -> None:
    """Write what is taken from the feature: nothing, or the direction of a mark."""
    made = SubElement(SubElement(parent, "data_defined_properties"), "Option", type="Map")
    SubElement(made, "Option", name="name", type="QString", value="")
    properties = SubElement(made, "Option", name="properties")
    if turn:
        properties.set("type", "Map")
        angle = SubElement(properties, "Option", name="angle", type="Map")
        SubElement(angle, "Option", name="active", type="bool", value="true")
        SubElement(angle, "Option", name="expression", type="QString", value=turn)
        SubElement(angle, "Option", name="type", type="int", value="3")
    SubElement(made, "Option", name="type", type="QString", value="collection")


def _add_mark(parent: Element, mark: Mark, *, along: bool = False) -> None:
    edge = mark.edge or Stroke(COLOURS["ink"], 0.0)
    east = mark.shape in _POINTS_EAST and not along
    base = -90.0 if east else 0.0
    turn = f'coalesce("{mark.turn}", 0) {"- 90" if east else ""}'.strip() if mark.turn else ""
    values = {
        "name": _SHAPES[mark.shape],
        "size": _number(mark.size_mm),
        "size_unit": "MM",
        "angle": _number(base),
        "color": rgba(mark.fill or COLOURS["paper"], 1.0 if mark.fill else 0.0),
        "outline_color": rgba(edge.colour, edge.opacity),
        "outline_style": "solid" if mark.edge else "no",
        "outline_width": _number(edge.width_mm),
        "outline_width_unit": "MM",
        "offset": f"{_number(mark.offset_mm[0])},{_number(mark.offset_mm[1])}",
        "offset_unit": "MM",
        "scale_method": "diameter",
        "joinstyle": "miter",
        "horizontal_anchor_point": "1",
        "vertical_anchor_point": "1",
    }
    _layer(parent, "SimpleMarker", values, turn)


def _add_stroke(parent: Element, stroke: Stroke) -> None:
    values = {
        "line_color": rgba(stroke.colour, stroke.opacity),
        "line_width": _number(stroke.width_mm),
        "line_width_unit": "MM",
        "line_style": "solid",
        "capstyle": "flat",
        "joinstyle": "round",
        "use_custom_dash": "1" if stroke.dash_mm else "0",
        "customdash": ";".join(_number(part) for part in stroke.dash_mm or (5.0, 2.0)),
        "customdash_unit": "MM",
        "draw_inside_polygon": "0",
    }
    _layer(parent, "SimpleLine", values)


def _add_end(parent: Element, mark: Mark, name: str) -> None:
    values = {"placement": "lastvertex", "rotate": "1", "offset": "0", "offset_unit": "MM"}
    made = _layer(parent, "MarkerLine", values)
    inner = SubElement(
        made, "symbol", name=f"@{name}@{_number_of(parent) - 1}", type="marker", alpha="1",
        clip_to_extent="1", force_rhr="0",
    )  # fmt: skip
    _no_overrides(inner)
    _add_mark(inner, mark, along=True)


def _add_area(parent: Element, area: Area, name: str) -> None:
    if area.fill:
        values = {
            "color": rgba(area.fill, area.opacity),
            "style": "solid",
            "outline_style": "no",
            "border_width_map_unit_scale": "3x:0,0,0,0,0,0",
        }
        _layer(parent, "SimpleFill", values)
    for hatch in area.hatches:
        values = {
            "angle": _number(hatch.angle_deg),
            "distance": _number(hatch.spacing_mm),
            "distance_unit": "MM",
            "line_width": _number(hatch.ink.width_mm),
            "line_width_unit": "MM",
            "color": rgba(hatch.ink.colour, hatch.ink.opacity),
            "offset": "0",
            "offset_unit": "MM",
        }
        made = _layer(parent, "LinePatternFill", values)
        inner = SubElement(
            made, "symbol", name=f"@{name}@{_number_of(parent) - 1}", type="line", alpha="1",
            clip_to_extent="1", force_rhr="0",
        )  # fmt: skip
        _no_overrides(inner)
        _add_stroke(inner, hatch.ink)
    if area.edge:
        _add_stroke(parent, area.edge)


def _number_of(symbol: Element) -> int:
    return len(symbol.findall("layer"))


# --- labels --------------------------------------------------------------------------------------


def _labelling(label: Label, kind: str) -> Element:
    made = Element("labeling", type="simple")
    settings = SubElement(made, "settings", calloutType="simple")
    style = SubElement(
        settings, "text-style", fieldName=label.expression or label.column,
        isExpression="1" if label.expression else "0", fontFamily=FONTS[0],
        fontSize=_number(label.size_pt), fontSizeUnit="Point",
        fontWeight="75" if label.bold else "50", fontItalic="0",
        textColor=rgba(COLOURS[label.role], 1.0), textOpacity="1", namedStyle="",
        multilineHeight="1", useSubstitutions="0", allowHtml="0", previewBkgrdColor="255,255,255,255",
    )  # fmt: skip
    families = SubElement(style, "families")
    for family in FONTS[1:]:
        SubElement(families, "family", name=family)
    SubElement(
        style, "text-buffer", bufferDraw="1", bufferSize=_number(_HALO_MM), bufferSizeUnits="MM",
        bufferColor=rgba(COLOURS["paper"], 1.0), bufferOpacity="0.9", bufferNoFill="0",
        bufferJoinStyle="128",
    )  # fmt: skip
    SubElement(settings, "text-format", wrapChar="", plussign="0", formatNumbers="0")
    SubElement(settings, "placement", _placement(label, kind))
    SubElement(
        settings, "rendering", drawLabels="1", scaleVisibility="1", scaleMin="0",
        scaleMax=str(label.below), displayAll=str(int(label.always)), obstacle="1", obstacleFactor="1",
        obstacleType="1", mergeLines="0", labelPerPart="0", limitNumLabels="0", upsidedownLabels="0",
        fontLimitPixelSize="0", minFeatureSize="0", zIndex="0", unplacedVisibility="0",
    )  # fmt: skip
    if label.across:
        _add_across(settings, label.size_pt, *label.across)
    return made


def _add_across(settings: Element, size_pt: float, line: str, along: str) -> None:
    """Turn labels square to the line of their points, and let them shrink as the points close up on paper."""
    points = f'collect($geometry, group_by:="{line}")'
    # Letters lean to the right; numbers stand on the side away from the other lines, so that none runs through them.
    east = "(coalesce(degrees(azimuth(geometry_n(@c, 1), geometry_n(@c, num_geometries(@c)))), 90) + 90) % 180"
    turn = f"with_variable('c', {points}, {east} - 90)"
    outwards = "coalesce(azimuth(centroid(collect($geometry)), centroid(@c)), radians(@t))"
    side = f"with_variable('c', {points}, with_variable('t', {east}, if(cos(radians(@t) - {outwards}) < -0.01, 3, 5)))"
    steps = (
        "array_filter(array_foreach(generate_series(1, array_length(@a) - 1), @a[@element] - @a[@element - 1]), "
        "@element > 0.01)"
    )
    sorted_ = f'array_sort(array_agg("{along}", group_by:="{line}"))'
    gap = f"with_variable('a', {sorted_}, if(array_length(@a) > 1, array_min({steps}), NULL))"
    size = f"min({size_pt:g}, coalesce({gap} * 1000 / @map_scale / {MM_PER_POINT * _LINE:.4f}, {size_pt:g}))"
    properties = SubElement(SubElement(settings, "dd_properties"), "Option", type="Map")
    SubElement(properties, "Option", name="name", value="", type="QString")
    listed = SubElement(properties, "Option", name="properties", type="Map")
    for name, expression in (("LabelRotation", turn), ("OffsetQuad", side), ("Size", size)):
        one = SubElement(listed, "Option", name=name, type="Map")
        SubElement(one, "Option", name="active", value="true", type="bool")
        SubElement(one, "Option", name="expression", value=expression, type="QString")
        SubElement(one, "Option", name="type", value="3", type="int")
    SubElement(properties, "Option", name="type", value="collection", type="QString")


def _placement(label: Label, kind: str) -> dict[str, str]:
    common = {"priority": str(label.priority), "distUnits": "MM", "polygonPlacementFlags": "2"}
    if label.across:
        # At the point, to its right or left before it is turned.
        return common | {
            "placement": "1",
            "quadOffset": "5",
            "offsetUnits": "MM",
            "rotationUnit": "AngleDegrees",
        }
    if kind == "points":
        # Positions tried in this order: the one at the upper right first.
        order = "TR,TL,BR,BL,R,L,TSR,BSR"
        return common | {
            "placement": "6",
            "dist": "0.8",
            "offsetType": "1",
            "predefinedPositionOrder": order,
        }
    if kind == "lines":
        flags = "2" if label.along else "10"
        return common | {"placement": "2", "dist": "0.8", "placementFlags": flags, "overrunDistance": "10",
                         "overrunDistanceUnit": "MM"}  # fmt: skip
    return common | {"placement": "4", "dist": "0", "fitInPolygonOnly": "0"}


def rgba(colour: str, opacity: float) -> str:
    """Give a colour as QGIS writes it: ``29,42,47,255``."""
    parts = [int(colour[place : place + 2], 16) for place in (1, 3, 5)]
    return ",".join(str(part) for part in (*parts, round(255 * opacity)))


def _number(value: float) -> str:
    return f"{value:g}"
