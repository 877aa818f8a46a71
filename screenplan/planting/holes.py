"""The holes of a layer of plants: how wide they are, and what is done before any is dug."""

from __future__ import annotations

import numpy as np

from screenplan.contracts.tables import numbers, texts
from screenplan.planting.stock import hole_width

LOCATE_FIRST = (
    "Before any digging have buried lines located by the local locating service: a map, a plan and "
    "a layer of lines do not replace it, and lines that nobody drew are there too"
)


def hole_widths(plants, dug, factor: float, at_least_m: float | None) -> np.ndarray:
    """Give the width of each plant's hole, metres; 0 where none is dug.

    Parameters
    ----------
    plants : GeoDataFrame
    dug : ndarray of bool, (plants,)
        For which of them a hole is dug.
    factor, at_least_m : float
        As `screenplan.planting.stock.hole_width` takes them.
    """
    widths = np.zeros(len(plants))
    stocks, heights = texts(plants, "stock"), numbers(plants, "stock_height_m", np.nan)
    for plant in np.flatnonzero(dug):
        widths[plant] = hole_width(
            stocks[plant], heights[plant], factor=factor, at_least_m=at_least_m
        )
    return widths
