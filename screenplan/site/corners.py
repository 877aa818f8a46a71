"""The real corners of an outline: where it turns over a base length, not at each vertex.

At a running distance s along the outline, the turn is the angle between two chords: from the
point a base length b before s to the point at s, and from there to the point b after s. At a sharp
corner it is the corner's angle; on an arc of radius R it is close to b/R, so that a curve of a few
metres' radius is a corner and a wide one is not; survey noise of e moves it by about e/b.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import shapely

from screenplan.site.compass import bearing_deg, turn_deg
from screenplan.site.repair import SAME_VERTEX_M

#: Samples of the turn per base length.
SAMPLES_PER_BASE = 16
#: An outline is sampled at this many points at most, however long it is.
MOST_SAMPLES = 60_000
#: Two peaks of the turn are two corners if it falls by this much between them.
DIP_DEG = 5.0
#: A peak of the turn reaches as far as it stays within this of its highest value.
PLATEAU_DEG = 2.0
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
#: A rounded corner turns by at least this.
LEAST_BEND_DEG = 45.0
#: It turns this many times as fast as its side does on average.
BEND_RATIO = 2.0


@dataclass(frozen=True)
class Ring:
    """A closed outline, anticlockwise, addressed by the running distance along it.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
        Its vertices in metres, the first not repeated at the end.
    at : ndarray, shape (n + 1,)
        Running distance of each vertex in metres; the last is the length of the whole.
    """

    xy: np.ndarray
    at: np.ndarray

    @classmethod
    def around(cls, polygon: shapely.Polygon) -> Ring:
        """Take the outer ring of a polygon; holes are no part of the outline."""
        polygon = shapely.remove_repeated_points(shapely.force_2d(polygon))
        xy = shapely.get_coordinates(polygon.exterior)
        # By the signed area, which holds for an outline that crosses itself too.
        east, north = (xy - xy[0]).T
        if np.sum(east[:-1] * north[1:] - east[1:] * north[:-1]) < 0.0:
            xy = xy[::-1]
        steps = np.hypot(*np.diff(xy, axis=0).T)
        return cls(xy[:-1], np.concatenate([[0.0], np.cumsum(steps)]))

    @cached_property
    def _closed(self) -> np.ndarray:
        """East and north of the vertices, the first one again at the end; shape (2, n + 1)."""
        return np.ascontiguousarray(np.vstack([self.xy, self.xy[:1]]).T)

    @property
    def length_m(self) -> float:
        """Length of the outline."""
        return float(self.at[-1])

    def points(self, s) -> np.ndarray:
        """Give the points at running distances, counted on past the end; shape (..., 2)."""
        s = np.mod(s, self.length_m)
        return np.stack([np.interp(s, self.at, values) for values in self._closed], axis=-1)

    def vertices_near(self, s: float, reach_m: float) -> np.ndarray:
        """Give the running distances of the vertices within a reach of one, ascending."""
        whole, at = self.length_m, self.at[:-1]
        if 2.0 * reach_m >= whole:
            return at
        low, high = (s - reach_m) % whole, (s + reach_m) % whole
        first = np.searchsorted(at, low, side="left")
        after = np.searchsorted(at, high, side="right")
        return at[first:after] if low <= high else np.concatenate([at[:after], at[first:]])

    def headings_deg(self, start, end) -> np.ndarray:
        """Give the directions of the chords between running distances."""
        chord = self.points(end) - self.points(start)
        return bearing_deg(chord[..., 0], chord[..., 1])

    def turns_deg(self, s, base_m: float) -> np.ndarray:
        """Give the turn over the base length at each running distance, left turns positive."""
        s = np.asarray(s, dtype=float)
        return turn_deg(self.headings_deg(s - base_m, s), self.headings_deg(s, s + base_m))

    def cut(self, corners: np.ndarray) -> list[np.ndarray]:
        """Cut the outline at ascending running distances.

        Returns
        -------
        list of ndarray, shape (k, 2)
            The vertices of each piece; it begins in one corner and ends in exactly the point in
            which the next begins.
        """
        at = np.concatenate([self.at[:-1], self.at[:-1] + self.length_m])
        xy = np.vstack([self.xy, self.xy])
        ends = self.points(corners)
        following = np.append(corners[1:], corners[0] + self.length_m)
        first = np.searchsorted(at, corners, side="right")
        after = np.searchsorted(at, following, side="left")
        return [
            np.vstack([ends[i], xy[first[i] : after[i]], ends[(i + 1) % len(ends)]])
            for i in range(len(ends))
        ]


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


def find_corners(ring: Ring, corner_deg: float, base_m: float) -> np.ndarray:
    """Find where an outline turns a corner.

    1. Peaks of the turn of at least ``corner_deg``. Jogs and spurs shorter than the base length,
       whose left and right turns cancel, are none.
    2. The middle of a rounded corner of a larger radius: a stretch of a side that turns at least
       twice as fast as that side on average, and by 45° or more.
    3. An outline with fewer than two of these (a circle) is cut where it reaches farthest to the
       north-east, north-west, south-west and south-east.

    Parameters
    ----------
    ring : Ring
        The outline.
    corner_deg : float
        The least change of direction.
    base_m : float
        The length over which it is measured; see `fitting_base`.

    Returns
    -------
    ndarray
        Running distances of the corners, ascending; two at least.
    """
    sampled = _sample(ring, base_m)
    corners = _sharp_corners(ring, sampled, corner_deg, base_m)
    corners = np.union1d(corners, _rounded_corners(ring, corners, base_m))
    if len(corners):
        # Two peaks may settle on one place, but for rounding.
        corners = corners[np.diff(corners, prepend=corners[-1] - ring.length_m) >= SAME_VERTEX_M]
    if len(corners) < 2:
        corners = _add_outermost(ring, corners, base_m)
    return np.sort(corners)


def fitting_base(polygon: shapely.Polygon, base_m: float) -> float:
    """Shorten the base length on a parcel that is too narrow for it; see `least_width`."""
    return min(base_m, WIDTH_SHARE * least_width(polygon))


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


def _sample(ring: Ring, base_m: float) -> np.ndarray:
    step = max(base_m / SAMPLES_PER_BASE, ring.length_m / MOST_SAMPLES)
    even = np.linspace(0.0, ring.length_m, int(np.ceil(ring.length_m / step)), endpoint=False)
    return np.union1d(even, ring.at[:-1])


def _sharp_corners(ring: Ring, s: np.ndarray, corner_deg: float, base_m: float) -> np.ndarray:
    turns = ring.turns_deg(s, base_m)
    peaks = [
        (sign, peak)
        for sign in (1.0, -1.0)
        for peak in _peaks(sign * turns, LOW_SHARE * corner_deg)
    ]
    plateaus = [_plateau(ring, s, sign * turns, peak) for sign, peak in peaks]
    near = [ring.vertices_near(middle, half + VERTEX_SHARE * base_m) for middle, half in plateaus]
    sharp = ring.turns_deg(np.concatenate([[], *near]), SHARP_SHARE * base_m)
    cuts = np.cumsum([len(some) for some in near])[:-1]
    found = [
        _settle(ring, middle, (some, sign * turned), sign, sign * turns[peak], base_m)
        for (sign, peak), (middle, _), some, turned in zip(
            peaks, plateaus, near, np.split(sharp, cuts), strict=bool(peaks)
        )
    ]
    found.sort(key=lambda corner: corner.s)
    return _without_jogs(ring, found, corner_deg, base_m)


def _peaks(value: np.ndarray, least: float) -> list[int]:
    """Find the peaks of a cyclic sequence that are high enough and stand apart.

    Samples are added from the highest down; where two hills meet, the lower one is a peak of its
    own if it rises by `DIP_DEG` above the meeting point.
    """
    order = np.argsort(-value, kind="stable")
    order = order[value[order] >= least - DIP_DEG]
    top: dict[int, int] = {}
    count = len(value)
    parent: dict[int, int] = {}

    def root(item: int) -> int:
        while parent[item] != item:
            parent[item] = parent[parent[item]]
            item = parent[item]
        return item

    apart = []
    for item in order.tolist():
        parent[item] = item
        top[item] = item
        for beside in ((item - 1) % count, (item + 1) % count):
            if beside not in parent:
                continue
            one, other = root(item), root(beside)
            if one == other:
                continue
            high, low = (one, other) if value[top[one]] >= value[top[other]] else (other, one)
            if value[top[low]] - value[item] >= DIP_DEG:
                apart.append(top[low])
            parent[low] = high
    apart += [top[item] for item in parent if parent[item] == item]
    return [peak for peak in apart if value[peak] >= least]


def _plateau(ring: Ring, s: np.ndarray, value: np.ndarray, peak: int) -> tuple[float, float]:
    """Give the middle of the stretch on which a peak stays near its highest value, and half its length."""
    count = len(s)
    reach = []
    for direction in (-1, 1):
        item, travelled = peak, 0.0
        while True:
            following = (item + direction) % count
            if value[following] < value[peak] - PLATEAU_DEG or following == peak:
                break
            travelled += (direction * (s[following] - s[item])) % ring.length_m
            item = following
        reach.append(travelled)
    return s[peak] + (reach[1] - reach[0]) / 2.0, (reach[1] + reach[0]) / 2.0


def _settle(
    ring: Ring,
    middle: float,
    vertices: tuple[np.ndarray, np.ndarray],
    sign: float,
    turn: float,
    base_m: float,
) -> _Corner:
    """Put a corner on its vertex if it is a sharp one, else in the middle of its plateau.

    ``vertices`` are those near the plateau, and how much each turns to the corner's hand.
    """
    near, sharp = vertices
    enough = sharp >= SHARP_TURN_SHARE * turn
    if enough.any():
        off = (near - middle + ring.length_m / 2.0) % ring.length_m - ring.length_m / 2.0
        best = off[np.argmax(sharp)]
        # Two sharp vertices of one hand are the ends of a chamfer, which is cut in its middle.
        second = enough & (np.abs(off - best) > SHARP_SHARE * base_m)
        other = off[second][np.argmax(sharp[second])] if second.any() else best
        at = float(near[np.argmax(sharp)])
        if second.any():
            at = (middle + (best + other) / 2.0) % ring.length_m
        reach = np.abs(best - other) / 2.0
        return _Corner(at, at - reach, at + reach, sign, float(turn))
    at = float(middle % ring.length_m)
    return _Corner(at, at, at, sign, float(turn))


def _without_jogs(ring: Ring, found: list[_Corner], corner_deg: float, base_m: float) -> np.ndarray:
    """Leave out left and right turns that follow within the base length and cancel."""
    if not found:
        return np.empty(0)
    groups = [[found[0]]]
    for corner in found[1:]:
        if corner.first - groups[-1][-1].last < base_m:
            groups[-1].append(corner)
        else:
            groups.append([corner])
    whole = ring.length_m
    if len(groups) > 1 and groups[0][0].first + whole - groups[-1][-1].last < base_m:
        groups[0] = [corner.moved(-whole) for corner in groups.pop()] + groups[0]
    kept: list[float] = []
    for group in groups:
        high = [corner for corner in group if corner.turn_deg >= corner_deg]
        if len({corner.sign for corner in group}) > 1 and high:
            first, last = group[0].first, group[-1].last
            net = turn_deg(
                ring.headings_deg(first - base_m, first), ring.headings_deg(last, last + base_m)
            )
            both_ways = len({corner.sign for corner in high}) > 1
            high = [corner for corner in high if corner.sign == np.sign(net)]
            if abs(net) < corner_deg:
                high = []
            elif both_ways and high:
                high = [max(high, key=lambda corner: corner.turn_deg)]
        kept += [corner.s for corner in high]
    return np.mod(np.array(kept, dtype=float), whole)


def _rounded_corners(ring: Ring, corners: np.ndarray, base_m: float) -> np.ndarray:
    """Find the middle of each stretch that turns much faster than the side that holds it."""
    whole = ring.length_m
    if len(corners):
        ordered = np.sort(corners)
        stretches = list(zip(ordered, np.append(ordered[1:], ordered[0] + whole), strict=True))
        margin = base_m / 2.0
    else:
        # No corner at all: the walk goes once round, and a quarter on, so as to miss no bend.
        stretches = [(0.0, 1.25 * whole)]
        margin = 0.0
    found: list[float] = []
    for start, end in stretches:
        length = end - start - 2.0 * margin
        if length < 3.0 * base_m:
            continue
        step = max(base_m / SAMPLES_PER_BASE, whole / MOST_SAMPLES)
        s = np.linspace(start + margin, end - margin, int(np.ceil(length / step)) + 1)
        heading = np.degrees(
            np.unwrap(np.radians(-ring.headings_deg(s - base_m / 2, s + base_m / 2)))
        )
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


def _add_outermost(ring: Ring, corners: np.ndarray, base_m: float) -> np.ndarray:
    """Cut an outline without corners where it reaches farthest along the four diagonals."""
    outermost = [
        ring.at[np.argmax(ring.xy @ np.array(way, dtype=float))]
        for way in ((1, 1), (-1, 1), (-1, -1), (1, -1))
    ]
    return _apart(np.concatenate([corners, outermost]), ring.length_m, base_m)


def _apart(s: np.ndarray, whole: float, least: float) -> np.ndarray:
    """Keep, in the given order, those that are not within ``least`` of one kept before."""
    kept: list[float] = []
    for item in s:
        if all(abs((item - other + whole / 2) % whole - whole / 2) >= least for other in kept):
            kept.append(float(item))
    return np.array(kept, dtype=float)
