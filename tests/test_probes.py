"""What straight probes meet, against another library."""

import numpy as np
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from screenplan.site.probes import Edges, Nearby, Probes, find_nearest

LENGTH_M = 6.0


def some_shapes(rng):
    """Grounds whole, with a hole, in two parts and broken, lines of one and of two parts, a point, and nothing."""
    middles = rng.uniform(-10, 10, (8, 2))
    discs = [shapely.Point(*xy).buffer(rng.uniform(1, 5), quad_segs=3) for xy in middles]
    bow = shapely.Polygon([(0, 0), (4, 4), (4, 0), (0, 4), (8, -2), (0, 0)])
    return np.array(
        [
            discs[0],
            discs[1].difference(shapely.Point(*middles[1]).buffer(0.7)),
            shapely.union(discs[2], discs[3]),
            shapely.make_valid(bow),
            shapely.GeometryCollection([discs[4], shapely.LineString(middles[4:7])]),
            shapely.LineString(middles[:3]),
            shapely.MultiLineString([middles[3:5], middles[5:8]]),
            shapely.Point(1, 1),
            shapely.Polygon(),
        ]
    )


def probes_of(rng, count=60, groups=7):
    turn = rng.uniform(0, 2 * np.pi, count)
    group = np.sort(rng.integers(0, groups, count))
    return Probes(
        rng.uniform(-10, 10, (count, 2)),
        np.column_stack([np.cos(turn), np.sin(turn)]),
        LENGTH_M,
        group,
    )


@settings(max_examples=60)
@given(st.integers(0, 100_000))
def test_what_is_met_is_what_another_library_meets(seed):
    """Evidence: another library; how far the nearest point of a crossing lies, of each thing by itself."""
    rng = np.random.default_rng(seed)
    shapes, probes = some_shapes(rng), probes_of(rng)
    own = rng.integers(-1, len(shapes), 7)
    near = Nearby.of(probes, shapely.STRtree(shapes), own)
    found, away = find_nearest(probes, Edges.of(shapes), near)
    ends = np.stack([probes.begin, probes.begin + LENGTH_M * probes.out], axis=1)
    lines, begin = shapely.linestrings(ends), shapely.points(probes.begin)
    held = shapes.copy()
    held[[7, 8]] = None  # what is no ground and no line is met by nobody
    expected = shapely.distance(shapely.intersection(lines[:, None], held), begin[:, None])
    expected = np.where(np.isnan(expected), np.inf, expected)
    expected[np.arange(len(held)) == own[probes.group][:, None]] = np.inf
    nearest = expected.min(axis=1)
    assert np.array_equal(np.isinf(away), np.isinf(nearest))
    met = np.flatnonzero(np.isfinite(nearest))
    assert np.abs(away[met] - nearest[met]).max(initial=0.0) < 1e-9
    # Of things that share the ground on which a probe begins the first is found.
    first = (expected <= nearest[:, None] + 1e-9).argmax(axis=1)
    assert np.array_equal(found[met], first[met])
    assert (found[np.isinf(nearest)] == -1).all()


@settings(max_examples=30)
@given(st.integers(0, 100_000))
def test_what_a_group_meets_does_not_hang_on_the_others(seed):
    """Invariant: to the last digit."""
    rng = np.random.default_rng(seed)
    shapes, probes = some_shapes(rng), probes_of(rng)
    tree, edges, nobody = shapely.STRtree(shapes), Edges.of(shapes), np.full(7, -1)
    found, away = find_nearest(probes, edges, Nearby.of(probes, tree, nobody))
    some = np.flatnonzero(np.isin(probes.group, rng.integers(0, 7, 2)))
    only = probes.only(some)
    alone = find_nearest(only, edges, Nearby.of(only, tree, nobody))
    assert np.array_equal(alone[0], found[some])
    assert np.array_equal(alone[1], away[some])


def met(shapes, begin, out, length_m=LENGTH_M):
    """What one probe meets of all shapes, and how far."""
    probe = Probes(np.array([begin], float), np.array([out], float), length_m, np.array([0]))
    near = Nearby(np.array([0, len(shapes)]), np.arange(len(shapes)))
    found, away = find_nearest(probe, Edges.of(np.array(shapes)), near)
    return int(found[0]), float(away[0])


def test_of_two_that_share_a_corner_or_an_edge_the_first_is_met():
    # Evidence: closed form; both are 3 m off.
    left, right = shapely.box(3, 0, 5, 2), shapely.box(3, -2, 5, 0)
    assert met([left, right], (0, 0), (1, 0)) == (0, 3.0)
    assert met([right, left], (0, 0), (1, 0)) == (0, 3.0)
    road = shapely.LineString([(3, 2), (3, 0)])
    assert met([road, left], (0, 1.3), (1, 0)) == (0, 3.0)
    assert met([left, road], (0, 1.3), (1, 0)) == (0, 3.0)


def test_along_an_edge_its_nearer_end_is_met():
    # Evidence: closed form.
    road = shapely.LineString([(5, 0), (2, 0)])
    assert met([road], (0, 0), (1, 0)) == (0, 2.0)
    assert met([road], (3, 0), (1, 0)) == (0, 0.0)
    assert met([road], (3, 0), (-1, 0)) == (0, 0.0)
    assert met([road], (6, 0), (1, 0)) == (-1, np.inf)
    assert met([road], (0, 0), (1, 0), 1.5) == (-1, np.inf)


def test_a_probe_meets_what_it_ends_at_or_begins_at():
    # Evidence: closed form.
    lot = shapely.box(3, -1, 5, 1)
    assert met([lot], (0, 0.5), (1, 0), 3.0) == (0, 3.0)
    assert met([lot], (5, 0.5), (1, 0)) == (0, 0.0)
    assert met([lot], (4, 0.5), (0, 1), 0.1) == (0, 0.0)


def test_nothing_is_asked_of_nobody():
    # Evidence: by definition.
    nobody = Probes(np.zeros((0, 2)), np.zeros((0, 2)), 1.0, np.zeros(0, dtype=int))
    near = Nearby.of(nobody, shapely.STRtree([shapely.box(0, 0, 1, 1)]), np.full(3, -1))
    assert near.first.tolist() == [0, 0, 0, 0]
    assert len(near.things) == 0
    found, away = find_nearest(nobody, Edges.of(np.array([shapely.box(0, 0, 1, 1)])), near)
    assert len(found) == len(away) == 0
    assert Edges.of(np.zeros(0, dtype=object)).first.tolist() == [0]
