"""How values of a plan are written: lengths with units, volumes, days; the table that holds them."""

from __future__ import annotations

import datetime as dt
import difflib
import math
from pathlib import Path
from typing import Annotated, Any, ClassVar, get_args

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationInfo,
    ValidatorFunctionWrapHandler,
    WrapValidator,
    field_validator,
)

from screenplan.contracts import HIGHEST_PLANT_M, HIGHEST_PRICE
from screenplan.ground.errors import InputError
from screenplan.ground.paths import check_path
from screenplan.ground.texts import quoted
from screenplan.ground.units import parse_length, parse_volume

#: The last year that is ever computed; the kernel keeps a bit for each.
LAST_YEAR = 60
#: Letters of a name that are looked at for what may have been meant.
LONGEST_NAME = 60
#: Names that a person still reads; of more the command that lists them is told.
MOST_LISTED = 20
#: More kinds than are ever mixed in one row.
MOST_TEXTS = 20
#: More than anybody has for plants, in any currency that is in use.
MOST_MONEY = 1e9


class WrongError(ValueError):
    """A value that cannot be meant: what is wrong, and the remedy.

    The validator hands it on, so that a full stop in a quoted value does not cut the sentence.
    """

    def __init__(self, what: str, mend: str, key: str | None = None):
        super().__init__(what)
        self.what, self.mend, self.key = what, mend, key

    @classmethod
    def of(cls, error: InputError) -> WrongError:
        """Take over the first problem of a refusal."""
        return cls(error.problems[0].what, error.problems[0].mend)


def read_length(value: Any) -> Any:
    """Turn a written length into metres; pydantic reports the sentence of a refusal."""
    if value is None:
        return None
    try:
        return parse_length(value)
    except InputError as error:
        raise WrongError.of(error) from None


def read_identifier(value: Any) -> Any:
    """Let an identifier be written as a number."""
    return str(value) if isinstance(value, int) and not isinstance(value, bool) else value


def read_volume(value: Any) -> Any:
    """Turn a written volume into cubic metres; a bare number is refused, as for lengths."""
    try:
        return parse_volume(value)
    except InputError as error:
        raise WrongError.of(error) from None


def read_day(value: Any) -> Any:
    """Let a day be written as TOML's own date or as text."""
    try:
        return (value if isinstance(value, dt.date) else dt.date.fromisoformat(value)).isoformat()
    except (TypeError, ValueError):
        raise WrongError(f"{quoted(value)} is not a date", "Write it as 2027-04-10") from None


def read_path(value: Path) -> Path:
    """Refuse a path that no file can have."""
    try:
        check_path(value)
    except InputError as error:
        raise WrongError.of(error) from None
    return value


def read_texts(value: Any) -> Any:
    """Let one text, or a list of them, be written; a list of one is that one."""
    if isinstance(value, str):
        return value
    if not (isinstance(value, (list, tuple)) and all(isinstance(part, str) for part in value)):
        raise WrongError(
            f"{quoted(value)} is neither a text nor a list of texts",
            'Write "one", or ["one", "other"]',
        )
    if not 1 <= len(value) <= MOST_TEXTS:
        raise WrongError(f"{len(value)} are listed", f"List 1 to {MOST_TEXTS}")
    return value[0] if len(value) == 1 else tuple(value)


def read_flag(value: Any) -> bool:
    """Take yes or no; pydantic would take a number or a text for it."""
    if not isinstance(value, bool):
        raise WrongError(
            f"{quoted(value)} is neither true nor false", "Write true or false, without quotes"
        )
    return value


def read_number(value: Any) -> Any:
    """Take a number; pydantic would take yes, no or a text for it."""
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not _finite(value):
        raise WrongError(f"{quoted(value)} is not a number", "Write a number, without quotes")
    return value


def _finite(value: float) -> bool:
    return isinstance(value, int) or math.isfinite(value)


def read_whole(value: Any) -> Any:
    """Take a whole number."""
    if read_number(value) != int(value):
        raise WrongError(f"{quoted(value)} is not a whole number", "Write a whole number")
    return int(value)


def read_words(value: Any) -> str:
    """Take a text that says something."""
    if not isinstance(value, str) or not value.strip():
        raise WrongError(f"{quoted(value)} is not a text", "Write a few words in quotes")
    return value.strip()


def read_one(value: Any) -> Any:
    """Take a single value, for a whole column."""
    if isinstance(value, str) or (isinstance(value, (int, float)) and _finite(value)):
        return value
    raise WrongError(
        f"{quoted(value)} does not fit: one value for all rows is a text, a number, true or false",
        "Correct the value",
    )


def rising(*words: str) -> WrapValidator:
    """Hold a list to an entry for each of the words, none smaller than the one before."""
    called = f"{', '.join(words[:-1])} and {words[-1]}"

    def in_order(values: Any, read: ValidatorFunctionWrapHandler) -> tuple:
        if not isinstance(values, (list, tuple)) or len(values) != len(words):
            raise WrongError(
                f"{quoted(values)} is not a list of {len(words)}", f"Write {called} as a list"
            )
        numbers = read(tuple(values))
        if list(numbers) != sorted(numbers):
            raise WrongError(f"{quoted(list(numbers))} is not in rising order", f"Write {called}")
        return numbers

    return WrapValidator(in_order)


def once_each(values: tuple) -> tuple:
    """Leave out what is listed again."""
    return tuple(dict.fromkeys(values))


#: Types of values that are read as people write them.
Length = Annotated[float, BeforeValidator(read_length)]
PlantHeight = Annotated[Length, Field(gt=0, le=HIGHEST_PLANT_M)]
Texts = Annotated[str | tuple[str, ...], BeforeValidator(read_texts)]
Volume = Annotated[float, BeforeValidator(read_volume)]
Day = Annotated[str, BeforeValidator(read_day)]
Identifier = Annotated[str, BeforeValidator(read_identifier)]
File = Annotated[Path, AfterValidator(read_path)]
Flag = Annotated[bool, BeforeValidator(read_flag)]
Number = Annotated[float, BeforeValidator(read_number)]
Whole = Annotated[int, BeforeValidator(read_whole)]
Words = Annotated[str, BeforeValidator(read_words)]
Single = Annotated[str | float | int | bool, BeforeValidator(read_one)]
Degrees = Annotated[float, Field(strict=True)]
Money = Annotated[float, Field(strict=True, ge=0, le=HIGHEST_PRICE)]
#: Years since planting, at least one.
Years = Annotated[
    tuple[Annotated[int, Field(strict=True, ge=0, le=LAST_YEAR)], ...],
    Field(min_length=1),
    AfterValidator(once_each),
]


class Section(BaseModel):
    """A table of the plan file; an unknown key is refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)
    #: What the table is called in a plan file; by default the class's own name.
    called: ClassVar[str] = ""

    def __init_subclass__(cls, **kwargs: Any):
        super().__init_subclass__(**kwargs)
        cls.called = vars(cls).get("called") or cls.__name__.lower()

    @classmethod
    def key(cls, name: str) -> str:
        """Give the key of a field, for a refusal: ``Rows.key("spacing")`` is ``rows.spacing``.

        Raises
        ------
        KeyError
            If the section has no such field.
        """
        if name not in cls.model_fields:
            raise KeyError(f"[{cls.called}] has no key {name}")
        return f"{cls.called}.{name}"

    @field_validator("*", mode="before")
    @classmethod
    def _of_its_kind(cls, value: Any, info: ValidationInfo) -> Any:
        """Refuse yes or no for a number, and a number or a text for yes or no: pydantic turns them."""
        field = cls.model_fields[f"{info.field_name}"]
        kinds = {field.annotation, *get_args(field.annotation)} & {bool, int, float}
        if not kinds or any(isinstance(mark, BeforeValidator) for mark in field.metadata):
            return value
        if bool in kinds:
            return read_flag(value)
        return read_number(value) if isinstance(value, (bool, str)) else value


def key_of(name: str) -> str:
    """Give the key under which a field is written: ``margin`` for ``margin_m``, ``latin`` for ``latin_name``."""
    return name if name.endswith("_per_m") else name.removesuffix("_m").removesuffix("_name")


#: A table that is read into a dataclass: keys as `key_of` gives them, and no others.
TABLE = ConfigDict(extra="forbid", allow_inf_nan=False, alias_generator=key_of)


def instead_of(name: str, known, listed_by: str = "") -> str:
    """Say what may have been meant by a name that is not known.

    Where there are too many to be read, ``listed_by`` is the command that lists them.
    """
    close = difflib.get_close_matches(name[:LONGEST_NAME], list(known), n=1)
    if close:
        return f"Did you mean {close[0]}?"
    if listed_by and len(known) > MOST_LISTED:
        return f"Write one of those that `{listed_by}` lists"
    return f"Write one of {', '.join(known)}"
