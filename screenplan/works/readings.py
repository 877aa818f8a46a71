"""Distances that the user measured, and what the names in them stand for."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely

from screenplan.ground.errors import refuse
from screenplan.plan.works import StakeOut
from screenplan.works.bases import Base
from screenplan.works.control_points import ControlPoint
from screenplan.works.ground import Ground
from screenplan.works.taping import ON_TAPE_M

#: A measured distance further off than this, and than a tenth of itself, is a slip of the pen.
SLIP_M = 3.0
SLIP_SHARE = 0.1
#: Ends of tapes and of what is built that are nearer to each other than this share a peg, metres.
SAME_PEG_M = 0.001


@dataclass
class Peg:
    """A peg: its name on the sheet, its role, its place, the tapes of which it is an end, and what else it marks."""

    name: str
    role: str
    xy: np.ndarray
    ends: list[tuple[Base, str]] = field(default_factory=list)
    marks: list[str] = field(default_factory=list)


def peg_at(pegs: Sequence[Peg], xy: np.ndarray) -> Peg | None:
    """Give the first peg that stands at a place; None if there is none."""
    return next((peg for peg in pegs if math.hypot(*(peg.xy - xy)) <= SAME_PEG_M), None)


@dataclass(frozen=True)
class Reading:
    """A distance that the user measured, and the tape along which it runs, if it does."""

    start: tuple[str, int]
    end: tuple[str, int]
    names: tuple[str, str]
    planned_m: float
    level_m: float
    base: Base | None

    @property
    def between_points(self) -> bool:
        """Tell whether it runs between two control points."""
        return self.start[0] == self.end[0] == "point"


class Book:
    """What every name on the sheet stands for."""

    def __init__(self, places: list[ControlPoint], pegs: list[Peg], bases: list[Base], plants):
        self.xy: dict[tuple[str, int], np.ndarray] = {}
        self.names: dict[str, tuple[str, int]] = {}
        self.tape_of: dict[tuple[str, int], list[tuple[Base, float]]] = {}
        for number, place in enumerate(places):
            self._enter(place.point_id, ("point", number), np.array([place.x, place.y]))
        for number, peg in enumerate(pegs):
            self._enter(peg.name, ("peg", number), peg.xy.copy())
            for base, role in peg.ends:
                at = 0.0 if role == "zero" else base.length
                self.tape_of.setdefault(("peg", number), []).append((base, at))
        ids = plants["plant_id"].to_numpy(int)
        xy = shapely.get_coordinates(plants.geometry.to_numpy())
        for base in bases:
            for position, along, offset in base.stakes:
                key = ("stake", int(ids[position]))
                self._enter(str(ids[position]), key, xy[position])
                if abs(offset) <= ON_TAPE_M:
                    self.tape_of[key] = [(base, along)]

    def _enter(self, name: str, key: tuple[str, int], xy: np.ndarray) -> None:
        self.names[name] = key
        self.xy[key] = xy

    def reading(self, first: str, second: str, taut: float, ground: Ground) -> Reading:
        """Look up the two names of a measured distance; refuse a slip."""
        keys = []
        for name in (str(first), str(second)):
            if name not in self.names:
                letters = [known for known, key in self.names.items() if key[0] != "stake"]
                raise refuse(
                    f"a distance is measured at '{name}', which is on no sheet",
                    f"Name a tape point or peg ({', '.join(letters)}) or the number of a stake",
                    key=StakeOut.key("measured"),
                )
            keys.append(self.names[name])
        planned = float(math.hypot(*(self.xy[keys[0]] - self.xy[keys[1]])))
        if keys[0] == keys[1] or planned == 0.0:
            raise refuse(
                f"a distance is measured from {first} to {second}, which is no distance",
                "Name two different places",
                key=StakeOut.key("measured"),
            )
        level = None
        if math.isfinite(taut) and taut > 0:
            level = ground.level(self.xy[keys[0]], self.xy[keys[1]], taut)
        if level is None or abs(level - planned) > max(SLIP_M, SLIP_SHARE * planned):
            raise refuse(
                f"{{{taut:g} m}} is measured from {first} to {second}, where the map has {{{planned:.2f} m}}",
                "Check the names and the reading: a difference that large is a slip, or another corner",
                key=StakeOut.key("measured"),
            )
        base = next(
            (
                base
                for base, a in self.tape_of.get(keys[0], [])
                for other, b in self.tape_of.get(keys[1], [])
                if base is other and 0.0 in (a, b)
            ),
            None,
        )
        return Reading(keys[0], keys[1], (str(first), str(second)), planned, level, base)
