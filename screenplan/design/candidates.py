"""Where each kind may stand: along the sides at its own setback, and on lines beside the places.

Each species and size has its own plantable zone, and so its own lines; a candidate is a plant of one
option at one station of such a line. No two candidates stand on the same ground at a time.
"""

from __future__ import annotations

import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import reduce
from itertools import combinations
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from shapely.ops import substring

from screenplan.contracts.tables import has_rows
from screenplan.design.kinds import Option
from screenplan.design.meetings import meeting_pairs
from screenplan.design.mixtures import Mixtures, turns
from screenplan.design.reduced import fewer_spots
from screenplan.design.row_lines import aside, lines_of, roomier_side
from screenplan.design.standing import NONE_STANDS, StandingPlants, StandingRow
from screenplan.ground.errors import InputError, NoRoomError
from screenplan.plan import Options
from screenplan.planting.clearing import keep_clear
from screenplan.planting.lines import draw_lines
from screenplan.planting.livestock import Livestock, find_livestock
from screenplan.planting.neighbours import side_by_side
from screenplan.planting.patterns import EQUAL_SHARE, evened, staggered
from screenplan.planting.room import leave_room
from screenplan.planting.spans import SAME_M, plantable_stretches
from screenplan.planting.species_model import Species
from screenplan.planting.stations import LEAST_SHARE
from screenplan.planting.zones import mark_zones, plantable_ground, subject_of
from screenplan.rules.laws import boundary_heights
from screenplan.site.overlay import without
from screenplan.site.ownership import outline_known
from screenplan.site.sides import sides_at_roads


@dataclass(frozen=True, eq=False)
class Ground:
    """Where the plants of one species and size may stand.

    Parameters
    ----------
    species : Species
    zones, plantable : GeoDataFrame
    lines : GeoDataFrame
        Planting lines, by their contract; none if there is no room.
    """

    species: Species
    zones: gpd.GeoDataFrame
    plantable: gpd.GeoDataFrame
    lines: gpd.GeoDataFrame | None


@dataclass(frozen=True, eq=False)
class Candidates:
    """Plants that may be set.

    Parameters
    ----------
    options : tuple of Option
    table : GeoDataFrame
        A row each, by stretches and stations: ``option`` (a number; those of a mixture take turns in a stretch), ``line_id``, ``side_id``,
        ``ground`` (along what it stands: a side, an inner line or a row that stands), ``stretch`` (a number),
        ``row`` (2 for the second of two), ``station_m`` (along the first), ``gap_m`` (to the next in its row),
        ``offset_m``, ``stands`` (True for a plant that stands already, as the neighbour of new ones), and the stem.
        Plants of two staggered rows follow each other from row to row.
    lines : dict
        Line of each stretch.
    seconds : dict
        Line of the second row of each stretch that has one.
    pure : int
        So many of the options stand by themselves; those after them take turns.
    grounds : dict
        `Ground` by species key and stock height.
    private_places : GeoDataFrame
        The places with room left for the narrowest screen beside them.
    notes : tuple of str
    """

    options: tuple[Option, ...]
    table: gpd.GeoDataFrame
    lines: dict[int, shapely.LineString]
    grounds: dict[tuple[str, float], Ground]
    private_places: gpd.GeoDataFrame
    notes: tuple[str, ...] = ()
    seconds: dict[int, shapely.LineString] = field(default_factory=dict)
    pure: int = sys.maxsize

    @property
    def mixed(self) -> np.ndarray | None:
        """Which stand in rows of which kinds take turns, (plants,); None if none do."""
        mixed = self.table["option"].to_numpy(int) >= self.pure
        return mixed if mixed.any() else None

    @property
    def stands(self) -> np.ndarray:
        """Which stand already, and are there as neighbours only, (plants,)."""
        return self.table["stands"].to_numpy(bool)


def find_candidates(
    layers: Mapping[str, Any],
    options: Sequence[Option],
    *,
    plan: Options,
    rules=None,
    species_table: Mapping[str, Species] | None = None,
    standing: StandingPlants = NONE_STANDS,
    mixtures: Mixtures | None = None,
) -> Candidates:
    """Set every option, or mixture of several, on every line on which it may stand.

    Parameters
    ----------
    layers : mapping
        Parcels, sides and private places, and what zones and lines are made of besides.
    options : sequence of Option
    plan : Options
        Of it [rows], [plants], [setbacks], [works], [site] and [design].
    rules, table
        As `mark_zones` takes them.
    standing : StandingPlants, optional
        New plants keep off those that stand, and fill up and lengthen their rows.
    mixtures : Mixtures, optional
        What new rows are of instead of one option each; rows that stand are filled up with one.
    """
    grounds: dict[tuple[str, float], Ground] = {}
    refused: list[InputError] = []
    for option in options:
        key = (option.species.key, option.height_m)
        if key not in grounds:
            grounds[key] = _ground(layers, option, plan, rules, species_table, refused)
    subject = subject_of(layers["parcels"])[0] if outline_known(layers["parcels"]) else None
    places = _with_room(layers["private_places"], options, grounds, subject, plan, species_table)
    livestock = find_livestock(layers.get("keep_outs"), layers.get("sides"), plan)
    rows: list[dict] = []
    lines: dict[int, shapely.LineString] = {}
    seconds: dict[int, shapely.LineString] = {}
    # Where no outline is known nobody knows whose ground lies beside a place.
    inner = plan.design.inner and subject is not None
    zones = []
    for number, option in enumerate(options):
        ground = grounds[option.species.key, option.height_m]
        zone = _clear_zone(ground, places, option, plan, layers, livestock)
        zones.append(zone)
        kept_off = without(zone, standing.keep_off(option.spacing_m))
        own = () if mixtures else lines_of(ground.lines, places, option, subject, inner=inner)
        for line in own:
            if option.row_m:
                _set_two(rows, lines, seconds, line, number, option, kept_off)
            else:
                _set(rows, lines, line, (number,), option, kept_off)
        for row in standing.rows:
            _fill(rows, lines, row, number, option, zone)
    every = list(options)
    if mixtures:
        zone_of = {
            (option.species.key, option.height_m): zone
            for option, zone in zip(options, zones, strict=True)
        }
        for mixture in mixtures.every:
            kinds, wider = mixture.kinds, mixture.wider
            zone = reduce(
                shapely.intersection,
                (zone_of[option.species.key, option.height_m] for option in kinds),
            )
            kept_off = without(zone, standing.keep_off(wider.spacing_m))
            ground = grounds[wider.species.key, wider.height_m]
            numbers = tuple(range(len(every), len(every) + len(kinds)))
            every += kinds
            for line in lines_of(ground.lines, places, wider, subject, inner=inner):
                _set(rows, lines, line, numbers, wider, kept_off, mixtures.groups)
    if not rows and refused:
        raise refused[0]
    crs = layers["parcels"].crs
    found = gpd.GeoDataFrame(
        pd.DataFrame(
            rows,
            columns=["option", "line_id", "side_id", "ground", "stretch", "row", "station_m", "gap_m", "offset_m", "stands", "geometry"],
        ),
        geometry="geometry", crs=crs,
    )  # fmt: skip
    notes = (*standing.notes, *(mixtures.notes if mixtures else ()))
    return Candidates(tuple(every), found, lines, grounds, places, notes, seconds, len(options))


def _planted_as(plan: Options, option: Option) -> Options:
    """Give the plan as it would be with one option only."""
    plants = plan.plants.model_copy(
        update={"species": option.species.key, "stock_height": option.height_m}
    )
    along = plan.rows.along or ("all",)
    rows = plan.rows.model_copy(update={"along": along, "rows": 1, "spacing": option.spacing_m})
    return plan.model_copy(update={"plants": plants, "rows": rows})


def _ground(layers, option: Option, plan: Options, rules, species_table, refused) -> Ground:
    asked = _planted_as(plan, option)
    names = ("parcels", "buildings", "utilities", "keep_outs", "roads", "existing_screens", "private_places")  # fmt: skip
    zones, plantable = mark_zones(
        {name: layers.get(name) for name in names if layers.get(name) is not None},
        plan=asked, rules=rules, species_table=species_table,
    )  # fmt: skip
    drawn = None
    try:
        drawn = draw_lines(
            layers["parcels"], layers["sides"], plantable, zones,
            layers.get("planting_line"), layers.get("existing_screens"), plan=asked,
        )  # fmt: skip
    except NoRoomError as error:
        refused.append(error)
    return Ground(option.species, zones, plantable, drawn)


def _with_room(places, options, grounds, subject, plan: Options, species_table):
    """End derived places where the narrowest screen would begin; one of which too little is left stays."""
    narrow = min(options, key=lambda option: (option.half_m, option.row_m))
    lines = grounds[narrow.species.key, narrow.height_m].lines
    if not has_rows(places) or lines is None:
        return places
    if narrow.row_m:
        second = [
            shapely.LineString(aside(line, np.linspace(0.0, line.length, 101), sign * narrow.row_m))
            for line in lines.geometry
            for sign in (roomier_side(line, subject, narrow.row_m),)
        ]
        lines = pd.concat(
            [lines, lines.set_geometry(gpd.GeoSeries(second, lines.index, lines.crs))]
        )
    left = leave_room(places, lines, plan=_planted_as(plan, narrow), species_table=species_table)
    gone = ~places.index.isin(left.index)
    if not gone.any():
        return left
    return pd.concat([left, places[gone]]).loc[places.index]


def _clear_zone(
    ground: Ground, places, option: Option, plan: Options, layers, livestock: Livestock
):
    """Give the ground where an option may stand: clear of the places, of livestock if it is poisonous, and of where it grows too tall."""
    if ground.lines is None:
        zone = shapely.union_all(ground.plantable.geometry.to_numpy())
    else:
        zone = plantable_ground(ground.plantable, ground.zones, ground.lines)
    if has_rows(places):
        # A derived place ends where the narrowest screen begins: that one touches it.
        clear = [keep_clear(shape, option.half_m - SAME_M) for shape in places.geometry]
        zone = without(zone, shapely.union_all(clear))
    if option.species.poisonous_to and livestock.edge is not None:
        reached = keep_clear(livestock.edge, livestock.reach_of(option.species))
        zone = without(zone, reached)
    if not outline_known(layers["parcels"]):
        return zone
    heights, roads = boundary_heights(plan), sides_at_roads(layers.get("sides"))
    # At a road its own height holds in the place of the other, where there is one.
    edge = subject_of(layers["parcels"])[0].boundary
    if heights.at_road_m is not None:
        edge = shapely.difference(edge, roads)
    for most, line in ((heights.most_m, edge), (heights.at_road_m, roads)):
        if most is not None and option.species.final_height("high") > most and not line.is_empty:
            zone = without(zone, keep_clear(line, plan.boundary.within))
    return zone


def _set(rows, lines, line, numbers: tuple[int, ...], option: Option, zone, groups=None) -> None:
    """Set an option, or several that take turns in groups, along one line, on each stretch where it may stand."""
    geometry, along, side, name, offset, _ = line
    for a, b in plantable_stretches(geometry, zone):
        if b - a < 0.5 * option.spacing_m:
            continue
        stations = evened(a, b, option.spacing_m)
        gap = float(stations[1] - stations[0]) if len(stations) > 1 else option.spacing_m
        turn = np.zeros(len(stations), int)
        if groups is not None:
            stems = geometry.interpolate(stations)
            turn = turns(len(stations), groups, len(numbers), _met(rows, numbers, stems, gap))
        stretch = len(lines)
        lines[stretch] = substring(geometry, a, b)
        for station, whose in zip(stations[turn >= 0], turn[turn >= 0], strict=True):
            rows.append(
                {
                    "option": numbers[whose], "line_id": name, "side_id": side, "ground": along,
                    "stretch": stretch, "row": 1, "station_m": float(station - a), "gap_m": gap,
                    "offset_m": offset, "stands": False, "geometry": geometry.interpolate(station),
                }
            )  # fmt: skip


def _met(rows, numbers: tuple[int, ...], stems, gap: float) -> list[tuple[int, int]]:
    """Give the stations of a row beside which another one of the same mixture has a plant, and the place of its kind in the turn."""
    others = [row for row in rows if row["option"] in numbers]
    found = side_by_side(
        np.concatenate([stems, [row["geometry"] for row in others]]),
        np.concatenate([np.full(len(stems), gap), [row["gap_m"] for row in others]]),
    )
    return [
        (one, others[other - len(stems)]["option"] - numbers[0])
        for one, other in found
        if one < len(stems) <= other
    ]


def _set_two(rows, lines, seconds, line, number: int, option: Option, zone) -> None:
    """Set an option in two staggered rows along one line, on each stretch where both may stand.

    The second row stands in the middle of each gap of the first, further in. Where it has no ground at all there is
    no such stretch; where it lacks a plant or two the first row goes on.
    """
    geometry, along, side, name, offset, inward = line
    for a, b in plantable_stretches(geometry, zone):
        if b - a < 0.5 * option.spacing_m:
            continue
        first = evened(a, b, option.spacing_m)
        if len(first) < 2:
            continue
        gap, middle = float(first[1] - first[0]), staggered(first)
        points = aside(geometry, middle, inward * option.row_m)
        free = shapely.contains_properly(zone, points)
        before = None
        for k in np.flatnonzero(free):
            # Round a bend the second row is shorter.
            free[k] = before is None or points[k].distance(before) >= LEAST_SHARE * gap
            before = points[k] if free[k] else before
        if not free.any():
            continue
        stretch = len(lines)
        lines[stretch] = substring(geometry, a, b)
        every = np.sort(np.concatenate([first, middle[free]]))
        seconds[stretch] = shapely.LineString(aside(geometry, every, inward * option.row_m))
        set_here = [(float(station), 1, geometry.interpolate(station)) for station in first]
        set_here += [
            (float(station), 2, point)
            for station, point in zip(middle[free], points[free], strict=True)
        ]
        for station, row, point in sorted(set_here, key=lambda one: one[:2]):
            rows.append(
                {
                    "option": number, "line_id": name, "side_id": side, "ground": along,
                    "stretch": stretch, "row": row, "station_m": station - float(a), "gap_m": gap,
                    "offset_m": offset + (row - 1) * option.row_m, "stands": False, "geometry": point,
                }
            )  # fmt: skip


def _fill(rows, lines, row: StandingRow, number: int, option: Option, zone) -> None:
    """Set an option in the gaps of a row that stands, and beyond its ends.

    Plants that stand are neighbours of those in the gaps, so that one is a run with them.
    """
    entries: list[tuple[float, bool]] = []
    for k, new in enumerate(row.free_stations(option.spacing_m)):
        if k > 0:
            entries.append((float(row.stations[k - 1]), True))
        entries += [(float(station), False) for station in new]
    points = row.line.interpolate([station for station, _ in entries])
    may = shapely.contains_properly(zone, points)
    stretch = None
    for (station, stands), point, free in zip(entries, points, may, strict=True):
        if not (stands or free):
            stretch = None
            continue
        if stretch is None:
            stretch = len(lines)
            lines[stretch] = row.line
        rows.append(
            {
                "option": number, "line_id": row.name, "side_id": row.name, "ground": row.name,
                "stretch": stretch, "row": 1, "station_m": station, "gap_m": option.spacing_m,
                "offset_m": float("nan"), "stands": stands, "geometry": point,
            }
        )  # fmt: skip


def exclusive_spots(candidates: Candidates, sides: gpd.GeoDataFrame | None) -> list[np.ndarray]:
    """List sets of candidates of which at most one can stand.

    Along one side a plant takes half its spacing to either side of its stem, whatever stands behind or
    before it but the other row of its own two. Plants of different lines keep half their spacings from each
    other, and no stem stands under the grown crown of another line: nobody plants a row into another's.
    """
    table = candidates.table
    if not len(table):
        return []
    grown = np.array([option.species.final_width("typical") / 2.0 for option in candidates.options])
    crown = grown[table["option"].to_numpy(int)]
    room = table["gap_m"].to_numpy(float)
    ground, stretch = table["ground"].to_numpy(), table["stretch"].to_numpy()
    row = table["row"].to_numpy(int)
    two = np.isin(stretch, list(candidates.seconds))
    points = table.geometry.to_numpy()
    shapes = {} if sides is None else dict(zip(sides["side_id"].astype(str), sides.geometry, strict=True))  # fmt: skip
    spots: list[np.ndarray] = []
    new = ~candidates.stands
    for name in dict.fromkeys(ground[new]):
        mine = np.flatnonzero((ground == name) & new)
        axis = shapes.get(name)
        if axis is None:
            longest = max(
                np.unique(stretch[mine]), key=lambda number: candidates.lines[number].length
            )
            axis = candidates.lines[longest]
        # Each row of two is told from single ones by itself: two that go in one row go in the other too.
        for other in (2, 1) if (row[mine] == 2).any() else (2,):
            own = mine[~(two[mine] & (row[mine] == other))]
            at = shapely.line_locate_point(axis, points[own])
            half = 0.5 * room[own] * (1.0 - 2.0 * EQUAL_SHARE)
            spots += _overlaps(own, at - half, at + half, stretch)
    tree = shapely.STRtree(points)
    one, other = tree.query(
        points, predicate="dwithin", distance=max(float(room.max()), float(crown.max()))
    )
    near = (one < other) & (ground[one] != ground[other]) & new[one] & new[other]
    one, other = one[near], other[near]
    apart = shapely.distance(points[one], points[other])
    least = np.maximum(
        0.5 * (room[one] + room[other]) * (1.0 - 2.0 * EQUAL_SHARE),
        np.maximum(crown[one], crown[other]),
    )
    close = apart < least
    spots += [np.array(pair) for pair in zip(one[close], other[close], strict=True)]
    kinds = [candidates.options[number].species.key for number in table["option"]]
    spots += meeting_pairs(table, kinds, candidates.mixed)
    return list(fewer_spots(spots, len(table)))


def _overlaps(mine, low, high, stretch) -> list[np.ndarray]:
    """Give the largest sets of intervals that hold a common point, of more than one stretch."""
    spots: list[np.ndarray] = []
    before: set[int] = set()
    for begin in np.unique(low):
        over = (low <= begin) & (begin < high)
        members = mine[over]
        different = len(np.unique(stretch[members]))
        if different < 2:
            continue
        if different < len(members):
            # Where the side bends, neighbours of one stretch come to lie over each other.
            spots += [
                np.array(pair)
                for pair in combinations(members, 2)
                if stretch[pair[0]] != stretch[pair[1]]
            ]
            before = set()
            continue
        found = set(members.tolist())
        if found <= before:
            continue
        if spots and before and before <= found:
            spots.pop()
        spots.append(members)
        before = found
    return spots
