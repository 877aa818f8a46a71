"""The kinds of limits on what a screen does to others, and the figures that each carries."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Annotated, Any, ClassVar, Literal, get_args

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from screenplan.ground.texts import quoted
from screenplan.plan.climate import COLDEST_C, HOTTEST_C
from screenplan.plan.planting import Stock
from screenplan.plan.values import (
    TABLE,
    Flag,
    Length,
    Number,
    Whole,
    Words,
    WrongError,
)
from screenplan.rules.ruleset import Status

#: The eight winds by which a garden factor may be named.
WINDS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")
#: No length of a limit is larger; the largest of the shipped ones is a radius, 5 km.
MOST_M = 10_000.0
#: No other figure of a limit is larger; the largest of the shipped ones is a frequency, 8000 Hz.
MOST = 1e6
_DATE = re.compile(r"\d{4}(-\d{2}(-\d{2})?)?")
_YEAR = 12


def read_date(value: Any) -> str:
    """Take a year, a month or a day, as ISO 8601 writes them."""
    if not isinstance(value, str) or not _DATE.fullmatch(value):
        raise WrongError(
            f"{quoted(value)} is not a date", 'Write a year, a month or a day: "2026-11"'
        )
    return value


def _read_months(value: Any) -> tuple[int, ...]:
    if not isinstance(value, (list, tuple)) or not all(
        type(number) is int and 1 <= number <= _YEAR for number in value
    ):
        raise WrongError(f"{value!r} is not a list of months", "Write them by number: [3, 4]")
    return tuple(sorted(set(value)))


def _not_all(months: tuple[int, ...]) -> tuple[int, ...]:
    if len(months) == _YEAR:
        raise WrongError("every month is named", "Leave out those in which work may be done")
    return months


def _each_wind(factors: Mapping[str, float]) -> Mapping[str, float]:
    if set(factors) != set(WINDS):
        raise WrongError("a garden factor is missing", f"Name each of {', '.join(WINDS)}")
    return factors


Metres = Annotated[Length, Field(ge=0, le=MOST_M)]
Amount = Annotated[Number, Field(ge=0, le=MOST)]
#: Degrees Celsius: no month of any place is colder or warmer in the mean.
Celsius = Annotated[Number, Field(ge=COLDEST_C, le=HOTTEST_C)]
Distances = Annotated[tuple[Metres, ...], Field(min_length=1)]
Amounts = Annotated[tuple[Amount, ...], Field(min_length=1)]
Months = Annotated[tuple[int, ...], BeforeValidator(_read_months)]
SomeMonths = Annotated[Months, AfterValidator(_not_all)]


class Limit(BaseModel):
    """One limit; each of `KINDS` adds its own figures, lengths in metres.

    Parameters
    ----------
    key : str
        Its name in the rules table.
    kind : str
        One of `KINDS`.
    reason, source, status, date : str
        Why, by whom, how the figure is known (one of `STATUSES`), and when it was taken.
    confirm_locally : bool
        Whether the local code, the utility or the road authority decides.
    """

    model_config = TABLE | ConfigDict(frozen=True)
    beside: ClassVar = ("use",)

    key: str
    kind: str
    reason: Words
    source: Words = "the user's own limit"
    status: Status = "user"
    date: Annotated[str, BeforeValidator(read_date)] = ""
    confirm_locally: Flag = True

    @classmethod
    def figure_names(cls) -> list[str]:
        """Give the names of the figures of this kind."""
        return [name for name in cls.model_fields if name not in Limit.model_fields]

    @property
    def figures(self) -> dict[str, Any]:
        """The figures that are given, by name."""
        return {
            name: getattr(self, name)
            for name in self.figure_names()
            if name in self.model_fields_set
        }


class SightTriangle(Limit):
    """Nothing stands between two heights in a triangle beside a drive or at a corner."""

    kind: Literal["sight_triangle"]
    place: Literal["drive", "corner"]
    leg_m: Metres
    depth_m: Metres
    clear_from_m: Metres
    clear_to_m: Metres = math.inf

    @model_validator(mode="after")
    def _is_a_band(self):
        if self.clear_to_m <= self.clear_from_m:
            raise WrongError(
                "it is not above clear_from", "Write the greater height there", "clear_to"
            )
        return self


class Stopping(Limit):
    """What a driver needs to stop."""

    kind: Literal["stopping"]
    reaction_s: Amount
    deceleration_m: Metres
    round_up_to_m: Metres
    eye_m: Metres


class Emerging(Limit):
    """What a driver needs to emerge."""

    kind: Literal["emerging"]
    gap_left_s: Amount
    gap_right_s: Amount
    eye_back_m: Metres
    eye_m: Metres


class Zoning(Limit):
    """Within each distance at most that height."""

    kind: Literal["zoning"]
    within_m: Distances
    at_most_m: Distances

    @model_validator(mode="after")
    def _rise_together(self):
        one, two = list(self.within_m), list(self.at_most_m)
        if len(one) != len(two) or one != sorted(set(one)) or two != sorted(two):
            raise WrongError(
                "within and at_most do not rise together, one height for each distance",
                'Write them as in within = ["15 ft", "65 ft"], at_most = ["20 ft", "40 ft"]',
                "within",
            )
        return self


class Tolerance(Limit):
    """A margin each side of a buried line."""

    kind: Literal["tolerance"]
    margin_m: Metres


class LocateRequest(Limit):
    """How long before digging lines are asked for, and how long the answer holds."""

    kind: Literal["locate_request"]
    wait_working_days: Annotated[Number, Field(ge=0, le=30)]
    life_days: Annotated[Number, Field(ge=0, le=366)]

    @model_validator(mode="after")
    def _holds_longer_than_it_waits(self):
        if self.life_days <= self.wait_working_days:
            raise WrongError(
                "it is not above wait_working_days",
                "Write for how many days a request holds",
                "life_days",
            )
        return self


class ByHeight(Limit):
    """A distance by the plant's height."""

    kind: Literal["by_height"]
    feature: Literal["septic_field"]
    times_height: Amount
    at_least_m: Metres


class HedgeHeight(Limit):
    """The height above which a hedge is held to take too much light."""

    kind: Literal["hedge_height"]
    never_below_m: Metres
    window_opposite_per_distance: Amount
    window_side_per_distance: Amount
    window_plus_m: Metres
    garden_factors: Annotated[dict[str, Amount], AfterValidator(_each_wind)]
    set_back_beyond_m: Metres


class SunNeeded(Limit):
    """Hours of sun a day that a plant needs, by how it stands shade."""

    kind: Literal["sun_needed"]
    hours: Annotated[dict[str, Amount], Field(min_length=1)]


class FoliageNoise(Limit):
    """What dense foliage takes away of a noise, by octave band."""

    kind: Literal["foliage_noise"]
    bands_hz: Amounts
    from_m: Metres
    per_metre_from_m: Metres
    at_most_m: Metres
    total_db: Amounts
    db_per_m: Amounts

    @model_validator(mode="after")
    def _fit_together(self):
        if not (
            len(self.bands_hz) == len(self.total_db) == len(self.db_per_m)
            and self.from_m <= self.per_metre_from_m <= self.at_most_m
        ):
            raise WrongError(
                "its rows do not fit together", "Give one figure for each band", "bands_hz"
            )
        return self


class Nesting(Limit):
    """Months in which hedges are not clipped, and those in which nothing is cleared: by default the same."""

    kind: Literal["nesting"]
    months: SomeMonths
    clearing_months: SomeMonths = ()

    @property
    def cleared(self) -> tuple[int, ...]:
        """Months in which shrubs and tall growth are not taken away."""
        return self.clearing_months or self.months


class PlantingSeason(Limit):
    """Months in which stock is set, and those in which it is refused."""

    kind: Literal["planting_season"]
    roots: Literal["bare", "with_soil"]
    leaves: Literal["evergreen", "deciduous"]
    months: Months
    refused_months: Months


class PlantingClimate(Limit):
    """Between which mean temperatures of a month plants are set, degrees Celsius."""

    kind: Literal["planting_climate"]
    frozen_below_c: Celsius
    roots_grow_above_c: Celsius
    buds_open_above_c: Celsius
    hot_from_c: Celsius

    @model_validator(mode="after")
    def _rise(self):
        rising = [
            self.frozen_below_c, self.roots_grow_above_c, self.buds_open_above_c, self.hot_from_c
        ]  # fmt: skip
        if rising != sorted(set(rising)):
            raise WrongError(
                "its temperatures do not rise",
                "Write frozen_below_c, roots_grow_above_c, buds_open_above_c and hot_from_c in rising order",
                "frozen_below_c",
            )
        return self


class MildWinter(Limit):
    """Months in which plants are set too, where winters are mild."""

    kind: Literal["mild_winter"]
    from_zone: Annotated[Whole, Field(ge=1, le=13)]
    months: SomeMonths


class LeadTime(Limit):
    """How long before planting a kind of stock is ordered."""

    kind: Literal["lead_time"]
    stock: Stock
    order_days: Annotated[Number, Field(ge=0, le=730)]


class WinterWater(Limit):
    """How often plants are watered in winter."""

    kind: Literal["winter_water"]
    months: SomeMonths
    times: Annotated[Whole, Field(ge=0, le=MOST)]


class FenceHeight(Limit):
    """How tall a fence or wall may be at the front, at the sides and at the rear of a lot."""

    kind: Literal["fence_height"]
    front_m: Metres
    side_m: Metres
    rear_m: Metres
    permit_above_m: Metres = math.inf
    front_open_share: Annotated[Number, Field(ge=0, lt=1)] = 0.0


#: The model of each kind.
KINDS: dict[str, type[Limit]] = {
    get_args(model.model_fields["kind"].annotation)[0]: model for model in Limit.__subclasses__()
}
