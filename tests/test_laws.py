"""Laws of places: distances and heights by hand against the articles, and a plan that names one."""

import json
import math
import re

import pandas as pd
import pytest
import shapely
from click.testing import CliRunner
from effects_kit import parcels, row
from options_kit import plan_with
from parcel_kit import box

from screenplan.commandline.laws_list import rules_of
from screenplan.commandline.main import main
from screenplan.contracts import SIDES
from screenplan.contracts.tables import layer_of
from screenplan.effects.boundary import judge_outgrown, outgrow_boundary
from screenplan.ground.errors import InputError
from screenplan.plan.reading import check_options
from screenplan.planting.clearing import ARC_EXCESS_M
from screenplan.planting.species import load_species
from screenplan.planting.zones import mark_zones
from screenplan.rules.laws import boundary_heights, load_laws
from screenplan.rules.ruleset import load_rules
from screenplan.running.inputs import step_arguments
from screenplan.running.steps import STEPS

FOOT = 0.3048  # exact by definition
LAWS = load_laws()
#: A hedge of a plan's own that is kept at 2.2 m.
HEDGE = {
    "like": "thuja_plicata",
    "shape": "box",
    "kept_height": "2.2 m",
    "kept_width": "0.8 m",
}


def distance(law, height_m, *, clipped):
    """Distance from the line that a law asks of a plant, metres; NaN if it says nothing of it."""
    asked = [
        rule.stem_distance_m(height_m, 0.0, 0.0)
        for rule in rules_of(LAWS[law])
        if rule.applies_to(height_m, clipped=clipped)
    ]
    return max(asked, default=math.nan)


# Each line: the law, a height, whether the row is clipped, and the distance by hand from the article.
BY_HAND = [
    # Code civil, article 671: two metres for what is taller than two metres, else half a metre.
    ("france", 2.0, True, 0.5),
    ("france", 2.01, True, 2.0),
    ("france", 9.0, False, 2.0),
    # Burgerlijk Wetboek 5:42 (2): trees two metres, shrubs and hedges half a metre.
    ("netherlands", 4.0, True, 0.5),
    ("netherlands", 4.0, False, 2.0),
    # Burgerlijk Wetboek (Belgium) 3.133: trees of at least two metres two, all else half a metre.
    ("belgium", 2.0, False, 2.0),
    ("belgium", 1.5, False, 0.5),
    ("belgium", 3.0, True, 0.5),
    # Codice civile 892: three metres, a metre and a half, and half a metre for hedges up to 2.5 m.
    ("italy", 2.5, True, 0.5),
    ("italy", 3.0, True, 1.5),
    ("italy", 12.0, False, 3.0),
    # Código Civil 591: two metres for tall trees; all are taken as such.
    ("spain", 1.5, True, 2.0),
    # NRG § 12 (1); the examples of two commentaries: 2.20 m asks for 0.9 m, 2.30 m for 1.0 m.
    ("germany_baden_wuerttemberg", 1.8, True, 0.5),
    ("germany_baden_wuerttemberg", 2.2, True, 0.9),
    ("germany_baden_wuerttemberg", 2.3, True, 1.0),
    # AGBGB 47 (1): half a metre, and two metres for what is taller than two.
    ("germany_bavaria", 2.0, False, 0.5),
    ("germany_bavaria", 6.0, True, 2.0),
    # Hessisches Nachbarrechtsgesetz § 39 (1), and the widest of § 38 for trees.
    ("germany_hesse", 1.2, True, 0.25),
    ("germany_hesse", 2.0, True, 0.5),
    ("germany_hesse", 2.5, True, 0.75),
    ("germany_hesse", 8.0, False, 4.0),
    # NNachbG § 50 (1) a) to f).
    ("germany_lower_saxony", 1.2, True, 0.25),
    ("germany_lower_saxony", 2.0, True, 0.5),
    ("germany_lower_saxony", 3.0, True, 0.75),
    ("germany_lower_saxony", 5.0, False, 1.25),
    ("germany_lower_saxony", 15.0, False, 3.0),
    ("germany_lower_saxony", 15.1, False, 8.0),
    # Thüringer Nachbarrechtsgesetz § 45 (1): above two metres by what it is taller.
    ("germany_thuringia", 1.0, True, 0.25),
    ("germany_thuringia", 1.5, True, 0.5),
    ("germany_thuringia", 2.0, True, 0.75),
    ("germany_thuringia", 3.2, True, 0.75 + 1.2),
    # EG ZGB Zug § 102: half a metre up to 1.8 m, then half the height, from 8 m on no limit.
    ("switzerland_zug", 1.8, True, 0.5),
    ("switzerland_zug", 3.0, True, 1.5),
    ("switzerland_zug", 20.0, False, 8.0),
    # EG ZGB Zürich § 169: at least 0.60 m, never taller than twice the distance up to 4 m; § 170: 8 m.
    ("switzerland_zurich", 1.0, True, 0.6),
    ("switzerland_zurich", 3.0, True, 1.5),
    ("switzerland_zurich", 9.0, True, 4.0),
    ("switzerland_zurich", 3.0, False, 8.0),
    # Lov om hegn § 2: as tall as at the line (1.8 m) and by the distance taller; no hedge beyond 1.75 m.
    ("denmark", 1.8, True, math.nan),
    ("denmark", 2.5, True, 0.7),
    ("denmark", 6.0, False, 1.75),
]


@pytest.mark.parametrize(("law", "height", "clipped", "expected"), BY_HAND)
@pytest.mark.evidence(
    part="Rules",
    kind="published",
    against="Distances from the boundary by height, as the articles of twelve laws give them",
    source="The laws that the page of rules names, each read on the day that is told there",
    status="read",
    tolerance="exact",
    misses="Belgium, Spain, Bavaria and Denmark were read in texts that quote the law",
)
def test_the_distance_that_an_article_asks_for(law, height, clipped, expected):
    assert distance(law, height, clipped=clipped) == pytest.approx(expected, nan_ok=True)


def test_every_law_with_distances_is_held_by_hand():
    assert {law for law, *_ in BY_HAND} == {key for key, law in LAWS.items() if law.setbacks}


def test_every_law_says_where_and_when_it_was_read_and_what_to_ask():
    assert len(LAWS) >= 5
    for law in LAWS.values():
        assert re.fullmatch(r"\d{4}-\d{2}-\d{2}", law.date)
        assert law.read_at
        assert law.ask.startswith("Ask")
        heights = (law.most_height_m, law.most_height_at_road_m, law.complaint_above_m)
        assert law.setbacks or any(height is not None for height in heights)
        assert bool(law.heights_article) == any(height is not None for height in heights)
        for rule in rules_of(law):
            assert rule.confirm_locally
            assert (rule.status, rule.date) == (law.status, law.date)
            assert rule.source.startswith(law.law)
            assert (rule.feature, rule.measured_from, rule.measured_to) == ("boundary", "line", "stem")  # fmt: skip
        assert set(law.replaces) <= {rule.key for rule in load_rules()}


def test_where_a_law_gives_a_distance_for_every_plant_it_replaces_the_custom_else_not():
    for key, law in LAWS.items():
        for height in (0.5, 1.0, 1.9, 2.5, 4.0, 40.0):
            for clipped in (True, False):
                if law.replaces:
                    assert not math.isnan(distance(key, height, clipped=clipped))
    assert {key for key, law in LAWS.items() if law.setbacks and not law.replaces} == {"denmark"}


def marked(law, species):
    """The zones and the plantable ground of a level lot 40 by 30 m without anything on it."""
    plan = check_options(
        {
            "setbacks": {"law": law},
            "plants": {"species": species},
            "site": {"boundary_accuracy": "0 m"},
            "species": {"hedge": HEDGE},
        }
    )
    arguments = step_arguments(STEPS["zones"], plan, None)
    rules = [rule for rule in arguments["rules"] if rule.key != "boundary_crown"]
    return mark_zones({"parcels": box()}, **arguments | {"rules": rules})


def test_the_ground_of_a_plan_that_names_a_law():
    # A lot of a by b, kept clear by d along its line, leaves (a - 2 d) (b - 2 d): closed form. The corners
    # inside are square.
    tall = load_species()["thuja_standishii_plicata"]
    assert tall.final_height("high") > 15.0
    zones, left = marked("germany_lower_saxony", tall.key)
    assert list(zones["rule"]) == ["boundary_above_15m"]
    assert list(zones["source"]) == ["Niedersächsisches Nachbarrechtsgesetz, § 50 (1) f)"]
    assert zones["confirm_locally"].all()
    free = (40.0 - 16.0) * (30.0 - 16.0)
    assert free - 2 * (24.0 + 14.0) * ARC_EXCESS_M <= left["area_m2"].sum() <= free


def test_a_clipped_row_is_a_hedge_and_a_free_one_trees():
    free, _ = marked("netherlands", "thuja_plicata")
    assert free["distance_m"].tolist() == [2.0]
    hedge, _ = marked("netherlands", "hedge")
    assert hedge["distance_m"].tolist() == [0.5]


def test_the_plans_own_rules_come_after_the_law():
    plan = plan_with(setbacks_law="france", setbacks_rules={"boundary_tall": {"distance": "3 m"}})
    rules = {rule.key: rule for rule in step_arguments(STEPS["zones"], plan, None)["rules"]}
    assert rules["boundary_tall"].distance_m == 3.0
    assert rules["boundary_tall"].status == "user"
    assert "before: Code civil, article 671" in rules["boundary_tall"].source
    assert "boundary_stem" not in rules


def test_a_law_that_is_not_known_is_refused_by_its_key():
    plan = plan_with(setbacks_law="frnce")
    with pytest.raises(InputError, match=r"setbacks\.law.*'frnce'.*Did you mean france"):
        step_arguments(STEPS["zones"], plan, None)


def sides_of(lot, road):
    """The four sides of a lot, one of them at a road."""
    xy = shapely.get_coordinates(lot.geometry.iloc[0].exterior)
    edges = [shapely.LineString(xy[at : at + 2]) for at in range(len(xy) - 1)]
    rows = [
        {
            "side_id": f"s{at}", "length_m": edge.length, "chord_m": edge.length, "bearing_deg": 0.0,
            "facing_deg": 0.0, "across": None, "across_kind": "road" if at == road else "parcel",
            "curved": False, "looked_across": None,
        }
        for at, edge in enumerate(edges)
    ]  # fmt: skip
    return layer_of(SIDES, rows, edges, lot.crs)


def test_heights_of_a_code_by_what_lies_across():
    # South Daytona 5-8: four feet along the front property line, six feet along the others.
    lot = parcels()
    _, plants = row(((10, 38.5), (30, 38.5)), species="thuja_standishii_plicata")
    plan = plan_with(setbacks_law="florida_south_daytona")
    heights = boundary_heights(plan)
    assert (heights.most_m, heights.at_road_m) == pytest.approx((6 * FOOT, 4 * FOOT))
    line = plants.geometry.iloc[0]
    edges = [edge.distance(line) for edge in sides_of(lot, 0).geometry]
    near = edges.index(min(edges))
    for at, most in ((near, 4.0), ((near + 2) % 4, 6.0)):
        found = outgrow_boundary(lot, plants, sides=sides_of(lot, at), plan=plan)
        tall = found.loc[found["what"] == "height at the boundary"]
        assert len(tall) == len(plants)
        assert tall["limit_m"].unique() == pytest.approx(most * FOOT)
        assert set(tall["source"]) == {"Code of Ordinances, section 5-8"}
        assert set(tall["rule"]) == {"setbacks.law = florida_south_daytona"}
    # The plan's own height comes first.
    own = plan_with(setbacks_law="florida_south_daytona", boundary_most_height=30.0)
    found = outgrow_boundary(lot, plants, sides=sides_of(lot, (near + 2) % 4), plan=own)
    assert "height at the boundary" not in set(found["what"])


def test_what_may_be_complained_of_is_told_and_is_no_limit():
    finding = next(
        finding
        for finding in judge_outgrown(
            pd.DataFrame({"what": []}), None, True, plan_with(setbacks_law="england_wales")
        )
        if finding.check == "height at the boundary"
    )
    assert finding.result == "cannot be judged"
    assert "complain of a screen above 2.00 m (Anti-social Behaviour Act 2003, Part 8, section 66)" in finding.says  # fmt: skip


def test_what_a_rule_is_for_is_said_where_it_does_not_apply():
    plan = plan_with(setbacks_law="netherlands")
    arguments = step_arguments(STEPS["rules"], plan, None)
    table = STEPS["rules"]({"parcels": box()}, **arguments)["rules"].set_index("rule")
    assert table.loc["boundary_trees", "applies"]
    assert not table.loc["boundary_hedge", "applies"]
    assert table.loc["boundary_hedge", "why"] == "it is for hedges that are clipped"
    assert table.loc["boundary_hedge", "says"].endswith("; only for hedges that are clipped")


def call(*arguments):
    return CliRunner().invoke(main, ["rules", *arguments])


def test_rules_lists_the_laws():
    for listed in (call(), call("--laws")):
        assert listed.exit_code == 0
        assert "Laws of places" in listed.stdout
        assert "germany_hesse" in listed.stdout
        assert "not advice on the law" in listed.stdout
    told = json.loads(call("--laws", "--json").stdout)
    assert set(told) == set(LAWS)
    assert told["france"]["rules"][1]["source"] == "Code civil, article 671"


def test_rules_lists_one_law():
    listed = " ".join(call("--law", "france").stdout.split())
    assert "article 671" in listed
    assert "Ask at the mairie first" in listed
    assert "2026-11-30" in listed
    assert json.loads(call("--law", "scotland", "--json").stdout)["complaint_above_m"] == 2.0
    assert "6.0 ft" in call("--law", "florida_south_daytona", "--us").stdout
    refused = call("--law", "frnce")
    assert refused.exit_code == 2
    assert "Did you mean france?" in refused.stderr
    assert call("--laws", "--file", "x.toml").exit_code == 2
