"""Which candidate stops which ray: against the views traced through plantings of some of them."""

import numpy as np
import pytest
from design_site import TABLE, options, site
from parcel_kit import PLAIN
from shapely.geometry import box

from screenplan.contracts import PLANTING_LINES, year_column
from screenplan.contracts.tables import layer_of
from screenplan.design.candidates import find_candidates
from screenplan.design.choice import runs_in
from screenplan.design.chosen import layers_of
from screenplan.design.incidence import find_stops
from screenplan.design.kinds import list_options
from screenplan.site.terrain import Terrain
from screenplan.views.opened import open_rays
from screenplan.views.sight import lay_sight
from screenplan.views.views import trace_views

#: Shares agree to rounding.
SAME = 1e-9
YEAR = 6


def laid(kinds, terrain=None):
    layers = site(at=(-4.0, 6.0), sill=3.0, places=[box(-6, -9, 2, -5)])
    layers["windows"]["floor_m"] = 2.0
    plan = options(
        design_kinds=kinds, design_spacings=[0.8, 1.7], design_inner=True, views_report_years=(YEAR,),
        views_target_spacing=2.0,
    )  # fmt: skip
    offer = list_options(plan, TABLE, YEAR)
    candidates = find_candidates(layers, offer.options, plan=plan, rules=PLAIN, species_table=TABLE)
    none = layer_of(PLANTING_LINES, [], [], None)
    rays = open_rays(lay_sight({**layers, "planting_lines": none}, plan.views, terrain), 0.1)
    ground = np.zeros(len(candidates.table))
    if terrain is not None:
        ground = terrain.height_at(candidates.table.geometry.x, candidates.table.geometry.y)
    stops = find_stops(
        candidates, rays, np.asarray(ground), YEAR, curve="straight", species_table=TABLE
    )
    return layers, plan, candidates, rays, stops


# Independent of the list of stoppers: the step that judges every planting.
@pytest.mark.parametrize("kinds", [["column"], ["broad"], ["column", "broad"]])
@pytest.mark.parametrize("slope", [0.0, 0.05])
def test_what_some_candidates_stop_is_what_the_views_lose(kinds, slope):
    terrain = None
    if slope:
        y = np.arange(-60.0, 61.0, 5.0)
        terrain = Terrain(np.tile(slope * y[:, None], (1, len(y))), -60.0, -60.0, 5.0, 5.0)
    layers, plan, candidates, rays, stops = laid(kinds, terrain)
    stretch, rng = candidates.table["stretch"].to_numpy(), np.random.default_rng(4)
    seen = 0
    for share in (0.02, 0.1, 0.4):
        planted = rng.random(len(stretch)) < share
        runs = runs_in(stretch, planted)
        made = layers_of(candidates, runs, terrain)
        traced = trace_views(
            {**layers, "planting_lines": made.planting_lines, "plants": made.plants},
            plan=plan, terrain=terrain, species_table=TABLE, second_sample=False,
        )[0].set_index("view_id")  # fmt: skip
        met = stops[planted].sum(axis=0) > 0
        stopped = np.bincount(rays.view[met], rays.light[met], len(rays.views))
        told = traced.loc[rays.views, year_column("open", YEAR)].to_numpy()
        # People do not stand in a row: where they were left out the views are of fewer rays.
        alike = traced.loc[rays.views, "rays"].to_numpy() == np.bincount(rays.view)
        assert alike.any()
        assert rays.now[alike] - stopped[alike] == pytest.approx(told[alike], abs=SAME)
        seen += stopped.sum()
    assert seen > 0.0


def test_views_that_are_shut_already_are_left_out():
    layers = site()
    plan = options()
    none = layer_of(PLANTING_LINES, [], [], None)
    every = open_rays(lay_sight({**layers, "planting_lines": none}, plan.views), 0.1)
    assert every.views == ["w0 to p0", "w1 to p1", "w2 to p2"]
    assert np.bincount(every.view, every.light) == pytest.approx(every.now)
    assert open_rays(lay_sight({**layers, "planting_lines": none}, plan.views), 1.0).views == []


def test_a_crown_counts_only_where_it_stays_in_the_way():
    # By hand: 2.2 m high in year 1 with leaves from 1.1 m on, which rise to 1.5 m: a ray at 1.2 m is stopped
    # in that year and passes later, one at 1.6 m is stopped for good.
    rising = {"key": "rising", "clear_stem_share": 0.5, "clear_stem_m": 1.5}
    table = {"rising": TABLE["column"].__class__(**{**TABLE["column"].__dict__, **rising})}
    layers = site(at=(0.0,))
    plan = options(design_kinds=["rising"], design_stock_heights=[1.9])
    offer = list_options(plan, table, 1)
    candidates = find_candidates(layers, offer.options, plan=plan, rules=PLAIN, species_table=table)
    none = layer_of(PLANTING_LINES, [], [], None)
    rays = open_rays(lay_sight({**layers, "planting_lines": none}, plan.views), 0.1)
    ground = np.zeros(len(candidates.table))
    stops = find_stops(candidates, rays, ground, 1, curve="straight", species_table=table)
    height = rays.origin[:, 2] + (rays.target - rays.origin)[:, 2] * 7 / 12
    met = stops.sum(axis=0) > 0
    assert (height < 1.45).any()
    assert not met[height < 1.45].any()
    assert met[height > 1.55].any()
