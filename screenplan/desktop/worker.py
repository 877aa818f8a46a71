"""The process that the plugin starts: one job in, one JSON object a line out.

``python -m screenplan.desktop.worker JOB.json`` answers with lines of progress and at the end with
``{"done": ...}`` and exit code 0, ``{"refused": [...]}`` and 2, or ``{"failed": ...}`` and 70. It
ends when its standard input closes: whatever was begun is undone first.
``python -m screenplan.desktop.worker --about`` says which library this is.
"""

from __future__ import annotations

import _thread
import json
import os
import platform
import shutil
import signal
import sys
import threading
import time
import traceback
from pathlib import Path
from typing import Any, TextIO

from screenplan._version import __version__
from screenplan.ground.errors import InputError, refuse

#: As the command line ends (see `screenplan.commandline.main`).
EXIT_REFUSED, EXIT_FAILED, EXIT_CANCELLED = 2, 70, 130

#: Seconds after a cancel until the process ends in the middle of what it does: compiled code is not interrupted, and
#: following the draws of a plan takes seconds on a busy machine.
TIDY_S = 12.0
#: Seconds after which it is asked again; more than tidying up takes.
AGAIN_S = 3.0

#: What the library cannot do without; named by `about`.
PACKAGES = ("geopandas", "numba", "numpy", "pandas", "pydantic", "pyogrio", "pyproj", "rasterio", "shapely")  # fmt: skip


def main(arguments: list[str]) -> int:
    """Run one job, or say which library this is."""
    answers = _own_output()
    if arguments == ["--about"]:
        _say(answers, about())
        return 0
    job_file = Path(arguments[0])
    folder = job_file.resolve().parent
    gone = threading.Event()
    threading.Thread(target=_watch, args=(folder, gone), daemon=True).start()
    try:
        return _answer(job_file, answers, gone)
    except KeyboardInterrupt:
        # Nobody may be left to tidy up. It is done in peace: `_watch` goes on to interrupt.
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        shutil.rmtree(folder, ignore_errors=True)
        return EXIT_CANCELLED


def _answer(job_file: Path, answers: TextIO, gone: threading.Event) -> int:
    """Do the job, say how it ended, and give the exit code."""

    def tell(message: dict[str, Any]) -> None:
        if gone.is_set():  # an interrupt may have been lost: nothing more is begun
            raise KeyboardInterrupt
        _say(answers, message)

    try:
        job = json.loads(job_file.read_text(encoding="utf-8"))
        _check_version(job)
        from screenplan.desktop.jobs import do_job

        _say(answers, {"done": do_job(job, tell)})
    except InputError as error:
        shown = [_shown(problem.in_units(error.units), job_file) for problem in error.problems]
        _say(answers, {"refused": shown})
        return EXIT_REFUSED
    except Exception as error:
        traceback.print_exc()
        _say(answers, {"failed": f"{type(error).__name__}: {error}"})
        return EXIT_FAILED
    return 0


def about() -> dict[str, Any]:
    """Say which library this is, after loading what it needs."""
    from importlib import import_module

    from screenplan.desktop.toolbox import describe_toolbox

    return {
        "version": __version__,
        "digest": describe_toolbox()["digest"],
        "python": platform.python_version(),
        "packages": {name: import_module(name).__version__ for name in PACKAGES},
    }


def _check_version(job: dict[str, Any]) -> None:
    from screenplan.desktop.toolbox import describe_toolbox

    if job["digest"] == describe_toolbox()["digest"]:
        return
    what = (
        f"The toolbox is of screenplan {job['version']}, and its Python has screenplan {__version__}"
        if job["version"] != __version__
        else f"The toolbox was made from another state of screenplan {__version__}"
    )
    raise refuse(
        what,
        f"Run '{_quoted(sys.executable)} -m screenplan desktop install', and start the desktop GIS "
        "again",
    )


def _quoted(program: str) -> str:
    return f'"{program}"' if " " in program else program


def _shown(problem: str, job_file: Path) -> str:
    """Say a problem without the folder for what is handed over, which nobody knows."""
    return problem.replace(f"{job_file.resolve().parent}{os.sep}", "")


def _own_output() -> TextIO:
    """Keep standard output for the answers; what anything else prints goes to standard error."""
    own = os.fdopen(os.dup(1), "w", encoding="utf-8", newline="\n")
    os.dup2(2, 1)
    return own


def _say(answers: TextIO, message: dict[str, Any]) -> None:
    try:
        answers.write(json.dumps(message, ensure_ascii=False) + "\n")
        answers.flush()
    except BrokenPipeError:  # nobody reads any more; the end of standard input may be noticed later
        raise KeyboardInterrupt from None


def _watch(folder: Path, gone: threading.Event) -> None:
    """Wait until standard input closes; then undo what was begun, and end."""
    while os.read(0, 4096):
        pass
    gone.set()
    threading.Timer(TIDY_S, _end_now, args=(folder,)).start()
    while True:
        # One that falls into a place where errors are passed over, such as the end of an object, is lost.
        _thread.interrupt_main()
        time.sleep(AGAIN_S)


def _end_now(folder: Path) -> None:
    shutil.rmtree(folder, ignore_errors=True)
    os._exit(EXIT_CANCELLED)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
