"""Columns that several contracts share."""

from __future__ import annotations

from collections.abc import Callable

from screenplan.contracts.model import Column, ColumnType


def _maker(kind: ColumnType, unit: str = "", **usual) -> Callable[..., Column]:
    """Make a short way to write a column of a type and unit: name, meaning, label, other options."""

    def make(name: str, meaning: str, label: str = "", **options) -> Column:
        return Column(name, kind, meaning, label=label, **{"unit": unit} | usual | options)

    return make


text, date, boolean, integer = _maker("text"), _maker("date"), _maker("boolean"), _maker("integer")
sentence, words = _maker("text", form="sentence"), _maker("text", form="words")
year = _maker("integer", "year")
number, money = _maker("number"), _maker("number", form="money")
metres, hours = _maker("number", "m"), _maker("number", "h")
tape = _maker("number", "m", form="tape")
degrees = _maker("number", "deg", low=0.0, high=360.0)
share = _maker("number", "share", low=0.0, high=1.0)


def height_column(meaning: str, high: float, **options) -> Column:
    """Make the column of a height above the ground, m, up to a height that is possible."""
    return metres("height_m", meaning, low=0.0, high=high, **options)


NAME = text("name", "What people call it")


DERIVED = boolean("derived", "True if worked out from footprints, not surveyed", default=False)


SET_APART = text(
    "set_apart",
    "Why no screen is planned against the window, also in words of your own; empty for all others. Its views count as open until they close",
    "Set apart, because",
)


CAUTION = sentence("caution", "What to have done before anything else")


RULE = text("rule", "Key of the rule or limit, or of the plan")


SOURCE = sentence("source", "Where it comes from")


PLANT = integer("plant_id", "The plant")


#: Of a row that may be mixed.
KINDS = text(
    "species",
    "Key in the species table; of a mixed row all its keys, parted by commas",
    heading="plant",
    form="species",
)


YEARS = (
    year(
        "year_low",
        "First year in which it does, low growth; empty if not in the years looked at",
        "First year, low growth",
        heading="year low",
    ),
    year("year", "The same, typical growth", "First year, typical growth", heading="year"),
    year("year_high", "The same, high growth", "First year, high growth", heading="year high"),
)


def years_by_growth(stem: str, low: str, **typical) -> tuple[Column, ...]:
    """Make the columns of a year at low growth, which says it all, at typical and at high growth."""
    words = stem.replace("_", " ").capitalize()
    return (
        year(f"{stem}_low", low, f"{words}, low growth"),
        year(stem, "The same, typical growth", **typical),
        year(f"{stem}_high", "The same, high growth", f"{words}, high growth"),
    )
