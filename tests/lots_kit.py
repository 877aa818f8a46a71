"""A made-up district whose lots are worked out together and each alone: for the tests of steps that take many lots at once."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from geopandas.testing import assert_geodataframe_equal
from shapely import affinity

from screenplan.site.lots import Lots, Many

WIDE_M, DEEP_M = 24.0, 36.0
IN_A_ROW = 4


def district(seed: int, count: int = 10) -> dict[str, gpd.GeoDataFrame]:
    """Lay uneven lots in rows, turned as a whole: without a house, with one or two, with a nook, built upon all over; a road before each other row."""
    rng = np.random.default_rng(seed)
    lots, houses = [], []
    for k in range(count):
        row, column = divmod(k, IN_A_ROW)
        west, south = column * WIDE_M, row * (DEEP_M + 7.0)
        corners = np.array([(0, 0), (WIDE_M, 0), (WIDE_M, DEEP_M), (0, DEEP_M)], dtype=float)
        if rng.random() < 0.3:  # a bend, or a chamfer
            corners = np.insert(corners, 2, (WIDE_M + rng.uniform(-5, 5), DEEP_M / 2.0), axis=0)
        corners += rng.uniform(-1.5, 1.5, corners.shape) + np.array([west, south])
        lots.append(shapely.Polygon(corners))
        x, y = west + rng.uniform(3, 8), south + rng.uniform(4, 10)
        house = shapely.box(x, y, x + 11, y + 9)
        kind = rng.integers(6)
        if kind == 1:
            house = house.difference(shapely.box(x + 4, y + 5, x + 8, y + 9))
        if kind == 2:
            house = shapely.box(west, south, west + WIDE_M, south + DEEP_M)
        if kind != 3:
            houses.append((f"h{k}", "house", house))
        if kind == 4:
            houses.append((f"s{k}", "shed", shapely.box(x + 1, y + 11, x + 5, y + 14)))
        if kind == 5:
            houses.append((f"w{k}", "house", affinity.translate(house, 11.0, 2.0)))
    ends = [(-60.0, -5.0, 60.0 + IN_A_ROW * WIDE_M, -5.0), (-60.0, 160.0, 200.0, 170.0)]
    roads = [shapely.LineString([(a, b), (c, d)]) for a, b, c, d in ends]
    angle = rng.uniform(0, 360)

    def layer(columns, shapes):
        turned = [affinity.rotate(shape, angle, origin=(0, 0)) for shape in shapes]
        return gpd.GeoDataFrame(columns, geometry=turned, crs=32614)

    names, kinds, shapes = (list(part) for part in zip(*houses, strict=True))
    return {
        "parcels": layer({"parcel_id": [f"p{k}" for k in range(count)], "is_subject": False}, lots),
        "buildings": layer({"building_id": names, "kind": kinds, "storeys": 2}, shapes),
        "roads": layer({"road_id": ["r1", "r2"], "name": ["High Street", None]}, roads),
    }


def alone(layers: Mapping[str, gpd.GeoDataFrame], row: int, reach_m: float):
    """Give what one lot is handed where it is planned by itself: all rows within its reach."""
    outline = layers["parcels"].geometry.iloc[row]
    subject = np.arange(len(layers["parcels"])) == row
    marked = dict(layers) | {"parcels": layers["parcels"].assign(is_subject=subject)}
    return {
        name: layer[shapely.dwithin(layer.geometry.to_numpy(), outline, reach_m)].reset_index(drop=True)
        for name, layer in marked.items()
    }  # fmt: skip


def cuts(layers, reach_m: float, seed: int) -> list[tuple[Lots, list[int]]]:
    """Give the lots in one batch, in another order, and in two batches; and the rows of each batch."""
    rng, count = np.random.default_rng(seed), len(layers["parcels"])
    order = rng.permutation(count)
    middle = rng.integers(1, count)
    batches = [np.arange(count), order, order[:middle], order[middle:]]
    return [(Lots(layers, rows, reach_m), rows.tolist()) for rows in batches]


def assert_same(mine: gpd.GeoDataFrame, other: gpd.GeoDataFrame) -> None:
    """The same rows in the same order, to the last digit."""
    assert_geodataframe_equal(mine, other)
    assert (mine.geometry.to_wkb() == other.geometry.to_wkb()).all()
    pd.testing.assert_frame_equal(pd.DataFrame(mine), pd.DataFrame(other), check_exact=True)


def assert_each(many: Many, rows: list[int], expected: list[gpd.GeoDataFrame]) -> None:
    """Each lot of a batch has what it has alone."""
    assert many.lots == len(rows)
    for lot, row in enumerate(rows):
        assert_same(many.of(lot), expected[row])
