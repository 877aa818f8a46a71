"""A plan in feet tells every measure in feet: report, terminal, order list, calendar, rules."""

import html
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from screenplan.commandline.main import main

SAMPLE = Path(__file__).parent.parent / "sample_data"
#: A number with a metric unit behind it, or the unit's name. "m" behind a number is the metre
#: everywhere but in a name of a person's own; the sample has none.
METRIC = re.compile(
    r"\d\s?(?:mm|cm|m|km|m²|m³|m2|m3|l|km/h|m/s²|dB/m)(?![\w/])|\b(?:metres?|litres?)\b", re.I
)
#: Coarse light and views: what is told matters here, not how exact it is.
COARSE = (
    "views.target_spacing=4 m", "light.step=240", "light.cell=20 m", "calendar.planting=2027-10-15",
    'alternatives.spacings=["1.5 m"]', "noise.wanted=3", "lines.allowance=1 m", "plan.units=us",
    "boundary.most_height=2 m", "light.most_sun_lost=0.1", "light.hedge_guidance=true", "fence.scheme=perimeter",
)  # fmt: skip


@pytest.fixture(scope="module")
def ran(tmp_path_factory):
    """Run the sample in feet once; the folder and what the terminal says."""
    folder = tmp_path_factory.mktemp("feet") / "plan"
    settings = [part for setting in COARSE for part in ("--set", setting)]
    command = ["run", str(SAMPLE / "hillside.toml"), "--out", str(folder), *settings]
    result = CliRunner().invoke(main, command, env={"COLUMNS": "400"})
    assert result.exit_code in (0, 1), result.output
    return folder, result.output


def text_of(page: str) -> str:
    """The words of the report, a cell or paragraph a line."""
    page = re.sub(r"(?s)<(script|style)\b.*?</\1>", "", page)
    return html.unescape(re.sub(r"<[^>]+>", "\n", page))


def metric(text: str) -> list[str]:
    return [line.strip() for line in text.splitlines() if METRIC.search(line)]


def test_the_pattern_finds_what_it_should():
    assert len(metric("above 1.8 m\n3 m²\nless than 1 cm\nby the metre\n0.02 dB/m")) == 5
    assert not metric("1.8 ft, 8 in\nmonth 4, 3 months, 5 meetings\n11.2 ft/s²")


def test_the_report_is_in_feet(ran):
    words = text_of((ran[0] / "report.html").read_text(encoding="utf-8"))
    assert " ft" in words
    assert not metric(words)


def test_the_terminal_is_in_feet(ran):
    assert " ft" in ran[1]
    assert not metric(ran[1])


@pytest.mark.parametrize("name", ["order_list.csv", "calendar.ics"])
def test_what_the_crew_takes_along_is_in_feet(ran, name):
    text = (ran[0] / name).read_text(encoding="utf-8").replace("\n ", "")
    assert not metric(text)


def test_rules_and_check_go_by_the_plans_units(tmp_path):
    plan = tmp_path / "feet.toml"
    text = (SAMPLE / "hillside.toml").read_text(encoding="utf-8").replace('"metric"', '"us"')
    plan.write_text(re.sub(r'file = "', f'file = "{SAMPLE}/', text), encoding="utf-8")
    rules = CliRunner().invoke(main, ["rules", str(plan)], env={"COLUMNS": "400"})
    assert rules.exit_code == 0, rules.output
    assert not metric(rules.output)
    # The zoning of wires: 15 and 65 ft, 20 and 40 ft; AASHTO's deceleration 11.2 ft/s².
    assert "within 15.0 ft, 65.0 ft; at most 20.0 ft, 40.0 ft" in rules.output
    assert "deceleration 11.2 ft/s²" in rules.output
    every = CliRunner().invoke(main, ["rules", "--us"], env={"COLUMNS": "400"})
    assert not metric(every.output)
    assert metric(CliRunner().invoke(main, ["rules"], env={"COLUMNS": "400"}).output)
    check = CliRunner().invoke(main, ["check", str(plan)], env={"COLUMNS": "400"})
    assert check.exit_code == 0, check.output
    assert not metric(check.output)
