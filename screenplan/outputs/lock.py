"""A lock between two runs into one folder, which a killed run cannot leave behind."""

from __future__ import annotations

import errno
import os
import sys
from contextlib import suppress
from pathlib import Path

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

#: A lock file that vanishes between opening and locking is opened again, at most so often.
ATTEMPTS = 20
_HELD = {errno.EWOULDBLOCK, errno.EAGAIN, errno.EACCES, errno.EDEADLK}


class Held(Exception):  # noqa: N818 (a state, turned into an InputError by the folder)
    """Another process holds the lock."""


class Lock:
    """An operating-system lock on a small file.

    The system gives it back when the process ends in whatever way, so a file that a killed run
    left behind is no lock. On a file system without locks (some network shares) two runs at
    once are not noticed.

    Parameters
    ----------
    path : Path
        The lock's file; it is there while the lock is held.
    """

    def __init__(self, path: Path):
        self.path = path
        self._handle: int | None = None

    def acquire(self) -> None:
        """Take the lock.

        Raises
        ------
        Held
            If another process has it.
        OSError
            If the file cannot be made.
        """
        for _ in range(ATTEMPTS):
            handle = os.open(self.path, os.O_RDWR | os.O_CREAT, 0o666)
            try:
                _lock(handle)
            except OSError as error:
                os.close(handle)
                if error.errno in _HELD:
                    raise Held from None
                raise
            if self._is_still(handle):
                self._handle = handle
                return
            os.close(handle)
        raise Held

    def release(self) -> None:
        """Give the lock back and remove its file."""
        if self._handle is None:
            return
        handle, self._handle = self._handle, None
        if sys.platform == "win32":  # an open file cannot be removed there
            os.close(handle)
            self._remove()
        else:
            self._remove()
            os.close(handle)

    def _remove(self) -> None:
        with suppress(OSError):  # if it stays, the next run finds it unlocked
            self.path.unlink()

    def _is_still(self, handle: int) -> bool:
        try:
            return os.path.samestat(os.fstat(handle), self.path.stat())
        except FileNotFoundError:
            return False


def _lock(handle: int) -> None:
    try:
        if sys.platform == "win32":
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        else:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        if error.errno not in {errno.ENOLCK, errno.ENOTSUP, errno.ENOSYS}:
            raise
