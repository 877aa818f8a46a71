"""Setting plants along the planting lines, of many lots at once.

Lines that meet at a corner share one plant there: it stands at the zero peg of the line that starts
at the corner, and the other line's last gap ends at it. Plants of different lines keep half a
spacing from each other; where that leaves a gap above the spacing, the gap is reported as a dropped
station.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import geopandas as gpd
import numpy as np
import shapely

from screenplan.plan.planting import Rows
from screenplan.planting.clearing import keep_clear_each
from screenplan.planting.existing import Standing
from screenplan.planting.patterns import EQUAL_SHARE, between
from screenplan.planting.spans import CLEARANCE_M, covered_spans_each, plantable_stretches_each
from screenplan.planting.stations import (
    LEAST_SHARE,
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
#: Where a plant stands, metres; not known before those of its line are placed.
Spot = tuple[float, float]


@dataclass
class Plant:
    """A plant: its line, its station on it and its place, how far it was moved, and what stood there already."""

    line: int
    station: float
    spot: Spot
    moved: float = 0.0
    standing: Standing | None = None


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
        self.sides = [str(side) for side in layer.layer["side_id"]]
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
        self.plants: list[list[Plant]] = [[] for _ in range(layer.lots)]
        self.dropped: list[tuple[int, float]] = []
        self.groups: dict[int, list[list[float]]] = {}
        self.corners = _shared_corners(layer)
        self.fixed: dict[int, list[float]] = {index: [] for index in range(len(self.lot))}
        self.least = asked.spacing * LEAST_SHARE
        self._apart: dict[tuple[int, int], float] = {}

    def beside(self, index: int) -> list[Plant]:
        """Give the plants of the lot of a line."""
        return self.plants[self.lot[index]]

    def waves(self, row: int) -> Iterator[list[int]]:
        """Give the lines of a row, of each lot one at a time, so that each is set before those after it."""
        order: list[list[int]] = [[] for _ in range(self.lots)]
        for index, own in enumerate(self.rows):
            if own == row:
                order[self.lot[index]].append(index)
        for number in range(max(map(len, order), default=0)):
            yield [lines[number] for lines in order if len(lines) > number]

    def standing_on(self, index: int) -> list[float]:
        """Give the stations of a line where a plant stands already."""
        return [p.station for p in self.beside(index) if p.line == index and p.standing is not None]

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
            short = min(length, other) < (2 if start == end else 1) * self.least
            kept = not self.fill_existing and (self.standing_on(start) or self.standing_on(end))
            if crowded or short or kept:
                continue
            self.fixed[start].append(0.0)
            self.fixed[end].append(other)
            self.beside(start).append(Plant(start, 0.0, self.begins[start]))

    def plant_lines(self, some: Sequence[int]) -> None:
        """Set the plants of lines of the first row, of each lot one at most."""
        new: list[Plant] = []
        for index, crowded in zip(some, self._near_others(some), strict=True):
            new += self._plant_line(index, crowded)
        self._place(new)

    def _plant_line(self, index: int, crowded: list[tuple[float, float]]) -> list[Plant]:
        standing = self.standing_on(index)
        if standing and not self.fill_existing:
            self.groups[index] = []
            return []
        fixed = sorted({*self.fixed[index], *standing})
        stretches = subtract(self.stretches[index], crowded)
        if self.fit == "evened":
            found = set_evened(stretches, fixed, self.spacing, standing)
        else:
            length = self.lengths[index]
            found = set_exact(length, stretches, fixed, standing, self.spacing, self.move_m)
        new = self._take(index, found)
        self.groups[index] = found.groups
        self._explain(index, crowded)
        return new

    def stagger_lines(self, some: Sequence[int]) -> None:
        """Set the plants of lines of the second row, of each lot one at most, between those of the first."""
        new: list[Plant] = []
        for index, crowded in zip(some, self._near_others(some), strict=True):
            new += self._stagger_line(index, crowded)
        self._place(new)

    def _stagger_line(self, index: int, crowded: list[tuple[float, float]]) -> list[Plant]:
        line, standing = self.lines[index], self.standing_on(index)
        if standing and not self.fill_existing:
            return []
        wanted: set[float] = set()
        near = [
            first
            for first in range(len(self.rows))
            if self.rows[first] == 1
            and self.lot[first] == self.lot[index]
            and self.sides[first] == self.sides[index]
        ]
        # Lines of the side that lie farther along it are not those before this one.
        apart = min((self._between(first, index) for first in near), default=0.0)
        for first in near:
            for group in self.groups.get(first, []):
                wanted.update(self._middles(first, group, line, apart))
        stretches = subtract(self.stretches[index], crowded)
        # A plant of another line that stands on the very spot serves both.
        taken = shapely.MultiPoint([plant.spot for plant in self.beside(index)])
        ordered = [
            (station, 0.0)
            for station in sorted(wanted)
            if taken.distance(line.interpolate(station)) > CORNER_M
        ]
        found = settle(ordered, stretches, standing, self.spacing, self.move_m)
        # The inner row is shorter at a corner: stations that crowd there are none to report.
        allowed = self.stretches[index]
        found.dropped = [station for station in found.dropped if not within(station, allowed)]
        return self._take(index, found)

    def fill_second_row(self) -> None:
        """Fill plantable gaps of the staggered row that are wider than the spacing.

        They arise where it is longer than the first row: round a corner that points inwards, and
        where stations crowded at a corner.
        """
        seconds = [index for index, row in enumerate(self.rows) if row == 2]
        for line in seconds:
            own = self._stations_on(line)
            for a, b in pairwise(own):
                if covers((a, b), self.stretches[line]):
                    self._fill(line, between(a, b, self.spacing))
        for line in seconds:
            before = self.corners.get(line)
            if before is None or not self._stations_on(line) or not self._stations_on(before):
                continue
            length, last = self.lengths[before], self._stations_on(before)[-1]
            first = self._stations_on(line)[0]
            if not covers((last, length), self.stretches[before]) or not covers(
                (0.0, first), self.stretches[line]
            ):
                continue
            arms = (length - last, first)
            if min(arms) >= self.least and self.spacing < sum(arms) <= 2 * self.spacing:
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
                self.beside(index).append(Plant(index, float(station), (point.x, point.y)))

    def _stations_on(self, index: int) -> list[float]:
        return sorted(plant.station for plant in self.beside(index) if plant.line == index)

    def _explain(self, index: int, crowded: list[tuple[float, float]]) -> None:
        """Report the gaps above the spacing that plants of other lines leave."""
        stations = sorted({*self._stations_on(index), *self.fixed[index]})
        told = [station for line, station in self.dropped if line == index]
        for a, b in pairwise(stations):
            if b - a <= self.spacing * (1.0 + EQUAL_SHARE) + CLEARANCE_M:
                continue
            is_told = any(a < station < b for station in told)
            if is_told or not covers((a, b), self.stretches[index]):
                continue
            spans = [(max(a, low), min(b, high)) for low, high in crowded if low < b and high > a]
            if spans:
                low, high = max(spans, key=lambda span: span[1] - span[0])
                self.dropped.append((index, (low + high) / 2.0))

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
        plants = self.beside(index)
        rooms = {other: self._room(index, other) for other in {p.line for p in plants}}
        return any(
            distance(plant.spot, spot) < rooms[plant.line] * (1.0 - EQUAL_SHARE) for plant in plants
        )

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
        # By line: the plants of other lines in their order, and the room that each leaves.
        of, rooms, spots = [], [], []
        for number, index in enumerate(some):
            others = sorted({plant.line for plant in self.beside(index)} - {index})
            for other in others:
                room = self._room(index, other)
                own = [plant.spot for plant in self.beside(index) if plant.line == other]
                of += [number] * len(own)
                rooms += [room] * len(own)
                spots += own
        found: list[list[tuple[float, float]]] = [[] for _ in some]
        if not spots:
            return found
        line, least, points = np.array(of), np.array(rooms), shapely.points(spots)
        lines = self.lines[np.array(some)]
        near = np.flatnonzero(shapely.distance(points, lines[line]) < least)
        # The plant of a shared corner belongs to both lines.
        near = near[[not self._at_corner(some[of[k]], spots[k]) for k in near.tolist()]]
        grounds = keep_clear_each(points[near], least[near])
        spans = covered_spans_each(lines[line[near]], grounds)
        for item, low, high in zip(*(part.tolist() for part in spans), strict=True):
            found[of[near[item]]].append((low, high))
        return found

    def _at_corner(self, index: int, spot: Spot) -> bool:
        """Whether a place is that of the plant at a shared corner of a line."""
        corners = [
            self.begins[index] if station == 0.0 else self.ends[index]
            for station in self.fixed[index]
        ]
        return any(distance(spot, corner) <= CORNER_M for corner in corners)

    def _take(self, index: int, found) -> list[Plant]:
        """Add the stations of a line, and give its new plants, which have no place yet."""
        self.dropped += [(index, station) for station in found.dropped]
        nowhere = (math.nan, math.nan)
        new = [
            Plant(index, float(station), nowhere, float(moved)) for station, moved in found.placed
        ]
        self.beside(index).extend(new)
        return new

    def _place(self, plants: Sequence[Plant]) -> None:
        """Give new plants their places on their lines."""
        lines = self.lines[np.array([plant.line for plant in plants], dtype=int)]
        points = shapely.line_interpolate_point(lines, [plant.station for plant in plants])
        for plant, (x, y) in zip(plants, shapely.get_coordinates(points).tolist(), strict=True):
            plant.spot = x, y


def distance(spot: Spot, other: Spot) -> float:
    """Give the distance between two places, metres."""
    across, along = spot[0] - other[0], spot[1] - other[1]
    return math.sqrt(across * across + along * along)
