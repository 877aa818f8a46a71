"""Every notebook runs as it stands, makes its pictures, and is kept without outputs."""

import base64
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

NOTEBOOKS = sorted((Path(__file__).parent.parent / "notebooks").glob("*.ipynb"))


@pytest.fixture(params=NOTEBOOKS, ids=lambda path: path.stem)
def notebook(request):
    return request.param


def test_it_is_kept_without_outputs(notebook):
    for cell in nbformat.read(notebook, as_version=4).cells:
        assert not cell.get("outputs")
        assert cell.get("execution_count") is None


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::ResourceWarning")
def test_it_runs_and_draws(notebook, tmp_path, monkeypatch):
    monkeypatch.setenv("IPYTHONDIR", str(tmp_path))
    content = nbformat.read(notebook, as_version=4)
    client = NotebookClient(
        content,
        timeout=300,
        kernel_name="python3",
        resources={"metadata": {"path": str(notebook.parent)}},
    )
    client.execute()
    pictures = [
        base64.b64decode(output["data"]["image/png"])
        for cell in content.cells
        for output in cell.get("outputs", ())
        if "image/png" in output.get("data", {})
    ]
    assert pictures
    # A picture with something on it takes more than an empty one of the same size.
    assert min(map(len, pictures)) > 8_000
