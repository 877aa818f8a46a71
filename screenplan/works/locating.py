"""The days on which buried lines are asked for: mark the ground, ask, dig while the request holds.

Days count from planting. A request is held to last from the day on which it is made, the shortest
reading of its days, so that nothing is dug on one that has lapsed anywhere.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from screenplan.rules.limit_kinds import LocateRequest

#: Days that are left for owners who answer late.
LATE_DAYS = 2
_WORKING_DAYS = 5


@dataclass(frozen=True)
class Request:
    """The days of one request.

    Parameters
    ----------
    mark_day, ask_day : int
        The ground is marked, and the lines are asked for.
    answered_day : int
        By its evening all have answered, weekends and a holiday counted; nothing is dug before.
    last_day : int
        The last day on which the request holds.
    renew_day : int
        A renewal that is asked for by now is answered before the request lapses.
    """

    mark_day: int
    ask_day: int
    answered_day: int
    last_day: int
    renew_day: int

    @property
    def renewed_every(self) -> int:
        """Days from one renewal to the next: each is asked for as long before the last lapses."""
        return max(1, self.last_day - self.answered_day)

    def renewals(self, last_dig: int) -> int:
        """Tell how often the request is renewed, so that one holds up to the last day of digging; once at least.

        Parameters
        ----------
        last_dig : int
        """
        holds = self.renew_day + (self.last_day - self.ask_day)
        return 1 + max(0, math.ceil((last_dig - holds) / self.renewed_every))

    @classmethod
    def before(cls, first_dig: int, limit: LocateRequest) -> Request:
        """Lay a request before the first day of digging.

        Parameters
        ----------
        first_dig : int
        limit : LocateRequest
        """
        wait = waiting_days(limit.wait_working_days)
        life = int(limit.life_days)
        # A request that holds hardly longer than it waits is made as late as can be.
        late = LATE_DAYS if life > wait + LATE_DAYS + 1 else 0
        ask = first_dig - 1 - wait - late
        last = ask + life - 1
        return cls(ask - 1, ask, ask + wait, last, max(ask, last - wait))


def waiting_days(working_days: float) -> int:
    """Give the days of the calendar that so many working days take at most, a holiday among them.

    Examples
    --------
    >>> waiting_days(2), waiting_days(3)
    (5, 6)
    """
    weekends = math.ceil((working_days + 1) / _WORKING_DAYS)
    return math.ceil(working_days) + 2 * weekends + 1
