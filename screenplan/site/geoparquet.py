"""GeoParquet files, read with pyarrow, which comes with the extra ``county``."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely

from screenplan.ground.errors import refuse

ENDINGS = (".parquet", ".geoparquet")
#: How such a file begins, by the published description of the format.
MAGIC = b"PAR1"


def is_parquet(path: Path) -> bool:
    """Tell whether a file is one, by its ending or its first bytes."""
    if path.suffix.lower() in ENDINGS:
        return path.is_file()
    if not path.is_file():
        return False
    with path.open("rb") as stream:
        return stream.read(len(MAGIC)) == MAGIC


def read_parquet(path: Path) -> gpd.GeoDataFrame:
    """Read a GeoParquet file whole.

    Lists and records in its cells are written as text.

    Raises
    ------
    InputError
        If pyarrow is not installed, or the file is damaged or says nowhere which column holds shapes.
    """
    try:
        import pyarrow as pa  # noqa: F401 (said here, in our words)
    except ImportError:
        raise refuse(
            "GeoParquet is read with pyarrow, which is not installed",
            'Install it with pip install "screenplan[county]", or save the layer as a GeoPackage',
            file=str(path),
        ) from None
    try:
        frame = gpd.read_parquet(path)
    except (ValueError, KeyError, TypeError, OSError, shapely.errors.ShapelyError) as error:
        # pyarrow's errors are such too.
        says_nothing = "geo metadata" in str(error)
        reason = "it says of no column that it holds shapes" if says_nothing else "it is damaged"
        raise refuse(
            f"The file cannot be read as GeoParquet ({reason})",
            "Fetch or export the file again, or save it as a GeoPackage",
            file=str(path),
        ) from None
    for name in frame.columns.drop(frame.geometry.name):
        if frame[name].dtype == object:
            frame[name] = [
                str(cell) if isinstance(cell, (dict, list, tuple, np.ndarray)) else cell
                for cell in frame[name]
            ]
    return frame
