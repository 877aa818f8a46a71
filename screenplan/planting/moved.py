"""Outlines that are moved to their right by a distance, all at once: what GEOS widens it simplifies first, by up to 1 %.

Every edge is moved along its normal. Where the outline turns away from the side to which it is moved an arc joins
the moved edges, which is drawn around the true circle. Elsewhere they cross, and end where they do; if one of them is
too short for that they are joined by way of the corner. Whatever the outline does, the ground that it goes round
anticlockwise once at least is then just the ground that is within the distance of what the unmoved outline went round:
while it moves out, ground that it passes comes to lie on its left once more, and never once less.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from screenplan.site.ragged import firsts, numbered, turned

#: A circle has four times so many chords at least.
FEWEST_QUADS = 4


@dataclass(frozen=True)
class Loops:
    """Closed ways through corners, one after the other.

    Parameters
    ----------
    xy : ndarray, (corners, 2)
        No two that follow each other are one place.
    count : ndarray of int, (loops,)
        How many corners each has, two at least.
    square : ndarray of bool, (corners,)
        Where a loop turns back and no arc is drawn round its end.
    """

    xy: np.ndarray
    count: np.ndarray
    square: np.ndarray

    @classmethod
    def round_rings(cls, rings: np.ndarray, *, clockwise: bool = False) -> Loops:
        """Go round rings, anticlockwise or clockwise."""
        rings = np.where(shapely.is_ccw(rings) == clockwise, shapely.reverse(rings), rings)
        xy, of = shapely.get_coordinates(rings, return_index=True)
        # A ring ends where it begins.
        taken = np.append(of[1:] == of[:-1], False)[: len(of)]
        taken[:-1] &= (xy[1:] != xy[:-1]).any(axis=1)
        count = np.bincount(of[taken], minlength=len(rings))
        return cls(xy[taken], count, np.zeros(taken.sum(), dtype=bool))

    @classmethod
    def along_lines(cls, lines: np.ndarray) -> Loops:
        """Go along lines and back; each has two places at least.

        A closed line is gone along on to its second place, and ends square there, so that its ends are as its corners.
        """
        xy, of = shapely.get_coordinates(lines, return_index=True)
        new = np.append(True, (of[1:] != of[:-1]) | (xy[1:] != xy[:-1]).any(axis=1))[: len(of)]
        xy, places = xy[new], np.bincount(of[new], minlength=len(lines))
        closed = shapely.is_closed(lines)
        last = places - 1 + closed
        loop, number = numbered(2 * last)
        place = (last[loop] - np.abs(last[loop] - number)) % (places - closed)[loop]
        square = closed[loop] & ((number == 0) | (number == last[loop]))
        return cls(xy[firsts(places)[loop] + place], 2 * last, square)


def discs(middle: np.ndarray, distance: np.ndarray, excess_m: float) -> np.ndarray:
    """Give the ground within distances of points, (n, 2); see `moved`."""
    wide = distance + excess_m
    quads = _quads(distance, wide)
    disc, number = numbered(4 * quads.astype(int))
    arm = np.column_stack([wide, np.zeros(len(wide))])
    whole = np.full(len(wide), 2.0 * np.pi)
    xy = _round(middle, arm, whole, number / (4.0 * quads[disc]), disc)
    return shapely.polygons(shapely.linearrings(xy, indices=disc))


def moved(loops: Loops, distance: np.ndarray, excess_m: float) -> tuple[np.ndarray, np.ndarray]:
    """Move loops to their right.

    Parameters
    ----------
    loops : Loops
    distance : ndarray, (loops,)
        Above 0, metres.
    excess_m : float
        By so much more they are moved, so that arcs drawn with chords contain those of the distance.

    Returns
    -------
    rings : ndarray of Polygon, (loops,)
        What the moved loops go round, as they come: they may cross themselves.
    area : ndarray, (loops,)
        Square metres, each part as often as it is gone round: clockwise less than 0.
    """
    wide = distance + excess_m
    quads = _quads(distance, wide)
    of, _ = numbered(loops.count)
    following, before = (turned(loops.count, np.full(len(loops.count), by)) for by in (1, -1))
    b = loops.xy
    edge = b[following] - b
    length = np.hypot(*edge.T)
    ahead = edge / length[:, None]
    along = ahead[before]
    turn = _turns(along, ahead, loops.square)
    arm, next_arm = (
        np.column_stack([way[:, 1], -way[:, 0]]) * wide[of][:, None] for way in (along, ahead)
    )
    # How much of both edges a corner takes where they cross.
    with np.errstate(over="ignore"):
        taken = np.where(turn < 0.0, wide[of] * np.tan(-turn / 2.0), 0.0)
    fits = taken + taken[following] < length
    crosses = (turn < 0.0) & fits & fits[before]
    by_corner = (turn < 0.0) & ~crosses
    chords = np.where(turn > 0.0, np.ceil(turn / (np.pi / 2.0 / quads[of])), 0).astype(int)
    count = np.where(by_corner, 3, chords + 1)
    corner, number = numbered(count)
    first = firsts(count)
    xy = b[corner] + arm[corner]
    xy[first[crosses]] = (b + arm + along * -taken[:, None])[crosses]
    xy[first[by_corner] + 1] = b[by_corner]
    last = first + count - 1
    joined = by_corner | (chords > 0)
    xy[last[joined]] = (b + next_arm)[joined]
    between = (number > 0) & (number < chords[corner])
    on = corner[between]
    xy[between] = _round(b, arm, turn, number[between] / chords[on], on)
    loop = of[corner]
    area = _areas(xy, np.bincount(loop, minlength=len(loops.count)))
    return shapely.polygons(shapely.linearrings(xy, indices=loop)), area


def wound(rings: np.ndarray) -> np.ndarray:
    """Give the ground that rings go round anticlockwise once at least; those of a negative area are not looked at.

    Parameters
    ----------
    rings : ndarray of Polygon, (n,)
        They may cross themselves.

    Returns
    -------
    ndarray of Polygon or MultiPolygon, (n,)
    """
    ground = rings.copy()
    crossed = ~shapely.is_valid(rings)
    # GEOS takes as ground what lies on the left more often than on the right.
    ground[crossed] = shapely.buffer(rings[crossed], 0.0)
    return ground


def _quads(distance: np.ndarray, wide: np.ndarray) -> np.ndarray:
    """Give of how many chords a quarter of a circle consists.

    An arc of 4q chords per circle of radius D + x touches the circle of radius D from outside
    when (D + x) cos(π / 4q) = D.
    """
    return np.maximum(FEWEST_QUADS, np.ceil(np.pi / (4.0 * np.arccos(distance / wide))))


def _turns(along: np.ndarray, ahead: np.ndarray, square: np.ndarray) -> np.ndarray:
    """Angles by which ways turn to the left into those that follow, radians; a half turn to the right ends square."""
    across = along[:, 0] * ahead[:, 1] - along[:, 1] * ahead[:, 0]
    turn = np.arctan2(across, (along * ahead).sum(axis=1))
    back = (along == -ahead).all(axis=1)
    return np.where(back, np.where(square, -np.pi, np.pi), turn)


def _round(middle, arm, angle, share, which) -> np.ndarray:
    """Points on arcs round middles, at shares of the angles from the arms."""
    turned = np.arctan2(arm[:, 1], arm[:, 0])[which] + share * angle[which]
    size = np.hypot(*arm.T)[which]
    return middle[which] + size[:, None] * np.column_stack([np.cos(turned), np.sin(turned)])


def _areas(xy: np.ndarray, count: np.ndarray) -> np.ndarray:
    """Areas of rings, square metres, less than 0 of those that go clockwise."""
    begin = firsts(count)
    x, y = (xy - np.repeat(xy[begin], count, axis=0)).T
    following = turned(count, np.ones(len(count), dtype=int))
    return (
        np.add.reduceat(x * y[following] - x[following] * y, begin) / 2.0
        if len(xy)
        else np.zeros(0)
    )
