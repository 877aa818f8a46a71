"""Ground of subjects that is kept clear: a rim along the boundary, and what lies nearer to a thing than a distance.

All ground within the distance is in it: arcs are drawn around the true circle, so that it is up to `ARC_EXCESS_M` wider.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from shapely.geometry.polygon import orient

from screenplan.planting.clearing import ARC_EXCESS_M, inside_each, keep_clear_each
from screenplan.site.overlay import ground_left, polygons_of, shared_ground

#: Slivers below this area are rounding, not ground.
SLIVER_M2 = 1e-6


def rims(
    grounds: np.ndarray, ground: np.ndarray, reach_m: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Give the rims of grounds that are kept clear, and what lies inside the widest of each ground.

    Parameters
    ----------
    grounds : ndarray of Polygon or MultiPolygon, (grounds,)
    ground : ndarray of int, (n,)
        The ground of each rim.
    reach_m : ndarray, (n,)

    Returns
    -------
    rims : ndarray of Polygon, MultiPolygon or None, (n,)
        None where there is none, because its reach is 0.
    inside : ndarray of Geometry, (grounds,)
        All of a ground that has no rim.
    """
    own = grounds[ground]
    inner = inside_each(own, reach_m)
    # The rim of a plain ground has its inside as holes; the two do not meet.
    plain = (shapely.get_type_id(own) == shapely.GeometryType.POLYGON) & (
        shapely.get_num_interior_rings(own) == 0
    )
    found = np.full(len(own), None, dtype=object)
    there = reach_m > 0.0
    whole = np.flatnonzero(plain & there)
    holes, of = ground_parts(inner[whole])
    number = np.concatenate([np.arange(len(whole)), of])
    rings = shapely.get_exterior_ring(np.concatenate([own[whole], holes]))
    order = np.argsort(number, kind="stable")
    found[whole] = shapely.polygons(rings[order], indices=number[order])
    rest = np.flatnonzero(~plain & there)
    found[rest] = ground_left(own[rest], inner[rest])
    inside = grounds.copy()
    order = np.argsort(reach_m, kind="stable")
    inside[ground[order]] = inner[order]
    return found, inside


def exclusions(
    geometries: np.ndarray,
    reach_m: np.ndarray,
    subject: np.ndarray,
    subjects: np.ndarray,
    *,
    passage_m: np.ndarray,
) -> np.ndarray:
    """Give the ground of subjects on which things let no stem stand.

    Parameters
    ----------
    geometries : ndarray of Geometry, (n,)
        The thing of each exclusion.
    reach_m : ndarray, (n,)
        How far from it no stem may stand.
    subject : ndarray of int, (n,)
        The subject whose ground is looked at.
    subjects : ndarray of Polygon or MultiPolygon, (subjects,)
    passage_m : ndarray, (n,)
        How far the way leads that goes on from a thing in the boundary, square to it; 0 where none does.

    Returns
    -------
    ndarray of Polygon, MultiPolygon or None, (n,)
        None where the thing is too far off.
    """
    ground = np.full(len(geometries), None, dtype=object)
    own = subjects[subject]
    near = np.flatnonzero(shapely.distance(geometries, own) <= reach_m + ARC_EXCESS_M)
    if not len(near):
        return ground
    things = geometries[near]
    for number in np.flatnonzero(passage_m[near] > 0.0):
        things[number] = _with_passage(things[number], passage_m[near[number]], own[near[number]])
    # A road past many lots is widened once.
    known: dict[tuple[int, float], int] = {}
    which = [
        known.setdefault((id(thing), reach), len(known))
        for thing, reach in zip(things, reach_m[near].tolist(), strict=True)
    ]
    first = np.unique(which, return_index=True)[1]
    clear = keep_clear_each(things[first], reach_m[near[first]])[which]
    parts, of = ground_parts(shared_ground(clear, own[near]))
    count = np.bincount(of, minlength=len(near))
    ground[near[count == 1]] = parts[(count == 1)[of]]
    several = (count > 1)[of]
    if several.any():
        shapely.multipolygons(parts[several], indices=near[of[several]], out=ground)
    return ground


def _with_passage(
    geometry: shapely.Geometry, passage: float, subject: shapely.Geometry
) -> shapely.Geometry:
    """Join a thing in the boundary with the way that leads on from it, square to the boundary."""
    middle = geometry.centroid
    outline = _nearest_edge(subject, middle)
    (ax, ay), (bx, by) = outline
    along = np.array([bx - ax, by - ay]) / math.hypot(bx - ax, by - ay)
    inward = np.array([-along[1], along[0]])
    moved = shapely.transform(geometry, lambda xy: xy + passage * inward)
    swept = shapely.convex_hull(shapely.union_all([geometry, moved]))
    return shapely.union_all([geometry, swept])


def _nearest_edge(subject: shapely.Geometry, point: shapely.Point) -> np.ndarray:
    """Give the ends of the boundary's edge nearest to a point, the parcel on its left."""
    rings = []
    for part in map(orient, shapely.get_parts(subject)):
        rings.extend([part.exterior, *part.interiors])
    edges = np.concatenate(
        [np.stack([xy[:-1], xy[1:]], axis=1) for xy in map(shapely.get_coordinates, rings)]
    )
    edges = edges[np.hypot(*(edges[:, 1] - edges[:, 0]).T) > 0]
    return edges[np.argmin(shapely.distance(shapely.linestrings(edges), point))]


def ground_parts(shapes: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the polygons of shapes that are ground, and the shape of each."""
    parts, of = polygons_of(shapes)
    solid = shapely.area(parts) > SLIVER_M2
    return parts[solid], of[solid]
