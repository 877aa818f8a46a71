"""From files or frames to a `Site`: opened, placed in the local frame, mended, checked.

The order is the same for every layer: rows near the subject are read, brought into the frame,
mended, and their columns made the contract's. All problems of a layer are said at once.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pandas as pd
from pyproj import CRS

from screenplan.contracts import INPUTS, PARCELS, PLANTING_LINE
from screenplan.ground.errors import InputError, Problem, refuse
from screenplan.ground.frame import LocalFrame
from screenplan.plan import Options
from screenplan.site.opening import open_layer
from screenplan.site.placing import read_columns
from screenplan.site.reader import Reader
from screenplan.site.repair import Findings
from screenplan.site.site import Site
from screenplan.site.sources import LayerSource
from screenplan.site.systems import find_system, settle_systems
from screenplan.site.terrain import Terrain, TerrainSource

__all__ = ["LayerSource", "Site", "TerrainSource", "read_site"]


def read_site(
    sources: Mapping[str, LayerSource],
    *,
    plan: Options | None = None,
    terrain: TerrainSource | Terrain | None = None,
    frame: LocalFrame | None = None,
    subject_point_crs: CRS | str | None = None,
    warn: bool = True,
) -> Site:
    """Read the layers of a site, from files or from GeoDataFrames, which are not changed.

    Parameters
    ----------
    sources : mapping of str to LayerSource
        By the contract's name (`screenplan.contracts.INPUTS`), each in its own CRS; ``parcels`` is
        needed, or a ``planting_line``, if no more is known: the layer of parcels is then empty.
    plan : Options, optional
        Its sections ``subject`` and ``site``; by default their defaults: the layer of parcels must
        then hold one.
    terrain : TerrainSource or Terrain, optional
        The ground: a raster file, or what is in the local frame already; a flat site at 0 m by default.
    frame : LocalFrame, optional
        The frame to use, such as that of an earlier run; by default one around the subject.
        Layers that are in it already keep their coordinates to the last digit.
    subject_point_crs : CRS or str, optional
        The CRS of the plan's point; ``"parcels"`` is the parcels' own; WGS 84 longitude, latitude
        by default.
    warn : bool, optional
        False leaves out what takes long to find and is only told: which parcels share ground.

    Returns
    -------
    Site

    Raises
    ------
    InputError
        With every problem of the layer at fault: its file, layer, rows (of a GeoDataFrame numbered
        from 1 in its order), and the remedy.
    """
    _check_names(sources)
    layers: dict = {}
    problems: list[Problem] = []
    stated = {name: source.crs for name, source in sources.items()}
    for name, source in sources.items():
        try:
            layers[name] = open_layer(name, source)
        except InputError as error:
            problems += error.problems
    if problems:
        raise InputError(problems)
    layers, notes = settle_systems(layers, stated)
    if isinstance(terrain, TerrainSource):
        terrain = settle_terrain(terrain, layers, stated)
    reader = Reader(layers, sources, plan or Options(), frame, warn=warn)
    reader.warnings += notes
    return reader.read(subject_point_crs, terrain)


def read_own_table(name: str, table: pd.DataFrame) -> pd.DataFrame:
    """Read a table in memory of which no place matters, by its contract; see `read_site`.

    Raises
    ------
    InputError
        With every problem of its rows.
    """
    named, findings = LayerSource(table), Findings(name, None, name)
    done = read_columns(open_layer(name, named), named, findings)
    if findings.problems:
        raise InputError(findings.problems)
    return done


def settle_terrain(
    terrain: TerrainSource, layers: Mapping[str, object], stated: Mapping[str, str | None]
) -> TerrainSource:
    """Find the CRS that the plan states for the terrain; as `screenplan.site.systems.find_system`."""
    if not isinstance(terrain.crs, str):
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
