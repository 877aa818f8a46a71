"""How much of some directions' light reaches points, today and in each year of growth.

Rays run from the points towards the sun, or over the sky, through the same obstacles and crowns
as the views do. Rays that rise above all that stands their way (`horizon`) are not followed, and a
ray ends where it has risen above everything.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numba import njit, prange

from screenplan.effects.horizon import ground_rise, sector_of, things_above
from screenplan.views.kernel import blocked_years
from screenplan.views.timeline import Scene

#: Rays that are held at a time.
PORTION = 300_000
#: Rays are not followed farther than this, metres: what stands there is not in the layers.
FAR_M = 2000.0


@dataclass(frozen=True)
class Lit:
    """Light at points.

    Parameters
    ----------
    free : ndarray, (points, groups)
        With nothing in the way but the plane in which the point lies.
    now : ndarray, (points, groups)
        With what stands already.
    open : ndarray, (points, groups, growths, years)
        With the plants of the rows too, and what is built before them.
    """

    free: np.ndarray
    now: np.ndarray
    open: np.ndarray


def top_of(scene: Scene) -> float:
    """Height above which nothing of a scene stands."""
    obstacles, runs, crowns = scene.obstacles, scene.runs, scene.crowns
    tops = [obstacles.ground.z.max()]
    tops += [part.max() for part in (obstacles.panels.top, obstacles.veils.top) if part.size]
    if len(obstacles.trees.foot):
        tops.append((obstacles.trees.foot[:, 2] + obstacles.trees.size[:, 0]).max())
    if len(runs.x):
        tops.append(runs.z.max() + crowns.height.max())
    return float(max(tops))


@dataclass(frozen=True)
class Source:
    """Where light comes from.

    Parameters
    ----------
    direction : ndarray, (directions, 3)
        Unit vectors to there, above the horizon.
    amount : ndarray, (directions,)
        Hours of sun, or light of the sky.
    group : ndarray of int, (directions,)
        In which sum each counts (its month).
    groups : int
        Number of sums.
    bare : ndarray of bool, (directions,), optional
        Whether what drops its leaves is bare; by default never.
    cosine : bool
        Whether light counts by the cosine of its angle to the plane's normal.
    """

    direction: np.ndarray
    amount: np.ndarray
    group: np.ndarray
    groups: int
    bare: np.ndarray | None = None
    cosine: bool = False


def light_at(points, normals, source: Source, scene: Scene, *, seen=None, ground=None) -> Lit:
    """Sum the light that reaches points.

    Parameters
    ----------
    points, normals : ndarray, (points, 3)
        Places, and the unit vectors out of the planes in which they lie; light from behind a plane
        does not count.
    source : Source
        Where the light comes from.
    scene : Scene
        What stands in the way.
    seen : callable, optional
        Called with (point, direction, light today, light, masks) of each portion of rays.
    ground : ndarray, optional
        The scene's `ground_rise`, where it is known already.

    Notes
    -----
    A crown is opaque, which overrates the shade of a thin one. Of plants that drop their leaves
    the bare crowns let their share of the light through.
    """
    points = np.ascontiguousarray(points, float).reshape(-1, 3)
    normals = np.ascontiguousarray(normals, float).reshape(-1, 3)
    growths, years = scene.crowns.height.shape[1:]
    direction = np.ascontiguousarray(source.direction, float)
    group, groups = np.ascontiguousarray(source.group, np.int64), source.groups
    bare = np.zeros(len(direction), bool) if source.bare is None else np.asarray(source.bare, bool)
    leafless = np.asarray(scene.crowns.leafless, float)
    leafless = leafless if len(leafless) else np.zeros(1)
    free, now = np.zeros((len(points), groups)), np.zeros((len(points), groups))
    opened = np.zeros((len(points), groups, growths, years))
    rise = direction[:, 2] / np.maximum(np.hypot(direction[:, 0], direction[:, 1]), 1e-12)
    ground = ground_rise(scene.obstacles.ground) if ground is None else ground
    grounded = rise < ground[sector_of(direction)]
    top = top_of(scene)
    # Rays that rise faster than the ground anywhere need not be held against it.
    today = scene.before
    for which, obstacles, before in (
        (grounded, scene.obstacles, today),
        (~grounded, _without_ground(scene.obstacles), today and _without_ground(today)),
    ):
        kept = np.flatnonzero(which)
        if not len(kept):
            continue
        ways, least = direction[kept], np.where(grounded[kept], -np.inf, rise[kept])
        told = (source.amount[kept], group[kept], bare[kept])
        at_a_time = max(PORTION // len(kept), 1)
        for first in range(0, len(points), at_a_time):
            some = slice(first, first + at_a_time)
            bound = things_above(points[some], scene)
            facing, follow = _select(normals[some], ways, least, sector_of(ways), bound)
            start = np.concatenate([[0], np.cumsum(np.count_nonzero(follow, axis=1))])
            way, origin, target = _rays(points[some], ways, follow, start, top)
            left, _ = obstacles.light_left(origin, target)
            stands = left if before is None else before.light_left(origin, target)[0]
            masks = blocked_years(origin, target, scene.runs, scene.crowns, left > 0.0)
            _gather(
                follow, start, told[0], facing, source.cosine, stands, left, masks, *told[1:], leafless, years,
                free[some], now[some], opened[some],
            )  # fmt: skip
            if seen is not None:
                point = first + np.repeat(np.arange(len(start) - 1), np.diff(start))
                seen(point, kept[way], stands, left, masks)
    np.cumsum(opened, axis=3, out=opened)
    return Lit(free, now, np.maximum(opened, 0.0))


def _without_ground(obstacles):
    lowest = np.array([[obstacles.ground.z.min() - FAR_M]])
    level = obstacles.ground._replace(z=lowest, frame=np.array([0.0, 0.0, 1.0, 1.0]))
    return replace(obstacles, ground=level)


@njit(parallel=True, cache=True, error_model="numpy")
def _select(normals, direction, rise, sector, bound):
    """Give each direction's cosine to each plane, and whether anything may stand that way."""
    facing = np.empty((len(normals), len(direction)))
    follow = np.empty((len(normals), len(direction)), np.bool_)
    for p in prange(len(normals)):
        for d in range(len(direction)):
            cosine = (
                normals[p, 0] * direction[d, 0]
                + normals[p, 1] * direction[d, 1]
                + normals[p, 2] * direction[d, 2]
            )
            facing[p, d] = cosine
            follow[p, d] = cosine > 0.0 and rise[d] < bound[p, sector[d]]
    return facing, follow


@njit(parallel=True, cache=True, error_model="numpy")
def _rays(points, direction, follow, start, top):
    """Give the rays to follow: their directions, and their ends as far as they meet things."""
    count = start[-1]
    way = np.empty(count, np.int64)
    origin, target = np.empty((count, 3)), np.empty((count, 3))
    for p in prange(len(points)):
        ray = start[p]
        for d in range(len(direction)):
            if not follow[p, d]:
                continue
            # Along the unit vector: up to the height above which nothing stands.
            reach = (top - points[p, 2]) / direction[d, 2]
            reach = min(max(reach, 1.0), FAR_M)
            way[ray] = d
            for axis in range(3):
                origin[ray, axis] = points[p, axis]
                target[ray, axis] = points[p, axis] + reach * direction[d, axis]
            ray += 1
    return way, origin, target


@njit(parallel=True, cache=True, error_model="numpy")
def _gather(
    follow,
    start,
    light,
    facing,
    cosine,
    stands,
    left,
    masks,
    group,
    bare,
    leafless,
    years,
    free,
    now,
    changes,
):
    """Add each direction to its point and group; by year as changes, to be summed up later."""
    layers, growths = masks.shape[1], masks.shape[2]
    for p in prange(len(start) - 1):
        ray = start[p]
        for d in range(len(light)):
            if facing[p, d] <= 0.0:
                continue
            g = group[d]
            w = light[d] * (facing[p, d] if cosine else 1.0)
            free[p, g] += w
            if not follow[p, d]:  # nothing stands so high there
                now[p, g] += w
                for growth in range(growths):
                    changes[p, g, growth, 0] += w
                continue
            now[p, g] += w * stands[ray]
            w *= left[ray]
            for growth in range(growths):
                blocked = np.int64(0)
                if not bare[d]:
                    for layer in range(layers):
                        blocked |= masks[ray, layer, growth]
                    _add(blocked, w, years, changes[p, g, growth])
                    continue
                # Bare: the densest plant in the way decides, as in the views.
                changes[p, g, growth, 0] += w * leafless[0]
                for layer in range(layers):
                    blocked |= masks[ray, layer, growth]
                    more = leafless[layer + 1] if layer + 1 < layers else 1.0
                    _add(blocked, w * (more - leafless[layer]), years, changes[p, g, growth])
            ray += 1


@njit(cache=True, error_model="numpy")
def _add(blocked, w, years, change):
    """Add w in the year in which a ray is open first, and at each later change."""
    if blocked == 0:
        change[0] += w
        return
    was = False
    for year in range(years):
        is_open = (blocked >> year) & 1 == 0
        if is_open != was:
            change[year] += w if is_open else -w
            was = is_open
