"""Write one layer through fiona, and make sure that it arrived whole."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import fiona
from fiona.errors import FionaError
from shapely.geometry import MultiLineString, MultiPoint, MultiPolygon, mapping

from screenplan.errors import InputError, refuse
from screenplan.outputs.conform import Layout

FIELD_TYPES = {
    "text": "str",
    "number": "float",
    "integer": "int64",
    "boolean": "bool",
    "date": "date",
}


_GATHER = {
    "MultiPolygon": MultiPolygon,
    "MultiLineString": MultiLineString,
    "MultiPoint": MultiPoint,
}


def write_layer(
    layout: Layout,
    path: Path,
    *,
    driver: str,
    geometry: str,
    crs_wkt: str | None,
    read_back: bool = True,
    **options: str | int,
) -> None:
    """Write one layer into ``path``, then read its number of rows back.

    Parameters
    ----------
    layout : Layout
        The layer's values.
    path : Path
        The file; a GeoPackage that exists already gets one more layer.
    driver : str
        GDAL's name of the format.
    geometry : str
        The layer's geometry type, ``Unknown`` for a mixed one, ``None`` for a table.
    crs_wkt : str or None
        The coordinate reference system; None for a table.
    read_back : bool
        Whether to count the rows that arrived; if not, the caller does, with `check_arrival`.
    **options
        The driver's own creation options.

    Raises
    ------
    InputError
        If the file cannot be written whole.
    """
    name = layout.contract.name
    schema = {
        "geometry": geometry,
        "properties": {label: FIELD_TYPES[column.type] for label, column in layout.columns},
    }
    if crs_wkt:
        options["crs_wkt"] = crs_wkt
    with explain_failure(path, name):
        with fiona.open(
            path, "w", driver=driver, layer=name, schema=schema, encoding="utf-8", **options
        ) as sink:
            sink.writerecords(_records(layout, geometry))
        if not read_back:
            return
        with fiona.open(path) as source:
            arrived = len(source)
    check_arrival(layout, arrived, path)


def check_arrival(layout: Layout, arrived: int, path: Path) -> None:
    """Refuse a layer of which not every row arrived in the file."""
    if arrived != len(layout):
        raise refuse(
            f"Only {arrived} of {len(layout)} rows were written",
            "Free some space on the disk and run again",
            file=path.name,
            layer=layout.contract.name,
        )


def _records(layout: Layout, geometry: str) -> Iterator[dict]:
    shapes = layout.geometries if layout.geometries is not None else [None] * len(layout)
    gather = _GATHER.get(geometry)
    for shape, row in zip(shapes, layout.rows(), strict=True):
        if gather and shape is not None and shape.geom_type != geometry:
            shape = gather([shape])
        yield {"geometry": None if shape is None else mapping(shape), "properties": row}


@contextmanager
def explain_failure(path: Path, layer: str | None = None) -> Iterator[None]:
    """Turn what GDAL or the operating system says about a failed write into an `InputError`."""
    try:
        yield
    except InputError:
        raise
    except (FionaError, OSError, RuntimeError, ValueError) as error:
        raise _explained(path, layer, error) from error
    except Exception as error:
        # GDAL's own errors have a private base class.
        if type(error).__module__ != "fiona._err":
            raise
        raise _explained(path, layer, error) from error


def _explained(path: Path, layer: str | None, error: Exception) -> InputError:
    said = str(error).removeprefix("b'").rstrip("'").split(" Failed to write record")[0]
    return refuse(
        f"It could not be written ({said.strip().rstrip('.')})",
        "Free some space on the disk, or write to another folder",
        file=path.name,
        layer=layer,
    )
