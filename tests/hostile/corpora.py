"""The corpora by their names."""

from __future__ import annotations

import importlib
from types import ModuleType

#: Name on the command line to module in this folder.
CORPORA = {
    "files": "damaged_files",
    "plans": "plan_mutants",
    "geometries": "geometries",
    "runs": "whole_runs",
}


def load(name: str) -> ModuleType:
    """Import a corpus by its name."""
    return importlib.import_module(f"{__package__}.{CORPORA[name]}")
