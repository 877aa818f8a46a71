"""Setback rules: the shipped table against its sources, overrides, and what is refused."""

import math
from pathlib import Path

import pytest

from screenplan.ground.errors import InputError
from screenplan.plan.reading import check_options, read_plan
from screenplan.rules.ruleset import FEATURES, STATUSES, Rule, load_rules
from screenplan.running.inputs import step_arguments
from screenplan.running.steps import STEPS

FOOT = 0.3048  # exact by definition
SHIPPED = {rule.key: rule for rule in load_rules()}


def test_every_shipped_rule_says_where_it_comes_from_and_is_confirmed_locally():
    assert {rule.feature for rule in SHIPPED.values()} == set(FEATURES)
    for rule in SHIPPED.values():
        assert rule.source
        assert rule.reason
        assert rule.status in STATUSES
        assert rule.confirm_locally
        if rule.status == "common practice":
            assert "no source" in rule.source


@pytest.mark.parametrize(
    ("key", "height_ft", "spread_ft", "expected_ft"),
    [
        # Septic field: at least the mature height, never under 10 ft (Johnson County IN, read).
        ("septic_field", 40, 12, 40),
        ("septic_field", 8, 8, 10),
        # Walls: 10 ft for trees up to 40 ft, 15 ft above, shrubs 3 ft (read).
        ("building_tree", 40, 12, 10),
        ("building_tall_tree", 50, 12, 15),
        ("building_shrub", 10, 10, 3),
        # A plant of up to 40 ft stands 15 ft off an overhead line, taller 65 ft (example, read).
        ("overhead_tree", 40, 12, 15),
        ("overhead_tall_tree", 50, 12, 65),
        # The crown inside the parcel: half the spread, once (arithmetic).
        ("boundary_crown", 40, 12, 6),
    ],
)
@pytest.mark.evidence(
    part="Rules",
    kind="published",
    against="Setbacks of septic fields, walls and overhead lines, by mature height",
    source="Johnson County, Indiana; published planting distances from walls; a published zoning at overhead lines",
    status="read",
    tolerance="exact",
)
def test_distance_to_the_stem(key, height_ft, spread_ft, expected_ft):
    rule = SHIPPED[key]
    assert rule.applies_to(height_ft * FOOT)
    distance = rule.stem_distance_m(height_ft * FOOT, spread_ft * FOOT, hole_m=0.5)
    assert distance == pytest.approx(expected_ft * FOOT)


@pytest.mark.evidence(
    part="Rules",
    kind="published",
    against="The tolerance zone of buried lines, 24 in from the outside edge",
    source="One-call laws of Florida and New York",
    status="read",
    tolerance="exact",
)
def test_buried_line_keeps_the_edge_of_the_hole_out_of_the_tolerance_zone():
    # 24 in from the outside edge in Florida and New York (read), plus half the hole (arithmetic).
    assert SHIPPED["buried_line"].stem_distance_m(5, 3, hole_m=0.5) == pytest.approx(
        24 * 0.0254 + 0.25
    )


@pytest.mark.evidence(
    part="Rules",
    kind="published",
    against="Plants of at most 20 ft beside an overhead line",
    source="A published zoning; others disagree",
    status="read",
    tolerance="exact",
)
def test_rules_by_mature_height():
    # Under 20 ft a published zoning lets plants stand beside an overhead line (read).
    def found(height_m):
        overhead = (rule for rule in SHIPPED.values() if rule.concerns("overhead"))
        return {rule.key for rule in overhead if rule.applies_to(height_m)}

    assert found(20 * FOOT) == set()
    assert found(50 * FOOT) == {"overhead_tree", "overhead_tall_tree"}


def test_kind_narrows_a_rule():
    gas = Rule("gas", "buried", 3.0, kind="gas")
    assert gas.concerns("buried", "gas")
    assert not gas.concerns("buried", "water")
    assert not gas.concerns("buried")
    assert Rule("line", "buried", 3.0).concerns("buried", "water")


def test_a_rule_for_hedges_or_for_rows_that_grow_freely():
    hedge = Rule("hedge", "boundary", 0.5, form="clipped")
    free = Rule("trees", "boundary", 2.0, form="free")
    assert (hedge.applies_to(3.0, clipped=True), hedge.applies_to(3.0)) == (True, False)
    assert (free.applies_to(3.0, clipped=True), free.applies_to(3.0)) == (False, True)


def test_height_is_counted_beyond_a_height():
    # 0.5 m and what 2.3 m is more than 1.8 m: 1.0 m, by hand; below it nothing is taken off.
    rule = Rule("tall", "boundary", 0.5, per_mature_height=1.0, beyond_height_m=1.8)
    assert rule.stem_distance_m(2.3, 1.0, 0.4) == pytest.approx(1.0)
    assert rule.stem_distance_m(1.0, 1.0, 0.4) == 0.5


def test_a_file_overrides_by_key_adds_and_switches_off(tmp_path):
    file = tmp_path / "own.toml"
    file.write_text(
        '[driveway]\ndistance = "5 ft"\n[pond]\nuse = false\n'
        '[gas]\nfeature = "buried"\nkind = "gas"\ndistance = "3 m"\nreason = "asked by the owner"\n'
    )
    rules = {rule.key: rule for rule in load_rules(file)}
    assert rules["driveway"].distance_m == pytest.approx(5 * FOOT)
    assert rules["driveway"].reason == SHIPPED["driveway"].reason
    assert rules["driveway"].status == "user"
    assert rules["driveway"].source.startswith("changed by the user; before: common practice")
    assert "pond" not in rules
    assert rules["gas"].distance_m == 3.0
    assert set(rules) == (set(SHIPPED) - {"pond"}) | {"gas"}


def test_overrides_of_the_plan_come_last(tmp_path):
    file = tmp_path / "own.toml"
    file.write_text('[driveway]\ndistance = "5 ft"\n')
    rules = load_rules(file, {"driveway": {"distance": "2 m"}})
    assert {rule.key: rule for rule in rules}["driveway"].distance_m == 2.0


BAD = [
    (
        {"driveway": {"distnace": "3 ft"}},
        "key driveway.distnace: there is no such key. Did you mean distance?",
    ),
    ({"driveway": {"distance": 3}}, "key driveway.distance: 3 has no unit"),
    ({"driveway": {"distance": "3 parsecs"}}, "'parsecs' is not a unit of length"),
    (
        {"driveway": {"distance": "-3 ft"}},
        "key driveway.distance: '-3 ft' is out of range. Give at least 0 m",
    ),
    (
        {"driveway": {"feature": "moat"}},
        "key driveway.feature: 'moat' is not one of the choices. Write 'boundary', 'building'",
    ),
    (
        {"driveway": {"measured_to": "leaf"}},
        "key driveway.measured_to: 'leaf' is not one of the choices",
    ),
    (
        {"driveway": {"per_mature_height": "1"}},
        "key driveway.per_mature_height: '1' is not a number",
    ),
    (
        {"driveway": {"per_mature_spread": math.inf}},
        "key driveway.per_mature_spread: inf is not a number",
    ),
    (
        {"driveway": {"confirm_locally": "yes"}},
        "key driveway.confirm_locally: 'yes' is neither true nor false",
    ),
    ({"driveway": {"reason": ""}}, "key driveway.reason: '' is not a text"),
    ({"driveway": "3 ft"}, "'driveway' is not a rule but '3 ft'"),
    ({"moat": {"use": False}}, "there is no rule 'moat' to switch off"),
    ({"driveway": {"distance": "20 km"}}, "Give at most 2000 m"),
    ({"driveway": {"distance": "20 km", "use": False}}, "Give at most 2000 m"),
    ({"driveway": {"per_mature_height": 11}}, "11 is out of range. Give at most 10."),
    ({"driveway": {"key": "gate"}}, "key driveway.key: there is no such key"),
    ({"gate": {"use": "no"}}, "key gate.use: 'no' is neither true nor false"),
    ({"moat": {"distance": "3 ft"}}, "key moat.feature: this key is missing"),
    ({"moat": {"feature": "pond", "distance": "3 ft"}}, "a new rule needs a reason"),
    ({"moat": {"feature": "pond", "reason": "wet"}}, "key moat: it has no distance"),
    ({"boundary_crown": {"per_mature_spread": 0.5}}, "contains half the mature spread already"),
    ({"pond": {"beyond_height": "2 m"}}, "beyond_height says from where height is counted"),
    ({"pond": {"form": "clipt"}}, "key pond.form: 'clipt' is not one of the choices"),
    ({"septic_field": {"form": "free"}}, "unclipped takes every row as growing freely"),
    (
        {"building_tree": {"up_to_mature_height": "10 ft"}},
        "no species can be taller than above_mature_height",
    ),
]


@pytest.mark.parametrize(("overrides", "says"), BAD, ids=[says[:40] for _, says in BAD])
def test_refused(overrides, says):
    with pytest.raises(InputError) as caught:
        load_rules(overrides=overrides)
    assert says in str(caught.value)
    assert str(next(iter(overrides))) in str(caught.value)


def test_all_problems_are_told_at_once_with_the_file(tmp_path):
    file = tmp_path / "own.toml"
    file.write_text('[driveway]\ndistance = 3\n[pond]\nfeature = "lake"\n')
    with pytest.raises(InputError, match=r"own\.toml, key driveway\.distance") as caught:
        load_rules(file)
    assert len(caught.value.problems) == 2


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"[driveway\n", "is not valid TOML"),
        (b"\xff\xfe[a]", "is not UTF-8 text"),
        (None, "there is no such rules file"),
    ],
)
def test_an_unreadable_file(tmp_path, content, says):
    file = tmp_path / "own.toml"
    if content is not None:
        file.write_bytes(content)
    with pytest.raises(InputError, match=says):
        load_rules(file)


@pytest.mark.parametrize(
    ("table", "key"),
    [
        ('[setbacks.rules.gate]\ndistance = "3 parsecs"', "setbacks.rules.gate.distance"),
        ('[limits.rules.locate_18in]\nmargin = "a lot"', "limits.rules.locate_18in.margin"),
        ("[species.thuja_smaragd]\nmature_height = 3", "species.thuja_smaragd.mature_height"),
    ],
)
def test_a_plans_own_tables_are_refused_by_their_place_in_it(tmp_path, table, key):
    path = tmp_path / "garden.toml"
    path.write_text(f'[layers.parcels]\nfile = "lots.gpkg"\n{table}\n', "utf-8")
    plan, folder = read_plan(path)
    with pytest.raises(InputError) as refusal:
        step_arguments(STEPS["rules"], plan, folder)
    (problem,) = refusal.value.problems
    assert (problem.file, problem.key) == (str(path), key)
    assert str(problem).startswith(f"{path}, key {key}: ")


def test_a_plan_from_no_file_names_the_key_alone():
    plan = check_options({"setbacks": {"rules": {"gate": {"distance": "3 parsecs"}}}})
    with pytest.raises(InputError, match=r"^key setbacks\.rules\.gate\.distance: 'parsecs' is not"):
        step_arguments(STEPS["rules"], plan, Path.cwd())
