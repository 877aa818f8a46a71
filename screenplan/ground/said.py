"""Sentences that carry quantities: in metres in files and to Python, in the reader's units at the face.

A sentence is written with its quantities in braces, each with its unit: ``A gap of {3.05 m} is left``,
``from {0.61 to 1.83 m}``; in an f-string ``{{{gap:.2f} m}}``. `said` makes a text of it that keeps them.
"""

from __future__ import annotations

import math
import re
from typing import Any

#: One international foot in metres, exact by definition since 1959.
FOOT_M = 0.3048
#: One mile an hour in km/h, exact: 5280 ft of 0.3048 m.
KMH_PER_MPH = 1.609344
#: One inch, a twelfth of it.
INCH_M = 0.0254
#: In sentences lengths below this are written in inches: half a foot.
INCHES_BELOW_M = FOOT_M / 2.0
#: Metric unit: how many of it make one of the other, decimals that are shown, and the other's name.
#: A mile has 5280 feet, a cubic yard 27 cubic feet, a gallon 231 cubic inches, by definition.
_US_MEASURES = {
    "mm": (1000.0 * FOOT_M / 12.0, 2, "in"),
    "cm": (100.0 * FOOT_M / 12.0, 1, "in"),
    "m": (FOOT_M, 1, "ft"),
    "km": (5.28 * FOOT_M, 1, "mi"),
    "km/h": (5.28 * FOOT_M, 0, "mph"),
    "m/s²": (FOOT_M, 1, "ft/s²"),
    "dB/m": (1.0 / FOOT_M, 3, "dB/ft"),
    "m²": (FOOT_M**2, 0, "sq ft"),
    "m³": (27.0 * FOOT_M**3, 2, "cu yd"),
    "l": (1000.0 * 231.0 * (FOOT_M / 12.0) ** 3, 1, "gal"),
}
_QUANTITY = re.compile(
    rf"\{{(?:(?P<first>[-+.\w]+)(?P<joint> to | and |–))?(?P<last>[-+.\w]+) (?P<unit>{'|'.join(_US_MEASURES)})\}}"
)


class Said(str):
    """A text in metres that keeps its quantities: what an f-string takes over is the text with them.

    Parameters
    ----------
    written : str
        The text with its quantities in braces.

    Examples
    --------
    >>> gap = Said("A gap of {3.05 m} is left")
    >>> str(gap), in_units(f"{gap}; mend it", "us")
    ('A gap of 3.05 m is left', 'A gap of 10.0 ft is left; mend it')
    """

    __slots__ = ("written",)
    written: str

    def __new__(cls, written: str) -> Said:  # noqa: D102
        text = super().__new__(cls, in_units(written))
        text.written = f"{written}"
        return text

    def __format__(self, form: str) -> str:
        return format(self.written, form)

    def __reduce__(self):
        return Said, (self.written,)


def said(text: Any) -> Any:
    """Make a text of a sentence with quantities; gives anything else as it is."""
    # Most texts have no brace, which is told sooner; of what was made already none is left.
    held = isinstance(text, str) and "{" in text and _QUANTITY.search(f"{text}")
    return Said(text) if held else text


def in_units(text: str, units: str = "metric") -> str:
    """Write a sentence with its quantities in the reader's units.

    Lengths become feet, below half a foot inches; m² sq ft, m³ cu yd, l gal, km mi, km/h mph.

    Parameters
    ----------
    text : str
        What `said` made, or a sentence with quantities in braces; without any it stays as it is.
    units : {"metric", "us"}

    Examples
    --------
    >>> in_units("A gap of {3.05 m} is left"), in_units("from {0.61 to 1.83 m}", "us")
    ('A gap of 3.05 m is left', 'from 2.0 to 6.0 ft')
    """
    return _QUANTITY.sub(_in_feet if units == "us" else _as_written, f"{text}")


def _as_written(quantity: re.Match) -> str:
    return quantity[0][1:-1]


def _in_feet(quantity: re.Match) -> str:
    per, decimals, name = _US_MEASURES[quantity["unit"]]
    try:
        first, last = (
            None if number is None else float(number)
            for number in (quantity["first"], quantity["last"])
        )
    except ValueError:
        return _as_written(quantity)
    assert last is not None  # the pattern has always a last number
    if quantity["unit"] == "m" and 0.0 < abs(last) < INCHES_BELOW_M:
        per, decimals, name = FOOT_M / 12.0, 1, "in"
    written = [
        # Nothing is nothing in any unit; what is not finite has no decimals.
        text if text == "0" or not math.isfinite(number) else f"{number / per:.{decimals}f}"
        for text, number in ((quantity["first"], first), (quantity["last"], last))
        if number is not None
    ]
    return f"{(quantity['joint'] or '').join(written)} {name}"
