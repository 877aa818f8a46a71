"""What was planned for a parcel as rows by the county's contracts."""

from __future__ import annotations

from collections.abc import Mapping
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
    planned: Planned, parcel_row: int, parcel_id: str, crs: CRS
) -> dict[str, gpd.GeoDataFrame]:
    """Give a parcel's sides, lines and new plants by `COUNTY_SIDES`, `COUNTY_LINES`, `COUNTY_PLANTS`.

    Parameters
    ----------
    planned : Planned
    parcel_row : int
        Its row in its file, from 1.
    parcel_id : str
    crs : CRS
        That of the layer of parcels, in which the rows are given.
    """
    about = {"parcel_row": parcel_row, "parcel_id": parcel_id}
    lines, plants = planned.layers["planting_lines"], planned.layers["plants"]
    plants = plants[~plants["existing"].to_numpy(bool)]
    send = planned.site.frame.send_out
    records = {
        COUNTY_SIDES.name: _sides(planned, plants),
        COUNTY_LINES.name: lines.drop(columns="geometry").to_dict("records"),
        COUNTY_PLANTS.name: plants.drop(columns="geometry").to_dict("records"),
    }
    shapes = {
        COUNTY_SIDES.name: planned.layers["sides"].geometry,
        COUNTY_LINES.name: lines.geometry,
        COUNTY_PLANTS.name: plants.geometry,
    }
    contracts = {one.name: one for one in (COUNTY_SIDES, COUNTY_LINES, COUNTY_PLANTS)}
    return {
        name: send(
            _layer(contract, [about | row for row in records[name]], shapes[name], planned), crs
        )
        for name, contract in contracts.items()
    }


def _layer(
    contract: Contract, records: list[Mapping[str, Any]], shapes, planned: Planned
) -> gpd.GeoDataFrame:
    return _with_years(contract, records, shapes, planned.site.frame.crs)


def empty_layer(contract: Contract, crs: CRS) -> gpd.GeoDataFrame:
    """Give a layer by one of the county's contracts, without a row."""
    return _with_years(contract, [], [], crs)


def _with_years(
    contract: Contract, records: list[Mapping[str, Any]], shapes, crs
) -> gpd.GeoDataFrame:
    layer = layer_of(contract, records, shapes, crs)
    for column in contract.columns:
        if column.per_year:
            layer = layer.drop(columns=column.name)
            for year in COUNTED_YEARS:
                name = year_column(column.name, year)
                layer[name] = pd.Series([row[name] for row in records], dtype="Int64")
    return layer


def _sides(planned: Planned, plants: gpd.GeoDataFrame) -> list[dict[str, Any]]:
    layers, sides = planned.layers, planned.layers["sides"]
    names = texts(sides, "side_id")
    views = layers["views"]
    across = side_of_views(views, sides)
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
            **_views_across(views[across == k]),
        }
        for k, name in enumerate(names)
    ]


def _views_across(views: gpd.GeoDataFrame) -> dict[str, Any]:
    """Count the views that come in across one side."""
    status = views["status"].astype(str)
    seen = views[(status != NO_VIEW).to_numpy(bool)]
    today = views[status.isin(OPEN_TODAY).to_numpy(bool)]
    years = today["year_closed"].astype("Float64").to_numpy(float, na_value=np.inf)
    last = years.max(initial=-np.inf)
    return {
        "windows": int(seen["window_id"].nunique()),
        "views_open": len(today),
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
    for side, species, stock, height in zip(
        texts(plants, "side_id"), texts(plants, "species"), texts(plants, "stock"),
        plants["stock_height_m"].to_numpy(float), strict=True,
    ):  # fmt: skip
        price = plant_price(planned.plan, species, stock, height)
        so_far = costs.get(side, 0.0)
        costs[side] = None if price is None or so_far is None else so_far + price
    return costs
