"""Write every layer and table of a run, with its record, into one folder."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pandas as pd

from screenplan.contracts import OUTPUTS, Contract
from screenplan.frame import LocalFrame
from screenplan.outputs.folder import OutputFolder
from screenplan.outputs.geojson import WGS84, write_geojson
from screenplan.outputs.geopackage import write_geopackage
from screenplan.outputs.record import RunRecord, file_sha256, write_record
from screenplan.outputs.tables import write_csv

GEOPACKAGE_NAME = "plan.gpkg"


def write_run(
    folder: OutputFolder,
    layers: Mapping[str, pd.DataFrame],
    record: RunRecord,
    *,
    frame: LocalFrame,
    base: str | Path,
    written_at: dt.datetime | None = None,
) -> Path:
    """Write a whole run, all or nothing.

    Parameters
    ----------
    folder : OutputFolder
        Entered (``with OutputFolder(target) as folder``) before the computing.
    layers : mapping of str to GeoDataFrame or DataFrame
        As for `write_layers`.
    record : RunRecord
        Without ``frame`` and ``outputs``, which are filled in.
    frame : LocalFrame
        The run's frame.
    base : str or Path
        The plan's folder, to which paths in the record are relative.
    written_at : datetime, optional
        With a time zone; by default now.

    Returns
    -------
    Path
        The folder.
    """
    moment = written_at or dt.datetime.now(dt.UTC)
    with folder.staged() as beside:
        outputs = write_layers(layers, beside, frame=frame, written_at=moment)
        whole = replace(record, frame=frame.to_dict(), outputs=outputs)
        write_record(whole, beside, base=base, written_at=moment)
    return folder.target


def write_layers(
    layers: Mapping[str, pd.DataFrame],
    folder: str | Path,
    *,
    frame: LocalFrame,
    contracts: Mapping[str, Contract] = OUTPUTS,
    written_at: dt.datetime | None = None,
) -> list[dict]:
    """Write each layer as GeoJSON, each table as CSV, and all of them as one GeoPackage.

    Parameters
    ----------
    layers : mapping of str to GeoDataFrame or DataFrame
        By contract name, in the local frame. One that has no contract (an input that is not
        written) is passed over, and a contract without a layer too.
    folder : str or Path
        Where to; it must exist.
    frame : LocalFrame
        Sends them out: to WGS 84 for GeoJSON, to the parcel layer's own reference system for
        the GeoPackage.
    contracts : mapping of str to Contract
        Which layers are written, and in which order.
    written_at : datetime, optional
        With a time zone, stamped into the GeoPackage; by default now.

    Returns
    -------
    list of dict
        For the run record: ``file``, ``sha256``, and ``layers`` (number of rows by layer).
    """
    folder = Path(folder)
    home: dict[str, pd.DataFrame] = {}
    rows: dict[Path, dict[str, int]] = {}
    for name in (name for name in contracts if name in layers):
        contract, layer = contracts[name], layers[name]
        if contract.geometry:
            path = folder / f"{name}.geojson"
            count = write_geojson(frame.send_out(layer, WGS84), path, contract)
            home[name] = frame.send_out(layer, frame.source_crs)
        else:
            path = folder / f"{name}.csv"
            count = write_csv(layer, path, contract)
            home[name] = layer
        rows[path] = {name: count}
    package = folder / GEOPACKAGE_NAME
    rows[package] = write_geopackage(
        home, package, frame.source_crs, contracts=contracts, written_at=written_at
    )
    return [
        {"file": path.name, "sha256": file_sha256(path), "layers": counts}
        for path, counts in rows.items()
    ]
