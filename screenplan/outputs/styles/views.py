"""Styles of the views: what closes in which year, where the last light passes."""

from __future__ import annotations

from typing import Any

from screenplan.outputs.palette import COLOURS, YEARS
from screenplan.outputs.styles.model import Class, Label, Line, Mark, Stroke, Style, Test
from screenplan.outputs.styles.parts import (
    DASHED,
    DOTTED,
    FAINT,
    INK,
    QUIET,
    THIN,
    cased,
    line,
    stroke,
)

OPEN = COLOURS["open"]
_ENDS: dict[str, Any] = {"shape": "arrow", "size_mm": 2.4}


def _view(colour: str, width_mm: float) -> Line:
    """Draw a view with a rim, and an arrow where the eye looks."""
    return Line(cased(colour, width_mm).strokes, Mark(fill=colour, edge=Stroke(INK, 0.2), **_ENDS))


_SPANS = ((-1, 2), (2, 5), (5, 10), (10, 15), (15, 10**9))
_SAY = ("by year 2", "in years 3 to 5", "in years 6 to 10", "in years 11 to 15", "after year 15")
_WIDTHS = (0.5, 0.6, 0.7, 0.8, 0.9)

VIEWS = {
    "views": Style(
        (
            Class("Never closes in the years looked at",
                  Line((Stroke(OPEN, 1.2),), Mark(fill=OPEN, edge=None, shape="arrow", size_mm=3.2)),
                  (Test("status", "=", "stays open"),)),
            *(
                Class(f"Closes {say}", _view(colour, width),
                      (Test("status", "=", "closes"), Test("year_closed", ">", low),
                       Test("year_closed", "<=", high)))
                for (low, high), say, colour, width in zip(_SPANS, _SAY, YEARS, _WIDTHS, strict=True)
            ),
            Class("Closed already, by what stands there", line(stroke(COLOURS["closed"], THIN, DASHED)),
                  (Test("status", "=", "closed already"),)),
            Class("No view", line(stroke(FAINT, THIN, DOTTED))),
        ),
        Label(
            "view_id",
            """case when "status" = 'closes' then 'year ' || "year_closed" """
            """when "status" = 'stays open' then 'never' end""",
            size_pt=7.5,
            below=600,
            along=True,
            priority=5,
            elsewhere=False,
        ),
        order="""coalesce("year_closed", if("status" = 'stays open', -1, 9999))""",
    ),
    "view_holes": Style(
        (
            Class("Light passes to the end of the years looked at", line(stroke(OPEN, 1.8)),
                  (Test("open_until", "null"),)),
            Class("Light passes until a year", line(stroke(OPEN, 1.8), stroke(COLOURS["paper"], 1.0))),
        ),
        Label("open_until", """if("open_until" is null, 'open', 'to year ' || "open_until")""",
              size_pt=7.0, role="open", below=400, priority=4),
    ),
    "sight_lines": Style(
        (
            Class("Crosses no planting line", line(stroke(QUIET, THIN, DOTTED)), (Test("line_id", "null"),)),
            Class("Sight line from window to head", Line((Stroke(INK, THIN),), Mark(fill=INK, edge=None, shape="arrow", size_mm=1.8))),
        ),
        Label("above_m", """if("above_m" is null, NULL, format_number("above_m", 1) || ' m above the row')""",
              size_pt=6.5, role="quiet", below=400, along=True, priority=2),
    ),
}  # fmt: skip
