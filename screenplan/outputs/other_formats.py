"""The layers of a run in formats of other programs: Shapefile, FlatGeobuf, GeoParquet, KML.

GeoPackage and GeoJSON hold everything; these do not, and what they lose is written beside them. A
Shapefile and a FlatGeobuf file have their style beside them, as the desktop GIS looks for it.
Tables without geometry are written as CSV, which each of the programs joins.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import pandas as pd
from pyogrio import raw
from pyproj import CRS

from screenplan.contracts import OUTPUTS, Contract, as_written
from screenplan.ground.datum import horizontal
from screenplan.ground.errors import refuse
from screenplan.ground.frame import SendOut
from screenplan.outputs.conform import Layout, conform
from screenplan.outputs.geojson import WGS84
from screenplan.outputs.geopackage import layer_type
from screenplan.outputs.globe import KML_LOSSES, write_kml_layers
from screenplan.outputs.kinds import split_by_kind
from screenplan.outputs.losses import Translation, WrittenColumn, column_of, found_in, write_notes
from screenplan.outputs.parquet import GEOPARQUET_LOSSES, write_geoparquets
from screenplan.outputs.record import describe_output
from screenplan.outputs.short_names import short_names
from screenplan.outputs.styles.delivery import write_style_beside
from screenplan.outputs.tables import write_csv
from screenplan.outputs.vector import check_arrival, explain_failure, write_layer

#: The width of a text field in a dBASE table, bytes.
LONGEST_TEXT = 254
#: Files that together are one Shapefile.
SHAPEFILE_PARTS = (".shp", ".shx", ".dbf", ".prj", ".cpg")

SHAPEFILE_LOSSES = (
    "Column names have at most 10 letters; columns.csv tells which is which.",
    "A missing value is a blank cell, which some programs read as 0, as no, or as an empty text.",
    "An empty text becomes a missing one.",
    "A text ends after 254 bytes.",
    "Areas and lines of one part and of several are no longer told apart.",
    "Letters are UTF-8, which the .cpg file says; a program that does not read it shows letters "
    "other than A to Z wrongly.",
    "What the columns mean, and their units, stand in columns.csv, and in the style beside each layer "
    "(.qml), which QGIS alone reads.",
)
FLATGEOBUF_LOSSES = (
    "Dates are text, such as 2026-03-21.",
    "There is no spatial index, so that the rows stay in their order.",
    "What the columns mean, and their units, stand in columns.csv, and in the style beside each layer "
    "(.qml), which QGIS alone reads.",
)
DATUM_SHIFT_LOST = (
    "The reference system brings its own shift to WGS 84, which these files do not keep: choose the "
    "same shift again when you transform them."
)


@dataclass(frozen=True)
class Format:
    """A format of other programs.

    Parameters
    ----------
    title : str
        As people write it.
    write : callable
        ``write(layouts, folder, crs)`` gives a `Translation`.
    losses : tuple of str
        What a file of it never keeps, as sentences.
    wgs84 : bool
        Whether it holds longitude and latitude only.
    """

    title: str
    write: Callable[[list[Layout], Path, CRS], Translation]
    losses: tuple[str, ...]
    wgs84: bool = False


def write_format(
    layers: Mapping[str, pd.DataFrame],
    folder: str | Path,
    form: str,
    *,
    send_out: SendOut,
    crs: CRS,
    contracts: Mapping[str, Contract] = OUTPUTS,
) -> tuple[list[dict], tuple[str, ...]]:
    """Write layers into a folder in a format of other programs.

    Parameters
    ----------
    layers : mapping of str to GeoDataFrame or DataFrame
        By contract name, in the local frame.
    folder : str or Path
        Where to; it must exist.
    form : str
        A key of `FORMATS`.
    send_out : callable
        ``send_out(layer, crs)``, a `LocalFrame.send_out`.
    crs : pyproj.CRS
        The parcel layer's own; KML is in WGS 84 all the same.
    contracts : mapping of str to Contract
        Which layers are written, and in which order.

    Returns
    -------
    list of dict
        For the run record, as `describe_output` gives them; ``read_me.txt`` and ``columns.csv``
        are among them.
    tuple of str
        What the files do not keep, as sentences.

    Raises
    ------
    InputError
        If there is no such format, a layer breaks its contract, or a file cannot be written.
    """
    if form not in FORMATS:
        raise refuse(f"there is no format '{form}'", f"Name one of {', '.join(FORMATS)}")
    chosen, folder = FORMATS[form], Path(folder)
    layers, contracts = split_by_kind(layers, contracts), as_written(contracts)
    target = WGS84 if chosen.wgs84 else horizontal(CRS(crs))
    layouts, rows = [], {}
    for name in (name for name in contracts if name in layers):
        contract = contracts[name]
        if contract.geometry:
            layouts.append(conform(send_out(layers[name], target), contract))
        else:
            path = folder / f"{name}.csv"
            rows[path] = {name: write_csv(layers[name], path, contract)}
    translation = chosen.write(layouts, folder, target)
    rows = translation.rows | rows
    title = f"The layers as {chosen.title}: what these files do not keep"
    rows |= write_notes(title, translation, folder)
    return [describe_output(path, counts) for path, counts in rows.items()], translation.losses


def write_shapefiles(layouts: list[Layout], folder: Path, crs: CRS) -> Translation:
    """Write one Shapefile for each layer."""
    rows: dict[Path, dict[str, int]] = {}
    columns: list[WrittenColumn] = []
    found: list[str] = [DATUM_SHIFT_LOST] if crs.is_bound else []
    for layout in layouts:
        name, path = layout.contract.name, folder / f"{layout.contract.name}.shp"
        short = short_names([label for label, _ in layout.columns])
        values = {}
        for label, column in layout.columns:
            cells, lost = layout.values[label], []
            if column.type == "text":
                cells, cut = _fit_texts(cells)
                if cut:
                    lost = [f"is cut in {len(cut)} of the rows"]
                    found.append(found_in(name, label, cut, "the text is cut after 254 bytes"))
            values[short[label]] = cells
            columns.append(column_of(name, path.name, label, column, cells, short[label], lost))
        narrow = replace(
            layout,
            columns=tuple((short[label], column) for label, column in layout.columns),
            values=values,
        )
        _write(narrow, path, "ESRI Shapefile", crs)
        for part in SHAPEFILE_PARTS:
            rows[path.with_suffix(part)] = {name: len(layout)}
        rows |= _write_style(layout, path, short, letters=True)
    return Translation(rows, tuple(columns), SHAPEFILE_LOSSES + tuple(found))


def _fit_texts(cells: list) -> tuple[list, list[int]]:
    """Cut texts to what a field holds, at a whole letter; tell the rows that were cut."""
    fitting, cut = [], []
    for row, text in enumerate(cells, start=1):
        if text and len(text.encode()) > LONGEST_TEXT:
            cut.append(row)
            text = text.encode()[:LONGEST_TEXT].decode(errors="ignore")
        fitting.append(text or None)
    return fitting, cut


def write_flatgeobufs(layouts: list[Layout], folder: Path, crs: CRS) -> Translation:
    """Write one FlatGeobuf file for each layer."""
    rows: dict[Path, dict[str, int]] = {}
    columns: list[WrittenColumn] = []
    for layout in layouts:
        name, path = layout.contract.name, folder / f"{layout.contract.name}.fgb"
        for label, column in layout.columns:
            lost = ["is text"] if column.type == "date" else []
            columns.append(
                column_of(name, path.name, label, column, layout.values[label], label, lost)
            )
        # Its dates are of a type that GDAL does not write.
        plain = tuple(
            (label, replace(column, type="text") if column.type == "date" else column)
            for label, column in layout.columns
        )
        _write(replace(layout, columns=plain), path, "FlatGeobuf", crs, SPATIAL_INDEX="NO")
        rows[path] = {name: len(layout)}
        rows |= _write_style(layout, path, {})
    found = (DATUM_SHIFT_LOST,) if crs.is_bound else ()
    return Translation(rows, tuple(columns), FLATGEOBUF_LOSSES + found)


def _write(layout: Layout, path: Path, driver: str, crs: CRS, **options: str) -> None:
    write_layer(
        layout,
        path,
        driver=driver,
        geometry=layer_type(layout),
        crs_wkt=crs.to_wkt(),
        layer_options=options,
    )
    with explain_failure(path, layout.contract.name):
        # Read whole: a head may announce rows that a full disk took the end of.
        told, _, shapes, _ = raw.read(path, datetime_as_string=True)
    check_arrival(layout, len(shapes), path, told["fields"])


def _write_style(
    layout: Layout, path: Path, names: Mapping[str, str], *, letters: bool = False
) -> dict[Path, dict]:
    with explain_failure(path.with_suffix(".qml")):
        style = write_style_beside(layout, path, names, letters=letters)
    return {} if style is None else {style: {}}


def write_kml(layouts: list[Layout], folder: Path, _crs: CRS) -> Translation:
    """Write one KML file with a folder for each layer."""
    path = folder / "plan.kml"
    columns, found = write_kml_layers(layouts, path)
    rows = {path: {layout.contract.name: len(layout) for layout in layouts}}
    return Translation(rows, columns, KML_LOSSES + found)


#: By the name that the command line takes.
FORMATS = {
    "shapefile": Format("Shapefile", write_shapefiles, SHAPEFILE_LOSSES),
    "flatgeobuf": Format("FlatGeobuf", write_flatgeobufs, FLATGEOBUF_LOSSES),
    "geoparquet": Format("GeoParquet", write_geoparquets, GEOPARQUET_LOSSES),
    "kml": Format("KML", write_kml, KML_LOSSES, wgs84=True),
}
