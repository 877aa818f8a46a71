"""The examples in docstrings give what they say, and none is left out."""

import doctest
from importlib import import_module
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "screenplan"


def module_of(path):
    return ".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts).removesuffix(
        ".__init__"
    )


def prompts(path):
    lines = path.read_text(encoding="utf-8").splitlines()
    return sum(line.lstrip().startswith(">>> ") for line in lines)


EXAMPLES = {module_of(path): prompts(path) for path in sorted(PACKAGE.rglob("*.py"))}
EXAMPLES = {name: count for name, count in EXAMPLES.items() if count}


@pytest.mark.parametrize("name", EXAMPLES)
def test_examples(name):
    module = import_module(name)
    found = doctest.DocTestFinder().find(module)
    # Compiled functions and the like hide their docstrings from the finder.
    assert sum(len(test.examples) for test in found) == EXAMPLES[name]
    done = doctest.testmod(module, optionflags=doctest.NORMALIZE_WHITESPACE)
    assert done.failed == 0
    assert done.attempted == EXAMPLES[name]


def test_the_public_functions_show_an_example():
    import screenplan

    for name in screenplan.__all__:
        told = getattr(screenplan, name)
        if callable(told) and not isinstance(told, type):
            assert ">>> " in told.__doc__, name
