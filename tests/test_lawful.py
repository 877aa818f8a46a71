"""What a law lets plants be at the boundary, free and kept: by the articles' figures and by the layers."""

import pytest
import works_site as site
from options_kit import plan_with

import screenplan
from screenplan.effects.boundary import outgrow_boundary
from screenplan.effects.lawful import asked_distances, lawful_effects
from screenplan.planting.species import planned_species
from screenplan.planting.zones import subject_of
from screenplan.rules.laws import load_laws
from screenplan.rules.ruleset import load_rules
from screenplan.running.pipeline import run_plan

KIND = "thuja_occidentalis"
FAR_M = 1.0


def told(law, height=None, offset=FAR_M, **options):
    """Effects by key, of a row that stands so far from the north side, and its plants."""
    kept = {} if height is None else {"kept_height": height}
    plan = plan_with(plants_species=KIND, setbacks_law=law, **kept, **options)
    subject, lines, plants = site.planted(species=KIND, offset=5.0)
    # Set nearer by hand, whatever the shipped rules say.
    edge = subject_of(subject)[0].bounds[3]
    plants = plants.set_geometry(
        plants.geometry.translate(0.0, edge - plants.geometry.y.max() - offset)
    )
    rules = load_rules(None, None, named=load_laws()[law].rules() if law else None)
    table = planned_species(plan)
    outgrown = outgrow_boundary(subject, plants, plan=plan, species_table=table)
    layers = site.layers(subject, lines, plants, outgrown=outgrown)
    effects = list(lawful_effects(layers, plan, rules, table))
    return {key: (value, unit, f"{name}") for key, name, unit, value in effects}, len(plants)


@pytest.mark.evidence(
    part="Rules",
    kind="published",
    against="Distances that two laws ask of a plant by its height: free, and kept at heights between their steps",
    source="Code civil, article 671; Niedersächsisches Nachbarrechtsgesetz, § 50 (1)",
    status="read",
    tolerance="none",
)
@pytest.mark.parametrize(
    ("law", "height", "metres"),
    [
        ("france", None, 2.0), ("france", 2.0, 0.5), ("france", 2.1, 2.0),
        ("germany_lower_saxony", 1.2, 0.25), ("germany_lower_saxony", 3.0, 0.75),
        ("germany_lower_saxony", 5.0, 1.25), ("germany_lower_saxony", 5.1, 3.0),
    ],
)  # fmt: skip
def test_a_kept_plant_is_asked_the_distance_of_its_kept_height(law, height, metres):
    effects, count = told(law, height)
    assert effects["law_distance"][:2] == (metres, "metres")
    assert effects["law_nearer"][:2] == (count if metres > FAR_M else 0, "plants")


def test_a_row_that_stands_as_far_as_the_law_asks_is_not_nearer():
    assert told("france", offset=2.0)[0]["law_nearer"][0] == 0
    effects, count = told("france", offset=1.9)
    assert effects["law_nearer"][0] == count


def test_form_decides_where_a_law_parts_hedges_from_trees():
    # Burgerlijk Wetboek 5, artikel 42: 2 m for trees, 0.5 m for hedges; a row that is kept is clipped.
    assert told("netherlands")[0]["law_distance"][0] == 2.0
    assert told("netherlands", 4.0)[0]["law_distance"][0] == 0.5


def test_heights_that_are_allowed_and_of_which_a_neighbour_may_complain():
    free, count = told("florida_south_daytona", boundary_within=2.0)
    assert free["boundary_height"][:2] == (count, "plants")
    assert "{1.83 m} and {1.22 m} at a road" in free["boundary_height"][2]
    assert told("florida_south_daytona", 1.8, boundary_within=2.0)[0]["boundary_height"][0] == 0
    assert "law_distance" not in free
    free, count = told("england_wales")
    assert free["complaint_height"][0] == count
    assert told("england_wales", 2.0)[0]["complaint_height"][0] == 0
    own, count = told(None, boundary_most_height=2.0, boundary_within=2.0)
    assert own.keys() == {"boundary_height"}
    assert own["boundary_height"][0] == count


def test_without_a_height_or_a_law_nothing_is_told():
    assert told(None) == ({}, told(None)[1])
    assert asked_distances([], [], ()).shape == (0,)


def test_a_run_tells_them_free_and_kept_after_all_other_effects():
    # A row laid by the law stands no nearer than it asks, free or kept: one of 8 m for trees above 15 m.
    run = run_plan(
        screenplan.sample_plan(), only=["kept_effects"],
        settings=["chance.draws=0", "setbacks.law=germany_lower_saxony"],
    )  # fmt: skip
    effects = run.layers["kept_effects"].set_index("effect")
    assert effects.index.to_list()[-3:] == ["views_closed", "law_distance", "law_nearer"]
    distance = effects.loc["law_distance"]
    assert (distance["free"], distance["unit"]) == (8.0, "metres")
    assert f"{distance['free_says']}" == "{8.00 m}"
    by_height = [(5.0, 1.25), (15.0, 3.0)]
    assert distance["kept"] == next(far for top, far in by_height if distance["keep_m"] <= top)
    assert effects.loc["law_nearer", ["free", "kept"]].tolist() == [0.0, 0.0]
