"""The report's drawings as inline SVG, each with a caption and a text for those who do not see it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from screenplan.contracts.called import view_names
from screenplan.ground.units import format_length
from screenplan.outputs.drawings.effects import draw_effects, effects_words
from screenplan.outputs.drawings.elevation import draw_elevation, draw_needed_height
from screenplan.outputs.drawings.kind_marks import kind_marks
from screenplan.outputs.drawings.multiples import draw_years
from screenplan.outputs.drawings.plan import draw_growth, draw_plan, plan_sheet, sight_sheet
from screenplan.outputs.drawings.scale import up_words
from screenplan.outputs.drawings.section import draw_section, section_ids
from screenplan.outputs.drawings.sketch import draw_sketch, name_large
from screenplan.outputs.drawings.style import clean, drawing_style, off_screen, year_words
from screenplan.outputs.drawings.sun import draw_sun, lost_hours, sun_words
from screenplan.outputs.drawings.svg import OF_PHONE, to_svg
from screenplan.outputs.plant_list import plant_list
from screenplan.outputs.report_views import shown_views, view_codes

#: Sections in the report, and elevations.
MOST_SECTIONS, MOST_ROWS = 4, 8


@dataclass(frozen=True)
class Figure:
    """One drawing.

    Parameters
    ----------
    svg : str
    caption : str
    kind : str
        sketch, plan, growth, years, elevation, needed, section or effect.
    """

    svg: str
    caption: str
    kind: str


@dataclass
class Figures:
    """The report's drawings by kind."""

    made: list[Figure] = field(default_factory=list)

    def of(self, kind: str) -> list[Figure]:
        """Give the drawings of a kind, in order."""
        return [figure for figure in self.made if figure.kind == kind]


def make_figures(layers: Mapping, *, years: Sequence[int], shown: int, units: str) -> Figures:
    """Draw what the layers have.

    Parameters
    ----------
    layers : mapping of str to DataFrame
        By contract name, in metres east and north.
    years : sequence of int
        Years of ``crowns``.
    shown : int
        The year that is visible at first.
    units : {"metric", "us"}
    """
    with drawing_style(), off_screen():
        return Figures(list(_draw(layers, sorted(years), shown, units)))


def _draw(layers, years, shown, units) -> Iterator[Figure]:
    plants, lines = layers["plants"], layers["planting_lines"]
    codes, names = view_codes(layers["views"]), view_names(layers)
    sheet = plan_sheet(layers, units=units)
    rows = _listed(f"{row.line_id} of {format_length(row.length_m, units)}" for row in lines.itertuples())  # fmt: skip
    outlined, up = len(layers["parcels"]) > 0, up_words(layers)
    year = shown if len(plants) and years else None
    yield Figure(
        to_svg(
            draw_sketch(layers, year=year, units=units).figure, "sketch", title="The planting",
            says=f"Plan seen from above{up}: the rows, the houses and the private places.",
        ),
        f"Crowns in {year_words(year)}." if year else "The rows.",
        "sketch",
    )  # fmt: skip
    says = f"Plan {'of the parcel ' if outlined else ''}seen from above{up}. {len(plants)} plants stand in rows: {rows}."
    yield Figure(
        to_svg(
            _for_phones(draw_plan(layers, sheet=sheet), layers, sheet),
            "plan",
            title="Planting plan",
            says=says,
        ),
        f"Planting plan, {sheet.says} when printed at 100 %. {_planted(layers, units)}{' '.join(_signs(layers))}",
        "plan",
    )
    if not len(plants):
        return
    yield from _effects(layers, units)
    says = (
        "Plan of the crowns and of the sight lines from windows to private places in one year. "
        "Open views are solid arrows, closed ones thin dotted lines. The sentence above tells how "
        "many are closed, the table of views which."
    )
    sheet = sight_sheet(layers, units=units)
    yield Figure(
        to_svg(
            _for_phones(draw_growth(layers, years=years, codes=codes, sheet=sheet), layers, sheet), "growth",
            title="The screen and the views in one year", says=says, shown=shown,
        ),
        "Solid arrows: views that are open; dotted lines: views that are closed. "
        "V1, V2 … are the views of the table below.",
        "growth",
    )  # fmt: skip
    yield Figure(
        to_svg(
            draw_years(layers, years=years, units=units)[0].figure, "years",
            title="The screen and the views, year by year", says=says,
        ),
        "Solid arrows: views that are open; dotted lines: views that are closed.",
        "years",
    )  # fmt: skip
    planted = [line for line in lines["line_id"] if (plants["line_id"] == line).any()]
    for number, line_id in enumerate(planted[:MOST_ROWS], 1):
        yield _elevation(layers, line_id, number, years, shown, codes, units)
    profile = layers.get("needed_profile")
    known = set() if profile is None else set(profile["line_id"])
    for number, line_id in enumerate([line for line in planted if line in known][:MOST_ROWS], 1):
        yield Figure(
            to_svg(
                draw_needed_height(layers, line_id, units=units).figure, f"needed-{number}",
                title=f"Needed height along {clean(line_id)}",
                says="Profile along the row: how tall an opaque screen must be at each station, and "
                "up to which height the planned row has closed by year.",
            ),
            f"Needed height along {clean(line_id)}: hatched up to the height that closes the views; "
            "dashed lines are the heights up to which the planned row has closed.",
            "needed",
        )  # fmt: skip
    for number, view_id in enumerate(_chosen_sections(layers), 1):
        code = codes.get(view_id, "")
        yield Figure(
            to_svg(
                draw_section(layers, view_id, units=units).figure, f"section-{number}",
                title=f"Section through view {code or clean(view_id)}",
                says="Vertical cut along the sight line: the window on the left, the ground, the "
                "crowns by year, and the head in the private place on the right.",
            ),
            f"Section through view {code}, {clean(names.get(view_id, view_id), 200)}: a look from the "
            "middle of the window to the middle of the place.",
            "section",
        )  # fmt: skip


def _for_phones(ax, layers, sheet):
    """Add to a plan the names that a phone shows in the place of its small texts; gives the figure."""
    name_large(ax, layers, sheet, OF_PHONE)
    return ax.figure


def _signs(layers) -> Iterator[str]:
    """Say what the marks of the planting plan stand for, those that are on it."""

    def drawn(name: str) -> bool:
        return layers.get(name) is not None and len(layers[name]) > 0

    plants, utilities = layers["plants"], layers.get("utilities")
    marks = "marks" if len(kind_marks(plants)) > 1 else "dots"
    stand = ", triangles: plants that stand already" if plants["existing"].any() else ""
    yield f"Numbered {marks}: plants{stand}."
    yield f"Squares: pegs{'; letters in circles: points from which tapes start' if drawn('tape_points') else ''}."
    for name, says in (
        ("crowns", "Dashed circles: crowns in the last year drawn."),
        ("no_plant_zones", "Hatched: no stem may stand."),
        ("private_places", "Cross-hatched: private places."),
        ("parcels", "Heavy chain line: the boundary."),
    ):
        if drawn(name):
            yield says
    if drawn("utilities"):
        there = set(utilities["position"].dropna())
        lines = {"buried": "fine chain line: buried", "overhead": "dots: overhead"}
        found = "; ".join(says for position, says in lines.items() if position in there)
        yield f"{found[:1].upper()}{found[1:]}." if found else ""


def _planted(layers, units) -> str:
    marks = {key: mark.called for key, mark in kind_marks(layers["plants"]).items()}
    lines = plant_list(layers.get("quantities"), units, marks if len(marks) > 1 else None)
    return f"To be planted: {'; '.join(lines)}. " if lines else ""


def _effects(layers, units) -> Iterator[Figure]:
    ax = draw_effects(layers, units=units)
    if ax is not None:
        yield Figure(
            to_svg(ax.figure, "effects", title="The screen and what is near it",
                   says=effects_words(layers)),
            "Where the screen gets, or may get, in the way of sight, lines, roots, walls or the "
            "boundary. The marks of a plant stand in a file on the inner side of its row; the tables "
            "below tell by how much, and from which year on.",
            "effect",
        )  # fmt: skip
    ax = draw_sun(layers, units=units)
    if ax is not None:
        found = lost_hours(layers)
        when = f" in {year_words(found[1])}, in which it loses most" if found else ""
        yield Figure(
            to_svg(ax.figure, "sun", title="Where the screen takes the sun", says=sun_words(layers, units=units)),
            f"Hours of sun that the screen takes from the ground{when}; typical growth, clouds not "
            "counted. Per cent: the share that a window, panel or bed loses in the year in which it "
            "loses most; windows near one another share a label.",
            "effect",
        )  # fmt: skip


def _elevation(layers, line_id, number, years, shown, codes, units) -> Figure:
    ax = draw_elevation(layers, line_id, years=years, filled=years, codes=codes, units=units)
    return Figure(
        to_svg(
            ax.figure, f"elevation-{number}", title=f"Elevation of {clean(line_id)}",
            says="The row from the side: outlines of the crowns "
            + _listed(year_words(year) for year in years)
            + ", and the outlines through which the views pass the row.",
            shown=shown,
        ),
        f"Elevation of {clean(line_id)} by year. V1, V2 … frame where that window looks "
        "through the row: hatched while the view is open, dotted once it is closed.",
        "elevation",
    )  # fmt: skip


def _chosen_sections(layers) -> list[str]:
    """Choose for each place the view through the row that is open longest, then go round again."""
    there = section_ids(layers)
    views = shown_views(layers["views"])
    views = views.loc[views["view_id"].isin(there)]
    sights = layers.get("sight_lines")
    if sights is None or views.empty:
        return []
    crosses = set(sights.loc[sights["line_id"].notna(), "view_id"])
    views = views.loc[views["view_id"].isin(crosses)]
    views = views.sort_values(
        ["year_closed", "open_now"], ascending=[False, False], na_position="first"
    )
    turn = views.groupby("place_id", sort=False).cumcount()
    return list(views.assign(turn=turn).sort_values("turn", kind="stable")["view_id"])[
        :MOST_SECTIONS
    ]


def _listed(parts) -> str:
    parts = [str(part) for part in parts]
    return parts[0] if len(parts) == 1 else ", ".join(parts[:-1]) + " and " + parts[-1] if parts else "none"  # fmt: skip
