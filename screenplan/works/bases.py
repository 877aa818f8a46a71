"""Base lines: where tapes are laid, and the running distance and offset of each plant on them.

A straight row has one base line, from its zero peg to its end peg. A row that bends has a peg
wherever the tape would leave it by more than `BOW_M`, and one that is longer than the tape is cut
into equal lengths. Plants of a second row are offset from the first row's tape where they lie
beside it; where they do not, the second row has a tape of its own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import pairwise

import geopandas as gpd
import numpy as np
import shapely

#: A tape lies this close to its row at every point, metres.
BOW_M = 1.0
#: A second row is offset from the first row's tape up to this distance, metres: a longer offset
#: needs an optical square (common practice, no source).
LONGEST_OFFSET_M = 6.0
#: A tape is lengthened by so much to reach plants of the second row beyond its ends, metres.
LENGTHEN_M = 5.0
#: Offsets below this are none.
ON_TAPE_M = 0.0005


@dataclass
class Base:
    """One straight tape.

    Parameters
    ----------
    start, end : (2,) ndarray
        The pegs, metres.
    lines : list of str
        Planting lines staked from it.
    stakes : list of (int, float, float)
        Position in the plants layer, running distance, signed offset (left positive), metres.
    """

    start: np.ndarray
    end: np.ndarray
    lines: list[str] = field(default_factory=list)
    stakes: list[tuple[int, float, float]] = field(default_factory=list)

    @property
    def length(self) -> float:
        """Level distance between the pegs, metres."""
        return math.hypot(*(self.end - self.start))

    @property
    def direction(self) -> np.ndarray:
        """Unit vector from the zero peg to the end peg."""
        return (self.end - self.start) / self.length

    def measure(self, xy: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Give running distances and signed offsets of points, metres."""
        u, relative = self.direction, xy - self.start
        return relative @ u, relative @ np.array([-u[1], u[0]])

    def place(self, along, offset) -> np.ndarray:
        """Undo `measure`: (n, 2) points."""
        u = self.direction
        left = np.array([-u[1], u[0]])
        return self.start + np.outer(along, u) + np.outer(offset, left)


def lay_bases(
    planting_lines: gpd.GeoDataFrame, plants: gpd.GeoDataFrame, *, tape_m: float
) -> list[Base]:
    """Lay tapes along the rows and put every new plant on one.

    Parameters
    ----------
    planting_lines, plants : GeoDataFrame
        In the local frame. Standing plants are not staked.
    tape_m : float
        Length of the tape, metres.

    Returns
    -------
    list of Base
        In the order of the lines; only those with stakes.
    """
    xy = shapely.get_coordinates(plants.geometry.to_numpy())
    new = ~plants["existing"].to_numpy(bool)
    own_line = plants["line_id"].astype(str).to_numpy()
    station = plants["station_m"].to_numpy(float)
    bases: list[Base] = []
    first_rows: dict[str, list[Base]] = {}
    for row in planting_lines.sort_values("row", kind="stable").itertuples():
        members = np.flatnonzero(new & (own_line == row.line_id))
        if not members.size:
            continue
        if row.row > 1:
            members = _beside(first_rows.get(row.side_id, []), members, xy, row.line_id)
        laid = _along(row.geometry, tape_m)
        for position in members:
            base = _holding(laid, station[position])
            _put(base, position, xy, row.line_id)
        laid = [base for _, base in laid if base.stakes]
        if row.row == 1:
            first_rows.setdefault(row.side_id, []).extend(laid)
        bases.extend(laid)
    for base in bases:
        _lengthen(base, xy)
        base.stakes.sort(key=lambda stake: (stake[1], stake[0]))
    return bases


def _along(line: shapely.LineString, tape_m: float) -> list[tuple[float, Base]]:
    """Tapes along a line, each with the station where it ends."""
    corners = shapely.get_coordinates(shapely.simplify(line, BOW_M, preserve_topology=False))
    if np.array_equal(corners[0], corners[-1]) and len(corners) == 2:
        half = line.interpolate(0.5, normalized=True)
        corners = np.array([corners[0], [half.x, half.y], corners[1]])
    vertices = shapely.get_coordinates(line)
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(vertices, axis=0).T))])
    laid, at = [], 0
    for a, b in pairwise(corners):
        # Walking on along the line, the next vertex that is this corner; a half-way point is none.
        same = np.flatnonzero((vertices[at + 1 :] == b).all(axis=1))
        before = run[at]
        if same.size:
            at = at + 1 + int(same[0])
            end = float(run[at])
        else:
            end = line.length / 2.0
        pieces = max(1, math.ceil(math.hypot(*(b - a)) / tape_m - 1e-9))
        for piece in range(pieces):
            share = (piece + 1) / pieces
            laid.append(
                (
                    before + (end - before) * share,
                    Base(a + (b - a) * piece / pieces, a + (b - a) * share),
                )
            )
    return laid


def _holding(laid: list[tuple[float, Base]], station: float) -> Base:
    for end, base in laid:
        if station <= end + 1e-6:
            return base
    return laid[-1][1]


def _put(base: Base, position: int, xy: np.ndarray, line_id: str) -> None:
    along, offset = base.measure(xy[position])
    base.stakes.append((int(position), float(along), float(offset)))
    if line_id not in base.lines:
        base.lines.append(line_id)


def _beside(bases: list[Base], members: np.ndarray, xy: np.ndarray, line_id: str) -> np.ndarray:
    """Put plants of a second row on first-row tapes; give those that lie beside none."""
    left = []
    for position in members:
        best = None
        for base in bases:
            along, offset = base.measure(xy[position])
            beyond = max(-along, along - base.length, 0.0)
            if beyond <= LENGTHEN_M and abs(offset) <= LONGEST_OFFSET_M:
                key = (beyond, abs(offset))
                best = min(best, (key, base), key=lambda one: one[0]) if best else (key, base)
        if best is None:
            left.append(position)
        else:
            _put(best[1], position, xy, line_id)
    return np.array(left, dtype=int)


def _lengthen(base: Base, xy: np.ndarray) -> None:
    """Move the pegs out so that every stake lies between them, and measure anew."""
    along = [stake[1] for stake in base.stakes]
    before, after = min(0.0, *along), max(base.length, *along)
    if before < -1e-6 or after > base.length + 1e-6:
        u, start = base.direction, base.start
        base.start, base.end = start + before * u, start + after * u
    positions = [stake[0] for stake in base.stakes]
    along, offset = base.measure(xy[positions])
    offset = np.where(np.abs(offset) < ON_TAPE_M, 0.0, offset)
    base.stakes = [
        (position, max(float(a), 0.0), float(o))
        for position, a, o in zip(positions, along, offset, strict=True)
    ]
