"""The kernel over rows of plants: its plain version, invariances, a ray tracer."""

import math
import sys
from pathlib import Path

import numpy as np
import pytest
from crown_kit import BOX, COLUMN, CONE, ELLIPSOID, PARABOLOID, POWERS, named
from crown_kit import ROUND as SHAPES
from hypothesis import given, settings
from hypothesis import strategies as st

from screenplan.views import plain
from screenplan.views.bundle import ROOM, come_near, lay_bundle, new_bundle
from screenplan.views.crowns import tabulate_crowns
from screenplan.views.kernel import (
    arrange_runs,
    blocked_years,
    follow_years,
    open_light,
    strip_window,
)
from screenplan.views.solids import LEVEL_PER

sys.path.insert(0, str(Path(__file__).parent.parent))
from benchmarks import tracer

YEARS = 12
#: Crowns whose exponents differ by growth, beside others.
BY_GROWTH = ((POWERS[3], POWERS[2], POWERS[1]), CONE, (CONE, POWERS[4], PARABOLOID), POWERS[0])


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


@pytest.mark.parametrize("bend", [0.0, 9.0])
@pytest.mark.parametrize("stem", [0.0, 0.15])
@pytest.mark.parametrize("shapes", [SHAPES, BY_GROWTH], ids=["plain", "by growth"])
def test_agrees_with_the_plain_version(bend, stem, shapes):
    rng = np.random.default_rng(8)
    xy = np.vstack([row_of(30, bend=bend), np.add(row_of(12, 1.3), (0.0, 6.0))])
    z = rng.uniform(0, 1, len(xy))
    crowns = growth_table(
        list(shapes), stem=stem, winter=np.resize([1.0, 0.6, 1.0, 0.5], len(shapes))
    )
    kind = rng.integers(0, len(shapes), len(xy))
    runs = arrange_runs(*xy.T, z, kind, np.repeat([0, 1], [30, 12]), crowns)
    origin, target = rays_over(xy, 400, rng)
    origin[:40, :2] = target[:40, :2]  # upright ones
    expected = plain.blocked_years(origin, target, np.column_stack([xy, z]), kind, crowns, shapes)
    assert np.array_equal(blocked_years(origin, target, runs, crowns), expected)
    assert (expected != 0).any()
    assert (expected == 0).any()


# Brute force: sight lines steeper than the sides of cones, which they may meet below a stem that
# they pass above its top.
@pytest.mark.parametrize("stem", [0.0, 0.15])
@pytest.mark.parametrize("shapes", [SHAPES, BY_GROWTH], ids=["plain", "by growth"])
def test_sight_lines_steeper_than_the_crowns(stem, shapes):
    rng = np.random.default_rng(18)
    xy = row_of(15)
    crowns = growth_table(list(shapes), stem=stem)
    kind = np.arange(15) % len(SHAPES)
    runs = arrange_runs(*xy.T, 0 * xy[:, 0], kind, np.zeros(15, int), crowns)
    origin, target = rays_over(xy, 600, rng, reach=1.5)
    origin[:, 2] = rng.uniform(5, 30, 600)
    target[:, 2] = rng.uniform(-5, 1, 600)
    expected = plain.blocked_years(
        origin, target, np.column_stack([xy, 0 * xy[:, 0]]), kind, crowns, shapes
    )
    assert np.array_equal(blocked_years(origin, target, runs, crowns), expected)
    assert (expected != 0).sum() > 300


def test_many_and_few_rays_agree():
    rng = np.random.default_rng(9)
    xy = row_of(40)
    crowns = growth_table([CONE])
    runs = arrange_runs(*xy.T, 0 * xy[:, 0], np.zeros(40, int), np.zeros(40, int), crowns)
    origin, target = rays_over(xy, 30_000, rng)
    many = blocked_years(origin, target, runs, crowns)
    few = np.concatenate(
        [
            blocked_years(o, t, runs, crowns)
            for o, t in zip(np.split(origin, 3), np.split(target, 3), strict=True)
        ]
    )
    assert np.array_equal(many, few)


def scene(rng, shapes=SHAPES, stem=0.1, count=25):
    xy = row_of(count) + rng.normal(0, 0.2, (count, 2))
    crowns = growth_table(list(shapes), stem=stem)
    return xy, rng.integers(0, len(shapes), count), crowns


def masks_of(xy, kind, crowns, origin, target, row=None, order=None):
    order = np.arange(len(xy)) if order is None else order
    row = np.zeros(len(xy), int) if row is None else row
    runs = arrange_runs(*xy[order].T, np.zeros(len(xy)), kind[order], row[order], crowns)
    return blocked_years(origin, target, runs, crowns)


# Invariance. A turn rounds coordinates, so a ray that grazes may change: hardly any does.
@settings(max_examples=25)
@given(
    st.integers(0, 2**16),
    st.floats(0, 2 * math.pi),
    st.floats(-300, 300),
    st.floats(-300, 300),
    st.booleans(),
)
def test_turned_moved_and_mirrored(seed, angle, east, north, mirrored):
    rng = np.random.default_rng(seed)
    xy, kind, crowns = scene(rng)
    origin, target = rays_over(xy, 200, rng)
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    if mirrored:
        turn = turn @ np.diag([1.0, -1.0])

    def move(p):
        return np.column_stack([p[:, :2] @ turn.T + (east, north), p[:, 2:]])

    one = masks_of(xy, kind, crowns, origin, target)
    two = masks_of(move(xy), kind, crowns, move(origin), move(target))
    assert (one != two).sum() <= 1


@settings(max_examples=25)
@given(st.integers(0, 2**16))
def test_order_of_plants_rows_and_way_of_travel(seed):
    rng = np.random.default_rng(seed)
    xy, kind, crowns = scene(rng)
    origin, target = rays_over(xy, 200, rng)
    one = masks_of(xy, kind, crowns, origin, target)
    order = rng.permutation(len(xy))
    assert np.array_equal(one, masks_of(xy, kind, crowns, origin, target, order=order))
    row = rng.integers(0, 3, len(xy))
    assert np.array_equal(one, masks_of(xy, kind, crowns, origin, target, row=row))
    # Reciprocity: what is closed one way is closed the other.
    assert (one != masks_of(xy, kind, crowns, target, origin)).sum() <= 1


@settings(max_examples=25)
@given(st.integers(0, 2**16), st.integers(0, 24))
def test_one_more_plant_never_opens_a_ray(seed, left_out):
    rng = np.random.default_rng(seed)
    xy, kind, crowns = scene(rng)
    origin, target = rays_over(xy, 200, rng)
    every = masks_of(xy, kind, crowns, origin, target)
    keep = np.arange(len(xy)) != left_out
    fewer = masks_of(xy[keep], kind[keep], crowns, origin, target)
    assert not (fewer & ~every).any()


@settings(max_examples=25)
@given(st.integers(0, 2**16), st.sampled_from([CONE, COLUMN, PARABOLOID, *POWERS]))
def test_growth_never_opens_a_ray_while_crowns_are_nested(seed, shape):
    rng = np.random.default_rng(seed)
    xy, kind, crowns = scene(rng, shapes=[shape], stem=0.0)
    assert crowns.nested.shape[2] == 1  # nested in every year
    origin, target = rays_over(xy, 200, rng)
    masks = masks_of(xy, kind, crowns, origin, target)[:, 0]
    assert not (masks & ~(masks >> 1) & ((1 << (YEARS - 1)) - 1)).any()


# By hand: an ellipsoid of capped width. At 0.5 m up its half width is R sqrt(1 - ((z - h/2)/(h/2))^2),
# which is 0.866 m at h 2 (z a quarter up) and 0.661 at h 4 (an eighth): a ray 0.75 m beside the
# stem is open, then blocked, then open again.
def test_ray_that_opens_again_where_crowns_are_not_nested():
    h = np.array([0.4, 1.0, 2.0, 4.0, 8.0])[None, :, None]
    crowns = tabulate_crowns([ELLIPSOID], h, np.ones_like(h), 0 * h)
    runs = arrange_runs([0.0], [0.0], [0.0], [0], [0], crowns)
    masks = blocked_years(np.array([[-5.0, 0.75, 0.5]]), np.array([[5.0, 0.75, 0.5]]), runs, crowns)
    assert masks[0, 0, 0] == 0b00110
    light = open_light(masks, np.ones(1), crowns.leafless, 5)
    assert light[0, 0].tolist() == [1.0, 0.0, 0.0, 1.0, 1.0]


def test_light_is_summed_by_season():
    # By hand: two rays of weight 1 and 0.5; an oak that keeps 0.6 of its screening, then a yew.
    crowns = tabulate_crowns([CONE, CONE], *np.ones((3, 1, 3, 2)), [0.6, 1.0])
    assert crowns.leafless.tolist() == [0.0, 0.4]
    assert crowns.layer.tolist() == [1, 0]
    masks = np.zeros((2, 2, 1), np.int64)
    masks[0, 1, 0] = 0b110  # the oak from year 1
    masks[0, 0, 0] = 0b100  # the yew from year 2
    masks[1, 0, 0] = 0b010  # the yew in year 1 only
    light = open_light(masks, np.array([1.0, 0.5]), crowns.leafless, 3)
    assert light[0, 0] == pytest.approx([1.5, 0.0, 0.5])
    assert light[0, 1] == pytest.approx([1.5, 0.4, 0.5])


def test_light_where_all_plants_drop_their_leaves():
    # By hand: 0.4 of the light passes in winter whatever stands in the way.
    crowns = tabulate_crowns([CONE], *np.ones((3, 1, 2, 1)), [0.6])
    light = open_light(np.array([[[0b10]]]), np.ones(1), crowns.leafless, 2)
    assert light[0].tolist() == [[1.0, 0.0], pytest.approx([1.0, 0.4])]


def test_without_plants_every_ray_is_open():
    crowns = growth_table([CONE])
    none = np.zeros(0)
    runs = arrange_runs(none, none, none, np.zeros(0, int), np.zeros(0, int), crowns)
    assert not blocked_years(np.zeros((3, 3)), np.ones((3, 3)), runs, crowns).any()


def in_plan(origin, target):
    """Start, direction, slope, 1 / slope and length of a sight line in plan."""
    way = target - origin
    reach = math.hypot(way[0], way[1])
    slope = way[2] / reach
    return *origin, way[0] / reach, way[1] / reach, slope, 1 / slope, reach


# By hand: crowns of the last year stand from 0.1 of their height up to it.
def test_a_level_ray_over_or_under_all_crowns_looks_at_no_plant():
    crowns = growth_table([CONE])
    xy = row_of(30)
    same = np.zeros(len(xy), int)
    runs = arrange_runs(*xy.T, 0 * xy[:, 0], same, same, crowns)
    top, foot = crowns.height.max(), crowns.clear.min()
    for z, looks in (
        (top + 0.1, False),
        (top - 0.1, True),
        (foot + 0.01, True),
        (foot - 0.01, False),
    ):
        first, last, high = strip_window(runs, 0, 15.0, -5.0, z, 0.0, 1.0, 0.0, LEVEL_PER, 10.0)
        assert (runs.along[first:last] <= high).any() == looks, z


# Invariant: the kernel, asked year by year, finds the first year between the two that are foretold.
def test_both_years_are_foretold_of_a_ray_that_passes_the_stem_within_the_crown():
    crowns = growth_table([CONE])
    runs = arrange_runs([0.0], [0.0], [0.0], [0], [0], crowns)
    for z, is_told in ((0.5, True), (crowns.height.max() + 0.5, False)):
        origin, target = np.array([[-6.0, 0.1, z]]), np.array([[6.0, 0.1, z]])
        bundle = new_bundle(runs, crowns)
        lay_bundle(0, 1, origin.reshape(-1), target.reshape(-1), np.ones(1), runs, bundle)
        *_, listed = come_near(0, 0, 0, 1, runs, crowns, bundle)
        told = crowns.foretold.reshape(-1, 2)
        masks = blocked_years(origin, target, runs, crowns)[0, 0]
        for g, mask in enumerate(masks):
            if not is_told:
                assert listed == mask == 0
                continue
            early, late = told[bundle.early[0], 0], told[bundle.late[0], 1]
            first = int(mask & -mask).bit_length() - 1
            assert early >> 8 * g & 0x7F <= first <= late >> 8 * g & 0x7F < YEARS


# Growth of cost, counted and not timed: a ray looks at as many plants in a row ten times as long.
def test_a_ray_looks_at_few_plants_however_long_the_row():
    crowns = growth_table([CONE])
    rng = np.random.default_rng(0)
    origin, target = rays_over(np.add(row_of(30), (150 * 1.1, 0)), 300, rng)
    looked = []
    for count in (300, 3000):
        xy = row_of(count)
        same = np.zeros(count, int)
        runs = arrange_runs(*xy.T, 0 * xy[:, 0], same, same, crowns)
        assert len(runs.axis) == 1
        number = 0
        for o, t in zip(origin, target, strict=True):
            first, last, high = strip_window(runs, 0, *in_plan(o, t))
            number += np.searchsorted(runs.along[first:last], high, side="right")
        looked.append(number)
    # The buckets of the two rows begin at other places: a plant more or less.
    assert looked[1] == pytest.approx(looked[0], rel=0.2)
    assert looked[1] / len(origin) < 25


# Closed form: columns that touch, side by side and many, are a wall of their height. The line from
# z 5 at 8 m on one side to z 1.2 at 4 m on the other is lowest over the far edge of the row.
def test_touching_columns_close_the_view_at_the_height_of_the_sight_line():
    height = np.linspace(0.5, 4.5, 41)[None, :, None]
    crowns = tabulate_crowns([COLUMN], height, np.full_like(height, 0.5), 0 * height)
    x = np.arange(-60, 60, 0.9)
    same = np.zeros(len(x), int)
    runs = arrange_runs(x, 0 * x, 0 * x, same, same, crowns)
    for east in (0.0, 0.31, 3.0):
        origin, target = np.array([[0.0, 8.0, 5.0]]), np.array([[east, -4.0, 1.2]])
        mask = int(blocked_years(origin, target, runs, crowns)[0, 0, 0])
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


# Other software: a ray tracer on the coarsest triangulated crowns that agree, any hit, one call for
# all rays. It is the baseline of the bench.
@pytest.mark.skipif(
    not tracer.is_there(), reason="embreex is not installed (optional group `trace`)"
)
@pytest.mark.parametrize("shape", [*SHAPES, *POWERS[1:]], ids=named)
@pytest.mark.evidence(
    part="Crowns, rays and terrain",
    kind="other software",
    against="40,000 sight lines through a row of each shape of crown: a ray tracer on triangulated crowns",
    source="embreex (Embree), through trimesh",
    status="run",
    tolerance=f"{tracer.AGREEMENT:.1%} of the rays; crowns smaller or larger by the error of the triangles settle the rest",
)
def test_agrees_with_a_ray_tracer(shape):
    rng = np.random.default_rng([*SHAPES, *POWERS[1:]].index(shape))
    h, r, c = 3.0, 0.8, 0.4
    xy = row_of(20, 1.3)
    crowns = tabulate_crowns([shape], *(np.full((1, 1, 1), size) for size in (h, r, c)))
    same = np.zeros(len(xy), int)
    runs = arrange_runs(*xy.T, 0 * xy[:, 0], same, same, crowns)
    origin, target = rays_over(xy, 40_000, rng)
    ours = blocked_years(origin, target, runs, crowns)[:, 0, 0] == 1
    assert 0.2 < ours.mean() < 0.98
    rays, feet = tracer.Rays.between(origin, target), np.column_stack([xy, 0 * xy[:, 0]])
    for sides in tracer.SIDES:
        hit = rays.hit(tracer.build(tracer.row_triangles(feet, shape, h, r, c, sides)))
        if (hit == ours).mean() >= tracer.AGREEMENT:
            break
    assert (hit == ours).mean() >= tracer.AGREEMENT
    assert sides <= 96
    wrong = np.flatnonzero(ours != hit)
    # The rest graze, or end at a surface: a crown smaller or larger by the triangulation error
    # settles them.
    slack = tracer.triangulation_error(shape, h, r, c, sides)
    assert slack < 0.02
    for sign in (-1.0, 1.0):
        sizes = (h + sign * slack, r + sign * slack, c - sign * slack)
        other = tabulate_crowns([shape], *(np.full((1, 1, 1), size) for size in sizes))
        runs = arrange_runs(*xy.T, 0 * xy[:, 0], same, same, other)
        got = blocked_years(origin[wrong], target[wrong], runs, other)[:, 0, 0] == 1
        assert (got == (sign > 0)).all()


# Brute force: each box by itself, turned with its row.
@pytest.mark.parametrize("stem", [0.0, 0.1])
def test_boxes_along_a_bent_row(stem):
    rng = np.random.default_rng(12)
    xy = row_of(15, 0.9, bend=6.0)
    t = np.arange(YEARS)[:, None]
    h = np.stack([0.6 + g * t for g in (0.2, 0.35, 0.5)])
    crowns = tabulate_crowns([BOX], h, np.minimum(0.25 * h, 0.6), stem * h, across=0.1 * h)
    same = np.zeros(15, int)
    runs = arrange_runs(*xy.T, 0 * xy[:, 0], same, same, crowns)
    origin, target = rays_over(xy, 60, rng)
    target[:15] = origin[:15] - np.array([0.0, 0.0, 1.0])  # upright
    target[15:40] = xy[rng.integers(0, 15, 25)].repeat(1, 0)[:, [0, 1, 1]] + rng.normal(0, 0.3, 3)
    masks = blocked_years(origin, target, runs, crowns)[:, 0]
    assert (crowns.nested.shape[2] == 1) == (stem == 0.0)
    feet = np.column_stack([runs.x, runs.y, runs.z])
    expected = plain.blocked_years(origin, target, feet, runs.kind, crowns, [BOX], runs.way)
    assert np.array_equal(masks, expected[:, 0])
    assert (masks != 0).any()
    assert (masks == 0).any()


# Invariant: one pass gives the sums that the masks give.
@pytest.mark.parametrize("winter", [None, np.resize([1.0, 0.6, 0.6, 1.0], len(SHAPES))])
@pytest.mark.parametrize("rays", [500, 25_000])
def test_one_pass_sums_what_the_masks_say(winter, rays):
    rng = np.random.default_rng(13)
    xy = row_of(30)
    crowns = growth_table(list(SHAPES), winter=winter)
    kind = np.arange(30) % len(SHAPES)
    runs = arrange_runs(*xy.T, 0 * xy[:, 0], kind, np.zeros(30, int), crowns)
    origin, target = rays_over(xy, rays, rng)
    light = np.where(rng.random(rays) < 0.2, 0.0, rng.random(rays))
    passes, masks = follow_years(origin, target, light, runs, crowns)
    assert passes == pytest.approx(open_light(masks, light, crowns.leafless, YEARS), abs=1e-8)
    assert passes == pytest.approx(
        follow_years(origin, target, light, runs, crowns, keep=False)[0], abs=1e-8
    )
    stopped = np.bitwise_or.reduce(masks, axis=1)[:, 1] >> 7 & 1
    assert passes[1, 0, 7] == pytest.approx(light[stopped == 0].sum(), abs=1e-8)


# Brute force: crowns that stop growing in different years, which are tested no later than that.
def test_crowns_that_stop_growing():
    rng = np.random.default_rng(21)
    xy = row_of(20)
    t = np.arange(YEARS)[:, None]
    h = np.stack([np.minimum(0.6 + g * t, [1.5, 2.5, 2.0, 3.0]) for g in (0.1, 0.35, 1.0)])
    shapes = SHAPES[:4]
    crowns = tabulate_crowns(list(shapes), h, 0.25 * h, 0.1 * h)
    assert (crowns.settled == [[9, 3, 1], [11, 6, 2], [11, 4, 2], [11, 7, 3]]).all()
    kind = np.arange(20) % len(shapes)
    runs = arrange_runs(*xy.T, 0 * xy[:, 0], kind, np.zeros(20, int), crowns)
    origin, target = rays_over(xy, 500, rng)
    expected = plain.blocked_years(
        origin, target, np.column_stack([xy, 0 * xy[:, 0]]), kind, crowns, shapes
    )
    assert np.array_equal(blocked_years(origin, target, runs, crowns), expected)
    assert (expected != 0).sum() > 200


# By hand: a level line at the height of a crown's lowest leaves, or of its top, touches it only.
def test_level_line_along_the_end_of_a_crown():
    crowns = tabulate_crowns([COLUMN], *(np.full((1, 1, 1), size) for size in (2.0, 1.0, 0.5)))
    runs = arrange_runs([0.0], [0.0], [0.0], [0], [0], crowns)
    for z, expected in ((0.5, 0), (0.6, 1), (2.0, 0), (0.4, 0), (2.1, 0)):
        line = np.array([[-5.0, 0.2, z]]), np.array([[5.0, 0.2, z]])
        assert blocked_years(*line, runs, crowns)[0, 0, 0] == expected


def test_growths_beyond_a_word_are_refused():
    with pytest.raises(ValueError, match="at most 4 growths"):
        tabulate_crowns([CONE], *np.ones((3, 5, 2, 1)))


def test_more_plants_along_a_ray_than_are_listed_at_once():
    """Brute force: the plain version, where a ray passes along more plants than the core has room for."""
    xy = row_of(ROOM + 50, 0.05)
    crowns = growth_table([CONE], cap=0.3)
    z, kind = np.zeros(len(xy)), np.zeros(len(xy), int)
    along = np.linspace(-0.2, 0.2, 9)
    heights = np.linspace(0.3, 6.0, 9)
    origin = np.column_stack([np.full(9, -1.0), along, heights])
    target = np.column_stack([np.full(9, xy[-1, 0] + 1.0), -along, heights])
    found = blocked_years(origin, target, arrange_runs(*xy.T, z, kind, 0 * kind, crowns), crowns)
    expected = plain.blocked_years(origin, target, np.column_stack([xy, z]), kind, crowns, [CONE])
    assert np.array_equal(found, expected)
    assert len(np.unique(expected)) > 3
