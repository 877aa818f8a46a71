"""Where rays cross lines in plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from screenplan.site.ragged import firsts, numbered

#: Table of rays by vertices that is worked on at a time.
BLOCK = 2_000_000
#: A vertex is on one side of a ray for certain if it is farther off than this share of the coordinates.
UNSURE_SHARE = 1e-12


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
    origin, target, lines: PlanLines
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Cut rays with lines in plan.

    Parameters
    ----------
    origin, target : ndarray, (rays, 3)
    lines : PlanLines

    Returns
    -------
    line, ray : ndarray of int
        Which line which ray crosses, once for each crossing: ray by ray, crossings of one ray in the order of the
        lines and along each.
    station, t : ndarray
        Distance along the line, and along the ray from 0 to 1.
    """
    o = origin[:, :2]
    d = target[:, :2] - o
    step = max(BLOCK // max(len(lines.vertices), 1), 1)
    found = [
        _may_cross(o[first : first + step], d[first : first + step], lines, first)
        for first in range(0, len(origin), step)
    ]
    nothing = np.zeros(0, np.int64)
    ray, part = (np.concatenate(some) for some in zip((nothing, nothing), *found, strict=True))
    start = lines.vertices[lines.edge[part]]
    (ex, ey), (dx, dy) = (lines.vertices[lines.edge[part] + 1] - start).T, d[ray].T
    way_x, way_y = (start - o[ray]).T
    turn = dx * ey - dy * ex
    with np.errstate(divide="ignore", invalid="ignore"):
        t = (way_x * ey - way_y * ex) / turn
        u = (way_x * dy - way_y * dx) / turn
    # Half open, so that a shared vertex counts once.
    meet = (t >= 0.0) & (t <= 1.0) & (u >= 0.0) & ((u < 1.0) | (lines.last[part] & (u <= 1.0)))
    ray, part = ray[meet], part[meet]
    return lines.line[part], ray, lines.begin[part] + u[meet] * lines.length[part], t[meet]


def _may_cross(o, d, lines: PlanLines, first: int) -> tuple[np.ndarray, np.ndarray]:
    """Find the rays and edges that may cross: those whose ends are not surely on one side of the ray's line."""
    square = np.column_stack([d[:, 1], -d[:, 0]])
    beside = lines.vertices @ square.T
    beside -= (square * o).sum(axis=1)
    size = np.abs(lines.vertices).max(initial=0.0) + np.abs(o).max(initial=0.0)
    unsure = UNSURE_SHARE * size * np.abs(d).max(initial=0.0)
    # Each end is surely to one hand, 1, to the other, -1, or too near to tell, 0.
    on = (beside > unsure).astype(np.int8)
    on -= beside < -unsure
    part, ray = np.nonzero(on[lines.edge] * on[lines.edge + 1] < 1)
    by_ray = np.argsort(ray, kind="stable")
    return ray[by_ray] + first, part[by_ray]
