"""How far the kernels are from what this machine's arithmetic can do."""

from __future__ import annotations

import time

import numpy as np
from numba import njit

from benchmarks.clock import best_of
from benchmarks.scene import LAST_YEAR, PORTION, RAYS, row_scene
from screenplan.views.kernel import DISTANCE_CELLS, HEIGHT_CELLS, foretold, meets
from screenplan.views.runs import strip_window

#: Arithmetic operations, roots and divisions counted as one each, as the code is written:
#: a window of plants; a plant; a look-up; an exact test; a year of leaves: chord, union, light.
WINDOW, PLANT, LOOK_UP, TEST, LEAF_YEAR = 48, 14, 14, 34, 30 + 14 + 18

#: Multiply-adds that follow each other before a number is stored.
CHAIN = 16


@njit(error_model="numpy", fastmath={"contract"})
def _peak(x, rounds):
    """Chains of multiply-adds, eight in a row on each of 64 numbers."""
    for _ in range(rounds):
        for k in range(64):
            v = x[k]
            for _ in range(CHAIN):
                v = v * 0.999999 + 1e-7
            x[k] = v
    return x


@njit(error_model="numpy")
def _looks(origin, target, rows, table, counts):
    """Count windows, plants, look-ups, tests and years of leaves, with one class and one layer."""
    growths, years = table.height.shape[1], table.height.shape[2]
    first, places = np.empty(growths, np.int64), np.empty((len(rows.x), 3))
    for ray in range(origin.shape[0]):
        ox, oy, oz = origin[ray, 0], origin[ray, 1], origin[ray, 2]
        dx, dy, dz = target[ray, 0] - ox, target[ray, 1] - oy, target[ray, 2] - oz
        reach = np.sqrt(dx * dx + dy * dy)
        ux, uy, slope = dx / reach, dy / reach, dz / reach
        first[:] = years
        found = 0
        for run in range(rows.axis.shape[0]):
            counts[0] += 1
            near, last, high = strip_window(
                rows, run, ox, oy, oz, ux, uy, slope, 1.0 / slope, reach
            )
            for plant in range(near, last):
                if rows.along[plant] > high:
                    break
                counts[1] += 1
                px, py = rows.x[plant] - ox, rows.y[plant] - oy
                across, along = px * uy - py * ux, px * ux + py * uy
                if abs(across) >= table.widest[0]:
                    continue
                counts[2] += 1
                foot = oz - rows.z[plant] + along * slope
                places[found, 0], places[found, 1], places[found, 2] = across, along, foot
                found += 1
        # As the kernel does: first what is sure, of all plants, then what is left open.
        for sure in (True, False):
            for n in range(found):
                across, along, foot = places[n]
                i, j, sure_i, sure_j = foretold(table, 0, across, foot, slope, along, reach)
                for g in range(growths):
                    if sure:
                        first[g] = min(first[g], np.int64(table.foretold[0, sure_i, sure_j, g, 1]))
                        continue
                    year, hit = np.int64(table.foretold[0, i, j, g, 0]), first[g]
                    if year < years:
                        counts[4] += years - year
                    while year < hit:
                        counts[3] += 1
                        middle = (year + hit) >> 1
                        if meets(
                            table.shape[0], table.form, 0, g, middle, across, foot, slope,
                            1.0 / slope, -along, reach - along, 1.0, 0.0,
                        ):  # fmt: skip
                            hit = middle
                        else:
                            year = middle + 1
                    first[g] = min(first[g], hit)


def bench_limit(seconds: dict[str, float]) -> None:
    """Operations per ray against the measured peak of one core."""
    rounds = 300_000
    start = np.zeros(64)
    _peak(start, 1)
    peak = 2 * 64 * CHAIN * rounds / best_of(lambda: _peak(start, rounds), 5, time.thread_time)[0]
    scene = row_scene()
    origin, target = next(scene.portions(RAYS, every=RAYS // PORTION // 2))
    counts = np.zeros(5)
    _looks(origin, target, scene.rows, scene.table, counts)
    windows, plants, looks, tests, leaf_years = counts / len(origin)
    opaque = WINDOW * windows + PLANT * plants + LOOK_UP * looks + TEST * tests
    leaves = WINDOW * windows + PLANT * plants + LOOK_UP * looks + LEAF_YEAR * leaf_years
    print(
        f"Arithmetic: one core does {peak / 1e9:.1f} thousand million operations a second in multiply-adds "
        "(measured, double precision, vector units)"
    )
    print(
        f"  a ray meets {plants:.2f} plants, {looks:.2f} of them near enough, takes {tests:.2f} exact "
        f"tests for 3 growths and {LAST_YEAR + 1} years (a table of {DISTANCE_CELLS} x {HEIGHT_CELLS} "
        f"cells does the rest), or {leaf_years:.0f} crown-years of leaves"
    )
    for name, work in (("opaque", opaque), ("translucent", leaves)):
        rate = work * RAYS / seconds[name]
        print(
            f"  {name}: about {work:.0f} operations a ray, {rate / 1e9:.2f} thousand million a second, "
            f"{rate / peak:.0%} of the peak"
        )
    print(
        "  the opaque kernel finds the windows of sight lines side by side in the vector units; the rest "
        "takes one pair of sight line and plant after the other, and waits for look-ups and for years that "
        "are bisected: next would be testing four pairs at a time; the translucent one works on years side "
        "by side, on so few after each early year that starting and ending them costs as much as the work: "
        "next would be one pass over the years instead of four\n"
        "  (these causes are read from the code and from stages timed one by one, not from counters)"
    )
