"""What a request may take: it is given up after some seconds.

A server answers each request in a thread of its own, where no alarm rings. So another thread raises an exception
in it, which Python does between two steps of its own: what is in compiled code comes back from there first.
"""

from __future__ import annotations

import ctypes
import threading
from collections.abc import Callable
from typing import Any

from screenplan.ground.errors import refuse

#: Seconds for a request from its begin. Chosen, not measured: long enough for the search of a design (5 s by
#: default) and the tracing of rays about it, short enough that a few requests do not keep a server for hours.
MOST_SECONDS = 600.0


class _TooLongError(BaseException):
    """No error that anything on the way may take for its own."""


def within(seconds: float, work: Callable[[], Any]) -> Any:
    """Give what a function gives, or give it up after some seconds.

    It is called here, not in a block of ``with``: the exception could arrive between a block and its end.

    Raises
    ------
    InputError
        If it takes longer.
    """
    own, lock, done = threading.get_ident(), threading.Lock(), False

    def give_up() -> None:
        with lock:
            if not done:
                _raise_in(own, _TooLongError)

    watch = threading.Timer(seconds, give_up)
    watch.daemon = True
    try:
        watch.start()
        try:
            return work()
        finally:
            with lock:
                done = True
                _raise_in(own, None)  # what was not raised yet no longer is
            watch.cancel()
    except _TooLongError:
        raise refuse(
            f"the request was given up after {seconds:g} s",
            "Send what lies near the parcel only, or coarser values: fewer years, days or rays",
        ) from None


def _raise_in(thread: int, error: type[BaseException] | None) -> None:
    given = None if error is None else ctypes.py_object(error)
    ctypes.pythonapi.PyThreadState_SetAsyncExc(ctypes.c_ulong(thread), given)
