"""Posts along a fence: corners, ends, gates, line posts at a greatest spacing, and braces.

A straight run of length L with posts at most s apart has ceil(L/s) spans.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely

from screenplan.works.enclosure import Ground

#: A turn of the wire that makes a corner post, degrees (common practice, no source).
CORNER_TURN_DEG = 10.0
#: Room that a gate needs beyond its width for its posts, metres.
GATE_ROOM_M = 0.6
#: Posts stand this far off the tolerance zone of a buried line, metres.
OFF_ZONE_M = 0.01
#: Lengths closer than this are the same.
SAME_M = 1e-6


@dataclass(frozen=True)
class Post:
    """One post: where, what for, how far along, and with how many brace assemblies."""

    x: float
    y: float
    role: str
    station_m: float
    braces: int
    says: str | None = None


@dataclass(frozen=True)
class Run:
    """A run of wire, or a gate, between two stations."""

    line: shapely.LineString
    station_m: float
    gate: bool


def set_posts(
    path: shapely.LineString,
    ground: Ground,
    *,
    closed: bool,
    spacing_m: float,
    brace_every_m: float,
    gates: int,
    gate_m: float,
) -> tuple[list[Post], list[Run]]:
    """Set the posts of one fence.

    Parameters
    ----------
    path : LineString
        The wire's course; a ring if ``closed``.
    ground : Ground
        No post is set in its ``buried`` zones.
    closed : bool
    spacing_m, brace_every_m : float
        Greatest distance of line posts, and of brace assemblies, metres.
    gates : int
        How many gates; each goes into the middle of the long edge furthest inside the parcel that
        has none.
    gate_m : float
        Clear width of a gate, metres.

    Returns
    -------
    posts : list of Post
    runs : list of Run
        Wire between gates, and the gates.
    """
    xy = shapely.get_coordinates(path)
    edges = list(pairwise(xy))
    lengths = [float(math.hypot(*(b - a))) for a, b in edges]
    holders = _gate_edges(edges, lengths, ground, gates, gate_m)
    posts: list[Post] = []
    runs: list[Run] = []
    wire: list[np.ndarray] = [xy[0]]
    run_from, at, since = 0.0, 0.0, 0.0
    for number, ((a, b), length) in enumerate(zip(edges, lengths, strict=True)):
        u = (b - a) / length
        role = _vertex_role(xy, number, closed)
        posts.append(
            Post(a[0], a[1], role, at, {"corner": 2, "end": 1}.get(role, 0), in_zone(a, ground))
        )
        if role != "line":
            since = at
        marks: list[tuple[float, str]] = []
        if number in holders:
            middle = length / 2.0
            marks = [(middle - gate_m / 2.0, "gate"), (middle + gate_m / 2.0, "gate")]
        before = 0.0
        for mark, kind in [*marks, (length, "vertex")]:
            in_gate = kind == "gate" and before > 0.0 and before == marks[0][0]
            if not in_gate:
                for station in _line_stations(a, u, before, mark, ground, spacing_m):
                    # A brace where the next post would be further on than a brace may be.
                    further = at + station - since + spacing_m > brace_every_m + SAME_M
                    posts.append(
                        Post(
                            a[0] + station * u[0],
                            a[1] + station * u[1],
                            "brace" if further else "line",
                            at + station,
                            int(further),
                            None,
                        )
                    )
                    if further:
                        since = at + station
            if kind == "gate":
                point = a + mark * u
                posts.append(Post(point[0], point[1], "gate", at + mark, 1, in_zone(point, ground)))
                since = at + mark
                if in_gate:
                    runs.append(Run(shapely.LineString([a + before * u, point]), at + before, True))
                    wire, run_from = [point], at + mark
                else:
                    wire.append(point)
                    runs.append(Run(shapely.LineString(wire), run_from, False))
            before = mark
        wire.append(b)
        at += length
    if not closed:
        posts.append(Post(xy[-1, 0], xy[-1, 1], "end", at, 1, in_zone(xy[-1], ground)))
    runs.append(Run(shapely.LineString(wire), run_from, False))
    return posts, runs


def spans(length_m: float, spacing_m: float) -> int:
    """Spans of a straight run: ceil(L/s), and at least 1.

    Examples
    --------
    >>> spans(30.0, 4.0), spans(28.0, 4.0)
    (8, 7)
    """
    return max(1, math.ceil(length_m / spacing_m - SAME_M))


def _vertex_role(xy: np.ndarray, number: int, closed: bool) -> str:
    if number == 0 and not closed:
        return "end"
    before = xy[number - 1] if number else xy[-2]
    back, ahead = xy[number] - before, xy[number + 1] - xy[number]
    cross, dot = back[0] * ahead[1] - back[1] * ahead[0], back @ ahead
    turn = abs(math.degrees(math.atan2(cross, dot)))
    return "corner" if turn > CORNER_TURN_DEG else "line"


def _gate_edges(edges, lengths, ground: Ground, gates: int, gate_m: float) -> set[int]:
    """Choose the edges for gates: long ones, furthest inside the parcel, off buried lines."""
    found = []
    for number, ((a, b), length) in enumerate(zip(edges, lengths, strict=True)):
        middle, u = (a + b) / 2.0, (b - a) / length
        ends = shapely.points([middle - u * gate_m / 2.0, middle + u * gate_m / 2.0])
        if (
            length < max(gate_m + GATE_ROOM_M, 0.5 * max(lengths))
            or shapely.intersects(ends, ground.buried).any()
        ):
            continue
        inside = shapely.Point(middle).distance(ground.subject.boundary)
        found.append((round(inside, 3), length, number))
    return {number for *_, number in sorted(found, reverse=True)[:gates]}


def _line_stations(a, u, start: float, end: float, ground: Ground, spacing: float) -> list[float]:
    """Stations of line posts between two posts, none of them over a buried line."""
    edge = shapely.LineString([a + start * u, a + end * u])
    zones: list[tuple[float, float]] = []
    for part in shapely.get_parts(shapely.intersection(edge, ground.buried)):
        if part.geom_type == "LineString" and part.length > SAME_M:
            along = (shapely.get_coordinates(part) - a) @ u
            zones.append((float(along.min()) - OFF_ZONE_M, float(along.max()) + OFF_ZONE_M))
    found: list[float] = []
    at = start
    for low, high in sorted(zones):
        if low > at + SAME_M:
            found += _evenly(at, low, spacing)
        at = max(at, high)
        # A post on each side of the line, as near to it as may be.
        found += [low, high]
    if at < end:
        found += _evenly(at, end, spacing)
    return [station for station in found if start + SAME_M < station < end - SAME_M]


def _evenly(start: float, end: float, spacing: float) -> list[float]:
    count = spans(end - start, spacing)
    return [start + (end - start) * step / count for step in range(1, count)]


def in_zone(point, ground: Ground) -> str | None:
    """Say it if a post stands in the tolerance zone of a buried line."""
    if shapely.intersects(ground.buried, shapely.Point(point)):
        return "in the tolerance zone of a buried line: have it located and move this post"
    return None
