"""What is said when screenplan itself is at fault, and where the particulars are kept."""

from __future__ import annotations

import os
import platform
import sys
import tempfile
import traceback
from pathlib import Path

from screenplan._version import __version__
from screenplan.ground.texts import quoted, shorten


def explain_failure(error: BaseException) -> list[str]:
    """Keep the particulars of an error in a file, and say where to report it.

    Parameters
    ----------
    error : exception
        One that nobody foresaw.

    Returns
    -------
    list of str
        Lines for standard error.
    """
    what = shorten(f"{type(error).__name__}: {quoted(str(error))}", 200)
    said = [f"screenplan: an error of screenplan itself, not of your input ({what})"]
    try:
        kept = _keep(error)
    except OSError:
        return [*said, *_lines_of(error), f"{_REPORT} with the lines above."]
    return [*said, f"{_REPORT} with the file {kept}, after a look through it: it names your files."]


_REPORT = "Report it to the people from whom you have screenplan,"


def _keep(error: BaseException) -> Path:
    number, name = tempfile.mkstemp(prefix="screenplan-error-", suffix=".txt", text=True)
    head = [
        f"screenplan {__version__}, Python {platform.python_version()}, {platform.platform()}",
        f"command: {' '.join(quoted(word, 200) for word in sys.argv[1:])}",
    ]
    with os.fdopen(number, "w", encoding="utf-8", errors="backslashreplace") as sink:
        sink.write("\n".join([*head, "", *_lines_of(error)]) + "\n")
    return Path(name)


def _lines_of(error: BaseException) -> list[str]:
    return "".join(traceback.format_exception(error)).splitlines()
