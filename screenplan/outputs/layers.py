"""Write every layer and table of a run into one folder."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from itertools import islice
from pathlib import Path

import geopandas
import pandas as pd
from pyproj import CRS

from screenplan.contracts import OUTPUTS, SURROUNDINGS, Contract, as_written
from screenplan.contracts.called import name_as_called
from screenplan.ground.frame import SendOut
from screenplan.outputs.conform import Layout, conform, place
from screenplan.outputs.geojson import WGS84, write_geojson_layout
from screenplan.outputs.geopackage import write_layouts
from screenplan.outputs.kinds import split_by_kind
from screenplan.outputs.record import describe_output
from screenplan.outputs.styles.delivery import write_style_files
from screenplan.outputs.tables import write_csv_layout

GEOPACKAGE_NAME = "plan.gpkg"
#: Folders for the layers and tables that are files of their own, and for the styles of other software.
LAYER_FOLDER, TABLE_FOLDER, STYLE_FOLDER = "layers", "tables", "styles"


def write_layers(
    layers: Mapping[str, pd.DataFrame],
    folder: str | Path,
    *,
    send_out: SendOut,
    crs: CRS,
    placed: bool = True,
    contracts: Mapping[str, Contract] = OUTPUTS,
    surroundings: Mapping[str, Contract] = SURROUNDINGS,
    written_at: dt.datetime | None = None,
) -> list[dict]:
    """Write each layer as GeoJSON with its style, each table as CSV, and all in one GeoPackage.

    What has no row is in the GeoPackage alone, where it still has its kind, columns and system.

    A layer whose contract allows several kinds of geometry is written as one layer for each
    (`screenplan.contracts.written_parts`). Windows, onlookers, houses and places are named as the sheets
    name them.

    Parameters
    ----------
    layers : mapping of str to GeoDataFrame or DataFrame
        By contract name, in the local frame. One that has no contract (an input that is not
        written) is passed over, and a contract without a layer too.
    folder : str or Path
        Where to; it must exist. The GeoJSON files go into a folder in it, with their styles beside
        them, the CSV files into another, the styles for other software into a third.
    send_out : callable
        ``send_out(layer, crs)`` gives a layer in another reference system; a
        `LocalFrame.send_out`. To WGS 84 for GeoJSON, to ``crs`` for the GeoPackage.
    crs : pyproj.CRS
        The parcel layer's own.
    placed : bool
        Whether it is known where on earth the site lies; without that no GeoJSON is written, for
        that format holds longitude and latitude only.
    contracts : mapping of str to Contract
        Which layers are written, and in which order.
    surroundings : mapping of str to Contract
        Which layers that were read go into the GeoPackage too, unless they are empty.
    written_at : datetime, optional
        With a time zone, stamped into the GeoPackage; by default now.

    Returns
    -------
    list of dict
        For the run record, as `describe_output` gives them.
    """
    folder = Path(folder)
    read = layers = name_as_called(layers)
    layers, contracts = split_by_kind(layers, contracts), as_written(contracts)
    layouts = [conform(layers[name], contracts[name]) for name in contracts if name in layers]
    spatial = [layout for layout in layouts if layout.geometries is not None]
    abroad = _send_all(spatial, layers, send_out, WGS84) if placed else {}
    rows: dict[Path, dict[str, int]] = {}
    for layout in layouts:
        name = layout.contract.name
        if not len(layout):
            continue
        if name in abroad:
            path = _inside(folder, LAYER_FOLDER) / f"{name}.geojson"
            rows[path] = {name: write_geojson_layout(abroad[name], path)}
        elif layout.geometries is None:
            path = _inside(folder, TABLE_FOLDER) / f"{name}.csv"
            rows[path] = {name: write_csv_layout(layout, path)}
    if abroad:
        places = folder / LAYER_FOLDER, folder / STYLE_FOLDER
        filled = [layout for layout in abroad.values() if len(layout)]
        rows |= {key: {} for key in write_style_files(filled, *places)}
    package = folder / GEOPACKAGE_NAME
    around = find_surroundings(read, surroundings)
    beside = as_written(surroundings)
    layouts += [conform(layer, beside[name]) for name, layer in around.items()]
    spatial = [layout for layout in layouts if layout.geometries is not None]
    home = _send_all(spatial, layers | around, send_out, crs)
    at_home = [home.get(layout.contract.name, layout) for layout in layouts]
    rows[package] = write_layouts(at_home, package, crs, written_at=written_at)
    return [describe_output(path, counts, base=folder) for path, counts in rows.items()]


def _inside(folder: Path, name: str) -> Path:
    """Give a folder in the folder, made when the first file goes into it."""
    inner = folder / name
    inner.mkdir(exist_ok=True)
    return inner


def _send_all(
    layouts: list[Layout], layers: Mapping[str, pd.DataFrame], send_out: SendOut, crs: CRS
) -> dict[str, Layout]:
    """Send the geometries of all layers into another reference system at once."""
    if not layouts:
        return {}
    shapes = [shape for layout in layouts for shape in layout.geometries or ()]
    frame = layers[layouts[0].contract.name].crs
    sent = iter(send_out(geopandas.GeoDataFrame(geometry=shapes, crs=frame), crs).geometry.array)
    return {
        layout.contract.name: place(layout, list(islice(sent, len(layout)))) for layout in layouts
    }


def find_surroundings(
    layers: Mapping[str, pd.DataFrame], contracts: Mapping[str, Contract] = SURROUNDINGS
) -> dict[str, pd.DataFrame]:
    """Give what was read of the site and is not empty, by name as written."""
    read = {name: layers[name] for name in contracts if name in layers}
    parts = split_by_kind(read, contracts)
    return {name: layer for name, layer in parts.items() if len(layer)}
