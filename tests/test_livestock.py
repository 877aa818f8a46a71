"""Poisonous kinds beside livestock: told, judged, and not planted there by a design."""

import pytest
from design_site import TABLE, design, site
from effects_kit import layer, row
from options_kit import plan_with
from parcel_kit import sides_of
from shapely.geometry import box

from screenplan.effects.health import check_health, judge_health
from screenplan.ground.errors import InputError
from screenplan.planting.livestock import find_livestock
from screenplan.planting.species import load_species

YEW = load_species()["taxus_baccata"]


def pasture(south, kind="pasture"):
    return layer([box(-50.0, south, 90.0, south + 20.0)], keep_out_id=["k"], kind=[kind])


def finding(plants, **given):
    plan = given.pop("plan", plan_with())
    found = {one.check: one for one in check_health(judge_health(plants, **given, plan=plan))}
    return found.get("poison beside livestock")


# Closed form: a stem at y = 38 reaches livestock if it is nearer than half its grown spread and the reach.
@pytest.mark.parametrize("reach", [0.0, 2.0])
@pytest.mark.parametrize(("off", "result"), [(-0.01, "fails"), (0.01, "passes")])
@pytest.mark.parametrize("kind", ["livestock", "Pasture", "paddock"])
def test_a_poisonous_kind_fails_within_reach_and_passes_beyond(kind, off, result, reach):
    _, plants = row(species="taxus_baccata")
    south = 38.0 + YEW.final_width("high") / 2.0 + reach + off
    plan = plan_with(health_livestock_reach=reach)
    assert finding(plants, keep_outs=pasture(south, kind), plan=plan).result == result


def test_a_side_at_which_livestock_grazes_counts_as_its_ground():
    _, plants = row(species="taxus_baccata")
    parcels = layer([box(0.0, 0.0, 40.0, 40.0)], parcel_id=["S"], is_subject=[True])
    # shapely.box begins its outline in the south-east, and goes north.
    sides = sides_of(parcels, ("east", "north", "west", "south"))
    near = finding(plants, sides=sides, plan=plan_with(health_livestock_sides=("north",)))
    assert near.result == "fails"
    assert f"{len(plants)} plants of" in near.says
    assert "horses" in near.says
    south = plants[plants["station_m"].between(15.0, 21.0)]
    far = plan_with(health_livestock_sides=("south",))
    assert finding(south, sides=sides, plan=far).result == "passes"
    with pytest.raises(InputError, match="has no side 'up', at which livestock would graze"):
        judge_health(plants, sides=sides, plan=plan_with(health_livestock_sides=("up",)))
    with pytest.raises(InputError, match="Give the parcel's outline"):
        judge_health(plants, plan=plan_with(health_livestock_sides=("north",)))


def test_of_a_kind_whose_poison_nobody_knows_nothing_is_judged():
    _, plants = row(species="thuja_occidentalis")
    told = finding(plants, keep_outs=pasture(39.0))
    assert told.result == "cannot be judged"
    assert "species.thuja_occidentalis.poisonous_to" in told.needs


def test_without_livestock_nothing_is_said_of_it():
    _, plants = row(species="taxus_baccata")
    assert finding(plants) is None
    assert finding(plants, keep_outs=pasture(39.0, "pond")) is None
    assert find_livestock(None, None, plan_with()).edge is None


def test_each_poisonous_kind_says_where_it_was_read():
    told = {key: kind for key, kind in load_species().items() if kind.poisonous_to}
    assert {"taxus_baccata", "ligustrum_ovalifolium", "prunus_laurocerasus"} <= set(told)
    for kind in told.values():
        assert "(read)" in kind.sources["poisonous_to"] or "second-hand" in kind.sources["poisonous_to"]  # fmt: skip


def poisonous(kind):
    changed = {"poisonous_to": ("horses",), "sources": {"poisonous_to": "made up"}}
    return kind.__class__(**{**kind.__dict__, **changed})


def test_a_design_plants_no_poisonous_kind_beside_livestock():
    # By hand: the dearer kind alone may stand there; without livestock the cheaper is planted.
    table = TABLE | {"column": poisonous(TABLE["column"])}
    prices = {"plant:column": 5.0, "plant:other": 10.0}
    asked = {"design_kinds": ["column", "other"], "cost_prices": prices}
    free = design(species_table=table, **asked)["plants"]
    kept = design(species_table=table, health_livestock_sides=["north"], **asked)["plants"]
    assert set(free["species"]) == {"column"}
    assert set(kept["species"]) == {"other"}
    assert find_livestock(None, None, plan_with()).reach_of(table["column"]) > 2.0
    grazed = layer([box(-60.0, 2.0, 60.0, 30.0)], keep_out_id=["k"], kind=["livestock"])
    fenced = design(site(keep_outs=grazed), species_table=table, **asked)["plants"]
    assert set(fenced["species"]) == {"other"}


def test_a_design_of_poisonous_kinds_alone_is_refused_beside_livestock():
    table = TABLE | {"column": poisonous(TABLE["column"])}
    with pytest.raises(InputError, match="no planting that may be chosen closes a view"):
        design(species_table=table, health_livestock_sides=["north"])
