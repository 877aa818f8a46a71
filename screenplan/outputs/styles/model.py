"""What a style is: classes with their tests and symbols, labels, and the scales at which they show.

Sizes are millimetres on screen or paper, never map units: a layer may be in metres, feet or degrees.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from screenplan.outputs.palette import COLOURS

Shape = Literal["circle", "square", "diamond", "triangle", "cross", "x", "star", "bar", "arrow"]
Operator = Literal["=", "in", "<", "<=", ">", ">=", "null", "filled"]


@dataclass(frozen=True)
class Stroke:
    """A line's ink: colour, width in mm, dashes and gaps in mm, opacity from 0 to 1."""

    colour: str
    width_mm: float
    dash_mm: tuple[float, ...] = ()
    opacity: float = 1.0


@dataclass(frozen=True)
class Mark:
    """A mark of a point.

    Parameters
    ----------
    shape : str
    size_mm : float
    fill : str or None
        Colour inside; None for a hollow mark.
    edge : Stroke or None
    turn : str
        The column that holds its direction, degrees clockwise from north; empty for none.
    offset_mm : (float, float)
        To the right and down.
    """

    shape: Shape
    size_mm: float
    fill: str | None = None
    edge: Stroke | None = Stroke(COLOURS["ink"], 0.3)
    turn: str = ""
    offset_mm: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True)
class Hatch:
    """Parallel lines in an area: ink, spacing in mm, angle anticlockwise from east in degrees."""

    ink: Stroke
    spacing_mm: float
    angle_deg: float


@dataclass(frozen=True)
class Area:
    """How an area is drawn: a fill, hatches upon it, and an edge."""

    fill: str | None = None
    opacity: float = 1.0
    edge: Stroke | None = None
    hatches: tuple[Hatch, ...] = ()


@dataclass(frozen=True)
class Line:
    """How a line is drawn: strokes from the lowest to the highest, and a mark at its end."""

    strokes: tuple[Stroke, ...]
    end: Mark | None = None


@dataclass(frozen=True)
class Points:
    """How a point is drawn: marks from the lowest to the highest."""

    marks: tuple[Mark, ...]


Symbol = Area | Line | Points


@dataclass(frozen=True)
class Test:
    """A test of one column: ``Test("year", "<=", 5)``; ``null`` and ``filled`` need no value.

    With ``less`` it is of the column's number less that of another column.
    """

    column: str
    operator: Operator
    value: Any = None
    less: str = ""

    __test__ = False  # not one of pytest's


@dataclass(frozen=True)
class Class:
    """Features that pass every test, how they are called and drawn.

    Without a test it holds all features that no other class of the style holds.
    """

    label: str
    symbol: Symbol
    tests: tuple[Test, ...] = ()


@dataclass(frozen=True)
class Label:
    """A layer's labels.

    Parameters
    ----------
    column : str
        The column that is shown.
    expression : str
        For the desktop GIS, in its own language, if more than the column is to be shown.
    size_pt : float
    role : str
        Key of the palette.
    below : int
        Labels show at scales from 1:1 to 1:``below``.
    bold : bool
    along : bool
        Whether a line's label runs along the line.
    priority : int
        From 0 to 10: which labels stay where there is no room for all.
    elsewhere : bool
        Whether other software shows the bare column; a share of 0.331961 is no label.
    always : bool
        Whether every row is labelled, also where there is no room for it: a stake without its number is not found.
    across : (str, str), optional
        Of points that stand one behind the other: the column that says on which line, and the one that says how far
        along. Labels then begin at their points and run square to the line, smaller where the points are closer on
        paper than letters are high.
    """

    column: str
    expression: str = ""
    size_pt: float = 8.0
    role: str = "ink"
    below: int = 2000
    bold: bool = False
    along: bool = False
    priority: int = 5
    elsewhere: bool = True
    always: bool = False
    across: tuple[str, str] | None = None


Kind = Literal["single", "by value", "by number", "by rule"]


@dataclass(frozen=True)
class Style:
    """How a layer is drawn.

    Parameters
    ----------
    classes : tuple of Class
        In the order of the legend.
    label : Label, optional
    below : int, optional
        The layer shows at scales from 1:1 to 1:``below``; by default at all.
    order : str
        An expression of the desktop GIS; features with the greatest value are drawn first. Other
        software draws the last class first then.
    opacity : float
        Of the whole layer.
    """

    classes: tuple[Class, ...]
    label: Label | None = None
    below: int | None = None
    order: str = ""
    opacity: float = 1.0

    @property
    def kind(self) -> Kind:
        """What sort of renderer the classes make."""
        tested = [style_class.tests for style_class in self.classes if style_class.tests]
        if not tested:
            return "single"
        columns = {test.column for tests in tested for test in tests}
        # A class of all the rest is a rule: by value the desktop GIS does not list it for a feature.
        if len(columns) == 1 and len(tested) == len(self.classes):
            if all(len(tests) == 1 and tests[0].operator == "=" for tests in tested):
                return "by value"
            if all(map(_is_range, tested)):
                return "by number"
        return "by rule"

    @property
    def column(self) -> str:
        """The only column that is tested; empty if there are several or none."""
        columns = {test.column for style_class in self.classes for test in style_class.tests}
        return columns.pop() if len(columns) == 1 else ""


def _is_range(tests: tuple[Test, ...]) -> bool:
    return tuple(test.operator for test in tests) == (">", "<=")
