"""What the checks of several effects say: how many plants, which first, and when."""

from __future__ import annotations

import pandas as pd


def holds_lines(utilities, position: str) -> bool:
    """Tell whether a layer holds lines in that position."""
    return utilities is not None and bool((utilities["position"] == position).any())


def how_many_grow(plants) -> str:
    """Begin a sentence with how many plants grow."""
    count = plants["plant_id"].nunique()
    return "1 plant grows" if count == 1 else f"{count} plants grow"


def first_to_grow(plants) -> pd.Series:
    """Give the row that comes first at any growth; ``first`` is its year."""
    years = plants[["year_low", "year", "year_high"]].min(axis=1)
    return plants.assign(first=years).sort_values("first").iloc[0]


def span_of_years(row) -> str:
    """Say when something happens: the year at typical growth and the range over the growths."""
    early, typical, late = row["year_high"], row["year"], row["year_low"]
    if pd.isna(typical):
        first = row[["year_high", "year_low"]].dropna()
        return f"in year {int(first.min())} at high growth, not at typical growth in the years looked at"
    span = f"in year {int(typical)} at typical growth"
    if early != typical or (pd.isna(late) or late != typical):
        span += f" ({'–' if pd.isna(early) else int(early)} to {'never' if pd.isna(late) else int(late)})"
    return span
