"""Which paper, which way up, which scale: the largest of the trade at which the site fits."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from screenplan.outputs.drawings.scale import Sheet

#: Name of a paper: its shorter and longer edge, millimetres (ISO 216; ANSI Y14.1 sizes A and B).
PAPERS = {
    "A4": (210.0, 297.0),
    "A3": (297.0, 420.0),
    "Letter": (215.9, 279.4),
    "Tabloid": (279.4, 431.8),
}
#: Which papers there are layouts for.
PAPERS_OF = {"metric": ("A4", "A3"), "us": ("Letter", "Tabloid", "A4", "A3")}

#: Scales of drawings in metres, as on the edges of scale rulers and of plan sheets.
METRIC_SCALES = (50, 75, 100, 125, 200, 250, 300, 400, 500, 1000, 1250, 2000, 2500, 5000, 10000)
#: Scales of drawings in feet: an inch is so many feet, as on an engineer's scale.
FEET_PER_INCH = (5, 10, 20, 30, 40, 50, 60, 100, 200, 300, 400, 500, 1000)

MARGIN_MM = 8.0
GAP_MM = 4.0
#: Clearance on the map around what it must hold.
INSIDE_MM = 4.0
#: Width of the column of texts beside the map, height of the strip of texts below it: on a small
#: and on a large paper.
COLUMN_MM = (62.0, 84.0)
STRIP_MM = (57.0, 76.0)
#: How much wider or higher these are made, one after another, until a long legend fits.
MORE = (1.0, 1.25, 1.5, 1.75)
#: A paper is a large one if its shorter edge is longer than this.
LARGE_MM = 250.0


@dataclass(frozen=True)
class Box:
    """A rectangle on paper: left and top edge, width and height, millimetres."""

    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True)
class Page:
    """A paper with its map and the room for texts.

    Parameters
    ----------
    paper : str
        Its name.
    width_mm, height_mm : float
    map, texts : Box
        Where the map and the texts stand.
    sheet : Sheet
        The map's scale and extent.
    """

    paper: str
    width_mm: float
    height_mm: float
    map: Box
    texts: Box
    sheet: Sheet

    @property
    def landscape(self) -> bool:
        """Whether the texts stand beside the map."""
        return self.width_mm > self.height_mm

    @property
    def grow(self) -> float:
        """How much larger letters are than on a small paper."""
        return 1.2 if min(self.width_mm, self.height_mm) > LARGE_MM else 1.0


def choose_page(
    paper: str, bounds, *, units: str = "metric", fits: Callable[[Page], bool] = lambda _: True
) -> Page:
    """Lay a site on a paper, upright or across, whichever gives the larger scale.

    Parameters
    ----------
    paper : str
        A key of `PAPERS`.
    bounds : sequence of 4 floats
        West, south, east, north of what must be on the map, metres.
    units : {"metric", "us"}
        Which decides the scales.
    fits : callable
        Tells whether the texts have room on a page; if on none, they get more, and the map less.

    Returns
    -------
    Page
        Upright if both give the same scale and the site is higher than it is wide.
    """
    west, south, east, north = (float(value) for value in bounds)
    width, height = max(east - west, 0.1), max(north - south, 0.1)
    pages: list[Page] = []
    for more in MORE:
        pages = []
        for landscape in (height < width, height >= width):
            box, texts, size = _divide(paper, landscape, more)
            room = (box.width - 2.0 * INSIDE_MM, box.height - 2.0 * INSIDE_MM)
            scale = trade_scale(max(width / room[0], height / room[1]) * 1000.0, units)
            sheet = Sheet(
                scale, box.width, box.height,
                (west + east) / 2.0 - box.width * scale / 2000.0,
                (south + north) / 2.0 - box.height * scale / 2000.0,
                units,
            )  # fmt: skip
            pages.append(Page(paper, *size, box, texts, sheet))
        roomy = [page for page in pages if fits(page)]
        if roomy:
            return min(roomy, key=lambda page: page.sheet.scale)
    return min(pages, key=lambda page: page.sheet.scale)


def trade_scale(needed: float, units: str = "metric") -> int:
    """Give the largest scale of the trade, as 1 : N, that is no larger than 1 : ``needed``."""
    known = tuple(12 * feet for feet in FEET_PER_INCH) if units == "us" else METRIC_SCALES
    step = 12000 if units == "us" else 10000
    return next((number for number in known if number >= needed), math.ceil(needed / step) * step)


def _divide(paper: str, landscape: bool, more: float) -> tuple[Box, Box, tuple[float, float]]:
    short, long = PAPERS[paper]
    large = short > LARGE_MM
    width, height = (long, short) if landscape else (short, long)
    inner = (width - 2.0 * MARGIN_MM, height - 2.0 * MARGIN_MM)
    if landscape:
        column = COLUMN_MM[large] * more
        across = inner[0] - column - GAP_MM
        return (
            Box(MARGIN_MM, MARGIN_MM, across, inner[1]),
            Box(MARGIN_MM + across + GAP_MM, MARGIN_MM, column, inner[1]),
            (width, height),
        )
    strip = STRIP_MM[large] * more
    down = inner[1] - strip - GAP_MM
    return (
        Box(MARGIN_MM, MARGIN_MM, inner[0], down),
        Box(MARGIN_MM, MARGIN_MM + down + GAP_MM, inner[0], strip),
        (width, height),
    )
