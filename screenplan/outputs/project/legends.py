"""What a sheet's legend names, and how it fits: only classes that have rows, in as few lines as can be."""

from __future__ import annotations

import math
import operator
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from screenplan.contracts import SURROUNDINGS
from screenplan.contracts.written import KINDS
from screenplan.outputs.project.tree import Entry
from screenplan.outputs.styles import STYLES, Class, Test

#: A layer of one class is named in one line, with the class if that is no longer than this.
LONGEST = 34
#: Sizes of the letters that are tried, from the largest, points; and the most columns.
SIZES = (7.0, 6.5, 6.0, 5.5, 5.0)
MOST_COLUMNS = 4
#: Estimates of what the desktop GIS makes of it: widths and heights for each point of size, and the
#: clearances that `screenplan.outputs.project.items` sets, millimetres.
LETTER_MM, SYMBOL_MM, HIGH_MM = 0.17, 0.72, 0.44
BESIDE_MM, ABOVE_MM, BETWEEN_MM = 1.6, 1.1, 3.0

#: Layers whose classes say by themselves what they are.
PLAIN = {"parcels", "pegs", "stakes", *SURROUNDINGS}

_COMPARE: dict[str, Callable[[Any, Any], Any]] = {
    "=": operator.eq,
    "<": operator.lt,
    "<=": operator.le,
    ">": operator.gt,
    ">=": operator.ge,
}


@dataclass(frozen=True)
class Item:
    """One layer of a legend.

    Parameters
    ----------
    entry : Entry
    classes : tuple of (int, str)
        Those that are named, by their number in the style, and what they are called.
    headed : bool
        Whether the layer's title stands above them.
    """

    entry: Entry
    classes: tuple[tuple[int, str], ...]
    headed: bool

    @property
    def lines(self) -> int:
        """How many lines it takes."""
        return len(self.classes) + self.headed

    @property
    def letters(self) -> int:
        """How long its longest line is."""
        return max(len(label) for _, label in self.classes)


def legend_items(entries: Iterable[Entry], layers: Mapping[str, pd.DataFrame]) -> list[Item]:
    """Give what a legend names of some layers; an empty one is left out.

    Parameters
    ----------
    entries : iterable of Entry
        In the order of the legend.
    layers : mapping of str to DataFrame
        By name as written.
    """
    items = []
    for entry in entries:
        style = STYLES.get(entry.name)
        layer = entry.rows(layers[entry.name])
        if style is None or not len(layer):
            continue
        present = classes_present(style.classes, layer)
        named = tuple((number, style.classes[number].label) for number in present)
        headed = len(named) > 1 and entry.stem not in PLAIN
        if len(named) == 1 and entry.stem not in PLAIN:
            ((number, label),) = named
            named = ((number, _in_one(entry, label, len(style.classes))),)
        if named:
            items.append(Item(entry, named, headed))
    return _told_apart(items)


def _told_apart(items: Sequence[Item]) -> list[Item]:
    """Say the kind of geometry where layers of several kinds would be called the same."""
    times = Counter(label for item in items if not item.headed for _, label in item.classes)
    told = []
    for item in items:
        kind = item.entry.name.rpartition("_")[2]
        if item.headed or kind not in KINDS:
            told.append(item)
            continue
        classes = tuple(
            (number, f"{label} ({kind})" if times[label] > 1 else label)
            for number, label in item.classes
        )
        told.append(replace(item, classes=classes))
    return told


def _in_one(entry: Entry, label: str, classes: int) -> str:
    both = f"{entry.said}: {label[:1].lower()}{label[1:]}"
    return both if classes > 1 and entry.year is None and len(both) <= LONGEST else entry.said


def classes_present(classes: Sequence[Class], layer: pd.DataFrame) -> list[int]:
    """Give the numbers of the classes of a style that hold some row of a layer."""
    held = [_all_hold(style_class.tests, layer) for style_class in classes]
    tested = [rows for style_class, rows in zip(classes, held, strict=True) if style_class.tests]
    left = ~np.logical_or.reduce(tested) if tested else np.ones(len(layer), bool)
    return [
        number
        for number, (style_class, rows) in enumerate(zip(classes, held, strict=True))
        if (rows if style_class.tests else left).any()
    ]


def _all_hold(tests: Iterable[Test], layer: pd.DataFrame) -> np.ndarray:
    rows = np.ones(len(layer), bool)
    for test in tests:
        rows &= _holds(test, layer[test.column])
    return rows


def _holds(test: Test, column: pd.Series) -> np.ndarray:
    filled = column.notna().to_numpy()
    if test.operator in ("null", "filled"):
        return filled if test.operator == "filled" else ~filled
    if test.operator == "in":
        return column.isin(list(test.value)).to_numpy(bool)
    holds = np.zeros(len(column), bool)
    holds[filled] = _COMPARE[test.operator](column[filled].to_numpy(), test.value)
    return holds


def fit_legend(
    items: Sequence[Item], width_mm: float, height_mm: float
) -> tuple[int, float] | None:
    """Choose columns and size of letters so that a legend fits its room.

    Returns
    -------
    (int, float) or None
        Columns, and points: the largest size at which it fits, with the fewest columns; None if it
        fits at none.
    """
    lines = sum(item.lines for item in items)
    letters = max((item.letters for item in items), default=1)
    for points in SIZES:
        across = (letters * LETTER_MM + SYMBOL_MM) * points + BESIDE_MM + BETWEEN_MM
        for columns in range(1, MOST_COLUMNS + 1):
            # A column may be a line longer than the others, and one more where a layer is not cut.
            down = math.ceil(lines / columns) + (columns > 1)
            tall = down * (HIGH_MM * points + ABOVE_MM) <= height_mm
            if tall and columns * across - BETWEEN_MM <= width_mm:
                return columns, points
    return None
