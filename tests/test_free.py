"""What a plan names is kept to, and what a design without it would save or close is told."""

import pandas as pd
import pytest
from design_site import design, site
from options_kit import plan_with

from screenplan.contracts.tables import notes_of
from screenplan.design.free import _listed, compare_free, freed, named
from screenplan.ground.errors import NoRoomError


def told(made):
    return f"{made['design']['free'].iloc[0]}"


def test_what_is_named_is_listed_and_left_out_of_the_free_plan():
    plan = plan_with(
        rows_along=["north"], rows_spacing=1.0, rows_offset=2.0, plants_species="ilex_opaca",
        plants_stock_height=1.2, rows_move=0.5, design_seconds=1.0,
    )  # fmt: skip
    assert named(plan) == [
        "rows.along", "rows.offset", "rows.spacing", "plants.species", "plants.stock_height",
    ]  # fmt: skip
    free = freed(plan)
    assert named(free) == []
    assert "species" not in free.plants.model_fields_set
    assert (free.rows.move, free.design.seconds, free.design.compare) == (0.5, 1.0, False)
    # What the design's own lists say goes before: the rows do not name it then.
    assert named(plan_with(plants_species="ilex_opaca", design_kinds=["ilex_opaca"])) == []


# By hand: nine plants at 9 are kept to, and nine of the other kind would cost 5 each.
def test_a_dearer_kind_that_is_named_is_planted_and_the_saving_told():
    made = design(
        design_kinds=(), plants_species="other", design_compare=True,
        cost_prices={"plant column": 5.0, "plant other": 9.0},
    )  # fmt: skip
    assert set(made["plants"]["species"]) == {"other"}
    assert made["design"]["cost"].iloc[0] == 81.0
    assert (
        "Without rows.along and plants.species a design of 9 plants would close 3 of 3 open views"
        in told(made)
    )
    assert "its plants would cost 45.00, and not 81.00" in told(made)
    assert told(made) in [f"{note}" for note in notes_of(made["design"])]


def test_where_nothing_is_saved_it_is_said():
    made = design(design_compare=True)
    assert told(made) == "Without rows.along a design would close no more and save nothing"


def test_it_can_be_switched_off_and_is_not_told_where_nothing_is_named():
    assert design()["design"]["free"].isna().all()
    assert design(rows_along=(), design_compare=True)["design"]["free"].isna().all()


def test_where_what_is_named_closes_nothing_the_refusal_tells_what_would():
    with pytest.raises(
        NoRoomError, match=r"Without rows\.along a design of 9 plants would close 3 of 3"
    ):
        design(site(), rows_along=["south"], design_compare=True)


def test_a_free_design_that_closes_less_but_enough_says_so():
    own = pd.DataFrame(
        {"closed_share": [0.9], "views_closed": [9], "views_open": [10], "priced": [True], "cost": [60.0],
         "typical_cost": [60.0], "plants": [6]}
    )  # fmt: skip
    free = own.assign(closed_share=0.5, views_closed=5, cost=30.0, plants=3)
    plan = plan_with(rows_along=["north"], goal_share=0.4)
    says = compare_free(own, plan, lambda _: free)
    assert (
        "5 of 10 open views at typical growth, and not 9 of 10, which is as much as is asked for (40% by weight)"
        in says
    )
    assert says.endswith("its plants would cost 30.00, and not 60.00")
    # Where all views are asked for, half of them are not enough.
    assert "as much as is asked" not in compare_free(
        own, plan_with(rows_along=["north"]), lambda _: free
    )


def test_names_are_listed_with_one_and():
    assert _listed(["a"]) == "a"
    assert _listed(["a", "b", "c"]) == "a, b and c"
