"""A limit to how long something may take."""

from __future__ import annotations

import signal
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager


class TooSlowError(Exception):
    """Something takes longer than it may."""


@contextmanager
def limit_of(seconds: float) -> Iterator[Callable[[], None]]:
    """Give up after some seconds: at once by an alarm where the system has one, else before the next step."""
    ends = time.monotonic() + seconds

    def look_up() -> None:
        if time.monotonic() > ends:
            raise TooSlowError

    def ring(*_) -> None:
        raise TooSlowError

    alarm = hasattr(signal, "setitimer") and threading.current_thread() is threading.main_thread()
    if not alarm:
        yield look_up
        return
    before = signal.signal(signal.SIGALRM, ring)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield look_up
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)
