"""What a print layout is made of: page, map, legend, scale bar, north arrow, texts, areas."""

from __future__ import annotations

import base64
import uuid
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any
from xml.etree.ElementTree import Element

from pyproj import CRS

from screenplan.ground.said import FOOT_M
from screenplan.outputs.drawings.scale import Sheet, bar_length
from screenplan.outputs.palette import COLOURS
from screenplan.outputs.project.legends import (
    ABOVE_MM,
    BESIDE_MM,
    BETWEEN_MM,
    HIGH_MM,
    MOST_COLUMNS,
    SIZES,
    SYMBOL_MM,
    Item,
    fit_legend,
)
from screenplan.outputs.project.markup import (
    add,
    add_fill_symbol,
    add_options,
    add_reference,
    rgba,
)
from screenplan.outputs.project.paper import Box

#: A type that every system has, or puts another one of the same widths in the place of.
FONT = "Arial"
#: Numbers of the desktop GIS for the kinds of items, for alignment and for weights of type.
_PAGE, _MAP, _PICTURE, _LABEL, _LEGEND, _SHAPE, _BAR = (
    65638, 65639, 65640, 65641, 65642, 65643, 65646,
)  # fmt: skip
_LEFT = 1
VERTICAL = {"top": 32, "bottom": 64, "middle": 128}
_REGULAR, _BOLD = 50, 75
#: Below what else an item lies: the map under the texts.
_LOWEST = 1


@dataclass
class Layout:
    """A print layout while it is put together.

    Parameters
    ----------
    name : str
    element : Element
        ``Layout``.
    """

    name: str
    element: Element
    _depth: int = field(default=_LOWEST)

    def uuid_of(self, what: str) -> str:
        """Give an item's identifier: the same in every run."""
        return f"{{{uuid.uuid5(uuid.NAMESPACE_OID, f'screenplan {self.name} {what}')}}}"

    def add_item(self, kind: int, what: str, box: Box, **attributes: Any) -> Element:
        """Add an item with what all of them have."""
        self._depth += 1
        return _add_item(
            self.element, kind, self.uuid_of(what), box, what, self._depth, **attributes
        )


def start_layout(parent: Element, name: str, width_mm: float, height_mm: float) -> Layout:
    """Start a layout with one empty page."""
    made = add(parent, "Layout", name=name, units="mm", printResolution=300, worldFileMap="")
    layout = Layout(name, made)
    pages = add(made, "PageCollection")
    add_fill_symbol(pages, "#ffffff")
    page = _add_item(
        pages, _PAGE, layout.uuid_of("page"), Box(0.0, 0.0, width_mm, height_mm), "", 0
    )
    add_fill_symbol(page, "#ffffff")
    return layout


def add_map(layout: Layout, box: Box, sheet: Sheet, crs: CRS, theme: str) -> str:
    """Add the map: a theme of the project at the sheet's scale and extent.

    Returns
    -------
    str
        Its identifier, for what is linked to it.
    """
    item = layout.add_item(
        _MAP, "map", box, frame="faint", mapRotation=0, mapFlags=0,
        followPreset="true", followPresetName=theme, keepLayerSet="false",
        drawCanvasItems="true", labelMargin="1,mm",
    )  # fmt: skip
    add(
        item, "Extent", xmin=repr(sheet.west), ymin=repr(sheet.south), xmax=repr(sheet.east),
        ymax=repr(sheet.north),
    )  # fmt: skip
    add_reference(item, "crs", crs)
    return layout.uuid_of("map")


def add_label(
    layout: Layout,
    what: str,
    box: Box,
    text: str,
    *,
    points: float,
    role: str = "ink",
    bold: bool = False,
    vertical: str = "top",
) -> None:
    """Add a text that is wrapped inside its box.

    Parameters
    ----------
    layout : Layout
    what : str
        The item's name.
    box : Box
    text : str
        What stands between ``[%`` and ``%]`` is worked out by the desktop GIS.
    points : float
        Size of the letters.
    role : str
        Of the drawings' colours.
    bold : bool
    vertical : str
        A key of `VERTICAL`.
    """
    item = layout.add_item(
        _LABEL, what, box, labelText=text, htmlState=0, halign=_LEFT,
        valign=VERTICAL[vertical], marginX=0, marginY=0,
    )  # fmt: skip
    add(item, "LabelFont", description=_font(points, bold), style="")
    red, green, blue, alpha = rgba(COLOURS[role]).split(",")
    add(item, "FontColor", red=red, green=green, blue=blue, alpha=alpha)


def add_area(layout: Layout, what: str, box: Box, fill: str) -> None:
    """Add a filled rectangle without an edge."""
    item = layout.add_item(_SHAPE, what, box, shapeType=1, cornerRadiusMeasure="0,mm")
    add_fill_symbol(item, fill)


def add_scale_bar(layout: Layout, box: Box, sheet: Sheet, map_id: str) -> None:
    """Add a bar of two halves, in the sheet's units, that follows the map's scale."""
    length, _ = bar_length(sheet)
    foot = sheet.units == "us"
    each = length / 2.0 / (FOOT_M if foot else 1.0)
    item = layout.add_item(
        _BAR, "scale bar", box, style="Single Box", mapUuid=map_id,
        unitType="feet" if foot else "meters", unitLabel="ft" if foot else "m",
        numUnitsPerSegment=each, numSegments=2, numSegmentsLeft=0, numSubdivisions=1,
        segmentSizeMode=0, numMapUnitsPerScaleBarUnit=1, height=1.6, boxContentSpace=0,
        labelBarSpace=0.8, labelVerticalPlacement=0, labelHorizontalPlacement=0, alignment=0,
        outlineWidth=0.2, lineJoinStyle="miter", lineCapStyle="flat", subdivisionsHeight=1.5,
        minBarWidth=20, maxBarWidth=150, segmentMillimeters=each,
    )  # fmt: skip
    _add_text_style(item, 7.0)
    add(item, "strokeColor", **_channels(COLOURS["bar"]))
    add(item, "fillColor", **_channels(COLOURS["bar"]))
    add(item, "fillColor2", **_channels("#ffffff"))
    for tag in ("lineSymbol", "divisionLineSymbol", "subdivisionLineSymbol"):
        _add_line_symbol(add(item, tag), COLOURS["bar"], 0.2)
    add_fill_symbol(add(item, "fillSymbol1"), COLOURS["bar"])
    add_fill_symbol(add(item, "fillSymbol2"), "#ffffff")


def add_north_arrow(layout: Layout, box: Box, map_id: str) -> None:
    """Add an arrow to true north, which turns with the map."""
    ink, paper = COLOURS["ink"], "#ffffff"
    drawing = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="11mm" height="16mm" viewBox="0 0 11 16">'
        f'<g stroke="{ink}" stroke-width="0.35" stroke-linejoin="round" stroke-linecap="round">'
        f'<path d="M5.5 4.6 L2.6 15.6 L5.5 13.2 Z" fill="{paper}"/>'
        f'<path d="M5.5 4.6 L8.4 15.6 L5.5 13.2 Z" fill="{ink}"/>'
        '<path d="M4.4 3.4 V0.5 L6.6 3.4 V0.5" fill="none" stroke-width="0.55"/></g></svg>'
    )
    content = base64.b64encode(drawing.encode()).decode()
    layout.add_item(
        _PICTURE, "north arrow", box, file=f"base64:{content}", mode=0, mapUuid=map_id,
        northMode=1, northOffset=0, pictureRotation=0, resizeMode=0, anchorPoint=4,
        svgFillColor="0,0,0,255", svgBorderColor="0,0,0,255", svgBorderWidth="0.2",
        pictureWidth=box.width, pictureHeight=box.height,
    )  # fmt: skip


def add_legend(
    layout: Layout,
    box: Box,
    items: Sequence[Item],
    map_id: str,
    grow: float = 1.0,
) -> None:
    """Add the legend of some layers, with only those classes that are on the map.

    Parameters
    ----------
    layout : Layout
    box : Box
        Its room.
    items : sequence of Item
        In the order in which they are named.
    map_id : str
    grow : float
        How much larger letters are than on a small paper.
    """
    fits = fit_legend(items, box.width / grow, box.height / grow)
    columns, points = fits or (MOST_COLUMNS, SIZES[-1])
    points *= grow
    symbol = (points * SYMBOL_MM, points * HIGH_MM)
    item = layout.add_item(
        _LEGEND, "legend", box, title="", titleAlignment=1, map_uuid=map_id, legendFilterByMap=1,
        legendFilterByAtlas=0, resizeToContents=1, columnCount=columns, splitLayer=1,
        equalColumnWidth=0, columnSpace=BETWEEN_MM, boxSpace=0, lineSpacing=0.6,
        symbolWidth=symbol[0], symbolHeight=symbol[1], symbolAlignment=1, minSymbolSize=0,
        maxSymbolSize=0, rasterBorder=0, rasterBorderWidth=0, rasterBorderColor="0,0,0,255",
        wmsLegendWidth=50, wmsLegendHeight=25, wrapChar="", fontColor=COLOURS["ink"],
    )  # fmt: skip
    styles = add(item, "styles")
    for name, bold, margins in (
        ("title", True, {"marginBottom": 0}),
        ("group", True, {"marginTop": 2}),
        ("subgroup", True, {"marginTop": 1.6}),
        ("symbol", False, {"marginTop": ABOVE_MM}),
        ("symbolLabel", False, {"marginTop": ABOVE_MM, "marginLeft": BESIDE_MM}),
    ):
        style = add(styles, "style", name=name, alignment=1, indent=0, **margins)
        add(style, "styleFont", description=_font(points, bold), style="")
    tree = add(item, "layer-tree-group")
    for shown in items:
        leaf = add(
            tree, "layer-tree-layer", id=shown.entry.id, name=shown.entry.said,
            source=shown.entry.source, providerKey="ogr", checked="Qt::Checked", expanded=1,
            legend_exp="", legend_split_behavior=0, patch_size="-1,-1",
        )  # fmt: skip
        named = {"legend/node-order": ",".join(str(number) for number, _ in shown.classes)}
        named |= {f"legend/label-{number}": label for number, label in shown.classes}
        if not shown.headed:
            named["legend/title-style"] = "hidden"
        add_options(add(leaf, "customproperties"), named)


def _add_item(
    parent: Element,
    kind: int,
    own_id: str,
    box: Box,
    what: str,
    depth: int,
    *,
    frame: str = "",
    **attributes: object,
) -> Element:
    place = f"{box.x:.3f},{box.y:.3f},mm"
    item = add(
        parent, "LayoutItem", type_=kind, uuid=own_id, templateUuid=own_id, id=what, position=place,
        positionOnPage=place, size=f"{box.width:.3f},{box.height:.3f},mm", referencePoint=0,
        zValue=depth, visibility=1, opacity=1, blendMode=0, itemRotation=0, frame="true" if frame else "false",
        frameJoinStyle="miter", outlineWidthM="0.2,mm", background="false", excludeFromExports=0,
        positionLock="false", groupUuid="", **attributes,
    )  # fmt: skip
    add(item, "FrameColor", **_channels(COLOURS[frame or "ink"]))
    add(item, "BackgroundColor", **_channels("#ffffff"))
    return item


def _channels(colour: str) -> dict[str, str]:
    names = ("red", "green", "blue", "alpha")
    return dict(zip(names, rgba(colour).split(","), strict=True))


def _font(points: float, bold: bool = False) -> str:
    return f"{FONT},{points:g},-1,5,{_BOLD if bold else _REGULAR},0,0,0,0,0"


def _add_text_style(parent: Element, points: float) -> None:
    add(
        parent, "text-style", fontFamily=FONT, fontSize=points, fontSizeUnit="Point",
        fontWeight=_REGULAR, textColor=rgba(COLOURS["ink"]), textOpacity=1, namedStyle="",
        fontItalic=0, fontUnderline=0, fontStrikeout=0, blendMode=0, multilineHeight=1,
    )  # fmt: skip


def _add_line_symbol(parent: Element, colour: str, width_mm: float) -> None:
    symbol = add(parent, "symbol", type_="line", name="", alpha=1, clip_to_extent=1, force_rhr=0)
    layer = add(symbol, "layer", class_="SimpleLine", enabled=1, locked=0)
    layer.set("pass", "0")
    add_options(
        layer,
        {
            "line_color": rgba(colour),
            "line_style": "solid",
            "line_width": str(width_mm),
            "line_width_unit": "MM",
            "capstyle": "flat",
            "joinstyle": "miter",
        },
    )
