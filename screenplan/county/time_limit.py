"""A limit to the processor time that something may take.

Time by the clock would tell of the machine: beside other work every parcel is slow.
"""

from __future__ import annotations

import signal
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

#: After the time by the clock the processor time is looked up again and again, so many seconds apart.
AGAIN_S = 0.05


class TooSlowError(Exception):
    """Something takes more processor time than it may."""


@contextmanager
def limit_of(seconds: float) -> Iterator[Callable[[], None]]:
    """Give up after some seconds of processor time: at once by an alarm where the system has one, else before the next step."""
    ends = time.thread_time() + seconds

    def look_up() -> None:
        if time.thread_time() > ends:
            raise TooSlowError

    def ring(*_) -> None:
        if time.thread_time() > ends:
            # Once is enough: no second alarm breaks into what is tidied up after the first.
            signal.setitimer(signal.ITIMER_REAL, 0.0)
        look_up()

    alarm = hasattr(signal, "setitimer") and threading.current_thread() is threading.main_thread()
    if not alarm:
        yield look_up
        return
    before = signal.signal(signal.SIGALRM, ring)
    # No thread takes more time than the clock tells, so it is looked up from then on.
    signal.setitimer(signal.ITIMER_REAL, seconds, AGAIN_S)
    try:
        yield look_up
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)
