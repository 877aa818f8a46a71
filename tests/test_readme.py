"""What README.md says to type runs as it stands, on the sample site."""

import os
import re
import shlex
import subprocess
from pathlib import Path

import pytest
from click.testing import CliRunner

from screenplan.commandline.main import main

#: An installed program to try in place of that of the sources, such as that of a wheel in an empty environment.
PROGRAM = os.environ.get("SCREENPLAN")
ROOT = Path(__file__).parent.parent
TEXT = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language):
    """Give the fenced blocks of a language."""
    found, inside = [], None
    for line in TEXT.splitlines():
        if line.startswith("```"):
            if inside is None:
                inside = (line[3:].strip(), [])
            else:
                if inside[0] == language:
                    found.append("\n".join(inside[1]))
                inside = None
        elif inside is not None:
            inside[1].append(line)
    assert inside is None
    return found


def commands():
    """Give the command lines of the program; those that change a person's profile are left out."""
    lines = (line for block in blocks("") for line in block.splitlines())
    said = [shlex.split(line, comments=True) for line in lines if line.startswith("screenplan ")]
    return [words for words in said if words[1] != "desktop"]


def run(words):
    """Run a command line of the program; give its exit code and what it printed."""
    if PROGRAM is None:
        done = CliRunner().invoke(main, words)
        return done.exit_code, done.output
    done = subprocess.run([PROGRAM, *words], capture_output=True, text=True, check=False)
    return done.returncode, done.stdout + done.stderr


def test_the_commands_run_in_their_order(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "sample_data").symlink_to(ROOT / "sample_data")
    said = commands()
    asked = ["demo", "sides", "start", "check", *["run"] * 5]
    assert [words[1] for words in said] == asked
    for _, *words in said[:-4]:
        code, printed = run(words)
        # A plan with a check that fails ends with 1; wrong input ends with 2.
        assert code in (0, 1), printed
    assert (tmp_path / "hedge_plan" / "report.html").is_file()
    assert (tmp_path / "demo_plan" / "report.html").is_file()
    # The last ones are the same run with a setting: read, not run again.
    from screenplan.plan import read_plan

    plans = []
    for *_, file, option, setting in said[-4:-1]:
        assert option == "--set"
        plans.append(read_plan(tmp_path / file, [setting])[0])
    assert plans[0].rows.spacing == pytest.approx(4 * 0.3048)
    assert plans[1].plants.species == ("ilex_opaca", "juniperus_virginiana")
    assert plans[1].design.wanted
    assert not plans[2].design.wanted
    # Two lots of the sample site: tests/test_street.py runs such a plan.
    assert said[-1][-2:] == ["--ids", "LR-7,LR-9"]


def test_the_python_runs(monkeypatch):
    monkeypatch.chdir(ROOT)
    (block,) = blocks("python")
    left = {}
    exec(block, left)
    assert len(left["run"].layers["views"]) > 10
    assert sorted(left["sides"]["side_id"]) == ["east", "north", "south", "west"]


def test_every_command_that_it_says_is_there():
    lines = (line for block in blocks("") for line in block.splitlines())
    assert {line.split()[1] for line in lines if line.startswith("screenplan ")} <= set(
        main.commands
    )


def test_its_table_names_no_command_that_is_not_there():
    table = TEXT.split("| Command |")[1].split("\n\n")[0]
    named = set(re.findall(r"`(\w+)`", table.split("\n", 2)[2]))
    assert len(named) >= 10
    assert named <= set(main.commands)


def test_every_file_of_the_sources_that_it_names_is_there():
    named = set(re.findall(r"`((?:[a-z-]+/|[A-Z]+\.md|requirements[a-z-]*\.lock))`", TEXT))
    assert len(named) >= 4
    made = {"layers/", "tables/", "styles/", "stakeout/"}
    for target in named - made:
        assert (ROOT / target).exists(), target
