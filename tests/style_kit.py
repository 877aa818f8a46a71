"""What a style says of a row, and what of a symbol is seen without its colour."""

from __future__ import annotations

from screenplan.outputs.palette import COLOURS
from screenplan.outputs.styles.model import Area, Line

PAPER = COLOURS["paper"]


def list_tests(style):
    """List the tests of all classes."""
    return [test for style_class in style.classes for test in style_class.tests]


def holds(style_class, row):
    """Tell whether a row passes all tests of a class."""
    return all(_passes(test, row) for test in style_class.tests)


def _passes(test, row):
    value = row[test.column]
    if test.operator == "null":
        return value is None
    if test.operator == "filled":
        return value is not None
    if value is None:
        return False
    if test.less:
        value -= row[test.less]
    return {
        "=": lambda: value == test.value,
        "in": lambda: value in test.value,
        "<": lambda: value < test.value,
        "<=": lambda: value <= test.value,
        ">": lambda: value > test.value,
        ">=": lambda: value >= test.value,
    }[test.operator]()


def class_of(style, row):
    """Give the label of the class that holds a row; None if there is none."""
    own = [
        style_class
        for style_class in style.classes
        if style_class.tests and holds(style_class, row)
    ]
    rest = [style_class for style_class in style.classes if not style_class.tests]
    return (own or rest)[0].label if own or rest else None


def shape_of(symbol):
    """Give what is seen of a symbol without colour and size: hatches, dashes, shapes, hollow or full."""
    if isinstance(symbol, Area):
        dash = symbol.edge.dash_mm if symbol.edge else None
        return "area", bool(symbol.fill), tuple(hatch.angle_deg for hatch in symbol.hatches), dash
    if isinstance(symbol, Line):
        return "line", tuple(stroke.dash_mm for stroke in symbol.strokes), bool(symbol.end)
    return "points", tuple((mark.shape, mark.fill in (None, PAPER)) for mark in symbol.marks)


def paint(symbol):
    """Give the colour that a symbol has on paper, where it has most of it."""
    if isinstance(symbol, Area):
        return blend(symbol.fill, symbol.opacity) if symbol.fill else symbol.edge.colour
    if isinstance(symbol, Line):
        return symbol.strokes[-1].colour
    first = symbol.marks[0]
    return first.edge.colour if first.fill in (None, PAPER) else first.fill


def blend(colour, opacity):
    """Give a colour as it looks laid over paper."""
    pairs = [
        (int(PAPER[place : place + 2], 16), int(colour[place : place + 2], 16))
        for place in (1, 3, 5)
    ]
    parts = [round((1 - opacity) * under + opacity * over) for under, over in pairs]
    return "#" + "".join(f"{part:02x}" for part in parts)
