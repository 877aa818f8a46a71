"""Rows of two and three kinds in groups: small lots by trying every planting, and what a design makes of them."""

from dataclasses import replace
from itertools import groupby, product

import geopandas as gpd
import numpy as np
import pytest
from design_kit import choice_of, least_of_all, made_up
from design_site import TABLE, design, options, site
from hypothesis import given
from hypothesis import strategies as st
from scipy.sparse.csgraph import connected_components
from shapely.geometry import MultiPoint, Point
from test_livestock import poisonous
from test_views import windows

from screenplan.contracts.tables import notes_of
from screenplan.design.choice import Limits, breaks_of, counts, runs_in
from screenplan.design.greedy import plant_greedily
from screenplan.design.kinds import list_options
from screenplan.design.meetings import meeting_pairs
from screenplan.design.mixtures import list_mixtures, partings, turns
from screenplan.design.programme import find_planting, price_of_open
from screenplan.design.search import Search
from screenplan.ground.errors import InputError
from screenplan.planting.diseases import in_common
from screenplan.planting.species import load_species, planned_species

#: A place as wide as the row, so that a run of many plants is asked for.
WIDE = {"at": (-6.0, -4.5, -3.0, -1.5, 0.0, 1.5, 3.0, 4.5, 6.0)}
TWO = {"design_kinds": ["column", "other"]}
#: Of one disease, by the list that comes with the library, and of none with the third.
RUST = ["photinia_fraseri", "juniperus_virginiana", "ilex_opaca"]
EXACT = 1e-6
THREE = {
    "design_kinds": ["column", "other", "third"],
    "design_most_kinds": 3,
    "design_kinds_in_turn": 3,
}
THIRD = TABLE | {"third": replace(TABLE["other"], key="third", genus="third")}


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
    sizes = next(partings(count, low, high), [])
    assert all(low <= size <= high for size in sizes)
    assert max(sizes, default=0) - min(sizes, default=0) <= 1
    best = max(
        (n for n in range(count + 1) if any(low * m <= n <= high * m for m in range(n + 1))),
        default=0,
    )
    assert sum(sizes) == best
    whose = turns(count, (low, high))
    told = [len(list(some)) for one, some in groupby(whose.tolist()) if one >= 0]
    assert told == (sizes if len(sizes) > 1 else [])
    # One kind alone takes no turns: two groups stand wherever two have room.
    assert len(sizes) > 1 or best < 2 * low


def mixed_up(seed, *, kinds=2, group=3, stretches=None):
    """A choice by chance of which the stretches are of some kinds in groups."""
    choice = made_up(seed, plants=11, rays=12)
    if stretches is not None:
        choice = replace(choice, stretch=np.sort(np.arange(11) % stretches), exclusive=())
    at = np.concatenate([np.arange(n) for n in np.bincount(choice.stretch)])
    turn = (at // group + choice.stretch) % kinds
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


def best_by_trying_all(choice, limits):
    """Find the planting by the programme, and hold it and the limit of groups against every planting."""
    for bits in product((False, True), repeat=len(choice.price)):
        planted = np.array(bits)
        told = "least run" not in breaks_of(choice, limits, planted)
        assert told == stands_in_groups(choice, limits, planted)
    solution = find_planting(choice, limits, seconds=20.0)
    assert breaks_of(choice, limits, solution.planted) == []
    assert solution.counts == pytest.approx(least_of_all(choice, limits), abs=EXACT)
    return solution


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
    solution = best_by_trying_all(choice, limits)
    greedy = plant_greedily(choice, limits)
    assert breaks_of(choice, limits, greedy) == []
    assert counts(choice, limits, greedy) >= solution.counts - EXACT


# By trying every planting: three kinds in turn, alone and where only three of four may be planted.
@pytest.mark.evidence(
    part="Design",
    kind="every case",
    against="every planting of a small lot, rows of three kinds in groups",
    source="all subsets of 11 plants",
    status="run",
    tolerance=f"{EXACT:g}",
)
@pytest.mark.parametrize("kinds", [3, 4])
@pytest.mark.parametrize("seed", range(12))
def test_no_planting_of_three_kinds_in_turn_counts_less_than_that_of_the_programme(seed, kinds):
    choice = mixed_up(seed, kinds=kinds, group=2, stretches=2)
    # A group of two that is left out is narrower than a gap must be.
    limits = Limits(least_run=3, least_gap=3, least_group=2, most_kinds=3)
    limits = replace(limits, open_price=price_of_open(choice, limits))
    solution = best_by_trying_all(choice, limits)
    assert solution.in_time
    assert breaks_of(choice, limits, plant_greedily(choice, limits)) == []


# By hand: of A A B B C C A A B B and D D D three kinds may stand. Without C the two runs of A and B are too near to each
# other, with it there is no D: so one run of four and D are best, 7 plants, and one view stays open.
def test_a_group_that_is_left_out_is_a_gap_too():
    kind = [0, 0, 1, 1, 2, 2, 0, 0, 1, 1, 3, 3, 3]
    light = np.zeros((3, 13))
    light[0, :4], light[1, 6:10], light[2, 10:] = 1 / 4, 1 / 4, 1 / 3
    choice = choice_of(
        np.eye(13), kind=kind, light=light, need=[0.99] * 3, stretch=[0] * 10 + [1] * 3
    )
    choice = replace(choice, mixed=choice.stretch == 0)
    limits = Limits(least_run=3, least_gap=3, least_group=2, most_kinds=3)
    limits = replace(limits, open_price=price_of_open(choice, limits))
    search = Search(choice, limits, np.zeros(13, bool), np.inf)
    search.prove(20.0)
    assert search.left() == []
    assert search.least == pytest.approx(7 + limits.open_price)
    assert search.least == pytest.approx(least_of_all(choice, limits), abs=EXACT)


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
    pairs = {tuple(option.species.key for option in one.kinds) for one in mixtures.every}
    assert pairs == {(RUST[0], RUST[2]), (RUST[1], RUST[2])}
    assert "cedar-quince rust passes between them" in " ".join(mixtures.notes)
    assert all(len({option.spacing_m for option in one.kinds}) == 1 for one in mixtures.every)


# By hand: four plants of each of three kinds in turn, whichever begins; the plan names the order.
@pytest.mark.parametrize("first", [0, 1, 2])
def test_three_kinds_take_turns_in_order(first):
    beside = [(0, kind) for kind in range(3) if kind != first]
    whose = turns(12, (4, 4), 3, beside)
    assert whose.tolist() == [(first + k // 4) % 3 for k in range(12)]


# By hand: a row of 12 between two that both end with the first kind is of three groups, not of two, and begins with the second.
def test_a_row_between_two_meets_its_own_kind_at_neither_end():
    usual = turns(12, (3, 7))
    assert [len(list(some)) for _, some in groupby(usual.tolist())] == [6, 6]
    whose = turns(12, (3, 7), beside=[(0, 0), (11, 0)])
    assert [(kind, len(list(some))) for kind, some in groupby(whose.tolist())] == [(1, 4), (0, 4), (1, 4)]  # fmt: skip
    # Where neither will do one end meets its own kind: the programme leaves plants out there.
    assert turns(6, (3, 3), beside=[(0, 0), (5, 0)]).tolist() == [0, 0, 0, 1, 1, 1]


def at_a_corner(places=5):
    """Windows and places to either side of the corner at which the rows along y = 0 and x = 18 meet."""
    aside = np.linspace(-4.2, 4.2, places)
    found = site((0.0,), places=[Point(12 - a, -6 + a) for a in aside])
    found["windows"] = windows(*((23 - a, 5 + a) for a in aside), sill=1.0, floor_m=0.0)
    return found


def largest_together(plants):
    """Plants of one kind that stand together at most, each nearer to another of them than two of the row's spacings of 1 m.

    From row to row: through a row by its order, so that what is asked is not what the programme asks.
    """
    xy = np.column_stack([plants.geometry.x, plants.geometry.y])
    kind, line = plants["species"].to_numpy(str), plants["line_id"].to_numpy(str)
    apart = np.hypot(*(xy[:, None] - xy[None, :]).transpose(2, 0, 1))
    same_row = line[:, None] == line[None, :]
    near = (kind[:, None] == kind[None, :]) & (apart < np.where(same_row, 1.5, 1.99))
    return np.bincount(connected_components(near)[1]).max()


# By hand: without a word of the meeting the programme plants two and three of a kind at the corner, five together.
@pytest.mark.parametrize(("groups", "kinds"), [([2, 3], 2), ([3, 3], 2), ([3, 7], 2), ([2, 3], 3)])
def test_where_rows_meet_no_more_of_a_kind_stand_together_than_a_group_has(groups, kinds):
    found = design(
        at_a_corner(), THIRD, design_groups=groups, rows_along=["north", "east"],
        design_kinds=["column", "other", "third"][:kinds], design_most_kinds=kinds,
        design_kinds_in_turn=kinds,
    )  # fmt: skip
    plants = found["plants"]
    assert plants["line_id"].nunique() == 2
    stems = plants.groupby("line_id").apply(lambda row: MultiPoint(row.geometry.to_list()), include_groups=False)  # fmt: skip
    assert stems.iloc[0].distance(stems.iloc[1]) < 2.0
    assert found["design"].iloc[0]["views_closed"] == found["design"].iloc[0]["views_open"]
    assert largest_together(plants) <= groups[1]


# By trying every planting: what stands side by side in two rows is never of one kind, and nothing else is forbidden.
def test_plants_of_one_kind_exclude_each_other_where_two_rows_meet():
    stems = [Point(x, 0.0) for x in range(4)] + [Point(4.0, -y - 0.5) for y in range(4)]
    table = gpd.GeoDataFrame(
        {"stretch": [0] * 4 + [1] * 4, "gap_m": 1.0, "stands": False}, geometry=stems
    )
    kinds = ["a", "a", "b", "b", "b_clipped", "b", "a", "a"]
    mixed = np.ones(8, bool)
    told = {tuple(pair) for pair in meeting_pairs(table, kinds, mixed)}
    by_hand = {
        (one, other)
        for one in range(4)
        for other in range(4, 8)
        if stems[one].distance(stems[other]) < 2.0 and kinds[one][0] == kinds[other][0]
    }
    assert told == by_hand == {(2, 4), (3, 4), (3, 5)} & by_hand
    assert (3, 4) in told
    assert meeting_pairs(table, kinds, None) == []
    # Of rows of one kind each nobody asks for groups, and what stands already is no candidate.
    assert meeting_pairs(table, kinds, mixed & False) == []
    assert meeting_pairs(table.assign(stands=[False] * 4 + [True] * 4), kinds, mixed) == []


def test_a_design_plants_three_kinds_in_turn():
    found = design(site(**WIDE), THIRD, design_groups=[3, 4], **THREE)
    (row,) = groups_in(found["plants"]).values()
    assert len(row) >= 3
    assert all(3 <= size <= 4 for _, size in row)
    kinds = [kind for kind, _ in row]
    # Invariant: of any three groups in turn no two are of one kind.
    assert all(len(set(kinds[k : k + 3])) == 3 for k in range(len(kinds) - 2))
    assert found["design"].iloc[0]["views_closed"] == 81
    assert "three kinds take turns along each row, in groups of 3 to 4 plants" in " ".join(notes_of(found["design"]))  # fmt: skip


def test_three_kinds_of_which_two_host_one_disease_take_no_turns():
    plan = options(design_kinds=[*RUST, "ilex_glabra"], design_groups=[3, 7], design_most_kinds=3, design_kinds_in_turn=3)  # fmt: skip
    mixtures = list_mixtures(list_options(plan, load_species(), 10).options, plan)
    threes = {frozenset(option.species.key for option in one.kinds) for one in mixtures.every}
    assert threes == {frozenset((one, "ilex_opaca", "ilex_glabra")) for one in RUST[:2]}


def test_a_kind_takes_no_turns_with_its_own_clipped_hedge():
    plan = options(
        design_kinds=["taxus_baccata", "taxus_baccata_clipped", "ilex_opaca"], design_groups=[3, 7],
        design_hedge_height=2.0,
    )  # fmt: skip
    offered = list_options(plan, planned_species(plan), 10).options
    assert "taxus_baccata_clipped" in {option.species.key for option in offered}
    pairs = {
        frozenset(option.species.key for option in one.kinds)
        for one in list_mixtures(offered, plan).every
    }
    assert len(pairs) == 2
    assert all("ilex_opaca" in pair for pair in pairs)


@pytest.mark.parametrize(
    ("values", "says"),
    [
        (
            {"design_kinds": [*RUST], "design_kinds_in_turn": 3},
            "the design may plant 2 kinds. Name more",
        ),
        (
            {"design_kinds": [*RUST], "design_kinds_in_turn": 3, "design_most_kinds": 3},
            r"no three kinds can take turns in groups: .*rust passes between them.*set design\.kinds_in_turn = 2",
        ),
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


def test_three_kinds_in_turn_ask_for_groups():
    plan = options(design_kinds=RUST, design_most_kinds=3, design_kinds_in_turn=3)
    with pytest.raises(
        InputError,
        match=r"key design\.kinds_in_turn: .*no groups are asked for\. Set design\.groups",
    ):
        list_mixtures(list_options(plan, load_species(), 10).options, plan)


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
