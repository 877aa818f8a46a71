"""The ground round a house, parted by the way to the road: behind the house, to its left and right, and before it."""

from __future__ import annotations

import math

import numpy as np
import shapely

from screenplan.site.compass import bearing_deg
from screenplan.site.ragged import firsts, numbered, turned

#: The parts of the ground round a house, in the order in which they are numbered.
PARTS = ("behind", "left", "right", "before")
BEHIND, LEFT, RIGHT, BEFORE = range(4)
#: What is no farther apart than this is so by rounding, metres.
HAIR_M = 1e-9


def ground_round(
    house: np.ndarray, away: np.ndarray, depth_m: float, part: np.ndarray
) -> np.ndarray:
    """Lay a part of the ground round each house, as seen with the back to the road.

    A nook of the house belongs to the part to which it opens, behind or before; the corners of the frame go with
    these two.

    Parameters
    ----------
    house : ndarray of Polygon or MultiPolygon, (houses,)
    away : ndarray, (houses, 2)
        The direction away from the road, of length 1.
    depth_m : float
        How far the ground reaches from the house's rectangle in this direction, metres.
    part : ndarray of int, (houses,)
        The place of the part in `PARTS`.

    Returns
    -------
    ndarray of Polygon, (houses,)
    """
    if not len(house):
        return np.zeros(0, dtype=object)
    turn_deg = bearing_deg(away[:, 0], away[:, 1])
    start, end, of = _edges_of(house)
    # Away from the road is up; before the house all is worked out turned half round.
    half = np.where(part == BEFORE, -1.0, 1.0)[:, None]
    start, end = (_turned(xy, of, turn_deg) * half[of] for xy in (start, end))
    first = firsts(np.bincount(of, minlength=len(house)))
    (west, south), (east, north) = (
        least.reduceat(start, first).T for least in (np.minimum, np.maximum)
    )
    # What stands on the rectangle's floor hides nothing: a gap in the house is open to both sides.
    roof, whose = _highest(
        np.concatenate([start, np.column_stack([west, south])]),
        np.concatenate([end, np.column_stack([east, south])]),
        np.concatenate([of, np.arange(len(house))]),
    )
    low, high, far = west - depth_m, east + depth_m, north + depth_m
    left, right = np.flatnonzero(part == LEFT), np.flatnonzero(part == RIGHT)
    open_to = np.flatnonzero((part == BEHIND) | (part == BEFORE))
    nook = np.isin(whose, open_to)
    # From corner to corner; of what is open behind there and back, and home along the house, from east to west.
    way = [
        *((x[left], y[left], left) for x, y in ((west, south), (west, north), (low, north), (low, south))),
        *((x[right], y[right], right) for x, y in ((high, south), (high, north), (east, north), (east, south))),
        *((x[open_to], y[open_to], open_to) for x, y in ((low, north), (low, far), (high, far), (high, north), (east, north))),
        (*roof[nook][::-1].T, whose[nook][::-1]),
        (west[open_to], north[open_to], open_to),
    ]  # fmt: skip
    x, y, of = (np.concatenate(some) for some in zip(*way, strict=True))
    order = np.argsort(of, kind="stable")
    xy, of = np.column_stack([x, y])[order], of[order]
    # Points that repeat the one before them go first, and then those between two on a level with them.
    for keep in (_moves, _bends):
        kept = keep(xy, np.bincount(of, minlength=len(house)))
        xy, of = xy[kept], of[kept]
    return shapely.polygons(shapely.linearrings(_turned(xy * half[of], of, -turn_deg), indices=of))


def _moves(xy: np.ndarray, count: np.ndarray) -> np.ndarray:
    """Tell of the points of rings which are others than those before them."""
    return (xy[turned(count, np.full(len(count), -1))] != xy).any(axis=1)


def _bends(xy: np.ndarray, count: np.ndarray) -> np.ndarray:
    """Tell of the points of rings which are not on a level with both beside them."""
    before, after = (xy[turned(count, np.full(len(count), step)), 1] for step in (-1, 1))
    return (before != xy[:, 1]) | (after != xy[:, 1])


def _edges_of(shapes: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Give the edges of polygons: from where, to where, (edges, 2) each, and whose each is, ascending."""
    parts, owner = shapely.get_parts(shapes, return_index=True)
    rings, of_ring = shapely.get_rings(parts, return_index=True)
    xy, ring = shapely.get_coordinates(rings, return_index=True)
    edge = np.flatnonzero(ring[1:] == ring[:-1])
    return xy[edge], xy[edge + 1], owner[of_ring[ring[edge]]]


def _highest(start: np.ndarray, end: np.ndarray, of: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Follow the highest of some edges that do not cross, from west to east.

    Parameters
    ----------
    start, end : ndarray, (edges, 2)
    of : ndarray of int, (edges,)
        The house of each edge. Somewhere from its west to its east there is always one.

    Returns
    -------
    xy : ndarray, (points, 2)
        The corners of the line; a step up or down is two of them above each other.
    of : ndarray of int, (points,)
        The house of each, ascending.
    """
    back = start[:, 0] > end[:, 0]
    left, right = np.where(back[:, None], end, start), np.where(back[:, None], start, end)
    # Knots are the places east at which edges begin or end, house by house. A wall that runs straight up but for
    # rounding lies at one of them: it is a step, and no spike on the ground.
    x, whose = np.concatenate([left[:, 0], right[:, 0]]), np.concatenate([of, of])
    order = np.lexsort((x, whose))
    new = np.ones(len(order), dtype=bool)
    new[1:] = (np.diff(x[order]) > HAIR_M) | (np.diff(whose[order]) > 0)
    knot = np.empty(len(order), dtype=int)
    knot[order] = np.cumsum(new) - 1
    x, whose = x[order][new], whose[order][new]
    begin, stop = knot[: len(of)], knot[len(of) :]
    # Between two knots the same edge is the highest all the way.
    edge, number = numbered(stop - begin)
    at = begin[edge] + number
    low, high = (_height_at(left[edge], right[edge], x[side]) for side in (at, at + 1))
    order = np.lexsort((edge, low + high, at))
    last = order[np.diff(at[order], append=-1) != 0]
    edge, at = edge[last], at[last]
    xy = np.stack([np.column_stack([x[at], low[last]]), np.column_stack([x[at + 1], high[last]])], axis=1)  # fmt: skip
    # Only where another edge takes over is there a corner.
    goes_on = edge[1:] == edge[:-1]
    kept = np.ones((len(at), 2), dtype=bool)
    kept[1:, 0], kept[:-1, 1] = ~goes_on, ~goes_on
    return xy[kept], np.repeat(whose[at], 2)[kept.ravel()]


def _height_at(left: np.ndarray, right: np.ndarray, x: np.ndarray) -> np.ndarray:
    """Give how high edges are at some place between their ends, and just as high as these at them."""
    share = np.maximum((x - left[:, 0]) / (right[:, 0] - left[:, 0]), 0.0)
    height = left[:, 1] + share * (right[:, 1] - left[:, 1])
    return np.where(share >= 1.0, right[:, 1], height)


def _turned(xy: np.ndarray, of: np.ndarray, angle_deg: np.ndarray) -> np.ndarray:
    """Turn the points of each owner round the origin, anticlockwise."""
    turn = [angle * math.pi / 180.0 for angle in angle_deg.tolist()]
    # What a quarter turn leaves by rounding is nothing.
    cos, sin = (
        np.array([0.0 if abs(value) < 2.5e-16 else value for value in map(function, turn)])
        for function in (math.cos, math.sin)
    )
    x, y = xy.T
    return np.column_stack([cos[of] * x - sin[of] * y, sin[of] * x + cos[of] * y])
