"""Paper and scale: which round scale fits a sheet, the scale bar, the north arrow, dimensions."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely

from screenplan.ground.datum import knows_north
from screenplan.ground.said import FOOT_M
from screenplan.ground.units import format_length
from screenplan.outputs.drawings.style import HAIR, SMALL, THIN, write
from screenplan.outputs.palette import COLOURS

#: Width and height of a drawing that fits both A4 and Letter with their margins, millimetres.
SHEET_MM = (184.0, 228.0)
#: Scales of drawings in metres.
METRIC_SCALES = (20, 25, 50, 75, 100, 125, 150, 200, 250, 300, 400, 500, 750, 1000, 1250, 1500, 2000, 2500, 5000, 10000)  # fmt: skip
#: Scales of drawings in feet: an inch is so many feet, times twelve.
US_SCALES = tuple(12 * feet for feet in (2, 4, 5, 8, 10, 15, 20, 25, 30, 40, 50, 60, 80, 100, 200, 400, 800))  # fmt: skip
#: Lengths of the bar, in the units of the drawing.
BARS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)
#: The bar is the longest of those that is no longer than this on paper.
LONGEST_BAR_MM = 62.0
#: Room that a letter of the bar's text takes, the widest of the usual types of a page, millimetres.
LETTER_MM = 1.3
#: Height of the strip under a drawing in which the bar stands if no corner is free, millimetres.
BAR_STRIP_MM = 12.0
#: Clearance around what must be on a drawing, millimetres.
MARGIN_MM = 7.0


@dataclass(frozen=True)
class Sheet:
    """A drawing at a true scale.

    Parameters
    ----------
    scale : int
        1 : scale.
    width_mm, height_mm : float
        On paper.
    west, south : float
        Lower left corner, metres.
    units : {"metric", "us"}
        In which it is labelled.
    """

    scale: float
    width_mm: float
    height_mm: float
    west: float
    south: float
    units: str = "metric"

    def metres(self, mm: float) -> float:
        """Give the length on the ground of a length on paper."""
        return mm / 1000.0 * self.scale

    @property
    def east(self) -> float:
        """Right edge, metres."""
        return self.west + self.metres(self.width_mm)

    @property
    def north(self) -> float:
        """Upper edge, metres."""
        return self.south + self.metres(self.height_mm)

    @property
    def says(self) -> str:
        """The scale in words."""
        if self.units == "us":
            return f"1 in = {self.scale // 12} ft (1:{self.scale})"
        return f"1:{self.scale}"


def lay_sheet(bounds, *, units: str = "metric", paper_mm: tuple[float, float] = SHEET_MM) -> Sheet:
    """Choose the largest round scale at which an extent fits a sheet.

    Parameters
    ----------
    bounds : tuple of 4 floats
        West, south, east, north of what must be seen, metres.
    units : {"metric", "us"}
    paper_mm : tuple of 2 floats
        Width and greatest height.

    Returns
    -------
    Sheet
        As wide as the paper; only as high as is needed.
    """
    west, south, east, north = bounds
    width, height = max(east - west, 0.1), max(north - south, 0.1)
    room = (paper_mm[0] - 2 * MARGIN_MM, paper_mm[1] - 2 * MARGIN_MM)
    needed = max(width / room[0], height / room[1]) * 1000.0
    known = US_SCALES if units == "us" else METRIC_SCALES
    scale = next((number for number in known if number >= needed), None)
    if scale is None:
        step = 12 if units == "us" else 1000
        scale = math.ceil(needed / step) * step
    tall = min(height * 1000.0 / scale + 2 * MARGIN_MM, paper_mm[1])
    middle = ((west + east) / 2.0, (south + north) / 2.0)
    return Sheet(
        scale, paper_mm[0], tall,
        middle[0] - paper_mm[0] * scale / 2000.0, middle[1] - tall * scale / 2000.0, units,
    )  # fmt: skip


def lay_sheet_with_bar(
    bounds, avoid, *, units: str = "metric", paper_mm: tuple[float, float] = SHEET_MM
) -> Sheet:
    """Lay a sheet that has a corner, or else a strip at its foot, free for the scale bar.

    Parameters
    ----------
    bounds, units, paper_mm
        As in `lay_sheet`.
    avoid : geometry
        Lines that the bar must not hide.

    Returns
    -------
    Sheet
    """
    sheet = lay_sheet(bounds, units=units, paper_mm=paper_mm)
    if min(_hidden(sheet, avoid)) == 0.0:
        return sheet
    width, height = paper_mm
    sheet = lay_sheet(bounds, units=units, paper_mm=(width, height - BAR_STRIP_MM))
    return lengthen(sheet, BAR_STRIP_MM)


def lengthen(sheet: Sheet, strip_mm: float) -> Sheet:
    """Add a strip at the foot of a sheet."""
    return replace(
        sheet, height_mm=sheet.height_mm + strip_mm, south=sheet.south - sheet.metres(strip_mm)
    )


def _bar_corners(sheet: Sheet) -> tuple[list[tuple[float, float]], float, float]:
    """Give the corners in which the bar may stand, and the room that it and its text take."""
    mm = sheet.metres(1.0)
    wide = max(bar_length(sheet)[0] + 14 * mm, (len(_bar_text(sheet)) * LETTER_MM + 6.0) * mm)
    tall = 11 * mm
    corners = [
        (sheet.west + mm, sheet.south + mm),
        (sheet.east - wide - mm, sheet.south + mm),
        (sheet.west + mm, sheet.north - tall - mm),
    ]
    return corners, wide, tall


def _hidden(sheet: Sheet, avoid) -> list[float]:
    """Tell for each corner what length of lines the bar would hide there."""
    corners, wide, tall = _bar_corners(sheet)
    return [avoid.intersection(shapely.box(x, y, x + wide, y + tall)).length for x, y in corners]


def _bar_text(sheet: Sheet) -> str:
    return f"{sheet.says} printed at 100 %"


def bar_length(sheet: Sheet) -> tuple[float, str]:
    """Give the length of the scale bar in metres, and its label."""
    unit = FOOT_M if sheet.units == "us" else 1.0
    name = "ft" if sheet.units == "us" else "m"
    longest = sheet.metres(LONGEST_BAR_MM) / unit
    number = max((length for length in BARS if length <= longest), default=BARS[0])
    return number * unit, f"{number} {name}"


def draw_scale_bar(ax, sheet: Sheet, avoid=None) -> None:
    """Draw a scale bar, a bar whose right half is filled, in the corner where it hides least.

    Parameters
    ----------
    ax : Axes
    sheet : Sheet
    avoid : geometry, optional
        Lines that it should not hide; without it the bar stands in the lower left corner.
    """
    from matplotlib.patches import Rectangle

    length, label = bar_length(sheet)
    mm = sheet.metres(1.0)
    corners, wide, tall = _bar_corners(sheet)
    if avoid is not None:
        corners = [corners[int(np.argmin(_hidden(sheet, avoid)))]]
    x, y = corners[0][0] + 3 * mm, corners[0][1] + 3 * mm
    ax.add_artist(
        Rectangle(
            corners[0], wide, tall,
            facecolor=COLOURS["paper"], edgecolor="none", alpha=0.85, zorder=29,
        )
    )  # fmt: skip
    for start, fill in ((x, COLOURS["paper"]), (x + length / 2.0, COLOURS["bar"])):
        ax.add_artist(
            Rectangle(
                (start, y), length / 2.0, 1.6 * mm, facecolor=fill,
                edgecolor="none", zorder=30,
            )
        )  # fmt: skip
    # The outline lies inside the bar, so that the ink's ends are the bar's ends.
    for px, py, w, h in (
        (x, y, length, 0.3 * mm),
        (x, y + 1.3 * mm, length, 0.3 * mm),
        (x, y, 0.3 * mm, 1.6 * mm),
    ):
        ax.add_artist(
            Rectangle((px, py), w, h, facecolor=COLOURS["bar"], edgecolor="none", zorder=31)
        )
    style: dict[str, Any] = {"fontsize": SMALL, "va": "bottom", "zorder": 31, "halo": False}
    write(ax, x, y + 2.2 * mm, "0", **style)
    write(ax, x + length, y + 2.2 * mm, label, **style)
    # From the bar's start on, so that it stays in the sheet where it is longer than the bar.
    write(ax, x, y + 4.6 * mm, _bar_text(sheet), ha="left", **style)


def up_words(layers: Mapping) -> str:
    """Say for those who do not see a plan that north is up, if it is known."""
    return ", north up" if knows_north(layers["planting_lines"].crs) else ""


def draw_north_arrow(ax, sheet: Sheet, layers: Mapping) -> None:
    """Draw a north arrow in the upper right corner, if up is known to be true north."""
    if not knows_north(layers["planting_lines"].crs):
        return
    from matplotlib.patches import Polygon

    mm = sheet.metres(1.0)
    x, y = sheet.east - 8 * mm, sheet.north - 17 * mm
    for side, fill in ((-1, COLOURS["paper"]), (1, COLOURS["ink"])):
        ax.add_artist(
            Polygon(
                [(x, y + 11 * mm), (x + side * 2.6 * mm, y), (x, y + 2.4 * mm)],
                facecolor=fill, edgecolor=COLOURS["ink"], linewidth=THIN, zorder=30,
            )
        )  # fmt: skip
    write(ax, x, y + 13.2 * mm, "N", fontsize=9.3, fontweight="bold", zorder=30)


def draw_dimension(
    ax,
    start,
    end,
    sheet: Sheet,
    *,
    shift_mm: float = 0.0,
    foot_mm: float = 0.0,
    text: str | None = None,
    text_mm: float = 1.9,
) -> None:
    """Draw a dimension: a line with ticks between two points, and its length.

    Parameters
    ----------
    ax : Axes
    start, end : sequence of 2 floats
        Metres.
    sheet : Sheet
    shift_mm : float
        How far the line is moved to the left of its own direction, on paper.
    foot_mm : float
        How far from its points the thin lines begin that lead to a line that is moved, on paper.
    text : str, optional
        What is written; by default the length in the sheet's units.
    text_mm : float
        Distance of the text from the line, on paper; negative puts it on the right.
    """
    from matplotlib.collections import LineCollection

    start, end = np.asarray(start, float), np.asarray(end, float)
    length = float(np.hypot(*(end - start)))
    if length == 0.0:
        return
    along = (end - start) / length
    left = np.array([-along[1], along[0]])
    shift = left * sheet.metres(shift_mm)
    a, b = start + shift, end + shift
    tick = (along + left) * sheet.metres(0.9)
    pieces, widths = [(a, b)], [HAIR * 1.4]
    for at, foot in ((a, start), (b, end)):
        pieces.append((at - tick, at + tick))
        widths.append(THIN)
        if shift_mm:
            pieces.append((foot + shift * abs(foot_mm / shift_mm), at + shift * 0.12))
            widths.append(HAIR)
    ax.add_collection(
        LineCollection(pieces, linewidths=widths, color=COLOURS["ink"], zorder=18), autolim=False
    )
    angle = float(np.degrees(np.arctan2(along[1], along[0])))
    if not -90.0 < angle <= 90.0:
        angle += 180.0 if angle <= -90.0 else -180.0
    middle = (a + b) / 2.0 + left * sheet.metres(text_mm)
    write(
        ax, middle[0], middle[1], format_length(length, sheet.units) if text is None else text,
        fontsize=SMALL, rotation=angle, rotation_mode="anchor",
    )  # fmt: skip
