"""Quantities as people write them, to metres and back; with `said` the only place that knows feet."""

from __future__ import annotations

import math
import re
from functools import cache

from screenplan.ground.errors import InputError, refuse
from screenplan.ground.said import FOOT_M
from screenplan.ground.texts import quoted

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
#: Metres in two units that differ by less are those of one; foot and survey foot differ by a part in 500 000.
SAME_UNIT = 1e-9
#: A number that is longer is not said again in the remedy.
_SHORT = 20
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


@cache
def _in_metres(name: str) -> float:
    # Fifteen digits: the registry goes by way of the yard and leaves a foot one ulp short.
    return round(float(_registry().Quantity(1.0, name).to("m").magnitude), 15)


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
            f"{quoted(unit)} is not a unit of length",
            f"Write one of {', '.join(LENGTH_UNITS)}",
            key=key,
        )
    return _in_metres(name)


def parse_length(text: str | float, *, key: str | None = None) -> float:
    """Read a length such as ``"7 ft"``, ``"30 in"``, ``"7 ft 6 in"`` or ``"2.4 m"``.

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

    Examples
    --------
    >>> parse_length("10 ft"), parse_length("30 in"), parse_length("2.4 m")
    (3.048, 0.762, 2.4)
    >>> round(parse_length("7 ft 6 in"), 9)
    2.286
    """
    if isinstance(text, bool) or not isinstance(text, (str, int, float)):
        raise refuse(
            f"{quoted(text)} is not a length",
            'Write a number and a unit, such as "2.4 m" or "7 ft"',
            key=key,
        )
    if not isinstance(text, str):
        if text == 0:
            return 0.0
        raise _lacks_unit(text, quoted(text), key)
    both = _FEET_INCHES.match(text)
    if both:
        metres = (float(both["ft"]) + float(both["inch"]) / 12.0) * FOOT_M
        return _finite(metres, text, "length", key)
    match = _NUMBER_UNIT.match(text)
    if not match:
        raise refuse(
            f"{quoted(text)} is not a length",
            'Write a number and a unit, such as "2.4 m" or "7 ft"',
            key=key,
        )
    try:
        number = float(match["number"])
    except ValueError:
        raise refuse(
            f"{quoted(text)} is not a length",
            "Write the number with a decimal point and no other marks",
            key=key,
        ) from None
    if not match["unit"]:
        if number == 0:
            return 0.0
        raise _lacks_unit(text.strip(), quoted(text), key)
    metres = _finite(number * metres_per(match["unit"], key=key), text, "length", key)
    return round(metres, 12)


#: Units of people who read feet.
_OF_FEET = ("in", "inch", "ft", "foot", "feet", "yd", "yard", "survey_foot")


def units_of(text: str) -> str:
    """Tell in which units the person reads who wrote a length: ``us`` for feet, inches and yards.

    Examples
    --------
    >>> units_of("30 m"), units_of("85 ft"), units_of("30 in")
    ('metric', 'us', 'us')
    """
    if _FEET_INCHES.match(text):
        return "us"
    match = _NUMBER_UNIT.match(text)
    unit = (match and match["unit"]) or "m"
    return "us" if _SHORTHAND.get(unit.strip().lower(), unit.strip()) in _OF_FEET else "metric"


def in_unit(metres: float, unit: str, digits: int = 4) -> str:
    """Write a length as a plan has it, in a unit, in metres to a tenth of a millimetre.

    Examples
    --------
    >>> in_unit(15.0, "m"), in_unit(15.24, "ft")
    ('15 m', '50 ft')
    """
    text = f"{metres / metres_per(unit):.{digits}f}".rstrip("0").rstrip(".")
    return f"{text} {unit}"


#: Steps of round figures in feet and inches, the coarsest first, and by how much of itself a length may change.
_ROUND, _ROUND_SHARE = (
    (("ft", 50.0), ("ft", 5.0), ("ft", 1.0), ("ft", 0.5), ("in", 1.0), ("in", 0.1)),
    0.03,
)


def round_feet(metres: float) -> str:
    """Write a length of metres in round feet or inches, by at most 3 % another length.

    Examples
    --------
    >>> [round_feet(metres) for metres in (0.0, 0.075, 0.9, 1.8, 4.7, 50.0, 150.0)]
    ['0 ft', '3 in', '3 ft', '6 ft', '15 ft', '165 ft', '500 ft']
    """
    for unit, step in _ROUND:
        number = round(metres / metres_per(unit) / step) * step
        if abs(number * metres_per(unit) - metres) <= _ROUND_SHARE * abs(metres):
            return f"{number:g} {unit}"
    return in_unit(metres, "in")


def _finite(amount: float, text: str, what: str, key: str | None) -> float:
    if not math.isfinite(amount):
        raise refuse(
            f"{quoted(text)} is not a finite {what}", "Write a number that can be measured", key=key
        )
    return amount


def _lacks_unit(number: object, shown: str, key: str | None) -> InputError:
    short = shown if len(shown) < _SHORT else "1.5"
    example = str(number) if short == shown else short
    return refuse(
        f"{shown} has no unit",
        f'Write the unit too, such as "{example} m" or "{example} ft"',
        key=key,
    )


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

    Examples
    --------
    >>> format_length(1.524), format_length(1.524, "us")
    ('1.52 m', '5.0 ft')
    """
    if metres is None or math.isnan(metres):
        return "–"
    if units == "us":
        return f"{metres / FOOT_M:.{1 if digits is None else digits}f} ft"
    return f"{metres:.{2 if digits is None else digits}f} m"


#: Volumes below this are sold in bags, which are named in litres or cubic feet.
SMALL_M3 = 0.5
#: Lengths below this are written to the centimetre, or in inches.
SHORT_M = 1.5

#: What sheets turn an amount into: unit, factor and decimals, by the user's units.
_AMOUNTS = {
    "metric": {"m": ("m", 1.0, 1), "m2": ("m²", 1.0, 1), "m3": ("m³", 1.0, 2), "l": ("l", 1.0, 0)},
    # Exact by definition: the foot, the cubic yard of 27 cubic feet, the gallon of 231 cubic inches.
    "us": {
        "m": ("ft", 1.0 / FOOT_M, 1),
        "m2": ("sq ft", 1.0 / FOOT_M**2, 0),
        "m3": ("cu yd", 1.0 / (27.0 * FOOT_M**3), 2),
        "l": ("gal", 1.0 / (231.0 * (FOOT_M / 12.0) ** 3 * 1000.0), 0),
    },
}


def format_amount(amount: float, unit: str, units: str = "metric") -> str:
    """Write an amount for people.

    Parameters
    ----------
    amount : float
        In ``unit``; NaN is written as a dash.
    unit : {"m", "m2", "m3", "l"} or str
        Any other unit is a count, and its name is not written if it is "each".
    units : {"metric", "us"}
        The plan's units.

    Examples
    --------
    >>> format_amount(0.5, "m3"), format_amount(0.764554857984, "m3", "us"), format_amount(95189, "l")
    ('0.50 m³', '1.00 cu yd', '95,189 l')
    """
    if amount is None or math.isnan(amount):
        return "–"
    if unit not in _AMOUNTS[units]:
        text = f"{amount:,.0f}" if amount == round(amount) else f"{amount:,.1f}"
        return text if unit in ("", "each") else f"{text} {unit}"
    name, factor, digits = _AMOUNTS[units][unit]
    if unit == "m" and amount < SHORT_M:
        if units == "us":
            return f"{amount / FOOT_M * 12.0:.0f} in"
        digits = 2
    return f"{amount * factor:,.{digits}f} {name}"


def format_tape(metres: float, units: str = "metric") -> str:
    """Write a length as a tape shows it: metres to the centimetre, or feet ′ and inches ″ to an eighth.

    A negative length keeps its sign before the feet: ``-3′ 6 1/8″``.

    Examples
    --------
    >>> format_tape(1.0922), format_tape(1.0922, "us")  # 43 inches
    ('1.09 m', '3′ 7″')
    """
    if metres is None or math.isnan(metres):
        return "–"
    if units != "us":
        return f"{metres + 0.0:.2f} m".replace("-0.00", "0.00")
    eighths = round(abs(metres) / FOOT_M * 96.0)
    feet, rest = divmod(eighths, 96)
    inches, part = divmod(rest, 8)
    fraction = f"{part // math.gcd(part, 8)}/{8 // math.gcd(part, 8)}" if part else ""
    whole = str(inches) if inches or feet or not part else ""
    text = f"{' '.join(piece for piece in (whole, fraction) if piece)}″"
    sign = "-" if metres < 0 and eighths else ""
    return f"{sign}{feet}′ {text}" if feet else f"{sign}{text}"


def format_pack(amount: float, unit: str, units: str = "metric") -> str:
    """Write what one roll, bag or other pack holds, as goods are named: no decimal without need.

    Parameters
    ----------
    amount : float
        In ``unit``.
    unit : {"m", "m3"} or str
        Any other unit as for `format_amount`.
    units : {"metric", "us"}

    Examples
    --------
    >>> format_pack(50.0, "m"), format_pack(50.0, "m", "us"), format_pack(0.05, "m3")
    ('50 m', '164 ft', '50 l')
    """
    if unit == "m3" and amount < SMALL_M3:
        if units == "us":
            return f"{amount / VOLUME_UNITS['cu ft']:.2g} cu ft"
        return f"{amount * 1000.0:.0f} l"
    if unit not in _AMOUNTS[units]:
        return format_amount(amount, unit, units)
    name, factor, digits = _AMOUNTS[units][unit]
    text = f"{amount * factor:.{digits}f}"
    return f"{text.rstrip('0').rstrip('.') if '.' in text else text} {name}"


#: Volumes as goods are sold, in cubic metres; exact by definition.
VOLUME_UNITS = {
    "l": 0.001,
    "litre": 0.001,
    "litres": 0.001,
    "liter": 0.001,
    "liters": 0.001,
    "m3": 1.0,
    "m³": 1.0,
    "cu ft": FOOT_M**3,
    "ft3": FOOT_M**3,
    "ft³": FOOT_M**3,
    "cu yd": 27.0 * FOOT_M**3,
    "yd3": 27.0 * FOOT_M**3,
    "yd³": 27.0 * FOOT_M**3,
    "gal": 231.0 * (FOOT_M / 12.0) ** 3,
}
_VOLUME = re.compile(r"^\s*(?P<number>\d+(?:\.\d+)?|\.\d+)\s*(?P<unit>[A-Za-z][A-Za-z0-9³ ]*?)\s*$")


def parse_volume(text: str) -> float:
    """Read a volume such as ``"50 l"``, ``"2 cu ft"`` or ``"1 yd3"``, in cubic metres.

    Raises
    ------
    InputError
        If there is no number, no unit, or the unit is no volume.

    Examples
    --------
    >>> parse_volume("50 l"), round(parse_volume("27 cu ft") / parse_volume("1 cu yd"), 12)
    (0.05, 1.0)
    """
    match = _VOLUME.match(text) if isinstance(text, str) else None
    unit = match and VOLUME_UNITS.get(" ".join(match["unit"].lower().split()))
    if match is None or not unit:
        raise refuse(
            f"{quoted(text)} is not a volume",
            'Write a number and a unit, such as "50 l", "2 cu ft" or "0.05 m3"',
        )
    return _finite(float(match["number"]) * unit, text, "volume", None)


_TEMPERATURE = re.compile(r"^\s*(?P<number>[-+−]?\d+(?:\.\d+)?)\s*°?\s*(?P<unit>[CcFf])\s*$")


def parse_temperature(text: str) -> float:
    """Read a temperature such as ``"4.5 C"`` or ``"40 °F"``, in degrees Celsius.

    Raises
    ------
    InputError
        If there is no number or no unit: a bare number could be of either scale.

    Examples
    --------
    >>> parse_temperature("4.5 C"), parse_temperature("50 °F")
    (4.5, 10.0)
    """
    match = _TEMPERATURE.match(text) if isinstance(text, str) else None
    if match is None:
        raise refuse(
            f"{quoted(text)} is not a temperature",
            'Write a number and its scale, such as "4.5 C" or "40 F"',
        )
    number = float(match["number"].replace("−", "-"))
    celsius = number if match["unit"] in "Cc" else (number - 32.0) / 1.8
    return round(_finite(celsius, text, "temperature", None), 9)
