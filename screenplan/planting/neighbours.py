"""Pairs of plants that follow each other in a row, across shared corners too, or stand side by side in two."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from screenplan.planting.setting import shared_corners

#: A gap leaves the plantable zone if so much of it lies outside, metres. Ends of stretches keep a
#: millimetre off the zone's edge, which is rounded, so less than this is no exclusion.
OUTSIDE_M = 0.005
#: Gaps that exceed the asked spacing by less are not wider: rounding, and the stake's millimetre.
GAP_TOLERANCE_M = 0.002
#: Two plants stand side by side that are nearer to each other than their spacings together: no other has room between.
BESIDE = 1.0 - 1e-6


@dataclass(frozen=True)
class Gap:
    """Ground between two neighbours.

    Parameters
    ----------
    before, after : int
        Positions of the two plants in the layer.
    line : int
        Position of the planting line on which most of the gap lies.
    from_m, to_m : float
        Stations on that line; ``to_m`` is its end if the second plant stands beyond a corner.
    width_m : float
        Level distance along the line, metres.
    """

    before: int
    after: int
    line: int
    from_m: float
    to_m: float
    width_m: float


def gaps_between(plants: gpd.GeoDataFrame, planting_lines: gpd.GeoDataFrame) -> list[Gap]:
    """List the gaps between neighbours.

    Parameters
    ----------
    plants, planting_lines : GeoDataFrame
        Plants in the order in which they were set.

    Returns
    -------
    list of Gap
        In the order of the second plant of each.
    """
    index = {name: number for number, name in enumerate(planting_lines["line_id"])}
    lengths = planting_lines.geometry.length.to_numpy()
    line = plants["line_id"].map(index).to_numpy(int)
    station = plants["station_m"].to_numpy()
    width = plants["gap_before_m"].to_numpy(float)
    last = {number: position for position, number in enumerate(line)}
    corners = shared_corners(planting_lines)
    gaps = []
    for position in range(len(plants)):
        if pd.isna(width[position]):
            continue
        own = line[position]
        if position and line[position - 1] == own:
            before = position - 1
            gaps.append(
                Gap(before, position, own, station[before], station[position], width[position])
            )
        elif own in corners and corners[own] in last:
            before = last[corners[own]]
            gaps.append(
                Gap(
                    before,
                    position,
                    corners[own],
                    station[before],
                    lengths[corners[own]],
                    width[position],
                )
            )
    return gaps


def side_by_side(stems: np.ndarray, gap_m: np.ndarray) -> np.ndarray:
    """List the pairs of plants between which no other has room, (pairs, 2), the first number below the second.

    Parameters
    ----------
    stems : ndarray of Point, (plants,)
    gap_m : ndarray, (plants,)
        How far each stands from the next in its row, metres.

    Examples
    --------
    >>> side_by_side(shapely.points([[0.0, 0.0], [1.5, 0.0], [3.0, 0.0]]), np.full(3, 1.5)).tolist()
    [[0, 1], [1, 2]]
    """
    if not len(stems):
        return np.zeros((0, 2), int)
    one, other = shapely.STRtree(stems).query(
        stems, predicate="dwithin", distance=2.0 * float(gap_m.max())
    )
    one, other = one[one < other], other[one < other]
    near = shapely.distance(stems[one], stems[other]) < BESIDE * (gap_m[one] + gap_m[other])
    pairs = np.column_stack([one, other])[near]
    return pairs[np.lexsort(pairs.T[::-1])]
