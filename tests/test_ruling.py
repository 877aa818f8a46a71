"""The command that lists rules and limits: what applies to a plan, and a rule file by itself."""

import json
from pathlib import Path

from click.testing import CliRunner

from screenplan.commandline.main import main

SAMPLE = Path(__file__).parent.parent / "sample_data"


def call(*arguments):
    return CliRunner().invoke(main, ["rules", *map(str, arguments)])


def test_what_applies_to_the_sample_plan_and_why():
    result = call(SAMPLE / "hillside.toml", "--json")
    assert result.exit_code == 0, result.output
    rows = {row["rule"]: row for row in json.loads(result.stdout)}
    assert all(row["applies"] for row in rows.values())
    assert rows["buried_line"]["why"] == "a buried line is there"
    assert rows["septic_by_height"]["why"] == "a septic field is there"
    assert "high_hedge" not in rows  # the plan does not ask for it
    assert all(row["source"] and row["status"] and row["date"] for row in rows.values())
    every = json.loads(call(SAMPLE / "hillside.toml", "--all", "--json").stdout)
    assert {row["rule"] for row in every} > set(rows)


def test_what_a_plan_changes_is_said():
    rows = {row["rule"]: row for row in json.loads(call(SAMPLE / "troubles.toml", "--json").stdout)}
    assert "boundary_stem" not in rows  # switched off
    assert rows["walls_by_height"]["status"] == "user"
    assert rows["walls_by_height"]["source"].startswith("changed by the user")


def test_all_of_them_without_a_plan():
    result = call()
    assert result.exit_code == 0
    assert "drive_10ft" in result.stdout
    assert "not the law where you are" in result.stdout


def test_a_rule_file_by_itself(tmp_path):
    file = tmp_path / "mine.toml"
    file.write_text(
        '[drive_10ft]\nleg = "15 ft"\n[boundary_stem]\ndistance = "4 ft"\n', encoding="utf-8"
    )
    rows = {row["rule"]: row for row in json.loads(call("--file", file, "--json").stdout)}
    assert set(rows) == {"drive_10ft", "boundary_stem"}
    assert "leg 4.572 m" in rows["drive_10ft"]["says"]
    assert "1.219 m" in rows["boundary_stem"]["says"]


def test_what_is_wrong_in_a_rule_file_is_listed(tmp_path):
    file = tmp_path / "mine.toml"
    file.write_text('[mine]\nkind = "tolerance"\n[boundary_stem]\ndistance = 4\n', encoding="utf-8")
    result = call("--file", file)
    assert result.exit_code == 2
    assert f"{file}, key mine.margin" in result.stderr
    assert f"{file}, key boundary_stem.distance" in result.stderr
    assert "Traceback" not in result.output
    assert call("--file", tmp_path / "none.toml").exit_code == 2
    assert call(SAMPLE / "hillside.toml", "--file", file).exit_code == 2
