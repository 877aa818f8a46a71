"""The page of the external checks: every test that holds the library against something outside it.

Such a test carries a mark, ``@pytest.mark.evidence``, which says what it is held against, the source
and how far that is trusted, and the tolerance. The mark is read from the test's own text, with the
values of the constants that the test uses, so a test that goes takes its line of the page with it.
"""

from __future__ import annotations

import ast
import builtins
from collections.abc import Iterator
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

from docs.generate.markdown import code, page, plain, section, table

TESTS = Path(__file__).parents[2] / "tests"

#: Parts of the library in the order of the page.
PARTS = (
    "Local frame and datum",
    "Real plots",
    "Rules",
    "Plants and growth",
    "Crowns, rays and terrain",
    "Design",
    "Sun and sky",
    "Effects on others",
    "Stake-out",
    "Planting work",
    "Files",
    "Desktop GIS and servers",
    "Report",
)
#: What something outside is, and how such a thing can be known.
KINDS = {
    "other software": ("run",),
    "open data": ("run", "code"),
    "every case": ("run",),
    "published": ("read", "code", "second-hand", "memory"),
    "standard": ("read", "code", "run"),
    "trade": ("common practice",),
}
#: What the statuses mean on this page.
STATUS_MEANS = {
    "run": "the other program, the data set itself, or a trial of every case is used in the test",
    "read": "the figures were read in a stored copy of the source",
    "code": "several independent programs or an open data set agree on the figures",
    "second-hand": "another text quotes the source",
    "memory": "the figures are from memory, unverified: this is no check of them",
    "common practice": "customary, no source",
}
#: Marks of tests that do not run everywhere or do not pass, and what the page says of them.
PLACES = {
    "xfail": "known to fail",
    "desktop": "needs the desktop GIS",
    "browser": "needs a browser",
    "server": "needs a geoprocessing server",
}


@dataclass(frozen=True)
class Evidence:
    """One test that holds the library against something outside it.

    Parameters
    ----------
    test : str
        Its id, as pytest takes it.
    part : str
        One of `PARTS`.
    kind : str
        One of `KINDS`.
    against, source : str
        What it is held against, and where that comes from.
    status : str
        How far the source is trusted, one of `STATUS_MEANS`.
    tolerance : str
        How close it must come.
    misses : str
        What it does not reach; empty if it reaches all.
    when : str
        Where the test runs.
    """

    test: str
    part: str
    kind: str
    against: str
    source: str
    status: str
    tolerance: str
    misses: str = ""
    when: str = "every run"


def find_evidence(folder: Path = TESTS) -> list[Evidence]:
    """Collect the marks of all tests in a folder.

    Raises
    ------
    ValueError
        If a mark lacks something, or says what is not known here.
    """
    found = []
    for path in sorted(folder.glob("test_*.py")):
        text = path.read_text(encoding="utf-8")
        if "mark.evidence" in text:
            found += _in_module(path.name, ast.parse(text))
    return found


def evidence_page() -> str:
    """Write the page."""
    found = find_evidence()
    return page(
        "External checks",
        "evidence",
        "What the library is held against outside itself: other programs, published tables and "
        "examples, standards, open data, customs. Each line is a test that runs on every change; "
        "those that need another program say so, and continuous integration installs it. A test "
        "that misses says what it misses. Beside these stand tests against closed forms, invariants "
        "and brute force, which need no source.",
        "How far a source is trusted:",
        table(["Status", "What it means"], list(STATUS_MEANS.items())),
        *(
            part
            for name in PARTS
            if any(evidence.part == name for evidence in found)
            for part in (
                section(name),
                table(
                    ["Held against", "Source", "How close", "Test"],
                    [_row(evidence) for evidence in found if evidence.part == name],
                ),
            )
        ),
    )


def _row(evidence: Evidence) -> list[str]:
    misses = f" **Misses:** {plain(evidence.misses)}" if evidence.misses else ""
    file, name = evidence.test.split("::")
    when = "" if evidence.when == "every run" else f", {evidence.when}"
    return [
        plain(evidence.against),
        f"{plain(evidence.source)} (*{evidence.status}*)",
        plain(evidence.tolerance) + misses,
        f"{code(name)} in {code(file)}{when}",
    ]


class _Names(dict):
    """Names that a mark may use: the module's constants, and what it imports from the project."""

    def __init__(self, tree: ast.Module):
        super().__init__(__builtins__=builtins)
        self.imported = {}
        for node in tree.body:
            if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] in (
                "benchmarks",
                "plant_checks",
                "screenplan",
            ):
                for name in node.names:
                    self.imported[name.asname or name.name] = (node.module, name.name)
            elif isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
                try:
                    self[node.targets[0].id] = evaluate(node.value, self)
                except Exception:  # not a constant, so no mark can use it
                    continue

    def __missing__(self, name: str) -> Any:
        if name not in self.imported:
            raise KeyError(name)
        module, inside = self.imported[name]
        # Tests find their own packages by themselves; from here they stand in `tests`.
        if module.split(".")[0] != "screenplan":
            module = f"tests.{module}"
        imported = import_module(module)
        if not hasattr(imported, inside):
            return import_module(f"{module}.{inside}")
        return getattr(imported, inside)


def evaluate(node: ast.expr, names: dict) -> Any:
    """Work out an expression of the tests' own text."""
    return eval(compile(ast.Expression(node), "<mark>", "eval"), names, names)


def _in_module(file: str, tree: ast.Module) -> Iterator[Evidence]:
    names = _Names(tree)
    assigned = {
        getattr(node.targets[0], "id", ""): node.value
        for node in tree.body
        if isinstance(node, ast.Assign)
    }
    everywhere = assigned.get("pytestmark", ast.List([]))
    everywhere = everywhere.elts if isinstance(everywhere, ast.List) else [everywhere]
    for node in tree.body:
        if not isinstance(node, ast.FunctionDef) or not node.name.startswith("test_"):
            continue
        marks = [*everywhere, *node.decorator_list]
        # A mark may have been given a name of its own: ``without_grids``.
        marks = [assigned.get(getattr(mark, "id", ""), mark) for mark in marks]
        for mark in node.decorator_list:
            if isinstance(mark, ast.Call) and ast.unparse(mark.func) == "pytest.mark.evidence":
                said = {word.arg: evaluate(word.value, names) for word in mark.keywords}
                evidence = Evidence(
                    test=f"{file}::{node.name}",
                    when=_when(marks, names),
                    **said,
                )
                _check(evidence)
                yield evidence


def _when(marks: list[ast.expr], names: dict) -> str:
    for mark in marks:
        for name, place in PLACES.items():
            if ast.unparse(mark).startswith(f"pytest.mark.{name}"):
                return place
    for mark in marks:
        if isinstance(mark, ast.Call) and ast.unparse(mark.func) == "pytest.mark.skipif":
            reason = next(word.value for word in mark.keywords if word.arg == "reason")
            return f"skipped where {evaluate(reason, names)}"
    return "every run"


def _check(evidence: Evidence) -> None:
    if evidence.part not in PARTS:
        raise ValueError(
            f"{evidence.test}: part is {evidence.part!r}. Write one of {', '.join(PARTS)}"
        )
    if evidence.status not in KINDS.get(evidence.kind, ()):
        raise ValueError(
            f"{evidence.test}: {evidence.kind!r} cannot be known by {evidence.status!r}. A kind and its statuses: {KINDS}"
        )
    for name in ("against", "source", "tolerance"):
        if not getattr(evidence, name).strip():
            raise ValueError(f"{evidence.test}: {name} is empty. Say it in a few words")
