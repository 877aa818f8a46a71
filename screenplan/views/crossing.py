"""Where rays cross lines in plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numba import njit

from screenplan.site.ragged import firsts, numbered
from screenplan.views.compiled import inner

#: Crossings of a ray for which there is room at first.
USUAL = 2
#: A share that is greater than 1 whatever is rounded.
SURELY = 1.0 + 1e-9


@dataclass(frozen=True, eq=False)
class PlanLines:
    """Lines in plan, ready to be crossed.

    Parameters
    ----------
    vertices : ndarray, (vertices, 2)
        Of all lines, one after the other.
    edge : ndarray of int, (edges,)
        The vertex at which each edge begins.
    line : ndarray of int, (edges,)
        The line of each edge.
    length, begin : ndarray, (edges,)
        How long it is, and at which station of its line it begins, metres.
    last : ndarray of bool, (edges,)
        Whether it is the last of its line.
    """

    vertices: np.ndarray
    edge: np.ndarray
    line: np.ndarray
    length: np.ndarray
    begin: np.ndarray
    last: np.ndarray

    @classmethod
    def of(cls, lines: Sequence[np.ndarray], start_m: float = 0.0) -> PlanLines:
        """Make lines ready, each (vertices, 2); the first vertex of each has the station ``start_m``."""
        counts = [max(len(vertices) - 1, 0) for vertices in lines]
        line, number = numbered(counts)
        edge = firsts([len(vertices) for vertices in lines])[line] + number
        vertices = np.concatenate([np.zeros((0, 2)), *lines])
        length = np.hypot(*(vertices[edge + 1] - vertices[edge]).T)
        begin = [
            start_m + np.concatenate([[0.0], np.cumsum(own)[:-1]])
            for own in np.split(length, np.cumsum(counts)[:-1])
            if len(own)
        ]
        last = number == np.array(counts, dtype=int)[line] - 1
        return cls(vertices, edge, line, length, np.concatenate([[], *begin]), last)


def cross_line(origin, target, vertices, start_m: float = 0.0):
    """Cut rays with one line in plan.

    Parameters
    ----------
    origin, target : ndarray, (rays, 3)
    vertices : ndarray, (vertices, 2)
    start_m : float
        Station of the first vertex.

    Returns
    -------
    ray : ndarray of int
        Numbers of the rays that cross, once for each crossing, ascending; crossings of one ray in the
        order of the line.
    station, t : ndarray
        Distance along the line, and along the ray from 0 to 1.

    Examples
    --------
    >>> eye, head = np.array([[2.0, -1.0, 4.0]]), np.array([[2.0, 3.0, 1.2]])
    >>> [part.tolist() for part in cross_line(eye, head, np.array([[0.0, 0.0], [5.0, 0.0]]))]
    [[0], [2.0], [0.25]]
    """
    return cross_each(origin, target, PlanLines.of([vertices], start_m))[1:]


def cross_each(
    origin,
    target,
    lines: PlanLines,
    edges: np.ndarray | None = None,
    light: np.ndarray | None = None,
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Cut rays with lines in plan.

    Parameters
    ----------
    origin, target : ndarray, (rays, 3)
    lines : PlanLines
    edges : ndarray of int, (rays, 2), optional
        The first edge that counts for each ray, and the one after the last; by default all do.
    light : ndarray, (rays,), optional
        Rays of which none is left cross nothing; by default all are lit.

    Returns
    -------
    line, ray : ndarray of int
        Which line which ray crosses, once for each crossing: ray by ray, crossings of one ray in the order of the
        lines and along each.
    station, t : ndarray
        Distance along the line, and along the ray from 0 to 1.
    """
    if edges is None:
        edges = np.tile(np.array([0, len(lines.edge)], np.int64), (len(origin), 1))
    light = np.ones(len(origin)) if light is None else light
    start = lines.vertices[lines.edge]
    sides = np.hstack([start, lines.vertices[lines.edge + 1] - start])
    rays = (np.ascontiguousarray(part, np.float64) for part in (origin, target, light))
    stations = np.ascontiguousarray(np.column_stack([lines.begin, lines.length]), np.float64)
    given = (
        *rays, sides, stations, lines.line, lines.last, np.ascontiguousarray(edges, np.int64),
    )  # fmt: skip
    room = USUAL * len(origin)
    while True:
        found = (np.empty(room, np.int64), np.empty(room, np.int64), np.empty(room), np.empty(room))
        count = _meet(*given, *found)  # type: ignore[call-arg]  # so many as it takes
        if count <= room:
            break
        room = count
    line, ray, station, t = (some[:count] for some in found)
    return line, ray, station, t


@njit(cache=True, error_model="numpy")
def _meet(origin, target, light, sides, stations, lines, last, edges, line, ray, station, along):
    """List where rays meet edges, as far as there is room; tell how many there are."""
    count, begin, before = 0, 0, -1
    for number in range(origin.shape[0]):
        if light[number] <= 0.0:
            continue
        if before >= 0 and _is_above(origin, target, edges, before, number):
            # It meets the same edges at the same places.
            end = count
            for k in range(begin, end):
                if count < len(ray):
                    ray[count], line[count] = number, line[k]
                    station[count], along[count] = station[k], along[k]
                count += 1
            begin, before = end, number
            continue
        begin, before = count, number
        ox, oy = origin[number, 0], origin[number, 1]
        dx, dy = target[number, 0] - ox, target[number, 1] - oy
        for k in range(edges[number, 0], edges[number, 1]):
            way_x, way_y, ex, ey = sides[k, 0] - ox, sides[k, 1] - oy, sides[k, 2], sides[k, 3]
            turn = dx * ey - dy * ex
            # Most meet nowhere near, which is told without a division.
            most = SURELY * abs(turn)
            by_t = way_x * ey - way_y * ex
            if by_t * turn < 0.0 or abs(by_t) > most:
                continue
            by_u = way_x * dy - way_y * dx
            if by_u * turn < 0.0 or abs(by_u) > most:
                continue
            t, u = by_t / turn, by_u / turn
            if not (t >= 0.0 and t <= 1.0):
                continue
            # Half open, so that a shared vertex counts once.
            if not (u >= 0.0 and (u < 1.0 or (last[k] and u <= 1.0))):
                continue
            if count < len(ray):
                ray[count], line[count] = number, lines[k]
                station[count], along[count] = stations[k, 0] + u * stations[k, 1], t
            count += 1
    return count


@inner()
def _is_above(origin, target, edges, one, other):
    """Tell whether two rays are one in plan, and the same edges count for both."""
    return (
        origin[one, 0] == origin[other, 0]
        and origin[one, 1] == origin[other, 1]
        and target[one, 0] == target[other, 0]
        and target[one, 1] == target[other, 1]
        and edges[one, 0] == edges[other, 0]
        and edges[one, 1] == edges[other, 1]
    )
