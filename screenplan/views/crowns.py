"""Sizes of crowns by growth and year, as the kernel takes them, and in which years they are nested.

For every class and growth a table foretells the first year in which a sight line is stopped. A
sight line passes an upright axis at a least distance v in plan, at the height z there. The table
gives two years:

- late: the first year in which the point (v, z) itself lies inside: the crown is met by then.
- early: no crown of a year before it has, at any height above the lowest that the sight line
  reaches near the crown, a radius of v or more: it is not met before.

Both are worked out for the cells of a grid over v and z, each for the cell's least favourable
point. What lies between the two years is tested exactly, so that the tables cost no accuracy.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numba import njit

from screenplan.ground.crown_shapes import PIECES, shape_of
from screenplan.planting.footprints import farthest_edge
from screenplan.planting.shapes import is_nested, shape_radius
from screenplan.views.solids import FORM, crown_forms, crown_pieces, how_made

#: Bits of a signed 64-bit mask that hold one year each; the sign stays clear.
MOST_YEARS = 62
#: Cells of the two tables over the distance from the axis and over the height.
DISTANCE_CELLS, HEIGHT_CELLS = 128, 256
#: Years are numbered below this, which stands for never.
NEVER = 127
#: Growths whose years fit one word of the tables, a byte each.
MOST_GROWTHS = 4
#: Years that a vector unit works on at a time.
LANES = 4
#: Cells are widened by this: rounding only.
CELL_SLACK_M = 1e-9


class CrownTable(NamedTuple):
    """Sizes of the crowns of each growth class, by growth and year.

    A class is a set of plants of one species, stock height and age: they grow alike.

    Attributes
    ----------
    boxed : ndarray of bool, (classes,)
        Whether the crowns are boxes along their row.
    layer : ndarray of int64, (classes,)
        Index into ``leafless``.
    leafless : ndarray of float64, (layers,)
        Share of the light that passes in winter, rising: 0 for evergreens.
    height, radius, clear : ndarray of float64, (classes, growths, years)
        Sizes in metres.
    across : ndarray of float64, (classes, growths, years)
        Half width of boxes across their row, in metres.
    form : ndarray of float64, (classes, growths, 5, lanes)
        The same sizes as `crown_forms` gives them, by year; filled up to a multiple of `LANES` with
        crowns that have no inside.
    made : ndarray of int64, (classes, growths)
        How its crowns are made (`screenplan.views.solids`): solid, or stacked.
    pieces : ndarray of float64, (classes, growths, 2, PIECES)
        The numbers a and b of the pieces from which stacked crowns are made.
    widest : ndarray of float64, (classes,)
        Greatest distance in plan from the stem, of all growths and years.
    nested : ndarray of int64, (classes, growths, spells)
        Masks of years (bit y is year y): within each the crowns are nested, so that the first
        year in which one is hit can be bisected. A class whose crowns always hold the year
        before has one mask; unused ones are 0.
    foretold : ndarray of uint32, (classes, distances, heights + 1, 2)
        The years early and late of the module's description, a byte for each growth, the lowest for
        the first; the last of heights says `NEVER`, and is for sight lines that pass over all
        crowns, or about which nothing is known.
    cells : ndarray of float64, (classes, 2)
        Cells per metre of distance and of height.
    steepest : ndarray of float64, (classes,)
        Square of the greatest change of an even crown's radius per metre of height; -1 for others,
        whose early year is looked up at the lowest height that the sight line reaches within the
        widest crown, and not at that where it passes the axis.
    nested_from : ndarray of float64, (classes,)
        Height above the foot from which on each crown holds that of the year before: 0 where it always
        does, infinite where it does not above any. Crowns whose stems clear as they grow are nested
        above the highest clear stem.
    knots : ndarray of float64, (classes, growths, PIECES + 1)
        Shares of the depth below the tip at which the pieces of stacked crowns meet.
    rises : ndarray of bool, (classes, growths)
        Whether neither the height nor the clear stem ever falls.
    sides : ndarray of float64, (classes,)
        The same of the even crowns among those of a class whose growths differ in shape; -1 if none is.
    extinction : ndarray of float64, (classes, growths)
        Extinction coefficient of the leaves, per metre: leaf area density times G; 0 where it is
        not known.
    settled : ndarray of int64, (classes, growths)
        First year from which on a crown keeps its size.
    """

    boxed: np.ndarray
    layer: np.ndarray
    leafless: np.ndarray
    height: np.ndarray
    radius: np.ndarray
    clear: np.ndarray
    across: np.ndarray
    form: np.ndarray
    made: np.ndarray
    pieces: np.ndarray
    widest: np.ndarray
    nested: np.ndarray
    foretold: np.ndarray
    cells: np.ndarray
    steepest: np.ndarray
    nested_from: np.ndarray
    knots: np.ndarray
    rises: np.ndarray
    sides: np.ndarray
    extinction: np.ndarray
    settled: np.ndarray


def one_growth(crowns: CrownTable, growth: int) -> CrownTable:
    """Give a table of one growth alone, for rays of which only that one is asked."""
    only = slice(growth, growth + 1)
    parts = (
        "height", "radius", "clear", "across", "form", "made", "pieces", "knots", "rises", "nested", "extinction",
        "settled",
    )  # fmt: skip
    sizes = {name: np.ascontiguousarray(getattr(crowns, name)[:, only]) for name in parts}
    told = (crowns.foretold >> np.uint32(8 * growth)) & np.uint32(0xFF)
    return crowns._replace(**sizes, foretold=told | np.uint32(NEVER * 0x01010100))


def tabulate_crowns(
    shapes, height, radius, clear, winter_share=None, *, across=None, extinction=None, floor=None
) -> CrownTable:
    """Arrange crown sizes for the kernel, and find in which years they are nested.

    Parameters
    ----------
    shapes : sequence of str or CrownShape, (classes,), or of sequences of them, (classes, growths)
        One for all growths of a class, or one for each.
    height, radius, clear : array_like, (growths, years, classes)
        Height, greatest radius and clear stem in metres.
    winter_share : array_like, (classes,), optional
        Share of the screening that is left after leaf fall, 1 for evergreens (the default).
    across : array_like, (growths, years, classes), optional
        Half width of boxes across their row, in metres; by default the radius.
    extinction : array_like, (growths, classes), optional
        Extinction coefficient of the leaves, per metre: leaf area density times G.
    floor : array_like, (classes,), optional
        Height above the foot below which a crown has lost its leaves, in metres; by default 0. It is cut
        off level there and keeps its shape above, and what is nested stays so.

    Raises
    ------
    InputError
        On a shape that is not known.
    ValueError
        On sizes that are not finite, more years than a mask holds, more growths than a word, or a winter
        share too few or too many: a caller's mistake, never a person's.
    """
    arrays = [
        np.ascontiguousarray(np.moveaxis(np.asarray(size, np.float64), -1, 0))
        for size in (height, radius, clear, radius if across is None else across)
    ]
    height, radius, clear, across = arrays
    if not all(np.isfinite(size).all() for size in arrays):
        msg = "crown sizes must be finite"
        raise ValueError(msg)
    classes, growths, years = height.shape
    shapes = [shapes_by_growth(shape, growths) for shape in shapes]
    if years > MOST_YEARS:
        msg = f"at most {MOST_YEARS} years fit a mask"
        raise ValueError(msg)
    if growths > MOST_GROWTHS:
        msg = f"at most {MOST_GROWTHS} growths fit a word"
        raise ValueError(msg)
    if winter_share is not None and np.shape(winter_share) != (classes,):
        msg = "there is one winter share for each class of crowns"
        raise ValueError(msg)
    passes = np.zeros(classes) if winter_share is None else 1.0 - np.asarray(winter_share, float)
    leafless, layer = np.unique(passes, return_inverse=True)
    nested = [
        [
            _nested_pieces(shapes[k][g], height[k, g], radius[k, g], clear[k, g], across[k, g])
            for g in range(growths)
        ]
        for k in range(classes)
    ]
    most = max((len(piece) for row in nested for piece in row), default=1)
    masks = np.zeros((classes, growths, most), np.int64)
    for k, pieces_of in enumerate(nested):
        for g, piece in enumerate(pieces_of):
            masks[k, g, : len(piece)] = piece
    boxed = np.array([row[0].along_row for row in shapes], bool)
    widest = np.array([farthest_edge(radius[k], across[k], boxed[k]).max() for k in range(classes)])
    extinction = (
        np.zeros((growths, classes)) if extinction is None else np.asarray(extinction, np.float64)
    )
    floor = np.zeros(classes) if floor is None else np.asarray(floor, np.float64)
    # What is lowest is told apart from the clear stem, which makes the shape.
    lowest = np.maximum(clear, floor[:, None, None])
    foretold, cells = _foretell(shapes, (height, radius, clear, across), lowest, widest)
    form = np.zeros((classes, growths, FORM, -(-years // LANES) * LANES))
    pieces, made = np.zeros((classes, growths, 2, PIECES)), np.zeros((classes, growths), np.int64)
    knots = np.zeros((classes, growths, PIECES + 1))
    for k, row in enumerate(shapes):
        for g, shape in enumerate(row):
            sizes = (size[k, g] for size in arrays)
            left = height[k, g] > lowest[k, g]
            form[k, g, :, :years] = np.where(left, crown_forms(shape, *sizes), 0.0)
            form[k, g, 1, :years] = np.where(form[k, g, 0, :years] > 0.0, lowest[k, g], 0.0)
            made[k, g], pieces[k, g] = how_made(shape), crown_pieces(shape)
            if shape.pieces:
                knots[k, g] = shape.knots
    rises = ((np.diff(height, axis=2) >= 0.0) & (np.diff(clear, axis=2) >= 0.0)).all(axis=2)
    even = np.array([[shape.even for shape in row] for row in shapes], bool)
    sides = np.where(even, -form[:, :, 2].min(axis=2), -1.0)
    steepest = np.where(even.all(axis=1), sides.max(axis=1), -1.0)
    return CrownTable(
        boxed, layer.astype(np.int64), leafless, height, radius, clear, across,
        form, made, pieces, widest, masks, foretold, cells, steepest,
        _nested_from(shapes, masks, arrays), knots, rises, sides.max(axis=1),
        np.ascontiguousarray(extinction.T), _settled(height, radius, clear, across),
    )  # fmt: skip


def _nested_from(shapes, pieces, sizes) -> np.ndarray:
    """Find the height from which on the crowns of each class are nested.

    A crown that is widest at its foot has the share u = (h - z) / (h - c) at the height z. If h and c
    never fall u never falls above the new clear stem: at that it is 1, which is the most, and at
    the old top 0, which is the least, and in between it is straight. So what grows no narrower loses no
    part of itself that lies above all clear stems.
    """
    found = np.zeros(len(shapes))
    for k, row in enumerate(shapes):
        if not pieces[k, :, 1:].any():
            continue
        narrows = any(shape.widest not in (None, 0.0) for shape in row)
        shrinks = any((np.diff(size[k], axis=1) < 0.0).any() for size in sizes)
        found[k] = np.inf if narrows or shrinks else sizes[2][k].max()
    return found


def shapes_by_growth(shape, growths: int) -> list:
    """Give the records of a class by growth."""
    if isinstance(shape, (list, tuple)):
        return [shape_of(name) for name in shape]
    return [shape_of(shape)] * growths


def _settled(*sizes) -> np.ndarray:
    """Find the year after the last change of any size, by class and growth."""
    changes = np.any([np.diff(size, axis=2) != 0.0 for size in sizes], axis=0)
    years = np.arange(1, changes.shape[2] + 1)
    return np.where(changes, years, 0).max(axis=2, initial=0)


def _nested_pieces(shape, height, radius, clear, across) -> list[int]:
    sizes = np.stack(np.broadcast_arrays(height, radius, clear, across))
    pieces = [1]
    for year, nested in enumerate(is_nested(shape, sizes[:, 1:], sizes[:, :-1]).tolist(), 1):
        if nested:
            pieces[-1] |= 1 << year
        else:
            pieces.append(1 << year)
    return pieces


def _foretell(shapes, sizes, lowest, widest):
    """Work out the table of years, and the cells per metre."""
    height, radius, clear, across = sizes
    classes, growths, _ = height.shape
    years = (classes, DISTANCE_CELLS, HEIGHT_CELLS + 1, 2, MOST_GROWTHS)
    foretold = np.full(years, NEVER, np.uint8)
    cells = np.zeros((classes, 2))
    for k in range(classes):
        top = max(float(height[k].max(initial=0.0)), CELL_SLACK_M)
        wide = max(float(widest[k]), CELL_SLACK_M)
        cells[k] = DISTANCE_CELLS / wide, HEIGHT_CELLS / top
        near = np.arange(DISTANCE_CELLS) / DISTANCE_CELLS * wide - CELL_SLACK_M
        far = np.arange(1, DISTANCE_CELLS + 1) / DISTANCE_CELLS * wide + CELL_SLACK_M
        z = np.arange(HEIGHT_CELLS + 1)[:, None] / HEIGHT_CELLS * top
        for g in range(growths):
            h, r, c, v = (size[k, g] for size in (height, radius, clear, across))
            there = (h > c) & (r > 0.0) & (v > 0.0)
            shape = shapes[k][g]
            near_edge = np.minimum(r, v) if shape.along_row else r
            inner = shape_radius(shape, h, 2.0 * near_edge, c, z)
            upwards = np.maximum(z - CELL_SLACK_M, c + (shape.widest or 0.0) * (h - c))
            outer = shape_radius(
                shape, h, 2.0 * farthest_edge(r, v, shape.along_row), c, np.minimum(upwards, h)
            )
            outer = np.where(z - CELL_SLACK_M <= h, outer, 0.0)
            outer, inner = np.where(there, outer, 0.0)[:-1], np.where(there, inner, 0.0)
            # Inside at both heights of a cell is inside between them: crowns are convex.
            sure = np.minimum(inner[:-1], inner[1:])
            sure = np.where((z[:-1] > lowest[k, g]) & (z[1:] < h), sure, 0.0)
            _first_years(outer, near, foretold[k, :, :-1, 0, g])
            # More than far: at least the next number.
            _first_years(sure, np.nextafter(far, np.inf), foretold[k, :, :-1, 1, g])
    return foretold.view("<u4")[..., 0].astype(np.uint32), cells


@njit(cache=True, error_model="numpy")
def _first_years(wide, distances, first):
    """Find the first year in which a width above 0, by height and year, reaches each distance."""
    for j in range(wide.shape[0]):
        told = 0
        for y in range(wide.shape[1]):
            while wide[j, y] > 0.0 and told < len(distances) and wide[j, y] >= distances[told]:
                first[told, j] = y
                told += 1
