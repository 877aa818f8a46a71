"""The rows of a county's layer, read as a stream: a chunk is in memory at a time, however long the file is."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS

from screenplan.county.columnar import Columnar, open_geoparquet
from screenplan.site.features import shape_of
from screenplan.site.files import find_files, hash_file
from screenplan.site.frames import FrameLayer
from screenplan.site.geoparquet import is_parquet
from screenplan.site.opening import open_layer
from screenplan.site.sources import LayerSource

#: Rows that are read at once.
CHUNK_ROWS = 20_000

#: Geometries, and by column the cells.
Chunk = tuple[np.ndarray, dict[str, list]]


@dataclass(frozen=True)
class Stream:
    """The rows of a layer.

    Parameters
    ----------
    file, layer : str or None
        Where they come from.
    crs : CRS or None
        What the file states.
    columns : tuple of str
        All of its columns.
    chunks : callable
        Gives some columns as chunks: the geometries, and the cells by column.
    """

    file: str | None
    layer: str | None
    crs: CRS | None
    columns: tuple[str, ...]
    chunks: Callable[[list[str]], Iterator[Chunk]]


def open_stream(name: str, source: LayerSource) -> Stream:
    """Open a layer: a file of any format that a plan reads, a GeoParquet file, or a GeoDataFrame.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    if not isinstance(source.file, (str, Path)):
        opened = open_layer(name, source)
        assert isinstance(opened, FrameLayer)  # a table in memory
        frame = opened.frame
        return Stream(
            None,
            name,
            frame.crs,
            tuple(map(str, frame.columns.drop(frame.geometry.name))),
            lambda columns: _of_frame(frame, columns),
        )
    path = Path(source.file)
    if is_parquet(path):
        file = open_geoparquet(path)
        shape = _primary(file)
        names = tuple(column for column in file.schema_arrow.names if column != shape)
        return Stream(
            str(path),
            None,
            Columnar(path).crs,
            names,
            lambda columns: _of_parquet(file, shape, columns),
        )
    opened = open_layer(name, source)
    return Stream(
        opened.file,
        opened.layer,
        opened.crs,
        opened.columns,
        lambda columns: _of_gdal(opened, columns),
    )


def _primary(file) -> str:
    return json.loads(file.schema_arrow.metadata[b"geo"])["primary_column"]


def _of_frame(frame: gpd.GeoDataFrame, columns: list[str]) -> Iterator[Chunk]:
    for first in range(0, len(frame), CHUNK_ROWS):
        part = frame.iloc[first : first + CHUNK_ROWS]
        yield (
            np.asarray(part.geometry.array, dtype=object),
            {name: part[name].astype(object).tolist() for name in columns},
        )


def _of_parquet(file, shape: str, columns: list[str]) -> Iterator[Chunk]:
    for batch in file.iter_batches(batch_size=CHUNK_ROWS, columns=[shape, *columns]):
        yield (
            _from_wkb(batch.column(shape).to_pylist()),
            {name: batch.column(name).to_pylist() for name in columns},
        )


def _of_gdal(opened, columns: list[str]) -> Iterator[Chunk]:
    """Read a chunk after the other, so that no more than one is in memory."""
    if not opened.has_arcs:
        yield from _of_batches(opened, columns)
        return
    # Only the other reader makes short edges of arcs, as it does for a plan.
    with (
        opened.data.reading(opened.layer),
        opened.data.collection(opened.layer) as collection,
    ):
        rows = iter(collection)
        while features := list(islice(rows, CHUNK_ROWS)):
            shapes = np.empty(len(features), dtype=object)
            shapes[:] = [shape_of(feature.geometry) for feature in features]
            yield (
                shapes,
                {name: [feature.properties[name] for feature in features] for name in columns},
            )


def _of_batches(opened, columns: list[str]) -> Iterator[Chunk]:
    """Read by GDAL's own record batches."""
    from pyogrio import raw

    options = {
        "layer": opened.layer,
        "columns": columns,
        "batch_size": CHUNK_ROWS,
        "datetime_as_string": True,
    }
    with (
        opened.data.reading(opened.layer),
        raw.open_arrow(
            opened.data.address, use_pyarrow=True, **(options | dict(opened.data.options))
        ) as (about, reader),
    ):
        shape = about["geometry_name"] or "wkb_geometry"
        for batch in reader:
            yield (
                _from_wkb(batch.column(shape).to_pylist()),
                {name: batch.column(name).to_pylist() for name in columns},
            )


def _from_wkb(shapes: list) -> np.ndarray:
    """Read geometries; one that cannot be read is None."""
    return shapely.from_wkb(np.array(shapes, dtype=object), on_invalid="ignore")


def hash_source(source: LayerSource) -> str:
    """Give a SHA-256 of all that a layer holds: of its files, or of the frame's geometries and cells."""
    if isinstance(source.file, (str, Path)):
        parts = [hash_file(path) for path in find_files(Path(source.file))]
        told = (source.columns, source.units, source.fixed, source.missing)
        text = repr(
            (parts, source.layer, source.crs, [sorted(one.items(), key=repr) for one in told])
        )
        return hashlib.sha256(text.encode()).hexdigest()
    digest = hashlib.sha256(str(source.file.crs).encode())
    for shape in shapely.to_wkb(np.asarray(source.file.geometry.array, dtype=object)):
        digest.update(shape or b"-")
    for column in source.file.columns:
        if column != source.file.geometry.name:
            digest.update(repr((column, source.file[column].astype(object).tolist())).encode())
    return digest.hexdigest()
