"""The tests of a class in the desktop GIS's own language."""

from __future__ import annotations

from collections.abc import Iterable

from screenplan.outputs.styles.model import Test


def combined(tests: Iterable[Test]) -> str:
    """Give an expression that is true if every test passes."""
    return " AND ".join(map(expression, tests))


def expression(test: Test) -> str:
    """Give one test as an expression."""
    name = subject(test)
    if test.operator == "null":
        return f"{name} IS NULL"
    if test.operator == "filled":
        return f"{name} IS NOT NULL"
    if isinstance(test.value, bool):
        # Bare: of "= true" the desktop GIS makes a list that GDAL's GeoJSON reader complains of.
        return name if test.value else f"NOT {name}"
    if test.operator == "in":
        return f"{name} IN ({', '.join(map(literal, test.value))})"
    return f"{name} {test.operator} {literal(test.value)}"


def subject(test: Test) -> str:
    """Give what is tested: a column, or the difference of two."""
    return f'("{test.column}" - "{test.less}")' if test.less else f'"{test.column}"'


def graded(test: Test) -> str:
    """Give what is graded: the name of a column, or the difference of two as an expression."""
    return f'"{test.column}" - "{test.less}"' if test.less else test.column


def literal(value: object) -> str:
    """Give a value as the language writes it."""
    if isinstance(value, (int, float)):
        return f"{value:g}" if abs(value) < 1e6 else f"{value:.0f}"
    return "'" + str(value).replace("'", "''") + "'"
