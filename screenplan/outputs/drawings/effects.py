"""Where the screen gets in others' way: sight, wires, buried lines, roots, the boundary, noise.

Each finding is a mark or a hatch of its own, told in the words of the legend at the drawing's foot;
none is told by colour. The marks of a plant stand in a file on the inner side of its row.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely

from screenplan.outputs.drawings.plan import (
    draw_numbers,
    draw_rows,
    inner_side,
    kept_visible,
    sheet_axes,
)
from screenplan.outputs.drawings.scale import (
    BAR_STRIP_MM,
    SHEET_MM,
    Sheet,
    draw_north_arrow,
    draw_scale_bar,
    lay_sheet,
    lengthen,
    up_words,
)
from screenplan.outputs.drawings.site_base import add_areas, add_lines, draw_site
from screenplan.outputs.drawings.style import LINE, SMALL, THIN, write, year_words
from screenplan.outputs.palette import COLOURS

#: How far ground and paths about the parcel are followed, as a share of the parcel's extent.
LOOK_AROUND = 0.15
#: A line of the legend, its sample, and the gap of the first mark from the stem, millimetres.
LEGEND_LINE_MM, SAMPLE_MM, FIRST_MARK_MM, NEXT_MARK_MM = 4.2, 9.0, 5.0, 2.3
MARK_PT = 4.4


@dataclass(frozen=True)
class Finding:
    """One entry of the legend: which rows of a layer it shows, how, and in which words.

    Parameters
    ----------
    layer : str
    words : str
    rows : DataFrame
    look : dict
        Options of the mark, the area or the line.
    form : {"mark", "area", "line"}
    """

    layer: str
    words: str
    rows: pd.DataFrame
    look: dict
    form: str


def _mark(marker: str, *, full: bool = True, role: str = "open") -> dict:
    colour = COLOURS[role]
    return {
        "marker": marker, "color": colour if full else COLOURS["paper"],
        "markeredgecolor": colour, "markeredgewidth": LINE, "markersize": MARK_PT,
    }  # fmt: skip


def _area(hatch: str | None, role: str, dashes="solid", width: float = LINE) -> dict:
    return {
        "facecolor": "none", "edgecolor": COLOURS[role], "hatch": hatch, "linestyle": dashes,
        "linewidth": width,
    }  # fmt: skip


#: Layer, column and values that choose its rows, words, look. In the order of the legend.
_AREAS: tuple[tuple[str, str, tuple[str, ...], str, dict], ...] = (
    ("sight_areas", "kind", ("drive", "corner"), "Kept clear for sight, drive or corner",
     _area("\\\\\\\\", "open")),
    ("sight_areas", "kind", ("stopping",), "Kept clear to stop on the road",
     _area("..", "open", (0, (6, 2)), THIN)),
    ("sight_areas", "kind", ("emerging",), "Kept clear for one driving out",
     _area(None, "open", (0, (2, 2)))),
    ("locate_zones", "", (), "Buried line: dig by hand, once located",
     _area("++", "need")),
)  # fmt: skip
_MARKS: tuple[tuple[str, str, tuple[str, ...], str, dict], ...] = (
    ("sight_plants", "", (), "Grows into ground kept clear for sight", _mark("v")),
    ("wire_plants", "what", ("zoning",), "Outgrows the height near an overhead line",
     _mark("x", role="ink")),
    ("wire_plants", "what", ("wire", "sag and swing"), "Comes near the wire itself",
     _mark("X", role="ink")),
    ("holes_at_lines", "", (), "Its hole touches the ground about a buried line", _mark("*", role="need")),
    ("deep_roots", "", (), "Taller than its distance to a septic field",
     _mark("s", full=False, role="need")),
    ("outgrown", "what", ("crown over the boundary",), "Crown grows over the boundary",
     _mark("o", full=False)),
    ("outgrown", "what", ("height at the boundary",), "Outgrows the height at the boundary",
     _mark("D", role="place")),
    ("outgrown", "what", ("crown at a wall", "height at a wall"), "Outgrows its distance to a wall",
     _mark("+", role="ink")),
)  # fmt: skip
_PATH = {"color": COLOURS["place"], "linewidth": LINE, "linestyle": (0, (7, 2, 1.2, 2, 1.2, 2))}


def effect_findings(layers: Mapping) -> list[Finding]:
    """List what a drawing of effects shows, as its legend tells it; empty if there is nothing."""
    return list(_findings(layers))


def _findings(layers) -> Iterator[Finding]:
    for kinds, form, words in ((_AREAS, "area", _areas_words), (_MARKS, "mark", _plants_words)):
        for layer, column, values, says, look in kinds:
            rows = layers.get(layer)
            if rows is None or not len(rows):
                continue
            rows = rows.loc[rows[column].isin(values)] if column else rows
            if len(rows):
                yield Finding(layer, f"{says}: {words(rows)}", rows, look, form)
    paths = layers.get("noise_paths")
    if paths is not None and len(paths):
        most = float(paths["loss_db"].max())
        loss = f"the leaves take {most:g} dB at most" if most else "no measurable reduction"
        yield Finding("noise_paths", f"Way of the sound from a road: {loss}", paths, _PATH, "line")


def _areas_words(rows) -> str:
    if "plants" in rows:
        least = rows["first_year"].min()
        if int(rows["plants"].sum()) == 0:
            return "no plant in it"
        return "plants in it" + ("" if pd.isna(least) else f", first {_from(least)}")
    return f"{len(rows)} line{'s' if len(rows) > 1 else ''}"


def _plants_words(rows) -> str:
    plants = rows["plant_id"].nunique()
    least = rows["year"].min() if "year" in rows else 0
    first = "" if pd.isna(least) else f", {'' if plants == 1 else 'first '}{_from(least)}"
    return f"{plants} plant{'s' if plants > 1 else ''}{first}"


def _from(year) -> str:
    return "at planting" if int(year) == 0 else f"in {year_words(int(year))}"


def _sheet(layers, findings, units="metric") -> Sheet:
    """Lay the sheet: the parcel, what is near it, the legend at its foot."""
    west, south, east, north = kept_visible(layers, houses=False).bounds
    reach = LOOK_AROUND * max(east - west, north - south)
    around = shapely.box(west - reach, south - reach, east + reach, north + reach)
    seen = [
        shapely.intersection(shape, around)
        for finding in findings
        for shape in finding.rows.geometry
    ]
    bounds = shapely.union_all([shapely.box(west, south, east, north), *seen]).bounds
    strip = legend_mm(len(findings))
    sheet = lay_sheet(bounds, units=units, paper_mm=(SHEET_MM[0], SHEET_MM[1] - strip))
    return lengthen(sheet, strip)


def legend_mm(entries: int) -> float:
    """Give the height on paper of a legend of so many entries in two columns, with the scale bar."""
    return -(-entries // 2) * LEGEND_LINE_MM + 3.0 + BAR_STRIP_MM


def draw_effects(layers: Mapping, ax=None, *, sheet: Sheet | None = None, units: str = "metric"):
    """Draw where the screen gets in the way of sight, lines, roots, walls, and the boundary.

    Parameters
    ----------
    layers : mapping of str to GeoDataFrame
        By contract name, in metres east and north. Needed are ``parcels``, ``planting_lines`` and
        ``plants``; drawn is what has rows of ``sight_areas``, ``sight_plants``, ``wire_plants``,
        ``locate_zones``, ``holes_at_lines``, ``deep_roots``, ``outgrown`` and ``noise_paths``.
    ax : Axes, optional
        By default new ones that fill a figure of the sheet's size.
    sheet : Sheet, optional
    units : {"metric", "us"}

    Returns
    -------
    Axes or None
        None if no layer has a row.
    """
    findings = effect_findings(layers)
    if not findings:
        return None
    sheet = _sheet(layers, findings, units) if sheet is None else sheet
    ax = sheet_axes(ax, sheet)
    strip = legend_mm(len(findings))
    foot = sheet.south + sheet.metres(strip)
    draw_site(ax, layers, (sheet.west, foot, sheet.east, sheet.north))
    draw_rows(ax, layers)
    draw_numbers(ax, layers, sheet)
    for finding in findings:
        if finding.form == "area":
            made = add_areas(ax, finding.rows.geometry, zorder=6.5, **finding.look)
            if made is not None:
                made.set_gid(f"effect.{finding.layer}")
        elif finding.form == "line":
            _sound(ax, finding, sheet)
    _file_marks(ax, layers, [finding for finding in findings if finding.form == "mark"], sheet)
    draw_north_arrow(ax, sheet, layers)
    draw_legend(ax, sheet, [(_sampler(finding), finding.words) for finding in findings], strip)
    return ax


def _sound(ax, finding, sheet) -> None:
    from matplotlib.collections import PolyCollection

    add_lines(ax, finding.rows.geometry, zorder=8.5, gid="effect.noise_paths", **finding.look)
    tips = []
    for line in finding.rows.geometry:
        start, end = shapely.get_coordinates(line)[-2:]
        along = (end - start) / max(float(np.hypot(*(end - start))), 1e-9)
        across = np.array([-along[1], along[0]]) * sheet.metres(0.9)
        heel = end - sheet.metres(2.4) * along
        tips.append([end, heel + across, heel - across])
    ax.add_collection(
        PolyCollection(tips, facecolor=COLOURS["place"], edgecolor="none", zorder=8.6),
        autolim=False,
    )


def _file_marks(ax, layers, findings, sheet) -> None:
    """Put the marks of each plant one behind the other, from its number to the inner side."""
    plants = layers["plants"]
    sides = {
        line_id: inner_side(line, layers)
        for line_id, line in zip(
            layers["planting_lines"]["line_id"], layers["planting_lines"].geometry, strict=True
        )
    }
    plants = plants.loc[plants["line_id"].isin(sides)]
    feet = shapely.get_coordinates(plants.geometry.to_numpy())
    inner = np.array([sides[line_id] for line_id in plants["line_id"]]).reshape(-1, 2)
    place = np.zeros(len(plants))
    for finding in findings:
        hit = plants["plant_id"].isin(finding.rows["plant_id"]).to_numpy()
        if not hit.any():
            continue
        away = sheet.metres(1.0) * (FIRST_MARK_MM + NEXT_MARK_MM * place[hit])
        place[hit] += 1
        ax.plot(
            *(feet[hit] + inner[hit] * away[:, None]).T, linestyle="none", zorder=17,
            gid=f"effect.{finding.layer}", **finding.look,
        )  # fmt: skip


def _sampler(finding) -> Callable:
    def draw(ax, x, y, mm) -> None:
        if finding.form == "mark":
            ax.plot(x + SAMPLE_MM / 2.0 * mm, y, linestyle="none", zorder=31, **finding.look)
        elif finding.form == "area":
            box = shapely.box(x + mm, y - 1.5 * mm, x + (SAMPLE_MM - 1.0) * mm, y + 1.5 * mm)
            add_areas(ax, [box], zorder=31, **finding.look)
        else:
            line = shapely.LineString([(x + mm, y), (x + (SAMPLE_MM - 1.0) * mm, y)])
            add_lines(ax, [line], zorder=31, **finding.look)

    return draw


def draw_legend(ax, sheet: Sheet, entries, strip_mm: float) -> None:
    """Draw the legend in two columns on the strip at a sheet's foot, the scale bar under it.

    Parameters
    ----------
    ax : Axes
    sheet : Sheet
        Its strip included.
    entries : sequence of (callable, str)
        What draws the sample at ``(ax, x, y, metres of a millimetre)``, and the words.
    strip_mm : float
    """
    from matplotlib.patches import Rectangle

    mm = sheet.metres(1.0)
    top = sheet.south + strip_mm * mm
    shown = Rectangle(
        (sheet.west, top), sheet.east - sheet.west, sheet.north - top, transform=ax.transData
    )
    for artist in (*ax.collections, *ax.lines):
        artist.set_clip_path(shown)
    ax.add_artist(
        Rectangle((sheet.west, sheet.south), sheet.east - sheet.west, strip_mm * mm,
                  facecolor=COLOURS["paper"], edgecolor="none", zorder=28)
    )  # fmt: skip
    rule = shapely.LineString([(sheet.west, top), (sheet.east, top)])
    add_lines(ax, [rule], color=COLOURS["faint"], linewidth=THIN, zorder=28.5)
    down = -(-len(entries) // 2)
    for number, (sample, words) in enumerate(entries):
        x = sheet.west + (0.0 if number < down else sheet.width_mm / 2.0) * mm
        y = top - (3.5 + (number % down) * LEGEND_LINE_MM) * mm
        sample(ax, x, y, mm)
        write(ax, x + (SAMPLE_MM + 1.0) * mm, y, words, ha="left", fontsize=SMALL, halo=False,
              zorder=31)  # fmt: skip
    # The bar's place is the lower left corner, which the strip keeps free.
    draw_scale_bar(ax, sheet)


def effects_words(layers: Mapping) -> str:
    """Say what a drawing of effects shows, for those who do not see it."""
    said = "; ".join(finding.words for finding in effect_findings(layers))
    return f"Plan seen from above{up_words(layers)}, of what the screen gets, or may get, in the way of. {said}."
