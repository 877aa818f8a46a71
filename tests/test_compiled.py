"""What was compiled of other sources is thrown away."""

import subprocess
import sys

import numba
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


@pytest.fixture(params=["beside the sources", "elsewhere"])
def kept(request, package, monkeypatch):
    """Where numba keeps what it compiled of the package: beside it, or where a variable says."""
    if request.param == "beside the sources":
        return package
    elsewhere = package.parent / "elsewhere"
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(elsewhere))
    monkeypatch.setattr(numba.config, "CACHE_DIR", str(elsewhere))
    return elsewhere


def ask(package):
    say = "from small.views.caller import answer; print(answer(3))"
    done = subprocess.run(
        [sys.executable, "-c", say], cwd=package.parent, capture_output=True, text=True, check=True
    )
    return int(done.stdout)


# Closed form: 2 · 3 + 1, and 5 · 3 + 1 after the change of the inner function.
def test_a_change_of_an_inner_function_reaches_its_callers(package, kept):
    assert (drop_stale(package), ask(package)) == (False, 7)
    assert drop_stale(package) is False
    (package / "views" / "inner.py").write_text(INNER.format(factor=5), "utf-8")
    assert ask(package) == 7, "numba looks at callees by itself: the module is not needed any more"
    assert (drop_stale(package), ask(package)) == (True, 16)
    assert (drop_stale(package), ask(package)) == (False, 16)
    assert list(kept.rglob("*.nbi"))


# Invariant: what holds no compiled code makes nothing stale.
def test_other_sources_change_nothing(package, kept):
    drop_stale(package)
    ask(package)
    (package / "views" / "words.py").write_text("HELLO = 1\n", "utf-8")
    assert drop_stale(package) is False
    assert list(kept.rglob("*.nbi"))


def test_files_kept_before_there_was_a_key_go(package, kept):
    ask(package)
    files = list(kept.rglob("*.nb[ci]"))
    assert files
    assert drop_stale(package)
    assert not any(path.exists() for path in files)
    assert {path.name for path in files[0].parent.iterdir() if path.is_file()} >= {KEY_FILE}
