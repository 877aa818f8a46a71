"""A layer's style for other software: Styled Layer Descriptor 1.0 (OGC 02-070), sizes in pixels."""

from __future__ import annotations

from xml.etree.ElementTree import Element, SubElement, indent, register_namespace, tostring

from screenplan.outputs.palette import COLOURS
from screenplan.outputs.styles.model import (
    Area,
    Hatch,
    Label,
    Line,
    Mark,
    Points,
    Stroke,
    Style,
    Symbol,
    Test,
)

SLD = "http://www.opengis.net/sld"
OGC = "http://www.opengis.net/ogc"
#: Millimetres of a pixel in OGC's standards (06-042, section 7.2.4.6.9).
PIXEL_MM = 0.28
#: The marks that the standard names, and those that are made of them.
_MARKS = {
    "circle": "circle", "square": "square", "diamond": "square", "triangle": "triangle",
    "cross": "cross", "x": "x", "star": "star", "arrow": "triangle",
}  # fmt: skip
#: Hatches by their angles. Two crossing ones are marks of the standard. Of parallel lines there are
#: names by custom only: first that of QGIS (3.22 reads this spelling), then that of GeoServer; a
#: program takes the first mark that it knows.
_HATCHES = {
    (0.0,): ("horline", "shape://horline"),
    (45.0,): ("slash", "shape://slash"),
    (90.0,): ("line", "shape://vertline"),
    (135.0,): ("backshash", "shape://backslash"),
    (45.0, 135.0): ("x",),
    (0.0, 90.0): ("cross",),
}
_TURNED = {"diamond": 45.0}
_OPERATORS = {
    "=": "PropertyIsEqualTo", "<": "PropertyIsLessThan", "<=": "PropertyIsLessThanOrEqualTo",
    ">": "PropertyIsGreaterThan", ">=": "PropertyIsGreaterThanOrEqualTo",
}  # fmt: skip


def write_sld(name: str, style: Style, meaning: str) -> str:
    """Write a style as an SLD document.

    Parameters
    ----------
    name : str
        Of the layer.
    style : Style
    meaning : str
        What one row is.

    Returns
    -------
    str
    """
    register_namespace("", SLD)
    register_namespace("ogc", OGC)
    root = Element(f"{{{SLD}}}StyledLayerDescriptor", version="1.0.0")
    layer = _add(root, "NamedLayer")
    _add(layer, "Name").text = name
    user = _add(layer, "UserStyle")
    _add(user, "Name").text = name
    _add(user, "Abstract").text = meaning
    types: Element | None = None
    # Feature types' styles are painted one after the other, the rules of one feature by feature.
    for style_class in reversed(style.classes) if style.order else style.classes:
        if types is None or style.order:
            types = _add(user, "FeatureTypeStyle")
        rule = _add(types, "Rule")
        _add(rule, "Name").text = style_class.label
        _add(rule, "Title").text = style_class.label
        if style_class.tests:
            _add_filter(rule, style_class.tests)
        elif len(style.classes) > 1:
            _add_complement(rule, [other.tests for other in style.classes if other.tests])
        if style.below:
            _add(rule, "MaxScaleDenominator").text = str(style.below)
        _add_symbol(rule, style_class.symbol)
    if style.label and style.label.elsewhere and types is not None:
        rule = _add(types, "Rule")
        _add(rule, "MaxScaleDenominator").text = str(min(style.label.below, style.below or 10**9))
        _add_label(rule, style.label, style.classes[0].symbol)
    indent(root, " ")
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + tostring(root, encoding="unicode") + "\n"


def _add(parent: Element, tag: str, namespace: str = SLD, **attributes: str) -> Element:
    return SubElement(parent, f"{{{namespace}}}{tag}", attributes)


def _add_filter(rule: Element, tests: tuple[Test, ...]) -> None:
    _add_all(_add(rule, "Filter", OGC), tests)


def _add_complement(rule: Element, classes: list[tuple[Test, ...]]) -> None:
    """Write that no other class holds a feature; not all software reads ``ElseFilter``."""
    parent = _add(rule, "Filter", OGC)
    # A comparison with an empty value is neither true nor false, and neither is its opposite.
    compared = {
        tests[0].column for tests in classes if len(tests) == 1 and tests[0].value is not None
    }
    if len(compared) == 1:
        parent = _add(parent, "Or", OGC)
        _add_test(parent, Test(compared.pop(), "null"))
    parent = _add(parent, "Not", OGC)
    if len(classes) > 1:
        parent = _add(parent, "Or", OGC)
    for tests in classes:
        _add_all(parent, tests)


def _add_all(parent: Element, tests: tuple[Test, ...]) -> None:
    if len(tests) > 1:
        parent = _add(parent, "And", OGC)
    for test in tests:
        _add_test(parent, test)


def _add_test(parent: Element, test: Test) -> None:
    if test.operator == "in":
        parent = _add(parent, "Or", OGC) if len(test.value) > 1 else parent
        for value in test.value:
            _add_test(parent, Test(test.column, "=", value))
        return
    if isinstance(test.value, bool):
        # As a word and as a number: one program knows only the one, its file reader only the other.
        parent = _add(parent, "Or", OGC)
        for value in (str(test.value).lower(), int(test.value)):
            _add_test(parent, Test(test.column, test.operator, value))
        return
    if test.operator in ("null", "filled"):
        parent = _add(parent, "Not", OGC) if test.operator == "filled" else parent
        _add(_add(parent, "PropertyIsNull", OGC), "PropertyName", OGC).text = test.column
        return
    made = _add(parent, _OPERATORS[test.operator], OGC)
    difference = _add(made, "Sub", OGC) if test.less else made
    _add(difference, "PropertyName", OGC).text = test.column
    if test.less:
        _add(difference, "PropertyName", OGC).text = test.less
    _add(made, "Literal", OGC).text = str(test.value)


def _css(parent: Element, **parameters: object) -> None:
    for name, value in parameters.items():
        text = f"{value:g}" if isinstance(value, float) else str(value)
        _add(parent, "CssParameter", name=name.replace("_", "-")).text = text


def _pixels(mm: float) -> float:
    return round(mm / PIXEL_MM, 2)


def _add_stroke(parent: Element, stroke: Stroke) -> None:
    made = _add(parent, "Stroke")
    _css(made, stroke=stroke.colour, stroke_width=_pixels(stroke.width_mm))
    if stroke.opacity < 1.0:
        _css(made, stroke_opacity=stroke.opacity)
    if stroke.dash_mm:
        _css(made, stroke_dasharray=" ".join(f"{_pixels(part):g}" for part in stroke.dash_mm))


def _add_symbol(rule: Element, symbol: Symbol) -> None:
    if isinstance(symbol, Points):
        for mark in symbol.marks:
            if mark.shape in _MARKS:
                _add_graphic(_add(rule, "PointSymbolizer"), mark)
    elif isinstance(symbol, Line):
        for stroke in symbol.strokes:
            _add_stroke(_add(rule, "LineSymbolizer"), stroke)
    else:
        _add_area(rule, symbol)


def _add_area(rule: Element, area: Area) -> None:
    """Draw the fill, then the hatches and the edge."""
    if area.fill or not area.hatches:
        made = _add(rule, "PolygonSymbolizer")
        if area.fill:
            _css(_add(made, "Fill"), fill=area.fill, fill_opacity=area.opacity)
        if area.edge and not area.hatches:
            _add_stroke(made, area.edge)
    if area.hatches:
        made = _add(rule, "PolygonSymbolizer")
        _add_hatches(_add(made, "Fill"), area.hatches)
        if area.edge:
            _add_stroke(made, area.edge)


def _add_hatches(fill: Element, hatches: tuple[Hatch, ...]) -> None:
    graphic = _add(_add(fill, "GraphicFill"), "Graphic")
    for name in _HATCHES[tuple(hatch.angle_deg for hatch in hatches)]:
        mark = _add(graphic, "Mark")
        _add(mark, "WellKnownName").text = name
        _add_stroke(mark, hatches[0].ink)
    _add(graphic, "Size").text = f"{_pixels(hatches[0].spacing_mm):g}"


def _add_graphic(parent: Element, mark: Mark) -> None:
    graphic = _add(parent, "Graphic")
    made = _add(graphic, "Mark")
    _add(made, "WellKnownName").text = _MARKS[mark.shape]
    if mark.fill:
        _css(_add(made, "Fill"), fill=mark.fill)
    if mark.edge:
        _add_stroke(made, mark.edge)
    _add(graphic, "Size").text = f"{_pixels(mark.size_mm):g}"
    if mark.turn:
        _add(_add(graphic, "Rotation"), "PropertyName", OGC).text = mark.turn
    elif mark.shape in _TURNED:
        _add(graphic, "Rotation").text = f"{_TURNED[mark.shape]:g}"


def _add_label(rule: Element, label: Label, symbol: Symbol) -> None:
    made = _add(rule, "TextSymbolizer")
    _add(_add(made, "Label"), "PropertyName", OGC).text = label.column
    font = _add(made, "Font")
    _css(font, font_family="Arial", font_size=round(label.size_pt * 25.4 / 72.0 / PIXEL_MM))
    _css(font, font_weight="bold" if label.bold else "normal")
    place = _add(made, "LabelPlacement")
    if isinstance(symbol, Line):
        _add(_add(place, "LinePlacement"), "PerpendicularOffset").text = "8"
    else:
        point = _add(place, "PointPlacement")
        anchor = _add(point, "AnchorPoint")
        beside = isinstance(symbol, Points)
        _add(anchor, "AnchorPointX").text = "0" if beside else "0.5"
        _add(anchor, "AnchorPointY").text = "0" if beside else "0.5"
        if beside:
            offset = _add(point, "Displacement")
            _add(offset, "DisplacementX").text = "8"
            _add(offset, "DisplacementY").text = "6"
    halo = _add(made, "Halo")
    _add(halo, "Radius").text = "2"
    _css(_add(halo, "Fill"), fill=COLOURS["paper"])
    _css(_add(made, "Fill"), fill=COLOURS[label.role])
