"""Points of several rows in one array, and heads above positions in plan."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from screenplan.contracts.model import POLYGONS
from screenplan.site.ragged import firsts, numbered
from screenplan.site.terrain import ground_at


class Samples(NamedTuple):
    """Points of several rows, row by row.

    Attributes
    ----------
    xyz : ndarray, (points, 3)
    first : ndarray of int, (rows + 1,)
        Where each row's points begin.
    """

    xyz: np.ndarray
    first: np.ndarray

    @classmethod
    def of(cls, rows) -> Samples:
        """Put the points of rows, each (n, 3), one after the other."""
        first = np.concatenate([[0], np.cumsum([len(points) for points in rows])]).astype(np.int64)
        return cls(np.concatenate([np.zeros((0, 3)), *rows]), first)

    def row(self, number: int) -> np.ndarray:
        """Give the points of one row, (n, 3)."""
        return self.xyz[self.first[number] : self.first[number + 1]]

    @property
    def counts(self) -> np.ndarray:
        """How many points each row has, (rows,)."""
        return np.diff(self.first)

    def extents(self) -> tuple[np.ndarray, np.ndarray]:
        """Give how far the points of each row reach in plan, low and high, (rows, 2) each; the other way round of none."""
        some, xy = self.counts > 0, self.xyz[:, :2]
        low, high = np.full((len(some), 2), np.inf), np.full((len(some), 2), -np.inf)
        if some.any():
            first = self.first[:-1][some]
            low[some], high[some] = np.minimum.reduceat(xy, first), np.maximum.reduceat(xy, first)
        return low, high

    def upright(self) -> np.ndarray:
        """Give the points with those of a row that are above each other next to each other, (points, 3)."""
        row = np.repeat(np.arange(len(self.counts)), self.counts)
        return self.xyz[np.lexsort((*self.xyz.T[::-1], row))]

    def only(self, stay: np.ndarray) -> Samples:
        """Give the points that stay, (points,) of bool; every row stays, if with no point."""
        return Samples(self.xyz[stay], np.concatenate([[0], np.cumsum(stay)])[self.first])

    def followed_by(self, other: Samples) -> Samples:
        """Give these rows and then those of others."""
        first = np.concatenate([self.first, other.first[1:] + len(self.xyz)])
        return Samples(np.concatenate([self.xyz, other.xyz]), first)


def stand_on(xy, shape, heights, raised_m: float, terrain) -> np.ndarray:
    """Put heads above the positions of one shape, (positions times heights, 3); see `stand_on_each`."""
    return stand_on_each(
        np.asarray(xy), np.array([len(xy)]), np.array([shape], object),
        np.array([heights], float), np.array([raised_m], float), terrain,
    ).xyz  # fmt: skip


def stand_on_each(
    xy: np.ndarray,
    count: np.ndarray,
    shapes: np.ndarray,
    heights: np.ndarray,
    raised_m: np.ndarray,
    terrain,
) -> Samples:
    """Put heads above positions: above all of a shape at its first height, then at the next.

    On the ground they follow it. A raised floor is level, at ``raised_m`` above the mean ground
    under the positions of its shape.

    Parameters
    ----------
    xy : ndarray, (positions, 2)
        Those of one shape after those of the other.
    count : ndarray of int, (shapes,)
        How many each has.
    shapes : ndarray, (shapes,)
    heights : ndarray, (shapes, heights)
        Of equal ones a head stands at one.
    raised_m : ndarray, (shapes,)
    terrain : Terrain or None
    """  # fmt: skip
    ground, of = ground_at(terrain, xy), np.repeat(np.arange(len(count)), count)
    decks = np.flatnonzero((raised_m > 0.0) & (count > 0)).tolist()
    for deck in decks if terrain is not None else ():
        if shapes[deck].geom_type in POLYGONS:
            ground[of == deck] = terrain.mean_under(shapes[deck])
    raised = raised_m[of] > 0.0
    ground[raised] = ground[raised] + raised_m[of][raised]
    heights = np.sort(heights, axis=1)
    other = np.ones(heights.shape, bool)
    other[:, 1:] = heights[:, 1:] != heights[:, :-1]
    row, height = np.nonzero(other)
    # A block of positions for each height of each shape.
    block, number = numbered(count[row])
    at = firsts(count)[row][block] + number
    heads = np.column_stack([xy[at], ground[at] + heights[row, height][block]])
    return Samples(heads, np.append(0, np.cumsum(count * other.sum(axis=1))).astype(np.int64))
