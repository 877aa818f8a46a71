"""The sample site's rays, with its buildings and terrain in the way on both sides."""

from __future__ import annotations

from itertools import count
from pathlib import Path

import numpy as np

from screenplan.ground.crown_shapes import shape_of
from screenplan.plan import DEFAULTS
from screenplan.planting.stand import stand_of
from screenplan.views import sampling
from screenplan.views.grown import crowns_of, runs_of
from screenplan.views.kernel import follow_years
from screenplan.views.obstacles import HEDGE_SHAPE, TREE_SHAPE
from screenplan.views.sight import lay_sight

from . import tracer
from .clock import Turns, serially, verdict
from .scene import LAST_YEAR, RAYS

PLAN = Path(__file__).parents[2] / "sample_data" / "hillside.toml"
YEARS = LAST_YEAR + 1
#: Denser than a plan's own sample, so that there are as many rays as are asked for.
ACROSS, SPACING_M, MOST_TARGETS = 12, 0.25, 2000
#: Rays that are timed on both sides.
TIMED = 1_000_000
SIDES = 32
UNDERGROUND_M = 5.0


def site_scene():
    """Sight, rows and crowns of the sample plan, and rays of all its views."""
    from screenplan.running.pipeline import run_plan

    layers = run_plan(PLAN)
    site, layers = layers.site, layers.layers
    views = DEFAULTS.views.model_copy(update={"eyes_across": ACROSS, "target_spacing": SPACING_M})
    sampling.MOST_TARGETS = MOST_TARGETS
    sight = lay_sight(layers, views, site.terrain)
    stand = stand_of(layers["plants"], years=LAST_YEAR)
    crowns = crowns_of(stand)
    runs = runs_of(stand, crowns)
    ends = [look.rays() for look in sight.looks()]
    origin, target = (np.concatenate(part) for part in zip(*ends, strict=True))
    step = max(len(origin) // TIMED, 1)
    shapes = [start.species.shape for start in stand.starts]
    return sight, runs, crowns, shapes, origin[::step], target[::step]


def solid_triangles(obstacles) -> np.ndarray:
    """Walls, roofs' edges and terrain as triangles, (triangles, 3, 3)."""
    ends, top = obstacles.panels.ends, obstacles.panels.top
    low = (obstacles.ground.z.min() if obstacles.ground.z.size else 0.0) - UNDERGROUND_M
    a, b = np.column_stack([ends[:, :2], top[:, 0]]), np.column_stack([ends[:, 2:], top[:, 1]])
    p, q = a.copy(), b.copy()
    p[:, 2] = q[:, 2] = low
    parts = [np.stack([p, q, b], 1), np.stack([p, b, a], 1)]
    z, (x0, y0, dx, dy) = obstacles.ground.z, obstacles.ground.frame
    if min(z.shape) > 1:
        x, y = np.meshgrid(x0 + dx * np.arange(z.shape[1]), y0 + dy * np.arange(z.shape[0]))
        grid = np.stack([x, y, z], axis=-1)
        a, b, c, d = (
            part.reshape(-1, 3)
            for part in (grid[:-1, :-1], grid[:-1, 1:], grid[1:, 1:], grid[1:, :-1])
        )
        parts += [np.stack([a, b, c], 1), np.stack([a, c, d], 1)]
    return np.concatenate(parts)


def bench_hillside() -> None:
    """Opaque timeline of the sample site against the ray tracer once a year, all in one scene."""
    sight, runs, crowns, shapes, origin, target = site_scene()
    obstacles = sight.obstacles

    def ours(o, t):
        light, _ = obstacles.light_left(o, t)
        return follow_years(o, t, light, runs, crowns)

    _, (opened, masks, light) = serially(
        lambda o, t: (*ours(o, t), obstacles.light_left(o, t)[0]), origin, target, repeats=1
    )
    del opened
    more = RAYS / len(origin)
    print(
        f"Sample site: {len(origin):,} rays of its views, {len(runs.x)} plants (shapes {sorted(set(shapes))}), "
        f"{len(obstacles.panels.ends)} walls, terrain of {obstacles.ground.z.size:,} cells; scaled to {RAYS:,} rays"
    )
    turns = Turns({"ours": lambda o, t: (*ours(o, t), np.zeros(len(o)))}, [(origin, target)])
    turns.take()
    print(
        f"  timeline with buildings and terrain: {turns.seconds('ours') * more:.1f} s on one core"
    )
    if not tracer.is_there():
        return
    solids = solid_triangles(obstacles)
    still = [solids]
    # A tree that lets light through stops nothing for good, on neither side.
    for k in np.flatnonzero(obstacles.trees.passes == 0.0):
        h, r, c = obstacles.trees.size[k]
        still.append(
            tracer.row_triangles(
                obstacles.trees.foot[k : k + 1], TREE_SHAPE if c else HEDGE_SHAPE, h, r, c, SIDES
            )
        )
    feet = np.column_stack([runs.x, runs.y, runs.z])

    def triangles(growth, year):
        parts = list(still)
        for kind in range(len(shapes)):
            mine = feet[runs.kind == kind]
            size = (
                part[kind, growth, year] for part in (crowns.height, crowns.radius, crowns.clear)
            )
            sides = SIDES // 2 if shape_of(shapes[kind]).widest else SIDES
            parts.append(tracer.row_triangles(mine, shapes[kind], *size, sides))
        return np.concatenate(parts)

    asked_times = count()

    def in_turns():
        # Not after every question: ours takes longer than one.
        if next(asked_times) % 10 == 0:
            turns.take()

    rays = tracer.Rays.between(origin, target)
    built, asked, hits = tracer.yearly(triangles, rays, 3, YEARS, in_turns)
    plain = built + asked * more
    stopped = [
        [
            (
                (light == 0.0)
                | (np.bitwise_or.reduce(masks[:, :, g], axis=1) >> y & 1).astype(bool)
            ).sum()
            for y in range(YEARS)
        ]
        for g in range(3)
    ]
    apart = np.abs(np.array(stopped) - hits).max() / len(origin)
    print(f"  ray tracer once a year: {plain:.0f} s; closed shares differ by {apart:.1e} at most")
    one = turns.seconds("ours") * more
    print(
        f"  with buildings and terrain, one core each, ours ({one:.1f} s) timed in turns with it: "
        f"{verdict(plain / one, 30, 50)}"
    )
