"""The layers of the project: where each is read from, what it is called, how it is drawn."""

from __future__ import annotations

from xml.etree.ElementTree import Element, fromstring

from pyproj import CRS

from screenplan.contracts.written import kinds_of
from screenplan.outputs.project.feet import in_feet
from screenplan.outputs.project.markup import add, add_reference
from screenplan.outputs.project.tree import Entry
from screenplan.outputs.styles.sun_raster import sun_pipe

#: What the desktop GIS calls the kinds of geometry.
GEOMETRY = {"areas": "Polygon", "lines": "Line", "points": "Point"}
#: Style: the parts of a layer's own definition that a style file does not bring.
_NOT_STYLE = ("layerGeometryType", "layername")

RASTER_ID = "screenplan_sun_hours_raster"


def add_vector_layer(
    parent: Element, entry: Entry, crs: CRS, style: str, units: str = "metric"
) -> Element:
    """Add a layer or table of the GeoPackage.

    Parameters
    ----------
    parent : Element
        ``projectlayers``.
    entry : Entry
    crs : pyproj.CRS
        That of the GeoPackage.
    style : str
        The layer's style, a QML document.
    units : {"metric", "us"}
        Of lengths in labels.
    """
    kinds = kinds_of(entry.contract)
    geometry = GEOMETRY[kinds[0]] if kinds else "No geometry"
    root = fromstring(style)
    if units == "us":
        for label in root.iter("text-style"):
            label.set("fieldName", in_feet(label.get("fieldName", "")))
    layer = add(parent, "maplayer", type_="vector", geometry=geometry)
    for name, value in root.attrib.items():
        if name not in ("version", "type", "geometry", "styleCategories"):
            layer.set(name, value)
    add(layer, "id", entry.id)
    add(layer, "datasource", entry.source)
    add(layer, "layername", entry.title)
    if kinds:
        add_reference(layer, "srs", crs)
    add(layer, "provider", "ogr", encoding="UTF-8")
    about = add(layer, "resourceMetadata")
    add(about, "identifier", entry.name)
    add(about, "type", "dataset")
    add(about, "title", entry.title)
    add(about, "abstract", entry.contract.meaning)
    _add_style_name(layer)
    layer.extend(child for child in root if child.tag not in _NOT_STYLE)
    return layer


def add_sun_raster(
    parent: Element, source: str, title: str, crs: CRS, band: int, most_h: float
) -> Element:
    """Add the raster of sun hours, in six classes.

    Parameters
    ----------
    parent : Element
        ``projectlayers``.
    source : str
        Its file, relative to the project.
    title : str
    crs : pyproj.CRS
        The local frame.
    band : int
        Which year is shown, from 1.
    most_h : float
        The most hours of sun a year of any cell.
    """
    layer = add(parent, "maplayer", type_="raster")
    add(layer, "id", RASTER_ID)
    add(layer, "datasource", source)
    add(layer, "layername", title)
    add_reference(layer, "srs", crs)
    add(layer, "provider", "gdal")
    _add_style_name(layer)
    layer.append(sun_pipe(band, most_h))
    return layer


def _add_style_name(layer: Element) -> None:
    """Name the one style that the layer has: themes refer to it."""
    styles = add(layer, "map-layer-style-manager", current="default")
    add(styles, "map-layer-style", name="default")
