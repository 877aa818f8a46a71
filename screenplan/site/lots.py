"""Several lots that are planned each by itself, worked out in one go: their layers in one table each.

Steps have a form ``…_each`` that takes these; a plan of one parcel is the case of one lot. What a lot is told never
hangs on the other lots: not on how many there are, or in which order.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screenplan.site.ownership import is_subject
from screenplan.site.ragged import firsts, numbered

#: Types of which one by itself need not be united.
WHOLE = (shapely.GeometryType.POLYGON, shapely.GeometryType.LINESTRING)


@dataclass(frozen=True, eq=False)
class Many:
    """A layer of several lots: the rows of a lot stand beside each other, in the order of the lots.

    Parameters
    ----------
    layer : GeoDataFrame
        By its contract; rows are counted from 0, and names are those that a lot has by itself.
    lot : ndarray of int, (rows,)
        The number of the lot of each row, ascending.
    lots : int
        How many lots there are; some may have no row.
    """

    layer: gpd.GeoDataFrame
    lot: np.ndarray
    lots: int

    @classmethod
    def one(cls, layer: gpd.GeoDataFrame) -> Many:
        """Take a layer as that of one lot."""
        return cls(layer, np.zeros(len(layer), dtype=int), 1)

    @cached_property
    def shapes(self) -> np.ndarray:
        """The geometry of each row, (rows,)."""
        return self.layer.geometry.to_numpy()

    @cached_property
    def count(self) -> np.ndarray:
        """Rows of each lot, (lots,)."""
        return np.bincount(self.lot, minlength=self.lots)

    @cached_property
    def first(self) -> np.ndarray:
        """Where the rows of each lot begin, (lots,)."""
        return firsts(self.count)

    @cached_property
    def united(self) -> np.ndarray:
        """The geometries of each lot as one, (lots,); an empty one where it has none."""
        return united(self.shapes, self.lot, self.lots)

    def beside(self, lot: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Pair each of some things with the rows of its lot.

        Parameters
        ----------
        lot : ndarray of int, (things,)
            The lot of each thing.

        Returns
        -------
        thing, row : ndarray of int, (pairs,)
            By thing, and the rows in their order.
        """
        thing, number = numbered(self.count[lot])
        return thing, self.first[lot][thing] + number

    def of(self, lot: int) -> gpd.GeoDataFrame:
        """Give the layer of one lot, as it has it by itself."""
        begin = self.first[lot]
        own = self.layer.iloc[begin : begin + self.count[lot]]
        own.index = pd.RangeIndex(len(own))
        return own

    def only(self, rows: np.ndarray) -> Many:
        """Give some of the rows, by a mask or in their order; no lot is left out."""
        rows = np.flatnonzero(rows) if rows.dtype == bool else rows
        layer = self.layer.iloc[rows]
        layer.index = pd.RangeIndex(len(layer))
        return Many(layer, self.lot[rows], self.lots)


def united(shapes: np.ndarray, of: np.ndarray, count: int) -> np.ndarray:
    """Unite the shapes of each owner, such as a lot.

    Parameters
    ----------
    shapes : ndarray of Geometry, (n,)
    of : ndarray of int, (n,)
        The owner of each.
    count : int
        How many owners there are.

    Returns
    -------
    ndarray of Geometry, (count,)
        An empty one where an owner has none.
    """
    whole = np.full(count, shapely.GeometryCollection(), dtype=object)
    plain = np.isin(shapely.get_type_id(shapes), WHOLE)
    alone = plain & (np.bincount(of, minlength=count)[of] == 1)
    several = np.flatnonzero(~alone)
    if len(several):
        order = several[np.argsort(of[several], kind="stable")]
        shapely.geometrycollections(shapes[order], indices=of[order], out=whole)
        some = np.unique(of[order])
        whole[some] = shapely.union_all(whole[some, None], axis=1)
    whole[of[alone]] = shapes[alone]
    return whole


def joined(parts: Sequence[Many]) -> Many:
    """Join layers of the same lots: of each lot the rows of the first part come first.

    Parameters
    ----------
    parts : sequence of Many
        One at least, of one contract.
    """
    if len(parts) == 1:
        return parts[0]
    lot = np.concatenate([part.lot for part in parts])
    order = np.argsort(lot, kind="stable")
    layer = pd.concat([part.layer for part in parts], ignore_index=True).iloc[order]
    layer.index = pd.RangeIndex(len(layer))
    return Many(layer, lot[order], parts[0].lots)


@dataclass(frozen=True, eq=False)
class Lots:
    """The lots, and all that lies around them.

    Parameters
    ----------
    around : mapping of str to GeoDataFrame
        Parcels, and what else was read, by layer: each row once, whichever lots it matters to, in one local frame, metres.
    rows : ndarray of int, (lots,)
        The row of each lot in the layer of parcels.
    reach_m : float
        What lies farther from a lot does not exist for it; of one lot all that was read lies within its reach.
    """

    around: Mapping[str, gpd.GeoDataFrame]
    rows: np.ndarray
    reach_m: float = math.inf

    @classmethod
    def one(cls, layers: Mapping[str, gpd.GeoDataFrame]) -> Lots:
        """Take the parcel that is marked as the subject as the only lot."""
        return cls(layers, np.flatnonzero(is_subject(layers["parcels"])))

    def __len__(self) -> int:
        return len(self.rows)

    @cached_property
    def outlines(self) -> np.ndarray:
        """The ground of each lot, (lots,)."""
        return self.around["parcels"].geometry.to_numpy()[self.rows]

    @cached_property
    def names(self) -> list[str]:
        """The identifier of each lot."""
        names = self.around["parcels"]["parcel_id"].to_numpy(dtype=object)[self.rows]
        return [str(name) for name in names]

    def standing_on(self, layer: str, owner: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Find the rows of a layer that stand on each lot, and lie within the reach.

        Parameters
        ----------
        layer : str
        owner : ndarray of object, (rows,)
            The identifier of the parcel on which each stands, or None.

        Returns
        -------
        lot, row : ndarray of int, (pairs,)
            By lot, and the rows of a lot in the order of the layer.
        """
        lots = pd.DataFrame({"owner": self.names, "lot": np.arange(len(self))})
        rows = pd.DataFrame({"owner": owner, "row": np.arange(len(owner))})
        pairs = lots.merge(rows[pd.notna(owner)], on="owner")
        lot, row = (pairs[name].to_numpy(dtype=int) for name in ("lot", "row"))
        if math.isfinite(self.reach_m):
            shapes = self.around[layer].geometry.to_numpy()
            near = shapely.dwithin(self.outlines[lot], shapes[row], self.reach_m)
            lot, row = lot[near], row[near]
        order = np.lexsort((row, lot))
        return lot[order], row[order]

    def near(self, layer: str, distance_m: float = math.inf) -> tuple[np.ndarray, np.ndarray]:
        """Find the rows of a layer within a distance of each lot, and within the reach.

        Returns
        -------
        lot, row : ndarray of int, (pairs,)
            By lot, and the rows of a lot in the order of the layer. A row without a place is near to nobody.
        """
        shapes = self.around[layer].geometry.to_numpy()
        within = min(distance_m, self.reach_m)
        if math.isinf(within):
            there = np.flatnonzero(~(shapely.is_missing(shapes) | shapely.is_empty(shapes)))
            lots = np.arange(len(self))
            return np.repeat(lots, len(there)), np.tile(there, len(lots))
        lot, row = shapely.STRtree(shapes).query(
            self.outlines, predicate="dwithin", distance=within
        )
        order = np.lexsort((row, lot))
        return lot[order], row[order]
