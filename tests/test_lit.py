"""Rays of which something is left, held against all rays followed one by one."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import box
from test_county_seen import a_street

from screenplan.plan import DEFAULTS
from screenplan.site.terrain import Terrain
from screenplan.views.lit import lit_each, lit_rays
from screenplan.views.obstacles import AWNING
from screenplan.views.sight import lay_sight
from screenplan.views.together import rays_of

#: A bank between the houses, at 30 m, and the gardens, higher here and lower there.
BANK = Terrain(
    np.where(np.arange(20)[:, None] == 11, np.arange(60) % 4, 0.0), -60.0, -30.0, 5.0, 5.0
)


def in_order(view, origin, target, light) -> np.ndarray:
    """Give rays as rows, in an order of their own."""
    rows = np.column_stack([view, origin, target, light])
    return rows[np.lexsort(rows.T)]


def sights(seed: int, ground: Terrain):
    """Lay the sight of each lot of a street: houses, fences, trees, and half of the time an awning."""
    around, street = a_street(seed, 4)
    if seed % 2:
        around["existing_screens"].loc[1, ["kind", "opacity"]] = AWNING, 1.0
        around["existing_screens"].loc[[1], "geometry"] = [box(0, 5, 20, 20)]
    for lot in street:
        if len(lot["windows"]) and len(lot["private_places"]):
            yield lay_sight(lot | around, DEFAULTS.views, ground)


# Invariant: the rays that are left, the light of each and how many pass are those of all rays followed one by one.
@pytest.mark.parametrize("ground", [Terrain.flat(), BANK])
@settings(max_examples=8)
@given(seed=st.integers(0, 2**32 - 1))
def test_what_is_left_is_left_of_the_rays_one_by_one(ground, seed):
    for sight in sights(seed, ground):
        rays = rays_of(sight.ends())
        light, _ = sight.obstacles.light_left(rays.origin, rays.target)
        stays = light > 0.0
        asked = in_order(*(part[stays] for part in rays), light[stays])
        for upright in (False, True):
            lit = lit_rays(sight.ends(upright=upright), sight.obstacles)
            assert np.array_equal(in_order(*lit.rays, lit.light), asked)
            assert np.all(np.diff(lit.rays.view) >= 0)
            assert (
                lit.passed.tolist() == np.bincount(rays.view, minlength=len(sight.pairs)).tolist()
            )


def test_some_rays_are_left_and_some_pass_leaves_and_some_none():
    """So that the invariant above is not held by nothing."""
    for ground in (Terrain.flat(), BANK):
        found = [lit_rays(sight.ends(), sight.obstacles) for sight in sights(3, ground)]
        light = np.concatenate([lit.light for lit in found])
        assert 0 < len(light) < sum(lit.passed.sum() for lit in found)
        assert (light < 1.0).any()


def test_rays_are_given_some_at_a_time():
    sight = next(sights(3, Terrain.flat()))
    whole = lit_rays(sight.ends(), sight.obstacles)
    views = np.zeros(0, int)
    for (first, _), lit in lit_each(sight.ends(), sight.obstacles):
        views = np.concatenate([views, lit.rays.view + first])
    assert views.tolist() == whole.rays.view.tolist()
