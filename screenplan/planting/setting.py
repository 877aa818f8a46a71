"""Setting plants along the planting lines, of many lots at once.

Lines that meet at a corner share one plant there: it stands at the zero peg of the line that starts
at the corner, and the other line's last gap ends at it. Plants of different lines keep half a
spacing from each other; where that leaves a gap above the spacing, the gap is reported as a dropped
station.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import chain, pairwise

import geopandas as gpd
import numpy as np
import shapely

from screenplan.plan.planting import Rows
from screenplan.planting.clearing import keep_clear_each
from screenplan.planting.existing import Standing
from screenplan.planting.patterns import EQUAL_SHARE, between
from screenplan.planting.spans import (
    CLEARANCE_M,
    covered_spans_each,
    places_on,
    plantable_stretches_each,
)
from screenplan.planting.stations import (
    LEAST_SHARE,
    Stations,
    covers,
    set_evened,
    set_exact,
    settle,
    subtract,
    within,
)
from screenplan.site.lots import Many

#: Lines whose ends come this close meet at a corner.
CORNER_M = 0.005
#: Where a plant stands, metres.
Spot = tuple[float, float]


@dataclass
class Planted:
    """The plants of a line in the order in which they were set, as lists of one length.

    Parameters
    ----------
    stations : list of float
        Metres from the zero peg.
    moved : list of float
        How far each was moved from the pattern, metres.
    standing : list of Standing or None
        What stood there already.
    x, y : list of float
        Where each stands; those that were set last have no place yet.
    """

    stations: list[float] = field(default_factory=list)
    moved: list[float] = field(default_factory=list)
    standing: list[Standing | None] = field(default_factory=list)
    x: list[float] = field(default_factory=list)
    y: list[float] = field(default_factory=list)

    def add(self, station: float, spot: Spot, standing: Standing | None = None) -> None:
        """Set one plant at a place that is known."""
        self.stations.append(station)
        self.moved.append(0.0)
        self.standing.append(standing)
        self.x.append(spot[0])
        self.y.append(spot[1])

    def take(self, placed: Sequence[tuple[float, float]]) -> None:
        """Set new plants, by station and how far each was moved, whose places are not known yet."""
        self.stations += [station for station, _ in placed]
        self.moved += [moved for _, moved in placed]
        self.standing += [None] * len(placed)


def shared_corners(planting_lines: gpd.GeoDataFrame) -> dict[int, int]:
    """Pairs of lines of one row that meet at a corner: the one that ends there, the one that starts.

    Returns
    -------
    dict
        From the position of the line that starts to that of the line that ends; a closed line maps
        to itself.
    """
    return _shared_corners(Many.one(planting_lines))


def _shared_corners(lines: Many) -> dict[int, int]:
    """Pairs of lines of one row and lot that meet at a corner; see `shared_corners`."""
    rows = lines.layer["row"].to_numpy(int)
    starts, ends = (
        shapely.get_coordinates(shapely.get_point(lines.shapes, place)) for place in (0, -1)
    )
    start, end = lines.beside(lines.lot)
    near = np.hypot(*(ends[end] - starts[start]).T) <= CORNER_M
    near &= rows[end] == rows[start]
    pairs: dict[int, int] = {}
    for index, found in zip(start[near].tolist(), end[near].tolist(), strict=True):
        pairs.setdefault(index, found)
    return pairs


class Setting:
    """The plants of lots set so far, and what is needed to set the next line of each.

    Lines are known by their rows in the layer; those of different lots know nothing of each other.
    """

    def __init__(self, layer: Many, grounds: np.ndarray, asked: Rows):
        self.layer = layer.layer
        self.lines = layer.shapes
        self.lot = layer.lot.tolist()
        self.lots = layer.lots
        self.sides = list(map(str, layer.layer["side_id"].to_numpy(object)))
        self.rows = layer.layer["row"].to_numpy(int).tolist()
        self.lengths = shapely.length(self.lines).tolist()
        ends = (shapely.get_coordinates(shapely.get_point(self.lines, place)) for place in (0, -1))
        self.begins, self.ends = (list(map(tuple, xy.tolist())) for xy in ends)
        self.stretches: list[list[tuple[float, float]]] = [[] for _ in self.lot]
        stretches = plantable_stretches_each(self.lines, grounds[layer.lot])
        for line, low, high in zip(*(part.tolist() for part in stretches), strict=True):
            self.stretches[line].append((low, high))
        assert asked.spacing is not None  # `with_spacing` chose it
        self.spacing, self.fit, self.move_m = asked.spacing, asked.fit, asked.move
        self.fill_existing = asked.fill_existing
        self.planted = [Planted() for _ in self.lot]
        self.dropped: list[list[float]] = [[] for _ in self.lot]
        self.groups: dict[int, list[list[float]]] = {}
        self.corners = _shared_corners(layer)
        self.fixed: list[list[float]] = [[] for _ in self.lot]
        self.least = asked.spacing * LEAST_SHARE
        self._lines_of: list[list[int]] = [[] for _ in range(self.lots)]
        for index, lot in enumerate(self.lot):
            self._lines_of[lot].append(index)
        self._apart: dict[tuple[int, int], float] = {}

    def waves(self, row: int) -> Iterator[list[int]]:
        """Give the lines of a row, of each lot one at a time, so that each is set before those after it."""
        order = [[index for index in lines if self.rows[index] == row] for lines in self._lines_of]
        for number in range(max(map(len, order), default=0)):
            yield [lines[number] for lines in order if len(lines) > number]

    def standing_on(self, index: int) -> list[float]:
        """Give the stations of a line where a plant stands already."""
        planted = self.planted[index]
        return [
            station
            for station, standing in zip(planted.stations, planted.standing, strict=True)
            if standing is not None
        ]

    def join_corners(self) -> None:
        """Set one plant at each corner of the first row where it can stand for both lines."""
        for start, end in self.corners.items():
            length, other = self.lengths[start], self.lengths[end]
            free = (
                self.stretches[start]
                and self.stretches[start][0][0] <= CORNER_M
                and self.stretches[end]
                and self.stretches[end][-1][1] >= other - CORNER_M
            )
            if self.rows[start] != 1 or not free:
                continue
            crowded = self._is_crowded(start, self.begins[start])
            short = min(length, other) < (2 if start == end else 1) * self.least * (
                1.0 - EQUAL_SHARE
            )
            kept = not self.fill_existing and (self.standing_on(start) or self.standing_on(end))
            if crowded or short or kept:
                continue
            self.fixed[start].append(0.0)
            self.fixed[end].append(other)
            self.planted[start].add(0.0, self.begins[start])

    def plant_lines(self, some: Sequence[int]) -> None:
        """Set the plants of lines of the first row, of each lot one at most."""
        for index, crowded in zip(some, self._near_others(some), strict=True):
            self._plant_line(index, crowded)
        self._place(some)

    def _plant_line(self, index: int, crowded: list[tuple[float, float]]) -> None:
        standing = self.standing_on(index)
        if standing and not self.fill_existing:
            self.groups[index] = []
            return
        fixed = sorted({*self.fixed[index], *standing})
        stretches = subtract(self.stretches[index], crowded)
        if self.fit == "evened":
            found = set_evened(stretches, fixed, self.spacing, standing)
        else:
            length = self.lengths[index]
            found = set_exact(length, stretches, fixed, standing, self.spacing, self.move_m)
        self._take(index, found)
        self.groups[index] = found.groups
        self._explain(index, crowded)

    def stagger_lines(self, some: Sequence[int]) -> None:
        """Set the plants of lines of the second row, of each lot one at most, between those of the first."""
        for index, crowded in zip(some, self._near_others(some), strict=True):
            self._stagger_line(index, crowded)
        self._place(some)

    def _stagger_line(self, index: int, crowded: list[tuple[float, float]]) -> None:
        line, standing = self.lines[index], self.standing_on(index)
        if standing and not self.fill_existing:
            return
        wanted: set[float] = set()
        beside = self._lines_of[self.lot[index]]
        near = [
            first
            for first in beside
            if self.rows[first] == 1 and self.sides[first] == self.sides[index]
        ]
        # Lines of the side that lie farther along it are not those before this one.
        apart = min((self._between(first, index) for first in near), default=0.0)
        for first in near:
            for group in self.groups.get(first, []):
                wanted.update(self._middles(first, group, line, apart))
        stretches = subtract(self.stretches[index], crowded)
        # A plant of another line that stands on the very spot serves both.
        taken = shapely.MultiPoint(
            [
                spot
                for other in beside
                for spot in zip(self.planted[other].x, self.planted[other].y, strict=True)
            ]
        )
        ordered = [
            (station, 0.0)
            for station in sorted(wanted)
            if taken.distance(line.interpolate(station)) > CORNER_M
        ]
        found = settle(ordered, stretches, standing, self.spacing, self.move_m)
        # The inner row is shorter at a corner: stations that crowd there are none to report.
        allowed = self.stretches[index]
        found.dropped = [station for station in found.dropped if not within(station, allowed)]
        self._take(index, found)

    def fill_second_row(self) -> None:
        """Fill plantable gaps of the staggered row that are wider than the spacing.

        They arise where it is longer than the first row: round a corner that points inwards, and
        where stations crowded at a corner.
        """
        seconds = [index for index, row in enumerate(self.rows) if row == 2]
        for line in seconds:
            own = sorted(self.planted[line].stations)
            for a, b in pairwise(own):
                if covers((a, b), self.stretches[line]):
                    self._fill(line, between(a, b, self.spacing))
        for line in seconds:
            before = self.corners.get(line)
            if (
                before is None
                or not self.planted[line].stations
                or not self.planted[before].stations
            ):
                continue
            length, last = self.lengths[before], max(self.planted[before].stations)
            first = min(self.planted[line].stations)
            if not covers((last, length), self.stretches[before]) or not covers(
                (0.0, first), self.stretches[line]
            ):
                continue
            arms, most = (length - last, first), self.spacing * (1.0 + EQUAL_SHARE)
            if min(arms) >= self.least * (1.0 - EQUAL_SHARE) and max(arms) <= most < sum(arms):
                self._fill(line, [0.0])
                continue
            at = between(last, length + first, self.spacing)
            self._fill(before, at[at < length])
            self._fill(line, at[at >= length] - length)
        for line, crowded in zip(seconds, self._near_others(seconds), strict=True):
            self._explain(line, crowded)

    def _fill(self, index: int, stations: Iterable[float]) -> None:
        for station in stations:
            point = self.lines[index].interpolate(station)
            if not self._is_crowded(index, (point.x, point.y)):
                self.planted[index].add(float(station), (point.x, point.y))

    def _explain(self, index: int, crowded: list[tuple[float, float]]) -> None:
        """Report the gaps above the spacing that plants of other lines leave."""
        if not crowded:
            return
        stations = sorted({*self.planted[index].stations, *self.fixed[index]})
        told = list(self.dropped[index])
        for a, b in pairwise(stations):
            if b - a <= self.spacing * (1.0 + EQUAL_SHARE) + CLEARANCE_M:
                continue
            is_told = any(a < station < b for station in told)
            if is_told or not covers((a, b), self.stretches[index]):
                continue
            spans = [(max(a, low), min(b, high)) for low, high in crowded if low < b and high > a]
            if spans:
                low, high = max(spans, key=lambda span: span[1] - span[0])
                self.dropped[index].append((low + high) / 2.0)

    def _room(self, index: int, other: int) -> float:
        """Distance that plants of two lines keep: half a spacing, or the two rows' own distance."""
        if self.sides[index] != self.sides[other] or self.rows[index] == self.rows[other]:
            return self.least
        return min(self.least, 0.99 * self._between(index, other))

    def _between(self, index: int, other: int) -> float:
        """Distance between two lines."""
        pair = min(index, other), max(index, other)
        if pair not in self._apart:
            self._apart[pair] = self.lines[pair[0]].distance(self.lines[pair[1]])
        return self._apart[pair]

    def _is_crowded(self, index: int, spot: Spot) -> bool:
        """Whether a plant of any line stands too near to a place on one line."""
        for other in self._lines_of[self.lot[index]]:
            planted = self.planted[other]
            if planted.x:
                room = self._room(index, other) * (1.0 - EQUAL_SHARE)
                spots = zip(planted.x, planted.y, strict=True)
                if any(distance(own, spot) < room for own in spots):
                    return True
        return False

    def _middles(self, first: int, group: list[float], line, apart: float) -> list[float]:
        group = sorted(set(group))
        if len(group) < 2:
            return []
        middles = (np.array(group[:-1]) + np.array(group[1:])) / 2.0
        points = self.lines[first].interpolate(middles)
        beside = shapely.distance(points, line) <= 1.5 * apart + self.spacing
        at = shapely.line_locate_point(line, points[beside])
        stations: list[float] = []
        for station in np.unique(np.round(at, 9)):
            if stations and station - stations[-1] < self.spacing * LEAST_SHARE:
                continue
            if stations:
                # Round an arc the inner row is longer: no gap above the spacing there either.
                stations.extend(between(stations[-1], station, self.spacing))
            stations.append(float(station))
        return stations

    def _near_others(self, some: Sequence[int]) -> list[list[tuple[float, float]]]:
        """Spans of lines, by line, on which a plant of another line leaves no room."""
        found: list[list[tuple[float, float]]] = [[] for _ in some]
        number, points, least = self._within_boxes(some)
        lines = self.lines[np.array(some, dtype=int)[number]]
        near = shapely.distance(points, lines) < least * (1.0 - EQUAL_SHARE)
        # The plant of a shared corner belongs to both lines.
        spots = shapely.get_coordinates(points).tolist()
        for k in np.flatnonzero(near).tolist():
            near[k] = not self._at_corner(some[number[k]], tuple(spots[k]))
        if not near.any():
            return found
        grounds = keep_clear_each(points[near], least[near])
        spans = covered_spans_each(lines[near], grounds)
        of = number[near].tolist()
        for item, low, high in zip(*(part.tolist() for part in spans), strict=True):
            found[of[item]].append((low, high))
        return found

    def _within_boxes(self, some: Sequence[int]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Give the plants of other lines that may leave no room on some lines, and how much room each keeps.

        Returns
        -------
        number : ndarray of int, (plants,)
            Of which of these lines each is within the box; by line, and by that of the plants.
        points : ndarray of Point, (plants,)
        room_m : ndarray, (plants,)
        """
        pairs = [
            (number, other, self._room(index, other))
            for number, index in enumerate(some)
            for other in self._lines_of[self.lot[index]]
            if other != index and self.planted[other].x
        ]
        count = [len(self.planted[other].x) for _, other, _ in pairs]
        number = np.repeat(np.array([number for number, _, _ in pairs], dtype=int), count)
        room = np.repeat([room for _, _, room in pairs], count)
        x, y = (
            np.array(list(chain.from_iterable(getattr(self.planted[other], axis) for _, other, _ in pairs)))
            for axis in ("x", "y")
        )  # fmt: skip
        west, south, east, north = shapely.bounds(self.lines[np.array(some, dtype=int)]).T
        near = (x > west[number] - room) & (x < east[number] + room)
        near &= (y > south[number] - room) & (y < north[number] + room)
        return number[near], shapely.points(x[near], y[near]), room[near]

    def _at_corner(self, index: int, spot: Spot) -> bool:
        """Whether a place is that of the plant at a shared corner of a line."""
        corners = [
            self.begins[index] if station == 0.0 else self.ends[index]
            for station in self.fixed[index]
        ]
        return any(distance(spot, corner) <= CORNER_M for corner in corners)

    def _take(self, index: int, found: Stations) -> None:
        """Add the stations of a line; its new plants have no place yet."""
        self.dropped[index] += found.dropped
        self.planted[index].take(found.placed)

    def _place(self, some: Sequence[int]) -> None:
        """Give the new plants of lines their places."""
        planted = [self.planted[index] for index in some]
        new = [own.stations[len(own.x) :] for own in planted]
        of = np.repeat(np.arange(len(some)), list(map(len, new)))
        at = np.array(list(chain.from_iterable(new)))
        xy = places_on(self.lines[np.array(some, dtype=int)], of, at).T
        x, y, begin = *(values.tolist() for values in xy), 0
        for own, stations in zip(planted, new, strict=True):
            end = begin + len(stations)
            own.x += x[begin:end]
            own.y += y[begin:end]
            begin = end


def distance(spot: Spot, other: Spot) -> float:
    """Give the distance between two places, metres."""
    across, along = spot[0] - other[0], spot[1] - other[1]
    return math.sqrt(across * across + along * along)
