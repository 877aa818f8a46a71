"""What was compiled of other sources is thrown away."""

import subprocess
import sys

import pytest

from screenplan.views.compiled import KEY_FILE, drop_stale

#: A package of two modules, one of which sets a function of the other into its own.
CALLER = """from numba import njit
from small.views.inner import double
@njit(cache=True)
def answer(x):
    return double(x) + 1
"""
INNER = """from numba import njit
@njit(cache=True)
def double(x):
    return {factor} * x
"""


@pytest.fixture
def package(tmp_path):
    views = tmp_path / "small" / "views"
    views.mkdir(parents=True)
    for folder in (views, views.parent):
        (folder / "__init__.py").write_text("", "utf-8")
    (views / "caller.py").write_text(CALLER, "utf-8")
    (views / "inner.py").write_text(INNER.format(factor=2), "utf-8")
    return tmp_path / "small"


def ask(package):
    say = "from small.views.caller import answer; print(answer(3))"
    done = subprocess.run(
        [sys.executable, "-c", say], cwd=package.parent, capture_output=True, text=True, check=True
    )
    return int(done.stdout)


# Closed form: 2 · 3 + 1, and 5 · 3 + 1 after the change of the inner function.
def test_a_change_of_an_inner_function_reaches_its_callers(package):
    assert (drop_stale(package), ask(package)) == (False, 7)
    assert drop_stale(package) is False
    (package / "views" / "inner.py").write_text(INNER.format(factor=5), "utf-8")
    assert ask(package) == 7, "numba looks at callees by itself: the module is not needed any more"
    assert (drop_stale(package), ask(package)) == (True, 16)
    assert (drop_stale(package), ask(package)) == (False, 16)


# Invariant: what holds no compiled code makes nothing stale.
def test_other_sources_change_nothing(package):
    drop_stale(package)
    ask(package)
    (package / "views" / "words.py").write_text("HELLO = 1\n", "utf-8")
    assert drop_stale(package) is False
    assert list(package.rglob("*.nbi"))


def test_files_kept_before_there_was_a_key_go(package):
    ask(package)
    kept = list(package.rglob("*.nb[ci]"))
    assert kept
    assert drop_stale(package)
    assert not any(path.exists() for path in kept)
    assert (package / "views" / "__pycache__" / KEY_FILE).exists()
