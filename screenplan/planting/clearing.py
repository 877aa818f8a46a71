"""Ground that is nearer to something than a distance.

Each edge is widened by itself, to a rectangle that turns with the line at its end on an arc, so that no edge is
simplified; the pieces are joined. Arcs are drawn around the true circle, not inside it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from screenplan.site.lots import united
from screenplan.site.ragged import firsts, numbered

#: Zones are wider than their rule's distance by up to this, so that their arcs contain the circle.
ARC_EXCESS_M = 0.0005
#: A circle has four times so many chords at least.
FEWEST_QUADS = 4
#: Where a line turns by more, radians, the arc is a piece by itself: its edge's piece would nearly touch itself.
SHARP_TURN = np.pi / 2.0
#: Pieces overlap by this share of an edge, or of the distance if that is less.
LAP_SHARE = 0.25


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
    solid = shapely.area(geometries) > 0.0
    found = np.where(solid, geometries, shapely.Polygon())
    wide = np.flatnonzero(np.asarray(distance_m) > 0.0)
    pieces, of = _pieces(shapely.force_2d(geometries[wide]), np.asarray(distance_m)[wide])
    own = np.flatnonzero(solid[wide])
    pieces, of = np.concatenate([pieces, geometries[wide[own]]]), np.concatenate([of, own])
    order = np.argsort(of, kind="stable")
    found[wide] = united(pieces[order], of[order], len(wide))
    return found


def _pieces(geometries: np.ndarray, distance: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the pieces of the ground round each geometry, and the geometry of each."""
    wide = distance + ARC_EXCESS_M
    # An arc of 4q chords per circle of radius D + x touches the circle of radius D from outside
    # when (D + x) cos(π / 4q) = D.
    quads = np.maximum(FEWEST_QUADS, np.ceil(np.pi / (4.0 * np.arccos(distance / wide))))
    chains, of, spots, of_spot = _chains_and_points(geometries)
    xy, chain = shapely.get_coordinates(chains, return_index=True)
    start = np.flatnonzero((chain[1:] == chain[:-1]) & (xy[1:] != xy[:-1]).any(axis=1))
    a, b, on = xy[start], xy[start + 1], chain[start]
    edges = np.bincount(on, minlength=len(chains))
    # A line of one place is a point.
    points = np.concatenate(
        [spots, xy[firsts(np.bincount(chain, minlength=len(chains)))][edges == 0]]
    )
    of_point = np.concatenate([of_spot, of[edges == 0]])
    length = np.hypot(*(b - a).T)
    along = (b - a) / length[:, None]
    following, before = _neighbours(on, edges, a, b)
    radius = wide[of[on]]
    out = np.column_stack([-along[:, 1], along[:, 0]]) * radius[:, None]
    turn = _turns(along, following)
    sharp, first, last = np.abs(turn) > SHARP_TURN, before < 0, following < 0
    chords = np.where(sharp, 0, _chords(turn, quads[of[on]]))
    # On the side away from which the line turns an arc fills the gap between two rectangles.
    arm = np.where(turn < 0.0, 1.0, -1.0)[:, None] * out
    next_arm = np.where(turn < 0.0, 1.0, -1.0)[:, None] * out[following]
    # Pieces overlap, so that rounding leaves no crack between them.
    lap = (LAP_SHARE * np.minimum(length, radius))[:, None] * along
    strips = _strips(
        (a, b),
        np.where((sharp | last)[:, None], b, b + lap[following]),
        arm,
        next_arm,
        turn,
        chords,
    )

    half = np.full(len(a), np.pi)
    fans = [
        (b, arm, next_arm, lap[following] - lap, turn, sharp),
        (a, out, -out, lap, half, first),
        (b, -out, out, -lap, half, last),
    ]
    *fan, of_fan = (
        np.concatenate(part)
        for part in zip(
            *([*(x[some] for x in parts), of[on[some]]] for *parts, some in fans), strict=True
        )
    )
    return (
        np.concatenate(
            [
                strips,
                _fans(fan, quads[of_fan]),
                _discs(points, wide[of_point], quads[of_point]),
            ]
        ),
        np.concatenate([of[on], of_fan, of_point]),
    )


def _chains_and_points(geometries: np.ndarray):
    """Give the lines and rings of geometries, and their points, (n, 2): each with the geometry to which it belongs."""
    parts, of = shapely.get_parts(geometries, return_index=True)
    parts, inner = shapely.get_parts(parts, return_index=True)
    of = of[inner]
    kind = shapely.get_type_id(parts)
    areas, points = kind == shapely.GeometryType.POLYGON, kind == shapely.GeometryType.POINT
    lines = np.isin(kind, (shapely.GeometryType.LINESTRING, shapely.GeometryType.LINEARRING))
    rings, ring_of = shapely.get_rings(parts[areas], return_index=True)
    chains = np.concatenate([rings, parts[lines]])
    chain_of = np.concatenate([of[areas][ring_of], of[lines]])
    there = ~shapely.is_empty(chains)
    xy, which = shapely.get_coordinates(parts[points], return_index=True)
    return chains[there], chain_of[there], xy, of[points][which]


def _neighbours(on, edges, a, b) -> tuple[np.ndarray, np.ndarray]:
    """Give the edge that follows each and the one before it, -1 at the ends of a line that is not closed."""
    number = np.arange(len(on))
    begin, end = (firsts(edges)[on], (firsts(edges) + edges - 1)[on])
    closed = (a[begin] == b[end]).all(axis=1)
    following = np.where(number < end, number + 1, np.where(closed, begin, -1))
    before = np.where(number > begin, number - 1, np.where(closed, end, -1))
    return following, before


def _turns(along: np.ndarray, following: np.ndarray) -> np.ndarray:
    """Angles by which edges turn to the left into those that follow, radians; 0 at an end."""
    ahead = along[following]
    turn = np.arctan2(
        along[:, 0] * ahead[:, 1] - along[:, 1] * ahead[:, 0],
        along[:, 0] * ahead[:, 0] + along[:, 1] * ahead[:, 1],
    )
    return np.where(following < 0, 0.0, turn)


def _strips(ends, beyond, arm, next_arm, turn, chords) -> np.ndarray:
    """Rectangles along edges; on the side of the arm they go on, on an arc, to the arm of the edge that follows.

    ``beyond`` is a place on the axis, at the edge's end or a little beyond.
    """
    (a, b), arc = ends, chords > 0
    count = 5 + chords
    edge, number = numbered(count)
    first = firsts(count)
    xy = np.empty((len(edge), 2))
    xy[first], xy[first + 1], xy[first + 2] = a - arm, b - arm, beyond
    xy[first[arc] + 3] = (b + next_arm)[arc]
    xy[first + count - 2], xy[first + count - 1] = b + arm, a + arm
    between = (number >= 4) & (number < count[edge] - 2)
    on, number = edge[between], number[between] - 3
    # From the arm of the edge that follows back to its own.
    xy[between] = _round(b, arm, turn, 1.0 - number / chords[on], on)
    return shapely.polygons(shapely.linearrings(xy, indices=edge))


def _fans(of: Sequence[np.ndarray], quads: np.ndarray) -> np.ndarray:
    """Sectors of circles, from one arm to another to the left by an angle, to the right by a negative one.

    Their tip is moved by ``lap`` into the pieces beside them.
    """
    middle, arm, end, lap, angle = of
    chords = np.maximum(_chords(angle, quads), 1)
    fan, number = numbered(chords + 2)
    first = firsts(chords + 2)
    xy = _round(middle, arm, angle, (number - 1) / chords[fan], fan)
    # The ends are the arms themselves, at which other pieces end too.
    xy[first], xy[first + 1], xy[first + chords + 1] = middle + lap, middle + arm, middle + end
    return shapely.polygons(shapely.linearrings(xy, indices=fan))


def _discs(middle, radius, quads) -> np.ndarray:
    disc, number = numbered(4 * quads.astype(int))
    arm = np.column_stack([radius, np.zeros(len(radius))])
    whole = np.full(len(radius), 2.0 * np.pi)
    xy = _round(middle, arm, whole, number / (4.0 * quads[disc]), disc)
    return shapely.polygons(shapely.linearrings(xy, indices=disc))


def _chords(angle, quads) -> np.ndarray:
    """How many chords an arc takes, of so many in a quarter of a circle."""
    return np.ceil(np.abs(angle) / (np.pi / 2.0 / quads)).astype(int)


def _round(middle, arm, angle, share, which) -> np.ndarray:
    """Points on arcs round middles, at shares of the angles from the arms."""
    turned = np.arctan2(arm[:, 1], arm[:, 0])[which] + share * angle[which]
    size = np.hypot(*arm.T)[which]
    return middle[which] + size[:, None] * np.column_stack([np.cos(turned), np.sin(turned)])
