"""The terrain of a county: refused before anything is planned, and the frame that lies at its height."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np

from screenplan.county.columnar import Columnar
from screenplan.county.laying import Laid
from screenplan.county.together import cells_of, frame_of
from screenplan.ground.errors import InputError
from screenplan.ground.frame import LocalFrame
from screenplan.plan import Plan
from screenplan.site.raster import RasterGround, read_terrain
from screenplan.site.reading import settle_terrain
from screenplan.site.sources import LayerSource
from screenplan.site.terrain import TerrainSource


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
        As of `screenplan.county.together.frame_of`.
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
