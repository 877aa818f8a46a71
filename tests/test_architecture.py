"""Data flows one way: a module imports only from rooms above its own, and importing stays light."""

import ast
import importlib
import subprocess
import sys
from pathlib import Path

import pytest

from screenplan.running.steps import STEPS

PACKAGE = Path(__file__).parent.parent / "screenplan"

#: What every room may import.
GROUND = {"_version", "ground", "contracts"}
#: For each room, the rooms that it may import besides these.
MAY_IMPORT = {
    "ground": set(),
    "contracts": set(),
    "plan": set(),
    "site": {"plan"},
    "rules": {"plan", "site"},
    "planting": {"plan", "site", "rules"},
    "views": {"plan", "site", "planting"},
    "effects": {"plan", "site", "rules", "planting", "views"},
    "checks": {"plan", "site", "planting", "views", "effects"},
    "works": {"plan", "site", "rules", "planting", "views"},
    "design": {"plan", "site", "rules", "planting", "views", "effects", "works"},
    "outputs": set(),
    "running": {"plan", "site", "rules", "planting", "effects", "works", "design", "outputs"},
    "county": {"running", "outputs", "plan", "planting", "site", "views", "works"},
    "processes": {"running", "outputs", "plan", "site"},
    "commandline": {
        "county",
        "desktop",
        "processes",
        "running",
        "plan",
        "outputs",
        "site",
        "rules",
        "planting",
    },
    "desktop": {"running", "outputs", "plan", "planting", "site", "county"},
    "__main__": {"commandline"},
    "_version": set(),
    "__init__": set(),
}
#: In a room, a module may import only from those that stand before it.
ORDER_IN = {
    "ground": ["offers", "kept", "said", "texts", "told_years", "sqlite", "errors", "extras", "faults", "crown_shapes", "paths", "toml_files", "units", "datum", "reproject", "frame"],
    "county": ["spacing", "seen", "planner", "nearness", "answer", "columnar", "streams", "laying", "cells", "ground", "together", "around", "time_limit", "partition", "memory", "sharing", "state", "map", "whole"],
    "running": ["steps", "descriptions", "inputs", "run", "alternatives", "keeping", "street_refusals", "street_layers", "street", "course", "pipeline", "library", "writing", "exporting"],
}  # fmt: skip


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def imported_rooms(path: Path) -> set[str]:
    rooms = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if (
            isinstance(node, ast.ImportFrom)
            and node.module
            and node.module.startswith("screenplan.")
        ):
            rooms.add(node.module.split(".")[1])
        elif isinstance(node, ast.Import):
            rooms |= {
                name.name.split(".")[1]
                for name in node.names
                if name.name.startswith("screenplan.")
            }
    return rooms


def imported_modules(path: Path, room: str) -> set[str]:
    """Modules of its own room that a module imports."""
    return {
        name.split(".")[2]
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith(f"screenplan.{room}")
        for name in (
            [node.module]
            if node.module.count(".") > 1
            else [f"{node.module}.{name.name}" for name in node.names]
        )
    }


MODULES = sorted(PACKAGE.rglob("*.py"))


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_imports_follow_the_map(path):
    room = room_of(path)
    below = {"_version"} if room in ("ground", "_version") else GROUND
    assert imported_rooms(path) - {room} <= MAY_IMPORT[room] | below


def test_no_two_rooms_import_each_other():
    for room, others in MAY_IMPORT.items():
        assert not [other for other in others if room in MAY_IMPORT.get(other, ())], room


def test_every_room_is_on_the_map():
    assert {room_of(path) for path in MODULES} == set(MAY_IMPORT)


def loaded_after(statement: str) -> set[str]:
    code = f"import sys; {statement}; print(' '.join(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return set(done.stdout.split())


@pytest.mark.parametrize("room", ORDER_IN)
def test_modules_of_a_room_stand_in_order(room):
    order = ORDER_IN[room]
    found = {path.stem for path in (PACKAGE / room).glob("*.py")} - {"__init__"}
    assert found == set(order)
    for place, name in enumerate(order):
        assert imported_modules(PACKAGE / room / f"{name}.py", room) <= set(order[:place]), name


@pytest.mark.parametrize("room", sorted({step.function.split(":")[0] for step in STEPS.values()}))
def test_a_room_offers_its_steps_and_nothing_else(room):
    package = importlib.import_module(room)
    steps = [step for step in STEPS.values() if step.function.startswith(f"{room}:")]
    assert sorted(step.function.split(":")[1] for step in steps) == package.__all__ == dir(package)
    for step in steps:
        assert step.load().__module__.startswith(room)


@pytest.mark.parametrize(
    "statement",
    ["import screenplan", "import screenplan.commandline.main", "import screenplan.running.steps"]
    + [
        f"import {room}"
        for room in sorted({step.function.split(":")[0] for step in STEPS.values()})
    ],
)
def test_importing_stays_light(statement):
    heavy = {
        "geopandas",
        "pandas",
        "numpy",
        "shapely",
        "pyproj",
        "numba",
        "pydantic",
        "pint",
        "rich",
        "fiona",
        "rasterio",
        "pyarrow",
        "dask",
        "distributed",
    }
    assert not heavy & loaded_after(statement)


def test_public_names_can_be_imported():
    import screenplan

    for name in screenplan.__all__:
        assert getattr(screenplan, name) is not None
    with pytest.raises(AttributeError, match="has no attribute 'nothing'"):
        screenplan.nothing  # noqa: B018


def names_of(module: str) -> tuple[set[str], set[str]]:
    """Names that a module only imports, and those that it offers in ``__all__``; none of a package."""
    path = PACKAGE.parent.joinpath(*module.split(".")).with_suffix(".py")
    if not path.is_file():
        return set(), set()
    found, offered = set(), set()
    for node in ast.parse(path.read_text(encoding="utf-8")).body:
        if isinstance(node, ast.ImportFrom):
            found |= {name.asname or name.name for name in node.names}
        elif isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "__all__":
            offered = {entry.value for entry in node.value.elts if isinstance(entry, ast.Constant)}
    return found, offered


# A name has one home: it is taken from there, or from a face that offers it.
def test_names_are_imported_from_where_they_are_defined():
    wrong = []
    for path in sorted(PACKAGE.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("screenplan."):
                found, offered = names_of(node.module)
                wrong += [
                    f"{path.name}: {name.name} of {node.module}"
                    for name in node.names
                    if name.name in found - offered
                ]
    (homes,) = (
        ast.literal_eval(node)
        for node in ast.walk(ast.parse((PACKAGE / "__init__.py").read_text(encoding="utf-8")))
        if isinstance(node, ast.Dict)
    )
    for name, home in homes.items():
        found, offered = names_of(f"screenplan.{home}")
        wrong += [f"__init__.py: {name} of {home}"] if name in found - offered else []
    assert not wrong
