"""Positions in a private place, on a square grid along its longest edge.

The grid is centred, so that a site that is turned, moved or mirrored gives the same positions.
"""

from __future__ import annotations

import numpy as np
import shapely

from screenplan.site.ragged import first_most, firsts, numbered, turned
from screenplan.site.steady import EQUAL_M, first_clockwise_each

#: A place that is longer by less, which no tape reads, has no further row of positions for it.
READ_M = 1e-3
#: A corner that lies so near to the straight line past it does not part an edge, metres: outlines that were cut or drawn
#: otherwise have such.
STRAIGHT_M = 0.01
#: A place has at least this many positions of its own, however small, if it is a polygon.
FEWEST_POSITIONS = 4


def positions_in(polygon, spacing_m: float, most: int) -> np.ndarray:
    """Positions on a centred square grid over a polygon, (positions, 2); see `positions_in_each`."""
    return positions_in_each(np.array([polygon], object), np.array([spacing_m]), most)[0]


def positions_in_each(
    polygons: np.ndarray, spacing_m: np.ndarray, most: int
) -> tuple[np.ndarray, np.ndarray]:
    """Positions on a centred square grid over each of some polygons.

    Parameters
    ----------
    polygons : ndarray of Polygon or MultiPolygon, (n,)
        The places.
    spacing_m : ndarray, (n,)
        Asked distance between neighbours; widened so that there are at most about ``most``, and
        narrowed so that there are a few.
    most : int
        Bound on the number of each.

    Returns
    -------
    xy : ndarray, (positions, 2)
        Those of one polygon after those of the other.
    count : ndarray of int, (n,)
        How many each has.
    """
    if not len(polygons):
        return np.zeros((0, 2)), np.zeros(0, np.int64)
    area = shapely.area(polygons)
    spacing = np.maximum(spacing_m, np.sqrt(area / most))
    spacing = np.minimum(spacing, np.sqrt(area / FEWEST_POSITIONS))
    along = _longest_edges(polygons)
    axes = np.stack([along, np.column_stack([-along[:, 1], along[:, 0]])], axis=1)
    low, high = _extents(polygons, axes)
    # Cells along and across.
    cells = np.maximum(np.ceil((high - low - READ_M) / spacing[:, None]), 1).astype(np.int64)
    of, number = numbered(cells.prod(axis=1))
    by = np.column_stack([number // cells[of, 1], number % cells[of, 1]])
    at = low[of] + (by + 0.5) / cells[of] * (high - low)[of]
    x, y = (at[:, 0] * axes[of, 0, k] + at[:, 1] * axes[of, 1, k] for k in range(2))
    shapely.prepare(polygons)
    inside = shapely.contains_xy(polygons[of], x, y)
    count = np.bincount(of[inside], minlength=len(polygons))
    # A thin place whose edges take more cells than its area keeps an even choice of them.
    step = np.where(count > 2 * most, -(-count // most), 1)
    whose, number = numbered(count)
    stays = number % step[whose] == 0
    found, whose = np.column_stack([x, y])[inside][stays], whose[stays]
    none = np.flatnonzero(count == 0)
    if len(none):
        points = shapely.get_coordinates(shapely.point_on_surface(polygons[none]))
        order = np.argsort(np.concatenate([whose, none]), kind="stable")
        whose = np.concatenate([whose, none])[order]
        found = np.concatenate([found, points])[order]
    return found, np.bincount(whose, minlength=len(polygons))


def _extents(polygons: np.ndarray, axes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give how far polygons reach along their axes, low and high, (n, 2) each, of axes (n, 2, 2)."""
    xy, of = shapely.get_coordinates(polygons, return_index=True)
    first = firsts(np.bincount(of, minlength=len(polygons)))
    parts = np.split(xy, first[1:])
    # A product for each, so that none hangs in its last digit on how many corners there are in all.
    ways = [
        np.concatenate([xy[:0, 0], *(part @ axis for part, axis in zip(parts, every, strict=True))])
        for every in (axes[:, 0], axes[:, 1])
    ]
    low, high = (
        np.column_stack([some.reduceat(way, first) for way in ways])
        for some in (np.minimum, np.maximum)
    )
    return low, high


def _longest_edges(polygons: np.ndarray) -> np.ndarray:
    """Direction of the longest edge of each outline, as unit vectors, (n, 2); corners on a straight edge do not part it."""
    parts, whose = shapely.get_parts(polygons, return_index=True)
    xy, ring = shapely.get_coordinates(_from_farthest(shapely.get_exterior_ring(parts)), return_index=True)  # fmt: skip
    edge = np.flatnonzero(ring[1:] == ring[:-1])
    edges, of = xy[edge + 1] - xy[edge], whose[ring[edge]]
    lengths, begin = np.hypot(*edges.T), firsts(np.bincount(of, minlength=len(polygons)))
    # Of several that are longest, the first clockwise from north, whichever way it was drawn.
    longest = lengths >= (np.maximum.reduceat(lengths, begin) - EQUAL_M)[of]
    edges, of = edges[longest], of[longest]
    order = np.argsort(np.tile(of, 2), kind="stable")
    both, count = np.vstack([edges, -edges])[order], 2 * np.bincount(of, minlength=len(polygons))
    found = both[firsts(count) + first_clockwise_each(both, np.zeros((len(polygons), 2)), count)]
    return found / np.hypot(*found.T)[:, None]


def _from_farthest(rings: np.ndarray) -> np.ndarray:
    """Begin closed rings at their corner farthest out, and leave out the corners that lie on a straight edge."""
    count = shapely.get_num_coordinates(rings) - 1
    closed, ring = shapely.get_coordinates(rings, return_index=True)
    xy = closed[np.append(ring[1:] == ring[:-1], False)]
    of, _ = numbered(count)
    middle = np.column_stack([np.bincount(of, weights=part) for part in xy.T]) / count[:, None]
    start = first_most(np.hypot(*(xy - middle[of]).T), count)
    # Each begins with its own corner, and ends with it.
    turn = turned(count, start)
    order = np.insert(turn, firsts(count) + count, turn[firsts(count)])
    whose = np.insert(of, firsts(count) + count, np.arange(len(rings)))
    return shapely.simplify(shapely.linestrings(xy[order], indices=whose), STRAIGHT_M)
