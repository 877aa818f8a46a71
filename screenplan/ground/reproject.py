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
#: Where an edge is compared with its chord, as shares of its length; in the middle first.
_SHARES = (0.5, 0.25, 0.75)
#: An edge of this length that leaves its chord in the middle by no more than the tolerance over `SURELY` keeps to it:
#: a map on which it would not bends 300 000 times more unevenly than the globe does, 1/R² a metre (arithmetic).
SHORT_M = 200.0
SURELY = 100.0

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
    vertices = _Vertices.of(geometries)
    moved = _apply(transform, vertices.xy)
    longest = np.full(len(geometries), np.inf)
    bent, most = _bent_edges(
        vertices, moved, transform, (tolerance_m / metres_per_unit, metres_per_source_unit / metres_per_unit),
        SHORT_M / metres_per_source_unit,
    )  # fmt: skip
    np.minimum.at(longest, bent, most)
    if not len(bent) and len(moved) == shapely.count_coordinates(geometries):
        return shapely.set_coordinates(geometries.copy(), moved)
    with np.errstate(over="ignore", invalid="ignore"):
        length = shapely.length(geometries)
    longest = np.maximum(longest, length / MOST_PIECES)
    # A length that is no number, or beyond all numbers, is not cut: what has one is refused later.
    cut = np.isfinite(longest) & (length > longest)
    dense = geometries.copy()
    plain = cut & (shapely.get_num_interior_rings(geometries) == 0) & np.isin(shapely.get_type_id(geometries), (1, 3))  # fmt: skip
    dense[plain] = shapely.segmentize(geometries[plain], longest[plain])
    for place in np.flatnonzero(cut & ~plain):
        dense[place] = _cut(geometries[place], longest[place])
    return _move(dense, transform)


class _Vertices(NamedTuple):
    """The vertices of all lines and rings, in the order of the geometries.

    Attributes
    ----------
    xy : ndarray, (vertices, 2)
    owner : ndarray of int, (vertices,)
        The geometry of each.
    joined : ndarray of bool, (vertices - 1,)
        Whether an edge leads from each to the next.
    """

    xy: np.ndarray
    owner: np.ndarray
    joined: np.ndarray

    @classmethod
    def of(cls, geometries: np.ndarray) -> _Vertices:
        """List the vertices of geometries, those of points left out."""
        parts, owner = shapely.get_parts(geometries, return_index=True)
        # A collection may hold geometries of several parts.
        parts, part = shapely.get_parts(parts, return_index=True)
        owner = owner[part]
        rings, ring_part = shapely.get_rings(parts, return_index=True)
        lines = np.flatnonzero(np.isin(shapely.get_type_id(parts), (1, 2)))
        chain_part = np.concatenate([lines, ring_part])
        order = np.argsort(chain_part, kind="stable")
        chains = np.concatenate([parts[lines], rings])[order]
        xy, chain = shapely.get_coordinates(chains, return_index=True)
        return cls(xy, owner[chain_part[order]][chain], chain[1:] == chain[:-1])

    def edges(self, xy: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Give the start and end points of all edges, (edges, 2) each, of the vertices or of what became of them."""
        return xy[:-1][self.joined], xy[1:][self.joined]


def _bent_edges(
    vertices: _Vertices, moved: np.ndarray, transform: XY, limits: tuple[float, float], short: float
) -> tuple[np.ndarray, np.ndarray]:
    """Find the edges that bend too much: their geometries, and how long a piece of each may be.

    ``limits`` are how far an edge may leave its chord, and the length of a unit of the input, both in units of the result;
    ``short`` is a length of the input.
    """
    tolerance, unit = limits
    (start, end), (a, b) = vertices.edges(vertices.xy), vertices.edges(moved)
    length = np.hypot(*(end - start).T)
    bend = np.zeros(len(start))
    # Of a short edge that is straight in the middle nobody need look at the rest.
    left = np.arange(len(start))
    for share in _SHARES:
        on_edge = _apply(transform, start[left] + share * (end - start)[left])
        with np.errstate(invalid="ignore"):
            gap = np.hypot(*(on_edge - (a + share * (b - a))[left]).T)
        bend[left] = np.fmax(bend[left], gap)
        left = left[~((length[left] <= short) & (gap <= tolerance / SURELY))]
    with np.errstate(invalid="ignore"):
        torn = bend > np.minimum(unit * length, np.hypot(*(b - a).T))
    bent = np.isfinite(bend) & (bend > tolerance) & ~torn
    # The gap between a smooth curve and its chord grows with the square of the chord.
    most = length[bent] * np.sqrt(tolerance / bend[bent])
    return vertices.owner[:-1][vertices.joined][bent], most


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
