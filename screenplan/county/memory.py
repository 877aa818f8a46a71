"""Memory that arrays give back, kept for the next ones in a process that was told to keep little.

Dask tells its workers to give free memory back to the system from 64 KiB on. Each larger array then asks for its pages
anew: those of a partition took a tenth more processor time by that.
"""

from __future__ import annotations

import ctypes
import os
from collections.abc import Iterator
from contextlib import contextmanager

#: What the header malloc.h of glibc calls its thresholds: the free memory above which some is given back, and the size
#: from which a piece is asked of the system by itself.
_TRIM, _PIECE = -1, -3
#: What they are meanwhile, bytes: the second is the most that glibc takes, the first twice that.
KEPT, LARGEST = 64 << 20, 32 << 20
#: The second where a process is told the first alone, bytes (glibc, DEFAULT_MMAP_THRESHOLD).
_LARGEST_UNTOLD = 128 << 10


@contextmanager
def kept_meanwhile() -> Iterator[None]:
    """Let this process keep free memory for a while, if it was told how much; then it goes by what it was told."""
    told = os.environ.get("MALLOC_TRIM_THRESHOLD_", "")
    if not told.isdecimal():
        yield
        return
    _tell(KEPT, LARGEST)
    try:
        yield
    finally:
        _tell(int(told), int(os.environ.get("MALLOC_MMAP_THRESHOLD_", _LARGEST_UNTOLD)))


def _tell(kept: int, largest: int) -> None:
    """Tell glibc its thresholds; other systems are left alone."""
    try:
        allocator = ctypes.CDLL(None).mallopt
    except (AttributeError, TypeError):
        return
    allocator(_TRIM, kept)
    allocator(_PIECE, largest)
