"""The integer programme: against every subset of small choices, and against plantings made otherwise."""

import itertools
from dataclasses import replace

import numpy as np
import pytest
from design_kit import choice_of, every_planting, least_of_all, made_up
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import csr_array

from screenplan.design import choice as choices
from screenplan.design import greedy, merging
from screenplan.design.choice import Limits, breaks_of, counts, open_weight, runs_in
from screenplan.design.clock import Clock
from screenplan.design.formulation import programme_of, relax
from screenplan.design.greedy import plant_greedily
from screenplan.design.merging import join_rays, merge_rays
from screenplan.design.programme import _improve, find_planting, least_difference, price_of_open
from screenplan.design.reduced import fewer_spots
from screenplan.design.search import Search

#: Sums of prices agree to this.
SAME = 1e-6
#: Limits that the made-up choices are planted by.
LIMITS = {
    "runs of three": Limits(least_run=3, open_price=30.0),
    "runs of one": Limits(least_run=1, open_price=30.0),
    "runs of two, cheap views": Limits(least_run=2, open_price=2.0),
    "gaps of two": Limits(least_run=1, least_gap=2, open_price=30.0),
    "gaps of three": Limits(least_run=2, least_gap=3, open_price=30.0),
    "a budget": Limits(least_run=2, budget=7.0, open_price=30.0),
    "one kind": Limits(least_run=2, most_kinds=1, open_price=30.0),
    "most of a genus": Limits(least_run=1, most_of_genus=0.6, open_price=30.0),
    "most of a kind": Limits(least_run=1, most_of_kind=0.5, open_price=30.0),
    "kinds apart": Limits(least_run=1, apart=((0, 1),), open_price=30.0),
    "half the views": Limits(least_run=2, share=0.5, open_price=30.0),
    "one kind lost": Limits(least_run=1, open_price=30.0, least_left=1.0),
    "two views without one kind": Limits(least_run=2, share=0.8, open_price=4.0, least_left=2.0),
    "one of three kinds lost": Limits(least_run=1, most_kinds=2, open_price=30.0, least_left=1.5),
}


@pytest.mark.evidence(
    part="Design",
    kind="every case",
    against="every subset of 10 plants, by fourteen sets of limits",
    source="enumeration",
    status="run",
    tolerance=f"{SAME:g} of a price unit",
)
@pytest.mark.parametrize("name", LIMITS)
@pytest.mark.parametrize("seed", range(4))
def test_nothing_among_all_subsets_counts_less(name, seed):
    choice, limits = made_up(seed), LIMITS[name]
    found = find_planting(choice, limits)
    assert found.in_time
    assert not breaks_of(choice, limits, found.planted)
    assert found.counts == pytest.approx(least_of_all(choice, limits), abs=SAME)
    assert found.bound <= found.counts + SAME
    assert found.proven


@pytest.mark.parametrize("most", [1, 2, 3])
@pytest.mark.parametrize("seed", range(4))
def test_nothing_among_all_subsets_of_so_many_kinds_counts_less(seed, most):
    choice = made_up(seed, kinds=3)
    limits = Limits(least_run=2, most_kinds=most, open_price=30.0)
    found = find_planting(choice, limits)
    assert found.in_time
    assert not breaks_of(choice, limits, found.planted)
    assert found.counts == pytest.approx(least_of_all(choice, limits), abs=SAME)
    assert found.bound == pytest.approx(found.counts, abs=SAME)


def test_where_kinds_are_too_many_to_search_each_set_they_are_chosen_together(monkeypatch):
    choice, limits = made_up(2, kinds=3), Limits(least_run=2, most_kinds=2, open_price=30.0)
    apart = find_planting(choice, limits)
    monkeypatch.setattr(choices, "MOST_SETS", 2)
    together = find_planting(choice, limits)
    assert together.in_time
    assert together.counts == pytest.approx(apart.counts, abs=SAME)


@pytest.mark.parametrize("seconds", [0.02, 0.3])
def test_with_too_little_time_for_all_sets_of_kinds_the_bound_still_holds(seconds):
    # What is found in ample time is a planting made by other means.
    choice = made_up(5, plants=60, rays=120, views=8, kinds=4)
    limits = Limits(least_run=2, most_kinds=2)
    limits = replace(limits, open_price=price_of_open(choice, limits))
    best, hasty = (find_planting(choice, limits, seconds=time) for time in (20.0, seconds))
    assert hasty.bound <= best.counts + SAME
    assert best.bound <= hasty.counts + SAME
    assert not breaks_of(choice, limits, hasty.planted)


def test_a_part_of_a_run_counts_once_for_a_ray_that_its_neighbours_stop():
    # By hand: each ray between two of 20 plants is stopped by both, and so half of each plant would do if parts of
    # plants were counted. Where three stations must be free between two runs all 20 stand; where one may be, four of
    # them can, with five runs of three at least between and beside them.
    stops = np.zeros((20, 21), bool)
    for plant in range(20):
        stops[plant, plant : plant + 2] = True
    choice = choice_of(stops, need=[1.0])
    for gap, least in ((3, 20.0), (1, 16.0)):
        limits = Limits(least_run=3, least_gap=gap, open_price=1000.0)
        bound = relax(programme_of(choice, limits, 0.0), 10.0).bound
        assert bound == pytest.approx(least, abs=1e-4)
        assert find_planting(choice, limits).counts == pytest.approx(least)


@pytest.mark.parametrize("name", LIMITS)
@pytest.mark.parametrize("seed", range(3))
def test_bounds_without_whole_numbers_and_of_joined_rays_are_below_all_plantings(seed, name):
    choice, limits = made_up(seed), LIMITS[name]
    least = least_of_all(choice, limits)
    exact = relax(programme_of(choice, limits), 10.0).bound
    assert exact <= least + SAME
    for alike in (0.8, 0.4, 0.1):
        stops, light = join_rays(choice.stops, choice.light, alike)
        assert stops.shape[1] == light.shape[1] <= choice.stops.shape[1]
        assert light.sum(axis=1) == pytest.approx(choice.light.sum(axis=1))
        coarse = replace(choice, stops=stops, light=light)
        joined = relax(programme_of(coarse, limits), 10.0).bound
        assert joined <= exact + SAME
        for planted in np.random.default_rng(seed).random((20, len(choice.price))) < 0.4:
            assert (coarse.stopped(planted) >= choice.stopped(planted) - SAME).all()


@pytest.mark.parametrize("seed", range(5))
def test_fewer_sets_of_plants_exclude_the_same_pairs(seed):
    rng = np.random.default_rng(seed)
    spots = [rng.choice(12, size, replace=False) for size in rng.integers(2, 5, 20)]
    fewer = fewer_spots(spots, 12)

    def pairs(sets):
        return {
            frozenset(map(int, pair)) for one in sets for pair in itertools.combinations(one, 2)
        }

    assert pairs(fewer) == pairs(spots)
    assert len(fewer) <= len(spots)


@given(seed=st.integers(0, 10_000), name=st.sampled_from(sorted(LIMITS)), more=st.data())
@settings(max_examples=40)
def test_the_bound_is_below_whatever_keeps_to_the_limits(seed, name, more):
    choice, limits = made_up(seed, plants=9), LIMITS[name]
    bound = find_planting(choice, limits, seconds=10.0).bound
    others = [plant_greedily(choice, limits)]
    # Whole stretches, and plants by chance.
    others += [choice.stretch == stretch for stretch in np.unique(choice.stretch)]
    drawn = more.draw(st.lists(st.booleans(), min_size=9, max_size=9))
    others.append(np.array(drawn))
    for planted in others:
        if not breaks_of(choice, limits, planted):
            assert bound <= counts(choice, limits, planted) + SAME


@pytest.mark.parametrize("seed", range(6))
def test_what_is_made_plainly_keeps_to_the_shares_of_kinds(seed):
    choice = made_up(seed, plants=40, rays=60, views=6, kinds=3)
    limits = Limits(least_run=2, most_of_kind=0.5, open_price=200.0)
    planted = plant_greedily(choice, limits)
    assert not breaks_of(choice, limits, planted)
    # Less than the plants' own price would be nothing planted at all.
    none = np.zeros(len(planted), bool)
    free = plant_greedily(choice, replace(limits, most_of_kind=1.0))
    assert planted.any() == free.any()
    assert counts(choice, limits, planted) <= counts(choice, limits, none)
    assert (
        choice.weight[choice.closed(planted)].sum()
        >= 0.5 * choice.weight[choice.closed(free)].sum()
    )


def test_what_is_best_by_hand():
    # By hand: rays 0 to 4 fall between five plants, a plant stops the two beside it. Three neighbours
    # in the middle stop all but the outer rays; two of six may stay open.
    stops = np.zeros((5, 6), bool)
    for plant in range(5):
        stops[plant, plant : plant + 2] = True
    choice = choice_of(stops, need=[4 / 6])
    found = find_planting(choice, Limits(open_price=100.0))
    assert found.cost == 3.0
    assert found.proven
    assert found.open_weight == 0.0
    # All six need all runs that reach both ends: at least 1, 3 and 5 stand, so all five by runs of three.
    choice = replace(choice, need=np.array([1.0]))
    assert find_planting(choice, Limits(open_price=100.0)).cost == 5.0
    assert find_planting(choice, Limits(open_price=100.0, least_run=1)).cost == 3.0


def test_a_cheaper_kind_on_the_same_ground_is_taken_and_both_never_are():
    # Two kinds on the same three spots stop the same rays, by hand.
    eye = np.eye(3, dtype=bool)
    choice = choice_of(
        np.vstack([eye, eye]), price=[2, 2, 2, 1.5, 1.5, 1.5], stretch=[0] * 3 + [1] * 3,
        kind=[0] * 3 + [1] * 3, exclusive=[(0, 3), (1, 4), (2, 5)], need=[1.0],
    )  # fmt: skip
    found = find_planting(choice, Limits(open_price=100.0))
    assert found.planted.tolist() == [False] * 3 + [True] * 3
    assert found.cost == pytest.approx(4.5)


def test_what_is_made_plainly_keeps_the_plants_that_a_view_needs_and_no_more():
    # By hand: each of five plants stops a fifth of the view's light, two fifths are asked.
    choice = choice_of(np.eye(5, dtype=bool), need=[0.4])
    planted = plant_greedily(choice, Limits(open_price=100.0, least_run=1))
    assert planted.sum() == 2
    assert choice.closed(planted).all()
    # With all of them set at first, what is taken off again leaves the same.
    assert greedy._thin(choice, Limits(open_price=100.0, least_run=1), np.ones(5, bool)).sum() == 2


def test_a_better_planting_is_found_in_the_time_given_and_none_without_time():
    # Brute force: the best of all plantings; the search starts from all plants that may stand together.
    choice = choice_of(np.eye(6, dtype=bool), price=[3.0, 1.0, 1.0, 1.0, 1.0, 2.0], need=[0.5])
    limits, every = Limits(open_price=100.0, least_run=1), np.ones(6, bool)
    search = Search(choice, limits, every, np.inf)
    assert not search.find_good(0.0)
    assert search.find_good(20.0)
    assert search.least == pytest.approx(least_of_all(choice, limits))


def test_a_planting_is_made_better_part_by_part():
    # Brute force: of six plants, of which any three do, the three cheapest.
    choice = choice_of(np.eye(6, dtype=bool), price=[3.0, 1.0, 1.0, 1.0, 1.0, 2.0], need=[0.5])
    limits, every = Limits(open_price=100.0, least_run=1), np.ones(6, bool)
    whole = programme_of(choice, limits)
    better = _improve(choice, limits, whole, every, 20.0, Clock())
    assert counts(choice, limits, better) == pytest.approx(least_of_all(choice, limits))
    assert _improve(choice, limits, whole, every, 0.0, Clock()).tolist() == every.tolist()


def test_as_many_plants_are_set_in_turn_as_a_view_needs():
    # By hand: each of nine plants stops a ninth of the light, and all of it is asked.
    choice = choice_of(np.eye(9, dtype=bool), need=[1.0])
    for quickly in (False, True):
        assert plant_greedily(choice, Limits(open_price=100.0, least_run=1), quickly=quickly).all()


def test_a_view_that_costs_more_than_it_counts_stays_open():
    choice = choice_of(np.eye(3, dtype=bool), need=[1.0])
    assert find_planting(choice, Limits(open_price=2.9)).cost == 0.0
    assert find_planting(choice, Limits(open_price=3.1)).cost == 3.0


def test_a_view_that_nothing_closes_is_left_open_and_the_others_are_closed():
    choice = choice_of(
        np.eye(3, 4, dtype=bool),
        light=[[1 / 3, 1 / 3, 1 / 3, 0], [0, 0, 0.5, 0.5]],
        need=[0.9, 0.9],
    )
    assert choice.closable().tolist() == [True, False]
    found = find_planting(choice, Limits(open_price=50.0))
    assert choice.closed(found.planted).tolist() == [True, False]
    assert found.open_weight == 1.0
    assert found.proven
    assert found.least_cost(50.0) == pytest.approx(3.0)
    assert found.least_open(50.0) == pytest.approx(1.0)


@pytest.mark.parametrize("seed", range(6))
def test_the_usual_price_leaves_nothing_open_to_save_money(seed):
    choice = made_up(seed)
    limits = Limits(least_run=2)
    limits = replace(limits, open_price=price_of_open(choice, limits))
    found = find_planting(choice, limits)
    # By trying all: the least weight that can stay open, and the least cost with that.
    every = list(every_planting(choice, limits))
    least = min(open_weight(choice, limits, planted) for planted in every)
    assert found.open_weight == pytest.approx(least)
    assert found.cost == pytest.approx(
        min(
            choice.cost(planted)
            for planted in every
            if open_weight(choice, limits, planted) <= least + SAME
        )
    )


@pytest.mark.parametrize(
    ("share", "weight"),
    [(0.55, (1.0, 1.0)), (1.0, (1.0, 1.0)), (0.7, (1.0, 1.3)), (0.6, (2.0, 2.0))],
)
def test_a_share_that_lies_between_views_is_reached_all_the_same(share, weight):
    # By hand: either view alone is less than the share, and each costs three plants.
    choice = choice_of(
        np.eye(6, dtype=bool), light=np.kron(np.eye(2), np.ones(3) / 3), need=[1.0, 1.0],
        weight=weight,
    )  # fmt: skip
    limits = Limits(share=share)
    found = find_planting(choice, replace(limits, open_price=price_of_open(choice, limits)))
    assert (found.cost, found.open_weight) == (6.0, 0.0)


@pytest.mark.parametrize("share", [0.45, 1.0])
@pytest.mark.parametrize("seed", range(8))
def test_the_bound_holds_where_weights_and_shares_are_uneven(seed, share):
    choice = made_up(seed, plants=9)
    weight = np.random.default_rng(seed).choice([0.0, 1.0, 1.3, 2.5], len(choice.weight))
    choice = replace(choice, weight=weight)
    limits = Limits(least_run=2, share=share)
    for price in (price_of_open(choice, limits), price_of_open(choice, limits) / 3.0):
        asked = replace(limits, open_price=price)
        found = find_planting(choice, asked)
        assert found.counts == pytest.approx(least_of_all(choice, asked), rel=1e-6)
        assert found.bound <= found.counts + SAME


@pytest.mark.parametrize("seed", range(6))
def test_rays_taken_together_change_nothing(seed):
    choice = made_up(seed, rays=8)
    rng = np.random.default_rng(seed)
    # Each ray three times, with its light in three unequal parts, and one that nothing stops.
    part = rng.dirichlet(np.ones(3), 8).ravel()
    stops = np.repeat(choice.stops.toarray(), 3, axis=1)
    light = np.repeat(choice.light.toarray(), 3, axis=1) * part
    stops = np.hstack([stops, np.zeros((len(stops), 1), bool)])
    light = np.hstack([0.9 * light, np.full((len(light), 1), 0.1)])
    apart = replace(choice, stops=csr_array(stops), light=csr_array(light))
    merged = replace(apart, **dict(zip(("stops", "light"), merge_rays(apart.stops, apart.light), strict=True)))  # fmt: skip
    assert merged.stops.shape[1] <= 8
    for planted in rng.random((20, len(choice.price))) < 0.5:
        assert merged.stopped(planted) == pytest.approx(apart.stopped(planted), abs=1e-12)
    limits = Limits(least_run=2, open_price=20.0)
    one, other = find_planting(apart, limits), find_planting(merged, limits)
    assert one.counts == pytest.approx(other.counts, abs=SAME)


def test_out_of_time_the_greedy_planting_stands_with_its_gap():
    choice = made_up(3, plants=60, rays=200, views=8)
    limits = Limits(open_price=500.0)
    found = find_planting(choice, limits, seconds=0.0)
    assert not found.in_time
    assert found.made_by == "greedy"
    assert found.planted.tolist() == plant_greedily(choice, limits).tolist()
    assert found.bound <= found.counts
    assert 0.0 <= found.gap(limits.open_price) <= 1.0


@pytest.mark.parametrize("seed", range(4))
def test_least_cost_and_least_open_hold_for_all(seed):
    choice, limits = made_up(seed), Limits(least_run=2, open_price=6.0)
    for seconds in (0.0, 10.0):
        found = find_planting(choice, limits, seconds=seconds)
        least, least_open = found.least_cost(6.0), found.least_open(6.0)
        for planted in every_planting(choice, limits):
            if open_weight(choice, limits, planted) <= found.open_weight + SAME:
                assert choice.cost(planted) >= least - SAME
            if choice.cost(planted) <= found.cost + SAME:
                assert open_weight(choice, limits, planted) >= least_open - SAME


def test_with_no_plant_and_with_no_view_the_answer_is_nothing():
    none = choice_of(np.zeros((0, 4), bool))
    found = find_planting(none, Limits(open_price=7.0))
    assert (found.cost, found.open_weight, found.counts) == (0.0, 1.0, 7.0)
    assert found.proven
    nobody = choice_of(np.ones((3, 0), bool), light=np.zeros((0, 0)))
    assert find_planting(nobody, Limits()).counts == 0.0


def test_runs_are_neighbours_of_one_stretch():
    choice = choice_of(np.ones((6, 1), bool), stretch=[0, 0, 0, 1, 1, 1])
    planted = np.array([True, True, True, True, False, True])
    assert [run.tolist() for run in runs_in(choice.stretch, planted)] == [[0, 1, 2], [3], [5]]
    assert breaks_of(choice, Limits(), planted) == ["least run"]
    assert breaks_of(choice, Limits(budget=2.0, least_run=1), planted) == ["budget"]
    # One station is free between the fourth and the last, and none counts between two stretches.
    assert breaks_of(choice, Limits(least_run=1, least_gap=2), planted) == ["least gap"]


@pytest.mark.parametrize("name", ["price", "weight", "need"])
def test_numbers_below_zero_are_a_mistake(name):
    with pytest.raises(ValueError, match=f"each {name} must be a number of 0 or more"):
        choice_of(np.ones((1, 1), bool), **{name: [-1.0]})


def test_plants_of_which_each_excludes_each_are_one_set():
    # By hand: all pairs of 200 plants say what one set says.
    pairs = list(itertools.combinations(range(200), 2))
    (spot,) = fewer_spots(pairs, 200)
    assert spot.tolist() == list(range(200))


def test_rays_with_the_same_sum_of_numbers_are_compared_all_the_same(monkeypatch):
    # By hand: the first two rays are stopped by one plant each, the last by that of the first. All numbers are the
    # same at first, and so are their sums.
    numbers = iter([np.ones(2, np.uint64), np.array([3, 5], np.uint64)])

    class Same:
        def integers(self, *_, **__):
            return next(numbers)

    monkeypatch.setattr(merging.np.random, "default_rng", lambda _: Same())
    stops = csr_array(np.array([[True, False, True], [False, True, False]]))
    stops, light = merging.merge_rays(stops, csr_array(np.array([[0.5, 0.3, 0.2]])))
    assert light.toarray().tolist() == [[0.7, 0.3]]
    assert stops.toarray().tolist() == [[True, False], [False, True]]
    assert next(numbers, None) is None


@pytest.mark.parametrize("seed", range(4))
def test_what_is_started_from_is_kept_to_or_made_better(seed):
    choice, limits = made_up(seed), Limits(least_run=2, open_price=20.0)
    nothing, alone = np.zeros((2, len(choice.price)), bool)
    alone[0] = True
    # Without time it stands as it is, and what breaks a limit is none to start from.
    assert not find_planting(choice, limits, seconds=0.0, start=nothing).planted.any()
    assert breaks_of(choice, limits, alone) == ["least run"]
    greedy = plant_greedily(choice, limits)
    assert find_planting(choice, limits, seconds=0.0, start=alone).planted.tolist() == greedy.tolist()  # fmt: skip
    for start in (nothing, alone):
        found = find_planting(choice, limits, start=start)
        assert found.counts == pytest.approx(least_of_all(choice, limits), rel=1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_what_is_made_quickly_keeps_to_the_limits_and_is_no_worse_than_a_uniform_row(seed):
    choice = made_up(seed, plants=12, kinds=3)
    limits = Limits(most_kinds=2, least_run=2, open_price=20.0)
    found = plant_greedily(choice, limits, quickly=True)
    assert not breaks_of(choice, limits, found)
    for kind in np.unique(choice.kind):
        row = choice.kind == kind
        if not breaks_of(choice, limits, row):
            assert counts(choice, limits, found) <= counts(choice, limits, row) + 1e-9


@pytest.mark.parametrize(("share", "least"), [(0.55, 0.1), (1.0, 1.0), (0.8, 0.6)])
def test_open_weights_differ_by_what_lies_between_whole_views_and_the_asked_share(share, least):
    # By hand: of two views of weight 1 none, one or both are closed; of 1.1 asked 0, 0.1 or 1.1 stays open.
    choice = choice_of(np.ones((1, 2), bool), light=np.eye(2))
    assert least_difference(choice, Limits(share=share)) == pytest.approx(least)
