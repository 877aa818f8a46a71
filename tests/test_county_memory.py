"""Memory that arrays give back: kept for the next ones while we work in a process that was told to keep little."""

import os
import platform
import subprocess
import sys

import pytest

from screenplan.county import memory

#: Rounds, and pages of 4 KiB that an array of 8 MiB touches in each: the closed form of what is asked anew.
ROUNDS, PAGES = 20, 2048
#: What a process of a Dask worker is told by default: read in its configuration, distributed.nanny.pre-spawn-environ.
TOLD = "65536"

COUNT = f"""
import resource, sys
import numpy as np
from screenplan.county.memory import kept_meanwhile
def faults():
    before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
    for _ in range({ROUNDS}):
        np.ones({PAGES} * 512)
    return resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before
before = faults()
with kept_meanwhile():
    faults()
    meanwhile = faults()
print(before, meanwhile, faults())
"""


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="only glibc is told")
def test_pages_are_asked_for_once_and_a_worker_gives_back_again_afterwards():
    done = subprocess.run(
        [sys.executable, "-c", COUNT], env=os.environ | {"MALLOC_TRIM_THRESHOLD_": TOLD, "NUMPY_MADVISE_HUGEPAGE": "0"},
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    before, meanwhile, after = map(int, done.stdout.split())
    assert before >= ROUNDS * PAGES
    assert meanwhile < PAGES
    # The first array takes what is still kept.
    assert after >= (ROUNDS - 1) * PAGES


@pytest.mark.parametrize(
    ("told", "calls"),
    [
        (TOLD, [(memory.KEPT, memory.LARGEST), (65536, 128 << 10)]),
        (None, []),
        ("a lot", []),
    ],
)
def test_only_what_was_told_is_set_and_is_set_back_after_an_error_too(monkeypatch, told, calls):
    monkeypatch.delenv("MALLOC_TRIM_THRESHOLD_", raising=False)
    monkeypatch.delenv("MALLOC_MMAP_THRESHOLD_", raising=False)
    if told is not None:
        monkeypatch.setenv("MALLOC_TRIM_THRESHOLD_", told)
    heard = []
    monkeypatch.setattr(memory, "_tell", lambda *values: heard.append(values))
    with pytest.raises(ZeroDivisionError), memory.kept_meanwhile():
        1 / 0  # noqa: B018
    assert heard == calls


@pytest.mark.parametrize("library", [TypeError("LoadLibrary() takes a name"), object()])
def test_a_system_without_such_thresholds_is_left_alone(monkeypatch, library):
    asked = []

    def load(name):
        asked.append(name)
        if isinstance(library, Exception):
            raise library
        return library

    monkeypatch.setenv("MALLOC_TRIM_THRESHOLD_", TOLD)
    monkeypatch.setattr(memory.ctypes, "CDLL", load)
    with memory.kept_meanwhile():
        pass
    assert asked == [None, None]
