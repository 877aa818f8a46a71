"""The whole job: the demo, the step that follows the views, and memory."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from .clock import load, own_process

#: The demo designs, and shows what other choices would cost: 61 s of the processor's time, of which two cores that have
#: nothing else to do share a part.
DEMO_LIMIT_S = 70

DEMO = """
import sys
from screenplan.commandline.main import main
try:
    main(["demo", "--out", sys.argv[1]])
except SystemExit as end:
    assert not end.code, end.code
"""

STEP = """
import time
from .lot import site
from screenplan.plan import DEFAULTS
from screenplan.views.views import trace_views
layers, bare = site(), DEFAULTS.without_draws()
trace_views(layers)
best = drawn = 9e9
for _ in range(3):
    start = time.perf_counter(); views, _, holes = trace_views(layers, plan=bare)
    best = min(best, time.perf_counter() - start)
    start = time.perf_counter(); trace_views(layers)
    drawn = min(drawn, time.perf_counter() - start)
start = time.perf_counter(); trace_views(layers, plan=bare, second_sample=False)
plain = time.perf_counter() - start
print(f"{best:.3f} s; {DEFAULTS.chance.draws:,} draws take {(drawn - best) / best:.1f} times as long (limit 10); without the second sample {plain:.3f} s; {len(layers['plants'])} plants, "
      f"{views.rays.sum():,} rays through openings, {len(holes)} holes")
"""

STREAM = """
import time
import numpy as np
from .scene import row_scene
from screenplan.views.obstacles import lay_obstacles
from screenplan.views.timeline import Scene, follow, sum_up
row = row_scene()
rng = np.random.default_rng(0)
eyes = np.column_stack([rng.uniform(100, 112, 1000), np.full(1000, 12.0), rng.uniform(3, 6, 1000)])
targets = np.column_stack([rng.uniform(95, 117, 10_000), rng.uniform(-14, -4, 10_000), rng.uniform(1, 1.8, 10_000)])
for dim in (None, 0.1):
    scene = Scene(lay_obstacles(), row.runs, row.crowns, dim)
    sum_up(follow(None, eyes[:30], targets, scene), scene)
    start = time.perf_counter()
    view = sum_up(follow(None, eyes, targets, scene), scene)
    print(f"{'opaque' if dim is None else 'translucent'}: {view.rays:,} rays of one view in {time.perf_counter() - start:.1f} s")
"""


def bench_demo() -> None:
    """The demo as a person runs it, imports included; wall time, and the processor's."""
    wall, processor = [], []
    with tempfile.TemporaryDirectory() as folder:
        for run in range(3):
            before = os.times()
            seconds, peak, _ = own_process(DEMO, str(Path(folder) / f"demo{run}"))
            after = os.times()
            wall.append(seconds)
            processor.append(
                after.children_user + after.children_system
                - before.children_user - before.children_system
            )  # fmt: skip
    print(
        f"Demo, imports included: {wall[0]:.1f} s on the first run here (it compiles if nothing is "
        f"cached), {min(wall[1:]):.1f} s on a later one (limit {DEMO_LIMIT_S}: 5 for the plan, 10 for its design, 30 for the "
        f"other choices), processor time "
        f"{min(processor[1:]):.1f} s; peak {peak:.0f} MB; {load()}"
    )


def bench_step() -> None:
    """20 windows, 400 positions, 300 plants, 31 years of 3 growths, in a process of its own."""
    _, peak, said = own_process(STEP)
    print(
        f"Views of a lot of 4 sides, 20 windows, 400 positions, 31 years, 3 growths (limits 1 s, 500 MB): {said}; peak {peak:.0f} MB, imports included"
    )


def bench_stream() -> None:
    """10 million rays in one view, streamed."""
    _, peak, said = own_process(STREAM)
    print(
        f"Streaming (limit 1000 MB): {'; '.join(said.splitlines())}; peak {peak:.0f} MB, imports included"
    )


def bench_compiling() -> None:
    """Compile time, from an empty cache."""
    code = """
import time, numpy as np
start = time.perf_counter()
from .scene import row_scene
from screenplan.views.kernel import follow_years
from screenplan.views.leaves import light_through
print(f"imports {time.perf_counter() - start:.1f} s", end="")
row = row_scene(30)
for rays in (10, 30_000):
    o, t = next(row.portions(rays)); w = np.ones(rays)
    for work in (follow_years, light_through):
        start = time.perf_counter(); work(o, t, w, row.runs, row.crowns)
        print(f", {work.__name__} of {rays} rays {time.perf_counter() - start:.1f} s", end="")
print()
"""
    with tempfile.TemporaryDirectory() as folder:
        prefix = f"import os; os.environ['NUMBA_CACHE_DIR'] = {folder!r}\n"
        first, again = own_process(prefix + code)[2], own_process(prefix + code)[2]
    print(f"Compiling, first use: {first}")
    print(f"  from the cache: {again}")
