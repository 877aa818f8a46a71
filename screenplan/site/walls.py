"""The walls of a building's footprint: straight faces with a direction to the outside."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from screenplan.site.compass import apart_deg, bearing_deg, unit_vector
from screenplan.site.ragged import firsts, numbered, turned
from screenplan.site.steady import EQUAL_M, first_clockwise_each, steady_order

#: A footprint's outline may be off a straight wall by this much.
STRAIGHT_M = 0.2
#: Collinear: two faces that follow each other and differ by less are one.
COLLINEAR_DEG = 3.0
#: What stands this near to a wall's outer face adjoins it.
ADJOINING_M = 0.3
#: Slivers below this area are rounding, not a building that adjoins.
SLIVER_M2 = 1e-6


@dataclass(frozen=True)
class Walls:
    """The straight faces of footprints.

    Parameters
    ----------
    start, end : ndarray, shape (n, 2)
        Ends of each face in metres; the building is on the left of the way from start to end.
    of : ndarray of int, shape (n,)
        The footprint of each face, ascending.
    """

    start: np.ndarray
    end: np.ndarray
    of: np.ndarray

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
    """Take a footprint's straight faces; see `walls_of_each`."""
    return walls_of_each(np.array([footprint], dtype=object))


def walls_of_each(footprints: np.ndarray) -> Walls:
    """Take the straight faces of footprints, those of their courtyards too.

    Vertices that are off a straight wall by less than `STRAIGHT_M` are passed over. Each ring
    begins at its first corner clockwise from north and runs with the building on its left, the
    outer one before the courtyards, the largest first: wherever the file begins it.

    Parameters
    ----------
    footprints : ndarray of Polygon or MultiPolygon
    """
    rings, of = _rings_of(footprints)
    xy, count = _straightened(rings)
    group, _ = numbered(count)
    return Walls(xy, xy[turned(count, np.ones(len(count), dtype=int))], of[group])


def _rings_of(footprints: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the rings of footprints, in order, and the footprint of each."""
    parts, owner = shapely.get_parts(shapely.force_2d(footprints), return_index=True)
    areas = shapely.get_type_id(parts) == shapely.GeometryType.POLYGON
    parts, owner = shapely.orient_polygons(parts[areas]), owner[areas]
    alone = np.bincount(owner, minlength=len(footprints))[owner] == 1
    if (alone & (shapely.get_num_interior_rings(parts) == 0)).all():
        return shapely.get_exterior_ring(parts), owner
    rings, of = [], []
    for footprint in np.unique(owner):
        for part in _largest_first(list(parts[owner == footprint])):
            own = [part.exterior, *_largest_first([*part.interiors])]
            rings += own
            of += [footprint] * len(own)
    return np.array(rings, dtype=object), np.array(of, dtype=int)


def _largest_first(shapes: list) -> list:
    """Order parts or rings by their length, those of one length from north to south."""
    if len(shapes) < 2:
        return shapes
    x, y = shapely.get_coordinates(shapely.centroid(shapes)).reshape(-1, 2).T
    order = steady_order((-shapely.length(shapes), EQUAL_M), (-y, EQUAL_M), (x, EQUAL_M))
    return [shapes[item] for item in order]


def exposed_stretches_each(
    start: np.ndarray, end: np.ndarray, others: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Find the stretches of faces that no other building adjoins.

    Parameters
    ----------
    start, end : ndarray, shape (n, 2)
        The faces, each building on the left.
    others : ndarray of Geometry, shape (n,)
        The other buildings near each face, in one geometry.

    Returns
    -------
    face : ndarray of int
        The face of each stretch, ascending.
    low, high : ndarray
        Distances from the face's start, in metres; ascending in a face.
    """
    along = end - start
    length = np.hypot(*along.T)
    near = np.flatnonzero(~shapely.is_empty(others))
    taken: dict[int, list[tuple[float, float]]] = {}
    for face, low, high in zip(*_covered(start, end, others, near), strict=True):
        taken.setdefault(face, []).append((low, high))
    free = [
        (face, 0.0, whole)
        for face, whole in enumerate(length.tolist())
        if face not in taken and whole > 0.0
    ]
    for face, spans in taken.items():
        at = 0.0
        for low, high in sorted(spans):
            if low > at:
                free.append((face, at, low))
            at = max(at, high)
        if at < length[face]:
            free.append((face, at, float(length[face])))
    spans_of = np.array(sorted(free), dtype=float).reshape(-1, 3)
    return spans_of[:, 0].astype(int), spans_of[:, 1], spans_of[:, 2]


def _covered(start, end, others, which: np.ndarray) -> tuple[list, list, list]:
    """Find where other buildings stand against some of the faces: faces, and from where to where."""
    if not len(which):
        return [], [], []
    start, end = start[which], end[which]
    along = end - start
    out = np.column_stack(unit_vector(bearing_deg(along[:, 1], -along[:, 0])))
    # Another footprint may also overlap the face from outside by as much.
    corners = np.stack([start, end, end + ADJOINING_M * out, start + ADJOINING_M * out], axis=1)
    covered = shapely.intersection(shapely.polygons(corners), others[which])
    parts, face = shapely.get_parts(covered, return_index=True)
    solid = shapely.area(parts) > SLIVER_M2
    parts, face = parts[solid], face[solid]
    if not len(parts):
        return [], [], []
    xy, part = shapely.get_coordinates(parts, return_index=True)
    way = (along / np.hypot(*along.T)[:, None])[face[part]]
    off = xy - start[face[part]]
    s = off[:, 0] * way[:, 0] + off[:, 1] * way[:, 1]
    first = firsts(np.bincount(part, minlength=len(parts)))
    low, high = np.minimum.reduceat(s, first), np.maximum.reduceat(s, first)
    return which[face].tolist(), low.tolist(), high.tolist()


def _straightened(rings: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the true corners of rings, one after the other, and how many each has."""
    xy, count = _corners_of(rings)
    if not len(count):
        return xy, count
    # A vertex that is farthest from the middle is a true corner: a place at which to begin. The
    # corners of a rectangle are all equally far out.
    middles = shapely.get_coordinates(shapely.centroid(shapely.polygons(rings)))
    group, number = numbered(count)
    away = np.hypot(*(xy - middles[group]).T)
    far = away >= np.maximum.reduceat(away, firsts(count))[group] - EQUAL_M
    of_far = np.bincount(group[far], minlength=len(count))
    first = first_clockwise_each(xy[far], middles, of_far)
    xy = xy[turned(count, number[far][firsts(of_far) + first])]

    ring, step = numbered(count + 1)
    closed = firsts(count)[ring] + step % count[ring]
    whole = shapely.linestrings(xy[closed], indices=ring)
    simple = shapely.simplify(whole, STRAIGHT_M, preserve_topology=False)
    few = shapely.get_num_coordinates(simple) < 4
    simple[few] = whole[few]
    xy, count = _corners_of(simple)
    group, _ = numbered(count)
    step = np.ones(len(count), dtype=int)
    before = bearing_deg(*(xy - xy[turned(count, -step)]).T)
    bends = apart_deg(before, before[turned(count, step)]) > COLLINEAR_DEG
    enough = np.bincount(group[bends], minlength=len(count)) >= 3
    kept = np.where((enough & ~few)[group], bends, True)
    xy, count = xy[kept], np.bincount(group[kept], minlength=len(count))
    return xy[turned(count, first_clockwise_each(xy, middles, count))], count


def _corners_of(rings: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the vertices of closed lines, none repeated at the end, and how many each has."""
    xy, group = shapely.get_coordinates(rings, return_index=True)
    count = np.bincount(group, minlength=len(rings))
    last = firsts(count) + count - 1
    return np.delete(xy, last, axis=0), count - 1
