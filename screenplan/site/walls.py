"""The walls of a building's footprint: straight faces with a direction to the outside."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry.polygon import orient

from screenplan.site.compass import apart_deg, bearing_deg, unit_vector
from screenplan.site.steady import EQUAL_M, first_clockwise, steady_order

#: A footprint's outline may be off a straight wall by this much.
STRAIGHT_M = 0.2
#: Collinear: two faces that follow each other and differ by less are one.
COLLINEAR_DEG = 3.0
#: What stands this near to a wall's outer face adjoins it.
ADJOINING_M = 0.3


@dataclass(frozen=True)
class Walls:
    """The straight faces of one footprint.

    Parameters
    ----------
    start, end : ndarray, shape (n, 2)
        Ends of each face in metres; the building is on the left of the way from start to end.
    """

    start: np.ndarray
    end: np.ndarray

    @property
    def length_m(self) -> np.ndarray:
        """Length of each face."""
        return np.hypot(*(self.end - self.start).T)

    @property
    def facing_deg(self) -> np.ndarray:
        """Direction of each face's outward normal."""
        along = self.end - self.start
        return bearing_deg(along[:, 1], -along[:, 0])

    def lines(self) -> np.ndarray:
        """Give the faces as lines."""
        return shapely.linestrings(np.stack([self.start, self.end], axis=1))

    def __len__(self) -> int:
        return len(self.start)


def walls_of(footprint: shapely.Polygon | shapely.MultiPolygon) -> Walls:
    """Take a footprint's straight faces, those of its courtyards too.

    Vertices that are off a straight wall by less than `STRAIGHT_M` are passed over. Each ring
    begins at its first corner clockwise from north and runs with the building on its left, the
    outer one before the courtyards, the largest first: wherever the file begins it.
    """
    starts, ends = [], []
    parts = [orient(part) for part in shapely.get_parts(shapely.force_2d(footprint))]
    for part in _largest_first(parts):
        for ring in (part.exterior, *_largest_first([*part.interiors])):
            xy = _straightened(shapely.get_coordinates(ring)[:-1])
            starts.append(xy)
            ends.append(np.roll(xy, -1, axis=0))
    return Walls(np.concatenate(starts), np.concatenate(ends))


def _largest_first(shapes: list) -> list:
    """Order parts or rings by their length, those of one length from north to south."""
    x, y = shapely.get_coordinates(shapely.centroid(shapes)).reshape(-1, 2).T
    order = steady_order((-shapely.length(shapes), EQUAL_M), (-y, EQUAL_M), (x, EQUAL_M))
    return [shapes[item] for item in order]


def exposed_stretches(
    start: np.ndarray, end: np.ndarray, others: shapely.Geometry
) -> list[tuple[float, float]]:
    """Find the stretches of a face that no other building adjoins.

    Parameters
    ----------
    start, end : ndarray, shape (2,)
        The face, its building on the left.
    others : Geometry
        The other buildings near it, in one geometry.

    Returns
    -------
    list of (float, float)
        Distances from the face's start, in metres.
    """
    length = float(np.hypot(*(end - start)))
    out = np.array(unit_vector(bearing_deg(end[1] - start[1], start[0] - end[0])))
    # Another footprint may also overlap the face from outside by as much.
    corners = [start, end, end + ADJOINING_M * out, start + ADJOINING_M * out]
    covered = shapely.intersection(shapely.Polygon(corners), others)
    along = (end - start) / length
    taken = []
    for part in shapely.get_parts(covered):
        if part.area > 1e-6:
            s = (shapely.get_coordinates(part) - start) @ along
            taken.append((s.min(), s.max()))
    free, at = [], 0.0
    for low, high in sorted(taken):
        if low > at:
            free.append((at, float(low)))
        at = max(at, float(high))
    if at < length:
        free.append((at, length))
    return free


def _straightened(xy: np.ndarray) -> np.ndarray:
    # A vertex that is farthest from the middle is a true corner: a place at which to begin. The
    # corners of a rectangle are all equally far out.
    middle = shapely.get_coordinates(shapely.Polygon(xy).centroid)[0]
    away = np.hypot(*(xy - middle).T)
    far = np.flatnonzero(away >= away.max() - EQUAL_M)
    xy = np.roll(xy, -far[first_clockwise(xy[far], middle)], axis=0)
    simple = shapely.get_coordinates(
        shapely.simplify(
            shapely.LineString(np.vstack([xy, xy[:1]])), STRAIGHT_M, preserve_topology=False
        )
    )[:-1]
    if len(simple) < 3:
        simple = xy
    else:
        before = bearing_deg(*(simple - np.roll(simple, 1, axis=0)).T)
        after = np.roll(before, -1)
        kept = simple[apart_deg(before, after) > COLLINEAR_DEG]
        simple = kept if len(kept) >= 3 else simple
    return np.roll(simple, -first_clockwise(simple, middle), axis=0)
