"""Styles of a county: by when the views across a side are closed, its rows and its plants."""

from __future__ import annotations

from screenplan.outputs.palette import COLOURS, YEARS
from screenplan.outputs.styles.model import Class, Label, Style, Test
from screenplan.outputs.styles.parts import (
    DASHED,
    DOTTED,
    FAINT,
    QUIET,
    THIN,
    cased,
    dot,
    line,
    stroke,
)

#: Years between which the views of a side are closed, as text, and the widths of their lines, mm.
_SPANS = ((-1, 5, "by year 5", 0.6), (5, 10, "in years 6 to 10", 0.8), (10, 20, "in years 11 to 20", 1.0), (20, 10**9, "after year 20", 1.2))  # fmt: skip

COUNTIES = {
    "county_sides": Style(
        (
            Class("Nothing can be planted here", line(stroke(QUIET, 0.6, DOTTED)),
                  (Test("year_closed", "null"), Test("cause", "filled"))),
            Class("No view is open across it", line(stroke(FAINT, THIN, DASHED)),
                  (Test("year_closed", "null"), Test("cause", "null"), Test("views_open", "=", 0))),
            *(
                Class(f"Every view across it closed {say}", cased(colour, width),
                      (Test("year_closed", ">", low), Test("year_closed", "<=", high)))
                for (low, high, say, width), colour in zip(_SPANS, YEARS, strict=False)
            ),
            Class("A view across it stays open", line(stroke(COLOURS["open"], 1.2))),
        ),
        Label("plants", """case when "plants" > 0 then "plants" || ' plants' end""",
              size_pt=7.0, role="plant", below=3000, along=True, priority=4),
        below=50_000,
    ),
    "county_lines": Style(
        (Class("Row", line(stroke(COLOURS["plant"], 0.5))),), below=10_000,
    ),
    "county_plants": Style(
        (Class("New plant", dot("circle", 1.6, COLOURS["plant"])),), below=3000,
    ),
}  # fmt: skip
