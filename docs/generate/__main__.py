"""Write the pages of ``docs/reference/`` and the packages' stubs, or tell whether they are current.

python -m docs.generate            write them
python -m docs.generate --check    exit with 1 and name the pages that differ
"""

from __future__ import annotations

import difflib
import sys
from pathlib import Path

from docs.generate.commands import commands_page
from docs.generate.evidence import evidence_page
from docs.generate.faces import faces
from docs.generate.figures import rules_page, species_page
from docs.generate.growth_evidence import PICTURES, growth_page, growth_pictures
from docs.generate.layers import layers_page
from docs.generate.names import python_page
from docs.generate.plan_keys import plan_page
from docs.generate.steps import steps_page
from docs.generate.words import words_page

FOLDER = Path(__file__).parents[1] / "reference"
PAGES = {
    "commands.md": commands_page,
    "steps.md": steps_page,
    "plan_file.md": plan_page,
    "layers.md": layers_page,
    "words.md": words_page,
    "rules.md": rules_page,
    "species.md": species_page,
    "growth_evidence.md": growth_page,
    "evidence.md": evidence_page,
    "python.md": python_page,
}
#: Lines of a difference that are shown.
SHOWN = 12


def differences(folder: Path = FOLDER) -> list[str]:
    """Say for each page or picture that is not as the code makes it how it differs, and which are not made."""
    said = []
    made_files = _all_made()
    for path, made in {
        **{folder / name: made for name, made in made_files.items()},
        **faces(),
    }.items():
        there = path.read_text(encoding="utf-8") if path.exists() else ""
        if there != made:
            lines = difflib.unified_diff(there.splitlines(), made.splitlines(), n=0, lineterm="")
            said.append("\n".join([f"{path} is not current:", *list(lines)[2 : 2 + SHOWN]]))
    there = [*folder.glob("*.md"), *(folder / PICTURES).glob("*")]
    strange = sorted({path.relative_to(folder).as_posix() for path in there} - set(made_files))
    return said + [f"{folder / name} is no file that is made. Delete it" for name in strange]


def _all_made() -> dict[str, str]:
    """Make every page and picture, by its name in the folder."""
    return {**{name: make() for name, make in PAGES.items()}, **growth_pictures()}


def main(arguments: list[str]) -> int:
    """Write the pages, or with ``--check`` compare them."""
    if arguments == ["--check"]:
        said = differences()
        print("\n".join([*said, "Run make reference"] if said else ["The pages are current"]))
        return 1 if said else 0
    (FOLDER / PICTURES).mkdir(parents=True, exist_ok=True)
    for name, made in _all_made().items():
        (FOLDER / name).write_text(made, encoding="utf-8", newline="\n")
    for path, made in faces().items():
        path.write_text(made, encoding="utf-8", newline="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
