"""Base lines: where tapes are laid, and the running distance and offset of each plant on them.

A straight row has one base line, from its zero peg to its last stake. A row that bends has a peg
wherever the tape would leave it by more than `BOW_M`, and one that is longer than the tape is cut
into equal lengths. A house, wall or pond on the row ends the stretch before it: the stakes behind it
have a tape of their own, from the first of them to the last. Plants of a second row are offset from
the first row's tape where they lie beside it; where they do not, the second row has a tape of its
own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import pairwise

import geopandas as gpd
import numpy as np
import shapely

from screenplan.works.obstructions import Obstructions
from screenplan.works.taping import LONGEST_OFFSET_M, ON_TAPE_M

#: A tape lies this close to its row at every point, metres; closer only where it would run into
#: something otherwise.
BOW_M = 1.0
CLOSER_BOWS_M = (0.3, 0.1, 0.03)
#: A tape is lengthened by so much to reach plants of the second row beyond its ends, metres.
LENGTHEN_M = 5.0
#: A tape that has one stake only runs on so far, if there is room, else a shorter way: a peg gives it
#: its direction, metres.
LONE_TAPE_M = (5.0, 2.0, 1.0, 0.5)
#: A plant nearer to the end of a line than this stands there, metres.
SAME_PLACE_M = 0.001


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
    planting_lines: gpd.GeoDataFrame,
    plants: gpd.GeoDataFrame,
    *,
    tape_m: float,
    obstructions: Obstructions | None = None,
    to_ends: bool = False,
) -> list[Base]:
    """Lay tapes along the rows and put every new plant on one.

    Parameters
    ----------
    planting_lines, plants : GeoDataFrame
        In the local frame. Standing plants are not staked.
    tape_m : float
        Length of the tape, metres.
    obstructions : Obstructions, optional
        What no tape and no offset crosses.
    to_ends : bool
        Lay the last tape of a line to the line's own end, not only to the last stake.

    Returns
    -------
    list of Base
        In the order of the lines; only those with stakes.
    """
    xy = shapely.get_coordinates(plants.geometry.to_numpy())
    new = ~plants["existing"].to_numpy(bool)
    own_line = plants["line_id"].astype(str).to_numpy()
    station = plants["station_m"].to_numpy(float)
    way = obstructions or Obstructions()
    bases: list[Base] = []
    first_rows: dict[str, list[Base]] = {}
    for row in planting_lines.sort_values("row", kind="stable").itertuples():
        members = np.flatnonzero(new & (own_line == row.line_id))
        if not members.size:
            continue
        if row.row > 1:
            members = _beside(first_rows.get(row.side_id, []), members, xy, row.line_id, way)
        members = members[np.argsort(station[members], kind="stable")]
        ends = xy[new]
        if to_ends:
            ends = np.vstack([ends, shapely.get_coordinates(row.geometry)[-1]])
        laid = _lay_along(row.geometry, tape_m, members, station[members], xy, ends, way)
        for base in laid:
            base.lines.append(row.line_id)
        if row.row == 1:
            first_rows.setdefault(row.side_id, []).extend(laid)
        bases.extend(laid)
    for base in bases:
        _lengthen(base, xy)
        base.stakes.sort(key=lambda stake: (stake[1], stake[0]))
    return bases


def _lay_along(line, tape_m, members, station, xy, pegged, way: Obstructions) -> list[Base]:
    """Lay tapes along a line as far from it as `BOW_M`, or closer if fewer run into something then."""
    if not members.size:
        return []
    best: tuple[int, list[Base]] | None = None
    for bow in (BOW_M, *CLOSER_BOWS_M):
        pieces = _pieces(line, bow, tape_m)
        found = _stretch_out(pieces, members, station, xy, pegged, way)
        best = found if best is None or found[0] < best[0] else best
        if best[0] == 0:
            break
    return best[1] if best else []


def _pieces(line: shapely.LineString, bow: float, tape_m: float) -> list[tuple[float, Base]]:
    """Straight pieces along a line, each with the station where it ends."""
    corners = shapely.get_coordinates(shapely.simplify(line, bow, preserve_topology=False))
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


def _stretch_out(
    pieces: list[tuple[float, Base]], members, station, xy, pegged, way: Obstructions
) -> tuple[int, list[Base]]:
    """Cut a line's pieces into the tapes of its stretches.

    Returns
    -------
    int
        How often something stands between two stakes, or between a stake and its tape.
    list of Base
        With their stakes.
    """
    ends = np.array([end for end, _ in pieces])
    own = np.minimum(np.searchsorted(ends, station - 1e-6), len(pieces) - 1)
    along, offset = np.empty(len(members)), np.empty(len(members))
    for number in np.unique(own):
        here = own == number
        along[here], offset[here] = pieces[number][1].measure(xy[members[here]])
    # On a bend the order along the tape may not be that along the row.
    order = np.lexsort((along, own))
    members, own, along, offset = (values[order] for values in (members, own, along, offset))
    feet = np.array([pieces[n][1].place([at], [0.0])[0] for n, at in zip(own, along, strict=True)])
    between = _free_between(pieces, own, feet, way)
    blocked = int((~between).sum() + (~way.free(feet, xy[members])).sum())
    cuts = np.flatnonzero(~between) + 1
    bases: list[Base] = []
    for stretch in np.split(np.arange(len(members)), cuts):
        numbers = np.unique(own[stretch])
        for number in numbers:
            mine = stretch[own[stretch] == number]
            piece = pieces[number][1]
            start, end = feet[mine[0]], feet[mine[-1]]
            joined = number - 1 in numbers
            first = number == 0 and way.free(piece.start, start)[0]
            if joined or first:
                start = piece.start
            # Rows that meet share the peg at the plant in their corner.
            corner = number == len(pieces) - 1 and _is_pegged(piece.end, pegged)
            if number + 1 in numbers or (corner and way.free(end, piece.end)[0]):
                end = piece.end
            base = _directed(start, end, piece.direction, way)
            base.stakes = [
                (int(members[k]), float(along[0]), float(offset[0]))
                for k in mine
                for along, offset in [base.measure(xy[members[[k]]])]
            ]
            bases.append(base)
    return blocked, bases


def _free_between(pieces, own, feet, way: Obstructions) -> np.ndarray:
    """Tell between which neighbouring stakes tapes can lie along the pieces."""
    starts, ends, owner = [], [], []
    for k in range(len(feet) - 1):
        turns = [pieces[number][1].end for number in range(own[k], own[k + 1])]
        path = [feet[k], *turns, feet[k + 1]]
        starts += path[:-1]
        ends += path[1:]
        owner += [k] * (len(path) - 1)
    free = np.ones(max(len(feet) - 1, 0), bool)
    if starts:
        np.logical_and.at(free, np.array(owner), way.free(np.array(starts), np.array(ends)))
    return free


def _is_pegged(place: np.ndarray, pegged: np.ndarray) -> bool:
    return bool((np.hypot(*(pegged - place).T) <= SAME_PLACE_M).any())


def _directed(start, end, direction, way: Obstructions) -> Base:
    """Give the tape between two places; one stake alone gets a peg before it, or else behind it."""
    if math.hypot(*(end - start)) > SAME_PLACE_M:
        return Base(start, end)
    for length in LONE_TAPE_M:
        for sign in (-1.0, 1.0):
            far = start + sign * length * direction
            if way.free(start, far)[0]:
                return Base(far, start) if sign < 0 else Base(start, far)
    return Base(start - LONE_TAPE_M[-1] * direction, start)


def _put(base: Base, position: int, xy: np.ndarray, line_id: str) -> None:
    along, offset = base.measure(xy[position])
    base.stakes.append((int(position), float(along), float(offset)))
    if line_id not in base.lines:
        base.lines.append(line_id)


def _beside(
    bases: list[Base], members: np.ndarray, xy: np.ndarray, line_id: str, way: Obstructions
) -> np.ndarray:
    """Put plants of a second row on first-row tapes; give those that lie beside none."""
    left = []
    for position in members:
        best: tuple[tuple[float, float], Base] | None = None
        for base in bases:
            along, offset = (float(value) for value in base.measure(xy[position]))
            beyond = max(-along, along - base.length, 0.0)
            near = beyond <= LENGTHEN_M and abs(offset) <= LONGEST_OFFSET_M
            if near and _reached(base, along, xy[position], way):
                key = (beyond, abs(offset))
                best = min(best, (key, base), key=lambda choice: choice[0]) if best else (key, base)
        if best is None:
            left.append(position)
        else:
            _put(best[1], position, xy, line_id)
    return np.array(left, dtype=int)


def _reached(base: Base, along: float, place: np.ndarray, way: Obstructions) -> bool:
    """Tell whether a tape, lengthened if need be, and an offset from it reach a place."""
    foot, nearest = base.place([along, min(max(along, 0.0), base.length)], [0.0, 0.0])
    return bool(way.free([nearest, foot], [foot, place]).all())


def _lengthen(base: Base, xy: np.ndarray) -> None:
    """Move the pegs out so that every stake lies between them, and measure anew."""
    stations = [stake[1] for stake in base.stakes]
    before, after = min(0.0, *stations), max(base.length, *stations)
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
