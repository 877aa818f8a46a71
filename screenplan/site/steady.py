"""Orders that follow the site: the same from whatever system, row order or ring the file has.

Coordinates that come from another system differ in their last digits, up to millimetres where a
file rounds degrees. Where two things are equal but for that, the first of several keys must not
decide: what follows within its tolerance is left to the next one.
"""

from __future__ import annotations

import re

import numpy as np

from screenplan.site.compass import bearing_deg
from screenplan.site.ragged import first_most, firsts, numbered

#: Lengths that differ by less are equal: half a step of degrees with seven digits is 6 mm.
EQUAL_M = 0.05
#: Directions that differ by less are equal; north counts from this much before it.
EQUAL_DEG = 1.0


def steady_order(*keys: tuple[np.ndarray, float]) -> np.ndarray:
    """Order by the first key, and those that follow within its tolerance by the next.

    Parameters
    ----------
    *keys : (ndarray of float, float)
        Values, least first, and the difference up to which one that follows another is its equal.

    Returns
    -------
    ndarray of int
        Positions in order.

    Examples
    --------
    >>> lengths, norths = [8.0, 7.9999, 3.0], [5.0, 1.0, 9.0]
    >>> steady_order((lengths, 0.01), (norths, 0.01)).tolist()
    [2, 1, 0]
    """
    return steady_order_each(np.zeros(len(keys[0][0]), dtype=int), *keys)


def steady_order_each(group: np.ndarray, *keys: tuple[np.ndarray, float]) -> np.ndarray:
    """Order the items of several groups, each as `steady_order` does.

    Parameters
    ----------
    group : ndarray of int, (items,)
        The group of each item.
    *keys : (ndarray of float, float)
        As in `steady_order`.

    Returns
    -------
    ndarray of int
        Positions, group after group.

    Examples
    --------
    >>> steady_order_each(np.array([0, 1, 1, 0]), (np.array([3.0, 9.0, 2.0, 1.0]), 0.01)).tolist()
    [3, 0, 2, 1]
    """
    order = np.argsort(group, kind="stable")
    same = np.asarray(group)[order]
    for values, tolerance in keys:
        values = np.asarray(values, dtype=float)
        again = np.lexsort((values[order], same))
        order, same = order[again], same[again]
        steps = (np.diff(values[order]) > tolerance) | (np.diff(same) > 0)
        same = np.cumsum(np.concatenate([[False], steps]))[: len(order)]
    return order


def first_clockwise(xy: np.ndarray, middle: np.ndarray) -> int:
    """Find the point that is met first on the way round from north, clockwise, as seen from a middle.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
    middle : ndarray, shape (2,)

    Returns
    -------
    int
        Its position; of several in one direction the farthest.

    Examples
    --------
    >>> square = np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 4.0], [0.0, 4.0]])
    >>> first_clockwise(square, np.array([2.0, 2.0]))
    2
    """
    return int(first_clockwise_each(xy, np.asarray(middle)[None], [len(xy)])[0])


def first_clockwise_each(xy: np.ndarray, middles: np.ndarray, count) -> np.ndarray:
    """Do what `first_clockwise` does for many middles at once.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
        The points of each middle, one after the other.
    middles : ndarray, shape (m, 2)
    count : ndarray of int, shape (m,)
        How many points each has, one at least.

    Returns
    -------
    ndarray of int, shape (m,)
        Positions among the points of each.
    """
    group, _ = numbered(count)
    away = np.asarray(xy, dtype=float) - middles[group]
    turn = (bearing_deg(*away.T) + EQUAL_DEG) % 360.0
    least = np.minimum.reduceat(turn, firsts(count)) if len(turn) else turn
    same = turn <= least[group] + EQUAL_DEG
    return first_most(np.where(same, np.hypot(*away.T), -np.inf), count)


def natural_key(name: object) -> tuple:
    """Give a key that puts names in the order of people: ``h2`` before ``h10``.

    Examples
    --------
    >>> sorted(["h10", "h2", "garage"], key=natural_key)
    ['garage', 'h2', 'h10']
    """
    parts = re.split(r"([0-9]+)", str(name))
    return tuple((part.isdigit(), int(part) if part.isdigit() else 0, part) for part in parts)
