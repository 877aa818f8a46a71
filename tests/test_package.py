"""What is built of the sources: the source archive, the wheel, and what they say of themselves."""

import re
import subprocess
import tomllib
from pathlib import Path

import pytest
from hatchling.builders.sdist import SdistBuilder
from hatchling.builders.wheel import WheelBuilder
from markdown_it import MarkdownIt

from screenplan._version import __version__

ROOT = Path(__file__).parent.parent
ABOUT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
PROJECT = ABOUT["project"]
README = (ROOT / PROJECT["readme"]).read_text(encoding="utf-8")


def held_by(builder):
    """Give the paths of the files that a builder puts into what it makes."""
    return {
        Path(file.distribution_path).as_posix()
        for file in builder(str(ROOT)).recurse_included_files()
    }


def kept_files():
    """Give the paths of the files that are kept, by version control or by the archive that this is."""
    if not (ROOT / ".git").exists():
        assert (ROOT / "PKG-INFO").is_file()
        return {path.relative_to(ROOT).as_posix() for path in ROOT.rglob("*.py")}
    said = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout
    return {name for name in said.splitlines() if (ROOT / name).is_file()}


def test_the_source_archive_holds_every_file_that_is_kept():
    """Evidence: invariant; whatever a test may read of the project is in it."""
    kept = kept_files()
    assert len(kept) > 500
    # The builder adds these two by itself, whatever is listed.
    assert kept - {"pyproject.toml", ".gitignore"} <= held_by(SdistBuilder)


def test_the_wheel_holds_the_package_and_the_sample_data_alone():
    held, kept = held_by(WheelBuilder), kept_files()
    assert {name for name in kept if name.startswith("screenplan/")} <= held
    assert "screenplan/py.typed" in held
    assert "screenplan/sample_data/site.gpkg" in held
    assert {name.split("/")[0] for name in held} == {"screenplan"}


def test_the_readme_has_no_link_that_breaks_on_an_index_page():
    """Evidence: another library, markdown-it, which reads what an index page shows."""
    tokens = [
        inner
        for token in MarkdownIt("commonmark").enable("table").parse(README)
        for inner in token.children or ()
    ]
    targets = [
        token.attrs.get("href") or token.attrs["src"]
        for token in tokens
        if token.type in ("link_open", "image")
    ]
    assert not [target for target in targets if not re.match(r"https?://", str(target))]
    assert not [token.content for token in tokens if token.type == "html_inline"]


def test_it_says_who_wrote_it_and_no_address_that_nobody_made():
    assert PROJECT["authors"] == [{"name": "The screenplan authors"}]
    assert not PROJECT.keys() & {"urls", "maintainers"}
    assert "@" not in README


def test_the_pythons_that_it_names_are_those_that_it_takes():
    low, high = re.fullmatch(r">=3\.(\d+),<3\.(\d+)", PROJECT["requires-python"]).groups()
    said = [
        line.rsplit(" ", 1)[1]
        for line in PROJECT["classifiers"]
        if re.match(r"Programming Language :: Python :: 3\.", line)
    ]
    assert said == [f"3.{minor}" for minor in range(int(low), int(high))]
    assert "Typing :: Typed" in PROJECT["classifiers"]


def test_the_version_has_its_date_in_the_list_of_changes():
    text = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
    dates = re.findall(
        rf"^## {re.escape(__version__)}, (\d{{4}}-\d{{2}}-\d{{2}})$", text, re.MULTILINE
    )
    assert len(dates) == 1


def test_the_builder_of_the_tests_is_that_of_the_package():
    (builder,) = ABOUT["build-system"]["requires"]
    assert builder in PROJECT["optional-dependencies"]["test"]


@pytest.mark.parametrize("name", ["notebooks", "DEVELOPERS.md", "requirements.lock", "docs"])
def test_what_the_readme_says_of_the_sources_is_in_them(name):
    assert f"`{name}" in README or name in README
    assert (ROOT / name).exists()
