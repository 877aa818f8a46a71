"""Styles of what the crew lays out: tape points, pegs, base lines, stakes, the fence."""

from __future__ import annotations

from screenplan.outputs.palette import COLOURS, WARN
from screenplan.outputs.styles.model import Class, Label, Style, Test
from screenplan.outputs.styles.parts import (
    DASH_DOT,
    DASHED,
    DOTTED,
    INK,
    PAPER,
    QUIET,
    THIN,
    dot,
    hatched,
    line,
    stroke,
    values,
)

PLACE = COLOURS["place"]
#: The scale up to which labels show that show at any.
ANY_SCALE = 100_000_000

WORK = {
    "fence_posts": Style(
        (
            Class("Corner or end post", dot("square", 2.6, INK, PAPER), (Test("role", "in", ("corner", "end")),)),
            Class("Gate post", dot("diamond", 3.0, COLOURS["open"], PAPER), (Test("role", "=", "gate"),)),
            Class("Line post with a brace", dot("square", 2.0, COLOURS["faint"]), (Test("role", "=", "brace"),)),
            Class("Post of a cage", dot("circle", 1.0, QUIET, PAPER), (Test("role", "=", "cage"),)),
            Class("Line post", dot("circle", 1.4, INK, PAPER)),
        ),
        below=3000,
    ),
    "fence_wires": Style(
        values(
            "role",
            wire=("Wire", line(stroke(INK, 0.45, DASH_DOT))),
            gate=("Gate", line(stroke(COLOURS["open"], 1.1))),
            cage=("Cage", line(stroke(QUIET, THIN, DOTTED))),
        ),
        Label("length_m", """format_number("length_m", 1) || ' m'""", size_pt=7.0, below=300, along=True, priority=2),
    ),
    "drip_lines": Style(
        (Class("A drip line runs here", line(stroke(PLACE, 0.35, DOTTED))),),
        Label("length_m", """format_number("slope_m", 1) || ' m'""", size_pt=7.0, below=300, along=True, priority=2),
    ),
    "instead_lines": Style(
        # All of them may stand on one line: the broadest is drawn by a wide, light stroke.
        values(
            "option",
            wall=("A wall, compared", line(stroke(COLOURS["faint"], 2.4))),
            fence=("A fence, compared", line(stroke(COLOURS["need"], 1.0))),
            trellis=("A trellis, compared", line(stroke(INK, 0.5, DOTTED))),
            awning=("An awning, compared", line(stroke(COLOURS["place"], 0.6, DASHED))),
        ),
        Label("height_m", """'   ' || "option" || ' ' || format_number("height_m", 2) || ' m   '""", size_pt=7.0, below=800, along=True, priority=2),
    ),
    "new_screens": Style(
        values(
            "option",
            wall=("A wall to build first", line(stroke(INK, 2.0))),
            fence=("A fence to build first", line(stroke(COLOURS["need"], 1.2))),
            trellis=("A trellis to build first", line(stroke(COLOURS["need"], 0.7, DASHED))),
        ),
        Label("height_m", """'   new ' || "option" || ' ' || format_number("height_m", 2) || ' m   '""", size_pt=7.0, below=800, along=True, priority=3),
    ),
    "locate_request": Style(
        (Class("Ground to ask about before digging", hatched(WARN, INK, 45.0, opacity=0.2, edge=DASHED)),),
    ),
    "tape_points": Style(
        (
            Class("A tape starts here: found monument", dot("triangle", 3.4, PLACE, PAPER),
                  (Test("used", "=", True), Test("kind", "=", "mark"))),
            Class("A tape starts here: house corner", dot("square", 3.0, PLACE, PAPER),
                  (Test("used", "=", True), Test("kind", "=", "house corner"))),
            Class("A tape starts here: parcel corner", dot("diamond", 3.6, PLACE, PAPER),
                  (Test("used", "=", True), Test("kind", "=", "parcel corner"))),
            Class("Not used", dot("x", 1.8, None, QUIET)),
        ),
        Label("point_id", size_pt=9.0, role="place", bold=True, below=1500, priority=9),
    ),
    "pegs": Style(
        values(
            "role",
            zero=("Zero peg: running distances start here", dot("square", 3.2, PAPER)),
            end=("End peg", dot("square", 2.4, INK)),
            fence=("Corner of the fence", dot("diamond", 2.8, COLOURS["faint"])),
        ),
        Label("peg_id", size_pt=9.0, bold=True, below=1500, priority=10),
    ),
    "base_lines": Style(
        (Class("A tape lies here", line(stroke(INK, THIN, (1.6, 0.8)))),),
        Label(
            "base_id",
            """"base_id" || '  ' || format_number("slope_m", 2) || ' m on the ground'""",
            size_pt=7.5,
            below=800,
            along=True,
            priority=4,
        ),
    ),
    "to_measure": Style(
        (Class("Measured each year", dot("circle", 4.2, None, INK)),),
    ),
    "stakes": Style(
        (
            Class("Stake on the tape", dot("cross", 2.2, None), (Test("offset_side", "=", "on the line"),)),
            Class("Stake off the tape", dot("cross", 2.2, None, COLOURS["open"])),
        ),
        Label(
            # Blanks keep the number off the stake's cross.
            "slope_along_m", """'   ' || format_number("slope_along_m", 2) || '   '""", size_pt=7.0, below=ANY_SCALE, priority=8,
            always=True, across=("base_id", "slope_along_m"),
        ),
    ),
}  # fmt: skip
