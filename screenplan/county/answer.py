"""What was planned for a parcel as rows by the county's contracts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from pyproj import CRS

from screenplan.contracts import COUNTY_LINES, COUNTY_PLANTS, COUNTY_SIDES, Contract, year_column
from screenplan.contracts.county import COUNTED_YEARS
from screenplan.contracts.tables import layer_of, texts
from screenplan.county.parcel import Planned
from screenplan.county.seen import Seen
from screenplan.ground.frame import LocalFrame
from screenplan.site.steady import EQUAL_M
from screenplan.works.cost import plant_price


@dataclass
class Records:
    """Rows of a parcel, by the names of their contracts, and the frame in which the ``geometry`` of each is."""

    frame: LocalFrame
    rows: dict[str, list[dict[str, Any]]]


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
    layers = planned.layers
    plants, stands = layers["plants"], layers["plants"]["existing"].to_numpy(bool)
    if stands.any():
        plants = plants[~stands]
    given = {COUNTY_LINES.name: layers["planting_lines"], COUNTY_PLANTS.name: plants}
    records = {COUNTY_SIDES.name: _sides(planned, plants)} | {
        name: pd.DataFrame(given[name]).to_dict("records") for name in wanted
    }
    shapes = {COUNTY_SIDES.name: layers["sides"].geometry} | {
        name: given[name].geometry for name in wanted
    }
    return {
        name: [
            {**row, **about, "geometry": shape}
            for row, shape in zip(rows, shapes[name].to_numpy(), strict=True)
        ]
        for name, rows in records.items()
    }


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


def _sides(planned: Planned, plants: gpd.GeoDataFrame) -> list[dict[str, Any]]:
    layers, sides = planned.layers, planned.layers["sides"]
    names = texts(sides, "side_id")
    seen = _Views(planned.seen, sides)
    lines = layers["planting_lines"]
    tallest: dict[str, float] = {}
    for needed, side in zip(planned.seen.needed_m.tolist(), texts(lines, "side_id"), strict=True):
        tallest[side] = max(needed, tallest.get(side, needed))
    plantable: dict[str, float] = {}
    for row, side, length in zip(
        lines["row"].to_numpy(int), texts(lines, "side_id"), lines["plantable_m"].to_numpy(float),
        strict=True,
    ):  # fmt: skip
        if row == 1:
            plantable[side] = plantable.get(side, 0.0) + float(length)
    costs = cost_by_side(planned, plants)
    count = Counter(texts(plants, "side_id"))
    rays, lengths = float(planned.seen.rays.sum()), sides["length_m"].to_numpy(float)
    return [
        {
            "side_id": name,
            "side_class": planned.classes[k],
            "length_m": float(lengths[k]),
            "plantable_m": float(plantable.get(name, 0.0)),
            "plants": count[name],
            "needed_m": tallest.get(name, 0.0 if name in plantable else None),
            "cost": costs.get(name, 0.0),
            "cause": planned.causes.get(name),
            "target_spacing_m": planned.target_spacing_m,
            "rays": rays,
            **seen.across(k),
        }
        for k, name in enumerate(names)
    ]


class _Views:
    """The views that are counted, and across which side each comes in."""

    def __init__(self, seen: Seen, sides: gpd.GeoDataFrame):
        self.window, self.seen, self.today = seen.windows, seen.rays > 0, seen.is_open
        self.year = seen.year_closed
        self.side = side_of_views(seen.lines, sides.geometry.to_numpy())

    def across(self, side: int) -> dict[str, Any]:
        """Count the views that come in across one side."""
        mine = self.side == side
        years = self.year[mine & self.today]
        last = years.max(initial=-np.inf)
        return {
            "windows": len(set(self.window[mine & self.seen])),
            "views_open": len(years),
            "year_closed": int(last) if np.isfinite(last) else None,
            **{year_column("closed", year): int((years <= year).sum()) for year in COUNTED_YEARS},
        }


def side_of_views(looks: np.ndarray, lines: np.ndarray) -> np.ndarray:
    """Tell across which side each view comes in, as its place among the sides, (views,).

    It is the side that the straight line from window to place crosses last; where it crosses none, the nearest, so
    that every view belongs to one side. Through a corner it comes in across the first of its sides.

    Parameters
    ----------
    looks : ndarray of LineString, (views,)
        From window to place.
    lines : ndarray of LineString, (sides,)
    """
    found = np.zeros(len(looks), int)
    if not len(lines) or not len(looks):
        return found
    apart = shapely.distance(looks[:, None], lines[None, :])
    near = apart <= EQUAL_M
    to_end = np.where(near, 0.0, np.inf)
    # Where it crosses one side only, that is the last.
    look, side = np.nonzero(near & (near.sum(axis=1) > 1)[:, None])
    crossings = shapely.shortest_line(looks[look], lines[side])
    ends = shapely.get_point(looks[look], -1)
    # What it only touches is crossed where it is nearest to it; a line may run along a side.
    meets = shapely.intersection(looks[look], lines[side])
    meets = np.where(shapely.is_empty(meets), shapely.get_point(crossings, 0), meets)
    to_end[look, side] = shapely.distance(meets, ends)
    crossed = np.isfinite(to_end).any(axis=1)
    for some, away in ((crossed, to_end), (~crossed, apart)):
        least = away[some].min(axis=1, keepdims=True, initial=np.inf)
        # Of two that meet at a corner through which it comes the first.
        found[some] = (away[some] <= least + EQUAL_M).argmax(axis=1)
    return found


def cost_by_side(planned: Planned, plants: gpd.GeoDataFrame) -> dict[str, float | None]:
    """Give the cost of each side's plants; None where one has no price."""
    costs: dict[str, float | None] = {}
    assert planned.plan is not None  # a parcel that was planned has its plan
    for side, species, stock, height in zip(
        texts(plants, "side_id"), texts(plants, "species"), texts(plants, "stock"),
        plants["stock_height_m"].to_numpy(float), strict=True,
    ):  # fmt: skip
        price = plant_price(planned.plan, species, stock, height)
        so_far = costs.get(side, 0.0)
        costs[side] = None if price is None or so_far is None else so_far + price
    return costs
