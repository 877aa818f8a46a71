"""Run the library in its own interpreter: a clean environment, progress, cancel, and its refusals.

The worker (`python -m screenplan.desktop.worker`) reads one job from a file and answers with one
JSON object a line on standard output. It ends by itself, tidily, when its standard input closes:
that is how it is cancelled, and how it notices that the desktop GIS is gone.
"""

from __future__ import annotations

import json
import os
import queue
import signal
import subprocess
import sys
import tempfile
import threading
from contextlib import suppress
from pathlib import Path

MODULE = "screenplan.desktop.worker"

#: What the desktop GIS sets for itself and would mislead another interpreter and other libraries.
SCRUBBED = (
    "PYTHON",
    "QGIS",
    "QT_",
    "GDAL_",
    "OGR_",
    "PROJ_",
    "CPL_",
    "GRASS",
    "LD_LIBRARY",
    "DYLD_",
)
#: Seconds between two looks at whether the person cancelled.
LOOK_S = 0.1
#: Seconds that a cancelled worker has to tidy up before it is killed.
TIDY_S = 14.0

REMEDY = (
    "Choose the Python in which screenplan is installed (Settings, Options, Processing, Providers, "
    "Screenplan), or run 'screenplan desktop install' with it"
)


class NotRun(Exception):  # noqa: N818 (shown to a person, who reads no class names)
    """The library did not do the job; the message says why, and how to mend it."""

    def __init__(self, messages, details=""):
        self.messages = [messages] if isinstance(messages, str) else list(messages)
        self.details = details
        super().__init__("\n".join(self.messages))


class Cancelled(Exception):  # noqa: N818 (no error)
    """The person cancelled; nothing is left behind."""


def clean_environment(environment=None):
    """Give the environment without what the desktop GIS set in it."""
    given = os.environ if environment is None else environment
    return {name: value for name, value in given.items() if not name.upper().startswith(SCRUBBED)}


def ask_about(python, timeout_s=120):
    """Ask an interpreter which library it has.

    Gives ``version``, ``digest`` (of the steps), ``python`` and ``packages``.
    """
    try:
        # An empty folder, so that no module lying about stands in for another.
        with tempfile.TemporaryDirectory(prefix="screenplan_") as empty:
            done = subprocess.run(
                _command(python, "--about"),
                stdin=subprocess.DEVNULL,
                capture_output=True,
                env=clean_environment(),
                cwd=empty,
                timeout=timeout_s,
                check=False,
                **_hidden(),
            )
    except OSError as error:
        raise _cannot_start(python, error) from None
    except subprocess.TimeoutExpired:
        raise NotRun(f"{python} did not answer within {timeout_s} seconds. {REMEDY}.") from None
    complaint = done.stderr.decode("utf-8", "replace")
    if done.returncode:
        raise _explain(python, done.returncode, complaint)
    try:
        return json.loads(done.stdout.decode("utf-8").strip().splitlines()[-1])
    except (ValueError, IndexError):
        raise NotRun(f"{python} gave no answer that can be read. {REMEDY}.", complaint) from None


def run_job(python, job_file, report, is_cancelled):
    """Run one job.

    Parameters
    ----------
    python : str
        Path of the interpreter.
    job_file : path
        The job, as JSON.
    report : callable
        Called with each message of the worker that is not its last: ``{"progress": 40, "doing":
        "plants"}``, ``{"says": "..."}`` or ``{"note": "..."}``.
    is_cancelled : callable
        Whether the person cancelled.

    Returns
    -------
    dict
        What the worker gave.
    """
    try:
        worker = subprocess.Popen(
            _command(python, os.fspath(job_file)),
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env=clean_environment(),
            cwd=Path(job_file).parent,
            **_own_group(),
        )
    except OSError as error:
        raise _cannot_start(python, error) from None
    lines: queue.Queue = queue.Queue()
    complaints: list = []
    readers = [
        threading.Thread(target=_read_lines, args=(worker.stdout, lines), daemon=True),
        threading.Thread(target=_collect, args=(worker.stderr, complaints), daemon=True),
    ]
    for reader in readers:
        reader.start()
    answer = None
    try:
        while True:
            try:
                line = lines.get(timeout=LOOK_S)
            except queue.Empty:
                line = ""
            if line is None:
                break
            message = _message(line)
            if message.keys() & {"done", "refused", "failed"}:
                answer = message
            elif message:
                report(message)
            if is_cancelled():
                raise Cancelled
        code = worker.wait()
    finally:
        _end(worker)
        for reader in readers:
            reader.join(timeout=TIDY_S)
        for stream in filter(None, (worker.stdout, worker.stderr)):
            stream.close()
    complaint = "".join(complaints)
    if answer is not None and "refused" in answer:
        raise NotRun(answer["refused"])
    if answer is not None and "done" in answer and code == 0:
        return answer["done"]
    if answer is not None and "failed" in answer:
        raise NotRun(
            f"The library failed where it should not: {answer['failed']}. Please report this "
            "with the lines above",
            complaint,
        )
    raise _explain(python, code, complaint)


def _command(python, *arguments):
    return [os.fspath(python), "-X", "utf8", "-m", MODULE, *arguments]


def _message(line):
    try:
        message = json.loads(line) if line else {}
    except ValueError:
        return {"says": line.strip()}
    return message if isinstance(message, dict) else {"says": line.strip()}


def _read_lines(stream, lines):
    for line in iter(stream.readline, b""):
        lines.put(line.decode("utf-8", "replace"))
    lines.put(None)


def _collect(stream, complaints):
    for line in iter(stream.readline, b""):
        complaints.append(line.decode("utf-8", "replace"))


def _end(worker):
    """Let the worker tidy up, then make sure that it and what it started are gone."""
    if worker.stdin is not None:
        with suppress(OSError):
            worker.stdin.close()
    with suppress(subprocess.TimeoutExpired):
        worker.wait(timeout=TIDY_S)
        return
    if sys.platform == "win32":
        subprocess.run(
            ["taskkill", "/F", "/T", "/PID", str(worker.pid)], capture_output=True, check=False
        )
    else:
        with suppress(OSError):
            os.killpg(worker.pid, signal.SIGKILL)
    worker.wait()


def _hidden():
    """No console window that flashes up."""
    if sys.platform == "win32":
        return {"creationflags": subprocess.CREATE_NO_WINDOW}
    return {}


def _own_group():
    return _hidden() if sys.platform == "win32" else {"start_new_session": True}


def _cannot_start(python, error):
    if not os.fspath(python):
        return NotRun(f"No Python is chosen that has the library. {REMEDY}.")
    reason = error.strerror or str(error)
    return NotRun(f"{python} cannot be started ({reason}). {REMEDY}.")


def _explain(python, code, complaint):
    """Say in words why an interpreter did not answer."""
    last = complaint.strip().splitlines()[-1] if complaint.strip() else ""
    if (
        "No module named screenplan.desktop" in last
        or "No module named 'screenplan.desktop" in last
    ):
        return NotRun(
            f"The screenplan of {python} is older than its toolbox. Upgrade it, and run "
            "'screenplan desktop install' again.",
            complaint,
        )
    if "No module named" in last and "screenplan" in last:
        return NotRun(f"{python} has no screenplan. {REMEDY}.", complaint)
    if "No module named" in last:
        return NotRun(
            f"The screenplan of {python} is not complete ({last.split(': ', 1)[-1]}). "
            "Install it again with all that it needs.",
            complaint,
        )
    if code < 0:
        return NotRun(
            f"The library was ended from outside (signal {-code}); nothing was written. "
            "Is there memory enough?",
            complaint,
        )
    return NotRun(
        f"{python} ended with code {code}{': ' + last if last else ''}. {REMEDY}.", complaint
    )
