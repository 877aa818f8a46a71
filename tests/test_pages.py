"""The pages of docs/ that show what the program does: what they say to type runs, and says what they promise."""

import io
import os
import re
import time
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from docs.generate.words import METHOD
from docs.making.blocks import Block, split
from docs.making.composed import KINDS, compose, tried
from docs.making.drawn import drawing
from docs.making.held import held_against
from docs.making.kept import keep
from docs.making.notebooks import names
from docs.making.trying import WAITING, PageError, try_page
from screenplan.commandline.printing import progress_bar
from screenplan.contracts import OUTPUTS

ROOT = Path(__file__).parent.parent
DOCS = ROOT / "docs"
TUTORIAL = DOCS / "tutorial.md"
#: The needs that have a page of their own, by the names of the pages.
NEEDS = {
    "county_parcels", "feet", "slope", "clipped_hedge", "road_corner", "overhead_line", "standing_row", "other_rules",
    "receiver", "surveyor", "year_by_year", "mixed_row", "street", "browsing_animals", "customer_quote",
}  # fmt: skip
HOWTO = sorted(path for path in (DOCS / "howto").glob("*.md") if path.stem != "index")
METHODS = sorted(path for path in (DOCS / "method").glob("*.md") if path.stem != "index")
#: A drawing of a report with something on it takes more bytes than its frame.
EMPTY_BYTES = 4_000


def page_of(folder, text):
    page = folder / "page.md"
    page.write_text(text, encoding="utf-8")
    return page


def blocks_of(page):
    return [part for part in split(page.read_text("utf-8"), KINDS) if isinstance(part, Block)]


@pytest.mark.slow
@pytest.mark.parametrize("page", [TUTORIAL, *HOWTO], ids=lambda page: page.stem)
def test_what_a_page_says_to_type_does_what_it_says(page):
    """The pages are tried by the same call when they are built; for the same sources this is done once."""
    folder = tried(page)
    for block in blocks_of(page):
        if block.kind == "drawn":
            text = (folder / f"drawn-{block.at}.svg").read_text("utf-8")
            assert len(text) > EMPTY_BYTES
            assert ET.fromstring(text).tag.endswith("svg")


@pytest.mark.slow
@pytest.mark.skipif("SCREENPLAN" not in os.environ, reason="SCREENPLAN names no program to try")
def test_the_tutorial_passes_with_an_installed_program(tmp_path):
    """With SCREENPLAN=/path/to/bin/screenplan: that of a wheel in an empty environment, for instance."""
    ran = [
        command
        for _, commands in try_page(TUTORIAL, tmp_path, os.environ["SCREENPLAN"])
        for command in commands
    ]
    assert len(ran) >= 4


def test_each_need_has_a_page_with_commands_a_picture_and_what_to_watch():
    assert {page.stem for page in HOWTO} == NEEDS
    index = (DOCS / "howto" / "index.md").read_text("utf-8")
    for page in HOWTO:
        text, kinds = page.read_text("utf-8"), [block.kind for block in blocks_of(page)]
        assert f"\n{page.stem}\n" in index
        assert kinds.count("run") >= 2
        assert "drawn" in kinds
        assert any(block.options.get("says") for block in blocks_of(page))
        assert "\n## What to watch\n" in text


def test_each_model_has_its_formula_symbols_source_limits_and_what_it_was_held_against():
    index = (DOCS / "method" / "index.md").read_text("utf-8")
    for page in METHODS:
        text, kinds = page.read_text("utf-8"), [block.kind for block in blocks_of(page)]
        assert f"\n{page.stem}\n" in index
        assert "$$" in text
        assert "symbols" in kinds or page.stem == "cost"
        assert "held" in kinds
        assert "**Source.**" in text
        assert "**Limits.**" in text
        (modules,) = re.findall(r"\*\*Code\.\*\*(.*?)(?:\n\n|\Z)", text, re.DOTALL)
        named = re.findall(r"`([\w/]+\.py)`", modules)
        assert named
        for module in named:
            assert (ROOT / "screenplan" / module).exists(), module


def test_each_drawing_of_symbols_is_on_a_page_and_is_drawn(tmp_path):
    from docs.symbols import draw

    made = {path.stem for path in (DOCS / "symbols").glob("*.py")} - {"__init__", "pen"}
    used = {
        block.argument for page in METHODS for block in blocks_of(page) if block.kind == "symbols"
    }
    assert used == made
    for name in made:
        draw(name, tmp_path / f"{name}.svg")
        assert (tmp_path / f"{name}.svg").stat().st_size > EMPTY_BYTES


def test_each_notebook_has_its_page():
    pages = {path.stem for path in (DOCS / "gallery").glob("*.md")} - {"index"}
    assert pages == set(names())
    index = (DOCS / "gallery" / "index.md").read_text("utf-8")
    for page in pages:
        assert f"\n{page}\n" in index
        assert f"{{notebook}} {page}\n" in (DOCS / "gallery" / f"{page}.md").read_text("utf-8")


def test_the_report_names_the_page_of_its_words():
    template = (ROOT / "screenplan/outputs/templates/report.html.jinja").read_text("utf-8")
    title = re.search(r"^# (.*)$", (DOCS / "reference/words.md").read_text("utf-8"), re.MULTILINE)[
        1
    ]
    assert f"the documentation’s page “{title}”" in template


def test_the_words_of_the_report_lead_to_pages_that_are_there():
    assert set(METHOD) <= set(OUTPUTS)
    assert {f"(method-{name})=" for name in METHOD.values()} <= {
        page.read_text("utf-8").splitlines()[0] for page in METHODS
    }


def test_a_page_does_not_show_how_long_the_machine_took():
    stream = io.StringIO()
    with progress_bar(stream, between_s=0.01) as tell:
        tell("light", 3, 40)
        time.sleep(0.1)
    assert stream.getvalue().count("step 3 of 40: light") > 1
    assert WAITING.sub("", f"Order\n{stream.getvalue()}Written\n") == "Order\nWritten\n"


RUN = "```{{run}}\n{options}screenplan keys --help\n```\n"


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (":ends: 2\n", "ended with 0, not 2"),
        (":says: nothing of the kind\n", "nothing says 'nothing of the kind'"),
    ],
)
def test_a_page_that_promises_too_much_is_refused(tmp_path, options, message):
    page = page_of(tmp_path, RUN.format(options=options))
    with pytest.raises(PageError, match=message):
        list(try_page(page, tmp_path))
    # What it does promise passes, by the words of the command's own help.
    page = page_of(tmp_path, RUN.format(options=":says: Usage | keys\n"))
    assert [block.kind for block, _ in try_page(page, tmp_path)] == ["run"]


def test_a_page_runs_nothing_but_the_program(tmp_path):
    page = page_of(tmp_path, "```{run}\nrm -rf here\n```\n")
    with pytest.raises(PageError, match="only screenplan is run"):
        list(try_page(page, tmp_path))


def test_a_program_is_run_as_it_is_named(tmp_path):
    page = page_of(tmp_path, "```{run}\nscreenplan hello\n```\n")
    program = tmp_path / "program"
    program.write_text('#!/bin/sh\necho said "$1"\nexit 0\n', encoding="utf-8")
    program.chmod(0o755)
    ((_, (ran,)),) = try_page(page, tmp_path, str(program))
    assert (ran.code, ran.said) == (0, "said hello\n")


def test_a_file_is_written_and_added_to(tmp_path):
    page = page_of(
        tmp_path, "```{file} a.toml\nx = 1\n```\ntext\n```{file} a.toml\n:append: yes\n[b]\n```\n"
    )
    assert len(list(try_page(page, tmp_path))) == 2
    assert (tmp_path / "a.toml").read_text("utf-8") == "x = 1\n\n[b]\n"


def test_blocks_keep_their_options_and_lines():
    first, block, last = split(
        "a\n```{run} x\n:says: y\none\ntwo\n```\n```{other}\nz\n```", {"run"}
    )
    assert (first, last) == ("a", "```{other}\nz\n```")
    assert (block.argument, block.options, block.lines, block.at) == ("x", {"says": "y"}, ["one", "two"], 2)  # fmt: skip
    with pytest.raises(ValueError, match=r"line 1: the fence \{run\} is not closed"):
        split("```{run}\nx", {"run"})


def test_what_was_made_is_made_anew_when_it_is_made_of_something_else(tmp_path, monkeypatch):
    monkeypatch.setattr("docs.making.kept.KEPT", tmp_path / "kept")
    made = []

    def make(folder):
        made.append(folder)
        (folder / "a").write_text(str(len(made)), encoding="utf-8")

    first = keep("page", "text", make, ("docs/symbols",))
    assert keep("page", "text", make, ("docs/symbols",)) == first
    assert (first / "a").read_text("utf-8") == "1"
    second = keep("page", "other text", make, ("docs/symbols",))
    assert (second / "a").read_text("utf-8") == "2"
    # What nothing is made of any more is taken away.
    assert [path.name for path in (tmp_path / "kept").iterdir()] == [second.name]


REPORT = """<figure class="kind-plan plan-sheet"><div><svg xmlns="http://www.w3.org/2000/svg" class="drawing" style="--w:10.000mm;--h:5.000mm" viewBox="0 0 28 14"><g class="of-year" data-year="5"/><g class="of-year hidden" data-year="9"/><path fill="var(--plant,#2e6b45)"/></svg></div></figure>"""


def test_a_drawing_of_a_report_stands_alone(tmp_path):
    report = tmp_path / "report.html"
    report.write_text(REPORT, encoding="utf-8")
    text = drawing(report, "plan", year=9)
    assert 'width="10.000mm" height="5.000mm"' in text
    assert 'fill="#2e6b45"' in text
    assert 'class="of-year hidden" data-year="5"' in text
    assert 'class="of-year" data-year="9"' in text
    with pytest.raises(LookupError, match="0 drawings of kind elevation, not 1"):
        drawing(report, "elevation")


def test_output_is_cut_by_what_its_lines_hold(tmp_path, monkeypatch):
    monkeypatch.setattr("docs.making.composed.DOCS", tmp_path)
    monkeypatch.setattr("docs.making.kept.KEPT", tmp_path / "kept")
    page = page_of(tmp_path, RUN.format(options=":from: Options\n:to: Options\n"))
    text = compose(page).text
    assert "```sh\nscreenplan keys --help\n```" in text
    shown = text.split(":class: said\n\n")[1].split("\n```")[0].splitlines()
    assert (shown[0], shown[1], shown[-1]) == ("…", "Options:", "…")
    page = page_of(tmp_path, RUN.format(options=":from: no such line\n"))
    with pytest.raises(PageError, match="no line of what is said holds 'no such line'"):
        compose(page)


def test_a_model_is_held_against_what_the_tests_say():
    text = held_against(Block("held", "roads"))
    assert text.count("\n- ") + 1 >= 2
    assert "Stopping sight distances at 14 speeds" in text
    with pytest.raises(ValueError, match="test_no_such"):
        held_against(Block("held", "no_such", at=3))
