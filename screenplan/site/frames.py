"""Layers in memory, under the same face as those in files.

Rows are numbered from 1 in the frame's own order.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from geopandas.array import GeometryDtype
from pyproj import CRS

from screenplan.contracts import INPUTS
from screenplan.ground.errors import refuse
from screenplan.site.columns import to_text
from screenplan.site.composed import cells_of
from screenplan.site.shaping import kept

#: Name of the index of what is read.
ROW = "row"

#: West, south, east and north of a box.
Bounds = tuple[float, float, float, float]


@dataclass(frozen=True)
class FrameLayer:
    """A GeoDataFrame under the same face as a file.

    Parameters
    ----------
    name : str
        The contract's name.
    frame : GeoDataFrame
        Any; it is never changed.
    """

    name: str
    frame: gpd.GeoDataFrame
    file: str | None = None
    crs_key: str | None = None

    @property
    def layer(self) -> str | None:
        """Name for messages."""
        return self.name

    @property
    def where(self) -> dict[str, str | None]:
        """Where it stands, for a refusal."""
        return {"file": self.file, "layer": self.layer}

    @property
    def crs(self) -> CRS | None:
        """Its CRS."""
        return self.frame.crs

    @property
    def rows(self) -> int:
        """Number of rows."""
        return len(self.frame)

    @property
    def columns(self) -> tuple[str, ...]:
        """Names of its attributes."""
        return tuple(str(name) for name in self._numbered.columns if name != "geometry")

    @property
    def bounds(self) -> Bounds | None:
        """Bounds of all that is finite, or None."""
        return bounds_of(self.frame.geometry)

    @property
    def types(self) -> frozenset[str]:
        """Types of its geometries."""
        return types_of(self.frame.geometry)

    @property
    def notes(self) -> tuple[str, ...]:
        """What a person should know of the file: nothing, there is none."""
        return ()

    def curved_among(self, frame: gpd.GeoDataFrame) -> frozenset[int]:  # noqa: ARG002
        """Rows with arcs: none, a GeoDataFrame cannot hold them."""
        return frozenset()

    @cached_property
    def _numbered(self) -> gpd.GeoDataFrame:
        return self._number()

    def _number(self) -> gpd.GeoDataFrame:
        numbers = pd.RangeIndex(1, len(self.frame) + 1, name=ROW)
        active = self.frame.geometry.name
        # Another column of geometries that is not the active one is left behind.
        others = [name for name in self.frame.columns if name not in (active, "geometry")]
        if self.frame.columns.is_unique and [*self.frame.columns] == [*others, "geometry"]:
            return self.frame.set_axis(numbers, axis=0)
        return gpd.GeoDataFrame(
            pd.DataFrame(self.frame[others]).set_axis(numbers, axis=0),
            geometry=self.frame.geometry.set_axis(numbers),
        )

    def values(self, column: str) -> pd.Series:
        """One column of all rows, indexed by row number; it may be composed."""
        return cells_of(self._numbered, column)

    def take(self, rows: list[int]) -> gpd.GeoDataFrame:
        """Rows by number."""
        return self._numbered.loc[rows]

    def find(self, column: str, wanted: str) -> gpd.GeoDataFrame:
        """Rows with an identifier, written as `to_text` writes it."""
        return self._numbered[(self.values(column).map(to_text) == wanted).to_numpy(bool)]

    def read(self, boxes: Sequence[Bounds] | None = None) -> gpd.GeoDataFrame:
        """Rows that meet one of some boxes, and those of which nobody can say where they are."""
        return meeting(self._numbered, boxes)

    def to_record(self) -> dict[str, object]:
        """Give what a run record says of it."""
        return {
            "name": self.name,
            "file": None,
            "layer": None,
            "sha256": None,
            "sidecars": {},
            "rows": self.rows,
            "crs": None if self.crs is None else name_crs(self.crs),
        }


def open_frame(name: str, table: gpd.GeoDataFrame) -> FrameLayer:
    """Take a layer that is in memory; refused if it is no GeoDataFrame, or for a table no DataFrame."""
    if is_table(name) and isinstance(table, pd.DataFrame):
        shapes = [
            column for column in table.columns if isinstance(table[column].dtype, GeometryDtype)
        ]
        return FrameLayer(
            name,
            gpd.GeoDataFrame(
                pd.DataFrame(table).drop(columns=shapes),
                geometry=gpd.GeoSeries([None] * len(table), index=table.index),
            ),
        )
    if not isinstance(table, gpd.GeoDataFrame) or table._geometry_column_name is None:
        raise refuse(
            f"The layer is a {type(table).__name__} without geometry",
            "Pass a GeoDataFrame with an active geometry column",
            layer=name,
            kind="geometry",
        )
    return FrameLayer(name, table)


def is_table(name: str) -> bool:
    """Tell whether a layer is read as a table, whatever geometry it has."""
    return name in INPUTS and not INPUTS[name].geometry


def meeting(frame: gpd.GeoDataFrame, boxes: Sequence[Bounds] | None) -> gpd.GeoDataFrame:
    """Give the rows that meet one of some boxes, and those of which nobody can say where they are."""
    if boxes is None or frame.empty:
        return frame
    bounds = shapely.bounds(np.asarray(frame.geometry.array, dtype=object)).T
    has_place = np.isfinite(bounds).all(axis=0)
    return kept(frame, ~has_place | np.any([meets(bounds, box) for box in boxes], axis=0))


def meets(bounds, box):
    """Tell whether bounds meet a box; each of west, south, east, north may be an array."""
    west, south, east, north = bounds
    with np.errstate(invalid="ignore"):
        apart = (west > box[2]) | (east < box[0]) | (south > box[3]) | (north < box[1])
    return np.logical_not(apart)


def types_of(geometry: gpd.GeoSeries) -> frozenset[str]:
    """Give the types of geometries."""
    return frozenset(kind for kind in geometry.geom_type.unique() if isinstance(kind, str))


def bounds_of(geometry: gpd.GeoSeries) -> Bounds | None:
    """Give the bounds of all geometries that are finite; None if there is none."""
    bounds = shapely.bounds(np.asarray(geometry.array, dtype=object)).reshape(-1, 4)
    bounds = bounds[np.isfinite(bounds).all(axis=1)]
    if not len(bounds):
        return None
    return (*bounds[:, :2].min(axis=0).tolist(), *bounds[:, 2:].max(axis=0).tolist())


def name_crs(crs: CRS) -> str:
    """Name a reference system by its code, or as it calls itself."""
    code = crs.to_authority()
    return ":".join(code) if code else crs.name
