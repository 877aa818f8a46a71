"""The plan file: what it takes, what it refuses, and the text that `start` makes of it."""

import re
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import screenplan
from screenplan.ground.errors import InputError, Problem
from screenplan.ground.units import parse_length
from screenplan.plan import (
    SECTIONS,
    Plan,
    check_plan,
    entry_limits,
    is_length,
    key_limits,
    read_plan,
)
from screenplan.plan.model import PLAN_TABLES
from screenplan.plan.places import placed_error
from screenplan.plan.reading import change_plan, find_plan
from screenplan.plan.text import default_text, plan_text, range_text, toml_value
from screenplan.rules.limits import load_limits
from screenplan.rules.ruleset import load_rules
from screenplan.running.descriptions import describe_keys

SITE = Path(__file__).parent.parent / "sample_data/site.gpkg"
PARCELS = {"layers": {"parcels": {"file": "lots.gpkg"}}}


def test_lengths_become_metres():
    plan = check_plan(PARCELS | {"rows": {"spacing": "5 ft", "offset": "18 in"}})
    assert plan.rows.spacing == pytest.approx(1.524)
    assert plan.value("rows.offset") == pytest.approx(0.4572)


def test_an_identifier_may_be_a_number():
    assert check_plan(PARCELS | {"subject": {"id": 12}}).subject.id == "12"


@pytest.mark.parametrize(
    ("content", "message"),
    [
        ({}, r"layers\.parcels is missing"),
        (PARCELS | {"works": {"mulch_bag": 50.0}}, r"key works\.mulch_bag: 50\.0 is not a volume\. Write a number and a unit"),
        (PARCELS | {"rows": {"spacin": "1 m"}}, r"key rows\.spacin: there is no such key\. Did you mean spacing\?"),
        (PARCELS | {"row": {}}, r"key row: there is no such key\. Did you mean rows\?"),
        (PARCELS | {"rows": {"spacing": 5}}, r"key rows\.spacing: 5 has no unit"),
        (PARCELS | {"rows": {"spacing": "1 mm"}}, r"key rows\.spacing: '1 mm' is out of range\. Give at least 0\.1 m"),
        (PARCELS | {"rows": {"offset": "900 m"}}, r"Give at most 200 m"),
        (PARCELS | {"rows": {"rows": 3}}, r"key rows\.rows: 3 is not one of the choices\. Write 1 or 2"),
        (PARCELS | {"rows": {"fit": "loose"}}, r"Write 'evened' or 'exact'"),
        (PARCELS | {"growth": {"years": 0}}, r"key growth\.years: 0 is out of range\. Give at least 1"),
        (PARCELS | {"rows": {"along": "north"}}, r"key rows\.along: 'north' is not a list\. Write \[\"north\"\]"),
        (PARCELS | {"growth": {"show_years": 5}}, r"key growth\.show_years: 5 is not a list\. Write \[5\]"),
        (PARCELS | {"views": {"threshold": "lots"}}, r"key views\.threshold: 'lots' is not a number"),
        (PARCELS | {"views": {"threshold": float("nan")}}, r"key views\.threshold"),
        (PARCELS | {"subject": {"id": "1", "point": [9.0, 50.0]}}, r"id and point are both given"),
        (PARCELS | {"subject": {"point": [9.0]}}, r"key subject\.point"),
        ({"layers": {"parcels": {"fil": "a"}}}, r"key layers\.parcels\.file: this key is missing"),
        ({"layers": {"parcels": {"file": "a"}, "bildings": {"file": "b"}}}, r"Did you mean buildings\?"),
        (PARCELS | {"hand": {"plants": 0}}, r"key hand\.plants: 0 is out of range"),
        # A year that is not computed has no crowns and no column.
        (PARCELS | {"growth": {"years": 12}, "views": {"report_years": [5, 30]}}, r"key views\.report_years: year 30 is after the last one that is looked at, growth\.years = 12\. Give years up to 12"),
        (PARCELS | {"growth": {"show_years": [40]}}, r"key growth\.show_years: year 40 is after the last one"),
        (PARCELS | {"street": {"agreed": "12"}}, r"key street\.agreed: '12' is not a list\. Write lists of 2 in one list: \[\[…\], \[…\]\]"),
        (PARCELS | {"street": {"agreed": ["12"]}}, r"key street\.agreed\.0: '12' is not a list of 2\. Write 2 entries in a pair of brackets"),
        (PARCELS | {"street": {"agreed": [["12"]]}}, r"key street\.agreed\.0\.1: an entry of the list is missing\. Write all of them in one pair of brackets"),
        (PARCELS | {"subject": {"point": [1, 2, 3]}}, r"key subject\.point: \[1, 2, 3\] has more than 2 entries\. Write at most 2"),
        (PARCELS | {"growth": {"show_years": []}}, r"key growth\.show_years: \[\] lists nothing\. List one or more"),
        (PARCELS | {"views": {"report_years": [-1]}}, r"key views\.report_years\.0: -1 is out of range\. Give at least 0"),
        (PARCELS | {"site": {"height": "2000 km"}}, r"key site\.height: '2000 km' is out of range\. Give at most 9000 m"),
        (PARCELS | {"site": {"height": "-7000 km"}}, r"Give at least -500 m"),
        (PARCELS | {"rows": {"offset": "1e308 km"}}, r"key rows\.offset: '1e308 km' is not a finite length"),
        (PARCELS | {"rows": {"offset": "5. 1 m"}}, r"key rows\.offset: '5\. 1 m' is not a length\. Write a number and a unit"),
        (PARCELS | {"rows": 3}, r"key rows: 3 is not a table\. Write \[rows\]"),
        (PARCELS | {"subject": {"point": [50.0, 120.0]}}, r"key subject\.point: \[50\.0, 120\.0\] is no longitude and latitude"),
        (PARCELS | {"plan": {"title": "x" * 300}}, r"key plan\.title: 'x+…x+' has 300 letters\. Write at most 200"),
        (PARCELS | {"plan": {"title": "a\x07b"}}, r"key plan\.title: the text holds a control character"),
        ({"layers": {"parcels": {"file": "a\x00b"}}}, r"key layers\.parcels\.file: the text holds a control character"),
        ({"layers": {"parcels": {"file": "a" * 300}}}, r"key layers\.parcels\.file: a name in the path has 300 bytes"),
        ({"layers": {"parcels": {"file": "a", "fixed": {"storeys": [1]}}}}, r"key layers\.parcels\.fixed\.storeys: \[1\] does not fit: one value for all rows"),
        (PARCELS | {"cost": {"prices": {"plant": -1}}}, r"key cost\.prices\.plant: -1 is out of range"),
        (PARCELS | {"growth": {"years": 10**4000}}, r"key growth\.years: a number of 4001 digits is out of range"),
        (PARCELS | {"subject": {"id": 10**400}}, r"key subject\.id: a number of 401 digits"),
        (PARCELS | {"species": {"x": {"mature_height": [[[[[[[["1 m"]]]]]]]]}}}, r"key species\.x\.mature_height: lists or tables stand too deep"),
        (PARCELS | {"views": {"threshold": False}}, r"key views\.threshold: False is not a number\. Write a number, without quotes"),
        (PARCELS | {"growth": {"years": "30"}}, r"key growth\.years: '30' is not a number"),
        (PARCELS | {"growth": {"show_years": [True]}}, r"key growth\.show_years\.0: True does not fit"),
        (PARCELS | {"windows": {"derive": 0}}, r"key windows\.derive: 0 is neither true nor false"),
        (PARCELS | {"rows": {"fill_existing": "yes"}}, r"key rows\.fill_existing: 'yes' is neither true nor false"),
        (PARCELS | {"goal": {"share": 2}}, r"key goal\.share: 2 is out of range\. Give at most 1"),
    ],
)  # fmt: skip
def test_a_wrong_plan_is_refused(content, message):
    with pytest.raises(InputError, match=message):
        check_plan(content, file="hedge.toml")


def test_every_wrong_key_is_listed():
    with pytest.raises(InputError) as refusal:
        check_plan(PARCELS | {"rows": {"spacing": 5, "rows": 3}, "views": {"threshold": 2}})
    assert {problem.key for problem in refusal.value.problems} == {
        "rows.spacing",
        "rows.rows",
        "views.threshold",
    }


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"[rows\nspacing = 1", "is not valid TOML"),
        (b"title = \"x\"\ntitle = \"y\"", "is not valid TOML"),
        (b"\xff\xfe\x00", "is not UTF-8 text"),
        (b"years = " + b"9" * 5000, "a number or a date is beyond what can be read"),
        (b"along = " + b"[" * 2000 + b"]" * 2000, "lists or tables stand too deep in each other"),
        (b"# " + b"x" * 2_000_001, "the plan file has more than 2 MB"),
    ],
)  # fmt: skip
def test_a_file_that_is_no_plan_is_refused(tmp_path, content, message):
    file = tmp_path / "hedge.toml"
    file.write_bytes(content)
    with pytest.raises(InputError, match=message):
        read_plan(file)


def test_a_missing_plan_or_a_folder_is_refused(tmp_path):
    with pytest.raises(InputError, match="there is no such plan file"):
        read_plan(tmp_path / "none.toml")
    with pytest.raises(InputError, match="this is a folder, not a plan file"):
        read_plan(tmp_path)


def test_settings_replace_values_of_the_file(tmp_path):
    file = tmp_path / "hedge.toml"
    file.write_text(
        '[layers.parcels]\nfile = "a.gpkg"\n[rows]\nspacing = "1 m"\n', encoding="utf-8"
    )
    plan, folder = read_plan(
        file, ['rows.spacing="2 m"', "rows.rows=2", "plants.species=ilex_opaca"]
    )
    assert (plan.rows.spacing, plan.rows.rows, plan.plants.species) == (2.0, 2, "ilex_opaca")
    assert folder == tmp_path.resolve()
    with pytest.raises(InputError, match="sets no key"):
        read_plan(file, ["spacing=2"])


#: Keys that are refused after the plan was read, by steps and by its own tables.
REFUSED_LATER = {
    "plants.species": '"ilex_opakka"',
    "rows.along": '["norh"]',
    "design.kinds": '["ilex_opakka"]',
    "alternatives.species": '["ilex_opakka"]',
    "species.own.like": '"ilex_opakka"',
    "setbacks.rules.boundary_crown.distance": '"3"',
}


@pytest.mark.parametrize("key", REFUSED_LATER)
def test_a_key_that_is_refused_names_the_plan_file_or_that_it_was_set(tmp_path, key):
    section, _, name = key.rpartition(".")
    others = {"design.wanted=true"} if section == "design" else {"plants.species=ilex_opaca"}
    only = ["alternatives"] if section == "alternatives" else ["plants"]
    text = f'[layers.parcels]\nfile = "{SITE}"\nlayer = "parcels"\n[subject]\nid = "LR-7"\n'
    along = '[rows]\nalong = ["north"]\n' if section != "rows" else ""
    for place, extra, settings in (
        (str(tmp_path / "hedge.toml"), f"[{section}]\n{name} = {REFUSED_LATER[key]}\n", []),
        ("--set", "", [f"{key}={REFUSED_LATER[key]}"]),
    ):
        (tmp_path / "hedge.toml").write_text(text + along + extra, encoding="utf-8")
        others = {one for one in others if not key.startswith(one.partition("=")[0])}
        with pytest.raises(InputError) as refused:
            screenplan.run_plan(tmp_path / "hedge.toml", settings=[*others, *settings], only=only)
        assert {problem.file for problem in refused.value.problems} == {place}
        assert all(problem.key.startswith(section) for problem in refused.value.problems)


def test_the_place_of_a_key_is_that_of_its_value_and_no_other(tmp_path):
    error = InputError(
        [
            Problem("a", "b", key="rows.spacing"),
            Problem("a", "b", key="rows.offset"),
            Problem("a", "b", key="rows.offset", file="rules.toml"),
            Problem("a", "b", key="--length"),
            Problem("a", "b"),
            Problem("a", "b", key="species.own.like", file="hedge.toml"),
        ]
    )
    found = placed_error(error, PLAN_TABLES, "hedge.toml", ["rows.spacing", "species.own"])
    assert [problem.file for problem in found.problems] == [
        "--set", "hedge.toml", "rules.toml", None, None, "--set",
    ]  # fmt: skip


def test_the_made_text_is_a_plan_and_says_every_key():
    text = plan_text(
        {"rows": {"along": ["north"], "spacing": "5 ft"}},
        {"parcels": {"file": "lots.gpkg", "columns": {"parcel_id": "APN"}}},
    )
    plan = check_plan(tomllib.loads(text))
    assert plan.rows.along == ("north",)
    assert plan.layers["parcels"].columns == {"parcel_id": "APN"}
    for model in SECTIONS.values():
        for name in model.model_fields:
            assert f"{name} =" in text


def test_the_made_text_keeps_the_tables_of_species():
    own = {"like": "ilex_opaca", "mature_spread": ["8 ft", "20 ft"], "sources": {"mature_spread": "nursery"}}  # fmt: skip
    text = plan_text({"species": {"my holly": own}}, {"parcels": {"file": "lots.gpkg"}})
    assert tomllib.loads(text)["species"] == {"my holly": own}
    assert check_plan(tomllib.loads(text)).species == {"my holly": own}


def test_every_amount_has_a_range():
    # Whatever a person writes is held against what is plausible, so that no slip of a unit or of a
    # comma is computed; of lists and tables each entry is.
    lacking = []
    for key in describe_keys():
        kind = key.item if key.type == "list" else key.type
        if key.choices or kind not in ("length", "number", "integer", "volume", "list", "table"):
            continue
        limits = entry_limits(key.key) if key.type in ("list", "table") else key_limits(key.key)
        if not (limits.keys() & {"ge", "gt"} and limits.keys() & {"le", "lt"}):
            lacking.append(key.key)
    # The first is held as a whole: longitude, then latitude; the other lists pairs of identifiers.
    assert lacking == ["subject.point", "street.agreed"]


@pytest.mark.parametrize(
    "value", ["x" * 9000, "x y " * 3000, list(range(5000)), {"a" * 500: "b" * 500}]
)
def test_a_refusal_quotes_at_most_a_line(value):
    wrong = {
        "rows": ("spacing", "fit", "rows"),
        "hand": ("plants",),
        "calendar": ("planting",),
        "works": ("mulch_bag",),
    }
    content = {table: dict.fromkeys(keys, value) for table, keys in wrong.items()}
    with pytest.raises(InputError) as refusal:
        check_plan(PARCELS | content)
    assert len(refusal.value.problems) == 6
    assert max(len(problem.what) for problem in refusal.value.problems) < 200


def test_a_rule_beyond_all_measure_is_refused():
    # 1e300 m times anything is no number: the zones would be drawn round no point at all.
    for load in (load_rules, load_limits):
        key, name = (
            ("boundary_stem", "distance") if load is load_rules else ("locate_24in", "margin")
        )
        for text in ("1e300 m", "20 km", "1e308 km"):
            # Older versions of pydantic hand over the length in metres instead of what was written.
            with pytest.raises(
                InputError,
                match=rf"{key}\.{name}: (('20 km'|'1e300 m'|20000\.0|1e\+300) is out of range|.* is not a finite length)",
            ):
                load(None, {key: {name: text}})


def test_every_default_as_written_is_the_default():
    # A default in the commented plan, with its # taken away, must not change the plan.
    for section, model in SECTIONS.items():
        for name in model.model_fields:
            written = default_text(f"{section}.{name}")
            if written:
                plan = check_plan(PARCELS | tomllib.loads(f"[{section}]\n{name} = {written}"))
                assert plan.value(f"{section}.{name}") == check_plan(PARCELS).value(
                    f"{section}.{name}"
                ), name


def test_in_feet_every_default_is_a_round_figure_near_it():
    for section, model in SECTIONS.items():
        for name, field in model.model_fields.items():
            key = f"{section}.{name}"
            if not (is_length(key) and default_text(key, "us")):
                continue
            default, written = field.default, default_text(key, "us").strip('"')
            assert written.split()[-1] in ("ft", "in"), key
            assert parse_length(written) == pytest.approx(default, rel=0.03), key
            # Round: feet or halves of one, or whole inches, or a tenth of one below an inch.
            number = float(written.split()[0])
            assert number % (0.5 if written.endswith("ft") else 1.0 if number >= 1 else 0.1) == 0
    text = plan_text({"plan": {"units": "us"}}, {"parcels": {"file": "lot.gpkg"}})
    assert not re.findall(r'^# \w+ = .*\d m"', text, re.MULTILINE)
    assert "at least 0.33 ft, at most 98.43 ft" in " ".join(text.replace("#", "").split())
    assert check_plan(tomllib.loads(text)).plan.units == "us"


def test_ranges_in_words():
    assert range_text("rows.spacing", "us") == " (at least 0.33 ft, at most 98.43 ft)"
    assert range_text("rows.spacing") == " (at least 0.1 m, at most 30 m)"
    assert range_text("rows.fit") == " (evened or exact)"
    assert is_length("rows.offset")
    assert not is_length("rows.rows")


@given(st.text(alphabet=st.characters(exclude_categories=["Cs"])))
def test_any_text_survives_as_toml(text):
    assert tomllib.loads(f"value = {toml_value(text)}")["value"] == text


def test_years_that_are_not_looked_at_leave_the_default_and_nothing_else():
    # The default ends at year 30; whoever looks at 12 years need not write the list anew.
    assert check_plan(PARCELS).views.report_years[-1] == 30
    assert check_plan(PARCELS | {"growth": {"years": 12}}).views.report_years == (0, 1, 2, 3, 5, 10)
    assert Plan(**PARCELS, growth={"years": 2}).views.report_years == (0, 1, 2)
    assert check_plan(PARCELS | {"growth": {"years": 12}}).growth.show_years == (0, 3, 5, 10)
    asked = PARCELS | {"growth": {"years": 12}, "views": {"report_years": [5, 12, 5]}}
    assert check_plan(asked).views.report_years == (5, 12)  # each year has one column


# Invariant: what a setting puts is what the same table in the file says, at any depth, and the caller's
# tables stay as they are.
def test_a_setting_reaches_tables_in_tables():
    content = {"setbacks": {"rules": {"gate": {"reason": "room to open"}}}}
    changed = change_plan(content, ['setbacks.rules.gate.distance="3 m"', 'rows.spacing="2 m"'])
    assert changed == {
        "setbacks": {"rules": {"gate": {"reason": "room to open", "distance": "3 m"}}},
        "rows": {"spacing": "2 m"},
    }
    assert content == {"setbacks": {"rules": {"gate": {"reason": "room to open"}}}}
    with pytest.raises(InputError, match=r"'rows.spacing' is not a table of the plan"):
        change_plan(changed, ["rows.spacing.x=1"])


def test_settings_change_a_mapping_and_not_a_plan_that_was_read():
    plan, folder = find_plan({"rows": {"rows": 1}}, "there", ("rows.rows=2",), ("parcels",))
    assert (plan.rows.rows, folder) == (2, Path("there"))
    assert find_plan(plan, None, (), ()) == (plan, Path.cwd())
    with pytest.raises(InputError, match="settings change a plan file or a mapping, not a plan"):
        find_plan(plan, None, ("rows.rows=1",), ())
