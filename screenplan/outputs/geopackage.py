"""All layers in one GeoPackage, in the parcel layer's own coordinate reference system."""

from __future__ import annotations

import datetime as dt
import sqlite3
from collections.abc import Mapping, Sequence
from contextlib import closing
from pathlib import Path

import pandas as pd
from pyproj import CRS

from screenplan.contracts import OUTPUTS, Contract
from screenplan.ground.datum import horizontal
from screenplan.ground.errors import refuse
from screenplan.outputs.conform import Layout, conform
from screenplan.outputs.styles.delivery import add_styles
from screenplan.outputs.vector import check_arrival, explain_failure, gdal_options, write_layer

#: GDAL opens 1.4, its own default, only with a warning before version 3.7.
VERSION = "1.3"
GEOMETRY_COLUMN = "geom"
#: Layers of fewer rows have no spatial index: a program looks through them as fast without, and an
#: index adds tables and triggers, which take time at every opening of the file.
INDEXED_ROWS = 1000


def write_geopackage(
    layers: Mapping[str, pd.DataFrame],
    path: str | Path,
    crs: CRS | str | int,
    *,
    contracts: Mapping[str, Contract] = OUTPUTS,
    written_at: dt.datetime | None = None,
) -> dict[str, int]:
    """Write layers and tables into one new GeoPackage.

    The same layers, reference system and time give the same bytes.

    Parameters
    ----------
    layers : mapping of str to GeoDataFrame or DataFrame
        By contract name; layers already in ``crs``, tables without geometry.
    path : str or Path
        The file to write; one that exists is replaced.
    crs : pyproj.CRS or what it is made from
        The layers' reference system. Of a compound or three-dimensional one the horizontal part
        is declared, since the geometries are flat.
    contracts : mapping of str to Contract
        Which layers there may be; they are written in its order.
    written_at : datetime, optional
        With a time zone; by default now. It is all in the file that is not content.

    Returns
    -------
    dict of str to int
        Number of rows by layer.

    Raises
    ------
    InputError
        If a layer is unknown, is in another reference system, breaks its contract, or the file
        cannot be written.
    """
    path = Path(path)
    crs = horizontal(CRS(crs))
    unknown = [name for name in layers if name not in contracts]
    if unknown:
        raise refuse(
            f"There is no output layer {', '.join(unknown)}", f"Give {', '.join(contracts)}"
        )
    layouts = [conform(layers[name], contracts[name]) for name in contracts if name in layers]
    for layout in layouts:
        if layout.geometries is not None:
            _check_crs(layers[layout.contract.name].crs, crs, layout.contract.name)
    return write_layouts(layouts, path, crs, written_at=written_at)


def write_layouts(
    layouts: Sequence[Layout],
    path: Path,
    crs: CRS,
    *,
    written_at: dt.datetime | None = None,
) -> dict[str, int]:
    """Write layers that keep their contracts, in the order given; see `write_geopackage`."""
    crs = horizontal(crs)
    with explain_failure(path):
        path.unlink(missing_ok=True)
    written_at = written_at or dt.datetime.now(dt.UTC)
    declared = crs.to_wkt()
    # A killed run's file is never looked at (see folder.py): waiting for the disk after each layer
    # would only take time.
    with gdal_options(OGR_CURRENT_DATE=_stamp(written_at), OGR_SQLITE_SYNCHRONOUS="OFF"):
        for number, layout in enumerate(layouts):
            spatial = layout.geometries is not None
            geometry_options = {
                "GEOMETRY_NAME": GEOMETRY_COLUMN,
                "SPATIAL_INDEX": "YES" if len(layout) >= INDEXED_ROWS else "NO",
            }
            write_layer(
                layout,
                path,
                driver="GPKG",
                geometry=layer_type(layout) if spatial else None,
                crs_wkt=declared if spatial else None,
                append=number > 0,
                dataset_options={"VERSION": VERSION} if number == 0 else None,
                layer_options={
                    "IDENTIFIER": layout.contract.name,
                    "DESCRIPTION": layout.contract.meaning,
                    **(geometry_options if spatial else {}),
                },
            )
    with explain_failure(path), closing(sqlite3.connect(path)) as database:
        database.execute("PRAGMA synchronous = OFF")
        for layout in layouts:
            (arrived,) = database.execute(
                f'SELECT count(*) FROM "{layout.contract.name}"'
            ).fetchone()
            table = database.execute(f'PRAGMA table_info("{layout.contract.name}")')
            check_arrival(layout, arrived, path, [column[1] for column in table])
        add_styles(database, layouts, GEOMETRY_COLUMN, _stamp(written_at))
    return {layout.contract.name: len(layout) for layout in layouts}


def layer_type(layout: Layout) -> str:
    """Give the narrowest geometry type that holds every row and that the contract names.

    A single type is kept; polygons beside multi-polygons make a layer of multi-polygons, and so
    for lines and points; kinds that do not go together make an ``Unknown`` one. An empty layer
    takes the contract's type, so that the desktop GIS can draw on it.
    """
    present = {shape.geom_type for shape in layout.geometries or () if shape is not None}
    kinds = present or set(layout.contract.geometry)
    if len(kinds) == 1:
        return kinds.pop()
    single = {kind.removeprefix("Multi") for kind in kinds}
    return f"Multi{single.pop()}" if len(single) == 1 else "Unknown"


def _check_crs(found: CRS | None, crs: CRS, name: str) -> None:
    if found is None or not horizontal(CRS(found)).equals(crs, ignore_axis_order=True):
        known = "none" if found is None else CRS(found).name
        raise refuse(
            f"Its coordinate reference system is {known}, and the file's is {crs.name}",
            "Transform the layer first",
            layer=name,
        )


def _stamp(moment: dt.datetime) -> str:
    text = moment.astimezone(dt.UTC).isoformat(timespec="milliseconds")
    return text.replace("+00:00", "Z")
