"""The plan file: its sections, its keys, and how it is read.

Every key stands here once, with its type, range, default and one line of help. The command line,
the commented plan that ``screenplan start`` writes, and the reference are made from these fields,
and the steps take their parameters from them (see `screenplan.steps`).
"""

from __future__ import annotations

import datetime as dt
import difflib
import tomllib
from collections.abc import Sequence
from pathlib import Path
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    field_validator,
    model_validator,
)

from screenplan.contracts import HIGHEST_PLANT_M, INPUTS
from screenplan.errors import InputError, Problem, refuse
from screenplan.units import parse_length, parse_volume

#: The last year that is ever computed; the kernel keeps a bit for each.
LAST_YEAR = 60


def _length(value: Any) -> Any:
    """Turn a written length into metres; pydantic reports the sentence of a refusal."""
    if value is None:
        return None
    try:
        return parse_length(value)
    except InputError as error:
        problem = error.problems[0]
        raise ValueError(f"{problem.what}. {problem.mend}") from None


def _identifier(value: Any) -> Any:
    """Let an identifier be written as a number."""
    return str(value) if isinstance(value, int) and not isinstance(value, bool) else value


def _volume(value: Any) -> Any:
    """Turn a written volume into cubic metres; a number is in cubic metres already."""
    if isinstance(value, float):
        return value
    try:
        return parse_volume(value)
    except InputError as error:
        problem = error.problems[0]
        raise ValueError(f"{problem.what}. {problem.mend}") from None


def _day(value: Any) -> Any:
    """Let a day be written as TOML's own date or as text."""
    try:
        return (value if isinstance(value, dt.date) else dt.date.fromisoformat(value)).isoformat()
    except (TypeError, ValueError):
        raise ValueError(f"{value!r} is not a date. Write it as 2027-04-10") from None


Length = Annotated[float, BeforeValidator(_length)]
Volume = Annotated[float, BeforeValidator(_volume)]
Day = Annotated[str, BeforeValidator(_day)]
Identifier = Annotated[str, BeforeValidator(_identifier)]


class Section(BaseModel):
    """A table of the plan file; an unknown key is refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class About(Section):
    """What the plan is called and in which units people read it."""

    title: str = Field("", description="Name of the plan, as it stands on the sheets")
    units: Literal["metric", "us"] = Field(
        "metric", description="Units in summaries and sheets; layers are always in metres"
    )


class Subject(Section):
    """Which parcel is planned. With neither key, the parcels layer must hold just one."""

    id: Identifier | None = Field(None, description="Its identifier in the parcels layer")
    point: tuple[float, float] | None = Field(
        None, description="Or a point in it: longitude, latitude in degrees"
    )
    assumed: bool = Field(
        False,
        description="True if its outline is not known and a strip around the line stands for it",
    )

    @model_validator(mode="after")
    def _one_of_both(self):
        if self.id is not None and self.point is not None:
            raise ValueError("id and point are both given. Keep the one that you trust")
        return self


class LayerSource(Section):
    """A layer that is read, and how its columns are called there."""

    file: Path = Field(description="The file, relative to the plan file")
    layer: str | None = Field(None, description="Layer in the file, if it holds several")
    columns: dict[str, str] = Field(default_factory=dict, description="Our column = your column")
    units: dict[str, str] = Field(
        default_factory=dict, description='Our column = unit of the values, such as "ft"'
    )
    fixed: dict[str, str | float | int | bool] = Field(
        default_factory=dict,
        description="Our column = one value for every row, such as storeys = 2",
    )

    @field_validator("fixed", mode="after")
    @classmethod
    def _lengths_in_metres(cls, values):
        return {
            name: _length(value) if name.endswith("_m") and isinstance(value, str) else value
            for name, value in values.items()
        }


class Ground(Section):
    """The terrain raster. Without it the site is taken as flat."""

    file: Path = Field(description="A raster of ground heights, relative to the plan file")
    unit: str = Field("m", description="Unit of its heights")
    extend: bool = Field(False, description="Go on flat where the raster ends, instead of refusing")


class Where(Section):
    """How well the site is known."""

    height: Length | None = Field(
        None,
        description="Ellipsoidal height of the site; without it lengths are those at height 0, 16 mm per 100 m short at 1000 m",
    )
    boundary_accuracy: Length = Field(
        1.0,
        ge=0,
        le=20,
        description="How far the boundary line may be out; 1 m unless it was surveyed",
    )
    datum_tolerance: Length = Field(
        2.0, ge=0, le=50, description="Largest error of a change of datum that is accepted"
    )
    reach: Length = Field(
        150.0,
        gt=0,
        le=2000,
        description="Neighbours and things farther away than this are not looked at",
    )
    storey_height: Length = Field(2.8, ge=2, le=6, description="Height of a storey, floor to floor")


class Sides(Section):
    """How the outline is cut into sides."""

    corner: float = Field(
        30.0, ge=5, le=120, description="Change of direction that makes a corner, degrees"
    )
    base: Length = Field(4.0, gt=0, le=50, description="Length over which that change is measured")


class Windows(Section):
    """Windows derived from footprints, where none are given."""

    derive: bool = Field(True, description="Derive windows where no windows layer is given")
    spacing: Length = Field(4.0, ge=0.5, le=50, description="Distance between windows along a wall")
    sill: Length = Field(0.9, ge=0, le=3, description="Height of a sill above its floor")
    height: Length = Field(1.2, ge=0.1, le=5, description="Height of a window")
    width: Length = Field(1.2, ge=0.1, le=10, description="Width of a window")
    reach: Length = Field(
        60.0, gt=0, le=500, description="Houses farther away than this get no windows"
    )


class Places(Section):
    """Private places derived from the house, where none are given."""

    derive: bool = Field(
        True, description="Derive a place on the garden side where no private_places layer is given"
    )
    depth: Length = Field(5.0, ge=1, le=50, description="Depth of the derived place from the wall")


class Setbacks(Section):
    """Which limits hold. Shipped rules are common practice: confirm them locally."""

    file: Path | None = Field(
        None, description="A rule file of your own; its rules replace shipped ones of the same key"
    )
    rules: dict[str, dict[str, Any]] = Field(
        default_factory=dict, description="Changes to single rules, by key"
    )
    hole: Length = Field(0.4, gt=0, le=3, description="Width of a planting hole")


class Rows(Section):
    """Where the rows run and how plants stand in them."""

    along: tuple[str, ...] = Field(
        (),
        description="Sides to plant, by name; empty: those across which windows look onto private places",
    )
    offset: Length | None = Field(
        None,
        ge=0,
        le=200,
        description="Distance of the first row from the boundary; by default the least that every rule allows",
    )
    rows: Literal[1, 2] = Field(1, description="One row, or two that are staggered")
    row_distance: Length | None = Field(
        None, gt=0, le=20, description="Distance between two rows; by default 0.866 of the spacing"
    )
    spacing: Length = Field(1.5, ge=0.1, le=30, description="Distance between plants in a row")
    fit: Literal["evened", "exact"] = Field(
        "evened",
        description="evened: both ends planted, no gap wider than the spacing; exact: the spacing from the zero peg on",
    )
    move: Length = Field(
        0.0,
        ge=0,
        le=10,
        description="How far a plant may be moved along the row before it is left out",
    )
    fill_existing: bool = Field(True, description="Fill up gaps of a row that stands already")


class Plants(Section):
    """What is planted."""

    species: str = Field(
        "thuja_occidentalis", description="Key in the species table; screenplan species lists it"
    )
    stock: Literal["plug", "bare_root", "container", "balled"] = Field(
        "container", description="Kind of stock"
    )
    stock_height: Length | None = Field(
        None,
        gt=0,
        le=HIGHEST_PLANT_M,
        description="Height when planted; by default the species table's",
    )


class Growth(Section):
    """How the row grows."""

    curve: Literal["smooth", "straight"] = Field(
        "smooth",
        description="smooth: slows towards the mature height; straight: the yearly growth until it is reached",
    )
    years: int = Field(30, ge=1, le=LAST_YEAR, description="Years that are looked at")
    show_years: tuple[int, ...] = Field(
        (0, 3, 5, 10, 20), description="Years for which crowns are drawn"
    )
    asked_height: Length = Field(
        1.8,
        gt=0,
        le=HIGHEST_PLANT_M,
        description="Height up to which the row should close without a gap",
    )


class Views(Section):
    """How views are looked at."""

    threshold: float = Field(
        0.10,
        ge=0,
        le=0.9,
        description="Share of a view that may stay open for it to count as closed",
    )
    leaves: Literal["opaque", "translucent"] = Field(
        "opaque",
        description="opaque: leaves stop all light; translucent: some passes, by leaf density and the length of the way",
    )
    eye_inside: Length = Field(1.0, gt=0, le=5, description="Distance of the eye behind the window")
    eye_seated: Length = Field(
        1.2, gt=0, le=3, description="Height of a seated eye above the floor"
    )
    eye_standing: Length = Field(
        1.6, gt=0, le=3, description="Height of a standing eye above the floor"
    )
    report_years: tuple[int, ...] = Field(
        (0, 1, 2, 3, 5, 10, 15, 20, 30),
        description="Years with a column of their own in the layer views",
    )
    eyes_across: int = Field(3, ge=1, le=50, description="Eye positions over the width of a window")
    target_spacing: Length = Field(
        1.0, ge=0.05, le=20, description="Distance between the points of a place that are looked at"
    )
    needed_share: float = Field(
        0.90,
        gt=0,
        le=1,
        description="Share of the rays through each stretch of the line that the needed height stops",
    )
    needed_step: Length = Field(
        1.0, ge=0.1, le=20, description="Length of the stretches for which it is told"
    )
    missing_year: int = Field(
        10,
        ge=0,
        le=LAST_YEAR,
        description="Year in which the views are looked at with one plant missing at a time",
    )
    onlooker_spacing: Length = Field(
        5.0, ge=0.5, le=100, description="Distance between the eyes of people who walk along a line"
    )
    onlooker_reach: Length = Field(
        60.0, gt=0, le=500, description="People out of doors farther away than this do not count"
    )


class Limits(Section):
    """Limits on what the screen does to others. Shipped ones are examples: confirm them locally."""

    file: Path | None = Field(
        None,
        description="A rule file of your own; its limits replace shipped ones of the same key",
    )
    rules: dict[str, dict[str, Any]] = Field(
        default_factory=dict, description="Changes to single limits, by key"
    )


class Light(Section):
    """Sun and light of the sky that the row takes."""

    time_zone: str = Field(
        "UTC", description="Name of the site's time zone, such as Europe/Berlin or America/Chicago"
    )
    calendar_year: int = Field(
        2027, ge=1950, le=2100, description="Year whose sun and daylight saving are taken"
    )
    days: int = Field(
        1, ge=1, le=31, description="Days that stand for each month; 31 takes every day"
    )
    step: int = Field(
        30,
        ge=1,
        le=240,
        description="Steps of the sun in minutes: each change between sun and shade is placed to within half a step",
    )
    cell: Length = Field(
        2.0, ge=0.25, le=20, description="Size of the cells of the sun-hours raster"
    )
    reach: Length = Field(
        30.0, gt=0, le=500, description="Ground farther from the rows is not looked at"
    )
    most_sun_lost: float | None = Field(
        None,
        ge=0,
        le=1,
        description="Share of a year's sun hours that a neighbour's window or garden, a panel or a bed may lose; without it only the loss is told",
    )
    most_sky_lost: float | None = Field(
        None,
        ge=0,
        le=1,
        description="Share of an overcast sky's light that a neighbour's window may lose; a fifth is held to be noticed (memory, unverified)",
    )
    hedge_guidance: bool = Field(
        False,
        description="Whether the published guidance on hedge height (England and Wales) is held against the rows",
    )


class Road(Section):
    """Sight at drives and corners."""

    drive: str = Field(
        "drive_10ft",
        description="Sight triangle at drives; screenplan rules lists those that there are",
    )
    corner: str = Field("corner_25ft", description="Sight triangle where two roads meet")


class Lines(Section):
    """Wires above, pipes and cables below, and walls beside the plants."""

    wires: str = Field(
        "wires_15_65ft",
        description="Heights allowed near overhead lines; published zonings disagree",
    )
    allowance: Length | None = Field(
        None,
        ge=0,
        le=30,
        description="Room that the sag and swing of a wire take, as its owner states it",
    )
    locate: str = Field(
        "locate_24in", description="Zone about buried lines in which nothing is dug but by hand"
    )
    walls: str = Field("walls_by_height", description="Heights allowed near walls")


class Boundary(Section):
    """Crowns and heights at the boundary line."""

    most_height: Length | None = Field(
        None, gt=0, le=HIGHEST_PLANT_M, description="Height that plants at the boundary may have"
    )
    within: Length = Field(
        2.0, ge=0, le=50, description="Distance from the boundary within which that height holds"
    )


class Noise(Section):
    """Noise of roads: what foliage takes away, which for one row is nothing."""

    wanted: float | None = Field(
        None, gt=0, le=30, description="Reduction that is hoped for, dB at 500 Hz"
    )


class Health(Section):
    """What can befall the plants."""

    most_of_one_species: float | None = Field(
        None, gt=0, le=1, description="Share of all plants that one species may make up"
    )
    most_of_one_genus: float | None = Field(
        None, gt=0, le=1, description="Share of all plants that one genus may make up"
    )
    zone: int | None = Field(None, ge=1, le=13, description="Hardiness zone of the site")
    exposed_to: tuple[Literal["browse", "salt", "shade", "wet"], ...] = Field(
        (), description="What plants must stand here: of browse, salt, shade, wet"
    )


class Hand(Section):
    """Plants or money in hand."""

    plants: int | None = Field(
        None, ge=1, le=1_000_000, description="Plants that you have or are offered"
    )
    budget: float | None = Field(None, gt=0, description="Money for plants, in your currency")
    prices: dict[str, float] = Field(
        default_factory=dict, description='Price of one plant by its height, such as "0.6 m" = 9.50'
    )


class StakeOut(Section):
    """How the rows are staked out."""

    tape: Length = Field(50.0, ge=5, le=200, description="Length of the tape")
    mark: str = Field(
        "pink flag",
        description="Flag or paint that marks a plant, and its colour; red, yellow, orange, blue and green are those of people who mark buried lines",
    )
    measured: tuple[tuple[Identifier, Identifier, Length], ...] = Field(
        (),
        description='Distances that you measured between names on the sheet, such as [["A", "P1", "12.35 m"]]; the stake-out is fitted to them',
    )


class Works(Section):
    """Quantities: plants to order, holes, mulch, water."""

    losses: float = Field(
        0.05, ge=0, le=1, description="Share of plants that is ordered beyond those that are set"
    )
    hole_factor: float = Field(
        2.5, ge=1, le=5, description="Width of a hole per width of the root ball"
    )
    strip: Length = Field(
        1.0, ge=0.1, le=10, description="Width of the strip that is cleared along each row"
    )
    mulch: Literal["strip", "ring", "none"] = Field(
        "strip", description="Mulch over the cleared strip, in a ring round each plant, or none"
    )
    mulch_depth: Length = Field(0.075, ge=0, le=0.15, description="Depth of the mulch")
    mulch_clear: Length = Field(
        0.1, ge=0, le=0.5, description="How far mulch is kept off each stem"
    )
    ring: Length = Field(0.9, ge=0.2, le=5, description="Width of a mulch ring")
    mulch_bag: Volume = Field(
        0.05, ge=0.001, le=2, description='What a bag of mulch holds, such as "2 cu ft" or "50 l"'
    )
    caliper: Length | None = Field(
        None,
        ge=0.002,
        le=0.3,
        description="Thickness of the stems, if you measured it: the published water rule goes by it",
    )
    water_every: Literal[2, 3] = Field(
        2, description="Days between waterings in weeks 3 to 12; every 2 to 3 days is published"
    )


class Fence(Section):
    """A fence against browsing animals."""

    scheme: Literal["none", "perimeter", "outer_side", "inner_side", "cages"] = Field(
        "none",
        description="Round the planting, along the side of the boundary or the inner side, or a cage for each plant",
    )
    animal: Literal["deer", "rabbit", "livestock"] = Field(
        "deer", description="The animal that it is against"
    )
    height: Length | None = Field(
        None, ge=0.2, le=4, description="Its height; by default what keeps most of the animals out"
    )
    years: int | None = Field(
        None,
        ge=1,
        le=20,
        description="Years that it must stand; by default until slow plants are above the animal's reach",
    )
    post_spacing: Length = Field(
        4.2672, ge=0.5, le=30, description="Greatest distance of line posts; 14 ft for woven wire"
    )
    brace_every: Length = Field(
        100.584, ge=5, le=1000, description="Greatest distance of brace assemblies; 330 ft"
    )
    clearance: Length = Field(
        0.3, ge=0, le=5, description="Between the wire and the crowns of its last year"
    )
    boundary: Length = Field(0.3, ge=0, le=20, description="Between the wire and the boundary")
    gates: int = Field(1, ge=0, le=10, description="Gates in each closed fence")
    gate_width: Length = Field(1.2, ge=0.5, le=10, description="Clear width of a gate")
    roll: Length = Field(100.0, ge=1, le=1000, description="Wire or mesh on a roll")
    cage: Length | None = Field(
        None, ge=0.2, le=10, description="Width of a cage; by default what the crowns need"
    )


class Calendar(Section):
    """When the work is done."""

    planting: Day | None = Field(
        None, description="Day of planting, such as 2027-04-10; without it days are counted"
    )


class Cost(Section):
    """Your own prices and rates, in your currency; without them there are quantities only."""

    prices: dict[str, float] = Field(
        default_factory=dict,
        description="Price of one by item of the table quantities, such as { plant = 42.0, mulch = 4.5 }",
    )
    hours: dict[str, float] = Field(
        default_factory=dict,
        description="Hours of work for one by item, such as { hole = 0.5, flag = 0.05 }",
    )
    hour: float | None = Field(None, ge=0, le=10000, description="Price of an hour of work")


class Alternatives(Section):
    """What the plan is compared with, side by side: every combination of what is listed."""

    species: tuple[str, ...] = Field((), description="Other species")
    stock: tuple[Literal["plug", "bare_root", "container", "balled"], ...] = Field(
        (), description="Other kinds of stock"
    )
    stock_heights: tuple[Length, ...] = Field((), description="Other heights of stock")
    spacings: tuple[Length, ...] = Field((), description="Other spacings")
    rows: tuple[Literal[1, 2], ...] = Field((), description="Other numbers of rows")

    @property
    def asked(self) -> bool:
        """True if anything is listed."""
        return any(getattr(self, name) for name in type(self).model_fields)


class Goal(Section):
    """What the plan must reach; a plan that misses it ends with exit code 1."""

    closed_by: int | None = Field(
        None,
        ge=0,
        le=LAST_YEAR,
        description="Year by which the views should be closed, typical growth",
    )
    share: float = Field(
        1.0,
        gt=0,
        le=1,
        description="Share of the views (weighted by place) that should be closed by then",
    )


#: Sections in the order in which a person meets them, and the class of each.
SECTIONS: dict[str, type[Section]] = {
    "plan": About, "subject": Subject, "site": Where, "sides": Sides, "windows": Windows, "places": Places,
    "setbacks": Setbacks, "rows": Rows, "plants": Plants, "growth": Growth, "views": Views, "hand": Hand, "goal": Goal,
    "stakeout": StakeOut, "works": Works, "fence": Fence, "calendar": Calendar, "cost": Cost, "alternatives": Alternatives,
    "limits": Limits, "light": Light, "road": Road, "lines": Lines, "boundary": Boundary, "noise": Noise, "health": Health,
}  # fmt: skip


class Plan(Section):
    """A plan: which layers are read, which rules hold, what is chosen."""

    plan: About = About()
    subject: Subject = Subject()
    layers: dict[str, LayerSource] = Field(default_factory=dict)
    terrain: Ground | None = None
    site: Where = Where()
    sides: Sides = Sides()
    windows: Windows = Windows()
    places: Places = Places()
    setbacks: Setbacks = Setbacks()
    rows: Rows = Rows()
    plants: Plants = Plants()
    growth: Growth = Growth()
    views: Views = Views()
    hand: Hand = Hand()
    goal: Goal = Goal()
    stakeout: StakeOut = StakeOut()
    works: Works = Works()
    fence: Fence = Fence()
    calendar: Calendar = Calendar()
    cost: Cost = Cost()
    alternatives: Alternatives = Alternatives()
    limits: Limits = Limits()
    light: Light = Light()
    road: Road = Road()
    lines: Lines = Lines()
    boundary: Boundary = Boundary()
    noise: Noise = Noise()
    health: Health = Health()
    species: dict[str, dict[str, Any]] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _layers_are_known(self):
        for name in self.layers:
            if name not in INPUTS:
                raise ValueError(
                    f"layers.{name} is not a layer of a plan. {_instead(name, INPUTS)}"
                )
        if "parcels" not in self.layers:
            raise ValueError(
                "layers.parcels is missing. Name the file that holds the parcel, "
                "or let 'screenplan start' make one from corners or a track"
            )
        return self

    def value(self, key: str) -> Any:
        """Give the value of a key such as ``rows.spacing`` (lengths in metres)."""
        section, name = key.split(".")
        return getattr(getattr(self, section), name)


def key_field(key: str):
    """Give the pydantic field of a key such as ``rows.spacing``: default, range and help.

    Raises
    ------
    KeyError
        If there is no such key.
    """
    section, name = key.split(".")
    return SECTIONS[section].model_fields[name]


def is_length(key: str) -> bool:
    """Tell whether a key's value is a length, written with its unit."""
    return _read_by(key, _length)


def is_volume(key: str) -> bool:
    """Tell whether a key's value is a volume, written with its unit."""
    return _read_by(key, _volume)


def _read_by(key: str, reader) -> bool:
    field = key_field(key)
    marks = list(field.metadata)
    either = get_origin(field.annotation) in (Union, UnionType)
    for argument in get_args(field.annotation) if either else ():
        marks += getattr(argument, "__metadata__", ())
    return any(isinstance(mark, BeforeValidator) and mark.func is reader for mark in marks)


def read_plan(path: Path | str, settings: Sequence[str] = ()) -> tuple[Plan, Path]:
    """Read a plan file.

    Parameters
    ----------
    path : path
        A TOML file.
    settings : sequence of str
        ``KEY=VALUE``, such as ``rows.spacing="5 ft"``: values that replace those of the file.

    Returns
    -------
    plan : Plan
    folder : Path
        The folder to which the plan's paths are relative.

    Raises
    ------
    InputError
        If it is missing, is no TOML, or a key or value is wrong; every wrong key is listed.
    """
    path = Path(path)
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise refuse(
            "there is no such plan file",
            "Check the path, or make one with 'screenplan start'",
            file=str(path),
        ) from None
    except IsADirectoryError:
        raise refuse(
            "this is a folder, not a plan file", "Name the .toml file in it", file=str(path)
        ) from None
    except UnicodeDecodeError:
        raise refuse(
            "the plan file is not UTF-8 text", "Save it as UTF-8 in your editor", file=str(path)
        ) from None
    except OSError as error:
        raise refuse(
            f"the plan file cannot be read ({error.strerror})",
            "Check its permissions",
            file=str(path),
        ) from None
    try:
        content = tomllib.loads(text.removeprefix("\ufeff"))
    except tomllib.TOMLDecodeError as error:
        raise refuse(
            f"the plan file is not valid TOML: {error}",
            "Mend that line: text stands in quotes, and a key stands only once",
            file=str(path),
        ) from None
    for setting in settings:
        _put(content, setting)
    return check_plan(content, file=str(path)), path.resolve().parent


def _put(content: dict[str, Any], setting: str) -> None:
    """Put one ``KEY=VALUE`` into a plan's content; a value that is no TOML is text."""
    key, equals, text = setting.partition("=")
    section, dot, name = key.strip().partition(".")
    if not (equals and dot):
        raise refuse(f"--set {setting} sets no key", 'Write KEY=VALUE, such as rows.spacing="5 ft"')
    try:
        value = tomllib.loads(f"value = {text}")["value"]
    except tomllib.TOMLDecodeError:
        value = text.strip()
    table = content.setdefault(section, {})
    if not isinstance(table, dict):
        raise refuse(f"{section} is not a section of the plan", "Write it as a table, [section]")
    table[name] = value


def check_plan(content: dict[str, Any], file: str | None = None) -> Plan:
    """Turn the content of a plan file into a `Plan`.

    Raises
    ------
    InputError
        With one problem for each wrong key.
    """
    try:
        return Plan.model_validate(content)
    except ValidationError as error:
        raise InputError(_say(item, file) for item in error.errors()) from None


def _say(item: dict[str, Any], file: str | None) -> Problem:
    """Put one finding of the validator into our words."""
    place = [str(part) for part in item["loc"]]
    key = ".".join(place)
    kind, context = item["type"], item.get("ctx", {})
    value = item.get("input")
    if kind == "value_error":
        what, _, mend = str(context["error"]).partition(". ")
        return Problem(what, mend or "Correct it", file=file, key=key or None)
    if kind == "extra_forbidden":
        known = (
            SECTIONS[place[0]].model_fields
            if len(place) > 1 and place[0] in SECTIONS
            else (
                LayerSource.model_fields
                if place[0] == "layers"
                else Ground.model_fields
                if place[0] == "terrain" and len(place) > 1
                else Plan.model_fields
            )
        )
        return Problem("there is no such key", _instead(place[-1], known), file=file, key=key)
    if kind == "missing":
        return Problem("this key is missing", "Add it", file=file, key=key)
    if kind in ("greater_than", "greater_than_equal", "less_than", "less_than_equal"):
        limit = next(iter(context.values()))
        word = {
            "greater_than": "more than",
            "greater_than_equal": "at least",
            "less_than": "less than",
            "less_than_equal": "at most",
        }[kind]
        section_key = ".".join(place[:2])
        unit = " m" if place[0] in SECTIONS and is_length(section_key) else ""
        return Problem(
            f"{value!r} is out of range", f"Give {word} {limit:g}{unit}", file=file, key=key
        )
    if kind == "literal_error":
        return Problem(
            f"{value!r} is not one of the choices",
            f"Write {context['expected']}",
            file=file,
            key=key,
        )
    message = item["msg"][0].lower() + item["msg"][1:]
    return Problem(
        f"{value!r} does not fit: {message}",
        "Correct the value; 'screenplan keys' lists every key with its range",
        file=file,
        key=key,
    )


def _instead(name: str, known) -> str:
    close = difflib.get_close_matches(name, list(known), n=1)
    return f"Did you mean {close[0]}?" if close else f"Write one of {', '.join(known)}"
