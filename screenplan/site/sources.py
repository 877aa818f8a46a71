"""Layers of vector files, under the same face as frames in memory; `screenplan.site.opening` opens them.

Rows are numbered from 1 in the file's own order. A small layer is read whole. Of a large one, such
as all the parcels of a county, only the rows in a box are read, and only these are in the record.
"""

from __future__ import annotations

import hashlib
import math
import warnings
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from screenplan.contracts import INPUTS
from screenplan.contracts.model import ANY
from screenplan.ground.errors import refuse
from screenplan.site.closed import as_area, takes_only_areas
from screenplan.site.columns import to_text
from screenplan.site.composed import cells_of, parts_of
from screenplan.site.database import has_index, list_ids, number_rows
from screenplan.site.features import shape_of
from screenplan.site.files import (
    DataFile,
    find_files,
    hash_file,
)
from screenplan.site.frames import (
    ROW,
    Bounds,
    bounds_of,
    meeting,
    meets,
    name_crs,
    types_of,
)

#: Layers up to this many rows are read whole, so that every row is checked.
WHOLE_ROWS = 5000
#: Drivers that parse the whole file at each opening, so that reading a part saves nothing.
WHOLE_DRIVERS = ("GeoJSON", "GeoJSONSeq", "ESRIJSON", "TopoJSON", "JSONFG", "KML", "GML", "GPX", "CSV", "DXF", "DGN", "OSM")  # fmt: skip
#: Drivers whose ids are places in the file, counted from 0.
PLACE_DRIVERS = ("ESRI Shapefile", "FlatGeobuf")
#: Files larger than this are not hashed at each run if only a part of them is read: to hash so much
#: takes a tenth of the time of reading, to hash a county's parcels several times as long as reading.
LARGE_FILE = 16 * 1024 * 1024
#: Geometry types with arcs, as GDAL names them.
CURVED = ("CIRCULARSTRING", "COMPOUNDCURVE", "CURVEPOLYGON", "MULTICURVE", "MULTISURFACE")
#: Drivers whose files can hold arcs.
CURVED_DRIVERS = ("GPKG", "OpenFileGDB", "GML", "SQLite", "DXF")


@dataclass(frozen=True)
class LayerSource:
    """Where a layer comes from, and how its columns are called there.

    Parameters
    ----------
    file : Path or GeoDataFrame
        The layer itself (a DataFrame for a table, such as ``measured_plants``), or a CSV table, GeoPackage, Shapefile, GeoJSON, FlatGeobuf, GML, KML, GPX, DXF, MapInfo or geodatabase file, an extract of OpenStreetMap,
        zipped ones too, a GeoParquet file or a surveyor's list of points: whatever holds its layers itself. It is opened for reading only.
    layer : str, optional
        Name of the layer in it, of a drawing's own layer, or a code of a list of points; needed if it holds several.
    columns : mapping of str to str
        The contract's column to the file's: ``{"height_m": "HEIGHT"}``; it may be composed, see
        `screenplan.site.composed`.
    units : mapping of str to str
        The contract's column to the unit of the file's values: ``{"height_m": "ft"}``. Without
        an entry they are in the contract's unit.
    fixed : mapping of str to object
        The contract's column to one value for all rows: ``{"position": "overhead"}``.
    missing : mapping of str to object
        The contract's column to a value for the rows that lack one: ``{"storeys": 2}``.
    crs : str, optional
        The CRS of its coordinates, where the file states none or a wrong one: a code, WKT, or
        ``"as parcels"`` for that of another layer.
    """

    file: Path | gpd.GeoDataFrame
    layer: str | None = None
    columns: Mapping[str, str] = field(default_factory=dict)
    units: Mapping[str, str] = field(default_factory=dict)
    fixed: Mapping[str, object] = field(default_factory=dict)
    crs: str | None = None
    missing: Mapping[str, object] = field(default_factory=dict)

    def theirs(self, name: str) -> str:
        """Give the file's column for one of the contract's."""
        return self.columns.get(name, name)


@dataclass(frozen=True)
class FileLayer:
    """One layer of a vector file, opened; see `screenplan.site.opening.open_layer`."""

    name: str
    data: DataFile
    layer: str
    driver: str
    crs: CRS | None
    rows: int
    kinds: Mapping[str, str]
    bounds: Bounds | None
    declared: str
    notes: list[str] = field(default_factory=list)
    _read: dict[int, bytes] = field(default_factory=dict, repr=False)

    @property
    def columns(self) -> tuple[str, ...]:
        """Names of its attributes."""
        return tuple(self.kinds)

    @property
    def types(self) -> frozenset[str]:
        """Types of its geometries, as the file states them or else as its rows are; may be empty."""
        stated = self.declared.split()[-1]  # without '3D' and 'Measured'
        # A layer of a type that is not plain may hold several.
        may_be_closed = stated.endswith("LineString") and self._is_read_whole
        if stated in ANY and not (may_be_closed and takes_only_areas(INPUTS[self.name])):
            return frozenset({stated})
        return types_of(self._whole.geometry) if self._is_read_whole else frozenset()

    @property
    def file(self) -> str:
        """Name for messages."""
        return str(self.data.path)

    @property
    def where(self) -> dict[str, str | None]:
        """Where it stands, for a refusal."""
        return {"file": self.file, "layer": self.layer}

    @property
    def crs_key(self) -> str:
        """Key of a plan that states its CRS."""
        return f"layers.{self.name}.crs"

    @property
    def _is_read_whole(self) -> bool:
        return self.rows <= WHOLE_ROWS or self.driver in WHOLE_DRIVERS

    @cached_property
    def _is_large(self) -> bool:
        size = sum(part.stat().st_size for part in find_files(self.data.path))
        return size > LARGE_FILE and not self._is_read_whole

    @cached_property
    def _whole(self) -> gpd.GeoDataFrame:
        frame = self._collect(None)
        lost = self.rows - len(frame)
        if lost and self.driver == "ESRI Shapefile" and lost == _count_deleted(self.data.inner, self.layer):  # fmt: skip
            self.notes.append(f"{lost} of {self.rows} rows of its file are marked as deleted, and are left out")  # fmt: skip
        elif lost > 0:
            raise refuse(
                f"The file breaks off: {self.rows} rows are announced, {len(frame)} can be read",
                "Fetch or export the file again",
                file=self.file,
                layer=self.layer,
            )
        return frame

    @cached_property
    def _fids(self) -> np.ndarray:
        """Ids of all rows, in the file's order."""
        ids = list_ids(self.data.inner, self.layer) if self.data.is_database else None
        if ids is not None:
            return np.array(ids, dtype=np.int64)
        _, fids, _, _ = self._scan(columns=[])
        return fids

    def _scan(self, **options):
        """Read columns of many rows fast, without geometry."""
        from pyogrio import raw

        asked = {"layer": self.layer, "read_geometry": False, "return_fids": True}
        asked |= {"datetime_as_string": True}
        with self.data.reading(self.layer), warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)  # measured geometries
            return raw.read(self.data.address, **{**asked, **self.data.options, **options})

    def _number(self, fids: Iterable) -> list[int]:
        """Numbers of rows by their ids."""
        fids = [int(fid) for fid in fids]
        if self.driver in PLACE_DRIVERS:
            return [fid + 1 for fid in fids]
        if self.data.is_database:
            numbers = number_rows(self.data.inner, self.layer, self.rows, fids)
            if numbers is not None:
                return numbers
        place = {int(fid): row for row, fid in enumerate(self._fids, start=1)}
        return [place[fid] for fid in fids]

    def curved_among(self, frame: gpd.GeoDataFrame) -> frozenset[int]:
        """Those of some rows whose geometry has arcs, which fiona hands over as short straight edges."""
        bounds = bounds_of(frame.geometry) if self.driver in CURVED_DRIVERS else None
        if bounds is None:
            return frozenset()
        # A row that is no geometry cannot be held against a box, and the reader would give up.
        box = {} if self._is_read_whole else {"bbox": bounds}
        found = self._find_curved(**box)
        return (
            frozenset(self._number(found)) & frozenset(frame.index) if len(found) else frozenset()
        )

    @property
    def has_arcs(self) -> bool:
        """Whether a row's geometry has arcs."""
        return self.driver in CURVED_DRIVERS and len(self._find_curved(max_features=1)) > 0

    def _find_curved(self, **within) -> np.ndarray:
        """Find the ids of rows with arcs, in a box or at most so many."""
        kinds = ", ".join(f"'{kind}'" for kind in CURVED)
        table = self.layer.replace('"', '""')
        _, found, _, _ = self._scan(
            layer=None,
            sql=f'SELECT * FROM "{table}" WHERE OGR_GEOMETRY IN ({kinds})',
            sql_dialect="OGRSQL",
            **within,
        )
        return found

    def values(self, column: str) -> pd.Series:
        """One column of all rows, indexed by row number; it may be composed."""
        if self._is_read_whole:
            return cells_of(self._whole, column)
        parts = parts_of(column, self.columns)
        meta, fids, _, cells = self._scan(columns=list(parts))
        rows = pd.Index(self._number(fids), name=ROW)
        named = dict(zip(meta["fields"], cells, strict=True))
        return cells_of(pd.DataFrame(named, index=rows, dtype=object), column)

    def find(self, column: str, wanted: str) -> gpd.GeoDataFrame:
        """Rows with an identifier, written as `to_text` writes it."""
        if self._is_read_whole:
            return self._whole[(self.values(column).map(to_text) == wanted).to_numpy(bool)]
        if column not in self.kinds:
            cells = self.values(column)
            return self.take(cells.index[(cells.map(to_text) == wanted).to_numpy(bool)].tolist())
        ways = [self._where(column, wanted)]
        if self.data.is_database and has_index(self.data.inner, self.layer, column):
            ways.insert(0, self._where(column, wanted, as_written=True))
        for where in ways:
            _, fids, _, (cells,) = self._scan(columns=[column], where=where)
            if len(fids):
                break
        return self._pick([fid for fid, cell in zip(fids, cells, strict=True) if to_text(cell) == wanted])  # fmt: skip

    def _where(self, column: str, wanted: str, as_written: bool = False) -> str | None:
        """Say in SQL which rows may have an identifier; None where SQL cannot tell."""
        name, kind = '"' + column.replace('"', '""') + '"', self.kinds[column].split(":")[0]
        if kind == "str":
            if as_written:
                return name + " = '" + wanted.replace("'", "''") + "'"
            # Blanks around it do not count, and one that is a number may be written in several ways.
            text = (
                wanted.replace("!", "!!").replace("%", "!%").replace("_", "!_").replace("'", "''")
            )
            return f"{name} LIKE '%{text}%' ESCAPE '!'"
        if kind in ("int", "int32", "int64", "float"):
            try:
                number = float(wanted)
            except ValueError:
                number = math.nan
            if math.isfinite(number) and abs(number) < 2**53:
                return f"{name} = {int(number) if number.is_integer() else number!r}"
        return None

    def take(self, rows: list[int]) -> gpd.GeoDataFrame:
        """Rows by number."""
        if self._is_read_whole:
            return self._whole.loc[rows]
        if self.driver in PLACE_DRIVERS:
            return self._pick([row - 1 for row in rows])
        return self._pick([self._fids[row - 1] for row in rows])

    def _pick(self, fids: Sequence) -> gpd.GeoDataFrame:
        with self.data.reading(self.layer), self._open() as collection:
            features = self.data.pick(collection, fids)
        return self._build(self._number(fids), features)

    def read(self, boxes: Sequence[Bounds] | None = None) -> gpd.GeoDataFrame:
        """Rows that meet one of some boxes, and those of which nobody can say where they are.

        Of a layer that is not read whole the latter are left out.
        """
        if boxes is None or self._is_read_whole:
            return meeting(self._whole, boxes)
        # Without an index each box costs a pass, so that the others than the first must promise something.
        near = [box for box in boxes[1:] if self.bounds is None or meets(self.bounds, box)]
        return self._collect([boxes[0], *near])

    def _collect(self, boxes: Sequence[Bounds] | None) -> gpd.GeoDataFrame:
        with self.data.reading(self.layer), self._open() as collection:
            features = (
                self.data.features(collection, self.layer)
                if boxes is None
                else [feature for box in boxes for feature in collection.filter(bbox=box)]
            )
        if boxes is not None:
            by_id = {int(feature.id): feature for feature in features}
            features = [by_id[number] for number in sorted(by_id)]
        if boxes is None and self.driver not in PLACE_DRIVERS:
            return self._build(range(1, len(features) + 1), features)
        return self._build(self._number([feature.id for feature in features]), features)

    def _build(self, rows, features) -> gpd.GeoDataFrame:
        shapes = [shape_of(feature.geometry) for feature in features]
        if takes_only_areas(INPUTS[self.name]):
            areas = [as_area(shape) for shape in shapes]
            closed = sum(area is not shape for area, shape in zip(areas, shapes, strict=True))
            note = f"{closed} closed lines of it are taken as areas"
            if closed and note not in self.notes:
                self.notes.append(note)
            shapes = areas
        frame = gpd.GeoDataFrame(
            {
                name: pd.Series([f.properties[name] for f in features], dtype=object)
                for name in self.columns
            },
            geometry=gpd.GeoSeries(shapes, crs=self.crs),
        )
        rows = list(rows)
        if self._is_large:
            shapes = shapely.to_wkb(np.asarray(frame.geometry.array, dtype=object))
            for row, shape_, feature in zip(rows, shapes, features, strict=True):
                said = repr(sorted(feature.properties.items())).encode()
                self._read[row] = hashlib.sha256((shape_ or b"") + said).digest()
        return frame.set_axis(pd.Index(rows, name=ROW, dtype=int), axis=0).sort_index()

    def _open(self, **options):
        return self.data.collection(self.layer, **options)

    def to_record(self) -> dict[str, object]:
        """Give what a run record says of it; of a large file, what was read stands for the whole."""
        main, *sidecars = find_files(self.data.path)
        record: dict[str, object] = {
            "name": self.name,
            "file": self.file,
            "layer": self.layer,
            "sha256": None if self._is_large else hash_file(main),
            "sidecars": {
                path.name: None if self._is_large else hash_file(path) for path in sidecars
            },
            "rows": self.rows,
            "crs": None if self.crs is None else name_crs(self.crs),
        }
        if self._is_large:
            read = b"".join(row.to_bytes(8, "big") + self._read[row] for row in sorted(self._read))
            record |= {
                "bytes": main.stat().st_size,
                "rows_read": len(self._read),
                "read_sha256": hashlib.sha256(read).hexdigest(),
            }
        return record


def hash_unless_large(path: Path) -> dict[str, object]:
    """Give a file's SHA-256; of one larger than `LARGE_FILE` its size alone."""
    files = find_files(path)
    size = sum(part.stat().st_size for part in files)
    if size > LARGE_FILE:
        return {"sha256": None, "bytes": size}
    return {"sha256": hash_file(files[0])}


def _count_deleted(path: Path, layer: str) -> int:
    """Count the rows of a shapefile that are marked as deleted.

    The header of its table gives the number of rows at byte 4, the header's length at 8 and a
    row's at 10; a row begins with an asterisk if it is deleted (dBASE III table file).
    """
    folder = path if path.is_dir() else path.parent
    for table in folder.iterdir():
        if table.stem == layer and table.suffix.lower() == ".dbf":
            content = np.frombuffer(table.read_bytes(), dtype=np.uint8)
            rows, start, length = (
                int.from_bytes(content[a:b].tobytes(), "little")
                for a, b in ((4, 8), (8, 10), (10, 12))
            )
            return int((content[start::length][:rows] == ord("*")).sum()) if length else 0
    return 0
