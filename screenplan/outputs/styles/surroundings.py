"""Styles of what stands on the site, as it was read: quiet, since the plan is drawn over it."""

from __future__ import annotations

from screenplan.outputs.palette import COLOURS
from screenplan.outputs.styles.model import Area, Class, Label, Line, Style
from screenplan.outputs.styles.parts import (
    DASH_DOT,
    DASHED,
    DOTTED,
    FAINT,
    HAIR,
    HEAVY,
    INK,
    LINE,
    PAPER,
    QUIET,
    THIN,
    dot,
    hatched,
    line,
    stroke,
    values,
)

_OPEN, _FORBID, _PLANT = COLOURS["open"], COLOURS["forbid"], COLOURS["plant"]
#: What a thing is called: its name, else its kind in plain words.
_NAMED = """coalesce(nullif("name", ''), replace("kind", '_', ' '))"""
_BURIED = (5.0, 1.0, 0.8, 1.0, 0.8, 1.0)


def _one(label: str, symbol, label_of: Label | None = None) -> Style:
    return Style((Class(label, symbol),), label_of)


def _named(expression: str = _NAMED, *, along: bool = False, role: str = "quiet") -> Label:
    column = "name" if expression == _NAMED else "kind"
    return Label(column, expression, size_pt=7.0, role=role, below=1000, along=along, priority=3)


_ONLOOKER = "Where people look from"
_KIND = """replace("kind", '_', ' ')"""
_POSITION = _KIND + """ || ', ' || "position" """

SURROUNDING = {
    "buildings": _one(
        "Building",
        Area(COLOURS["built"], 1.0, stroke(INK, LINE)),
        Label("name", """coalesce("name", "building_id")""", size_pt=7.0, below=1000, priority=3),
    ),
    "onlookers_areas": _one(
        _ONLOOKER, hatched(None, _OPEN, 45.0, edge=DOTTED), _named(role="open")
    ),
    "onlookers_lines": _one(_ONLOOKER, line(stroke(_OPEN, HEAVY, DOTTED)), _named(role="open")),
    "onlookers_points": _one(_ONLOOKER, dot("circle", 2.6, None, _OPEN), _named(role="open")),
    "utilities_lines": Style(
        values(
            "position",
            buried=("Buried line: have it located", line(stroke(INK, LINE, _BURIED))),
            overhead=("Overhead line", line(stroke(INK, LINE, DOTTED))),
        ),
        _named(_POSITION, along=True, role="ink"),
    ),
    "utilities_points": Style(
        values(
            "position",
            buried=("Buried line: have it located", dot("diamond", 2.2, INK)),
            overhead=("Overhead line", dot("diamond", 2.2, None)),
        ),
        _named(_POSITION, role="ink"),
    ),
    "keep_outs_areas": _one(
        "Kept clear of plants", Area(None, 1.0, stroke(_FORBID, THIN, DASHED)), _named()
    ),
    "keep_outs_lines": _one("Kept clear of plants", line(stroke(_FORBID, 1.2)), _named(along=True)),
    "keep_outs_points": _one("Kept clear of plants", dot("square", 2.0, _FORBID), _named()),
    "roads": _one(
        "Middle of a road",
        line(stroke(QUIET, THIN, DASH_DOT)),
        Label("name", size_pt=7.5, role="quiet", below=2500, along=True, priority=3),
    ),
    "existing_screens_areas": Style(
        values(
            "kind",
            hedge=("Hedge", hatched(None, _PLANT, 45.0, 135.0)),
            tree=("Tree", hatched(None, _PLANT, 45.0)),
            plant=("Plant that is kept", hatched(None, _PLANT, 90.0)),
            wall=("Wall", Area(QUIET, 1.0, stroke(INK, THIN))),
            fence=("Fence", Area(FAINT, 1.0, stroke(INK, THIN, DASHED))),
        ),
        _named(_KIND),
    ),
    "existing_screens_lines": Style(
        values(
            "kind",
            hedge=("Hedge", line(stroke(_PLANT, 1.4, (2.0, 0.8)))),
            wall=("Wall", line(stroke(INK, 1.0))),
            fence=("Fence", Line((stroke(INK, HEAVY), stroke(PAPER, HAIR, DASHED)))),
            tree=("Trees", line(stroke(_PLANT, HEAVY, DOTTED))),
            plant=("Plants that are kept", line(stroke(_PLANT, HEAVY, DASHED))),
        ),
        _named(_KIND, along=True),
    ),
    "existing_screens_points": Style(
        values(
            "kind",
            tree=("Tree", dot("circle", 3.6, None, _PLANT)),
            plant=("Plant that is kept", dot("diamond", 2.6, None, _PLANT)),
            hedge=("Hedge", dot("square", 2.6, None, _PLANT)),
            wall=("Wall", dot("square", 2.0, INK)),
            fence=("Fence", dot("x", 2.0, None)),
        ),
        _named(_KIND),
    ),
    "sun_places_areas": _one(
        "A place that needs sun", hatched(None, QUIET, 0.0, edge=DASHED), _named()
    ),
    "sun_places_points": _one("A place that needs sun", dot("star", 3.0, PAPER), _named()),
}
