"""All layers of a run in one KML file for a globe viewer: names, descriptions, values, outlines."""

from __future__ import annotations

import html
import xml.etree.ElementTree as ET
from pathlib import Path

import geopandas
import pandas as pd
import pyogrio

from screenplan.contracts.tables import DTYPES
from screenplan.ground.texts import clean_text
from screenplan.outputs.conform import Layout
from screenplan.outputs.geojson import WGS84
from screenplan.outputs.losses import WrittenColumn, column_of, found_in
from screenplan.outputs.vector import check_arrival, explain_failure

NAMESPACE = "http://www.opengis.net/kml/2.2"
#: Elements of a placemark that GDAL fills from columns of the same name.
TAKEN = {"id", "name", "description", "timestamp", "begin", "end", "altitudemode", "tessellate",
         "extrude", "visibility", "draworder", "icon", "snippet", "model"}  # fmt: skip
#: Integers beyond are written as text.
LARGEST_KML_INTEGER = 2**31 - 1
#: Columns longer than this are left out of the description that a viewer shows.
LONGEST_SHOWN = 200

KML_LOSSES = (
    "Coordinates are longitude and latitude on WGS 84, whatever the plan's own reference system is.",
    "Yes and no, and dates, are text (true, false, 2026-03-21).",
    "An empty text becomes a missing one; line breaks and other control characters become "
    "spaces, and spaces at either end of a text are not kept.",
    "A viewer lays everything on its own ground: heights stand in the columns only.",
    "Areas are drawn as outlines, so that they do not hide each other.",
)


def write_kml_layers(
    layouts: list[Layout], path: Path
) -> tuple[tuple[WrittenColumn, ...], tuple[str, ...]]:
    """Write layers as folders of one KML file.

    Parameters
    ----------
    layouts : list of Layout
        In WGS 84.
    path : Path
        The file; one that exists is replaced.

    Returns
    -------
    tuple of WrittenColumn
        What became of every column.
    tuple of str
        What was lost of single rows.

    Raises
    ------
    InputError
        If the file cannot be written whole.
    """
    columns: list[WrittenColumn] = []
    found: list[str] = []
    document = ET.Element(_tag("Document"))
    ET.SubElement(document, _tag("name")).text = "screenplan"
    style = ET.SubElement(document, _tag("Style"), {"id": "outline"})
    ET.SubElement(ET.SubElement(style, _tag("PolyStyle")), _tag("fill")).text = "0"
    folders = []
    with explain_failure(path):
        for layout in layouts:
            schema, folder = _write_one(layout, path, _lay_out(layout, path.name, columns, found))
            document.append(schema)
            folders.append(folder)
            check_arrival(layout, len(folder.findall(_tag("Placemark"))), path)
        document.extend(folders)
        root = ET.Element(_tag("kml"))
        root.append(document)
        ET.register_namespace("", NAMESPACE)
        ET.indent(root)
        ET.ElementTree(root).write(path, encoding="utf-8", xml_declaration=True)
    return tuple(columns), tuple(found)


def _tag(name: str) -> str:
    return f"{{{NAMESPACE}}}{name}"


def _write_one(
    layout: Layout, path: Path, table: geopandas.GeoDataFrame
) -> tuple[ET.Element, ET.Element]:
    """Let GDAL write one layer; give its schema and its folder of placemarks.

    Added to a file that is there, each layer would have GDAL read and write all others anew.
    """
    name = layout.contract.name
    alone = path.with_name(f"{name}~part.kml")
    try:
        pyogrio.write_dataframe(
            table,
            alone,
            driver="LIBKML",
            layer=name,
            layer_options={"FOLDER": "YES", "DESCRIPTION": layout.contract.meaning},
        )
        document = ET.parse(alone).getroot().find(_tag("Document"))
    except ET.ParseError:
        raise OSError("it did not arrive whole") from None
    finally:
        alone.unlink(missing_ok=True)
    assert document is not None  # `ET.parse` gives a root or raises
    schema, folder = document.find(_tag("Schema")), document.find(_tag("Folder"))
    if schema is None or folder is None:
        raise OSError("it did not arrive whole")
    for placemark in folder.findall(_tag("Placemark")):
        # KML 2.2 puts styleUrl behind the description and before ExtendedData and the geometry.
        heads = [child for child in placemark if child.tag in (_tag("name"), _tag("description"))]
        url = ET.Element(_tag("styleUrl"))
        url.text = "#outline"
        placemark.insert(len(heads), url)
    return schema, folder


def _lay_out(
    layout: Layout, file: str, columns: list[WrittenColumn], found: list[str]
) -> geopandas.GeoDataFrame:
    """Make the table that GDAL writes: a name, a description, and the values."""
    contract = layout.contract
    table: dict[str, object] = {
        "Name": [
            clean_text(row.get(contract.key) or number)
            for number, row in enumerate(layout.rows(), start=1)
        ],
        "description": [_describe(layout, row) for row in layout.rows()],
    }
    for label, column in layout.columns:
        cells = layout.values[label]
        written = f"{label}_" if label.lower() in TAKEN else label
        lost, kind = [], column.type
        if kind == "boolean":
            cells = [None if cell is None else str(cell).lower() for cell in cells]
            lost, kind = ["is text"], "text"
        elif kind == "date":
            lost, kind = ["is text"], "text"
        elif kind == "integer" and any(abs(cell or 0) > LARGEST_KML_INTEGER for cell in cells):
            cells = [None if cell is None else str(cell) for cell in cells]
            lost, kind = ["is text, because a value is too large"], "text"
        elif kind == "text":
            cells, changed = _clean_texts(cells)
            if changed:
                lost = [f"control characters are spaces in {len(changed)} of the rows"]
                found.append(
                    found_in(contract.name, label, changed, "control characters are spaces")
                )
        columns.append(
            column_of(contract.name, file, label, column, layout.values[label], written, lost)
        )
        dtype = "Int32" if kind == "integer" else DTYPES[kind]
        table[written] = pd.Series(cells, dtype=dtype)
    return geopandas.GeoDataFrame(table, geometry=layout.geometries, crs=WGS84)


def _clean_texts(cells: list) -> tuple[list, list[int]]:
    cleaned = [clean_text(cell) if cell else None for cell in cells]
    pairs = enumerate(zip(cells, cleaned, strict=True), start=1)
    return cleaned, [row for row, (was, now) in pairs if was and was != now]


def _describe(layout: Layout, row: dict) -> str:
    """Say what a row is, in the meanings of its columns; viewers read it as HTML."""
    lines = [html.escape(layout.contract.meaning, quote=False)]
    for label, column in layout.columns:
        value = row[label]
        if value is None or (isinstance(value, str) and len(value) > LONGEST_SHOWN):
            continue
        shown = {True: "yes", False: "no"}[value] if isinstance(value, bool) else value
        shown = f"{shown:.3f}".rstrip("0").rstrip(".") if isinstance(shown, float) else shown
        unit = f" {column.unit}" if column.unit and column.unit != "share" else ""
        lines.append(html.escape(clean_text(f"{label}: {shown}{unit}"), quote=False))
    return "<br/>".join(lines)
