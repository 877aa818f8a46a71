"""Ground that is cleared and mulched, and the earth of planting holes."""

from __future__ import annotations

import math
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely

from screenplan.planting.neighbours import GAP_TOLERANCE_M, gaps_between

#: Dug earth takes up so much more room than it did in the ground (common practice, no source).
SWELL = 1.25


@dataclass(frozen=True)
class Hole:
    """One planting hole: a cylinder as deep as the root ball and wider by a factor.

    Parameters
    ----------
    ball_m, depth_m : float
        Width of the root ball, and its depth, which is the hole's, metres.
    factor : float
        Width of the hole per width of the ball.
    has_soil : bool
        False for bare roots: the ball is then only their spread, and takes no room.
    """

    ball_m: float
    depth_m: float
    factor: float
    has_soil: bool = True

    @property
    def width_m(self) -> float:
        """Width of the hole, metres."""
        return self.factor * self.ball_m

    @property
    def dug_m3(self) -> float:
        """π/4 (factor · ball)² depth, m³ in the ground."""
        return math.pi / 4.0 * self.width_m**2 * self.depth_m

    @property
    def ball_m3(self) -> float:
        """Earth whose room the ball takes, π/4 ball² depth, m³; none for bare roots."""
        return 0.0 if not self.has_soil else math.pi / 4.0 * self.ball_m**2 * self.depth_m

    @property
    def backfill_m3(self) -> float:
        """What goes back round the ball, m³ in the ground."""
        return self.dug_m3 - self.ball_m3


def nearest_gaps(plants: gpd.GeoDataFrame) -> np.ndarray:
    """Level distance from each new plant to the nearest other, metres; empty with just one plant."""
    xy = shapely.get_coordinates(plants.geometry.to_numpy())
    new = ~plants["existing"].to_numpy(bool)
    if len(xy) < 2 or not new.any():
        return np.array([])
    points = shapely.points(xy)
    _, distance = shapely.STRtree(points).query_nearest(
        points[new], return_distance=True, all_matches=False, exclusive=True
    )
    return distance


def least_gap(plants: gpd.GeoDataFrame) -> float:
    """Least level distance between a new plant and any other, metres; infinite with just one."""
    return float(nearest_gaps(plants).min(initial=math.inf))


def strip_along(
    planting_lines: gpd.GeoDataFrame,
    plants: gpd.GeoDataFrame,
    subject: shapely.Geometry,
    *,
    width_m: float,
    spacing_m: float | None = None,
) -> shapely.Geometry:
    """Draw the strip along the rows, half its width beyond their ends, inside the parcel.

    It is broken at gaps wider than the asked spacing, where nothing is planted.
    """
    xy = shapely.get_coordinates(plants.geometry.to_numpy())
    new = ~plants["existing"].to_numpy(bool)
    lines, joined = [], set()
    for gap in gaps_between(plants, planting_lines):
        wide = spacing_m is not None and gap.width_m > spacing_m + GAP_TOLERANCE_M
        if wide or not (new[gap.before] or new[gap.after]):
            continue
        lines.append(shapely.LineString([xy[gap.before], xy[gap.after]]))
        joined |= {gap.before, gap.after}
    alone = [xy[position] for position in np.flatnonzero(new) if position not in joined]
    merged = list(
        shapely.get_parts(shapely.line_merge(shapely.MultiLineString(lines), directed=True))
    )
    half = width_m / 2.0
    merged = [shapely.simplify(line, 1e-6) for line in merged]
    pieces = [shapely.buffer(line, half, cap_style="square", join_style="mitre") for line in merged]
    pieces += [shapely.box(x - half, y - half, x + half, y + half) for x, y in alone]
    return shapely.intersection(shapely.union_all(pieces), subject)


def ring_area(plants: gpd.GeoDataFrame, *, ring_m: float, clear_m: float) -> float:
    """Area of mulch rings round new plants, kept off the stems, m²: n π/4 (D² − 4 c²).

    Rings that run into each other are counted once.
    """
    points = plants.geometry.to_numpy()[~plants["existing"].to_numpy(bool)]
    bare = len(points) * math.pi * clear_m**2
    if len(points) < 2 or least_gap(plants) >= ring_m:
        return len(points) * math.pi / 4.0 * ring_m**2 - bare
    rings = shapely.union_all(shapely.buffer(points, ring_m / 2.0, quad_segs=32))
    return float(rings.area) - bare
