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


def load() -> str:
    """Say how busy the machine is: processes that want to run, over the last minute."""
    return f"load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else "load not known"


def own_process(code: str, *arguments: str) -> tuple[float, float, str]:
    """Run Python code in a process of its own: wall seconds, peak memory in MB, what it printed."""
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
