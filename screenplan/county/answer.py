"""What was planned for the parcels of a county as rows by the county's contracts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from screenplan.contracts import (
    COUNTY,
    COUNTY_LINES,
    COUNTY_PLANTS,
    COUNTY_SIDES,
    Contract,
    year_column,
)
from screenplan.contracts.county import COUNTED_YEARS
from screenplan.contracts.tables import layer_of, table_of_columns, texts
from screenplan.county.parcel import Planned
from screenplan.county.seen import Seen
from screenplan.ground.frame import LocalFrame
from screenplan.plan import Options
from screenplan.site.lots import Many
from screenplan.site.ragged import firsts, numbered
from screenplan.site.steady import EQUAL_M
from screenplan.works.cost import plant_price

#: The side of what comes in across none, or stands along none.
NO_SIDE = -1


@dataclass(frozen=True, eq=False)
class PlannedLots:
    """What was planned for several lots, in the local frame that they share.

    Parameters
    ----------
    rows : ndarray of int, (lots,)
        The row of each parcel in its file, from 1.
    ids : sequence of str
        The identifier of each parcel.
    sides : Many
    classes : ndarray of str, (sides,)
        The class of each side.
    causes : ndarray of str or None, (sides,)
        Why a side has no row; None if it has one.
    lines, plants : Many
        Planting lines, and plants, those that stand already too.
    target_spacing_m : ndarray, (lots,)
        Distance between the points of places that were looked at.
    plan : Options
        Of it [cost] and [hand].
    seen : Seen
        The views, and how tall the rows must be.
    """

    rows: np.ndarray
    ids: Sequence[str]
    sides: Many
    classes: np.ndarray
    causes: np.ndarray
    lines: Many
    plants: Many
    target_spacing_m: np.ndarray
    plan: Options
    seen: Seen

    @classmethod
    def one(cls, planned: Planned, about: Mapping[str, Any]) -> PlannedLots:
        """Take one parcel as the only lot; ``about`` has its row in its file and its identifier."""
        layers = planned.layers
        causes = [planned.causes.get(name) for name in texts(layers["sides"], "side_id")]
        return cls(
            np.array([about["parcel_row"]]), [about["parcel_id"]], Many.one(layers["sides"]),
            planned.classes, np.array(causes, object), Many.one(layers["planting_lines"]),
            Many.one(layers["plants"]), np.array([planned.target_spacing_m]), planned.plan,
            planned.seen,
        )  # fmt: skip

    @property
    def new(self) -> Many:
        """The plants that do not stand already."""
        stands = self.plants.layer["existing"].to_numpy(bool)
        return self.plants.only(~stands) if stands.any() else self.plants


@dataclass
class Records:
    """Rows of a parcel, by the names of their contracts, and the frame in which the ``geometry`` of each is."""

    frame: LocalFrame
    rows: dict[str, list[dict[str, Any]]]


def layers_of(planned: PlannedLots, wanted: Sequence[str], crs: CRS) -> dict[str, gpd.GeoDataFrame]:
    """Give the sides of lots, and what else is wanted of their lines and new plants, by their contracts.

    Parameters
    ----------
    planned : PlannedLots
    wanted : sequence of str
        Names of `COUNTY_LINES` and `COUNTY_PLANTS`.
    crs : CRS
        That of the local frame, in which the layers are.
    """
    made = {}
    for name, (rows, columns) in _columns_of(planned, wanted).items():
        years = COUNTED_YEARS if name == COUNTY_SIDES.name else ()
        table = table_of_columns(COUNTY[name], columns, years)
        made[name] = gpd.GeoDataFrame(table, geometry=rows.shapes, crs=crs)
    return made


def rows_of(
    planned: Planned, about: Mapping[str, Any], wanted: Sequence[str] = ()
) -> dict[str, list[dict[str, Any]]]:
    """Give a parcel's sides, and what else is wanted of its lines and new plants, as records of their contracts.

    Parameters
    ----------
    planned : Planned
    about : mapping
        The parcel's row in its file and its identifier.
    wanted : sequence of str
        Names of `COUNTY_LINES` and `COUNTY_PLANTS`.
    """
    return {
        name: [
            dict(zip((*columns, "geometry"), row, strict=True))
            for row in zip(*map(list, columns.values()), rows.shapes, strict=True)
        ]
        for name, (rows, columns) in _columns_of(PlannedLots.one(planned, about), wanted).items()
    }


def _columns_of(
    planned: PlannedLots, wanted: Sequence[str]
) -> dict[str, tuple[Many, dict[str, Any]]]:
    """Give by layer its rows and their columns."""
    plants = planned.new
    made = {COUNTY_SIDES.name: (planned.sides, _sides(planned, plants))}
    for name in wanted:
        rows = {COUNTY_LINES.name: planned.lines, COUNTY_PLANTS.name: plants}[name]
        own = [column for column in COUNTY[name].names() if column in rows.layer.columns]
        columns = {column: rows.layer[column].to_list() for column in own}
        made[name] = (rows, _of_parcels(planned, rows) | columns)
    return made


def _of_parcels(planned: PlannedLots, rows: Many) -> dict[str, Any]:
    ids = np.array(planned.ids, object)
    return {"parcel_row": planned.rows[rows.lot], "parcel_id": ids[rows.lot]}


def send_out(some: Sequence[Records], crs: CRS) -> None:
    """Send the geometries of records out of their frames.

    Parameters
    ----------
    some : sequence of Records
        They are changed.
    crs : CRS
        That of the layer of parcels.
    """
    # All of a frame at once: to send them out takes as long for one shape as for hundreds.
    for frame in {id(one.frame): one.frame for one in some}.values():
        rows = [
            row for one in some if one.frame is frame for kind in one.rows.values() for row in kind
        ]
        local = gpd.GeoDataFrame(geometry=[row["geometry"] for row in rows], crs=frame.crs)
        for row, shape in zip(rows, frame.send_out(local, crs).geometry.array, strict=True):
            row["geometry"] = shape


def layer_of_records(
    contract: Contract, records: Sequence[Mapping[str, Any]], crs: CRS
) -> gpd.GeoDataFrame:
    """Make a layer by one of the county's contracts of what `rows_of` gave for several parcels."""
    return layer_of(contract, records, [row["geometry"] for row in records], crs, COUNTED_YEARS)


def _sides(planned: PlannedLots, plants: Many) -> dict[str, Any]:
    """Give the columns of the sides."""
    sides, lines, seen = planned.sides, planned.lines, planned.seen
    count, lot = len(sides.lot), sides.lot
    of_line, of_plant = _along(lines, sides), _along(plants, sides)
    needed = np.full(count, -np.inf)
    along = of_line != NO_SIDE
    np.maximum.at(needed, of_line[along], seen.needed_m[along])
    first = along & (lines.layer["row"].to_numpy(int) == 1)
    length = lines.layer["plantable_m"].to_numpy(float)
    return {
        **_of_parcels(planned, sides),
        "side_id": texts(sides.layer, "side_id"),
        "side_class": planned.classes,
        "length_m": sides.layer["length_m"].to_numpy(float),
        "plantable_m": np.bincount(of_line[first], weights=length[first], minlength=count),
        "plants": _counted(of_plant, count),
        "needed_m": np.where(np.isfinite(needed), needed, np.nan),
        "cost": _costs(planned.plan, plants.layer, of_plant, count),
        "cause": planned.causes,
        "target_spacing_m": planned.target_spacing_m[lot],
        "rays": np.bincount(seen.lot, weights=seen.rays, minlength=sides.lots)[lot],
        **_across(seen, sides),
    }


def _along(rows: Many, sides: Many) -> np.ndarray:
    """Give the side along which each row of a layer stands, by its place among the sides of all lots."""
    names = zip(sides.lot.tolist(), texts(sides.layer, "side_id"), strict=True)
    places = {name: place for place, name in enumerate(names)}
    asked = zip(rows.lot.tolist(), texts(rows.layer, "side_id"), strict=True)
    return np.array([places.get(name, NO_SIDE) for name in asked], int)


def _counted(places: np.ndarray, count: int) -> np.ndarray:
    return np.bincount(places[places != NO_SIDE], minlength=count)


def _across(seen: Seen, sides: Many) -> dict[str, Any]:
    """Count the views that come in across each side."""
    count, views = len(sides.lot), np.flatnonzero(seen.rays > 0)
    lines, shapes = seen.lines(views), sides.shapes
    side = np.full(len(seen.rays), NO_SIDE)
    side[views] = side_of_views(lines, shapes, seen.lot[views], sides.lot)
    looks = np.unique(np.column_stack([side, seen.windows])[side != NO_SIDE], axis=0)[:, 0]
    mine = (side != NO_SIDE) & seen.is_open
    last = np.full(count, -np.inf)
    np.maximum.at(last, side[mine], seen.year_closed[mine])
    return {
        "windows": _counted(looks, count),
        "views_open": _counted(side[mine], count),
        "year_closed": [int(year) if np.isfinite(year) else None for year in last.tolist()],
        **{
            year_column("closed", year): _counted(side[mine & (seen.year_closed <= year)], count)
            for year in COUNTED_YEARS
        },
    }


def side_of_views(
    looks: np.ndarray,
    lines: np.ndarray,
    lot: np.ndarray | None = None,
    of: np.ndarray | None = None,
) -> np.ndarray:
    """Tell across which side of its lot each view comes in, as its place among all sides, (views,).

    It is the side that the straight line from window to place crosses last; where it crosses none, the nearest, so
    that every view belongs to one side. Through a corner it comes in across the first of its sides. A lot without
    sides has none, -1.

    Parameters
    ----------
    looks : ndarray of LineString, (views,)
        From window to place.
    lines : ndarray of LineString, (sides,)
    lot : ndarray of int, (views,), optional
        The lot of each view; by default one.
    of : ndarray of int, (sides,), optional
        The lot of each side, ascending.
    """
    lot = np.zeros(len(looks), int) if lot is None else lot
    of = np.zeros(len(lines), int) if of is None else of
    first, last = (np.searchsorted(of, lot, by) for by in ("left", "right"))
    count, found = last - first, np.full(len(looks), NO_SIDE)
    some = np.flatnonzero(count)
    if not len(some):
        return found
    group, number = numbered(count[some])
    look, side, begin = some[group], first[some][group] + number, firsts(count[some])
    apart = shapely.distance(looks[look], lines[side])
    near = apart <= EQUAL_M
    to_end = np.where(near, 0.0, np.inf)
    # Where it crosses one side only, that is the last.
    several = np.flatnonzero(near & (np.add.reduceat(near.astype(int), begin) > 1)[group])
    cuts, sides = looks[look[several]], lines[side[several]]
    # What it only touches is crossed where it is nearest to it; a line may run along a side.
    meets = shapely.intersection(cuts, sides)
    nearest = shapely.get_point(shapely.shortest_line(cuts, sides), 0)
    meets = np.where(shapely.is_empty(meets), nearest, meets)
    to_end[several] = shapely.distance(meets, shapely.get_point(cuts, -1))
    crossed = np.isfinite(np.minimum.reduceat(to_end, begin))
    away = np.where(crossed[group], to_end, apart)
    # Of two that meet at a corner through which it comes the first.
    ahead = away <= np.minimum.reduceat(away, begin)[group] + EQUAL_M
    found[some] = np.minimum.reduceat(np.where(ahead, side, len(lines)), begin)
    return found


def _costs(plan: Options, plants: pd.DataFrame, side: np.ndarray, count: int) -> np.ndarray:
    """Give the cost of the plants of each side; NaN where one has no price."""
    kinds = list(
        zip(
            texts(plants, "species"), texts(plants, "stock"),
            plants["stock_height_m"].to_numpy(float).tolist(), strict=True,
        )
    )  # fmt: skip
    known = {kind: plant_price(plan, *kind) for kind in dict.fromkeys(kinds)}
    prices = np.array([known[kind] for kind in kinds], float)
    along = side != NO_SIDE
    return np.bincount(side[along], weights=prices[along], minlength=count)
