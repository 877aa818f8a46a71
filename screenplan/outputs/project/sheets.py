"""The print layouts: the planting plan and the stake-out on paper, each at a true scale."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from xml.etree.ElementTree import Element

import pandas as pd
from pyproj import CRS

from screenplan._version import __version__
from screenplan.contracts.presentation import PLAN, STAKE_OUT
from screenplan.ground.datum import knows_north
from screenplan.outputs.drawings.style import clean
from screenplan.outputs.palette import COLOURS
from screenplan.outputs.plant_list import plant_list
from screenplan.outputs.project.items import (
    Layout,
    add_area,
    add_label,
    add_legend,
    add_map,
    add_north_arrow,
    add_scale_bar,
    start_layout,
)
from screenplan.outputs.project.legends import LETTER_MM, Item, fit_legend, legend_items
from screenplan.outputs.project.markup import add, add_options
from screenplan.outputs.project.paper import PAPERS_OF, Box, Page, choose_page
from screenplan.outputs.project.tree import Entry
from screenplan.outputs.report_cells import how_tapes_lie

#: What there are sheets of.
SHEETS = (PLAN, STAKE_OUT)

CAUTION = (
    "Before any digging, have buried lines located. This is not a survey: where the boundary "
    "matters, have it marked by a licensed surveyor. Your local code decides on setbacks."
)
#: The caution's own ground, as in the report.
CAUTION_FILL = "#fbefdc"
#: Up to so many letters a title has this size, in points, and takes up to three lines.
_TITLE_SIZES = ((24, 14.0), (42, 10.5), (math.inf, 9.0))
#: Size of the letters of the list of plants, points, and height of its lines, millimetres.
_PLANTS_SIZE, _PLANTS_LINE = 7.0, 3.1
#: A stake that needs no offset.
ON_THE_LINE = "on the line"
#: The map's scale when it is printed, worked out anew when the scale is changed.
_SCALE = "round(map_get(item_variables('map'),'map_scale'))"


@dataclass(frozen=True)
class Titles:
    """What a sheet says of the plan.

    Parameters
    ----------
    title : str
        Of the plan.
    planned : str
        The parcel or the lots, as `About.of` says it; empty if only the row is known.
    date : str
        When the plan was made.
    """

    title: str
    planned: str
    date: str

    @property
    def of(self) -> str:
        """What the plan is of, in words."""
        return self.planned or "a row, its parcel not known"


def add_sheets(
    parent: Element,
    bounds: Mapping[str, Sequence[float]],
    entries: Sequence[Entry],
    layers: Mapping[str, pd.DataFrame],
    titles: Titles,
    crs: CRS,
    *,
    units: str = "metric",
) -> list[Page]:
    """Add a layout for each kind of sheet and each paper.

    Parameters
    ----------
    parent : Element
        ``Layouts``.
    bounds : mapping of str to sequence of 4 floats
        For each of `SHEETS` what must be on the map, metres of the frame.
    entries : sequence of Entry
        The layer tree.
    layers : mapping of str to DataFrame
        By name as written.
    titles : Titles
    crs : pyproj.CRS
        The local frame.
    units : {"metric", "us"}

    Returns
    -------
    list of Page
        In the order of the layouts.
    """
    pages = []
    for theme in SHEETS:
        items = legend_items((entry for entry in entries if theme in entry.themes), layers)
        plants = _planted(layers, units) if theme == PLAN else _readings(layers)
        for paper in PAPERS_OF[units]:
            page = choose_page(
                paper, bounds[theme], units=units,
                fits=partial(_fits, items=items, plants=plants),
            )  # fmt: skip
            layout = start_layout(parent, f"{theme}, {paper}", page.width_mm, page.height_mm)
            map_id = add_map(layout, page.map, page.sheet, crs, theme)
            _set_texts(layout, page, theme, titles, items, plants, map_id, knows_north(crs))
            _end_layout(layout)
            pages.append(page)
    return pages


def _planted(layers: Mapping[str, pd.DataFrame], units: str) -> list[str]:
    """List what is planted and ordered."""
    lines = plant_list(layers.get("quantities"), units, orders=True)
    return ["To be planted:", *lines] if lines else []


def _readings(layers: Mapping[str, pd.DataFrame]) -> list[str]:
    """Say how the numbers at the stakes are read: held level, or along the ground."""
    stakes = layers.get("stakes")
    if stakes is None or not len(stakes):
        return []
    lines = [f"Numbers at stakes: from the zero peg, read on a tape {how_tapes_lie(stakes)}."]
    if (stakes["offset_side"] != ON_THE_LINE).any():
        lines.append("Offsets are held level, square to the tape; the list of stakes has them.")
    return lines


def _rooms(page: Page) -> tuple[Box, Box, Box, Box]:
    """Divide the room for texts: head, legend, scale and caution."""
    room, grow = page.texts, page.grow
    bottom = room.y + room.height
    if page.landscape:
        # A column beside the map.
        head = Box(room.x, room.y, room.width, 30.0 * grow)
        caution = Box(room.x, bottom - 17.0 * grow, room.width, 17.0 * grow)
        scale = Box(room.x, caution.y - 16.0 * grow, room.width, 13.0 * grow)
        y = head.y + head.height + 3.0
        return head, Box(room.x, y, room.width, scale.y - y - 3.0), scale, caution
    # A strip below the map: head and scale on the left, the legend on the right.
    head = Box(room.x, room.y, 62.0 * grow, 30.0 * grow)
    caution = Box(room.x, bottom - 9.0 * grow, room.width, 9.0 * grow)
    scale = Box(room.x, head.y + head.height + 1.0, head.width, 13.0 * grow)
    x, y = head.x + head.width + 5.0, room.y + 2.4
    return head, Box(x, y, room.x + room.width - x, caution.y - y - 1.6), scale, caution


def _list_plants(page: Page, legend: Box, plants: Sequence[str]) -> tuple[Box, Box | None, str]:
    """Take room for the list of plants from the legend's lower end."""
    if not plants:
        return legend, None, ""
    lines = plants
    letters = max(int(legend.width / (LETTER_MM * _PLANTS_SIZE * page.grow)), 1)
    height = sum(math.ceil(len(line) / letters) for line in lines) * _PLANTS_LINE * page.grow
    text = "\n".join(lines).replace("[%", "[ %")
    rest = Box(legend.x, legend.y, legend.width, legend.height - height - 1.5)
    return rest, Box(legend.x, legend.y + rest.height + 1.5, legend.width, height), text


def _fits(page: Page, items: Sequence[Item], plants: Sequence[str]) -> bool:
    legend, _, _ = _list_plants(page, _rooms(page)[1], plants)
    return fit_legend(items, legend.width / page.grow, legend.height / page.grow) is not None


def _set_texts(
    layout: Layout,
    page: Page,
    theme: str,
    titles: Titles,
    items: Sequence[Item],
    plants: Sequence[str],
    map_id: str,
    north: bool,
) -> None:
    """Set all that stands beside or below the map."""
    head, legend, scale, caution = _rooms(page)
    legend, box, text = _list_plants(page, legend, plants)
    if box is not None:
        add_label(layout, "plants", box, text, points=_PLANTS_SIZE * page.grow)
    _head(layout, head, page, theme, titles, map_id, north)
    y, high = (legend.y - 3.0, 0.3) if page.landscape else (page.texts.y, 0.8)
    add_area(layout, "rule of the legend", Box(legend.x, y, legend.width, high), COLOURS["faint"])
    add_legend(layout, legend, items, map_id, page.grow)
    _scale(layout, scale, page, map_id, page.grow)
    _caution(layout, caution, page.grow)


def _head(
    layout: Layout, box: Box, page: Page, theme: str, titles: Titles, map_id: str, north: bool
) -> None:
    """Set rule, kind of sheet, title, facts, and the north arrow where north is known."""
    grow, arrow = page.grow, 11.0 * page.grow
    width = box.width - arrow - 2.0
    if north:
        add_north_arrow(
            layout, Box(box.x + width + 2.0, box.y + 3.4 * grow, arrow, 16.0 * grow), map_id
        )
    add_area(layout, "rule", Box(box.x, box.y, box.width, 0.8), COLOURS["plant"])
    add_label(
        layout, "kind of sheet", Box(box.x, box.y + 3.0 * grow, width, 4.2 * grow), theme,
        points=8.0 * grow, role="plant", bold=True,
    )  # fmt: skip
    title = clean(titles.title or "Screen", 60).replace("[%", "[ %")
    points = next(size for longest, size in _TITLE_SIZES if len(title) <= longest)
    add_label(
        layout, "title", Box(box.x, box.y + 7.6 * grow, width, 13.4 * grow), title,
        points=points * grow, bold=True,
    )  # fmt: skip
    lengths = "feet and inches" if page.sheet.units == "us" else "metres"
    said = titles.of[:1].upper() + titles.of[1:]
    parcel = clean(said, 31).replace("[%", "[ %")
    add_label(
        layout, "facts", Box(box.x, box.y + 21.4 * grow, box.width, 7.6 * grow),
        f"{parcel}, lengths in {lengths}\nPlan of {titles.date}, screenplan {__version__}",
        points=7.0 * grow, role="quiet",
    )  # fmt: skip


def _scale(layout: Layout, box: Box, page: Page, map_id: str, grow: float) -> None:
    said, points = f"1:[% {_SCALE} %]", 7.5
    if page.sheet.units == "us":
        said, points = f"1 in = [% round({_SCALE} / 12) %] ft ({said})", 6.5
    add_label(
        layout, "scale", Box(box.x, box.y, box.width, 4.4 * grow),
        f"{said} on {page.paper}, printed at 100 %", points=points * grow,
    )  # fmt: skip
    add_scale_bar(layout, Box(box.x, box.y + 5.0 * grow, box.width, 7.0 * grow), page.sheet, map_id)


def _caution(layout: Layout, box: Box, grow: float) -> None:
    add_area(layout, "ground of the caution", box, CAUTION_FILL)
    add_area(layout, "edge of the caution", Box(box.x, box.y, 1.2, box.height), COLOURS["open"])
    add_label(
        layout, "caution",
        Box(box.x + 3.2, box.y + 1.6, box.width - 4.8, box.height - 3.2), CAUTION,
        points=6.6 * grow, vertical="middle",
    )  # fmt: skip


def _end_layout(layout: Layout) -> None:
    add_options(add(layout.element, "customproperties"), {"singleFile": True})
    add(layout.element, "Atlas", enabled=0, coverageLayer="", hideCoverage=0)
