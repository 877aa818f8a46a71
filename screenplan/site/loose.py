"""Files read as they are, without a contract: a table, its columns, a GPS track."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from screenplan.ground.errors import InputError, refuse
from screenplan.site.features import shape_of
from screenplan.site.files import DataFile, choose_layer, open_file
from screenplan.site.opening import open_layer
from screenplan.site.sources import LayerSource

#: So many rows of a file are held against what a column's name says.
SAMPLE_ROWS = 2000
#: A track, as GDAL reads GPX: what was walked before what was planned.
TRACK_LAYERS = ("tracks", "routes")


def read_table(file: Path | str, layer: str | None = None) -> gpd.GeoDataFrame | pd.DataFrame:
    """Read one layer as it is, such as one that an earlier run wrote.

    Parameters
    ----------
    file : path
        A vector file, as for `LayerSource`.
    layer : str, optional
        Its layer; needed if it holds several.

    Returns
    -------
    GeoDataFrame
        With the layer's CRS; or a DataFrame if it has no geometry.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    data = open_file(Path(file), "the layer")
    layer = choose_layer("rows", data, layer)
    with data.reading(layer), data.collection(layer) as collection:
        features = data.features(collection, layer)
        names = list(collection.schema["properties"])
        spatial = collection.schema["geometry"] != "None"
        crs = CRS.from_user_input(collection.crs_wkt) if collection.crs_wkt else None
        table = pd.DataFrame(
            {name: [feature.properties[name] for feature in features] for name in names}
        )
        if not spatial:
            return table
        shapes = [shape_of(feature.geometry) for feature in features]
        return gpd.GeoDataFrame(table, geometry=gpd.GeoSeries(shapes, crs=crs))


def column_names(file: Path | str, layer: str | None = None) -> list[str]:
    """Names of a layer's attributes, in the file's order; errors as in `read_table`."""
    data = open_file(Path(file), "the layer")
    layer = choose_layer("rows", data, layer)
    with data.reading(layer), data.collection(layer) as collection:
        return list(collection.schema["properties"])


def sample_rows(name: str, source: LayerSource, most: int = SAMPLE_ROWS) -> pd.DataFrame:
    """Read the first rows of a layer without their geometry; no rows where it can only be listed.

    Parameters
    ----------
    name : str
        The contract's name.
    source : LayerSource
        Where it is.
    most : int
        So many rows at most.

    Raises
    ------
    InputError
        If its columns cannot even be listed.
    """
    try:
        layer = open_layer(name, source)
    except InputError as error:
        try:
            return pd.DataFrame(columns=column_names(source.file, source.layer))
        except InputError:
            raise error from None
    try:
        rows = layer.take(list(range(1, min(layer.rows, most) + 1)))
    except (InputError, IndexError):  # said by row when it is read
        return pd.DataFrame(columns=list(layer.columns))
    return pd.DataFrame(rows.drop(columns="geometry"))


def read_track(file: Path | str) -> gpd.GeoDataFrame:
    """Read the one line of a GPS track.

    Parameters
    ----------
    file : path
        A GPX file with one track or route, or any vector file with one line.

    Returns
    -------
    GeoDataFrame
        One row with one LineString of at least two points, without heights.

    Raises
    ------
    InputError
        If it cannot be read, or holds no line or several.
    """
    data = open_file(Path(file), "the track")
    where: dict[str, Any] = {"file": str(data.path)}
    lines, crs = _read_lines(data)
    if crs is None:
        raise refuse("The track has no CRS", "Save it as GPX", **where)
    if not len(lines):
        raise refuse(
            "The file holds no track", "Record a track or a route, not single waypoints", **where
        )
    if len(lines) > 1:
        raise refuse(
            f"The file holds {len(lines)} tracks or stretches of one",
            "Keep the one that runs along the row or around the parcel",
            **where,
        )
    xy = shapely.get_coordinates(lines[0])
    if not np.isfinite(xy).all() or not len(xy) or (xy == xy[0]).all():
        raise refuse("The track does not move", "Record it again", **where)
    return gpd.GeoDataFrame(geometry=[shapely.LineString(xy)], crs=crs)


def _read_lines(data: DataFile) -> tuple[np.ndarray, CRS | None]:
    """All lines of the first layer that has any."""
    listed, crs = [name for name, _ in data.layers()], None
    with data.reading():
        for layer in [name for name in TRACK_LAYERS if name in listed] or listed:
            with data.collection(layer) as collection:
                crs = CRS.from_user_input(collection.crs_wkt) if collection.crs_wkt else None
                shapes = [
                    shape_of(feature.geometry)
                    for feature in data.features(collection, layer)
                    if feature.geometry is not None
                ]
            parts = shapely.get_parts(np.array(shapes, dtype=object))
            lines = parts[(shapely.get_type_id(parts) == 1) & ~shapely.is_empty(parts)]
            if len(lines):
                return lines, crs
    return np.zeros(0, dtype=object), crs
