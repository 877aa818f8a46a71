"""What a number of plants, or a sum of money, is good for.

The gaps between neighbours are joined to pieces: runs of one line without an exclusion, a corner or
a standing plant in them. A piece of length L takes ceil(L/s) − 1 new plants between its two ends;
the ends are counted once each. So the plants needed at a spacing s are K + Σ (ceil(L/s) − 1), with
K the new plants that stand at ends.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd

from screenplan.contracts import PLANTS_IN_HAND
from screenplan.contracts.tables import table_of
from screenplan.plan import DEFAULTS, Options
from screenplan.planting.mixes import planned_spacing
from screenplan.planting.neighbours import GAP_TOLERANCE_M, gaps_between
from screenplan.planting.patterns import (
    EQUAL_SHARE,
    STANDING_UNEVEN,
    gaps_between_standing,
)


@dataclass
class _Piece:
    length: float
    staggered: bool
    standing: bool  # between two plants that stand already


def plants_in_hand(
    planting_lines: gpd.GeoDataFrame,
    plants: gpd.GeoDataFrame,
    *,
    plan: Options = DEFAULTS,
) -> pd.DataFrame:
    """Compare the plants or the money in hand with what the rows need.

    Parameters
    ----------
    planting_lines, plants : GeoDataFrame
        The rows as set. Standing plants are not counted as needed.
    plan : Options, optional
        Of it [rows] and [hand].

    Returns
    -------
    DataFrame
        One row per line with the plants that it needs, and a last row ``all`` with the answers:
        surplus (negative when short), the evened spacing at which the given plants just fill the
        rows (empty if they are fewer than the ends), the length they fill at the asked spacing from
        the first plant on, the tallest stock that the budget buys for all needed plants, its cost.

    Notes
    -----
    In two rows a plant of the second row goes with each gap of the first; the spacing to fill is
    then exact for straight rows, and at each inner corner of the second row it may count one plant
    too many.
    """
    hand, spacing = plan.hand, planned_spacing(plan)
    stagger = bool((planting_lines["row"].to_numpy(int) == 2).any())
    new = ~plants["existing"].to_numpy(bool)
    records = [
        {"line_id": name, "needed": int((new & (plants["line_id"] == name)).sum())}
        for name in planting_lines["line_id"]
    ]
    needed = int(new.sum())
    total = {"line_id": "all", "needed": needed}
    if hand.plants is not None:
        ends, pieces = _pieces(plants, planting_lines, spacing, stagger)
        total |= {
            "given": hand.plants,
            "surplus": hand.plants - needed,
            "spacing_to_fill_m": _spacing_to_fill(ends, pieces, hand.plants),
            "reach_m": _reach(plants, planting_lines, spacing, hand.plants, new),
        }
    if hand.budget is not None:
        total |= _tallest(needed, hand.budget, hand.price_by_height)
    return table_of(PLANTS_IN_HAND, [*records, total])


def _pieces(plants, planting_lines, spacing, staggered) -> tuple[int, list[_Piece]]:
    """Count the new plants at the ends of pieces (K), and list the pieces."""
    existing = plants["existing"].to_numpy(bool)
    station = plants["station_m"].to_numpy()
    row = plants["row"].to_numpy(int)
    counted = (row == 1) if staggered else np.ones(len(plants), bool)
    stands = set(plants.loc[existing, "line_id"])
    widest = [
        spacing * (STANDING_UNEVEN if name in stands else 1.0) for name in planting_lines["line_id"]
    ]
    gaps = [
        gap
        for gap in gaps_between(plants, planting_lines)
        if gap.width_m <= widest[gap.line] + GAP_TOLERANCE_M and counted[gap.after]
    ]
    after = {gap.before: gap for gap in gaps}
    before = {gap.after: gap for gap in gaps}
    # A plant is inside a piece if it is new, has a neighbour on both sides and stands at no corner.
    inside = [
        position in after
        and position in before
        and not existing[position]
        and station[position] > GAP_TOLERANCE_M
        for position in range(len(plants))
    ]
    ends = sum(
        1
        for position in range(len(plants))
        if counted[position] and not inside[position] and not existing[position]
    )
    pieces = []
    for gap in gaps:
        if inside[gap.before]:
            continue
        length, here = gap.width_m, gap
        while inside[here.after]:
            here = after[here.after]
            length += here.width_m
        standing = bool(existing[gap.before] and existing[here.after])
        pieces.append(_Piece(length, staggered, standing))
    return ends, pieces


def _need(ends: int, pieces: list[_Piece], spacing: float) -> int:
    need = ends
    for piece in pieces:
        if piece.standing:
            gaps = gaps_between_standing(piece.length, spacing)
        else:
            gaps = max(1, math.ceil(piece.length / spacing - EQUAL_SHARE))
        need += gaps - 1 + (gaps if piece.staggered else 0)
    return need


def _spacing_to_fill(ends: int, pieces: list[_Piece], given: int) -> float:
    """Smallest evened spacing at which the rows need no more than the plants given."""
    if not pieces or _need(ends, pieces, max(piece.length for piece in pieces)) > given:
        return math.nan
    # The need changes only where L/s is a whole number.
    steps = [piece.length / np.arange(1, given + 2) for piece in pieces]
    candidates = np.unique(np.concatenate(steps))
    low, high = 0, candidates.size - 1
    while low < high:
        middle = (low + high) // 2
        if _need(ends, pieces, float(candidates[middle])) <= given:
            high = middle
        else:
            low = middle + 1
    return float(candidates[low])


def _reach(plants, planting_lines, spacing, given, new) -> float:
    """Length of row that the plants fill from the first on, each up to its neighbour."""
    gaps = {gap.after: gap for gap in gaps_between(plants, planting_lines)}
    left, reach, planted = given, 0.0, ~new
    for position in np.flatnonzero(new).tolist():
        if left == 0:
            break
        planted[position] = True
        left -= 1
    for position, gap in gaps.items():
        filled = gap.width_m <= spacing + GAP_TOLERANCE_M
        if filled and planted[position] and planted[gap.before]:
            reach += gap.width_m
    return reach


def _tallest(needed: int, budget: float, prices: Mapping[float, float]) -> dict:
    affordable = [height for height, price in prices.items() if price * needed <= budget]
    if not affordable:
        return {"stock_height_m": math.nan, "cost": math.nan}
    height = max(affordable)
    return {"stock_height_m": float(height), "cost": float(prices[height] * needed)}
