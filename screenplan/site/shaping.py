"""Columns of a layer that may be missing."""

from __future__ import annotations

import numpy as np
import pandas as pd


def column_or(frame: pd.DataFrame, name: str, default=None) -> np.ndarray:
    """Give a column's values as objects, with a default where it is missing or empty."""
    if name not in frame:
        return np.full(len(frame), default, dtype=object)
    values = frame[name].to_numpy(dtype=object).copy()
    values[pd.isna(values)] = default
    return values
