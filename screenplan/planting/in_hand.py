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
from screenplan.ground.errors import refuse
from screenplan.ground.units import parse_length
from screenplan.planting.neighbours import GAP_TOLERANCE_M, gaps_between
from screenplan.planting.patterns import (
    EQUAL_SHARE,
    PATTERNS,
    STANDING_UNEVEN,
    check_spacing,
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
    spacing_m: float,
    given: int | None = None,
    budget: float | None = None,
    prices: Mapping[str | float, float] | None = None,
    pattern: str | None = None,
) -> pd.DataFrame:
    """Compare the plants or the money in hand with what the rows need.

    Parameters
    ----------
    planting_lines, plants : GeoDataFrame
        The rows as set. Standing plants are not counted as needed.
    spacing_m : float
        The asked spacing, metres.
    given : int, optional
        Plants in hand.
    budget : float, optional
        Money in hand, in the user's currency; needs ``prices``.
    prices : mapping, optional
        Price of one plant by stock height: metres, or a length with its unit such as ``"3 ft"``.
    pattern : {"single", "staggered"}, optional
        As for `set_plants`. In a staggered pattern a plant of the second row goes with each gap of
        the first; the spacing to fill is then exact for straight rows, and at each inner corner of
        the second row it may count one plant too many.

    Returns
    -------
    DataFrame
        One row per line with the plants that it needs, and a last row ``all`` with the answers:
        surplus (negative when short), the evened spacing at which the given plants just fill the
        rows (empty if they are fewer than the ends), the length they fill at the asked spacing from
        the first plant on, the tallest stock that the budget buys for all needed plants, its cost.

    Raises
    ------
    InputError
        If a number is out of range, or a budget comes without prices.
    """
    spacing = check_spacing(spacing_m)
    if pattern is not None and pattern not in PATTERNS:
        raise refuse(f"'{pattern}' is not a pattern", f"Write one of {', '.join(PATTERNS)}")
    prices = _prices(prices or {})
    _check(given, budget, prices)
    stagger = pattern != "single" and bool((planting_lines["row"].to_numpy(int) == 2).any())
    new = ~plants["existing"].to_numpy(bool)
    rows = [
        {"line_id": name, "needed": int((new & (plants["line_id"] == name)).sum())}
        for name in planting_lines["line_id"]
    ]
    needed = int(new.sum())
    total = {"line_id": "all", "needed": needed}
    if given is not None:
        ends, pieces = _pieces(plants, planting_lines, spacing, stagger)
        total |= {
            "given": int(given),
            "surplus": int(given) - needed,
            "spacing_to_fill_m": _spacing_to_fill(ends, pieces, int(given)),
            "reach_m": _reach(plants, planting_lines, spacing, int(given), new),
        }
    if budget is not None:
        total |= _tallest(needed, float(budget), prices)
    return table_of(PLANTS_IN_HAND, [*rows, total])


def _prices(prices: Mapping[str | float, float]) -> dict[float, float]:
    return {
        parse_length(height, key="hand.prices") if isinstance(height, str) else height: price
        for height, price in prices.items()
    }


def _check(given, budget, prices) -> None:
    if given is not None and (
        isinstance(given, bool) or given != int(given) or not 1 <= given <= 1_000_000
    ):
        raise refuse(
            f"{given} plants are in hand", "Give a whole number of 1 or more", key="hand.plants"
        )
    if budget is not None:
        if isinstance(budget, bool) or not (math.isfinite(budget) and budget >= 0):
            raise refuse(f"the budget is {budget}", "Give 0 or more", key="hand.budget")
        if not prices:
            raise refuse(
                "a budget is given without prices",
                "Give the price of a plant for each stock height",
                key="hand.prices",
            )
    for height, price in prices.items():
        if not (math.isfinite(height) and height > 0):
            raise refuse(
                f"a price is given for a stock height of {height} m",
                "Give heights above 0 m",
                key="hand.prices",
            )
        if isinstance(price, bool) or not (math.isfinite(price) and price >= 0):
            raise refuse(
                f"the price of stock {height:g} m high is {price}",
                "Give 0 or more",
                key="hand.prices",
            )


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
    for position in np.flatnonzero(new):
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
