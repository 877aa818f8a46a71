"""Plants of the rows as the kernel takes them: growth classes, sizes by year, runs."""

from __future__ import annotations

import geopandas as gpd
import numpy as np

from screenplan.contracts import HIGHEST_PLANT_M
from screenplan.ground.errors import InputError, Problem
from screenplan.planting.growth import clear_stem_at, height_at, spread_at, width_at
from screenplan.planting.maturity import MATURE_YEAR
from screenplan.planting.shapes import BOX, COLUMN, ELLIPSOID, shape_code
from screenplan.views.crowns import MOST_YEARS, CrownTable, is_nested, tabulate_crowns
from screenplan.views.holes import LineStand
from screenplan.views.kernel import Rows, arrange_rows
from screenplan.views.leaves import LEAF_PROJECTION
from screenplan.views.obstacles import numbers, plan_xy
from screenplan.views.results import GROWTHS, TYPICAL


def grow_rows(
    plants: gpd.GeoDataFrame, *, table, years, curve: str
) -> tuple[Rows, CrownTable, np.ndarray]:
    """Put plants into growth classes and runs.

    Parameters
    ----------
    plants : GeoDataFrame
        Layer of the contract, in metres.
    table : mapping of str to Species
        Species by key.
    years : int or ndarray of int
        Last year, or all years in rising order.
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
    classes, kind = _classes(plants)
    when = np.arange(years + 1) if np.isscalar(years) else np.asarray(years)
    fading = np.zeros((len(GROWTHS), max(len(classes), 1)))
    sizes = np.zeros((4, len(GROWTHS), len(when), max(len(classes), 1)))
    shapes, winter = [], []
    for k, (name, h0, old) in enumerate(classes):
        what = table[name]
        shapes.append(shape_code(what.shape))
        winter.append(1.0 if what.evergreen else what.winter_share)
        sizes[..., k] = _sizes(what, h0, old, when, curve)
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


def years_to_rest(plants: gpd.GeoDataFrame, *, table, years: int, curve: str) -> np.ndarray:
    """Years to follow so that what is closed at the last of them stays closed for good.

    While each crown holds that of the year before, no sight line opens again. So the years looked
    at are followed, and as many more as crowns still draw in somewhere: at a bare stem that rises,
    or at the foot of an ellipsoid that only grows taller. Where they never cease to, grown plants
    come last, as `MATURE_YEAR`.

    Parameters
    ----------
    plants, table, years, curve
        As `grow_rows` takes them; ``years`` is the last year looked at.

    Returns
    -------
    ndarray of int
        In rising order, at most `MOST_YEARS`.
    """
    _check(plants, table)
    every = np.append(np.arange(MOST_YEARS - 1), MATURE_YEAR)
    last = years
    for name, h0, old in _classes(plants)[0]:
        what = table[name]
        code = shape_code(what.shape)
        for size in _sizes(what, h0, old, every, curve).transpose(1, 2, 0):
            for k in range(len(every) - 1, last, -1):
                if not is_nested(code, tuple(size[k]), tuple(size[k - 1])):
                    last = k
                    break
    return every[: last + 1]


def _classes(plants) -> tuple[list[tuple[str, float, bool]], np.ndarray]:
    """Growth classes, as species, stock height and whether it stands, and that of each plant."""
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
    return list(classes), kind


def _sizes(what, stock_height_m: float, stands: bool, when, curve: str) -> np.ndarray:
    """Height, radius, clear stem and half width of a class, (4, growths, years)."""
    sizes = np.zeros((4, len(GROWTHS), len(when)))
    for g, growth in enumerate(GROWTHS):
        height = height_at(
            what,
            when,
            growth=growth,
            stock_height_m=stock_height_m,
            curve=curve,
            established=stands,
        )
        sizes[:, g] = (
            height,
            0.5 * spread_at(what, height, growth),
            clear_stem_at(what, height),
            0.5 * width_at(what, height, growth),
        )
    return sizes


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
        (
            ~(stock > 0.0),
            "a plant has no height when planted",
            "Give the column stock_height_m a height above 0",
        ),
        (
            stock > HIGHEST_PLANT_M,
            f"a plant is taller than {HIGHEST_PLANT_M:g} m",
            "Correct the column stock_height_m; it is in metres",
        ),
    ):
        if wrong.any():
            rows = [int(row) + 1 for row in np.flatnonzero(wrong)]
            problems.append(Problem(what, mend, layer="plants", rows=rows))
    if problems:
        raise InputError(problems)
