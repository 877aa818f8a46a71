"""All sections of a plan, and the fields of its keys."""

from __future__ import annotations

from types import UnionType
from typing import Annotated, Any, Literal, Self, Union, get_args, get_origin

from pydantic import (
    BeforeValidator,
    Field,
    PrivateAttr,
    ValidationInfo,
    model_validator,
)
from pydantic.fields import FieldInfo

from screenplan.contracts import INPUTS
from screenplan.ground.errors import InputError
from screenplan.plan.climate import Climate
from screenplan.plan.county import County
from screenplan.plan.design import Design
from screenplan.plan.effects import Boundary, Health, Light, Limits, Lines, Noise, Road
from screenplan.plan.instead import Instead
from screenplan.plan.places import placed_error
from screenplan.plan.planting import Chance, Goal, Growth, Hand, KeptSize, Plants, Rows, Views
from screenplan.plan.quote import Quote
from screenplan.plan.site import (
    About,
    Ground,
    LayerSource,
    Places,
    Setbacks,
    Sides,
    Subject,
    Where,
    Windows,
)
from screenplan.plan.street import Street
from screenplan.plan.tape import Tape
from screenplan.plan.values import (
    Section,
    WrongError,
    instead_of,
    read_length,
    read_texts,
    read_volume,
)
from screenplan.plan.works import (
    Alternatives,
    Browsing,
    Calendar,
    Cost,
    Crew,
    Fence,
    StakeOut,
    Weeds,
    Works,
)

#: Year by which the chance is told where nothing else is asked, as in `views.missing_year`.
USUAL_CHANCE_YEAR = 10


class Options(Section):
    """All that a plan may choose: its sections in the order in which a person meets them, and species.

    The steps take it whole, and read of it the keys that `screenplan.STEPS` names. It is written
    as a plan file is: lengths carry their unit.

    Examples
    --------
    >>> chosen = Options(rows={"spacing": "4 ft"})
    >>> chosen.rows.spacing, chosen.rows.fit
    (1.2192, 'evened')
    """

    plan: About = About()
    subject: Subject = Subject()
    street: Street = Street()
    site: Where = Where()
    sides: Sides = Sides()
    windows: Windows = Windows()
    places: Places = Places()
    setbacks: Setbacks = Setbacks()
    rows: Rows = Rows()
    plants: Plants = Plants()
    kept: KeptSize = KeptSize()
    growth: Growth = Growth()
    views: Views = Views()
    hand: Hand = Hand()
    goal: Goal = Goal()
    chance: Chance = Chance()
    design: Design = Design()
    stakeout: StakeOut = StakeOut()
    works: Works = Works()
    weeds: Weeds = Weeds()
    fence: Fence = Fence()
    browsing: Browsing = Browsing()
    calendar: Calendar = Calendar()
    climate: Climate = Climate()
    crew: Crew = Crew()
    cost: Cost = Cost()
    quote: Quote = Quote()
    alternatives: Alternatives = Alternatives()
    instead: Instead = Instead()
    limits: Limits = Limits()
    light: Light = Light()
    road: Road = Road()
    lines: Lines = Lines()
    boundary: Boundary = Boundary()
    noise: Noise = Noise()
    health: Health = Health()
    county: County = County()
    species: dict[str, dict[str, Any]] = Field(default_factory=dict)

    #: The file that it was read from, for refusals.
    _file: str | None = PrivateAttr(None)
    #: Keys whose values replace those of the file.
    _set_keys: tuple[str, ...] = PrivateAttr(())

    @property
    def file(self) -> str | None:
        """The file that it was read from, as it was named; None if it was read from none."""
        return self._file

    def placed(self, error: InputError) -> InputError:
        """Name the file of the plan, or that a setting replaced its value, where a refusal names a key of it."""
        return placed_error(error, PLAN_TABLES, self._file, self._set_keys)

    @model_validator(mode="after")
    def _years_are_looked_at(self):
        """Leave later years out of the defaults; refuse those that a person wrote."""
        last = self.growth.years
        for section, name in (("views", "report_years"), ("growth", "show_years")):
            table = getattr(self, section)
            years = getattr(table, name)
            within = tuple(year for year in years if year <= last)
            if within == years:
                continue
            if name in table.model_fields_set:
                raise WrongError(
                    f"year {max(years)} is after the last one that is looked at, growth.years = {last}",
                    f"Give years up to {last}, or raise growth.years",
                    table.key(name),
                )
            # Frozen: nobody else changes a plan.
            object.__setattr__(self, section, table.model_copy(update={name: within}))
        return self

    @model_validator(mode="after")
    def _chance_is_looked_at(self):
        year, last = self.chance.year, self.growth.years
        if year is not None and year > last:
            raise WrongError(
                f"year {year} is after the last one that is looked at, growth.years = {last}",
                f"Give a year up to {last}, or raise growth.years",
                self.chance.key("year"),
            )
        return self

    @property
    def chance_year(self) -> int:
        """Year by which the chance is told that a view is closed: that of the design or the goal, or year 10."""
        designed, wanted = self.design.year, self.design.wanted
        asked = (
            self.chance.year,
            designed if wanted else None,
            self.goal.closed_by,
            USUAL_CHANCE_YEAR,
        )
        return min(next(year for year in asked if year is not None), self.growth.years)

    def without_draws(self) -> Self:
        """Give the same plan with nothing drawn, for steps that follow views for their typical years alone."""
        return self.model_copy(update={"chance": Chance(draws=0)})

    def about(self, parcel_id: str | None = None, point: tuple[float, float] | None = None) -> Self:
        """Give the same plan for another subject; with neither, this one."""
        if parcel_id is None and point is None:
            return self
        return self.model_copy(
            update={"subject": Subject.model_construct(id=parcel_id, point=point)}
        )

    def value(self, key: str) -> Any:
        """Give the value of a key such as ``rows.spacing`` (lengths in metres)."""
        section, name = key.split(".")
        return getattr(getattr(self, section), name)


#: What a step goes by that is handed no plan.
DEFAULTS = Options()

#: The class of each section.
SECTIONS: dict[str, type[Section]] = {
    name: type(getattr(DEFAULTS, name)) for name in Options.model_fields if name != "species"
}


class Plan(Options):
    """A plan: which layers are read, which rules hold, what is chosen."""

    layers: dict[str, LayerSource] = Field(default_factory=dict)
    terrain: Ground | None = None
    tape: Tape | None = None

    @model_validator(mode="after")
    def _layers_are_known(self, info: ValidationInfo):
        for name in self.layers:
            if name not in INPUTS:
                raise WrongError(
                    f"layers.{name} is not a layer of a plan", instead_of(name, INPUTS)
                )
        given = (info.context or {}).get("given", ())
        if self.tape is not None:
            self._check_tape(self.tape, {*self.layers, *given})
            return self
        if not {"parcels", "planting_line"} & {*self.layers, *given}:
            raise WrongError(
                "layers.parcels is missing",
                "Name the file that holds the parcel, or let 'screenplan start' make one from "
                "corners or a track, or a row from a length",
            )
        return self

    def _check_tape(self, tape: Tape, given: set[str]) -> None:
        """Refuse what is given by tape and once more."""
        if tape.side is not None and "parcels" not in given:
            raise WrongError(
                "tape.side names a side of the parcel, and no parcel is given",
                "Give layers.parcels, or tape.length instead of tape.side",
                "tape.side",
            )
        for name in ("parcels", "planting_line") if tape.side is None else ():
            if name in given:
                raise WrongError(
                    f"the line is given by tape.length, and layers.{name} is given too",
                    'Keep one of them; what was measured from a side of the parcel takes side = "north" '
                    "in the place of length",
                    "tape.length",
                )
        for name in tape.measured:
            if name in self.layers:
                raise WrongError(
                    f"tape.{name} and layers.{name} are both given",
                    "Keep one of them, with all of its rows",
                    f"tape.{name}",
                )
        if self.terrain is not None and any(
            row.ground for rows in tape.measured.values() for row in rows
        ):
            raise WrongError(
                "the ground is given by the terrain and by tape",
                "Leave ground out of the rows under tape: the terrain tells it",
                "tape",
            )


#: What a key of a plan begins with.
PLAN_TABLES = frozenset(Plan.model_fields)


def key_field(key: str) -> FieldInfo:
    """Give the pydantic field of a key such as ``rows.spacing``: default, range and help.

    Raises
    ------
    KeyError
        If there is no such key.
    """
    section, name = key.split(".")
    return SECTIONS[section].model_fields[name]


def key_limits(key: str) -> dict[str, float]:
    """Give the range of a key: those of ``ge``, ``gt``, ``le`` and ``lt`` that it has."""
    return _limits(key_field(key).metadata)


def entry_limits(key: str) -> dict[str, float]:
    """Give the range of the entries of a list or table; empty if they have none."""
    return _limits(_entry_marks(key))


def has_lengths(key: str) -> bool:
    """Tell whether a list holds lengths, written with their unit."""
    return any(
        isinstance(mark, BeforeValidator) and mark.func is read_length for mark in _entry_marks(key)
    )


def _entry_marks(key: str) -> tuple[Any, ...]:
    """Give what the type of a list's or table's entries says besides the type."""
    annotation = key_field(key).annotation
    entry = next((part for part in reversed(get_args(annotation)) if part is not Ellipsis), None)
    if get_origin(entry) is tuple:  # a list of lists: its last column is the amount
        entry = get_args(entry)[-1]
    return get_args(entry)[1:] if get_origin(entry) is Annotated else ()


def _limits(marks) -> dict[str, float]:
    found: dict[str, float] = {}
    for mark in marks:
        inner = getattr(mark, "metadata", None)  # a range may stand in a field of its own
        found |= _limits(inner) if inner else {}
        for name in ("ge", "gt", "le", "lt"):
            if (limit := getattr(mark, name, None)) is not None:
                found[name] = limit
    return found


def key_choices(key: str) -> tuple[Any, ...]:
    """Give the choices of a key; empty if it is no choice."""
    annotation = key_field(key).annotation
    return get_args(annotation) if get_origin(annotation) is Literal else ()


def is_length(key: str) -> bool:
    """Tell whether a key's value is a length, written with its unit."""
    return _read_by(key, read_length)


def is_volume(key: str) -> bool:
    """Tell whether a key's value is a volume, written with its unit."""
    return _read_by(key, read_volume)


def is_texts(key: str) -> bool:
    """Tell whether a key's value is one text, or a list of them."""
    return _read_by(key, read_texts)


def _read_by(key: str, reader) -> bool:
    field = key_field(key)
    marks = list(field.metadata)
    either = get_origin(field.annotation) in (Union, UnionType)
    for argument in get_args(field.annotation) if either else ():
        marks += getattr(argument, "__metadata__", ())
    return any(isinstance(mark, BeforeValidator) and mark.func is reader for mark in marks)
