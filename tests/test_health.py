"""Plant health: shares against the user's limits, zones and tolerances only with a source."""

import pandas as pd
import pytest
from effects_kit import row
from options_kit import plan_with

from screenplan.effects.health import check_health, judge_health
from screenplan.ground.errors import InputError
from screenplan.ground.said import in_units
from screenplan.planting.species import load_species


def mixed():
    _, plants = row()
    # By hand: 25 plants, every fifth a holly, every fifth another thuja.
    kinds = [
        "thuja_occidentalis",
        "thuja_occidentalis",
        "thuja_occidentalis",
        "thuja_smaragd",
        "ilex_opaca",
    ]
    return plants.assign(species=[kinds[k % 5] for k in range(len(plants))])


def results(table):
    return {finding.check: finding.result for finding in check_health(table)}


def test_shares_by_species_and_genus():
    table = judge_health(
        mixed(), plan=plan_with(health_most_of_one_species=0.6, health_most_of_one_genus=0.7)
    )
    shares = table.set_index(["topic", "name"])["share"]
    assert shares["species", "thuja_occidentalis"] == pytest.approx(0.6)
    assert shares["species", "ilex_opaca"] == pytest.approx(0.2)
    assert shares["genus", "Thuja"] == pytest.approx(0.8)
    assert results(table)["one species"] == "passes"
    assert results(table)["one genus"] == "fails"


def test_without_a_limit_a_share_is_told_but_not_judged():
    _, plants = row()
    table = judge_health(plants)
    assert results(table)["one species"] == "cannot be judged"
    assert "100% of the plants are northern white cedar" in table["says"].iloc[0]
    assert table["needs"].iloc[0] == "health.most_of_one_species"


@pytest.mark.parametrize(("zone", "result"), [(2, "fails"), (3, "passes"), (7, "passes"), (8, "fails"), (None, "cannot be judged")])  # fmt: skip
def test_hardiness_against_the_users_zone(zone, result):
    _, plants = row()
    table = judge_health(plants, plan=plan_with(health_zone=zone))
    assert results(table)["winter cold"] == result
    # The zones of the shipped table are from memory, and every sentence says so.
    assert "memory, unverified" in table.loc[table["topic"] == "hardiness", "says"].iloc[0]


def test_a_tolerance_without_a_source_is_no_tolerance():
    _, plants = row()
    for extra, result in (
        ({}, "cannot be judged"),
        ({"tolerances": {"salt": "tolerant"}}, "cannot be judged"),
        ({"tolerances": {"salt": "tolerant"}, "sources": {"salt": "a trial"}}, "passes"),
        ({"tolerances": {"salt": "intolerant"}, "sources": {"salt": "a trial"}}, "fails"),
    ):
        table = load_species({"thuja_occidentalis": extra} if extra else None)
        found = judge_health(
            plants, species_table=table, plan=plan_with(health_exposed_to=("salt",))
        )
        assert results(found)["salt"] == result


def test_warnings_of_a_species_are_told_with_their_source_and_never_judged():
    _, plants = row()
    assert not judge_health(plants)["topic"].eq("warning").any()
    table = judge_health(plants.assign(species="phyllostachys_aurea"))
    told = table.loc[table["topic"] == "warning"]
    # Word for word what the table of species says.
    warnings = load_species()["phyllostachys_aurea"].warnings
    assert list(told["says"]) == [in_units(f"Golden bamboo: {text}") for text in warnings]
    assert told["meets"].isna().all()
    (finding,) = (found for found in check_health(table) if found.check == "poison, weeds and bans")
    assert finding.result == "cannot be judged"
    assert "extension service" in finding.needs
    for text in ("Its roots run", "at least 0.61 m deep", "Forbidden in New York State"):
        assert text in in_units(finding.says)


def test_wrong_values_are_refused():
    with pytest.raises(
        InputError,
        match=r"tolerances\.shade: 'some' is not one of the choices\. Write 'intolerant', 'intermediate'",
    ):
        load_species({"thuja_occidentalis": {"tolerances": {"shade": "some"}}})


def test_no_plants_no_lines():
    _, plants = row()
    assert not len(judge_health(plants.iloc[:0]))
    assert list(check_health(pd.DataFrame({"topic": [], "meets": []}))) == []


@pytest.mark.evidence(
    part="Plants and growth",
    kind="published",
    against="groups of 3, 5 or 7 in a screen of several kinds",
    source="The Augusta Chronicle, 21 May 2017",
    status="read",
    tolerance="exact",
)
@pytest.mark.parametrize(
    ("group", "is_told"), [(1, True), (2, True), (3, False), (5, False), (7, False), (8, True)]
)
def test_groups_of_a_mixed_row_that_are_unusual_are_told_and_fail_nothing(group, is_told):
    table = judge_health(mixed(), plan=plan_with(plants_group=group))
    result = results(table).get("groups of a mixed row")
    assert result == ("cannot be judged" if is_told else None)
    if is_told:
        row_of = table.loc[table["topic"] == "groups"].iloc[0]
        assert f"groups of {group} plant" in row_of["says"]
        assert "plants.group from 3 to 7" in row_of["needs"]


@pytest.mark.parametrize(
    ("groups", "says"),
    [
        ([1, 9], "groups of 1 to 9 plants; groups of 3 to 7 are advised: a few plants of a kind among others are soon crowded "
                 "out, and the row looks restless; a pest or disease of one kind then takes a long stretch at once"),
        ([2, 2], "groups of 2 plants, and 3 of northern white cedar stand side by side where groups meet; groups of 3 to 7 are advised: a few plants"),
        ([4, 8], "groups of 4 to 8 plants; groups of 3 to 7 are advised: a pest or disease"),
        ([3, 7], None),
        ([4, 4], None),
    ],
)  # fmt: skip
def test_the_groups_of_a_design_are_told_as_those_of_a_row(groups, says):
    table = judge_health(mixed(), plan=plan_with(design_wanted=True, design_groups=groups))
    told = table.loc[table["topic"] == "groups"]
    assert len(told) == (says is not None)
    if says:
        assert says in told["says"].iloc[0]
        assert told["needs"].iloc[0].startswith("design.groups from 3 to 7")
        assert results(table)["groups of a mixed row"] == "cannot be judged"


@pytest.mark.parametrize(("apart", "joined"), [(1.5, 8), (2.9, 8), (3.1, 4)])
def test_groups_that_meet_in_two_lines_are_counted_as_one(apart, joined):
    # By hand: four of each kind in turn, 1.5 m apart; two lines at a right angle that begin with the same kind, so far apart
    # that nothing has room between them (below twice the spacing) or something has.
    def line(xy, name):
        return row(xy, line=name)[1]

    one = line([(20.0, 10.0), (10.0, 10.0)], "a")
    other = line([(20.0, 10.0 + apart), (20.0, 20.0 + apart)], "b")
    plants = pd.concat([one, other], ignore_index=True)
    kinds = ["ilex_opaca"] * 4 + ["thuja_occidentalis"] * 4
    plants["species"] = [kinds[k % 8] for n in (len(one), len(other)) for k in range(n)]
    plants["plant_id"] = range(1, len(plants) + 1)
    told = judge_health(plants.sample(frac=1.0, random_state=1), plan=plan_with(plants_group=4))
    says = told.loc[told["topic"] == "groups", "says"].tolist()
    assert len(says) == (joined > 7)
    if says:
        assert says[0].startswith(
            f"The kinds take turns in groups of 4 plants, and {joined} of American holly stand side by side where groups meet"
        )
        assert says[0].endswith("a pest or disease of one kind then takes a long stretch at once")


def test_the_groups_of_one_kind_and_of_a_design_are_not_told():
    _, plants = row()
    assert "groups" not in set(judge_health(plants, plan=plan_with(plants_group=1))["topic"])
    plan = plan_with(plants_group=1, design_wanted=True)
    assert "groups" not in set(judge_health(mixed(), plan=plan)["topic"])
