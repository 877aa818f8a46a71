"""The kernel over rows of plants: every plant and year one by one, invariances, a ray tracer."""

import importlib.util
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from screenplan.planting.shapes import shape_radius
from screenplan.views.crowns import (
    COLUMN,
    CONE,
    ELLIPSOID,
    PARABOLOID,
    ROUND as SHAPES,
    crown_hit,
    line_terms,
    tabulate_crowns,
)
from screenplan.views.kernel import arrange_rows, blocked_years, open_light, strip_window

YEARS = 12


def growth_table(shapes, years=YEARS, cap=0.9, stem=0.1, winter=None):
    """Three growths per class; widths stop at the cap, stems clear in step with the height."""
    t = np.arange(years)[:, None]
    h = np.stack([0.6 + g * t + 0.1 * np.arange(len(shapes)) for g in (0.2, 0.35, 0.5)])
    return tabulate_crowns(shapes, h, np.minimum(0.25 * h, cap), stem * h, winter)


def row_of(count, spacing=1.1, bend=0.0):
    s = np.arange(count) * spacing
    if bend:
        return np.column_stack([bend * np.sin(s / bend), bend * (1 - np.cos(s / bend))])
    return np.column_stack([s, 0.0 * s])


def rays_over(xy, count, rng, reach=12.0):
    middle = xy[rng.integers(0, len(xy), count)] + rng.normal(0, 1, (count, 2))
    angle = rng.uniform(0, 2 * np.pi, count)
    way = reach * np.column_stack([np.cos(angle), np.sin(angle)])
    origin = np.column_stack([middle - way, rng.uniform(0.2, 6, count)])
    target = np.column_stack([middle + way, rng.uniform(0.2, 3, count)])
    return origin, target


def one_by_one(origin, target, xyz, kind, table):
    """Every ray against every plant in every year of every growth."""
    masks = np.zeros((len(origin), len(table.leafless), table.height.shape[1]), np.int64)
    for ray in range(len(origin)):
        for foot, k in zip(xyz, kind, strict=True):
            terms = line_terms(origin[ray], target[ray], foot)
            if terms[2] * terms[0] - terms[1] ** 2 > table.widest[k] ** 2 * terms[0]:
                continue
            for g in range(table.height.shape[1]):
                for y in range(table.height.shape[2]):
                    size = table.height[k, g, y], table.radius[k, g, y], table.clear[k, g, y]
                    if crown_hit(table.shape[k], *terms, *size):
                        masks[ray, table.layer[k], g] |= 1 << y
    return masks


@pytest.mark.parametrize("bend", [0.0, 9.0])
@pytest.mark.parametrize("stem", [0.0, 0.15])
def test_agrees_with_one_by_one(bend, stem):
    rng = np.random.default_rng(8)
    xy = np.vstack([row_of(30, bend=bend), np.add(row_of(12, 1.3), (0.0, 6.0))])
    z = rng.uniform(0, 1, len(xy))
    table = growth_table(list(SHAPES), stem=stem, winter=[1.0, 0.6, 1.0, 0.5])
    kind = rng.integers(0, 4, len(xy))
    rows = arrange_rows(*xy.T, z, kind, np.repeat([0, 1], [30, 12]), table)
    origin, target = rays_over(xy, 400, rng)
    origin[:40, :2] = target[:40, :2]  # upright ones
    expected = one_by_one(origin, target, np.column_stack([xy, z]), kind, table)
    assert np.array_equal(blocked_years(origin, target, rows, table), expected)
    assert (expected != 0).any()
    assert (expected == 0).any()


def test_many_and_few_rays_agree():
    rng = np.random.default_rng(9)
    xy = row_of(40)
    table = growth_table([CONE])
    rows = arrange_rows(*xy.T, 0 * xy[:, 0], np.zeros(40, int), np.zeros(40, int), table)
    origin, target = rays_over(xy, 30_000, rng)
    many = blocked_years(origin, target, rows, table)
    few = np.concatenate(
        [
            blocked_years(o, t, rows, table)
            for o, t in zip(np.split(origin, 3), np.split(target, 3), strict=True)
        ]
    )
    assert np.array_equal(many, few)


def scene(rng, shapes=SHAPES, stem=0.1, count=25):
    xy = row_of(count) + rng.normal(0, 0.2, (count, 2))
    table = growth_table(list(shapes), stem=stem)
    return xy, rng.integers(0, len(shapes), count), table


def masks_of(xy, kind, table, origin, target, row=None, order=None):
    order = np.arange(len(xy)) if order is None else order
    row = np.zeros(len(xy), int) if row is None else row
    rows = arrange_rows(*xy[order].T, np.zeros(len(xy)), kind[order], row[order], table)
    return blocked_years(origin, target, rows, table)


# Invariance. A turn rounds coordinates, so a ray that grazes may change: hardly any does.
@settings(max_examples=25, deadline=None)
@given(
    st.integers(0, 2**16),
    st.floats(0, 2 * math.pi),
    st.floats(-300, 300),
    st.floats(-300, 300),
    st.booleans(),
)
def test_turned_moved_and_mirrored(seed, angle, east, north, mirrored):
    rng = np.random.default_rng(seed)
    xy, kind, table = scene(rng)
    origin, target = rays_over(xy, 200, rng)
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    if mirrored:
        turn = turn @ np.diag([1.0, -1.0])

    def move(p):
        return np.column_stack([p[:, :2] @ turn.T + (east, north), p[:, 2:]])

    one = masks_of(xy, kind, table, origin, target)
    two = masks_of(move(xy), kind, table, move(origin), move(target))
    assert (one != two).sum() <= 1


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**16))
def test_order_of_plants_rows_and_way_of_travel(seed):
    rng = np.random.default_rng(seed)
    xy, kind, table = scene(rng)
    origin, target = rays_over(xy, 200, rng)
    one = masks_of(xy, kind, table, origin, target)
    order = rng.permutation(len(xy))
    assert np.array_equal(one, masks_of(xy, kind, table, origin, target, order=order))
    row = rng.integers(0, 3, len(xy))
    assert np.array_equal(one, masks_of(xy, kind, table, origin, target, row=row))
    # Reciprocity: what is closed one way is closed the other.
    assert (one != masks_of(xy, kind, table, target, origin)).sum() <= 1


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**16), st.integers(0, 24))
def test_one_more_plant_never_opens_a_ray(seed, left_out):
    rng = np.random.default_rng(seed)
    xy, kind, table = scene(rng)
    origin, target = rays_over(xy, 200, rng)
    every = masks_of(xy, kind, table, origin, target)
    keep = np.arange(len(xy)) != left_out
    fewer = masks_of(xy[keep], kind[keep], table, origin, target)
    assert not (fewer & ~every).any()


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**16), st.sampled_from([CONE, COLUMN, PARABOLOID]))
def test_growth_never_opens_a_ray_while_crowns_are_nested(seed, shape):
    rng = np.random.default_rng(seed)
    xy, kind, table = scene(rng, shapes=[shape], stem=0.0)
    assert table.pieces.shape[2] == 1  # nested in every year
    origin, target = rays_over(xy, 200, rng)
    masks = masks_of(xy, kind, table, origin, target)[:, 0]
    assert not (masks & ~(masks >> 1) & ((1 << (YEARS - 1)) - 1)).any()


# By hand: an ellipsoid of capped width. At 0.5 m up its half width is R sqrt(1 - ((z - h/2)/(h/2))^2),
# which is 0.866 m at h 2 (z a quarter up) and 0.661 at h 4 (an eighth): a ray 0.75 m beside the
# stem is open, then blocked, then open again.
def test_ray_that_opens_again_where_crowns_are_not_nested():
    h = np.array([0.4, 1.0, 2.0, 4.0, 8.0])[None, :, None]
    table = tabulate_crowns([ELLIPSOID], h, np.ones_like(h), 0 * h)
    rows = arrange_rows([0.0], [0.0], [0.0], [0], [0], table)
    masks = blocked_years(np.array([[-5.0, 0.75, 0.5]]), np.array([[5.0, 0.75, 0.5]]), rows, table)
    assert masks[0, 0, 0] == 0b00110
    light = open_light(masks, np.ones(1), table.leafless, 5)
    assert light[0, 0].tolist() == [1.0, 0.0, 0.0, 1.0, 1.0]


def test_light_is_summed_by_season():
    # By hand: two rays of weight 1 and 0.5; an oak that keeps 0.6 of its screening, then a yew.
    table = tabulate_crowns([0, 0], *np.ones((3, 1, 3, 2)), [0.6, 1.0])
    assert table.leafless.tolist() == [0.0, 0.4]
    assert table.layer.tolist() == [1, 0]
    masks = np.zeros((2, 2, 1), np.int64)
    masks[0, 1, 0] = 0b110  # the oak from year 1
    masks[0, 0, 0] = 0b100  # the yew from year 2
    masks[1, 0, 0] = 0b010  # the yew in year 1 only
    light = open_light(masks, np.array([1.0, 0.5]), table.leafless, 3)
    assert light[0, 0] == pytest.approx([1.5, 0.0, 0.5])
    assert light[0, 1] == pytest.approx([1.5, 0.4, 0.5])


def test_light_where_all_plants_drop_their_leaves():
    # By hand: 0.4 of the light passes in winter whatever stands in the way.
    table = tabulate_crowns([0], *np.ones((3, 1, 2, 1)), [0.6])
    light = open_light(np.array([[[0b10]]]), np.ones(1), table.leafless, 2)
    assert light[0].tolist() == [[1.0, 0.0], pytest.approx([1.0, 0.4])]


def test_without_plants_every_ray_is_open():
    table = growth_table([CONE])
    none = np.zeros(0)
    rows = arrange_rows(none, none, none, np.zeros(0, int), np.zeros(0, int), table)
    assert not blocked_years(np.zeros((3, 3)), np.ones((3, 3)), rows, table).any()


def in_plan(origin, target):
    """Start, direction, slope, 1 / slope and length of a sight line in plan."""
    way = target - origin
    reach = math.hypot(way[0], way[1])
    slope = way[2] / reach
    return *origin, way[0] / reach, way[1] / reach, slope, 1 / slope, reach


# Growth of cost, counted and not timed: a ray looks at as many plants in a row ten times as long.
def test_a_ray_looks_at_few_plants_however_long_the_row():
    table = growth_table([CONE])
    rng = np.random.default_rng(0)
    origin, target = rays_over(np.add(row_of(30), (150 * 1.1, 0)), 300, rng)
    looked = []
    for count in (300, 3000):
        xy = row_of(count)
        same = np.zeros(count, int)
        rows = arrange_rows(*xy.T, 0 * xy[:, 0], same, same, table)
        assert len(rows.axis) == 1
        number = 0
        for o, t in zip(origin, target, strict=True):
            first, last, high = strip_window(rows, 0, *in_plan(o, t))
            number += np.searchsorted(rows.along[first:last], high, side="right")
        looked.append(number)
    # The buckets of the two rows begin at other places: a plant more or less.
    assert looked[1] == pytest.approx(looked[0], rel=0.2)
    assert looked[1] / len(origin) < 25


# Closed form: columns that touch, side by side and many, are a wall of their height. The line from
# z 5 at 8 m on one side to z 1.2 at 4 m on the other is lowest over the far edge of the row.
def test_touching_columns_close_the_view_at_the_height_of_the_sight_line():
    height = np.linspace(0.5, 4.5, 41)[None, :, None]
    table = tabulate_crowns([COLUMN], height, np.full_like(height, 0.5), 0 * height)
    x = np.arange(-60, 60, 0.9)
    same = np.zeros(len(x), int)
    rows = arrange_rows(x, 0 * x, 0 * x, same, same, table)
    for east in (0.0, 0.31, 3.0):
        origin, target = np.array([[0.0, 8.0, 5.0]]), np.array([[east, -4.0, 1.2]])
        mask = int(blocked_years(origin, target, rows, table)[0, 0, 0])
        closes = [year for year in range(41) if mask >> year & 1]
        # Lowest over the row: where the line leaves the last column that it passes.
        d = (target - origin)[0]
        lows = []
        for foot in x:
            a, b = d[0] ** 2 + d[1] ** 2, (origin[0, 0] - foot) * d[0] + origin[0, 1] * d[1]
            e = (origin[0, 0] - foot) ** 2 + origin[0, 1] ** 2 - 0.25
            if b * b > a * e:
                lows.append(5.0 + d[2] * (-b + math.sqrt(b * b - a * e)) / a)
        expected = [year for year in range(41) if height[0, year, 0] > min(lows)]
        assert closes == expected
        assert 0 < len(expected) < 41


def mesh_of(trimesh, shape, h, r, c, sides=128, rings=64):
    """Triangulated crown: rings of points on the surface, closed at both ends."""
    z = c + (h - c) * 0.5 * (1 - np.cos(np.linspace(0, np.pi, rings)))
    angle = np.arange(sides) / sides * 2 * np.pi
    rho = shape_radius(shape, h, 2 * r, c, z)
    ring = np.stack(
        [
            np.outer(rho, np.cos(angle)),
            np.outer(rho, np.sin(angle)),
            np.repeat(z[:, None], sides, axis=1),
        ],
        axis=-1,
    ).reshape(-1, 3)
    points = np.vstack([ring, [[0, 0, c], [0, 0, h]]])
    k = np.arange(sides)
    nxt = (k + 1) % sides
    faces = []
    for low in range(rings - 1):
        base, top = low * sides, (low + 1) * sides
        faces += [
            np.stack([base + k, base + nxt, top + nxt], 1),
            np.stack([base + k, top + nxt, top + k], 1),
        ]
    end = rings * sides
    faces += [
        np.stack([nxt, k, np.full(sides, end)], 1),
        np.stack([end - sides + k, end - sides + nxt, np.full(sides, end + 1)], 1),
    ]  # fmt: skip
    return trimesh.Trimesh(points, np.concatenate(faces), process=False)


# Other software: a ray tracer on triangulated crowns.
@pytest.mark.skipif(
    not all(importlib.util.find_spec(name) for name in ("embreex", "trimesh")),
    reason="embreex and trimesh are not installed (optional group `trace`)",
)
@pytest.mark.parametrize("shape", SHAPES)
def test_agrees_with_a_ray_tracer(shape):
    trimesh = pytest.importorskip("trimesh")
    from trimesh.ray.ray_pyembree import RayMeshIntersector

    rng = np.random.default_rng(shape)
    h, r, c = 3.0, 0.8, 0.4
    xy = row_of(20, 1.3)
    one = mesh_of(trimesh, shape, h, r, c)
    scene = trimesh.util.concatenate([one.copy().apply_translation((x, y, 0.0)) for x, y in xy])
    table = tabulate_crowns([shape], *(np.full((1, 1, 1), size) for size in (h, r, c)))
    same = np.zeros(len(xy), int)
    rows = arrange_rows(*xy.T, 0 * xy[:, 0], same, same, table)
    # Long rays, so that the tracer's endless ones mean the same.
    origin, target = rays_over(xy, 20_000, rng, reach=60.0)
    ours = blocked_years(origin, target, rows, table)[:, 0, 0] == 1
    d = target - origin
    unit = d / np.linalg.norm(d, axis=1)[:, None]
    theirs = RayMeshIntersector(scene).intersects_any(origin, unit)
    assert 0.2 < ours.mean() < 0.98
    wrong = np.flatnonzero(ours != theirs)
    assert len(wrong) <= 0.001 * len(ours)
    # The rest graze: a crown smaller or larger by the triangulation error settles them.
    slack = 1.5 * r * (1 - math.cos(math.pi / 128)) + (h - c) * (math.pi / 64) ** 2
    for sign in (-1.0, 1.0):
        sizes = (h + sign * slack, r + sign * slack, c - sign * slack)
        other = tabulate_crowns([shape], *(np.full((1, 1, 1), size) for size in sizes))
        rows = arrange_rows(*xy.T, 0 * xy[:, 0], same, same, other)
        got = blocked_years(origin[wrong], target[wrong], rows, other)[:, 0, 0] == 1
        assert (got == (sign > 0)).all()
