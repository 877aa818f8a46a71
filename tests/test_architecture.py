"""Data flows one way: a module imports only from rooms above its own, and importing stays light."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "screenplan"

GROUND = {
    "_version",
    "errors",
    "texts",
    "paths",
    "toml_files",
    "units",
    "contracts",
    "tables",
    "datum",
    "reproject",
    "frame",
}
#: For each room, the rooms that it may import besides the ground.
MAY_IMPORT = {
    "site": set(),
    "rules": {"site"},
    "planting": {"site", "rules"},
    "views": {"site", "planting"},
    "effects": {"site", "rules", "planting", "views"},
    "checks": {"planting"},
    "works": {"site", "rules", "planting", "views"},
    "outputs": set(),
    "plan": set(),
    "plan_text": {"plan"},
    "steps": set(),
    "descriptions": {"plan", "steps"},
    "inputs": {"plan", "steps", "site", "planting", "rules"},
    "alternatives": {"plan", "inputs", "planting", "steps"},
    "pipeline": {"alternatives", "inputs", "plan", "steps", "planting"},
    "library": {"plan", "steps", "inputs", "site"},
    "writing": {"plan", "pipeline", "outputs"},
    "exporting": {"outputs", "site"},
    "processes": {"descriptions", "library", "outputs", "plan", "site", "steps"},
    "commandline": {
        "plan",
        "plan_text",
        "steps",
        "inputs",
        "pipeline",
        "writing",
        "exporting",
        "processes",
        "outputs",
        "site",
        "rules",
        "planting",
    },
    "desktop": {
        "commandline",
        "descriptions",
        "inputs",
        "outputs",
        "pipeline",
        "plan",
        "plan_text",
        "planting",
        "site",
        "steps",
        "writing",
    },
    "cli": {
        "desktop",
        "commandline",
        "steps",
        "plan",
        "inputs",
        "pipeline",
        "writing",
        "exporting",
    },
    "__main__": {"cli"},
    "__init__": set(),
}


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


MODULES = sorted(PACKAGE.rglob("*.py"))


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_imports_follow_the_map(path):
    room = room_of(path)
    if room in GROUND:
        assert imported_rooms(path) <= GROUND
        return
    assert imported_rooms(path) - {room} <= MAY_IMPORT[room] | GROUND


def test_no_two_rooms_import_each_other():
    for room, others in MAY_IMPORT.items():
        assert not [other for other in others if room in MAY_IMPORT.get(other, ())], room


def test_every_room_is_on_the_map():
    assert {room_of(path) for path in MODULES} == GROUND | set(MAY_IMPORT)


def loaded_after(statement: str) -> set[str]:
    code = f"import sys; {statement}; print(' '.join(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return set(done.stdout.split())


@pytest.mark.parametrize(
    "statement", ["import screenplan", "import screenplan.cli", "import screenplan.steps"]
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
    }
    assert not heavy & loaded_after(statement)


def test_public_names_can_be_imported():
    import screenplan

    for name in screenplan.__all__:
        assert getattr(screenplan, name) is not None
    with pytest.raises(AttributeError, match="has no attribute 'nothing'"):
        screenplan.nothing  # noqa: B018
