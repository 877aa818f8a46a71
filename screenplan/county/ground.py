"""The terrain of a county: refused before anything is planned, the frame that lies at its height, and the ground of a tile.

Lots whose middles lie in one tile stand on one grid of heights. It hangs on the tile, whichever lots are planned, so
that the cut changes no answer.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import geopandas as gpd
import numpy as np
from pyproj import CRS

from screenplan.county.cells import TILES, box_of, cells_of, frame_of
from screenplan.county.columnar import Columnar
from screenplan.county.laying import Laid
from screenplan.ground.errors import InputError
from screenplan.ground.frame import LocalFrame
from screenplan.plan import Plan
from screenplan.site.raster import RasterGround, read_terrain
from screenplan.site.reading import settle_terrain
from screenplan.site.sources import LayerSource
from screenplan.site.terrain import Terrain, TerrainSource

#: Ground that is read around a tile beyond the reach: half a lot of so many metres lies outside its tile.
HALF_LOT_M = 60.0


@dataclass(frozen=True, eq=False)
class Ground:
    """The ground that lots of a tile share.

    Parameters
    ----------
    terrain : Terrain
    known : ndarray of bool, (rows, columns)
        Which of its nodes the raster knows.
    """

    terrain: Terrain
    known: np.ndarray

    @classmethod
    def level(cls) -> Ground:
        """Give level ground, which is known everywhere."""
        return cls(Terrain.flat(), np.ones((2, 2), dtype=bool))

    def holds(self, boxes: np.ndarray) -> np.ndarray:
        """Tell of boxes whether all ground in them is known, (boxes,).

        Parameters
        ----------
        boxes : ndarray, (boxes, 4)
            West, south, east, north in metres of the frame.
        """
        terrain, (rows, columns), unknown = self.terrain, self.known.shape, self._unknown
        at = (boxes - np.tile([terrain.x0, terrain.y0], 2)) / np.tile([terrain.dx, terrain.dy], 2)
        inside = (at[:, :2] >= 0.0).all(axis=1) & (at[:, 2] <= columns - 1) & (at[:, 3] <= rows - 1)
        west, south = (np.clip(np.floor(at[:, k]), 0, top - 1).astype(int) for k, top in ((0, columns), (1, rows)))  # fmt: skip
        east, north = (np.clip(np.ceil(at[:, k]), 0, top - 1).astype(int) + 1 for k, top in ((2, columns), (3, rows)))  # fmt: skip
        held = (
            unknown[north, east]
            - unknown[south, east]
            - unknown[north, west]
            + unknown[south, west]
        )
        return inside & (held == 0)

    @cached_property
    def _unknown(self) -> np.ndarray:
        """How many nodes south and west of each are not known, (rows + 1, columns + 1)."""
        return np.pad(np.cumsum(np.cumsum(~self.known, axis=0), axis=1), ((1, 0), (1, 0)))


def settle_ground(
    terrain: TerrainSource, sources: Mapping[str, LayerSource], laid: Mapping[str, Laid], plan: Plan
) -> TerrainSource:
    """Find the CRS of the terrain, and refuse now what no parcel could be planned on.

    Parameters
    ----------
    terrain : TerrainSource
    sources, laid : mapping
        The layers by name, as they were given and as they lie ready.
    plan : Plan

    Raises
    ------
    InputError
        If it is no raster that can be used where the parcels lie.
    """
    known = {name: Columnar(layer.path) for name, layer in laid.items()}
    terrain = settle_terrain(terrain, known, {name: source.crs for name, source in sources.items()})
    parcels = known["parcels"]
    for first in range(parcels.rows):
        some = parcels.read(first, first + 1)
        (cell,) = cells_of(some)
        if np.isfinite(cell).all():
            frame = frame_of(cell, some, plan.site.height)
            RasterGround(terrain, frame, datum_tolerance_m=plan.site.most_datum).close()
            break
    return terrain


def frame_on(
    terrain: TerrainSource | None, plan: Plan, cell: np.ndarray, parcels: gpd.GeoDataFrame
) -> LocalFrame:
    """Lay the frame of a cell at the height of its middle, if the terrain knows it and the plan says none.

    Raises
    ------
    InputError
        As of `screenplan.county.cells.frame_of`.
    """
    frame, site = frame_of(cell, parcels, plan.site.height), plan.site
    if terrain is None or site.height is not None or frame.is_plane:
        return frame
    try:
        spot, *_ = read_terrain(
            terrain, frame, (-1.0, -1.0, 1.0, 1.0), datum_tolerance_m=site.most_datum
        )
    except InputError:
        return frame  # said where the ground of a parcel is read
    return frame_of(cell, parcels, float(spot.height_at(0.0, 0.0)))


def ground_of(
    tile: np.ndarray, terrain: TerrainSource, plan: Plan, crs: CRS, frame: LocalFrame
) -> Ground | None:
    """Read the ground of a tile, and around it as far as its lots are looked at from; None where nothing is known.

    Parameters
    ----------
    tile : ndarray, (2,)
        As `screenplan.county.cells.cells_of` counts the `TILES` of cells.
    terrain : TerrainSource
    plan : Plan
    crs : CRS
        That of the parcels.
    frame : LocalFrame
        That of its cell.
    """
    around_m = plan.site.reach + HALF_LOT_M
    west, south, east, north = box_of(tile, TILES, crs, frame) + around_m * np.array([-1, -1, 1, 1])
    try:
        with RasterGround(terrain, frame, datum_tolerance_m=plan.site.most_datum) as raster:
            return Ground(*raster.read_what_is_known((west, south, east, north)))
    except InputError:
        return None  # said where the ground of a parcel is read
