"""Who plants a boundary that two lots share, so that it is planted once, and the rows that give way.

By agreement one lot plants the whole of it, or the one that stands first in the plan does. Else each plants half of the
row that is needed: the first lot in the order in which people count takes the half that comes first on the way round
it, anticlockwise, and where only one of the two has room for a row that one plants. Where one lot's part ends and the
other's begins the rows stand on different sides of the boundary; half a spacing is left free on either side, so that
no two plants face each other.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import geopandas as gpd
import numpy as np
import shapely
from shapely.ops import substring

from screenplan.contracts import PLANTING_LINES
from screenplan.contracts.tables import layer_of, records_of
from screenplan.plan.street import Street
from screenplan.planting.spans import plantable_stretches
from screenplan.site.shared import Shared

#: A stretch shorter than so many spacings is planted by one lot: neither part of it would hold two plants and a gap.
FEWEST_SPACINGS = 4.0
#: Room for less than this, in spacings, is none for a row.
LEAST_SPACINGS = 2.0
#: A row is cut where it runs along what the neighbour plants, looked at so much farther in than the row stands.
BEYOND_M = 0.1
#: What a neighbour leaves of a side, at a corner, holds no plant if it is shorter.
CORNER_M = 1.0

#: A run is not cut nearer to its end than so many spacings.
LEAST_PLANTS = 3.0
#: Ends nearer to each other than this are one: each lot has the boundary as it was digitised for it, metres.
SAME_PLACE_M = 0.05

#: Stretches of a line, from one running distance to another.
Spans = Sequence[tuple[float, float]]


@dataclass(frozen=True, eq=False)
class Settled:
    """A stretch of shared boundary, and how it is settled who plants it.

    Parameters
    ----------
    stretch : Shared
    how : str
        A word of the contract ``shared_boundaries``.
    planter : int or None
        Number of the lot of the stretch that plants all of it; None where each plants a part, or nobody does.
    """

    stretch: Shared
    how: str
    planter: int | None = None

    @property
    def is_halved(self) -> bool:
        """Whether each lot plants a part."""
        return self.how == "half"

    def asks(self, lot: str) -> str | None:
        """Give the side along which it asks a row of a lot; None if it asks for none."""
        number = self.stretch.lots.index(lot) if lot in self.stretch.lots else None
        if number is None or not (self.is_halved or self.planter == number):
            return None
        return self.stretch.sides[number]


@dataclass(frozen=True, eq=False)
class Share:
    """A part of a shared boundary, and the lot that plants it.

    Parameters
    ----------
    lots : tuple of 2 str
    planter, neighbour : str
        Of the lots; without a planter, empty, nothing is planted along it.
    side, beside : str
        Their sides.
    how : str
        A word of the contract ``shared_boundaries``.
    line : LineString
        The part.
    left : LineString
        What of the neighbour's side is left to the planter.
    """

    lots: tuple[str, str]
    planter: str
    neighbour: str
    side: str
    beside: str
    how: str
    line: shapely.LineString
    left: shapely.LineString

    def takes_from(self, lot: str, side: str) -> bool:
        """Tell whether a lot leaves some of a side of its own to the planter."""
        return bool(self.planter) and (self.neighbour, self.beside) == (lot, side)


def settle(stretch: Shared, street: Street, ids: Sequence[str], wanted: Collection[str]) -> Settled:
    """Say how it is settled who plants a stretch that two lots share.

    Parameters
    ----------
    stretch : Shared
    street : Street
        What is agreed, and how the rest is shared: the plan's section.
    ids : sequence of str
        The lots in the plan's order.
    wanted : collection of str
        Sides of any lot along which a row is wanted; a stretch is planted if either lot wants it.
    """
    if not set(wanted).intersection(stretch.sides):
        return Settled(stretch, "not needed")
    agreed = street.planter_of(frozenset(stretch.lots))
    if agreed is not None:
        return Settled(stretch, "agreed", stretch.lots.index(agreed))
    if street.shared == "first":
        return Settled(stretch, "first", int(np.argmin([ids.index(lot) for lot in stretch.lots])))
    return Settled(stretch, "half")


def drawn_sides(
    lot: str, sides: gpd.GeoDataFrame, chosen: Collection[str], settled: Sequence[Settled]
) -> list[str]:
    """Give the sides along which a lot's lines are drawn: those that it has chosen, and what it may plant for others.

    Sides that a neighbour plants from end to end are left out, so that rows round the corner go on up to them.
    """
    asked = {one.asks(lot) for one in settled} | set(chosen)
    given_up = dict.fromkeys(sides["side_id"].astype(str), 0.0)
    for one in settled:
        if one.planter is not None and one.stretch.lots[1 - one.planter] == lot:
            neighbour = 1 - one.planter
            given_up[one.stretch.sides[neighbour]] += one.stretch.lines[neighbour].length
    return [
        name
        for name, line in zip(sides["side_id"].astype(str), sides.geometry, strict=True)
        if name in asked and line.length - given_up[name] > CORNER_M
    ]


def spans_beside(lines: gpd.GeoDataFrame, side: str, zone, boundary: shapely.LineString) -> Spans:
    """Tell along which stretches of a boundary the lines of a side have room for plants.

    Parameters
    ----------
    lines : GeoDataFrame
        Contract ``planting_lines``.
    side : str
    zone : Geometry
        The plantable zone.
    boundary : LineString
    """
    found = []
    for line in lines.geometry[((lines["side_id"] == side) & (lines["row"] == 1)).to_numpy(bool)]:
        for span in plantable_stretches(line, zone):
            ends = shapely.line_locate_point(boundary, line.interpolate(list(span)))
            if ends.max() > ends.min():
                found.append((float(ends.min()), float(ends.max())))
    return sorted(found)


def share_out(
    one: Settled, room: tuple[Spans, Spans], spacing_m: float, needed: Spans | None = None
) -> list[Share]:
    """Give the parts of a stretch, each with the lot that plants it.

    Parameters
    ----------
    one : Settled
    room : tuple of 2 Spans
        Where each lot has room for a row, on the stretch as the first lot has it.
    spacing_m : float
        Distance between plants, metres.
    needed : Spans, optional
        Where a row is needed; until that is known the first lot plants what both could.
    """
    stretch = one.stretch
    length = stretch.lines[0].length
    if not one.is_halved:
        return [_share(one, one.planter or 0, (0.0, length), (0.0, 0.0))]
    first, second = (
        [(a, b) for a, b in spans if b - a >= LEAST_SPACINGS * spacing_m] for spans in room
    )
    room = first, second
    if length < FEWEST_SPACINGS * spacing_m:
        most = int(np.argmax([sum(b - a for a, b in spans) for spans in room]))
        return [_share(replace(one, how="whole"), most, (0.0, length), (0.0, 0.0))]
    middle = length if needed is None else _middle(needed, room, LEAST_PLANTS * spacing_m)
    parts = _parts_of(room, middle, length)
    if len(parts) == 1:
        one = replace(one, how="whole")
    gaps = [0.0, *(0.5 * spacing_m for _ in parts[1:]), 0.0]
    return [
        _share(one, planter, span, (gaps[k], gaps[k + 1]))
        for k, (planter, span) in enumerate(parts)
    ]


def _middle(needed: Spans, room: tuple[Spans, Spans], least_m: float) -> float:
    """Give the running distance on either side of which half of what is needed stands, of what both lots could plant.

    A run that it would cut near one of its ends is left whole: a shorter one would be lengthened again.
    """
    runs = [
        (max(a, b, c), min(d, e, f))
        for a, d in needed
        for b, e in room[0]
        for c, f in room[1]
        if min(d, e, f) > max(a, b, c)
    ]
    half, before = 0.5 * sum(end - begin for begin, end in runs), 0.0
    for begin, end in sorted(runs):
        if before + end - begin >= half:
            at = begin + half - before
            near = min((begin, end), key=lambda end: abs(end - at))
            return near if abs(near - at) < least_m else at
        before += end - begin
    return 0.0


def _parts_of(
    room: tuple[Spans, Spans], middle: float, length: float
) -> list[tuple[int, tuple[float, float]]]:
    """Give the parts in order: the number of the lot that plants each, and where it begins and ends.

    Where neither has room it does not matter: that goes with the part before it, at the beginning with the one behind.
    """
    ends = {0.0, length, *(end for spans in room for span in spans for end in span), middle}
    cuts = sorted(end for end in ends if 0.0 <= end <= length)
    parts: list[tuple[int | None, tuple[float, float]]] = []
    for a, b in pairwise(cuts):
        first, second = (
            any(begin <= 0.5 * (a + b) <= end for begin, end in spans) for spans in room
        )
        planter: int | None = int(second) if first != second else int(0.5 * (a + b) > middle)
        if b - a < SAME_PLACE_M or not (first or second):
            planter = parts[-1][0] if parts else None
        if parts and parts[-1][0] in (planter, None):
            a = parts.pop()[1][0]
        parts.append((planter, (a, b)))
    return [(planter or 0, span) for planter, span in parts]


def _share(
    one: Settled, planter: int, span: tuple[float, float], gaps: tuple[float, float]
) -> Share:
    """Make a share of a part; the neighbour keeps off it, and off a gap before and behind it."""
    stretch, neighbour = one.stretch, 1 - planter
    line = stretch.lines[0]
    wide = substring(line, max(span[0] - gaps[0], 0.0), min(span[1] + gaps[1], line.length))
    ends = shapely.line_locate_point(
        stretch.lines[neighbour], shapely.points([wide.coords[0], wide.coords[-1]])
    )
    return Share(
        stretch.lots, "" if one.how == "not needed" else stretch.lots[planter], stretch.lots[neighbour],
        stretch.sides[planter], stretch.sides[neighbour], one.how, substring(line, *span),
        substring(stretch.lines[neighbour], float(ends.min()), float(ends.max())),
    )  # fmt: skip


def give_way(
    lines: gpd.GeoDataFrame, lot: str, shares: Sequence[Share], zone, spacing_m: float
) -> gpd.GeoDataFrame:
    """Take from the lines of a lot what runs along boundaries that its neighbours plant.

    Parameters
    ----------
    lines : GeoDataFrame
        Contract ``planting_lines``; drawn ones, which follow no side, stay as they are.
    lot : str
    shares : sequence of Share
    zone : Geometry
        The plantable zone.
    spacing_m : float
        What is left of a line must be so long at least, metres.

    Returns
    -------
    GeoDataFrame
        The lines, each part of one that is cut by itself; none if neighbours plant everything.
    """
    records, shapes = [], []
    for record, line in zip(records_of(lines), lines.geometry, strict=True):
        left = [share.left for share in shares if share.takes_from(lot, record["side_id"])]
        parts = list(_left_of(record, line, left, zone, spacing_m)) if left else [(record, line)]
        records += [record for record, _ in parts]
        shapes += [part for _, part in parts]
    return layer_of(PLANTING_LINES, records, shapes, lines.crs)


def _left_of(
    record: dict, line: shapely.LineString, left, zone, spacing_m: float
) -> Iterator[tuple[dict, shapely.LineString]]:
    """Give what stays of a line, each part from its first to its last plantable point."""
    reach = record["offset_m"] + BEYOND_M
    taken = shapely.union_all([shapely.buffer(piece, reach, cap_style="flat") for piece in left])
    rest = shapely.get_parts(shapely.line_merge(shapely.difference(line, taken)))
    ends = [shapely.get_point(rest, 0), shapely.get_point(rest, -1)]
    kept = []
    for span in np.sort(np.sort(shapely.line_locate_point(line, np.array(ends)), axis=0).T, axis=0):
        part = substring(line, *span.tolist())
        stretches = plantable_stretches(part, zone) if part.length > 0.0 else []
        if stretches and stretches[-1][1] - stretches[0][0] >= spacing_m:
            kept.append((substring(part, stretches[0][0], stretches[-1][1]), stretches))
    for number, (part, stretches) in enumerate(kept, 1):
        several = f"-part{number}" if len(kept) > 1 else ""
        yield (
            record
            | {
                "line_id": f"{record['line_id']}{several}",
                "length_m": part.length,
                "plantable_m": sum(end - begin for begin, end in stretches),
            },
            part,
        )
