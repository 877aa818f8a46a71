"""How values of a plan are written: lengths with units, volumes, days; the table that holds them."""

from __future__ import annotations

import datetime as dt
import difflib
from typing import Annotated, Any

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
)

from screenplan.errors import InputError
from screenplan.units import parse_length, parse_volume

#: The last year that is ever computed; the kernel keeps a bit for each.
LAST_YEAR = 60


def read_length(value: Any) -> Any:
    """Turn a written length into metres; pydantic reports the sentence of a refusal."""
    if value is None:
        return None
    try:
        return parse_length(value)
    except InputError as error:
        problem = error.problems[0]
        raise ValueError(f"{problem.what}. {problem.mend}") from None


def read_identifier(value: Any) -> Any:
    """Let an identifier be written as a number."""
    return str(value) if isinstance(value, int) and not isinstance(value, bool) else value


def read_volume(value: Any) -> Any:
    """Turn a written volume into cubic metres; a bare number is refused, as for lengths."""
    try:
        return parse_volume(value)
    except InputError as error:
        problem = error.problems[0]
        raise ValueError(f"{problem.what}. {problem.mend}") from None


def read_day(value: Any) -> Any:
    """Let a day be written as TOML's own date or as text."""
    try:
        return (value if isinstance(value, dt.date) else dt.date.fromisoformat(value)).isoformat()
    except (TypeError, ValueError):
        raise ValueError(f"{value!r} is not a date. Write it as 2027-04-10") from None


#: Types of values that are read as people write them.
Length = Annotated[float, BeforeValidator(read_length)]
Volume = Annotated[float, BeforeValidator(read_volume)]
Day = Annotated[str, BeforeValidator(read_day)]
Identifier = Annotated[str, BeforeValidator(read_identifier)]


class Section(BaseModel):
    """A table of the plan file; an unknown key is refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


def instead_of(name: str, known) -> str:
    """Say what may have been meant by a name that is not known."""
    close = difflib.get_close_matches(name, list(known), n=1)
    return f"Did you mean {close[0]}?" if close else f"Write one of {', '.join(known)}"
