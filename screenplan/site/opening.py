"""Opening one layer, whatever its format; nothing is judged but whether it can be read and is whole."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import fiona
import numpy as np
from pyproj import CRS
from pyproj.exceptions import CRSError

from screenplan.contracts import INPUTS
from screenplan.contracts.model import LINES, POINTS
from screenplan.ground.datum import WGS84
from screenplan.ground.errors import refuse
from screenplan.site import pointers, sources
from screenplan.site.database import count_rows
from screenplan.site.dxf import read_drawing
from screenplan.site.files import OSM_DRIVERS, DataFile, check_file, choose_layer, open_file
from screenplan.site.frames import FrameLayer, is_table, open_frame
from screenplan.site.geoparquet import is_parquet, read_parquet
from screenplan.site.openstreetmap import read_extract
from screenplan.site.point_columns import find_point_columns
from screenplan.site.point_lists import codes_of, is_point_list, read_points, with_code
from screenplan.site.sources import FileLayer, LayerSource
from screenplan.site.whole_layer import WholeLayer

#: The layer of a GPX file that is meant, by what a contract takes.
TRACK_LAYERS: dict[tuple[str, ...], str] = {POINTS: "waypoints", LINES: "tracks"}
#: How a drawing's name ends.
DRAWING = ".dxf"


def open_layer(name: str, source: LayerSource) -> FileLayer | FrameLayer:
    """Open one layer of a file, or in memory.

    Parameters
    ----------
    name : str
        The contract's name.
    source : LayerSource
        Its file.

    Raises
    ------
    InputError
        If the file is missing, cannot be read, breaks off, leads elsewhere, or holds no such layer.
    """
    if not isinstance(source.file, (str, Path)):
        return open_frame(name, source.file)
    what, path = name.replace("_", " "), Path(source.file)
    check_file(path, f"the {name} layer")
    whole = _open_whole(name, path, source.layer)
    if whole is not None:
        return whole
    data = open_file(path, f"the {name} layer")
    if data.inner.suffix.lower() == DRAWING:
        frame, layer, notes = read_drawing(data, source.layer, INPUTS[name])
        return WholeLayer(name, frame, str(path), f"layers.{name}.crs", layer, notes=notes)
    if data.drivers == OSM_DRIVERS and source.layer is None:
        frame = read_extract(data, name)
        return WholeLayer(name, frame, str(path), f"layers.{name}.crs", crs=CRS(WGS84))
    asked = source.layer
    if asked is None and data.drivers == ("GPX",):
        asked = TRACK_LAYERS.get(INPUTS[name].geometry)
    layer = choose_layer(what, data, asked, key=f"layers.{name}.layer")
    where: dict[str, Any] = {"file": str(data.path), "layer": layer}
    with data.reading(layer), data.collection(layer) as collection:
        if collection.schema["geometry"] == "None" and not is_table(name):
            raise refuse(
                "The layer has no geometry",
                f"Give a layer with the {what} as shapes",
                **where,
                kind="geometry",
            )
        try:
            west, south, east, north = (float(value) for value in collection.bounds)
            bounds = (west, south, east, north)
        except fiona.errors.DriverError:  # no rows, or the driver cannot tell
            bounds = None
        try:
            rows = len(collection)
        except TypeError:  # the driver cannot tell without reading
            rows = sum(1 for _ in collection)
        rows, told = _count(data, layer, rows)
        return FileLayer(
            name,
            data,
            layer,
            collection.driver,
            _crs_of_degrees(collection)
            or _read_crs(_wkt_of(collection), name, source.crs is not None, where),
            rows,
            dict(collection.schema["properties"]),
            bounds if bounds is not None and np.isfinite(bounds).all() else None,
            str(collection.schema["geometry"]),
            told,
        )


def _open_whole(name: str, path: Path, asked: str | None) -> WholeLayer | None:
    """Open a file of a format that no driver reads; None if it is of another one."""
    key = f"layers.{name}.crs"
    if is_parquet(path):
        frame = read_parquet(path)
        return WholeLayer(name, frame, str(path), key, crs=frame.crs)
    if is_table(name) or not is_point_list(path):
        return None
    found = read_points(path)
    points = found.points
    if asked is not None:
        points = points[with_code(points, asked)].reset_index(drop=True)
        if points.empty:
            raise refuse(
                f"No point has the code '{asked}'",
                f"Name one of the codes, as the layer: {', '.join(codes_of(found.points)) or 'there are none'}",
                file=str(path),
                key=f"layers.{name}.layer",
            )
    note = "it has no header: its fields are taken for number, north, east, height and code"
    return WholeLayer(
        name,
        points,
        str(path),
        key,
        asked,
        notes=() if found.has_header else (note,),
        is_turned_easily=not found.has_header,
    )


def _wkt_of(collection) -> str:
    """Give the text of the CRS that a file states; a word that is none where GDAL cannot read it."""
    try:
        return collection.crs_wkt
    except Exception:
        return "unreadable"


def _read_crs(wkt: str, name: str, is_stated: bool, where: Mapping[str, Any]) -> CRS | None:
    """Read the CRS of a file; one that cannot be understood does not matter if the plan states one."""
    try:
        return CRS.from_user_input(wkt) if wkt else None
    except CRSError:
        if is_stated:
            return None
        raise refuse(
            "The CRS that the file states cannot be understood",
            'State it by a code such as "EPSG:2249", or save the layer with one that has a code',
            key=f"layers.{name}.crs",
            **where,
            kind="system",
        ) from None


def _crs_of_degrees(collection) -> CRS | None:
    """Give the CRS of a CSV file whose places are in columns of longitude and latitude; else None."""
    if collection.driver != "CSV" or _wkt_of(collection):
        return None
    columns = find_point_columns(list(collection.schema["properties"]))
    return CRS.from_user_input(WGS84) if columns is not None and columns[2] else None


def _count(data: DataFile, layer: str, stated: int) -> tuple[int, list[str]]:
    """Count the rows, with a note where the file's own count is out of date; refuse lost features."""
    announced = data.announced
    if announced is not None and announced != stated:
        announced = pointers.check_json(data.inner, str(data.path), whole=True)
    if announced is not None and announced != stated:
        raise refuse(
            f"The file holds {announced} features, and {stated} can be read",
            "Fetch or export the file again",
            file=str(data.path),
            layer=layer,
        )
    if not data.is_database:
        return stated, []
    # Whether a layer is small enough to be read whole must not depend on a count that may be wrong.
    held = count_rows(data.inner, layer, sources.WHOLE_ROWS + 1)
    if held is None or held == stated or min(held, stated) > sources.WHOLE_ROWS:
        return stated, []
    if held > sources.WHOLE_ROWS:
        held = count_rows(data.inner, layer, 1 << 62) or held
    return held, [f"its file states {stated} rows and holds {held}, which were counted"]
