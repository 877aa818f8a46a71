"""What was measured by tape from a line: the line itself, and what stands on either side of it."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal

from pydantic import BeforeValidator, Field, model_validator

from screenplan.contracts.model import HIGHEST_BUILDING_M
from screenplan.contracts.reading import ScreenKind
from screenplan.plan.values import (
    Degrees,
    Identifier,
    Length,
    Section,
    WrongError,
)

#: A tape line that is longer is not one garden's.
MOST_LENGTH_M = 10_000.0
#: What stands farther away is not measured by tape.
MOST_AWAY_M = 2_000.0
#: More than anything in sight of a garden is higher or lower than it.
MOST_RISE_M = 100.0
SIDES = ("beyond", "inside")


def may_lie_at(lon: float, lat: float) -> bool:
    """Tell whether a garden may lie at a longitude and latitude in degrees."""
    return abs(lon) <= 180.0 and abs(lat) < 85.0


def read_direction(value: Any) -> Any:
    """Let a direction be written as a number of degrees."""
    is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
    return repr(value) if is_number else value


Bearing = Annotated[str, BeforeValidator(read_direction)]


class Spot(Section):
    """Where a point is: along the line from its zero peg and away from it, or by a tape from each peg."""

    along: Length | None = Field(
        None,
        ge=-MOST_AWAY_M,
        le=MOST_LENGTH_M,
        description="Distance along the line from its zero peg; less than 0 before the peg",
    )
    beyond: Length | None = Field(
        None,
        le=MOST_AWAY_M,
        description="Distance square to the line on the far side of it, away from the garden",
    )
    inside: Length | None = Field(
        None,
        le=MOST_AWAY_M,
        description="Instead of beyond: distance square to the line on the garden's side",
    )
    from_zero: Length | None = Field(
        None,
        gt=0,
        le=MOST_LENGTH_M,
        description="Instead of along and beyond: distance from the zero peg, with from_end",
    )
    from_end: Length | None = Field(
        None, gt=0, le=MOST_LENGTH_M, description="Distance from the end peg, with from_zero"
    )
    side: Literal["beyond", "inside"] | None = Field(
        None,
        description="On which side of the line the two distances meet; a window or building lies beyond it and a private place inside, unless this says otherwise",
    )

    #: Where what is measured lies if nobody says so.
    usual_side: ClassVar[str | None] = None
    #: Whether it may be on either.
    on_both_sides: ClassVar[bool] = True

    @model_validator(mode="after")
    def _lies_somewhere(self):
        """Refuse a point that is nowhere, or in two places."""
        self._check_place()
        return self

    def _check_place(self) -> None:
        tapes = [name for name in ("from_zero", "from_end") if getattr(self, name) is not None]
        aways = [name for name in SIDES if getattr(self, name) is not None]
        if tapes and (aways or self.along is not None):
            raise WrongError(
                "its place is given along the line and by tapes from the pegs",
                "Keep one of them: along with beyond or inside, or from_zero with from_end",
            )
        if len(tapes) == 1:
            other = "from_end" if tapes == ["from_zero"] else "from_zero"
            raise WrongError(
                f"{tapes[0]} is given without {other}, and one tape finds no point",
                f"Give {other} too, or give along and beyond",
            )
        if tapes:
            if self.side is None and self.usual_side is None:
                raise WrongError(
                    "two tapes from the pegs meet on both sides of the line",
                    'Say on which with side = "beyond" or side = "inside"',
                )
            return
        if len(aways) == 2:
            raise WrongError(
                "it is given as beyond the line and as inside it", "Keep the one that is meant"
            )
        if self.along is None or not aways:
            lacking = "along" if self.along is None else "beyond"
            raise WrongError(
                f"its place is not known: {lacking} is missing",
                "Give along with beyond (or inside, on the garden's side), or from_zero with from_end",
            )
        if self.side is not None:
            raise WrongError("side goes with from_zero and from_end", "Take it out")
        away = getattr(self, aways[0])
        if away < 0:
            other = SIDES[aways[0] == "beyond"]
            mend = f"as {other}, or " if self.on_both_sides else ""
            raise WrongError(
                f"{aways[0]} is {{{away:g} m}}, which is on the other side of the line",
                f"Give the distance {mend}without the minus if it lies {aways[0]} the line",
            )

    @property
    def is_beyond(self) -> bool:
        """True if it lies on the far side of the line."""
        if self.from_zero is not None:
            return (self.side or self.usual_side) == "beyond"
        return self.beyond is not None


class Taped(Spot):
    """What every row has: a name, a place, and the height of its ground."""

    name: str | None = Field(None, max_length=200, description="What people call it")
    ground: Length = Field(
        0.0,
        ge=-MOST_RISE_M,
        le=MOST_RISE_M,
        description="How much higher its ground is than that at the line; less than 0 if lower",
    )


class TapedShape(Taped):
    """A row that may have an outline or a course instead of one point."""

    points: tuple[Spot, ...] = Field(
        (),
        max_length=500,
        description='Instead of one place: its corners in order, such as [{ along = "8 m", beyond = "12 m" }, …]',
    )

    #: Fewest points of the shape.
    fewest: ClassVar[int] = 3

    def _check_place(self) -> None:
        if not self.points:
            super()._check_place()
            return
        given = [name for name in Spot.model_fields if getattr(self, name) is not None]
        if given:
            raise WrongError(f"its place is given by points and by {given[0]}", "Keep one of them")
        if len(self.points) < self.fewest:
            raise WrongError(
                f"points lists {len(self.points)}", f"List {self.fewest} or more, in order"
            )


class TapedWindow(Taped):
    """A window that looks over the line; heights are above the ground at its foot."""

    usual_side = "beyond"
    on_both_sides = False

    sill: Length = Field(
        0.9, le=HIGHEST_BUILDING_M, description="Height of the sill above the ground there"
    )
    head: Length = Field(
        2.1,
        gt=0,
        le=HIGHEST_BUILDING_M,
        description="Height of its upper edge above the ground there",
    )
    width: Length = Field(1.2, ge=0.05, le=30, description="Width of the opening")
    facing: float | None = Field(
        None,
        ge=0,
        le=360,
        description="Direction in which one looks straight out, degrees from north (of a line without a bearing: from square to it); by default square to the line, or that of its wall",
    )
    house: Identifier | None = Field(None, description="Name of the measured building it is in")

    @model_validator(mode="after")
    def _looks_over_the_line(self):
        if not self.is_beyond:
            raise WrongError(
                "the window lies on the garden's side of the line, and looks over no line",
                "Give its distance on the far side as beyond, or take it out",
            )
        if self.sill < 0:
            raise WrongError(
                f"the sill is at {{{self.sill:g} m}}, below the ground under the window",
                "Give sill and head above that ground, and under ground how much lower it lies than the line",
            )
        if self.head <= self.sill:
            raise WrongError(
                f"the head is at {{{self.head:g} m}} and the sill at {{{self.sill:g} m}}",
                "Give a head above the sill; both count from the ground below the window",
            )
        if self.head - self.sill > 10.0:
            raise WrongError(
                f"the window is {{{self.head - self.sill:g} m}} high",
                "Give sill and head of one window, {10 m} apart at most",
            )
        return self


class TapedRectangle(TapedShape):
    """A row that may be a rectangle beside the line."""

    width: Length | None = Field(
        None, gt=0, le=500, description="Its size along the line; along is then its middle"
    )
    depth: Length | None = Field(
        None, gt=0, le=500, description="Its size away from the line, from where it is measured"
    )

    @model_validator(mode="after")
    def _both_sizes(self):
        if (self.width is None) != (self.depth is None):
            given, other = ("width", "depth") if self.depth is None else ("depth", "width")
            raise WrongError(f"{given} is given without {other}", f"Give {other} too")
        if self.width is not None and self.points:
            raise WrongError("points and a width are given", "Keep one of them")
        return self


class TapedPlace(TapedRectangle):
    """A place that is to be hidden. With width and depth it is a rectangle, else one point."""

    usual_side = "inside"


class TapedBuilding(TapedRectangle):
    """A building. With width and depth it is a rectangle beside the line, with its nearest wall where it is measured."""

    usual_side = "beyond"

    height: Length | None = Field(
        None, gt=0, le=HIGHEST_BUILDING_M, description="Height of the eaves or flat roof"
    )
    storeys: int | None = Field(
        None, ge=1, le=120, description="Number of storeys, for a height that is not given"
    )
    ridge: Length | None = Field(
        None, gt=0, le=HIGHEST_BUILDING_M, description="Height of the ridge, of a roof with one"
    )

    @model_validator(mode="after")
    def _has_an_outline(self):
        if self.width is None and not self.points:
            raise WrongError(
                "the building has no outline", "Give width and depth, or its corners as points"
            )
        if self.height is None and self.storeys is None:
            raise WrongError("the building has no height", "Give height or storeys")
        return self


class TapedScreen(TapedShape):
    """What stands already: a tree by its stem, plants of a row by theirs, a wall, fence or hedge by its points."""

    fewest = 2

    kind: ScreenKind = Field(
        description="What it is; plant: plants of a row that is kept and filled up, with a stem at each of its points"
    )
    height: Length = Field(gt=0, le=100, description="Its height above the ground there, today")
    width: Length | None = Field(
        None, gt=0, le=60, description="Thickness of a wall or hedge, spread of a tree or plant"
    )
    species: Identifier | None = Field(
        None, description="Key in the species table, of plants and trees that go on growing"
    )
    opacity: float = Field(1.0, ge=0, le=1, description="Share of the light that it stops")

    @model_validator(mode="after")
    def _is_a_line_or_a_stem(self):
        if self.kind not in ("tree", "plant") and not self.points:
            raise WrongError(
                f"a {self.kind} runs from point to point, and one place is given",
                "Give two or more points",
            )
        return self


class Tape(Section):
    """What was measured by tape: the line that is planted, or a side of the parcel, and what stands along it. Zero peg and end peg are its ends."""

    length: Length | None = Field(
        None, gt=0, le=MOST_LENGTH_M, description="Length of the line that is planted, peg to peg"
    )
    side: Identifier | None = Field(
        None,
        description="Instead of length, where the parcel is given: its side along which was measured, by the name that `screenplan sides` lists",
    )
    bearing: Bearing | None = Field(
        None,
        description='Direction in which it runs from the zero peg: degrees from true north, or "N 45 E"; without it there is no north and no sun',
    )
    at: tuple[Degrees, Degrees] | None = Field(
        None,
        description="Where on earth its zero peg is: longitude, latitude in degrees; with bearing",
    )
    garden: Literal["left", "right"] = Field(
        "right",
        description="Which side is the garden's, as seen from the zero peg; right, if you face the line from the garden and the zero peg is its left end",
    )
    windows: tuple[TapedWindow, ...] = Field(
        (), description="Windows that look over the line: [[tape.windows]]"
    )
    private_places: tuple[TapedPlace, ...] = Field(
        (), description="What is to be hidden: [[tape.private_places]]"
    )
    buildings: tuple[TapedBuilding, ...] = Field((), description="[[tape.buildings]]")
    existing_screens: tuple[TapedScreen, ...] = Field(
        (), description="Trees, walls, fences and hedges that stand: [[tape.existing_screens]]"
    )

    @model_validator(mode="after")
    def _lies_somewhere(self):
        if (self.length is None) == (self.side is None):
            how = "neither length nor side is" if self.side is None else "length and side are both"
            raise WrongError(
                f"{how} given",
                "Give length for a line without a parcel, or side for a side of the parcel",
                self.key("length"),
            )
        if self.side is not None:
            for name in ("bearing", "at"):
                if getattr(self, name) is not None:
                    raise WrongError(
                        f"{name} is given, and the parcel says where its side runs",
                        "Take it out",
                        self.key(name),
                    )
        if self.at is None:
            return self
        lon, lat = self.at
        if not may_lie_at(lon, lat):
            raise WrongError(
                f"{lon:g} {lat:g} is no place for a garden",
                "Give longitude, then latitude, in degrees",
                self.key("at"),
            )
        if self.bearing is None:
            raise WrongError(
                "a place is given without a direction, and a line lies somewhere only with both",
                "Give bearing too, or leave at out",
                self.key("bearing"),
            )
        return self

    @property
    def measured(self) -> dict[str, tuple[Taped, ...]]:
        """Rows by the layer that they make; layers without a row are left out."""
        names = ("buildings", "windows", "private_places", "existing_screens")
        return {name: getattr(self, name) for name in names if getattr(self, name)}


#: The tables of [tape], by key: what a row may hold.
TAPE_TABLES: dict[str, type[Section]] = {
    "tape": Tape,
    "tape.windows": TapedWindow,
    "tape.private_places": TapedPlace,
    "tape.buildings": TapedBuilding,
    "tape.existing_screens": TapedScreen,
}
