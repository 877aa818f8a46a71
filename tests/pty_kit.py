"""A dialogue with the command line in a pseudo-terminal."""

from __future__ import annotations

import os
import pty
import select
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

#: Seconds without a word after which the program counts as hung.
SILENCE_S = 120.0


def talk(arguments: Sequence[str], answers: Sequence[str], folder: Path) -> tuple[int, str]:
    """Type answers into screenplan, one after each prompt; gives its exit code and what it showed.

    A prompt is a line that ends in a colon and a blank. After the last answer the terminal is at its
    end, as after Ctrl-D.
    """
    ours, theirs = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-m", "screenplan", *arguments],
        stdin=theirs,
        stdout=theirs,
        stderr=theirs,
        cwd=folder,
        env=os.environ | {"TERM": "dumb", "COLUMNS": "200"},
    )
    os.close(theirs)
    left, shown, read_to = [*answers, "\x04"], b"", 0
    try:
        while True:
            ready, _, _ = select.select([ours], [], [], SILENCE_S)
            assert ready, f"no word for {SILENCE_S} s after: {shown.decode()[-500:]}"
            try:
                part = os.read(ours, 4096)
            except OSError:  # the other end is shut
                break
            if not part:
                break
            shown += part
            if shown[read_to:].endswith(b": ") and left:
                read_to = len(shown)
                answer = left.pop(0)
                os.write(ours, answer.encode() + (b"" if answer == "\x04" else b"\n"))
    finally:
        process.kill() if process.poll() is None and not left else None
        os.close(ours)
    return process.wait(timeout=SILENCE_S), shown.decode().replace("\r\n", "\n")
