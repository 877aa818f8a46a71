"""Ground that is nearer to something than a distance, and ground that is not.

The outline of each thing is moved by the distance (`screenplan.planting.moved`), so that no edge is simplified, and
arcs are drawn around the true circle, not inside it.
"""

from __future__ import annotations

import numpy as np
import shapely

from screenplan.planting.moved import Loops, discs, moved, wound
from screenplan.site.lots import united
from screenplan.site.overlay import ground_left

#: Zones are wider than their rule's distance by up to this, so that their arcs contain the circle.
ARC_EXCESS_M = 0.0005


def keep_clear(geometry: shapely.Geometry, distance_m: float) -> shapely.Geometry:
    """Give all ground nearer than a distance, a polygon that contains the true one; see `keep_clear_each`."""
    return keep_clear_each(np.array([geometry], dtype=object), np.array([distance_m]))[0]


def keep_clear_each(geometries: np.ndarray, distance_m: np.ndarray) -> np.ndarray:
    """Give for each geometry all ground nearer than its distance: polygons that contain the true ones.

    Parameters
    ----------
    geometries : ndarray of Geometry, (n,)
        Any type. Of a polygon the inside belongs to it.
    distance_m : ndarray, (n,)
        Metres; 0 or less gives the polygon itself, or an empty one for points and lines.

    Returns
    -------
    ndarray of Geometry, (n,)
        What stands at most `ARC_EXCESS_M` outside the true outline.
    """
    distance = np.asarray(distance_m, dtype=float)
    found = np.where(shapely.area(geometries) > 0.0, geometries, shapely.Polygon())
    wide = np.flatnonzero(distance > 0.0)
    parts, of = _single(shapely.force_2d(geometries[wide]))
    found[wide] = united(_widened(parts, distance[wide[of]]), of, len(wide))
    return found


def inside_each(grounds: np.ndarray, distance_m: np.ndarray) -> np.ndarray:
    """Give of each ground what is no nearer to its outline than its distance, and not within the arcs round it.

    Parameters
    ----------
    grounds : ndarray of Polygon or MultiPolygon, (n,)
    distance_m : ndarray, (n,)
        Metres; 0 or less gives all of it.

    Returns
    -------
    ndarray of Geometry, (n,)
        Empty where nothing is left.
    """
    distance = np.asarray(distance_m, dtype=float)
    found = grounds.copy()
    deep = np.flatnonzero(distance > 0.0)
    parts, of = _single(shapely.force_2d(grounds[deep]))
    within = distance[deep[of]]
    left = _within(shapely.get_exterior_ring(parts), within)
    holes, part = _holes(parts)
    if len(holes):
        some = np.unique(part)
        taken = united(_widened(shapely.polygons(holes), within[part]), part, len(parts))
        left[some] = ground_left(left[some], taken[some])
    found[deep] = united(left, of, len(deep))
    return found


def _single(geometries: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the points, lines and polygons of which geometries consist, and the geometry of each; no empty ones."""
    parts, of = shapely.get_parts(geometries, return_index=True)
    parts, inner = shapely.get_parts(parts, return_index=True)
    there = ~shapely.is_empty(parts)
    return parts[there], of[inner[there]]


def _widened(parts: np.ndarray, distance: np.ndarray) -> np.ndarray:
    """Give the ground within distances, above 0, of points, lines and polygons, (n,)."""
    ground = np.full(len(parts), None, dtype=object)
    rings = shapely.get_exterior_ring(parts)
    solid = shapely.area(parts) > 0.0
    parts = np.where(
        solid | shapely.is_missing(rings), parts, rings
    )  # a polygon without a width is a line
    spot = shapely.length(parts) == 0.0  # a line of one place is a point
    stroke = ~(solid | spot)
    at = shapely.get_coordinates(shapely.centroid(parts[spot]))
    ground[spot] = discs(at, distance[spot], ARC_EXCESS_M)
    ground[stroke] = _beside(parts[stroke], distance[stroke])
    ground[solid] = wound(moved(Loops.round_rings(rings[solid]), distance[solid], ARC_EXCESS_M)[0])
    holes, part = _holes(parts)
    if len(holes):
        some = np.unique(part)
        free = united(_within(holes, distance[part]), part, len(parts))
        ground[some] = ground_left(ground[some], free[some])
    return ground


def _holes(parts: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the holes of polygons among parts, as rings, and the part of each."""
    number = np.flatnonzero(shapely.get_num_interior_rings(parts) > 0)
    rings, of = shapely.get_rings(parts[number], return_index=True)
    inner = np.append(False, of[1:] == of[:-1])[: len(of)]
    return rings[inner], number[of[inner]]


def _beside(lines: np.ndarray, distance: np.ndarray) -> np.ndarray:
    """Give the ground within distances of lines, (n,)."""
    return wound(moved(Loops.along_lines(lines), distance, ARC_EXCESS_M)[0])


def _within(rings: np.ndarray, distance: np.ndarray) -> np.ndarray:
    """Give what lies inside rings, (n,), and no nearer to them than distances."""
    found, area = moved(Loops.round_rings(rings, clockwise=True), distance, ARC_EXCESS_M)
    # Going clockwise round a ring and to its right is going in: what is left is gone round clockwise.
    left = np.full(len(rings), shapely.Polygon(), dtype=object)
    some = area < 0.0
    left[some] = wound(found[some])
    # A narrow place that is passed from both sides counts the other way: GEOS would turn the whole round.
    odd = np.flatnonzero(~some & ~shapely.is_valid(found))
    left[odd] = ground_left(shapely.polygons(rings[odd]), _beside(rings[odd], distance[odd]))
    return left
