"""The process that the plugin starts tidies up after one that is gone."""

import json
import os
import subprocess
import sys

import pytest

from screenplan.desktop.worker import EXIT_CANCELLED

#: Asks the process to end while it tidies up, as it is asked again and again until it has ended.
ASKED_AGAIN = """
import _thread, shutil, sys
from screenplan.desktop import worker

def slow(*given, real=shutil.rmtree, **more):
    _thread.interrupt_main()
    real(*given, **more)

shutil.rmtree = slow
sys.exit(worker.main(sys.argv[1:]))
"""


@pytest.mark.parametrize("program", [["-m", "screenplan.desktop.worker"], ["-c", ASKED_AGAIN]])
def test_a_worker_whose_answers_nobody_reads_tidies_up(tmp_path, program):
    """Of the desktop GIS that was killed the end that reads may close before the worker sees the end that writes."""
    folder = tmp_path / "screenplan_job"
    folder.mkdir()
    job = folder / "job.json"
    job.write_text(json.dumps({"version": "0", "digest": "of another library", "task": "step"}))
    reads, writes = os.pipe()
    os.close(reads)
    with subprocess.Popen(
        [sys.executable, *program, os.fspath(job)],
        stdin=subprocess.PIPE,
        stdout=writes,
        stderr=subprocess.PIPE,
    ) as worker:
        os.close(writes)
        try:
            assert worker.wait(timeout=120) == EXIT_CANCELLED
        finally:
            worker.kill()
    assert not folder.exists()
