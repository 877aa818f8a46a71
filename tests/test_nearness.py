"""Which straight looks come near which lines. Lengths in metres."""

import numpy as np
import shapely
from hypothesis import given
from hypothesis import strategies as st

from screenplan.county.nearness import come_near

#: Places on a grid, so that many lie on a line, on each other, or just so far apart.
SPOT = st.tuples(st.integers(0, 6), st.integers(0, 6))
LINE = st.lists(SPOT, min_size=2, max_size=4)


@given(st.lists(st.tuples(SPOT, SPOT), min_size=1, max_size=6), st.lists(LINE, min_size=1, max_size=5), st.sampled_from([0.05, 0.5, 2.0]))  # fmt: skip
def test_what_comes_near_is_what_lies_so_near_by_shapely(looks, lines, within_m):
    """Another library: the distance of each pair; those that are as far to a hair are left out."""
    looks = np.array(looks, dtype=float)
    ends = shapely.linestrings(looks)
    shapes = np.array([shapely.LineString(line) for line in lines], dtype=object)
    first = np.arange(len(looks)) % len(lines)
    count = len(lines) - first
    told = come_near(looks, shapes, first, count, within_m)
    pairs = [(k, line) for k in range(len(looks)) for line in range(first[k], len(lines))]
    away = shapely.distance(*(np.array(part) for part in ([ends[k] for k, _ in pairs], [shapes[line] for _, line in pairs])))  # fmt: skip
    plain = np.abs(away - within_m) > 1e-9
    assert np.array_equal(told[plain], (away <= within_m)[plain])
