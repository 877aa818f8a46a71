"""A copy of the tree in which mutants are tried, so that the checkout itself is never changed."""

from __future__ import annotations

import ast
import os
import shutil
import subprocess
import sys
from functools import cache
from pathlib import Path

from .own import ROOT
from .positions import Mutant

#: A mutant that takes this many times as long as the tests do unchanged, and a minute, hangs.
PATIENCE, MINUTE_S = 5.0, 60.0


@cache
def dependents(path: str) -> frozenset[str]:
    """Give the modules that call into a module, itself included, however far away."""
    users: dict[str, set[str]] = {}
    for file in (ROOT / "screenplan").rglob("*.py"):
        mine = file.relative_to(ROOT).as_posix()
        for node in ast.walk(ast.parse(file.read_text("utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("screenplan."):
                base = node.module.replace(".", "/")
                for used in (f"{base}.py", *(f"{base}/{name.name}.py" for name in node.names)):
                    users.setdefault(used, set()).add(mine)
    found, todo = {path}, [path]
    while todo:
        new = users.get(todo.pop(), set()) - found
        found |= new
        todo += new
    return frozenset(found)


class Tree:
    """A copy of the tracked files with the compiled caches of the checkout."""

    def __init__(self, folder: Path):
        self.folder = folder
        files = subprocess.run(
            ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True
        ).stdout.split("\0")
        caches = [path.relative_to(ROOT) for path in (ROOT / "screenplan").rglob("*.nb[ci]")]
        for name in [*filter(None, files), *caches]:
            to = folder / name
            to.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, to)

    def passes(self, tests: list[str], limit_s: float | None = None) -> bool:
        """Run some tests up to the first that fails; too long a run is a failure."""
        command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", *tests]
        environment = {**os.environ, "PYTHONPATH": str(self.folder), "PYTHONDONTWRITEBYTECODE": "1"}
        try:
            done = subprocess.run(
                command, cwd=self.folder, env=environment, capture_output=True, timeout=limit_s
            )
        except subprocess.TimeoutExpired:
            return False
        return done.returncode == 0

    def notices(self, mutant: Mutant, tests: list[str], usual_s: float) -> bool:
        """Tell whether some tests fail on a mutant; the tree is as before afterwards."""
        path = self.folder / mutant.path
        stale = [file for one in dependents(mutant.path) for file in self._caches(one)]
        kept = {file: file.read_bytes() for file in stale}
        for file in stale:
            file.unlink()
        path.write_text(mutant.code(ROOT), encoding="utf-8")
        try:
            return not self.passes(tests, PATIENCE * usual_s + MINUTE_S)
        finally:
            for one in dependents(mutant.path):
                for file in self._caches(one):
                    file.unlink()
            shutil.copy2(ROOT / mutant.path, path)
            for file, content in kept.items():
                file.write_bytes(content)

    def _caches(self, module: str) -> list[Path]:
        path = self.folder / module
        return list((path.parent / "__pycache__").glob(f"{path.stem}.*.nb[ci]"))
