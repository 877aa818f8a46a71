"""Which straight looks come near which lines, of very many pairs: plain arithmetic, edge by edge."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import shapely
from numba import njit


def come_near(
    looks: np.ndarray, lines: np.ndarray, first: np.ndarray, count: np.ndarray, within_m: float
) -> np.ndarray:
    """Tell of looks and some lines that follow each other whether they come as near as that.

    Parameters
    ----------
    looks : ndarray, (looks, 2, 2)
        Each from one point to another.
    lines : ndarray of LineString, (lines,)
    first, count : ndarray of int, (looks,)
        The first line that is asked about for each look, and how many are.
    within_m : float

    Returns
    -------
    ndarray of bool, (pairs,)
        By look, and by line.

    Examples
    --------
    >>> looks = np.array([[[0.0, 0.0], [10.0, 0.0]]])
    >>> lines = shapely.from_wkt(["LINESTRING (5 -1, 5 1)", "LINESTRING (0 2, 9 2)", "LINESTRING (11 0, 11 5)"])
    >>> come_near(looks, lines, np.array([0]), np.array([3]), 1.0).tolist()
    [True, False, True]
    """
    ends = looks.reshape(-1, 4)
    corners = shapely.get_coordinates(lines)
    begin = np.concatenate([[0], np.cumsum(shapely.get_num_coordinates(lines))])
    near = np.zeros(int(count.sum()), dtype=np.bool_)
    _come_near(ends, corners, begin, first.astype(np.int64), count.astype(np.int64), within_m, near)
    return near


def is_compiled() -> bool:
    """Tell whether the loops of a county lie ready where numba keeps them: of those that lots with houses need, this is the last."""
    kept = Path(str(_come_near.stats.cache_path))
    return any(kept.glob(f"{Path(__file__).stem}._come_near-*.nbi"))


@njit(cache=True, error_model="numpy")
def _come_near(ends, corners, begin, first, count, within_m, near):
    """Mark the pairs that come near."""
    pair = 0
    for look in range(len(ends)):
        ax, ay, bx, by = ends[look, 0], ends[look, 1], ends[look, 2], ends[look, 3]
        west, east = min(ax, bx) - within_m, max(ax, bx) + within_m
        south, north = min(ay, by) - within_m, max(ay, by) + within_m
        for line in range(first[look], first[look] + count[look]):
            for k in range(begin[line], begin[line + 1] - 1):
                px, py, qx, qy = corners[k, 0], corners[k, 1], corners[k + 1, 0], corners[k + 1, 1]
                # Most are far, which is told sooner.
                if max(px, qx) < west or min(px, qx) > east:
                    continue
                if max(py, qy) < south or min(py, qy) > north:
                    continue
                if _cross(ax, ay, bx, by, px, py, qx, qy) or within_m**2 >= min(
                    min(_away2(ax, ay, px, py, qx, qy), _away2(bx, by, px, py, qx, qy)),
                    min(_away2(px, py, ax, ay, bx, by), _away2(qx, qy, ax, ay, bx, by)),
                ):
                    near[pair] = True
                    break
            pair += 1


@njit(cache=True, error_model="numpy")
def _cross(ax, ay, bx, by, px, py, qx, qy):
    """Tell whether the ends of each of two edges lie on both sides of the other."""
    p = (bx - ax) * (py - ay) - (by - ay) * (px - ax)
    q = (bx - ax) * (qy - ay) - (by - ay) * (qx - ax)
    a = (qx - px) * (ay - py) - (qy - py) * (ax - px)
    b = (qx - px) * (by - py) - (qy - py) * (bx - px)
    return p * q < 0.0 and a * b < 0.0


@njit(cache=True, error_model="numpy")
def _away2(x, y, px, py, qx, qy):
    """Give the square of the distance from a point to an edge."""
    dx, dy = qx - px, qy - py
    length2 = dx * dx + dy * dy
    share = 0.0
    if length2 > 0.0:
        share = min(max(((x - px) * dx + (y - py) * dy) / length2, 0.0), 1.0)
    return (px + share * dx - x) ** 2 + (py + share * dy - y) ** 2
