"""Plants of the rows as the kernel takes them: growth classes, sizes by year, runs."""

from __future__ import annotations

import geopandas as gpd
import numpy as np

from screenplan.contracts import HIGHEST_PLANT_M
from screenplan.errors import InputError, Problem
from screenplan.planting.growth import clear_stem_at, height_at, spread_at, width_at
from screenplan.planting.shapes import BOX, COLUMN, ELLIPSOID, shape_code
from screenplan.views.crowns import CrownTable, tabulate_crowns
from screenplan.views.holes import LineStand
from screenplan.views.kernel import Rows, arrange_rows
from screenplan.views.leaves import LEAF_PROJECTION
from screenplan.views.obstacles import numbers, plan_xy
from screenplan.views.results import GROWTHS, TYPICAL


def grow_rows(
    plants: gpd.GeoDataFrame, *, table, years: int, curve: str
) -> tuple[Rows, CrownTable, np.ndarray]:
    """Put plants into growth classes and runs.

    Parameters
    ----------
    plants : GeoDataFrame
        Layer of the contract, in metres.
    table : mapping of str to Species
        Species by key.
    years : int
        Last year.
    curve : {"smooth", "straight"}
        Growth curve.

    Returns
    -------
    rows : Rows
    crowns : CrownTable
    kind : ndarray of int
        Growth class of each plant, in the layer's order.

    Raises
    ------
    InputError
        By row: a plant without a place, a ground height, a known species or a height.
    """
    _check(plants, table)
    stock = numbers(plants, "stock_height_m", np.nan)
    species = plants["species"].astype(str).to_numpy()
    stands = (
        plants["existing"].fillna(False).to_numpy(dtype=bool)
        if "existing" in plants.columns
        else np.zeros(len(plants), bool)
    )
    classes: dict[tuple[str, float, bool], int] = {}
    kind = np.array(
        [
            classes.setdefault((name, float(h0), bool(old)), len(classes))
            for name, h0, old in zip(species, stock, stands, strict=True)
        ],
        np.int64,
    )
    fading = np.zeros((len(GROWTHS), max(len(classes), 1)))
    sizes = np.zeros((4, len(GROWTHS), years + 1, max(len(classes), 1)))
    shapes, winter = [], []
    when = np.arange(years + 1)
    for (name, h0, old), k in classes.items():
        what = table[name]
        shapes.append(shape_code(what.shape))
        winter.append(1.0 if what.evergreen else what.winter_share)
        for g, growth in enumerate(GROWTHS):
            height = height_at(
                what, when, growth=growth, stock_height_m=h0, curve=curve, established=old
            )
            sizes[0, g, :, k] = height
            sizes[1, g, :, k] = 0.5 * spread_at(what, height, growth)
            sizes[2, g, :, k] = clear_stem_at(what, height)
            sizes[3, g, :, k] = 0.5 * width_at(what, height, growth)
        # Low growth goes with sparse leaves, so that the range of the results holds both.
        sparse, dense = what.leaf_density
        fading[:, k] = LEAF_PROJECTION * np.array([sparse, 0.5 * (sparse + dense), dense])
    if not classes:
        shapes, winter = [COLUMN], [1.0]
    crowns = tabulate_crowns(shapes, *sizes[:3], winter, across=sizes[3], fading=fading)
    order = np.lexsort((numbers(plants, "station_m", 0.0), plants["line_id"].astype(str)))
    x, y = plan_xy(plants.geometry)[order].T
    _, row = np.unique(plants["line_id"].astype(str).to_numpy()[order], return_inverse=True)
    rows = arrange_rows(
        x,
        y,
        numbers(plants, "ground_m", 0.0)[order],
        kind[order],
        row,
        crowns,
    )
    return rows, crowns, kind


def stand_in_year(planting_lines, plants, crowns: CrownTable, kind, year: int) -> list[LineStand]:
    """Give the planting lines with their plants as they stand in one year, typical growth."""
    stands = []
    lines = plants["line_id"].astype(str).to_numpy()
    station = numbers(plants, "station_m", 0.0)
    ids = plants["plant_id"].to_numpy()
    for line_id, line in zip(
        planting_lines["line_id"].astype(str), planting_lines.geometry, strict=True
    ):
        mine = np.flatnonzero(lines == line_id)
        mine = mine[np.argsort(station[mine], kind="stable")]
        sort = kind[mine]
        height, radius, clear = (
            size[sort, TYPICAL, year] for size in (crowns.height, crowns.radius, crowns.clear)
        )
        shape = crowns.shape[sort]
        widest = np.where(shape == ELLIPSOID, 0.5 * (height + clear), clear)
        widest = np.where(np.isin(shape, (COLUMN, BOX)), np.nan, widest)
        stands.append(
            LineStand(line_id, line, ids[mine], station[mine], height, radius, clear, widest)
        )
    return stands


def _check(plants, table) -> None:
    stock = numbers(plants, "stock_height_m", np.nan)
    placed = np.isfinite(plan_xy(plants.geometry)).all(axis=1)
    unknown = ~plants["species"].astype(str).isin(list(table)).to_numpy()
    problems = []
    for wrong, what, mend in (
        (~placed, "a plant has no place", "Give it a point"),
        (
            ~np.isfinite(numbers(plants, "ground_m", np.nan)),
            "a plant has no ground height",
            "Give ground_m, 0 on a flat site",
        ),
        (
            unknown,
            f"a species is not in the table: {', '.join(sorted(set(plants['species'].astype(str)[unknown])))}",
            "Use a key of the species table, or add the species to it",
        ),
        (~(stock > 0.0), "a plant has no height when planted", "Give stock_height_m above 0"),
        (
            stock > HIGHEST_PLANT_M,
            f"a plant is taller than {HIGHEST_PLANT_M:g} m",
            "Correct stock_height_m; it is in metres",
        ),
    ):
        if wrong.any():
            rows = [int(row) + 1 for row in np.flatnonzero(wrong)]
            problems.append(Problem(what, mend, layer="plants", rows=rows))
    if problems:
        raise InputError(problems)
