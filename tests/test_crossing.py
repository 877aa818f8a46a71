"""Where rays cross lines in plan, held against each edge by itself in plain numbers."""

import itertools

import numpy as np
import shapely
from hypothesis import assume, given
from hypothesis import strategies as st

from screenplan.views.crossing import PlanLines, cross_each, cross_line

#: Whole numbers meet in vertices, along edges and not at all; halves between them.
SPOT = st.tuples(st.integers(-4, 4), st.integers(-4, 4))
SPOTS = st.lists(SPOT, min_size=2, max_size=9)


def by_edges(eye, head, vertices):
    """Stations and shares of one ray, edge by edge: half open, but for the line's own end."""
    found, station = [], 0.0
    (ox, oy), (dx, dy) = eye, (head[0] - eye[0], head[1] - eye[1])
    edges = list(itertools.pairwise(vertices))
    for number, ((ax, ay), (bx, by)) in enumerate(edges):
        ex, ey = bx - ax, by - ay
        size, turn = float(np.hypot(ex, ey)), dx * ey - dy * ex
        if turn != 0.0:
            t = ((ax - ox) * ey - (ay - oy) * ex) / turn
            u = ((ax - ox) * dy - (ay - oy) * dx) / turn
            last = number == len(edges) - 1
            if 0.0 <= t <= 1.0 and u >= 0.0 and (u < 1.0 or (last and u <= 1.0)):
                found.append((station + u * size, t))
        station += size
    return found


@given(st.lists(st.tuples(SPOT, SPOT), min_size=1, max_size=9), SPOTS, st.integers(1, 3))
def test_each_ray_crosses_the_line_where_it_crosses_its_edges(rays, spots, above):
    """Invariant: to the last digit, in vertices and along edges too, whatever other rays there are, above each other too."""
    rays = [ray for ray in rays for _ in range(above)]
    vertices = np.array([spots[0], *(b for a, b in itertools.pairwise(spots) if a != b)])
    assume(len(vertices) > 1)
    eyes, heads = (np.array([(*ray[end], 1.0) for ray in rays]) for end in (0, 1))
    ray, station, t = cross_line(eyes, heads, vertices.astype(float))
    for number in range(len(rays)):
        mine = ray == number
        found = list(zip(station[mine].tolist(), t[mine].tolist(), strict=True))
        assert found == by_edges(eyes[number, :2], heads[number, :2], vertices.astype(float))
    assert np.all(np.diff(ray) >= 0)


@given(st.integers(0, 2**32 - 1))
def test_crossings_lie_on_the_line_at_their_stations(seed):
    """Another library: shapely places the station on the line; and it is as far from the eye as t says."""
    rng = np.random.default_rng(seed)
    vertices = rng.uniform(-50.0, 50.0, (12, 2)) + 4000.0
    eyes, heads = (np.column_stack([rng.uniform(3940, 4060, (30, 2)), np.ones(30)]) for _ in "ab")
    ray, station, t = cross_line(eyes, heads, vertices, start_m=2.0)
    line = shapely.LineString(vertices)
    spots = shapely.get_coordinates(shapely.line_interpolate_point(line, station - 2.0))
    at = eyes[ray] + t[:, None] * (heads[ray] - eyes[ray])
    assert np.allclose(at[:, :2], spots, rtol=0.0, atol=1e-6)
    rays = shapely.linestrings(np.stack([eyes[:, :2], heads[:, :2]], axis=1))
    assert np.array_equal(np.unique(ray), np.flatnonzero(shapely.intersects(rays, line)))


def test_nothing_crosses_where_there_are_no_rays():
    ray, station, t = cross_line(np.zeros((0, 3)), np.zeros((0, 3)), np.array([[0.0, 0], [1, 0]]))
    assert len(ray) == len(station) == len(t) == 0


@given(
    st.lists(SPOTS, min_size=1, max_size=5),
    st.lists(st.tuples(SPOT, SPOT), min_size=1, max_size=9),
)
def test_many_lines_at_once_are_crossed_as_each_alone(lines, rays):
    """Invariant: to the last digit, and no ray crosses from the end of one line to the start of the next."""
    lines = [np.unique(np.array(spots, dtype=float), axis=0) for spots in lines]
    lines = [vertices for vertices in lines if len(vertices) > 1]
    assume(lines)
    eyes, heads = (np.array([(*ray[end], 1.0) for ray in rays], dtype=float) for end in (0, 1))
    line, *crossed = cross_each(eyes, heads, PlanLines.of(lines))
    for number, vertices in enumerate(lines):
        alone = cross_line(eyes, heads, vertices)
        for one, several in zip(alone, crossed, strict=True):
            assert np.array_equal(one, several[line == number])


# Invariant: of several lots each ray crosses the lines of its own, as if there were no others; without light none.
@given(st.integers(0, 2**32 - 1))
def test_each_ray_crosses_the_lines_that_count_for_it(seed):
    rng = np.random.default_rng(seed)
    lines = PlanLines.of([rng.uniform(0, 50, (count, 2)) for count in (2, 5, 3, 4)])
    eyes, heads = (np.column_stack([rng.uniform(0, 50, (40, 2)), np.ones(40)]) for _ in "ab")
    # The first two lines are one lot's, the others another's.
    lot, light = rng.integers(0, 2, 40), rng.integers(0, 2, 40).astype(float)
    part = np.searchsorted(lines.line, 2)
    edges = np.array([[0, part], [part, len(lines.edge)]])[lot]
    line, ray, *rest = cross_each(eyes, heads, lines, edges, light)
    all_line, all_ray, *all_rest = cross_each(eyes, heads, lines)
    own = ((all_line >= 2) == lot[all_ray]) & (light[all_ray] > 0)
    assert 0 < own.sum() < len(own)
    for found, every in zip((line, ray, *rest), (all_line, all_ray, *all_rest), strict=True):
        assert np.array_equal(found, every[own])
