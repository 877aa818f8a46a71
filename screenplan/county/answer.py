"""What was planned for a parcel as rows by the county's contracts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
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
from screenplan.works.cost import plant_price

#: What becomes of a view that is open on the day of planting, and of one of which no ray passes.
OPEN_TODAY, NO_VIEW = ("closes", "stays open"), "no view"


def rows_of(
    planned: Planned, about: Mapping[str, Any], crs: CRS, wanted: Sequence[str] = ()
) -> dict[str, list[dict[str, Any]]]:
    """Give a parcel's sides, and what else is wanted of its lines and new plants, as records of their contracts.

    Parameters
    ----------
    planned : Planned
    about : mapping
        The parcel's row in its file and its identifier.
    crs : CRS
        That of the layer of parcels, in which each record's ``geometry`` is given.
    wanted : sequence of str
        Names of `COUNTY_LINES` and `COUNTY_PLANTS`.
    """
    layers, frame = planned.layers, planned.site.frame
    plants = layers["plants"][~layers["plants"]["existing"].to_numpy(bool)]
    given = {COUNTY_LINES.name: layers["planting_lines"], COUNTY_PLANTS.name: plants}
    records = {COUNTY_SIDES.name: _sides(planned, plants)} | {
        name: pd.DataFrame(given[name]).to_dict("records") for name in wanted
    }
    shapes = [
        layers["sides"].geometry.to_numpy(),
        *(given[name].geometry.to_numpy() for name in wanted),
    ]
    # All at once: to send them out takes as long for one shape as for hundreds.
    local = gpd.GeoDataFrame(geometry=np.concatenate(shapes), crs=frame.crs)
    sent = iter(frame.send_out(local, crs).geometry.array)
    return {
        name: [{**row, **about, "geometry": next(sent)} for row in rows]
        for name, rows in records.items()
    }


def layer_of_records(
    contract: Contract, records: Sequence[Mapping[str, Any]], crs: CRS
) -> gpd.GeoDataFrame:
    """Make a layer by one of the county's contracts of what `rows_of` gave for several parcels."""
    return layer_of(contract, records, [row["geometry"] for row in records], crs, COUNTED_YEARS)


def _sides(planned: Planned, plants: gpd.GeoDataFrame) -> list[dict[str, Any]]:
    layers, sides = planned.layers, planned.layers["sides"]
    names = texts(sides, "side_id")
    views = layers["views"]
    seen = _Views(views, sides)
    lines = layers["planting_lines"]
    needed = layers["needed_height"]
    tallest = {}
    if len(needed):
        side_of = dict(zip(texts(lines, "line_id"), texts(lines, "side_id"), strict=True))
        heights = (
            needed["needed_m"].groupby([side_of[name] for name in texts(needed, "line_id")]).max()
        )
        tallest = heights.to_dict()
    first = lines[lines["row"].to_numpy(int) == 1]
    plantable = (
        first["plantable_m"].groupby(texts(first, "side_id")).sum().to_dict() if len(first) else {}
    )
    costs = cost_by_side(planned, plants)
    count = pd.Series(texts(plants, "side_id"), dtype=object).value_counts().to_dict()
    rays = float(views["rays"].sum()) if len(views) else 0.0
    return [
        {
            "side_id": name,
            "side_class": planned.classes[k],
            "length_m": float(sides["length_m"].iloc[k]),
            "plantable_m": float(plantable.get(name, 0.0)),
            "plants": int(count.get(name, 0)),
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
    """The columns of the views that are counted, as arrays, and across which side each comes in."""

    def __init__(self, views: gpd.GeoDataFrame, sides: gpd.GeoDataFrame):
        status = views["status"].to_numpy(object)
        self.window = views["window_id"].to_numpy(object)
        self.seen, self.today = status != NO_VIEW, np.isin(status.astype(str), OPEN_TODAY)
        self.year = views["year_closed"].astype("Float64").to_numpy(float, na_value=np.inf)
        self.side = side_of_views(views, sides)

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


def side_of_views(views: gpd.GeoDataFrame, sides: gpd.GeoDataFrame) -> np.ndarray:
    """Tell across which side each view comes in, as its place among the sides, (views,).

    It is the side that the straight line from window to place crosses last; where it crosses none, the nearest, so
    that every view belongs to one side.

    Parameters
    ----------
    views, sides : GeoDataFrame
        By their contracts, in the local frame.
    """
    looks, lines = views.geometry.to_numpy(), sides.geometry.to_numpy()
    found = np.zeros(len(looks), int)
    if not len(lines) or not len(looks):
        return found
    crossings = shapely.intersection(looks[:, None], lines[None, :])
    ends = shapely.points([look.coords[-1] for look in looks])
    to_end = shapely.distance(crossings, ends[:, None])  # NaN where nothing is crossed
    crossed = ~np.isnan(to_end).all(axis=1)
    found[crossed] = np.nanargmin(to_end[crossed], axis=1)
    apart = shapely.distance(looks[:, None], lines[None, :])
    found[~crossed] = np.argmin(apart[~crossed], axis=1)
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
