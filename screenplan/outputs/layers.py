"""Write every layer and table of a run into one folder."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from pathlib import Path

import geopandas
import pandas as pd
from pyproj import CRS

from screenplan.contracts import OUTPUTS, Contract
from screenplan.outputs.geojson import WGS84, write_geojson
from screenplan.outputs.geopackage import horizontal, write_geopackage
from screenplan.outputs.record import file_sha256
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

    Parameters
    ----------
    layers : mapping of str to GeoDataFrame or DataFrame
        By contract name, in the local frame; a layer that is not there is not written.
    folder : str or Path
        Where to; it must exist.
    send_out : callable
        ``send_out(layer, crs)`` gives the layer in another reference system
        (`LocalFrame.send_out`).
    crs : pyproj.CRS
        The parcel layer's own, for the GeoPackage.
    contracts : mapping of str to Contract
        Which layers there may be; they are written in its order.
    written_at : datetime, optional
        With a time zone, stamped into the GeoPackage; by default now.

    Returns
    -------
    list of dict
        For the run record: ``file``, ``sha256``, and ``layers`` (number of rows by layer).
    """
    folder = Path(folder)
    flat = horizontal(CRS(crs))
    rows = {}
    home = {}
    for name in (name for name in contracts if name in layers):
        contract = contracts[name]
        if contract.geometry:
            path = folder / f"{name}.geojson"
            count = write_geojson(send_out(layers[name], WGS84), path, contract)
            home[name] = send_out(layers[name], flat)
        else:
            path = folder / f"{name}.csv"
            count = write_csv(layers[name], path, contract)
            home[name] = layers[name]
        rows[path] = {name: count}
    home |= {name: layers[name] for name in layers if name not in contracts}
    package = folder / GEOPACKAGE_NAME
    rows[package] = write_geopackage(
        home, package, flat, contracts=contracts, written_at=written_at
    )
    return [
        {"file": path.name, "sha256": file_sha256(path), "layers": counts}
        for path, counts in rows.items()
    ]
