"""XML as the desktop GIS's project files have it: elements, options, symbols, reference systems."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache
from xml.etree.ElementTree import Element, SubElement

from pyproj import CRS

#: What XML 1.0 cannot hold at all, and control characters that it discourages (section 2.2).
_FORBIDDEN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")


def plain_text(text: object) -> str:
    """Give a text without what XML cannot hold."""
    return _FORBIDDEN.sub(" ", str(text))


def add(parent: Element, tag: str, text: object = None, **attributes: object) -> Element:
    """Add an element; a text or a value in it is made one that XML can hold.

    A trailing underscore of an attribute's name is left out (``class_``, ``type_``), and one that
    is None too.
    """
    made = SubElement(parent, tag)
    for name, value in attributes.items():
        if value is not None:
            made.set(name.rstrip("_"), plain_text(value))
    if text is not None:
        made.text = plain_text(text)
    return made


def add_options(parent: Element, values: Mapping[str, object]) -> Element:
    """Add a map of options, the form in which symbols and custom properties hold their values."""
    options = add(parent, "Option", type="Map")
    for name, value in values.items():
        kind = {bool: "bool", int: "int", float: "double"}.get(type(value), "QString")
        said = str(value).lower() if isinstance(value, bool) else value
        add(options, "Option", name=name, value=said, type=kind)
    return options


def add_reference(parent: Element, tag: str | None, crs: CRS) -> Element:
    """Add a coordinate reference system as WKT, with its code where it has one.

    Both are needed: a code alone is read as a name without a definition.

    Parameters
    ----------
    parent : Element
    tag : str or None
        Name of the element around it; None if the parent is that.
    crs : pyproj.CRS
    """
    outer = parent if tag is None else add(parent, tag)
    inner = add(outer, "spatialrefsys")
    wkt, code = _definition(crs)
    add(inner, "wkt", wkt)
    add(inner, "authid", code)
    add(inner, "description", crs.name)
    add(inner, "geographicflag", "true" if crs.is_geographic else "false")
    return outer


@lru_cache(maxsize=8)
def _definition(crs: CRS) -> tuple[str, str]:
    """Give the WKT of a reference system, and the code that it brings with it, if any."""
    code = crs.to_json_dict().get("id")
    said = f"{code['authority']}:{code['code']}" if code else ""
    return crs.to_wkt("WKT2_2019"), said


def rgba(colour: str, alpha: int = 255) -> str:
    """Write a ``#rrggbb`` colour as the red, green, blue and alpha of a symbol."""
    return ",".join(str(int(colour[at : at + 2], 16)) for at in (1, 3, 5)) + f",{alpha}"


def add_fill_symbol(
    parent: Element, fill: str | None, *, edge: str | None = None, edge_mm: float = 0.2
) -> Element:
    """Add the symbol of a filled shape.

    Parameters
    ----------
    parent : Element
    fill, edge : str or None
        ``#rrggbb``; None for none.
    edge_mm : float
        Width of the edge.
    """
    symbol = add(parent, "symbol", type_="fill", name="", alpha=1, clip_to_extent=1, force_rhr=0)
    layer = add(symbol, "layer", class_="SimpleFill", enabled=1, locked=0)
    layer.set("pass", "0")
    add_options(
        layer,
        {
            "color": rgba(fill or "#ffffff"),
            "style": "solid" if fill else "no",
            "outline_color": rgba(edge or "#000000"),
            "outline_style": "solid" if edge else "no",
            "outline_width": str(edge_mm),
            "outline_width_unit": "MM",
            "joinstyle": "miter",
        },
    )
    return symbol
