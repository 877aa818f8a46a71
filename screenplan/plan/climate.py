"""The climate of the site, as mean values of its months: the user's own table, in the plan or in a file."""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, ValidationInfo, model_validator

from screenplan.ground.errors import InputError
from screenplan.ground.texts import quoted
from screenplan.ground.units import parse_temperature
from screenplan.plan.values import File, Length, Section, WrongError, read_length

_YEAR = 12
#: No month of any place is warmer in the mean, degrees Celsius: Furnace Creek, Death Valley, July 2018, 42.3
#: (a book of world records, read). None is colder than the lowest reading ever made, -89.2 at Vostok (the same, read).
HOTTEST_C, COLDEST_C = 42.3, -89.2
#: No twelve months have brought more rain, metres: Cherrapunji, August 1860 to July 1861 (World
#: Meteorological Organization, archive of extremes, read).
MOST_RAIN_M = 26.47
#: A file of twelve rows is smaller.
_LARGEST_BYTES = 100_000
#: How months are written, by their key.
_WRITTEN = {
    "temperature": '"4.5 C" or "40 F"', "lowest": '"4.5 C" or "40 F"', "highest": '"4.5 C" or "40 F"',
    "rain": '"60 mm" or "2.4 in"',
}  # fmt: skip


def read_temperature(value: Any) -> Any:
    """Turn a written temperature into degrees Celsius."""
    try:
        return parse_temperature(value)
    except InputError as error:
        raise WrongError.of(error) from None


#: Degrees Celsius, written with their unit.
Temperature = Annotated[float, BeforeValidator(read_temperature)]


def _read_months(values: Any, info: ValidationInfo) -> Any:
    """Refuse a list that is no year, in one sentence for all its months."""
    if not isinstance(values, (list, tuple)) or not values:
        return values
    if len(values) != _YEAR:
        raise WrongError(
            f"{len(values)} months are given", "Give 12 values, from January to December"
        )
    name = str(info.field_name)
    wrong = {month: said for month, value in enumerate(values, 1) if (said := _wrong(name, value))}
    if wrong:
        first, said = next(iter(wrong.items()))
        others = len(wrong) - 1
        more = f" (and {others} more {'month' if others == 1 else 'months'})" if others else ""
        raise WrongError(f"month {first}: {said}{more}", _how(name))
    return values


def _wrong(name: str, value: Any) -> str | None:
    """Say why a month's value cannot be read; None if it can."""
    try:
        (read_length if name == "rain" else read_temperature)(value)
    except WrongError as error:
        return error.what
    return None


def _how(name: str) -> str:
    return f"Write each month with its unit, such as {_WRITTEN[name]}"


#: Mean temperatures of the twelve months; none if they are not given.
_Year = Annotated[
    tuple[Annotated[Temperature, Field(ge=COLDEST_C, le=HOTTEST_C)], ...],
    BeforeValidator(_read_months),
]


class Climate(Section):
    """Monthly normals of the site's climate, from your weather service; without them the seasons go by latitude and zone."""

    temperature: _Year = Field(
        (),
        description='Mean temperatures of the twelve months, from January, such as ["-2 C", "0 C", …] or ["28 F", …]',
    )
    lowest: _Year = Field(
        (),
        description="Mean lowest temperatures of a day in the twelve months; with climate.highest what plants need follows both (Hargreaves 1985), and their middle is the mean where climate.temperature is not given",
    )
    highest: _Year = Field(
        (), description="Mean highest temperatures of a day in the twelve months"
    )
    rain: Annotated[
        tuple[Annotated[Length, Field(ge=0, le=MOST_RAIN_M)], ...], BeforeValidator(_read_months)
    ] = Field(
        (),
        description='Rain of the twelve months, from January, such as ["60 mm", "55 mm", …] or ["2.4 in", …]',
    )
    file: File | None = Field(
        None,
        description="Instead of these: a CSV file with the columns month (1 to 12) and temperature, lowest, highest or rain, values with their units",
    )

    @model_validator(mode="after")
    def _is_a_year(self, info: ValidationInfo):
        if self.file is not None:
            if any(getattr(self, name) for name in _WRITTEN):
                raise WrongError(
                    "the months are given in a file and in the plan", "Keep one of them", self.key("file")
                )  # fmt: skip
            folder = (info.context or {}).get("folder", ".")
            for name, values in _read_file(Path(folder) / self.file, self.key("file")).items():
                # Frozen: nobody else changes a plan.
                object.__setattr__(self, name, values)
        self._order_temperatures()
        if math.fsum(self.rain) > MOST_RAIN_M:
            raise WrongError(
                f"{{{math.fsum(self.rain):.1f} m}} of rain in a year are more than have ever fallen, {{{MOST_RAIN_M:g} m}}",
                "Look at the unit: rain of a month is mostly written in mm or in",
                self.key("file" if self.file is not None else "rain"),
            )
        return self

    def _order_temperatures(self) -> None:
        """Refuse lowest and highest temperatures that cannot be; let their middle be the mean that is not given."""
        low, high = self.lowest, self.highest
        if not (low or high):
            return
        if not (low and high):
            given, lacking = ("lowest", "highest") if low else ("highest", "lowest")
            raise WrongError(
                f"the {given} temperatures are given without the {lacking}",
                f"Give {self.key(lacking)} too, or mean temperatures alone ({self.key('temperature')})",
                self.key(given),
            )
        means = self.temperature or tuple((a + b) / 2.0 for a, b in zip(low, high, strict=True))
        for month, (a, mean, b) in enumerate(zip(low, means, high, strict=True), 1):
            # Of a day as cold as it is warm the formula for both tells no need of water at all.
            if not (a <= mean <= b and a < b):
                raise WrongError(
                    f"month {month}: the lowest is {a:g} °C, the mean {mean:g} °C and the highest {b:g} °C"
                    if self.temperature
                    else f"month {month}: the lowest, {a:g} °C, is not below the highest, {b:g} °C",
                    "Look whether the lists are exchanged, and in one scale",
                    self.key("lowest"),
                )
        object.__setattr__(self, "temperature", means)


def _read_file(path: Path, key: str) -> dict[str, tuple[float, ...]]:
    """Read the columns of a file of months that it has."""

    def wrong(what: str, mend: str) -> WrongError:
        return WrongError(f"{what} (file {path.name})", mend, key)

    try:
        with path.open("rb") as stream:
            content = stream.read(_LARGEST_BYTES + 1)
        text = content.decode("utf-8-sig")
    except OSError as error:
        raise wrong(
            f"the file of months cannot be read ({error.strerror})",
            "Check the path, which is relative to the plan's folder",
        ) from None
    except UnicodeDecodeError:
        raise wrong("the file of months is no UTF-8 text", "Save it as CSV, UTF-8") from None
    if len(content) > _LARGEST_BYTES:
        raise wrong("the file of months is too large", "Give twelve rows, one a month")
    rows = list(csv.DictReader(text.splitlines(), skipinitialspace=True))
    named = {name.strip().lower() for row in rows[:1] for name in row if name}
    if "month" not in named or not named & set(_WRITTEN):
        raise wrong(
            "the columns of the file of months are not there",
            "Head them month, temperature and rain, or lowest and highest too",
        )
    by_month: dict[int, Mapping[str, Any]] = {}
    for number, row in enumerate(rows, 1):
        cells = {(name or "").strip().lower(): cell for name, cell in row.items()}
        said = str(cells["month"] or "").strip()
        if not said.isdecimal() or not 1 <= int(said) <= _YEAR or int(said) in by_month:
            raise wrong(
                f"row {number} of the file of months is of month {quoted(said)}",
                "Number the months from 1 to 12, each once",
            )
        by_month[int(said)] = cells
    if len(by_month) != _YEAR:
        raise wrong(f"{len(by_month)} months are given", "Give 12 rows, months 1 to 12")
    made = {}
    for name in sorted(named & set(_WRITTEN)):
        read, low, high = (
            (read_length, 0.0, MOST_RAIN_M)
            if name == "rain"
            else (read_temperature, COLDEST_C, HOTTEST_C)
        )
        values = []
        for month in range(1, _YEAR + 1):
            try:
                value = read(by_month[month][name] or "")
            except WrongError as error:
                raise wrong(f"month {month}: {error.what}", _how(name)) from None
            if not low <= value <= high:
                raise wrong(
                    f"month {month}: {quoted(by_month[month][name])} is out of range",
                    "Look at the number and its unit",
                )
            values.append(value)
        made[name] = tuple(values)
    return made
