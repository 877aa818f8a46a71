"""The rays of many views at once are those of each view alone."""

import numpy as np
import pytest
from test_views import GARDEN, HOUSE, LINE, SHUT, TABLE, row, windows

from screenplan.planting.stand import stand_of
from screenplan.views.grown import crowns_of, runs_of
from screenplan.views.openings import OPENING
from screenplan.views.sampling import rays_through
from screenplan.views.sight import lay_sight
from screenplan.views.timeline import Scene, follow, follow_each, sum_each, sum_up
from screenplan.views.together import Ends, as_numbers, pairs_of, rays_of

#: Sums of at most some thousand shares, each good to 1e-16.
SUM = 1e-12
COUNT = 60


def openings(count, seed=0):
    """Windows in all directions, and one in three places nothing that is looked through."""
    rng = np.random.default_rng(seed)
    made = np.zeros(count, OPENING).view(np.recarray)
    angle = rng.uniform(0.0, 2.0 * np.pi, count)
    made["out"] = np.column_stack([np.cos(angle), np.sin(angle)])
    for name, low, high in (
        ("x", -9, 9), ("y", -9, 9), ("half_width_m", 0.3, 5), ("sill_z", 0, 1), ("head_z", 2, 3), ("nudge_m", 0, 0.1),
    ):  # fmt: skip
        made[name] = rng.uniform(low, high, count)
    for name in ("x", "y"):
        made[name][::3] = np.nan
    return made


def by_definition(opening, eyes, heads):
    """Rays by plain numpy: where each line crosses the opening's plane, and whether within the opening."""
    if np.isnan(opening.x):
        return np.repeat(eyes, len(heads), axis=0), np.tile(heads, (len(eyes), 1))
    out, at = np.array([*opening.out, 0.0]), np.array([opening.x, opening.y, 0.0])
    origin, target = [], []
    for eye in eyes:
        for head in heads:
            ahead = (head - eye) @ out
            if ahead <= 0.0:
                continue
            t = (at - eye) @ out / ahead
            cross = eye + t * (head - eye)
            aside = abs((cross - at) @ [-out[1], out[0], 0.0])
            within = aside <= opening.half_width_m and opening.sill_z <= cross[2] <= opening.head_z
            start = t + opening.nudge_m / ahead
            if t >= 0.0 and start < 1.0 and within:
                origin.append(eye + start * (head - eye))
                target.append(head)
    return np.reshape(origin, (-1, 3)), np.reshape(target, (-1, 3))


def some_ends(count=COUNT):
    """Views of shared eyes and heads, some of none."""
    rng = np.random.default_rng(1)
    eyes, heads = rng.uniform([-9, -9, 1], [9, 9, 2], (40, 3)), rng.uniform([-20, -20, 0], [20, 20, 3], (60, 3))  # fmt: skip
    first = rng.integers(0, [30, 50], (count, 2))
    size = rng.integers(0, 10, (count, 2))
    size[3] = 0
    both = np.stack([first, first + size], axis=2)
    return openings(count), eyes, heads, both[:, 0], both[:, 1]


def test_the_rays_of_many_views_are_those_of_each_by_definition():
    made, eyes, heads, eye, head = some_ends()
    ends = Ends(as_numbers(made), np.arange(COUNT), eyes, eye, heads, head)
    rays, passed = rays_of(ends), 0
    (at_eye, at_head) = pairs_of(ends)
    for view in range(COUNT):
        mine = rays.view == view
        own = eyes[slice(*eye[view])], heads[slice(*head[view])]
        origin, target = by_definition(made[view], *own)
        assert np.allclose(rays.origin[mine], origin, atol=1e-9)
        assert np.array_equal(rays.target[mine], target)
        one = None if np.isnan(made[view].x) else made[view]
        for ours, theirs in zip((rays.origin[mine], rays.target[mine]), rays_through(one, *own), strict=True
        ):  # fmt: skip
            assert np.array_equal(ours, theirs)
        assert np.array_equal(heads[at_head[mine]], target)
        assert (at_eye[mine] >= eye[view, 0]).all()
        assert (at_eye[mine] < eye[view, 1]).all()
        passed += len(origin)
    assert len(rays.view) == passed
    indoors = ~np.isnan(made.x[rays.view])
    assert min(indoors.sum(), (~indoors).sum()) > 20


@pytest.mark.parametrize("most", [1, 7, 50, 10**6])
def test_batches_hold_every_view_once_and_no_more_rays_than_asked(most):
    made, eyes, heads, eye, head = some_ends()
    ends = Ends(as_numbers(made), np.arange(COUNT), eyes, eye, heads, head)
    parts = list(ends.batches(most))
    assert [view for first, last in parts for view in range(first, last)] == list(range(COUNT))
    found = []
    for first, last in parts:
        for piece in ends.only(first, last).pieces(most):
            assert piece.most.sum() <= max(most, 1)
            rays = rays_of(piece)
            found.append(np.column_stack([rays.view + first, rays.origin, rays.target]))
    whole = rays_of(ends)
    expected = np.column_stack([whole.view, whole.origin, whole.target])
    assert np.array_equal(np.unique(np.concatenate(found), axis=0), np.unique(expected, axis=0))


@pytest.mark.parametrize("dim", [None, 0.2])
def test_sums_of_many_views_are_those_of_each_alone(dim):
    sight = lay_sight({
        "windows": windows((-4, 6), (0, 6), (4, 6)), "private_places": GARDEN, "planting_lines": LINE, "buildings": HOUSE,
    })  # fmt: skip
    stand = stand_of(row(SHUT), species_table=TABLE, years=30, curve="straight")
    crowns = crowns_of(stand)
    scene = Scene(sight.obstacles, runs_of(stand, crowns), crowns, dim)
    views = len(sight.pairs)
    for portion in (40, 10**6):
        together = sum_each(follow_each(sight.ends(), scene, portion), scene, (0, views))
        for view, look in enumerate(sight.looks()):
            alone = sum_up(follow(look.opening, look.eyes, look.heads, scene), scene)
            mine = together.of_view(view)
            assert (mine.rays, mine.closed_by) == (alone.rays, alone.closed_by)
            assert mine.differs_from(alone) <= SUM
            assert mine.rays
    assert together.open.min() < 0.5 < together.open.max()
