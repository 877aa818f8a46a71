"""Where windows may be in the walls of buildings, whoever they look at."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike

from screenplan.site.ragged import numbered
from screenplan.site.steady import EQUAL_M
from screenplan.site.walls import exposed_stretches_each, walls_of_each

#: A shorter stretch of wall gets no window.
SHORTEST_WALL_M = 2.0
#: Buildings this near to each other may adjoin, metres.
BESIDE_M = 1.0


@dataclass(frozen=True)
class WindowPlaces:
    """Where windows may be in the walls of buildings, whoever they look at.

    Parameters
    ----------
    building : ndarray of int, shape (n,)
        The footprint of each.
    of : ndarray of int, shape (n,)
        Its place among those that were asked for.
    number : ndarray of int, shape (n,)
        Counts all places round the building, from 1: what one of them sees does not change what the
        others are called.
    xy : ndarray, shape (n, 2)
        On the outline, metres.
    facing_deg : ndarray, shape (n,)
    """

    building: np.ndarray
    of: np.ndarray
    number: np.ndarray
    xy: np.ndarray
    facing_deg: np.ndarray

    def __len__(self) -> int:
        return len(self.building)


def window_places(
    footprints: np.ndarray,
    which: np.ndarray,
    spacing_m: float,
    unseen: tuple[ArrayLike, ArrayLike] = ((), ()),
) -> WindowPlaces:
    """Find where windows may be in the walls of buildings.

    Parameters
    ----------
    footprints : ndarray of Polygon or MultiPolygon, shape (buildings,)
        All buildings, those that may adjoin too.
    which : ndarray of int
        Those whose walls get windows; the places come in this order.
    spacing_m : float
        Windows are no farther apart.
    unseen : (array_like of int, array_like of int), optional
        Places in ``which``, and for each a building that does not count as standing beside it.
    """
    own = footprints[which]
    walls = walls_of_each(own)
    length = walls.length_m
    long = np.flatnonzero(length >= SHORTEST_WALL_M - EQUAL_M)
    start, end, facing, of = (
        part[long] for part in (walls.start, walls.end, walls.facing_deg, walls.of)
    )
    others = _union_beside(footprints, which, unseen)
    face, low, high = exposed_stretches_each(start, end, others[of])
    long_enough = high - low >= SHORTEST_WALL_M - EQUAL_M
    face, low, high = face[long_enough], low[long_enough], high[long_enough]
    count = np.maximum(1, np.ceil((high - low - EQUAL_M) / spacing_m)).astype(int)
    stretch, number = numbered(count)
    s = low[stretch] + (number + 0.5) * (high - low)[stretch] / count[stretch]
    face = face[stretch]
    along = (end - start) / length[long][:, None]
    at = shapely.points(start[face] + s[:, None] * along[face])
    # The face passes over small steps of the outline; the window is on the outline.
    nearest = shapely.shortest_line(shapely.boundary(own)[of[face]], at)
    xy = shapely.get_coordinates(nearest).reshape(-1, 2, 2)[:, 0]
    _, round_it = numbered(np.bincount(of[face], minlength=len(own)))
    return WindowPlaces(which[of[face]], of[face], round_it + 1, xy, facing[face])


def _union_beside(
    footprints: np.ndarray, which: np.ndarray, unseen: tuple[ArrayLike, ArrayLike]
) -> np.ndarray:
    """Give in one geometry what stands beside each of some footprints, in the order of the layer."""
    tree = shapely.STRtree(footprints)
    own, other = tree.query(footprints[which], predicate="dwithin", distance=BESIDE_M)
    order = np.lexsort((other, own))
    own, other = own[order], other[order]
    left_out = set(zip(*(np.asarray(part).tolist() for part in unseen), strict=True))
    adjoins = other != which[own]
    if left_out:
        pairs = zip(own.tolist(), other.tolist(), strict=True)
        adjoins &= np.array([pair not in left_out for pair in pairs], dtype=bool)
    own, other = own[adjoins], other[adjoins]
    count = np.bincount(own, minlength=len(which))
    _, number = numbered(count)
    side_by_side = np.full((len(which), count.max(initial=0)), None, dtype=object)
    side_by_side[own, number] = footprints[other]
    found = np.full(len(which), shapely.Polygon(), dtype=object)
    some = np.flatnonzero(count)
    found[some] = shapely.union_all(side_by_side[some], axis=1)
    return found
