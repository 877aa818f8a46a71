"""Peaks of values along rings: the highest places of hills that stand apart, in a compiled loop."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit

from screenplan.site.ragged import firsts, numbered

#: Two peaks are apart if the value falls by this much between them.
DIP_DEG = 5.0
#: A peak reaches as far as the value stays within this of its highest.
PLATEAU_DEG = 2.0


class Peaks(NamedTuple):
    """Peaks, by ring.

    Parameters
    ----------
    ring : ndarray of int, (peaks,)
        Ascending.
    value : ndarray, (peaks,)
        How high each is.
    middle, half_m : ndarray, (peaks,)
        The middle of the stretch on which it stays near its highest value, and half the length of that.
    """

    ring: np.ndarray
    value: np.ndarray
    middle: np.ndarray
    half_m: np.ndarray


def find_peaks(
    s: np.ndarray, value: np.ndarray, count: np.ndarray, length_m: np.ndarray, least: float
) -> Peaks:
    """Find the peaks along each ring that are high enough.

    Samples are added from the highest down; where two hills meet, the lower one is a peak of its own if it rises by
    `DIP_DEG` above the meeting point.

    Parameters
    ----------
    s, value : ndarray, (samples,)
        Running distances, ascending in a ring, and the values there, ring after ring.
    count : ndarray of int, (rings,)
        Samples of each ring.
    length_m : ndarray, (rings,)
    least : float
        What a peak must reach.

    Examples
    --------
    >>> s, value = np.arange(6.0), np.array([0.0, 50.0, 50.0, 0.0, 0.0, 40.0])
    >>> [peak.tolist() for peak in find_peaks(s, value, np.array([6]), np.array([6.0]), 30.0)]
    [[0, 0], [50.0, 40.0], [1.5, 5.0], [0.5, 0.0]]
    """
    ring, _ = numbered(count)
    order = np.flatnonzero(value >= least - DIP_DEG)
    order = order[np.lexsort((-value[order], ring[order]))]
    begin = np.searchsorted(ring[order], np.arange(len(count) + 1))
    peaks = _find_peaks(value, order, begin, np.append(firsts(count), len(s)))
    peaks = peaks[value[peaks] >= least]
    of = ring[peaks]
    middle, half = _plateaus(s, value, peaks, np.append(firsts(count), len(s)), of, length_m)
    return Peaks(of, value[peaks], middle, half)


@njit(cache=True, error_model="numpy")
def _find_peaks(value, order, begin, first):
    """Find the highest sample of each hill, of samples in order from the highest down in each ring."""
    # The hill of each sample by the one into which it ran, and the highest sample of a hill; -1 where none was added.
    parent = np.full(len(value), -1, dtype=np.int64)
    top = np.empty(len(value), dtype=np.int64)
    peaks = np.empty(len(order), dtype=np.int64)
    found = 0
    for ring in range(len(first) - 1):
        count = first[ring + 1] - first[ring]
        for place in range(begin[ring], begin[ring + 1]):
            item = order[place]
            parent[item] = top[item] = item
            for step in (-1, 1):
                beside = first[ring] + (item - first[ring] + step) % count
                if parent[beside] < 0:
                    continue
                one, other = _root(parent, item), _root(parent, beside)
                if one == other:
                    continue
                high, low = one, other
                if value[top[one]] < value[top[other]]:
                    high, low = other, one
                if value[top[low]] - value[item] >= DIP_DEG:
                    peaks[found] = top[low]
                    found += 1
                parent[low] = high
        for place in range(begin[ring], begin[ring + 1]):
            if parent[order[place]] == order[place]:
                peaks[found] = top[order[place]]
                found += 1
    return peaks[:found]


@njit(cache=True, error_model="numpy")
def _root(parent, item):
    while parent[item] != item:
        parent[item] = parent[parent[item]]
        item = parent[item]
    return item


@njit(cache=True, error_model="numpy")
def _plateaus(s, value, peaks, first, ring, length_m):
    """Give the middle of the stretch on which each peak stays near its highest value, and half its length."""
    middle, half = np.empty(len(peaks)), np.empty(len(peaks))
    for number in range(len(peaks)):
        peak, begin = peaks[number], first[ring[number]]
        count = first[ring[number] + 1] - begin
        behind = ahead = 0.0
        for step in (-1, 1):
            item, way = peak, 0.0
            while True:
                following = begin + (item - begin + step) % count
                if value[following] < value[peak] - PLATEAU_DEG or following == peak:
                    break
                way += (step * (s[following] - s[item])) % length_m[ring[number]]
                item = following
            if step < 0:
                behind = way
            else:
                ahead = way
        middle[number] = s[peak] + (ahead - behind) / 2.0
        half[number] = (ahead + behind) / 2.0
    return middle, half
