"""The reference: its pages are those that the code makes, and its marks of evidence say what they must."""

import ast
import re
import shutil
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest

from docs.generate.__main__ import differences
from docs.generate.evidence import _in_module, evaluate, find_evidence
from docs.generate.growth_evidence import PICTURES, growth_pictures
from docs.generate.markdown import plain, span, table
from docs.generate.small_pictures import (
    LEFTS,
    PANEL_HEIGHT,
    PANEL_WIDTH,
    TOP,
    Panel,
    Points,
    mark,
    nice_step,
    picture,
)
from screenplan.contracts import INPUTS, OUTPUTS
from screenplan.planting.species import load_species
from screenplan.running.descriptions import describe_steps

ROOT = Path(__file__).parent.parent
PAGES = ROOT / "docs" / "reference"


def marks_of(text):
    return list(_in_module("test_made_up.py", ast.parse(text)))


def test_committed_pages_are_those_that_the_code_makes():
    done = subprocess.run(
        [sys.executable, "-m", "docs.generate", "--check"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr


def test_a_picture_that_is_changed_or_left_over_is_told(tmp_path):
    folder = tmp_path / "reference"
    shutil.copytree(PAGES, folder)
    assert differences(folder) == []
    picture, *_ = sorted((folder / PICTURES).glob("*.svg"))
    picture.write_text(
        picture.read_text(encoding="utf-8").replace("<svg", "<svg "), encoding="utf-8"
    )
    (folder / PICTURES / "strange.svg").write_text("<svg/>", encoding="utf-8")
    changed, strange = differences(folder)
    assert changed.startswith(f"{picture} is not current")
    assert strange.endswith("strange.svg is no file that is made. Delete it")


#: A page holds many pictures: each must be small.
LARGEST_BYTES = 15_000


def test_pictures_of_growth_are_small_and_each_stands_on_its_page():
    page = (PAGES / "growth_evidence.md").read_text(encoding="utf-8")
    drawn = growth_pictures()
    assert set(re.findall(r"\]\((growth/[\w.]+)\)", page)) == set(drawn)
    known = load_species()
    for name, text in drawn.items():
        assert len(text.encode()) < LARGEST_BYTES
        assert ET.fromstring(text).findtext("{*}title") == known[Path(name).stem].common_name
    # A kind has its picture, or the page says that there is nothing to draw.
    left, _, bare = page.partition("nothing was found to draw")
    bare = bare.split("\n")[0]
    for key in known:
        assert (f"({PICTURES}/{key}.svg)" in left) != (f"`{key}`" in bare)


def test_a_picture_puts_a_point_where_its_axes_say():
    """By hand: year 10 of 50 is a fifth of the way, 4 m of 8 m is half way up."""
    years = np.linspace(0.0, 50.0, 6)
    panel = Panel("h", "years", "m", years, years / 10, years / 8, years / 6.25, [Points("here", [10.0], [4.0])])  # fmt: skip
    text = picture("a <b>", "c", [panel])
    x, y = LEFTS[0] + PANEL_WIDTH / 5, TOP + PANEL_HEIGHT / 2
    assert f'd="{mark("circle", x, y)}"' in text
    assert ET.fromstring(text).findtext("{*}title") == "a <b>"
    assert nice_step(8.0) == 2.0
    assert text == picture("a <b>", "c", [panel])


def test_every_mark_of_a_test_is_on_the_page():
    # Another way to count them: the text of the tests.
    texts = [path.read_text(encoding="utf-8") for path in (ROOT / "tests").glob("test_*.py")]
    written = sum(line == "@pytest.mark.evidence(" for text in texts for line in text.splitlines())
    found = find_evidence()
    assert len(found) == written > 30
    page = (PAGES / "evidence.md").read_text(encoding="utf-8")
    for evidence in found:
        assert evidence.test.split("::")[1] in page


MARK = """
import pytest
SLACK_M = 0.002
pytestmark = [pytest.mark.desktop]
@pytest.mark.evidence({})
def test_it(): pass
"""
SAID = {
    "part": "Files",
    "kind": "standard",
    "against": "a rule",
    "source": "RFC 7946",
    "status": "read",
    "tolerance": "exact",
}


def said(**changes):
    return ", ".join(f"{name}={value!r}" for name, value in (SAID | changes).items())


def test_a_mark_takes_the_values_of_the_tests_own_constants():
    (evidence,) = marks_of(
        MARK.format(said()).replace("tolerance='exact'", 'tolerance=f"{1000 * SLACK_M:g} mm"')
    )
    assert evidence.tolerance == "2 mm"
    assert evidence.test == "test_made_up.py::test_it"
    assert evidence.when == "needs the desktop GIS"


@pytest.mark.parametrize(
    ("line", "when"),
    [
        ("@pytest.mark.slow", "every run"),
        ("@pytest.mark.xfail", "known to fail"),
        ("@pytest.mark.skipif(SLACK_M, reason='it is Monday')", "skipped where it is Monday"),
        ("@on_monday", "skipped where it is Monday"),
    ],
)
def test_the_page_says_where_a_test_does_not_run(line, when):
    named = "on_monday = pytest.mark.skipif(SLACK_M, reason='it is Monday')"
    text = MARK.format(said()).replace("pytestmark = [pytest.mark.desktop]", f"{named}\n{line}")
    (evidence,) = marks_of(text)
    assert evidence.when == when


def test_a_mark_takes_constants_that_the_project_exports():
    text = "from benchmarks import tracer\n" + MARK.format(said())
    (evidence,) = marks_of(text.replace("'exact'", 'f"{tracer.REPEATS} times"'))
    assert evidence.tolerance == "3 times"


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"part": "Cellar"}, "part is 'Cellar'. Write one of Local frame"),
        ({"status": "hearsay"}, "'standard' cannot be known by 'hearsay'"),
        ({"kind": "trade"}, "'trade' cannot be known by 'read'"),
        ({"source": " "}, "source is empty"),
    ],
)
def test_a_mark_that_says_too_little_is_refused(changes, message):
    with pytest.raises(ValueError, match=message):
        marks_of(MARK.format(said(**changes)))


def test_an_expression_of_a_mark_is_of_the_tests_own_names():
    with pytest.raises(NameError, match="'NOWHERE' is not defined"):
        marks_of(MARK.format(said()).replace("'exact'", 'f"{NOWHERE}"'))
    assert evaluate(ast.parse("2 * 3", mode="eval").body, {}) == 6


def test_a_table_keeps_each_row_on_its_line():
    assert table(["a", "b"], [["x|y", "two\nlines"]]).splitlines()[2] == "| x\\|y | two lines |"
    assert table(["a"], []) == ""
    assert plain("a_b*<c>") == "a\\_b\\*\\<c\\>"
    assert span(0, 2.5, "m", low_open=True) == "above 0 m, at most 2.5 m"
    assert span(0, 2.5, "m") == "0 to 2.5 m"
    assert span(None, None) == ""


def test_pages_hold_every_step_layer_and_column():
    steps, layers = ((PAGES / name).read_text("utf-8") for name in ("steps.md", "layers.md"))
    for step in describe_steps():
        assert f"(step-{step.name})=\n## `{step.name}`" in steps
        for parameter in step.parameters:
            assert f"| [`{parameter.key}`]" in steps
    for way, contracts in (("in", INPUTS), ("out", OUTPUTS)):
        for contract in contracts.values():
            part = layers.split(f"({way}-{contract.name})=\n")[1].split("\n(")[0]
            assert part.count("\n| `") == len(contract.columns)
