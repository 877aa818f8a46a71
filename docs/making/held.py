"""What a model was held against: the marks of its tests, as a list."""

from __future__ import annotations

from docs.generate.evidence import Evidence, find_evidence
from docs.generate.markdown import bullets, plain
from docs.making.blocks import Block


def held_against(block: Block) -> str:
    """List what the tests of some files hold the model against, those that miss among them.

    The block's argument names the test files without ``test_`` and ``.py``, parted by blanks.

    Raises
    ------
    ValueError
        If a file has no such test.
    """
    found = find_evidence()
    chosen = []
    for name in block.argument.split():
        mine = [evidence for evidence in found if evidence.test.startswith(f"test_{name}.py::")]
        if not mine:
            raise ValueError(
                f"line {block.at}: tests/test_{name}.py holds against nothing outside. Take another file"
            )
        chosen += mine
    return (
        bullets(map(_line, chosen))
        + "\n\nHow each source is trusted is told with all [external checks](#page-evidence)."
    )


def _line(evidence: Evidence) -> str:
    misses = f" **Misses:** {plain(evidence.misses)}." if evidence.misses else ""
    return f"{plain(evidence.against)} ({plain(evidence.source)}, *{evidence.status}*): {plain(evidence.tolerance)}.{misses}"
