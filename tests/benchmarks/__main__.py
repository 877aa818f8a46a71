"""Run every bench: ``python -m tests.benchmarks [FOLDER]``. Other work on the machine makes the figures worse.

Of the lots on which proposals are measured those of the package momepy are at hand, those of a suburb are read from
the folder, if it is given (`tests.benchmarks.frozen`).
"""

import os
import platform
import sys
from pathlib import Path

from .clock import load
from .county import bench_county
from .design import bench_design
from .hillside import bench_hillside
from .job import bench_compiling, bench_demo, bench_step, bench_stream
from .limit import bench_limit
from .many import bench_many
from .proposals import bench_proposals
from .reading import bench_reading
from .sides import bench_sides
from .sun import bench_sun
from .views import bench_growth_of_cost, bench_timelines, bench_tracer


def main() -> None:
    """Print all figures."""
    print(f"{platform.processor() or platform.machine()}, {os.cpu_count()} cores, {load()} before")
    bench_demo()
    bench_reading()
    bench_step()
    bench_stream()
    bench_compiling()
    seconds = bench_timelines()
    bench_limit(seconds)
    bench_growth_of_cost()
    bench_tracer()
    bench_hillside()
    bench_sun()
    bench_sides()
    bench_many()
    bench_design()
    data = Path(sys.argv[1]) if len(sys.argv) > 1 else None
    bench_county(data)
    bench_proposals(data)


if __name__ == "__main__":
    main()
