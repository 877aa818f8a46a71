"""Write every layer and table of a run into one folder."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from pathlib import Path

import geopandas
import pandas as pd
from pyproj import CRS

from screenplan.contracts import OUTPUTS, Contract, as_written
from screenplan.outputs.geojson import WGS84, write_geojson
from screenplan.outputs.geopackage import write_geopackage
from screenplan.outputs.kinds import split_by_kind
from screenplan.outputs.record import describe_output
from screenplan.outputs.tables import write_csv

GEOPACKAGE_NAME = "plan.gpkg"

SendOut = Callable[[geopandas.GeoDataFrame, CRS], geopandas.GeoDataFrame]


def write_layers(
    layers: Mapping[str, pd.DataFrame],
    folder: str | Path,
    *,
    send_out: SendOut,
    crs: CRS,
    contracts: Mapping[str, Contract] = OUTPUTS,
    written_at: dt.datetime | None = None,
) -> list[dict]:
    """Write each layer as GeoJSON, each table as CSV, and all of them as one GeoPackage.

    A layer whose contract allows several kinds of geometry is written as one layer for each
    (`screenplan.contracts.written_parts`).

    Parameters
    ----------
    layers : mapping of str to GeoDataFrame or DataFrame
        By contract name, in the local frame. One that has no contract (an input that is not
        written) is passed over, and a contract without a layer too.
    folder : str or Path
        Where to; it must exist.
    send_out : callable
        ``send_out(layer, crs)`` gives a layer in another reference system; a
        `LocalFrame.send_out`. To WGS 84 for GeoJSON, to ``crs`` for the GeoPackage.
    crs : pyproj.CRS
        The parcel layer's own.
    contracts : mapping of str to Contract
        Which layers are written, and in which order.
    written_at : datetime, optional
        With a time zone, stamped into the GeoPackage; by default now.

    Returns
    -------
    list of dict
        For the run record, as `describe_output` gives them.
    """
    folder = Path(folder)
    layers, contracts = split_by_kind(layers, contracts), as_written(contracts)
    home: dict[str, pd.DataFrame] = {}
    rows: dict[Path, dict[str, int]] = {}
    for name in (name for name in contracts if name in layers):
        contract, layer = contracts[name], layers[name]
        if contract.geometry:
            path = folder / f"{name}.geojson"
            count = write_geojson(send_out(layer, WGS84), path, contract)
            home[name] = send_out(layer, crs)
        else:
            path = folder / f"{name}.csv"
            count = write_csv(layer, path, contract)
            home[name] = layer
        rows[path] = {name: count}
    package = folder / GEOPACKAGE_NAME
    rows[package] = write_geopackage(home, package, crs, contracts=contracts, written_at=written_at)
    return [describe_output(path, counts) for path, counts in rows.items()]
