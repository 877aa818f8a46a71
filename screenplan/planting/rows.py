"""Plants set along the planting lines.

Lines that meet at a corner share one plant there: it stands at the zero peg of the line that starts
at the corner, and the other line's last gap ends at it. Plants of different lines keep half a
spacing from each other; where that leaves a gap above the spacing, the gap is reported as a dropped
station with the word `CORNER_RULE` in place of a rule.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import geopandas as gpd
import numpy as np
import shapely

from screenplan.contracts import DROPPED, PLANTS
from screenplan.contracts.tables import layer_of, with_notes
from screenplan.ground.errors import InputError, refuse
from screenplan.plan import DEFAULTS, Options
from screenplan.plan.planting import Plants, Rows
from screenplan.planting.clearing import keep_clear_each
from screenplan.planting.existing import EXISTING_WITHIN_M, Standing, standing_plants
from screenplan.planting.mixes import kind_at, kinds_in, with_spacing
from screenplan.planting.patterns import EQUAL_SHARE, between
from screenplan.planting.spans import (
    CLEARANCE_M,
    covered_spans_each,
    plantable_stretches_each,
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
from screenplan.site.terrain import Terrain, ground_at

#: Lines whose ends come this close meet at a corner.
CORNER_M = 0.005
#: What forbids a station when no zone does: another plant stands too near, at a corner.
CORNER_RULE = "corner"
#: Kind of stock of a plant that stands already.
STANDING_STOCK = "standing"


@dataclass
class _Plant:
    line: int
    station: float
    point: shapely.Point
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
    kinds = kinds_in(plan.plants.species, species_table)
    heights = {kind: planted_height(kind, plan.plants.stock_height) for kind in kinds}

    lines = list(planting_lines.geometry)
    zone = plantable_ground(plantable_zone, no_plant_zones, planting_lines)
    standing = standing_plants(existing_screens, planting_lines)
    setting = _Setting(planting_lines, lines, zone, with_spacing(plan, species_table).rows)
    for plant in standing:
        if plant.line is not None:
            setting.plants.append(_Plant(plant.line, plant.station_m, plant.point, standing=plant))
    rows = planting_lines["row"].to_numpy(int)
    setting.join_corners()
    for index in np.flatnonzero(rows == 1):
        setting.plant_line(int(index))
    for index in np.flatnonzero(rows == 2):
        setting.stagger_line(int(index))
    setting.fill_second_row()

    if not setting.plants:
        rules = {
            rule for _, _, point in setting.dropped for rule in _rules_at(point, no_plant_zones)
        }
        raise refuse(
            "no plant can be set on the planting lines"
            + (f"; stations are forbidden by {', '.join(sorted(rules))}" if rules else ""),
            "Let stations move further, give a smaller spacing, or choose another line",
            key=Rows.key("move"),
            kind="room",
        )
    plants = _plant_rows(setting, plan.plants, terrain, kinds, heights, species_table)
    dropped = [
        {
            "station_id": number,
            "line_id": planting_lines["line_id"].iloc[line],
            "station_m": station,
            "rules": ", ".join(_rules_at(point, no_plant_zones)) or CORNER_RULE,
            "geometry": point,
        }
        for number, (line, station, point) in enumerate(
            sorted(setting.dropped, key=lambda station: station[:2]), 1
        )
    ]
    crs = planting_lines.crs
    stray = [plant.screen_id for plant in standing if plant.line is None]
    notes = [
        f"standing plant {name} is farther than {{{EXISTING_WITHIN_M} m}} from every planting line and is not counted"
        for name in stray
    ]
    return (
        with_notes(layer_of(PLANTS, plants, [row["geometry"] for row in plants], crs), notes),
        layer_of(DROPPED, dropped, [row["geometry"] for row in dropped], crs),
    )


def shared_corners(planting_lines: gpd.GeoDataFrame) -> dict[int, int]:
    """Pairs of lines of one row that meet at a corner: the one that ends there, the one that starts.

    Returns
    -------
    dict
        From the position of the line that starts to that of the line that ends; a closed line maps
        to itself.
    """
    lines = list(planting_lines.geometry)
    rows = planting_lines["row"].to_numpy(int)
    if not lines:
        return {}
    starts = np.array([line.coords[0][:2] for line in lines])
    ends = np.array([line.coords[-1][:2] for line in lines])
    pairs: dict[int, int] = {}
    for index, start in enumerate(starts):
        near = np.hypot(*(ends - start).T) <= CORNER_M
        near &= rows == rows[index]
        found = np.flatnonzero(near)
        if found.size:
            pairs[index] = int(found[0])
    return pairs


class _Setting:
    """The plants set so far, and what is needed to set the next line."""

    def __init__(self, layer, lines, zone, asked: Rows):
        self.lines = lines
        self.sides = [str(side) for side in layer["side_id"]]
        self.rows = layer["row"].to_numpy(int)
        self.layer = layer
        of, *spans = plantable_stretches_each(
            np.array(lines, dtype=object), np.full(len(lines), zone, dtype=object)
        )
        both = np.stack(spans, axis=1)
        self.stretches = [[(a, b) for a, b in both[of == k].tolist()] for k in range(len(lines))]
        assert asked.spacing is not None  # `with_spacing` chose it
        self.spacing, self.fit, self.move_m = asked.spacing, asked.fit, asked.move
        self.fill_existing = asked.fill_existing
        self.plants: list[_Plant] = []
        self.dropped: list[tuple[int, float, shapely.Point]] = []
        self.groups: dict[int, list[list[float]]] = {}
        self.corners = shared_corners(layer)
        self.fixed: dict[int, list[float]] = {index: [] for index in range(len(lines))}
        self.least = asked.spacing * LEAST_SHARE

    def standing_on(self, index: int) -> list[float]:
        return [p.station for p in self.plants if p.line == index and p.standing is not None]

    def join_corners(self) -> None:
        """Set one plant at each corner of the first row where it can stand for both lines."""
        for start, end in self.corners.items():
            line, other = self.lines[start], self.lines[end]
            free = (
                self.stretches[start]
                and self.stretches[start][0][0] <= CORNER_M
                and self.stretches[end]
                and self.stretches[end][-1][1] >= other.length - CORNER_M
            )
            crowded = self._is_crowded(start, shapely.Point(line.coords[0]))
            short = min(line.length, other.length) < (2 if start == end else 1) * self.least
            kept = not self.fill_existing and (self.standing_on(start) or self.standing_on(end))
            if self.rows[start] != 1 or not free or crowded or short or kept:
                continue
            self.fixed[start].append(0.0)
            self.fixed[end].append(other.length)
            self._add(start, 0.0, 0.0)

    def plant_line(self, index: int) -> None:
        line, standing = self.lines[index], self.standing_on(index)
        if standing and not self.fill_existing:
            self.groups[index] = []
            return
        fixed = sorted({*self.fixed[index], *standing})
        crowded = self._near_others(index)
        stretches = subtract(self.stretches[index], crowded)
        if self.fit == "evened":
            found = set_evened(stretches, fixed, self.spacing, standing)
        else:
            found = set_exact(line.length, stretches, fixed, standing, self.spacing, self.move_m)
        self._take(index, found)
        self.groups[index] = found.groups
        self._explain(index, crowded)

    def stagger_line(self, index: int) -> None:
        line, standing = self.lines[index], self.standing_on(index)
        if standing and not self.fill_existing:
            return
        wanted: set[float] = set()
        firsts = [
            first
            for first in np.flatnonzero(self.rows == 1)
            if self.sides[first] == self.sides[index]
        ]
        # Lines of the side that lie farther along it are not those before this one.
        apart = min((self.lines[first].distance(line) for first in firsts), default=0.0)
        for first in firsts:
            for group in self.groups.get(int(first), []):
                wanted.update(self._middles(int(first), group, line, apart))
        stretches = subtract(self.stretches[index], self._near_others(index))
        # A plant of another line that stands on the very spot serves both.
        taken = shapely.MultiPoint([plant.point for plant in self.plants])
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
        seconds = [int(index) for index in np.flatnonzero(self.rows == 2)]
        for line in seconds:
            own = self._stations_on(line)
            for a, b in pairwise(own):
                if covers((a, b), self.stretches[line]):
                    self._fill(line, between(a, b, self.spacing))
        for line in seconds:
            before = self.corners.get(line)
            if before is None or not self._stations_on(line) or not self._stations_on(before):
                continue
            length, last = self.lines[before].length, self._stations_on(before)[-1]
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
        for line in seconds:
            self._explain(line, self._near_others(line))

    def _fill(self, index: int, stations) -> None:
        for station in stations:
            if not self._is_crowded(index, self.lines[index].interpolate(station)):
                self._add(index, float(station), 0.0)

    def _stations_on(self, index: int) -> list[float]:
        return sorted(plant.station for plant in self.plants if plant.line == index)

    def _explain(self, index: int, crowded: list[tuple[float, float]]) -> None:
        """Report the gaps above the spacing that plants of other lines leave."""
        stations = sorted({*self._stations_on(index), *self.fixed[index]})
        told = [station for line, station, _ in self.dropped if line == index]
        for a, b in pairwise(stations):
            if b - a <= self.spacing * (1.0 + EQUAL_SHARE) + CLEARANCE_M:
                continue
            is_told = any(a < station < b for station in told)
            if is_told or not covers((a, b), self.stretches[index]):
                continue
            spans = [(max(a, low), min(b, high)) for low, high in crowded if low < b and high > a]
            if spans:
                low, high = max(spans, key=lambda span: span[1] - span[0])
                middle = (low + high) / 2.0
                self.dropped.append((index, middle, self.lines[index].interpolate(middle)))

    def _room(self, index: int, other: int) -> float:
        """Distance that plants of two lines keep: half a spacing, or the two rows' own distance."""
        if self.sides[index] != self.sides[other] or self.rows[index] == self.rows[other]:
            return self.least
        return min(self.least, 0.99 * self.lines[index].distance(self.lines[other]))

    def _is_crowded(self, index: int, point: shapely.Point) -> bool:
        """Whether a plant of any line stands too near to a point of one line."""
        rooms = {other: self._room(index, other) for other in {p.line for p in self.plants}}
        return any(
            plant.point.distance(point) < rooms[plant.line] * (1.0 - EQUAL_SHARE)
            for plant in self.plants
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

    def _near_others(self, index: int) -> list[tuple[float, float]]:
        """Spans of a line on which a plant of another line leaves no room."""
        line = self.lines[index]
        corners = [line.interpolate(station) for station in self.fixed[index]]
        found: list[np.ndarray] = []
        rooms: list[float] = []
        for other in sorted({plant.line for plant in self.plants} - {index}):
            room = self._room(index, other)
            points = np.array([p.point for p in self.plants if p.line == other], dtype=object)
            points = points[shapely.distance(points, line) < room]
            # The plant of a shared corner belongs to both lines.
            for corner in corners:
                points = points[shapely.distance(points, corner) > CORNER_M]
            found.append(points)
            rooms += [room] * len(points)
        if not rooms:
            return []
        grounds = keep_clear_each(np.concatenate(found), np.array(rooms))
        _, low, high = covered_spans_each(np.full(len(grounds), line, dtype=object), grounds)
        return list(zip(low.tolist(), high.tolist(), strict=True))

    def _take(self, index: int, found) -> None:
        for station, moved in found.placed:
            self._add(index, station, moved)
        for station in found.dropped:
            self.dropped.append((index, station, self.lines[index].interpolate(station)))

    def _add(self, index: int, station: float, moved: float) -> None:
        point = self.lines[index].interpolate(station)
        self.plants.append(_Plant(index, float(station), point, float(moved)))


def _plant_rows(
    setting: _Setting, asked: Plants, terrain, kinds, heights, species_table
) -> list[dict]:
    plants = sorted(setting.plants, key=lambda plant: (plant.line, plant.station))
    xy = shapely.get_coordinates([plant.point for plant in plants])
    ground = ground_at(terrain, xy)
    last = {plant.line: plant.station for plant in plants}
    records, before = [], None
    planted = dict.fromkeys(last, 0)
    line_ids = setting.layer["line_id"].to_numpy(dtype=object)
    offsets = setting.layer["offset_m"].to_numpy(dtype=float, na_value=math.nan)
    slopes = {line: _slope(setting, terrain, line, plants) for line in last}
    for number, (plant, z) in enumerate(zip(plants, ground, strict=True), 1):
        own = plant.standing
        kind = kind_at(kinds, planted[plant.line], asked.group)
        planted[plant.line] += own is None
        height = heights[kind]
        if own is not None and own.species is not None:
            kind = species_standing(own, species_table)
        records.append(
            {
                "plant_id": number,
                "line_id": line_ids[plant.line],
                "side_id": setting.sides[plant.line],
                "row": int(setting.rows[plant.line]),
                "station_m": plant.station,
                "slope_station_m": slopes[plant.line][plant.station],
                "offset_m": _offset(setting.lines[plant.line], float(offsets[plant.line]), plant),
                "gap_before_m": _gap(setting, plant, before, last),
                "ground_m": float(z),
                "species": kind.key,
                "stock": asked.stock if own is None else STANDING_STOCK,
                "stock_height_m": float(height) if own is None else own.height_m,
                "existing": own is not None,
                "moved_m": plant.moved,
                "geometry": plant.point,
            }
        )
        before = plant
    return records


def _gap(setting: _Setting, plant: _Plant, before: _Plant | None, last: dict[int, float]) -> float:
    if before is not None and before.line == plant.line:
        return plant.station - before.station
    end = setting.corners.get(plant.line)
    if end is None or end not in last:
        return math.nan
    return setting.lines[end].length - last[end] + plant.station


def _offset(line, offset: float, plant: _Plant) -> float:
    """Offset of a plant: the line's, and for a standing plant its distance beside the line too."""
    if plant.standing is None or math.isnan(offset):
        return offset
    step = min(0.01, line.length / 2)
    a = line.interpolate(max(plant.station - step, 0.0))
    b = line.interpolate(min(plant.station + step, line.length))
    at = line.interpolate(plant.station)
    left = (b.x - a.x) * (plant.point.y - at.y) - (b.y - a.y) * (plant.point.x - at.x)
    # The line runs anticlockwise, so its left is further inside.
    return offset + math.copysign(at.distance(plant.point), left)


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


def _slope(setting: _Setting, terrain, index: int, plants: list[_Plant]) -> dict[float, float]:
    """Distance along the ground to each station of a line, from its zero peg."""
    line = setting.lines[index]
    stations = np.array([plant.station for plant in plants if plant.line == index])
    if terrain is None:
        return {station: station for station in stations.tolist()}
    bends = shapely.line_locate_point(line, shapely.points(line.coords))
    at = np.unique(np.concatenate([[0.0], bends, stations]))
    along = terrain.slope_length(*shapely.get_coordinates(line.interpolate(at)).T)
    return dict(zip(stations.tolist(), np.interp(stations, at, along).tolist(), strict=True))


def _rules_at(point: shapely.Point, zones: gpd.GeoDataFrame) -> list[str]:
    shapes = zones.geometry.to_numpy()
    on = shapely.intersects(shapes, point)
    if not on.any():
        # Stretches keep a millimetre off a zone's edge: a station there is forbidden by it too.
        on = shapely.dwithin(shapes, point, 2 * CLEARANCE_M)
    return list(dict.fromkeys(zones["rule"].to_numpy()[on]))
