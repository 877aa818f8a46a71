"""The gallery: each notebook with its title and first words."""

from __future__ import annotations

import json
from pathlib import Path

from docs.generate.markdown import page, section

NOTEBOOKS = Path(__file__).parents[2] / "notebooks"
#: The notebook with which one begins; the others follow by name.
FIRST = "main_job"


def notebooks_page() -> str:
    """Write the page."""
    paths = sorted(NOTEBOOKS.glob("*.ipynb"), key=lambda path: (path.stem != FIRST, path.stem))
    return page(
        "Notebooks",
        "notebooks",
        "Worked examples on the sample site, without their pictures: run them to see these. "
        'They need `pip install "screenplan[notebook]"` and any notebook program.',
        *(part for path in paths for part in _notebook(path)),
    )


def _notebook(path: Path) -> list[str]:
    """Give the title and the first paragraph of a notebook, and the file."""
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    words = next("".join(cell["source"]) for cell in cells if cell["cell_type"] == "markdown")
    title, _, rest = words.strip().partition("\n")
    first = " ".join(rest.strip().split("\n\n")[0].split())
    return [
        section(title.lstrip("# "), 2, f"notebook-{path.stem}"),
        first,
        f"{{download}}`{path.name} <../../notebooks/{path.name}>`",
    ]
