"""Limits as data: shipped ones are whole, a user's file overrides by key, wrong ones are refused."""

import pytest
from effects_kit import house, layer
from options_kit import plan_with

from screenplan.effects.applied import list_rules
from screenplan.ground.errors import InputError
from screenplan.ground.said import FOOT_M
from screenplan.rules.limit_kinds import KINDS, HedgeHeight, Tolerance
from screenplan.rules.limits import limit_named, limit_of, load_limits, months_text
from screenplan.rules.ruleset import STATUSES, Rule, load_rules
from screenplan.rules.told import setback_text


def test_every_shipped_rule_says_whence_how_known_and_when():
    for rule in (*load_limits().values(), *load_rules()):
        assert rule.reason, rule.key
        assert rule.source, rule.key
        assert rule.status in STATUSES, rule.key
        assert rule.date, rule.key
        assert isinstance(rule.confirm_locally, bool)
    assert {limit.kind for limit in load_limits().values()} == set(KINDS)


def test_a_users_file_overrides_by_key(tmp_path):
    file = tmp_path / "mine.toml"
    file.write_text(
        '[locate_24in]\nmargin = "30 in"\n[corner_25ft]\nuse = false\n[my_wires]\nkind = "zoning"\n'
        'within = ["10 m"]\nat_most = ["3 m"]\nreason = "The utility asked for it"\n',
        encoding="utf-8",
    )
    limits = load_limits(file)
    assert limits["locate_24in"].margin_m == pytest.approx(30 * 0.0254)
    # What was changed says so, and no longer claims the published source's status.
    assert limits["locate_24in"].status == "user"
    assert limits["locate_24in"].source.startswith("changed by the user; before: tolerance zone")
    assert limits["locate_24in"].date == ""
    assert "corner_25ft" not in limits
    assert limits["my_wires"].at_most_m == (3.0,)
    assert load_limits(file, {"my_wires": {"at_most": ["4 m"]}})["my_wires"].at_most_m == (4.0,)


@pytest.mark.parametrize(
    ("table", "message"),
    [
        (
            {"x": {"kind": "zonin"}},
            r"key x\.kind: 'zonin' is not one of the choices\. Write one of 'sight_triangle', 'stopping'",
        ),
        ({"x": 3}, "'x' is not a limit but 3"),
        ({"x": {"use": False}}, r"key x\.use: there is no limit 'x' to switch off"),
        ({"x": {"kind": "tolerance", "reason": "r"}}, r"key x\.margin: this key is missing"),
        ({"x": {"kind": "tolerance", "margin": "1 m"}}, r"key x\.reason: this key is missing"),
        ({"locate_18in": {"margin": 2}}, "2 has no unit"),
        (
            {"locate_18in": {"margin": "-1 m"}},
            r"key locate_18in\.margin: '-1 m' is out of range\. Give at least 0 m",
        ),
        (
            {"locate_18in": {"margn": "1 m"}},
            r"key locate_18in\.margn: there is no such key\. Did you mean margin\?",
        ),
        ({"request_nebraska": {"life_days": 1}}, "it is not above wait_working_days"),
        ({"request_nebraska": {"life_days": 1000}}, r"1000 is out of range\. Give at most 366"),
        (
            {"request_nebraska": {"wait_working_days": 40, "life_days": 90}},
            r"40 is out of range\. Give at most 30",
        ),
        (
            {"nesting_march_august": {"months": [3, 13]}},
            r"\[3, 13\] is not a list of months\. Write them by number",
        ),
        ({"nesting_march_august": {"months": "May"}}, r"'May' is not a list of months"),
        ({"nesting_march_august": {"months": list(range(1, 13))}}, "every month is named"),
        ({"winter_water": {"times": 1.5}}, r"key winter_water\.times: 1\.5 is not a whole number"),
        ({"season_bare_evergreen": {"roots": "wet"}}, "Write 'bare' or 'with_soil'"),
        ({"locate_18in": {"kind": "zoning"}}, "it is of the kind tolerance"),
        ({"locate_18in": {"status": "sure"}}, "'sure' is not one of the choices"),
        (
            {"locate_18in": {"date": "soon"}},
            r"'soon' is not a date\. Write a year, a month or a day",
        ),
        ({"locate_18in": {"reason": ""}}, "not a text"),
        ({"locate_18in": {"confirm_locally": "no"}}, "Write true or false"),
        ({"drive_10ft": {"place": "yard"}}, "Write 'drive' or 'corner'"),
        ({"drive_10ft": {"clear_to": "1 ft"}}, "it is not above clear_from"),
        ({"stopping_distance": {"reaction_s": "slow"}}, "not a number"),
        ({"stopping_distance": {"reaction_s": -1}}, "-1 is out of range. Give at least 0"),
        ({"wires_15_65ft": {"within": ["65 ft", "15 ft"]}}, "do not rise together"),
        ({"wires_15_65ft": {"at_most": ["40 ft", "20 ft"]}}, "do not rise together"),
        ({"wires_15_65ft": {"within": ["15 ft", "15 ft"]}}, "do not rise together"),
        ({"wires_15_65ft": {"at_most": ["20 ft"]}}, "do not rise together"),
        ({"wires_15_65ft": {"within": "15 ft"}}, "not a list"),
        ({"high_hedge": {"garden_factors": {"N": 0.5}}}, "a garden factor is missing"),
        ({"sun_needed": {"hours": 6}}, "6 is not a table"),
        ({"foliage_noise": {"total_db": [1, 2]}}, "its rows do not fit together"),
        ({"x": {"reason": "r"}}, r"key x\.kind: this key is missing"),
        ({"locate_18in": {"use": "no"}}, r"key locate_18in\.use: 'no' is neither true nor false"),
        ({"foliage_noise": {"bands_hz": [1e7]}}, "out of range. Give at most 1e.06"),
        (
            {"wires_15_65ft": {"within": ["15 ft", 65]}},
            r"key wires_15_65ft\.within.*65 has no unit",
        ),
        ({"wires_15_65ft": {"within": []}}, r"key wires_15_65ft\.within: \[\] lists nothing"),
        ({"high_hedge": {"garden_factors": {"N": "x"}}}, r"garden_factors\.N: 'x' is not a number"),
        ({"sun_needed": {"hours": {}}}, r"key sun_needed\.hours: \{\} lists nothing"),
    ],
)
def test_wrong_limits_are_refused(table, message):
    with pytest.raises(InputError, match=message):
        load_limits(None, table)


def test_heights_beside_a_wire_may_stay_equal_and_texts_are_kept():
    # By construction: one height for two distances is a step of nothing, not a fall.
    flat = {"at_most": ["20 ft", "20 ft"], "reason": "mine", "date": "2026-11-03", "source": "s"}
    limit = load_limits(None, {"wires_15_65ft": flat})["wires_15_65ft"]
    assert limit.at_most_m == pytest.approx((20 * FOOT_M, 20 * FOOT_M))
    assert (limit.reason, limit.date, limit.source) == ("mine", "2026-11-03", "s")


@pytest.mark.parametrize(
    ("figures", "says"),
    [
        ({"distance_m": 1.5}, "1.5 m from the outside edge to the stem"),
        ({"per_mature_height": 0.5}, "0.5 times the mature height from"),
        (
            {"distance_m": 1.0, "per_mature_height": 0.5, "per_mature_spread": 0.25, "at_least_m": 3.0},
            "1 m and 0.5 times the mature height and 0.25 times the mature spread, at least 3 m from",
        ),
        ({"per_mature_spread": 0.25, "measured_to": "crown"}, "0.25 times the mature spread from the outside edge to the crown"),
        ({"at_least_m": 2.0}, ", at least 2 m from"),
        ({}, "0 m from the outside edge to the stem"),
        ({"per_mature_height": 1.0, "beyond_height_m": 1.8}, "1 times the mature height above 1.8 m from"),
        (
            {"distance_m": 1.0, "form": "free", "above_mature_height_m": 2.0, "up_to_mature_height_m": 5.0},
            "; only for rows that grow freely; only for species above 2 m; only for species up to 5 m",
        ),
    ],
)  # fmt: skip
def test_a_setback_in_words(figures, says):
    # By the definition: what is 0 is left out, unless the whole distance is 0.
    text = setback_text(Rule("r", "building", **figures))
    assert says in text
    assert text.startswith("0 m") == (not figures)


def test_every_setback_says_whether_it_applies_and_why():
    wire = layer([None], utility_id=["w"], kind=["electric"], position=["overhead"])
    pond = layer([None], keep_out_id=["p"], kind=["pond"])
    table = list_rules({"buildings": house(), "utilities": wire, "keep_outs": pond}).set_index(
        "rule"
    )
    there = {"boundary": "every parcel has a boundary", "building": "a building is there",
             "overhead": "an overhead line is there", "pond": "a pond is there"}  # fmt: skip
    for rule in load_rules():
        why = table.loc[rule.key, "why"]
        if rule.feature not in there:
            assert why.startswith("no "), rule.key
        elif table.loc[rule.key, "applies"]:
            assert why == there[rule.feature], rule.key
        else:
            assert why.startswith("it is for another height"), rule.key


def test_every_wrong_limit_is_listed():
    with pytest.raises(InputError) as refusal:
        load_limits(None, {"locate_18in": {"margin": 2}, "x": 3})
    assert len(refusal.value.problems) == 2


def test_a_missing_rule_file_is_refused(tmp_path):
    with pytest.raises(InputError, match="there is no such rules file"):
        load_limits(tmp_path / "none.toml")


def test_limits_by_name():
    assert limit_named(None, "locate_18in", Tolerance, "lines.locate").key == "locate_18in"
    with pytest.raises(InputError, match=r"Write one of locate_18in, locate_24in"):
        limit_named(None, "wires_15_65ft", Tolerance, "lines.locate")
    assert limit_of(load_limits(None, {"high_hedge": {"use": False}}), HedgeHeight) is None


@pytest.mark.parametrize(
    ("months", "text"),
    [
        ([3, 4], "March to April"),
        ([1, 2, 11, 12], "November to February"),
        ([3, 4, 5, 8, 9], "March to May and August to September"),
        ([1, 6, 12], "June and December to January"),
        ([2, 5, 8], "February, May and August"),
        ([], "none"),
        (range(1, 13), "every month"),
    ],
)
def test_months_in_words(months, text):
    assert months_text(months) == text


def test_the_season_that_applies_is_that_of_stock_and_species():
    for stock, species, season in (
        ("bare_root", "thuja_occidentalis", "season_bare_evergreen"),
        ("balled", "thuja_occidentalis", "season_soil_evergreen"),
        ("bare_root", "carpinus_betulus", "season_bare_deciduous"),
        ("container", "carpinus_betulus", "season_soil_deciduous"),
    ):
        table = list_rules(
            {},
            plan=plan_with(
                plants_stock=stock, plants_species=species, calendar_request="request_colorado"
            ),
        )
        applies = table.loc[table["applies"], "rule"]
        assert [key for key in applies if key.startswith("season_")] == [season]
        assert [key for key in applies if key.startswith("request_")] == ["request_colorado"]
        assert "nesting_march_august" in set(applies)
    says = table.set_index("rule").loc["season_bare_evergreen", "says"]
    assert (
        says == "roots bare; leaves evergreen; months March to April; refused months June to August"
    )


def test_what_applies_and_why():
    alone = list_rules({}).set_index("rule")
    assert alone.loc["boundary_stem", "applies"]
    assert not alone.loc["locate_24in", "applies"]
    assert alone.loc["high_hedge", "why"] == "the plan does not ask for it"
    wire = layer([None], utility_id=["w"], kind=["electric"], position=["overhead"])
    table = list_rules(
        {"buildings": house(), "utilities": wire}, plan=plan_with(light_hedge_guidance=True)
    ).set_index("rule")
    assert table.loc["wires_15_65ft", "applies"]
    assert table.loc["wires_20_30ft", "why"] == "the plan picks another of its kind"
    assert table.loc["building_tree", "why"] == "a building is there"
    assert table.loc["high_hedge", "applies"]
    # Those that apply come first.
    assert table["applies"].tolist() == sorted(table["applies"], reverse=True)
