"""All that was read of a site, in its local frame."""

from __future__ import annotations

from dataclasses import dataclass, field

import geopandas as gpd
import pandas as pd
import shapely

from screenplan.ground.frame import LocalFrame
from screenplan.site.terrain import Terrain


@dataclass(frozen=True)
class Site:
    """The layers of a site, checked, in metres of its local frame.

    Parameters
    ----------
    frame : LocalFrame
        Where it lies.
    layers : dict of str to GeoDataFrame
        By the contract's name, with exactly the contract's columns and the geometry; a layer that
        was not given has no key, one that holds nothing near has no rows. What a contract without
        geometry describes is a DataFrame.
    terrain : Terrain
        The ground.
    subject_id : str
        ``parcel_id`` of the parcel that is planned; empty if only the line of the row is known.
    repairs : DataFrame
        ``layer``, ``row`` (from 1 in the file's order; empty for the whole layer) and ``repair``:
        whatever was changed, filled in or left out.
    transformations : list of dict
        For each layer the change of datum and its accuracy.
    warnings : list of str
        What a person should know before trusting the result.
    inputs : list of dict
        ``name``, ``file``, ``layer``, ``sha256``, ``sidecars``, ``rows``, ``rows_near``, ``crs``.
    """

    frame: LocalFrame
    layers: dict[str, gpd.GeoDataFrame]
    terrain: Terrain
    subject_id: str
    repairs: pd.DataFrame
    transformations: list[dict] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)
    inputs: list[dict] = field(default_factory=list)

    def layer(self, name: str) -> gpd.GeoDataFrame | None:
        """Give a layer, or None if it was not given."""
        return self.layers.get(name)

    @property
    def subject(self):
        """Outline of the subject parcel, a shapely polygon; an empty one if it is not known."""
        parcels = self.layers["parcels"]
        return next(iter(parcels.geometry[parcels["is_subject"]]), shapely.Polygon())
