"""What sooner, surer and cheaper cost: the points of a made-up site, what they leave out, and how they are told."""

import numpy as np
import pytest
from design_site import TABLE, design, options, site
from test_surer import BY_SIZE, high_site

from screenplan.contracts import year_column
from screenplan.contracts.tables import notes_of
from screenplan.design.choices import Wish, list_wishes
from screenplan.planting.crowns import grow_crowns
from screenplan.planting.draws import Draws
from screenplan.planting.stand import stand_of
from screenplan.views.chance import lay_chances
from screenplan.views.sight import lay_sight


@pytest.fixture(scope="module")
def made():
    return design(high_site(), design_chance=0.8, design_choices=True, **BY_SIZE)


def test_the_chosen_one_is_marked_and_each_is_a_planting_of_its_own(made):
    choices, plants = made["choices"], made["choice_plants"]
    assert choices["chosen"].tolist() == [True] + [False] * (len(choices) - 1)
    assert 3 <= len(choices) <= 7
    told = made["design"].iloc[0]
    chosen = choices.iloc[0]
    assert (chosen["plants"], chosen["cost"], chosen["views_sure"]) == (
        told.plants,
        told.cost,
        told.views_sure,
    )
    counted = plants.groupby("choice").size()
    assert counted.reindex(choices["choice"]).tolist() == choices["plants"].tolist()
    mine = plants.loc[plants["choice"] == "designed"]
    assert {(p.x, p.y) for p in mine.geometry} == {(p.x, p.y) for p in made["plants"].geometry}
    every = {
        choice: {(p.x, p.y, size) for p, size in zip(part.geometry, part["stock_m"], strict=True)}
        for choice, part in plants.groupby("choice")
    }
    assert len(set(map(frozenset, every.values()))) == len(choices)


def test_the_crowns_of_a_choice_are_as_wide_as_those_of_the_plan(made):
    plan = options(design_chance=0.8, **BY_SIZE)
    mine = made["choice_plants"].loc[made["choice_plants"]["choice"] == "designed"]
    crowns = grow_crowns(made["plants"], plan=plan, species_table=TABLE)
    for year in plan.growth.show_years:
        # Another step: the crowns that are drawn of the chosen planting.
        drawn = crowns.loc[crowns["year"] == year].set_index("plant_id")["spread_m"]
        told = mine.set_index("plant_id")[year_column("spread", year)]
        assert told.to_dict() == pytest.approx(drawn.to_dict())
    assert len(set(told)) == 1


def test_what_is_enough_at_typical_growth_costs_less_and_is_less_sure(made):
    # By hand, as in the tests of the chance: nine of the smaller size, and nine of the larger.
    choices = made["choices"].set_index("choice")
    assert choices.loc["typical", "cost"] == 90.0
    assert choices.loc["designed", "cost"] == 9 * 18.0
    assert choices.loc["typical", "mean_chance"] < choices.loc["designed", "mean_chance"]
    assert choices.loc["cheaper", "cost"] <= 81.0
    assert choices.loc["typical", "command"] == "screenplan run PLAN --set design.chance=0"
    assert "72.00 less" in f"{choices.loc['typical', 'says']}"


def test_a_point_that_is_the_same_planting_is_left_out_and_named(made):
    # By hand: nine of the larger size are surer than 9 in 10 already.
    assert "surer" not in made["choices"]["choice"].tolist()
    notes = [f"{note}" for note in notes_of(made["design"])]
    assert any("surer, 9 in 10: the same plants as the design" in note for note in notes)


def test_the_views_of_a_choice_are_those_of_its_plants(made):
    # Another way: the plants of the choice, by other draws.
    plan = options(design_chance=0.8, **BY_SIZE)
    plants = made["choice_plants"]
    own = plants.loc[plants["choice"] == "typical"]
    told = made["choice_views"]
    told = told.loc[told["choice"] == "typical"].set_index("view_id")["chance"]
    full = own.assign(
        row=1, side_id="north", station_m=own.geometry.x + 20.0, ground_m=0.0, stock="container",
        stock_height_m=own["stock_m"], existing=False,
    )  # fmt: skip
    layers = {**site(), **high_site(), "planting_lines": made["planting_lines"], "plants": full}
    sight = lay_sight(layers, plan.views)
    stand = stand_of(full, years=12, curve="straight", species_table=TABLE)
    other = lay_chances(
        sight, stand, Draws(3000, 55, plan.growth.losses, plan.growth.replaced), threshold=plan.views.threshold
    ).closed_years().chance(10)  # fmt: skip
    by = {look.view_id: share for look, share in zip(sight.looks(), other, strict=True)}
    for view, chance in told.items():
        assert by[view] == pytest.approx(chance, abs=4 * np.sqrt(0.25 * (1 / 1000 + 1 / 3000)))


def test_without_prices_half_the_views_are_the_cheaper_choice():
    asked = Wish("designed", "the design", (), 3, 0.95, None, 0.6)
    wishes = {wish.key: wish for wish in list_wishes(asked, 5, cost=9.0, priced=False)}
    assert set(wishes) == {"typical", "year 5", "cheaper"}
    assert wishes["cheaper"].share == 0.3
    assert wishes["cheaper"].settings == ("goal.share=0.3",)


def test_a_budget_that_buys_no_run_is_no_choice():
    asked = Wish("designed", "the design", (), 10, 0.0, None, 1.0)
    keys = [wish.key for wish in list_wishes(asked, 10, cost=50.0, priced=True, least=30.0)]
    assert keys == ["surer", "year 7", "year 5"]


def test_nothing_else_is_looked_for_where_nobody_asks():
    made = design(design_choices=False)
    assert not len(made["choices"])
    assert not len(made["choice_plants"])
    assert not len(made["choice_views"])
