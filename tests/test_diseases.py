"""Hosts of one disease apart: by the table that was read, along rows, and in a design."""

from itertools import combinations

import pytest
from design_site import TABLE, design
from effects_kit import row
from options_kit import plan_with

from screenplan.effects.health import check_health, judge_health
from screenplan.planting.diseases import in_common, load_diseases, pairs_in_common
from screenplan.planting.species import load_species

SPECIES = load_species()
APART = plan_with(health_hosts_apart=True)


def finding(kinds, plan=APART):
    _, plants = row()
    plants = plants.assign(species=[kinds[k % len(kinds)] for k in range(len(plants))])
    found = {one.check: one for one in check_health(judge_health(plants, plan=plan))}
    return found.get("hosts of one disease")


@pytest.mark.evidence(
    part="Plants and growth",
    kind="published",
    against="hosts of four diseases",
    source="Florida Department of Agriculture, Circular 404; Alabama Extension; Cornell University; Missouri Botanical Garden",
    status="read",
    tolerance="the pairs of kinds",
)
@pytest.mark.parametrize(
    ("one", "other", "disease"),
    [
        ("cupressus_leylandii", "juniperus_virginiana", "cypress canker (Seiridium)"),
        ("photinia_fraseri", "eriobotrya_japonica", "Entomosporium leaf spot"),
        ("pinus_nigra", "picea_pungens", "Diplodia tip blight of pines"),
        ("photinia_fraseri", "juniperus_virginiana", "cedar-quince rust"),
        ("ilex_opaca", "thuja_occidentalis", None),
        ("juniperus_virginiana", "juniperus_virginiana", None),
    ],
)
def test_diseases_that_pass_between_two_kinds(one, other, disease):
    both = [in_common(SPECIES[a], SPECIES[b]) for a, b in ((one, other), (other, one))]
    assert [[found.called for found in each] for each in both] == [[disease] if disease else []] * 2


def test_every_host_of_the_table_is_a_kind_that_is_shipped():
    genera = {kind.genus for kind in SPECIES.values()}
    for disease in load_diseases():
        assert {*disease.hosts, *disease.other_hosts} <= genera | set(SPECIES)


def test_two_junipers_do_not_pass_a_rust_that_needs_two_sorts_of_hosts():
    names = [found.called for found in in_common(SPECIES["juniperus_virginiana"], SPECIES["juniperus_chinensis"])]  # fmt: skip
    assert names == ["cypress canker (Seiridium)"]


def test_neighbours_in_a_row_that_host_the_same_disease_fail():
    bad = finding(["thuja_occidentalis", "juniperus_virginiana"])
    assert bad.result == "fails"
    # By hand: 25 plants that take turns have 24 pairs of neighbours.
    assert "stand side by side 24 times" in bad.says
    # A kind between them that hosts none of it keeps them apart.
    assert finding(["thuja_occidentalis", "ilex_opaca", "juniperus_virginiana", "ilex_opaca"]).result == "passes"  # fmt: skip
    assert finding(["thuja_occidentalis"]).result == "passes"


def test_both_hosts_of_a_rust_fail_wherever_they_stand():
    bad = finding(["photinia_fraseri", "ilex_opaca", "juniperus_virginiana", "ilex_opaca"])
    assert bad.result == "fails"
    assert "are both planted" in bad.says


def test_nothing_is_said_of_it_where_nobody_asks():
    assert finding(["thuja_occidentalis", "juniperus_virginiana"], plan_with()) is None


def test_pairs_are_those_of_all_kinds_each_once():
    kinds = list(SPECIES.values())
    forced = {(a.key, b.key) for a, b in combinations(kinds, 2) if in_common(a, b)}
    assert set(pairs_in_common(kinds)) == forced
    assert len(pairs_in_common(kinds)) == len(forced) > 10


def test_a_design_plants_no_two_kinds_between_which_a_disease_passes():
    # By hand: a share of 60 % asks for two kinds. Two of the same family are cheaper than one of them and another.
    def like(key, genus):
        return TABLE["column"].__class__(**{**TABLE["column"].__dict__, "key": key, "genus": genus})

    table = {"a": like("a", "Cupressus"), "b": like("b", "Juniperus"), "c": like("c", "Ilex")}
    asked = {
        "design_kinds": ["a", "b", "c"], "health_most_of_one_species": 0.7,
        "cost_prices": {"plant:a": 5.0, "plant:b": 6.0, "plant:c": 12.0},
    }  # fmt: skip
    free = design(species_table=table, **asked)["plants"]
    apart = design(species_table=table, health_hosts_apart=True, **asked)["plants"]
    assert set(free["species"]) == {"a", "b"}
    assert set(apart["species"]) == {"a", "c"}
