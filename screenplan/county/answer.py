"""What was planned for lots as layers of the county's contracts."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from screenplan.contracts import COUNTY, COUNTY_LINES, COUNTY_PLANTS, COUNTY_SIDES, year_column
from screenplan.contracts.county import COUNTED_YEARS
from screenplan.contracts.tables import layer_of, layer_of_columns
from screenplan.county.nearness import come_near
from screenplan.county.planner import Planned, side_of
from screenplan.site.lots import Many
from screenplan.site.ragged import firsts, numbered
from screenplan.site.steady import EQUAL_M
from screenplan.works.cost import plant_price


class Known(NamedTuple):
    """What is known of lots beside what was planned: places along the curve, rows in their file and identifiers, (lots,) each."""

    place: np.ndarray
    row: np.ndarray
    parcel_id: np.ndarray


@dataclass(frozen=True, eq=False)
class Told:
    """A layer of some lots by one of the county's contracts, in the CRS of the parcels, and the place along the curve of each row."""

    name: str
    layer: gpd.GeoDataFrame
    place: np.ndarray


def tell(planned: Planned, known: Known, wanted: Sequence[str], crs: CRS) -> list[Told]:
    """Give the sides of lots, and what else is wanted of their lines and new plants, by their contracts.

    Parameters
    ----------
    planned : Planned
    known : Known
        Of the lots that were planned.
    wanted : sequence of str
        Names of `COUNTY_LINES` and `COUNTY_PLANTS`.
    crs : CRS
        That of the layer of parcels.
    """
    plants = planned.layers["plants"]
    plants = plants.only(~plants.layer["existing"].to_numpy(bool))
    layers = {COUNTY_LINES.name: planned.layers["planting_lines"], COUNTY_PLANTS.name: plants}
    given: dict[str, tuple[Many, dict[str, Any]]] = {
        COUNTY_SIDES.name: (planned.layers["sides"], _sides(planned, plants))
    }
    for name in wanted:
        given[name] = layers[name], dict(layers[name].layer.items())
    told = []
    for name, (many, columns) in given.items():
        about = {"parcel_row": known.row[many.lot], "parcel_id": known.parcel_id[many.lot]}
        layer = layer_of_columns(COUNTY[name], _only(name, columns | about), many.shapes, planned.frame.crs)  # fmt: skip
        told.append(Told(name, planned.frame.send_out(layer, crs), known.place[many.lot]))
    return told


def _only(name: str, columns: dict[str, Any]) -> dict[str, Any]:
    """Leave out columns that a contract does not have."""
    names = set(COUNTY[name].names(COUNTED_YEARS))
    return {column: values for column, values in columns.items() if column in names}


def gather(told: Iterable[Told], names: Sequence[str], crs: CRS) -> dict[str, gpd.GeoDataFrame]:
    """Join what was told of several lots, in the order of the curve, one layer by each of some contracts."""
    told = list(told)
    whole = {}
    for name in names:
        mine = [one for one in told if one.name == name and len(one.place)]
        if not mine:
            whole[name] = layer_of(COUNTY[name], [], [], crs, COUNTED_YEARS)
            continue
        order = np.argsort(np.concatenate([one.place for one in mine]), kind="stable")
        layer = pd.concat([one.layer for one in mine], ignore_index=True).iloc[order]
        whole[name] = layer.reset_index(drop=True)
    return whole


def _sides(planned: Planned, plants: Many) -> dict[str, np.ndarray]:
    """Give the columns of the sides, (sides,) each; NaN or None where there is nothing to tell."""
    sides, lines, seen = (planned.layers["sides"], planned.layers["planting_lines"], planned.seen)
    side_of_line, side_of_plant = side_of(lines, sides), side_of(plants, sides)
    needed = np.full(len(sides.lot), np.nan)
    np.fmax.at(needed, side_of_line, seen.needed_m)
    plantable = np.zeros(len(sides.lot))
    first_row = lines.layer["row"].to_numpy(int) == 1
    length = lines.layer["plantable_m"].to_numpy(float)
    np.add.at(plantable, side_of_line[first_row], length[first_row])
    rays = np.bincount(seen.lot, weights=seen.rays, minlength=sides.lots)
    return {
        "side_id": sides.layer["side_id"].to_numpy(object),
        "side_class": planned.classes,
        "length_m": sides.layer["length_m"].to_numpy(float),
        "plantable_m": plantable,
        "plants": np.bincount(side_of_plant, minlength=len(sides.lot)),
        "needed_m": needed,
        "cost": cost_by_side(planned, plants, side_of_plant),
        "cause": planned.causes,
        "target_spacing_m": planned.target_spacing_m[sides.lot],
        "rays": rays[sides.lot],
    } | _views_across(planned)


def _views_across(planned: Planned) -> dict[str, np.ndarray]:
    """Count the views that come in across each side."""
    seen, sides = planned.seen, planned.layers["sides"]
    views, count = np.flatnonzero(seen.rays > 0), len(sides.lot)
    side = side_of_views_each(seen.looks(views), seen.lot[views], sides)
    most = seen.windows.max(initial=0) + 1
    looked = pd.unique(side * most + seen.windows[views]) // most
    is_open = seen.is_open[views]
    years, at = seen.year_closed[views][is_open], side[is_open]
    last = np.full(count, -np.inf)
    np.maximum.at(last, at, years)
    return {
        "windows": np.bincount(looked, minlength=count),
        "views_open": np.bincount(at, minlength=count),
        "year_closed": np.where(np.isfinite(last), last, np.nan),
    } | {
        year_column("closed", year): np.bincount(at[years <= year], minlength=count)
        for year in COUNTED_YEARS
    }


def side_of_views_each(looks: np.ndarray, lot: np.ndarray, sides: Many) -> np.ndarray:
    """Tell across which side each view comes in, as its row among the sides of all lots, (views,).

    It is the side that the straight line from window to place crosses last; where it crosses none, the nearest, so
    that every view belongs to one side. Through a corner it comes in across the first of its sides.

    Parameters
    ----------
    looks : ndarray, (views, 2, 2)
        The window, and the place.
    lot : ndarray of int, (views,)
        The lot of each.
    sides : Many
    """
    count = sides.count[lot]
    found = sides.first[lot]
    view, number = numbered(count)
    if not len(view):
        return found
    side = found[view] + number
    near = come_near(looks, sides.shapes, found, count, EQUAL_M)
    met = np.bincount(view[near], minlength=len(looks))
    to_end = np.where(near, 0.0, np.inf)
    # Where it crosses one side only, that is the last.
    several = np.flatnonzero(near & (met[view] > 1))
    look, line = shapely.linestrings(looks[view[several]]), sides.shapes[side[several]]
    crossings = shapely.shortest_line(look, line)
    # What it only touches is crossed where it is nearest to it; a line may run along a side.
    meets = shapely.intersection(look, line)
    meets = np.where(shapely.is_empty(meets), shapely.get_point(crossings, 0), meets)
    to_end[several] = shapely.distance(meets, shapely.get_point(look, -1))
    # Where it crosses none, the nearest.
    none = np.flatnonzero(met[view] == 0)
    to_end[none] = shapely.distance(
        shapely.linestrings(looks[view[none]]), sides.shapes[side[none]]
    )
    some = np.flatnonzero(count)
    least = np.full(len(looks), np.inf)
    least[some] = np.minimum.reduceat(to_end, firsts(count[some]))
    # Of two that meet at a corner through which it comes the first.
    number = np.where(to_end <= least[view] + EQUAL_M, number, len(number))
    found[some] += np.minimum.reduceat(number, firsts(count[some]))
    return found


def cost_by_side(planned: Planned, plants: Many, side: np.ndarray) -> np.ndarray:
    """Give the cost of each side's plants, (sides,); NaN where one has no price.

    Parameters
    ----------
    planned : Planned
    plants : Many
        New ones.
    side : ndarray of int, (plants,)
        The row of the side of each.
    """
    layer = pd.DataFrame(plants.layer[["species", "stock", "stock_height_m"]])
    # Each kind of plant is looked up once.
    which = layer.groupby([*layer.columns], sort=False, dropna=False).ngroup().to_numpy()
    kinds = layer.iloc[np.unique(which, return_index=True)[1]]
    prices = [plant_price(planned.plan, *kind) for kind in kinds.itertuples(index=False)]
    costs = np.zeros(len(planned.classes))
    np.add.at(costs, side, np.array(prices, dtype=float)[which])
    return costs
