"""Quantities as people write them, to metres and back; the only place that knows feet."""

from __future__ import annotations

import math
import re
from functools import cache

from screenplan.errors import refuse

#: One international foot in metres, exact by definition since 1959.
FOOT_M = 0.3048

#: Units in which a length may be written; pint knows more, a plan should not.
LENGTH_UNITS = (
    "mm",
    "cm",
    "m",
    "km",
    "in",
    "inch",
    "ft",
    "foot",
    "feet",
    "yd",
    "yard",
    "survey_foot",
)

_FEET_INCHES = re.compile(
    r"""^\s*(?P<ft>\d+(?:\.\d+)?)\s*(?:ft|feet|foot|')\s*(?P<inch>\d+(?:\.\d+)?)\s*(?:in|inch|inches|")\s*$"""
)
_NUMBER_UNIT = re.compile(
    r"""^\s*(?P<number>[-+]?[\d.][\d.,eE+-]*)\s*(?P<unit>[A-Za-z_'"][\w'" ]*?)?\s*$"""
)
_SHORTHAND = {
    "'": "ft",
    '"': "in",
    "metre": "m",
    "metres": "m",
    "meter": "m",
    "meters": "m",
    "inches": "in",
    "us-ft": "survey_foot",
    "us_survey_foot": "survey_foot",
    "us survey foot": "survey_foot",
    "yards": "yd",
}


@cache
def _registry():
    import pint

    return pint.UnitRegistry()


def metres_per(unit: str, *, key: str | None = None) -> float:
    """Length of one ``unit`` in metres.

    Parameters
    ----------
    unit : str
        One of `LENGTH_UNITS`, or a common spelling of it.
    key : str, optional
        Where the unit was written, for the error message.

    Raises
    ------
    InputError
        If the unit is not a length.
    """
    name = _SHORTHAND.get(unit.strip().lower(), unit.strip())
    if name not in LENGTH_UNITS:
        raise refuse(
            f"'{unit}' is not a unit of length", f"Write one of {', '.join(LENGTH_UNITS)}", key=key
        )
    # Twelve digits: the registry goes by way of the yard and leaves a foot one ulp short.
    return round(float(_registry().Quantity(1.0, name).to("m").magnitude), 12)


def parse_length(text: str | float, *, key: str | None = None) -> float:
    """Read a length such as ``"5 ft"``, ``"18 in"``, ``"5 ft 6 in"`` or ``"1.5 m"``.

    Parameters
    ----------
    text : str
        A number with its unit. A bare number is refused, save 0: it could be feet or metres.
    key : str, optional
        Where it was written, for the error message.

    Returns
    -------
    float
        Metres.

    Raises
    ------
    InputError
        If there is no unit, the unit is no length, or the number is not finite.
    """
    if isinstance(text, bool) or not isinstance(text, (str, int, float)):
        raise refuse(
            f"{text!r} is not a length",
            'Write a number and a unit, such as "1.5 m" or "5 ft"',
            key=key,
        )
    if not isinstance(text, str):
        if text == 0:
            return 0.0
        raise refuse(
            f"{text} has no unit", f'Write the unit too, such as "{text} m" or "{text} ft"', key=key
        )
    both = _FEET_INCHES.match(text)
    if both:
        return (float(both["ft"]) + float(both["inch"]) / 12.0) * FOOT_M
    match = _NUMBER_UNIT.match(text)
    if not match:
        raise refuse(
            f"'{text}' is not a length",
            'Write a number and a unit, such as "1.5 m" or "5 ft"',
            key=key,
        )
    try:
        number = float(match["number"])
    except ValueError:
        raise refuse(
            f"'{text}' is not a length",
            "Write the number with a decimal point and no other marks",
            key=key,
        ) from None
    if not math.isfinite(number):
        raise refuse(
            f"'{text}' is not a finite length", "Write a number that can be measured", key=key
        )
    if not match["unit"]:
        if number == 0:
            return 0.0
        raise refuse(
            f"'{text}' has no unit",
            f'Write the unit too, such as "{text.strip()} m" or "{text.strip()} ft"',
            key=key,
        )
    return round(number * metres_per(match["unit"], key=key), 12)


def format_length(metres: float, units: str = "metric", digits: int | None = None) -> str:
    """Write a length for people: metres, or feet with one decimal.

    Parameters
    ----------
    metres : float
        The length in metres; NaN is written as a dash.
    units : {"metric", "us"}
        The plan's units.
    digits : int, optional
        Decimals; by default 2 for metres and 1 for feet.
    """
    if metres is None or math.isnan(metres):
        return "–"
    if units == "us":
        return f"{metres / FOOT_M:.{1 if digits is None else digits}f} ft"
    return f"{metres:.{2 if digits is None else digits}f} m"
