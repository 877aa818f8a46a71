"""Geometries drawn by hypothesis: rings, holes and parts from few numbers that often meet."""

from __future__ import annotations

import contextlib
import math
from unittest import mock

from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

try:
    from hypothesis.internal.conjecture import providers
except ImportError:  # versions that take no numbers from elsewhere
    providers = None

#: The first draw of a strategy is its simplest; the last of these is as odd as any.
_DRAWS = 3
_ONCE = settings(
    max_examples=_DRAWS,
    database=None,
    deadline=None,
    phases=(Phase.generate,),
    suppress_health_check=list(HealthCheck),
)

#: On a lattice vertices coincide, edges overlap and rings touch; a hair off it they nearly do.
_LATTICE = st.integers(-4, 4).map(lambda step: 5.0 * step)
_HAIR = st.sampled_from((0.0, 0.0, 0.0, 1e-12, 1e-9, -1e-6, 1e-4, -0.0009, 0.0011, 0.01))
_NEAR = st.tuples(_LATTICE, _HAIR).map(sum)
_FREE = st.floats(-40, 40)
_ODD = st.sampled_from((float("nan"), float("inf"), 1e308, -1e12, 5e-324, 180.0, 1e7, -0.0))
_WILD = st.one_of(_FREE, _FREE, _NEAR, _ODD)


@st.composite
def _rings(draw, number, least=0, most=9):
    points = draw(st.lists(st.tuples(number, number), min_size=least, max_size=most))
    if points and draw(st.booleans()):
        # In the order in which they stand about their middle, most make a ring that does not cross itself.
        x, y = (sum(values) / len(points) for values in zip(*points, strict=True))
        points.sort(key=lambda at: math.atan2(at[1] - y, at[0] - x))
    return [*points, points[0]] if points and draw(st.integers(0, 9)) else points


@st.composite
def _polygons(draw, number):
    rings = [draw(_rings(number, 3, 12))]
    return rings + draw(st.lists(_rings(number), max_size=2))


@st.composite
def shapes(draw):
    """A polygon, several, or now and then a line, points or none."""
    number = draw(st.sampled_from((_LATTICE, _NEAR, _FREE, _WILD)))
    kind = draw(st.sampled_from(("Polygon",) * 5 + ("MultiPolygon",) * 3 + ("LineString", "MultiPoint")))  # fmt: skip
    if kind == "Polygon":
        coordinates = draw(_polygons(number))
    elif kind == "MultiPolygon":
        coordinates = draw(st.lists(_polygons(number), max_size=4))
    else:
        coordinates = draw(st.lists(st.tuples(number, number), max_size=6))
    return {"type": kind, "coordinates": coordinates}


@contextlib.contextmanager
def _no_numbers_of_ours():
    """Keep hypothesis from the numbers in the code that is loaded: each change of it would change the cases."""
    name = "_get_local_constants"  # from 6.131 on
    if not hasattr(providers, name):
        yield
        return
    with mock.patch.object(providers, name, providers.Constants):
        yield


def draw_shapes(number: int, count: int) -> list:
    """Give so many shapes; the same number gives the same ones."""
    found = []

    @seed(number)
    @_ONCE
    @given(st.lists(shapes(), min_size=count, max_size=count))
    def take(drawn):
        found.append(drawn)

    with _no_numbers_of_ours():
        take()
    return found[-1]
