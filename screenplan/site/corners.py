"""The real corners of an outline: where it turns over a base length, not at each vertex.

At a running distance s along the outline, the turn is the angle between two chords: from the
point a base length b before s to the point at s, and from there to the point b after s. At a sharp
corner it is the corner's angle; on an arc of radius R it is close to b/R, so that a curve of a few
metres' radius is a corner and a wide one is not; survey noise of e moves it by about e/b.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import shapely

from screenplan.site.compass import turn_deg
from screenplan.site.peaks import find_peaks
from screenplan.site.ragged import numbered
from screenplan.site.repair import SAME_VERTEX_M
from screenplan.site.rings import Rings

#: Samples of the turn per base length.
SAMPLES_PER_BASE = 16
#: An outline is sampled at this many points at most, however long it is.
MOST_SAMPLES = 60_000
#: A corner's vertex is looked for on its plateau, and beyond by this share of the base length.
VERTEX_SHARE = 0.5
#: A vertex is sharp if it turns over this share of the base length ...
SHARP_SHARE = 0.25
#: ... by at least this share of what the corner turns over the whole.
SHARP_TURN_SHARE = 0.6
#: The base length is at most this share of the parcel's width.
WIDTH_SHARE = 0.4
#: A turn of this share of a corner's, the other way and near, makes a jog or a spur of a corner.
LOW_SHARE = 1.0 / 3.0
#: A side that turns by less than this in all holds no rounded corner.
BEND_DEG = 60.0
#: Running distances that differ by less are one place.
ROUNDED_M = 1e-6
#: A rounded corner turns by at least this.
LEAST_BEND_DEG = 45.0
#: It turns this many times as fast as its side does on average.
BEND_RATIO = 2.0


@dataclass(frozen=True)
class _Corner:
    """A change of direction: where, between which sharp vertices, to which hand, how much."""

    s: float
    first: float
    last: float
    sign: float
    turn_deg: float

    def moved(self, by: float) -> _Corner:
        return _Corner(self.s + by, self.first + by, self.last + by, self.sign, self.turn_deg)


def find_corners(
    rings: Rings, corner_deg: float, base_m: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Find where outlines turn a corner.

    1. Peaks of the turn of at least ``corner_deg``. Jogs and spurs shorter than the base length,
       whose left and right turns cancel, are none.
    2. The middle of a rounded corner of a larger radius: a stretch of a side that turns at least
       twice as fast as that side on average, and by 45° or more.
    3. An outline with fewer than two of these (a circle) is cut where it reaches farthest to the
       north-east, north-west, south-west and south-east.

    Parameters
    ----------
    rings : Rings
        The outlines.
    corner_deg : float
        The least change of direction.
    base_m : ndarray, (rings,)
        The length over which it is measured; see `fitting_bases`.

    Returns
    -------
    ring : ndarray of int, (corners,)
        Ascending.
    s : ndarray, (corners,)
        Running distances of the corners, ascending in a ring; two at least.
    """
    found = []
    sharp = _sharp_corners(rings, corner_deg, base_m)
    for ring, corners in enumerate(sharp):
        rounded = _rounded_corners(rings, ring, corners, float(base_m[ring]))
        corners = np.array(sorted({*corners.tolist(), *rounded.tolist()}), dtype=float)
        if len(corners):
            # Two peaks may settle on one place, but for rounding.
            before = corners[-1] - rings.length_m[ring]
            corners = corners[np.diff(corners, prepend=before) >= SAME_VERTEX_M]
        if len(corners) < 2:
            corners = np.sort(_add_outermost(rings, ring, corners, float(base_m[ring])))
        found.append(corners)
    count = [len(corners) for corners in found]
    return np.repeat(np.arange(len(found)), count), np.concatenate([[], *found])


def fitting_bases(polygons: np.ndarray, base_m: float) -> np.ndarray:
    """Shorten the base length on each parcel that is too narrow for it; see `least_width`."""
    hulls = shapely.convex_hull(polygons)
    west, south, east, north = shapely.bounds(hulls).reshape(-1, 4).T
    # A hull is wider than its area by its length, so that most need no closer look.
    across = 0.999 * shapely.area(hulls) / np.hypot(east - west, north - south)
    bases = np.full(len(polygons), float(base_m))
    for narrow in np.flatnonzero(~(WIDTH_SHARE * across > base_m)):
        bases[narrow] = min(base_m, WIDTH_SHARE * least_width(polygons[narrow]))
    return bases


def least_width(polygon: shapely.Polygon) -> float:
    """Give the least distance between two parallels that hold a polygon, metres.

    One of them lies along an edge of the convex hull. The corner farthest from it is that at which
    the edges of the hull, which turn to the left all the way round, come to run the other way.
    """
    corners = _hull_of(shapely.get_coordinates(shapely.convex_hull(polygon)))
    edges = np.diff(corners, axis=0, append=corners[:1])
    angle = np.unwrap(np.arctan2(edges[:, 1], edges[:, 0]))
    angle = np.maximum.accumulate(angle)  # edges almost in line may seem to turn back
    turned = np.concatenate([angle, angle + 2.0 * np.pi])
    farthest = corners[np.searchsorted(turned, angle + np.pi) % len(corners)]
    away = farthest - corners
    across = edges[:, 0] * away[:, 1] - edges[:, 1] * away[:, 0]
    return float((across / np.hypot(edges[:, 0], edges[:, 1])).min())


def _hull_of(points: np.ndarray) -> np.ndarray:
    """Corners of the convex hull, anticlockwise, each a real turn to the left (monotone chain).

    Of corners that are in line but for rounding, shapely keeps some, and not always in their order.
    """
    points = np.unique(points, axis=0)  # sorted by x, then y
    chains = []
    for way in (points.tolist(), points[::-1].tolist()):
        chain: list[list[float]] = []
        for x, y in way:
            while len(chain) > 1:
                (x0, y0), (x1, y1) = chain[-2:]
                if (x1 - x0) * (y - y0) > (y1 - y0) * (x - x0):
                    break
                chain.pop()
            chain.append([x, y])
        chains += chain[:-1]
    return np.array(chains)


def _sample(rings: Rings, base_m: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the ring and the running distance of each sample, ascending."""
    length = rings.length_m
    step = np.maximum(base_m / SAMPLES_PER_BASE, length / MOST_SAMPLES)
    count = np.ceil(length / step)
    ring, number = numbered(count)
    even = number * (length / count)[ring]
    on_vertex, at = numbered(rings.count)
    ring = np.concatenate([ring, on_vertex])
    s = np.concatenate([even, rings.at[rings.first[on_vertex] + at]])
    order = np.lexsort((s, ring))
    ring, s = ring[order], s[order]
    new = (np.diff(ring, prepend=-1) > 0) | (np.diff(s, prepend=-1.0) != 0.0)
    return ring[new], s[new]


def _sharp_corners(rings: Rings, corner_deg: float, base_m: np.ndarray) -> list[np.ndarray]:
    """Find the corners of each ring that are peaks of the turn."""
    ring, s = _sample(rings, base_m)
    turns = rings.turns_deg(ring, s, base_m[ring])
    count = np.bincount(ring, minlength=len(rings.count))
    bases, peaks = base_m.tolist(), []
    for sign in (1.0, -1.0):
        high = find_peaks(s, sign * turns, count, rings.length_m, LOW_SHARE * corner_deg)
        columns = (column.tolist() for column in high)
        peaks += [_Peak(sign, *peak) for peak in zip(*columns, strict=True)]
    near = [
        rings.vertices_near(peak.ring, peak.middle, peak.half_m + VERTEX_SHARE * bases[peak.ring])
        for peak in peaks
    ]
    of = np.repeat(np.array([peak.ring for peak in peaks], dtype=int), [len(own) for own in near])
    vertices = np.array([at for own in near for at in own])
    sharp = iter(rings.turns_deg(of, vertices, SHARP_SHARE * base_m[of]).tolist())
    found: list[list[_Corner]] = [[] for _ in bases]
    for peak, own in zip(peaks, near, strict=True):
        turned = [peak.sign * next(sharp) for _ in own]
        found[peak.ring].append(_settle(peak, own, turned, rings, bases[peak.ring]))
    return _without_jogs(rings, found, corner_deg, base_m)


class _Peak(NamedTuple):
    """A peak of the turn: to which hand, of which ring, how high, the middle of its plateau and half its length."""

    sign: float
    ring: int
    turn_deg: float
    middle: float
    half_m: float


def _settle(
    peak: _Peak, near: list[float], sharp: list[float], rings: Rings, base_m: float
) -> _Corner:
    """Put a corner on its vertex if it is a sharp one, else in the middle of its plateau.

    ``near`` are the vertices near the plateau, and ``sharp`` how much each turns to the corner's hand.
    """
    whole = rings.at_of[peak.ring][-1]
    enough = [turned >= SHARP_TURN_SHARE * peak.turn_deg for turned in sharp]
    if any(enough):
        off = [(at - peak.middle + whole / 2.0) % whole - whole / 2.0 for at in near]
        sharpest = max(range(len(sharp)), key=sharp.__getitem__)
        best = other = off[sharpest]
        at = near[sharpest]
        # Two sharp vertices of one hand are the ends of a chamfer, which is cut in its middle.
        second = [
            item
            for item, far in enumerate(off)
            if enough[item] and abs(far - best) > SHARP_SHARE * base_m
        ]
        if second:
            other = off[max(second, key=sharp.__getitem__)]
            at = (peak.middle + (best + other) / 2.0) % whole
        reach = abs(best - other) / 2.0
        return _Corner(at, at - reach, at + reach, peak.sign, peak.turn_deg)
    at = peak.middle % whole
    return _Corner(at, at, at, peak.sign, peak.turn_deg)


def _without_jogs(
    rings: Rings, found: list[list[_Corner]], corner_deg: float, base_m: np.ndarray
) -> list[np.ndarray]:
    """Leave out left and right turns that follow within the base length and cancel."""
    bases, lengths = base_m.tolist(), rings.length_m.tolist()
    groups = [
        (ring, group)
        for ring, corners in enumerate(found)
        for group in _groups(sorted(corners, key=lambda one: one.s), bases[ring], lengths[ring])
    ]
    mixed = [
        (ring, group[0].first, group[-1].last)
        for ring, group in groups
        if len({corner.sign for corner in group}) > 1
    ]
    of = np.array([ring for ring, _, _ in mixed], dtype=int)
    first, last = (np.array([one[k] for one in mixed]) for k in (1, 2))
    nets = iter(
        turn_deg(
            rings.headings_deg(of, first - base_m[of], first),
            rings.headings_deg(of, last, last + base_m[of]),
        ).tolist()
    )
    kept: list[list[float]] = [[] for _ in found]
    for ring, group in groups:
        high = [corner for corner in group if corner.turn_deg >= corner_deg]
        if len({corner.sign for corner in group}) > 1:
            high = _turned(high, next(nets), corner_deg)
        kept[ring] += [corner.s % lengths[ring] for corner in high]
    return [np.array(own, dtype=float) for own in kept]


def _groups(found: list[_Corner], base_m: float, length_m: float) -> list[list[_Corner]]:
    """Part the corners of a ring where they follow each other by the base length or more."""
    if not found:
        return []
    groups = [[found[0]]]
    for corner in found[1:]:
        if corner.first - groups[-1][-1].last < base_m:
            groups[-1].append(corner)
        else:
            groups.append([corner])
    if len(groups) > 1 and groups[0][0].first + length_m - groups[-1][-1].last < base_m:
        groups[0] = [corner.moved(-length_m) for corner in groups.pop()] + groups[0]
    return groups


def _turned(high: list[_Corner], net_deg: float, corner_deg: float) -> list[_Corner]:
    """Give what stays of the high corners of a group that turns both ways, by so much in all."""
    if abs(net_deg) < corner_deg:
        return []
    both_ways = len({corner.sign for corner in high}) > 1
    high = [corner for corner in high if corner.sign == np.sign(net_deg)]
    return [max(high, key=lambda corner: corner.turn_deg)] if both_ways and high else high


def _rounded_corners(rings: Rings, ring: int, corners: np.ndarray, base_m: float) -> np.ndarray:
    """Find the middle of each stretch that turns much faster than the side that holds it."""
    whole = rings.at_of[ring][-1]
    if len(corners):
        ordered = sorted(corners.tolist())
        stretches = list(zip(ordered, [*ordered[1:], ordered[0] + whole], strict=True))
        margin = base_m / 2.0
    else:
        # No corner at all: the walk goes once round, and a quarter on, so as to miss no bend.
        stretches = [(0.0, 1.25 * whole)]
        margin = 0.0
    found: list[float] = []
    for start, end in stretches:
        length = end - start - 2.0 * margin
        # The corner at its end is no bend of a stretch, whatever is rounded.
        until = end - ROUNDED_M
        if length < 3.0 * base_m or rings.bend_deg(ring, start, until) < BEND_DEG - 1.0:
            continue
        step = max(base_m / SAMPLES_PER_BASE, whole / MOST_SAMPLES)
        s = np.linspace(start + margin, end - margin, int(np.ceil(length / step)) + 1)
        of = np.full(len(s), ring)
        turn = np.radians(-rings.headings_deg(of, s - base_m / 2, s + base_m / 2))
        heading = np.degrees(np.unwrap(turn))
        net = heading[-1] - heading[0]
        if abs(net) < BEND_DEG:
            continue
        lag = max(1, round(base_m / (s[1] - s[0])))
        rate = np.abs(heading[lag:] - heading[:-lag]) / (s[lag] - s[0])
        toward = np.sign(heading[lag:] - heading[:-lag]) == np.sign(net)
        fast = toward & (rate >= BEND_RATIO * abs(net) / length)
        edges = np.flatnonzero(np.diff(np.concatenate([[False], fast, [False]]).astype(int)))
        for first, after in edges.reshape(-1, 2):
            low, high = first, min(after - 1 + lag, len(s) - 1)
            cut_short = not len(corners) and (first == 0 or after == len(fast))
            if abs(heading[high] - heading[low]) < LEAST_BEND_DEG or cut_short:
                continue
            middle = (s[low] + s[high]) / 2.0
            if len(corners) and min(middle - start, end - middle) < 2.0 * base_m:
                continue
            found.append(middle % whole)
    return _apart(np.array(found, dtype=float), whole, base_m)


def _add_outermost(rings: Rings, ring: int, corners: np.ndarray, base_m: float) -> np.ndarray:
    """Cut an outline without corners where it reaches farthest along the four diagonals."""
    at, first = rings.at_of[ring], rings.first[ring]
    xy = rings.xy[first : first + rings.count[ring]]
    outermost = [
        at[np.argmax(xy @ np.array(way, dtype=float))]
        for way in ((1, 1), (-1, 1), (-1, -1), (1, -1))
    ]
    return _apart(np.concatenate([corners, outermost]), at[-1], base_m)


def _apart(s: np.ndarray, whole: float, least: float) -> np.ndarray:
    """Keep, in the given order, those that are not within ``least`` of one kept before."""
    kept: list[float] = []
    for item in s:
        if all(abs((item - other + whole / 2) % whole - whole / 2) >= least for other in kept):
            kept.append(float(item))
    return np.array(kept, dtype=float)
