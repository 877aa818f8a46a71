"""How each peg is set: by two tapes, by an offset, by an instrument, or as an end of a known line.

Only tapes with nothing in their way count. Where no two of them from points that can be found cross
well at a peg, a peg that stands already serves as a point too, then an offset, and if that cannot be
taped either, an instrument is needed.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from screenplan.works.control_points import TRUST, ControlPoint
from screenplan.works.obstructions import AT_WALL_M, Obstructions
from screenplan.works.readings import Peg
from screenplan.works.taping import (
    PRINTED_M,
    READING_M,
    Offset,
    TwoTapes,
    best_offset,
    best_pair,
)

TWO_TAPES, OFFSET, INSTRUMENT = "two tapes", "offset", "instrument"
#: The peg is an end of the line that was given: who gave it knows where it is.
OWN_END = "own end"
#: How far coordinates that are printed to a centimetre may be out, metres.
READ_COORDINATES_M = READING_M * math.sqrt(2.0)
#: A tape for the check comes in at such an angle to the others, degrees.
CHECK_DEG = 10.0


@dataclass(frozen=True)
class Origin:
    """A point from which a peg may be measured.

    Parameters
    ----------
    name : str
        Letter of a control point, or name of a peg that is set before.
    xy : (2,) ndarray
        Metres.
    trust : float
        How much worse than the best kind of point it is, 1 or more.
    out_m : float
        How far it may be out itself, metres.
    kind : str
        Kind of a control point, or ``peg``.
    hooked_m : float
        Within so much of it a tape may lie over a wall, metres.
    """

    name: str
    xy: np.ndarray
    trust: float
    out_m: float
    kind: str
    hooked_m: float = AT_WALL_M


@dataclass(frozen=True)
class Setting:
    """How a peg is set.

    Parameters
    ----------
    method : {"two tapes", "offset", "instrument", "own end"}
    by : TwoTapes, Offset or None
        None if an instrument is needed, or the peg is known.
    origins : list of Origin
        Those that ``by`` and ``check`` number.
    check : int or None
        From which of them a third distance proves it.
    long : bool
        Whether a tape is too short for one of the distances.
    tolerance_m : float
        How far the peg may be out, metres.
    """

    method: str
    by: TwoTapes | Offset | None
    origins: list[Origin]
    check: int | None
    long: bool
    tolerance_m: float


def set_pegs(
    pegs: list[Peg],
    places: list[ControlPoint],
    points: np.ndarray,
    way: Obstructions,
    tape_m: float,
    known: Collection[int] = (),
) -> list[Setting]:
    """Find for each peg how it is set.

    Parameters
    ----------
    pegs : list of Peg
    places : list of ControlPoint
    points : (n, 2) ndarray
        Where the control points are after the fit, metres.
    way : Obstructions
        What no tape crosses.
    tape_m : float
        Length of the tape, metres.
    known : collection of int
        Positions of pegs that are ends of a line that was given: nothing is measured to them.

    Returns
    -------
    list of Setting
        One for each peg. A peg is measured only from pegs that can be set before it.
    """
    origins = [
        Origin(place.point_id, xy, TRUST[place.kind], PRINTED_M, place.kind)
        for place, xy in zip(places, points, strict=True)
    ]
    found = {
        number: Setting(OWN_END, None, origins, None, False, READ_COORDINATES_M) for number in known
    }
    origins = origins + [
        Origin(pegs[number].name, pegs[number].xy, 1.0, READ_COORDINATES_M, "peg", 0.0)
        for number in known
    ]
    while True:
        new = {}
        for number, peg in enumerate(pegs):
            if number not in found:
                setting = _set_by_tapes(peg.xy, origins, way, tape_m)
                if setting is not None:
                    new[number] = setting
        if not new:
            # The best offset opens the way for tapes to the others.
            offsets = {
                number: setting
                for number, peg in enumerate(pegs)
                if number not in found
                and (setting := _set_by_offset(peg.xy, origins, way, tape_m)) is not None
            }
            if not offsets:
                break
            best = min(offsets, key=lambda number: (offsets[number].tolerance_m, number))
            new = {best: offsets[best]}
        found |= new
        origins = origins + [
            Origin(pegs[number].name, pegs[number].xy, 1.0, setting.tolerance_m, "peg", 0.0)
            for number, setting in new.items()
        ]
    return [
        found.get(number) or Setting(INSTRUMENT, None, origins, None, False, READ_COORDINATES_M)
        for number in range(len(pegs))
    ]


def _set_by_tapes(place, origins, way: Obstructions, tape_m: float) -> Setting | None:
    if not origins:
        return None
    xy, trust, out, hooked = _table(origins)
    free = way.free(xy, place, hooked)
    distance = np.hypot(*(xy - place).T)
    pair = best_pair(xy, place, free & (distance <= tape_m), trust, out)
    long = pair is None
    if long:
        # A tape that is too short is laid in two parts in line; one that is blocked is not laid.
        found = np.array([origin.kind != "peg" for origin in origins])
        pair = best_pair(xy, place, free & found & (distance <= 2.0 * tape_m), trust, out)
    if pair is None:
        return None
    usable = free & (distance <= tape_m)
    check = _third(xy, place, usable, (pair.a, pair.b), distance * trust)
    return Setting(TWO_TAPES, pair, origins, check, long, pair.tolerance_m)


def _set_by_offset(place, origins, way: Obstructions, tape_m: float) -> Setting | None:
    if not origins:
        return None
    xy, trust, out, hooked = _table(origins)
    offset = best_offset(xy, place, trust, out, way.free, hooked, tape_m)
    if offset is None:
        return None
    distance = np.hypot(*(xy - place).T)
    usable = way.free(xy, place, hooked) & (distance <= tape_m)
    # On the line itself the two points' own distances run along it and prove nothing.
    usable[[offset.a, offset.b]] &= offset.offset_m > 0
    check = _third(xy, place, usable, (), distance * trust)
    return Setting(OFFSET, offset, origins, check, False, offset.tolerance_m)


def _table(origins: list[Origin]) -> tuple[np.ndarray, ...]:
    """Places, trust, own errors, and what a tape from each may lie over."""
    rows = [(*origin.xy, origin.trust, origin.out_m, origin.hooked_m) for origin in origins]
    columns = np.array(rows)
    return columns[:, :2], columns[:, 2], columns[:, 3], columns[:, 4]


def _third(xy, place, usable, taken: tuple[int, ...], cost) -> int | None:
    """Choose a point whose tape comes in across those of the others."""
    others = [
        int(index)
        for index in np.flatnonzero(usable)
        if index not in taken
        and min((_opening(xy[index], xy[chosen], place) for chosen in taken), default=math.pi)
        > math.radians(CHECK_DEG)
    ]
    return min(others, key=lambda index: cost[index]) if others else None


def _opening(first, second, place) -> float:
    """Angle at a place between two points, folded to 0 to 90°, radians."""
    a, b = first - place, second - place
    angle = abs(math.atan2(a[0] * b[1] - a[1] * b[0], a @ b))
    return min(angle, math.pi - angle)
