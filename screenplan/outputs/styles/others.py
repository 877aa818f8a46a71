"""Styles of what the screen does to others: light, sight at roads, wires, pipes, growth, noise."""

from __future__ import annotations

from dataclasses import replace

from screenplan.outputs.palette import COLOURS, QUIETER, SHADE, WARN
from screenplan.outputs.styles.model import Area, Class, Label, Style, Test
from screenplan.outputs.styles.parts import (
    DASHED,
    DOTTED,
    FAINT,
    INK,
    QUIET,
    THIN,
    cased,
    dot,
    empty,
    hatched,
    line,
    settled,
    steps,
    stroke,
    warning,
)

_LOST = (0.005, 0.05, 0.1, 0.2, 0.35)
_SAY_LOST = (
    "Loses no sun", "Up to 5 % of its sun", "5 to 10 %", "10 to 20 %", "20 to 35 %", "More than 35 %",
)  # fmt: skip
_LOST_LABEL = (
    """if("sun_lost" > 0.005, '−' || round(100 * "sun_lost") || ' %'"""
    """ || if("over" is null, '', ', over the limit'), NULL)"""
)
_KEEP_BELOW = (
    """if("year" is null, NULL, 'keep below ' || format_number("keep_below_m", 1) || ' m')"""
)
_FIRST = """"plant_id" || if("year" is null, '', ', year ' || "year")"""


def _lost(symbols, none) -> tuple[Class, ...]:
    return (
        *steps("sun_lost", _LOST, _SAY_LOST, symbols),
        empty("sun_lost", "No sun to lose", none),
    )


def _plants_in_the_way(warned: str, quiet: str) -> Style:
    """Draw plants that get in the way in a year looked at, and those that do not."""
    return Style(
        (Class(warned, warning(), (Test("year", "filled"),)), Class(quiet, settled())),
        Label("plant_id", _FIRST, size_pt=7.0, below=600, priority=6),
        order='"year" is null',
    )


OTHERS = {
    "light_points": Style(
        _lost(
            [dot("circle", size, colour) for size, colour in zip((2.4, 2.8, 3.2, 3.6, 4.0, 4.4), SHADE, strict=True)],
            dot("x", 2.0, None, QUIET),
        ),
        Label("sun_lost", _LOST_LABEL, size_pt=7.5, below=1000, priority=5, elsewhere=False),
    ),
    "light_areas": Style(
        _lost(
            [Area(colour, 0.85, stroke(INK, THIN)) for colour in SHADE],
            Area(None, 1.0, stroke(QUIET, THIN, DASHED)),
        ),
        Label("sun_lost", _LOST_LABEL, size_pt=8.0, below=1500, priority=5, elsewhere=False),
        order="$area",
    ),
    "light_lines": Style(
        (
            Class("The row itself: nobody said what it asks for", line(stroke(QUIET, 0.8, DASHED)), (Test("asked_h", "null"),)),
            Class("The row itself: hours of sun a day", line(stroke(QUIET, 0.8))),
        ),
        Label("season_h", """format_number("season_h", 1) || ' h a day'""", size_pt=7.5, below=800, along=True, priority=4),
    ),
    "hedge_heights_areas": Style(
        (
            Class("The row outgrows the guided height", hatched(WARN, INK, 45.0, 135.0), (Test("year", "filled"),)),
            Class("The row stays below the guided height", hatched(FAINT, QUIET, 0.0)),
        ),
        Label("keep_below_m", _KEEP_BELOW, below=1000, priority=5),
        order='"year" is null',
    ),
    "hedge_heights_points": Style(
        (
            Class("The row outgrows the guided height", warning(), (Test("year", "filled"),)),
            Class("The row stays below the guided height", settled("square")),
        ),
        Label("keep_below_m", _KEEP_BELOW, size_pt=7.5, below=800, priority=5),
        order='"year" is null',
    ),
    "sight_areas": Style(
        (
            Class("Plants grow into ground over which a driver must see", hatched(WARN, INK, 45.0, opacity=0.5), (Test("plants", ">", 0),)),
            Class("No plant grows into it", hatched(FAINT, QUIET, 45.0, opacity=0.25, spacing_mm=4.0, edge=DASHED)),
        ),
        Label("kind", """"kind" || if("plants" > 0, ': ' || "plants" || ' plants', '')""", size_pt=7.5, below=2000, priority=4),
        order='"plants" <= 0',
    ),
    "sight_plants": _plants_in_the_way("Grows above the height that must stay clear", "Stays below it in the years looked at"),
    "wire_plants": _plants_in_the_way("Outgrows what is allowed by the wire", "Does not in the years looked at"),
    "deep_roots": _plants_in_the_way("Taller than it stands away from the septic field", "Not so in the years looked at"),
    "outgrown": _plants_in_the_way("Has to be clipped from a year on", "Not in the years looked at"),
    "locate_zones": Style(
        (Class("Buried line: have it located, dig by hand", hatched(WARN, INK, 135.0, opacity=0.45, edge=DASHED)),),
        Label("kind", """"kind" || ': locate it first'""", size_pt=7.5, below=1000, priority=8),
    ),
    "holes_at_lines": Style(
        (
            Class("Hole cuts the buried line itself", replace(hatched(COLOURS["open"], INK, 45.0, 135.0, opacity=0.6, spacing_mm=1.4), edge=stroke(COLOURS["open"], 0.8)), (Test("edge_m", "<=", 0.0),)),
            Class("Hole in the zone of a buried line", replace(hatched(WARN, INK, 135.0, opacity=0.7, spacing_mm=1.4), edge=stroke(INK, 0.5))),
        ),
        Label("plant_id", size_pt=7.0, below=500, priority=7),
    ),
    "noise_paths": Style(
        steps(
            "loss_db",
            (0.0, 1.0),
            ("Foliage takes nothing away", "Up to 1 dB", "More than 1 dB"),
            (line(stroke(QUIET, THIN, DOTTED)), cased(QUIETER[1], 0.6), cased(QUIETER[2], 0.9)),
        ),
        Label("loss_db", """format_number("loss_db", 1) || ' dB'""", size_pt=7.5, role="place", below=1500, along=True, priority=3),
    ),
    "sun_grid": Style(
        steps(
            "sun_now_h",
            (500.0, 1000.0, 1500.0, 2000.0, 3000.0),
            ("Up to 500 h of sun a year", "500 to 1000 h", "1000 to 1500 h", "1500 to 2000 h", "2000 to 3000 h", "More than 3000 h"),
            [dot("square", 1.6, colour, colour) for colour in reversed(SHADE)],
        ),
        below=5000,
    ),
}  # fmt: skip


def sun_taken(year: str) -> Style:
    """Draw the ground by the hours of sun that the row takes, by the sun of one year of growth.

    Parameters
    ----------
    year : str
        The layer's column of that year: ``sun_y20``.
    """
    symbols = [dot("circle", 0.7, FAINT, FAINT)]
    symbols += [
        dot("square", size, colour, INK if colour == SHADE[1] else colour)
        for size, colour in zip((1.2, 1.5, 1.8, 2.1, 2.4), SHADE[1:], strict=True)
    ]
    return Style(
        steps(
            "sun_now_h",
            (10.0, 100.0, 250.0, 500.0, 1000.0),
            (
                "The row takes no sun", "Up to 100 h a year", "100 to 250 h", "250 to 500 h",
                "500 to 1000 h", "More than 1000 h",
            ),
            symbols,
            less=year,
        ),
        below=5000,
    )  # fmt: skip
