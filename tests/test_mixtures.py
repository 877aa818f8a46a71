"""Rows of two kinds in groups: small lots by trying every planting, and what a design makes of them."""

from dataclasses import replace
from itertools import groupby, product

import numpy as np
import pytest
from design_kit import choice_of, least_of_all, made_up
from design_site import TABLE, design, options, site
from hypothesis import given
from hypothesis import strategies as st
from test_livestock import poisonous

from screenplan.contracts.tables import notes_of
from screenplan.design.choice import Limits, breaks_of, counts, runs_in
from screenplan.design.greedy import plant_greedily
from screenplan.design.kinds import list_options
from screenplan.design.mixtures import group_sizes, list_mixtures, turns
from screenplan.design.programme import find_planting, price_of_open
from screenplan.ground.errors import InputError
from screenplan.planting.diseases import in_common
from screenplan.planting.species import load_species

#: A place as wide as the row, so that a run of many plants is asked for.
WIDE = {"at": (-6.0, -4.5, -3.0, -1.5, 0.0, 1.5, 3.0, 4.5, 6.0)}
TWO = {"design_kinds": ["column", "other"]}
#: Of one disease, by the list that comes with the library, and of none with the third.
RUST = ["photinia_fraseri", "juniperus_virginiana", "ilex_opaca"]
EXACT = 1e-6


def groups_in(plants):
    """Lengths of the groups of each row, in the order of its stations."""
    return {
        line: [
            (kind, len(list(some)))
            for kind, some in groupby(row.sort_values("station_m")["species"].astype(str))
        ]
        for line, row in plants.groupby("line_id")
    }


# Invariants: groups are as even as can be, all within the range, and no station is left out that could have one.
@given(st.integers(0, 60), st.integers(1, 8), st.integers(0, 6))
def test_stations_are_parted_into_groups_within_the_range(count, low, more):
    high = low + more
    sizes = group_sizes(count, low, high)
    assert all(low <= size <= high for size in sizes)
    assert max(sizes, default=0) - min(sizes, default=0) <= 1
    best = max(
        (n for n in range(count + 1) if any(low * m <= n <= high * m for m in range(n + 1))),
        default=0,
    )
    assert sum(sizes) == best
    whose = turns(count, low, high)
    told = [len(list(some)) for one, some in groupby(whose.tolist()) if one >= 0]
    assert told == (sizes if len(sizes) > 1 else [])
    # One kind alone takes no turns: two groups stand wherever two have room.
    assert len(sizes) > 1 or best < 2 * low


def mixed_up(seed):
    """A choice by chance of which the stretches are of two kinds in groups."""
    choice = made_up(seed, plants=11, rays=12)
    at = np.concatenate([np.arange(n) for n in np.bincount(choice.stretch)])
    turn = (at // 3 + choice.stretch) % 2
    return replace(choice, kind=turn, genus=turn, mixed=turn >= 0)


def stands_in_groups(choice, limits, planted):
    """Tell by the words of the limit whether each run is long enough, of two groups, each large enough."""
    for run in runs_in(choice.stretch, planted):
        sizes = [len(list(some)) for _, some in groupby(choice.kind[run].tolist())]
        if len(run) < limits.least_run or len(sizes) < 2:
            return False
        if min(sizes[0], sizes[-1]) < limits.least_group:
            return False
    return True


# By trying every planting of lots that are small enough.
@pytest.mark.evidence(
    part="Design",
    kind="every case",
    against="every planting of a small lot, rows of two kinds in groups",
    source="all subsets of 11 plants",
    status="run",
    tolerance=f"{EXACT:g}",
)
@pytest.mark.parametrize("seed", range(25))
def test_no_planting_in_groups_counts_less_than_that_of_the_programme(seed):
    choice = mixed_up(seed)
    limits = Limits(least_run=2, least_gap=2, least_group=2, most_of_kind=0.7, most_kinds=2)
    limits = replace(limits, open_price=price_of_open(choice, limits))
    for bits in product((False, True), repeat=len(choice.price)):
        planted = np.array(bits)
        told = "least run" not in breaks_of(choice, limits, planted)
        assert told == stands_in_groups(choice, limits, planted)
    solution = find_planting(choice, limits, seconds=20.0)
    assert breaks_of(choice, limits, solution.planted) == []
    assert solution.counts == pytest.approx(least_of_all(choice, limits), abs=EXACT)
    greedy = plant_greedily(choice, limits)
    assert breaks_of(choice, limits, greedy) == []
    assert counts(choice, limits, greedy) >= solution.counts - EXACT


# Invariant: the lots by chance are such that kinds take turns in most of the plantings that are best.
def test_most_of_the_small_lots_plant_groups():
    planted = []
    for seed in range(25):
        choice = mixed_up(seed)
        limits = Limits(least_run=2, least_gap=2, least_group=2, most_kinds=2)
        limits = replace(limits, open_price=price_of_open(choice, limits))
        planted.append(find_planting(choice, limits, seconds=20.0).planted.any())
    assert sum(planted) > 12


# By hand: of two groups of three each ray asks for the plants 1 to 4; a run of 1 to 4 would leave two of each.
def test_a_run_ends_where_enough_of_a_group_stands():
    choice = choice_of(
        np.eye(6)[:, 1:5], kind=[0, 0, 0, 1, 1, 1], light=np.full((1, 4), 0.25), need=[0.99]
    )
    choice = replace(choice, mixed=np.ones(6, bool))
    limits = Limits(least_run=3, least_gap=3, least_group=3, open_price=100.0)
    middle = np.array([0, 1, 1, 1, 1, 0], bool)
    assert breaks_of(choice, limits, middle) == ["least run"]
    assert breaks_of(choice, replace(limits, least_group=2), middle) == []
    one_kind = np.array([1, 1, 1, 0, 0, 0], bool)
    assert breaks_of(choice, limits, one_kind) == ["least run"]
    assert breaks_of(replace(choice, mixed=None), limits, one_kind) == []
    for planted in (
        find_planting(choice, limits, seconds=5.0).planted, plant_greedily(choice, limits)
    ):  # fmt: skip
        assert planted.tolist() == [True] * 6
    assert [len(run) for run in runs_in(choice.stretch, planted)] == [6]


@pytest.mark.parametrize("chance", [0.0, 0.8])
def test_a_design_in_groups_plants_rows_of_two_kinds_in_turn(chance):
    found = design(site(**WIDE), design_groups=[3, 5], design_chance=chance, **TWO)
    rows = groups_in(found["plants"])
    for row in rows.values():
        assert len(row) > 1
        assert all(3 <= size <= 5 for _, size in row)
    assert set(found["plants"]["species"]) == {"column", "other"}
    told = found["design"].iloc[0]
    assert told["views_closed"] == told["views_open"] == 81
    assert told["kinds"] == "column, other"
    assert "in groups of 3 to 5 plants" in " ".join(notes_of(found["design"]))
    # Without the key one kind is enough, and is no dearer.
    alone = design(site(**WIDE), design_chance=chance, **TWO)
    assert len(set(alone["plants"]["species"])) == 1
    assert alone["design"]["cost"].iloc[0] <= found["design"]["cost"].iloc[0]


def test_hosts_of_one_disease_take_no_turns():
    table = load_species()
    assert in_common(table[RUST[0]], table[RUST[1]])
    plan = options(design_kinds=RUST, design_groups=[3, 7], design_spacings=[])
    mixtures = list_mixtures(list_options(plan, table, 10).options, plan)
    pairs = {(one.first.species.key, one.second.species.key) for one in mixtures.every}
    assert pairs == {(RUST[0], RUST[2]), (RUST[1], RUST[2])}
    assert "cedar-quince rust passes between them" in " ".join(mixtures.notes)
    assert all(one.first.spacing_m == one.second.spacing_m for one in mixtures.every)


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ({"design_kinds": RUST[:2]}, "cedar-quince rust passes between them"),
        ({"design_kinds": RUST[2:]}, "the design may plant 1 kind"),
        ({"design_kinds": RUST, "design_most_kinds": 1}, "no two kinds can take turns in groups"),
        ({"design_kinds": RUST, "design_two_rows": True}, "two rows are asked for"),
    ],
)
def test_groups_that_cannot_be_are_refused(values, says):
    plan = options(design_groups=[3, 7], **values)
    offered = list_options(plan, load_species(), 10).options
    with pytest.raises(InputError, match=says):
        list_mixtures(offered, plan)


@pytest.mark.parametrize("groups", [[3], [7, 3], [0, 3]])
def test_a_range_that_is_none_is_refused(groups):
    with pytest.raises(InputError, match=r"design\.groups"):
        options(design_groups=groups)


def test_without_the_key_there_are_no_mixtures():
    plan = options(**TWO)
    assert list_mixtures(list_options(plan, TABLE, 10).options, plan) is None


# By hand: the poisonous one of two kinds may not stand along the northern side, and so no mixture with it.
def test_no_mixture_with_a_poisonous_kind_stands_beside_livestock():
    table = TABLE | {"column": poisonous(TABLE["column"])}
    asked = {"design_groups": [3, 5], **TWO}
    assert len(design(site(**WIDE), table, **asked)["plants"])
    with pytest.raises(InputError, match="no planting that may be chosen closes a view"):
        design(site(**WIDE), table, health_livestock_sides=["north"], **asked)
