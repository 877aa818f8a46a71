"""Columns that several contracts share."""

from __future__ import annotations

from screenplan.contracts.model import Column


def height_column(meaning: str, high: float, **options) -> Column:
    """Make the column of a height above the ground, m, up to a height that is possible."""
    return Column("height_m", "number", meaning, unit="m", low=0.0, high=high, **options)


NAME = Column("name", "text", "What people call it")


DERIVED = Column(
    "derived", "boolean", "True if worked out from footprints, not surveyed", default=False
)


FLOOR = Column("ground_m", "number", "Height of the ground at its foot", unit="m")


CAUTION = Column("caution", "text", "What to have done before anything else", required=True)


RULE = Column("rule", "text", "Key of the rule or limit, or of the plan", required=True)


SOURCE = Column("source", "text", "Where it comes from", required=True)


PLANT = Column("plant_id", "integer", "The plant", required=True)


YEARS = (
    Column(
        "year_low",
        "integer",
        "First year in which it does, low growth; empty if not in the years looked at",
        unit="year",
    ),
    Column("year", "integer", "The same, typical growth", unit="year"),
    Column("year_high", "integer", "The same, high growth", unit="year"),
)


def metres_column(name: str, meaning: str, **options) -> Column:
    """Make the column of a length, m."""
    return Column(name, "number", meaning, unit="m", **options)
