"""Crowns seen from above: circles round their stems, and clipped hedges as boxes along their row.

A hedge is a rectangle about its stem, turned along its row. It is as long as a plant of its height
is wide, so that neighbours grow into each other, and as wide as it is kept.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

#: Chords per quarter circle: the polygon lacks 0.04 % of the circle's radius at most.
QUARTER_CHORDS = 16


@dataclass(frozen=True)
class Footprints:
    """Crowns of some plants in plan.

    Parameters
    ----------
    points : ndarray of Point, (plants,)
        The stems.
    along, across : ndarray, (plants,)
        Half the length along the row and half the width across it, metres; equal in round crowns.
    box : ndarray of bool, (plants,)
        Whether the crown is a box along its row.
    way : ndarray, (plants, 2)
        Direction of the row at each plant, of length 1.
    """

    points: np.ndarray
    along: np.ndarray
    across: np.ndarray
    box: np.ndarray
    way: np.ndarray

    @property
    def farthest(self) -> np.ndarray:
        """Greatest distance of a crown's edge from its stem, metres, (plants,)."""
        return farthest_edge(self.along, self.across, self.box)

    def areas(self) -> np.ndarray:
        """Polygons of the crowns, (plants,): 64 sides for a round one, a rectangle for a box."""
        return crown_areas(self.points, self.along, self.across, self.box, self.way)


def farthest_edge(along, across, box) -> np.ndarray:
    """Greatest distance of a crown's edge from its stem, of a box its corner's; sizes broadcast."""
    return np.where(box, np.hypot(along, across), along)


def crown_areas(points, along, across, box, way) -> np.ndarray:
    """Draw crowns in plan.

    Parameters
    ----------
    points, along, across, box, way
        As `Footprints` holds them.

    Returns
    -------
    ndarray of Polygon, (plants,)

    Examples
    --------
    A hedge 2 m long and 0.6 m wide, along a row that runs north.

    >>> import numpy as np, shapely
    >>> stem = np.array([shapely.Point(0.0, 0.0)])
    >>> crown_areas(stem, [1.0], [0.3], [True], [[0.0, 1.0]])[0].bounds
    (-0.3, -1.0, 0.3, 1.0)
    """
    along, across, box = (np.asarray(part) for part in (along, across, box))
    areas = shapely.buffer(points, along, quad_segs=QUARTER_CHORDS)
    boxes = np.flatnonzero(box & (along > 0.0) & (across > 0.0))
    if len(boxes):
        u = along[boxes, None] * np.asarray(way, float)[boxes]
        v = across[boxes, None] * np.asarray(way, float)[boxes] @ [[0.0, 1.0], [-1.0, 0.0]]
        stem = shapely.get_coordinates(np.asarray(points, object)[boxes])
        ring = np.stack([stem + u + v, stem - u + v, stem - u - v, stem + u - v], axis=1)
        areas[boxes] = shapely.polygons(ring)
    return areas


def row_ways(x, y, row) -> np.ndarray:
    """Direction of its row at each plant, from its neighbour before to its neighbour behind.

    Parameters
    ----------
    x, y : ndarray, (plants,)
        Stems, those of a row in their order along it.
    row : ndarray of int, (plants,)
        Number of each plant's row.

    Returns
    -------
    ndarray, (plants, 2)
        Of length 1; east for a plant that is alone in its row.
    """
    way = np.tile([1.0, 0.0], (len(x), 1))
    order = np.argsort(row, kind="stable")
    xy, row = np.column_stack([x, y])[order], np.asarray(row)[order]
    ahead = row[1:] == row[:-1]
    # The plant behind and the one before; at the ends of a row, and alone, the plant itself.
    behind = np.arange(len(row)) + np.append(ahead, False)[: len(row)]
    before = np.arange(len(row)) - np.append(False, ahead)[: len(row)]
    step = (xy[behind] - xy[before]) / np.maximum(behind - before, 1)[:, None]
    length = np.hypot(*step.T)
    there = length > 0.0
    way[order[there]] = step[there] / length[there, None]
    return way
