"""What stands already, against plan geometry, closed forms and hand-made cases."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from crown_kit import ELLIPSOID, chord_length
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, box

from screenplan.ground.errors import InputError
from screenplan.site.terrain import Terrain
from screenplan.views.blocking import Ground, _first_below, first_ground, grid_panels
from screenplan.views.obstacles import AWNING, TREE_STEM_SHARE, lay_obstacles


def slope(z, x0=0.0, y0=0.0, dx=1.0, dy=1.0):
    return Terrain(np.asarray(z, float), x0, y0, dx, dy)


def houses(*shapes, height=6.0, **more):
    names = [f"house {k}" for k in range(len(shapes))]
    return gpd.GeoDataFrame(
        {"building_id": names, "height_m": height, **more}, geometry=list(shapes)
    )


def screens(kind, shape, height=2.0, **more):
    table = {"screen_id": ["s"], "kind": [kind], "height_m": [height]}
    return gpd.GeoDataFrame(table | {k: [v] for k, v in more.items()}, geometry=[shape])


def look(obstacles, origin, target):
    light, owner = obstacles.light_left(np.array([origin], float), np.array([target], float))
    return float(light[0]), obstacles.names[owner[0]] if owner[0] >= 0 else ""


def random_lines(rng, count, size=40.0, z=(0.5, 3.0)):
    ends = rng.uniform(0, size, (2, count, 2))
    heights = rng.uniform(*z, (2, count, 1))
    return np.concatenate([ends, heights], axis=2)


# Other library: vertical walls higher than all rays block exactly those whose plan line meets the
# footprint, by shapely.
def test_tall_walls_agree_with_shapely_in_plan():
    rng = np.random.default_rng(3)
    hole = box(0, 0, 8, 8).difference(box(2, 2, 6, 6))
    shapes = [
        shapely.affinity.translate(shapely.affinity.rotate(shape, angle, origin=(0, 0)), x, y)
        for shape, angle, x, y in (
            (box(0, 0, 4, 3), 20, 6, 7),
            (hole, 33, 22, 6),
            (Polygon([(0, 0), (9, 0), (9, 2), (2, 2), (2, 9), (0, 9)]), 70, 18, 24),
            (MultiPolygon([box(0, 0, 1, 1), box(3, 0, 4, 5)]), 0, 31, 30),
        )
    ]
    obstacles = lay_obstacles(houses(*shapes, height=50.0))
    origin, target = random_lines(rng, 20_000)
    light, owner = obstacles.light_left(origin, target)
    lines = shapely.linestrings(np.stack([origin[:, :2], target[:, :2]], axis=1))
    walls = [shapely.boundary(shape) for shape in shapes]
    meets = np.stack([shapely.intersects(lines, wall) for wall in walls])
    assert np.array_equal(light == 0.0, meets.any(axis=0))
    # The nearest one is named.
    for ray in np.flatnonzero(meets.sum(axis=0) > 1)[:300]:
        start = Point(origin[ray, :2])
        distance = [start.distance(lines[ray].intersection(wall)) for wall in walls]
        meeting = [d if m else np.inf for d, m in zip(distance, meets[:, ray], strict=True)]
        assert owner[ray] == int(np.argmin(meeting))


# Closed form: a ray from z 1 to z 9 over 16 m is at the wall 8 m away at height 5.
@pytest.mark.parametrize(("height", "light"), [(4.99, 1.0), (5.01, 0.0)])
def test_height_of_a_wall(height, light):
    obstacles = lay_obstacles(houses(box(8, -5, 8.5, 5), height=height))
    assert look(obstacles, (0, 0, 1), (16, 0, 9))[0] == light


def test_ray_that_comes_down_through_a_roof_leaves_by_a_wall():
    # By hand: enters over the near edge at z 5.5, leaves the far edge at z 4.5, roof at 5.
    obstacles = lay_obstacles(houses(box(5, -5, 15, 5), height=5.0))
    assert look(obstacles, (0, 0, 6), (20, 0, 4)) == (0.0, "house 0")


def test_height_from_storeys_and_from_the_floor_datum():
    # By hand: 2 storeys of 2.8 m on a datum of 3 m end at 8.6 m.
    house = houses(box(5, -5, 6, 5), height=np.nan, storeys=2, floor_m=3.0)
    obstacles = lay_obstacles(house)
    assert look(obstacles, (0, 0, 8.5), (10, 0, 8.5))[0] == 0.0
    assert look(obstacles, (0, 0, 8.7), (10, 0, 8.7))[0] == 1.0


def test_order_of_things_does_not_matter():
    rng = np.random.default_rng(5)
    shapes = [box(x, y, x + 3, y + 2) for x, y in rng.uniform(0, 36, (12, 2))]
    origin, target = random_lines(rng, 3000, z=(0.5, 9))
    one = lay_obstacles(houses(*shapes)).light_left(origin, target)
    two = lay_obstacles(houses(*shapes[::-1])).light_left(origin, target)
    assert np.array_equal(one[0], two[0])


@pytest.mark.parametrize(("cell", "most"), [(0.7, 10**6), (4.0, 65536), (500.0, 1)])
def test_grid_of_panels_does_not_change_the_answer(cell, most):
    rng = np.random.default_rng(11)
    ends = rng.uniform(0, 40, (60, 4))
    top = rng.uniform(0, 4, (60, 2))
    origin, target = random_lines(rng, 2000, size=60.0)
    origin[:, :2] -= 10
    target[:, :2] -= 10
    plain = lay_obstacles()
    obstacles = type(plain)(
        grid_panels(ends, top, np.arange(60), cell, most), plain.veils, plain.trees,
        plain.ground, (*map(str, range(60)), "terrain"),
    )  # fmt: skip
    light, owner = obstacles.light_left(origin, target)
    # Independent: every ray against every panel, by solving the 2 x 2 systems at once.
    d = (target - origin)[:, None, :]
    e = (ends[:, 2:] - ends[:, :2])[None]
    w = ends[None, :, :2] - origin[:, None, :2]
    turn = d[..., 0] * e[..., 1] - d[..., 1] * e[..., 0]
    t = (w[..., 0] * e[..., 1] - w[..., 1] * e[..., 0]) / turn
    u = (w[..., 0] * d[..., 1] - w[..., 1] * d[..., 0]) / turn
    z = origin[:, None, 2] + t * d[..., 2]
    hits = (t >= 0) & (t <= 1) & (u >= 0) & (u <= 1) & (z < top[:, 0] + u * (top[:, 1] - top[:, 0]))
    assert np.array_equal(light == 0.0, hits.any(axis=1))
    nearest = np.argmin(np.where(hits, t, 9.0), axis=1)
    assert np.array_equal(owner[light == 0.0], nearest[light == 0.0])


def test_fence_wall_and_hedge():
    line = LineString([(5, -5), (5, 5)])
    for kind, more in (("wall", {}), ("fence", {"width_m": 0.1}), ("hedge", {})):
        obstacles = lay_obstacles(None, screens(kind, line, 2.0, **more))
        assert look(obstacles, (0, 0, 1.9), (10, 0, 1.9)) == (0.0, "s")
        assert look(obstacles, (0, 0, 2.1), (10, 0, 2.1)) == (1.0, "")
        assert look(obstacles, (0, 6, 1.9), (10, 6, 1.9)) == (1.0, "")


def test_translucent_screen_counts_once():
    # By construction: a hedge has two faces, and lets 0.3 through, not 0.09; two hedges let 0.09.
    hedge = screens("hedge", box(5, -5, 6, 5), 2.0, opacity=0.7)
    assert look(lay_obstacles(None, hedge), (0, 0, 1), (10, 0, 1)) == (pytest.approx(0.3), "s")
    other = screens("hedge", box(7, -5, 8, 5), 2.0, opacity=0.7)
    both = pd.concat([hedge, other], ignore_index=True)
    assert look(lay_obstacles(None, both), (0, 0, 1), (10, 0, 1))[0] == pytest.approx(0.09)


def test_opaque_wall_behind_a_translucent_one_is_named():
    both = pd.concat(
        [screens("fence", LineString([(3, -5), (3, 5)]), opacity=0.5), screens("wall", LineString([(6, -5), (6, 5)]))],
        ignore_index=True,
    )  # fmt: skip
    both["screen_id"] = ["veil", "wall"]
    assert look(lay_obstacles(None, both), (0, 0, 1), (10, 0, 1)) == (0.0, "wall")


def test_kept_rows_are_no_obstacles():
    row = screens("plant", Point(5, 0), 3.0, width_m=2.0)
    assert look(lay_obstacles(None, row), (0, 0, 1), (10, 0, 1)) == (1.0, "")


def test_tree_is_an_ellipsoid_on_a_clear_stem():
    # Closed form: the chord test of the crowns decides, ray by ray.
    tree = screens("tree", Point(5, 5), 8.0, width_m=4.0)
    obstacles = lay_obstacles(None, tree)
    rng = np.random.default_rng(2)
    origin, target = random_lines(rng, 2000, size=10.0, z=(0, 9))
    light, _ = obstacles.light_left(origin, target)
    chords = np.array(
        [
            chord_length(ELLIPSOID, o, q, (5, 5, 0), 8.0, 2.0, 8.0 * TREE_STEM_SHARE)
            for o, q in zip(origin, target, strict=True)
        ]
    )
    assert np.array_equal(light == 0.0, chords > 0.0)
    assert 0 < (light == 0.0).sum() < len(light)


# Flat ground: closed form. Rays between points above a level never meet it.
def test_flat_ground_blocks_only_what_dips_under_it():
    obstacles = lay_obstacles(terrain=Terrain.flat(2.0))
    assert look(obstacles, (0, 0, 2.1), (50, 0, 2.1)) == (1.0, "")
    assert look(obstacles, (0, 0, 2.1), (50, 0, 1.9)) == (0.0, "terrain")


def test_level_raster_gives_the_flat_answer():
    rng = np.random.default_rng(1)
    grid = slope(np.full((30, 40), 1.5), -2.0, -2.0, 1.7, 1.3)
    origin, target = random_lines(rng, 4000, size=30.0, z=(1.0, 4.0))
    one = lay_obstacles(terrain=grid).light_left(origin, target)[0]
    two = lay_obstacles(terrain=Terrain.flat(1.5)).light_left(origin, target)[0]
    assert np.array_equal(one, two)


# By hand: a ridge of 4 m at x 10 between level ground. From z 2 at x 0 to z 2 at x 20 it is in the
# way; from z 2 to z 6.1 the line is at 4.05 m over the ridge; to z 5.9 at 3.95 m.
@pytest.mark.parametrize(("end", "light"), [(2.0, 0.0), (5.9, 0.0), (6.1, 1.0)])
def test_ridge(end, light):
    z = np.zeros((11, 21))
    z[:, 10] = 4.0
    obstacles = lay_obstacles(terrain=slope(z))
    got = look(obstacles, (0, 5.3, 2.0), (20, 5.3, end))
    assert got == (light, "" if light else "terrain")
    assert look(obstacles, (20, 5.3, end), (0, 5.3, 2.0))[0] == light
    turned = lay_obstacles(terrain=slope(z.T))
    assert look(turned, (5.3, 0, 2.0), (5.3, 20, end))[0] == light


# Closed form: on the slope z = x / 5 a line that falls towards it meets it where both are equal.
def test_slope_is_met_at_the_right_place():
    x = np.arange(41.0)
    ground = Ground(np.tile(x / 5, (11, 1)), np.array([0.0, 0.0, 1.0, 1.0]))
    t = first_ground(ground, 2.0, 5.0, 5.0, 30.0, 0.0, -2.0)  # 5 - 2 t = (2 + 30 t) / 5
    assert t == pytest.approx(4.6 / 8.0, abs=1e-9)


# By hand: lines that come from outside and end on the edge of level ground of 1 m, below it and above it.
@pytest.mark.parametrize(("end", "t"), [(0.9, 1.0), (1.1, 2.0)])
def test_a_line_that_ends_on_the_edge_of_the_terrain_is_stopped_there_by_what_is_above_it(end, t):
    ground = Ground(np.ones((11, 21)), np.array([0.0, 0.0, 1.0, 1.0]))
    assert first_ground(ground, -5.0, 5.0, 2.0, 5.0, 0.0, end - 2.0) == t
    assert first_ground(ground, 5.0, 15.0, 2.0, 0.0, -5.0, end - 2.0) == t


# Brute force: dense stepping along rays over rough ground.
def test_rough_ground_against_dense_stepping():
    rng = np.random.default_rng(4)
    grid = slope(rng.uniform(0, 2, (21, 21)), 0.0, 0.0, 2.0, 2.0)
    obstacles = lay_obstacles(terrain=grid)
    origin, target = random_lines(rng, 1500, size=40.0, z=(1.2, 3.0))
    light, _ = obstacles.light_left(origin, target)
    t = np.linspace(0, 1, 3000)
    for k in range(len(origin)):
        p = origin[k] + t[:, None] * (target[k] - origin[k])
        clearance = (p[:, 2] - grid.height_at(p[:, 0], p[:, 1])).min()
        if abs(clearance) > 1e-3:
            assert (light[k] == 0.0) == (clearance < 0.0)


def test_fence_follows_the_slope():
    # Closed form: ground z = x / 5, fence of 2 m along x: at x 20 its top is at 6 m.
    x = np.arange(41.0)
    terrain = slope(np.tile(x / 5, (21, 1)))
    fence = screens("fence", LineString([(1, 10), (39, 10)]))
    obstacles = lay_obstacles(None, fence, terrain)
    assert look(obstacles, (20, 5, 5.95), (20, 15, 5.95)) == (0.0, "s")
    assert look(obstacles, (20, 5, 6.05), (20, 15, 6.05)) == (1.0, "")
    assert look(obstacles, (5, 5, 2.95), (5, 15, 2.95)) == (0.0, "s")
    assert look(obstacles, (5, 5, 3.05), (5, 15, 3.05)) == (1.0, "")


# By hand: a house of 8 by 4 m, eaves 3, ridge 5 along y = 2. The roof is 1 m up per metre.
GABLE = {"height": 3.0, "roof": "ridge", "ridge_m": 5.0}


@pytest.mark.parametrize(
    ("origin", "target", "light"),
    [
        # Along the house, over the ridge's line and a metre beside it, where the roof is at 4.
        ((-5, 2, 4.9), (15, 2, 4.9), 0.0),
        ((-5, 2, 5.1), (15, 2, 5.1), 1.0),
        ((-5, 1, 3.9), (15, 1, 3.9), 0.0),
        ((-5, 1, 4.1), (15, 1, 4.1), 1.0),
        # Across it: only the ridge is in the way above the eaves.
        ((4, -5, 4.9), (4, 9, 4.9), 0.0),
        ((4, -5, 5.1), (4, 9, 5.1), 1.0),
        # Down one slope and along it, just above and just below.
        ((4, 3, 4.1), (4, 6, 1.1), 1.0),
        ((4, 3, 3.9), (4, 6, 0.9), 0.0),
    ],
)
def test_roof_with_a_ridge(origin, target, light):
    obstacles = lay_obstacles(houses(box(0, 0, 8, 4), **GABLE))
    assert look(obstacles, origin, target)[0] == light
    assert look(obstacles, target, origin)[0] == light


# Brute force: dense stepping through the solid under a roof over an L with a yard, turned.
def test_ridge_roofs_against_dense_stepping():
    shape = shapely.union(box(0, 0, 12, 5), box(0, 0, 5, 9)).difference(box(2, 2, 3, 3))
    turn = 0.5
    c, s = np.cos(turn), np.sin(turn)
    turned = shapely.affinity.rotate(shape, turn, origin=(0, 0), use_radians=True)
    obstacles = lay_obstacles(houses(turned, **GABLE))
    rng = np.random.default_rng(8)
    origin, target = (rng.uniform((-6, -6, 0), (18, 15, 7), (1500, 3)) for _ in range(2))
    light, _ = obstacles.light_left(origin @ [[c, s, 0], [-s, c, 0], [0, 0, 1]],
                                    target @ [[c, s, 0], [-s, c, 0], [0, 0, 1]])  # fmt: skip
    t = np.linspace(0, 1, 2001)
    p = origin[:, None] + t[None, :, None] * (target - origin)[:, None]
    # The smallest rectangle is 12 by 9: the ridge runs at y = 4.5, the roof falls over 4.5 m.
    roof = 3.0 + 2.0 * np.clip(1.0 - np.abs(p[..., 1] - 4.5) / 4.5, 0, 1)
    inside = shapely.contains_xy(shape, p[..., 0], p[..., 1])
    deep = (inside & (p[..., 2] < roof - 0.01)).any(axis=1)
    grazed = (
        shapely.contains_xy(shape.buffer(0.01), p[..., 0], p[..., 1]) & (p[..., 2] < roof + 0.01)
    ).any(axis=1)
    # A ray that begins and ends inside without crossing anything is no sight line.
    outdoors = ~(inside[:, 0] & (p[:, 0, 2] < roof[:, 0])) & ~(
        inside[:, -1] & (p[:, -1, 2] < roof[:, -1])
    )
    assert outdoors.sum() > 1000
    assert (light[deep & outdoors] == 0.0).all()
    assert (light[~grazed & outdoors] == 1.0).all()
    assert 200 < (deep & outdoors).sum() < 1200


# Invariance: no opaque thing, leaf or hill lets more through one way than the other.
def test_what_stops_a_ray_stops_it_the_other_way():
    rng = np.random.default_rng(12)
    ground = slope(rng.uniform(0, 1.2, (21, 21)), 0.0, 0.0, 2.0, 2.0)
    things = pd.concat(
        [screens("tree", Point(12, 30), 6.0, opacity=0.6), screens("hedge", LineString([(5, 5), (9, 30)]), 1.9, opacity=0.8),
         screens("wall", LineString([(25, 3), (30, 14)]), 2.2)],
        ignore_index=True,
    )  # fmt: skip
    obstacles = lay_obstacles(houses(box(15, 15, 23, 19), **GABLE), things, ground)
    origin, target = random_lines(rng, 4000, z=(1.4, 5.0))
    there, back = obstacles.light_left(origin, target)[0], obstacles.light_left(target, origin)[0]
    assert there == pytest.approx(back)
    assert {0.0, 1.0} < set(there.round(3))
    assert 0.1 < (there == 0.0).mean() < 0.9


def test_terrain_goes_on_at_the_height_of_its_edge():
    # By hand: a grid of 20 m whose eastern edge is 2 m high; 30 m farther the ground is as high.
    grid = slope(np.tile(np.linspace(0.0, 2.0, 11), (11, 1)), 0.0, 0.0, 2.0, 2.0)
    ray = (25.0, 10.0, 3.0), (60.0, 10.0, 1.5)
    assert look(lay_obstacles(terrain=grid), *ray)[0] == 1.0
    wider = lay_obstacles(terrain=grid, within=(0.0, 0.0, 60.0, 20.0))
    assert look(wider, *ray) == (0.0, "terrain")
    assert look(wider, (25.0, 10.0, 3.0), (60.0, 10.0, 2.1))[0] == 1.0
    rng = np.random.default_rng(6)
    origin, target = random_lines(rng, 1000, size=20.0, z=(0.5, 3.0))
    inside = lay_obstacles(terrain=grid).light_left(origin, target)[0]
    assert np.array_equal(inside, wider.light_left(origin, target)[0])
    with pytest.raises(InputError, match=r"terrain ends .* before what is looked at"):
        lay_obstacles(terrain=grid, within=(-1e7, -1e7, 1e7, 1e7))


def test_bad_rows_are_refused_by_row():
    lost = houses(box(0, 0, 1, 1), box(2, 0, 3, 1))
    lost["height_m"] = [3.0, np.nan]
    with pytest.raises(InputError, match=r"layer buildings, row 2: .*neither a height nor storeys"):
        lay_obstacles(lost)
    with pytest.raises(
        InputError, match="layer existing_screens, row 1: an existing screen has no"
    ):
        lay_obstacles(None, screens("hedge", LineString([(0, 0), (1, 1)]), np.nan))
    with pytest.raises(InputError, match="drawn as a point has no length"):
        lay_obstacles(None, screens("wall", Point(0, 0)))
    with pytest.raises(InputError, match="opacity is not between 0 and 1"):
        lay_obstacles(None, screens("hedge", LineString([(0, 0), (1, 1)]), opacity=40.0))
    with pytest.raises(InputError, match="row 1: a building has no outline"):
        lay_obstacles(houses(Polygon()))
    with pytest.raises(InputError, match="row 1: a width is no number"):
        lay_obstacles(None, screens("tree", Point(0, 0), width_m=np.inf))
    with pytest.raises(InputError, match="row 1: an existing screen has no shape"):
        lay_obstacles(None, screens("hedge", None))
    for ridge in (np.nan, 2.0, 3.0):
        with pytest.raises(InputError, match="row 1: a roof has a ridge, but no height of it"):
            lay_obstacles(houses(box(0, 0, 8, 4), height=3.0, roof="ridge", ridge_m=ridge))


@given(
    st.floats(-3.0, 3.0), st.floats(-3.0, 3.0), st.floats(-3.0, 3.0), st.floats(0.0, 0.4), st.floats(0.6, 1.0)
)  # fmt: skip
def test_where_a_parabola_first_falls_below_is_its_first_root(k2, k1, k0, low, high):
    """Another library: numpy's roots; of even steps none is below before it, and it is at one or at the begin."""
    found = _first_below(k2, k1, k0, low, high)
    roots = (
        np.roots([k2, k1, k0])
        if abs(k2) > 1e-6
        else np.array([-k0 / k1 if abs(k1) > 1e-6 else 2.0])
    )
    steps = np.linspace(low, high, 2001)
    below = (k2 * steps + k1) * steps + k0 < -1e-6
    if found == 2.0:
        assert not below.any()
        return
    assert low <= found <= high
    assert not below[steps < found - 1e-6].any()
    if found > low:
        assert abs((k2 * found + k1) * found + k0) < 1e-6
        if abs(k2) > 1e-3:
            assert np.abs(roots - found).min() < 1e-3


@pytest.mark.parametrize(("kind", "count"), [(AWNING, 1), ("fence", 0), ("wall", 0)])
def test_an_awning_alone_is_one(kind, count):
    shape = box(0, 0, 2, 2) if kind == AWNING else LineString([(0, 0), (2, 0)])
    assert len(lay_obstacles(None, screens(kind, shape)).awnings) == count


# Invariant: what is left out meets no ray that stays in the box.
@given(st.integers(0, 2**32 - 1))
def test_rays_in_a_box_meet_what_stands_about_it(seed):
    rng = np.random.default_rng(seed)
    around = [
        screens(kind, shape, height=4.0, width_m=1.0, opacity=opacity)
        for kind, shape, opacity in [
            *(("tree", Point(*at), 0.5) for at in rng.uniform(0, 80, (12, 2))),
            *(("hedge", LineString(ends), 0.7) for ends in rng.uniform(0, 80, (6, 2, 2))),
            *((AWNING, box(x, y, x + 3, y + 2), 1.0) for x, y in rng.uniform(0, 80, (4, 2))),
        ]
    ]
    layer = gpd.GeoDataFrame(pd.concat(around, ignore_index=True), geometry="geometry")
    footprints = [box(x, y, x + 5, y + 4) for x, y in rng.uniform(0, 80, (12, 2))]
    whole = lay_obstacles(houses(*footprints, height=3.0), layer)
    lines = np.add(random_lines(rng, 300, size=25.0, z=(0.5, 5.0)), [30.0, 20.0, 0.0])
    some = whole.within((30.0, 20.0, 55.0, 45.0))
    assert len(some.panels.ends) < len(whole.panels.ends)
    for told, left in zip(whole.light_left(*lines), some.light_left(*lines), strict=True):
        assert np.array_equal(told, left)
