"""Rows that are kept in their places: where they stand, that they close, and what that takes from others."""

import numpy as np
import pytest
from options_kit import plan_with
from street_kit import plan_street

import screenplan
from screenplan.contracts import KEPT_EFFECTS, KEPT_SIZES
from screenplan.contracts.findings import FAILS
from screenplan.contracts.tables import table_of
from screenplan.ground.errors import InputError
from screenplan.outputs.answer_costs import _height_to_keep
from screenplan.outputs.conform import conform
from screenplan.plan.planting import KeptSize
from screenplan.planting.closure import judge_closure
from screenplan.planting.hedges import STEP_M
from screenplan.planting.stand import planned_stand
from screenplan.running.inputs import species_on
from screenplan.running.keeping import height_in_place, plan_to_place
from screenplan.running.pipeline import rehearse_plan, run_plan

ASKED = ["kept_effects", "closure"]


@pytest.fixture(scope="module")
def free():
    return run_plan(screenplan.sample_plan(), only=ASKED)


@pytest.fixture(scope="module")
def kept(free):
    return run_plan(
        screenplan.sample_plan(), settings=["kept.in_place=true"], only=ASKED, reuse=free
    )


def grown(run):
    return planned_stand(run.layers["plants"], run.plan, species_on(run.site, run.plan))


def failing(run):
    found = judge_closure(run.layers["closure"], run.plan)
    return {line.check for line in found if line.result == FAILS}


def test_rows_that_are_kept_in_place_stand_where_the_free_ones_stand(free, kept):
    # Invariants: the same places, and each plant the free one up to the height at which it is kept.
    assert kept.layers["plants"].geometry.equals(free.layers["plants"].geometry)
    assert kept.layers["planting_lines"].geometry.equals(free.layers["planting_lines"].geometry)
    height = kept.plan.kept.height
    assert height == free.layers["kept_sizes"]["keep_m"].max()
    before, after = grown(free), grown(kept)
    assert after.height == pytest.approx(np.minimum(before.height, height))
    assert (after.radius <= before.radius + 1e-9).all()
    assert kept.layers["kept_sizes"]["kept"].all()
    assert len(kept.layers["clipping"])


def closing(run):
    views = run.layers["views"]
    return set(views.loc[views["status"] == "closes", "view_id"])


def test_the_height_passes_the_plans_own_check_and_closes_each_view_and_a_step_lower_does_not(
    free, kept
):
    # Independent: closure is worked out year by year from the plants that are kept, not from the proposal.
    assert failing(kept) <= failing(free) == set()
    needed = free.layers["needed_height"].groupby("line_id")["needed_m"].max()
    typical = kept.layers["closure"].loc[kept.layers["closure"]["growth"] == "typical"]
    met = typical.set_index("line_id")["mature_closed_height_m"]
    assert (met >= needed[met.index]).all()
    assert closing(kept) >= closing(free)
    lower = run_plan(
        screenplan.sample_plan(), only=["closure", "views"], reuse=free,
        settings=["kept.in_place=true", f"kept.height={kept.plan.kept.height - STEP_M} m"],
    )  # fmt: skip
    rows = lower.layers["closure"]
    less = rows.loc[rows["growth"] == "typical"].set_index("line_id")["mature_closed_height_m"]
    assert failing(lower) or (less < needed[less.index]).any() or closing(free) - closing(lower)


def test_the_height_that_was_found_gives_the_same_if_it_is_typed(free, kept):
    typed = run_plan(
        screenplan.sample_plan(), only=ASKED, reuse=free,
        settings=["kept.in_place=true", f"kept.height={kept.plan.kept.height} m"],
    )  # fmt: skip
    for name in ("plants", "closure", "light", "kept_sizes", "clipping", "kept_effects"):
        assert typed.layers[name].equals(kept.layers[name]), name


def test_kept_plants_take_no_more_sun_than_free_ones_and_both_runs_tell_the_same(free, kept):
    effects = free.layers["kept_effects"]
    conform(effects, KEPT_EFFECTS)
    assert kept.layers["kept_effects"].equals(effects)
    # Invariant: a kept crown lies inside the free one, so that no window, bed or garden loses more.
    before, after = (run.layers["light"].set_index("light_id")["sun_lost"] for run in (free, kept))
    told = before.notna()
    assert (after[told].astype(float) <= before[told].astype(float) + 1e-9).all()
    assert after[told].sum() < before[told].sum()
    rows = effects.set_index("effect")
    assert (rows["kept"] <= rows["free"] + 1e-9).all()
    # By definition: the worst of the neighbours' windows, and the views that close, as the layers tell them.
    for run, side in ((free, "free"), (kept, "kept")):
        light, views = run.layers["light"], run.layers["views"]
        others = light.loc[(light["kind"] == "window") & (light["parcel_id"] != "LR-7")]
        assert rows.loc["window_sun", side] == pytest.approx(others["sun_lost"].astype(float).max())
        assert rows.loc["views_closed", side] == (views["status"] == "closes").sum()
    (line,) = _height_to_keep({**free.layers, "kept_effects": effects}, "metric")
    assert f"take {rows.loc['window_sun', 'kept_says']} in the place of" in line
    assert rows.loc["views_closed", "kept"] == rows.loc["views_closed", "free"]
    assert "kept.in_place = true" in line
    assert not list(_height_to_keep(kept.layers, "metric"))


def test_nothing_is_compared_where_nothing_is_to_be_kept_lower(free):
    # A kind that never grows taller than it is needed; and without anybody who looks.
    run = run_plan(
        screenplan.sample_plan(), only=ASKED, reuse=free,
        settings=['plants.species="ilex_glabra"', "plants.stock=container", "plants.stock_height=0.6 m"],
    )  # fmt: skip
    assert "kept_effects" not in run.layers


@pytest.mark.parametrize(
    ("rows", "note"),
    [
        ([], "No height was found"),
        ([{"line_id": "a", "grown_m": 3.0, "kept": False, "says": ""}], "No height was found"),
        ([{"line_id": "a", "keep_m": 3.0, "grown_m": 3.0, "kept": False, "says": ""}], "never to be clipped"),
    ],
)  # fmt: skip
def test_rows_that_need_no_clipping_stay_free_and_that_is_said(free, rows, note):
    sizes = table_of(KEPT_SIZES, rows)
    asked = KeptSize(in_place=True)
    size, (told,) = height_in_place(
        free.plan, asked, free, lambda *_: {"kept_sizes": sizes}, species_on(free.site, free.plan)
    )
    assert size.height is None
    assert note in told


def test_what_cannot_be_kept_in_place_is_refused(free):
    plan = free.plan.model_copy(
        update={
            "kept": KeptSize(in_place=True),
            "alternatives": free.plan.alternatives.model_copy(update={"rows": (2,)}),
        }
    )
    with pytest.raises(InputError, match=r"kept\.in_place: alternatives are laid .*Leave kept"):
        rehearse_plan(plan, free.folder, free.site)


def test_a_street_that_is_kept_in_place_fails_no_check_that_the_free_one_passes():
    # Invariant: the same plants in the same places. The sides to the road are filled, and nobody looks across them.
    alone, in_place = (
        plan_street(("12", "14"), only=("checks",), rows={"along": ["north", "east", "south"], "fill": True}, kept=kept)
        for kept in ({}, {"in_place": True})
    )  # fmt: skip
    assert alone.layers["plants"].geometry.equals(in_place.layers["plants"].geometry)
    assert in_place.plan.kept.height < grown(alone).height.max()
    failed = [set(run.layers["checks"].query("result == 'fails'")["check"]) for run in (alone, in_place)]  # fmt: skip
    assert failed[1] <= failed[0]
    assert {"use of 12 south-row1", "use of 14 south-row1"} <= failed[0]


def test_a_plan_is_placed_by_the_free_sizes_only_if_it_says_so():
    plan = plan_with(kept_height=3.0)
    assert plan_to_place(plan) is plan
    placed = plan_to_place(plan_with(kept_height=3.0, kept_width=1.0, kept_in_place=True))
    assert not placed.kept.asked
