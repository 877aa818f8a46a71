"""Plants set along the planting lines.

Lines that meet at a corner share one plant there: it stands at the zero peg of the line that starts
at the corner, and the other line's last gap ends at it. Plants of different lines keep half a
spacing from each other; where that leaves a gap above the spacing, the gap is reported as a dropped
station with the word `CORNER_RULE` in place of a rule.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import geopandas as gpd
import numpy as np
import shapely

from screenplan.contracts import DROPPED, PLANTS
from screenplan.contracts.tables import layer_of_columns, with_notes
from screenplan.ground.errors import InputError, refuse
from screenplan.plan import DEFAULTS, Options
from screenplan.plan.planting import Rows
from screenplan.planting.clearing import keep_clear_each
from screenplan.planting.existing import EXISTING_WITHIN_M, Standing, standing_plants_each
from screenplan.planting.mixes import kind_at, kinds_in, with_spacing
from screenplan.planting.patterns import EQUAL_SHARE, between
from screenplan.planting.spans import (
    CLEARANCE_M,
    covered_spans_each,
    plantable_stretches_each,
    running,
)
from screenplan.planting.species import species_of
from screenplan.planting.species_model import Species
from screenplan.planting.stations import (
    LEAST_SHARE,
    covers,
    set_evened,
    set_exact,
    settle,
    subtract,
    within,
)
from screenplan.planting.stock import planted_height
from screenplan.planting.zones import plantable_ground
from screenplan.site.lots import Lots, Many
from screenplan.site.ragged import firsts
from screenplan.site.terrain import Terrain, ground_at

#: Lines whose ends come this close meet at a corner.
CORNER_M = 0.005
#: What forbids a station when no zone does: another plant stands too near, at a corner.
CORNER_RULE = "corner"
#: Kind of stock of a plant that stands already.
STANDING_STOCK = "standing"


#: Where a plant stands, metres; not known before those of its line are placed.
Spot = tuple[float, float]


@dataclass
class _Plant:
    line: int
    station: float
    spot: Spot
    moved: float = 0.0
    standing: Standing | None = None


def set_plants(
    planting_lines: gpd.GeoDataFrame,
    plantable_zone: gpd.GeoDataFrame,
    no_plant_zones: gpd.GeoDataFrame,
    existing_screens: gpd.GeoDataFrame | None = None,
    terrain: Terrain | None = None,
    *,
    plan: Options = DEFAULTS,
    species_table: Mapping[str, Species] | None = None,
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame]:
    """Set plants along the lines.

    Parameters
    ----------
    planting_lines, plantable_zone, no_plant_zones : GeoDataFrame
        In the local frame, metres.
    existing_screens : GeoDataFrame, optional
        Its rows of the kind ``plant`` near a line are kept as they stand, even inside a zone.
    terrain : Terrain, optional
        Ground heights; without it the site is flat at height 0.
    plan : Options, optional
        Of it [rows] and [plants]. A second row is staggered: it stands in the middle of the first
        row's gaps.
    species_table : mapping, optional
        The species table, by default the shipped one.

    Returns
    -------
    plants, dropped_stations : GeoDataFrame
        Plants in the order of the lines and along each; ``gap_before_m`` of the first plant after a
        shared corner runs along both lines. Standing plants that belong to no line are named in
        ``attrs["notes"]`` of the plants.

    Raises
    ------
    InputError
        If no species has such stock, or no plant can be set at all.
    """
    zone = plantable_ground(plantable_zone, no_plant_zones, planting_lines)
    around = {} if existing_screens is None else {"existing_screens": existing_screens}
    made = _set_rows(
        Lots(around, np.zeros(1, dtype=int)),
        Many.one(planting_lines),
        np.array([zone], dtype=object),
        Many.one(no_plant_zones),
        _Asked(plan, terrain, species_table),
    )
    if not len(made.plants.layer):
        rules = {rule for some in made.rules for rule in some}
        raise refuse(
            "no plant can be set on the planting lines"
            + (f"; stations are forbidden by {', '.join(sorted(rules))}" if rules else ""),
            "Let stations move further, give a smaller spacing, or choose another line",
            key=Rows.key("move"),
            kind="room",
        )
    notes = [
        f"standing plant {plant.screen_id} is farther than {{{EXISTING_WITHIN_M} m}} from every planting line and is not counted"
        for plant in made.standing
        if plant.line is None
    ]
    return with_notes(made.plants.layer, notes), made.dropped.layer


def set_plants_each(
    lots: Lots,
    layers: Mapping[str, Many],
    *,
    plan: Options = DEFAULTS,
    terrain: Terrain | None = None,
    species_table: Mapping[str, Species] | None = None,
) -> tuple[Many, Many]:
    """Set plants along the lines of several lots; see `set_plants`.

    Parameters
    ----------
    lots : Lots
        Existing screens around them are kept as there.
    layers : mapping of str to Many
        ``planting_lines``, ``plantable_zone`` and ``no_plant_zones``.
    plan, terrain, species_table
        As there.

    Returns
    -------
    plants, dropped_stations : Many
        None of a lot on whose lines no plant can be set; plants and stations are numbered in each lot.
    """
    made = _set_rows(
        lots,
        layers["planting_lines"],
        layers["plantable_zone"].united,
        layers["no_plant_zones"],
        _Asked(plan, terrain, species_table),
    )
    return made.plants, made.dropped


@dataclass(frozen=True)
class _Asked:
    """What is planted, and on which ground."""

    plan: Options
    terrain: Terrain | None
    species_table: Mapping[str, Species] | None


@dataclass(frozen=True)
class _Made:
    """What was set: plants, stations that were dropped and the rules that forbid each, and the plants that stood before."""

    plants: Many
    dropped: Many
    rules: list[list[str]]
    standing: list[Standing]


def _set_rows(lots: Lots, lines: Many, grounds: np.ndarray, zones: Many, asked: _Asked) -> _Made:
    """Set the plants of lots on their grounds, (lots,)."""
    kinds = kinds_in(asked.plan.plants.species, asked.species_table)
    heights = {kind: planted_height(kind, asked.plan.plants.stock_height) for kind in kinds}
    standing = standing_plants_each(lots, lines)
    setting = _Setting(lines, grounds, with_spacing(asked.plan, asked.species_table).rows)
    for plant in standing:
        if plant.line is not None:
            spot = plant.point.x, plant.point.y
            own = _Plant(plant.line, plant.station_m, spot, standing=plant)
            setting.plants[setting.lot[plant.line]].append(own)
    setting.join_corners()
    for some in setting.waves(1):
        setting.plant_lines(some)
    for some in setting.waves(2):
        setting.stagger_lines(some)
    setting.fill_second_row()
    plants = _plant_rows(setting, asked, kinds, heights)
    return _Made(plants, *_dropped_rows(setting, zones), standing)


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


class _Setting:
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
        self.plants: list[list[_Plant]] = [[] for _ in range(layer.lots)]
        self.dropped: list[tuple[int, float]] = []
        self.groups: dict[int, list[list[float]]] = {}
        self.corners = _shared_corners(layer)
        self.fixed: dict[int, list[float]] = {index: [] for index in range(len(self.lot))}
        self.least = asked.spacing * LEAST_SHARE
        self._apart: dict[tuple[int, int], float] = {}

    def beside(self, index: int) -> list[_Plant]:
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
            self.beside(start).append(_Plant(start, 0.0, self.begins[start]))

    def plant_lines(self, some: Sequence[int]) -> None:
        """Set the plants of lines of the first row, of each lot one at most."""
        new: list[_Plant] = []
        for index, crowded in zip(some, self._near_others(some), strict=True):
            new += self._plant_line(index, crowded)
        self._place(new)

    def _plant_line(self, index: int, crowded: list[tuple[float, float]]) -> list[_Plant]:
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
        new: list[_Plant] = []
        for index, crowded in zip(some, self._near_others(some), strict=True):
            new += self._stagger_line(index, crowded)
        self._place(new)

    def _stagger_line(self, index: int, crowded: list[tuple[float, float]]) -> list[_Plant]:
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
                self.beside(index).append(_Plant(index, float(station), (point.x, point.y)))

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
            _distance(plant.spot, spot) < rooms[plant.line] * (1.0 - EQUAL_SHARE)
            for plant in plants
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
        return any(_distance(spot, corner) <= CORNER_M for corner in corners)

    def _take(self, index: int, found) -> list[_Plant]:
        """Add the stations of a line, and give its new plants, which have no place yet."""
        self.dropped += [(index, station) for station in found.dropped]
        nowhere = (math.nan, math.nan)
        new = [
            _Plant(index, float(station), nowhere, float(moved)) for station, moved in found.placed
        ]
        self.beside(index).extend(new)
        return new

    def _place(self, plants: Sequence[_Plant]) -> None:
        """Give new plants their places on their lines."""
        lines = self.lines[np.array([plant.line for plant in plants], dtype=int)]
        points = shapely.line_interpolate_point(lines, [plant.station for plant in plants])
        for plant, (x, y) in zip(plants, shapely.get_coordinates(points).tolist(), strict=True):
            plant.spot = x, y


def _distance(spot: Spot, other: Spot) -> float:
    across, along = spot[0] - other[0], spot[1] - other[1]
    return math.sqrt(across * across + along * along)


def _plant_rows(setting: _Setting, asked: _Asked, kinds, heights) -> Many:
    """Give the layer of the plants, of each lot in the order of its lines and along each."""
    plants = sorted(
        (plant for some in setting.plants for plant in some),
        key=lambda plant: (plant.line, plant.station),
    )
    of = np.array([plant.line for plant in plants], dtype=int)
    lot = np.array(setting.lot, dtype=int)[of]
    points = shapely.points(np.array([plant.spot for plant in plants]).reshape(-1, 2))
    xy = shapely.get_coordinates(points)
    last = {plant.line: plant.station for plant in plants}
    line_ids = setting.layer["line_id"].to_numpy(dtype=object)
    offsets = setting.layer["offset_m"].to_numpy(dtype=float, na_value=math.nan).tolist()
    chosen, before = asked.plan.plants, None
    planted = dict.fromkeys(last, 0)
    species, stock, height, offset, gap = [], [], [], [], []
    turns = [(kind, float(heights[kind])) for kind in kinds]
    for plant in plants:
        own = plant.standing
        kind, planted_m = kind_at(turns, planted[plant.line], chosen.group)
        planted[plant.line] += own is None
        height.append(planted_m if own is None else own.height_m)
        if own is not None and own.species is not None:
            kind = species_standing(own, asked.species_table)
        species.append(kind.key)
        stock.append(chosen.stock if own is None else STANDING_STOCK)
        offset.append(_offset(setting.lines[plant.line], offsets[plant.line], plant))
        gap.append(_gap(setting, plant, before, last))
        before = plant
    columns = {
        "plant_id": np.arange(len(plants)) - firsts(np.bincount(lot, minlength=setting.lots))[lot] + 1,
        "line_id": line_ids[of],
        "side_id": [setting.sides[line] for line in of.tolist()],
        "row": np.array(setting.rows, dtype=int)[of],
        "station_m": np.array([plant.station for plant in plants]),
        "slope_station_m": _slope_stations(setting, asked.terrain, plants),
        "offset_m": np.array(offset),
        "gap_before_m": np.array(gap),
        "ground_m": ground_at(asked.terrain, xy),
        "species": species,
        "stock": stock,
        "stock_height_m": np.array(height),
        "existing": np.array([plant.standing is not None for plant in plants], dtype=bool),
        "moved_m": np.array([plant.moved for plant in plants]),
    }  # fmt: skip
    return Many(layer_of_columns(PLANTS, columns, points, setting.layer.crs), lot, setting.lots)


def _dropped_rows(setting: _Setting, zones: Many) -> tuple[Many, list[list[str]]]:
    """Give the layer of the stations that were dropped, and the rules that forbid each."""
    dropped = sorted(setting.dropped)
    of = np.array([line for line, _ in dropped], dtype=int)
    lot = np.array(setting.lot, dtype=int)[of]
    stations = np.array([station for _, station in dropped])
    points = shapely.line_interpolate_point(setting.lines[of], stations)
    rules = _rules_at(points, lot, zones)
    columns = {
        "station_id": np.arange(len(of)) - firsts(np.bincount(lot, minlength=setting.lots))[lot] + 1,
        "line_id": setting.layer["line_id"].to_numpy(dtype=object)[of],
        "station_m": stations,
        "rules": [", ".join(some) or CORNER_RULE for some in rules],
    }  # fmt: skip
    layer = layer_of_columns(DROPPED, columns, points, setting.layer.crs)
    return Many(layer, lot, setting.lots), rules


def _gap(setting: _Setting, plant: _Plant, before: _Plant | None, last: dict[int, float]) -> float:
    if before is not None and before.line == plant.line:
        return plant.station - before.station
    end = setting.corners.get(plant.line)
    if end is None or end not in last:
        return math.nan
    return setting.lengths[end] - last[end] + plant.station


def _offset(line, offset: float, plant: _Plant) -> float:
    """Offset of a plant: the line's, and for a standing plant its distance beside the line too."""
    if plant.standing is None or math.isnan(offset):
        return offset
    step = min(0.01, line.length / 2)
    a = line.interpolate(max(plant.station - step, 0.0))
    b = line.interpolate(min(plant.station + step, line.length))
    at = line.interpolate(plant.station)
    x, y = plant.spot
    left = (b.x - a.x) * (y - at.y) - (b.y - a.y) * (x - at.x)
    # The line runs anticlockwise, so its left is further inside.
    return offset + math.copysign(_distance((at.x, at.y), plant.spot), left)


def species_standing(plant: Standing, species_table) -> Species:
    """Find the species of a plant that stands; refused by its name if there is none."""
    assert plant.species is not None  # of others nobody asks
    try:
        return species_of(plant.species, species_table)
    except InputError as error:
        (problem,) = error.problems
        raise refuse(
            f"standing plant {plant.screen_id}: {problem.what}",
            f"{problem.mend}, or leave the column species out",
            layer="existing_screens",
        ) from None


def _slope_stations(
    setting: _Setting, terrain: Terrain | None, plants: Sequence[_Plant]
) -> np.ndarray:
    """Distance along the ground to each plant from the zero peg of its line, (plants,); plants come by line."""
    stations = np.array([plant.station for plant in plants])
    if terrain is None or not len(plants):
        return stations
    planted, line = np.unique([plant.line for plant in plants], return_inverse=True)
    lines = setting.lines[planted]
    xy, bend = shapely.get_coordinates(lines, return_index=True)
    bends = shapely.line_locate_point(lines[bend], shapely.points(xy))
    number = np.arange(len(planted))
    places = np.stack(
        [np.concatenate([number, bend, line]), np.concatenate([0.0 * number, bends, stations])],
        axis=1,
    )
    places, back = np.unique(places, axis=0, return_inverse=True)
    of, at = places[:, 0].astype(int), places[:, 1]
    chain = shapely.get_coordinates(shapely.line_interpolate_point(lines[of], at))
    if terrain.is_flat:
        along = running(chain, of)
    else:
        along = np.concatenate(
            [terrain.slope_length(*chain[of == one].T) for one in number.tolist()]
        )
    return along[np.reshape(back, -1)[-len(stations) :]]


def _rules_at(points: np.ndarray, lot: np.ndarray, zones: Many) -> list[list[str]]:
    """Give the rules of zones of its lot that forbid each point."""
    point, zone = zones.beside(lot)
    shapes, at = zones.shapes[zone], points[point]
    on = shapely.intersects(shapes, at)
    # Stretches keep a millimetre off a zone's edge: a station there is forbidden by it too.
    beside = ~(np.bincount(point, on, minlength=len(points)) > 0)[point]
    on[beside] = shapely.dwithin(shapes[beside], at[beside], 2 * CLEARANCE_M)
    names = zones.layer["rule"].to_numpy(object)
    found: list[dict[str, None]] = [{} for _ in points]
    for number, name in zip(point[on].tolist(), names[zone[on]], strict=True):
        found[number][name] = None
    return [list(some) for some in found]
