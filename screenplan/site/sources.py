"""Vector files and frames in memory, opened under one face; nothing is judged here but opening.

Rows are numbered from 1 in the file's own order. A small layer is read whole. Of a large one, such
as all the parcels of a county, only the rows in a box are read.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

import fiona
import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS
from pyproj.exceptions import CRSError
from shapely.geometry import shape

from screenplan.errors import refuse
from screenplan.site.files import (
    check_file,
    choose_layer,
    find_files,
    gdal,
    hash_file,
    open_collection,
    vsi,
)
from screenplan.site.loose import column_names, read_table, read_track

__all__ = [
    "FileLayer",
    "FrameLayer",
    "LayerSource",
    "column_names",
    "hash_file",
    "open_layer",
    "read_table",
    "read_track",
]

#: Layers up to this many rows are read whole, so that every row is checked.
WHOLE_ROWS = 5000
#: Drivers that parse the whole file at each opening, so that reading a part saves nothing.
WHOLE_DRIVERS = ("GeoJSON", "GeoJSONSeq", "ESRIJSON", "TopoJSON", "KML", "GML", "CSV", "OGR_VRT")
#: Name of the index of what is read.
ROW = "row"
#: Geometry types with arcs, as GDAL names them.
CURVED = ("CIRCULARSTRING", "COMPOUNDCURVE", "CURVEPOLYGON", "MULTICURVE", "MULTISURFACE")
#: Drivers whose files can hold arcs.
CURVED_DRIVERS = ("GPKG", "OpenFileGDB", "GML", "OGR_VRT", "SQLite", "DXF", "CAD")

#: Types of geometry that say what a layer holds; a layer of another type may hold several of them.
PLAIN_TYPES = ("Point", "MultiPoint", "LineString", "MultiLineString", "Polygon", "MultiPolygon")

Bounds = tuple[float, float, float, float]


@dataclass(frozen=True)
class LayerSource:
    """Where a layer comes from, and how its columns are called there.

    Parameters
    ----------
    file : Path
        Any vector file that GDAL reads; a zipped one too.
    layer : str, optional
        Name of the layer in it; needed if it holds several.
    columns : mapping of str to str
        The contract's column to the file's: ``{"height_m": "HEIGHT"}``.
    units : mapping of str to str
        The contract's column to the unit of the file's values: ``{"height_m": "ft"}``. Without
        an entry they are in the contract's unit.
    fixed : mapping of str to object
        The contract's column to one value for all rows: ``{"position": "overhead"}``.
    crs : str, optional
        The CRS of its coordinates, where the file states none or a wrong one: a code, WKT, or
        ``"as parcels"`` for that of another layer.
    """

    file: Path
    layer: str | None = None
    columns: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    fixed: Mapping[str, object] = field(default_factory=dict)
    crs: str | None = None


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
    file: None = None
    crs_key: None = None

    @property
    def layer(self) -> str:
        """Name for messages."""
        return self.name

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
        return _find_bounds(self.frame.geometry)

    @property
    def types(self) -> frozenset[str]:
        """Types of its geometries."""
        return _types(self.frame.geometry)

    @property
    def curved(self) -> frozenset[int]:
        """Rows with arcs: none, a GeoDataFrame cannot hold them."""
        return frozenset()

    @cached_property
    def _numbered(self) -> gpd.GeoDataFrame:
        numbers = pd.RangeIndex(1, len(self.frame) + 1, name=ROW)
        active = self.frame.geometry.name
        # Another column of geometries that is not the active one is left behind.
        others = [name for name in self.frame.columns if name not in (active, "geometry")]
        return gpd.GeoDataFrame(
            pd.DataFrame(self.frame[others]).set_axis(numbers, axis=0),
            geometry=self.frame.geometry.set_axis(numbers),
        )

    def values(self, column: str) -> pd.Series:
        """One column of all rows, indexed by row number."""
        return self._numbered[column]

    def take(self, rows: list[int]) -> gpd.GeoDataFrame:
        """Rows by number."""
        return self._numbered.loc[rows]

    def read(self, bounds: Bounds | None = None) -> gpd.GeoDataFrame:
        """Rows that meet a box, and those of which nobody can say where they are."""
        return _meeting(self._numbered, bounds)

    def to_record(self) -> dict[str, object]:
        """Give what a run record says of it."""
        return {
            "name": self.name,
            "file": None,
            "layer": None,
            "sha256": None,
            "sidecars": {},
            "rows": self.rows,
            "crs": None if self.crs is None else _name_crs(self.crs),
        }


@dataclass(frozen=True)
class FileLayer:
    """One layer of a vector file, opened; see `open_layer`."""

    name: str
    path: Path
    layer: str
    driver: str
    crs: CRS | None
    rows: int
    columns: tuple[str, ...]
    bounds: Bounds | None
    declared: str

    @property
    def types(self) -> frozenset[str]:
        """Types of its geometries, as the file states them or else as its rows are; may be empty."""
        stated = self.declared.split()[-1]  # without '3D' and 'Measured'
        if stated in PLAIN_TYPES:
            return frozenset({stated})
        return _types(self._whole.geometry) if self._is_read_whole else frozenset()

    @property
    def file(self) -> str:
        """Name for messages."""
        return str(self.path)

    @property
    def crs_key(self) -> str:
        """Key of a plan that states its CRS."""
        return f"layers.{self.name}.crs"

    @property
    def _is_read_whole(self) -> bool:
        return self.rows <= WHOLE_ROWS or self.driver in WHOLE_DRIVERS

    @cached_property
    def _whole(self) -> gpd.GeoDataFrame:
        frame = self._collect(None)
        if len(frame) < self.rows:
            raise refuse(
                f"The file breaks off: {self.rows} rows are announced, {len(frame)} can be read",
                "Fetch or export the file again",
                file=self.file,
                layer=self.layer,
            )
        return frame

    @cached_property
    def _row_by_fid(self) -> dict[str, int]:
        return {feature.id: row for row, feature in enumerate(self._skim(()), start=1)}

    def _skim(self, fields: tuple[str, ...]) -> list:
        """All rows, without geometry and other fields where the driver can do without them."""
        lean = {"ignore_geometry": True, "include_fields": list(fields)}
        with gdal(self.path, self.layer):
            for options in (lean, {"ignore_geometry": True}):
                try:
                    with self._open(**options) as collection:
                        return list(collection)
                except fiona.errors.DriverError:
                    continue
            with self._open() as collection:
                return list(collection)

    @cached_property
    def curved(self) -> frozenset[int]:
        """Rows whose geometry has arcs, which fiona hands over as short straight edges."""
        if self.driver not in CURVED_DRIVERS:
            return frozenset()
        from pyogrio import raw

        kinds = ", ".join(f"'{kind}'" for kind in CURVED)
        table = self.layer.replace('"', '""')
        with gdal(self.path, self.layer), warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)  # measured geometries
            _, found, _, _ = raw.read(
                vsi(self.path),
                sql=f'SELECT * FROM "{table}" WHERE OGR_GEOMETRY IN ({kinds})',
                sql_dialect="OGRSQL",
                return_fids=True,
            )
        return frozenset(
            row for fid in found if (row := self._row_by_fid.get(str(fid))) is not None
        )

    def values(self, column: str) -> pd.Series:
        """One column of all rows, indexed by row number."""
        if self._is_read_whole:
            return self._whole[column]
        cells = [feature.properties[column] for feature in self._skim((column,))]
        return pd.Series(cells, index=pd.RangeIndex(1, len(cells) + 1, name=ROW), dtype=object)

    def take(self, rows: list[int]) -> gpd.GeoDataFrame:
        """Rows by number."""
        if self._is_read_whole:
            return self._whole.loc[rows]
        fid_by_row = {row: fid for fid, row in self._row_by_fid.items()}
        with gdal(self.path, self.layer), self._open() as collection:
            features = [collection[int(fid_by_row[row])] for row in rows]
        return self._build(rows, features)

    def read(self, bounds: Bounds | None = None) -> gpd.GeoDataFrame:
        """Rows that meet a box, and those of which nobody can say where they are.

        Of a layer that is not read whole the latter are left out.
        """
        if bounds is None or self._is_read_whole:
            return _meeting(self._whole, bounds)
        return self._collect(bounds)

    def _collect(self, bounds: Bounds | None) -> gpd.GeoDataFrame:
        with gdal(self.path, self.layer), self._open() as collection:
            features = list(collection if bounds is None else collection.filter(bbox=bounds))
        rows = (
            range(1, len(features) + 1)
            if bounds is None
            else [self._row_by_fid[feature.id] for feature in features]
        )
        return self._build(rows, features)

    def _build(self, rows, features) -> gpd.GeoDataFrame:
        frame = gpd.GeoDataFrame(
            {
                name: pd.Series([f.properties[name] for f in features], dtype=object)
                for name in self.columns
            },
            geometry=gpd.GeoSeries([_shape(f.geometry) for f in features], crs=self.crs),
        )
        return frame.set_axis(pd.Index(list(rows), name=ROW, dtype=int), axis=0).sort_index()

    def _open(self, **options):
        return open_collection(self.path, self.layer, **options)

    def to_record(self) -> dict[str, object]:
        """Give what a run record says of it."""
        main, *sidecars = find_files(self.path)
        return {
            "name": self.name,
            "file": self.file,
            "layer": self.layer,
            "sha256": hash_file(main),
            "sidecars": {path.name: hash_file(path) for path in sidecars},
            "rows": self.rows,
            "crs": None if self.crs is None else _name_crs(self.crs),
        }


def open_layer(name: str, source: LayerSource) -> FileLayer:
    """Open one layer of a file.

    Parameters
    ----------
    name : str
        The contract's name.
    source : LayerSource
        Its file.

    Raises
    ------
    InputError
        If the file is missing, cannot be read, breaks off, or holds no such layer.
    """
    path = Path(source.file)
    what = name.replace("_", " ")
    check_file(path, f"the {name} layer")
    layer = choose_layer(what, path, source.layer, key=f"layers.{name}.layer")
    with (
        gdal(path, layer),
        open_collection(path, layer) as collection,
    ):
        if collection.schema["geometry"] == "None":
            raise refuse(
                "The layer has no geometry",
                f"Give a layer with the {what} as shapes",
                file=str(path),
                layer=layer,
            )
        wkt = collection.crs_wkt
        try:
            crs = CRS.from_user_input(wkt) if wkt else None
        except CRSError:
            if source.crs is None:
                raise refuse(
                    "The CRS that the file states cannot be understood",
                    'State it by a code such as "EPSG:2249", or save the layer with one that has a code',
                    file=str(path),
                    layer=layer,
                    key=f"layers.{name}.crs",
                ) from None
            crs = None  # the plan says it
        try:
            bounds = tuple(float(value) for value in collection.bounds)
        except fiona.errors.DriverError:  # no rows, or the driver cannot tell
            bounds = None
        try:
            rows = len(collection)
        except TypeError:  # the driver cannot tell without reading
            rows = sum(1 for _ in collection)
        return FileLayer(
            name,
            path,
            layer,
            collection.driver,
            crs,
            rows,
            tuple(collection.schema["properties"]),
            bounds if bounds is not None and np.isfinite(bounds).all() else None,
            str(collection.schema["geometry"]),
        )


def _shape(geometry):
    """Make a shapely geometry; what is no geometry at all becomes an empty one of its type."""
    if geometry is None:
        return None
    try:
        return shape(geometry.__geo_interface__)
    except (ValueError, TypeError, shapely.errors.GEOSException):
        # A ring of fewer than three points, a line of one.
        return shapely.from_wkt(f"{geometry.type.upper().removeprefix('3D ')} EMPTY")


def _meeting(frame: gpd.GeoDataFrame, bounds: Bounds | None) -> gpd.GeoDataFrame:
    if bounds is None or frame.empty:
        return frame
    west, south, east, north = shapely.bounds(np.asarray(frame.geometry.array, dtype=object)).T
    with np.errstate(invalid="ignore"):
        apart = (west > bounds[2]) | (east < bounds[0]) | (south > bounds[3]) | (north < bounds[1])
    has_place = np.isfinite([west, south, east, north]).all(axis=0)
    return frame[~(apart & has_place)]


def _types(geometry: gpd.GeoSeries) -> frozenset[str]:
    return frozenset(kind for kind in geometry.geom_type.unique() if isinstance(kind, str))


def _find_bounds(geometry: gpd.GeoSeries) -> Bounds | None:
    bounds = shapely.bounds(np.asarray(geometry.array, dtype=object)).reshape(-1, 4)
    bounds = bounds[np.isfinite(bounds).all(axis=1)]
    if not len(bounds):
        return None
    return (*bounds[:, :2].min(axis=0).tolist(), *bounds[:, 2:].max(axis=0).tolist())


def _name_crs(crs: CRS) -> str:
    code = crs.to_authority()
    return ":".join(code) if code else crs.name
