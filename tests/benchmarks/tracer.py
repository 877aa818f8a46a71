"""The baseline: a ray tracer on triangulated crowns, used plainly and used cleverly.

Any-hit queries, one call for many rays, on the coarsest mesh of which 99.9 % of the answers agree
with the exact crowns. It runs on one core and in single precision, as its Python binding does.
"""

from __future__ import annotations

import importlib.util
import time
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from screenplan.ground.crown_shapes import TIP, error_share, shape_of
from screenplan.planting.shapes import shape_radius

from .clock import best_of

#: Meshes that are tried, coarse first: corners round a crown, and rings up it.
SIDES = (6, 8, 10, 12, 14, 16, 20, 24, 28, 32, 40, 48, 64, 96, 128)
AGREEMENT = 0.999
#: Every question is asked so often, and its least time counts, as for the kernels.
REPEATS = 3


def is_there() -> bool:
    """Tell whether the ray tracer is installed."""
    return importlib.util.find_spec("embreex") is not None


def crown_triangles(shape, h: float, r: float, c: float, sides: int) -> np.ndarray:
    """Triangles of one crown about the origin, (triangles, 3, 3).

    Corners lie a little outside the surface, so that the mesh has the mean radius of the crown and
    errs to both sides alike.
    """
    known = shape_of(shape)
    rings = 2 if known.even or known.widest is None else max(sides // 2, 4)
    share = np.linspace(0.0, 1.0, rings)
    if known.exponent:  # even steps of the square root of the radius: u = x^(2 / p), s = x^2
        share = 1.0 - (1.0 - share) ** (2.0 / known.exponent)
    elif known.widest:  # close together at both round ends
        share = 0.5 * (1.0 - np.cos(np.pi * share))
    elif rings > 2:  # close together towards the round top
        share = 1.0 - (1.0 - share) ** 2
    z = c + (h - c) * share
    wide = np.pi / sides / np.sin(np.pi / sides)
    rho = wide * _true_radius(known, h, r, c, z)
    angle = 2.0 * np.pi * np.arange(sides) / sides
    points = np.stack(
        [
            np.outer(rho, np.cos(angle)),
            np.outer(rho, np.sin(angle)),
            np.repeat(z[:, None], sides, 1),
        ],
        axis=-1,
    )
    nxt = np.roll(points, -1, axis=1)
    parts = []
    for low in range(rings - 1):
        a, b, p, q = points[low], nxt[low], points[low + 1], nxt[low + 1]
        parts += [np.stack([a, b, q], 1), np.stack([a, q, p], 1)]
    foot = np.broadcast_to([0.0, 0.0, c], (sides, 3))
    top = np.broadcast_to([0.0, 0.0, h], (sides, 3))
    parts += [np.stack([nxt[0], points[0], foot], 1), np.stack([points[-1], nxt[-1], top], 1)]
    triangles = np.concatenate(parts)
    edges = triangles[:, 1:] - triangles[:, :1]
    area = np.linalg.norm(np.cross(edges[:, 0], edges[:, 1]), axis=1)
    return triangles[area > 1e-12]


def _true_radius(shape, h: float, r: float, c: float, z) -> np.ndarray:
    """Radius of a crown; of one with an exponent the power itself, not the lines that stand for it."""
    if shape.exponent:
        return r * ((h - z) / (h - c)) ** shape.exponent
    return shape_radius(shape, h, 2.0 * r, c, z)


def triangulation_error(shape, h: float, r: float, c: float, sides: int) -> float:
    """Greatest distance between a crown's surface and its triangles, in metres."""
    wide = np.pi / sides / np.sin(np.pi / sides)
    round_it = r * max(wide - 1.0, 1.0 - wide * np.cos(np.pi / sides))
    known = shape_of(shape)
    if known.even or known.widest is None:
        return round_it
    step = 1.0 / (max(sides // 2, 4) - 1)
    if known.exponent:
        # As `screenplan.ground.crown_shapes` derives it, for chords of the radius and not of its square:
        # |p (p - 1)| u^(p - 2) v^2 / 8 with the same steps; and the lines are off as well.
        chord = abs(1.0 / known.exponent - 1.0) / 2.0 * step * step
        # A crown that is so much less tall and wide is slimmer by u^p + p (r / D) u^(p - 1) of it.
        p, u = known.exponent, np.linspace(0.01, 1.0, 200)
        slimmer = (u**p + p * r / (h - c) * u ** (p - 1.0)).min()
        return (round_it + r * (chord + error_share(p)) + TIP * (h - c)) / slimmer
    if known.widest:  # the sagitta of a chord of the half ellipse
        return round_it + max(r, 0.5 * (h - c)) * (1.0 - np.cos(0.5 * np.pi * step))
    # A parabola z ~ rho^2 with equal steps of rho: the chord lies (h - c) step^2 / 4 below.
    return round_it + 0.25 * (h - c) * step * step


def build(triangles: np.ndarray):
    """Make the tracer's scene, its tree included."""
    from embreex import rtcore_scene
    from embreex.mesh_construction import TriangleMesh

    scene = rtcore_scene.EmbreeScene()
    TriangleMesh(scene, triangles.astype(np.float32))
    aside = np.zeros((1, 3), np.float32)
    scene.run(aside, aside + 1.0, query="OCCLUDED")
    return scene


def row_triangles(feet, shape, h, r, c, sides) -> np.ndarray:
    """Triangles of equal crowns on many feet, (triangles, 3, 3)."""
    one = crown_triangles(shape, h, r, c, sides)
    return (one[None] + np.asarray(feet, float)[:, None, None, :]).reshape(-1, 3, 3)


@dataclass(frozen=True)
class Rays:
    """Rays as the tracer takes them."""

    origin: np.ndarray
    way: np.ndarray
    length: np.ndarray

    @classmethod
    def between(cls, origin, target) -> Rays:
        """Rays that end at their targets."""
        way = target - origin
        length = np.linalg.norm(way, axis=1)
        return cls(
            origin.astype(np.float32),
            (way / length[:, None]).astype(np.float32),
            length.astype(np.float32),
        )

    def some(self, which) -> Rays:
        """Some of them."""
        return Rays(self.origin[which], self.way[which], self.length[which])

    def hit(self, scene) -> np.ndarray:
        """Tell which are stopped."""
        return scene.run(self.origin, self.way, dists=self.length, query="OCCLUDED") != -1


def coarsest_mesh(scene, origin, target, masks, growth: int = 1) -> tuple[int, float]:
    """Corners of the coarsest mesh that agrees, and its agreement, over years 5, 15 and 30."""
    rays = Rays.between(origin, target)
    feet = np.column_stack([scene.x, 0 * scene.x, 0 * scene.x])
    for sides in SIDES:
        same = []
        for year in (5, 15, 30):
            size = (
                part[0, growth, year]
                for part in (scene.crowns.height, scene.crowns.radius, scene.crowns.clear)
            )
            hit = rays.hit(build(row_triangles(feet, scene.shape, *size, sides)))
            same.append((hit == (masks[:, 0, growth] >> year & 1).astype(bool)).mean())
        if min(same) >= AGREEMENT:
            return sides, min(same)
    raise RuntimeError("no mesh agrees")


def yearly(make_triangles, rays: Rays, growths: int, years: int, between=lambda: None):
    """Every growth and year with its scene rebuilt: seconds of building, seconds of asking, hits.

    ``between`` is called after each question, so that other work can be timed in turns with it.
    """
    built = asked = 0.0
    hits = np.zeros((growths, years), np.int64)
    for growth in range(growths):
        for year in range(years):
            start = time.process_time()
            scene = build(make_triangles(growth, year))
            built += time.process_time() - start
            least = float("inf")
            for _ in range(REPEATS):
                seconds, hit = best_of(lambda s=scene: rays.hit(s), 1, time.process_time)
                least = min(least, seconds)
                between()
            asked, hits[growth, year] = asked + least, np.count_nonzero(hit)
    return built, asked, hits


def cleverly(make_triangles, rays: Rays, growths: int, years: int, between=lambda: None):
    """Scenes built once and the first year of each ray bisected, for crowns that only grow."""
    built = asked = 0.0
    firsts = []
    for growth in range(growths):
        start = time.process_time()
        scenes = [build(make_triangles(growth, year)) for year in range(years)]
        built += time.process_time() - start
        least = float("inf")
        for _ in range(REPEATS):
            seconds, first = best_of(lambda s=scenes: _bisect(s, rays, years), 1, time.process_time)
            least = min(least, seconds)
            between()
        asked += least
        firsts.append(first)
    return built, asked, np.array(firsts)


def _bisect(scenes, rays: Rays, years: int) -> np.ndarray:
    """Find the first year in which each ray is stopped; ``years`` for none."""
    low = np.zeros(len(rays.length), np.int64)
    high = np.full(len(rays.length), years - 1)
    low[~rays.hit(scenes[-1])] = years
    high[low == years] = years
    while True:
        live = np.flatnonzero(low < high)
        if not len(live):
            return low
        year = (low[live] + high[live]) // 2
        order = np.argsort(year, kind="stable")
        live, year = live[order], year[order]
        cuts = np.flatnonzero(np.diff(year, prepend=-1, append=years))
        for begin, end in pairwise(cuts):
            these = live[begin:end]
            hit = rays.some(these).hit(scenes[year[begin]])
            high[these[hit]] = year[begin]
            low[these[~hit]] = year[begin] + 1
