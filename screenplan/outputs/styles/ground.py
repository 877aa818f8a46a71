"""Styles of what is there and where a row may stand: parcels, sides, zones, lines, plants."""

from __future__ import annotations

from screenplan.outputs.palette import COLOURS, CROWNS, HEIGHTS, WARN
from screenplan.outputs.styles.model import Area, Class, Label, Style, Test
from screenplan.outputs.styles.parts import (
    DASH_DOT,
    DASHED,
    DOTTED,
    FAINT,
    HEAVY,
    INK,
    LINE,
    PAPER,
    QUIET,
    THIN,
    cased,
    dot,
    either,
    hatched,
    line,
    steps,
    stroke,
    values,
)

GROUND = {
    "parcels": Style(
        either(
            "is_subject",
            (
                "The parcel that is planned",
                Area(COLOURS["ground"], 0.35, stroke(INK, HEAVY, DASH_DOT)),
            ),
            ("Another parcel", Area(None, 1.0, stroke(QUIET, THIN, DASH_DOT))),
        ),
        Label("parcel_id", size_pt=8.5, role="quiet", below=3000, priority=2),
    ),
    "sides": Style(
        values(
            "across_kind",
            parcel=("Towards a parcel", line(stroke(INK, 0.8))),
            road=("Towards a road", line(stroke(INK, 1.1), stroke(PAPER, 0.4))),
            unknown=("Nobody knows towards what", line(stroke(INK, 0.8, DOTTED))),
        ),
        Label(
            "side_id",
            """"side_id" || '  ' || format_number("length_m", 1) || ' m'""",
            bold=True,
            below=2500,
            along=True,
            priority=9,
        ),
    ),
    "plantable_zone": Style(
        (
            Class(
                "A stem may stand here by every rule",
                Area(COLOURS["crown"], 0.55, stroke(COLOURS["plant"], THIN, DASHED)),
            ),
        ),
    ),
    "planting_lines": Style(
        (
            Class(
                "First row, next to the boundary",
                line(stroke(COLOURS["plant"], 0.7)),
                (Test("row", "=", 1),),
            ),
            Class(
                "Second row",
                line(stroke(COLOURS["plant"], 0.7, (3.0, 1.2))),
                (Test("row", "=", 2),),
            ),
            Class("Another line", line(stroke(COLOURS["plant"], 0.7, DOTTED))),
        ),
        Label("line_id", size_pt=7.5, role="plant", below=1500, along=True, priority=6),
    ),
    "shared_boundaries": Style(
        (
            Class(
                "Shared boundary, not planted",
                line(stroke(QUIET, 0.8, DOTTED)),
                (Test("settled", "=", "not needed"),),
            ),
            Class("Shared boundary, planted once", line(stroke(COLOURS["place"], 0.9, DASHED))),
        ),
        Label("planted_by", size_pt=7.5, role="place", below=1500, along=True, priority=5),
    ),
    "needed_height": Style(
        steps(
            "needed_m",
            (0.0, 1.0, 2.0, 3.0, 4.0),
            (
                "None: no view crosses here",
                "Up to 1 m",
                "1 to 2 m",
                "2 to 3 m",
                "3 to 4 m",
                "More than 4 m",
            ),
            (
                line(stroke(FAINT, LINE, DOTTED)),
                *(
                    cased(colour, width)
                    for colour, width in zip(HEIGHTS, (0.7, 1.0, 1.3, 1.6, 1.9), strict=True)
                ),
            ),
        ),
        Label(
            "needed_m",
            """if("needed_m" > 0, format_number("needed_m", 1), NULL)""",
            size_pt=7.0,
            role="need",
            below=250,
            priority=3,
        ),
    ),
    "plants": Style(
        either(
            "existing",
            ("Stands already", dot("diamond", 2.6, PAPER, COLOURS["plant"])),
            ("To be planted", dot("circle", 2.4, COLOURS["plant"], PAPER)),
        ),
        Label("plant_id", size_pt=7.0, role="plant", below=400, priority=7),
    ),
    "dropped_stations": Style(
        (Class("Station where no plant may stand", dot("x", 2.4, None, COLOURS["open"])),),
        Label("rules", size_pt=6.5, role="open", below=250, priority=3),
    ),
    "choice_plants": Style(
        (
            Class(
                "Plant of a planting that may be chosen", dot("circle", 1.8, None, COLOURS["plant"])
            ),
        ),
        Label("choice", size_pt=6.5, role="plant", below=250, priority=2),
    ),
    "crowns": Style(
        steps(
            "year",
            (0, 3, 5, 10, 15),
            (
                "When planted",
                "Years 1 to 3",
                "Years 4 and 5",
                "Years 6 to 10",
                "Years 11 to 15",
                "After year 15",
            ),
            [Area(fill, 0.75, stroke(COLOURS["plant"], THIN)) for fill in CROWNS],
        ),
        order='"year"',
    ),
    "windows": Style(
        either(
            "derived",
            (
                "Derived from the footprint",
                dot("triangle", 3.2, PAPER, COLOURS["open"], turn="facing_deg"),
            ),
            ("As given", dot("triangle", 3.4, COLOURS["open"], PAPER, turn="facing_deg")),
        ),
        Label(
            "name",
            """coalesce("name", "window_id")""",
            size_pt=7.5,
            role="open",
            below=800,
            priority=5,
        ),
    ),
}

#: Classes of things that are kept clear, by what one does about them.
KEPT_CLEAR = {
    "The boundary": (("boundary",), hatched(COLOURS["forbid"], COLOURS["forbid"], opacity=0.45)),
    "Buildings, walls and fences": (
        ("building", "wall", "fence"), hatched(COLOURS["built"], QUIET, 45.0)),
    "Buried lines: have them located": (
        ("buried",), hatched(WARN, INK, 135.0, edge=DASHED, spacing_mm=2.6)),
    "Overhead lines": (("overhead",), hatched(WARN, INK, 45.0, 135.0, opacity=0.2, spacing_mm=3.2)),
    "Drives, gates, paths and roads": (
        ("driveway", "gate", "path", "road"), hatched(COLOURS["ground"], COLOURS["forbid"], 0.0, spacing_mm=1.6)),
    "Septic field, pond": (
        ("septic_field", "pond"), hatched("#8fb3d5", COLOURS["place"], 0.0, edge=DOTTED, spacing_mm=2.6)),
    "Easement": (("easement",), hatched("#bfa9de", COLOURS["need"], 90.0)),
    "Private places": (("private_place",), hatched(COLOURS["place"], COLOURS["place"], 0.0, opacity=0.25)),
    "Trees and hedges": (("tree", "hedge"), hatched(COLOURS["crown"], COLOURS["plant"], 135.0)),
}  # fmt: skip
GROUND["no_plant_zones"] = Style(
    (
        *(
            Class(label, symbol, (Test("feature", "in", features),))
            for label, (features, symbol) in KEPT_CLEAR.items()
        ),
        Class("Kept out by the plan", hatched(FAINT, INK, 0.0, 90.0, spacing_mm=2.8)),
    ),
    Label(
        "feature",
        """replace("feature", '_', ' ')""",
        size_pt=7.0,
        role="quiet",
        below=400,
        priority=1,
    ),
    order="$area",
)

_PLACE = COLOURS["place"]
GROUND["private_places_areas"] = Style(
    either(
        "derived",
        ("Derived", Area(_PLACE, 0.18, stroke(_PLACE, LINE, DASHED))),
        ("As given", Area(_PLACE, 0.4, stroke(_PLACE, LINE))),
    ),
    Label("name", """coalesce("name", "place_id")""", role="place", below=1500, priority=6),
)
GROUND["private_places_points"] = Style(
    either(
        "derived",
        ("Derived", dot("star", 3.6, PAPER, _PLACE)),
        ("As given", dot("star", 3.6, _PLACE, PAPER)),
    ),
    Label("name", """coalesce("name", "place_id")""", role="place", below=1500, priority=6),
)
