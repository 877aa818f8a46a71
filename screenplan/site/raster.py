"""A terrain raster, resampled once into the local frame."""

from __future__ import annotations

import hashlib
import logging
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import rasterio
import shapely
from pyproj import CRS
from pyproj.exceptions import CRSError
from rasterio.io import DatasetReader
from rasterio.windows import Window

from screenplan.contracts import HIGHEST_GROUND_M, LOWEST_GROUND_M
from screenplan.ground.errors import InputError, refuse
from screenplan.ground.frame import LocalFrame
from screenplan.ground.said import said
from screenplan.ground.sqlite import is_database
from screenplan.ground.units import SAME_UNIT, metres_per
from screenplan.site.files import (
    NO_NETWORK,
    DataFile,
    check_file,
    open_database,
    read_head,
    say_reason,
)
from screenplan.site.pointers import check_xml
from screenplan.site.terrain import Terrain, TerrainSource, bilinear

logging.getLogger("rasterio").addHandler(logging.NullHandler())

#: Drivers of terrain: each reads its file and side files of the same name, and nothing else.
RASTER_DRIVERS = (
    "GTiff", "AAIGrid", "GRASSASCIIGrid", "HFA", "SRTMHGT", "DTED", "USGSDEM", "EHdr", "ENVI",
    "GSAG", "GSBG", "GS7BG", "SAGA", "XYZ", "netCDF", "HDF5", "JP2OpenJPEG", "PNG", "JPEG",
)  # fmt: skip
#: Drivers of folders.
FOLDER_RASTERS = ("AIG",)
#: The resampled grid never has more nodes; a finer raster is thinned to this.
MOST_NODES = 4_000_000
_VERTICAL_UNITS = {
    "metre": "m", "meter": "m", "metres": "m", "meters": "m", "m": "m",
    "foot": "ft", "feet": "ft", "ft": "ft", "international foot": "ft",
    "us survey foot": "survey_foot", "us_survey_foot": "survey_foot", "ftus": "survey_foot",
    "us-ft": "survey_foot", "foot_us": "survey_foot",
}  # fmt: skip


def read_terrain(
    source: TerrainSource,
    frame: LocalFrame,
    bounds: tuple[float, float, float, float],
    *,
    datum_tolerance_m: float | None = None,
) -> tuple[Terrain, list[str], dict, dict]:
    """Read the ground of a site.

    Parameters
    ----------
    source : TerrainSource
        The raster.
    frame : LocalFrame
        The site's frame.
    bounds : tuple of float
        West, south, east, north in metres of the frame: the ground that must be known.
    datum_tolerance_m : float, optional
        As for the layers.

    Returns
    -------
    terrain : Terrain
        On a grid of the raster's own cell size, in metres.
    warnings : list of str
        What was assumed or extended, and how far heights may be out.
    transformation : dict
        Its change of datum.
    record : dict
        Size, CRS, the cells of the grid with the error of heights that they leave, and the SHA-256 of
        the heights that were read, as doubles.

    Raises
    ------
    InputError
        If it cannot be read, has no CRS, states another unit, or knows only part of the ground.
    """
    with RasterGround(source, frame, datum_tolerance_m=datum_tolerance_m) as ground:
        terrain, notes, record = ground.read(bounds)
        return terrain, notes, ground.transformation.to_record(), record


class RasterGround:
    """A terrain raster that is open, for many sites in one frame; its parameters are those of `read_terrain`.

    What is read of the file is kept by GDAL, so that sites beside each other read it once. Close it, or use it as a
    context.
    """

    def __init__(
        self, source: TerrainSource, frame: LocalFrame, *, datum_tolerance_m: float | None = None
    ):
        self.source, self.frame = source, frame
        self.path = Path(source.file)
        self.notes: list[str] = []
        data = _open_file(self.path)
        with self._named():
            self._raster = DatasetReader(data.address, driver=list(data.drivers), **data.options)
        try:
            with self._named():
                _check_family(self._raster, data)
                self._check(datum_tolerance_m)
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> RasterGround:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let the file go."""
        self._raster.close()

    @contextmanager
    def _named(self) -> Iterator[None]:
        """Name the file in what GDAL says of it."""
        try:
            with warnings.catch_warnings(), rasterio.Env(**NO_NETWORK):
                warnings.simplefilter("ignore", rasterio.errors.NotGeoreferencedWarning)
                yield
        except InputError:
            raise
        except Exception as error:  # GDAL's, rasterio's and Python's errors have no common root
            raise refuse(
                f"The file cannot be read as a raster{say_reason(error)}",
                "Give a complete GeoTIFF, or an Esri ASCII, SRTM, DTED, USGS DEM or Erdas Imagine raster",
                file=str(self.path),
                key="terrain.file",
            ) from None

    def _check(self, datum_tolerance_m: float | None) -> None:
        raster, source, file = self._raster, self.source, str(self.path)
        if not 1 <= source.band <= raster.count:
            raise refuse(
                f"There is no band {source.band}; it has {raster.count}",
                "Name the band that holds the heights",
                file=file,
            )
        self.crs = _read_crs(raster, file) if source.crs is None else CRS(source.crs)
        self.to_metres = _find_unit(raster, self.crs, source, file, self.notes)
        self.transformation = self.frame.transformation_from(
            self.crs, tolerance_m=datum_tolerance_m, file=file, layer="terrain"
        )

    def read(
        self, bounds: tuple[float, float, float, float]
    ) -> tuple[Terrain, list[str], dict[str, Any]]:
        """Read the ground of a site, as `read_terrain` does: the terrain, the warnings and the record."""
        with self._named():
            return self._read(bounds)

    def read_what_is_known(
        self, bounds: tuple[float, float, float, float]
    ) -> tuple[Terrain, np.ndarray]:
        """Read the ground within some bounds, as far as it is known.

        Parameters
        ----------
        bounds : tuple of float
            West, south, east, north in metres of the frame.

        Returns
        -------
        terrain : Terrain
            Where it is not known it goes on at the nearest known height.
        known : ndarray of bool, (rows, columns)
            Which of its nodes are known.

        Raises
        ------
        InputError
            If none of it is known, or heights are none of ground.
        """
        with self._named():
            nodes = self._nodes(bounds, [])
            return nodes.terrain(), nodes.known.reshape(nodes.shape)

    def _nodes(self, bounds, notes: list[str]) -> _Nodes:
        """Sample the raster within some bounds; see `read_terrain` for what is refused."""
        raster, source, file = self._raster, self.source, str(self.path)
        nodes, shape, origin, cell = _lay_nodes(
            raster, self.frame, self.transformation, bounds, notes
        )
        across, along = _find_pixels(raster, self.frame, self.transformation, nodes)
        heights, outside, digest = _sample(raster, source.band, across, along)
        heights = heights * self.to_metres
        known = np.isfinite(heights)
        # Beyond the heights of ground on earth is a marker for "not known".
        wild = known & ((heights < LOWEST_GROUND_M) | (heights > HIGHEST_GROUND_M))
        if wild.any():
            raise refuse(
                f"It holds heights such as {heights[wild][0] / self.to_metres:g}, which no ground has",
                "State its value for 'no data' in the raster, or correct terrain.unit",
                file=file,
            )
        if not known.any():
            raise refuse(
                "The raster knows no ground of the site",
                "Give a raster that covers it, or state the raster's true CRS",
                file=file,
                key="terrain.crs",
                kind="system",
            )
        return _Nodes(nodes, heights, outside, digest, shape, origin, cell)

    def _read(self, bounds):
        raster, source, file, notes = self._raster, self.source, str(self.path), [*self.notes]
        found = self._nodes(bounds, notes)
        nodes, known, cell = found.xy, found.known, found.cell
        if not known.all():
            missing = shapely.bounds(shapely.multipoints(nodes[~known])).round(1).tolist()
            share = 1.0 - known.mean()
            cause = "ends before" if found.outside[~known].all() else "has cells without data in"
            extent = (
                f"x {{{missing[0]:g} to {missing[2]:g} m}}, y {{{missing[1]:g} to {missing[3]:g} m}} "
                "from the middle of the subject"
            )
            if not source.extend:
                raise refuse(
                    f"The raster {cause} the ground that is needed: {share:.0%} is missing, {extent}",
                    "Give a raster that covers it, lower site.reach, or let the ground go on flat "
                    "with extend = true",
                    file=file,
                    key="terrain.extend",
                )
            notes.append(
                f"Terrain: the raster {cause} the site; {share:.0%} of the ground ({extent}) goes on "
                "flat at the nearest known height"
            )
        terrain = found.terrain()
        error = terrain.cell_error_m
        out_by = f"{{{error:.2f} m}}" if error >= 0.005 else "less than {1 cm}"
        notes.append(
            f"Terrain: cells of {{{max(cell):.3g} m}}; between their middles heights may be out by "
            f"{out_by}, as far as the ground's bends tell, and what is smaller than a cell is not "
            "seen"
        )
        record = {
            "rows": int(raster.height), "columns": int(raster.width), "crs": self.crs.name,
            "cell_m": [float(size) for size in cell], "cell_error_m": round(error, 4),
            "read_sha256": found.digest,
        }  # fmt: skip
        return terrain, [said(note) for note in notes], record


class _Nodes(NamedTuple):
    """What was read at the nodes of a grid.

    Parameters
    ----------
    xy : ndarray, (nodes, 2)
        In metres of the frame, row by row from the south-west.
    heights_m : ndarray, (nodes,)
        NaN where it is not known.
    outside : ndarray of bool, (nodes,)
        Whether it lies beyond the raster.
    digest : str or None
        SHA-256 of the heights that were read.
    shape : (int, int)
        Rows and columns.
    origin, cell : (float, float)
        The first node, and the distance of nodes, metres.
    """

    xy: np.ndarray
    heights_m: np.ndarray
    outside: np.ndarray
    digest: str | None
    shape: tuple[int, int]
    origin: tuple[float, float]
    cell: tuple[float, float]

    @property
    def known(self) -> np.ndarray:
        return np.isfinite(self.heights_m)

    def terrain(self) -> Terrain:
        """Lay the ground; where it is not known it goes on at the nearest known height."""
        heights, known = self.heights_m, self.known
        if not known.all():
            heights = heights.copy()
            heights[~known] = _nearest(self.xy, heights, known)
        return Terrain(heights.reshape(self.shape), *self.origin, *self.cell)


def _open_file(path: Path) -> DataFile:
    """Find out how a raster may be opened; its drivers read it and side files of its name alone."""
    check_file(path, "the terrain", key="terrain.file")
    if path.is_dir():
        return DataFile(path, path, FOLDER_RASTERS)
    head = read_head(path)
    if is_database(head):
        return open_database(path, path, head)
    if head.lstrip().startswith(b"<"):
        check_xml(head, str(path))
    return DataFile(path, path, RASTER_DRIVERS)


def _check_family(raster, data: DataFile) -> None:
    """Refuse a raster that is made of files of other names."""
    own, folder = data.inner.name.split(".")[0].lower(), Path(data.address).parent
    if data.inner.is_dir():
        return
    for name in raster.files:
        if Path(name).name.split(".")[0].lower() != own or Path(name).parent != folder:
            raise refuse(
                f"The raster is made of other files, such as {Path(name).name}",
                "Save it as one GeoTIFF",
                file=str(data.path),
                key="terrain.file",
            )


def _read_crs(raster, file: str) -> CRS:
    try:
        if raster.crs:
            return CRS.from_wkt(raster.crs.to_wkt())
        problem = "The raster has no CRS"
    except CRSError:
        problem = "The CRS that the raster states cannot be understood"
    raise refuse(
        problem,
        "State it, or save the raster with its CRS",
        file=file,
        key="terrain.crs",
        kind="system",
    )


def _find_unit(raster, crs: CRS, source: TerrainSource, file: str, notes: list[str]) -> float:
    """Metres per unit of height: as asked, else as stated; a contradiction is refused."""
    stated = raster.units[source.band - 1] or _vertical_unit(crs)
    known = _VERTICAL_UNITS.get(stated.strip().lower()) if stated else None
    if source.unit is not None:
        asked = metres_per(source.unit, key="terrain.unit")
        if known is not None and abs(metres_per(known) - asked) > SAME_UNIT:
            raise refuse(
                f"The raster states heights in '{stated}', the plan says '{source.unit}'",
                f'Write unit = "{known}", or correct what the raster states',
                file=file,
                key="terrain.unit",
            )
        return asked
    if known is not None:
        return metres_per(known)
    if stated:
        raise refuse(
            f"The unit of its heights, '{stated}', is not known",
            'Write the unit, such as unit = "ft"',
            file=file,
            key="terrain.unit",
        )
    if crs.axis_info and crs.is_projected and crs.axis_info[0].unit_conversion_factor != 1.0:
        raise refuse(
            "The raster does not state the unit of its heights, and its map unit is "
            f"{crs.axis_info[0].unit_name}",
            'Write the unit, unit = "ft" or "m"',
            file=file,
            key="terrain.unit",
        )
    notes.append("Terrain: the raster does not state the unit of its heights; metres are taken")
    return 1.0


def _vertical_unit(crs: CRS) -> str | None:
    for axis in crs.axis_info:
        if axis.direction == "up":
            return axis.unit_name
    return None


def _lay_nodes(raster, frame, transformation, bounds, notes):
    """Nodes of the local grid: about the raster's own cell size, spanning the bounds."""
    west, south, east, north = bounds
    middle = np.array([shapely.Point((west + east) / 2.0, (south + north) / 2.0)])
    (there,) = frame.project_out(middle, transformation)
    step_x, step_y = abs(raster.transform.a) or 1.0, abs(raster.transform.e) or 1.0
    neighbours = np.array(
        [there, shapely.Point(there.x + step_x, there.y), shapely.Point(there.x, there.y + step_y)]
    )
    here, east_of, north_of = shapely.get_coordinates(frame.project_in(neighbours, transformation))
    cell = min(np.hypot(*(east_of - here)), np.hypot(*(north_of - here)))
    if not (np.isfinite(cell) and cell > 0.0):
        raise refuse(
            "The raster lies where the site cannot be", "State the raster's true CRS",
            file=raster.name, key="terrain.crs", kind="system")  # fmt: skip
    coarsest = np.sqrt((east - west) * (north - south) / MOST_NODES)
    if cell < coarsest:
        notes.append(f"Terrain: cells of {{{cell:.3g} m}} are thinned to {{{coarsest:.3g} m}}")
        cell = coarsest
    columns = max(int(np.ceil((east - west) / cell)), 1) + 1
    rows = max(int(np.ceil((north - south) / cell)), 1) + 1
    dx, dy = (east - west) / (columns - 1), (north - south) / (rows - 1)
    x, y = np.meshgrid(west + dx * np.arange(columns), south + dy * np.arange(rows))
    nodes = np.column_stack([x.ravel(), y.ravel()])
    return nodes, (rows, columns), (west, south), (dx, dy)


def _find_pixels(raster, frame, transformation, nodes):
    """Fractional column and row of each node, 0 at the centre of the first pixel."""
    moved = np.column_stack(frame.points_out(nodes[:, 0], nodes[:, 1], transformation))
    back = ~raster.transform
    column = back.a * moved[:, 0] + back.b * moved[:, 1] + back.c
    row = back.d * moved[:, 0] + back.e * moved[:, 1] + back.f
    return column - 0.5, row - 0.5


def _sample(raster, band: int, across: np.ndarray, along: np.ndarray):
    """Bilinear heights, NaN where a node lacks one of its four pixels; where that is; a hash of the pixels."""
    # Up to the outer edge of the outermost pixels their own value holds.
    edge = 0.5 + 1e-6
    outside = ~(
        (across >= -edge)
        & (across <= raster.width - 1 + edge)
        & (along >= -edge)
        & (along <= raster.height - 1 + edge)
    )
    heights = np.full(len(across), np.nan)
    if outside.all() or min(raster.width, raster.height) < 2:
        return heights, outside, None
    across = np.clip(across[~outside], 0.0, raster.width - 1.0)
    along = np.clip(along[~outside], 0.0, raster.height - 1.0)
    left = min(int(across.min()), raster.width - 2)
    top = min(int(along.min()), raster.height - 2)
    window = Window(
        left,
        top,
        min(int(across.max()) + 2, raster.width) - left,
        min(int(along.max()) + 2, raster.height) - top,
    )
    pixels = raster.read(band, window=window, masked=True).astype(float).filled(np.nan)
    pixels = pixels * raster.scales[band - 1] + raster.offsets[band - 1]
    heights[~outside] = bilinear(pixels, across - left, along - top)
    return heights, outside, hashlib.sha256(pixels.tobytes()).hexdigest()


def _nearest(nodes: np.ndarray, heights: np.ndarray, known: np.ndarray) -> np.ndarray:
    tree = shapely.STRtree(shapely.points(nodes[known]))
    return heights[known][tree.nearest(shapely.points(nodes[~known]))]
