"""A copy of the tree in which mutants are tried, so that the checkout itself is never changed."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

from screenplan.views.compiled import KEY_FILE

from .own import ROOT
from .positions import Mutant

#: A mutant that takes this many times as long as the tests do unchanged, and a minute, hangs.
PATIENCE, MINUTE_S = 5.0, 60.0


class Tree:
    """A copy of the tracked files with the compiled caches of the checkout."""

    def __init__(self, folder: Path):
        self.folder = folder
        files = subprocess.run(
            ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True
        ).stdout.split("\0")
        caches = [path.relative_to(ROOT) for path in _compiled(ROOT)]
        for name in [*filter(None, files), *caches]:
            to = folder / name
            to.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, to)

    def failure(self, tests: list[str], limit_s: float | None = None) -> str:
        """Run some tests up to the first that fails, and give what it says; too long a run is a failure."""
        command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", *tests]
        environment = {**os.environ, "PYTHONPATH": str(self.folder), "PYTHONDONTWRITEBYTECODE": "1"}
        try:
            done = subprocess.run(
                command,
                cwd=self.folder,
                env=environment,
                capture_output=True,
                encoding="utf-8",
                errors="replace",
                timeout=limit_s,
            )
        except subprocess.TimeoutExpired:
            return "too long"
        return done.stdout + done.stderr if done.returncode else ""

    def notices(self, mutant: Mutant, tests: list[str], usual_s: float) -> bool:
        """Tell whether some tests fail on a mutant; the tree is as before afterwards."""
        path = self.folder / mutant.path
        kept = {file: file.read_bytes() for file in _compiled(self.folder)}
        path.write_text(mutant.code(ROOT), encoding="utf-8")
        try:
            return bool(self.failure(tests, PATIENCE * usual_s + MINUTE_S))
        finally:
            shutil.copy2(ROOT / mutant.path, path)
            for file in _compiled(self.folder):
                file.unlink()
            for file, content in kept.items():
                file.write_bytes(content)


def _compiled(folder: Path) -> list[Path]:
    """Give what was compiled of the package, and the key that says of which sources."""
    package = folder / "screenplan"
    return [*package.rglob("*.nb[ci]"), *package.rglob(KEY_FILE)]
