"""Years that are followed until plants are grown, so that what is told to last does last.

A row may close and open again: the bare stems of some species rise for years, and the crown of an
ellipsoid that only grows taller draws in at its foot. What is told of the years looked at is held
against all that come after.
"""

from __future__ import annotations

import numpy as np

#: Year that stands for "in the end": every curve has come to rest by then.
MATURE_YEAR = 1000
#: Years that are followed one by one; after them only the end is looked at.
FOLLOWED_YEARS = 200


def followed_years(years: int) -> np.ndarray:
    """Years one by one, the years looked at and many more, and last the end.

    Examples
    --------
    >>> followed_years(30)[[0, 1, -2, -1]].tolist()
    [0, 1, 200, 1000]
    """
    return np.append(np.arange(max(years, FOLLOWED_YEARS) + 1), MATURE_YEAR)


def lasts_from(holds, years: int) -> int | None:
    """First year from which something holds and never ceases to.

    Parameters
    ----------
    holds : array_like of bool, (followed,)
        Whether it holds in each of the years followed, from year 0 on.
    years : int
        Last year looked at.

    Returns
    -------
    int or None
        None if there is no such year among those looked at.

    Examples
    --------
    >>> lasts_from([False, True, True], 2), lasts_from([False, True, False], 2)
    (1, None)
    """
    ceased = np.flatnonzero(~np.asarray(holds, bool))
    first = int(ceased[-1]) + 1 if len(ceased) else 0
    return first if first <= years and first < len(holds) else None
