"""Each module of the rooms that compute has tests of its own, by name or by the list of `tests/mutants`."""

from __future__ import annotations

import tomllib
from collections import Counter

import pytest
from mutants.own import ROOMS, ROOT, modules, own_tests


@pytest.mark.parametrize(
    "module", modules(ROOMS), ids=lambda path: f"{path.parent.name}/{path.stem}"
)
def test_a_module_has_tests_of_its_own(module):
    tests = own_tests(module.relative_to(ROOT).as_posix())
    assert tests
    assert [test for test in tests if not (ROOT / test).exists()] == []


def test_the_list_names_the_modules_that_need_it_and_no_others():
    listed = tomllib.loads((ROOT / "tests/mutants/own_tests.toml").read_text(encoding="utf-8"))
    known = {(path.parent.name, path.stem) for path in modules(ROOMS)}
    named = {(room, name) for room, names in listed.items() for name in names}
    assert named <= known
    # A test file of a module's name is its own, unless another module is called the same.
    called = Counter(
        path.stem
        for room in (*ROOMS, "outputs")
        for path in (ROOT / "screenplan" / room).rglob("*.py")
    )
    by_name = {
        (room, name)
        for room, name in known
        if called[name] == 1 and (ROOT / f"tests/test_{name}.py").exists()
    }
    assert named == known - by_name
