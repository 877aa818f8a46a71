"""Geometries through a change of coordinates, their straight edges kept straight."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import shapely

#: An edge is cut where its chord would leave the true line by more; half a millimetre, so that
#: the error stays below one.
EDGE_TOLERANCE_M = 0.0005
#: A geometry gets no more vertices than about this; enough for half a millimetre up to 1600 km of edges
#: (the sag of a chord c on the globe is c²/8R). One that goes round the globe would get millions.
MOST_PIECES = 10_000
#: Where an edge is compared with its chord, as shares of its length.
_SHARES = (0.25, 0.5, 0.75)

#: What makes parts into one geometry, empty parts too.
_TOGETHER = {
    "MultiPoint": shapely.multipoints,
    "MultiLineString": shapely.multilinestrings,
    "MultiPolygon": shapely.multipolygons,
    "GeometryCollection": shapely.geometrycollections,
}

XY = Callable[[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]


def reproject(
    geometries: np.ndarray,
    transform: XY,
    *,
    metres_per_unit: float = 1.0,
    metres_per_source_unit: float = 1.0,
    tolerance_m: float = EDGE_TOLERANCE_M,
) -> np.ndarray:
    """Transform geometries, adding vertices on edges that would bend noticeably.

    Parameters
    ----------
    geometries : (n,) array of shapely geometries
        Two-dimensional; None is passed through.
    transform : callable
        Takes arrays x, y and gives arrays x, y.
    metres_per_unit, metres_per_source_unit : float
        Length of a unit of the result, and of the input, in metres, at most: about 111 000 for
        degrees. An edge whose middle leaves its chord by more than its own length is not bent but torn
        by an end of the map, such as the antimeridian; it is not followed.
    tolerance_m : float
        How far a straight edge of the input may lie from that of the output, in metres.

    Returns
    -------
    (n,) array of shapely geometries
        Coordinates that cannot be transformed are infinite.
    """
    geometries = np.asarray(geometries, dtype=object)
    if geometries.size == 0:
        return geometries.copy()
    chains = _Chains.of(geometries)
    moved = _apply(transform, chains.xy)
    longest = _longest_edges(
        chains,
        moved,
        transform,
        tolerance_m / metres_per_unit,
        metres_per_source_unit / metres_per_unit,
    )
    with np.errstate(over="ignore", invalid="ignore"):
        length = shapely.length(geometries)
    longest = np.maximum(longest, length / MOST_PIECES)
    # A length that is no number, or beyond all numbers, is not cut: what has one is refused later.
    cut = np.isfinite(longest) & (length > longest)
    if chains.whole and not cut.any():
        return shapely.set_coordinates(geometries.copy(), moved)
    dense = geometries.copy()
    plain = cut & (shapely.get_num_interior_rings(geometries) == 0) & np.isin(shapely.get_type_id(geometries), (1, 3))  # fmt: skip
    dense[plain] = shapely.segmentize(geometries[plain], longest[plain])
    for place in np.flatnonzero(cut & ~plain):
        dense[place] = _cut(geometries[place], longest[place])
    return _move(dense, transform)


class _Chains(NamedTuple):
    """The lines and rings of geometries.

    Parameters
    ----------
    xy : ndarray, (vertices, 2)
        In the order of the geometries.
    begin : ndarray of int, (edges,)
        The vertex at which each edge begins; it ends at the next.
    owner : ndarray of int, (edges,)
        The geometry of each edge.
    owners : int
        How many geometries there are.
    whole : bool
        Whether these are all vertices of the geometries.
    """

    xy: np.ndarray
    begin: np.ndarray
    owner: np.ndarray
    owners: int
    whole: bool

    @classmethod
    def of(cls, geometries: np.ndarray) -> _Chains:
        parts, owner = shapely.get_parts(geometries, return_index=True)
        # A collection may hold geometries of several parts.
        parts, part = shapely.get_parts(parts, return_index=True)
        owner = owner[part]
        rings, ring_part = shapely.get_rings(parts, return_index=True)
        line_part = np.flatnonzero(np.isin(shapely.get_type_id(parts), (1, 2)))
        chains = np.concatenate([parts[line_part], rings])
        of = np.concatenate([line_part, ring_part])
        order = np.argsort(of, kind="stable")
        xy, chain = shapely.get_coordinates(chains[order], return_index=True)
        begin = np.flatnonzero(chain[1:] == chain[:-1])
        whole = len(xy) == shapely.get_num_coordinates(geometries).sum()
        return cls(xy, begin, owner[of[order]][chain[begin]], len(geometries), bool(whole))


def _longest_edges(
    chains: _Chains, moved: np.ndarray, transform: XY, tolerance: float, unit: float
) -> np.ndarray:
    """For each geometry the longest edge that stays straight enough; infinite if all do.

    ``moved`` are the vertices in the result, ``unit`` is the length of a unit of the input in units of the result.
    """
    longest = np.full(chains.owners, np.inf)
    if not len(chains.begin):
        return longest
    start, end = chains.xy[chains.begin], chains.xy[chains.begin + 1]
    a, b = moved[chains.begin], moved[chains.begin + 1]
    bend = np.zeros(len(chains.begin))
    for share in _SHARES:
        on_edge = _apply(transform, start + share * (end - start))
        with np.errstate(invalid="ignore"):
            gap = np.hypot(*(on_edge - (a + share * (b - a))).T)
        bend = np.fmax(bend, gap)
    length = np.hypot(*(end - start).T)
    with np.errstate(invalid="ignore"):
        torn = bend > np.minimum(unit * length, np.hypot(*(b - a).T))
    bent = np.isfinite(bend) & (bend > tolerance) & ~torn
    # The gap between a smooth curve and its chord grows with the square of the chord.
    np.minimum.at(longest, chains.owner[bent], length[bent] * np.sqrt(tolerance / bend[bent]))
    return longest


def _cut(shape: shapely.Geometry, longest: float) -> shapely.Geometry:
    """Cut edges ring by ring and part by part.

    GEOS ends the process on an empty ring or part (3.14), and gives up on one whose points are all the same.
    """
    if shape.geom_type == "Polygon" and not shape.is_empty:
        outer, *holes = (_cut(ring, longest) for ring in shapely.get_rings(shape))
        return shapely.polygons(outer, holes or None)
    if hasattr(shape, "geoms") and not shape.is_empty:
        return _TOGETHER[shape.geom_type]([_cut(part, longest) for part in shape.geoms])
    return shapely.segmentize(shape, longest) if shape.length > longest else shape


def _apply(transform: XY, xy: np.ndarray) -> np.ndarray:
    return np.column_stack(transform(xy[:, 0], xy[:, 1]))


def _move(geometries: np.ndarray, transform: XY) -> np.ndarray:
    return shapely.transform(geometries, lambda xy: _apply(transform, xy))
