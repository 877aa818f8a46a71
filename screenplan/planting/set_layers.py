"""The layers of the plants that were set, and of the stations that were dropped."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import chain

import numpy as np
import shapely

from screenplan.contracts import DROPPED, PLANTS
from screenplan.contracts.tables import layer_of_columns
from screenplan.ground.errors import InputError, refuse
from screenplan.plan import Options
from screenplan.planting.existing import Standing
from screenplan.planting.mixes import kind_at
from screenplan.planting.setting import Setting, distance
from screenplan.planting.spans import CLEARANCE_M, places_on
from screenplan.planting.species import species_of
from screenplan.planting.species_model import Species
from screenplan.site.lots import Many
from screenplan.site.ragged import firsts
from screenplan.site.terrain import Terrain, ground_at

#: What forbids a station when no zone does: another plant stands too near, at a corner.
CORNER_RULE = "corner"
#: Kind of stock of a plant that stands already.
STANDING_STOCK = "standing"


@dataclass(frozen=True)
class Asked:
    """What is planted, and on which ground."""

    plan: Options
    terrain: Terrain | None
    species_table: Mapping[str, Species] | None


@dataclass(frozen=True, eq=False)
class _Plants:
    """The plants of all lines, by line and along each; all arrays (plants,) but for the places, (plants, 2)."""

    line: np.ndarray
    station: np.ndarray
    moved: np.ndarray
    xy: np.ndarray
    standing: list[Standing | None]

    @classmethod
    def of(cls, setting: Setting) -> _Plants:
        """Gather what was set."""
        line = np.repeat(
            np.arange(len(setting.planted)), [len(own.stations) for own in setting.planted]
        )
        station, moved, x, y = (
            np.array([*chain.from_iterable(getattr(own, name) for own in setting.planted)], float)
            for name in ("stations", "moved", "x", "y")
        )
        standing = [*chain.from_iterable(own.standing for own in setting.planted)]
        order = np.lexsort((station, line))
        xy = np.stack([x, y], axis=1)[order]
        standing = [standing[k] for k in order.tolist()]
        return cls(line[order], station[order], moved[order], xy, standing)

    @property
    def there(self) -> np.ndarray:
        """Which plants stand already, (plants,)."""
        return np.array([own is not None for own in self.standing], dtype=bool)


def plants_layer(setting: Setting, asked: Asked, kinds, heights) -> Many:
    """Give the layer of the plants, of each lot in the order of its lines and along each."""
    plants = _Plants.of(setting)
    there, of = plants.there, plants.line
    lot = np.array(setting.lot, dtype=int)[of]
    offsets = setting.layer["offset_m"].to_numpy(dtype=float, na_value=math.nan)[of]
    turns = [(kind.key, float(heights[kind])) for kind in kinds]
    number = _numbers(setting, plants, there) if len(kinds) > 1 else np.zeros(len(of), int)
    most = number.max(initial=0) + 1
    turns = [kind_at(turns, n, asked.plan.plants.group) for n in range(most)]
    species = [turns[n][0] for n in number.tolist()]
    height = np.array([planted_m for _, planted_m in turns])[number]
    for k in np.flatnonzero(there).tolist():
        own = plants.standing[k]
        assert own is not None  # of these `there` is true
        height[k] = own.height_m
        if own.species is not None:
            species[k] = species_standing(own, asked.species_table).key
        offsets[k] = _offset(setting.lines[of[k]], offsets[k], plants.station[k], plants.xy[k])
    columns = {
        "plant_id": np.arange(len(of)) - firsts(np.bincount(lot, minlength=setting.lots))[lot] + 1,
        "line_id": setting.layer["line_id"].to_numpy(dtype=object)[of],
        "side_id": [setting.sides[line] for line in of.tolist()],
        "row": np.array(setting.rows, dtype=int)[of],
        "station_m": plants.station,
        "slope_station_m": _slope_stations(setting, asked.terrain, plants),
        "offset_m": offsets,
        "gap_before_m": _gaps(setting, plants),
        "ground_m": ground_at(asked.terrain, plants.xy),
        "species": species,
        "stock": [STANDING_STOCK if own else asked.plan.plants.stock for own in there.tolist()],
        "stock_height_m": height,
        "existing": there,
        "moved_m": plants.moved,
    }  # fmt: skip
    layer = layer_of_columns(PLANTS, columns, shapely.points(plants.xy), setting.layer.crs)
    return Many(layer, lot, setting.lots)


def _numbers(setting: Setting, plants: _Plants, there: np.ndarray) -> np.ndarray:
    """Give how many new plants of its row stand before each plant, round corners where lines meet too, (plants,)."""
    before = np.cumsum(~there) - ~there
    count = np.bincount(plants.line, minlength=len(setting.planted))
    new = np.bincount(plants.line, ~there, minlength=len(setting.planted)).astype(int)
    earlier = _before_lines(new.tolist(), setting.corners)
    return before - before[firsts(count)[plants.line]] + np.array(earlier, dtype=int)[plants.line]


def _before_lines(new: Sequence[int], corners: Mapping[int, int]) -> list[int]:
    """Give how many plants stand on the lines of a row before each; of a closed row the first line begins.

    Parameters
    ----------
    new : sequence of int, (lines,)
        Plants of each.
    corners : mapping
        From each line that begins where another ends to that other.

    Examples
    --------
    >>> _before_lines([5, 4, 3], {1: 0, 2: 1}), _before_lines([5, 4], {0: 1, 1: 0})
    ([0, 5, 9], [0, 5])
    """
    earlier: dict[int, int] = {}
    left = list(range(len(new)))
    while left:
        ready = [line for line in left if line not in corners or corners[line] in earlier]
        for line in ready or left[:1]:
            other = corners.get(line, line)
            earlier[line] = earlier[other] + new[other] if other in earlier else 0
        left = [line for line in left if line not in earlier]
    return [earlier[line] for line in range(len(new))]


def _gaps(setting: Setting, plants: _Plants) -> np.ndarray:
    """Give the gap before each plant along its line, round a shared corner too, (plants,); NaN where none is before it."""
    line, station = plants.line, plants.station
    gap = np.diff(station, prepend=math.nan)
    begins = np.flatnonzero(np.append(True, line[1:] != line[:-1])[: len(line)])
    last = dict(zip(line.tolist(), station.tolist(), strict=True))
    for k in begins.tolist():
        end = setting.corners.get(int(line[k]))
        met = end is not None and end in last
        gap[k] = setting.lengths[end] - last[end] + station[k] if met else math.nan
    return gap


def dropped_layer(setting: Setting, zones: Many) -> tuple[Many, list[list[str]]]:
    """Give the layer of the stations that were dropped, and the rules that forbid each."""
    of = np.repeat(np.arange(len(setting.dropped)), list(map(len, setting.dropped)))
    lot = np.array(setting.lot, dtype=int)[of]
    stations = np.array([*chain.from_iterable(map(sorted, setting.dropped))], dtype=float)
    points = shapely.points(places_on(setting.lines, of, stations))
    rules = _rules_at(points, lot, zones)
    columns = {
        "station_id": np.arange(len(of)) - firsts(np.bincount(lot, minlength=setting.lots))[lot] + 1,
        "line_id": setting.layer["line_id"].to_numpy(dtype=object)[of],
        "station_m": stations,
        "rules": [", ".join(some) or CORNER_RULE for some in rules],
    }  # fmt: skip
    layer = layer_of_columns(DROPPED, columns, points, setting.layer.crs)
    return Many(layer, lot, setting.lots), rules


def _offset(line, offset: float, station: float, spot: np.ndarray) -> float:
    """Offset of a standing plant: the line's, and its distance beside the line too; NaN stays as it is."""
    step = min(0.01, line.length / 2)
    a = line.interpolate(max(station - step, 0.0))
    b = line.interpolate(min(station + step, line.length))
    at = line.interpolate(station)
    x, y = spot.tolist()
    left = (b.x - a.x) * (y - at.y) - (b.y - a.y) * (x - at.x)
    # The line runs anticlockwise, so its left is further inside.
    return offset + math.copysign(distance((at.x, at.y), (x, y)), left)


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


def _slope_stations(setting: Setting, terrain: Terrain | None, plants: _Plants) -> np.ndarray:
    """Distance along the ground to each plant from the zero peg of its line, (plants,); on level ground the station."""
    if terrain is None or terrain.is_flat or not len(plants.line):
        return plants.station
    planted, line = np.unique(plants.line, return_inverse=True)
    lines = setting.lines[planted]
    xy, bend = shapely.get_coordinates(lines, return_index=True)
    bends = shapely.line_locate_point(lines[bend], shapely.points(xy))
    number = np.arange(len(planted))
    of = np.concatenate([number, bend, line])
    at = np.concatenate([0.0 * number, bends, plants.station])
    (of, at), back = np.unique(np.stack([of, at]), axis=1, return_inverse=True)
    of = of.astype(int)
    chains = np.split(places_on(lines, of, at), firsts(np.bincount(of))[1:])
    along = np.concatenate([terrain.slope_length(*xy.T) for xy in chains])
    return along[np.reshape(back, -1)[-len(plants.line) :]]


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
