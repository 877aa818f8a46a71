"""Which tests are a module's own."""

from __future__ import annotations

import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
ROOMS = ("planting", "site", "views", "effects", "works", "rules", "checks", "design", "county")


def modules(rooms) -> list[Path]:
    """Give the modules of some rooms."""
    return sorted(
        path
        for room in rooms
        for path in (ROOT / "screenplan" / room).glob("*.py")
        if path.stem != "__init__"
    )


def own_tests(path: str) -> list[str]:
    """Give the test files of a module: those that are listed, or that of its own name."""
    room, name = Path(path).parent.name, Path(path).stem
    listed = tomllib.loads((Path(__file__).parent / "own_tests.toml").read_text("utf-8"))
    return [f"tests/{file}.py" for file in listed[room].get(name, [f"test_{name}"])]
