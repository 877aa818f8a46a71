"""A clock of work: the time in which the processor worked for us, so that a busy machine finds about as much, only later.

Not always the same: programs that share a processor's core slow each other within that time too, and how long a search
may take on the wall is guessed from the pace until then.
"""

from __future__ import annotations

import time

#: The clock on the wall runs this many times as fast as the work at most; a machine busier than that finds less.
MOST_PACE = 10.0
#: After less work than this its pace is not known yet, seconds.
LEAST_WORK_S = 0.01


class Clock:
    """The work done in this thread since the clock was made.

    Examples
    --------
    Who sleeps does not work.

    >>> clock = Clock()
    >>> time.sleep(0.05)
    >>> clock.worked() < 0.04
    True
    """

    def __init__(self) -> None:
        self._wall, self._work = time.monotonic(), time.thread_time()

    def worked(self) -> float:
        """Give the processor time since then, seconds."""
        return time.thread_time() - self._work

    def wall(self, work_s: float) -> float:
        """Give the time on the wall in which so much work is likely to be done, by the pace until now, seconds."""
        worked = self.worked()
        if worked < LEAST_WORK_S:
            return work_s
        pace = (time.monotonic() - self._wall) / worked
        return work_s * min(max(pace, 1.0), MOST_PACE)
