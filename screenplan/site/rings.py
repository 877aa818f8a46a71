"""Closed outlines, addressed by the running distance along them."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from functools import cached_property
from itertools import accumulate

import numpy as np
import shapely
from numba import njit

from screenplan.site.compass import bearing_deg, turn_deg
from screenplan.site.ragged import firsts, numbered


@dataclass(frozen=True, eq=False)
class Rings:
    """Closed outlines, anticlockwise, each addressed by the running distance along it.

    Parameters
    ----------
    xy : ndarray, (vertices, 2)
        Vertices in metres, ring after ring, the first of each again at its end.
    count : ndarray of int, (rings,)
        Vertices of each, the repeated one not counted.
    """

    xy: np.ndarray
    count: np.ndarray

    @classmethod
    def around(cls, polygons: np.ndarray) -> Rings:
        """Take the outer rings of polygons; holes are no part of the outline."""
        polygons = shapely.remove_repeated_points(shapely.force_2d(polygons))
        xy, ring = shapely.get_coordinates(shapely.get_exterior_ring(polygons), return_index=True)
        count = np.bincount(ring, minlength=len(polygons))
        # By the signed area, which holds for an outline that crosses itself too.
        first = firsts(count)
        east, north = (xy - xy[first][ring]).T
        twice = np.append(east[:-1] * north[1:] - east[1:] * north[:-1], 0.0)
        twice[first + count - 1] = 0.0
        clockwise = np.add.reduceat(twice, first) < 0.0 if len(count) else np.empty(0, dtype=bool)
        ring, number = numbered(count)
        order = np.where(clockwise[ring], count[ring] - 1 - number, number) + first[ring]
        return cls(xy[order], count - 1)

    @cached_property
    def first(self) -> np.ndarray:
        """Where the vertices of each ring begin, (rings,)."""
        return firsts(self.count + 1)

    @cached_property
    def at_of(self) -> list[list[float]]:
        """Give the running distances of each ring's vertices, ascending; the last is the length of the whole."""
        steps = np.hypot(*np.diff(self.xy, axis=0).T).tolist()
        return [
            [0.0, *accumulate(steps[first : first + count])]
            for first, count in zip(self.first.tolist(), self.count.tolist(), strict=True)
        ]

    @cached_property
    def at(self) -> np.ndarray:
        """The running distances of all vertices, (vertices,)."""
        return np.array([s for own in self.at_of for s in own])

    @cached_property
    def length_m(self) -> np.ndarray:
        """Length of each outline, (rings,)."""
        return np.array([own[-1] for own in self.at_of])

    @cached_property
    def slopes(self) -> np.ndarray:
        """How much east and north grow with the running distance behind each vertex, (vertices, 2)."""
        way = np.diff(self.xy, axis=0, append=0.0)
        step = np.diff(self.at, append=0.0)[:, None]
        return np.divide(way, step, out=np.zeros_like(way), where=step > 0.0)

    def points(self, ring: np.ndarray, s: np.ndarray) -> np.ndarray:
        """Give the points of rings at running distances, counted on past the end; (points, 2)."""
        return _points(self.xy, self.at, self.slopes, self.first, self.count, ring, s)

    def vertices_near(self, ring: int, s: float, reach_m: float) -> list[float]:
        """Give the running distances of a ring's vertices within a reach of one, ascending."""
        *at, whole = self.at_of[ring]
        if 2.0 * reach_m >= whole:
            return at
        low, high = (s - reach_m) % whole, (s + reach_m) % whole
        first, after = bisect_left(at, low), bisect_right(at, high)
        return at[first:after] if low <= high else at[:after] + at[first:]

    def headings_deg(self, ring: np.ndarray, start: np.ndarray, end: np.ndarray) -> np.ndarray:
        """Give the directions of the chords between running distances."""
        return bearing_deg(*(self.points(ring, end) - self.points(ring, start)).T)

    def turns_deg(self, ring: np.ndarray, s: np.ndarray, base_m: np.ndarray) -> np.ndarray:
        """Give the turn over a base length at running distances, left turns positive."""
        before, here, after = (self.points(ring, at) for at in (s - base_m, s, s + base_m))
        return turn_deg(bearing_deg(*(here - before).T), bearing_deg(*(after - here).T))

    @cached_property
    def _turned(self) -> list[float]:
        """Give how much each ring turns at its vertices up to each, left or right, (vertices,) and one more."""
        ring, number = numbered(self.count)
        at = self.first[ring] + number
        before = self.first[ring] + (number - 1) % self.count[ring]
        way = bearing_deg(*np.diff(self.xy, axis=0, append=0.0).T)
        turns = np.zeros(len(self.xy))
        turns[at] = np.abs(turn_deg(way[before], way[at]))
        return [0.0, *accumulate(turns.tolist())]

    def bend_deg(self, ring: int, start: float, end: float) -> float:
        """Give how much a ring turns at its vertices between two running distances, but for rounding."""
        at, first, turned = self.at_of[ring], int(self.first[ring]), self._turned
        whole, count = at[-1], len(at) - 1

        def up_to(s: float, find) -> float:
            times, rest = divmod(s, whole)
            round_it = turned[first + count] - turned[first]
            return times * round_it + turned[first + find(at, rest, 0, count)] - turned[first]

        return up_to(end, bisect_left) - up_to(start, bisect_right)

    def cut(self, ring: np.ndarray, corners: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Cut the outlines at running distances, by ring and ascending; each has one at least.

        Returns
        -------
        xy : ndarray, (k, 2)
            The vertices of the pieces, one after the other. A piece begins in one corner and ends in exactly the
            point in which the next begins.
        count : ndarray of int, (corners,)
            Vertices of each piece.
        """
        ends = self.points(ring, corners)
        whole = np.concatenate([self.xy, ends])
        many = np.bincount(ring, minlength=len(self.count))
        taken, count = [], []
        s = corners.tolist()
        for low, own, at, begin in zip(
            firsts(many).tolist(), many.tolist(), self.at_of, self.first.tolist(), strict=True
        ):
            *first, length = at
            twice = [*first, *(place + length for place in first)]
            for item in range(low, low + own):
                following = item + 1 if item + 1 < low + own else low
                until = s[following] if item + 1 < low + own else s[low] + length
                between = range(bisect_right(twice, s[item]), bisect_left(twice, until))
                taken.append(len(self.xy) + item)
                taken += [begin + vertex % len(first) for vertex in between]
                taken.append(len(self.xy) + following)
                count.append(len(between) + 2)
        return whole[taken], np.array(count, dtype=int)


@njit(cache=True, error_model="numpy")
def _points(xy, at, slopes, first, count, ring, s):
    points = np.empty((len(s), 2))
    for item in range(len(s)):
        low = first[ring[item]]
        last = low + count[ring[item]]
        high = last + 1
        off = s[item] % at[last]
        # The last vertex that is not behind the point, by halves.
        while high - low > 1:
            middle = (low + high) // 2
            if at[middle] <= off:
                low = middle
            else:
                high = middle
        off = 0.0 if low == last else off - at[low]
        for axis in range(2):
            points[item, axis] = slopes[low, axis] * off + xy[low, axis]
    return points
