"""No function takes more than a reader holds in mind."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "screenplan"
MOST = 8
#: What marks a compiled function: its arrays are handed on one by one, which costs nothing there.
COMPILED = ("inner(", "called(", "njit(")
MODULES = sorted(PACKAGE.rglob("*.py"))


def wide(source):
    """Names of the functions that take more than `MOST` parameters, compiled ones left out."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.FunctionDef):
            own = node.args
            given = [*own.posonlyargs, *own.args, *own.kwonlyargs, own.vararg, own.kwarg]
            compiled = any(ast.unparse(mark).startswith(COMPILED) for mark in node.decorator_list)
            if (
                len([parameter for parameter in given if parameter is not None]) > MOST
                and not compiled
            ):
                found.add(node.name)
    return found


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_no_function_takes_more_than_eight_parameters(path):
    assert not wide(path.read_text("utf-8"))


def test_the_search_counts_every_kind_of_parameter():
    # By hand: nine of all kinds, eight, and nine of a compiled function.
    source = (
        "def nine(a, b, c, /, d, e, *f, g, h, **i): pass\ndef eight(a, b, c, d, e, f, g, h): pass\n"
    )
    assert wide(source) == {"nine"}
    assert wide(f"@njit(cache=True)\n{source}") == set()
