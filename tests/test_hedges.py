"""Hedges kept by clipping: what a plan makes of a height, and which of them a design lists."""

import numpy as np
import pytest
from design_site import design, site
from options_kit import plan_with
from test_views import windows

from screenplan.contracts.tables import notes_of
from screenplan.design.kinds import list_options
from screenplan.planting.growth import height_at
from screenplan.planting.hedges import ENDING, HEDGES, hedge_tables
from screenplan.planting.species import load_species, planned_species


def test_hedges_are_their_species_in_a_box_of_the_plans_size():
    shipped = load_species()
    made = load_species(hedge_tables(2.0, 0.8))
    assert set(made) - set(shipped) == {f"{key}{ENDING}" for key in HEDGES}
    for key in HEDGES:
        hedge, free = made[f"{key}{ENDING}"], shipped[key]
        assert (hedge.shape, hedge.kept_height_m, hedge.kept_width_m) == ("box", 2.0, 0.8)
        # By definition: it grows as its species until it is kept.
        assert height_at(hedge, [3.0, 200.0]).tolist() == pytest.approx([min(h, 2.0) for h in height_at(free, [3.0, 200.0])])  # fmt: skip
        assert hedge.usual_spacing_m == free.usual_spacing_m
        assert hedge.final_width("high") == pytest.approx(min(0.8, free.final_width("high")))
        # Hedging guides stand at the spacing, and it is an evergreen.
        assert free.spacing_m is not None
        assert free.spacing_source != "no source given"
        assert free.evergreen
        assert hedge.called != free.called


def test_a_low_hedge_is_planted_no_higher_than_it_is_kept():
    low = load_species(hedge_tables(0.5, 0.4))
    assert {low[f"{key}{ENDING}"].stock_height_m for key in HEDGES} == {0.5}


@pytest.mark.parametrize(("zone", "may"), [(6, True), (9, True), (3, False)])
def test_a_design_lists_a_hedge_where_a_plan_gives_its_height(zone, may):
    plan = plan_with(design_hedge_height=2.5, health_zone=zone)
    offer = list_options(plan, planned_species(plan), 10)
    kept = {option.species.key for option in offer.options if option.species.shape == "box"}
    assert bool(kept) == may
    assert all(option.species.hardy_in(zone) for option in offer.options)
    assert any("kept by clipping each year" in f"{note}" for note in offer.notes) == may
    without = plan_with(health_zone=zone)
    assert not any(
        option.species.shape == "box"
        for option in list_options(without, planned_species(without), 10).options
    )


def test_a_plans_own_species_goes_before_a_hedge_of_its_name():
    own = {"taxus_baccata_clipped": {"like": "ilex_opaca"}}
    plan = plan_with(design_hedge_height=2.0).model_copy(update={"species": own})
    assert planned_species(plan)["taxus_baccata_clipped"].shape != "box"


@pytest.mark.parametrize(
    ("values", "high", "told"),
    [
        ({"design_kinds": []}, True, True),
        ({"design_kinds": []}, False, False),  # every view closes
        ({"design_kinds": ["column"]}, True, False),
        ({"design_kinds": [], "design_hedge_height": 2.0}, True, False),
    ],
)
def test_where_views_stay_open_hedges_are_named(values, high, told):
    sill = np.array([1.0, 9.2 if high else 1.0, 1.0])
    looking = windows(
        (-15, 6), (0, 6), (15, 6), sill=sill, floor_m=[0.0, 9.0 if high else 0.0, 0.0]
    )
    made = design(site(windows=looking), cost_prices={}, **values)
    assert made["design_views"]["closed"].all() != high
    assert any("design.hedge_height" in f"{note}" for note in notes_of(made["design"])) == told
