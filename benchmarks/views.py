"""Timelines of many rays over a row, against a ray tracer."""

from __future__ import annotations

import numpy as np

from benchmarks import tracer
from benchmarks.clock import load, on_cores, serially, verdict
from benchmarks.scene import LAST_YEAR, PLANTS, PORTION, RAYS, row_scene
from screenplan.views.crowns import CONE, ELLIPSOID
from screenplan.views.kernel import blocked_years, follow_years
from screenplan.views.leaves import light_through

YEARS, GROWTHS = LAST_YEAR + 1, 3
#: One portion in so many goes to the ray tracer: a million rays of ten.
TRACED = 10
NAMES = {CONE: "cones", 1: "columns", 2: "paraboloids", ELLIPSOID: "ellipsoids (not nested)"}


def timed(scene, work, rays: int = RAYS) -> float:
    """Processor seconds of one core for all rays; making them is not counted."""
    seconds = count = 0
    for origin, target in scene.portions(rays, every=max(rays // PORTION // 10, 1)):
        light = np.ones(len(origin))
        seconds += serially(work, origin, target, light)[0]
        count += len(origin)
    return seconds * rays / count


def on_the_wall(scene, work, cores: int) -> float:
    """Seconds by the clock on the wall for all rays on so many cores."""
    seconds = count = 0
    for origin, target in scene.portions(RAYS, every=RAYS // PORTION // 10):
        light = np.ones(len(origin))
        seconds += on_cores(cores, lambda o=origin, t=target, w=light: work(o, t, w), 5)[0]
        count += len(origin)
    return seconds * RAYS / count


def opaque(scene):
    """Work of the opaque timeline."""
    return lambda o, t, w: follow_years(o, t, w, scene.rows, scene.table, keep=False)


def translucent(scene):
    """Work of the timeline through leaves."""
    return lambda o, t, w: light_through(o, t, w, scene.rows, scene.table)


def bench_timelines() -> dict[str, float]:
    """Opaque and translucent timelines; returns their seconds on one core."""
    scene = row_scene()
    print(
        f"Timelines: {RAYS:,} rays in portions of {PORTION:,} (ten of them spread over all are timed, "
        f"and scaled), {PLANTS} cones, {YEARS} years, {GROWTHS} growths; {load()}"
    )
    seconds = {}
    for name, make in (("opaque", opaque), ("translucent", translucent)):
        work = make(scene)
        seconds[name] = one = timed(scene, work)
        wall, two = on_the_wall(scene, work, 1), on_the_wall(scene, work, 2)
        print(
            f"  {name}: {one:.2f} s on one core ({RAYS / one / 1e6:.1f} million rays a second), "
            f"{two:.2f} s on two; two give {wall / two:.2f} times one by the clock on the wall "
            f"(aim 1.7; other work on the machine lowers it)"
        )
        seconds[f"{name}, two"] = two
    for shape in (1, 2, ELLIPSOID):
        other = row_scene(shape=shape)
        one, through = timed(other, opaque(other)), timed(other, translucent(other))
        print(f"  {NAMES[shape]}: opaque {one:.2f} s, translucent {through:.2f} s on one core")
    return seconds


def bench_growth_of_cost() -> None:
    """A line ten times as long, and ten times the rays."""
    base = row_scene()
    short = timed(base, opaque(base))
    longer = row_scene(10 * PLANTS)
    long = timed(longer, opaque(longer))
    print(f"Growth of cost: a line ten times as long costs {long / short:.2f} times (limit 1.5)")
    few, many = RAYS // 100, RAYS // 10
    tenth = timed(base, opaque(base), few)
    whole = timed(base, opaque(base), many)
    print(f"  ten times the rays cost {whole / tenth:.2f} times (limit 10.5)")


def bench_tracer(seconds: dict[str, float]) -> None:
    """The ray tracer on a tenth of the same rays, used plainly and cleverly."""
    if not tracer.is_there():
        print("Ray tracer: embreex is not installed, there is nothing to compare with")
        return
    scene = row_scene()
    origin, target = (
        np.concatenate(part) for part in zip(*scene.portions(RAYS, every=TRACED), strict=True)
    )
    masks = blocked_years(origin, target, scene.rows, scene.table)
    some = slice(None, PORTION)
    sides, agreement = tracer.coarsest_mesh(scene, origin[some], target[some], masks[some])
    feet = np.column_stack([scene.x, 0 * scene.x, 0 * scene.x])
    table = scene.table

    def triangles(growth, year):
        size = (part[0, growth, year] for part in (table.height, table.radius, table.clear))
        return tracer.row_triangles(feet, CONE, *size, sides)

    rays = tracer.Rays.between(origin, target)
    built, asked, hits = tracer.yearly(triangles, rays, GROWTHS, YEARS)
    ours = np.array(
        [[(masks[:, 0, g] >> y & 1).sum() for y in range(YEARS)] for g in range(GROWTHS)]
    )
    more = RAYS / len(origin)
    plain = built + asked * more
    print(
        f"Ray tracer (any hit, one core, single precision), {len(origin):,} rays measured and scaled "
        f"to {RAYS:,}; cones of {sides} corners, the coarsest of which {agreement:.2%} of the answers agree; {load()}; "
        f"rays that nothing ever stops are in on both sides ({(masks == 0).all(axis=(1, 2)).mean():.0%})"
    )
    print(
        f"  once a year, scenes rebuilt: {plain:.0f} s ({built:.1f} s of it building, not scaled); "
        f"closed shares differ by {np.abs(hits - ours).max() / len(origin):.2e} at most"
    )
    built, asked, first = tracer.cleverly(triangles, rays, GROWTHS, YEARS)
    clever = built + asked * more
    mine = np.array(
        [[YEARS - _count(mask) for mask in masks[:20_000, 0, g]] for g in range(GROWTHS)]
    )
    same = (first[:, :20_000] == mine).mean()
    print(f"  years bisected, scenes built once: {clever:.0f} s; {same:.2%} of the years agree")
    print("  Ratios on one core each; in brackets ours on two cores, the tracer on its one:")
    for words, baseline, name, floor, aim in (
        ("opaque against once a year", plain, "opaque", 100, 200),
        ("opaque against bisection", clever, "opaque", 60, 100),
        ("translucent against opaque once a year", plain, "translucent", 30, 60),
    ):
        one, two = baseline / seconds[name], baseline / seconds[f"{name}, two"]
        print(f"  {words}: {verdict(one, floor, aim)} [{verdict(two, floor, aim)}]")


def _count(mask) -> int:
    return int(mask).bit_count()
