"""Where rays cross lines in plan."""

from __future__ import annotations

import numpy as np

#: Table of rays by vertices that is worked on at a time.
BLOCK = 2_000_000
#: A vertex is on one side of a ray for certain if it is farther off than this share of the coordinates.
UNSURE_SHARE = 1e-12


def cross_line(origin, target, vertices, start_m: float = 0.0):
    """Cut rays with a line in plan.

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
    a, e = vertices[:-1], np.diff(vertices, axis=0)
    length = np.hypot(e[:, 0], e[:, 1])
    begins = start_m + np.concatenate([[0.0], np.cumsum(length)[:-1]])
    o = origin[:, :2]
    d = target[:, :2] - o
    step = max(BLOCK // len(vertices), 1)
    found = [
        _may_cross(o[first : first + step], d[first : first + step], vertices, first)
        for first in range(0, len(origin), step)
    ]
    nothing = np.zeros(0, np.int64)
    ray, part = (np.concatenate(some) for some in zip((nothing, nothing), *found, strict=True))
    o, d, e = o[ray], d[ray], e[part]
    turn = d[:, 0] * e[:, 1] - d[:, 1] * e[:, 0]
    way = a[part] - o
    with np.errstate(divide="ignore", invalid="ignore"):
        t = (way[:, 0] * e[:, 1] - way[:, 1] * e[:, 0]) / turn
        u = (way[:, 0] * d[:, 1] - way[:, 1] * d[:, 0]) / turn
    last = part == len(a) - 1
    # Half open, so that a shared vertex counts once.
    meet = (t >= 0.0) & (t <= 1.0) & (u >= 0.0) & ((u < 1.0) | (last & (u <= 1.0)))
    ray, part = ray[meet], part[meet]
    return ray, begins[part] + u[meet] * length[part], t[meet]


def _may_cross(o, d, vertices, first: int) -> tuple[np.ndarray, np.ndarray]:
    """Find the rays and edges that may cross: those whose ends are not surely on one side of the ray's line."""
    square = np.column_stack([d[:, 1], -d[:, 0]])
    beside = square @ vertices.T
    beside -= (square * o).sum(axis=1)[:, None]
    size = np.abs(vertices).max(initial=0.0) + np.abs(o).max(initial=0.0)
    unsure = UNSURE_SHARE * size * np.abs(d).max(initial=0.0)
    left, right = beside > unsure, beside < -unsure
    sure = (left[:, 1:] & left[:, :-1]) | (right[:, 1:] & right[:, :-1])
    ray, part = np.nonzero(~sure)
    return ray + first, part
