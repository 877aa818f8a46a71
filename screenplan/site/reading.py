"""From files or frames to a `Site`: opened, placed in the local frame, mended, checked.

The order is the same for every layer: rows near the subject are read, brought into the frame,
mended, and their columns made the contract's. All problems of a layer are said at once.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import geopandas as gpd
from pyproj import CRS

from screenplan.contracts import INPUTS, PARCELS, PLANTING_LINE
from screenplan.ground.datum import DATUM_TOLERANCE_M
from screenplan.ground.errors import InputError, refuse
from screenplan.ground.frame import LocalFrame
from screenplan.site.reader import Named, Reader
from screenplan.site.site import Site
from screenplan.site.sources import LayerSource, open_frame, open_layer
from screenplan.site.systems import find_system, settle_systems
from screenplan.site.terrain import Terrain, TerrainSource

__all__ = ["LayerSource", "Site", "TerrainSource", "read_frames", "read_site"]

#: Storey height, floor to floor; common practice, no source.
STOREY_HEIGHT_M = 2.8


def read_site(
    sources: Mapping[str, LayerSource],
    *,
    subject_id: str | None = None,
    subject_point: tuple[float, float] | None = None,
    subject_point_crs: CRS | str | None = None,
    height_m: float | None = None,
    terrain: TerrainSource | None = None,
    datum_tolerance_m: float = DATUM_TOLERANCE_M,
    reach_m: float = 150.0,
    storey_height_m: float = STOREY_HEIGHT_M,
) -> Site:
    """Read the layers of a site from files.

    Parameters
    ----------
    sources : mapping of str to LayerSource
        By the contract's name (`screenplan.contracts.INPUTS`); ``parcels`` is needed, or a
        ``planting_line``, if no more is known: the layer of parcels is then empty.
    subject_id : str, optional
        ``parcel_id`` of the parcel to plan.
    subject_point : tuple of float, optional
        A point in it instead. With neither, the layer must hold one parcel.
    subject_point_crs : CRS or str, optional
        The point's CRS; ``"parcels"`` is the parcels' own; WGS 84 longitude, latitude by default.
    height_m : float, optional
        Height of the site above the ellipsoid in metres, for the scale of lengths. By default the
        terrain's at the middle of the subject, else lengths are those at sea level.
    terrain : TerrainSource, optional
        The ground; a flat site at 0 m by default.
    datum_tolerance_m : float
        Largest error of a change of datum that is accepted, metres.
    reach_m : float
        What is farther from the subject is left out, metres.
    storey_height_m : float
        Floor to floor, for buildings with storeys and no height, metres.

    Returns
    -------
    Site

    Raises
    ------
    InputError
        With every problem of the layer at fault: its file, layer, rows, and the remedy.
    """
    _check_names(sources)
    layers, problems = {}, []
    stated = {name: source.crs for name, source in sources.items()}
    for name, source in sources.items():
        try:
            layers[name] = open_layer(name, source)
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    layers, notes = settle_systems(layers, stated)
    named = {
        name: Named(dict(source.columns), dict(source.units), dict(source.fixed))
        for name, source in sources.items()
    }
    terrain = _settle_terrain(terrain, layers, stated)
    reader = Reader(layers, named, datum_tolerance_m, reach_m, storey_height_m)
    reader.warnings += notes
    return reader.read(subject_id, subject_point, subject_point_crs, height_m, terrain)


def read_frames(
    layers: Mapping[str, gpd.GeoDataFrame],
    *,
    columns: Mapping[str, Mapping[str, str]] | None = None,
    units: Mapping[str, Mapping[str, str]] | None = None,
    fixed: Mapping[str, Mapping[str, object]] | None = None,
    subject_id: str | None = None,
    subject_point: tuple[float, float] | None = None,
    subject_point_crs: CRS | str | None = None,
    height_m: float | None = None,
    terrain: TerrainSource | Terrain | None = None,
    frame: LocalFrame | None = None,
    datum_tolerance_m: float = DATUM_TOLERANCE_M,
    reach_m: float = 150.0,
    storey_height_m: float = STOREY_HEIGHT_M,
) -> Site:
    """Take the layers of a site from GeoDataFrames, which are not changed.

    Parameters
    ----------
    layers : mapping of str to GeoDataFrame
        By the contract's name, each in its own CRS.
    columns, units, fixed : mapping, optional
        For each layer the mapping of `LayerSource`.
    terrain : TerrainSource or Terrain, optional
        A raster file, or ground that is in the local frame already.
    frame : LocalFrame, optional
        The frame to use, such as that of an earlier run; by default one around the subject.
        Layers that are in it already keep their coordinates to the last digit.

    The other parameters, the result and the errors are those of `read_site`; rows are numbered
    from 1 in the frame's order.
    """
    _check_names(layers)
    opened = {name: open_frame(name, table) for name, table in layers.items()}
    named = {
        name: Named(*(dict((given or {}).get(name, {})) for given in (columns, units, fixed)))
        for name in layers
    }
    terrain = _settle_terrain(terrain, opened, {})
    return Reader(opened, named, datum_tolerance_m, reach_m, storey_height_m, frame).read(
        subject_id, subject_point, subject_point_crs, height_m, terrain
    )


def _settle_terrain(terrain, layers: Mapping[str, object], stated: Mapping[str, str | None]):
    """Find the CRS that the plan states for the terrain."""
    if not isinstance(terrain, TerrainSource) or not isinstance(terrain.crs, str):
        return terrain
    return replace(terrain, crs=find_system(terrain.crs, layers, stated, key="terrain.crs"))


def _check_names(layers: Mapping[str, object]) -> None:
    for name in layers:
        if name not in INPUTS:
            raise refuse(
                f"There is no layer called '{name}'",
                f"Use one of {', '.join(INPUTS)}",
                key=f"layers.{name}",
            )
    if not {PARCELS.name, PLANTING_LINE.name} & set(layers):
        raise refuse(
            "The layer of parcels is missing",
            "Give a file with the parcel to be planned, and its neighbours if you have them",
            key="layers.parcels",
        )
