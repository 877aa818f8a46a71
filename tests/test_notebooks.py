"""Every notebook runs as it stands, makes its pictures, keeps its word, and is kept without outputs."""

import nbformat
import pytest
from notebook_kit import CLAIMS, FOLDER, stripped

from docs.making.notebooks import executed
from docs.making.trying import PageError

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
    """Its claims are held where it is executed: by the call that also executes it for the gallery."""
    monkeypatch.setenv("IPYTHONDIR", str(tmp_path))
    folder = executed(notebook.stem)
    cells = nbformat.read(folder / "notebook.ipynb", as_version=4).cells
    assert len(cells) == len(nbformat.read(notebook, as_version=4).cells)
    outputs = [output for cell in cells for output in cell.get("outputs", ())]
    said = "".join(output["text"] for output in outputs if output.get("name") == "stderr")
    # What the kernel says of its own connection is none of the notebook's.
    warned = [line for line in said.splitlines() if line.strip() and "[IPKernelApp]" not in line]
    assert not warned
    pictures = [path.stat().st_size for path in folder.glob("*.png")]
    assert len(pictures) >= CLAIMS[notebook.stem][0]
    assert min(pictures) > EMPTY_BYTES


def test_a_notebook_that_does_not_keep_its_word_is_told(tmp_path, monkeypatch):
    monkeypatch.setenv("IPYTHONDIR", str(tmp_path))
    monkeypatch.setattr("docs.making.kept.KEPT", tmp_path / "kept")
    monkeypatch.setattr("docs.making.notebooks.NOTEBOOKS", tmp_path)
    content = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell("county = 1")])
    nbformat.write(content, tmp_path / "street_and_county.ipynb")
    with pytest.raises(PageError, match=r"street_and_county\.ipynb does not run"):
        executed("street_and_county")
