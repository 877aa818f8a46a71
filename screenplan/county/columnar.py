"""GeoParquet files with a box for each row, read by rows or by boxes.

Version 1.1 of the format (https://geoparquet.org/releases/v1.1.0/): geometries as well-known binary, and a column
``bbox`` with the bounds of each, whose statistics tell which groups of rows a box may meet. So nobody reads a whole
county to plan a few parcels of it.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from geopandas.array import from_shapely
from pyproj import CRS

from screenplan.ground.errors import refuse
from screenplan.ground.extras import need
from screenplan.outputs.parquet import BOX, EDGES, GEOMETRY
from screenplan.site.frames import Bounds, meets


@dataclass(frozen=True)
class Columnar:
    """A GeoParquet file with a column of boxes.

    Parameters
    ----------
    path : Path
    """

    path: Path

    @cached_property
    def _file(self):
        return need("pyarrow.parquet").ParquetFile(self.path)

    def __getstate__(self):
        """Hand on the path alone: an open file stays in its process."""
        return {"path": self.path}

    def __setstate__(self, state):
        """Take the path."""
        object.__setattr__(self, "path", state["path"])

    @property
    def rows(self) -> int:
        """Number of rows."""
        return self._file.metadata.num_rows

    @cached_property
    def crs(self) -> CRS | None:
        """The CRS of its geometries."""
        about = json.loads(self._file.schema_arrow.metadata[b"geo"])
        stated = about["columns"][about["primary_column"]].get("crs", "OGC:CRS84")
        return None if stated is None else CRS(stated)

    @property
    def laid_crs(self) -> CRS:
        """The CRS of a file that was laid, which has one."""
        assert self.crs is not None
        return self.crs

    @cached_property
    def _groups(self) -> tuple[np.ndarray, np.ndarray]:
        """First row and box of each group of rows: (groups + 1,), (groups, 4)."""
        meta = self._file.metadata
        sizes = [meta.row_group(k).num_rows for k in range(meta.num_row_groups)]
        first = np.concatenate([[0], np.cumsum(sizes)]).astype(int)
        names = [meta.schema.column(k).path for k in range(meta.num_columns)]
        boxes = np.full((meta.num_row_groups, 4), np.nan)
        for k in range(meta.num_row_groups):
            for place, edge in enumerate(EDGES):
                told = meta.row_group(k).column(names.index(f"{BOX}.{edge}")).statistics
                if told is not None and told.has_min_max:
                    boxes[k, place] = told.min if place < 2 else told.max
        # Without statistics a group may hold anything.
        boxes = np.where(np.isnan(boxes), [-np.inf, -np.inf, np.inf, np.inf], boxes)
        return first, boxes

    def read(self, first: int, last: int) -> gpd.GeoDataFrame:
        """Read rows by their places, from ``first`` up to but not including ``last``."""
        starts, _ = self._groups
        groups = np.flatnonzero((starts[1:] > first) & (starts[:-1] < last))
        if not len(groups):
            return self._frame(self._file.schema_arrow.empty_table(), np.zeros(0, int))
        begin = starts[groups[0]]
        table = self._file.read_row_groups(groups.tolist()).slice(first - begin, last - first)
        return self._frame(table, np.arange(first, min(last, self.rows)))

    def near(self, boxes: Sequence[Bounds] | None) -> gpd.GeoDataFrame:
        """Read the rows whose bounds meet one of some boxes, in the file's order; None is everywhere."""
        starts, around = self._groups
        if boxes is None:
            return self.read(0, self.rows)
        groups = np.flatnonzero(np.any([meets(around.T, box) for box in boxes], axis=0))
        if not len(groups):
            return self.read(0, 0)
        table = self._file.read_row_groups(groups.tolist())
        places = np.concatenate([np.arange(starts[k], starts[k + 1]) for k in groups])
        edges = table.column(BOX).combine_chunks().flatten()
        bounds = np.array([edge.to_numpy(zero_copy_only=False) for edge in edges])
        inside = np.flatnonzero(np.any([meets(bounds, box) for box in boxes], axis=0))
        return self._frame(table.take(inside), places[inside])

    def _frame(self, table, places: np.ndarray) -> gpd.GeoDataFrame:
        """Give rows as a frame, its index their places in the file."""
        shapes = shapely.from_wkb(table.column(GEOMETRY).to_numpy(zero_copy_only=False))
        cells = {
            name: pd.Series(table.column(name).to_pylist(), index=places, dtype=object)
            for name in table.column_names
            if name not in (GEOMETRY, BOX)
        }
        return gpd.GeoDataFrame(
            pd.DataFrame(cells, index=places), geometry=from_shapely(shapes, crs=self.crs)
        )


def open_geoparquet(path: Path):
    """Open a GeoParquet file that somebody brought.

    Raises
    ------
    InputError
        If it cannot be read, or does not say which column holds its geometries.
    """
    pa, pq = need("pyarrow"), need("pyarrow.parquet")
    try:
        file = pq.ParquetFile(path)
    except FileNotFoundError:
        raise refuse("The file does not exist", "Correct its path", file=str(path)) from None
    except (pa.ArrowException, OSError) as error:
        raise refuse(
            f"The file cannot be read as Parquet ({f'{error}'.splitlines()[0][:100]})",
            "Fetch or export the file again", file=str(path),
        ) from None  # fmt: skip
    about = (file.schema_arrow.metadata or {}).get(b"geo")
    if about is None:
        raise refuse(
            "The Parquet file holds no geometries (it has no entry 'geo')",
            "Export it as GeoParquet", file=str(path),
        )  # fmt: skip
    column = json.loads(about)["columns"].get(json.loads(about)["primary_column"], {})
    if column.get("encoding") != "WKB":
        raise refuse(
            f"Its geometries are encoded as {column.get('encoding')}, not as WKB",
            "Export it as GeoParquet with WKB", file=str(path),
        )  # fmt: skip
    return file
