"""Chosen with reserve: by hand, by every planting of a small site, and by draws that neither chose nor measured."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from design_kit import every_planting, made_up
from design_site import TABLE, design, options, site
from options_kit import plan_with
from shapely.geometry import box

from screenplan.contracts.tables import notes_of
from screenplan.design import designing, surer
from screenplan.design.choice import Limits, breaks_of, counts
from screenplan.design.mending import make_surer
from screenplan.design.moves import beside, least_runs
from screenplan.design.odds import MEASURING, draws_of, measuring
from screenplan.ground.errors import InputError
from screenplan.planting.draws import Draws
from screenplan.planting.stand import stand_of
from screenplan.views.chance import lay_chances
from screenplan.views.sight import lay_sight
from screenplan.views.views import trace_views

#: Prices by size of stock.
BY_SIZE = {
    "hand_prices": {"0.9 m": 10.0, "1.5 m": 18.0}, "cost_prices": {},
    "design_stock_heights": [0.9, 1.5], "design_seconds": 2.0,
}  # fmt: skip
#: How many errors a share of draws may be off.
ERRORS = 4.0


def high_site(sill=5.2, floor=4.5, **more):
    """Windows so high that columns of the smaller size are just enough in year 10."""
    layers = site(sill=sill, **more)
    layers["windows"]["floor_m"] = floor
    return layers


def wide_site(sill=5.2, floor=4.5):
    """One window opposite a place, so that several plants are needed."""
    return high_site(sill, floor, at=(0.0,), places=[box(-4, -9, 4, -5)])


def only(table):
    assert len(table) == 1
    return table.iloc[0]


@pytest.fixture
def asked(monkeypatch):
    """What the step asks of `choose_surely`."""
    calls = []

    def listen(*args, **more):
        calls.append((args, more))
        return surer.choose_surely(*args, **more)

    monkeypatch.setattr(designing, "choose_surely", listen)
    return calls


def test_larger_stock_is_bought_where_the_smaller_is_not_sure_enough():
    # By hand: at typical growth nine of the smaller are enough; no more of these raise the chance to 9 in 10,
    # because each view passes three plants at most.
    made = design(high_site(), design_chance=0.9, **BY_SIZE)
    found = only(made["design"])
    assert (found.typical_plants, found.typical_cost) == (9, 90.0)
    assert set(made["plants"]["stock_height_m"]) == {1.5}
    assert (found.cost, found.views_closed, found.views_sure) == (9 * 18.0, 3, 3)
    assert (made["design_views"]["chance"] >= 0.9).all()
    notes = [f"{note}" for note in notes_of(made["design"])]
    assert any(
        "9 plants are enough at typical growth alone (they cost 90.00); the chance of 9 in 10 costs 72.00 more"
        in note and "1,000 draws that did not choose" in note
        for note in notes
    )  # fmt: skip
    assert "The proof is of the programme" in found.proof
    assert "That nothing as sure costs less is not proven" in found.proof


def test_without_a_chance_nothing_is_drawn():
    made = design(high_site(), design_chance=0.0, **BY_SIZE)
    found = only(made["design"])
    assert (found.cost, found.typical_cost) == (90.0, 90.0)
    assert np.isnan(made["design_views"]["chance"].to_numpy(float)).all()
    assert found[["chance_asked", "views_sure", "draws"]].isna().all()


@pytest.mark.evidence(
    part="Design",
    kind="every case",
    against="draws that neither chose nor measured the planting, of the plants as they are set",
    source="draws of known growth, crowns and losses",
    status="run",
    tolerance=f"{ERRORS:g} standard errors",
)
@pytest.mark.parametrize("chance", [0.5, 0.8])
def test_views_that_are_told_to_be_so_sure_are_by_other_draws(chance):
    layers = wide_site(4.0, 3.5)
    plan = options(design_chance=chance, **BY_SIZE)
    made = design(layers, design_chance=chance, **BY_SIZE)
    views = made["design_views"].set_index("view_id")
    layers = {**layers, "planting_lines": made["planting_lines"], "plants": made["plants"]}
    sight = lay_sight(layers, plan.views)
    stand = stand_of(made["plants"], years=12, curve="straight", species_table=TABLE)
    other = Draws(4000, 77, plan.growth.losses, plan.growth.replaced)
    chances = lay_chances(sight, stand, other, threshold=plan.views.threshold)
    by = chances.closed_years().chance(10)
    sure = 0
    for look, share in zip(sight.looks(), by, strict=True):
        told = views.loc[look.view_id, "chance"]
        error = np.sqrt(max(share * (1 - share), 1e-4) * (1 / surer.FRESH_DRAWS + 1 / 4000))
        assert abs(share - told) <= ERRORS * error
        if told >= chance:
            sure += 1
            assert share >= chance - ERRORS * error
    assert sure


def test_without_a_spread_the_chance_is_0_or_1_and_agrees_with_the_years():
    plain = {key: kind.at_quantile() for key, kind in TABLE.items()}
    low, high = high_site(), high_site(sill=6.8, floor=6.6)
    layers = {**low, "windows": pd.concat([low["windows"].iloc[:2], high["windows"].iloc[2:]])}
    made = design(layers, plain, design_chance=0.8, growth_losses=0.0)
    views = made["design_views"]
    assert views["closed"].tolist() == [True, True, False]
    assert views["chance"].tolist() == [1.0, 1.0, 0.0]
    found = only(made["design"])
    # By hand: what is enough is sure.
    assert (found.cost, found.typical_cost, found.views_sure) == (60.0, 60.0, 2)


@pytest.mark.evidence(
    part="Design",
    kind="every case",
    against="all plantings of the plants that stop a ray of a small site, each judged by the draws that choose",
    source="exhaustive search",
    status="run",
    tolerance="one plant more than the fewest; none fewer",
)
@pytest.mark.parametrize("chance", [0.6, 0.75, 0.9])
def test_no_planting_of_a_small_site_is_as_sure_for_much_less(asked, chance):
    design(wide_site(), design_chance=chance, design_seconds=2.0)
    ((typical, pool, limits, stage, odds), more) = asked[0]
    found = surer.choose_surely(typical, pool, limits, stage, odds, **more)
    stops = odds.by(stage.year)
    useful = np.unique(stops.plant)
    assert 4 <= len(useful) <= 13
    choice = pool.choice(np.ones(len(pool.rays.view), bool), pool.need)
    fewest = None
    for bits in range(1, 2 ** len(useful)):
        planted = np.zeros(odds.plants, bool)
        planted[useful[[k for k in range(len(useful)) if bits >> k & 1]]] = True
        if (fewest is not None and planted.sum() >= fewest) or breaks_of(choice, limits, planted):
            continue
        if (odds.trial(stops, pool.need, planted).chance() >= chance).all():
            fewest = int(planted.sum())
    best = odds.trial(stops, pool.need, np.ones(odds.plants, bool)).chance()
    if fewest is None:
        assert (best < chance).any()
        return
    assert found.planted.sum() <= fewest + 1
    # What is proven at typical growth holds: nothing that is as sure costs less than the bound.
    assert 10.0 * fewest >= typical.solution.least_cost(typical.open_price) - 1e-6


def test_a_surer_planting_never_has_the_lower_chance():
    by = {
        chance: design(wide_site(), design_chance=chance, **BY_SIZE)["design_views"]["chance"]
        for chance in (0.5, 0.8, 0.9)
    }
    assert by[0.5].mean() <= by[0.8].mean() + 1e-9 <= by[0.9].mean() + 2e-9


def test_a_view_that_cannot_be_so_sure_is_closed_at_typical_growth_and_told_with_its_chance():
    made = design(high_site(), design_chance=0.9)
    views = made["design_views"]
    assert views["closed"].all()
    assert (views["chance"] < 0.9).all()
    assert set(views["cause"]) == {"chance"}
    assert all(
        f"The chance that it is closed by year 10 is {has:.0%}, not 90%" in f"{says}"
        for says, has in zip(views["says"], views["chance"], strict=True)
    )
    assert any("3 views close at typical growth, but are less sure" in f"{note}" for note in notes_of(made["design"]))  # fmt: skip


def test_a_share_of_the_views_is_made_sure_where_no_more_is_asked():
    made = design(
        high_site(), goal_share=0.5, design_weights={"p1": 3.0}, design_chance=0.9, **BY_SIZE
    )
    found = only(made["design"])
    assert (found.views_sure, found.cost) == (1, 3 * 18.0)


def test_a_budget_is_kept_to():
    made = design(high_site(), design_chance=0.9, design_budget=120.0, **BY_SIZE)
    found = only(made["design"])
    # By hand: two runs of three of the larger size cost 108.
    assert (found.cost, found.views_sure) == (108.0, 2)


def test_draws_that_choose_and_those_that_measure_are_others_than_those_of_the_views():
    plan = options()
    seeds = {plan.chance.seed, draws_of(plan, 1, 10).seed, draws_of(plan, MEASURING, 10).seed}
    assert len(seeds) == 3
    assert measuring(plan, 500).seed == draws_of(plan, MEASURING, 10).seed
    last = plan.model_copy(update={"chance": plan.chance.model_copy(update={"seed": 2**31 - 1})})
    assert draws_of(last, 1, 10).seed == 0


def test_the_chance_is_that_of_the_views():
    made = design(wide_site(), design_chance=0.8, **BY_SIZE)
    plan = options(chance_draws=surer.FRESH_DRAWS, chance_seed=MEASURING, chance_year=10)
    traced = trace_views(
        {**wide_site(), "planting_lines": made["planting_lines"], "plants": made["plants"]},
        plan=plan, species_table=TABLE, second_sample=False,
    )[0].set_index("view_id")  # fmt: skip
    told = made["design_views"].set_index("view_id")["chance"]
    assert told.to_numpy(float) == pytest.approx(traced.loc[told.index, "chance"].to_numpy(float))


def test_the_year_of_the_chance_is_that_of_the_design():
    assert plan_with(design_wanted=True, design_year=7).chance_year == 7
    assert plan_with(design_year=7).chance_year == 10
    assert plan_with(design_wanted=True, design_year=7, chance_year=5).chance_year == 5


@pytest.mark.parametrize(("chance", "mend"), [(1.0, "at most 0.99"), (-0.1, "at least 0")])
def test_a_chance_that_cannot_be_asked_is_refused(chance, mend):
    with pytest.raises(InputError) as refusal:
        plan_with(design_chance=chance)
    (problem,) = refusal.value.problems
    assert (problem.key, mend in problem.mend) == ("design.chance", True)


def test_what_is_enough_is_no_dearer_than_what_is_surer(asked):
    design(high_site(), design_chance=0.5, design_seconds=1.0)
    ((typical, pool, limits, *_), _) = asked[0]
    dear = replace(typical, solution=replace(typical.solution, cost=500.0))
    told = surer.no_dearer(dear, typical, pool, limits)
    assert told.solution.cost == typical.solution.cost
    assert surer.no_dearer(typical, dear, pool, limits) is typical


#: The chance by the rays that are followed may be off that by all rays so far.
FOLLOWED = 0.03


def test_the_chance_by_some_of_the_rays_is_about_that_by_all(asked):
    made = design(wide_site(4.0, 3.5), design_chance=0.8, **BY_SIZE)
    (((typical, pool, _, stage, odds), _),) = asked
    stems = {(round(point.x, 6), round(point.y, 6)) for point in made["plants"].geometry}
    heights = np.array([option.height_m for option in pool.candidates.options])
    table = pool.candidates.table
    planted = np.array([(round(p.x, 6), round(p.y, 6)) in stems for p in table.geometry])
    planted &= heights[table["option"].to_numpy(int)] == made["plants"]["stock_height_m"].iloc[0]
    told = made["design_views"].set_index("view_id").loc[pool.rays.views, "chance"].to_numpy(float)
    found = odds.fresh_chance(stage.year, typical.need, planted)
    # Independent: the views themselves, with the same draws, by each ray.
    assert found == pytest.approx(told, abs=FOLLOWED)
    assert odds.fresh_chance(stage.year, typical.need, np.zeros(len(table), bool)).max() == 0.0


def surer_plainly(trial, choice, limits, goal):
    """Make a planting surer by trying every move anew each time."""
    windows = least_runs(choice, limits)
    while (failing := trial.chance() < goal).any():
        blocked = trial.planted | choice.blocked_by(trial.planted)
        moves = [window for window in windows if not blocked[window].any()]
        moves += [np.array([k]) for k in np.flatnonzero(~blocked & beside(choice, trial.planted))]
        lack, rates = trial.lack(), []
        for move in moves:
            gain = ((lack - trial.lack_with(move)) * choice.weight)[failing].sum()
            more = trial.planted.copy()
            more[move] = True
            rates.append(gain / choice.price[move].sum() if gain > 1e-9 and not breaks_of(choice, limits, more) else 0.0)  # fmt: skip
        if not rates or max(rates) <= 0.0:
            return
        trial.set(moves[int(np.argmax(rates))])


@pytest.mark.parametrize("seed", range(4))
def test_of_some_kinds_alone_the_best_planting_is_found(seed):
    # Evidence: every subset of the plants of those kinds.
    choice = made_up(seed, plants=12, kinds=3)
    limits = Limits(least_run=2, open_price=20.0, most_kinds=2)
    kept = np.isin(choice.kind, [0, 2])
    planted = surer._of_kinds(choice, limits, kept, 20.0)
    assert not planted[~kept].any()
    assert counts(choice, limits, planted) == pytest.approx(
        min(
            counts(choice, limits, some)
            for some in every_planting(choice, limits)
            if not some[~kept].any()
        )
    )


def test_what_gains_most_is_found_without_trying_every_move_anew(asked):
    design(wide_site(), design_chance=0.9, **BY_SIZE)
    (((typical, pool, limits, stage, odds), _),) = asked
    whole = pool.choice(np.ones(len(pool.rays.view), bool), typical.need)
    stops = odds.by(stage.year)
    goal = np.full(len(typical.need), 0.9)
    costs = []
    for make in (surer_plainly, make_surer):
        trial = odds.trial(stops, typical.need, np.zeros(len(typical.planted), bool))
        make(trial, whole, limits, goal)
        costs.append((whole.cost(trial.planted), trial.chance().tolist()))
    assert costs[0] == costs[1]
    assert costs[0][0] > 0.0
