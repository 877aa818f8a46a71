"""How far the kernels are from what this machine's arithmetic can do."""

from __future__ import annotations

import time

import numpy as np
from numba import njit, prange

from screenplan.views.bundle import PART, ROOM, come_near, lay_bundle, new_bundle
from screenplan.views.crowns import DISTANCE_CELLS, HEIGHT_CELLS, LANES
from screenplan.views.kernel import foresee, list_open

from .clock import best_of
from .scene import LAST_YEAR, PORTION, RAYS, row_scene

#: Arithmetic operations, roots and divisions counted as one each, as the code is written: laying a
#: sight line and its window; a pair of sight line and plant; its look-up; an exact test; a year of
#: leaves in one crown and in the second of two: chord, union, light.
WINDOW, PAIR, LOOK_UP, TEST, LEAF_YEAR, SECOND_YEAR = 13 + 52, 26, 18, 38, 32 + 4 + 22, 32 + 12

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


@njit(error_model="numpy", parallel=True)
def _peak_many(x, rounds):
    for block in prange(x.shape[0]):
        _peak(x[block], rounds)


def arithmetic(rounds: int = 20_000):
    """Work of multiply-adds alone, for as many cores as there are."""
    start = np.zeros((64, 64))
    return lambda: _peak_many(start, rounds)


@njit(error_model="numpy")
def _looks(origin, target, light, runs, crowns, counts, growth_lanes):
    """Count pairs, exact tests at most, and years of leaves, of one class and layer."""
    bundle, growths, years = new_bundle(runs, crowns), crowns.form.shape[1], crowns.height.shape[2]
    told, lanes = crowns.foretold.reshape(-1), crowns.form.shape[3]
    some, todo = np.empty(ROOM + 1, np.uint32), np.empty(ROOM * growths + 1, np.uint32)
    since, first = np.empty(ROOM * growths + 1, np.uint32), np.empty(PART, np.uint32)
    pairs_of, earliest = np.zeros((PART, growths), np.int64), np.zeros((PART, growths), np.int64)
    for start in range(0, origin.shape[0], PART):
        count = min(PART, origin.shape[0] - start)
        lay_bundle(start, count, origin.reshape(-1), target.reshape(-1), light, runs, bundle)
        pairs_of[:], earliest[:] = 0, lanes
        first[:] = years * 0x01010101
        ray = run = skip = 0
        while ray < count:
            ray, run, skip, listed = come_near(ray, run, skip, count, runs, crowns, bundle)
            counts[0] += listed
            left = foresee(listed, bundle, runs, crowns, 1, told, first, some)
            items = list_open(
                left, some, bundle, runs, crowns, 1, told, first, todo, since, growth_lanes
            )
            for m in range(items):
                n, g = np.int64(todo[m]) >> 2, np.int64(todo[m]) & 3
                until = (np.int64(first[bundle.whose[n]]) >> (8 * g)) & 0x7F
                wide = min(until, crowns.settled[0, g] + 1) - np.int64(since[m])
                while wide > 0:
                    counts[1] += 1
                    wide //= 2
            for n in range(listed):
                word = told[2 * np.int64(bundle.early[n])]
                for g in range(growths):
                    year = np.int64((word >> np.uint32(8 * g)) & np.uint32(0x7F))
                    if year < years:
                        to = np.int64(bundle.whose[n])
                        pairs_of[to, g] += 1
                        earliest[to, g] = min(earliest[to, g], year // LANES * LANES)
        for g in range(growths):
            stop = min((crowns.settled[0, g] // LANES + 1) * LANES, lanes)
            for n in range(count):
                if pairs_of[n, g]:
                    counts[2] += stop - earliest[n, g]
                    counts[3] += (pairs_of[n, g] - 1) * (stop - earliest[n, g])


def bench_limit(seconds: dict[str, float]) -> None:
    """Operations per ray against the measured peak of one core."""
    rounds = 300_000
    start = np.zeros(64)
    _peak(start, 1)
    peak = 2 * 64 * CHAIN * rounds / best_of(lambda: _peak(start, rounds), 5, time.thread_time)[0]
    scene = row_scene()
    origin, target = next(scene.portions(RAYS, every=RAYS // PORTION // 2))
    counts, light = np.zeros(4), np.ones(len(origin))
    _looks(origin, target, light, scene.runs, scene.crowns, counts, (0,) * 3)
    pairs, tests, leaf_years, more_years = counts / len(origin)
    opaque = WINDOW + (PAIR + LOOK_UP) * pairs + TEST * tests
    leaves = WINDOW + PAIR * pairs + LEAF_YEAR * leaf_years + SECOND_YEAR * more_years
    print(
        f"Arithmetic: one core does {peak / 1e9:.1f} thousand million operations a second in multiply-adds "
        "(measured, double precision, vector units)"
    )
    print(
        f"  a ray is held against {pairs:.2f} plants, and takes {tests:.2f} exact tests at most for 3 growths "
        f"and {LAST_YEAR + 1} years (a table of {DISTANCE_CELLS} x {HEIGHT_CELLS} cells does the rest), or "
        f"{leaf_years:.0f} years of leaves in one crown and {more_years:.1f} in further ones"
    )
    for name, work in (("opaque", opaque), ("translucent", leaves)):
        rate = work * RAYS / seconds[name]
        print(
            f"  {name}: about {work:.0f} operations a ray, {rate / 1e9:.2f} thousand million a second, "
            f"{rate / peak:.0%} of the peak"
        )
    print(
        "  the opaque kernel works side by side in the vector units up to the look-ups; these wait for the "
        "second cache, and the exact tests take one pair of sight line and plant after the other, because "
        "so few are left that bringing their numbers together costs as much as the tests: next would be "
        "finer tables that fit the cache. The translucent one works on years side by side, in one pass for "
        "one crown or two; roots, divisions and the exponential follow each other within a year: next "
        "would be two growths at a time\n"
        "  (these causes are read from the code and from stages timed one by one, not from counters)"
    )
