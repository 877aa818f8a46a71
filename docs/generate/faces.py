"""What packages offer, written out for type checkers: an ``__init__.pyi`` beside each ``__init__.py`` that offers names.

A package imports what it offers when it is first used (`screenplan.ground.offers`), which no type checker
can follow. Its stub says where each name stands.
"""

from __future__ import annotations

import ast
from pathlib import Path

PACKAGE = Path(__file__).parents[2] / "screenplan"
_HEAD = '"""Where the names of this package stand, for type checkers; python -m docs.generate writes it."""\n'


def faces() -> dict[Path, str]:
    """Give the stub of each package that offers names by `screenplan.ground.offers`."""
    made = {}
    for path in sorted(PACKAGE.rglob("__init__.py")):
        homes = _offered(ast.parse(path.read_text(encoding="utf-8")))
        if homes:
            package = ".".join(path.parent.relative_to(PACKAGE.parent).parts)
            made[path.with_suffix(".pyi")] = _stub(package, homes)
    return made


def _offered(module: ast.Module) -> dict[str, str]:
    """Give the names that a package offers, each with the module that holds it; empty if it offers none."""
    for node in ast.walk(module):
        if isinstance(node, ast.Call) and ast.unparse(node.func) == "offer":
            return ast.literal_eval(node.args[1])
    return {}


def _stub(package: str, homes: dict[str, str]) -> str:
    whole = package == PACKAGE.name
    lines = [f"from {package}._version import __version__ as __version__"] if whole else []
    lines += sorted(
        f"from {package}.{home} import {name} as {name}" for name, home in homes.items()
    )
    names = [*(["__version__"] if whole else []), *sorted(homes)]
    said = "".join(f'    "{name}",\n' for name in names)
    return "\n".join([_HEAD, *lines, "", f"__all__ = [\n{said}]\n"])
