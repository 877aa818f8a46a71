"""Notebooks as pages: executed, each cell with what came of it, and a gallery of their pictures."""

from __future__ import annotations

import base64
import json
from collections.abc import Callable
from pathlib import Path

from docs.making.kept import ROOT, keep
from docs.making.trying import PageError

NOTEBOOKS = ROOT / "notebooks"
#: The notebook with which one begins; the others follow by name.
FIRST = "main_job"
#: What checks a notebook's claims, and the cell that has it done.
KIT = ROOT / "tests" / "notebook_kit.py"
HOLD = "import sys; sys.path.insert(0, {tests!r})\nimport notebook_kit; notebook_kit.hold({name!r}, globals())"
#: Seconds that a cell may take.
LONGEST_S = 600


def names() -> list[str]:
    """List the notebooks in their order."""
    return sorted(
        (path.stem for path in NOTEBOOKS.glob("*.ipynb")), key=lambda name: (name != FIRST, name)
    )


def executed(name: str) -> Path:
    """Execute a notebook, hold what its words claim, and give the folder that holds it and its pictures.

    The folder has ``notebook.ipynb`` with outputs, and ``CELL-OUTPUT.png``. For the same sources this is done once,
    whether the pages are built or the notebooks tested.

    Raises
    ------
    PageError
        If a cell fails, or a claim (`tests/notebook_kit.py`) does not hold.
    """
    source = NOTEBOOKS / f"{name}.ipynb"

    def make(folder: Path) -> None:
        import nbformat
        from nbclient import NotebookClient
        from nbclient.exceptions import CellExecutionError

        content = nbformat.read(source, as_version=4)
        content.cells.append(
            nbformat.v4.new_code_cell(HOLD.format(tests=str(KIT.parent), name=name))
        )
        client = NotebookClient(
            content,
            timeout=LONGEST_S,
            kernel_name="python3",
            resources={"metadata": {"path": str(NOTEBOOKS)}},
        )
        try:
            client.execute()
        except CellExecutionError as error:
            raise PageError(f"{source.name} does not run: {error}") from error
        content.cells.pop()
        for cell_number, cell in enumerate(content.cells):
            for number, output in enumerate(cell.get("outputs", ())):
                if "image/png" in output.get("data", {}):
                    data = base64.b64decode(output["data"].pop("image/png"))
                    (folder / f"{cell_number}-{number}.png").write_bytes(data)
        nbformat.write(content, folder / "notebook.ipynb")

    made_of = "".join(path.read_text(encoding="utf-8") for path in (source, KIT))
    return keep(f"notebook-{name}", made_of, make)


def notebook(name: str, from_page: Callable[[Path], str]) -> str:
    """Write a notebook as Markdown, with what came of its cells."""
    folder = executed(name)
    cells = json.loads((folder / "notebook.ipynb").read_text(encoding="utf-8"))["cells"]
    parts = []
    for cell_number, cell in enumerate(cells):
        source = "".join(cell["source"])
        if cell["cell_type"] == "markdown":
            parts.append(source)
            if cell_number == 0:
                parts.append(
                    f"{{download}}`The notebook, {name}.ipynb <../../notebooks/{name}.ipynb>`"
                )
            continue
        parts.append(f"```python\n{source}\n```")
        for number, output in enumerate(cell.get("outputs", ())):
            picture = folder / f"{cell_number}-{number}.png"
            if picture.exists():
                parts.append(f"```{{image}} {from_page(picture)}\n:alt: {_alt(source)}\n```")
            else:
                parts.append(_output(output))
    return "\n\n".join(part for part in parts if part)


def gallery(from_page: Callable[[Path], str]) -> str:
    """Write the gallery: of each notebook a picture, its title and its first words."""
    shown = []
    for name in names():
        title, first = head(name)
        picture = max(executed(name).glob("*.png"), key=lambda path: path.stat().st_size)
        shown.append(
            f"```{{figure}} {from_page(picture)}\n:target: {name}.html\n:alt: {title}\n\n[{title}]({name}.md). {first}\n```"
        )
    return "\n\n".join(["````{container} gallery", *shown, "````"])


def head(name: str) -> tuple[str, str]:
    """Give the title and the first paragraph of a notebook."""
    cells = json.loads((NOTEBOOKS / f"{name}.ipynb").read_text(encoding="utf-8"))["cells"]
    words = next("".join(cell["source"]) for cell in cells if cell["cell_type"] == "markdown")
    title, _, rest = words.strip().partition("\n")
    return title.lstrip("# "), " ".join(rest.strip().split("\n\n")[0].split())


def _output(output: dict) -> str:
    if output.get("name") == "stderr":
        return ""
    data = output.get("data", {})
    if "text/html" in data:
        return f'```{{raw}} html\n<div class="made-table">{"".join(data["text/html"])}</div>\n```'
    said = "".join(data.get("text/plain", output.get("text", "")))
    return f"```{{code-block}} text\n:class: said\n\n{said.rstrip()}\n```" if said.strip() else ""


def _alt(source: str) -> str:
    """Name a picture by the title that its cell gives it, or by the cell's last axis."""
    for mark in ("set_title(", "suptitle(", "supxlabel("):
        if mark in source:
            said = source.split(mark)[-1].lstrip("f")
            quote = said[0]
            if quote in "\"'":
                return said[1:].split(quote)[0].replace("\n", " ")
    return "What the cell draws"
