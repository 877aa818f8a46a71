"""Columns that several contracts share."""

from __future__ import annotations

from collections.abc import Callable

from screenplan.contracts.model import Column, ColumnType


def _maker(kind: ColumnType, unit: str = "") -> Callable[..., Column]:
    """Make a short way to write a column of a type and unit: name, meaning, label, other options."""

    def make(name: str, meaning: str, label: str = "", **options) -> Column:
        return Column(name, kind, meaning, label=label, **{"unit": unit} | options)

    return make


text, date, boolean, integer = map(_maker, ("text", "date", "boolean", "integer"))
year = _maker("integer", "year")
number = _maker("number")
metres, degrees, share, hours = (_maker("number", unit) for unit in ("m", "deg", "share", "h"))


def height_column(meaning: str, high: float, **options) -> Column:
    """Make the column of a height above the ground, m, up to a height that is possible."""
    return metres("height_m", meaning, low=0.0, high=high, **options)


NAME = text("name", "What people call it")


DERIVED = boolean("derived", "True if worked out from footprints, not surveyed", default=False)


CAUTION = text("caution", "What to have done before anything else", form="sentence", required=True)


RULE = text("rule", "Key of the rule or limit, or of the plan", required=True)


SOURCE = text("source", "Where it comes from", form="sentence", required=True)


PLANT = integer("plant_id", "The plant", required=True)


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
