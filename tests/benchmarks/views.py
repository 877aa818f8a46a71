"""Timelines of many rays over a row, against a ray tracer."""

from __future__ import annotations

import numpy as np

from screenplan.ground.crown_shapes import power_shape
from screenplan.views.kernel import blocked_years, follow_years
from screenplan.views.leaves import light_through

from . import tracer
from .clock import Turns, load, serially, two_cores, verdict
from .limit import arithmetic
from .scene import EXPONENT, LAST_YEAR, PLANTS, PORTION, RAYS, STEM_SHARE, row_scene

YEARS, GROWTHS = LAST_YEAR + 1, 3
#: One portion in so many goes to the ray tracer: a million rays of ten.
TRACED = 10
#: Portions in a row that are given to one core and to two.
TIMES = 10
#: Times that each portion is timed for the growth of cost.
GROWTH_TURNS = 12
OTHERS = {
    "columns": "column",
    "paraboloids": "paraboloid",
    "ellipsoids (not nested)": "ellipsoid",
    f"crowns of the exponent {EXPONENT}": power_shape(EXPONENT),
}
#: What the ray tracer is compared with: crowns, clear stem, and floors and aims for once a year, bisected
#: and through leaves; None for what is not asked. Crowns whose stems clear are not nested, so that their
#: years cannot be bisected.
TRACER_CASES = (
    ("cones", "cone", 0.0, (100, 200), (60, 100), (30, 60)),
    (f"crowns of the exponent {EXPONENT}", power_shape(EXPONENT), 0.0, (100, 250), None, (12, 30)),
    (
        f"crowns of the exponent {EXPONENT} on stems that clear",
        power_shape(EXPONENT), STEM_SHARE, (20, 100), None, None,
    ),
)  # fmt: skip


def timed(scene, work, rays: int = RAYS) -> float:
    """Processor seconds of one core for all rays; making them is not counted."""
    seconds = count = 0
    for origin, target in scene.portions(rays, every=max(rays // PORTION // 10, 1)):
        light = np.ones(len(origin))
        seconds += serially(work, origin, target, light)[0]
        count += len(origin)
    return seconds * rays / count


def opaque(scene):
    """Work of the opaque timeline."""
    return lambda o, t, w: follow_years(o, t, w, scene.runs, scene.crowns, keep=False)


def translucent(scene):
    """Work of the timeline through leaves."""
    return lambda o, t, w: light_through(o, t, w, scene.runs, scene.crowns)


def bench_timelines() -> dict[str, float]:
    """Opaque and translucent timelines; returns their seconds on one core."""
    scene = row_scene()
    print(
        f"Timelines: {RAYS:,} rays in portions of {PORTION:,} (ten of them spread over all are timed, "
        f"and scaled), {PLANTS} cones, {YEARS} years, {GROWTHS} growths; {load()}"
    )
    seconds = {}
    origin, target = next(scene.portions(RAYS))
    light = np.ones(len(origin))
    for name, make in (("opaque", opaque), ("translucent", translucent)):
        work = make(scene)
        seconds[name] = one = timed(scene, work)
        two = _two_cores(lambda w=work: [w(origin, target, light) for _ in range(TIMES)])
        print(
            f"  {name}: {one:.2f} s on one core ({RAYS / one / 1e6:.1f} million rays a second); {two}"
        )
    print(f"  multiply-adds alone, on this machine: {_two_cores(arithmetic())}")
    for name, shape in OTHERS.items():
        other = row_scene(shape=shape)
        one, through = timed(other, opaque(other)), timed(other, translucent(other))
        print(f"  {name}: opaque {one:.2f} s, translucent {through:.2f} s on one core")
    return seconds


def _two_cores(work) -> str:
    times, free = two_cores(work)
    if times is None:
        return f"two cores not measurable at {load()}: two threads had {free:.1f} cores at most"
    return f"two cores give {times:.2f} times one by the clock on the wall (aim 1.7)"


def bench_growth_of_cost() -> None:
    """A line ten times as long, and ten times the rays."""
    base, longer = row_scene(), row_scene(10 * PLANTS)
    whole, tenth = (
        Turns({"opaque": opaque(base)}, _lit(base, rays)) for rays in (RAYS // 10, RAYS // 100)
    )
    long = Turns({"opaque": opaque(longer)}, _lit(longer, RAYS // 10))
    # All in turns, every portion as often.
    for turn in range(GROWTH_TURNS * len(whole.portions)):
        whole.take()
        long.take()
        if turn % len(whole.portions) == 0:
            tenth.take()
    seconds = whole.seconds("opaque")
    print(
        "Growth of cost: a line ten times as long costs "
        f"{long.seconds('opaque') / seconds:.2f} times (limit 1.5)"
    )
    print(f"  ten times the rays cost {seconds / tenth.seconds('opaque'):.2f} times (limit 10.5)")


def _lit(scene, rays: int) -> list[tuple]:
    return [(o, t, np.ones(len(o))) for o, t in scene.portions(rays)]


def bench_tracer() -> None:
    """The ray tracer on a tenth of the same rays, used plainly and cleverly, in turns with ours."""
    if not tracer.is_there():
        print("Ray tracer: embreex is not installed, there is nothing to compare with")
        return
    for case in TRACER_CASES:
        _against_tracer(*case)


def _against_tracer(name, shape, stem_share, yearly, bisected, leaves) -> None:
    scene = row_scene(shape=shape, stem_share=stem_share)
    origin, target = (
        np.concatenate(part) for part in zip(*scene.portions(RAYS, every=TRACED), strict=True)
    )
    masks = blocked_years(origin, target, scene.runs, scene.crowns)
    some = slice(None, PORTION)
    sides, agreement = tracer.coarsest_mesh(scene, origin[some], target[some], masks[some])
    feet = np.column_stack([scene.x, 0 * scene.x, 0 * scene.x])
    crowns = scene.crowns

    def triangles(growth, year):
        size = (part[0, growth, year] for part in (crowns.height, crowns.radius, crowns.clear))
        return tracer.row_triangles(feet, scene.shape, *size, sides)

    rays = tracer.Rays.between(origin, target)
    parts = [(o, t, np.ones(len(o))) for o, t in scene.portions(RAYS, every=TRACED)]
    ours_by_name = {"opaque": opaque(scene), "translucent": translucent(scene)}
    turns = Turns(ours_by_name, parts)
    built, asked, hits = tracer.yearly(triangles, rays, GROWTHS, YEARS, turns.take)
    ours = np.array(
        [[(masks[:, 0, g] >> y & 1).sum() for y in range(YEARS)] for g in range(GROWTHS)]
    )
    more = RAYS / len(origin)
    plain = built + asked * more
    print(
        f"Ray tracer (any hit, one core, single precision), {len(origin):,} rays measured and scaled "
        f"to {RAYS:,}; {name} of {sides} corners, the coarsest of which {agreement:.2%} of the answers agree; {load()}; "
        f"rays that nothing ever stops are in on both sides ({(masks == 0).all(axis=(1, 2)).mean():.0%})"
    )
    print(
        f"  once a year, scenes rebuilt: {plain:.0f} s ({built:.1f} s of it building, not scaled); "
        f"closed shares differ by {np.abs(hits - ours).max() / len(origin):.2e} at most"
    )
    beside = {name: turns.seconds(name) * more for name in ours_by_name}
    ratios = [("opaque against once a year", plain, beside["opaque"], yearly)]
    if leaves:
        words = "translucent against opaque once a year"
        ratios.append((words, plain, beside["translucent"], leaves))
    if bisected:
        clever, ours = _against_bisection(scene, triangles, rays, parts, masks, more)
        ratios.insert(1, ("opaque against bisection", clever, ours, bisected))
    print(
        f"  ours, timed in turns with it: opaque {beside['opaque']:.2f} s, translucent "
        f"{beside['translucent']:.2f} s"
    )
    print(
        "  Ratios of processor time on one core each, the least of at least three turns for each piece of "
        "work on both sides:"
    )
    for words, baseline, one, (floor, aim) in ratios:
        print(f"  {words}: {verdict(baseline / one, floor, aim)}")


def _against_bisection(scene, triangles, rays, parts, masks, more) -> tuple[float, float]:
    """Seconds of the ray tracer used cleverly, for crowns that only grow, and ours in turns with it."""
    turns = Turns({"opaque": opaque(scene)}, parts)
    built, asked, first = tracer.cleverly(triangles, rays, GROWTHS, YEARS, turns.take)
    while turns.turn < tracer.REPEATS * len(parts):
        turns.take()
    clever = built + asked * more
    mine = np.array(
        [[YEARS - _count(mask) for mask in masks[:20_000, 0, g]] for g in range(GROWTHS)]
    )
    same = (first[:, :20_000] == mine).mean()
    print(f"  years bisected, scenes built once: {clever:.0f} s; {same:.2%} of the years agree")
    ours = turns.seconds("opaque") * more
    print(f"  ours, timed in turns with the bisection: opaque {ours:.2f} s")
    return clever, ours


def _count(mask) -> int:
    return int(mask).bit_count()
