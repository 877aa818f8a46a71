"""Taking times: several runs, the best of them; and memory of a process of its own."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from itertools import pairwise

import numba
import numpy as np

#: So few rays at a time are followed by the calling thread alone.
FEW_RAYS = 19_000


def best_of(work, repeats: int = 3, clock=time.perf_counter):
    """Least time of a few runs in seconds, and the last result."""
    least, result = float("inf"), None
    for _ in range(repeats):
        start = clock()
        result = work()
        least = min(least, clock() - start)
    return least, result


def on_cores(count: int, work, repeats: int = 3):
    """Wall time of work on so many cores."""
    before = numba.get_num_threads()
    numba.set_num_threads(min(count, numba.config.NUMBA_NUM_THREADS))
    try:
        return best_of(work, repeats)
    finally:
        numba.set_num_threads(before)


def serially(work, *arrays, repeats: int = 3):
    """Time work on one core, a few rays at a time: processor seconds, and the results joined."""
    rays = len(arrays[0])
    cuts = [*range(0, rays, FEW_RAYS), rays]
    total, results = 0.0, []
    for begin, end in pairwise(cuts):
        some = [array[begin:end] for array in arrays]
        seconds, result = best_of(lambda s=some: work(*s), repeats, time.thread_time)
        total += seconds
        results.append(result)
    return total, [
        sum(part) if part[0].shape[0] != cuts[1] else np.concatenate(part)
        for part in zip(*results, strict=True)
    ]


class Turns:
    """Work that is timed in turns with something else, so that both meet the same machine.

    Parameters
    ----------
    works : dict of callable
        Work by name; each is given the arrays of a portion.
    portions : list of tuple of ndarray
        Portions, each of which is timed by itself.
    """

    def __init__(self, works, portions):
        self.works, self.portions, self.turn = works, portions, 0
        self.least = {name: [float("inf")] * len(portions) for name in works}

    def take(self) -> None:
        """Time every work on the next portion, and keep the least times."""
        place = self.turn % len(self.portions)
        for name, work in self.works.items():
            seconds, _ = serially(work, *self.portions[place], repeats=1)
            self.least[name][place] = min(self.least[name][place], seconds)
        self.turn += 1

    def seconds(self, name: str) -> float:
        """Processor seconds of one work for all portions."""
        return sum(self.least[name])


def two_cores(work, tries: int = 60, quiet: float = 1.9, wait_s: float = 0.5):
    """How much faster two cores are, by the clock on the wall: (times, cores that were free).

    One core and two are timed in turns until both were free twenty times, at most so often, with a
    wait after a turn in which they were not. ``times`` is None when the machine was never quiet: then
    two threads had less than ``quiet`` cores.
    """
    least, free, held = {1: float("inf"), 2: float("inf")}, 0.0, 0
    work()
    for _ in range(tries):
        share, walls = {}, {}
        for count in (1, 2):
            before, start = time.process_time(), time.perf_counter()
            wall, _ = on_cores(count, work, 1)
            share[count] = (time.process_time() - before) / (time.perf_counter() - start)
            walls[count] = wall
        free = max(free, share[2])
        is_quiet = share[1] >= 0.95 and share[2] >= quiet
        if is_quiet:
            held += 1
            least = {count: min(least[count], walls[count]) for count in least}
        else:
            time.sleep(wait_s)
        if held >= 20:
            break
    return (least[1] / least[2] if held else None), free


def load() -> str:
    """Say how busy the machine is: processes that want to run, over the last minute."""
    return f"load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else "load not known"


def own_process(code: str, *arguments: str) -> tuple[float, float, str]:
    """Run Python code in a process of its own: wall seconds, peak memory in MB, what it printed."""
    # The code names its neighbours as a module of this package does.
    code = f"__package__ = {__package__!r}\n{code}"
    tail = "\nimport resource as _r; print(_r.getrusage(_r.RUSAGE_SELF).ru_maxrss)"
    start = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", code + tail, *arguments], capture_output=True, text=True, check=True
    )
    seconds = time.perf_counter() - start
    *lines, peak = done.stdout.strip().splitlines()
    return seconds, float(peak) / 1024.0, "\n".join(lines)


def verdict(ratio: float, floor: float, aim: float) -> str:
    """Say whether a ratio reaches its floor and its aim."""
    words = "aim reached" if ratio >= aim else "floor held" if ratio >= floor else "FLOOR MISSED"
    return f"{ratio:.0f} times (floor {floor:g}, aim {aim:g}: {words})"
