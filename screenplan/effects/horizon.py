"""A bound on how high things stand around a point, so that rays above it need not be followed.

The bound is safe, not sharp: a ray that rises faster than it meets nothing, one that does not may
or may not. It is told by sector of direction, as rise over level distance.
"""

from __future__ import annotations

import numpy as np
from numba import njit, prange

#: Sectors of direction, clockwise from north.
SECTORS = 72
#: A thing nearer than this bounds nothing: rays in all directions are followed.
NEAR_M = 0.05
#: Slack of bounds: rounding only.
SLACK = 1e-9
EVERYTHING = 1e30


def sector_of(direction) -> np.ndarray:
    """Give the sector of each direction, (directions,)."""
    turn = np.arctan2(direction[:, 0], direction[:, 1]) % (2.0 * np.pi)
    return np.minimum((turn * SECTORS / (2.0 * np.pi)).astype(np.int64), SECTORS - 1)


def things_above(points, scene) -> np.ndarray:
    """Bound the rise to anything but the ground, as seen from points, (points, `SECTORS`)."""
    obstacles, runs, crowns = scene.obstacles, scene.runs, scene.crowns
    walls = [np.column_stack([part.ends, part.top.max(axis=1)])
             for part in (obstacles.panels, obstacles.veils) if len(part.ends)]  # fmt: skip
    round_things = []
    if len(obstacles.trees.foot):
        foot, size = obstacles.trees.foot, obstacles.trees.size
        round_things.append(np.column_stack([foot[:, :2], size[:, 1], foot[:, 2] + size[:, 0]]))
    if len(runs.x):
        tall = crowns.height.reshape(len(crowns.boxed), -1).max(axis=1)
        top = runs.z + tall[runs.kind]
        round_things.append(np.column_stack([runs.x, runs.y, crowns.widest[runs.kind], top]))
    return _bound(
        np.ascontiguousarray(points, float),
        np.concatenate(walls) if walls else np.zeros((0, 5)),
        np.concatenate(round_things) if round_things else np.zeros((0, 4)),
    )


def ground_rise(ground) -> np.ndarray:
    """Greatest rise of the ground towards each sector, (`SECTORS`,).

    A ray that starts on or above the ground and rises faster never meets it. In a cell the ground
    is bilinear, so its slope along an axis lies between those of the cell's two edges; the corners
    of both ranges bound the rise, and half a sector's turn changes it by at most the slope times
    that angle.
    """
    z = ground.z
    if min(z.shape) < 2:
        return np.full(SECTORS, -EVERYTHING)
    east, north = np.diff(z, axis=1) / ground.frame[2], np.diff(z, axis=0) / ground.frame[3]
    slope = [
        np.column_stack([e.ravel(), n.ravel()])
        for e in (east[:-1], east[1:])
        for n in (north[:, :-1], north[:, 1:])
    ]
    e, n = np.ascontiguousarray(np.concatenate(slope).T)
    more = np.hypot(e, n) * np.pi / SECTORS + SLACK
    turn = (np.arange(SECTORS) + 0.5) * 2.0 * np.pi / SECTORS
    return np.array(
        [(np.sin(direction) * e + np.cos(direction) * n + more).max() for direction in turn]
    )


@njit(parallel=True, cache=True, error_model="numpy")
def _bound(points, walls, round_things):
    out = np.full((len(points), SECTORS), -EVERYTHING)
    for p in prange(len(points)):
        x, y, z = points[p]
        for k in range(len(walls)):
            ax, ay, bx, by = walls[k, 0] - x, walls[k, 1] - y, walls[k, 2] - x, walls[k, 3] - y
            ex, ey = bx - ax, by - ay
            length = ex * ex + ey * ey
            t = min(max(-(ax * ex + ay * ey) / length, 0.0), 1.0) if length > 0.0 else 0.0
            away = np.hypot(ax + t * ex, ay + t * ey)
            one, two = np.arctan2(ax, ay), np.arctan2(bx, by)
            # The wall is seen over the shorter way round from one end to the other.
            turn = (two - one) % (2.0 * np.pi)
            if turn > np.pi:
                one, turn = two, 2.0 * np.pi - turn
            _raise(out[p], away, walls[k, 4] - z, one, turn)
        for k in range(len(round_things)):
            dx, dy = round_things[k, 0] - x, round_things[k, 1] - y
            far, r = np.hypot(dx, dy), round_things[k, 2]
            half = np.arcsin(r / far) if far > r else np.pi
            middle = np.arctan2(dx, dy)
            _raise(out[p], far - r, round_things[k, 3] - z, middle - half, 2.0 * half)
    return out


@njit(cache=True, error_model="numpy")
def _raise(sectors, away, up, start, turn):
    if up <= 0.0:
        return
    if away < NEAR_M:
        sectors[:] = EVERYTHING
        return
    rise = up / away * (1.0 + SLACK) + SLACK
    width = 2.0 * np.pi / SECTORS
    first = int(np.floor(start / width - SLACK))
    last = int(np.floor((start + turn) / width + SLACK))
    for sector in range(first, min(last, first + SECTORS - 1) + 1):
        at = sector % SECTORS
        sectors[at] = max(sectors[at], rise)
