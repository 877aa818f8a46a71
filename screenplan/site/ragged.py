"""Rows of different lengths in one array, one after the other: what many subjects are worked out in at once.

Each item has a ``group``, the number of its row, ascending from 0; a row holds one item at least unless a
function says otherwise. What is worked out for a row does not depend on what else is in the array.
"""

from __future__ import annotations

from itertools import accumulate

import numpy as np
from numpy.typing import ArrayLike


def firsts(count: ArrayLike) -> np.ndarray:
    """Give where each row begins, of rows with so many items each.

    Examples
    --------
    >>> firsts([2, 0, 3]).tolist()
    [0, 2, 2]
    """
    count = np.asarray(count, dtype=np.int64)
    return np.cumsum(count) - count


def numbered(count: ArrayLike) -> tuple[np.ndarray, np.ndarray]:
    """Give the row of each item and its number in it, from 0, of rows with so many items each.

    Examples
    --------
    >>> [part.tolist() for part in numbered([2, 0, 3])]
    [[0, 0, 2, 2, 2], [0, 1, 0, 1, 2]]
    """
    count = np.asarray(count, dtype=np.int64)
    group = np.repeat(np.arange(len(count)), count)
    return group, np.arange(len(group)) - firsts(count)[group]


def turned(count: np.ndarray, by: np.ndarray) -> np.ndarray:
    """Give the order in which each row, taken as a ring, begins so many items further on.

    Parameters
    ----------
    count : ndarray of int, (rows,)
    by : ndarray of int, (rows,)
        0 leaves a row as it is, 1 begins with its second item, -1 with its last.

    Returns
    -------
    ndarray of int, (items,)

    Examples
    --------
    >>> turned([3, 2], [1, -1]).tolist()
    [1, 2, 0, 4, 3]
    """
    count = np.asarray(count, dtype=np.int64)
    group, number = numbered(count)
    return firsts(count)[group] + (number + np.asarray(by)[group]) % count[group]


def first_most(values: np.ndarray, count: np.ndarray) -> np.ndarray:
    """Give the number in its row of the first of the greatest items; no row is empty.

    Examples
    --------
    >>> first_most(np.array([1.0, 5.0, 5.0, 2.0]), [3, 1]).tolist()
    [1, 0]
    """
    group, number = numbered(count)
    if not len(group):
        return np.zeros(0, dtype=np.int64)
    first = firsts(count)
    most = np.maximum.reduceat(values, first)[group]
    return np.minimum.reduceat(np.where(values == most, number, len(number)), first)


def summed(values: np.ndarray, count: ArrayLike) -> np.ndarray:
    """Give the running sums of each row, one item added after the other: no row hangs on those before it.

    Examples
    --------
    >>> summed(np.array([1.0, 5.0, 0.5, 2.0]), [2, 0, 2]).tolist()
    [1.0, 6.0, 0.5, 2.5]
    """
    items, begin = values.tolist(), 0
    sums: list[float] = []
    for size in np.asarray(count).tolist():
        sums += accumulate(items[begin : begin + size])
        begin += size
    return np.array(sums, dtype=float)
