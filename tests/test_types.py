"""Types: what the library offers says them, and a type checker of its users sees them."""

import importlib
import inspect
import subprocess
import sys
from pathlib import Path

import pytest

import screenplan
from docs.generate.faces import faces

PACKAGE = Path(screenplan.__file__).parent
#: Packages that offer names to others.
OFFERING = (
    "screenplan",
    *(f"screenplan.{path.parent.name}" for path in faces() if path.parent != PACKAGE),
    "screenplan.plan",
    "screenplan.processes",
)


def callables_of(value):
    """Give a function, or the public methods of a class that is ours, each with its parameters."""
    if inspect.isfunction(value):
        yield value.__qualname__, value, 0
    elif inspect.isclass(value) and value.__module__.startswith("screenplan."):
        for name, found in vars(value).items():
            if name.startswith("_"):
                continue
            bound = not isinstance(found, staticmethod)
            found = found.fget if isinstance(found, property) else getattr(found, "func", found)
            found = getattr(found, "__func__", found)
            if inspect.isfunction(found):
                yield f"{value.__name__}.{name}", found, int(bound)


def bare_of(function, skipped):
    """Give the parameters of a function that have no type, and ``return`` if what it gives has none."""
    signature = inspect.signature(function)
    parameters = list(signature.parameters.values())[skipped:]
    bare = [one.name for one in parameters if one.annotation is inspect.Parameter.empty]
    return bare + ["return"] * (signature.return_annotation is inspect.Signature.empty)


@pytest.mark.parametrize("package", OFFERING)
def test_every_public_function_says_its_types(package):
    module = importlib.import_module(package)
    found = [
        (f"{package}.{name}", bare)
        for offered in module.__all__
        for name, function, skipped in callables_of(getattr(module, offered))
        if (bare := bare_of(function, skipped))
    ]
    assert not found


def test_a_function_without_a_type_is_found():
    def bare(one, *, two: int, **more):
        return one, two, more

    assert bare_of(bare, 0) == ["one", "more", "return"]


def test_the_package_says_that_it_is_typed():
    assert (PACKAGE / "py.typed").is_file()


@pytest.mark.slow
def test_a_type_checker_sees_the_types_of_what_is_offered(tmp_path):
    """Evidence: another library, mypy, which reads the package as that of a user."""
    (tmp_path / "use.py").write_text(
        "import screenplan\n"
        "from screenplan.planting import mark_zones\n"
        "reveal_type(screenplan.read_plan)\n"
        "reveal_type(screenplan.run_plan('a.toml').layers)\n"
        "reveal_type(screenplan.InputError)\n"
        "reveal_type(mark_zones)\n"
        "screenplan.run_plan(27)\n"
        "screenplan.nothing\n",
        encoding="utf-8",
    )
    said = subprocess.run(
        [sys.executable, "-m", "mypy", "--config-file=", "--ignore-missing-imports",
         "--no-error-summary", str(tmp_path / "use.py")],
        capture_output=True, text=True, cwd=PACKAGE.parent, check=False,
    ).stdout  # fmt: skip
    told = [line.split(": ", 1)[1] for line in said.splitlines()]
    assert "Plan" in told[0], said
    assert "dict[str, " in told[1]
    assert "InputError" in told[2]
    assert "GeoDataFrame" in told[3] or "Any" in told[3]
    assert told[4].startswith('error: Argument 1 to "run_plan"')
    assert told[5] == 'error: Module has no attribute "nothing"  [attr-defined]'
