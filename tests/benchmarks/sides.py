"""Finding sides: time and memory against the number of vertices of the outline."""

from __future__ import annotations

from .clock import load, own_process

#: Vertices of the outlines that are timed; the first is what everything else takes.
VERTICES = (100, 10_000, 50_000, 100_000)

CODE = """
import sys, time
import geopandas, numpy as np, shapely
from screenplan.site.sides import find_sides
angle = np.linspace(0.0, 2.0 * np.pi, int(sys.argv[1]), endpoint=False)
# On a circle every vertex is a corner of the convex hull too.
ring = shapely.Polygon(60.0 * np.column_stack([np.cos(angle), np.sin(angle)]))
lot = geopandas.GeoDataFrame({"parcel_id": ["1"], "is_subject": [True]}, geometry=[ring])
start = time.perf_counter()
find_sides(lot)
print(time.perf_counter() - start)
"""


def bench_sides() -> None:
    """Sides of a circle of more and more vertices, each in a process of its own."""
    print(
        f"Sides of an outline, all of whose vertices are its hull's (linear is the aim); {load()}"
    )
    base = None
    for vertices in VERTICES:
        _, peak, said = own_process(CODE, str(vertices))
        base = peak if base is None else base
        more = (peak - base) * 1e6 / vertices
        own = "" if vertices == VERTICES[0] else f", {more:.0f} bytes a vertex beyond the least"
        print(f"  {vertices:>7,} vertices: {float(said):.2f} s, peak {peak:.0f} MB{own}")
