"""Pegs of what is built before the planting: where each piece of a new fence, wall or trellis begins, turns and ends.

A mason's line from peg to peg shows where it stands. It is not built yet, so that it is in no tape's way there.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import geopandas as gpd
import numpy as np
import shapely

from screenplan.contracts.tables import has_rows
from screenplan.works.readings import Peg, peg_at

#: A line from peg to peg leaves a piece that bends by no more than this, metres (custom, no source).
BOW_M = 0.05
#: A piece turns into the next side by a stub, which needs no peg if it is shorter than this, metres (custom, no source).
STUB_M = 0.3


def pegs_of_built(
    new_screens: gpd.GeoDataFrame | None, before: int
) -> tuple[list[Peg], list[tuple[Peg, Peg, str]]]:
    """Give the pegs of new screens, and the pairs between which a line is stretched.

    Parameters
    ----------
    new_screens : GeoDataFrame or None
        By its contract.
    before : int
        How many pegs there are already: these are numbered on.

    Returns
    -------
    list of Peg
    list of (Peg, Peg, str)
        With the name of the piece that stands between them.
    """
    pegs: list[Peg] = []
    legs: list[tuple[Peg, Peg, str]] = []
    if not has_rows(new_screens):
        return pegs, legs
    assert new_screens is not None  # it has rows
    for name, shape in zip(new_screens["piece_id"], new_screens.geometry, strict=True):
        corners = _corners(shapely.get_coordinates(shape))
        last = len(corners) - 1
        mine = []
        for number, xy in enumerate(corners):
            does = "begins" if number == 0 else "ends" if number == last else "turns"
            peg = peg_at(pegs, xy)
            if peg is None:
                peg = Peg(f"P{before + len(pegs) + 1}", "fence", xy)
                pegs.append(peg)
            peg.marks.append(f"{name} {does} here")
            mine.append(peg)
        legs += [(*pair, str(name)) for pair in pairwise(mine)]
    return pegs, legs


def _corners(xy: np.ndarray) -> Sequence[np.ndarray]:
    """Give where a piece begins, turns and ends, (n, 2), without the stubs at its ends."""
    if len(xy) > 2 and math.hypot(*(xy[1] - xy[0])) < STUB_M:
        xy = xy[1:]
    if len(xy) > 2 and math.hypot(*(xy[-1] - xy[-2])) < STUB_M:
        xy = xy[:-1]
    return shapely.get_coordinates(shapely.simplify(shapely.LineString(xy), BOW_M))
