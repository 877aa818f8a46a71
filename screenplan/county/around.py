"""What lies around some parcels of a county: read from the layers that lie ready, and once for all of them where it can be."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely

from screenplan.county.cells import TILES
from screenplan.county.columnar import Columnar
from screenplan.county.ground import Ground, frame_on, ground_of
from screenplan.county.laying import PLANNED, ROW, Laid
from screenplan.county.together import Together, read_together
from screenplan.ground.datum import Transformation
from screenplan.ground.frame import LocalFrame
from screenplan.plan import Plan
from screenplan.site.terrain import TerrainSource

#: What lies nearer than the reach and this is handed over; what is farther than the reach is left out when it is read.
MARGIN_M = 5.0


@dataclass(frozen=True)
class Task:
    """What every partition of a county needs to know; it is handed to other processes.

    Parameters
    ----------
    plan : Plan
        What holds for every parcel.
    folder : Path
        The folder to which the plan's paths are relative.
    layers : dict of str to Laid
        The layers as they lie ready; ``parcels`` among them.
    terrain : TerrainSource, optional
        The ground: read by window.
    wanted : tuple of str
        Layers that are wanted beside the sides: `COUNTY_LINES`, `COUNTY_PLANTS`.
    """

    plan: Plan
    folder: Path
    layers: Mapping[str, Laid]
    terrain: TerrainSource | None = None
    wanted: tuple[str, ...] = ()

    @cached_property
    def files(self) -> dict[str, Columnar]:
        """The files of the layers, opened once for all cells of a partition."""
        return {name: Columnar(laid.path) for name, laid in self.layers.items()}


@dataclass
class Around:
    """What lies around some parcels.

    Parameters
    ----------
    frame : LocalFrame
        Which they share.
    ground : Ground or None
        Their ground; None where nothing of it is known.
    tables, ways : dict
        By layer the rows, in the CRS of the layer, and the way from that into the frame.
    boxes : dict of int to ndarray, (4,)
        By a parcel's place along the curve, the bounds of what may matter to it, in the frame.
    read : Together, optional
        What was read of all at once.
    """

    frame: LocalFrame
    ground: Ground | None
    tables: dict[str, gpd.GeoDataFrame] = field(default_factory=dict)
    ways: dict[str, Transformation] = field(default_factory=dict)
    boxes: dict[int, np.ndarray] = field(default_factory=dict)
    read: Together | None = None

    @cached_property
    def _trees(self) -> dict[str, shapely.STRtree]:
        """Where the rows of each layer lie in the frame; only what is read by itself asks for it."""
        return {
            name: shapely.STRtree(
                self.frame.project_in(shapely.box(*_bounds(table).T), self.ways[name])
            )
            for name, table in self.tables.items()
        }

    def near(self, place: int) -> dict[str, gpd.GeoDataFrame]:
        """Give the rows that may matter to a parcel, by its place along the curve."""
        box = shapely.box(*self.boxes[place])
        return {
            name: self.tables[name].iloc[np.sort(tree.query(box))]
            for name, tree in self._trees.items()
        }

    def known_under(self, places: Sequence[int]) -> np.ndarray:
        """Tell of which parcels all ground that they need is known, (parcels,)."""
        if self.ground is None or not len(places):
            return np.zeros(len(places), dtype=bool)
        return self.ground.holds(np.array([self.boxes[place] for place in places]))


def look_around(task: Task, tile: np.ndarray, some: gpd.GeoDataFrame) -> Around:
    """Read what lies around some parcels of a cell.

    Raises
    ------
    InputError
        If nobody can say where they lie.
    """
    plan, crs = task.plan, some.crs
    reach = plan.site.reach + MARGIN_M
    frame = frame_on(task.terrain, plan, np.floor(tile / TILES), some)
    ground = Ground.level() if task.terrain is None else ground_of(tile, task.terrain, plan, crs, frame)  # fmt: skip
    around = Around(frame, ground)
    shapes = np.asarray(some.geometry.array, dtype=object)
    placed = frame.project_in(shapes, frame.transformation_from(crs))
    bounds = shapely.bounds(placed).reshape(-1, 4) + reach * np.array([-1, -1, 1, 1])
    around.boxes = dict(zip(some.index, bounds, strict=True))
    box = (*bounds[:, :2].min(axis=0).tolist(), *bounds[:, 2:].max(axis=0).tolist())
    for name, file in task.files.items():
        way = frame.transformation_from(file.laid_crs, tolerance_m=plan.site.datum_tolerance)
        around.tables[name], around.ways[name] = file.near(frame.boxes_out(box, way)), way
    if ground is not None:
        near = {
            name: (task.layers[name].named, bare(table)) for name, table in around.tables.items()
        }
        names = some["parcel_id"].astype(str).to_list()
        around.read = read_together(near, names, plan, frame, ground.terrain)
    return around


def _bounds(table: gpd.GeoDataFrame) -> np.ndarray:
    return shapely.bounds(np.asarray(table.geometry.array, dtype=object)).reshape(-1, 4)


def bare(table: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Give rows without the columns that were added, numbered anew."""
    return table.drop(columns=[ROW, PLANNED], errors="ignore").reset_index(drop=True)
