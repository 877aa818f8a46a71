"""Every notebook runs as it stands, makes its pictures, keeps its word, and is kept without outputs."""

import base64

import nbformat
import pytest
from nbclient import NotebookClient
from notebook_kit import CLAIMS, FOLDER, stripped

NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))
#: A picture with something on it takes more bytes than an empty one of the same size.
EMPTY_BYTES = 8_000


@pytest.fixture(params=NOTEBOOKS, ids=lambda path: path.stem)
def notebook(request):
    return request.param


def test_it_is_kept_without_outputs_and_editors_notes(notebook):
    assert notebook.read_text(encoding="utf-8") == stripped(notebook), (
        "strip it: python tests/notebook_kit.py"
    )


def test_it_says_what_it_is_for(notebook):
    first = nbformat.read(notebook, as_version=4).cells[0]
    assert first.cell_type == "markdown"
    title, _, words = first.source.partition("\n")
    assert title.startswith("# ")
    assert len(words.split()) > 20


def test_the_index_names_it(notebook):
    assert f"({notebook.name})" in (FOLDER / "README.md").read_text(encoding="utf-8")


def test_its_claims_are_checked(notebook):
    assert notebook.stem in CLAIMS, f"write a function {notebook.stem} in tests/notebook_kit.py"


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::ResourceWarning")
def test_it_runs_draws_and_keeps_its_word(notebook, tmp_path, monkeypatch):
    monkeypatch.setenv("IPYTHONDIR", str(tmp_path))
    content = nbformat.read(notebook, as_version=4)
    content.cells.append(
        nbformat.v4.new_code_cell(
            f"import sys; sys.path.insert(0, {str(FOLDER.parent / 'tests')!r})\n"
            f"import notebook_kit; notebook_kit.hold({notebook.stem!r}, globals())"
        )
    )
    client = NotebookClient(
        content,
        timeout=300,
        kernel_name="python3",
        resources={"metadata": {"path": str(notebook.parent)}},
    )
    client.execute()
    outputs = [output for cell in content.cells for output in cell.get("outputs", ())]
    said = "".join(output["text"] for output in outputs if output.get("name") == "stderr")
    # What the kernel says of its own connection is none of the notebook's.
    warned = [line for line in said.splitlines() if line.strip() and "[IPKernelApp]" not in line]
    assert not warned
    pictures = [
        base64.b64decode(output["data"]["image/png"])
        for output in outputs
        if "image/png" in output.get("data", {})
    ]
    assert len(pictures) >= CLAIMS[notebook.stem][0]
    assert min(map(len, pictures)) > EMPTY_BYTES
