"""Write one layer by GDAL, and tell a failure in words."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import shapely
from pyogrio import raw
from pyogrio.errors import DataLayerError, DataSourceError

from screenplan.ground.errors import InputError, refuse
from screenplan.outputs.conform import Layout


def write_layer(
    layout: Layout,
    path: Path,
    *,
    driver: str,
    geometry: str | None,
    crs_wkt: str | None,
    append: bool = False,
    dataset_options: Mapping[str, str | int] | None = None,
    layer_options: Mapping[str, str | int] | None = None,
) -> None:
    """Write one layer into ``path``; the caller checks what arrived, with `check_arrival`.

    Parameters
    ----------
    layout : Layout
        The layer's values.
    path : Path
        The file.
    driver : str
        GDAL's name of the format.
    geometry : str or None
        The layer's geometry type, ``Unknown`` for a mixed one, None for a table.
    crs_wkt : str or None
        The coordinate reference system; None for a table.
    append : bool
        Whether the layer is added to a file that is there already.
    dataset_options, layer_options : dict, optional
        The driver's own creation options, for the file and for the layer.

    Raises
    ------
    InputError
        If the file cannot be written whole.
    """
    columns = [_FILL[column.type](layout.values[name]) for name, column in layout.columns]
    shapes = None
    if geometry is not None:
        shapes = shapely.to_wkb(np.array(layout.geometries, dtype=object), byte_order=1)
    with explain_failure(path, layout.contract.name):
        raw.write(
            path,
            shapes,
            field_data=[values for values, _ in columns],
            field_mask=[mask for _, mask in columns],
            fields=[name for name, _ in layout.columns],
            layer=layout.contract.name,
            driver=driver,
            geometry_type=geometry,
            crs=crs_wkt,
            encoding="UTF-8",
            promote_to_multi=geometry is not None and geometry.startswith("Multi"),
            append=append,
            dataset_options=dataset_options,
            layer_options=layer_options,
        )


def _fill_plain(dtype: type, filling: object, values: list) -> tuple[np.ndarray, np.ndarray]:
    """Lay values out as an array beside the mask of those that are missing."""
    missing = np.array([value is None for value in values], dtype=bool)
    filled = [filling if value is None else value for value in values]
    return np.array(filled, dtype=dtype), missing


def _fill_text(values: list) -> tuple[np.ndarray, None]:
    return np.array(values, dtype=object), None


def _fill_date(values: list) -> tuple[np.ndarray, None]:
    return np.array(values, dtype="datetime64[D]"), None


_FILL: dict[str, Callable[[Any], tuple[np.ndarray, np.ndarray | None]]] = {
    "text": _fill_text,
    "number": partial(_fill_plain, np.float64, np.nan),
    "integer": partial(_fill_plain, np.int64, 0),
    "boolean": partial(_fill_plain, bool, False),
    "date": _fill_date,
}


def check_arrival(
    layout: Layout, arrived: int, path: Path, columns: Iterable[str] | None = None
) -> None:
    """Refuse a layer of which not every row, or not every column, arrived in the file.

    Parameters
    ----------
    layout : Layout
        What was written.
    arrived : int
        Rows that the file holds.
    path : Path
        The file.
    columns : iterable of str, optional
        Names of the columns that the file holds, if it can be asked for them.
    """
    if arrived != len(layout):
        raise refuse(
            f"Only {arrived} of {len(layout)} rows were written",
            "Free some space on the disk and run again",
            file=path.name,
            layer=layout.contract.name,
        )
    if columns is None:
        return
    held = {name.lower() for name in columns}
    lacking = [name for name, _ in layout.columns if name.lower() not in held]
    if lacking:
        raise refuse(
            f"The columns {', '.join(lacking)} were not written",
            "Update the Python package pyogrio, and run again",
            file=path.name,
            layer=layout.contract.name,
        )


@contextmanager
def gdal_options(**options: str) -> Iterator[None]:
    """Set GDAL's own options, and put back what they were."""
    before = {name: pyogrio.get_gdal_config_option(name) for name in options}
    pyogrio.set_gdal_config_options(options)
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options(before)


@contextmanager
def explain_failure(path: Path, layer: str | None = None) -> Iterator[None]:
    """Turn what GDAL or the operating system says about a failed write into an `InputError`."""
    try:
        yield
    except InputError:
        raise
    except (DataLayerError, DataSourceError, OSError, RuntimeError, ValueError) as error:
        raise _explained(path, layer, error) from error


def _explained(path: Path, layer: str | None, error: Exception) -> InputError:
    said = str(error).removeprefix("b'").rstrip("'").split(" Failed to write record")[0]
    return refuse(
        f"It could not be written ({said.strip().rstrip('.')})",
        "Free some space on the disk, or write to another folder",
        file=path.name,
        layer=layer,
    )
