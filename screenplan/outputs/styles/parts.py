"""Pieces from which the layers' symbols are made."""

from __future__ import annotations

from collections.abc import Sequence

from screenplan.outputs.palette import COLOURS, WARN
from screenplan.outputs.styles.model import (
    Area,
    Class,
    Hatch,
    Line,
    Mark,
    Points,
    Shape,
    Stroke,
    Symbol,
    Test,
)

INK, QUIET, FAINT, PAPER = (COLOURS[role] for role in ("ink", "quiet", "faint", "paper"))
#: Line widths, mm: those of the drawings (1.4, 0.9, 0.6 and 0.35 points), a little wider for screens.
HEAVY, LINE, THIN, HAIR = 0.6, 0.4, 0.26, 0.15
DASHED, DOTTED, DASH_DOT = (2.4, 1.0), (0.5, 0.9), (3.0, 0.9, 0.6, 0.9)
#: Above and below every number that a layer holds.
LEAST, MOST = -1.0, 1.0e9


def stroke(colour: str, width_mm: float = LINE, dash_mm: tuple[float, ...] = ()) -> Stroke:
    """Make a stroke."""
    return Stroke(colour, width_mm, dash_mm)


def line(*strokes: Stroke, end: Mark | None = None) -> Line:
    """Make a line's symbol."""
    return Line(strokes, end)


def cased(colour: str, width_mm: float, dash_mm: tuple[float, ...] = ()) -> Line:
    """Make a line with a dark rim, which keeps a light colour visible on a light page."""
    return Line((Stroke(INK, width_mm + 0.3), Stroke(colour, width_mm, dash_mm)))


def dot(shape: Shape, size_mm: float, fill: str | None, edge: str = INK, **options) -> Points:
    """Make a symbol of one mark with a thin edge."""
    return Points((Mark(shape, size_mm, fill, Stroke(edge, 0.3), **options),))


def warning(fill: str = WARN) -> Points:
    """Make the warning: a triangle with an exclamation mark, of shapes alone."""
    return Points(
        (
            Mark("triangle", 4.6, fill, Stroke(INK, 0.35)),
            Mark("bar", 1.3, None, Stroke(INK, 0.5), offset_mm=(0.0, 0.35)),
            Mark("circle", 0.45, INK, None, offset_mm=(0.0, 1.45)),
        )
    )


def settled(shape: Shape = "circle") -> Points:
    """Make the sign of a thing that was looked at and gives no cause to act in the years shown."""
    return dot(shape, 2.2, PAPER, QUIET)


def hatched(
    fill: str | None, ink: str, *angles: float, opacity: float = 0.35, spacing_mm: float = 2.2,
    edge: tuple[float, ...] = (), width_mm: float = HAIR,
) -> Area:  # fmt: skip
    """Make a tinted area with hatches."""
    return Area(
        fill,
        opacity,
        Stroke(ink, THIN, edge),
        tuple(Hatch(Stroke(ink, width_mm), spacing_mm, angle) for angle in angles),
    )


def steps(
    column: str,
    bounds: Sequence[float],
    labels: Sequence[str],
    symbols: Sequence[Symbol],
    less: str = "",
) -> tuple[Class, ...]:
    """Make classes of a number, or of the difference of two: up to each bound, and above the last."""
    lows, highs = (-MOST if less else LEAST, *bounds), (*bounds, MOST)
    return tuple(
        Class(label, symbol, (Test(column, ">", low, less), Test(column, "<=", high, less)))
        for low, high, label, symbol in zip(lows, highs, labels, symbols, strict=True)
    )


def empty(column: str, label: str, symbol: Symbol) -> Class:
    """Make the class of features without a value in a column."""
    return Class(label, symbol, (Test(column, "null"),))


def values(column: str, **classes: tuple[str, Symbol]) -> tuple[Class, ...]:
    """Make classes by the values of a column; a value that is no word has ``_`` for its blanks."""
    return tuple(
        Class(label, symbol, (Test(column, "=", value.replace("_", " ")),))
        for value, (label, symbol) in classes.items()
    )


def either(column: str, true: tuple[str, Symbol], false: tuple[str, Symbol]) -> tuple[Class, ...]:
    """Make the two classes of a column that is true, or false or empty."""
    return Class(*true, (Test(column, "=", True),)), Class(*false)
