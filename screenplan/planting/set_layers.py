"""The layers of the plants that were set, and of the stations that were dropped."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from screenplan.contracts import DROPPED, PLANTS
from screenplan.contracts.tables import layer_of_columns
from screenplan.ground.errors import InputError, refuse
from screenplan.plan import Options
from screenplan.planting.existing import Standing
from screenplan.planting.mixes import kind_at
from screenplan.planting.setting import Plant, Setting, distance
from screenplan.planting.spans import CLEARANCE_M, running
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


def plants_layer(setting: Setting, asked: Asked, kinds, heights) -> Many:
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


def dropped_layer(setting: Setting, zones: Many) -> tuple[Many, list[list[str]]]:
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


def _gap(setting: Setting, plant: Plant, before: Plant | None, last: dict[int, float]) -> float:
    if before is not None and before.line == plant.line:
        return plant.station - before.station
    end = setting.corners.get(plant.line)
    if end is None or end not in last:
        return math.nan
    return setting.lengths[end] - last[end] + plant.station


def _offset(line, offset: float, plant: Plant) -> float:
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
    return offset + math.copysign(distance((at.x, at.y), plant.spot), left)


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
    setting: Setting, terrain: Terrain | None, plants: Sequence[Plant]
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
